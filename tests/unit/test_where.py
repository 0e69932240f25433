"""Places, boxes and grid nodes that services are asked about."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from saltreach.errors import LayerError
from saltreach.layers.geodesy import metres_per_degree
from saltreach.layers.where import where_of

LON, LAT = st.floats(-180, 179.99), st.floats(-84, 84)


def test_places_closer_than_a_hundred_metres_are_asked_for_once():
    where = where_of([5.0, 5.0002, 5.01, np.nan, 365.0], [43.0, 43.0, 43.0, 43.0, 43.0])
    assert where.lon.tolist() == pytest.approx([5.0, 5.01]) and where.lat.tolist() == [43.0] * 2
    with pytest.raises(LayerError, match="no row of the register has a position"):
        where_of([np.nan], [43.0])


def test_a_box_reaches_the_margin_on_every_side_and_ends_on_the_grid():
    """At 60 N a degree is 55,800 m wide and 111,412 m high (WGS 84): 20 km are 0.3584 and 0.1795
    degrees, and the next lines of the grid lie at 0.36 and 0.18 from it."""
    (box,) = where_of([10.0], [60.0]).boxes(20_000.0, 5.0)
    assert box == pytest.approx((9.64, 59.82, 10.36, 60.18), abs=1e-9)
    (same,) = where_of([10.0011], [60.0004]).boxes(20_000.0, 5.0)
    assert same == box  # where in its cell a place lies cannot be told from the box


def test_boxes_that_overlap_become_one_and_large_ones_are_cut():
    near = where_of([0.0, 0.05, 3.0], [45.0, 45.0, 45.0]).boxes(5000.0, 1.0)
    assert len(near) == 2
    line = where_of(np.linspace(0, 3, 60), np.full(60, 45.0)).boxes(5000.0, 1.0)
    assert len(line) == 4 and max(b[2] - b[0] for b in line) <= 1.0
    diagonal = where_of(np.linspace(0, 3, 60), np.linspace(45, 48, 60)).boxes(5000.0, 1.0)
    assert len(diagonal) < 16  # parts without a place of their own are left out


def test_a_box_across_the_antimeridian_is_two():
    boxes = where_of([179.99], [10.0]).boxes(10_000.0, 1.0)
    assert sorted(round(b[0]) for b in boxes) == [-180, 180]
    assert all(-180 <= b[0] < b[2] <= 180 for b in boxes)


@given(st.lists(st.tuples(LON, LAT), min_size=1, max_size=12), st.floats(100, 30_000))
def test_every_place_lies_in_a_box_with_its_margin(places, margin):
    lon, lat = np.array(places).T
    where = where_of(lon, lat)
    boxes = np.array(where.boxes(margin, 1.0))
    for x, y in zip(where.lon, where.lat, strict=True):
        across, up = (margin / float(m) for m in metres_per_degree(y))
        for at, on in ((x, y), ((x + across + 180) % 360 - 180, y), (x, y + up * 0.999)):
            inside = (boxes[:, 0] <= at + 1e-9) & (boxes[:, 2] >= at - 1e-9)
            inside &= (boxes[:, 1] <= on + 1e-9) & (boxes[:, 3] >= on - 1e-9)
            assert inside.any()


def test_nodes_of_a_grid_are_each_named_once():
    nodes = where_of([4.9, 5.1, 5.4, 179.9], [43.1, 42.9, 43.0, 43.0]).nodes(0.5)
    assert list(zip(nodes.lon, nodes.lat, strict=True)) == [
        (-180.0, 43.0), (5.0, 43.0), (5.5, 43.0)
    ]  # fmt: skip
