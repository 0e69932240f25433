"""What a look found and a placing lacked: answer, months and day of each, worked by hand.

The plain anchor is 316, sound, washed, in ringing limestone inland: condition 0 allows 60 months
from the look of 2026-06-01. It was placed in May 2016 and has 200 visits a year.
"""

import datetime as dt

import numpy as np
import pandas as pd
import pytest

import saltreach as sr
from saltreach.assessment.findings import (
    FOUND,
    IMPLIES,
    PROUD_CYCLES,
    found_at,
    found_poor,
    proud_life_left_months,
)
from saltreach.assessment.placement import FAULTS, LASTING
from saltreach.intake.options import Options
from saltreach.vocabulary.words import ACTIONS, FINDINGS, PLACEMENT_DOUBTS

TODAY = dt.date(2026, 11, 25)
PLAIN = {
    "crag": "Alder", "lon": 11.3, "lat": 49.6, "kind": "bonded", "material": "316",
    "hanger_material": "316", "diameter_mm": 12, "embedment_mm": 100, "installed_on": "2016-05",
    "last_inspected_on": "2026-06-01", "condition": 0, "rock_type": "limestone",
    "tap_response": "ringing", "rain_washed": "yes", "visits_per_year": 200,
    "position": "lower-off", "salt_crust": "no",
}  # fmt: skip
EVERY = "; ".join(PLACEMENT_DOUBTS)
FAULT = ("find out", "raised", 6, "2026-12-01", "2027-05-25")
DOUBT = ("keep", "low", 24, "2028-06-01", "")
OUT = ("take out of use", "severe", 0, "", "")
CASES = {
    "plain": ({}, ("keep", "low", 60, "2031-06-01", "")),
    "hanger turns": ({}, DOUBT), "wet": ({}, DOUBT), "salty": ({}, DOUBT), "crusted": ({}, DOUBT),
    "rust film": ({}, DOUBT), "rust streaks": ({}, DOUBT),
    # poor: half a year from the look, and 24 months from today to act
    "rust flakes": ({}, ("replace", "raised", 6, "2026-12-01", "2028-11-25")),
    "bent": ({}, ("replace", "raised", 6, "2026-12-01", "2028-11-25")),
    "worn": ({}, ("replace", "low", 6, "2026-12-01", "2028-11-25")),
    "resin cracked": ({}, ("replace", "low", 6, "2026-12-01", "2028-11-25")),
    "resin missing": ({}, ("replace", "moderate", 6, "2026-12-01", "2027-11-25")),
    # 3100 lowers at 200 a year are 15.5 years; it is 10.53 years old, 59 whole months are left
    "proud": ({}, ("replace", "low", 6, "2026-12-01", "2031-10-25")),
    # 3100 at 800 a year are 3.9 years: used up, act today
    "proud and busy": (
        {"findings": "proud", "visits_per_year": 800},
        ("replace", "low", 6, "2026-12-01", "2026-11-25"),
    ),
    # a runner bears a tenth: 38.75 years; the 60 months of a low risk come first
    "proud runner": (
        {"findings": "proud", "visits_per_year": 800, "position": "runner"},
        ("replace", "low", 6, "2026-12-01", "2031-11-25"),
    ),
    "hollow": ({}, ("move or remove", "severe", 6, "2026-12-01", "2027-11-25")),
    "loose": ({}, OUT), "cracked": ({}, OUT), "broken": ({}, OUT),
    "several": ({"findings": "rust film; loose"}, OUT),
    "unknown": (
        {"condition": np.nan, "findings": "rust flakes"},
        ("replace", "raised", 6, "2026-12-01", "2028-11-25"),
    ),
    **{word: ({"placement_doubts": word}, FAULT) for word in FAULTS},
    **{w: ({"placement_doubts": w}, DOUBT) for w in PLACEMENT_DOUBTS if w not in FAULTS},
    # a test that held settles a cure that is over and what nobody wrote down, not a shallow hole
    "all tested": (
        {"placement_doubts": EVERY, "proof_tested_on": "2026-01-01", "proof_load_kn": 6}, DOUBT,
    ),
    "short tested": (
        {"placement_doubts": "cure time short; depth unknown", "proof_tested_on": "2026-01-01",
         "proof_load_kn": 6},
        ("keep", "low", 60, "2031-06-01", ""),
    ),
    "tested lightly": (
        {"placement_doubts": "cure time short", "proof_tested_on": "2026-01-01",
         "proof_load_kn": 5.9}, FAULT,
    ),
    "tested, no load": (
        {"placement_doubts": "cure time short", "proof_tested_on": "2026-01-01"}, FAULT,
    ),
    # the test was of the anchor before it
    "old test": (
        {"placement_doubts": "cure time short", "proof_tested_on": "2016-04-30",
         "proof_load_kn": 6}, FAULT,
    ),
    "closed": ({"closed_on": "2026-03-01"}, ("keep", "low", 0, "", "")),
    "closed and poor": (
        {"closed_on": "2026-03", "findings": "rust flakes"}, ("replace", "raised", 0, "", ""),
    ),
}  # fmt: skip


