"""What looks and tests teach: the likelihood by hand, coverage on synthetic regions, safe sides."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from saltreach.science.time import learning
from saltreach.science.time.learning import (
    BY_EYE,
    BY_TEST,
    GRID,
    GROUP_SIGMA_LN,
    PROOF_SEES,
    REGION_SIGMA_LN,
    SEEN,
    SEEN_SHARES,
    SOUND,
    STILL_THERE,
    TOTAL_SIGMA_LN,
    Watched,
    belief,
    factor_used,
    pooled,
    watched_log_likelihood,
)
from saltreach.science.time.updating import LIKELIHOODS, batch_update

SEEDS = 300


def region(rng, way, groups=6, each=50):
    """A synthetic region drawn from the model's own prior: what was seen, and the true factors.

    Each anchor comes under watch at some age, is looked at three times and perhaps tested; of
    what failed before, a share is gone; an eye either can or cannot see it.
    """
    ln_theta = rng.normal(0, REGION_SIGMA_LN) + rng.normal(0, GROUP_SIGMA_LN, groups)
    count = groups * each
    group = np.repeat(np.arange(groups), each)
    rate = rng.uniform(0.01, 0.03, count)
    entered = rate * rng.uniform(2, 30, count)
    fails = rng.exponential(1 / np.exp(ln_theta[group]))
    sees = np.array(SEEN[way])[rng.choice(3, p=SEEN_SHARES, size=groups)][group]
    looks = np.stack([entered, entered + 2 * rate, entered + 5 * rate], axis=1)
    test = np.where(rng.random(count) < 0.3, entered + 3 * rate, np.inf)
    seen_by_eye = rng.random(count) < sees
    seen_by_test = rng.random(count) < PROOF_SEES
    eye = np.where((looks >= fails[:, None]) & seen_by_eye[:, None], looks, np.inf).min(axis=1)
    tested = np.where(seen_by_test & (test >= fails), test, np.inf)
    found = np.minimum(eye, tested)
    sound = np.where(looks < found[:, None], looks, 0.0).max(axis=1)
    outcome = np.where(np.isinf(found), SOUND, np.where(eye <= tested, BY_EYE, BY_TEST))
    there = (fails > entered) | (rng.random(count) < STILL_THERE)
    watched = Watched(
        group, entered, sound, np.where(test < found, test, 0.0), outcome,
        np.where(np.isinf(found), 0.0, found),
    )  # fmt: skip
    finite = watched._replace(tested=np.where(np.isinf(watched.tested), 0.0, watched.tested))
    return Watched(*(v[there] for v in finite)), ln_theta


@pytest.mark.parametrize("way", SEEN)
def test_the_interval_holds_the_truth_as_often_as_it_says(way):
    """300 regions of each way to fail: 90 % intervals hold the truth in 86 to 94 of 100, and the
    median is off by less than a tenth of the prior's spread."""
    inside, off = [], []
    for seed in range(SEEDS):
        watched, truth = region(np.random.default_rng(seed), way)
        found = belief(pooled(watched_log_likelihood(watched, len(truth), way)).groups)
        inside += ((np.log(found.p05) <= truth) & (truth <= np.log(found.p95))).tolist()
        off += (np.log(found.p50) - truth).tolist()
    assert 0.86 <= np.mean(inside) <= 0.94
    assert abs(np.mean(off)) < 0.1 * TOTAL_SIGMA_LN


def by_hand(outcome, entered, looked, tested, found, d, q, r):
    """The likelihood at theta 1, from the chance of each interval in which it can have failed."""
    ends = sorted({0.0, entered, looked, tested, found, math.inf})
    total, there = 0.0, 0.0
    for low, high in zip(ends, ends[1:], strict=False):
        mass = math.exp(-low) - (0.0 if high == math.inf else math.exp(-high))
        mass *= r if high <= entered else 1.0
        there += mass
        eye_misses = 1 - d if high <= looked else 1.0
        test_misses = 1 - q if high <= tested else 1.0
        if outcome == SOUND:
            total += mass * eye_misses * test_misses
        elif outcome == BY_EYE and looked < high <= found:
            total += mass * d * test_misses
        elif outcome == BY_TEST and tested < high <= found:
            total += mass * q * eye_misses
    return total / there


@pytest.mark.pinned("worked", answers=9)
@pytest.mark.parametrize(
    ("outcome", "looked", "tested", "found"),
    [
        (SOUND, 0.0, 0.0, 0.0), (SOUND, 0.9, 0.0, 0.0), (SOUND, 0.9, 0.5, 0.0),
        (SOUND, 0.5, 0.9, 0.0), (BY_EYE, 0.0, 0.0, 0.8), (BY_EYE, 0.4, 0.0, 0.8),
        (BY_EYE, 0.4, 0.6, 0.8), (BY_TEST, 0.6, 0.4, 0.8), (BY_TEST, 0.3, 0.0, 0.8),
    ],
)  # fmt: skip
def test_each_history_has_the_likelihood_of_its_intervals(outcome, looked, tested, found):
    one = Watched([0], [0.3], [looked], [tested], [outcome], [found])
    ours = watched_log_likelihood(
        one, 1, "visible", grid=np.zeros(1), seen=(0.35,), seen_shares=(1.0,)
    )
    hand = by_hand(outcome, 0.3, looked, tested, found, 0.35, PROOF_SEES, STILL_THERE)
    assert float(ours[0, 0]) == pytest.approx(math.log(hand), rel=1e-9)


