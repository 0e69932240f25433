"""A worse place never gets a weaker metal or a longer interval; nor a better metal a shorter."""

import datetime as dt
from dataclasses import replace

import numpy as np
import pandas as pd
from hypothesis import example, given
from hypothesis import strategies as st

from saltreach.assessment.corrosivity import corrosivity
from saltreach.assessment.interval import inspection_interval
from saltreach.assessment.material import choose_material, stress_corrosion_hazard
from saltreach.assessment.region import age_of_anchors
from saltreach.assessment.resistance import rock_resistance
from saltreach.assessment.risk import action_of, bands_of
from saltreach.assessment.state import state_of_anchors
from saltreach.intake.policy import DEFAULT, Policy
from saltreach.vocabulary.metals import COATED, MATERIAL_NAMES, PLACEABLE

TODAY = dt.date(2026, 11, 25)

places = st.fixed_dictionaries(
    {
        "coast_distance_m": st.floats(1, 5.3).map(lambda power: 10.0**power),
        "coast_distance_sd_m": st.floats(1, 500),
        "temperature_c": st.floats(-5, 30),
        "relative_humidity_pct": st.floats(35, 92),
        "so2_ug_m3_used": st.floats(0.9, 100),
        "rain_washed": st.sampled_from(["yes", "no", "unknown"]),
        "material": st.sampled_from([*MATERIAL_NAMES, "unknown"]),
        "condition": st.sampled_from([np.nan, 0, 1, 2, 3, 4]),
        "installed_on": st.sampled_from(["1995", "2010", "2022"]),
        "face_azimuth_deg": st.sampled_from([np.nan, 0.0, 180.0]),
    }
)
HOT_CLIFF = {
    "coast_distance_m": 300.0, "coast_distance_sd_m": 50.0, "temperature_c": 28.0,
    "relative_humidity_pct": 75.0, "so2_ug_m3_used": 2.0, "rain_washed": "no", "material": "316",
    "condition": 1, "installed_on": "2010", "face_azimuth_deg": 180.0,
}  # fmt: skip
"""Class III by the standard, of severe hazard: always among what is tried."""
COLD_SHORE = HOT_CLIFF | {"coast_distance_m": 900.0, "temperature_c": -4.0, "rain_washed": "yes"}
"""Where the standard's class alone decides on the metal."""
LADDER = (*COATED, *PLACEABLE)
"""Metals in rising resistance; the others are held against 304 in a test of their own."""
FIXED = {
    "crag": "c", "sector": "s", "lat": 43.0, "lithology": "granite", "position": "belay",
    "temperature_sd_c": 1.0, "relative_humidity_sd_pct": 7.5, "mild_sea": False,
    "hanger_material": "unknown", "tap_response": "", "last_inspected_on": "2025-01-01",
    "sea_openness": np.nan, "wind_speed_m_s": np.nan, "height_above_sea_m": np.nan,
    "elevation_m": np.nan, "sea_shielding": np.nan, "so2_sigma_ln": 0.5, "face_slope_deg": np.nan,
    "liquid_salt_share": 0.4, "diameter_mm": 12.0, "interval_set_months": np.nan,
    "visits_per_year": 100.0, "coast_distance_source": "layer", "sea_cliff_said": "unknown",
    "elevation_source": "", "salt_lake_m": np.nan, "salt_lake": "", "salt_lake_brine": "",
    "salt_lake_sd_m": np.nan, "sea_salinity_g_kg": 35.0, "salted_road_m": np.nan,
    "salted_tunnel": "unknown", "volcanic_gas": "unknown", "seepage": "none",
    "salt_crust": "unknown", "vegetation": "unknown", "grade": np.nan, "kind": "bonded",
    "adhesive": "unknown", "rod_shape": "unknown", "hole_condition": "unknown",
    "embedment_mm": 100.0, "rock_strength_mpa": 158.1, "rock_sigma_ln": 0.36,
    "rock_veto": "", "crack_distance_mm": np.nan, "edge_distance_mm": np.nan,
    "joint_spacing_mm": np.nan, "gsi": np.nan,
}  # fmt: skip


