"""Blocks of a surface: which squares may be filled, by hand, and invented worlds filled so."""

from types import SimpleNamespace

import numpy as np
import pytest
from pyproj import Geod

from saltreach.assessment import surface_blocks
from saltreach.assessment.surface_blocks import (
    DISTANCE_SHARE,
    MANTISSA_BITS,
    Job,
    _Nodes,
    _short,
    fill,
)
from saltreach.assessment.surface_cells import SEA_CODE, Cells
from saltreach.assessment.surface_grid import Block, Grid, grid_of
from saltreach.intake.options import Options

CELL_M, SIDE = 250.0, 8
NINE = np.array([[(i, j) for i in range(3) for j in range(3)]])
"""Nodes of one square in a list of their own, row by row."""


def agrees(nearest_m=50_000.0, *, land=True, side=SIDE, at=4, **nodes):
    """Whether one square agrees: its nodes are alike but for one value of one of them.

    `nearest_m` is the distance of the node `at`, the others are 10 km farther; `ln` and `hazard`
    are added to a number of that node, `code`, `lost` and `other_side` change it.
    """
    chord = np.full(9, nearest_m + 10_000.0)
    chord[at] = nearest_m
    number = np.tile([nearest_m, 10.0, 20.0, 40.0, 0.1], (9, 1))
    code = np.tile(np.array([3, 1, 2, 2], np.uint8), (9, 1))
    ashore = np.full(9, land)
    for value, by in nodes.get("ln", {}).items():
        number[at, value] *= np.exp(by)
    number[at, 4] += nodes.get("hazard", 0.0)
    for band in nodes.get("code", ()):
        code[at, band] += 1
    for value in nodes.get("lost", ()):
        number[at, value] = np.nan
    ashore[at] ^= nodes.get("other_side", False)
    square = SimpleNamespace(row_of=np.arange(9).reshape(3, 3), land=ashore, chord_m=chord,
                             number=number, code=code, cell_m=CELL_M)  # fmt: skip
    return _Nodes.agree(square, NINE, side).tolist() == [True]


@pytest.mark.pinned("worked", answers=4)
@pytest.mark.parametrize("at", [0, 4, 8])
def test_a_square_at_sea_is_filled_where_no_shore_can_hide_in_it(at):
    """Nodes lie 1,000 m apart, so no place is farther from one than 707 m; asked for are 750 m."""
    assert agrees(751.0, land=False, at=at)
    assert not agrees(750.0, land=False, at=at)
    assert agrees(376.0, land=False, at=at, side=4)
    assert not agrees(374.0, land=False, at=at, side=4)


@pytest.mark.pinned("worked", answers=2)
@pytest.mark.parametrize("at", [0, 4, 8])
def test_a_square_on_land_is_small_beside_its_distance(at):
    """2,000 m are a fifth of 10 km."""
    assert agrees(10_000.0, at=at)
    assert not agrees(9_999.0, at=at)


@pytest.mark.parametrize("at", range(9))
@pytest.mark.parametrize("land", [True, False])
def test_a_square_with_a_node_on_the_other_side_is_cut(at, land):
    assert agrees(land=land, at=at)
    assert not agrees(land=land, at=at, other_side=True)


@pytest.mark.parametrize("at", range(9))
@pytest.mark.parametrize("band", range(4))
def test_a_square_of_two_classes_is_cut(at, band):
    assert not agrees(at=at, code=[band])


@pytest.mark.pinned("worked", answers=4)
@pytest.mark.parametrize("at", [1, 3, 4, 5, 7])
@pytest.mark.parametrize("sign", [-1, 1])
def test_how_far_a_number_may_lie_from_what_the_corners_say(at, sign):
    """2 % of chloride and 0.005 of the hazard; the corners are alike."""
    for value in (1, 2, 3):
        assert agrees(at=at, ln={value: sign * 0.0199})
        assert not agrees(at=at, ln={value: sign * 0.0201})
    assert agrees(at=at, hazard=sign * 0.0049)
    assert not agrees(at=at, hazard=sign * 0.0051)
    assert agrees(at=at, ln={0: 1.0})  # the distance has bounds of its own


@pytest.mark.pinned("worked", answers=2)
@pytest.mark.parametrize("at", [0, 2, 6, 8])
@pytest.mark.parametrize("sign", [-1, 1])
def test_what_a_corner_says_of_the_nodes_beside_it(at, sign):
    """The middle of a side is expected at half of its two corners: 0.039 / 2 is below 2 %, 0.041
    / 2 above; the middle of the square has a quarter of each."""
    for value in (1, 2, 3):
        assert agrees(at=at, ln={value: sign * 0.039})
        assert not agrees(at=at, ln={value: sign * 0.041})
    assert agrees(at=at, hazard=sign * 0.0099)
    assert not agrees(at=at, hazard=sign * 0.0101)


