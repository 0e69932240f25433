"""The land around the anchors of an assessment, from the shoreline it was made with."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import TYPE_CHECKING, Any, NamedTuple

import numpy as np

from saltreach.assessment.shapes import centre_lon_deg, unwrapped_lon

if TYPE_CHECKING:
    import geopandas as gpd

    from saltreach.assessment.result import Assessment


class Land(NamedTuple):
    """`shapes`: land polygons, or lines of a shoreline without sides, EPSG:4326; `sided`: whether
    the layer knows land from sea, so that no land means open sea."""

    shapes: gpd.GeoDataFrame
    sided: bool


def land_in(provenance: Mapping[str, Any], box: tuple[float, float, float, float]) -> Land:
    """Land of a box, from the shoreline that an assessment used.

    Parameters
    ----------
    provenance : mapping
        Of the assessment; its options name the shoreline's file.
    box : tuple of float
        West, south, east, north, degrees; longitudes may lie beyond 180.

    Returns
    -------
    Land

    Raises
    ------
    LayerError
        When the file of the shoreline is gone or cannot be used.
    """
    import geopandas as gpd

    from saltreach.intake.options import Options
    from saltreach.layers.coast import open_coast

    coast = open_coast(Options(coast_file=provenance["options"]["coast_file"]))
    return Land(gpd.GeoDataFrame(geometry=coast.land_shapes(*box)), coast.sided)


def shoreline(provenance: Mapping[str, Any]) -> tuple[str, str]:
    """Name and licence of the shoreline that an assessment used, as far as they are stated."""
    layer: Mapping[str, Any] = next(
        (x for x in provenance["layers"] if x.get("quantity") == "shoreline"), {}
    )
    name = str(layer.get("source") or layer.get("name") or "").split(",")[0]
    return Path(name).name, layer.get("licence") or ""


def land_around(result: Assessment) -> gpd.GeoDataFrame:
    """Land around the anchors of an assessment, with room enough for a map of them.

    Parameters
    ----------
    result : Assessment
        From `assess` or `read_results`.

    Returns
    -------
    geopandas.GeoDataFrame
        As `Land.shapes`; empty where there is no anchor.

    Raises
    ------
    LayerError
        As `land_in`.
    """
    import geopandas as gpd

    places = result.flat.anchors.geometry
    if not len(places):
        return gpd.GeoDataFrame(geometry=gpd.GeoSeries([], crs=4326))
    _, south, _, north = places.total_bounds
    lon = places.x.to_numpy()
    lon = unwrapped_lon(lon, centre_lon_deg(lon))  # the narrow way round, across 180 where it is
    west, east = lon.min(), lon.max()
    margin = max(0.5, 0.6 * (east - west), 0.6 * (north - south))
    margin_lon = min(margin / max(np.cos(np.radians((south + north) / 2)), 0.1), 60)
    return land_in(
        result.provenance,
        (west - margin_lon, max(south - margin, -90), east + margin_lon, min(north + margin, 90)),
    ).shapes
