"""Plans and intervals against the rules they repeat; formulas are in `reliability.csv`."""

import numpy as np
import pytest

from saltreach.errors import OptionError
from saltreach.science.time.inspection import (
    cap_months,
    governing,
    half_life_months,
    months_by_probability,
    months_to_target,
)


@pytest.mark.pinned("judgement", answers=13)
def test_rounds_down_to_the_ladder_and_never_up():
    exact = np.array([0.0, 2.9, 3.0, 5.9, 6.0, 11.9, 12.0, 23.0, 24.0, 47.9, 48.0, 60.0, np.inf])
    wanted = [6, 6, 6, 6, 6, 6, 12, 12, 24, 36, 48, 60, 60]
    found = governing({"rule": exact})
    assert found.months.tolist() == wanted
    assert found.below_ladder.tolist() == [True] * 4 + [False] * 9
    assert found.rule[-1] == "longest interval in use"


@pytest.mark.pinned("judgement", answers=2)
def test_shortest_rule_governs_and_is_named():
    caps = cap_months(corrosivity_category="C5", scc_band="moderate", condition=1.0)
    found = governing({"half of remaining life": 29.0, **caps})
    assert (float(found.months), str(found.rule)) == (24.0, "corrosivity category")
    found = governing({"half of remaining life": 29.0, **caps, "land manager": 7.0})
    assert (float(found.months), str(found.rule)) == (6.0, "land manager")


@pytest.mark.pinned("judgement", answers=9)
def test_the_rule_is_named_to_the_end_of_the_ladder_and_what_somebody_asks_for_below_it_is_kept():
    found = governing({"rule": [49.0, 60.0, 60.1]})
    assert found.rule.tolist() == ["rule", "rule", "longest interval in use"]
    asked = governing({"land manager": [0.4, 1.9, 5.9, 6.0], "rule": 24.0}, kept=["land manager"])
    assert asked.months.tolist() == [1.0, 1.0, 5.0, 6.0]
    assert set(asked.rule) == {"land manager"} and asked.below_ladder.tolist()[2:] == [False, False]
    with pytest.raises(OptionError, match="'rule' has negative months"):
        governing({"other": [3.0, 3.0], "rule": [24.0, -1.0]})


def test_unknown_stays_unknown():
    found = governing({"a": [np.nan, 30.0], "b": [np.nan, np.nan]})
    assert np.isnan(found.months[0])
    assert found.rule.tolist() == ["", "a"]
    assert np.isnan(months_to_target([[0.1, np.nan]])).all()
    assert np.isnan(half_life_months(np.nan))


@pytest.mark.pinned("worked", answers=2)
def test_months_to_target_by_hand():
    """0.001 is crossed a quarter of the way from 0.0008 to 0.0016, in the third year."""
    assert months_to_target([[0.0002, 0.0004, 0.0008, 0.0016]], 0.001)[0] == pytest.approx(27.0)
    assert months_to_target([[0.0002, 0.0004]], 0.001)[0] == np.inf


@pytest.mark.pinned("published", answers=2)
def test_the_norm_of_published_intervals_is_a_year():
    """BS 7883:1997 12.1.2 (page text), UNI 11560:2022, EN 15567-1:2015 7.1.4, EN 365:2004: where
    looking does not mend it a yearly look stays, whatever the probability."""
    worst = [[0.9, 0.9]]
    assert months_by_probability(worst, [False]).tolist() == [12.0]
    assert months_by_probability(worst, [True]).tolist() == [6.0]
    assert cap_months(scc_band="severe", cracks=True)["stress-corrosion hazard"] == 12.0


@pytest.mark.pinned("judgement", answers=5)
def test_each_condition_has_its_cap():
    """Good to poor, and a failed one as a poor one (it has no interval: out of use)."""
    caps = cap_months(condition=[0.0, 1.0, 2.0, 3.0, 4.0])["condition"]
    assert caps.tolist() == [60, 48, 24, 6, 6]
