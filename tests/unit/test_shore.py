"""Land on a drawing: all of it beside the places, little elsewhere, and no seam anywhere."""

import geopandas as gpd
import numpy as np
import pytest
import shapely

from saltreach.layers.coast import load_coast
from saltreach.outputs import shore
from saltreach.outputs.map.behind import steps
from saltreach.outputs.shore import window_coast

WORLD = (-170.0, -85.05, 190.0, 85.05)


def inside(parts, lon, lat):
    """Even-odd: whether a ray to the east crosses an odd number of edges."""
    crossed = 0
    for ring in parts:
        (x0, y0), (x1, y1) = ring[:-1].T, ring[1:].T
        across = (y0 > lat) != (y1 > lat)
        at = x0[across] + (lat - y0[across]) / (y1 - y0)[across] * (x1 - x0)[across]
        crossed += int((at > lon).sum())
    return crossed % 2 == 1


def as_land(parts):
    """The polygons that rings fill."""
    return shapely.build_area(shapely.multilinestrings([shapely.linestrings(p) for p in parts]))


@pytest.fixture(scope="module")
def world():
    """The whole Earth with 300 places on its shores, as a register spread over it has."""
    coast = load_coast()
    least = 5.0  # islands of less are left out here, to be fast
    starts = coast.line_start
    size = np.maximum.reduceat(coast.vertex_deg, starts[:-1]) - np.minimum.reduceat(
        coast.vertex_deg, starts[:-1]
    )
    large = np.flatnonzero((size.max(axis=1) > least) & coast.line_is_land)
    rings = [shapely.Polygon(coast.vertex_deg[starts[k] : starts[k + 1]]) for k in large]
    land = gpd.GeoDataFrame(geometry=shapely.make_valid(rings), crs=4326)
    vertices = shapely.get_coordinates(rings)
    places = vertices[np.random.default_rng(3).choice(len(vertices), 300)]
    return land, places, window_coast(land, WORLD, places=places)


@pytest.mark.pinned("published", answers=10)
def test_every_continent_is_filled_and_no_ocean(world):
    """Places as any atlas has them; longitudes within the window."""
    parts = world[2][1]
    land = {"Sahara": (10, 23), "Siberia": (100, 62), "Chukotka, beyond 180": (182.5, 66.8),
            "Antarctica": (90, -80), "Antarctica at 180": (180, -84.9), "Brazil": (-52, -10),
            "Australia": (134, -25)}  # fmt: skip
    sea = {"Atlantic": (-35, 30), "Pacific": (180, 0), "Southern Ocean": (180, -60)}
    assert {n: inside(parts, *at) for n, at in land.items()} == dict.fromkeys(land, True)
    assert {n: inside(parts, *at) for n, at in sea.items()} == dict.fromkeys(sea, False)


def test_the_world_stays_small_and_shows_no_cut(world):
    parts = world[2][1]
    assert sum(map(len, parts)) < 75_000
    assert as_land(parts).is_valid
    edges = np.concatenate([np.column_stack([p[:-1], p[1:]]) for p in parts])
    upright = (edges[:, 0] == edges[:, 2]) & (np.abs(edges[:, 1] - edges[:, 3]) > 0.05)
    # the layer is cut at 180 degrees, and Antarctica at 0 too
    assert not set(edges[upright, 0]) & {-180.0, 0.0, 180.0}
    assert set(edges[upright, 0]) >= {WORLD[0], WORLD[2]}  # of the window: the page hides these


def test_beside_a_place_the_drawn_land_is_the_layer_s(world):
    land, places, (_, parts) = world
    drawn = as_land(parts)
    shapely.prepare(drawn)
    # 300 places leave the fine part at least 1 km wide; at 0.005 degrees all of a box is in it
    for lon, lat in places[:40]:
        west = (lon - WORLD[0]) % 360 + WORLD[0]
        box = shapely.box(west - 0.003, lat - 0.003, west + 0.003, lat + 0.003)
        here = shapely.transform(box, lambda c, turn=west - lon: c - [turn, 0.0])
        want = sum(shapely.area(shapely.intersection(land.geometry.values, here)))
        assert abs(shapely.area(shapely.intersection(drawn, box)) - want) < 1e-6 * box.area


@pytest.fixture
def rough():
    """A round island of 1 degree with 400 bays, 40,000 vertices."""
    angle = np.linspace(0, 2 * np.pi, 40_001)
    radius = 1 + 0.01 * np.sin(angle * 400)
    ring = np.column_stack([np.cos(angle) * radius, np.sin(angle) * radius])
    return gpd.GeoDataFrame(geometry=[shapely.Polygon(ring)], crs=4326)