def decide(*rows: dict, policy: Policy = DEFAULT) -> pd.DataFrame:
    """The decisions on places, each a crag of its own, through the pipeline's functions."""
    table = pd.DataFrame([FIXED | row | {"crag": f"c{i}"} for i, row in enumerate(rows)])
    table["warm_month_c"] = table["temperature_c"] + 8
    table = table.join(corrosivity(table))
    table = table.join(stress_corrosion_hazard(table))
    table = table.join(choose_material(table, policy))
    table["age_y"] = age_of_anchors(table, TODAY)
    table = table.join(rock_resistance(table, 15.0))
    state = state_of_anchors(table, TODAY, capacity=False)
    table = table.join(state.columns)
    table = table.join(bands_of(table))
    table = table.join(action_of(table, TODAY))
    return table.join(inspection_interval(table, state.curve, TODAY, policy))


def metal(table):
    return MATERIAL_NAMES.rank(table["material_recommended"]).to_numpy()


def months(table):
    return table["inspection_interval_months"].to_numpy(float)


@example(COLD_SHORE, 0.05)
@given(place=places, nearer=st.sampled_from([0.0, 0.05, 0.3, 0.9]))
def test_nearer_the_sea_never_weaker_metal_nor_longer_interval(place, nearer):
    near = place | {"coast_distance_m": place["coast_distance_m"] * nearer}
    found = decide(place, near)
    assert metal(found)[1] >= metal(found)[0]
    least = MATERIAL_NAMES.rank(found["material_minimum"])
    assert least.iloc[1] >= least.iloc[0]
    if place["condition"] != 4:
        assert months(found)[1] <= months(found)[0]


@given(place=places)
def test_less_washed_never_weaker_metal_nor_longer_interval(place):
    found = decide(*[place | {"rain_washed": w} for w in ("yes", "unknown", "no")])
    assert (np.diff(metal(found)) >= 0).all()
    if place["condition"] != 4:
        assert months(found)[0] >= months(found)[2]


@given(place=places)
def test_better_metal_never_a_shorter_interval(place):
    found = decide(*[place | {"material": m} for m in LADDER])
    late = months(found)
    if place["condition"] != 4:
        assert (np.diff(late[len(COATED) - 1 :]) >= 0).all() or not_by_rust(found)
        assert (np.diff(late[: len(COATED)]) >= 0).all()
        assert (np.diff(late[len(COATED) :]) >= 0).all()


def not_by_rust(found):
    """304 may crack where zinc does not: only there may coated steel be left alone longer."""
    return found["interval_rule"].iloc[len(COATED)] == "stress-corrosion hazard"


@given(place=places)
def test_worse_condition_never_a_longer_interval(place):
    found = decide(*[place | {"condition": c} for c in (0, 1, 2, 3, 4)])
    assert (np.diff(months(found)[:4]) <= 0).all()
    assert np.isnan(months(found)[4])  # failed: out of use, no inspection
    assert found["action"].iloc[4] == "take out of use"


@given(place=places, more=st.floats(1, 5))
def test_more_so2_never_weaker_metal(place, more):
    dirty = place | {"so2_ug_m3_used": place["so2_ug_m3_used"] * more}
    found = decide(place, dirty)
    assert metal(found)[1] >= metal(found)[0] or np.isnan(metal(found)[1])


@given(place=places)
def test_recommended_is_never_below_minimum(place):
    found = decide(place)
    minimum = MATERIAL_NAMES.rank(found["material_minimum"])
    assert (MATERIAL_NAMES.rank(found["material_recommended"]) >= minimum).all()


def test_unknown_distance_gives_no_class_and_says_so():
    place = {"coast_distance_m": np.nan, "coast_distance_sd_m": 250.0, "temperature_c": 12.0,
             "relative_humidity_pct": 75.0, "so2_ug_m3_used": 2.0, "rain_washed": "unknown",
             "material": "316", "condition": 0}  # fmt: skip
    found = decide(place | {"installed_on": "2010", "face_azimuth_deg": np.nan}).iloc[0]
    assert (found["crc"], found["material_recommended"]) == ("", "")
    assert found["corrosivity_category"] == ""
    assert pd.isna(found["inspection_interval_months"])
    assert "unknown" in found["material_reasons"]


