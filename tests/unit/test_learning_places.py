"""What pulls teach of rock, and candles, swabs and coupons of salt."""

import math

import numpy as np
import pytest

from saltreach.science.air.atmosphere import first_year_loss_um_y
from saltreach.science.time import learning_rock, learning_salt
from saltreach.science.time.learning import belief
from saltreach.science.time.learning_rock import (
    ABOVE,
    BELOW,
    EXACT,
    ROCK_GRID,
    WITHIN_SIGMA_LN,
    Pulls,
    pooled_shift,
    prior_sigma_ln,
    pulls_log_likelihood,
    rock_factor_used,
)
from saltreach.science.time.learning_salt import Measured, candle, coupon, learned_salt, swab


def test_the_rock_interval_holds_the_truth_as_often_as_it_says():
    """300 regions of four rocks, pulled to failure, held and moved: 86 to 94 in 100."""
    rng, model, inside = np.random.default_rng(8), 0.6, []
    half = prior_sigma_ln(model) / math.sqrt(2)
    for _ in range(300):
        truth = rng.normal(0, half) + rng.normal(0, half, 4)
        group = np.repeat(np.arange(4), 8)
        resistance = 20 * np.exp(truth[group] + rng.normal(0, WITHIN_SIGMA_LN, 32))
        load = rng.choice([12.0, 20.0, np.nan], 32)
        sense = np.where(np.isnan(load), EXACT, np.where(resistance > load, ABOVE, BELOW))
        pulls = Pulls(group, np.where(np.isnan(load), resistance, load), 20.0, sense)
        found = belief(pooled_shift(pulls_log_likelihood(pulls, 4), model).groups, ROCK_GRID)
        inside += ((np.log(found.p05) <= truth) & (truth <= np.log(found.p95))).tolist()
    assert 0.86 <= np.mean(inside) <= 0.94


@pytest.mark.pinned("worked", answers=2)
def test_one_pull_to_failure_is_the_normal_update_by_hand():
    """Spread 0.5 of the model, 0.35 within: prior variance 0.25 - 0.1225 = 0.1275; a pull at half
    the median: ln 0.5 x 0.1275 / 0.25 = -0.3535, variance 0.1275 x 0.1225 / 0.25 = 0.062475."""
    one = Pulls([0], [10.0], [20.0], [EXACT])
    found = pooled_shift(pulls_log_likelihood(one, 1), 0.5).groups[0]
    mean = float(found @ ROCK_GRID)
    assert mean == pytest.approx(-0.35350, abs=1e-4)
    assert float(found @ ROCK_GRID**2) - mean**2 == pytest.approx(0.062475, abs=1e-4)


def test_a_test_that_held_far_below_the_median_says_next_to_nothing():
    held = Pulls(np.zeros(20), 6.0, 30.0, ABOVE)
    found = belief(pooled_shift(pulls_log_likelihood(held, 1), 0.6).groups, ROCK_GRID)
    assert 1.0 < float(found.p50[0]) < 1.25
    assert rock_factor_used(found.p10, found.p50).tolist() == [1.0]


def test_moved_tests_lower_and_nothing_pulled_changes_nothing():
    moved = Pulls([0, 0, 0], 15.0, 30.0, BELOW)
    found = belief(pooled_shift(pulls_log_likelihood(moved, 2), 0.6).groups, ROCK_GRID)
    factor = rock_factor_used(found.p10, found.p50, [1.0, 0.0])
    assert factor[0] < factor[1] < 1.0  # the other rock leans on it
    none = pooled_shift(np.zeros((2, len(ROCK_GRID))), 0.6)
    assert (none.groups == none.new).all()
    before = belief(none.groups, ROCK_GRID)
    assert rock_factor_used(before.p10, before.p50).tolist() == [1.0, 1.0]


@pytest.mark.parametrize(
    ("load", "median", "sense"),
    [(0.0, 20.0, EXACT), (-4.0, 20.0, ABOVE), (np.nan, 20.0, EXACT), (9.0, np.nan, BELOW),
     (9.0, 0.0, EXACT)],
)  # fmt: skip
def test_pulls_that_say_nothing_are_left_out(load, median, sense):
    like = pulls_log_likelihood(Pulls([0, 0], [load, 20.0], [median, 20.0], [sense, EXACT]), 1)
    alone = pulls_log_likelihood(Pulls([0], [20.0], [20.0], [EXACT]), 1)
    assert (like == alone).all()


@pytest.mark.parametrize(("load", "sense"), [(1e6, EXACT), (1e-6, EXACT), (1e9, ABOVE)])
def test_absurd_pulls_stay_bounded(load, sense):
    like = pulls_log_likelihood(Pulls(np.zeros(50), load, 20.0, sense), 1)
    found = belief(pooled_shift(like, 0.6).groups, ROCK_GRID)
    assert 0.0 < float(found.p50[0]) < math.exp(ROCK_GRID[-1]) * 1.1
    assert float(rock_factor_used(found.p10, found.p50)[0]) <= learning_rock.MOST_RAISED


