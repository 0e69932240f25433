"""A worse place never gets a weaker metal or a longer interval; a better metal never a shorter one."""

import datetime as dt

import numpy as np
import pandas as pd
from hypothesis import given
from hypothesis import strategies as st

from saltreach.decisions.corrosivity import corrosivity
from saltreach.decisions.interval import inspection_interval
from saltreach.decisions.material import choose_material, rank_of
from saltreach.materials import MATERIAL_NAMES
from saltreach.register.columns import CATEGORIES

TODAY = dt.date(2026, 11, 25)

places = st.fixed_dictionaries(
    {
        "coast_distance_m": st.floats(0, 200_000),
        "coast_distance_sd_m": st.floats(1, 500),
        "temperature_c": st.floats(-5, 30),
        "relative_humidity_pct": st.floats(35, 92),
        "so2_ug_m3_used": st.floats(0.9, 100),
        "rain_washed": st.sampled_from(["yes", "no", "unknown"]),
        "material": st.sampled_from([*MATERIAL_NAMES, "unknown"]),
        "condition": st.sampled_from([np.nan, 0, 1, 2, 3, 4]),
    }
)


def decide(*rows: dict) -> pd.DataFrame:
    """The decisions on a few places, through the same functions as the pipeline."""
    table = pd.DataFrame(rows).assign(
        temperature_sd_c=1.0, relative_humidity_sd_pct=7.5, mild_sea=False, hanger_material="unknown",
        tap_response="", last_inspected_on="2025-01-01", installed_on="2010", sea_openness=np.nan,
        wind_speed_m_s=np.nan, height_above_sea_m=np.nan, sea_shielding=np.nan, so2_sigma_ln=0.5,
        face_slope_deg=np.nan,
    )  # fmt: skip
    table = table.join(corrosivity(table))
    table = table.join(choose_material(table))
    return table.join(inspection_interval(table, TODAY))


def metal(table):
    return rank_of(table["material_recommended"]).to_numpy()


def months(table):
    return table["inspection_interval_months"].to_numpy(float)


@given(place=places, nearer=st.floats(0, 1))
def test_nearer_the_sea_never_weaker_metal_nor_longer_interval(place, nearer):
    near = place | {"coast_distance_m": place["coast_distance_m"] * nearer}
    found = decide(place, near)
    assert metal(found)[1] >= metal(found)[0]
    assert months(found)[1] <= months(found)[0]


@given(place=places)
def test_less_washed_never_weaker_metal_nor_longer_interval(place):
    found = decide(*[place | {"rain_washed": w} for w in ("yes", "unknown", "no")])
    assert (np.diff(metal(found)) >= 0).all()
    assert months(found)[0] >= months(found)[2]


@given(place=places)
def test_better_metal_never_a_shorter_interval(place):
    found = decide(*[place | {"material": m} for m in MATERIAL_NAMES])
    assert (np.diff(months(found)) >= 0).all()


@given(place=places)
def test_worse_condition_never_a_longer_interval(place):
    found = decide(*[place | {"condition": c} for c in (0, 1, 2, 3, 4)])
    assert (np.diff(months(found)) <= 0).all()


@given(place=places, more=st.floats(1, 5))
def test_more_so2_never_weaker_metal(place, more):
    dirty = place | {"so2_ug_m3_used": place["so2_ug_m3_used"] * more}
    found = decide(place, dirty)
    assert metal(found)[1] >= metal(found)[0] or np.isnan(metal(found)[1])


@given(place=places)
def test_recommended_is_never_below_minimum(place):
    found = decide(place)
    minimum = rank_of(found["material_minimum"])
    assert (rank_of(found["material_recommended"]) >= minimum).all()


@given(rows=st.lists(places, min_size=2, max_size=6), seed=st.integers(0, 99))
def test_row_order_is_irrelevant(rows, seed):
    order = np.random.default_rng(seed).permutation(len(rows))
    found, shuffled = decide(*rows), decide(*[rows[i] for i in order])
    for column in ("material_recommended", "inspection_interval_months", "interval_reasons"):
        assert found[column].iloc[order].tolist() == shuffled[column].tolist()


def test_unknown_distance_gives_no_class_and_says_so():
    place = {"coast_distance_m": np.nan, "coast_distance_sd_m": 250.0, "temperature_c": 12.0,
             "relative_humidity_pct": 75.0, "so2_ug_m3_used": 2.0, "rain_washed": "unknown",
             "material": "316", "condition": 0}  # fmt: skip
    found = decide(place).iloc[0]
    assert (found["crc"], found["material_recommended"]) == ("", "")
    assert found["corrosivity_category"] == ""
    assert pd.isna(found["inspection_interval_months"])
    assert "unknown" in found["material_reasons"]


def test_partial_dates_count_from_their_first_day_and_months_from_their_length():
    """Calendar arithmetic: 31 January plus whole months ends on the month's last day."""
    place = {"coast_distance_m": 5e4, "coast_distance_sd_m": 250.0, "temperature_c": 5.0,
             "relative_humidity_pct": 60.0, "so2_ug_m3_used": 2.0, "rain_washed": "yes",
             "material": "316", "condition": 3}  # fmt: skip
    found = decide(place)
    assert found["inspection_interval_months"].iloc[0] == 6
    table = pd.concat([found] * 4, ignore_index=True)
    table["last_inspected_on"] = ["2025", "2025-08", "2025-08-31", ""]
    table["installed_on"] = ["", "", "", ""]
    due = inspection_interval(table[[c for c in table if c not in DECIDED]], TODAY)
    assert due["next_inspection_on"].tolist() == [
        "2025-07-01", "2026-02-01", "2026-02-28", "2026-11-25",
    ]  # fmt: skip
    assert due["overdue"].tolist() == ["yes", "yes", "yes", "no"]


DECIDED = ("risk_band", "inspection_interval_months", "next_inspection_on", "overdue",
           "interval_reasons")  # fmt: skip


def test_categories_are_in_rising_order():
    assert CATEGORIES == ("C1", "C2", "C3", "C4", "C5", "CX")
