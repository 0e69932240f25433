"""Questions asked of what lies around: roads and salt lakes, never a value. All invented."""

import numpy as np
import pandas as pd
import pytest
import shapely
from pyproj import Geod

from helpers.openstreetmap import features, node, pack_of, way
from saltreach import Options, assess
from saltreach.layers import join, marked_lakes, roads, sample
from saltreach.layers.climate import LAPSE_K_PER_M, monthly_climate
from saltreach.layers.context import Context, nearest_line
from saltreach.layers.salt_lakes import salt_lakes

GEOD = Geod(ellps="WGS84")
LON, LAT = 15.0, 47.0
TRUNK = {"highway": "trunk", "name": "S 99"}
ASK = ": if it is salted in winter, give salted_road_m (corrosion there can be C4)."


def meridian(number, tags, lon, lat=LAT):
    """A road along a meridian, 2 km long: a geodesic, so what `beside` says is its distance."""
    return way(number, tags, (lon, lat - 0.01), (lon, lat + 0.01))


def beside(metres, lat=LAT, lon=LON):
    """A place so far east of the meridian."""
    return GEOD.fwd(lon, lat, 90, metres)[:2]


def around(*elements, asked_for=None):
    world = shapely.box(-180, -90, 180, 90)
    return Context(features(*elements), world if asked_for is None else asked_for, ())


def asked(context, lon, lat, cold=1.2, road=np.nan, tunnel="unknown"):
    """Notes of the layer at places; the coldest month is December."""
    lon, lat = np.atleast_1d(lon), np.atleast_1d(lat)
    months = np.tile(np.r_[np.full(11, 15.0), cold], (len(lon), 1))
    places = pd.DataFrame({
        "lon": lon, "lat": lat, "salted_road_m": road, "salted_tunnel": tunnel,
        "temperature_c_by_month": list(months),
    })  # fmt: skip
    return roads.LAYER.sample(context, places)


def test_a_trunk_road_40_m_away_where_winters_are_cold_is_asked_about():
    found = asked(around(meridian(1, TRUNK, LON)), *beside(40))
    assert found["roads_notes"].tolist() == [
        "A major road (S 99, trunk) runs about 40 m away and the coldest month's mean is 1.2 degC: "
        "if it is salted in winter, give salted_road_m (corrosion there can be C4)."
    ]
    assert found["road_asked"].tolist() == [True]
    assert found["major_road_m"] == pytest.approx([40], abs=0.01)


def test_what_is_not_known_of_the_winter_is_asked_about_as_a_cold_one_is():
    found = asked(around(meridian(1, {"highway": "primary"}, LON)), *beside(4), cold=np.nan)
    assert found["roads_notes"].tolist() == [
        "A major road (primary) runs less than 10 m away and the coldest month's mean is unknown"
        + ASK
    ]


@pytest.mark.pinned("judgement", answers=2)
@pytest.mark.parametrize(
    ("metres", "more", "is_asked"),
    [
        (99.9, {}, True),
        (100.1, {}, False),  # EN 1993-1-4 counts a road up to 100 m
        (40, {"cold": 2.9}, True),
        (40, {"cold": 3.0}, False),
        (40, {"road": 500.0}, False),
        (40, {"tunnel": "yes"}, False),
        (40, {"tunnel": "no"}, True),
    ],
)
def test_where_it_is_asked(metres, more, is_asked):
    found = asked(around(meridian(1, TRUNK, LON)), *beside(metres), **more)
    assert found["road_asked"].tolist() == [is_asked]
    assert (found["roads_notes"][0] != "") == is_asked
    # what is drawn is measured whatever is asked
    assert np.isfinite(found["major_road_m"][0]) == (metres < 100)


@pytest.mark.parametrize(
    ("tags", "major"),
    [({"highway": "motorway"}, True), ({"highway": "primary"}, True),
     ({"highway": "secondary"}, False), ({"natural": "cliff"}, False)],
)  # fmt: skip
def test_only_major_roads_are_asked_about(tags, major):
    assert asked(around(meridian(1, tags, LON)), *beside(40))["road_asked"].tolist() == [major]


