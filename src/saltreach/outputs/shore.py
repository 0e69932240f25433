"""The land that a drawing shows: every vertex beside the places, ever fewer away from them.

There are no tiles and so no seams: each shore stays one line, whose vertices are thinned by more
the farther they lie from the nearest place, and land that a layer cuts at 180 degrees is joined.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from saltreach.errors import LayerError
from saltreach.layers.geodesy import ecef_m

if TYPE_CHECKING:
    import geopandas as gpd

Floats = np.ndarray
Window = tuple[float, float, float, float]

FINE_M = 4000.0
"""Within this distance of a place every vertex is drawn; our own drawing choice."""
LEAST_FINE_M = 500.0
"""A register of very many places has it this small, so that the file stays small."""
FINE_SHARE = 0.004
"""Farther away a shore is off by at most this share of its distance: two pixels of a screen."""
WINDOW_SHARE = 1e-4
"""And by at most this share of the window's width: a tenth of a pixel."""
_DEGREE_M = 111_000.0
LINE_VERTICES = 8_000
"""Roads of one rank have at most so many vertices near the places, and away from them."""
_WIDER = 4.0  # each step's distance and tolerance over the one before
_GROWTH = (2.0, 1.1)  # of the share and of the widest tolerance, where vertices are too many
_WIDEST_DEG = 1.0


def window_coast(
    coast: gpd.GeoDataFrame,
    window: Window,
    *,
    places: np.ndarray | None = None,
    max_vertices: int = 30_000,
    max_fine_vertices: int = 40_000,
) -> tuple[str, list[np.ndarray]]:
    """Land (or shoreline) inside the window, with the detail that can be seen.

    Parameters
    ----------
    coast : geopandas.GeoDataFrame
        Land polygons or shoreline lines, EPSG:4326; may be empty.
    window : tuple of float
        West, south, east, north, degrees; longitudes may lie beyond 180.
    places : ndarray, shape (n, 2), optional
        Longitude and latitude. Within `FINE_M` of one every vertex is kept.
    max_vertices : int
        The tolerances away from the places grow until no more are left there.
    max_fine_vertices : int
        `FINE_M` is halved until no more are left beside them.

    Returns
    -------
    kind : str
        `land`, `shoreline` or `none`.
    parts : list of numpy.ndarray
        Rings (holes and outlines alike, for even-odd filling) or lines, each (n, 2) lon, lat.

    Raises
    ------
    LayerError
        When the CRS is missing.
    """
    import shapely

    if len(coast) == 0:
        return "none", []
    if coast.crs is None:
        raise LayerError("coast: the coordinate system is not known; set it before drawing")
    geometry = coast.geometry.to_crs("EPSG:4326").values
    geometry = shapely.get_parts(np.asarray(geometry[~geometry.isna()]))
    areal = np.isin(shapely.get_type_id(geometry), (3, 6))
    kind = "land" if areal.any() else "shoreline"
    geometry = geometry[areal] if areal.any() else geometry
    pieces = pieces_in(geometry, window)
    if len(pieces) == 0:
        # Polygons that leave the window empty mean open sea; without any, nothing is known.
        return kind, []
    detail = _Detail(places, window)
    if kind == "land":
        pieces = pieces[shapely.area(pieces) > detail.least_area(pieces)]
        rings, owner = shapely.get_rings(pieces, return_index=True)
        area = shapely.area(shapely.polygons(rings))
        rings, kept = _thinned(rings, area, detail, max_vertices, max_fine_vertices)
        lines = shapely.get_rings(shapely.get_parts(_land(rings, owner[kept])))
    else:
        area = np.full(len(pieces), np.inf)
        lines, _ = _thinned(pieces, area, detail, max_vertices, max_fine_vertices)
    return kind, [shapely.get_coordinates(line) for line in lines]