@pytest.mark.parametrize("at", range(9))
@pytest.mark.parametrize("value", [1, 2, 3, 4])
def test_what_is_known_at_some_nodes_only_is_not_filled(at, value):
    assert not agrees(at=at, lost=[value])


def test_what_is_known_at_no_node_is_left_unknown_in_the_whole_square():
    square = SimpleNamespace(row_of=np.arange(9).reshape(3, 3), land=np.ones(9, bool),
                             chord_m=np.full(9, 5e4), number=np.full((9, 5), np.nan),
                             code=np.zeros((9, 4), np.uint8), cell_m=CELL_M)  # fmt: skip
    assert _Nodes.agree(square, NINE, SIDE).tolist() == [True]


RESOLUTION_M = 400.0
"""Squares of eight cells are tried first: 3,200 m."""
BLOCK = Block(3, 5, 20, 30)
KEPT = 2.0 ** -(MANTISSA_BITS + 1)
NAMES = ("distance", "low", "median", "high", "hazard")


class World:
    """An invented shore of single points; chloride and hazard by place, all land but one side."""

    def __init__(self, grid: Grid, *shore, sea_east_of=180.0, class_south_of=-90.0, known=True):
        self.grid, self.shore = grid, np.array(shore)
        self.sea_east_of, self.class_south_of, self.known = sea_east_of, class_south_of, known
        self.asked: list[tuple[float, float]] = []

    def cells_at(self, lon, lat, options):
        self.asked += zip(lon.tolist(), lat.tolist(), strict=True)
        chord = np.array([surface_blocks.ecef_m(lon, lat) - surface_blocks.ecef_m(*one)
                          for one in self.shore])  # fmt: skip
        chord = np.linalg.norm(chord, axis=2)
        nearest = chord.argmin(axis=0)
        radius = 2 * surface_blocks.MEAN_RADIUS_M
        distance = radius * np.arcsin(chord.min(axis=0) / radius)
        land = lon <= self.sea_east_of
        column = (lon - self.grid.lon_deg(0, 1)) / self.grid.lon_step_deg
        row = (self.grid.lat_deg(0, 1) - lat) / self.grid.lat_step_deg
        ln = 3.0 + 0.03 * column - 0.02 * row + 0.0004 * row * column
        numbers = np.column_stack([distance, np.exp(ln - 1), np.exp(ln), np.exp(ln + 1),
                                   0.2 + 0.003 * column + 0.001 * row])  # fmt: skip
        if not self.known:
            numbers[:, 4] = np.nan
        numbers[~land] = np.nan
        classes = np.tile(np.array([3, 1, 2, 2], np.uint8), (len(lon), 1))
        classes[lat < self.class_south_of, 1] = 4
        classes[~land] = SEA_CODE
        return Cells(land, distance, self.shore[nearest], numbers, classes)


@pytest.fixture
def made(monkeypatch):
    """A block of a world, filled and each cell by itself; and the nodes that filling asked for."""

    def both(world, block=BLOCK):
        monkeypatch.setattr(surface_blocks, "cells_at", world.cells_at)
        monkeypatch.setattr(surface_blocks, "opened", lambda _: SimpleNamespace(smooth=True))
        fine = fill(Job(world.grid, block, Options()))
        asked = len(world.asked)
        assert len(set(world.asked)) == asked  # nothing twice
        exact = fill(Job(world.grid, block, Options(), "none"))
        assert len(world.asked) - asked == block.rows * block.columns
        return fine, exact, asked

    return both


def grid_at(lat=43.0):
    return grid_of((-4.0, lat, -3.5, lat + 0.4), RESOLUTION_M)


@pytest.mark.pinned("worked")
@pytest.mark.parametrize("at_once", [1, 100, 400_000])
def test_an_even_world_is_filled_from_every_fourth_node(made, monkeypatch, at_once):
    """20 by 30 cells lie in 3 by 4 squares of eight; with a node every four cells and at both ends
    7 by 9 are asked. Logarithms that are bilinear are met in full, and so is one shore."""
    monkeypatch.setattr(surface_blocks, "_AT_ONCE", at_once)
    fine, exact, asked = made(World(grid_at(), (-4.6, 42.7)))
    assert asked == 63
    assert (fine.classes == exact.classes).all()
    for name, filled, true in zip(NAMES, fine.numbers, exact.numbers, strict=True):
        assert filled == pytest.approx(true, rel=KEPT + 1e-5), name
    assert fine.numbers.shape == (5, 20, 30) and fine.numbers.dtype == np.float32
    assert fine.classes.shape == (4, 20, 30) and fine.classes.dtype == np.uint8