@pytest.mark.pinned("worked", answers=3)
def test_one_failed_of_two_by_hand():
    """Eyes that see all, nothing taken away: L = (1 - e^-t)(e^-t); greatest at ln 2."""
    two = Watched([0, 0], 0.0, [0.0, 1.0], 0.0, [BY_EYE, SOUND], [1.0, 0.0])
    like = watched_log_likelihood(
        two, 1, "visible", seen=(1.0,), seen_shares=(1.0,), still_there=1.0
    )[0]
    assert float(np.exp(GRID[like.argmax()])) == pytest.approx(math.log(2), rel=0.03)
    assert float(like.max()) == pytest.approx(math.log(0.25), abs=1e-3)
    at_one = float(like[np.abs(GRID).argmin()])
    assert at_one == pytest.approx(math.log(1 - math.exp(-1)) - 1, rel=1e-9)


@pytest.mark.pinned("worked", answers=2)
def test_the_conjugate_form_by_hand():
    """(2 + 3) / (40 + 25), and its spread: sqrt(5) / 65."""
    mean, shape, rate = batch_update(3, 25, (2.0, 40.0))
    assert float(mean) == pytest.approx(5 / 65)
    assert math.sqrt(float(shape)) / float(rate) == pytest.approx(math.sqrt(5) / 65)


@pytest.mark.pinned("worked", answers=4)
def test_pooling_two_groups_is_the_normal_update_by_hand():
    """Normal likelihoods (mean 1, sd 0.5; nothing) with sigma 0.8 and 0.6: the first group's prior
    variance is 1, so its mean is 1 / 1.25 = 0.8 and its variance 0.2; the second leans on the
    region, whose part is 0.64 of what they share: 0.512, variance 1 - 0.64^2 / 1.25 = 0.672."""
    grid = 0.02 * np.arange(-400, 401.0)
    like = np.stack([-0.5 * ((grid - 1) / 0.5) ** 2, np.zeros(len(grid))])
    found = pooled(like, grid, 0.8, 0.6).groups
    mean = found @ grid
    variance = found @ grid**2 - mean**2
    assert mean == pytest.approx([0.8, 0.512], abs=1e-6)
    assert variance == pytest.approx([0.2, 0.67232], abs=1e-4)


def test_without_data_the_belief_is_the_prior_exactly():
    none = Watched(*(np.empty(0) for _ in range(6)))
    like = watched_log_likelihood(none, 3, "cracking")
    assert (like == 0.0).all()
    after, before = pooled(like), pooled(np.zeros((1, len(GRID))))
    assert (after.groups == before.groups[0]).all()
    assert (after.new == before.new).all()
    found = belief(after.groups)
    assert factor_used(found.p50, found.p90).tolist() == [1.0, 1.0, 1.0]
    assert found.p90 == pytest.approx([5.0] * 3, rel=0.01)  # a factor of 5, by the prior
    assert found.p10 == pytest.approx([0.2] * 3, rel=0.01)


def test_a_group_that_was_not_seen_has_the_weights_of_a_new_one():
    some = Watched([0] * 40, 0.1, 0.1, 0.0, BY_EYE, 0.2)
    found = pooled(watched_log_likelihood(some, 2, "visible"))
    assert (found.groups[1] == found.new).all()
    assert belief(found.groups[1:]).p50 > 1.0  # it leans on its neighbour
    told = factor_used(belief(found.groups).p50, belief(found.groups).p90)
    assert told[0] > told[1] > 1.0


@pytest.mark.parametrize("count", [10, 1000, 100_000])
def test_no_number_of_sound_looks_makes_a_metal_that_cracks_safe(count):
    """The safety rule: an eye may see nothing of cracks, so it can lower nothing."""
    sound = Watched(np.zeros(count), 0.1, 0.5)
    found = belief(pooled(watched_log_likelihood(sound, 1, "cracking")).groups)
    assert factor_used(found.p50, found.p90).tolist() == [1.0]
    rust = belief(pooled(watched_log_likelihood(sound, 1, "visible")).groups)
    assert factor_used(rust.p50, rust.p90)[0] < 1.0 or count == 10
    tested = sound._replace(tested=0.5)
    pulled = belief(pooled(watched_log_likelihood(tested, 1, "cracking")).groups)
    assert factor_used(pulled.p50, pulled.p90)[0] < 1.0 or count == 10


