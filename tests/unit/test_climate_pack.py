"""What a region pack's climate and air do to an assessment, and which source speaks for a place."""

import numpy as np
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st

import saltreach as sr
from saltreach.errors import LayerError
from saltreach.intake.options import Options
from saltreach.layers import climate_pack as pack
from saltreach.layers import sample, so2
from saltreach.layers.cells import PLACE, cell_at, write_cells
from saltreach.layers.climate import sample_climate
from saltreach.layers.layer import Origin
from saltreach.layers.online.part import Brought
from saltreach.layers.pack import write_part
from saltreach.science.air.atmosphere import first_year_loss_um_y

LON, LAT, HEIGHT = -5.6, 43.3, 100.0
CELLS = {pack.RASTER: (0.002, 0.002), pack.OPEN_METEO: (0.1, 0.1), pack.NASA_POWER: (0.625, 0.5)}


def cell(source, lon=LON, lat=LAT, months=None, **values):
    """One row of a pack; `months` of a quantity stand in all twelve."""
    wide, high = CELLS.get(source, (0.1, 0.1))
    row = {"source": source, "lon": lon, "lat": lat, "cell_lon_deg": wide, "cell_lat_deg": high,
           "elevation_m": HEIGHT, **values}  # fmt: skip
    for quantity, value in (months or {}).items():
        row |= {quantity: value} | dict.fromkeys(pack.by_month(quantity), value)
    return row


def packed(folder, climate=(), air=()):
    """Options with a pack of these cells."""
    for name, file, columns, rows in (
        (pack.NAME, pack.FILE, pack.COLUMNS, climate), (so2.NAME, so2.FILE, so2.COLUMNS, air)
    ):  # fmt: skip
        if rows:

            def made(work, file=file, columns=columns, rows=rows):
                write_cells(work / file, rows, columns)
                names = dict.fromkeys(row["source"] for row in rows)
                return Brought(tuple(Origin(n, "invented", attribution=f"by {n}") for n in names),
                               ())  # fmt: skip

            write_part(folder, name, made, now="2026-11-27T12:00:00+00:00")
    return Options(pack_folder=str(folder), so2_ug_m3=2.0)


def said(options, columns, lon=LON, lat=LAT):
    lon, lat = np.atleast_1d(lon), np.atleast_1d(lat)
    height = {"elevation_m": np.full(len(lon), HEIGHT)}
    return sample(lon, lat, columns, options=options, known=height)


HUMID = ("relative_humidity_pct", "temperature_c", "rain_mm_y", "wind_speed_m_s")


@pytest.mark.pinned("worked", answers=9)
def test_the_packs_air_is_what_steel_corrodes_in(tmp_path):
    """ISO 9223:2012 equation 1 at 12 degC, 82 %, 5 ug/m3 of SO2 and 20 mg/(m2 d) of chloride.

    SO2 deposition 0.8 x 5 = 4 mg/(m2 d). f = -0.054 x (12 - 10) = -0.108.
    1.77 x 4^0.52 x exp(0.020 x 82 - 0.108) = 1.77 x 2.05623 x 4.62742 = 16.842
    0.102 x 20^0.62 x exp(0.033 x 82 + 0.040 x 12) = 0.102 x 6.40676 x 24.1915 = 15.809
    together 32.651 um/y. With the embedded humidity and 2 ug/m3 it is another.
    """
    options = packed(
        tmp_path,
        [cell(pack.OPEN_METEO, months={pack.HUMIDITY: 82.0}),
         cell(pack.RASTER, months={pack.TEMPERATURE: 12.0}, rain_mm_y=1300.0)],
        [cell(so2.OPEN_METEO, so2_ug_m3=5.0)],
    )  # fmt: skip
    found = said(options, [*HUMID, "so2_ug_m3_used"])
    row = found.loc[0]
    assert row["relative_humidity_pct"] == pytest.approx(82)
    assert row["temperature_c"] == pytest.approx(12)
    assert row["rain_mm_y"] == 1300
    assert row["so2_ug_m3_used"] == 5
    loss = first_year_loss_um_y(
        "steel",
        row["temperature_c"],
        row["relative_humidity_pct"],
        0.8 * row["so2_ug_m3_used"],
        20.0,
    )
    assert loss == pytest.approx(32.651, abs=2e-3)
    assert row["humidity_source"] == "climate_open_meteo"
    assert row["temperature_source"] == row["rain_source"] == "climate_raster"
    assert row["so2_source"] == "so2_open_meteo"
    bare = said(Options(), HUMID).loc[0]
    assert abs(bare["relative_humidity_pct"] - 82) > 1
    assert bare["humidity_source"].startswith("climate_era5")
    assert np.isnan(bare["wind_speed_m_s"]) and bare["wind_source"] == "unknown"


