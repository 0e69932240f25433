"""Which pieces of a shore are near which points: one search, written twice.

By scipy's k-d tree, and by a tree of boxes that numba compiles (`coast_fast`, where the extra
`fast` is installed and the points are many). Both hand over the same pieces, and what is made of
them is the same arithmetic in the same order, so that they agree to the last bit. Of pieces
equally near, the first along the layer counts: an answer depends on its point alone.
"""

from __future__ import annotations

from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from saltreach.layers import coast_fast

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

FAST_FROM = 50_000
"""Points from which what is compiled is worth bringing in: half a second, the first time some."""
_FEW = 500
_TOLD_APART_M = 0.01
_AT_ONCE = (4, 24)  # middles asked for at first, and where they do not settle it
_CURVE_M = 100.0
_MOST = np.iinfo(np.int64).max


class Pieces(NamedTuple):
    """Straight pieces in space: from `start_m` to `start_m + step_m` (k, 3); `step2_m2` (k,)."""

    start_m: Floats
    step_m: Floats
    step2_m2: Floats


class Nearest(NamedTuple):
    """Of each point (n,): squared distance, piece, and the foot's place on it, 0 to 1."""

    distance2_m2: Floats
    piece: Ints
    share: Floats


class Candidates(NamedTuple):
    """Pairs of a point and a piece near it, the points in order, and the foot's place on it."""

    owner: Ints
    piece: Ints
    share: Floats


def feet(pieces: Pieces, points_m: Floats, piece: Ints) -> tuple[Floats, Floats]:
    """Squared distance of points to a piece each, and the foot's place on it, 0 to 1."""
    start, step = pieces.start_m[piece], pieces.step_m[piece]
    x, y, z = (points_m[:, axis] - start[:, axis] for axis in range(3))
    a, b, c = step.T
    share = np.minimum(np.maximum((x * a + y * b + z * c) / pieces.step2_m2[piece], 0.0), 1.0)
    x, y, z = x - share * a, y - share * b, z - share * c
    return x * x + y * y + z * z, share


def first_of_least(owner: Ints, value: Floats, piece: Ints, count: int) -> Ints:
    """Row of the least value of each owner, of equals that of the first piece.

    Owners are sorted, each has a row, and none has a piece twice.
    """
    starts = np.searchsorted(owner, np.arange(count))
    equal = value == np.minimum.reduceat(value, starts)[owner]
    first = np.minimum.reduceat(np.where(equal, piece, _MOST), starts)
    return np.flatnonzero(equal & (piece == first[owner]))


def cube_numbers(points_m: Floats, side_m: float) -> Ints:
    """One number for the cube of space each place lies in (sides of 7 m and more)."""
    at = np.round(points_m / side_m).astype(np.int64) + (1 << 20)
    return np.asarray((at[:, 0] << 42) | (at[:, 1] << 21) | at[:, 2])


def curve_order(points_m: Floats) -> Ints:
    """An order in which neighbours in space come one after another (Morton 1966)."""
    cell = np.floor(points_m / _CURVE_M).astype(np.int64) + (1 << 20)
    key = np.zeros(len(cell), np.uint64)
    for axis in range(3):
        bits = cell[:, axis].astype(np.uint64)
        for shift, mask in (
            (32, 0x1F00000000FFFF),
            (16, 0x1F0000FF0000FF),
            (8, 0x100F00F00F00F00F),
            (4, 0x10C30C30C30C30C3),
            (2, 0x1249249249249249),
        ):
            bits = (bits | (bits << np.uint64(shift))) & np.uint64(mask)
        key |= bits << np.uint64(axis)
    return np.argsort(key)


