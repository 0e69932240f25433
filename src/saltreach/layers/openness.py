"""How open the sea is at the shore an anchor belongs to: headland, straight coast, bay or fjord.

Openness is measured where the salt is made: rays start beside the anchor's foot, the nearest
place of the shoreline, however far inland the anchor stands. A ray ends once the land it has
crossed adds up to more than `LAND_TOLERANCE_M`, so that neither an islet nor a wiggle smaller
than the shoreline's own error decides; the sea it has crossed by then is its fetch. Openness is
the mean fetch over all directions as a share of `FETCH_M`: about 0.5 on a straight
coast, more on a headland, less in a bay, near 0 at the head of a ria or fjord.

The coast is drawn on square cells of `CELL_M` in planes that touch the globe, one for each of the
Earth's tiles of about `TILE_DEG`: the antimeridian and the poles are ordinary places, and a foot
has the same value whichever others are asked with it. Rays start in the cell with the most sea
around it among the foot's own and its eight neighbours: on the shoreline itself, a metre would
decide whether a ray along the shore is at sea. Anchors that share this cell share a value.
"""

from __future__ import annotations

import os
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from typing import Any, NamedTuple
from weakref import WeakKeyDictionary

import numpy as np
from numpy.typing import ArrayLike, NDArray

from saltreach.layers.coast import Coast
from saltreach.layers.coast_index import CoastIndex
from saltreach.layers.coast_search import Floats, Ints, fast_for
from saltreach.layers.geodesy import ecef_m, lonlat_deg, metres_per_degree
from saltreach.layers.layer import Layer, Value, lonlat

FETCH_M = 20_000.0
"""Sea that a ray may cross at most: openness is the mean share of it; judgement."""
DIRECTIONS = 36
CELL_M = 125.0
"""Rays at a place, and their steps."""
LAND_TOLERANCE_M = 500.0
"""Land a ray may cross in all, m: twice the embedded shoreline's standard deviation."""
TILE_DEG = 0.18
"""Height of a tile, 20 km; none is wider than that."""
_HALF_CELLS = 245  # from a tile's middle: its half and the fetch, 30.1 km, and 4 cells to spare
_RAYS_AT_ONCE = 20_000  # bounds memory: a ray of 20 km has 160 samples
_LEGS = (8, 24, 64)  # samples after which ended rays are left: most that end do so soon
_TILES_KEPT = 128  # a quarter of a megabyte each


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
    out = np.full(len(np.atleast_1d(lon)), np.nan)
    for rows, own, rays in _by_tile(lon, lat, coast, shore, _bearings(directions)):
        # a fetch is a whole number of cells: no order of adding changes the sum
        share = rays.fetch_m.sum(axis=1, dtype=float) / (FETCH_M * directions)
        out[rows] = share[own]
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
    bearing = _bearings(directions)
    place = np.full(len(np.atleast_1d(lon)), -1, np.int64)
    fetch, starts, count = [np.empty((0, directions), np.float32)], [np.empty((0, 3))], 0
    for rows, own, rays in _by_tile(lon, lat, coast, shore, bearing):
        place[rows] = count + own
        count += len(rays.fetch_m)
        fetch.append(rays.fetch_m)
        starts.append(rays.start_m)
    return SeaFetch(np.concatenate(fetch), place, bearing, *lonlat_deg(np.concatenate(starts)))


def _bearings(directions: int) -> Floats:
    return (np.arange(directions) + 0.5) * 360 / directions


class _Rays(NamedTuple):
    """Fetch of distinct places (places, directions), and where their rays start (places, 3)."""

    fetch_m: NDArray[np.float32]
    start_m: Floats


