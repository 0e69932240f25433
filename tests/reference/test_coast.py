"""Coast distance against independent geodesy.

Peers: GeographicLib (Karney 2013, J. Geodesy 87:43-55; PyPI `geographiclib`) for exact
distances to the same segments by brute force, and `global-land-mask` (from the GLOBE elevation
model, NOAA) for land and sea.
"""

import math

import numpy as np
import pytest
from geographiclib.geodesic import Geodesic

from saltreach.layers.coast import Coast, block_spheres, load_coast
from saltreach.layers.geodesy import ecef_m
from saltreach.layers.layer import Origin

EARTH = Geodesic.WGS84
RNG_SEED = 11


def exact_distance_m(lon, lat, start, end):
    """Distance from a point to a short segment, straight in lon/lat, by golden section."""

    def at(share):
        place = start + share * (end - start)
        return EARTH.Inverse(lat, lon, place[1], place[0], EARTH.DISTANCE)["s12"]

    low, high, ratio = 0.0, 1.0, (math.sqrt(5) - 1) / 2
    a, b = high - ratio * (high - low), low + ratio * (high - low)
    at_a, at_b = at(a), at(b)
    while (high - low) > 1e-4:
        if at_a < at_b:
            high, b, at_b = b, a, at_a
            a = high - ratio * (high - low)
            at_a = at(a)
        else:
            low, a, at_a = a, b, at_b
            b = low + ratio * (high - low)
            at_b = at(b)
    return min(at((low + high) / 2), at(0.0), at(1.0))


def drawn_segments(coast):
    """Both ends of every segment that is shoreline: not the cut at 180 degrees or the pole."""
    a, b = coast.vertex_deg[:-1], coast.vertex_deg[1:]
    shore = np.ones(len(a), bool)
    shore[coast.line_start[1:-1] - 1] = False
    shore &= ~((np.abs(a[:, 0]) == 180) & (a[:, 0] == b[:, 0]))
    shore &= (np.abs(a[:, 1]) < 89.999) & (np.abs(b[:, 1]) < 89.999)
    return a[shore], b[shore]


def brute_force_m(points, coast):
    """Least distance over every segment of the coast; a chord bound leaves out the hopeless."""
    a, b = drawn_segments(coast)
    start = ecef_m(*a.T)
    length = np.linalg.norm(ecef_m(*b.T) - start, axis=1)
    x, y, z = np.ascontiguousarray(start.T)
    for lon, lat in points:
        px, py, pz = ecef_m(lon, lat)
        gap = np.sqrt((x - px) ** 2 + (y - py) ** 2 + (z - pz) ** 2)
        # A segment is no nearer than its first vertex less its length; a chord is short of
        # the geodesic by at most c^3/(24 R^2), more than doubled here.
        nearest = gap.min()
        slack = 1 + (nearest / 6.3e6) ** 2 / 10
        hopeful = np.flatnonzero(gap - length * 1.01 <= nearest * slack)
        yield min(exact_distance_m(lon, lat, a[i], b[i]) for i in hopeful)


def places():
    rng = np.random.default_rng(RNG_SEED)
    lon = rng.uniform(-180, 180, 800)
    lat = np.degrees(np.arcsin(rng.uniform(-1, 1, 800)))
    near = load_coast().vertex_deg[rng.integers(0, 1_600_000, 160)] + rng.normal(0, 0.03, (160, 2))
    special = np.array(
        [[180.0, 65.0], [-180.0, 65.0], [179.9999, -16.5], [-179.9999, -16.5], [180.0, 0.0],
         [0.0, 89.0], [90.0, 89.0], [-120.0, 89.0], [179.99, 89.0], [0.0, 90.0], [45.0, -90.0],
         [0.0, -89.0], [-180.0, 71.2], [178.6, 71.0]]
    )  # fmt: skip
    extra = np.column_stack([rng.uniform(178, 182, 26), rng.uniform(-75, 72, 26)])
    extra[:, 0] = np.where(extra[:, 0] > 180, extra[:, 0] - 360, extra[:, 0])
    near[:, 1] = np.clip(near[:, 1], -89.9, 89.9)
    return np.concatenate([np.column_stack([lon, lat]), near, special, extra])


