"""The registry of layers: what it promises, and what follows from it when a layer is added."""

from dataclasses import replace

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
import rasterio
from affine import Affine
from shapely import box

from saltreach.errors import LayerError
from saltreach.intake.options import Options
from saltreach.layers import LAYERS, coast, join, sample
from saltreach.layers.climate import sample_climate
from saltreach.layers.layer import Layer, Origin, Value, joined, positions
from saltreach.vocabulary.columns import columns_of
from saltreach.vocabulary.words import SEPARATOR

LON, LAT = [-5.85, -5.57, 18.66], [43.655, 42.6, 54.4]  # Cabo de Penas, Leon, Gdansk
PLACES = pd.DataFrame({"lon": LON, "lat": LAT})


def test_no_two_layers_give_the_same_and_what_one_needs_another_gives():
    given = [value.name for layer in LAYERS for value in layer.values]
    assert len(given) == len(set(given))
    names = [layer.name for layer in LAYERS]
    assert len(names) == len(set(names))
    register = columns_of("register")
    for layer in LAYERS:
        own = {value.name for value in layer.values}
        assert set(layer.needs) <= set(given) - own, layer.name
        assert set(layer.takes) <= set(register), layer.name
        assert layer.of in ("", *names), layer.name
        assert {value.sd for value in layer.gives} - {""} <= own, layer.name


def test_what_is_needed_is_sampled_first_and_only_that():
    order = [layer.name for layer in join.in_order()]
    assert sorted(order) == sorted(layer.name for layer in LAYERS)
    pairs = (("coast", "openness"), ("coast", "salinity"), ("terrain", "climate"),
             ("coast", "shielding"))  # fmt: skip
    assert all(order.index(before) < order.index(after) for before, after in pairs)
    assert [layer.name for layer in join.in_order(["salinity"])] == ["coast", "salinity"]
    assert [layer.name for layer in join.in_order(["salt-lakes"])] == ["salt-lakes"]


def test_a_reader_is_told_of_the_shore_first_then_the_climate_then_the_terrain():
    """Whatever order they are sampled in."""
    names = [layer.name for layer in LAYERS]
    assert names.index("coast") < names.index("climate") < names.index("terrain")


def test_every_documented_column_of_the_layers_is_given():
    """But for what the decisions make of them: SO2 as deposition, and whether it is a sea cliff."""
    documented = {c.name for c in columns_of("anchors").values() if c.stage == "layers"}
    found = join.sample_layers(PLACES, join.open_layers(Options()))
    table = join.with_layers(PLACES.assign(wind_speed_m_s="a user's own"), found)
    assert documented - set(table) == {"so2_mg_m2_d", "sea_cliff", "sea_cliff_reason"}
    assert table["wind_speed_m_s"].isna().all()
    assert table.columns.is_unique


def test_sample_gives_values_their_spread_and_their_source():
    index = pd.Index(["a", "b", "c"])
    table = sample(pd.Series(LON, index), pd.Series(LAT, index), ["coast_distance_m", "rain_mm_y"])
    assert table.columns.tolist() == [
        "coast_distance_m", "coast_distance_sd_m", "coast_distance_source",
        "rain_mm_y", "rain_sd_mm_y", "rain_source",
    ]  # fmt: skip
    assert table.index.equals(index)
    shore = coast.load_coast().shore(LON, LAT)
    distance = np.where(shore.on_land == 0, 0.0, shore.distance_m)
    np.testing.assert_array_equal(table["coast_distance_m"], distance)
    climate = sample_climate(LON, LAT)
    for name in ("rain_mm_y", "rain_sd_mm_y"):
        np.testing.assert_array_equal(table[name], climate[name])
    assert set(table["rain_source"]) <= {"climate_era5 + rain_itu_p837", "climate_era5"}


def test_what_is_known_wins_and_says_so():
    known = {"coast_distance_m": [12.0, np.nan, np.nan], "elevation_m": [5.0, 837.0, np.nan]}
    table = sample(LON, LAT, ["coast_distance_m", "elevation_m", "temperature_c"], known=known)
    assert table["coast_distance_source"].tolist() == ["register", "coast-gshhg-h", "coast-gshhg-h"]
    assert table["coast_distance_m"][0] == 12
    assert table["elevation_source"][:2].tolist() == ["register"] * 2
    climate = sample_climate(LON, LAT, known["elevation_m"])
    np.testing.assert_array_equal(table["temperature_c"], climate["temperature_c"])


