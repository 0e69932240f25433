"""Losses and ranks, on small worlds whose answer is known."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from saltreach.errors import OptionError
from saltreach.science.time.consequence import priority_rank, priority_score, yearly_loss

NAN = float("nan")


@pytest.mark.pinned("judgement", answers=5)
def test_belay_is_worst_and_unknown_position_counts_as_it():
    loss = yearly_loss(0.01, ["belay", "lower-off", "runner", "unknown", ""], 50.0)
    assert loss.tolist() == [5.0, 4.0, 1.0, 5.0, 5.0]


@pytest.mark.pinned("judgement", answers=2)
def test_loss_is_a_product_and_unknown_probability_stays_unknown():
    assert yearly_loss(0.02, "runner", 30.0) == pytest.approx(0.02 * 2 * 30)
    assert np.isnan(yearly_loss(NAN, "belay", 30.0))
    assert yearly_loss(0.1, "belay", NAN, unknown_visits_per_year=7.0) == pytest.approx(7.0)


def test_refuses_what_cannot_be():
    with pytest.raises(OptionError, match="cost"):
        priority_score(1.0, 0.0, 0.0)
    with pytest.raises(OptionError, match=r"cost 0\.0"):
        priority_score(1.0, 0.0, [0.0, 5.0])
    assert priority_score(1.0, 0.0, 0.5) == 2.0
    with pytest.raises(OptionError, match="policy"):
        priority_rank([1.0], [1], [True], "alphabetical")
    with pytest.raises(OptionError, match="position"):
        yearly_loss(0.1, "summit", 1.0)


@pytest.mark.pinned("worked", answers=2)
def test_sea_cliffs_come_first_within_their_band_or_a_milder_one():
    score = [9.0, 1.0, 8.0, 2.0, NAN]
    band = [3, 3, 4, 2, 3]
    sea = [False, True, False, True, True]
    assert priority_rank(score, band, sea).tolist() == [4, 2, 1, 5, 3]
    assert priority_rank(score, band, sea, "pure-risk").tolist() == [1, 4, 2, 3, 5]


def test_ties_keep_the_order_given():
    assert priority_rank([1.0] * 4, [2] * 4, [True] * 4).tolist() == [1, 2, 3, 4]


rows = st.lists(
    st.tuples(st.floats(0, 10), st.integers(0, 4), st.booleans()), min_size=1, max_size=30
)


@given(rows=rows, policy=st.sampled_from(["sea-cliffs-first", "pure-risk"]))
def test_ranks_are_an_order(rows, policy):
    score, band, sea = (np.array(v) for v in zip(*rows, strict=True))
    rank = priority_rank(score, band, sea, policy)
    assert sorted(rank) == list(range(1, len(rows) + 1))
    for i in range(len(rows)):
        for j in range(len(rows)):
            if policy == "pure-risk":
                assert not (score[i] > score[j] and rank[i] > rank[j])
            elif sea[i] and not sea[j] and band[i] >= band[j]:
                assert rank[i] < rank[j]
