"""Which squares of a surface may be filled from nine of their places, worked out by hand."""

from types import SimpleNamespace

import numpy as np
import pytest

from saltreach.assessment.surface_blocks import _Nodes

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
