"""The climate layer on an invented world whose maps are planes: every answer is arithmetic.

The maps have the axes that `itur` gives them (`tests/reference/test_climate_cities.py` reads them).
Constants named in the expected values: 6.5 K/km, ISO 2533:1975; vapour pressure rho T / 216.7,
ITU-R P.836-6; saturation over water 6.112 exp(17.62 t / (243.12 + t)) hPa, WMO-No. 8. The spreads
and the weight of rain are the layer's own, measured or judged where its module says.
"""

import importlib.metadata
import importlib.util
import math
from pathlib import Path
from types import SimpleNamespace

import numpy as np
import pandas as pd
import pytest

from saltreach.layers import climate
from saltreach.layers import climate_maps as maps
from saltreach.layers.climate import climate_origins, monthly_climate, sample_climate
from saltreach.layers.climate_maps import GlobalGrid
from saltreach.layers.climate_pack import NO_PACK

real_folder = maps.itu_folder
LEVELS = ("10", "20", "30", "50", "60", "70", "80", "90")
"""Shares of the year that ITU-R P.836 has maps for, %, among them those of the package."""
MONTH_C = (2.0, 3.0, 7.0, 11.0, 16.0, 19.5, 22.0, 21.0, 18.0, 13.0, 7.5, 4.0)
DAYS = (31, 28.25, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31)


def axes(rows, columns, lat_first, lat_step, lon_first, lon_step):
    return np.meshgrid(
        lat_first + lat_step * np.arange(rows), lon_first + lon_step * np.arange(columns),
        indexing="ij", sparse=True,
    )  # fmt: skip


def invented_map(folder, name, shape):
    """Planes: heights, vapour by level, the vapour's scale height, its surface, rain of a month."""
    kind, _, level = name.rpartition("_")
    if name == "1511/v2_topo":
        assert shape == (2164, 4324)
        lat, lon = axes(*shape, 90.125, -1 / 12, -180.125, 1 / 12)
        found = 1000 + 10 * lat + 2 * lon
    elif name == "836/v6_topo_0dot5":
        assert shape == (363, 723)
        lat, lon = axes(*shape, 90.5, -0.5, -0.5, 0.5)
        found = 1.0 + 0.01 * lat + 0.002 * lon
    elif kind == "836/v6_rho":
        assert shape == (161, 321)
        assert level in LEVELS
        _, lon = axes(*shape, 90.0, -1.125, 0.0, 1.125)
        found = (20 - 4 * math.log(int(level))) * lon / 22.5
    elif kind == "836/v6_vsch":
        assert shape == (161, 321)
        lat, _ = axes(*shape, 90.0, -1.125, 0.0, 1.125)
        found = 2.0 + 0.1 * math.log(int(level)) + 0.001 * lat
    else:
        assert shape == (722, 1442)
        month = int(name.removeprefix("837/v7_mt_month"))
        assert name.endswith(f"{month:02d}")
        lat, lon = axes(*shape, -90.125, 0.25, -180.125, 0.25)
        found = month * (50 + 0.1 * lat + 0.01 * lon)
    return np.broadcast_to(found, shape).astype(np.float32)


def invented_era5(name):
    lat, lon = axes(19, 36, 90.0, -10.0, 0.0, 10.0)
    base = {"temperature_c": 20 - 0.4 * lat + 0.02 * lon, "rain_mm": 60 + 0.1 * lat + 0 * lon}[name]
    month = np.array(MONTH_C) if name == "temperature_c" else np.arange(12.0)
    return GlobalGrid(base[:, :, None] + month, 0, 10, 90, -10)


@pytest.fixture(scope="module", autouse=True)
def world(tmp_path_factory):
    folder = tmp_path_factory.mktemp("itur")
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(maps, "itu_folder", lambda: folder)
        patch.setattr(maps, "_itu_map", invented_map)
        patch.setattr(maps, "era5", invented_era5)
        annual = invented_era5("rain_mm")
        patch.setattr(
            maps, "era5_annual_rain",
            lambda: GlobalGrid(annual.values.sum(axis=2), 0, 10, 90, -10),
        )  # fmt: skip
        yield folder


# At a node of every grid: 22.5 E, 45 N. Heights: 1000 + 450 + 45 = 1495 m; ERA5 20 - 18 + 0.45 +
# month; vapour 20 - 4 ln p; scale height 2.045 + 0.1 ln p km; its surface 1.495 km; rain of month
# m: m (50 + 4.5 + 0.225) = 54.725 m by the ITU-R, 64.5 + m - 1 by ERA5.
NODE = (22.5, 45.0)


def temperature_at(elevation_m, reference_m, base_c):
    return [base_c + month - 0.0065 * (elevation_m - reference_m) for month in MONTH_C]


