"""Which anchors to proof test next: counts of BS 8539, batches and order worked by hand."""

import numpy as np
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st

from saltreach.assessment.proof_tests import tests_of as batches_of
from saltreach.intake.policy import Policy
from saltreach.science.time.inspection import reliability_lower_bound, zero_failure_sample_size
from saltreach.science.time.proof import proof_tests_asked

BASE = {
    "crag": "Alder", "sector": "North", "kind": "bonded", "installed_on": "2026-05-02",
    "placement_doubts": "", "proof_tested_on": "", "proof_load_kn": np.nan, "findings": "",
    "condition": pd.NA, "action": "keep", "rock_probability_y1": 1e-4, "lon": 11.0, "lat": 49.0,
}  # fmt: skip
TESTED = {"proof_tested_on": "2026-06-01", "proof_load_kn": 6.0}


def anchors(*rows):
    """The first at 11.000 east, each next one 0.001 on."""
    made = [BASE | {"anchor_id": f"a{n}", "lon": 11 + n / 1000} | row for n, row in enumerate(rows)]
    return pd.DataFrame(made).astype({"condition": "Int64"})


def first(*rows, policy=None):
    return batches_of(anchors(*rows), policy or Policy()).iloc[0]


@pytest.mark.pinned("published", answers=3)
def test_shares_of_the_standard():
    """BS 8539 as a fastener supplier's answers cite its annex B3: 120 at 2.5 % are 3, 200 are 5, at
    5 % (1.25 times the action) 10."""
    assert proof_tests_asked([120, 200]).tolist() == [3, 5]
    assert proof_tests_asked(200, 0, 1.25) == 10


@pytest.mark.pinned("worked", answers=12)
def test_shares_by_hand():
    assert proof_tests_asked([0, 1, 3, 40, 121]).tolist() == [0, 1, 3, 3, 4]
    assert proof_tests_asked(200, 1) == 10  # twice 2.5 %
    assert proof_tests_asked(60, 1) == 6  # 5 % are 3; at least 6
    assert proof_tests_asked(4, 1) == 4  # there are no more
    assert proof_tests_asked(200, 1, 1.25) == 20
    assert proof_tests_asked(200, 2) == 200
    assert proof_tests_asked(1000, 0, 1.49) == 50
    assert proof_tests_asked(1000, 0, 1.5) == 25
    assert np.isnan(proof_tests_asked([np.nan, 5, 5], [0, np.nan, 0], [2, 2, np.nan])).all()


@pytest.mark.pinned("published", answers=2)
def test_without_a_failure():
    """The standard formula: 59 show 0.95 with 95 %, and three prove nearly nothing."""
    assert zero_failure_sample_size(0.95, 0.95) == 59
    assert round(float(reliability_lower_bound(3, 0.95)), 3) == 0.368


@given(st.integers(0, 3000), st.integers(0, 4), st.sampled_from([1.25, 1.5, 2.0]))
def test_more_failures_or_a_lower_load_never_ask_for_fewer(placed, failed, ratio):
    asked = float(proof_tests_asked(placed, failed, ratio))
    assert asked <= placed
    assert asked <= proof_tests_asked(placed, failed + 1, ratio)
    assert asked <= proof_tests_asked(placed, failed, 1.25)
    assert asked <= proof_tests_asked(placed + 1, failed, ratio)


def test_old_registers_have_no_such_table():
    assert batches_of(anchors({}, {})) is None


@pytest.mark.pinned("worked", answers=9)
def test_a_batch_in_numbers_and_words():
    row = first(*[TESTED] * 3, *[{}] * 37)
    assert (row["placed"], row["tested"], row["failed"], row["to_test"]) == (40, 3, 0, 0)
    assert (row["kind"], row["placed_in"], row["test_load_kn"]) == ("bonded", "2026", 6.0)
    assert row["reliability_shown"] == 0.36  # 0.368, never rounded up
    assert row["test_next"] == ""
    assert row["why"] == (
        "3 of 40 tested, none failed: with 95 % confidence that shows only that a share of 0.36 or "
        "more holds. Asked are 3 in all, by BS 8539 (second-hand) at 1.5 times the action. A proof "
        "test says nothing of stress-corrosion cracks."
    )
    one = first(*[TESTED] * 3, {"findings": "loose"}, *[{}] * 36)
    assert (one["failed"], one["to_test"]) == (1, 3)  # six after one failure
    assert one["why"].startswith("1 failed or is loose, 3 of 40 held. Asked are 6 in all")
    assert np.isnan(one["reliability_shown"])
    two = first(*[TESTED] * 3, {"findings": "loose"}, {"condition": 4}, *[{}] * 35)
    assert two["to_test"] == 35  # all that are neither tested nor failed