@pytest.mark.pinned("judgement", answers=8)
def test_the_users_raster_then_open_meteo_then_power_then_what_is_embedded(tmp_path):
    """Standard deviations 5, 5, 6.5 and 7.5 %; the cell lies at the place's own height."""
    climate = [
        cell(pack.NASA_POWER, -5.625, 43.5, {pack.HUMIDITY: 70.0}, wind_speed_m_s=7.0),
        cell(pack.OPEN_METEO, months={pack.HUMIDITY: 75.0}, wind_speed_m_s=5.0),
        cell(pack.RASTER, months={pack.HUMIDITY: 80.0}),
    ]
    options = packed(tmp_path, climate)
    at = [LON, LON + 0.04, LON + 0.2, LON + 4]
    found = said(options, HUMID, at, [LAT] * 4)
    embedded = sample_climate(at, [LAT] * 4, [HEIGHT] * 4)
    assert found["relative_humidity_pct"].tolist()[:3] == pytest.approx([80, 75, 70])
    assert found["relative_humidity_pct"][3] == embedded["relative_humidity_pct"][3]
    assert found["relative_humidity_sd_pct"][:3].tolist() == pytest.approx([5, 5, 6.5])
    assert found["relative_humidity_sd_pct"][3] >= 7.5
    assert found["humidity_source"][:3].tolist() == [*pack.SOURCES]
    assert found["wind_speed_m_s"].tolist()[:3] == [5, 5, 7] and np.isnan(
        found["wind_speed_m_s"][3]
    )
    assert found["wind_source"].tolist() == [pack.OPEN_METEO] * 2 + [pack.NASA_POWER, "unknown"]
    pd.testing.assert_series_equal(found["temperature_c"], embedded["temperature_c"])
    assert not (found["temperature_source"] == pack.RASTER).any()


@pytest.mark.pinned("judgement", answers=3)
def test_humidity_of_a_cell_at_another_height_is_less_certain(tmp_path):
    """400 m: sqrt(5^2 + (5 x 0.4)^2) = 5.385 %."""
    low = cell(pack.OPEN_METEO, months={pack.HUMIDITY: 75.0}) | {"elevation_m": 500.0}
    found = said(packed(tmp_path, [low]), HUMID)
    assert found["relative_humidity_sd_pct"][0] == pytest.approx(5.385, abs=1e-3)
    raster = [cell(pack.RASTER, months={pack.TEMPERATURE: 9.0}, rain_mm_y=1000.0)]
    row = said(packed(tmp_path, raster), HUMID).loc[0]
    assert row["temperature_sd_c"] == 1
    assert row["rain_sd_mm_y"] == pytest.approx(np.hypot(40, 150))


@pytest.mark.pinned("worked", answers=2)
def test_a_year_alone_moves_the_embedded_months_to_it(tmp_path):
    options = packed(tmp_path, [cell(pack.RASTER, temperature_c=9.0, relative_humidity_pct=60.0)])
    row = said(options, HUMID).loc[0]
    assert row["temperature_c"] == pytest.approx(9)
    assert row["relative_humidity_pct"] == pytest.approx(60)
    assert row["humidity_source"] == row["temperature_source"] == pack.RASTER


REGISTER = pd.DataFrame({
    "anchor_id": ["in", "beyond", "own"], "crag": "Alder", "sector": ["A", "B", "C"],
    "lon": [LON, LON + 0.9, LON], "lat": [LAT] * 3, "elevation_m": HEIGHT,
    "so2_ug_m3": [np.nan, np.nan, 9.0],
})  # fmt: skip


@pytest.fixture(scope="module")
def assessed(tmp_path_factory):
    folder = tmp_path_factory.mktemp("pack")
    options = packed(
        folder,
        [cell(pack.OPEN_METEO, months={pack.HUMIDITY: 88.0}, time_of_wetness_h_y=4321.0,
              liquid_salt_share=0.31, wind_speed_m_s=6.5)],
        [cell(so2.OPEN_METEO, so2_ug_m3=6.0), cell(so2.OPEN_METEO, LON + 2, so2_ug_m3=7.0)],
    )  # fmt: skip
    return sr.assess(REGISTER, options)


@pytest.fixture(scope="module")
def bare():
    return sr.assess(REGISTER, Options())


@pytest.mark.pinned("worked", answers=8)
def test_an_assessment_counts_with_the_packs_air_and_says_so(assessed):
    anchors = assessed.flat.anchors.set_index("anchor_id")
    row = anchors.loc["in"]
    assert row["relative_humidity_pct"] == pytest.approx(88)
    assert row["humidity_source"] == "climate_open_meteo"
    assert row["time_of_wetness_h_y"] == 4321
    assert row["liquid_salt_share"] == 0.31
    assert row["wetness_source"] == "counted"
    assert row["wind_speed_m_s"] == 6.5
    assert anchors["so2_mg_m2_d"].tolist() == pytest.approx([0.8 * 6, 0.8 * 2, 0.8 * 9])
    assert anchors["so2_source"].tolist() == ["so2_open_meteo", "assumed", "register"]
    assert "SO2 assumed" not in row["warnings"]
    assert "SO2 assumed, not measured: 2 ug/m3" in anchors.loc["beyond", "warnings"]