def test_unknown_positions_and_absent_files_stay_unknown():
    table = sample([np.nan], [43.0], ["coast_distance_m", "salt_lake", "slope_deg", "lithology"])
    row = table.loc[0]
    assert row[["coast_distance_m", "slope_deg"]].isna().all()
    assert row["lithology"] == "unknown"
    assert row["salt_lake"] == ""
    sources = [name for name in table if name.endswith("_source")]
    assert (row[sources] == "unknown").all()


def test_the_users_files_are_sampled(tmp_path):
    heights = tmp_path / "heights.tif"
    with rasterio.open(
        heights, "w", driver="GTiff", width=40, height=20, count=1, dtype="float32",
        crs="EPSG:4326", transform=Affine(0.01, 0, -6, 0, -0.01, 43.7),
    ) as file:  # fmt: skip
        file.write(np.full((20, 40), 321, "float32"), 1)
    rocks = tmp_path / "rocks.gpkg"
    gpd.GeoDataFrame({"unit": ["Calizas"]}, geometry=[box(-7, 43, -5, 44)], crs=4326).to_file(rocks)
    options = Options(dem_file=str(heights), geology_file=str(rocks), rock_column="unit")
    table = sample(LON, LAT, ["elevation_m", "lithology", "sea_shielding"], options=options)
    assert table["elevation_m"][0] == 321
    assert table["elevation_source"].tolist() == ["dem-file-heights.tif"] + ["itu_p1511"] * 2
    assert table["lithology"].tolist() == ["limestone", "unknown", "unknown"]
    assert table["lithology_source"][0] == "geology-file-rocks.gpkg"
    assert table["sea_shielding"][0] == 0
    assert table["sea_shielding_source"].tolist() == ["dem-file-heights.tif"] + ["unknown"] * 2


def test_a_column_no_layer_gives_is_refused_with_the_nearest():
    with pytest.raises(LayerError, match="did you mean 'temperature_c'"):
        sample(LON, LAT, "temperature")
    with pytest.raises(LayerError, match="one length"):
        sample(LON, LAT[:2], "temperature_c")


def test_one_record_adds_a_layer_everywhere(monkeypatch):
    """A trial layer made of the elevation that another layer gives."""
    trial = Layer(
        name="frost",
        gives=(Value("frost_m", source="frost_source"),),
        passes=(Value("frost_notes", ""),),
        needs=("elevation_m",),
        open=lambda _: 0.001,
        sample=lambda factor, places: {
            "frost_m": factor * places["elevation_m"].to_numpy(float),
            "frost_notes": np.array(["", "Frost.", ""], dtype=object),
        },
        origins=lambda _: (Origin("frost-trial", "frost"),),
    )

    def listed(layer):
        monkeypatch.setattr(join, "LAYERS", (*LAYERS, layer))
        monkeypatch.setattr(join, "BY_NAME", {layer.name: layer for layer in join.LAYERS})

    listed(trial)
    known = {"elevation_m": [5.0, 837.0, 1.0]}
    places = PLACES.assign(**known)
    sources = join.open_layers(Options(), join.LAYERS)
    table = join.with_layers(places, join.sample_layers(places, sources))
    assert table["frost_m"].tolist() == pytest.approx([0.005, 0.837, 0.001])
    assert table["layer_notes"].tolist()[1].endswith("Frost.")
    assert join.origins_of(sources)[-1].name == "frost-trial"
    sampled = sample(LON, LAT, "frost_m", known=known)
    assert sampled["frost_source"].tolist() == ["frost-trial"] * 3
    listed(replace(trial, open=lambda _: None))
    assert sample(LON, LAT, "frost_m")["frost_m"].isna().all()


def test_what_is_known_of_a_layer_is_not_asked_again():
    """Whatever it says: here 7 m, which openness and the rest do not care about."""
    sources = join.open_layers(Options(), join.in_order(["coast", "salinity"]))
    known = join.sample_layers(PLACES, sources, ["coast"])
    known |= {"coast_distance_m": np.full(3, 7.0), "shore_lat": np.full(3, 54.4),
              "shore_lon": np.full(3, 18.66)}  # fmt: skip
    found = join.sample_layers(PLACES, sources, ["salinity"], known=known)
    assert found["coast_distance_m"].tolist() == [7.0] * 3
    assert found["sea_salinity_g_kg"].tolist() == [7.0] * 3
    assert set(found["sea_salinity_source"]) == {"sea-salinity"}
    assert "sea_salinity_g_kg" not in known