def year_of(months):
    return sum(m * d for m, d in zip(months, DAYS, strict=True)) / 365.25


def humidity_at(elevation_m, surface_km, scale_km, temperatures, vapour=1.0):
    """The k-th driest month gets what is exceeded in 50 - 0.8 (100 (k + 1/2) / 12 - 50) % of the
    year, between two levels in the logarithm of that share."""
    by_rank = []
    for k in range(12):
        p = 50 - 0.8 * (100 * (k + 0.5) / 12 - 50)
        density = vapour * (20 - 4 * math.log(p))
        scale = scale_km + 0.1 * math.log(p)
        by_rank.append(density * math.exp(-(elevation_m / 1000 - surface_km) / scale))
    ranked = dict(zip(sorted(temperatures), by_rank, strict=True))
    return [
        100 * ranked[t] * (t + 273.15) / 216.7 / (6.112 * math.exp(17.62 * t / (243.12 + t)))
        for t in temperatures
    ]


@pytest.mark.pinned("worked", answers=7)
def test_a_place_of_known_elevation():
    """800 m, below the map's 1495: 695 m of lapse, known to 1.5 K/km."""
    row = sample_climate(*([v] for v in NODE), [800.0]).loc[0]
    monthly = temperature_at(800, 1495, 2.45)
    assert row["temperature_c"] == pytest.approx(year_of(monthly), abs=1e-5)
    assert row["temperature_sd_c"] == pytest.approx(math.sqrt(0.36 + 1.0425**2), rel=1e-6)
    humidity = humidity_at(800, 1.495, 2.045, monthly)
    assert 100 > max(humidity) > min(humidity) > 1
    assert row["relative_humidity_pct"] == pytest.approx(sum(humidity) / 12, rel=1e-5)
    assert row["relative_humidity_sd_pct"] == pytest.approx(
        math.sqrt(56.25 + 3.475**2), rel=1e-6
    )  # 5 % a km
    rain = 0.85 * 54.725 * 78 + 0.15 * (64.5 * 12 + 66)
    assert row["rain_mm_y"] == pytest.approx(rain, rel=1e-6)
    assert row["rain_sd_mm_y"] == pytest.approx(math.sqrt(900 + (0.11 * rain) ** 2), rel=1e-6)
    assert row[["elevation_m", "elevation_source", "climate_notes"]].tolist() == [
        800, "register", "",
    ]  # fmt: skip


@pytest.mark.pinned("worked", answers=4)
def test_a_place_of_unknown_elevation_stands_on_the_map():
    """Which is known to 150 m: 0.975 K of lapse."""
    row = sample_climate(*([v] for v in NODE), [np.nan]).loc[0]
    assert row["elevation_m"] == pytest.approx(1495, abs=0.01)
    assert row["elevation_source"] == "itu_p1511"
    assert row["temperature_c"] == pytest.approx(2.45 + year_of(MONTH_C), abs=1e-4)
    assert row["temperature_sd_c"] == pytest.approx(math.sqrt(0.36 + 0.975**2), rel=1e-5)
    assert row["relative_humidity_sd_pct"] == pytest.approx(7.5, rel=1e-6)


@pytest.mark.pinned("worked", answers=36)
def test_the_months_of_a_place():
    months = monthly_climate(*([v] for v in NODE), [2000.0])
    wanted = temperature_at(2000, 1495, 2.45)
    assert months["temperature_c"].values[0] == pytest.approx(wanted, abs=1e-4)
    humidity = humidity_at(2000, 1.495, 2.045, wanted)
    assert months["relative_humidity_pct"].values[0] == pytest.approx(humidity, rel=1e-4)
    rain = [0.85 * 54.725 * m + 0.15 * (64.5 + m - 1) for m in range(1, 13)]
    assert months["rain_mm"].values[0] == pytest.approx(rain, rel=1e-5)
    assert months["month"].values.tolist() == list(range(1, 13))


@pytest.mark.pinned("worked", answers=4)
def test_humidity_is_limited_to_1_and_100_and_what_was_cut_off_is_error():
    """No vapour at all at Greenwich; so much of it in the cold, 67.5 E 78.75 N, that every month is
    above 100 % (the heights there: 1000 + 787.5 and + 135 m, the vapour's surface 1.9225 km)."""
    table = sample_climate([0.0, 67.5], [45.0, 78.75], [1450.0, 1922.5])
    assert table["relative_humidity_pct"].tolist() == pytest.approx([1, 100])
    monthly = temperature_at(0, 0, 20 - 31.5 + 1.35)
    excess = humidity_at(1922.5, 1.9225, 2.07875, monthly, vapour=3.0)
    assert min(excess) > 100
    cut = [1.0, sum(excess) / 12 - 100]
    sd = [math.sqrt(56.25 + c**2) for c in cut]
    assert table["relative_humidity_sd_pct"].tolist() == pytest.approx(sd, rel=1e-4)
    assert table["climate_notes"].tolist() == [
        "", "relative humidity computes above 100 % and was limited: doubtful",
    ]  # fmt: skip