def test_what_is_unknown_in_the_whole_world_stays_so(made):
    fine, exact, asked = made(World(grid_at(), (-4.6, 42.7), known=False))
    assert asked == 63
    assert np.isnan(fine.numbers[4]).all()
    assert fine.numbers[:4] == pytest.approx(exact.numbers[:4], rel=KEPT + 1e-5)


@pytest.mark.pinned("worked")
def test_only_the_squares_with_two_classes_are_worked_out_cell_by_cell(made):
    """Another class begins in row 10, so the squares of eight in rows 8 to 15 are cut: 5 by 17
    nodes at every second place, 27 of them known. Their fours in rows 8 to 11 are cut again, to 4
    by 32 cells, 32 of them known: 63 + 58 + 96."""
    grid = grid_at()
    south = float(grid.lat_deg()[BLOCK.row + 10]) + 1e-4
    fine, exact, asked = made(World(grid, (-4.6, 42.7), class_south_of=south))
    assert asked == 63 + 58 + 96
    assert (fine.classes == exact.classes).all()
    assert (fine.numbers[:, 8:12] == exact.numbers[:, 8:12]).all()
    for rows in (slice(0, 8), slice(12, 20)):
        assert (fine.numbers[:, rows] != exact.numbers[:, rows]).mean() > 0.9