def _by_tile(
    lon: ArrayLike,
    lat: ArrayLike,
    coast: Coast,
    shore: tuple[ArrayLike, ArrayLike] | None,
    bearing_deg: Floats,
) -> Iterator[tuple[Ints, Ints, _Rays]]:
    """Tile by tile: the rows whose feet it holds, the place of each among its rays, and these."""
    if not coast.sided:
        return
    if shore is None:
        shore = coast.shore(lon, lat)[2:]
    at_lon, at_lat = (np.atleast_1d(np.asarray(v, float)) for v in shore)
    known = np.flatnonzero(np.isfinite(at_lon) & np.isfinite(at_lat))
    number = tile_numbers(at_lon[known], at_lat[known])
    order = np.argsort(number, kind="stable")
    known, number = known[order], number[order]
    begin = np.flatnonzero(np.diff(number, prepend=-1))
    wanted = number[begin]
    tiles = _Tiles(coast, wanted)
    fast = fast_for(len(known))

    def work(tile: int, rows: Ints) -> tuple[Ints, Ints, _Rays]:
        return rows, *_tile_rays(
            ecef_m(at_lon[rows], at_lat[rows]), tiles.drawn(tile), bearing_deg, fast
        )

    with ThreadPoolExecutor(os.cpu_count()) as threads:
        run = threads.map if len(begin) > 1 else map
        yield from run(work, wanted.tolist(), np.split(known, begin[1:]))


def tile_numbers(lon: Floats, lat: Floats) -> Ints:
    """Which of the Earth's tiles holds each place.

    Parameters
    ----------
    lon, lat : ndarray, shape (n,)
        Degrees, WGS 84.
    """
    row = np.clip(np.floor((lat + 90) / TILE_DEG), 0, _ROWS - 1).astype(np.int64)
    column = np.floor((lon + 180) / 360 * _COLUMNS[row]).astype(np.int64)
    return _FIRST[row] + column % _COLUMNS[row]


def tile_middles(number: Ints) -> Floats:
    """Earth-centred places (n, 3) of the middles of tiles, m."""
    row = np.searchsorted(_FIRST, number, side="right") - 1
    column = number - _FIRST[row]
    return ecef_m((column + 0.5) * 360 / _COLUMNS[row] - 180, (row + 0.5) * TILE_DEG - 90)


def _columns() -> Ints:
    """Tiles around the Earth in each row, where it is widest no wider than they are high."""
    south = np.arange(_ROWS) * TILE_DEG - 90
    east_m, _ = metres_per_degree(np.minimum(np.abs(south), np.abs(south + TILE_DEG)))
    return np.ceil(360 * east_m / (TILE_DEG * metres_per_degree(0.0)[1])).astype(np.int64)


_ROWS = round(180 / TILE_DEG)
_COLUMNS = _columns()
_FIRST = np.cumsum(_COLUMNS) - _COLUMNS


class _Drawn(NamedTuple):
    """Cells of a tile and of what lies around it: `origin_m` (3,) is the centre of the middle
    one, `axes` (2, 3) are east and north; row 0 is the south."""

    land: NDArray[np.bool_]
    origin_m: Floats
    axes: Floats


_KEPT: WeakKeyDictionary[Coast, dict[int, _Drawn]] = WeakKeyDictionary()


class _Tiles:
    """Some tiles of a coast: those drawn not long ago, and others, drawn when they are asked."""

    def __init__(self, coast: Coast, wanted: Ints) -> None:
        self.kept = _KEPT.setdefault(coast, {})
        self.ready = {n: self.kept[n] for n in wanted.tolist() if n in self.kept}
        new = np.array([n for n in wanted.tolist() if n not in self.ready], np.int64)
        middle = tile_middles(new)
        self.middle = dict(zip(new.tolist(), middle, strict=True))
        self.pieces = _pieces_near(coast, middle)

    def drawn(self, number: int) -> _Drawn:
        """One of them."""
        tile = self.ready.get(number)
        if tile is None:
            tile = _draw(self.middle[number], self.pieces)
            self.kept[number] = tile
            if len(self.kept) > _TILES_KEPT:
                self.kept.pop(next(iter(self.kept)), None)
        return tile


def _pieces_near(coast: Coast, middle: Floats) -> CoastIndex:
    """Every piece of coast that is drawn with some tiles, corners and all, and some to spare."""
    from scipy.spatial import cKDTree

    reach = (_HALF_CELLS + 8) * CELL_M * np.sqrt(2)
    gap = cKDTree(middle).query(coast.block_centre_m, workers=-1)[0]
    return coast.index_of(np.flatnonzero(gap - coast.block_radius_m <= reach))


class _Grid(NamedTuple):
    """Square cells in a plane: centre of the first cell and their number."""

    east_m: float
    north_m: float
    columns: int
    rows: int