@pytest.mark.pinned("worked", answers=6)
def test_faults_first_then_doubts_then_the_worst_rock_then_along_the_wall():
    fault, doubt = {"placement_doubts": "hole not cleaned"}, {"placement_doubts": "depth unknown"}
    weak = {"rock_probability_y1": 1e-2}
    assert first({}, doubt, weak, fault)["test_next"] == "a3; a1; a2"
    # every known fault, however few the share asks for
    assert first(*[fault] * 5)["to_test"] == 5
    # alike: places 0, 4, 2 of 0 to 7 along the wall, bits reversed
    even = first({}, {}, {}, TESTED | {"anchor_id": "t"}, *[{}] * 4)
    assert even["to_test"] == 2
    assert even["test_next"] == "a0; a4"
    # what is to go is not tested, nor what failed, nor twice
    gone = [{"action": "take out of use"}, {"action": "move or remove"}, {"findings": "loose"}]
    assert first(*gone, doubt, TESTED)["test_next"] == "a3"
    assert first(TESTED, {"action": "move or remove"})["to_test"] == 0


@pytest.mark.pinned("worked", answers=4)
def test_batches_are_a_sector_a_kind_and_a_year():
    doubt = {"placement_doubts": "depth unknown"}
    found = batches_of(
        anchors(
            doubt,
            doubt | {"kind": "expansion"},
            doubt | {"installed_on": "2025"},
            doubt | {"sector": "South"},
            {"crag": "Birch"},
            doubt | {"installed_on": ""},
        )  # fmt: skip
    )
    assert len(found) == 5  # nothing is asked of Birch: it has neither doubt nor test
    assert set(found["placed_in"]) == {"2026", "2025", "unknown"}
    by_crag = batches_of(anchors(doubt, doubt | {"sector": "South"}), Policy(proof_batch="crag"))
    assert by_crag[["sector", "placed"]].to_numpy().tolist() == [["", 2]]


@pytest.mark.pinned("worked", answers=3)
def test_a_policy_may_ask_for_a_reliability_or_more_load():
    many = [TESTED] * 2 + [{}] * 98
    row = first(*many, policy=Policy(proof_reliability=0.95))
    assert row["to_test"] == 57
    assert "Asked are 59 in all, by a reliability of 0.95 without a failure" in row["why"]
    assert first(*many, policy=Policy(proof_load_kn=8.0))["tested"] == 0
    assert len(row["test_next"].split("; ")) == 12  # a row names so many


def test_the_order_does_not_hang_on_the_order_of_the_rows():
    rows = [{"placement_doubts": "depth unknown"}, *[{}] * 9]
    table = anchors(*rows)
    pd.testing.assert_frame_equal(
        batches_of(table), batches_of(table.sample(frac=1, random_state=3))
    )


@pytest.mark.pinned("worked", answers=10)
def test_what_failed_and_was_taken_away_still_counts():
    """Eight were placed: one held; two failed under test and are gone. All that are left are asked,
    as they were while the failed ones hung there."""
    there = anchors(TESTED, *[{}] * 5)
    lost = pd.DataFrame(
        [{"crag": "Alder", "sector": "North", "kind": "bonded", "installed_on": "2026-05",
          "metal_failed": False, "by_test": True}] * 2
    )  # fmt: skip
    before = batches_of(there).iloc[0]
    assert before[["placed", "tested", "failed", "to_test"]].tolist() == [6, 1, 0, 2]
    assert before["reliability_shown"] > 0
    after = batches_of(there, gone=lost).iloc[0]
    assert after[["placed", "tested", "failed", "to_test"]].tolist() == [8, 1, 2, 5]
    assert np.isnan(after["reliability_shown"]) and after["why"].startswith("2 failed")
    # a look found them, and nobody tests here: no table of tests for it
    assert batches_of(anchors({}, {}), gone=lost.assign(by_test=False)) is None
    # of another year, of which nothing is left: no row
    assert len(batches_of(there, gone=lost.assign(installed_on="2019"))) == 1