TUNNEL = (
    "A tunnel of a major road (S 99, trunk) runs about 40 m away and the coldest month's mean is "
    "1.2 degC: if the anchor is in it or within 10 m of its mouth and it is salted in winter, give "
    "salted_tunnel (corrosion there can be C4)."
)


@pytest.mark.parametrize(
    ("more", "said"),
    [({}, TUNNEL), ({"tunnel": "no"}, ""), ({"tunnel": "yes"}, ""), ({"road": 70.0}, TUNNEL),
     ({"cold": 5.0}, "")],
)  # fmt: skip
def test_a_tunnel_is_asked_about_by_its_own_column(more, said):
    found = asked(around(meridian(1, TRUNK | {"tunnel": "yes"}, LON)), *beside(40), **more)
    assert found["roads_notes"].tolist() == [said]
    assert not found["road_asked"].any()
    assert np.isnan(found["major_road_m"]).all()


def test_of_several_roads_the_nearest_is_named():
    near, _ = beside(60)
    both = around(meridian(1, TRUNK, LON), meridian(2, {"highway": "motorway", "ref": "A 2"}, near))
    at = [beside(metres) for metres in (20, 50)]
    found = asked(both, *zip(*at, strict=True))
    assert [note[:40] for note in found["roads_notes"]] == [
        "A major road (S 99, trunk) runs about 20", "A major road (A 2, motorway) runs about ",
    ]  # fmt: skip


def test_a_place_that_the_pack_was_not_brought_for_is_said():
    here = around(asked_for=shapely.box(14.9, 46.9, 15.1, 47.1))
    lon, lat = [15.0, 16.0, 16.0 + 360, np.nan], [47.0, 47.0, 47.0, 47.0]
    absent = "Roads near here are not in the pack: bring its context again."
    assert asked(here, lon, lat)["roads_notes"].tolist() == ["", absent, absent, ""]
    assert asked(here, lon, lat, cold=9.0)["roads_notes"].tolist() == [""] * 4
    assert asked(here, lon, lat, road=20.0)["roads_notes"].tolist() == [""] * 4


@pytest.mark.parametrize("lat", [43.44, 69.3, -54.8])
def test_distances_are_those_of_geographiclib(lat):
    """A slanting line of 3 km, measured at every half metre of it by the geodesics of PROJ."""
    ends = np.array([(179.98, lat), (179.99, lat + 0.02), (179.9999, lat + 0.021)])
    steps = np.linspace(0, 1, 6001)[:, None]
    fine = np.vstack([a + steps * (b - a) for a, b in zip(ends[:-1], ends[1:], strict=True)])
    random = np.random.default_rng(7)
    lon, at = fine[random.integers(0, len(fine), 40)].T
    lon, at, _ = GEOD.fwd(lon, at, random.uniform(0, 360, 40), random.uniform(0, 110, 40))
    found, which = nearest_line([shapely.LineString(ends)], lon + 360, at, 100.0)
    reached = [
        GEOD.inv(*(np.full(len(fine), v) for v in place), *fine.T)[2].min()
        for place in zip(lon, at, strict=True)
    ]
    reached = np.array(reached)
    np.testing.assert_allclose(found, np.where(reached <= 100, reached, np.nan), atol=0.1)
    assert which.tolist() == np.where(reached <= 100, 0, -1).tolist()


