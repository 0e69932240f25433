"""From anchors to a sector and a crag: a small table worked by hand. Our own rules."""

import json

import numpy as np
import pandas as pd
import pytest

from saltreach.assessment.corrosivity import PROBABILITY_COLUMNS
from saltreach.assessment.sectors import aggregate
from saltreach.vocabulary.columns import SECTORS_BY_NAME

ANCHOR = {
    **dict.fromkeys((n for n, c in SECTORS_BY_NAME.items() if c.sector == "median"), 1.0),
    **dict.fromkeys(PROBABILITY_COLUMNS, 0.0), "probability_C3": 1.0,
    "crag": "Alder", "sector": "North", "material_minimum": "304", "material_recommended": "316",
    "material_alternative": "", "corrosivity_category": "C3", "crc": "II", "scc_band": "low",
    "scc_band_confident": "low", "overdue": "no", "risk_band": "low", "metal_band": "low",
    "rock_band": "low", "action": "keep", "replace_by": "", "salt_lake": "", "crf": -3.0,
    "inspection_interval_months": 48, "rock_axial_kn_p05": 40.0, "rock_radial_kn_p05": 50.0,
    "embedment_required_mm": 80.0, "diameter_required_mm": 10.0, "resistance_mode": "bond",
    "kind_advised": "bonded", "kind_reasons": "Sound.", "next_inspection_on": "2028-05-01",
    "sea_cliff": "no", "material": "316", "lithology": "granite",
    "material_reasons": "Class II.", "interval_reasons": "Category.", "warnings": "",
}  # fmt: skip


def sector(*changes, by=("crag", "sector")):
    table = pd.DataFrame([ANCHOR | change for change in changes])
    months = table["inspection_interval_months"].astype("Float64").astype("Int64")
    found = aggregate(table.assign(inspection_interval_months=months), list(by))
    assert len(found) == 1
    return found.iloc[0]


@pytest.mark.pinned("judgement", answers=30)
def test_the_worst_place_sets_metal_class_and_date():
    one = sector(
        {},
        {"material_minimum": "316", "material_recommended": "titanium", "crc": "V",
         "material_alternative": "superaustenitic", "material_reasons": "Class V.",
         "corrosivity_category": "C5", "scc_band": "high", "scc_band_confident": "severe",
         "sea_cliff": "yes", "crf": -12.0, "embedment_required_mm": 95.0,
         "diameter_required_mm": 12.0, "rock_axial_kn_p05": 22.0},
        {"inspection_interval_months": 12, "next_inspection_on": "2027-02-01", "overdue": "yes",
         "interval_reasons": "Hazard.", "rock_radial_kn_p05": 31.0, "action": "replace",
         "replace_by": "2028-11-25", "material": "304"},
        {"next_inspection_on": "", "inspection_interval_months": np.nan, "overdue": "",
         "action": "take out of use", "replace_by": "2027-11-25", "interval_reasons": "Out.",
         "material": "304"},
    )  # fmt: skip
    said = {
        "anchors": 4, "material_minimum": "316", "material_recommended": "titanium",
        "material_alternative": "superaustenitic", "corrosivity_category": "C5", "crc": "V",
        "scc_band": "high", "scc_band_confident": "severe", "sea_cliff": "yes", "crf": -12.0,
        "overdue": "yes", "inspection_interval_months": 12, "next_inspection_on": "2027-02-01",
        "replace_by": "2027-11-25", "embedment_required_mm": 95.0, "diameter_required_mm": 12.0,
        "rock_axial_kn_p05": 22.0, "rock_radial_kn_p05": 31.0,
        "to_keep": 2, "to_replace": 1, "to_take_out_of_use": 1, "to_find_out": 0,
        "to_move_or_remove": 0, "actions": "keep x 2; replace x 1; take out of use x 1",
        "materials_present": "304 x 2; 316 x 2", "reasons": "Class V.",
        "interval_reasons": "Hazard. | Out.", "kind_advised": "bonded", "resistance_mode": "bond",
    }  # fmt: skip
    assert {name: one[name] for name in said} == said


