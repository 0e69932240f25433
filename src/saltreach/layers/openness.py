"""How open the sea is at the shore an anchor belongs to: headland, straight coast, bay or fjord.

Openness is measured where the salt is made: rays start beside the anchor's foot, the nearest
place of the shoreline, however far inland the anchor stands. A ray ends once the land it has
crossed adds up to more than `LAND_TOLERANCE_M`, so that neither an islet nor a wiggle smaller
than the shoreline's own error decides; the sea it has crossed by then is its fetch. Openness is
the mean fetch over all directions as a share of `FETCH_M`: about 0.5 on a straight
coast, more on a headland, less in a bay, near 0 at the head of a ria or fjord.

The coast is drawn on square cells of `CELL_M` in planes of about 100 km that touch the globe, so
the antimeridian and the poles are ordinary places. Rays start in the cell with the most sea
around it among the foot's own and its eight neighbours: on the shoreline itself, a metre would
decide whether a ray along the shore is at sea. Anchors that share this cell share a value.
"""

from __future__ import annotations

from typing import Any, NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

from saltreach.layers.coast import BLOCK, Coast
from saltreach.layers.coast_index import CoastIndex, Floats, Ints, build_index
from saltreach.layers.geodesy import ecef_m, lonlat_deg
from saltreach.layers.layer import Layer, Value, lonlat

FETCH_M = 20_000.0
"""Sea that a ray may cross at most: openness is the mean share of it; judgement."""
DIRECTIONS = 36
CELL_M = 125.0
"""Rays at a place, and their steps."""
LAND_TOLERANCE_M = 500.0
"""Land a ray may cross in all, m: twice the embedded shoreline's standard deviation."""
_TILE_M = 80_000.0
_RAYS_AT_ONCE = 20_000  # bounds memory: a ray of 20 km has 160 samples


class SeaFetch(NamedTuple):
    """Fetch by direction at distinct places of the shore.

    `fetch_m` (places, directions): sea that a ray crosses, m, at most `FETCH_M`.
    `place` (n,): row of each anchor, -1 where it has none. `bearing_deg` (directions,): where
    the rays point to, clockwise from north (within a degree or two of it, by latitude).
    """

    fetch_m: NDArray[np.float32]
    place: Ints
    bearing_deg: Floats
    lon: Floats
    lat: Floats


def sea_openness(
    lon: ArrayLike,
    lat: ArrayLike,
    coast: Coast,
    *,
    directions: int = DIRECTIONS,
    shore: tuple[ArrayLike, ArrayLike] | None = None,
) -> Floats:
    """Share of open sea around the nearest shore, 0 to 1.

    Parameters
    ----------
    lon, lat : array_like, shape (n,)
        Degrees, WGS 84; NaN gives NaN.
    coast : Coast
        Shoreline; one without sides gives NaN.
    directions, shore
        As in `sea_fetch`.

    Returns
    -------
    ndarray, shape (n,)
        Mean over the directions of fetch over `FETCH_M`.
    """
    rays = sea_fetch(lon, lat, coast, directions=directions, shore=shore)
    share = rays.fetch_m / np.float32(FETCH_M) @ np.ones(directions) / directions
    out = np.full(len(rays.place), np.nan)
    out[rays.place >= 0] = share[rays.place[rays.place >= 0]]
    return out


def sea_fetch(
    lon: ArrayLike,
    lat: ArrayLike,
    coast: Coast,
    *,
    directions: int = DIRECTIONS,
    shore: tuple[ArrayLike, ArrayLike] | None = None,
) -> SeaFetch:
    """Sea in front of the nearest shore, by direction.

    Parameters
    ----------
    lon, lat : array_like, shape (n,)
        Degrees, WGS 84.
    coast : Coast
        Shoreline.
    directions : int
        Number of rays, evenly spaced; the first points half a spacing east of north.
    shore : pair of array_like, optional
        Longitude and latitude of the nearest place of the shore, to spare the search.

    Returns
    -------
    SeaFetch
        Known to about `CELL_M`. Position errors of the shoreline come on top.
    """
    lon, lat = (np.atleast_1d(np.asarray(v, float)) for v in (lon, lat))
    bearing = (np.arange(directions) + 0.5) * 360 / directions
    place = np.full(len(lon), -1, np.int64)
    none = SeaFetch(np.empty((0, directions), np.float32), place, bearing, *np.empty((2, 0)))
    if not coast.sided:
        return none
    if shore is None:
        shore = coast.shore(lon, lat)[2:]
    foot = ecef_m(*shore)
    known = np.flatnonzero(np.isfinite(foot).all(axis=1))
    if not len(known):
        return none
    tile_of, tiles = _tiles(foot[known])
    pieces = _pieces_near(coast, foot[known])
    found, starts, rows = [], [], 0
    for tile in range(tiles):
        member = known[tile_of == tile]
        fetch, start, own = _tile_fetch(foot[member], pieces, bearing)
        place[member] = rows + own
        rows += len(fetch)
        found.append(fetch)
        starts.append(start)
    return SeaFetch(np.concatenate(found), place, bearing, *lonlat_deg(np.concatenate(starts)))


