"""Which positions lie together: pairs and groups within a distance, anywhere on the Earth."""

from __future__ import annotations

from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

MOST_PAIRS = 5_000_000
"""Memory: with more pairs than this, positions are first thinned."""
_APART_M = 1e9
"""Farther than any two places, in a direction of its own: parts that never meet."""


def earth_m(lon: np.ndarray, lat: np.ndarray) -> NDArray[np.float64]:
    """Earth-centred coordinates, m, (n, 3): no seam at 180 degrees and none at the poles."""
    from pyproj import Transformer

    to_earth = Transformer.from_crs("EPSG:4979", "EPSG:4978", always_xy=True)
    return np.column_stack(to_earth.transform(lon, lat, np.zeros(len(lon))))


def thinned(
    xyz: np.ndarray, owner: np.ndarray, step_m: float
) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """One position of each owner in each cube of a side, and which stands for each position."""
    at = _cube(xyz, owner, step_m)
    return np.flatnonzero(np.diff(np.maximum.accumulate(at), prepend=-1)), at


def _cube(xyz: np.ndarray, owner: np.ndarray, side_m: float) -> NDArray[np.int64]:
    """Number of each position's cube, in the order in which they are met."""
    cubes = pd.DataFrame(np.floor(xyz / side_m).astype(np.int64)).assign(owner=owner)
    number = cubes.groupby(list(cubes.columns), sort=False).ngroup()
    return number.to_numpy(np.int64)


def _pairs_at_most(xyz: np.ndarray, part: np.ndarray, reach_m: float) -> float:
    """Rough upper bound of the pairs within a distance: a cube touches eight on the ground."""
    return 4.5 * float((np.bincount(_cube(xyz, part, reach_m)).astype(float) ** 2).sum())


def pairs_within(
    xyz: np.ndarray, part: np.ndarray, reach_m: float, *, owner: np.ndarray | None = None
) -> tuple[NDArray[np.int64], NDArray[np.int64], NDArray[np.int64]]:
    """Positions that stand for all, and pairs of them within a distance.

    Parameters
    ----------
    xyz : ndarray, shape (n, 3)
        Metres, from `earth_m`.
    part : ndarray of int, shape (n,)
        Only positions of one part make pairs.
    reach_m : float
        Distance, m, along a straight line.
    owner : ndarray of int, optional
        Positions of one owner may stand for each other; those of one part by default.

    Returns
    -------
    kept : ndarray of int
        The positions that stand for all: all of them, where that makes no more than about
        `MOST_PAIRS` pairs, else one of each cube of the least side that does.
    at : ndarray of int, shape (n,)
        Which of them stands for each position.
    pairs : ndarray of int, shape (m, 2)
        Places in `kept`.
    """
    owner = part if owner is None else owner
    kept = at = np.arange(len(xyz))
    step_m = reach_m / 64
    while _pairs_at_most(xyz[kept], part[kept], reach_m) > MOST_PAIRS and step_m < reach_m / 2:
        kept, at = thinned(xyz, owner, step_m)
        step_m *= 2
    pairs = tree_of(xyz[kept], part[kept]).query_pairs(reach_m, output_type="ndarray")
    return kept, at, pairs


def groups_within(xyz: np.ndarray, part: np.ndarray, reach_m: float) -> NDArray[np.int64]:
    """Group of each position: those that steps of a distance join (single linkage)."""
    from scipy.sparse import coo_array
    from scipy.sparse.csgraph import connected_components

    kept, at, pairs = pairs_within(xyz, part, reach_m)
    ones = np.ones(len(pairs), dtype=bool)
    links = coo_array((ones, pairs.T), shape=(len(kept), len(kept)))
    return connected_components(links, directed=False)[1][at].astype(np.int64)


def tree_of(xyz: np.ndarray, part: np.ndarray) -> Any:
    """A tree of positions in which those of different parts are never near each other."""
    from scipy.spatial import cKDTree

    return cKDTree(place_in(xyz, part))


def place_in(xyz: np.ndarray, part: np.ndarray) -> NDArray[np.float64]:
    """Positions as `tree_of` holds them."""
    return np.column_stack([xyz, part * _APART_M])
