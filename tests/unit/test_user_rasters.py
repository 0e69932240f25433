"""Rasters of climate and SO2 that the user has: units, scales, gaps, and what is refused."""

import numpy as np
import pandas as pd
import pytest
import rasterio
from affine import Affine

from saltreach.errors import LayerError, OptionError
from saltreach.intake.services import Services
from saltreach.layers import climate_pack as pack
from saltreach.layers.online import bring_air, bring_climate
from saltreach.layers.online.part import Call
from saltreach.layers.online.user_rasters import climate_of_rasters, so2_of_raster
from saltreach.layers.online.web import Web
from saltreach.layers.where import where_of

HERE = where_of([-5.6], [43.3])
MONTH_DAYS = [31, 28.25, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31]


def raster(path, value, *, dtype="float32", scale=1.0, offset=0.0, unit="", nodata=None, bands=1):
    """A raster of 0.1 degree cells around the place; a list gives the cells of its row."""
    cells = np.full((10, 10), value, dtype) if np.isscalar(value) else np.array(value, dtype)
    with rasterio.open(
        path, "w", driver="GTiff", width=10, height=10, count=bands, dtype=dtype, crs="EPSG:4326",
        transform=Affine(0.1, 0, -6.05, 0, -0.1, 43.85), nodata=nodata,
    ) as file:  # fmt: skip
        for band in range(1, bands + 1):
            file.write(cells, band)
        file.scales, file.offsets = (scale,) * bands, (offset,) * bands
        if unit:
            file.units = (unit,) * bands
    return path


def had(tmp_path, where=HERE, **named):
    entries = tuple(f"{name}={tmp_path / file}" for name, file in named.items())
    return climate_of_rasters(Services(climate_rasters=entries), where)


@pytest.mark.pinned("worked", answers=5)
def test_twelve_files_with_their_own_scale_and_offset(tmp_path):
    """Tenths of kelvin, as CHELSA stores them: 2830 + 10 m is 283 + m K, 9.85 + m degC in month m.

    Humidity 7000 + 100 m hundredths: 70 + m %, mean 76.5. Rain 800 tenths: 80 mm, 960 a year.
    """
    for m in range(1, 13):
        raster(tmp_path / f"tas_{m:02d}.tif", 2830 + 10 * m, dtype="uint16", scale=0.1,
               offset=-273.15, unit="K")  # fmt: skip
        raster(tmp_path / f"hurs_{m:02d}.tif", 7000 + 100 * m, dtype="uint16", scale=0.01)
        raster(tmp_path / f"pr_{m:02d}.tif", 800, dtype="uint16", scale=0.1, unit="kg m-2 month-1")
    (row,) = had(tmp_path, temperature="tas_{month}.tif", humidity="hurs_{month}.tif",
                 rain="pr_{month}.tif").rows  # fmt: skip
    year = sum(d * (9.85 + m) for m, d in enumerate(MONTH_DAYS, 1)) / 365.25
    assert row["temperature_c_03"] == pytest.approx(12.85)
    assert row["temperature_c"] == pytest.approx(year)
    assert row["relative_humidity_pct_12"] == pytest.approx(82)
    assert row["relative_humidity_pct"] == pytest.approx(76.5)
    assert row["rain_mm_y"] == pytest.approx(960)
    assert row["source"] == pack.RASTER
    assert (row["lon"], row["lat"]) == pytest.approx((-5.6, 43.3))


@pytest.mark.pinned("worked", answers=3)
def test_one_file_is_the_year_and_kelvin_is_said_by_the_file(tmp_path):
    """286.15 K is 13 degC."""
    raster(tmp_path / "t.tif", 286.15, unit="K")
    raster(tmp_path / "w.tif", 5.5, unit="m s-1")
    raster(tmp_path / "r.tif", 1100.0)
    (row,) = had(tmp_path, temperature="t.tif", wind="w.tif", rain="r.tif").rows
    assert row["temperature_c"] == pytest.approx(13, abs=1e-4)
    assert (row["wind_speed_m_s"], row["rain_mm_y"]) == (5.5, 1100)
    assert "temperature_c_01" not in row


REFUSED = [
    ("temperature", 2881, {}, r"holds 2881 at 43.3 N 5.6 W, which is no temperature_c: tenths"),
    ("temperature", 286.15, {}, r"holds 286.15 .*-a_offset -273.15"),
    ("temperature", 45.0, {}, r"gives 45 as the year's, where the embedded climate has 1\d"),
    ("temperature", 55.0, {"unit": "F"}, r"is in f; give one in degc"),
    ("temperature", -9999.0, {}, r"holds -9999 .*where it stands for no data, declare it"),
    ("humidity", 0.78, {}, r"holds 0.78 .*a share, tenths or hundredths"),
    ("humidity", 7800, {}, r"holds 7800"),
    ("humidity", -3.0, {}, r"holds -3"),
    ("rain", 12000.0, {}, r"gives 12000 as the year's.*: tenths"),
    ("rain", 100.0, {}, r"gives 100 as the year's, where the embedded climate has"),
    ("rain", -1.0, {}, r"holds -1"),
    ("wind", 55.0, {}, r"holds 55 .*km/h"),
    ("wind", 5.0, {"bands": 12}, r"has 12 bands; give a file of one band, or twelve with"),
    ("wind", 5.0, {"unit": "km/h"}, r"is in km/h; give one in m/s"),
]  # fmt: skip


