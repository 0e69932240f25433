"""No finding and no doubt makes an anchor look better, and a worse one asks for no less."""

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from property.test_decisions import COLD_SHORE, FIXED, TODAY, places
from saltreach.assessment.corrosivity import corrosivity
from saltreach.assessment.findings import FOUND, found_at
from saltreach.assessment.interval import inspection_interval
from saltreach.assessment.material import choose_material, stress_corrosion_hazard
from saltreach.assessment.region import age_of_anchors
from saltreach.assessment.resistance import rock_resistance
from saltreach.assessment.risk import action_of, bands_of
from saltreach.assessment.state import state_of_anchors
from saltreach.vocabulary.words import ACTIONS, BANDS, FINDINGS, PLACEMENT_DOUBTS

BARE = {
    "findings": "", "placement_doubts": "", "closed_on": "", "proof_tested_on": "",
    "proof_load_kn": np.nan,
}  # fmt: skip


def decided(*rows: dict) -> pd.DataFrame:
    """The decisions on places, each a crag of its own, with findings as `assess` counts them."""
    table = pd.DataFrame([FIXED | BARE | row | {"crag": f"c{i}"} for i, row in enumerate(rows)])
    table = table.assign(**dict(found_at(table, TODAY).items()))
    table["rock_veto"] = np.where(table["tap_response"] == "hollow", "Hollow.", "")
    table["warm_month_c"] = table["temperature_c"] + 8
    table = table.join(corrosivity(table))
    table = table.join(stress_corrosion_hazard(table))
    table = table.join(choose_material(table))
    table["age_y"] = age_of_anchors(table, TODAY)
    table = table.join(rock_resistance(table, 15.0))
    state = state_of_anchors(table, TODAY)
    table = table.join(state.columns)
    table = table.join(bands_of(table))
    table = table.join(action_of(table, TODAY))
    return table.join(inspection_interval(table, state.curve, TODAY))


def no_better(table: pd.DataFrame) -> None:
    """Every row is no better than the one before it."""
    band = BANDS.rank(table["risk_band"]).fillna(-1)
    assert band.is_monotonic_increasing
    strength = table["action"].map(ACTIONS[::-1].index)
    assert strength.is_monotonic_increasing, table["action"].tolist()
    months = table["inspection_interval_months"].astype(float)
    assert months.where(table["action"] != ACTIONS[0], 0.0).is_monotonic_decreasing
    for name in ("metal", "rock", "failure"):
        p = table[f"{name}_probability_y1"].fillna(0.0)
        assert (np.diff(p) >= -1e-12).all(), name
    assert (np.diff(table["capacity_kn_p05"].fillna(0.0)) <= 1e-9).all()


several = st.sets(st.sampled_from(FINDINGS)).map(lambda words: sorted(words, key=FINDINGS.index))
doubts = st.sets(st.sampled_from(PLACEMENT_DOUBTS))
few = settings(max_examples=settings().max_examples * 3 // 5)
"""Several places an example: the decisions on a table cost the same for one row and for ten."""
TESTED = {"proof_tested_on": "2026-10-01", "proof_load_kn": 6.0}


def many(*parts):
    return st.lists(st.tuples(*parts), min_size=5, max_size=5)


def each_no_better(cases: list[list[dict]]) -> None:
    table = decided(*(row for rows in cases for row in rows))
    start = np.cumsum([0, *map(len, cases)])
    for first, end in zip(start, start[1:], strict=False):
        no_better(table.iloc[first:end])


@few
@given(many(places, several, st.sampled_from(FINDINGS)))
def test_one_more_finding_never_helps(drawn):
    cases = []
    for place, words, more in drawn:
        most = sorted({*words, more}, key=FINDINGS.index)
        cases.append([place, *(place | {"findings": "; ".join(w)} for w in (words, most))])
    each_no_better(cases)


@pytest.mark.parametrize("metal", ["304", "galvanised steel", "unknown"])
def test_what_nobody_recorded_is_not_helped_by_a_mild_finding(metal):
    """Condition 1 alone would earn credit that an unknown condition does not have."""
    place = COLD_SHORE | {"material": metal, "condition": np.nan, "installed_on": "1995"}
    each_no_better([[place, place | {"findings": word}] for word in FINDINGS])


@few
@given(places)
def test_a_worse_finding_gives_no_weaker_answer_and_no_longer_interval(place):
    """Each at least what its rule asks, and the rules do not weaken along the scale."""
    table = decided(*(place | {"findings": word} for word in FINDINGS))
    least = [ACTIONS[::-1].index(FOUND[word].answer) for word in FINDINGS]
    assert (table["action"].map(ACTIONS[::-1].index) >= least).all()
    months = table["inspection_interval_months"].astype(float).fillna(0.0).to_numpy()
    longest = np.nan_to_num([FOUND[word].months for word in FINDINGS])
    assert (months <= longest).all()
    assert (np.diff(least) >= 0).all()
    assert (np.diff(longest) <= 0).all()


@few
@given(many(places, doubts, st.sampled_from(PLACEMENT_DOUBTS)))
def test_one_more_doubt_never_helps_and_a_test_never_hurts(drawn):
    cases = []
    for place, words, more in drawn:
        less, most = (
            {"placement_doubts": "; ".join(sorted(found, key=PLACEMENT_DOUBTS.index))}
            for found in (words, words | {more})
        )
        cases += [[place, place | less, place | most], [place | TESTED | most, place | most]]
    each_no_better(cases)


@few
@given(places, st.sampled_from(FINDINGS))
def test_a_finding_at_one_anchor_helps_no_other(place, word):
    found = decided(place, place, place | {"findings": word})
    before = decided(place, place, place)
    assert (found["failure_probability_y1"] >= before["failure_probability_y1"] - 1e-12).all()
