"""Failure in time against other libraries: surpyval (survival), pystra (structural reliability) and
statsmodels (confidence of a share)."""

import numpy as np
import pystra
import pytest
import surpyval
from scipy import stats
from statsmodels.stats.proportion import proportion_confint

from saltreach.science.time import inspection, learning, learning_rock, reliability
from saltreach.science.time.failure import Anchors, failure_parts

LOAD_MEDIAN_KN, LOAD_SIGMA_LN = 4.0, 0.4
"""The model's load, judgement: reliability.Model."""


@pytest.mark.pinned("peer", answers=8)
@pytest.mark.parametrize(("scale_y", "shape"), [(22.0, 2.0), (6.0, 2.0), (40.0, 0.8), (15.0, 3.5)])
def test_weibull_and_its_conditional_chance(scale_y, shape):
    law = surpyval.Weibull.from_params([scale_y, shape])
    age_y = np.array([1.0, 5.0, 10.0, 30.0])
    failed = reliability.weibull_probability(age_y, scale_y, shape)
    assert failed == pytest.approx(law.ff(age_y), rel=1e-9)
    soon = reliability.weibull_conditional_probability(age_y, 3.0, scale_y, shape)
    assert soon == pytest.approx(1 - law.cs(3.0, age_y), rel=1e-9)


@pytest.mark.pinned("peer", answers=2)
@pytest.mark.parametrize(
    ("metal", "hazard", "scale_y"), [("304", 0.5, 12.0), ("304", 0.25, 24.0), ("316", 0.5, 30.0)]
)
def test_yearly_curve_is_the_weibull_that_inspections_would_find(metal, hazard, scale_y):
    """What yearly looks at 100,000 anchors would count, by the yearly curve, read as interval-
    censored failures and survivors: surpyval's maximum likelihood finds the scale and shape of
    the model (6 y over hazard and the metal's factor, 0.4 for 316; 2: judgement). The bar is far
    too thick to be torn; condition 1 says nothing of cracks."""
    place = Anchors(hazard, 1.0, 1.0, diameter_mm=40.0, condition=1.0)
    weights = reliability.material_weights([metal])
    yearly = failure_parts(weights, [0.0], place, years=30)[0][0]
    surviving = 100_000 * np.cumprod(np.append(1, 1 - yearly))
    failed = np.round(-np.diff(surviving)).astype(int)
    held = failed > 0
    found = surpyval.Weibull.fit(
        x=[*([n, n + 1] for n in np.flatnonzero(held)), 30],
        c=[*np.full(held.sum(), 2), 1],  # 2: in between; 1: beyond
        n=[*failed[held], int(round(surviving[-1]))],
    )
    assert found.params == pytest.approx([scale_y, 2.0], rel=0.005)


def lognormal(name, median, sigma_ln):
    """pystra's lognormal has the mean and standard deviation of the value itself."""
    mean = median * np.exp(sigma_ln**2 / 2)
    return pystra.Lognormal(name, mean, mean * np.sqrt(np.expm1(sigma_ln**2)))


def analysed(method, limit_state, variables, samples=0):
    model, options = pystra.StochasticModel(), pystra.AnalysisOptions()
    for variable in variables:
        model.addVariable(variable)
    options.setPrintOutput(False)
    if samples:
        options.setSamples(samples)
        options.setBlockSize(samples)
    analysis = method(
        stochastic_model=model,
        limit_state=pystra.LimitState(limit_state),
        analysis_options=options,
    )
    analysis.run()
    return float(np.squeeze(analysis.Pf)), float(np.squeeze(analysis.beta))


@pytest.mark.pinned("peer", answers=2)
@pytest.mark.parametrize(
    ("strength_kn", "sigma_ln"), [(9.0, 0.3), (4.0, 0.2), (20.0, 0.1), (15.0, 0.4), (2.0, 0.05)]
)
def test_load_against_strength_by_form(strength_kn, sigma_ln):
    probability, beta = analysed(
        pystra.Form,
        lambda strength, load: strength - load,
        [
            lognormal("strength", strength_kn, sigma_ln),
            lognormal("load", LOAD_MEDIAN_KN, LOAD_SIGMA_LN),
        ],
    )
    computed = reliability.overload_probability(strength_kn, sigma_ln)
    assert computed == pytest.approx(probability, rel=1e-4)
    assert reliability.reliability_index(computed) == pytest.approx(beta, abs=1e-4)