def _tiles(foot: Floats) -> tuple[Ints, int]:
    key, own = np.unique(_cube(foot, _TILE_M), return_inverse=True)
    return own, len(key)


def _cube(foot: Floats, side_m: float) -> Ints:
    """One number for the cube of space a place lies in (sides of 7 m and more)."""
    at = np.round(foot / side_m).astype(np.int64) + (1 << 20)
    return np.asarray((at[:, 0] << 42) | (at[:, 1] << 21) | at[:, 2])


def _pieces_near(coast: Coast, foot: Floats) -> CoastIndex:
    """Every piece of coast that a ray can reach, with some to spare."""
    from scipy.spatial import cKDTree

    spacing = FETCH_M / 2
    _, one_of = np.unique(_cube(foot, spacing), return_index=True)
    cells = np.round(foot[one_of] / spacing) * spacing
    # A tile is drawn whole, corners and all.
    reach = (FETCH_M + _TILE_M) * np.sqrt(2) + spacing
    gap = cKDTree(cells).query(coast.block_centre_m, workers=-1)[0]
    blocks = np.flatnonzero(gap - coast.block_radius_m <= reach)
    first = (blocks[:, None] * BLOCK + np.arange(BLOCK)).ravel()
    first = first[first < len(coast.vertex_deg) - 1]
    return build_index(coast.vertex_deg, coast.line_start, first, sided=True)


class _Grid(NamedTuple):
    """Square cells in a plane: centre of the first cell and their number."""

    east_m: float
    north_m: float
    columns: int
    rows: int


