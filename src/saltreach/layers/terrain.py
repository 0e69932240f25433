"""Elevation, slope and aspect at the anchors from a raster of heights (`--dem FILE`, or a pack's).

Slope and aspect are Horn's (1981, Proc. IEEE 69:14-47): weighted differences over the 3 x 3
cells around the point's own, turned into metres per metre towards east and north on the WGS 84
ellipsoid at that place. So a geographic raster is measured in metres, and aspect counts from
true north, not from the grid's.

A height raster holds one height per place. It cannot show an overhang, and a face lower or
narrower than about three cells comes out too gentle.
"""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any, NamedTuple

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike, NDArray

from saltreach.errors import LayerError
from saltreach.layers.embedded import sha256_of
from saltreach.layers.geodesy import metres_per_degree
from saltreach.layers.layer import Layer, Origin, Value, joined, lonlat
from saltreach.layers.pack import packed
from saltreach.layers.raster import WINDOW_CELLS, cell_position, moved, open_raster, windows

if TYPE_CHECKING:
    from rasterio.io import DatasetReader

    from saltreach.intake.options import Options

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

FLAT_DEG = 1.0
"""Below this slope the aspect of a height raster is noise, and is left unknown; judgement."""
AZIMUTH_TOLERANCE_DEG = 45.0
SLOPE_TOLERANCE_DEG = 20.0
SLOPE_WITH_ASPECT_DEG = 15.0
"""`compare_faces`: differences beyond the tolerances are listed, and an azimuth is compared
only where the raster is at least this steep. Common practice without a source."""

NO_GROUND = 30_000.0
UNDECLARED = -9999.0
"""No ground lies farther from sea level, in metres or feet, and none is exactly so deep: cells
that hold this are without data, though the file does not declare it; common practice."""

_METRES: dict[str, float] = {
    "": 1.0, "m": 1.0, "metre": 1.0, "meter": 1.0, "metres": 1.0, "meters": 1.0,
    "ft": 0.3048, "foot": 0.3048, "feet": 0.3048, "international foot": 0.3048,
    "us survey foot": 1200 / 3937, "us-ft": 1200 / 3937, "ftus": 1200 / 3937,
    "cm": 0.01, "dm": 0.1,
}  # fmt: skip

OUTSIDE = "The position is outside the height raster."
NO_DATA = "The height raster has no data here."
NEAREST = "Elevation is that of the nearest cell: a neighbour has no data."
NO_SLOPE = "Slope and aspect are unknown: the cells around have no data or the raster ends."
FLAT = "The ground is flat in the height raster: aspect is unknown."


def read_terrain(
    path: Path | str, lon: ArrayLike, lat: ArrayLike, *, window_cells: int = WINDOW_CELLS
) -> pd.DataFrame:
    """Elevation, slope and aspect of a height raster at some points.

    Parameters
    ----------
    path : path
        Any raster that GDAL reads; its first band holds heights.
    lon, lat : array_like, shape (n,)
        Degrees, WGS 84; NaN gives NaN.
    window_cells : int
        Side of a read, cells. Memory is one window; every window is read once.

    Returns
    -------
    DataFrame
        `elevation_m`: bilinear between cell centres, the nearest cell's where a neighbour has
        no data. `slope_deg`: 0 flat to below 90. `aspect_deg`: where the ground falls to,
        clockwise from true north; unknown where the slope is below `FLAT_DEG`.
        `terrain_notes`: what a reader must know, else empty. NaN is unknown: outside, or no
        data.

    Raises
    ------
    LayerError
        When the file cannot be read, has no CRS, or its heights are in an unknown unit.

    References
    ----------
    Horn, B. K. P. (1981). Hill shading and the reflectance map. Proc. IEEE 69(1):14-47.
    """
    lon, lat = (np.atleast_1d(np.asarray(v, float)) for v in (lon, lat))
    with open_raster(Path(path), "height raster") as raster:
        unit = metres_per_unit(raster, Path(path))
        row, column = cell_position(raster, lon, lat)
        elevation, nearest, across, down = _heights_and_steps(raster, row, column, window_cells)
        elevation, across, down = elevation * unit, across * unit, down * unit
        slope, aspect = _slope_aspect(raster, row, column, across, down)
    known = np.isfinite(elevation)
    notes = np.full(len(lon), "", object)
    notes[known & np.isnan(slope)] = NO_SLOPE
    notes[nearest] = f"{NEAREST} {NO_SLOPE}"  # a neighbour without data is one of the nine
    notes[slope < FLAT_DEG] = FLAT
    notes[~known] = NO_DATA
    notes[np.isnan(row)] = OUTSIDE
    return pd.DataFrame(
        {
            "elevation_m": elevation,
            "slope_deg": slope,
            "aspect_deg": np.where(slope < FLAT_DEG, np.nan, aspect),
            "terrain_notes": notes,
        }
    )


