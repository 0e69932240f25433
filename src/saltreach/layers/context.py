"""What lies around the places of a region, from a pack: roads, cliffs, quarries, salt lakes, names.

It is drawn behind the anchors, and questions are asked from it (`layers.roads`,
`layers.marked_lakes`). No value of an anchor comes from it.
"""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any, NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

from saltreach.errors import LayerError
from saltreach.intake.gdal import layer_read, readable
from saltreach.layers.coast_index import build_index
from saltreach.layers.layer import Origin
from saltreach.layers.pack import packed

if TYPE_CHECKING:
    import geopandas as gpd

    from saltreach.intake.options import Options

NAME = "context"
"""Of the part in a pack."""
FILE = f"{NAME}.gpkg"
SHAPES = {"lines": "MultiLineString", "areas": "MultiPolygon", "points": "Point"}
"""Layers of the file, and the shapes in each."""
COLUMNS = ("kind", "name", "rank", "detail", "osm_id")
"""`kind`: a word of those below. `rank`: 1 to 3, 1 the most prominent. `detail`: class of a road,
`TUNNEL` after a comma where it is one; for others the word of OpenStreetMap."""
ROAD, CLIFF, QUARRY, SALT_LAKE, PLACE = "road", "cliff", "quarry", "salt lake", "place"
KINDS = (ROAD, CLIFF, QUARRY, SALT_LAKE, PLACE)
TUNNEL = "tunnel"
MAJOR_RANK = 2
"""Roads of this rank or a better one are asked about: motorways, trunk and primary roads. Others
are salted less, or not at all; judgement."""
REACH_M = 5000.0
"""So far around every place things are brought, and a salt lake is asked about; own choice."""


class Context(NamedTuple):
    """What lies around.

    `features`: `COLUMNS` and geometry, EPSG:4326. `asked_for`: area that was asked for, degrees.
    `origins`: where it is from.
    """

    features: gpd.GeoDataFrame
    asked_for: Any
    origins: tuple[Origin, ...]

    def holds(self, lon: ArrayLike, lat: ArrayLike) -> NDArray[np.bool_]:
        """Whether what lies at a place was asked for; not where the position is unknown."""
        import shapely

        inside = shapely.intersects_xy(self.asked_for, around(lon), np.asarray(lat, float))
        return np.asarray(inside)


def open_context(options: Options) -> Context | None:
    """What lies around, of the pack that the options name; None without.

    Raises
    ------
    LayerError
        The pack or its file cannot be used.
    """
    import shapely

    part = packed(options, NAME)
    if part is None:
        return None
    try:
        boxes = shapely.box(*np.array(part.about["boxes"], float).reshape(-1, 4).T)
    except (KeyError, TypeError, ValueError) as error:
        raise LayerError(
            f"pack {part.folder}: {NAME}.json does not say which boxes were asked for; bring "
            f"{NAME} again"
        ) from error
    return Context(read_features(part.file(FILE)), shapely.union_all(boxes), part.origins)


def context_of(options: Options) -> gpd.GeoDataFrame | None:
    """What a map may draw behind the anchors, of the pack that the options name; None without.

    Returns
    -------
    GeoDataFrame
        `kind`, `name`, `rank`, `detail`, `osm_id` and geometry, EPSG:4326, the most prominent
        first. Names are a stranger's text: escape them where they are shown, with the line that
        the part's origin asks for (`Origin.attribution`).

    Raises
    ------
    LayerError
        The pack or its file cannot be used.
    """
    context = open_context(options)
    return None if context is None else context.features


def write_features(features: gpd.GeoDataFrame, folder: Path) -> None:
    """Write features as GeoPackage, one layer for each kind of shape, empty ones too."""
    import pyogrio

    own = features.geom_type.str.removeprefix("Multi")
    for layer, shape in SHAPES.items():
        pyogrio.write_dataframe(
            features.loc[own == shape.removeprefix("Multi"), [*COLUMNS, "geometry"]],
            folder / FILE, layer=layer, driver="GPKG", geometry_type=shape,
            promote_to_multi=shape.startswith("Multi"),
        )  # fmt: skip


def read_features(file: Path) -> gpd.GeoDataFrame:
    """Features as `write_features` wrote them, the most prominent first.

    Raises
    ------
    LayerError
        The file cannot be read, or is another.
    """
    import pandas as pd

    fix = f"bring {NAME} again"
    with readable(file, f"{NAME} of the pack cannot be read", fix, LayerError):
        parts = [layer_read(file, layer, columns=list(COLUMNS))[0] for layer in SHAPES]
        features = pd.concat(parts, ignore_index=True)[[*COLUMNS, "geometry"]]
    text = [name for name in COLUMNS if name != "rank"]
    return features.assign(
        **{name: features[name].fillna("").astype("str") for name in text},
        rank=features["rank"].astype(int),
    ).sort_values("rank", kind="stable", ignore_index=True)


def around(lon: ArrayLike) -> NDArray[np.float64]:
    """Longitudes from -180 to 180."""
    return (np.asarray(lon, float) + 180.0) % 360.0 - 180.0


def nearest_line(
    lines: ArrayLike, lon: ArrayLike, lat: ArrayLike, within_m: float
) -> tuple[NDArray[np.float64], NDArray[np.int64]]:
    """The nearest of some lines, or of the outlines of areas.

    Parameters
    ----------
    lines : array_like of shapely geometries
        In degrees, WGS 84; straight in longitude and latitude between two vertices.
    lon, lat : array_like, shape (n,)
        Degrees, WGS 84; an unknown position has no line.
    within_m : float
        Lines farther away do not count.

    Returns
    -------
    distance_m : ndarray of float, shape (n,)
        Geodesic distance; 0 in an area, NaN where no line is within reach.
    which : ndarray of int, shape (n,)
        Its number among `lines`, -1 where there is none.
    """
    import shapely

    shapes = np.asarray(lines, dtype=object)
    lon, lat = around(lon), np.asarray(lat, float)
    area = shapely.get_dimensions(shapes) == 2
    outlines = np.where(area, shapely.boundary(shapes), shapes)
    parts, _ = shapely.get_parts(outlines, return_index=True)
    vertices, line = shapely.get_coordinates(parts, return_index=True)
    which = np.full(len(lon), -1)
    if len(vertices) < 2:
        return np.full(len(lon), np.nan), which
    start = np.searchsorted(line, np.arange(len(parts) + 1))
    index = build_index(vertices, start, np.arange(len(vertices) - 1), sided=False)
    found = index.shore(lon, lat)
    distance = np.where(found.distance_m <= within_m, found.distance_m, np.nan)
    near = np.flatnonzero(np.isfinite(distance))
    feet = shapely.points(found.lon[near], found.lat[near])
    foot, number = shapely.STRtree(outlines).query_nearest(feet, all_matches=False)
    which[near[foot]] = number
    known = np.flatnonzero(np.isfinite(lon) & np.isfinite(lat))
    points = shapely.STRtree(shapely.points(lon[known], lat[known]))
    number, point = points.query(shapes[area], "contains")
    distance[known[point]], which[known[point]] = 0.0, np.flatnonzero(area)[number]
    return distance, which
