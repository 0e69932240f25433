"""The grid of a surface, worked by hand on the WGS 84 ellipsoid."""

import pytest
from pyproj import Geod

from saltreach.assessment import surface_grid
from saltreach.assessment.surface_grid import Block, grid_of
from saltreach.errors import OptionError

GEOD = Geod(ellps="WGS84")
BOX = (-6.0, 43.0, -5.0, 44.0)
ACROSS, DOWN = 28_874, 20_004
"""Cells of 1,000 m around the parallel of 44 N (43.5 rounds to the even degree), 360 * 80,206.2 m
long, and from pole to pole, 20,003,931.5 m."""


@pytest.fixture
def grid():
    return grid_of(BOX, 1000)


@pytest.mark.pinned("worked", answers=8)
def test_steps_and_places_of_the_first_cell(grid):
    """174 * 28,874 / 360 = 13,955.8 and 175 * 28,874 / 360 = 14,036.0 (rounded up); 46 * 20,004 /
    180 = 5,112.1 and 47 * 20,004 / 180 = 5,223.3."""
    assert grid.lon_step_deg == pytest.approx(360 / ACROSS, rel=1e-14)
    assert grid.lat_step_deg == pytest.approx(180 / DOWN, rel=1e-14)
    assert (grid.first_column, grid.columns) == (13_955, 14_036 - 13_955)
    assert (grid.first_row, grid.rows) == (5_112, 5_224 - 5_112)
    assert grid.cells == 81 * 112
    assert grid.bounds_deg == pytest.approx(
        (13_955 * 360 / ACROSS - 180, 90 - 5_224 * 180 / DOWN,
         14_036 * 360 / ACROSS - 180, 90 - 5_112 * 180 / DOWN), abs=1e-12,
    )  # fmt: skip


@pytest.mark.pinned("worked", answers=4)
def test_middles_of_cells(grid):
    lon, lat = grid.lon_deg(), grid.lat_deg()
    assert (len(lon), len(lat)) == (81, 112)
    assert lon[0] == pytest.approx(13_955.5 * 360 / ACROSS - 180, abs=1e-12)
    assert lon[80] == pytest.approx(14_035.5 * 360 / ACROSS - 180, abs=1e-12)
    assert lat[0] == pytest.approx(90 - 5_112.5 * 180 / DOWN, abs=1e-12)
    assert lat[111] == pytest.approx(90 - 5_223.5 * 180 / DOWN, abs=1e-12)
    assert grid.lon_deg(3, 2).tolist() == lon[3:5].tolist()
    assert grid.lat_deg(3, 2).tolist() == lat[3:5].tolist()
    assert grid.lon_deg(79).tolist() == lon[79:].tolist()
    assert grid.lat_deg(110).tolist() == lat[110:].tolist()
    assert grid.lon_deg(80, 2)[1] > lon[80]  # a count may reach beyond


def test_blocks_from_the_north_west(grid, monkeypatch):
    monkeypatch.setattr(surface_grid, "BLOCK_CELLS", 50)
    assert grid.blocks == (
        Block(0, 0, 50, 50), Block(0, 50, 50, 31), Block(50, 0, 50, 50), Block(50, 50, 50, 31),
        Block(100, 0, 12, 50), Block(100, 50, 12, 31),
    )  # fmt: skip


@pytest.mark.pinned("worked", answers=8)
@pytest.mark.parametrize(
    ("resolution_m", "cells"),
    [(10, 256), (50, 64), (100, 32), (333, 8), (400, 8), (401, 4), (1600, 2), (50_000, 2)],
)
def test_the_widest_square_is_3200_m_and_a_power_of_two(resolution_m, cells):
    assert grid_of((-6, 43, 6, 44), resolution_m).widest_square == cells


@pytest.mark.pinned("peer", answers=4)
def test_the_record_of_a_grid(grid):
    said = grid.record()
    assert (said["rows"], said["columns"], said["resolution_m"]) == (112, 81, 1000.0)
    assert said["bounds_deg"] == [round(v, 9) for v in grid.bounds_deg]
    assert said["cell_deg"] == [round(360 / ACROSS, 12), round(180 / DOWN, 12)]
    south, north = grid.bounds_deg[1::2]
    for lat, name in ((north, "cell_at_top_m"), (south, "cell_at_bottom_m")):
        half = grid.lat_step_deg / 2
        wide = GEOD.inv(0, lat, grid.lon_step_deg, lat)[2]
        high = GEOD.inv(0, lat - half, 0, lat + half)[2]
        assert said[name] == [round(wide, 1), round(high, 1)]


@pytest.mark.parametrize("resolution_m", [10, 90, 1000, 33_333, 50_000])
def test_the_box_of_a_grid_has_that_grid(resolution_m):
    for box in ((-6.0, 43.1, -5.0, 43.3), (170.0, -17.3, 180.0, -16.9), (-180, 60.9, -170, 61.2)):
        grid = grid_of(box, resolution_m)
        west, south, east, north = grid.bounds_deg
        assert west <= box[0] + 1e-9 and south <= box[1] + 1e-9
        assert east >= box[2] - 1e-9 and north >= box[3] - 1e-9
        if round((south + north) / 2) == round((box[1] + box[3]) / 2):
            inside = max(west, -180.0), south, min(east, 180.0), north
            assert grid_of(inside, resolution_m) == grid


def test_the_ends_of_what_is_taken():
    whole = grid_of((-180, -85, 180, 85), 50_000)
    assert whole.first_column == 0
    assert whole.columns * whole.lon_step_deg == pytest.approx(360)
    assert grid_of((0, 84.9, 1, 85), 10).rows > 1000
    assert grid_of((0, -85, 1, -84.9), 50_000).rows >= 1


@pytest.mark.parametrize(
    ("bbox", "resolution_m", "said"),
    [
        ((-180.1, 0, 0, 1), 1000, "a longitude lies outside"),
        ((0, 0, 180.1, 1), 1000, "a longitude lies outside"),
        ((180.1, 0, 180.2, 1), 1000, "a longitude lies outside"),
        ((-180.2, 0, -180.1, 1), 1000, "a longitude lies outside"),
        ((0, 1, 1, 1), 1000, "it holds nothing"),
        ((0, -85.1, 1, -84), 1000, "surfaces reach from 85 S to 85 N"),
        ((0, 84, 1, 85.1), 1000, "surfaces reach from 85 S to 85 N"),
        ((0, 0, 1, 1), 50_001, "give 10 to 50000 metres"),
        ((float("inf"), 0, 1, 1), 1000, "give four numbers"),
    ],
)
def test_what_lies_beyond_is_refused(bbox, resolution_m, said):
    with pytest.raises(OptionError, match=said):
        grid_of(bbox, resolution_m)
