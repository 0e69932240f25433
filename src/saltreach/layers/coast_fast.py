"""The search for the nearest pieces as loops, which numba compiles (the extra `fast`).

Word for word the arithmetic of `coast_search.feet`; nothing may be reordered or contracted
(no fastmath), for both searches agree to the last bit. A box is passed over only where it is
farther than the best piece by more than rounding can hide. Uncompiled, these are plain Python.
"""

from __future__ import annotations

from functools import lru_cache
from types import SimpleNamespace
from typing import Any

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

_FAN = 8  # boxes in a box, as coast_search.box_tree makes them
_DEEP = 256  # boxes put aside: eight a level at most, of 2^31 pieces 88


@lru_cache(maxsize=1)
def compiled() -> Any:
    """`nearest`, `within` and `sea_cells` compiled; None where numba cannot do it.

    That is where it is not installed, or finds no folder to keep what it compiled in.
    """
    try:
        import numba
        from numba.extending import register_jitable
    except ImportError:
        return None
    for part in (_foot, _gap2, _limit):
        register_jitable(part)
    compile_ = numba.njit(cache=True, nogil=True)
    try:
        return SimpleNamespace(**{f.__name__: compile_(f) for f in (nearest, within, sea_cells)})
    except RuntimeError:
        return None


def _foot(
    x: float, y: float, z: float, k: int, start: Floats, step: Floats, step2: Floats
) -> tuple[float, float]:
    x -= start[k, 0]
    y -= start[k, 1]
    z -= start[k, 2]
    a, b, c = step[k, 0], step[k, 1], step[k, 2]
    share = min(max((x * a + y * b + z * c) / step2[k], 0.0), 1.0)
    x -= share * a
    y -= share * b
    z -= share * c
    return x * x + y * y + z * z, share


def _gap2(x: float, y: float, z: float, box: Floats) -> float:
    a = max(box[0] - x, x - box[3], 0.0)
    b = max(box[1] - y, y - box[4], 0.0)
    c = max(box[2] - z, z - box[5], 0.0)
    return a * a + b * b + c * c


def _limit(distance2: float) -> float:
    return distance2 * (1 + 1e-9) + 1e-3


def nearest(
    points: Floats,
    start: Floats,
    step: Floats,
    step2: Floats,
    order: Ints,
    corners: Floats,
    level: Ints,
) -> tuple[Floats, Ints, Floats]:
    """Squared distance, piece and the foot's place on it, of each point.

    Parameters
    ----------
    points : ndarray, shape (n, 3)
        Earth-centred, metres; the piece of one is the first guess for the next.
    start, step, step2, order, corners, level
        `coast_search.Pieces` and `coast_search.BoxTree`.
    """
    many, lowest = len(points), len(level) - 2
    distance2, piece, share = np.empty(many), np.empty(many, np.int64), np.empty(many)
    box_of, depth_of = np.empty(_DEEP, np.int64), np.empty(_DEEP, np.int64)
    gap_of = np.empty(_DEEP)
    near_gap, near_box = np.empty(_FAN), np.empty(_FAN, np.int64)
    own = order[0]
    for i in range(many):
        x, y, z = points[i, 0], points[i, 1], points[i, 2]
        best, at = _foot(x, y, z, own, start, step, step2)
        limit = _limit(best)
        box_of[0], depth_of[0], gap_of[0], top = 0, 0, 0.0, 1
        while top > 0:
            top -= 1
            if gap_of[top] > limit:
                continue
            first, depth = box_of[top] * _FAN, depth_of[top]
            if depth == lowest:
                for q in range(first, min(first + _FAN, len(order))):
                    k = order[q]
                    d, s = _foot(x, y, z, k, start, step, step2)
                    if d < best or (d == best and k < own):
                        best, own, at = d, k, s
                        limit = _limit(best)
                continue
            begin = level[depth + 1]
            found = 0
            for child in range(first, min(first + _FAN, level[depth + 2] - begin)):
                gap = _gap2(x, y, z, corners[begin + child])
                if gap <= limit:
                    j = found
                    while j > 0 and near_gap[j - 1] < gap:
                        near_gap[j], near_box[j] = near_gap[j - 1], near_box[j - 1]
                        j -= 1
                    near_gap[j], near_box[j] = gap, child
                    found += 1
            for j in range(found):  # the nearest last, to be looked at first
                box_of[top], depth_of[top], gap_of[top] = near_box[j], depth + 1, near_gap[j]
                top += 1
        distance2[i], piece[i], share[i] = best, own, at
    return distance2, piece, share


def within(
    points: Floats,
    limit2: Floats,
    start: Floats,
    step: Floats,
    step2: Floats,
    order: Ints,
    corners: Floats,
    level: Ints,
) -> tuple[Ints, Ints, Floats]:
    """Point, piece and the foot's place on it, of all pairs no farther apart than a limit.

    Parameters
    ----------
    points : ndarray, shape (n, 3)
        Earth-centred, metres.
    limit2 : ndarray, shape (n,)
        Squared limit of each point, m2.
    start, step, step2, order, corners, level
        As in `nearest`.
    """
    lowest = len(level) - 2
    size = 4 * len(points) + 64
    owner, piece, share = np.empty(size, np.int64), np.empty(size, np.int64), np.empty(size)
    box_of, depth_of = np.empty(_DEEP, np.int64), np.empty(_DEEP, np.int64)
    many = 0
    for i in range(len(points)):
        x, y, z = points[i, 0], points[i, 1], points[i, 2]
        limit = _limit(limit2[i])
        box_of[0], depth_of[0], top = 0, 0, 1
        while top > 0:
            top -= 1
            first, depth = box_of[top] * _FAN, depth_of[top]
            if depth == lowest:
                for q in range(first, min(first + _FAN, len(order))):
                    k = order[q]
                    d, s = _foot(x, y, z, k, start, step, step2)
                    if d <= limit2[i]:
                        if many == size:
                            more = np.empty(size, np.int64)
                            owner = np.concatenate((owner, more))
                            piece = np.concatenate((piece, more))
                            share = np.concatenate((share, np.empty(size)))
                            size *= 2
                        owner[many], piece[many], share[many] = i, k, s
                        many += 1
                continue
            begin = level[depth + 1]
            for child in range(first, min(first + _FAN, level[depth + 2] - begin)):
                if _gap2(x, y, z, corners[begin + child]) <= limit:
                    box_of[top], depth_of[top] = child, depth + 1
                    top += 1
    return owner[:many].copy(), piece[:many].copy(), share[:many].copy()


def sea_cells(flat: NDArray[np.bool_], cell: Ints, offset: Ints, allowed: int) -> NDArray[np.uint8]:
    """Cells of sea on each ray (cells, directions) before it has crossed too many of land.

    Parameters
    ----------
    flat : ndarray of bool
        Which cells are land.
    cell : ndarray of int, shape (n,)
        Where rays start.
    offset : ndarray of int, shape (directions, steps)
        What is added to a cell's number along each ray.
    allowed : int
        Cells of land that end no ray yet.
    """
    directions, steps = offset.shape
    sea = np.zeros((len(cell), directions), np.uint8)
    for i in range(len(cell)):
        for d in range(directions):
            land = 0
            count = 0
            for s in range(steps):
                if flat[cell[i] + offset[d, s]]:
                    land += 1
                    if land > allowed:
                        break
                else:
                    count += 1
            sea[i, d] = count
    return sea