def dem_origin(path: Path | str) -> Origin:
    """What a height raster is, for the provenance.

    Raises
    ------
    LayerError
        As `read_terrain`.
    """
    from rasterio.warp import transform_bounds

    path = Path(path)
    with open_raster(path, "height raster") as raster:
        metres_per_unit(raster, path)
        west, south, east, north = transform_bounds(raster.crs, "EPSG:4326", *raster.bounds)
        across, down = abs(raster.res[0]), abs(raster.res[1])
        crs = raster.crs.to_string()
        size = f"{raster.width} x {raster.height} cells of {across:g} x {down:g} CRS units"
    return Origin(
        name=f"dem-file-{path.name}",
        quantity="elevation, slope, aspect",
        unit="m, deg, deg",
        source=path.name,
        licence="the user's",
        accuracy="not stated by the file",
        sha256=sha256_of(path),
        extent=f"{west:.4f} {south:.4f} {east:.4f} {north:.4f}",
        note=f"{size}, {crs}. Slope and aspect by Horn (1981) over 3 x 3 cells; overhangs and "
        "faces smaller than a few cells do not show.",
    )


def compare_faces(
    register_azimuth_deg: ArrayLike,
    register_slope_deg: ArrayLike,
    aspect_deg: ArrayLike,
    slope_deg: ArrayLike,
) -> pd.DataFrame:
    """Differences between the faces of the register and those of a height raster.

    Parameters
    ----------
    register_azimuth_deg, register_slope_deg : array_like, shape (n,)
        `face_azimuth_deg` and `face_slope_deg` (90 vertical, more is overhanging).
    aspect_deg, slope_deg : array_like, shape (n,)
        From `read_terrain`.

    Returns
    -------
    DataFrame, n rows
        `azimuth_difference_deg` (raster less register, -180 to below 180), `slope_difference_deg`
        (raster less register), `face_notes` (empty where they agree or cannot be compared).

    Notes
    -----
    A raster flattens faces and cannot overhang, so a register that is steeper is expected and
    not listed; an overhang is never compared with it. Listed are a raster steeper by more than
    `SLOPE_TOLERANCE_DEG`, and azimuths that differ by more than `AZIMUTH_TOLERANCE_DEG` where
    the raster is at least `SLOPE_WITH_ASPECT_DEG` steep.

    Examples
    --------
    >>> compare_faces([350.0], [85.0], [15.0], [40.0])["azimuth_difference_deg"].tolist()
    [25.0]
    """
    azimuth, slope, aspect, ground = (
        np.atleast_1d(np.asarray(v, float))
        for v in (register_azimuth_deg, register_slope_deg, aspect_deg, slope_deg)
    )
    turn = (aspect - azimuth + 180) % 360 - 180
    rise = ground - slope
    turned = (np.abs(turn) > AZIMUTH_TOLERANCE_DEG) & (ground >= SLOPE_WITH_ASPECT_DEG)
    steeper = rise > SLOPE_TOLERANCE_DEG
    notes = np.full(len(turn), "", object)
    notes[turned] = [
        f"The register's face looks to {a:.0f} deg, the height raster's ground to {b:.0f} deg."
        for a, b in zip(azimuth[turned], aspect[turned], strict=True)
    ]
    notes[steeper] = [
        f"{before} The register's slope is {a:.0f} deg, the height raster's {b:.0f} deg.".strip()
        for before, a, b in zip(notes[steeper], slope[steeper], ground[steeper], strict=True)
    ]
    return pd.DataFrame(
        {"azimuth_difference_deg": turn, "slope_difference_deg": rise, "face_notes": notes}
    )