@pytest.fixture(scope="module")
def result(tmp_path_factory):
    rows = [
        PLAIN | {"anchor_id": name, "sector": f"s{at}", "findings": name if name in FOUND else ""}
        | changes for at, (name, (changes, _)) in enumerate(CASES.items())
    ]  # fmt: skip
    file = tmp_path_factory.mktemp("findings") / "anchors.csv"
    pd.DataFrame(rows).to_csv(file, index=False)
    return sr.assess(file, Options(today=TODAY))


@pytest.fixture(scope="module")
def anchors(result):
    return result.flat.anchors.set_index("anchor_id")


@pytest.mark.pinned("judgement", answers=5)
@pytest.mark.parametrize("name", CASES)
def test_answer_band_months_and_day(anchors, name):
    row = anchors.loc[name]
    months = row["inspection_interval_months"]
    found = (
        row["action"], row["risk_band"], 0 if pd.isna(months) else months,
        row["next_inspection_on"], row["replace_by"],
    )  # fmt: skip
    assert found == CASES[name][1]


@pytest.mark.pinned("judgement", answers=8)
def test_what_is_said(anchors):
    said = anchors["action_reasons"]
    assert said["proud"].startswith("It stands proud of the rock")
    assert "about 5 years of it are left. | Replace or close by 2031-10-25." in said["proud"]
    assert "that life is used up" in said["proud and busy"]
    proof = "Proof test first (cure time short): do not load it until it has held 6 kN for 15 s."
    assert said["cure time short"] == f"{proof} | Test it, or close by 2027-05-25."
    assert anchors["warnings"]["cure time short"].startswith(proof)
    assert (
        "settles for today only: hole too shallow, hole not cleaned, adhesive expired."
        in (anchors["warnings"]["all tested"])
    )
    assert (
        "Proof test first where it can be done (expiry unknown)"
        in (anchors["warnings"]["expiry unknown"])
    )
    assert "Closed since 2026-03-01" in anchors["interval_reasons"]["closed"]
    assert "Closed since 2026-03: it stays out of use" in said["closed and poor"]


def test_the_worse_counts_and_the_contradiction_is_said(anchors, result):
    assert anchors["condition"]["loose"] == 0, "what was handed in stays as it was"
    assert anchors["tap_response"]["hollow"] == "ringing"
    assert anchors["salt_crust"]["salty"] == "no"
    why = "0 and the findings (loose) do not go together; the worse counts"
    assert f"Condition {why}." in anchors["warnings"]["loose"]
    assert "Tap ringing and the findings (hollow)" in anchors["warnings"]["hollow"]
    assert "Condition" not in anchors["warnings"]["rust film"]
    doubts = result.doubts.set_index("reason")
    assert doubts["column"][why] == "condition"
    assert doubts["row"][why] == list(CASES).index("loose") + 2
    assert "ringing and the findings (hollow) do not go together; the worse counts" in doubts.index


