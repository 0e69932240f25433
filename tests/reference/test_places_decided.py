"""44 places that a practitioner decided blind, against the tool: by value, and right or not.

Sources and `common practice` stand in each row of `places_decided.csv`.
"""

import pandas as pd
import pytest

from helpers.decided import ANSWERS, PLACES, assessed, judged


@pytest.fixture(scope="module")
def answers():
    return assessed()


def test_every_answer_is_the_one_on_record(answers):
    pinned = pd.read_csv(ANSWERS, dtype=str, keep_default_na=False).set_index("anchor_id")
    pd.testing.assert_frame_equal(answers, pinned, check_dtype=False)


def test_the_list_covers_what_it_should():
    places = pd.read_csv(PLACES, dtype=str, keep_default_na=False)
    assert len(places) >= 40
    assert set(places["expected_metal"]) == {"304", "316", "titanium"}
    assert set(places["expected_risk_band"]) == {"low", "moderate", "raised", "high", "severe"}
    assert (places[["why", "basis"]] != "").all(axis=None)


def test_no_place_is_told_a_weaker_metal_than_expected_by_more_than_one_step(answers):
    verdict = judged(answers)
    assert (verdict["metal"] != "wrong").all()
    assert (verdict["class"] != "wrong").all()


@pytest.mark.parametrize(
    ("aspect", "least"),
    [
        ("metal", 0.8),
        ("class", 0.9),
        ("sea cliff", 0.95),
        ("hazard", 0.5),
        ("risk", 0.5),
        ("months", 0.5),
    ],
)
def test_most_are_right(answers, aspect, least):
    assert (judged(answers)[aspect] == "right").mean() >= least