def test_between_nodes_each_nodes_vapour_is_brought_to_the_elevation():
    """Halfway between two nodes in longitude: the mean of what each says at 500 m."""
    ends = [monthly_climate([lon], [45.0], [500.0]) for lon in (22.5, 23.625)]
    middle = monthly_climate([23.0625], [45.0], [500.0])
    t, *at = ((m["temperature_c"].values[0]) for m in (middle, *ends))
    e = [6.112 * np.exp(17.62 * v / (243.12 + v)) / (v + 273.15) for v in (t, *at)]
    vapour = [m["relative_humidity_pct"].values[0] * s for m, s in zip(ends, e[1:], strict=True)]
    found = middle["relative_humidity_pct"].values[0] * e[0]
    assert found == pytest.approx((vapour[0] + vapour[1]) / 2, rel=1e-5)


@pytest.mark.pinned("worked", answers=8)
def test_the_height_of_an_era5_cell_is_the_mean_of_its_nine_map_cells(monkeypatch, tmp_path):
    """A spike of 36 m in one cell of the map: inside, on an edge (half to each side), at a corner.

    A cell of ERA5 spans three of the map; those on its edge are halved, those at a corner
    quartered: 36/9 = 4, 36/18 = 2 and 36/36 = 1 m.
    """

    def spike(folder, name, shape):
        found = np.zeros(shape, np.float32)
        found[301, 602] = found[600, 901] = found[903, 1203] = found[1500, 0] = found[0, 601] = 36
        return found

    monkeypatch.setattr(maps, "_itu_map", spike)
    values = maps.era5_height(tmp_path).values
    assert values.shape == (721, 1440)
    wanted = {
        (100, 200): 4, (200, 300): 2, (199, 300): 2,
        (301, 401): 1, (300, 401): 1, (301, 400): 1, (300, 400): 1,
        (0, 200): 2, (500, 0): 1, (499, 0): 1, (500, 1439): 1, (499, 1439): 1,
    }  # fmt: skip
    found = {(int(i), int(j)): float(values[i, j]) for i, j in np.argwhere(values != 0)}
    assert found == pytest.approx(wanted)


@pytest.mark.pinned("worked", answers=6)
def test_every_map_lies_where_it_should(world):
    lon, lat = np.array([22.5, -41.3, 171.0]), np.array([45.0, -61.7, 3.2])
    height = 1000 + 10 * lat + 2 * lon
    assert maps.topography(world).at(lon, lat) == pytest.approx(height, rel=1e-5)
    assert maps.era5_height(world).at(lon, lat) == pytest.approx(height, rel=1e-5)
    rain = 50 + 0.1 * lat + 0.01 * lon
    assert maps.itu_rain(world, 7).at(lon, lat) == pytest.approx(7 * rain, rel=1e-5)
    assert maps.itu_annual_rain(world).at(lon, lat) == pytest.approx(78 * rain, rel=1e-5)
    density, scale_km, surface_km = maps.vapour_density(world)
    at = np.meshgrid(np.arange(161), np.arange(320), indexing="ij")
    surface = 1 + 0.01 * (90 - 1.125 * at[0]) + 0.002 * 1.125 * at[1]
    assert surface_km[:, :320] == pytest.approx(surface, rel=1e-5)
    assert density.at(np.array([27.0]), np.array([10.0]))[0] == pytest.approx(
        [1.2 * (20 - 4 * math.log(50 - 0.8 * (100 * (k + 0.5) / 12 - 50))) for k in range(12)],
        rel=1e-5,
    )
    assert scale_km.shape == (161, 321, 12)


def test_a_hair_west_of_greenwich_is_greenwich():
    """There the remainder of a full turn rounds up to the turn itself."""
    grid = invented_era5("temperature_c")
    assert (np.float64(-1e-15) / 10) % 36 == 36
    found = grid.at(np.array([-1e-15]), np.array([5.0]))
    assert found == pytest.approx(grid.at(np.array([0.0]), np.array([5.0])))


@pytest.mark.pinned("judgement", answers=4)
def test_heights_far_from_the_map_are_noted():
    """1500 m from the map's 1495 m is let pass, more is not."""
    heights = [2994.0, 2996.0, -4.0, -6.0]
    notes = sample_climate([22.5] * 4, [45.0] * 4, heights)["climate_notes"]
    doubt = "elevation_m is more than 1500 m from the map: is it in metres?"
    assert [note.endswith(doubt) for note in notes] == [False, True, False, True]


