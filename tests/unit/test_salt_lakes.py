"""Salt lakes: distances against GeographicLib, names by place, nothing beside fresh water."""

import json

import numpy as np
import pytest
import shapely
from geographiclib.geodesic import Geodesic
from hypothesis import given
from hypothesis import strategies as st

from saltreach.errors import LayerError
from saltreach.layers import salt_lakes
from saltreach.layers.embedded import embedded_file
from saltreach.layers.salt_lakes import REACH_M, salt_lake_at

SPACING_M = 60.0

# Places at or near the shore, positions from memory, within 10 km of the drawn shore.
SHORES = [
    ("Ein Gedi", 35.39, 31.46, "Dead Sea", "magnesium", 340),
    ("Sharafkhaneh", 45.49, 38.18, "Lake Urmia", "magnesium", 250),
    ("Saltair", -112.21, 40.75, "Great Salt Lake", "sodium", 270),
    ("North Shore", -115.94, 33.52, "Salton Sea", "sodium", 65),
    ("Lee Vining", -119.12, 37.96, "Mono Lake", "sodium", 80),
    ("Sutcliffe", -119.60, 39.95, "Pyramid Lake", "sodium", 5),
    ("Tatvan", 42.28, 38.50, "Lake Van", "sodium", 22),
    ("Sereflikochisar", 33.54, 38.94, "Lake Tuz", "sodium", 320),
    ("Aralsk", 61.67, 46.79, "Aral Sea", "sodium", 100),
    ("Moynaq", 59.03, 43.77, "Aral Sea", "sodium", 100),
    ("Colchani", -66.94, -20.30, "Salar de Uyuni", "magnesium", 320),
    ("Level Post Bay", 137.60, -28.85, "Lake Eyre", "sodium", 300),
    ("Cholpon-Ata", 77.08, 42.65, "Issyk-Kul", "sodium", 6),
    ("Heimahe", 99.78, 36.73, "Qinghai Lake", "sodium", 14),
    ("Miramar de Ansenuza", -62.68, -30.91, "Mar Chiquita", "sodium", 100),
    ("Bolshoe Bogdo", 46.85, 48.14, "Lake Baskunchak", "sodium", 300),
    ("Shakshuk", 30.70, 29.47, "Lake Qarun", "sodium", 40),
]


@pytest.mark.pinned("memory")
@pytest.mark.parametrize(("place", "lon", "lat", "lake", "brine", "salinity"), SHORES)
def test_a_place_on_its_shore_names_the_lake(place, lon, lat, lake, brine, salinity):
    near = salt_lake_at(lon, lat)
    assert near.salt_lake.tolist() == [lake]
    assert near.salt_lake_brine.tolist() == [brine]
    assert near.salt_lake_salinity_g_kg.tolist() == [salinity]
    assert near.salt_lake_m[0] < 10_000


def test_every_listed_lake_is_found_from_its_own_shore_and_from_within():
    for lake in salt_lakes.salt_lakes():
        corner = lake.shore_deg[0]
        middle = shapely.Polygon(lake.shore_deg).representative_point()
        near = salt_lake_at([corner[0], middle.x], [corner[1], middle.y])
        assert near.salt_lake.tolist() == [lake.name] * 2
        assert near.salt_lake_m[0] < 0.01
        closing = (lake.shore_deg[-2] + lake.shore_deg[-1]) / 2
        assert salt_lake_at(*closing).salt_lake_m[0] < 0.5
        assert near.salt_lake_m[1] == 0
        assert near.salt_lake_sd_m[0] == lake.outline_sd_m


def test_the_lakes_asked_for_are_listed():
    names = {lake.name for lake in salt_lakes.salt_lakes()}
    assert names >= {
        "Dead Sea", "Great Salt Lake", "Salton Sea", "Lake Urmia", "Lake Van", "Lake Tuz",
        "Aral Sea", "Lake Eyre", "Salar de Uyuni", "Lake Assal", "Lake Natron",
        "Lake Balkhash (east)", "Qinghai Lake",
    }  # fmt: skip
    assert not names & {"Lake Sevan", "Caspian Sea"}


@pytest.mark.parametrize(
    ("lon", "lat"),
    [
        (6.63, 46.51),  # Lausanne, Lake Geneva
        (-87.40, 46.55),  # Marquette, Lake Superior
        (44.95, 40.55),  # Sevan
        (51.15, 43.65),  # Aktau, Caspian: sea in the coast layer
        (73.70, 46.03),  # Priozersk, the nearly fresh west of Lake Balkhash
        (-111.66, 40.23),  # Provo, Utah Lake: fresh, 57 km from the Great Salt Lake
    ],
)
def test_beside_fresh_water_there_is_nothing(lon, lat):
    near = salt_lake_at(lon, lat)
    assert near.salt_lake.tolist() == near.salt_lake_brine.tolist() == [""]
    for value in (near.salt_lake_m, near.salt_lake_salinity_g_kg, near.salt_lake_sd_m):
        assert np.isnan(value).all()