def test_the_floor_holds_whatever_is_seen():
    sound = Watched(np.zeros(100_000), 0.0, 3.0, 3.0)
    found = belief(pooled(watched_log_likelihood(sound, 1, "visible")).groups)
    assert float(found.p90[0]) < 0.01
    assert factor_used(found.p50, found.p90).tolist() == [learning.LEAST_FACTOR]
    assert factor_used(found.p50, found.p90, told=False).tolist() == [1.0]


def test_a_sound_look_that_is_not_before_the_finding_takes_nothing_back():
    """Dates known to the year alone make both fall on one day."""
    same_day = Watched([0] * 40, 0.1, 0.2, 0.2, BY_EYE, 0.2)
    found = pooled(watched_log_likelihood(same_day, 1, "visible"))
    without = pooled(
        watched_log_likelihood(same_day._replace(looked=0.0, tested=0.0), 1, "visible")
    )
    assert (found.groups == without.groups).all()
    assert belief(found.groups).p50 > 5.0


def test_rows_counted_together_are_rows_counted_one_by_one():
    rng = np.random.default_rng(1)
    watched, _ = region(rng, "visible", groups=2, each=1500)
    twice = Watched(*(np.concatenate([v, v]) for v in watched))
    once = watched_log_likelihood(watched, 2, "visible", seen=(0.3,), seen_shares=(1.0,))
    both = watched_log_likelihood(twice, 2, "visible", seen=(0.3,), seen_shares=(1.0,))
    np.testing.assert_allclose(both, 2 * once, rtol=1e-9)


ODD = {
    "all failed": Watched(np.zeros(500), 0.1, 0.0, 0.0, BY_EYE, 0.1),
    "all fine": Watched(np.zeros(500), 0.1, 9.0, 9.0),
    "no age": Watched(np.zeros(50), 0.0, 0.0),
    "failed at no age": Watched(np.zeros(50), 0.0, 0.0, 0.0, BY_TEST, 0.0),
    "before it was placed": Watched(np.zeros(50), -3.0, -1.0),
    "without end": Watched(np.zeros(50), 0.1, 1e300),
    "failed on the day of a sound look": Watched(np.zeros(50), 0.1, 0.5, 0.0, BY_EYE, 0.5),
    "unknown": Watched(np.zeros(50), np.nan, 0.5),
    "one of them unknown": Watched(np.zeros(2), [0.1, np.nan], 0.5),
}


@pytest.mark.parametrize("name", ODD)
@pytest.mark.parametrize("way", SEEN)
def test_odd_data_stays_sane(name, way):
    found = pooled(watched_log_likelihood(ODD[name], 2, way))
    assert found.groups.sum(axis=1) == pytest.approx([1.0, 1.0])
    believed = belief(found.groups)
    for value in believed:
        assert ((value > math.exp(GRID[0]) / 2) & (value < math.exp(GRID[-1]) * 2)).all()
    factor = factor_used(believed.p50, believed.p90)
    assert ((factor >= learning.LEAST_FACTOR) & (factor < 600)).all()
    if name in ("no age", "before it was placed", "unknown"):
        assert factor.tolist() == [1.0, 1.0]


@given(
    failed=st.integers(0, 29), more=st.integers(1, 10), hazard=st.floats(0.001, 2),
    way=st.sampled_from(list(SEEN)),
)  # fmt: skip
def test_a_failure_more_never_lowers_the_factor(failed, more, hazard, way):
    def factor(count):
        outcome = np.where(np.arange(40) < count, BY_EYE, SOUND)
        watched = Watched(np.zeros(40), hazard / 2, np.where(outcome == SOUND, hazard, hazard / 2),
                          0.0, outcome, np.where(outcome == SOUND, 0.0, hazard))  # fmt: skip
        found = belief(pooled(watched_log_likelihood(watched, 1, way)).groups)
        return float(factor_used(found.p50, found.p90)[0])

    assert factor(failed + more) >= factor(failed)


def test_what_eyes_see_is_what_the_likelihoods_of_a_look_say():
    for way, chances in SEEN.items():
        assert chances[1] == LIKELIHOODS[way][0][4]
    assert SEEN["cracking"][0] == 0.0
    assert max(max(chances) for chances in SEEN.values()) <= 0.9 + 1e-12


@pytest.mark.pinned("judgement", answers=6)
@pytest.mark.parametrize(
    ("p50", "p90", "factor"),
    [(3.0, 9.0, 3.0), (0.9, 2.0, 1.0), (0.3, 0.7, 0.7), (0.01, 0.02, 0.2), (1.0, 5.0, 1.0),
     (np.nan, np.nan, 1.0)],
)  # fmt: skip
def test_raised_readily_lowered_on_good_grounds(p50, p90, factor):
    assert float(factor_used(p50, p90)) == factor