def test_a_crust_of_salt_is_not_washed(anchors):
    assert anchors["washing"][["plain", "salty", "crusted"]].tolist() == ["yes", "no", "no"]


def test_a_crack_makes_its_like_suspect_and_movement_does_not(tmp_path):
    rows = [
        PLAIN | {"anchor_id": f"{word}{n}", "sector": word, "findings": word if n else ""}
        for word in ("cracked", "loose") for n in (0, 1)
    ]  # fmt: skip
    pd.DataFrame(rows).to_csv(tmp_path / "a.csv", index=False)
    result = sr.assess(tmp_path / "a.csv", Options(today=TODAY))
    warned = result.flat.anchors.set_index("anchor_id")["warnings"]
    assert "same sector, metal and year failed" in warned["cracked0"]
    assert "same sector, metal and year failed" not in warned["loose0"]


def test_registers_without_any_get_the_same_as_before(tmp_path):
    """Empty columns and none are one, to the last digit."""
    rows = pd.DataFrame([PLAIN | {"anchor_id": str(n), "sector": "s"} for n in range(3)])
    empty = ["findings", "placement_doubts", "proof_tested_on", "proof_load_kn", "closed_on"]
    found = []
    for name, frame in (("a", rows), ("b", rows.assign(**dict.fromkeys(empty, "")))):
        frame.to_csv(tmp_path / f"{name}.csv", index=False)
        found.append(sr.assess(tmp_path / f"{name}.csv", Options(today=TODAY)))
    assert not any(c.startswith(("found_", "doubt_")) for c in found[1].working)
    for table in ("anchors", "sectors", "crags"):
        pd.testing.assert_frame_equal(*(getattr(r.flat, table) for r in found), check_exact=True)


def test_what_a_budget_counts_among_the_worst():
    """Findings that count as condition 3 or 4, whichever way of failing they inform."""
    poor = {w for w in FINDINGS if found_poor(pd.DataFrame({"findings": [w]})).all()}
    assert poor == {"rust flakes", "bent", "resin missing", "loose", "cracked", "broken"}
    assert not found_poor(pd.DataFrame({"condition": [4]})).any()


def test_every_word_has_its_rule_and_the_worst_comes_last():
    assert tuple(FOUND) == tuple(FINDINGS)
    assert set(LASTING) < set(FAULTS) < set(PLACEMENT_DOUBTS)
    strength = [ACTIONS.index(rule.answer) for rule in FOUND.values()]
    assert strength == sorted(strength, reverse=True)
    months = [-1 if np.isnan(rule.months) else rule.months for rule in FOUND.values()]
    assert months == sorted(months, reverse=True)
    rust = [FOUND[f"rust {word}"].metal for word in ("film", "streaks", "flakes")]
    assert rust == [1, 2, 3]
    assert set(IMPLIES) < set(FOUND)


@pytest.mark.pinned("worked", answers=3)
def test_the_life_of_an_anchor_that_stands_proud():
    """3,100 lowers, one a visit: 100 years at 31 a year, less the 10.5 since May 2016; uncounted
    visits are the median (15.5 a year: 200 years), an unknown date counts as the oldest; where
    nobody comes it lasts."""
    table = pd.DataFrame({
        "findings": "proud", "condition": np.nan, "tap_response": "", "salt_crust": "",
        "placement_doubts": "", "proof_tested_on": "", "proof_load_kn": np.nan,
        "closed_on": "", "position": "belay",
        "visits_per_year": [31.0, np.nan, 0.0], "installed_on": ["2016-05-18", None, "2016"],
    })  # fmt: skip
    left = proud_life_left_months(table, TODAY)
    assert PROUD_CYCLES == 3100
    assert np.floor(left).tolist() == [1073.0, 2273.0, np.inf]
    found = found_at(table, TODAY)
    assert found["found_by_months"].tolist() == [60.0] * 3
    assert not found["found_says"].str.contains("left").any()
