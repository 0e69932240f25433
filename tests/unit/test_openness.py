"""Openness on coasts whose answer is known by geometry."""

import numpy as np
import pytest

from helpers.coasts import METRES_PER_DEGREE, box, coast_of
from saltreach.layers.coast import load_coast
from saltreach.layers.openness import sea_fetch, sea_openness


def circle(lon, lat, radius_m, count=720, clockwise=False):
    turn = np.linspace(0, 2 * np.pi, count + 1) * (-1 if clockwise else 1)
    radius = radius_m / METRES_PER_DEGREE
    ring = np.column_stack(
        [lon + radius * np.cos(turn) / np.cos(np.radians(lat)), lat + radius * np.sin(turn)]
    )
    ring[-1] = ring[0]
    return ring


def wrapped(ring):
    """The same ring named across the antimeridian, cut into its two sides by hand."""
    return np.column_stack([(ring[:, 0] + 180) % 360 - 180, ring[:, 1]])


# Rays start up to a cell and a half (190 m) off the shore, which opens a straight coast by
# (s / pi F)(1 + ln(2 F / s)) = 0.019 at most. Tolerances hold that and a ray in 36 (0.028).
TOLERANCE = 0.03


@pytest.mark.pinned("worked", answers=3)
def test_straight_coast_is_half_open():
    coast = coast_of(box(0, -2, 2, 2))  # sea to the west of longitude 0
    computed = sea_openness([0.0, 0.05, 0.2], [0.0, 0.3, -0.2], coast)
    assert computed == pytest.approx(0.5, abs=TOLERANCE)


def test_straight_coast_faces_the_sea_it_faces():
    coast = coast_of(box(0, -2, 2, 2))
    rays = sea_fetch([0.1], [0.0], coast)
    west = (rays.bearing_deg > 185) & (rays.bearing_deg < 355)
    east = (rays.bearing_deg > 10) & (rays.bearing_deg < 170)
    assert rays.fetch_m[0, west].min() > 19_700
    assert rays.fetch_m[0, east].max() < 1_200  # 190 m / sin 10 deg, rounded to cells


def round_island_openness(radius_m, off_m, fetch_m=20_000, tolerance_m=500, cap=200_000):
    """Mean fetch at `off_m` from a disc: rays that hit it cross a chord, or end where it begins."""
    t = (np.arange(cap) + 0.5) / cap * np.pi - np.pi / 2
    away = radius_m + off_m
    half2 = radius_m**2 - (away * np.sin(t)) ** 2
    chord = 2 * np.sqrt(np.maximum(half2, 0))
    begins = np.minimum(away * np.cos(t) - chord / 2, fetch_m)
    inland = np.where(chord > tolerance_m, begins, fetch_m - chord)
    return 0.5 + inland.mean() / fetch_m / 2


# A ray counts land to a whole cell of 125 m, so the tolerance is 500 m to one cell.
def assert_like_a_disc(computed, radius_m):
    nearest, farthest = (round_island_openness(radius_m, off) for off in (60, 190))
    assert nearest < farthest
    assert (computed > nearest - 0.02).all()
    assert (computed < farthest + 0.02).all()


@pytest.mark.parametrize("radius_m", [2_000, 5_000, 60_000])
def test_round_island_against_plane_geometry(radius_m):
    coast = coast_of(circle(10.0, 0.0, radius_m))
    turn = np.radians(np.arange(0, 360, 30))
    inland = 0.9 * radius_m / METRES_PER_DEGREE
    lon, lat = 10 + inland * np.cos(turn), inland * np.sin(turn)
    assert_like_a_disc(sea_openness(lon, lat, coast, directions=360), radius_m)


@pytest.mark.pinned("worked")
def test_an_islet_narrower_than_the_tolerance_hides_nothing():
    coast = coast_of(box(0, -2, 2, 2), circle(-0.02, 0.0, 200))
    open_coast = coast_of(box(0, -2, 2, 2))
    with_islet, without = (sea_openness([0.01], [0.0], c)[0] for c in (coast, open_coast))
    assert without - 0.02 < with_islet <= without
    # From the islet, 0.02 deg off, the shore cuts the landward half at 0.02 deg / cos t.
    t = (np.arange(100_000) + 0.5) / 100_000 * np.pi - np.pi / 2
    cut = np.minimum(0.02 * METRES_PER_DEGREE / np.cos(t) / 20_000, 1).mean()
    islet = sea_openness([-0.02], [0.0], coast)[0]
    assert islet == pytest.approx(0.5 + cut / 2, abs=TOLERANCE)


@pytest.mark.pinned("worked")
def test_a_wide_island_in_front_takes_its_share():
    """A bar 4 km off, 40 km long, covers 2 atan(20/4) of the seaward half."""
    off, half = 4_000 / METRES_PER_DEGREE, 20_000 / METRES_PER_DEGREE
    bar = box(-off - 0.02, -half, -off, half)
    computed = sea_openness([0.0], [0.0], coast_of(box(0, -2, 2, 2), bar), directions=720)[0]
    t = (np.arange(100_000) + 0.5) / 100_000 * np.pi - np.pi / 2
    covered = np.abs(np.tan(t)) * 4_000 < 20_000
    expected = np.where(covered, np.minimum(4_000 / np.cos(t) / 20_000, 1), 1.0).mean() / 2
    assert computed == pytest.approx(expected, abs=TOLERANCE)