def _tile_fetch(
    foot: Floats, pieces: CoastIndex, bearing_deg: Floats
) -> tuple[NDArray[np.float32], Floats, Ints]:
    """Fetch (places, directions), where its rays start (places, 3), and the row of each foot."""
    origin = foot.mean(axis=0)
    axes = _plane(origin)
    at = (foot - origin) @ axes.T
    margin = FETCH_M + 4 * CELL_M
    low, high = at.min(axis=0) - margin, at.max(axis=0) + margin
    columns, rows = (int(n) for n in np.ceil((high - low) / CELL_M))
    grid = _Grid(float(low[0]), float(low[1]), columns, rows)
    reach = float(np.linalg.norm(np.maximum(np.abs(low), np.abs(high))))
    # The plane lies above the globe by reach^2 / 2R at most; the chord is that much longer.
    near = pieces.tree.query_ball_point(origin, reach * 1.01 + pieces.half_m + CELL_M)
    near = np.asarray(near, np.int64)
    start = (pieces.start_m[near] - origin) @ axes.T
    end = start + pieces.step_m[near] @ axes.T
    # Whole centimetres, so that the shared end of two pieces is one number.
    land = _land_cells(np.round(start, 2), np.round(end, 2), grid)
    column, row = np.round((at - low) / CELL_M).astype(np.int64).T
    cell, own = np.unique(row * columns + column, return_inverse=True)
    cell, start_of = np.unique(_start_cells(land, cell), return_inverse=True)
    place = origin + (low + CELL_M * np.column_stack([cell % columns, cell // columns])) @ axes
    fetch = _cast(land, cell, bearing_deg)
    return fetch, place, start_of[own.ravel()]


def _plane(origin: Floats) -> Floats:
    """East and north unit vectors (2, 3) of the plane that touches the globe at a point."""
    up = origin / np.linalg.norm(origin)
    east = np.array([-up[1], up[0], 0.0])
    length = np.linalg.norm(east)
    east = east / length if length > 1e-9 else np.array([0.0, 1.0, 0.0])  # at a pole: any
    return np.stack([east, np.cross(up, east)])


def _land_cells(start: Floats, end: Floats, grid: _Grid) -> NDArray[np.bool_]:
    """Which cells' centres are land, by counting the shores crossed on the way to them.

    Land lies to the left of every piece, so each crossing is a step onto land or off it. The
    first column is counted upwards, then every row from there; what is left open, the state of
    the first cell, is chosen so that the cells on the seaward side of the pieces are sea.
    """
    first = np.array([grid.east_m, grid.north_m])
    a, b = (np.asarray(v - first) / CELL_M for v in (start, end))
    count = np.zeros((grid.rows, grid.columns), np.int8)
    _count_crossings(count[:, 0], a[:, ::-1], b[:, ::-1], +1)
    _count_crossings(count, a, b, -1)
    np.cumsum(count[:, 0], out=count[:, 0], dtype=np.int8)
    np.cumsum(count, axis=1, out=count, dtype=np.int8)
    # One and a half cells to the right of the pieces' middles.
    step = b - a
    length = np.hypot(*step.T)
    seaward = (a + b) / 2 + 1.5 * np.column_stack([step[:, 1], -step[:, 0]]) / np.maximum(
        length, 1e-9
    )[:, None]
    column, row = np.round(seaward).astype(np.int64).T
    inside = (column >= 0) & (column < grid.columns) & (row >= 0) & (row < grid.rows)
    sea = count[row[inside], column[inside]]
    return count > (np.median(sea) if len(sea) else 0)


def _count_crossings(count: NDArray[np.int8], a: Floats, b: Floats, upward: int) -> None:
    """Add the crossings of each row's line of centres, at the first centre past them.

    `a`, `b` are ends of pieces in cells. A one-dimensional `count` is a single column: there
    the roles of the axes are swapped and only the line through 0 counts.
    """
    single = count.ndim == 1
    rows = 1 if single else count.shape[0]
    columns = count.shape[-1]
    # Rows whose line lies at or above one end and below the other.
    low, high = (np.clip(np.ceil(end[:, 1]), 0, rows).astype(np.int64) for end in (a, b))
    crossed = np.abs(high - low)
    piece = np.repeat(np.arange(len(a)), crossed)
    nth = np.arange(len(piece)) - np.repeat(np.cumsum(crossed) - crossed, crossed)
    row = np.minimum(low, high)[piece] + nth
    share = (row - a[piece, 1]) / (b[piece, 1] - a[piece, 1])
    column = np.ceil(a[piece, 0] + share * (b[piece, 0] - a[piece, 0])).astype(np.int64)
    sign = np.where(high > low, upward, -upward)[piece].astype(np.int8)
    keep = (column > 0) & (column < columns)  # before the first cell: part of its unknown state
    np.add.at(count, column[keep] if single else (row[keep], column[keep]), sign[keep])


def _start_cells(land: NDArray[np.bool_], cell: Ints) -> Ints:
    """Of a cell and its neighbours, the one with most sea in its 3 x 3; of equals, the nearest."""
    columns = land.shape[1]
    rows_up = np.array([0, 0, 1, 0, -1, 1, 1, -1, -1])
    columns_on = np.array([0, 1, 0, -1, 0, 1, -1, -1, 1])
    wide = (np.arange(-2, 3)[:, None] * columns + np.arange(-2, 3)).ravel()
    sea = ~land.ravel()[cell[:, None] + wide].reshape(-1, 5, 5)
    count = np.stack(
        [
            sea[:, 1 + up : 4 + up, 1 + on : 4 + on].sum(axis=(1, 2))
            for up, on in zip(rows_up, columns_on, strict=True)
        ],
        axis=1,
    )
    return np.asarray(cell + (rows_up * columns + columns_on)[count.argmax(axis=1)])


def _cast(land: NDArray[np.bool_], cell: Ints, bearing_deg: Floats) -> NDArray[np.float32]:
    """Fetch of rays from some cells; all rays of one direction visit the same cells."""
    columns = land.shape[1]
    steps = int(np.ceil(FETCH_M / CELL_M))
    length = FETCH_M / steps
    along = (np.arange(steps) + 0.5) * length / CELL_M
    angle = np.radians(bearing_deg)[:, None]
    rows_up = np.round(np.cos(angle) * along).astype(np.int64)
    offset = (rows_up * columns + np.round(np.sin(angle) * along).astype(np.int64)).ravel()
    flat = land.ravel()
    allowed = int(LAND_TOLERANCE_M / length)
    fetch = np.empty((len(cell), len(bearing_deg)), np.float32)
    at_once = max(1, _RAYS_AT_ONCE // len(bearing_deg))
    for begin in range(0, len(cell), at_once):
        part = slice(begin, begin + at_once)
        seen = flat[cell[part, None] + offset].reshape(-1, len(bearing_deg), steps)
        crossed: NDArray[Any] = np.cumsum(seen, axis=2, dtype=np.uint8)  # 160 steps
        fetch[part] = ((crossed <= allowed) & ~seen).sum(axis=2, dtype=np.uint16) * length
    return fetch


LAYER = Layer(
    name="openness",
    of="coast",
    gives=(Value("sea_openness", source="sea_openness_source"),),
    needs=("shore_lon", "shore_lat"),
    sample=lambda coast, places: {
        "sea_openness": sea_openness(
            *lonlat(places), coast, shore=(places["shore_lon"], places["shore_lat"])
        )
    },
)