@pytest.mark.pinned("peer")
@pytest.mark.parametrize(("p05_kn", "p50_kn"), [(3.0, 6.0), (1.0, 5.0)])
def test_rock_that_held_last_year_by_monte_carlo(p05_kn, p50_kn):
    """Chance that rock fails in the second of two years, having held the first: four standard
    errors of 60,000 draws are 5 %."""

    def chance(limit_state):
        np.random.seed(4)  # noqa: NPY002 - what pystra draws by
        rock = lognormal("rock", p50_kn, np.log(p50_kn / p05_kn) / stats.norm.ppf(0.95))
        loads = [lognormal(name, LOAD_MEDIAN_KN, LOAD_SIGMA_LN) for name in ("first", "second")]
        return analysed(pystra.CrudeMonteCarlo, limit_state, [rock, *loads], samples=60_000)[0]

    in_first = chance(lambda rock, first, second: rock - first + 0 * second)
    in_either = chance(lambda rock, first, second: rock - np.maximum(first, second))
    later = (in_either - in_first) / (1 - in_first)
    computed = reliability.rock_failure_probability(p05_kn, p50_kn)
    assert computed == pytest.approx(later, rel=0.05)


@pytest.mark.pinned("peer", answers=2)
@pytest.mark.parametrize("confidence", [0.5, 0.8, 0.9, 0.95])
def test_reliability_of_tests_that_all_passed(confidence):
    """Clopper and Pearson's one-sided lower bound of a share, statsmodels; and the least number of
    tests is the first whose bound reaches the reliability asked for."""

    def bound(tests):
        return proportion_confint(tests, tests, alpha=2 * (1 - confidence), method="beta")[0]

    assert inspection.reliability_lower_bound(20, confidence) == pytest.approx(bound(20))
    asked = 0.9
    least = next(n for n in range(1, 200) if bound(n) >= asked)
    assert inspection.zero_failure_sample_size(confidence, asked) == least


@pytest.mark.pinned("peer", answers=3)
@pytest.mark.parametrize("rate", [0.02, 0.08, 0.3])
def test_inspections_give_the_rate_that_surpyval_finds(rate):
    """Looks that see all at anchors of a constant hazard of 1 a year: failures between two looks,
    before the first one, and survivors, by maximum likelihood (a flat prior)."""
    rng = np.random.default_rng(int(1000 * rate))
    fails = rng.exponential(1 / rate, 400)
    looks = np.sort(rng.uniform(0.5, 20, (400, 3)), axis=1)
    after = (looks < fails[:, None]).sum(axis=1)
    ends = np.concatenate([np.zeros((400, 1)), looks, np.full((400, 1), np.inf)], axis=1)
    low, high = (ends[np.arange(400), after + i] for i in (0, 1))
    kind = np.where(np.isinf(high), 1, np.where(low == 0, -1, 2))
    xl = np.where(kind == -1, high, low)
    xr = np.where(kind == 1, low, high)
    peer = surpyval.Exponential.fit(xl=np.where(kind == -1, -np.inf, xl),
                                    xr=np.where(kind == 1, np.inf, xr))  # fmt: skip
    failed = kind != 1
    watched = learning.Watched(
        np.zeros(400), 0.0, low, 0.0, np.where(failed, learning.BY_EYE, learning.SOUND),
        np.where(failed, high, 0.0),
    )  # fmt: skip
    grid = np.log(np.linspace(0.7, 1.4, 7001) * rate)
    like = learning.watched_log_likelihood(
        watched, 1, "visible", grid=grid, seen=(1.0,), seen_shares=(1.0,)
    )
    assert np.exp(grid[like[0].argmax()]) == pytest.approx(float(peer.params[0]), rel=1e-3)


@pytest.mark.pinned("peer", answers=2)
@pytest.mark.parametrize("shift", [-0.4, 0.3])
def test_pulls_and_tests_give_the_median_that_surpyval_finds(shift):
    """Pulls to failure, tests that held and tests that moved, lognormal with a known scatter: the
    median of greatest likelihood, with surpyval's scatter."""
    rng = np.random.default_rng(7)
    resistance = 20 * np.exp(shift + rng.normal(0, 0.35, 300))
    load = np.where(np.arange(300) < 100, np.nan, rng.uniform(8, 40, 300))
    held = np.where(resistance > load, learning_rock.ABOVE, learning_rock.BELOW)
    sense = np.where(np.isnan(load), learning_rock.EXACT, held)
    value = np.where(np.isnan(load), resistance, load)
    peer = surpyval.LogNormal.fit(x=value, c=sense)
    mu, sigma = (float(v) for v in peer.params)
    grid = np.linspace(shift - 0.3, shift + 0.3, 6001)
    like = learning_rock.pulls_log_likelihood(
        learning_rock.Pulls(np.zeros(300), value, 20.0, sense), 1, grid=grid, sigma_ln=sigma
    )
    assert grid[like[0].argmax()] == pytest.approx(mu - np.log(20.0), abs=2e-4)