@pytest.mark.pinned("worked")
def test_due_north_of_a_corner_by_hand():
    # Northernmost corner of our Uyuni outline, 67.4 W 19.75 S. Both edges fall away from it, so
    # it is the nearest place for one 0.1 degrees north. Meridian arc about 19.7 S:
    # a(1 - e2) / (1 - e2 sin2)^1.5 = 6335439 * 1.001142 = 6342676 m; times 0.1 degrees: 11070 m.
    near = salt_lake_at(-67.4, -19.65)
    assert near.salt_lake_m[0] == pytest.approx(11_070, abs=2)


def densified(shore_deg):
    """Places on the shore, at most `SPACING_M` apart."""
    a, b = shore_deg[:-1], shore_deg[1:]
    size_m = np.hypot(*(b - a).T) * 111_700
    parts = np.ceil(size_m / SPACING_M).astype(int) + 1
    own = np.repeat(np.arange(len(a)), parts)
    share = (np.arange(len(own)) - np.repeat(np.cumsum(parts) - parts, parts)) / parts[own]
    return a[own] + share[:, None] * (b - a)[own]


def by_geographiclib_m(shore, lon, lat):
    """Least geodesic to the densified shore, among the places that can be nearest."""
    plane = np.hypot((shore[:, 0] - lon) * np.cos(np.radians(lat)), shore[:, 1] - lat)
    # The plane is off by less than 2 % within 50 km at these latitudes: keep 4 %.
    return min(
        Geodesic.WGS84.Inverse(lat, lon, y, x, Geodesic.DISTANCE)["s12"]
        for x, y in shore[plane <= plane.min() * 1.04 + 0.002]
    )


@pytest.mark.pinned("peer", answers=6)
@pytest.mark.parametrize(
    "name",
    # None with a listed neighbour within 85 km, which would be nearer for some places.
    ["Dead Sea", "Great Salt Lake", "Lake Van", "Uvs Lake", "Lake Assal", "Lake Eyre"],
)
def test_distances_agree_with_geographiclib(name):
    lake = next(lake for lake in salt_lakes.salt_lakes() if lake.name == name)
    shore = densified(lake.shore_deg)
    low, high = lake.shore_deg.min(axis=0), lake.shore_deg.max(axis=0)
    rng = np.random.default_rng(7)
    lon, lat = rng.uniform(low - 0.35, high + 0.35, (12, 2)).T
    near = salt_lake_at(lon, lat)
    inside = shapely.contains_xy(shapely.Polygon(lake.shore_deg), lon, lat)
    expected = np.array([by_geographiclib_m(shore, x, y) for x, y in zip(lon, lat, strict=True)])
    expected[inside] = 0
    sure = np.abs(expected - REACH_M) > 30
    found = near.salt_lake == name
    np.testing.assert_array_equal(found[sure], (expected < REACH_M)[sure])
    assert found.sum() >= 6
    np.testing.assert_allclose(near.salt_lake_m[found], expected[found], rtol=1e-3, atol=20)


@pytest.mark.pinned("peer")
def test_reach_ends_at_50_km():
    # Due west of the Great Salt Lake's bounding box, at the height of its westernmost corner.
    lake = next(lk for lk in salt_lakes.salt_lakes() if lk.name == "Great Salt Lake")
    west = lake.shore_deg[lake.shore_deg[:, 0].argmin()]
    lengths_m = np.arange(49_000.0, 56_000.0, 250.0)
    ends = [Geodesic.WGS84.Direct(west[1], west[0], 270.0, metres) for metres in lengths_m]
    lon, lat = ([end[key] for end in ends] for key in ("lon2", "lat2"))
    near = salt_lake_at(lon, lat)
    shore = densified(lake.shore_deg)
    true_m = np.array([by_geographiclib_m(shore, x, y) for x, y in zip(lon, lat, strict=True)])
    sure = np.abs(true_m - 50_000) > 30
    assert (true_m[sure] < 50_000).any()
    assert (true_m[sure] > 50_000).any()
    np.testing.assert_array_equal((near.salt_lake != "")[sure], (true_m < 50_000)[sure])


