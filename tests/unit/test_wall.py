"""The order on the wall: by route, left to right from in front of the face, from the ground up."""

import numpy as np
import pandas as pd
import pytest

from saltreach.planning.wall import (
    BY_FACE,
    BY_NAME,
    along_face_m,
    east_north_m,
    face_azimuth_deg,
    natural_key,
    on_the_wall,
)

LAT = 43.0
METRE_N = 1 / 111_195
"""Degrees of latitude of a metre on a sphere of 6371 km."""
METRE_E = METRE_N / np.cos(np.radians(LAT))


def wall(**columns):
    """Three routes: west 1 at -10 m, middle 10 at 0 m, east 2 at +10 m; ids say nothing."""
    count = len(columns["route"])
    table = pd.DataFrame(
        {"anchor_id": [f"A{9 - i}" for i in range(count)], "position": "", "lon": -5.0, "lat": LAT,
         "face_azimuth_deg": np.nan, "height_above_sea_m": np.nan, "elevation_m": 5.0,
         "elevation_source": "layer"}
    )  # fmt: skip
    return table.assign(**columns)


def routes(**columns):
    lon = [-5.0 + east * METRE_E for east in (-10, 0, 10)]
    return wall(route=["R 1", "R 10", "R 2"], lon=lon, **columns)


@pytest.mark.pinned("worked", answers=4)
@pytest.mark.parametrize(
    ("azimuth", "order"),
    [(180, ["R 1", "R 10", "R 2"]), (0, ["R 2", "R 10", "R 1"]), (225, ["R 1", "R 10", "R 2"]),
     (315, ["R 2", "R 10", "R 1"])],
)  # fmt: skip
def test_left_to_right_is_as_seen_from_in_front(azimuth, order):
    """Who faces a south wall looks north and has the west on the left; a north wall: the east."""
    found, rule = on_the_wall(routes(face_azimuth_deg=azimuth))
    assert found["route"].tolist() == order
    assert rule == BY_FACE


@pytest.mark.pinned("worked", answers=2)
@pytest.mark.parametrize(("azimuth", "order"), [(90, ["R 2", "R 1"]), (270, ["R 1", "R 2"])])
def test_an_east_face_has_the_south_on_the_left(azimuth, order):
    lat = [LAT + 8 * METRE_N, LAT - 8 * METRE_N]
    found, _ = on_the_wall(wall(route=["R 1", "R 2"], lat=lat, face_azimuth_deg=azimuth))
    assert found["route"].tolist() == order


def test_without_an_azimuth_the_names_decide_and_ten_comes_after_two():
    found, rule = on_the_wall(routes())
    assert found["route"].tolist() == ["R 1", "R 2", "R 10"]
    assert rule == BY_NAME


@pytest.mark.parametrize("azimuths", [[0, 180, 0], [0, 120, 240]])
def test_faces_that_disagree_have_no_left(azimuths):
    assert on_the_wall(routes(face_azimuth_deg=azimuths))[1] == BY_NAME


def test_one_point_for_all_has_no_left():
    found, rule = on_the_wall(wall(route=["R 2", "R 1"], face_azimuth_deg=180.0))
    assert found["route"].tolist() == ["R 1", "R 2"]
    assert rule == BY_NAME


@pytest.mark.parametrize(
    ("metres", "rule"), [(2.9, BY_NAME), (3.1, BY_FACE)], ids=["nearer", "farther"]
)
def test_three_metres_tell_left_from_right(metres, rule):
    table = wall(route=["R 1", "R 2"], lon=[-5.0, -5.0 + metres * METRE_E], face_azimuth_deg=180.0)
    assert on_the_wall(table)[1] == rule


def test_a_route_stands_where_the_median_of_its_anchors_does():
    east = [0, 30, 1, 2, 40, 41]
    lon = [-5.0 + e * METRE_E for e in east]
    table = wall(route=["a", "b", "a", "a", "b", "b"], lon=lon, face_azimuth_deg=180.0)
    assert on_the_wall(table)[0]["route"].tolist() == ["a"] * 3 + ["b"] * 3


def test_anchors_without_a_route_stand_for_themselves():
    lon = [-5.0 + e * METRE_E for e in (20, 0, 10)]
    table = wall(route=["", "", None], lon=lon, face_azimuth_deg=180.0)
    assert on_the_wall(table)[0]["anchor_id"].tolist() == ["A8", "A7", "A9"]


@pytest.mark.pinned("worked", answers=4)
@pytest.mark.parametrize(
    ("columns", "order"),
    [
        ({"height_above_sea_m": [20, 5, 12]}, ["A8", "A7", "A9"]),
        ({"height_above_sea_m": [20, np.nan, 12]}, ["A8", "A7", "A9"]),
        ({"elevation_m": [3, 2, 1], "elevation_source": "register"}, ["A7", "A8", "A9"]),
        ({"elevation_m": [3, 2, 1]}, ["A8", "A7", "A9"]),
    ],
    ids=["heights", "a height is missing", "elevations of the register", "of a layer"],
)
def test_from_the_ground_up_by_height_else_by_position(columns, order):
    table = wall(route=["r"] * 3, position=["lower-off", "runner", "belay"], **columns)
    assert on_the_wall(table)[0]["anchor_id"].tolist() == order


def test_an_unknown_position_comes_last():
    table = wall(route=["r"] * 3, position=["", "lower-off", "runner"])
    assert on_the_wall(table)[0]["position"].tolist() == ["runner", "lower-off", ""]


def test_the_order_is_the_same_however_the_rows_stand():
    table = routes(face_azimuth_deg=200.0)
    other = table.iloc[[2, 0, 1]]
    assert (
        on_the_wall(other)[0]["anchor_id"].tolist() == on_the_wall(table)[0]["anchor_id"].tolist()
    )


@pytest.mark.pinned("worked", answers=2)
def test_metres_hold_over_the_antimeridian():
    lon = [180 - 1e-4, -180 + 1e-4]
    found = east_north_m(lon, [0.0, 0.0])
    # 2e-4 degrees of the equator of a sphere of 6371.009 km: 22.24 m
    assert found[:, 0] == pytest.approx([-11.12, 11.12], abs=0.01)
    assert found[:, 1] == pytest.approx([0, 0], abs=1e-6)
    table = wall(route=["b", "a"], lon=lon, lat=0.0, face_azimuth_deg=180.0)
    assert on_the_wall(table)[0]["route"].tolist() == ["b", "a"]


def test_no_anchor_is_no_order():
    assert east_north_m([], []).shape == (0, 2)
    assert len(on_the_wall(routes().iloc[:0])[0]) == 0


@pytest.mark.pinned("worked", answers=3)
def test_the_mean_of_azimuths_goes_round():
    assert face_azimuth_deg([350, 10]) % 360 == pytest.approx(0, abs=1e-9)
    assert face_azimuth_deg([80, 100, np.nan]) == pytest.approx(90)
    assert np.isnan(face_azimuth_deg([0, 180]))
    assert np.isnan(face_azimuth_deg([np.nan]))
    assert along_face_m(np.array([[3.0, 4.0]]), 90.0) == pytest.approx([4.0])


def test_names_sort_as_people_count():
    names = ["R 10", "2", "R 2b", "10", "R 2a", ""]
    assert sorted(names, key=natural_key) == ["", "2", "10", "R 2a", "R 2b", "R 10"]
