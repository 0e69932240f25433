"""Bands of metal and rock, actions, sectors: small tables worked by hand. Our own rules."""

import datetime as dt

import numpy as np
import pandas as pd
import pytest

from saltreach.assessment.grouping import groups_of
from saltreach.assessment.resistance import UNTESTED
from saltreach.assessment.risk import (
    BAND_LIMITS_PER_Y,
    BAND_MEANINGS,
    action_of,
    band_of,
    bands_of,
    cracking,
)
from saltreach.assessment.sectors import _risk_share, _shared_band
from saltreach.assessment.state import remaining_life_of_coated_y
from saltreach.science.time.inspection import TARGET_PER_Y
from saltreach.vocabulary.words import BANDS

TODAY = dt.date(2026, 11, 25)
SOUND = {
    "metal_probability_y1": 1e-5, "rock_probability_y1": 1e-5, "failure_probability_y1": 2e-5,
    "condition": 0.0, "rock_veto": "", "rock_strength_mpa": 120.0, "material": "316", "grade": "",
    "hanger_material": "unknown", "crc": "III", "kind": "bonded", "kind_advised": "bonded",
    "like_failed_share": 0.0, "diameter_required_mm": 12.0, "kind_reasons": "",
    "age_y": 10.0, "diameter_mm": 12.0, "zinc_rate_um_y": 0.5,
    "steel_rate_um_y": 10.0,
    "scc_band": "low", "material_recommended": "316", "failure_probability_y10": 1e-4,
    "rock_probability_after": 1e-6, "outside_standard": False,
}  # fmt: skip


def table(*changes):
    rows = [SOUND | {"crag": f"c{i}"} | change for i, change in enumerate(changes)]
    frame = pd.DataFrame(rows).astype({"condition": "Int64"})
    left = remaining_life_of_coated_y(frame)
    return frame.join(bands_of(frame)).assign(steel_life_left_y=left)


@pytest.mark.pinned("judgement", answers=8)
def test_limits_words_and_target_agree():
    assert BAND_LIMITS_PER_Y[1] == TARGET_PER_Y
    assert "above the default target" in BAND_MEANINGS["raised"]
    assert "below the default target" in BAND_MEANINGS["moderate"]
    limits = np.array([1 / 2000, 1 / 200, 1 / 50, 1 / 10])
    assert band_of(limits).tolist() == ["moderate", "raised", "high", "severe"]
    assert band_of(0.999 * limits).tolist() == ["low", "moderate", "raised", "high"]
    for limit, band in zip(BAND_LIMITS_PER_Y, BANDS[1:], strict=True):
        assert f"1 in {1 / limit:,.0f} " in BAND_MEANINGS[band].replace("More than ", "") + " "


def test_stainless_cracks_and_what_is_unknown_may():
    safe = ["zinc-plated steel", "galvanised steel", "superaustenitic", "titanium"]
    assert not cracking(pd.Series(safe)).any()
    assert cracking(pd.Series(["303", "304", "316", "duplex", "unknown"])).all()
    assert cracking(pd.Series(["unknown", "unknown"])).all()


@pytest.mark.pinned("judgement", answers=9)
def test_metal_and_rock_are_two_bands_and_the_worse_one_governs():
    found = table(
        {},
        {"metal_probability_y1": 0.03, "failure_probability_y1": 0.03},
        {"rock_probability_y1": 0.006, "failure_probability_y1": 0.006},
        {"rock_veto": "hollow sound under the hammer"},
        {"rock_strength_mpa": 5.0},
        {"rock_strength_mpa": 20.0},
        {"rock_strength_mpa": np.nan},
        {"condition": 4.0, "metal_probability_y1": 1.0, "failure_probability_y1": 1.0},
        {"condition": 3.0},
    )
    assert found["metal_band"].tolist() == ["low", "high", "low", "low", "low", "low", "low",
                                            "severe", "raised"]  # fmt: skip
    assert found["rock_band"].tolist() == ["low", "low", "raised", "severe", "severe", "moderate",
                                           "moderate", "low", "low"]  # fmt: skip
    assert found["risk_band"].tolist() == ["low", "high", "raised", "severe", "severe", "moderate",
                                           "moderate", "severe", "raised"]  # fmt: skip
    assert found["risk_governed_by"].tolist() == [
        "metal and rock", "metal", "rock", "rock", "rock", "rock", "rock", "metal", "metal",
    ]  # fmt: skip