@pytest.mark.pinned("worked", answers=4)
def test_one_candle_by_hand():
    """Spread 1.3 of the model at both places, 0.5 from spot to spot: variance of a place 1.44; a
    candle of a year with error sqrt(0.3^2 + 0.5^2), variance 0.34, at e times the median: shift
    1.44 / 1.78 = 0.809, variance 1.44 x 0.34 / 1.78 = 0.27506, with the spot's 0.52506; at 5 km
    0.3 + 0.4 / e = 0.447152 of the covariance: shift 0.361741, variance 1.44 - 0.643899^2 / 1.78
    = 1.207075, with the spot's 1.457075."""
    one = candle(np.array([math.e * 30]), 365.25, 30.0)
    apart = np.array([[0.0, 5000.0], [5000.0, 0.0]])
    shift, sigma = learned_salt([1.3, 1.3], apart, [0], one)
    assert shift == pytest.approx([0.808989, 0.361741], abs=1e-6)
    assert sigma**2 == pytest.approx([0.525056, 1.457075], abs=1e-5)


@pytest.mark.pinned("published", answers=2)
@pytest.mark.parametrize(
    ("metal", "loss", "warm", "humid", "so2", "salt"),
    [("steel", 47.7915, 11, 82, 4, 60), ("zinc", 8.7121, 27, 80, 2, 300)],
)
def test_a_coupon_gives_back_the_salt_of_iso_9223(metal, loss, warm, humid, so2, salt):
    """Losses of ISO 9223's functions at known salts (check values, by arithmetic)."""
    found = coupon(metal, loss, 365.25, warm, humid, so2, 10.0)
    assert 10 * math.exp(float(found.ln_ratio)) == pytest.approx(salt, rel=2e-3)
    assert float(found.sigma_ln) > learning_salt.COUPON_SIGMA_LN


@pytest.mark.pinned("worked")
def test_a_coupon_of_two_years_is_made_one_of_the_first():
    """ISO 9224, steel: 2^0.523 = 1.4369 times the loss of the first year."""
    one = coupon("steel", 100.0, 365.25, 18, 72, 3, 30.0)
    two = coupon("steel", 143.69, 730.5, 18, 72, 3, 30.0)
    assert float(two.ln_ratio) == pytest.approx(float(one.ln_ratio), abs=1e-3)


def test_a_coupon_that_lost_less_than_without_salt_says_little():
    bare = float(first_year_loss_um_y("steel", 15.0, 75.0, 20.0, 0.0))
    low = coupon("steel", bare / 2, 365.25, 15.0, 75.0, 20.0, 50.0)
    assert float(low.sigma_ln) > 2.0
    assert float(low.ln_ratio) >= math.log(learning_salt.LEAST_MG_M2_D / 50.0) - 1e-9


def test_a_swab_says_less_than_a_candle_and_a_short_candle_less_than_a_long_one():
    year, month = candle(60.0, 365.25, 30.0), candle(60.0, 30.0, 30.0)
    unknown = candle(60.0, np.nan, 30.0)
    assert year.sigma_ln < month.sigma_ln < unknown.sigma_ln < swab(1800.0, 30.0).sigma_ln


@pytest.mark.parametrize("caught", [0.0, 1e9])
def test_absurd_candles_stay_bounded(caught):
    shift, sigma = learned_salt([1.0], [[0.0]], [0], candle(np.array([caught]), 365.25, 30.0))
    assert abs(float(shift[0])) <= learning_salt.MOST_LN
    used = float(learning_salt.shift_used(shift[0], sigma[0]))
    assert used >= learning_salt.LEAST_SHIFT_LN


def test_without_measurements_the_salt_is_the_model_exactly():
    none = Measured(np.array([np.nan]), np.array([0.3]))
    shift, sigma = learned_salt([0.9, 1.1], np.zeros((2, 2)), [0], none)
    assert shift.tolist() == [0.0, 0.0]
    assert sigma.tolist() == [0.9, 1.1]


def test_the_salt_interval_holds_the_truth_as_often_as_it_says():
    """300 regions of five places drawn from the model's own covariance, two candles in each."""
    rng, inside = np.random.default_rng(4), []
    apart = np.abs(np.subtract.outer(np.arange(5.0), np.arange(5.0))) * 3000
    place = np.sqrt(1.0 - learning_salt.SPOT_SIGMA_LN**2)
    share = 0.3 + 0.4 * np.exp(-apart / 5000) + 0.3 * np.eye(5)
    spot = learning_salt.SPOT_SIGMA_LN
    for _ in range(300):
        truth = rng.multivariate_normal(np.zeros(5), place**2 * share)
        error = math.hypot(0.3, spot)
        seen = truth[[1, 3]] + rng.normal(0, error, 2)
        shift, sigma = learned_salt(np.ones(5), apart, [1, 3], Measured(seen, np.full(2, error)))
        other = truth + rng.normal(0, spot, 5)  # another spot of each place
        inside += (np.abs(other - shift) <= 1.6449 * sigma).tolist()
    assert 0.86 <= np.mean(inside) <= 0.94


def test_a_place_is_lowered_only_where_it_was_measured():
    used = learning_salt.shift_used([-1.0, -1.0, 0.4], [0.3, 0.3, 0.3], [1.0, 0.0, 0.0])
    assert used.tolist() == pytest.approx([-1.0 + 0.3 * 1.2815515655446004, 0.0, 0.4])


def test_a_candle_of_two_years_is_no_worse_than_one_of_a_year():
    year, two = candle(60.0, 365.25, 30.0), candle(60.0, 730.5, 30.0)
    assert float(two.sigma_ln) == float(year.sigma_ln)