@pytest.mark.pinned("worked")
def test_head_of_a_narrow_inlet_is_closed_and_a_headland_is_open():
    inlet = 1_000 / METRES_PER_DEGREE / 2
    deep = 15_000 / METRES_PER_DEGREE
    shore = np.array(
        [[0, -2], [2, -2], [2, 2], [0, 2], [0, inlet], [deep, inlet], [deep, -inlet], [0, -inlet],
         [0, -2]]
    )  # fmt: skip
    head = sea_openness([deep + 0.01], [0.0], coast_of(shore))[0]
    assert 0.0 < head < 0.08
    # A cape 400 m wide: from its tip, rays leave it within 500 m if 200 m / sin t <= 500 m.
    cape, half = shore.copy(), 200 / METRES_PER_DEGREE
    cape[4:8, 1] = [half, half, -half, -half]
    cape[5:7, 0] = -deep
    t = (np.arange(100_000) + 0.5) / 100_000 * np.pi - np.pi / 2
    behind = np.where(
        200 / np.maximum(np.abs(np.sin(t)), 1e-9) <= 500,
        np.minimum(15_000 / np.cos(t) / 20_000, 1),
        0.0,
    )
    tip = sea_openness([-deep + 0.001], [0.0], coast_of(cape))[0]
    assert tip == pytest.approx(0.5 + behind.mean() / 2, abs=2 * TOLERANCE)
    assert tip > 0.75


@pytest.mark.pinned("worked")
def test_a_lake_counts_as_sea_only_where_the_layer_draws_it():
    """A hole in the land (the Caspian of the embedded layer) has an open shore of its own."""
    lake = circle(1.0, 0.0, 60_000, clockwise=True)
    coast = coast_of(box(-3, -3, 5, 3), lake, land=[True, False])
    edge = 1.0 + 60_500 / METRES_PER_DEGREE
    # Inside a disc of 60 km a chord of 20 km or more opens within acos(10 / 60) of the centre.
    t = (np.arange(100_000) + 0.5) / 100_000 * np.pi - np.pi / 2
    expected = np.minimum(120_000 * np.cos(t), 20_000).mean() / 20_000 / 2
    assert sea_openness([edge], [0.0], coast)[0] == pytest.approx(expected, abs=TOLERANCE)


def test_the_antimeridian_and_high_latitudes_change_nothing():
    plain = circle(10.0, 70.0, 8_000)
    here = sea_openness([10.05], [70.0], coast_of(plain))
    ring = wrapped(plain + [170.0, 0])
    crossing = np.abs(np.diff(ring[:, 0])) > 180
    assert crossing.any()
    west, east = ring[:, 0] > 0, ring[:, 0] < 0
    # A layer cuts such an island at 180 degrees, as GSHHG does.
    halves = []
    for side, edge in ((west, 180.0), (east, -180.0)):
        part = ring[side]
        order = np.argsort(np.arctan2(part[:, 1] - 70.0, (part[:, 0] - edge) * 0.3))
        if edge < 0:
            part = part[order]
        else:
            angle = np.arctan2(part[:, 1] - 70.0, (part[:, 0] - edge) * 0.3)
            part = part[np.argsort(np.where(angle < 0, angle + 2 * np.pi, angle))]
        tip = [[edge, part[-1, 1]], [edge, part[0, 1]]]
        halves.append(np.vstack([part, tip, part[:1]]))
    there = sea_openness([-179.95], [70.0], coast_of(*halves))
    assert there == pytest.approx(here, abs=TOLERANCE)


def test_near_the_pole_a_round_island_is_a_round_island():
    turn = np.linspace(0, 360, 721)
    cap = np.column_stack([turn - 180, np.full(721, 89.9)])  # 11 km around the pole, land inside
    coast = coast_of(cap)
    computed = sea_openness([0.0, 123.0, -77.0], [89.95, 89.95, 89.95], coast, directions=360)
    assert_like_a_disc(computed, 0.1 * 111_694)  # metres in a degree of latitude at the pole


def test_unknown_stays_unknown():
    coast = coast_of(box(0, -2, 2, 2))
    assert np.isnan(sea_openness([np.nan, 0.1], [0.0, np.nan], coast)).all()
    lines = coast_of(box(0, -2, 2, 2), sided=False)
    assert np.isnan(sea_openness([0.1], [0.0], lines)).all()
    assert sea_openness([], [], coast).shape == (0,)


def test_anchors_share_the_value_of_their_shore_and_order_does_not_matter():
    coast = load_coast()
    rng = np.random.default_rng(3)
    lon, lat = rng.uniform(-9.5, -8, 300), rng.uniform(42, 43.6, 300)
    computed = sea_openness(lon, lat, coast)
    turned = sea_openness(lon[::-1], lat[::-1], coast, shore=coast.shore(lon[::-1], lat[::-1])[2:])[
        ::-1
    ]
    assert np.array_equal(computed, turned)
    assert ((computed >= 0) & (computed <= 1)).all()