@pytest.mark.pinned("judgement", answers=8)
def test_actions_in_their_order():
    found = table(
        {},
        {"condition": 4.0, "metal_probability_y1": 1.0, "failure_probability_y1": 1.0},
        {"rock_veto": "hollow sound under the hammer", "condition": 3.0},
        {"condition": 3.0},
        {"material": "304", "failure_probability_y10": 0.051},
        {"material": "unknown"},
        {"material": "unknown", "metal_probability_y1": 0.02, "failure_probability_y1": 0.02},
        {"material": "304", "crc": "II", "metal_probability_y1": 0.2, "scc_band": "severe",
         "failure_probability_y1": 0.2, "material_recommended": "titanium"},
    )  # fmt: skip
    found = found.join(action_of(found, TODAY))
    assert found["action"].tolist() == [
        "keep", "take out of use", "move or remove", "replace", "replace", "find out", "find out",
        "replace",
    ]  # fmt: skip
    # severe within 12 months, high 24, raised 36, else 60; a failed one today
    assert found["replace_by"].tolist() == [
        "", "", "2027-11-25", "2029-11-25", "2031-11-25", "", "2028-11-25", "2027-11-25",
    ]  # fmt: skip
    assert "today" in found["action_reasons"].iloc[1]
    assert "Nothing is bought for this spot" in found["action_reasons"].iloc[2]
    assert "Looking does not mend it" in found["action_reasons"].iloc[7]


@pytest.mark.pinned("judgement", answers=22)
def test_every_sentence_of_an_action_stands_where_it_holds_and_nowhere_else():
    raised = {"metal_probability_y1": 5e-3, "failure_probability_y1": 5e-3}  # at the target
    weak = {"rock_probability_y1": 5e-3, "failure_probability_y1": 5e-3}
    found = table(
        {},
        {"condition": 3.0},
        {"rock_veto": "hollow sound under the hammer", "kind_reasons": "Hollow."},
        {"rock_veto": "hollow sound under the hammer"},
        raised,  # the metal advised is in place: nothing to buy
        raised | {"material": "304", "crc": "II"},
        raised | {"material": "304", "crc": "II", "scc_band": "high"},
        raised | {"material": "zinc-plated steel", "crc": "II", "scc_band": "high"},
        raised | {"material": "duplex", "material_recommended": "superaustenitic",
                  "scc_band": "high"},
        raised | {"material": "superaustenitic", "material_recommended": "titanium",
                  "scc_band": "high"},
        weak,
        weak | {"rock_probability_after": 5e-3, "material": "unknown"},
        weak | {"rock_strength_mpa": np.nan},
        weak | {"kind_reasons": f"Weak. | {UNTESTED}"},
        weak | {"kind_reasons": f"Weak. | {UNTESTED}", "kind": "drive-in"},
        {"kind_reasons": f"Weak. | {UNTESTED}"},
        weak | {"kind": None},
        raised | {"condition": np.nan},
        {"material": "galvanised steel", "age_y": 60.0, "zinc_rate_um_y": 5.0,
         "steel_rate_um_y": 99.0},
        {"kind_advised": "do not place here", "kind_reasons": "Edge."},
        {"kind_advised": "do not place here", "kind_reasons": "Edge.", "condition": 3.0},
        weak | {"kind_advised": "do not place here"},
    )  # fmt: skip
    found = found.join(action_of(found, TODAY))
    risky, by = "The risk of its metal is above the default target.", "Replace or close by "
    below = "Its metal is below the class the place needs."
    cracks = (
        "Looking does not mend it (an eye sees next to nothing of stress-corrosion cracks): "
        "replace or close by "
    )
    refused = (
        "The rock of this spot refuses an anchor: move it to sound rock, or remove it and close "
        "what hangs on it. Nothing is bought for this spot."
    )
    day = "2029-11-25."
    gone, know = "Move, remove or close by ", "Know it, or close by 2029-11-25."
    test_it = (
        "Its hold in the rock is in doubt and the strength of the rock is not sure: test the rock "
        "on site before anything is bought."
    )
    assert found["action_reasons"].str.split(" | ", regex=False).tolist() == [
        [""],
        ["Recorded as poor.", by + day],
        [refused, "Hollow.", gone + "2027-11-25."],
        [refused, gone + "2027-11-25."],
        ["The risk of its metal is above the default target and no better metal is advised: keep "
         "to the interval, and replace it when a look finds it worse."],
        [risky, by + day],
        [risky, cracks + day],
        [below, risky, by + day],
        [risky, cracks + day],
        [risky, by + day],
        ["Its hold in the rock is weak; a new anchor as advised holds better in the same rock.",
         by + day],
        ["Its metal is unknown: find it out before anything is bought.",
         "Its hold in the rock is in doubt and a new anchor would not be surer: test the rock on "
         "site before anything is bought.", know],
        [test_it, know],
        [test_it, know],
        ["Its hold in the rock is weak; a new anchor as advised holds better in the same rock.",
         by + day],
        [""],
        ["Its kind is not recorded, and its hold in the rock is in doubt: look what it is.", know],
        ["Its condition is not recorded, and its risk is above the default target: look at it "
         "before anything is bought.", know],
        ["By the rates of its air its zinc and a fifth of its section are used up where it rusts "
         "most.", below, by + "2031-11-25."],
        ["No new anchor would be placed in this spot; what is there holds, as far as the model can "
         "tell.", "Edge."],
        [refused, "Edge.", gone + day],
        [refused, gone + day],
    ]  # fmt: skip
    assert found["action"].tolist()[-10:] == [
        "find out", "find out", "replace", "keep", "find out", "find out", "replace", "keep",
        "move or remove", "move or remove",
    ]  # fmt: skip


