"""Positions made coarse: cells, squares, rings and counts, by value. Our own method.

A degree of latitude is at least 110,574 m long on WGS 84 (at the equator), one of longitude
111,319 m times cos(latitude); cells are a thousandth larger than asked for.
"""

import numpy as np
import pytest
import shapely

from saltreach.assessment.generalise import COUNT_RANGES, Grid, count_range, generalised
from saltreach.errors import OptionError, RegisterError

SIDE = 250.0
ROWS = 440
"""110,574 / 250.25 = 441.9 rows of 250 m in a degree, in fours: 440."""
COLUMNS = 115_184
"""Of the degree from 43 to 44 north: 360 x 111,319 x cos(44 + 1.5 / 440 degrees) / 250.25 =
115,187.9, in fours."""
ROW = 43 * ROWS + 101  # an odd row and an odd column: neither begins a larger square
COLUMN = 60_001
LAT, LON = (ROW + 0.5) / ROWS, -180 + (COLUMN + 0.5) * 360 / COLUMNS


def at(column, row, count):
    """Anchors in the middle of a cell."""
    lon, lat = -180 + (column + 0.5) * 360 / COLUMNS, (row + 0.5) / ROWS
    return [(lon, lat)] * count


def areas(*cells, groups=None):
    places = [place for cell in cells for place in at(*cell)]
    lon, lat = np.array(places).T
    of = [0] * len(cells) if groups is None else groups
    owner = np.repeat(of, [count for *_, count in cells])
    return generalised(lon, lat, owner, Grid(SIDE))


def in_cells(shape):
    """Bounds of a shape as columns and rows of the grid: west, south, east, north."""
    west, south, east, north = shape.bounds
    found = np.array([(west + 180) / 360 * COLUMNS, south * ROWS,
                      (east + 180) / 360 * COLUMNS, north * ROWS])  # fmt: skip
    assert found == pytest.approx(np.round(found), abs=1e-4)
    return np.round(found).astype(int).tolist()


@pytest.mark.pinned("worked", answers=8)
def test_rows_and_columns_of_the_grid():
    assert Grid(SIDE).rows_per_degree == ROWS
    assert Grid(1000.0).rows_per_degree == 108  # 110,574 / 1,001 = 110.5
    assert Grid(100.0).rows_per_degree == 1104  # 110,574 / 100.1 = 1104.6
    columns = Grid(SIDE).columns(np.array([ROW, 44 * ROWS - 1, 44 * ROWS, -1, 0]))
    # 44 to 45 north: cos(45.00341 degrees); beside the equator on both sides cos(1.00341 degrees)
    assert columns.tolist() == [115_184, 115_184, 113_228, 160_112, 160_112]


def test_a_cell_is_found_and_drawn_where_it_is():
    grid = Grid(SIDE)
    row, column = grid.cell_of([LON, -180.0, 180.0], [LAT, LAT, LAT])
    assert row.tolist() == [ROW] * 3
    assert column.tolist() == [COLUMN, 0, 0]
    width, height = 360 / COLUMNS, 1 / ROWS
    bare = grid.boxes(np.array([ROW]), np.array([COLUMN]), np.array([0]))
    assert bare[0, :2] == pytest.approx([-180 + COLUMN * width, ROW * height], abs=1e-9)
    for level, side in ((0, 1), (1, 2), (2, 4)):
        for ring in (0, 1):
            box = grid.boxes(np.array([ROW]), np.array([COLUMN]), np.array([level]), ring=ring)
            assert box[0] == pytest.approx(
                [-180 + (COLUMN - ring) * width, (ROW - ring) * height,
                 -180 + (COLUMN + side + ring) * width, (ROW + side + ring) * height],
                abs=1e-9,
            )  # fmt: skip


