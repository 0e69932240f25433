"""The search behind the coast layer: nearest piece of shoreline, by distance and by side.

It runs in earth-centred coordinates, so the antimeridian and the poles are ordinary places.

A segment is a straight line in longitude and latitude between two vertices, as every GIS
draws it; it is cut into pieces of at most `PIECE_M`, and a piece is a straight chord (at most
2 cm below the ellipsoid). Up to `EXACT_BEYOND_M` the chord distance is turned into an arc by
the mean radius (error below 0.1 m); beyond it every candidate piece is measured by the exact
geodesic.
"""

from __future__ import annotations

import os
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from functools import cached_property
from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.spatial import cKDTree

from saltreach.layers.coast_search import (
    BoxTree,
    FastSearch,
    Floats,
    Ints,
    Nearest,
    Pieces,
    TreeSearch,
    box_tree,
    curve_order,
    fast_for,
    feet,
    first_of_least,
)
from saltreach.layers.geodesy import GEOD, MEAN_RADIUS_M, ecef_m, lonlat_deg

PIECE_M = 1000.0
EXACT_BEYOND_M = 200_000.0
_CHUNK = 20_000  # points measured at once by a core, which bounds memory


class NearestShore(NamedTuple):
    """What the coast layer says of each point.

    `distance_m`: geodesic distance to the nearest shoreline, never negative. `on_land`: 1 on
    land, 0 at sea, NaN where the layer does not tell sides. `lon`, `lat`: that nearest place of
    the shoreline, degrees, WGS 84.
    """

    distance_m: Floats
    on_land: Floats
    lon: Floats
    lat: Floats


