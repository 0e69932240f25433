"""The search behind the coast layer: nearest piece of shoreline, by distance and by side.

It runs in earth-centred coordinates, so the antimeridian and the poles are ordinary places.

A segment is a straight line in longitude and latitude between two vertices, as every GIS
draws it; it is cut into pieces of at most `PIECE_M`, and a piece is a straight chord (at most
2 cm below the ellipsoid). Up to `EXACT_BEYOND_M` the chord distance is turned into an arc by
the mean radius (error below 0.1 m); beyond it every candidate piece is measured by the exact
geodesic.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.spatial import cKDTree

from saltreach.layers.geodesy import GEOD, MEAN_RADIUS_M, ecef_m, lonlat_deg

PIECE_M = 1000.0
EXACT_BEYOND_M = 200_000.0
_CHUNK = 20_000  # points measured at once, which bounds memory

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]


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

    `start_m`, `step_m` (k, 3): piece from `start_m` to `start_m + step_m`. `normal` (k, 3):
    unit vector towards land. `before`, `after`: neighbouring piece, or -1.
    """

    start_m: Floats
    step_m: Floats
    step2_m2: Floats
    normal: Floats
    before: Ints
    after: Ints
    half_m: float
    sided: bool
    tree: cKDTree

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
        if not len(self.start_m):
            return NearestShore(*found)
        # Neighbours in space share pieces in memory: a curve order keeps the caches warm.
        known = known[np.lexsort((lon[known], np.floor(lat[known] * 4)))]
        for part in np.array_split(known, max(1, -(-len(known) // _CHUNK))):
            found[:, part] = self._measure(lon[part], lat[part])
        return NearestShore(*found)

    def _measure(self, lon: Floats, lat: Floats) -> NearestShore:
        points = ecef_m(lon, lat)
        distance, piece, share = self._closest(lon, lat, points)
        foot = self.start_m[piece] + share[:, None] * self.step_m[piece]
        side = np.full(len(lon), np.nan)
        if self.sided:
            side = self._on_land(points - foot, piece, share)
        return NearestShore(distance, side, *lonlat_deg(foot))

    def _closest(self, lon: Floats, lat: Floats, points: Floats) -> tuple[Floats, Ints, Floats]:
        """Distance, piece and the foot's place on it, 0 to 1."""
        chord, piece, foot = self._nearest(points)
        distance = 2 * MEAN_RADIUS_M * np.arcsin(np.minimum(chord / (2 * MEAN_RADIUS_M), 1))
        far = np.flatnonzero(distance > EXACT_BEYOND_M)
        if len(far):
            distance[far], piece[far], foot[far] = self._farther(
                lon[far], lat[far], points[far], chord[far]
            )
        return distance, piece, foot

    def _feet(self, points: Floats, piece: Ints) -> tuple[Floats, Floats]:
        """Squared distance to a piece, and the foot's place on it, 0 to 1."""
        away = points - self.start_m[piece]
        step = self.step_m[piece]
        foot = np.clip(np.einsum("ij,ij->i", away, step) / self.step2_m2[piece], 0, 1)
        away -= foot[:, None] * step
        return np.einsum("ij,ij->i", away, away), foot

    def _nearest(self, points: Floats) -> tuple[Floats, Ints, Floats]:
        middle, piece = self.tree.query(points, workers=-1)
        best2, _ = self._feet(points, piece)
        # A nearer piece has its middle within half a piece of the best distance so far.
        owner, piece = self._within(points, np.sqrt(best2) + self.half_m)
        distance2, foot = self._feet(points[owner], piece)
        first = _first_of_least(owner, distance2, len(points))
        return np.sqrt(distance2[first]), piece[first], foot[first]

    def _within(self, points: Floats, radius_m: Floats) -> tuple[Ints, Ints]:
        lists = self.tree.query_ball_point(points, radius_m + 0.01, workers=-1, return_sorted=False)
        count = np.fromiter(map(len, lists), np.int64, len(lists))
        piece = np.fromiter((i for hit in lists for i in hit), np.int64, int(count.sum()))
        return np.repeat(np.arange(len(points)), count), piece

    def _farther(
        self, lon: Floats, lat: Floats, points: Floats, chord: Floats
    ) -> tuple[Floats, Ints, Floats]:
        """Exact geodesics to every piece whose chord is within the ellipsoid's play."""
        play = chord * (chord / MEAN_RADIUS_M) ** 2 * 1.5e-3  # twice the spread of radii / 24
        owner, piece = self._within(points, chord + play + self.half_m)
        _, foot = self._feet(points[owner], piece)
        at_lon, at_lat = lonlat_deg(self.start_m[piece] + foot[:, None] * self.step_m[piece])
        exact = np.asarray(GEOD.inv(lon[owner], lat[owner], at_lon, at_lat)[2])
        first = _first_of_least(owner, exact, len(points))
        return exact[first], piece[first], foot[first]

    def _on_land(self, away: Floats, piece: Ints, foot: Floats) -> Floats:
        """Side by the normal of the piece, or of both pieces that meet where the foot is.

        `away`: from the foot to the point; `foot`: the foot's place on the piece, 0 to 1.
        """
        normal = self.normal[piece].copy()
        for end, neighbour in ((foot <= 0, self.before), (foot >= 1, self.after)):
            other = neighbour[piece]
            use = end & (other >= 0)
            normal[use] += self.normal[other[use]]
        return (np.einsum("ij,ij->i", away, normal) >= 0).astype(float)


def _first_of_least(owner: Ints, value: Floats, count: int) -> Ints:
    """Row of the least value of each owner; owners are sorted and each has a row."""
    starts = np.searchsorted(owner, np.arange(count))
    least = np.minimum.reduceat(value, starts)
    rows = np.flatnonzero(value == least[owner])
    return rows[np.searchsorted(owner[rows], np.arange(count))]


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
    length = np.linalg.norm(ecef_m(*b.T) - ecef_m(*a.T), axis=1)
    parts = np.maximum(1, np.ceil(length / PIECE_M)).astype(np.int64)
    segment = np.repeat(np.arange(len(first)), parts)
    nth = np.arange(len(segment)) - np.repeat(np.cumsum(parts) - parts, parts)
    share = (nth / parts[segment])[:, None]
    share_end = ((nth + 1) / parts[segment])[:, None]
    start = ecef_m(*(a[segment] + share * (b - a)[segment]).T)
    step = ecef_m(*(a[segment] + share_end * (b - a)[segment]).T) - start
    step2 = np.einsum("ij,ij->i", step, step)
    up = start + step / 2
    normal = np.cross(up, step)
    normal /= np.maximum(np.linalg.norm(normal, axis=1), 1e-9)[:, None]
    before, after = _neighbours(vertex_deg, line_start, first, parts)
    return CoastIndex(
        start_m=start,
        step_m=step,
        step2_m2=np.maximum(step2, 1e-9),
        normal=normal,
        before=before,
        after=after,
        half_m=float(np.sqrt(step2.max()) / 2) if len(step2) else 0.0,
        sided=sided,
        tree=cKDTree(up, leafsize=32),
    )


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
