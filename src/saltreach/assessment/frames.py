"""The tables as they leave: columns in the documented order, with geometry."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pandas as pd

from saltreach.intake.distinct import alike
from saltreach.vocabulary.columns import ANCHORS_BY_NAME

if TYPE_CHECKING:
    import geopandas as gpd


def anchor_frame(table: pd.DataFrame, register: gpd.GeoDataFrame) -> gpd.GeoDataFrame:
    """Anchors with the register's columns, the results and the user's extra columns.

    Parameters
    ----------
    table : DataFrame
        Anchors with every result computed so far.
    register : GeoDataFrame
        The register's anchors, same index; gives geometry and the order of extra columns.

    Returns
    -------
    GeoDataFrame
        Every documented column is present; one that cannot be known yet is empty.
    """
    import geopandas as gpd

    names = list(ANCHORS_BY_NAME)
    extra = [c for c in register.columns if c not in names and c != register.geometry.name]
    kinds = {c.name: c.kind for c in ANCHORS_BY_NAME.values()}
    blank = alike("", table.index)
    columns = {}
    for name in [*names, *extra]:
        column = table.get(name, blank)
        is_blank = kinds.get(name) not in (None, "number", "integer") and column.isna().all()
        columns[name] = blank if is_blank else _typed(column, kinds.get(name))
    table = pd.DataFrame(columns, index=table.index, copy=False)
    return gpd.GeoDataFrame(table, geometry=register.geometry, crs=register.crs, copy=False)


def _typed(column: pd.Series, kind: str | None) -> pd.Series:
    if kind == "integer":
        return pd.to_numeric(column).astype("Int64")
    if kind == "number" and column.dtype == "float64":
        return column
    if kind == "number":
        return pd.to_numeric(column).astype("float64")
    if kind is None or isinstance(column.dtype, pd.CategoricalDtype):
        return column
    return column.fillna("").astype("str")


def with_shapes(
    groups: pd.DataFrame, register: gpd.GeoDataFrame, within: gpd.GeoDataFrame | None = None
) -> gpd.GeoDataFrame:
    """Groups of anchors (sectors or crags) with a polygon around each one's anchors.

    Parameters
    ----------
    groups : DataFrame
        Columns `crag` and, of sectors, `sector`.
    register : GeoDataFrame
        Their anchors: all of the region, or a part of it that holds whole groups.
    within : GeoDataFrame, optional
        The sectors of the same anchors with their shapes: a crag of one sector has its shape.
    """
    import geopandas as gpd

    from saltreach.assessment.shapes import sector_shapes

    by = [name for name in ("crag", "sector") if name in groups]
    points = register[["crag", "sector", register.geometry.name]]
    if within is not None:
        shapeless = within.geometry.isna() | within.geometry.is_empty
        alone = within[~within["crag"].duplicated(keep=False) & ~shapeless]
        points = points[~points["crag"].isin(alone["crag"])]
    shapes = sector_shapes(points if "sector" in by else points.assign(sector=""))
    if within is not None:
        shapes = pd.concat([shapes, alone[["crag", "geometry"]]], ignore_index=True)
    merged = groups.merge(shapes[[*by, shapes.geometry.name]], on=by, how="left", validate="1:1")
    return gpd.GeoDataFrame(merged, geometry=shapes.geometry.name, crs=shapes.crs)