def test_what_lies_beyond_the_packs_cells_is_as_without_it_and_says_so(assessed, bare):
    note = "the region pack knows no humidity here: that of the embedded layer is used"
    anchors, without = (r.flat.anchors.set_index("anchor_id") for r in (assessed, bare))
    assert note in anchors.loc["beyond", "warnings"]
    assert note not in anchors.loc["in", "warnings"]
    assert note not in " ".join(without["warnings"])
    same = ["relative_humidity_pct", "humidity_source", "time_of_wetness_h_y", "wetness_source",
            "steel_rate_um_y", "liquid_salt_share"]  # fmt: skip
    pd.testing.assert_series_equal(anchors.loc["beyond", same], without.loc["beyond", same])
    assert without.loc["in", "wetness_source"] == "estimated"
    assert anchors.loc["in", "steel_rate_um_y"] > without.loc["in", "steel_rate_um_y"]


def test_the_record_names_the_embedded_and_the_packed_sources(assessed, bare):
    names = [layer["name"] for layer in assessed.provenance["layers"]]
    assert {"climate_era5", "climate_open_meteo", "so2_open_meteo"} <= set(names)
    assert {"by climate_open_meteo"} <= {o["attribution"] for o in assessed.provenance["layers"]}
    assert "climate_open_meteo" not in [o["name"] for o in bare.provenance["layers"]]
    assert assessed.provenance["assumptions"][0].startswith(
        "SO2 is taken as 2 ug/m3 where neither the register nor a region pack gives it"
    )


@pytest.mark.pinned("worked", answers=1)
def test_wetness_is_estimated_from_the_packs_months_where_none_was_counted(tmp_path):
    """99 % and 15 degC all year: the wave is 1 %, so 98 to 100 % with a spread of 8: 2.25 to 2.5
    spreads above 80 %, 0.990; 15 -+ 4 degC with a spread of 4: 0.9985; 8766 x 0.990 = 8680 h."""
    months = {pack.HUMIDITY: 99.0, pack.TEMPERATURE: 15.0}
    rows = [cell(pack.RASTER, months={pack.TEMPERATURE: 15.0}),
            cell(pack.NASA_POWER, -5.625, 43.5, months)]  # fmt: skip
    found = sr.assess(REGISTER[:1], packed(tmp_path, rows)).flat.anchors.loc[0]
    assert found["time_of_wetness_h_y"] == pytest.approx(8680, abs=15)
    assert found["wetness_source"] == "estimated"
    assert found["humidity_source"] == "climate_nasa_power"


def test_counted_hours_are_of_open_meteos_air_and_of_no_rasters(tmp_path):
    counted = {"time_of_wetness_h_y": 4321.0, "liquid_salt_share": 0.31}
    hours = cell(pack.OPEN_METEO, months={pack.HUMIDITY: 88.0}, **counted)
    raster = cell(pack.RASTER, months={pack.HUMIDITY: 70.0})
    lon, lat = np.array([LON]), np.array([LAT])
    both = pack.open_climate_pack(packed(tmp_path, [hours, raster])).at(lon, lat)
    assert both.humidity_pct[0, 0] == 70 and np.isnan(both.wet_h_y[0])
    half = hours | {"liquid_salt_share": np.nan}
    assert np.isnan(pack.open_climate_pack(packed(tmp_path, [half])).at(lon, lat).wet_h_y[0])


@pytest.mark.pinned("judgement", answers=3)
def test_sulphur_dioxide_is_the_registers_the_rasters_the_services_or_assumed(tmp_path):
    air = [cell(so2.OPEN_METEO, so2_ug_m3=5.0), cell(so2.RASTER, so2_ug_m3=8.0),
           cell(so2.OPEN_METEO, LON + 0.1, so2_ug_m3=6.0), cell(so2.RASTER, LON + 0.2)]  # fmt: skip
    opened = so2.LAYER.open(packed(tmp_path, (), air))
    places = pd.DataFrame({"lon": LON + np.array([0, 0, 0.1, 0.2, np.nan]), "lat": LAT,
                           "so2_ug_m3": [40.0, *[np.nan] * 4]})  # fmt: skip
    found = so2.LAYER.sample(opened, places)
    assert found["so2_source"].tolist() == [
        "register", "so2_raster", "so2_open_meteo", "assumed", "assumed"
    ]  # fmt: skip
    assert found["so2_ug_m3_used"].tolist() == [40, 8, 6, 2, 2]
    assert found["so2_assumed"].tolist() == [False, False, False, True, True]
    assert np.exp(found["so2_sigma_ln"][1:4]).tolist() == pytest.approx([1.6, 1.8, 2])