@pytest.mark.pinned("worked", answers=4)
def test_six_in_a_cell_stay_in_it_and_fewer_share_a_larger_square():
    # a cell and its ring
    assert in_cells(areas((COLUMN, ROW, 6)).shapes[0]) == [
        COLUMN - 1, ROW - 1, COLUMN + 2, ROW + 2,
    ]  # fmt: skip
    # five in it and one in the same square of two sides, which begins at an even row and column
    assert in_cells(areas((COLUMN, ROW, 5), (COLUMN - 1, ROW - 1, 1)).shapes[0]) == [
        COLUMN - 2, ROW - 2, COLUMN + 2, ROW + 2,
    ]  # fmt: skip
    # in the next cell over, of another square of two sides: the square of four sides, 60,000 to
    # 60,004 and 19,020 to 19,024 (a fourth of the way)
    assert COLUMN // 4 * 4 == 60_000 and ROW // 4 * 4 == 19_020
    both = areas((COLUMN, ROW, 5), (COLUMN + 1, ROW, 1))
    assert in_cells(both.shapes[0]) == [59_999, 19_019, 60_005, 19_025]
    # more than the lowest range of counts stands in a cell drawn alone
    assert count_range(5)[1] < 6
    # drawn around the middle of the longitudes
    assert both.centre_lon == pytest.approx(-180 + 60_002 * 360 / COLUMNS)
    # one anchor alone: the same square
    assert in_cells(areas((COLUMN, ROW, 1)).shapes[0]) == [59_999, 19_019, 60_005, 19_025]


def test_the_seventh_anchor_elsewhere_does_not_change_the_cell_of_six():
    near = areas((COLUMN, ROW, 6), (COLUMN + 40, ROW, 1))
    shape = near.shapes[0]
    assert shape.geom_type == "MultiPolygon"
    first = min(shape.geoms, key=lambda part: part.bounds[0])
    assert in_cells(first) == [COLUMN - 1, ROW - 1, COLUMN + 2, ROW + 2]


def test_groups_whose_areas_touch_become_one():
    # rings of one cell each: three cells apart they share an edge, four apart they do not
    touching = areas((COLUMN, ROW, 6), (COLUMN + 3, ROW, 6), groups=[0, 1])
    assert len(touching.shapes) == 1
    assert touching.area_of_group.tolist() == [0, 0]
    apart = areas((COLUMN, ROW, 6), (COLUMN + 4, ROW, 6), (COLUMN, ROW + 40, 6), groups=[2, 1, 0])
    assert len(apart.shapes) == 3
    assert apart.area_of_group.tolist() == [0, 1, 2]
    assert [in_cells(s)[:2] for s in apart.shapes] == [
        [COLUMN - 1, ROW + 39], [COLUMN + 3, ROW - 1], [COLUMN - 1, ROW - 1],
    ]  # fmt: skip
    # a group in two places that touches another in one of them: all one area
    three = areas((COLUMN, ROW, 6), (COLUMN + 40, ROW, 6), (COLUMN + 43, ROW, 6),
                  groups=[0, 0, 1])  # fmt: skip
    assert three.area_of_group.tolist() == [0, 0]
    assert shapely.area(three.shapes[0]) * ROWS * COLUMNS / 360 == pytest.approx(9 + 3 * 6)


def test_an_area_across_the_antimeridian_is_drawn_in_one_piece():
    both = areas((0, ROW, 6), (COLUMNS - 1, ROW, 6))
    assert both.shapes[0].geom_type == "Polygon"
    width = both.shapes[0].bounds[2] - both.shapes[0].bounds[0]
    assert width == pytest.approx(4 * 360 / COLUMNS)
    assert both.centre_lon == pytest.approx(-180.0)


@pytest.mark.pinned("judgement", answers=14)
def test_counts_are_told_in_these_ranges():
    assert COUNT_RANGES == (
        (1, 5), (6, 20), (21, 50), (51, 100), (101, 200), (201, 500), (501, None),
    )  # fmt: skip
    for low, high in COUNT_RANGES:
        assert count_range(low) == (low, high)
        if high:
            assert count_range(high) == (low, high)


@pytest.mark.parametrize("side", [99.9, 10_000.1, -250.0, float("nan")])
def test_sides_that_hide_too_little_or_too_much_are_refused(side):
    with pytest.raises(OptionError, match="give metres from 100 to 10000"):
        Grid(side)


@pytest.mark.parametrize("side", [100.0, 10_000.0])
def test_the_ends_of_the_range_are_allowed(side):
    assert Grid(side).side_m == side


def test_positions_near_a_pole_or_missing_are_refused():
    grid = Grid(SIDE)
    assert grid.cell_of([0.0], [88.999])[0].tolist() == [39_159]  # 88.999 x 440
    for lon, lat in ((0.0, 89.0), (0.0, -89.0), (np.nan, 43.0), (np.inf, 43.0)):
        with pytest.raises(RegisterError, match="missing or beyond 89 degrees"):
            grid.cell_of([lon], [lat])
