"""What lies behind the sectors on a map: roads, places, cliffs, lakes, and the shade of hills.

It decides nothing and no figure rests on it. A landowner's map never draws it, for its cliffs and
its shade, which is finest beside the anchors, would tell where they are.
"""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any, NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

from saltreach.layers.where import where_of

if TYPE_CHECKING:
    import geopandas as gpd
    from rasterio.io import DatasetReader

    from saltreach.layers.context import Context
    from saltreach.layers.terrain import Heights

Floats = NDArray[np.float64]
Box = tuple[float, float, float, float]

SUN_AZIMUTH_DEG, SUN_HEIGHT_DEG = 315.0, 45.0
"""Light from the upper left, as maps have it; common practice, no source."""
MOST_SHADE_CELLS = 400_000
"""Cells of all shades of a map together: they take some 200 kB in it; our own drawing choice."""
AROUND_M = 2500.0
"""Ground around every anchor that is shaded; our own drawing choice."""
WIDEST_DEG = 1.0
"""Larger boxes of shade are cut; our own drawing choice."""
EARTH_RADIUS_M = 6_378_137.0
"""Of the web map's sphere, EPSG:3857."""

FEATURES_FILE, SHADES_FILE = "backdrop.parquet", "backdrop.npz"


class Shade(NamedTuple):
    """Light on the ground of a box.

    `bounds`: west, south, east, north, degrees. `light`: uint8, rows from the north, evenly spaced
    on the web map (EPSG:3857); 0 unknown, else 1 (dark) to 255.
    """

    bounds: Box
    light: NDArray[np.uint8]


class Backdrop(NamedTuple):
    """What a map draws behind the sectors.

    `features`: EPSG:4326, lines, polygons and points with `kind` (a word of
    `layers.context.KINDS`), `name` (may be empty) and `rank`, 1 the most important to 3: town,
    village, hamlet or locality; motorway or trunk, primary, secondary road. `shades` do not
    overlap. `attributions`: who made all that, in the words their terms ask for.
    """

    features: gpd.GeoDataFrame
    shades: tuple[Shade, ...] = ()
    attributions: tuple[str, ...] = ()