def test_a_distance_is_held_between_two_shores(made):
    """One shore to the west and one to the north-east, so that their middle line passes."""
    world = World(grid_at(), (-4.35, 43.38), (-3.55, 43.4))
    fine, exact, asked = made(world, Block(0, 0, 40, 60))
    off = np.abs(fine.numbers[0] / exact.numbers[0] - 1)
    assert off.max() <= DISTANCE_SHARE / 2 + KEPT
    assert off.max() > KEPT  # some are interpolated across the line
    assert (fine.classes == exact.classes).all()
    lattice = (40 // 4 + 1) * (64 // 4 + 1)
    assert lattice < asked < 40 * 60


def test_beside_a_shore_in_the_block_each_cell_stands_for_itself(made):
    grid = grid_at()
    lon, lat = float(grid.lon_deg()[20]) + 1e-3, float(grid.lat_deg()[13])
    fine, exact, _ = made(World(grid, (lon, lat)), Block(0, 0, 60, 70))
    near = exact.numbers[0] < 3_500.0
    assert 100 < near.sum() < near.size
    assert (fine.numbers[:, near] == exact.numbers[:, near]).all()
    assert (fine.numbers[0] != exact.numbers[0]).any()
    assert np.abs(fine.numbers[0] / exact.numbers[0] - 1).max() <= DISTANCE_SHARE / 2 + KEPT


def test_sea_and_land_and_classes_meet_where_they_do(made):
    grid = grid_at()
    east, south = float(grid.lon_deg()[19]) + 1e-4, float(grid.lat_deg()[15])
    shore = [(east, float(v)) for v in grid.lat_deg()]
    world = World(grid, *shore, sea_east_of=east, class_south_of=south)
    fine, exact, asked = made(world, Block(0, 0, 30, 60))
    assert (fine.classes == exact.classes).all()
    assert (fine.classes[:, :, 20:] == SEA_CODE).all() and (fine.classes[:, :, :20] < 5).all()
    assert (fine.classes[1, 16:, :20] == 4).all() and (fine.classes[1, :16, :20] == 1).all()
    assert np.isnan(fine.numbers[:, :, 20:]).all()
    land = np.s_[:, :, :20]
    assert fine.numbers[land] == pytest.approx(exact.numbers[land], rel=DISTANCE_SHARE)
    assert asked < 0.8 * 30 * 60  # the open sea is not asked for


CORNERS = np.array([[0, 0], [0, 1], [1, 0], [1, 1]])


def bounds(monkeypatch, world, block, corner, half):
    """Bounds of the cells of squares whose first nodes are given, and what is true there, m."""
    monkeypatch.setattr(surface_blocks, "cells_at", world.cells_at)
    nodes = _Nodes(Job(world.grid, block, Options()), 8)
    four = corner[:, None, :] + half * CORNERS
    nodes.ask(four.reshape(-1, 2))
    step, share = np.arange(half), np.arange(half) / half
    weight = np.stack([np.outer(a, b) for a in (1 - share, share) for b in (1 - share, share)])
    shape = len(corner), half, half
    row = np.broadcast_to(corner[:, 0, None, None] + step[:, None], shape)
    column = np.broadcast_to(corner[:, 1, None, None] + step, shape)
    at = nodes.row_of[four[..., 0], four[..., 1]]
    low, high = nodes._bounds(at, weight, row, column, half)
    lon, lat = world.grid.lon_deg()[block.column + column], world.grid.lat_deg()[block.row + row]
    found = world.cells_at(lon.ravel(), lat.ravel(), None)
    radius = 2 * surface_blocks.MEAN_RADIUS_M
    true = radius * np.sin(found.distance_m / radius)  # the distance back to the chord
    return low, high, true.reshape(shape)


@pytest.mark.parametrize("lat", [43.0, -43.4, 84.4])
@pytest.mark.parametrize(
    "shore",
    [[(-4.3, 0.1)], [(-3.6, -0.7)], [(-4.4, 0.9)], [(-4.3, 0.1), (-3.9, 0.7), (-3.6, -0.3)]],
)
def test_bounds_of_a_distance_hold_the_true_one(monkeypatch, lat, shore):
    """A wide block, so that the shore is far from its middle, the zero of all places."""
    grid = grid_of((-5.0, lat, -2.0, lat + 0.4), RESOLUTION_M)
    world = World(grid, *[(lon, lat + by) for lon, by in shore])
    columns = grid.columns // 8 * 8
    corner = np.array([[8, 8 * k] for k in range(columns // 8)])
    low, high, true = bounds(monkeypatch, world, Block(0, 0, 24, columns), corner, 8)
    assert (low <= true).all() and (true <= high + 1e-6).all()
    if len(shore) == 1:
        assert high == pytest.approx(true, abs=1e-6)
        assert ((true - low) < 0.001 * true).all()


@pytest.mark.pinned("worked", answers=2)
@pytest.mark.parametrize(("half", "lat"), [(4, 43.0), (8, -43.5)])
def test_the_room_that_is_left_for_the_bulge_of_the_earth(monkeypatch, half, lat):
    """At a node nothing bulges, so that the square of the true distance is short by all of the
    room: twice the way of a cell beside the plane of its nodes, s^2 / (8 * 6,335 km) times the
    root of 2^2 + tan^2 of the latitude farthest from the equator, times the shore's farthest way
    from the middle of the block."""
    grid = grid_at(lat)
    world = World(grid, (-4.6, lat - 0.3))
    low, high, true = bounds(monkeypatch, world, BLOCK, np.array([[0, 0]]), half)
    lon, lats = grid.lon_deg()[BLOCK.column :][:33], grid.lat_deg()[BLOCK.row :][:25]
    home = surface_blocks.ecef_m(lon.mean(), lats.mean())
    away_m = np.linalg.norm(surface_blocks.ecef_m(lon[0], lats[0]) - home)
    widest_m = max(max(grid.cell_m(float(v))) for v in lats)
    tan = np.tan(np.radians(np.abs(lats).max()))
    beside_m = (half * widest_m) ** 2 / 8 / 6_335_000 * np.sqrt(4 + tan**2)
    room = 2 * beside_m * (away_m + true[0, 0, 0])
    assert true[0, 0, 0] ** 2 - low[0, 0, 0] ** 2 == pytest.approx(room, rel=1e-4)


def test_bounds_at_the_shore_itself_are_no_less_than_nothing(monkeypatch):
    grid = grid_at()
    at = float(grid.lon_deg()[BLOCK.column]), float(grid.lat_deg()[BLOCK.row])
    low, high, _ = bounds(monkeypatch, World(grid, at), BLOCK, np.array([[0, 0]]), 4)
    assert low[0, 0, 0] == 0.0
    assert high[0, 0, 0] == pytest.approx(0.0, abs=1e-6)


@pytest.mark.pinned("worked", answers=2)
@pytest.mark.parametrize(("lat", "row"), [(43.5, 24), (-43.9, 0)])
def test_a_cell_is_as_wide_as_the_widest_of_the_block(lat, row):
    """Degrees of longitude are widest towards the equator: in its last row, or in its first."""
    grid = grid_at(lat)
    nodes = _Nodes(Job(grid, BLOCK, Options()), 8)
    middle = float(grid.lat_deg()[BLOCK.row + row])
    east = Geod(ellps="WGS84").inv(0, middle, grid.lon_step_deg, middle)[2]
    assert (nodes.rows, nodes.columns) == (24, 32)
    assert nodes.cell_m == pytest.approx(east, rel=1e-7)


@pytest.mark.pinned("worked", answers=6)
def test_numbers_are_kept_to_one_part_in_eight_thousand():
    """Twelve figures after the first in base two: steps of 1/4,096 from 1 on, of 1/2,048 from 2."""
    step = 1 / 4096
    given = np.array([1 + step, 1 + 0.49 * step, 1 + 0.51 * step, 2 + 1.01 * step, 2 + 0.99 * step,
                      np.nan])  # fmt: skip
    kept = _short(given)
    assert kept.dtype == np.float32
    assert kept[:5].tolist() == [1 + step, 1.0, 1 + step, 2 + 2 * step, 2.0]
    assert np.isnan(kept[5])
    many = _short(np.random.default_rng(1).uniform(1, 9, 100)).view(np.uint32)
    assert (many & (2**11 - 1) == 0).all()