class _Detail:
    """How far a drawn shore may be off at each place: in steps, each of them wider."""

    def __init__(self, places: np.ndarray | None, window: Window) -> None:
        from scipy.spatial import cKDTree

        self.fine_m = FINE_M
        self.widest_deg = max(1e-4, (window[2] - window[0]) * WINDOW_SHARE)
        self.share = FINE_SHARE
        self.tree = None
        if places is not None and len(places):
            self.tree = cKDTree(
                np.unique(np.round(ecef_m(*np.asarray(places, float).T), -2), axis=0)
            )

    def widen(self) -> None:
        """Fewer vertices away from the places."""
        self.share *= _GROWTH[0]
        self.widest_deg *= _GROWTH[1]

    @property
    def steps(self) -> int:
        """Number of the step that has the widest tolerance."""
        ratio = self.widest_deg * _DEGREE_M / (self.share * self.fine_m)
        return 1 + max(int(np.ceil(np.log(ratio) / np.log(_WIDER))), 0)

    def tolerance_deg(self, step: np.ndarray) -> Floats:
        """Of each step; none in the first."""
        near = self.share * self.fine_m / _DEGREE_M * _WIDER ** (step - 1)
        return np.where(step == 0, 0.0, np.minimum(near, self.widest_deg))

    def away_m(self, xy: Floats) -> Floats:
        """Distance to the nearest place, infinite where that is too far to matter."""
        if self.tree is None:
            return np.full(len(xy), np.inf)
        far_m = self.fine_m * _WIDER**self.steps
        return self.tree.query(ecef_m(*xy.T), distance_upper_bound=far_m)[0]

    def step(self, away_m: Floats) -> np.ndarray:
        """Step of a distance."""
        with np.errstate(divide="ignore"):
            wider = np.floor(np.log(away_m / self.fine_m) / np.log(_WIDER)) + 1
        return np.clip(wider, 0, self.steps).astype(np.int64)

    def least_area(self, shapes: np.ndarray) -> Floats:
        """Land smaller than this is a dot that nobody sees, square degrees."""
        import shapely

        west, south, east, north = shapely.bounds(shapes).T
        half_m = np.hypot(east - west, north - south) / 2 * _DEGREE_M
        away = self.away_m(np.column_stack([west + east, south + north]) / 2) - half_m
        return (2 * self.tolerance_deg(self.step(np.maximum(away, 0.0)))) ** 2


def _thinned(
    lines: np.ndarray, area: Floats, detail: _Detail, max_vertices: int, max_fine_vertices: int
) -> tuple[np.ndarray, np.ndarray]:
    """Lines with fewer vertices, without those of too small an area, and which they were.

    Vertices of the first step are all kept, and so is each end.
    """
    import shapely

    xy, line = shapely.get_coordinates(lines, return_index=True)
    away = detail.away_m(xy)
    # A long edge passes a place nearer than its ends.
    edge = np.hypot(*np.diff(xy, axis=0).T) * (line[1:] == line[:-1]) * _DEGREE_M
    away = np.maximum(away - np.maximum(np.append(edge, 0.0), np.append(0.0, edge)), 0.0)
    while (away < detail.fine_m).sum() > max_fine_vertices and detail.fine_m > LEAST_FINE_M:
        detail.fine_m /= 2
    step = detail.step(away)
    nearest = np.full(len(lines), detail.steps)
    np.minimum.at(nearest, line, step)
    spacing_deg = np.median(edge) / _DEGREE_M
    while True:  # a guess of how many are left spares rounds over all of them
        tolerance = np.maximum(detail.tolerance_deg(np.arange(1, detail.steps + 1)), spacing_deg)
        count = np.bincount(step, minlength=detail.steps + 1)[1:]
        if (count * spacing_deg / tolerance).sum() < 4 * max_vertices:
            break
        detail.widen()
        step, nearest = np.minimum(step, detail.steps), np.minimum(nearest, detail.steps)
    while True:
        seen = (area > (2 * detail.tolerance_deg(nearest)) ** 2)[line]
        xy, line, step = xy[seen], line[seen], step[seen]
        for k in range(1, detail.steps + 1):
            keep = _kept(xy, line, step >= k, float(detail.tolerance_deg(np.array(k))))
            xy, line, step = xy[keep], line[keep], step[keep]
        if (step > 0).sum() <= max_vertices or detail.widest_deg >= _WIDEST_DEG:
            break
        detail.widen()
        step, nearest = np.minimum(step, detail.steps), np.minimum(nearest, detail.steps)
    kept, of_line = np.unique(line, return_inverse=True)
    return shapely.linestrings(xy, indices=of_line), kept