@pytest.mark.pinned("judgement", answers=4)
def test_what_is_too_thin_is_replaced_where_the_risk_is_above_the_target():
    raised = {"metal_probability_y1": 0.024, "failure_probability_y1": 0.024}
    found = table(
        raised | {"diameter_mm": 6.0},
        raised,
        {"diameter_mm": 6.0},
        raised | {"diameter_mm": np.nan},
    )
    found = found.join(action_of(found, TODAY))
    assert found["action"].tolist() == ["replace", "keep", "keep", "keep"]
    assert found["replace_by"].iloc[0] == "2028-11-25"
    assert found["action_reasons"].iloc[0].split(" | ")[:2] == [
        "The risk of its metal is above the default target.",
        "It is thinner than the loads ask of the metal advised.",
    ]


@pytest.mark.pinned("judgement", answers=4)
def test_the_like_of_failed_anchors_are_no_lower_than_moderate_and_of_many_than_raised():
    found = table(*[{"like_failed_share": share} for share in (0.0, 0.05, 0.2, 0.9)])
    assert found["metal_band"].tolist() == ["low", "moderate", "raised", "raised"]
    assert found["risk_band"].tolist() == ["low", "moderate", "raised", "raised"]


@pytest.mark.pinned("judgement", answers=2)
def test_coated_steel_is_replaced_at_the_end_of_its_life_and_not_before():
    life = remaining_life_of_coated_y(table({"material": "galvanised steel", "age_y": 0.0}))[0]
    found = table(*[{"material": "galvanised steel", "age_y": life + a} for a in (-0.5, 0.0)])
    assert action_of(found, TODAY)["action"].tolist() == ["keep", "replace"]


@pytest.mark.pinned("judgement", answers=2)
def test_the_weaker_of_bolt_and_hanger_is_below_the_class():
    soon = {"failure_probability_y10": 0.06}
    found = table(soon | {"hanger_material": "304"}, soon | {"hanger_material": "316"})
    assert action_of(found, TODAY)["action"].tolist() == ["replace", "keep"]