def test_a_file_that_was_changed_or_lacks_a_column_is_refused(tmp_path):
    options = packed(tmp_path / "a", [cell(pack.OPEN_METEO, months={pack.HUMIDITY: 82.0})])
    (tmp_path / "a" / pack.FILE).write_text("source,lon\n")
    with pytest.raises(LayerError, match=r"climate\.csv is changed"):
        pack.open_climate_pack(options)
    rows = [cell(pack.OPEN_METEO, lon=np.nan)]
    with pytest.raises(LayerError, match="a cell without a place; bring climate again"):
        pack.open_climate_pack(packed(tmp_path / "b", rows))

    def short(work):
        write_cells(work / so2.FILE, [cell(so2.OPEN_METEO)], ["so2_ppb"])
        return Brought((Origin("a", "b"),), ())

    write_part(tmp_path / "c", so2.NAME, short, now="2026-11-27T12:00:00+00:00")
    with pytest.raises(LayerError, match=r"air\.csv cannot be read .*bring air again"):
        so2.LAYER.open(Options(pack_folder=str(tmp_path / "c")))


# Cells


@given(st.lists(st.tuples(st.floats(-180, 180), st.floats(-89, 89)), min_size=1, max_size=30),
       st.sampled_from([(0.1, 0.1), (0.625, 0.5)]))  # fmt: skip
def test_a_place_has_the_cell_it_rounds_to(places, size):
    """Against rounding; cells of half of the places are there."""
    lon, lat = np.array(places).T
    column = np.round(lon / size[0]) % round(360 / size[0])
    row = np.round(lat / size[1])
    kept = slice(None, None, 2)
    nodes = pd.DataFrame({"lon": (column[kept] * size[0] + 180) % 360 - 180,
                          "lat": row[kept] * size[1], "cell_lon_deg": size[0],
                          "cell_lat_deg": size[1]})  # fmt: skip
    inner = (np.abs(lon / size[0] - np.round(lon / size[0])) < 0.499) & (
        np.abs(lat / size[1] - row) < 0.499
    )
    held = {(int(c), int(r)) for c, r in zip(column[kept], row[kept], strict=True)}
    found = cell_at(nodes, lon, lat)
    for i in np.flatnonzero(inner):
        assert (found[i] >= 0) == ((int(column[i]), int(row[i])) in held)
        if found[i] >= 0:
            assert (column[kept][found[i]], row[kept][found[i]]) == (column[i], row[i])


def test_cells_meet_across_180_degrees_and_unknown_places_have_none():
    cells = pd.DataFrame(
        {"lon": [-180.0], "lat": [10.0], "cell_lon_deg": 0.625, "cell_lat_deg": 0.5}
    )
    lon = np.array([179.8, -179.8, 180.0, -1e-15, np.nan, 179.8])
    lat = np.array([10.2, 9.8, 10.0, 10.0, 10.0, np.nan])
    assert cell_at(cells, lon, lat).tolist() == [0, 0, 0, -1, -1, -1]
    assert cell_at(cells[:0], lon, lat).tolist() == [-1] * 6
    greenwich = cells.assign(lon=0.0)
    lon = np.array([-0.3, 0.3, 359.7, -1e-15, 0.32, -0.32])
    assert cell_at(greenwich, lon, np.full(6, 10.0)).tolist() == [0, 0, 0, 0, -1, -1]


@given(st.lists(st.one_of(st.none(), st.floats(0, 100)), min_size=3, max_size=3))
def test_what_no_source_knows_never_becomes_a_number(values):
    """Three sources, each with a value or none: the first known one, or nothing."""
    empty = pd.DataFrame([cell(name) for name in pack.SOURCES])
    empty = empty.reindex(columns=[*PLACE, *pack.COLUMNS])
    columns = [pack.HUMIDITY, *pack.by_month(pack.HUMIDITY)]
    for i, value in enumerate(values):
        empty.loc[i, columns] = np.nan if value is None else value
    cells = {name: empty[empty["source"] == name] for name in pack.SOURCES}
    found = pack.ClimatePack(cells, (Origin("a", "b"),)).at(np.array([LON]), np.array([LAT]))
    known = [(v, n) for v, n in zip(values, pack.SOURCES, strict=True) if v is not None]
    value, name = known[0] if known else (np.nan, "")
    assert found.humidity_source[0] == name
    np.testing.assert_equal(found.humidity_of_year_pct[0], value)
    np.testing.assert_equal(found.humidity_pct[0], np.full(12, value))
    assert found.beyond[0] == (not known)
    assert np.isnan([found.wet_h_y[0], found.rain_mm_y[0], found.wind_speed_m_s[0]]).all()