@pytest.mark.pinned("memory", answers=2)
def test_the_registers_salinity_wins():
    known = {"sea_salinity_g_kg": [12.0, np.nan, np.nan]}
    table = sample(LON, LAT, "sea_salinity_g_kg", known=known)
    assert table["sea_salinity_g_kg"].tolist() == [12, 35, 7]
    assert table["sea_salinity_source"].tolist() == ["register", "sea-salinity", "sea-salinity"]


def test_each_value_names_the_origins_it_is_from():
    columns = ["temperature_c", "relative_humidity_pct", "rain_mm_y", "sea_openness"]
    table = sample(LON[:1], LAT[:1], columns, known=pd.DataFrame({"elevation_m": [5.0]}))
    assert table.index.tolist() == [0]
    assert table.loc[0, [c for c in table if c.endswith("_source")]].tolist() == [
        "climate_era5 + elevation_itu_p1511",
        "climate_era5 + humidity_itu_p836 + elevation_itu_p1511",
        "climate_era5 + rain_itu_p837",
        "coast-gshhg-h",
    ]


def test_only_what_was_opened_has_an_origin():
    sources = join.open_layers(Options(), join.in_order(["coast", "geology", "terrain"]))
    assert sources["terrain"] is None
    assert [o.name for o in join.origins_of(sources)] == ["coast-gshhg-h"]
    assert [o.name for o in join.origins_of({"salt-lakes": ()})] == ["salt-lakes"]


def test_what_an_absent_layer_gives_is_unknown_in_its_own_way():
    found = join.sample_layers(PLACES, join.open_layers(Options()), ["shielding", "climate"])
    assert np.isnan(found["slope_deg"]).all()
    assert found["slope_deg"].dtype == float
    assert found["raster_name"].tolist() == [""] * 3
    assert found["raster_name"].dtype == object
    assert np.isnan(found["sea_shielding"]).all()
    assert {layer.name for layer in LAYERS if not layer.embedded} == {
        "terrain", "shielding", "geology", "roads", "marked_lakes",
    }  # fmt: skip


def test_a_name_like_no_other_gets_no_hint():
    with pytest.raises(LayerError, match=r"no layer gives 'qqqq' \(given: coast_distance_m, "):
        sample(LON, LAT, "qqqq")


def test_notes_of_all_layers_are_joined():
    found = join.sample_layers(PLACES, join.open_layers(Options()))
    found["coast_notes"] = np.array(["Check.", "", ""], object)
    found["climate_notes"] = np.array(["Doubtful.", "Doubtful.", ""], object)
    table = join.with_layers(PLACES, found)
    assert table["layer_notes"].tolist() == [f"Check.{SEPARATOR}Doubtful.", "Doubtful.", ""]
    assert table["lon"].tolist() == LON


def test_sentences_are_joined_where_there_are_any():
    first, second, third = ["a", "", "a", ""], ["b", "b", "", ""], ["", "c", "c", ""]
    found = joined(first, second, third)
    assert found.tolist() == [f"a{SEPARATOR}b", f"b{SEPARATOR}c", f"a{SEPARATOR}c", ""]
    assert joined(first).tolist() == first


def test_positions_are_columns_of_one_length_and_latitudes():
    lon, lat = positions(5, 90, "x")
    assert (lon.tolist(), lat.tolist()) == ([5.0], [90.0])
    assert positions([1.0, 2.0], [-90.0, 90.0], "x")[1].tolist() == [-90, 90]
    series = pd.Series([1.0, 2.0], index=["a", "b"])
    assert positions(series, series, "x")[0].tolist() == [1, 2]
    assert positions(series, [3.0, 4.0], "x")[1].tolist() == [3, 4]
    with pytest.raises(LayerError, match="x: the index of lat differs"):
        positions(series, series.rename({"a": "c"}), "x")
    for lon, lat in (([1.0], [1.0, 2.0]), ([[1.0, 2.0]], [[1.0, 2.0]])):
        with pytest.raises(LayerError, match="give one-dimensional columns of one length"):
            positions(lon, lat, "x")
    with pytest.raises(LayerError, match=r"lat 90.5 at place 2 is no latitude"):
        positions([1.0, 2.0, 3.0], [1.0, 90.5, -2.0], "x")
    with pytest.raises(LayerError, match="lat -91 at place 1"):
        positions([1.0], [-91.0], "x")


def test_all_a_layer_gives_and_passes():
    one, two = Value("one"), Value("two", "")
    assert Layer("x", (one,), dict, passes=(two,)).values == (one, two)