@pytest.mark.pinned("worked")
def test_a_leap_day_ends_with_february():
    found = table({"condition": 3.0, "metal_probability_y1": 0.2, "failure_probability_y1": 0.2})
    assert action_of(found, dt.date(2028, 2, 29))["replace_by"].tolist() == ["2029-02-28"]


@pytest.mark.pinned("judgement", answers=6)
def test_soft_rock_begins_below_25_mpa_and_three_times_the_chance_governs():
    found = table(
        {"rock_strength_mpa": 25.0},
        {"rock_strength_mpa": 24.9},
        {"metal_probability_y1": 2.9e-5},
        {"metal_probability_y1": 3.1e-5},
        {"rock_probability_y1": 2.9e-5},
        {"rock_probability_y1": 3.1e-5},
    )
    assert found["rock_band"].tolist()[:2] == ["low", "moderate"]
    assert found["risk_governed_by"].tolist()[2:] == [
        "metal and rock", "metal", "metal and rock", "rock",
    ]  # fmt: skip


@pytest.mark.pinned("judgement", answers=4)
def test_metal_below_its_class_serves_its_time_unless_it_soon_fails():
    """Within 10 years no more than ten times the yearly target, 0.05; beyond the standard never."""
    rocky = {"rock_probability_y1": 1e-4, "failure_probability_y1": 1.1e-4}
    found = table(
        {"material": "304", "failure_probability_y10": 0.05},
        {"material": "304", "failure_probability_y10": 0.2} | rocky,  # the rock's chance
        {"material": "304", "outside_standard": True},
        {"outside_standard": True},
    )
    found = found.join(action_of(found, TODAY))
    assert found["action"].tolist() == ["keep", "keep", "replace", "keep"]
    served = found["action_reasons"].str.contains("may serve its time")
    assert served.tolist() == [True, True, False, False]


@pytest.mark.pinned("judgement", answers=4)
def test_a_weak_hold_is_replaced_only_where_a_new_anchor_holds_better():
    weak = {"rock_probability_y1": 0.03, "failure_probability_y1": 0.03}
    found = table(
        weak | {"rock_probability_after": 0.019},  # high to raised
        weak | {"rock_probability_after": 0.021},  # stays high
        weak | {"rock_probability_after": np.nan},
        {"rock_probability_y1": 0.004, "failure_probability_y1": 0.004},  # below the target
    )
    found = found.join(action_of(found, TODAY))
    assert found["action"].tolist() == ["replace", "find out", "find out", "keep"]
    assert found["replace_by"].tolist() == [*["2028-11-25"] * 3, ""]
    assert "holds better in the same rock" in found["action_reasons"].iloc[0]
    assert "test the rock on site" in found["action_reasons"].iloc[1]


@pytest.mark.pinned("judgement")
@pytest.mark.parametrize(
    ("bands", "sector", "said"),
    [
        (["severe"] + ["low"] * 12, "high", "severe at 1 of 13 anchors"),
        (["severe"] * 3 + ["low"] * 10, "severe", "severe at 3 of 13 anchors"),
        (["severe"] * 2 + ["low"] * 11, "high", "severe at 2 of 13 anchors"),
        (["moderate"] + ["low"] * 9, "low", "moderate at 1 of 10 anchors"),
        (["high", "high", ""], "high", "high at 2 of 3 anchors"),
        (["low"], "low", "low at 1 of 1 anchor"),
        (["", ""], "", "risk unknown"),
    ],
)
def test_a_sector_s_band_by_its_worst_anchor_and_the_share_concerned(bands, sector, said):
    """A fifth of 13, rounded up, is 3: with fewer the band is one below the worst, and both are
    said."""
    groups = groups_of(pd.DataFrame({"crag": ["c"] * len(bands)}), ["crag"])
    series = pd.Series(bands)
    assert _shared_band(series, groups).tolist() == [sector]
    worst = next((b for b in BANDS[::-1] if b in bands), "")
    assert _risk_share(series, groups, pd.Series([worst])).tolist() == [said]