class TreeSearch:
    """Search by scipy.

    `half_m`: half the longest piece. `tree`: of the pieces' middles.
    """

    def __init__(self, pieces: Pieces, half_m: float, tree: cKDTree, workers: int = -1) -> None:
        self.pieces, self.half_m, self.tree, self.workers = pieces, half_m, tree, workers

    def nearest(self, points_m: Floats) -> Nearest:
        """The nearest piece of each point."""
        found = Nearest(*(np.empty(len(points_m), kind) for kind in (float, np.int64, float)))
        left = np.arange(len(points_m))
        for at_once in _AT_ONCE:
            if not len(left):
                return found
            sure = self._of_some(points_m[left], min(at_once, self.tree.n), left, found)
            left = left[~sure]
        if len(left):
            # a nearer piece has its middle within half a piece of the best distance so far
            near = np.sqrt(found.distance2_m2[left])
            owner, piece = self._around(points_m[left], near)
            distance2, share = feet(self.pieces, points_m[left][owner], piece)
            row = first_of_least(owner, distance2, piece, len(left))
            for whole, part in zip(found, (distance2, piece, share), strict=True):
                whole[left] = part[row]
        return found

    def _of_some(
        self, points_m: Floats, at_once: int, rows: Ints, found: Nearest
    ) -> NDArray[np.bool_]:
        """The best of the pieces with the nearest middles, and whether no other can be nearer."""
        middle, piece = self.tree.query(points_m, k=range(1, at_once + 1), workers=self.workers)
        owner = np.repeat(np.arange(len(rows)), at_once)
        piece = piece.ravel()
        distance2, share = feet(self.pieces, points_m[owner], piece)
        row = first_of_least(owner, distance2, piece, len(rows))
        for whole, part in zip(found, (distance2, piece, share), strict=True):
            whole[rows] = part[row]
        reach = np.sqrt(distance2[row]) + self.half_m + _TOLD_APART_M
        return (middle[:, -1] > reach) | (at_once == self.tree.n)

    def within(self, points_m: Floats, limit_m: Floats) -> Candidates:
        """Every piece within a distance of each point."""
        owner, piece = self._around(points_m, limit_m)
        distance2, share = feet(self.pieces, points_m[owner], piece)
        kept = distance2 <= (limit_m * limit_m)[owner]
        return Candidates(owner[kept], piece[kept], share[kept])

    def _around(self, points_m: Floats, reach_m: Floats) -> tuple[Ints, Ints]:
        radius = reach_m + self.half_m + _TOLD_APART_M
        lists = self.tree.query_ball_point(
            points_m, radius, workers=self.workers, return_sorted=False
        )
        count = np.fromiter(map(len, lists), np.int64, len(lists))
        piece = np.fromiter((i for hit in lists for i in hit), np.int64, int(count.sum()))
        return np.repeat(np.arange(len(points_m)), count), piece


def fast_for(count: int) -> Any:
    """What is compiled, where there is something and the points of this run are worth it."""
    _asked[0] += count
    return coast_fast.compiled() if count >= _FEW and _asked[0] >= FAST_FROM else None


_asked = [0]  # points so far: many small parts are worth it as one large one is


class FastSearch:
    """Search by boxes with the loops of `coast_fast`; the same answers as those of `TreeSearch`."""

    def __init__(self, pieces: Pieces, boxes: BoxTree, loops: Any) -> None:
        self.pieces, self.boxes, self.loops = pieces, boxes, loops

    def nearest(self, points_m: Floats) -> Nearest:
        """The nearest piece of each point; quick where one point lies beside the next."""
        return Nearest(*self.loops.nearest(points_m, *self.pieces, *self.boxes))

    def within(self, points_m: Floats, limit_m: Floats) -> Candidates:
        """Every piece within a distance of each point."""
        found = self.loops.within(points_m, limit_m * limit_m, *self.pieces, *self.boxes)
        return Candidates(*found)


class BoxTree(NamedTuple):
    """Boxes around boxes around pieces, eight in each.

    `order` (k,): pieces along a curve, eight to a box of the lowest level. `corners` (b, 6):
    low and high corner of each box, the one around all first. `level` : where each level
    begins, and the number of boxes.
    """

    order: Ints
    corners: Floats
    level: Ints


FAN = 8


def box_tree(pieces: Pieces) -> BoxTree:
    """Boxes around pieces, of which there is one at least."""
    end = pieces.start_m + pieces.step_m
    order = curve_order(pieces.start_m + pieces.step_m / 2)
    low, high = np.minimum(pieces.start_m, end)[order], np.maximum(pieces.start_m, end)[order]
    levels: list[Floats] = []
    while not levels or len(low) > 1:
        at = np.arange(0, len(low), FAN)
        low, high = np.minimum.reduceat(low, at), np.maximum.reduceat(high, at)
        levels.insert(0, np.hstack([low, high]))
    level = np.cumsum([0, *map(len, levels)])
    return BoxTree(order, np.vstack(levels), level)