@pytest.mark.pinned("judgement", answers=2)
@pytest.mark.parametrize(
    ("bands", "band", "share"),
    [
        (["low"] * 4 + ["severe"], "severe", "severe at 1 of 5 anchors"),  # a fifth
        (["low"] * 5 + ["severe"], "high", "severe at 1 of 6 anchors"),  # less than a fifth
        (["low"] * 5 + ["severe"] * 2, "severe", "severe at 2 of 7 anchors"),
        (["low"] * 9 + ["raised", "severe"], "high", "severe at 1 of 11 anchors"),
        (["low"] * 9 + ["moderate"], "low", "moderate at 1 of 10 anchors"),
        ([""] * 5 + ["high"] + ["low"] * 4, "high", "high at 1 of 10 anchors"),
        (["raised"], "raised", "raised at 1 of 1 anchor"),
        (["", ""], "", "risk unknown"),
    ],
)  # fmt: skip
def test_a_sector_has_its_worst_band_where_a_fifth_shares_it_else_one_below(bands, band, share):
    one = sector(*[{"risk_band": b, "metal_band": b} for b in bands])
    assert (one["risk_band"], one["risk_share"]) == (band, share)
    assert one["worst_band"] == share.split(" at ")[0].replace("risk unknown", "")


@pytest.mark.pinned("judgement", answers=4)
def test_which_of_metal_and_rock_governs():
    pairs = [("high", "low"), ("low", "raised"), ("low", "low"), ("", "")]
    found = [sector({"metal_band": m, "rock_band": r})["risk_governed_by"] for m, r in pairs]
    assert found == ["metal", "rock", "metal and rock", ""]


def test_what_is_unknown_everywhere_stays_unknown():
    one = sector(
        {"material_recommended": "", "material_minimum": "", "crc": "", "scc_band": "",
         "corrosivity_category": "", "next_inspection_on": "", "inspection_interval_months": np.nan,
         "probability_C3": np.nan, "material_reasons": "Distance unknown.", "resistance_mode": "",
         "interval_reasons": "Category and class unknown: no interval can be given.",
         "rmr89": np.nan}
    )  # fmt: skip
    names = ["material_recommended", "material_minimum", "crc", "scc_band", "rmr_class",
             "corrosivity_category", "next_inspection_on", "category_probabilities",
             "resistance_mode"]  # fmt: skip
    assert one[names].tolist() == [""] * len(names)
    assert pd.isna(one["inspection_interval_months"])
    assert one["reasons"] == "Distance unknown."
    assert one["interval_reasons"] == "Category and class unknown: no interval can be given."


@pytest.mark.pinned("worked", answers=4)
def test_medians_counts_and_warnings_of_a_group():
    one = sector(
        {"chloride_mg_m2_d": 10.0, "warnings": "Metal unknown. | Assumed SO2.",
         "lithology": "slate"},
        {"chloride_mg_m2_d": 30.0, "warnings": "Hollow sound: do not trust or place an anchor "
         "here. | Assumed SO2.", "lithology": "slate"},
        {"chloride_mg_m2_d": 500.0, "warnings": "Assumed SO2.", "risk_band": ""},
    )  # fmt: skip
    assert one["chloride_mg_m2_d"] == 30.0
    assert one["lithology"] == "slate"
    assert one["risk_bands"] == "low x 2; unknown x 1"
    assert one["warnings"] == (
        "Hollow sound: do not trust or place an anchor here. (1 of 3 anchors) | Metal unknown. "
        "(1 of 3 anchors) | Assumed SO2."
    )


@pytest.mark.pinned("worked", answers=6)
def test_the_chances_of_the_categories_are_the_mean_of_the_anchors():
    one = sector({}, {"probability_C3": 0.4, "probability_C4": 0.6}, {}, {})
    chances = json.loads(one["category_probabilities"])
    assert chances == {"C1": 0.0, "C2": 0.0, "C3": 0.85, "C4": 0.15, "C5": 0.0, "CX": 0.0}


@pytest.mark.pinned("judgement", answers=5)
def test_a_sector_without_a_sound_spot_asks_for_no_length_and_a_crag_for_no_kind():
    refused = {"kind_advised": "do not place here", "kind_reasons": "Hollow."}
    one = sector(refused, refused)
    assert (one["kind_advised"], one["spots_refused"]) == ("do not place here", 2)
    assert pd.isna(one["embedment_required_mm"])
    some = sector(refused, {})
    assert (some["kind_advised"], some["embedment_required_mm"]) == ("bonded", 80.0)
    crag = sector(refused, {"sector": "South"}, by=["crag"])
    assert crag["kinds_advised"] == "bonded x 1; do not place here x 1"
    assert "kind_advised" not in crag