def backdrop_of(
    context: Context | None, heights: Heights | None, lon: ArrayLike, lat: ArrayLike
) -> Backdrop | None:
    """What lies behind some anchors; None where neither a pack nor a height raster says.

    Parameters
    ----------
    context : Context, optional
        From `layers.context.open_context`.
    heights : Heights, optional
        From `layers.terrain.open_heights`.
    lon, lat : array_like, shape (n,)
        The anchors, degrees, WGS 84; one or more.

    Raises
    ------
    LayerError
        A raster cannot be read.
    """
    import geopandas as gpd

    from saltreach.layers.context import COLUMNS

    if context is None and heights is None:
        return None
    shades: list[Shade] = []
    if heights is not None:
        boxes = where_of(lon, lat).boxes(AROUND_M, WIDEST_DEG)
        for file in heights.files:
            shades += shade_of(file, boxes, most_cells=MOST_SHADE_CELLS // len(heights.files))
    if context is None:
        none = {name: np.empty(0, object) for name in COLUMNS}
        return Backdrop(gpd.GeoDataFrame(none, geometry=[], crs=4326), _apart_shades(shades))
    said = tuple(origin.attribution for origin in context.origins)
    return Backdrop(context.features, _apart_shades(shades), said)


def _apart_shades(shades: list[Shade]) -> tuple[Shade, ...]:
    """Shades of which none lies inside another: files of heights may both reach into a box."""
    kept: list[Shade] = []
    for shade in sorted(shades, key=lambda one: -int((one.light > 0).sum())):
        west, south, east, north = shade.bounds
        overlaps = any(
            west < other.bounds[2] and east > other.bounds[0]
            and south < other.bounds[3] and north > other.bounds[1]
            for other in kept
        )  # fmt: skip
        if not overlaps:
            kept.append(shade)
    return tuple(kept)


def hillshade(
    heights_m: ArrayLike,
    cell_m: ArrayLike,
    *,
    azimuth_deg: float = SUN_AZIMUTH_DEG,
    height_deg: float = SUN_HEIGHT_DEG,
) -> NDArray[np.uint8]:
    """Light that falls on a surface from a sun at one place of the sky.

    The cosine of the angle between the sun and the surface's normal (Lambert's law), with Horn's
    slopes over 3 x 3 cells: sin h cos s + cos h sin s cos(A - a) for a sun at height h and
    azimuth A over ground of slope s that falls towards a.

    Parameters
    ----------
    heights_m : array_like, shape (rows, columns)
        Metres, rows from the north; NaN is unknown.
    cell_m : array_like
        Side of a cell on the ground, m: a number, or one for each row.
    azimuth_deg, height_deg : float
        The sun's, clockwise from north and above the horizon.

    Returns
    -------
    ndarray of uint8
        1 (no light) to 255 (full light); 0 where a cell or a neighbour is unknown, at the edges
        too.

    References
    ----------
    Horn, B. K. P. (1981). Hill shading and the reflectance map. Proc. IEEE 69(1):14-47.

    Examples
    --------
    >>> hillshade(np.zeros((3, 3)), 10.0)[1, 1]  # 1 + 254 sin 45
    np.uint8(181)
    """
    from saltreach.layers.terrain import horn_steps

    heights = np.asarray(heights_m, float)
    light = np.zeros(heights.shape, np.uint8)
    if min(heights.shape) < 3:
        return light
    rows, columns = (np.arange(1, n - 1) for n in heights.shape)
    across, down = horn_steps(heights, rows[:, None], columns[None, :])
    side = np.broadcast_to(np.asarray(cell_m, float), len(heights))[1:-1, None]
    east, north = across / side, -down / side  # how it rises
    azimuth, height = np.radians([azimuth_deg, height_deg])
    towards = np.sin(azimuth) * east + np.cos(azimuth) * north
    cosine = (np.sin(height) - np.cos(height) * towards) / np.sqrt(1 + east**2 + north**2)
    known = np.isfinite(cosine)
    light[1:-1, 1:-1][known] = np.rint(1 + 254 * np.clip(cosine[known], 0, 1)).astype(np.uint8)
    return light


def shade_of(
    path: Path | str, boxes: Sequence[Box], *, most_cells: int = MOST_SHADE_CELLS
) -> tuple[Shade, ...]:
    """Shades of some boxes from a raster of heights, of which only these are read.

    Parameters
    ----------
    path : path
        As `saltreach.layers.terrain.read_terrain` takes it.
    boxes : sequence of tuple
        West, south, east, north, degrees; longitudes may lie beyond 180. Those that overlap
        become one.
    most_cells : int
        Of all shades together: cells are as fine as the raster's, or larger until that holds.

    Returns
    -------
    tuple of Shade
        None of a box that the raster knows nothing of.

    Raises
    ------
    LayerError
        As `read_terrain`.
    """
    from saltreach.layers.raster import open_raster
    from saltreach.layers.terrain import metres_per_unit, true_heights

    flat = [_flat(box) for box in _apart(boxes)]
    if not flat:
        return ()
    path = Path(path)
    with open_raster(path, "height raster") as raster:
        unit = metres_per_unit(raster, path)
        area = sum((east - west) * (north - south) for west, south, east, north in flat)
        cell = max(_finest_cell(raster), float(np.sqrt(area / most_cells)))
        shades = []
        for box in flat:
            heights, bounds = _warped(raster, box, cell)
            heights = true_heights(raster, heights) * unit
            middle = bounds[3] - cell * (np.arange(len(heights)) + 0.5)
            # A metre of the web map is cos(latitude) on the ground, to 0.7 % (sphere, ellipsoid).
            light = hillshade(heights, cell / np.cosh(middle / EARTH_RADIUS_M))
            if light.any():
                shades.append(Shade(_round(bounds), light[1:-1, 1:-1]))
    return tuple(shades)


def _apart(boxes: Sequence[Box]) -> list[Box]:
    """Boxes within half a turn, those that overlap joined."""
    import shapely

    if not len(boxes):
        return []
    found = shapely.box(*np.array(boxes, float).T)
    found = [
        shapely.transform(
            shapely.intersection(found, shapely.box(turn - 180, -90, turn + 180, 90)),
            lambda c, turn=turn: c - [turn, 0.0],
        )
        for turn in (-360.0, 0.0, 360.0)
    ]
    found = np.concatenate(found)
    found = found[shapely.area(found) > 0]
    while True:
        joined = shapely.box(*shapely.bounds(shapely.get_parts(shapely.union_all(found))).T)
        if len(joined) == len(found):
            return [tuple(b) for b in shapely.bounds(joined).tolist()]
        found = joined


def _flat(box: Box) -> Box:
    """A box on the web map, m."""
    from saltreach.assessment.shapes import MERCATOR_LIMIT_DEG, mercator_deg

    metres = np.radians(1.0) * EARTH_RADIUS_M
    low, high = mercator_deg(np.clip([box[1], box[3]], -MERCATOR_LIMIT_DEG, MERCATOR_LIMIT_DEG))
    return box[0] * metres, float(low) * metres, box[2] * metres, float(high) * metres


def _round(flat: Box) -> Box:
    """A box of the web map, degrees."""
    from saltreach.assessment.shapes import latitude_deg

    west, south, east, north = np.degrees(np.array(flat) / EARTH_RADIUS_M)
    return float(west), float(latitude_deg(south)), float(east), float(latitude_deg(north))


def _finest_cell(raster: DatasetReader) -> float:
    """Side of the raster's middle cell on the web map, m."""
    from pyproj import Transformer

    from saltreach.layers.raster import moved

    to_map = Transformer.from_crs(raster.crs.to_wkt(), 3857, always_xy=True)
    middle = np.array([0.0, 1.0]) + raster.width // 2, np.full(2, raster.height / 2)
    x, y = to_map.transform(*moved(raster.transform, *middle))
    return float(np.hypot(x[1] - x[0], y[1] - y[0]))


def _warped(raster: DatasetReader, flat: Box, cell: float) -> tuple[Floats, Box]:
    """Heights of a box on the web map, a cell more all around, and the box of whole cells."""
    from rasterio import Affine
    from rasterio.enums import Resampling
    from rasterio.vrt import WarpedVRT

    from saltreach.layers.terrain import UNDECLARED

    west, south, east, north = flat
    columns = max(int(np.ceil((east - west) / cell)), 1)
    rows = max(int(np.ceil((north - south) / cell)), 1)
    coarser = cell > 1.5 * _finest_cell(raster)
    with WarpedVRT(
        raster, crs="EPSG:3857", transform=Affine(cell, 0, west - cell, 0, -cell, north + cell),
        width=columns + 2, height=rows + 2, dtype="float64", nodata=np.nan,
        src_nodata=UNDECLARED if raster.nodata is None else raster.nodata,
        resampling=Resampling.average if coarser else Resampling.bilinear,
    ) as warped:  # fmt: skip
        heights = warped.read(1).astype(float)
    return heights, (west, north - rows * cell, west + columns * cell, north)


def write_backdrop(backdrop: Backdrop, folder: Path) -> None:
    """Write a backdrop: `FEATURES_FILE` and `SHADES_FILE`, which holds the attributions too."""
    backdrop.features.to_parquet(folder / FEATURES_FILE, index=False)
    arrays: dict[str, Any] = {
        "attributions": np.array(backdrop.attributions, dtype=np.str_),
        "bounds": np.array([shade.bounds for shade in backdrop.shades]).reshape(-1, 4),
        **{f"light_{k}": shade.light for k, shade in enumerate(backdrop.shades)},
    }
    np.savez_compressed(folder / SHADES_FILE, **arrays)


def read_backdrop(folder: Path) -> Backdrop | None:
    """The backdrop that `write_backdrop` wrote to a folder; None where there is none."""
    import geopandas as gpd

    if not (folder / FEATURES_FILE).is_file():
        return None
    with np.load(folder / SHADES_FILE) as packed:
        shades = tuple(
            Shade(tuple(bounds), packed[f"light_{k}"])
            for k, bounds in enumerate(packed["bounds"].tolist())
        )
        attributions = tuple(packed["attributions"].tolist())
    return Backdrop(gpd.read_parquet(folder / FEATURES_FILE), shades, attributions)