@pytest.mark.pinned("peer")
def test_every_lake_is_known_49_9_km_from_its_outermost_corners():
    """Due north, east, south and west of them, by GeographicLib; another lake may be nearer."""
    ends = []
    for lake in salt_lakes.salt_lakes():
        lon, lat = lake.shore_deg.T
        for corner, azimuth in (
            (lat.argmax(), 0), (lon.argmax(), 90), (lat.argmin(), 180), (lon.argmin(), 270),
        ):  # fmt: skip
            ends.append(Geodesic.WGS84.Direct(lat[corner], lon[corner], azimuth, 49_900.0))
    near = salt_lake_at([end["lon2"] for end in ends], [end["lat2"] for end in ends])
    assert (near.salt_lake != "").all()
    assert near.salt_lake_m.max() < 49_900.5


def test_the_nearer_of_two_lakes_counts():
    # Lakes Abijatta and Shala lie a few kilometres apart.
    lakes = {lake.name: lake for lake in salt_lakes.salt_lakes()}
    pair = [lakes["Lake Abijatta"], lakes["Lake Shala"]]
    grid = np.meshgrid(np.arange(38.3, 38.75, 0.05), np.arange(7.3, 7.8, 0.05))
    lon, lat = (v.ravel() for v in grid)
    near = salt_lake_at(lon, lat)
    rough = np.array([
        shapely.distance(
            shapely.Polygon(lake.shore_deg), shapely.points(np.column_stack([lon, lat]))
        )
        for lake in pair
    ])  # fmt: skip
    clear = np.abs(rough[0] - rough[1]) > 0.02 * rough.max(axis=0)
    expected = np.where(rough[0] < rough[1], pair[0].name, pair[1].name)
    assert set(expected[clear]) == {lake.name for lake in pair}
    np.testing.assert_array_equal(near.salt_lake[clear], expected[clear])


def test_unknown_stays_unknown_and_rows_keep_their_place():
    lon, lat = [np.nan, 35.39, 6.63, 395.39, 35.39], [31.46, 31.46, 46.5, 31.46, np.nan]
    near = salt_lake_at(lon, lat)
    assert near.salt_lake.tolist() == ["", "Dead Sea", "", "Dead Sea", ""]
    assert near.salt_lake_m[1] == pytest.approx(near.salt_lake_m[3], abs=1e-3)
    assert np.isnan(near.salt_lake_m[[0, 2, 4]]).all()
    assert [len(v) for v in salt_lake_at([], [])] == [0] * 5
    assert salt_lake_at([np.nan], [np.nan]).salt_lake.tolist() == [""]


@given(st.floats(35.0, 36.0), st.floats(30.9, 32.0), st.floats(0, 360), st.floats(1.0, 5000.0))
def test_a_step_changes_the_distance_by_no_more_than_its_length(lon, lat, azimuth_deg, step_m):
    there = Geodesic.WGS84.Direct(lat, lon, azimuth_deg, step_m)
    near = salt_lake_at([lon, there["lon2"]], [lat, there["lat2"]])
    if (near.salt_lake == "Dead Sea").all():
        assert abs(np.diff(near.salt_lake_m)[0]) <= step_m + 0.5


def test_columns_of_two_lengths_are_refused():
    with pytest.raises(LayerError, match="one length"):
        salt_lake_at([1.0, 2.0], [1.0])


def test_the_file_is_small_and_every_lake_says_where_it_is_from():
    path = embedded_file(salt_lakes.SALT_LAKES_FILE)
    assert path.stat().st_size < 1_000_000
    assert json.loads(path.read_text(encoding="utf-8"))["type"] == "FeatureCollection"
    for lake in salt_lakes.salt_lakes():
        assert shapely.Polygon(lake.shore_deg).is_valid, lake.name
        assert (lake.shore_deg[0] == lake.shore_deg[-1]).all(), lake.name
        assert lake.brine in (salt_lakes.MAGNESIUM, salt_lakes.SODIUM), lake.name
        assert 3 <= lake.salinity_g_kg <= 350, lake.name  # saline from 3 g/kg
        assert lake.source, lake.name
        assert lake.status in ("from memory", "secondary page read", "published and arithmetic")
        assert lake.outline_sd_m == (10_000 if lake.outline.startswith("own") else 1_000)


def test_the_record_names_licence_and_gap():
    record = salt_lakes.salt_lakes_origin().record()
    assert record["licence"] == "LGPL-3.0"
    assert "Salar de Uyuni" in record["source"]
    assert "nothing is calibrated" in record["note"]
    drawn = [lake for lake in salt_lakes.salt_lakes() if not lake.outline.startswith("own")]
    assert f"), {len(drawn)} lakes of level 2" in record["source"]
    assert record["extent"].startswith("50 km around")
    assert len(record["sha256"]) == 64