def test_detail_fades_with_distance_and_the_shore_stays_one_line(rough):
    window, place = (-3, -3, 3, 3), np.array([[1.0, 0.0]])
    kind, (ring,) = window_coast(rough, window, places=place)
    assert kind == "land" and shapely.Polygon(ring).is_valid
    away_km = np.hypot(*(ring - place).T) * 111
    every = shapely.get_coordinates(rough.geometry)
    near = every[np.hypot(*(every - place).T) * 111 < 3.9]
    kept = set(map(tuple, ring))
    assert all(tuple(v) in kept for v in near)
    far = np.hypot(*(every - place).T) * 111 > 200
    assert 0 < (away_km > 200).sum() < 0.1 * far.sum()
    # no drawn shore is off by more than 2 x 0.4 % of its distance (steps are four times as far)
    true = shapely.boundary(rough.geometry.iloc[0])
    off_km = shapely.distance(true, shapely.points(ring)) * 111
    drawn = shapely.LinearRing(ring)
    off_km = np.append(off_km, shapely.distance(drawn, shapely.points(every)) * 111)
    far_km = np.append(away_km, np.hypot(*(every - place).T) * 111)
    assert (off_km <= 0.008 * np.maximum(far_km, 4)).all()


def test_without_a_place_the_window_alone_decides(rough):
    _, (coarse,) = window_coast(rough, (-180, -85, 180, 85))
    _, (fine,) = window_coast(rough, (-1.5, -1.5, 1.5, 1.5))
    assert len(coarse) < 100 < 3000 < len(fine)
    _, (few,) = window_coast(rough, (-1.5, -1.5, 1.5, 1.5), max_vertices=500)
    assert 8 < len(few) <= 500


def test_places_of_all_the_shore_have_less_each(rough):
    all_round = shapely.get_coordinates(rough.geometry)[::40]
    _, (whole,) = window_coast(rough, (-3, -3, 3, 3), places=all_round, max_fine_vertices=50_000)
    assert len(whole) == len(shapely.get_coordinates(rough.geometry))
    _, (less,) = window_coast(
        rough, (-3, -3, 3, 3), places=all_round[::25], max_fine_vertices=20_000
    )
    assert 2000 < len(less) < 25_000


def test_an_islet_is_drawn_beside_a_place_and_not_far_from_all():
    islets = [shapely.box(x, 0, x + 0.001, 0.001) for x in (0.0, 8.0)]
    land = gpd.GeoDataFrame(geometry=islets, crs=4326)
    _, parts = window_coast(land, (-20, -20, 20, 20), places=np.array([[0.02, 0.0]]))
    assert [p[:, 0].max() for p in parts] == [0.001]


def test_a_lake_keeps_its_island():
    lake = shapely.box(0, 0, 9, 9) - shapely.box(3, 3, 6, 6)
    land = gpd.GeoDataFrame(geometry=[lake, shapely.box(4, 4, 5, 5)], crs=4326)
    _, parts = window_coast(land, (-1, -1, 10, 10))
    found = [inside(parts, *at) for at in ((1, 1.5), (3.5, 3.6), (4.5, 4.6), (9.5, 1.5))]
    assert found == [True, False, True, False]


def test_two_halves_of_an_island_at_180_are_one():
    halves = [shapely.box(179, -1, 180, 1), shapely.box(-180, -1, -179, 1)]
    _, parts = window_coast(gpd.GeoDataFrame(geometry=halves, crs=4326), (175, -5, 185, 5))
    assert len(parts) == 1
    assert not ((parts[0][1:, 0] == 180) & (parts[0][:-1, 0] == 180)).any()


def test_a_long_edge_near_a_place_keeps_its_ends():
    bent = shapely.LineString([(-3, 0), (-1, 0.0005), (1, 0), (2, 0.0001), (3, 0)])
    line = gpd.GeoDataFrame(geometry=[bent], crs=4326)
    kind, (kept,) = window_coast(line, (-5, -5, 5, 5), places=np.array([[0.0, 0.0]]))
    assert kind == "shoreline"
    assert {-1.0, 1.0} <= set(kept[:, 0])
    _, (plain,) = window_coast(line, (-5, -5, 5, 5))
    assert len(plain) == 2


@pytest.mark.pinned("worked")
def test_lines_are_handed_to_the_page_as_steps():
    # 1e-5 degrees: 10.00002 is 1000002, then 3 east and 4 south
    assert steps(np.array([[10.00002, -1.0], [10.00005, -1.00004]])).tolist() == [
        1000002, -100000, 3, -4
    ]  # fmt: skip


def test_steps_widen_up_to_the_window_s():
    detail = shore._Detail(None, (0, 0, 360, 0))
    tolerance = detail.tolerance_deg(np.arange(detail.steps + 1))
    assert tolerance[0] == 0 and (np.diff(tolerance) > 0).all()
    assert tolerance[-1] == pytest.approx(0.036)
    assert detail.step(np.array([0.0, 3999.0, 4001.0, 1e9, np.inf])).tolist() == [
        0, 0, 1, detail.steps, detail.steps
    ]  # fmt: skip
