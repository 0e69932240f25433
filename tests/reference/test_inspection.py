"""Plans and intervals against the rules they repeat; formulas are in `reliability.csv`."""

import numpy as np
import pytest

from saltreach.science.time.inspection import (
    CONDITION_CAP_MONTHS,
    LADDER_MONTHS,
    NORM_MONTHS,
    cap_months,
    corrosion_rate_mm_y,
    governing,
    half_life_months,
    months_by_probability,
    months_to_target,
    proof_test_plan,
    remaining_life_y,
)


@pytest.mark.parametrize(
    ("anchors", "regime", "failures", "tests"),
    [
        (120, "1.5", 0, 3),
        (200, "1.5", 0, 5),
        (200, "1.25", 0, 10),
        (40, "1.5", 0, 3),
        (100, "1.5", 1, 6),
        (200, "1.5", 1, 10),
        (200, "1.5", 2, 200),
        (2, "1.5", 0, 2),
    ],
)
def test_counts_of_bs_8539(anchors, regime, failures, tests):
    """BS 8539:2012 annex B3 as a supplier's page repeats it: 2.5 % and 3 at least at 1.5 times the
    action, or 5 % at 1.25; one failure doubles it with 6 at least; more: all."""
    plan = proof_test_plan(anchors, regime, failures)
    assert int(plan.tests) == tests
    assert plan.load_factor == float(regime)


def test_api_570_from_measurement_to_interval():
    """12.0 mm new, 11.4 after 6 y, 11.0 after 10 y, 9 mm needed: 0.10 mm/y, 20 y, half is 10 y,
    capped at 5 (class 1, from memory); with 10.9 mm: 0.125 mm/y, 15.2 y, 7.6 y."""
    for actual, exact in ((11.0, 120.0), (10.9, 91.2)):
        rate = corrosion_rate_mm_y(12.0, 11.4, actual, 10.0, 4.0)
        life = remaining_life_y(actual, 9.0, rate)
        assert half_life_months(life, 1e9) == pytest.approx(exact)
        assert half_life_months(life) == 60.0


def test_rounds_down_to_the_ladder_and_never_up():
    exact = np.array([0.0, 2.9, 3.0, 5.9, 6.0, 11.9, 12.0, 23.0, 24.0, 47.9, 48.0, 60.0, np.inf])
    wanted = [6, 6, 6, 6, 6, 6, 12, 12, 24, 36, 48, 60, 60]
    found = governing({"rule": exact})
    assert found.months.tolist() == wanted
    assert found.below_ladder.tolist() == [True] * 4 + [False] * 9
    assert found.rule[-1] == "longest interval in use"
    assert (found.months <= np.maximum(exact, LADDER_MONTHS[0])).all()


def test_shortest_rule_governs_and_is_named():
    caps = cap_months(corrosivity_category="C5", scc_band="moderate", condition=1.0)
    found = governing({"half of remaining life": 29.0, **caps})
    assert (float(found.months), str(found.rule)) == (24.0, "corrosivity category")
    found = governing({"half of remaining life": 29.0, **caps, "land manager": 7.0})
    assert (float(found.months), str(found.rule)) == (6.0, "land manager")


def test_unknown_stays_unknown():
    found = governing({"a": [np.nan, 30.0], "b": [np.nan, np.nan]})
    assert np.isnan(found.months[0])
    assert found.rule.tolist() == ["", "a"]
    assert np.isnan(months_to_target([[0.1, np.nan]])).all()
    assert np.isnan(half_life_months(remaining_life_y(11.0, 9.0, np.nan)))


def test_months_to_target_by_hand():
    """0.001 is crossed a quarter of the way from 0.0008 to 0.0016, in the third year."""
    assert months_to_target([[0.0002, 0.0004, 0.0008, 0.0016]], 0.001)[0] == pytest.approx(27.0)
    assert months_to_target([[0.0002, 0.0004]], 0.001)[0] == np.inf


def test_the_norm_of_published_intervals_is_a_year():
    """BS 7883:1997 12.1.2 (page text), UNI 11560:2022, EN 15567-1:2015 7.1.4, EN 365:2004: where
    looking does not mend it a yearly look stays, whatever the probability."""
    assert NORM_MONTHS == 12.0
    worst = [[0.9, 0.9]]
    assert months_by_probability(worst, [False]).tolist() == [12.0]
    assert months_by_probability(worst, [True]).tolist() == [6.0]
    assert cap_months(scc_band="severe", cracks=True)["stress-corrosion hazard"] == 12.0


def test_caps_fall_with_condition():
    assert list(CONDITION_CAP_MONTHS) == sorted(CONDITION_CAP_MONTHS, reverse=True)