@pytest.mark.parametrize("side", [-1, 1])
@pytest.mark.parametrize("turned", [False, True])
def test_across_180_degrees_a_road_is_as_near_as_elsewhere(side, turned):
    """OpenStreetMap parts roads there: one of them ends at 180 or at -180."""
    ends = [(side * 180, -17), (side * 179.95, -17)]
    near = shapely.LineString(ends[::-1] if turned else ends)
    far = shapely.LineString([(-side * 179, -17), (-side * 178, -17)])
    lon, lat, _ = GEOD.fwd([180, -180, side * 180], [-17] * 3, [90 * side, 90 * side, 0], [30] * 3)
    found, which = nearest_line([far, near], lon, lat, 100.0)
    np.testing.assert_allclose(found, [30, 30, 30], atol=0.01)
    assert which.tolist() == [1, 1, 1]


def test_in_an_area_the_distance_is_none_and_to_its_edge_outside():
    area = shapely.box(14.99, 46.99, 15.0, 47.01)
    far = shapely.Point(0, 0).buffer(0.001)
    lon, lat = [14.995, beside(40)[0], np.nan], [47.0, 47.0, 47.0]
    found, which = nearest_line([far, area], lon, lat, 100.0)
    np.testing.assert_allclose(found, [0, 40, np.nan], atol=0.01)
    assert which.tolist() == [1, 1, -1]
    nothing, none = nearest_line([], [15.0], [47.0], 100.0)
    assert np.isnan(nothing).all()
    assert none.tolist() == [-1]


def test_the_road_changes_no_number_of_the_assessment(tmp_path):
    """An anchor 40 m from a trunk road, 1.2 degC in its coldest month; beside it one that says how
    far the salt is, one that says the road is salted in a tunnel, one 200 m away."""
    lon, lat = np.array([beside(m) for m in (40, 40, 40, 200)]).T
    cold = monthly_climate([lon[0]], [lat[0]], [0.0])["temperature_c"].min().item()
    register = pd.DataFrame({
        "anchor_id": list("abcd"), "crag": "Alder", "sector": "Wall", "lon": lon, "lat": lat,
        "material": "316", "elevation_m": (cold - 1.2) / LAPSE_K_PER_M,
        "salted_road_m": [None, 30, None, None], "salted_tunnel": ["", "", "yes", ""],
    })  # fmt: skip
    pack = pack_of(tmp_path / "pack", lon, lat, meridian(1, TRUNK, LON),
                   node(2, {"place": "town", "name": "Velorio"}, LON, LAT))  # fmt: skip
    today = "2026-11-25"
    plain = assess(register, Options(today=pd.Timestamp(today).date()))
    asked = assess(register, Options(today=pd.Timestamp(today).date(), pack_folder=pack))
    told = asked.flat.anchors.set_index("anchor_id")["warnings"]
    before = plain.flat.anchors.set_index("anchor_id")["warnings"]
    question = (
        "A major road (S 99, trunk) runs about 40 m away and the coldest month's mean is 1.2 degC"
        + ASK
    )
    assert [question in text for text in told] == [True, False, False, False]
    assert told["a"].replace(f"{question} | ", "") == before["a"]
    for name in ("anchors", "sectors", "crags"):
        one, other = (getattr(result.flat, name) for result in (plain, asked))
        same = [c for c in one if c != "warnings"]
        assert len(one.select_dtypes("number").columns) > 10
        pd.testing.assert_frame_equal(one[same], other[same])
    assert "context-openstreetmap" in str(asked.provenance)


LAKE = {"natural": "water", "salt": "yes", "name": "Brine"}


def lake(number, tags, lon, lat, wide=0.01):
    """A square with its west side at a meridian."""
    return way(number, tags, (lon, lat), (lon + wide, lat), (lon + wide, lat + wide),
               (lon, lat + wide), (lon, lat))  # fmt: skip


def lakes_asked(context, lon, lat, salinity=np.nan, coast=1e5, listed=np.nan):
    places = pd.DataFrame({"lon": np.atleast_1d(lon), "lat": lat, "sea_salinity_g_kg": salinity,
                           "coast_distance_m": coast, "salt_lake_m": listed})  # fmt: skip
    return marked_lakes.LAYER.sample(context, places)