@pytest.mark.pinned("judgement", answers=5)
def test_what_is_said_of_a_row():
    """Humidity of the year exactly at 100 %, above it, and unknown; heights exactly 1500 m off."""
    months = np.full((5, 12), [[100.0], [100.1], [100.1], [np.nan], [np.nan]])
    lon = np.array([1.0, 1, 1, 1, np.nan])
    height, on_map = np.array([1500.0, 0, 1501, 0, 0]), np.zeros(5)
    above = "relative humidity computes above 100 % and was limited: doubtful"
    feet = "elevation_m is more than 1500 m from the map: is it in metres?"
    none = "relative humidity unknown: ITU-R P.836 has no value here"
    inside = np.zeros(5, bool)
    notes = climate._notes(Path("itur"), lon, np.ones(5), height, on_map, months, inside)
    assert notes.tolist() == ["", above, f"{above}; {feet}", none, "position unknown"]
    absent = climate._notes(None, lon, np.ones(5), height, on_map * np.nan, months * np.nan, inside)
    assert absent[0].startswith("relative humidity unknown and temperature not moved")
    assert absent[4] == "position unknown"
    unknown_lat = climate._notes(None, lon[:1], np.array([np.nan]), height[:1], on_map[:1],
                                 months[:1] * np.nan, inside[:1])  # fmt: skip
    assert unknown_lat.tolist() == ["position unknown"]
    unmoved = climate._notes(None, lon, np.ones(5), height, on_map, months, ~inside)
    beyond = "the region pack knows no humidity here: that of the embedded layer is used"
    package = "package itur is not installed"
    assert unmoved[0] == f"temperature not moved to the elevation: {package}; {beyond}"
    assert unmoved[3].startswith("relative humidity unknown and") and beyond not in unmoved[3]


@pytest.mark.pinned("judgement", answers=4)
def test_without_the_maps_of_the_itu_the_spreads_are_wider(monkeypatch):
    monkeypatch.setattr(maps, "itu_folder", lambda: None)
    row = sample_climate(*([v] for v in NODE), [800.0]).loc[0]
    assert row["temperature_c"] == pytest.approx(2.45 + year_of(MONTH_C))
    assert row["temperature_sd_c"] == 2
    rain = 64.5 * 12 + 66
    assert row["rain_mm_y"] == pytest.approx(rain)
    assert row["rain_sd_mm_y"] == pytest.approx(math.sqrt(1600 + (0.22 * rain) ** 2))
    months = monthly_climate(*([v] for v in NODE), [800.0])
    assert months["rain_mm"].values[0] == pytest.approx([64.5 + m for m in range(12)])


@pytest.mark.pinned("worked", answers=9)
def test_the_register_knows_its_height_before_the_raster_and_the_raster_before_the_map():
    places = pd.DataFrame(
        {
            "lon": [22.5] * 4, "lat": [45.0] * 4, "elevation_m": [800.0, 800.0, np.nan, np.nan],
            "raster_elevation_m": [np.nan, 700.0, 700.0, np.nan],
            "raster_name": ["", "dem", "dem", ""],
        }
    )  # fmt: skip
    found = climate.LAYER.sample(NO_PACK, places)
    assert found["elevation_m"].tolist() == pytest.approx([800, 800, 700, 1495], abs=0.01)
    assert found["elevation_source"].tolist() == ["register", "register", "dem", "itu_p1511"]
    wanted = [math.sqrt(0.36 + (0.0015 * (1495 - z)) ** 2) for z in (800, 800, 700)]
    assert found["temperature_sd_c"][:3].tolist() == pytest.approx(wanted, rel=1e-5)
    monthly = found["temperature_c_by_month"]
    assert monthly[2] == pytest.approx(temperature_at(700, 1495, 2.45), abs=1e-4)
    assert found["relative_humidity_pct_by_month"][2] == pytest.approx(
        humidity_at(700, 1.495, 2.045, temperature_at(700, 1495, 2.45)), rel=1e-4
    )


@pytest.mark.parametrize(
    ("spec", "folder"),
    [
        (SimpleNamespace(submodule_search_locations=["/some/itur", "/other"]), "/some/itur/data"),
        (SimpleNamespace(submodule_search_locations=None), None),
        (None, None),
    ],
)
def test_the_folder_of_the_maps_is_that_of_the_package(monkeypatch, spec, folder):
    monkeypatch.setattr(importlib.util, "find_spec", lambda name: spec if name == "itur" else 0)
    assert real_folder() == (folder and Path(folder))


def test_the_note_on_rain_says_both_weights(monkeypatch):
    monkeypatch.setattr(maps, "itu_folder", lambda: Path("itur"))
    monkeypatch.setattr(importlib.metadata, "version", lambda _: "0.4")
    notes = {origin.name: origin.note for origin in climate_origins()}
    assert notes["rain_itu_p837"] == "blended: 0.85 of this and 0.15 of ERA5"