@pytest.mark.pinned("peer", answers=100)
@pytest.mark.parametrize(
    "chosen",
    [np.r_[0:800:20, 800:960:8, 960:1000], pytest.param(np.r_[:1000], marks=pytest.mark.search)],
    ids=["100 points", "1000 points"],
)
def test_distance_is_within_a_metre_of_geographiclib(chosen):
    points = places()
    assert len(points) == 1000
    points = points[chosen]
    coast = load_coast()
    computed = coast.shore(*points.T).distance_m
    exact = np.array(list(brute_force_m(points, coast)))
    assert np.abs(computed - exact).max() < 1.0


def test_both_names_of_the_antimeridian_are_one_place():
    lat = np.linspace(-89, 89, 90)
    east = load_coast().shore(np.full(90, 180.0), lat)
    west = load_coast().shore(np.full(90, -180.0), lat)
    assert east.distance_m == pytest.approx(west.distance_m, abs=1e-6)


def test_land_and_sea_agree_with_an_elevation_mask():
    """`global-land-mask` knows neither the Caspian as sea nor ice shelves as we draw them."""
    from global_land_mask import globe

    rng = np.random.default_rng(RNG_SEED)
    lon, lat = rng.uniform(-180, 180, 4000), np.degrees(np.arcsin(rng.uniform(-0.86, 1, 4000)))
    caspian = (lon > 46) & (lon < 55) & (lat > 36) & (lat < 48)
    shore = load_coast().shore(lon, lat)
    clear = (shore.distance_m > 5000) & ~caspian
    wrong = (globe.is_land(lat, lon) != (shore.on_land == 1)) & clear
    assert clear.sum() > 3500
    assert wrong.sum() <= 2  # large lakes below sea level apart, the two sources agree


@pytest.mark.pinned("memory", answers=2)
def test_the_caspian_is_sea_and_a_lake_is_land():
    shore = load_coast().shore([50.5, 33.0], [42.0, -1.0])  # Caspian, Victoria
    assert shore.on_land.tolist() == [0, 1]


def island(lon, lat, radius_deg, count):
    """A round island drawn counter-clockwise: land to the left."""
    turn = np.linspace(0, 2 * np.pi, count + 1)
    ring = np.column_stack([lon + radius_deg * np.cos(turn), lat + radius_deg * np.sin(turn)])
    ring[-1] = ring[0]
    centre, radius = block_spheres(ring)
    return Coast(ring, np.array([0, len(ring)]), np.array([True]), centre, radius, True, 1.0,
                 Origin("island", "shoreline"))  # fmt: skip


@pytest.mark.pinned("worked", answers=7)
def test_inside_and_outside_of_a_round_island_on_the_equator():
    """Along the equator a degree is 111,319.49 m (WGS 84: 2 pi a / 360)."""
    coast = island(10.0, 0.0, 1.0, 720)
    shore = coast.shore([10.0, 10.5, 11.5, 8.0], [0.0, 0.0, 0.0, 0.0])
    assert shore.on_land.tolist() == [1, 1, 0, 0]
    assert shore.distance_m[1:] == pytest.approx(np.array([0.5, 0.5, 1.0]) * 111_319.49, rel=2e-3)


@pytest.mark.pinned("worked")
def test_every_vertex_of_the_layer_is_at_distance_zero():
    vertex = load_coast().vertex_deg[::5000]
    vertex = vertex[(np.abs(vertex[:, 0]) < 180) & (np.abs(vertex[:, 1]) < 89)]
    assert load_coast().shore(*vertex.T).distance_m.max() < 0.05