def test_a_lake_that_the_list_does_not_know_is_asked_about():
    lon, lat, _ = GEOD.fwd(LON, LAT + 0.005, 270, 1234.0)
    found = lakes_asked(around(lake(1, LAKE, LON, LAT)), lon, lat)
    assert found["marked_lakes_notes"].tolist() == [
        "A lake marked salty in OpenStreetMap (Brine) lies about 1.2 km away and is not in the "
        "list of salt lakes: if its spray reaches the crag, give its salinity as sea_salinity_g_kg "
        "and the way to its shore as coast_distance_m."
    ]
    assert found["marked_lake"].tolist() == ["Brine"]
    assert found["marked_lake_m"] == pytest.approx([1234], abs=0.5)


@pytest.mark.parametrize(
    ("metres", "more", "is_asked"),
    [
        (4990, {}, True),
        (5010, {}, False),
        (1000, {"salinity": 60.0}, False),
        (1000, {"coast": 900.0}, False),  # the sea is nearer
        (1000, {"coast": np.nan}, True),
        (1000, {"listed": 900.0}, False),  # so is a lake of the list
        (1000, {"listed": 1100.0}, True),
    ],
)
def test_where_a_lake_is_asked_about(metres, more, is_asked):
    lon, lat, _ = GEOD.fwd(LON, LAT + 0.005, 270, metres)
    found = lakes_asked(around(lake(1, LAKE | {"name": ""}, LON, LAT)), lon, lat, **more)
    said = found["marked_lakes_notes"][0]
    assert said.startswith("A lake marked salty in OpenStreetMap lies about") == is_asked
    assert bool(said) == is_asked


def test_a_puddle_is_not_asked_about():
    """100 m by 100 m: at 47 degrees north a degree is 76.1 km wide and 111.2 km long."""
    at = LON - 0.001, LAT
    for wide, is_asked in ((0.00107, False), (0.00110, True)):  # 0.97 and 1.02 ha
        found = lakes_asked(around(lake(1, LAKE, LON, LAT, wide)), *at)
        assert bool(found["marked_lakes_notes"][0]) == is_asked


def test_a_lake_of_the_list_is_not_asked_about_again():
    dead_sea = next(one for one in salt_lakes() if one.name == "Dead Sea")
    lon, lat = dead_sea.shore_deg.mean(axis=0).tolist()
    found = lakes_asked(around(lake(1, LAKE, lon, lat)), lon - 0.01, lat)
    assert found["marked_lakes_notes"].tolist() == [""]
    west, lat = dead_sea.shore_deg[dead_sea.shore_deg[:, 0].argmin()].tolist()
    for aside, is_asked in ((0.05, True), (0.015, False)):  # 4.7 and 1.4 km; the doubt is 1 km
        east = west - aside
        found = lakes_asked(around(lake(1, LAKE, east - 0.01, lat)), east - 0.011, lat)
        assert bool(found["marked_lakes_notes"][0]) == is_asked


def test_both_layers_are_sampled_of_a_pack_and_are_silent_without(tmp_path):
    lon, lat = beside(40)
    pack = pack_of(tmp_path / "pack", [lon], [lat], meridian(1, TRUNK, LON),
                   lake(2, LAKE, LON + 0.02, LAT))  # fmt: skip
    columns = ["major_road_m", "marked_lake"]
    table = sample([lon], [lat], columns, options=Options(pack_folder=pack))
    assert table.loc[0].tolist()[1:] == ["context-openstreetmap", "Brine", "context-openstreetmap"]
    assert table["major_road_m"][0] == pytest.approx(40, abs=0.1)
    bare = sample([lon], [lat], columns)
    assert bare.loc[0].tolist()[1:] == ["unknown", "", "unknown"]
    sources = join.open_layers(Options(pack_folder=pack), [roads.LAYER, marked_lakes.LAYER])
    assert [origin.name for origin in join.origins_of(sources)] == ["context-openstreetmap"]