def _kept(xy: Floats, line: np.ndarray, free: np.ndarray, tolerance_deg: float) -> np.ndarray:
    """Vertices left (mask) when each run of free ones is simplified between its ends."""
    import shapely

    start = np.flatnonzero((line[1:] == line[:-1]) & free[1:] & free[:-1])
    first = np.flatnonzero(np.diff(start, prepend=-2) > 1)
    count = np.diff(np.append(first, len(start))) + 1
    run = np.repeat(np.arange(len(first)), count)
    at = np.repeat(start[first] - np.cumsum(count) + count, count) + np.arange(len(run))
    numbered = np.column_stack([xy[at], at])  # the height of a vertex says which it is
    runs = shapely.linestrings(numbered, indices=run)
    thin = shapely.simplify(runs, tolerance_deg, preserve_topology=False)
    keep = np.ones(len(xy), dtype=bool)
    keep[at] = False
    keep[shapely.get_coordinates(thin, include_z=True)[:, 2].astype(np.int64)] = True
    return keep


def _land(rings: np.ndarray, owner: np.ndarray) -> np.ndarray:
    """Valid land of thinned outlines and holes, joined where a layer had cut it."""
    import shapely

    corners = shapely.get_num_coordinates(rings)
    outline = np.flatnonzero(np.diff(owner, prepend=-1))
    of_outline = outline[np.searchsorted(outline, np.arange(len(owner)), side="right") - 1]
    whole = (corners > 3) & (corners[of_outline] > 3)  # a hole goes with its outline
    xy, ring = shapely.get_coordinates(rings[whole], return_index=True)
    number = np.unique(owner[whole], return_inverse=True)[1]
    shapes = mended(shapely.polygons(shapely.linearrings(xy, indices=ring), indices=number))
    # most land touches no other: to join all of it takes as long as everything else here
    shapes = shapes[np.argsort(-shapely.get_num_coordinates(shapes), kind="stable")]
    large, small = shapely.STRtree(shapes).query(shapes)
    large, small = large[large < small], small[large < small]
    shapely.prepare(shapes)  # what is prepared stands first below: a continent is gone through once
    pairs = shapely.intersects(shapes[large], shapes[small])
    touching = np.zeros(len(shapes), dtype=bool)
    touching[large[pairs]] = touching[small[pairs]] = True
    joined = shapely.get_parts(shapely.union_all(shapes[touching]))
    return np.concatenate([joined, shapes[~touching]])


def mended(shapes: np.ndarray) -> np.ndarray:
    """Valid shapes; those that are valid already stay as they are."""
    import shapely

    wrong = ~shapely.is_valid(shapes)
    shapes[wrong] = shapely.make_valid(shapes[wrong])
    return shapes


def thinned_lines(lines: np.ndarray, window: Window, places: np.ndarray) -> list[np.ndarray]:
    """Lines beside which nothing lies, as a road, with the detail that can be seen.

    Parameters
    ----------
    lines : ndarray of shapely lines
        From `pieces_in`.
    window, places
        As for `window_coast`.

    Returns
    -------
    list of numpy.ndarray
        Each (n, 2) lon, lat.
    """
    import shapely

    if not len(lines):
        return []
    thin, _ = _thinned(
        lines, np.full(len(lines), np.inf), _Detail(places, window), LINE_VERTICES, LINE_VERTICES
    )
    return [shapely.get_coordinates(line) for line in thin]


def pieces_in(geometry: np.ndarray, window: Window) -> np.ndarray:
    """Single lines or polygons inside a window, moved by whole turns to where it lies."""
    return np.concatenate([_turned_and_cut(geometry, turn, window) for turn in (-360, 0, 360)])


def _turned_and_cut(
    geometry: np.ndarray, turn_deg: int, window: tuple[float, float, float, float]
) -> np.ndarray:
    """Parts inside the window after moving the geometry east by whole turns."""
    import shapely

    west, south, east, north = window
    box = (west - turn_deg, south, east - turn_deg, north)
    bounds = shapely.bounds(geometry)
    near = (bounds[:, :2] <= box[2:]).all(axis=1) & (bounds[:, 2:] >= box[:2]).all(axis=1)
    across = near & ~((bounds[:, :2] >= box[:2]) & (bounds[:, 2:] <= box[2:])).all(axis=1)
    # Cut first, mend after: a continent has far more vertices than its part in the window.
    cut = mended(shapely.clip_by_rect(geometry[across], *box))
    parts = shapely.get_parts(shapely.get_parts(np.append(geometry[near & ~across], cut)))
    # A land polygon that only touches the box leaves lines or points behind.
    kinds = (3, 6) if np.isin(shapely.get_type_id(geometry), (3, 6)).all() else (1, 2, 5)
    parts = parts[np.isin(shapely.get_type_id(parts), kinds) & ~shapely.is_empty(parts)]
    if turn_deg == 0:
        return parts
    return shapely.transform(parts, lambda c: c + [float(turn_deg), 0.0])