@pytest.mark.parametrize(("name", "value", "other", "said"), REFUSED)
def test_what_cannot_be_is_refused_with_value_and_fix(tmp_path, name, value, other, said):
    raster(tmp_path / "own.tif", value, **other)
    with pytest.raises(LayerError, match=said):
        had(tmp_path, **{name: "own.tif"})


@pytest.mark.parametrize(("entries", "said"), [
    (("temp=a.tif",), "'temp=a.tif' is not quantity=FILE with one of temperature, humidity"),
    (("rain=",), "is not quantity=FILE"),
    (("rain",), "is not quantity=FILE"),
    (("rain=a.tif", "rain=b.tif"), "rain stands twice"),
])  # fmt: skip
def test_an_entry_that_is_none_is_refused_before_anything_is_asked(entries, said):
    services = Services(climate_rasters=entries)
    for asked in (climate_of_rasters, lambda s, w: bring_climate.PART.plan(w, s)):
        with pytest.raises(OptionError, match=said):
            asked(services, HERE)


def test_a_file_that_is_missing_is_named(tmp_path):
    with pytest.raises(LayerError, match=r"wind raster .*wind_01\.tif"):
        had(tmp_path, wind="wind_{month}.tif")


def test_places_without_data_or_outside_stay_unknown_and_are_counted(tmp_path):
    row = np.full((10, 10), 80.0)
    row[:, 5:] = -32768  # east of 5.55 W
    raster(tmp_path / "h.tif", row, nodata=-32768)
    where = where_of([-5.6, -5.5, 10.0], [43.3, 43.3, 43.3])
    found = had(tmp_path, where, humidity="h.tif")
    (row,) = found.rows
    assert (row["lon"], row["relative_humidity_pct"]) == pytest.approx((-5.6, 80))
    assert found.failure.startswith("your raster knows 1 of 3 places")


def test_a_month_without_data_leaves_the_year_unknown(tmp_path):
    for m in range(1, 13):
        raster(tmp_path / f"h_{m:02d}.tif", 80.0 if m != 5 else -1.0, nodata=-1)
    (row,) = had(tmp_path, humidity="h_{month}.tif").rows
    assert np.isnan(row["relative_humidity_pct"]) and np.isnan(row["relative_humidity_pct_05"])


def test_sulphur_dioxide_of_a_raster(tmp_path):
    path = raster(tmp_path / "so2.tif", 4.5, unit="µg/m3")
    (row,) = so2_of_raster(Services(so2_raster=str(path)), HERE).rows
    assert (row["source"], row["so2_ug_m3"]) == ("so2_raster", 4.5)
    assert so2_of_raster(Services(), HERE).rows == []
    wrong = ((-1.0, "", "holds -1"), (4e-9, "", "holds 4e-09 .*another unit"),
             (4.5, "ppb", "is in ppb; give one in ug/m3"))  # fmt: skip
    for value, unit, said in wrong:
        path = raster(tmp_path / "bad.tif", value, unit=unit)
        with pytest.raises(LayerError, match=said):
            so2_of_raster(Services(so2_raster=str(path)), HERE)


def test_rasters_alone_make_a_part_though_no_service_answers(tmp_path, httpserver):
    """Nobody listens at the services' addresses here: the server knows none of them (500)."""
    humid, so2 = raster(tmp_path / "h.tif", 80.0), raster(tmp_path / "so2.tif", 4.5)
    addresses = ("nasa_power", "open_meteo_archive", "open_meteo_air")
    services = Services(climate_rasters=(f"humidity={humid}",), so2_raster=str(so2),
                        **dict.fromkeys(addresses, httpserver.url_for("/no")))  # fmt: skip
    for name, part, origin in (("climate", bring_climate.PART, "climate_raster"),
                               ("air", bring_air.PART, "so2_raster")):  # fmt: skip
        folder = tmp_path / name
        folder.mkdir()
        brought = part.bring(
            Call(HERE, services, Web(None, backoff_s=0, pause_s=0), folder, folder)
        )
        assert [o.name for o in brought.origins] == [origin]
        assert pd.read_csv(folder / f"{name}.csv")["source"].tolist() == [origin]
        assert all(note.endswith("your raster is used.") for note in brought.notes)
        assert len(brought.notes) == (2 if name == "climate" else 1)
        assert "tif" in brought.origins[0].source and str(tmp_path) not in brought.origins[0].source