def metres_per_unit(raster: DatasetReader, path: Path) -> float:
    """Metres in the unit of a raster's heights.

    Raises
    ------
    LayerError
        When the unit is not known.
    """
    name = (raster.units[0] or "").strip()
    try:
        return _METRES[name.lower()]
    except KeyError:
        raise LayerError(
            f"height raster {path.name} gives heights in {name!r}; convert them to metres or feet"
        ) from None


def _heights_and_steps(
    raster: DatasetReader, row: Floats, column: Floats, window_cells: int
) -> tuple[Floats, NDArray[np.bool_], Floats, Floats]:
    """Height, whether it is the nearest cell's, and Horn's height step per cell across and down."""
    out = np.full((3, len(row)), np.nan)
    nearest = np.zeros(len(row), bool)
    cells = windows(raster, row, column, margin=1, window_cells=window_cells)
    for part, values, top, left in cells:
        heights = true_heights(raster, values)
        own = (row[part].astype(np.int64) - top, column[part].astype(np.int64) - left)
        out[0, part], nearest[part] = _bilinear(heights, row[part] - top, column[part] - left, own)
        out[1, part], out[2, part] = horn_steps(heights, *own)
    return out[0], nearest, out[1], out[2]


def true_heights(raster: DatasetReader, values: Floats) -> Floats:
    """Heights in the raster's unit from the numbers it stores; NaN without data."""
    heights = np.where(values == UNDECLARED, np.nan, values) * raster.scales[0] + raster.offsets[0]
    return np.where(np.abs(heights) > NO_GROUND, np.nan, heights)


def _bilinear(
    heights: Floats, row: Floats, column: Floats, cell: tuple[Ints, Ints]
) -> tuple[Floats, NDArray[np.bool_]]:
    """Height between the four cell centres around, else the own cell's, and where that is so."""
    up, left = np.floor(row - 0.5).astype(np.int64), np.floor(column - 0.5).astype(np.int64)
    down_share, right_share = row - 0.5 - up, column - 0.5 - left
    total = np.zeros(len(row))
    for down in (0, 1):
        for right in (0, 1):
            weight = np.where(down, down_share, 1 - down_share)
            weight = weight * np.where(right, right_share, 1 - right_share)
            value = heights[up + down, left + right]
            total += np.where(weight > 0, weight * value, 0.0)
    own = heights[cell]
    nearest = np.isnan(total) & np.isfinite(own)
    # A cell without data is unknown even where its neighbours are not.
    return np.where(np.isnan(own), np.nan, np.where(nearest, own, total)), nearest


def horn_steps(heights: Floats, row: Ints, column: Ints) -> tuple[Floats, Floats]:
    """Height step per cell across and down, by Horn's weights 1 2 1."""
    a, b, c = (heights[row - 1, column + j] for j in (-1, 0, 1))
    d, f = heights[row, column - 1], heights[row, column + 1]
    g, h, i = (heights[row + 1, column + j] for j in (-1, 0, 1))
    own = np.where(np.isnan(heights[row, column]), np.nan, 0.0)
    across = ((c + 2 * f + i) - (a + 2 * d + g)) / 8 + own
    down = ((g + 2 * h + i) - (a + 2 * b + c)) / 8 + own
    return across, down