def test_partial_dates_count_from_their_first_day_and_months_from_their_length():
    """Calendar arithmetic: 31 August plus six months ends on February's last day."""
    place = {"coast_distance_m": 5e4, "coast_distance_sd_m": 250.0, "temperature_c": 5.0,
             "relative_humidity_pct": 60.0, "so2_ug_m3_used": 2.0, "rain_washed": "yes",
             "material": "316", "condition": 3, "face_azimuth_deg": 0.0}  # fmt: skip
    dates = [("2025", ""), ("2025-08", ""), ("2025-08-31", ""), ("", "")]
    found = decide(*[place | {"last_inspected_on": s, "installed_on": i} for s, i in dates])
    assert found["inspection_interval_months"].tolist() == [6] * 4
    # nothing is due in the past: due now, and the day it fell due is said
    assert found["next_inspection_on"].tolist() == ["2026-11-25"] * 4
    assert found["overdue"].tolist() == ["yes", "yes", "yes", "no"]
    for day, text in zip(
        ("2025-07-01", "2026-02-01", "2026-02-28"), found["interval_reasons"], strict=False
    ):
        assert f"Due now: it was due on {day}." in text
    assert "neither inspection nor placement is dated" in found["interval_reasons"].iloc[3]


@given(place=places, warmer=st.floats(0, 15))
def test_warmer_never_less_hazard_nor_weaker_metal(place, warmer):
    found = decide(place, place | {"temperature_c": place["temperature_c"] + warmer})
    assert found["scc_hazard"].is_monotonic_increasing
    assert metal(found)[1] >= metal(found)[0]


@given(place=places)
def test_older_never_safer_nor_a_longer_interval(place):
    found = decide(*[place | {"installed_on": year} for year in ("2022", "2010", "1995")])
    assert (np.diff(found["failure_probability_y1"]) >= -1e-12).all()
    if place["condition"] != 4:
        assert (np.diff(months(found)) <= 0).all()


@given(place=places)
def test_better_metal_never_fails_more(place):
    found = decide(*[place | {"material": m} for m in LADDER])
    # 1e-6: titanium of grade 2 is less strong than steel, which shows where nothing cracks
    assert (np.diff(found["failure_probability_y1"]) <= 1e-6).all()


@given(place=places)
def test_the_lesser_metals_are_never_milder_than_304(place):
    others = [m for m in MATERIAL_NAMES if m not in LADDER]
    found = decide(*[place | {"material": m} for m in ("304", *others)])
    risk = found["failure_probability_y1"].to_numpy()
    assert set(others) == {"aluminium", "brass", "430", "303", "stainless"}
    assert (risk[1:] >= risk[0] - 1e-12).all()


@given(place=places, metal_name=st.sampled_from(PLACEABLE))
def test_a_tighter_policy_never_gives_less(place, metal_name):
    policy = replace(DEFAULT, least_metal=metal_name, longest_interval_months=12)
    easy, tight = decide(place), decide(place, policy=policy)
    assert metal(tight)[0] >= metal(easy)[0] or easy["crc"].iloc[0] == ""
    if place["condition"] != 4:
        assert months(tight)[0] <= min(12, months(easy)[0])


@example(HOT_CLIFF)
@given(place=places)
def test_high_hazard_never_ends_at_304_or_316(place):
    found = decide(place).iloc[0]
    if found["scc_band"] in ("high", "severe") and found["crc"]:
        assert found["material_recommended"] == "titanium"
        assert found["material_alternative"] in ("superaustenitic", "")


@given(place=places)
def test_no_due_date_lies_in_the_past(place):
    found = decide(place).iloc[0]
    assert found["next_inspection_on"] == "" or found["next_inspection_on"] >= TODAY.isoformat()
    assert found["replace_by"] == "" or found["replace_by"] > TODAY.isoformat()