def _draw(origin: Floats, pieces: CoastIndex) -> _Drawn:
    """The tile whose middle is at a place."""
    axes = _plane(origin)
    half_m = _HALF_CELLS * CELL_M
    wide = 2 * _HALF_CELLS + 1
    # The plane lies above the globe by reach^2 / 2R at most; the chord is that much longer.
    near = pieces.tree.query_ball_point(
        origin, (_HALF_CELLS + 4) * CELL_M * np.sqrt(2) + pieces.half_m
    )
    near = np.asarray(near, np.int64)
    start, end = (
        # Whole centimetres, so that the shared end of two pieces is one number.
        np.round(_on_plane(place, origin, axes), 2)
        for place in (pieces.start_m[near], pieces.start_m[near] + pieces.step_m[near])
    )
    return _Drawn(_land_cells(start, end, _Grid(-half_m, -half_m, wide, wide)), origin, axes)


def _on_plane(place: Floats, origin: Floats, axes: Floats) -> Floats:
    """Places (n, 3) as metres east and north of an origin (n, 2), each for itself."""
    x, y, z = (place - origin).T
    return np.stack([x * a + y * b + z * c for a, b, c in axes], axis=1)


def _tile_rays(foot: Floats, tile: _Drawn, bearing_deg: Floats, fast: Any) -> tuple[Ints, _Rays]:
    """The place of each foot among the rays of a tile, and these."""
    columns = tile.land.shape[1]
    at = _on_plane(foot, tile.origin_m, tile.axes)
    column, row = np.round(at / CELL_M).astype(np.int64).T + _HALF_CELLS
    cell, own = np.unique(row * columns + column, return_inverse=True)
    cell, start_of = np.unique(_start_cells(tile.land, cell), return_inverse=True)
    on, up = (cell % columns - _HALF_CELLS)[:, None], (cell // columns - _HALF_CELLS)[:, None]
    start = tile.origin_m + CELL_M * (on * tile.axes[0] + up * tile.axes[1])
    return start_of[own.ravel()], _Rays(_cast(tile.land, cell, bearing_deg, fast), start)


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


def _cast(
    land: NDArray[np.bool_], cell: Ints, bearing_deg: Floats, fast: Any = None
) -> NDArray[np.float32]:
    """Fetch of rays from some cells; all rays of one direction visit the same cells.

    `fast`: the loops of `coast_fast`, where they are to be used; the numbers are the same.
    """
    columns = land.shape[1]
    steps = int(np.ceil(FETCH_M / CELL_M))
    length = FETCH_M / steps
    along = (np.arange(steps) + 0.5) * length / CELL_M
    angle = np.radians(bearing_deg)[:, None]
    rows_up = np.round(np.cos(angle) * along).astype(np.int64)
    offset = rows_up * columns + np.round(np.sin(angle) * along).astype(np.int64)
    flat = land.ravel()
    allowed = int(LAND_TOLERANCE_M / length)
    if fast is not None:
        return np.asarray(fast.sea_cells(flat, cell, offset, allowed) * np.float32(length))
    sea = np.empty((len(cell), len(offset)), np.uint8)
    at_once = max(1, _RAYS_AT_ONCE // len(offset))
    for begin in range(0, len(cell), at_once):
        part = slice(begin, begin + at_once)
        sea[part] = _sea_cells(flat, cell[part], offset, allowed)
    return np.asarray(sea * np.float32(length))


def _sea_cells(
    flat: NDArray[np.bool_], cell: Ints, offset: Ints, allowed: int
) -> NDArray[np.uint8]:
    """Cells of sea on each ray (cells, directions) before it has crossed too many of land."""
    steps = offset.shape[1]
    ray = np.arange(len(cell) * len(offset))
    sea, crossed = np.zeros((2, len(ray)), np.uint8)  # 160 steps
    start = np.repeat(cell, len(offset))
    for begin, end in zip((0, *_LEGS), (*_LEGS, steps), strict=True):
        seen = flat[start[ray, None] + offset[ray % len(offset), begin:end]]
        land = np.cumsum(seen, axis=1, dtype=np.uint8) + crossed[ray, None]
        sea[ray] += ((land <= allowed) & ~seen).sum(axis=1, dtype=np.uint8)
        crossed[ray] = land[:, -1]
        ray = ray[land[:, -1] <= allowed]
    return sea.reshape(len(cell), len(offset))


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