@dataclass(frozen=True)
class CoastIndex:
    """Pieces of coast around some points, ready to be measured against.

    `start_m`, `step_m` (k, 3): piece from `start_m` to `start_m + step_m`. `before`, `after`:
    neighbouring piece, or -1.
    """

    start_m: Floats
    step_m: Floats
    step2_m2: Floats
    before: Ints
    after: Ints
    half_m: float
    sided: bool

    @cached_property
    def tree(self) -> cKDTree:
        """Of the pieces' middles."""
        return cKDTree(self.start_m + self.step_m / 2, leafsize=32)

    @cached_property
    def boxes(self) -> BoxTree:
        """Around the pieces."""
        return box_tree(self.pieces)

    @property
    def pieces(self) -> Pieces:
        """What is searched."""
        return Pieces(self.start_m, self.step_m, self.step2_m2)

    @property
    def normal(self) -> Floats:
        """Unit vector of each piece towards land (k, 3)."""
        return _normals(self.start_m, self.step_m)

    def shore(self, lon: ArrayLike, lat: ArrayLike) -> NearestShore:
        """The nearest piece and the side of it, for points this index was made for.

        Parameters
        ----------
        lon, lat : array_like, shape (n,)
            Degrees, WGS 84; NaN gives NaN.
        """
        lon, lat = (np.atleast_1d(np.asarray(v, float)) for v in (lon, lat))
        found = np.full((4, len(lon)), np.nan)
        known = np.flatnonzero(np.isfinite(lon) & np.isfinite(lat))
        if not len(self.start_m) or not len(known):
            return NearestShore(*found)
        # neighbours in space share pieces in memory, and one is a first guess for the next
        known = known[curve_order(ecef_m(lon[known], lat[known]))]
        parts = np.array_split(known, -(-len(known) // _CHUNK))
        search = self._search(len(known), alone=len(parts) == 1)

        def measure(part: Ints) -> None:
            found[:, part] = self._measure(lon[part], lat[part], search)

        if len(parts) == 1:
            measure(known)
        else:
            with ThreadPoolExecutor(os.cpu_count()) as threads:
                list(threads.map(measure, parts))
        return NearestShore(*found)

    def _search(self, count: int, *, alone: bool) -> TreeSearch | FastSearch:
        """What finds the pieces; every core has its part of the points unless one is `alone`."""
        fast = fast_for(count)
        if fast is not None:
            return FastSearch(self.pieces, self.boxes, fast)
        return TreeSearch(self.pieces, self.half_m, self.tree, -1 if alone else 1)

    def _measure(self, lon: Floats, lat: Floats, search: TreeSearch | FastSearch) -> NearestShore:
        points = ecef_m(lon, lat)
        distance, piece, share = self._closest(lon, lat, points, search)
        foot = self._foot(piece, share)
        side = np.full(len(lon), np.nan)
        if self.sided:
            side = self._on_land(points - foot, piece, share)
        return NearestShore(distance, side, *lonlat_deg(foot))

    def _closest(
        self, lon: Floats, lat: Floats, points: Floats, search: TreeSearch | FastSearch
    ) -> Nearest:
        """Distance, piece and the foot's place on it, 0 to 1."""
        chord2, piece, share = search.nearest(points)
        chord = np.sqrt(chord2)
        distance = 2 * MEAN_RADIUS_M * np.arcsin(np.minimum(chord / (2 * MEAN_RADIUS_M), 1))
        far = np.flatnonzero(distance > EXACT_BEYOND_M)
        if len(far):
            distance[far], piece[far], share[far] = self._farther(
                lon[far], lat[far], points[far], chord[far], search
            )
        return Nearest(distance, piece, share)

    def _farther(
        self,
        lon: Floats,
        lat: Floats,
        points: Floats,
        chord: Floats,
        search: TreeSearch | FastSearch,
    ) -> Nearest:
        """Exact geodesics to every piece whose chord is within the ellipsoid's play."""
        owner, piece, share = search.within(points, chord + chord_play_m(chord))
        twice = self._ends_where_the_next_begins(points, owner, piece, share)
        owner, piece, share = owner[~twice], piece[~twice], share[~twice]
        at_lon, at_lat = lonlat_deg(self._foot(piece, share))
        exact = np.asarray(GEOD.inv(lon[owner], lat[owner], at_lon, at_lat)[2])
        first = first_of_least(owner, exact, piece, len(points))
        return Nearest(exact[first], piece[first], share[first])

    def _ends_where_the_next_begins(
        self, points: Floats, owner: Ints, piece: Ints, share: Floats
    ) -> NDArray[np.bool_]:
        """Which feet lie on the vertex that is also the foot on the next piece, named once more."""
        twice = (share >= 1) & (self.after[piece] >= 0)
        at = np.flatnonzero(twice)
        twice[at] = feet(self.pieces, points[owner[at]], self.after[piece[at]])[1] <= 0
        return twice

    def _foot(self, piece: Ints, share: Floats) -> Floats:
        """Places on pieces, (n, 3), each axis in one run of memory: rounding may not depend on
        how many are asked, as it may where a library takes another road through memory."""
        return np.stack(
            [self.start_m[piece, axis] + share * self.step_m[piece, axis] for axis in range(3)]
        ).T

    def _on_land(self, away: Floats, piece: Ints, foot: Floats) -> Floats:
        """Side by the normal of the piece, or of both pieces that meet where the foot is.

        `away`: from the foot to the point; `foot`: the foot's place on the piece, 0 to 1.
        """
        normal = _normals(self.start_m[piece], self.step_m[piece])
        for end, neighbour in ((foot <= 0, self.before), (foot >= 1, self.after)):
            use = np.flatnonzero(end & (neighbour[piece] >= 0))
            other = neighbour[piece[use]]
            normal[use] += _normals(self.start_m[other], self.step_m[other])
        x, y, z = (away * normal).T
        return (x + y + z >= 0).astype(float)


def chord_play_m(chord_m: Floats) -> Floats:
    """By how much a longer chord may belong to a shorter geodesic; points on the ellipsoid."""
    return chord_m * (chord_m / MEAN_RADIUS_M) ** 2 * 1.5e-3  # twice the spread of radii / 24


def _normals(start_m: Floats, step_m: Floats) -> Floats:
    """Unit vectors (n, 3) to the left of pieces, along the ground."""
    (a, b, c), (u, v, w) = (start_m + step_m / 2).T, step_m.T
    x, y, z = b * w - c * v, c * u - a * w, a * v - b * u
    length = np.maximum(np.sqrt(x * x + y * y + z * z), 1e-9)
    return np.stack([x / length, y / length, z / length], axis=1)


def build_index(vertex_deg: Floats, line_start: Ints, first: Ints, *, sided: bool) -> CoastIndex:
    """Index of the segments that start at the vertices `first` (sorted).

    Parameters
    ----------
    vertex_deg : ndarray, shape (n, 2)
        Longitude and latitude of all vertices, degrees.
    line_start : ndarray, shape (m + 1,)
        First vertex of each line, and n.
    first : ndarray of int
        Segments to index, by their first vertex.
    sided : bool
        Whether land lies to the left of the drawing direction.
    """
    last_of_line = np.zeros(len(vertex_deg), bool)
    last_of_line[line_start[1:] - 1] = True
    a, b = vertex_deg[first], vertex_deg[first + 1]
    seam = (np.abs(a[:, 0]) == 180) & (a[:, 0] == b[:, 0])  # where a layer is cut at 180 degrees
    seam |= (np.abs(a[:, 1]) >= 89.999) | (np.abs(b[:, 1]) >= 89.999)  # and closed at the pole
    keep = ~last_of_line[first] & ~seam
    first, a, b = first[keep], a[keep], b[keep]
    begin, end = _ends_m(vertex_deg, first)
    length = np.linalg.norm(end - begin, axis=1)
    parts = np.maximum(1, np.ceil(length / PIECE_M)).astype(np.int64)
    segment = np.repeat(np.arange(len(first)), parts)
    nth = np.arange(len(segment)) - np.repeat(np.cumsum(parts) - parts, parts)
    start, step = begin[segment], end[segment]
    inner = np.flatnonzero(nth > 0)
    cut = segment[inner]
    share = (nth[inner] / parts[cut])[:, None]
    start[inner] = ecef_m(*(a[cut] + share * (b - a)[cut]).T)
    step[inner - 1] = start[inner]
    step -= start
    x, y, z = step.T
    step2 = x * x + y * y + z * z
    before, after = _neighbours(vertex_deg, line_start, first, parts)
    return CoastIndex(
        start_m=start,
        step_m=step,
        step2_m2=np.maximum(step2, 1e-9),
        before=before,
        after=after,
        half_m=float(np.sqrt(step2.max()) / 2) if len(step2) else 0.0,
        sided=sided,
    )


def _ends_m(vertex_deg: Floats, first: Ints) -> tuple[Floats, Floats]:
    """Both ends of segments (n, 3); of many, each vertex is worked out once."""
    if len(first) < len(vertex_deg) // 8:
        return ecef_m(*vertex_deg[first].T), ecef_m(*vertex_deg[first + 1].T)
    used = np.zeros(len(vertex_deg), bool)
    used[first] = used[first + 1] = True
    place = ecef_m(*vertex_deg[used].T)
    row = np.cumsum(used) - 1
    return place[row[first]], place[row[first + 1]]


def _neighbours(
    vertex_deg: Floats, line_start: Ints, first: Ints, parts: Ints
) -> tuple[Ints, Ints]:
    """Index of the piece before and after each piece along its line, -1 where there is none."""
    piece_from = np.cumsum(parts) - parts
    count = int(parts.sum())
    before, after = np.arange(count) - 1, np.arange(count) + 1
    line = np.searchsorted(line_start, first, side="right") - 1
    begin, end = line_start[line], line_start[line + 1] - 1
    closed = (vertex_deg[begin] == vertex_deg[end]).all(axis=1)
    for step, own, out in ((-1, piece_from, before), (1, piece_from + parts - 1, after)):
        wanted = first + step
        wanted = np.where(closed & (wanted < begin), end - 1, wanted)
        wanted = np.where(closed & (wanted >= end), begin, wanted)
        at = np.minimum(np.searchsorted(first, wanted), max(len(first) - 1, 0))
        there = (first[at] == wanted) & (wanted >= begin) & (wanted < end)
        piece = piece_from[at] + (parts[at] - 1 if step < 0 else 0)
        out[own] = np.where(there, piece, -1)
    return before, after