def _slope_aspect(
    raster: DatasetReader, row: Floats, column: Floats, across: Floats, down: Floats
) -> tuple[Floats, Floats]:
    """Slope and aspect in degrees from height steps per cell."""
    from pyproj import Transformer

    slope, aspect = np.full(len(row), np.nan), np.full(len(row), np.nan)
    known = np.flatnonzero(np.isfinite(across) & np.isfinite(down))
    if not len(known):
        return slope, aspect
    to_wgs84 = Transformer.from_crs(raster.crs.to_wkt(), 4326, always_xy=True)
    middle_row, middle_column = np.floor(row[known]) + 0.5, np.floor(column[known]) + 0.5

    def place(rows_on: float, columns_on: float) -> tuple[Floats, Floats]:
        lon, lat = to_wgs84.transform(
            *moved(raster.transform, middle_column + columns_on, middle_row + rows_on)
        )
        return np.asarray(lon, float), np.asarray(lat, float)

    (west, at_west), (east, at_east) = place(0, -0.5), place(0, 0.5)
    (top, at_top), (bottom, at_bottom) = place(-0.5, 0), place(0.5, 0)
    east_m, north_m = metres_per_degree((at_top + at_bottom) / 2)
    # Metres east and north of one cell across, and of one cell down.
    ax, ay = ((east - west + 180) % 360 - 180) * east_m, (at_east - at_west) * north_m
    dx, dy = ((bottom - top + 180) % 360 - 180) * east_m, (at_bottom - at_top) * north_m
    area = ax * dy - ay * dx
    to_east = (across[known] * dy - down[known] * ay) / area
    to_north = (down[known] * ax - across[known] * dx) / area
    slope[known] = np.degrees(np.arctan(np.hypot(to_east, to_north)))
    aspect[known] = np.degrees(np.arctan2(-to_east, -to_north)) % 360
    return slope, aspect


class Heights(NamedTuple):
    """Rasters of one source that lie side by side."""

    files: tuple[Path, ...]
    origin: Origin

    def at(self, lon: ArrayLike, lat: ArrayLike) -> pd.DataFrame:
        """As `read_terrain`, of the first raster that has a height there."""
        lon, lat = (np.atleast_1d(np.asarray(v, float)) for v in (lon, lat))
        found = read_terrain(self.files[0], lon, lat)
        for file in self.files[1:]:
            without = np.flatnonzero(found["elevation_m"].isna())
            inside = without[_in_bounds(file, lon[without], lat[without])]
            if len(inside):
                found.iloc[inside] = read_terrain(file, lon[inside], lat[inside]).to_numpy()
        return found.infer_objects()


def _in_bounds(file: Path, lon: Floats, lat: Floats) -> NDArray[np.bool_]:
    """Which places may lie in a raster of a pack, whose cells are degrees."""
    with open_raster(file, "height raster") as raster:
        west, south, east, north = raster.bounds
    return (lon >= west) & (lon <= east) & (lat >= south) & (lat <= north)


def open_heights(options: Options) -> Heights | None:
    """The user's height raster, else the pack's; None where neither is given."""
    if options.dem_file is not None:
        path = Path(options.dem_file)
        return Heights((path,), dem_origin(path))
    part = packed(options, "heights")
    return None if part is None else Heights(tuple(part.named(".tif")), part.origin)


def _sample(heights: Heights, places: pd.DataFrame) -> dict[str, Any]:
    terrain = heights.at(*lonlat(places))
    faces = compare_faces(
        places["face_azimuth_deg"].to_numpy(float),
        places["face_slope_deg"].to_numpy(float),
        terrain["aspect_deg"],
        terrain["slope_deg"],
    )
    return {
        "slope_deg": terrain["slope_deg"].to_numpy(),
        "aspect_deg": terrain["aspect_deg"].to_numpy(),
        "raster_elevation_m": terrain["elevation_m"].to_numpy(),
        "raster_name": np.full(len(places), heights.origin.name, dtype=object),
        "terrain_notes": joined(terrain["terrain_notes"], faces["face_notes"]),
    }


LAYER = Layer(
    name="terrain",
    gives=(
        Value("slope_deg", source="slope_source"),
        Value("aspect_deg", source="aspect_source"),
    ),
    passes=(Value("raster_elevation_m"), Value("raster_name", ""), Value("terrain_notes", "")),
    takes=("face_azimuth_deg", "face_slope_deg"),
    open=open_heights,
    sample=_sample,
    origins=lambda heights: (heights.origin,),
    embedded=False,
)
