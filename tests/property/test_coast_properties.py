"""What must hold for any coast and any points: an answer depends on its point alone.

To the last bit: whatever else is asked with it, in which order, in how many parts, by which of
both searches, and whichever blocks are loaded.
"""

import sys
from types import SimpleNamespace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from helpers.coasts import box, coast_of
from saltreach.layers import coast_fast, coast_index, coast_search, openness
from saltreach.layers.coast import load_coast
from saltreach.layers.coast_search import FastSearch, Pieces, TreeSearch, box_tree, feet
from saltreach.layers.openness import sea_fetch, sea_openness

seeds = st.integers(0, 2**32 - 1)


def everywhere(rng, coast, many):
    """Points of the whole Earth, beside vertices and on them, in groups, at its seams; unknown."""
    vertex = coast.vertex_deg[rng.integers(0, len(coast.vertex_deg), many)]
    near = vertex + rng.normal(0, 1, (many, 2)) * 10.0 ** rng.uniform(-6, 0, (many, 1))
    far = np.column_stack([rng.uniform(-180, 180, many), rng.uniform(-90, 90, many)])
    sector = vertex[:1] + rng.normal(0, 1e-3, (many, 2))
    seams = [[180, 0], [-180, 0], [0, 90], [17, -90], [180, 68.9], [np.nan, 0], [0, np.nan]]
    points = np.vstack([near, vertex, far, sector, seams])
    points[:, 1] = np.clip(points[:, 1], -90, 90)
    return rng.permutation(points)


def in_parts(rng, ask, points):
    """The same asked part by part, in another order."""
    order = rng.permutation(len(points))
    cuts = np.sort(rng.integers(0, len(points) + 1, rng.integers(1, 6)))
    single = np.flatnonzero(np.arange(len(points)) < 3)
    parts = [*np.split(order, cuts), *order[single][:, None]]
    whole = [np.full(len(points), np.nan) for _ in ask(*points[:1].T)]
    for part in parts:
        for values, found in zip(whole, ask(*points[part].T), strict=True):
            values[part] = found
    return whole


def same_bits(found, other):
    for one, two in zip(found, other, strict=True):
        np.testing.assert_array_equal(np.asarray(one), np.asarray(two))


@given(seed=seeds)
def test_a_distance_depends_on_its_point_alone(seed):
    rng, coast = np.random.default_rng(seed), load_coast()
    points = everywhere(rng, coast, 12)
    coast._loaded.clear()
    whole = coast.shore(*points.T)
    same_bits(whole, in_parts(rng, coast.shore, points))
    coast._loaded.clear()
    same_bits(whole, in_parts(rng, coast.shore, points))


@given(seed=seeds)
def test_of_shores_equally_near_the_same_one_is_always_named(seed):
    """Squares on whole hundredths of a degree: points midway between two of them."""
    rng = np.random.default_rng(seed)
    west, south = (v.ravel() for v in np.meshgrid(np.arange(4) / 50, np.arange(-2, 2) / 50))
    order = rng.permutation(len(west))
    coast = coast_of(*[box(x, y, x + 0.01, y + 0.01)
                       for x, y in zip(west[order], south[order], strict=True)])  # fmt: skip
    points = rng.integers(-2, 18, (60, 2)) / [200, 200] - [0, 0.04]
    same_bits(coast.shore(*points.T), in_parts(rng, coast.shore, points))


def some_pieces(rng, many):
    """Chains of pieces in a box of 20 km, whose ends others share, so that distances are equal."""
    corner = np.round(rng.uniform(-1e4, 1e4, (many + 1, 3)) / 500) * 500
    corner[1:] = corner[:-1] + np.clip(corner[1:] - corner[:-1], -500, 500)
    start, step = corner[:-1], np.diff(corner, axis=0)
    return Pieces(start, step, np.maximum((step * step).sum(axis=1), 1e-9))


def searches(pieces):
    half = float(np.sqrt(pieces.step2_m2.max()) / 2)
    tree = coast_search.cKDTree(pieces.start_m + pieces.step_m / 2, leafsize=32)
    yield TreeSearch(pieces, half, tree, 1)
    for loops in filter(None, (coast_fast, coast_fast.compiled())):
        yield FastSearch(pieces, box_tree(pieces), loops)


