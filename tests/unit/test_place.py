"""What kind of place an anchor stands in: sea cliffs, roads, lakes, odd air. Our own rules."""

import numpy as np
import pandas as pd
import pytest

from saltreach.assessment.place import place_of

INLAND = {
    "coast_distance_m": 50_000.0, "coast_distance_sd_m": 250.0, "coast_distance_source": "layer",
    "sea_cliff_said": "unknown", "height_above_sea_m": np.nan, "elevation_m": 400.0,
    "elevation_source": "layer", "face_slope_deg": np.nan, "rain_washed": "yes",
    "vegetation": "unknown", "salt_crust": "unknown", "salt_lake_m": np.nan, "salt_lake": "",
    "salt_lake_brine": "", "salt_lake_sd_m": np.nan, "sea_salinity_g_kg": 35.0,
    "so2_ug_m3_used": 2.0, "salted_road_m": np.nan, "salted_tunnel": "unknown",
    "volcanic_gas": "unknown",
}  # fmt: skip


def places(*changes):
    return place_of(pd.DataFrame([INLAND | c for c in changes]))


@pytest.mark.pinned("judgement", answers=12)
def test_a_sea_cliff_by_word_height_steepness_or_distance():
    found = places(
        {},
        {"sea_cliff_said": "yes", "coast_distance_m": 900.0},
        {"coast_distance_m": 420.0, "height_above_sea_m": 12.0},  # drawn 420 m inland
        {"coast_distance_m": 450.0, "face_slope_deg": 85.0},
        {"coast_distance_m": 450.0, "face_slope_deg": 30.0},
        {"coast_distance_m": 420.0, "coast_distance_source": "register"},  # measured
        {"coast_distance_m": 100.0, "sea_cliff_said": "no"},
        {"coast_distance_m": 800.0, "elevation_m": 20.0, "elevation_source": "register"},
        {"coast_distance_m": 800.0, "elevation_m": 20.0},
        {"coast_distance_m": np.nan},
        {"coast_distance_m": 100.0, "sea_salinity_g_kg": 46.0},  # a salt lake's shore
        {"coast_distance_m": 100.0, "sea_salinity_g_kg": 41.0},  # the northern Red Sea
    )
    assert found["sea_cliff"].tolist() == [
        "no", "yes", "yes", "yes", "yes", "no", "no", "yes", "no", "", "no", "yes",
    ]  # fmt: skip
    # the nearest band of EN 1993-1-4 where that is sure, and nowhere else
    assert found["class_distance_m"].tolist()[:9] == [
        50_000, 0, 0, 0, 450, 420, 100, 0, 800,
    ]  # fmt: skip


@pytest.mark.pinned("judgement", answers=4)
def test_salt_lakes_count_as_a_shore_and_magnesium_brine_is_told():
    found = places(
        {"salt_lake_m": 500.0, "salt_lake": "Dead Sea", "salt_lake_brine": "magnesium",
         "salt_lake_sd_m": 1000.0},
        {"salt_lake_m": 5000.0, "salt_lake": "Dead Sea", "salt_lake_brine": "magnesium",
         "salt_lake_sd_m": 1000.0},
        {"salt_lake_m": 800.0, "salt_lake": "Great Salt Lake", "salt_lake_brine": "sodium",
         "salt_lake_sd_m": 1000.0},
        {"salt_lake_m": 5000.0, "coast_distance_m": 100.0, "salt_lake_sd_m": 1000.0},
    )  # fmt: skip
    assert found["by_salt_lake"].tolist() == [True, True, True, False]
    assert found["by_magnesium"].tolist() == [True, False, False, False]
    assert found["salt_distance_m"].tolist() == [500, 5000, 800, 100]
    assert found["salt_distance_sd_m"].tolist() == [1000, 1000, 1000, 250]
    assert found["salt_share"].tolist() == [0.5, 0.5, 0.5, 1.0]


@pytest.mark.pinned("judgement", answers=2)
def test_salt_follows_salinity_and_never_more_than_the_ocean():
    """Gulf of Gdansk 7 g/kg of 35 (Zakowski and others 2014): 0.2, linear by assumption."""
    found = places({"sea_salinity_g_kg": 7.0}, {"sea_salinity_g_kg": 40.0})
    assert found["salt_share"].tolist() == [0.2, 1.0]


@pytest.mark.pinned("memory", answers=7)
def test_roads_and_air_outside_the_standard():
    """EN 1993-1-4 Table A.1: road up to 10 m -7, 100 m -3, tunnel -10; SO2 ends at 250 ug/m3."""
    found = places(
        {"salted_road_m": 8.0}, {"salted_road_m": 60.0}, {"salted_road_m": 101.0},
        {"salted_tunnel": "yes", "salted_road_m": 60.0}, {"volcanic_gas": "yes"},
        {"so2_ug_m3_used": 251.0}, {"so2_ug_m3_used": 250.0},
    )  # fmt: skip
    assert found["f1_road"].tolist() == [-7, -3, 0, -10, 0, 0, 0]
    assert found["outside_standard"].tolist() == [False] * 4 + [True, True, False]


@pytest.mark.pinned("judgement", answers=3)
def test_what_covers_an_anchor_keeps_the_rain_off():
    found = places({"vegetation": "yes"}, {"salt_crust": "yes"}, {})
    assert found["washing"].tolist() == ["no", "no", "yes"]


@pytest.mark.pinned("judgement", answers=16)
def test_the_limits_of_a_place_belong_to_the_nearer_side():
    measured = {"coast_distance_source": "register"}
    found = places(
        {"coast_distance_m": 500.0}, {"coast_distance_m": 501.0},
        {"coast_distance_m": 1000.0, "height_above_sea_m": 60.0},
        {"coast_distance_m": 1000.0, "height_above_sea_m": 61.0},
        {"coast_distance_m": 1001.0, "height_above_sea_m": 60.0},
        {"coast_distance_m": 500.0, "face_slope_deg": 60.0},
        {"coast_distance_m": 500.0, "face_slope_deg": 59.0},
        measured | {"coast_distance_m": 250.0}, measured | {"coast_distance_m": 251.0},
        {"coast_distance_m": 100.0, "sea_salinity_g_kg": 45.0},
        {"coast_distance_m": 250.0, "sea_cliff_said": "yes"},
        {"coast_distance_m": 251.0, "sea_cliff_said": "yes"},
    )  # fmt: skip
    assert found["sea_cliff"].tolist() == [
        "yes", "no", "yes", "no", "no", "yes", "yes", "yes", "no", "yes", "yes", "yes",
    ]  # fmt: skip
    assert found["class_distance_m"].tolist() == [
        500, 501, 0, 1000, 1001, 0, 500, 250, 251, 100, 250, 0,
    ]  # fmt: skip
    # the nearest band is certain; elsewhere the shore's error stays
    assert (found["class_distance_sd_m"] == 0).tolist() == (found["class_distance_m"] == 0).tolist()
    lake = {"salt_lake": "L", "salt_lake_brine": "magnesium", "salt_lake_sd_m": 1000.0}
    found = places(
        lake | {"salt_lake_m": 2000.0}, lake | {"salt_lake_m": 2001.0},
        lake | {"salt_lake_m": 900.0, "coast_distance_m": 900.0},
        lake | {"salt_lake_m": 900.0, "coast_distance_m": np.nan},
    )  # fmt: skip
    assert found["by_magnesium"].tolist() == [True, False, False, True]
    assert found["by_salt_lake"].tolist() == [True, True, False, True]