@given(seed=seeds, many=st.sampled_from([1, 2, 7, 8, 9, 64, 65, 700]))
def test_both_searches_find_what_looking_at_every_piece_finds(seed, many):
    rng = np.random.default_rng(seed)
    pieces = some_pieces(rng, many)
    points = np.vstack([
        rng.uniform(-2e4, 2e4, (15, 3)),
        np.round(rng.uniform(-1e4, 1e4, (15, 3)) / 250) * 250,
        pieces.start_m[rng.integers(0, many, 5)],
    ])  # fmt: skip
    owner, piece = (v.ravel() for v in np.mgrid[: len(points), :many])
    distance2, share = (v.reshape(-1, many) for v in feet(pieces, points[owner], piece))
    best = distance2.argmin(axis=1)  # the first of equals
    row = np.arange(len(points))
    limit = np.sqrt(distance2[row, best]) * rng.uniform(0.5, 2, len(points)) + 1
    wanted = np.flatnonzero(distance2.ravel() <= (limit**2)[owner])
    for search in searches(pieces):
        same_bits(search.nearest(points), (distance2[row, best], best, share[row, best]))
        found = search.within(points, limit)
        order = np.lexsort((found.piece, found.owner))
        assert (np.diff(found.owner) >= 0).all()
        same_bits([v[order] for v in found],
                  (owner[wanted], piece[wanted], share.ravel()[wanted]))  # fmt: skip


@pytest.mark.parametrize("seed", range(2))
def test_what_is_compiled_gives_the_same_shores(seed, monkeypatch):
    pytest.importorskip("numba")
    rng, coast = np.random.default_rng(seed), load_coast()
    points = everywhere(rng, coast, 600)
    monkeypatch.setattr(coast_index, "_CHUNK", 500)
    monkeypatch.setattr(coast_search, "FAST_FROM", 10**9)
    by_scipy = coast.shore(*points.T)
    feet_of = by_scipy.lon[:600], by_scipy.lat[:600]
    open_by_numpy = sea_openness(*points[:600].T, coast, shore=feet_of)
    monkeypatch.setattr(coast_search, "FAST_FROM", 0)
    assert coast_search.fast_for(600) is coast_fast.compiled()
    same_bits(coast.shore(*points.T), by_scipy)
    same_bits([sea_openness(*points[:600].T, coast, shore=feet_of)], [open_by_numpy])


@given(seed=seeds)
def test_openness_depends_on_its_foot_alone(seed):
    """Places of one region, several to a tile, and others far off."""
    rng, coast = np.random.default_rng(seed), load_coast()
    near = np.flatnonzero((np.abs(coast.vertex_deg - [5.0, 61.0]) < [0.8, 0.4]).all(axis=1))
    some = np.r_[rng.choice(near, 12), rng.integers(0, len(coast.vertex_deg), 3)]
    points = coast.vertex_deg[some] + rng.normal(0, 0.01, (15, 2))

    def ask(lon, lat):
        openness._KEPT.clear()  # a tile that is kept would hide how it was drawn
        rays = sea_fetch(lon, lat, coast)
        return (sea_openness(lon, lat, coast), rays.fetch_m[rays.place].sum(axis=1),
                rays.lon[rays.place], rays.lat[rays.place])  # fmt: skip

    whole = ask(*points.T)
    same_bits(whole, in_parts(rng, ask, points))


def test_what_is_compiled_is_brought_in_for_many_points_only(monkeypatch):
    monkeypatch.setattr(coast_fast, "compiled", lambda: "loops")
    monkeypatch.setattr(coast_search, "_asked", [0])
    asked = [(49_000, None), (499, None), (501, "loops"), (499, None), (500, "loops")]
    assert [coast_search.fast_for(count) for count, _ in asked] == [found for _, found in asked]


def test_without_numba_or_a_folder_for_it_scipy_searches(monkeypatch):
    """`compiled` keeps its answer: what is asked here is the function behind."""
    monkeypatch.setitem(sys.modules, "numba", None)
    assert coast_fast.compiled.__wrapped__() is None

    def refuse(_):
        raise RuntimeError("cannot cache function: no locator available")

    numba = SimpleNamespace(njit=lambda **_: refuse)
    monkeypatch.setitem(sys.modules, "numba", numba)
    monkeypatch.setitem(
        sys.modules, "numba.extending", SimpleNamespace(register_jitable=lambda f: f)
    )
    assert coast_fast.compiled.__wrapped__() is None
