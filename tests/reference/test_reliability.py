"""Reliability formulas: published figures and arithmetic (`reliability.csv` names each), and scipy.

scipy.stats is an independent library for the distributions; the competing-risk curve is checked
against Monte Carlo written apart from it.
"""

from pathlib import Path

import numpy as np
import pytest
from scipy import stats

from helpers.cases import pinned_cases
from saltreach.science.air.atmosphere import first_year_loss_um_y
from saltreach.science.metal.metal_loss import EXPONENT_MEAN, years_to_loss
from saltreach.science.time import inspection, reliability, updating
from saltreach.science.time.failure import Anchors, capacity_quantile_kn, failure_curve
from saltreach.science.time.reliability import MODEL, material_weights
from saltreach.vocabulary.metals import MATERIAL_NAMES

MODULES = {"reliability": reliability, "inspection": inspection, "updating": updating}


def numbers(text):
    """`3;25;(2;40)` to 3, 25, (2, 40)."""
    head, _, pair = str(text).partition("(")
    found = [float(v) for v in head.split(";") if v]
    return [*found, tuple(float(v) for v in pair.strip(")").split(";"))] if pair else found


@pytest.mark.parametrize(
    "case",
    pinned_cases(Path(__file__).with_name("reliability.csv")),
    ids=lambda c: f"{c['function']} {c['arguments']} {c['status']}: {c['source'][:50]}",
)
def test_formula(case):
    computed = getattr(MODULES[case["module"]], case["function"])(*numbers(case["arguments"]))
    expected = [float(v) for v in str(case["expected"]).split(";")]
    assert np.atleast_1d(computed) == pytest.approx(expected, abs=case["abs"])


@pytest.mark.pinned("peer", answers=2)
@pytest.mark.parametrize("shape", [0.8, 1.0, 2.0, 3.5])
def test_weibull_is_scipys(shape):
    time = np.linspace(0.5, 60, 40)
    law = stats.weibull_min(shape, scale=22.0)
    assert reliability.weibull_probability(time, 22.0, shape) == pytest.approx(law.cdf(time))
    ahead = 1 - law.sf(time + 3) / law.sf(time)
    assert reliability.weibull_conditional_probability(time, 3.0, 22.0, shape) == pytest.approx(
        ahead, rel=1e-9
    )


@pytest.mark.pinned("peer")
def test_reliability_index_is_scipys():
    beta = np.linspace(-2, 7, 50)
    assert reliability.reliability_index(stats.norm.sf(beta)) == pytest.approx(beta)


@pytest.mark.pinned("peer", answers=16)
def test_zero_failure_size_is_the_least_that_binomial_allows():
    for confidence in (0.8, 0.9, 0.95, 0.99):
        for r in (0.8, 0.9, 0.95, 0.99):
            n = int(inspection.zero_failure_sample_size(confidence, r))
            assert stats.binom.pmf(0, n, 1 - r) <= 1 - confidence
            assert stats.binom.pmf(0, n - 1, 1 - r) > 1 - confidence


@pytest.mark.pinned("peer")
def test_overload_against_monte_carlo():
    rng = np.random.default_rng(1)
    strength = rng.lognormal(np.log(9.0), 0.3, 400_000)
    load = rng.lognormal(np.log(4.0), 0.4, 400_000)  # greatest of a year: judgement
    assert reliability.overload_probability(9.0, 0.3) == pytest.approx(
        (strength < load).mean(), rel=0.02
    )


@pytest.mark.pinned("peer")
@pytest.mark.parametrize(
    ("zinc_um_y", "zinc_sigma", "steel_um_y", "age"),
    [(4.0, 0.4, 80.0, 25.0), (0.9, 0.05, 90.0, 20.0)],
    ids=["mostly steel", "mostly zinc"],
)
def test_rust_against_monte_carlo(zinc_um_y, zinc_sigma, steel_um_y, age):
    """Zinc of 5 to 12 um, then steel, by ISO 9224 (exponents 0.813 and 0.523, from memory; as a
    line after 20 years), three times as deep at the worst place (judgement), each drawn; written
    apart from the curve and its nodes. Shear is 0.6 of 500 MPa, nominal at the 5th percentile."""
    rng = np.random.default_rng(2)
    z, e, load = rng.standard_normal((3, 200_000))
    spread = np.log(12 / 5) / (2 * stats.norm.ppf(0.9))
    zinc = zinc_um_y * np.exp(np.hypot(zinc_sigma, spread) * z)
    steel = steel_um_y * np.exp(np.hypot(0.4, 0.3) * z)
    thick = np.sqrt(60.0) / zinc
    gone = thick ** (1 / 0.813)
    slope = 0.813 * 20 ** (0.813 - 1)
    gone = np.where(gone > 20, 20 + (thick - 20**0.813) / slope, gone)
    bare = np.maximum(age - gone, 0)
    slope = 0.523 * 20 ** (0.523 - 1)
    units = np.where(bare > 20, 20**0.523 + slope * (bare - 20), bare**0.523)
    left_mm = np.maximum(10.0 - 2 * 3 * steel * units / 1000, 0)
    strength = 0.6 * np.pi / 4 * left_mm**2 * 500 / 1000
    strength = strength * np.exp(0.05 * (e + stats.norm.ppf(0.95)))
    fails = (strength < 4.0 * np.exp(0.4 * load)).mean()
    strong_rock = {"rock_kn_p05": 1e6, "rock_kn_p50": 1e6}
    place = Anchors(0.0, zinc_um_y, steel_um_y, zinc_sigma, diameter_mm=10.0, condition=1.0,
                    **strong_rock)  # fmt: skip
    curve = failure_curve(material_weights(["zinc-plated steel"]), [age], place, keep_rank=False)
    assert curve[0, 0] == pytest.approx(fails, rel=0.05)


@pytest.mark.pinned("worked")
def test_competing_risks_by_hand():
    """304, hazard 0.5, age 10, scale 12 y, shape 2; rock 20/40 kN, rest: arithmetic."""
    place = Anchors(0.5, 1.0, 1.0, diameter_mm=40.0, condition=1.0, rock_kn_p05=20.0,
                    rock_kn_p50=40.0)  # fmt: skip
    curve = failure_curve(material_weights(["304"]), [10.0], place)
    # the rock held the year before: 1 - E[F^2] / E[F] over its lognormal
    law = stats.norm(np.log(40.0), np.log(2) / stats.norm.ppf(0.95))
    holds = [
        law.expect(lambda r, k=k: stats.norm.cdf((r - np.log(4.0)) / 0.4) ** k) for k in (1, 2)
    ]
    rock = 1 - holds[1] / holds[0]
    years = 10.0 + np.arange(31)
    crack = -np.expm1((years / 12) ** 2 - ((years + 1) / 12) ** 2)
    expected = 1 - (1 - crack) * (1 - 1e-5) * (1 - rock)
    assert curve[0] == pytest.approx(expected, rel=1e-3)


def test_mixture_is_the_weighted_mean_of_its_parts():
    """Law of total probability, rock so strong that it takes no part."""
    place = Anchors(0.4, 3.0, 60.0, rock_kn_p05=1e6, rock_kn_p50=1e6)
    shares = np.array([0, 0, 1, 1, 0, 0, 0, 4, 2, 0, 0, 1.0])
    mixed = failure_curve(material_weights(["unknown"], shares), [12.0], place)
    alone = [failure_curve(material_weights([m]), [12.0], place)[0] for m in MATERIAL_NAMES]
    assert mixed[0] == pytest.approx(shares / shares.sum() @ np.array(alone))


@pytest.mark.pinned("peer")
def test_capacity_against_monte_carlo():
    rng = np.random.default_rng(3)
    n = 400_000
    crack = rng.random(n) < stats.weibull_min(2.0, scale=6.0 / (0.1 * 0.4)).cdf(20.0)
    whole = 0.6 * np.pi / 4 * 12.0**2 * 500 / 1000
    metal = whole * np.exp(0.05 * (rng.standard_normal(n) + stats.norm.ppf(0.95)))
    rock = 45.0 * np.exp(np.log(45 / 18) / stats.norm.ppf(0.95) * rng.standard_normal(n))
    held = np.minimum(np.where(crack, 0.0, metal), rock)
    place = Anchors(0.1, 1.0, 1.0, diameter_mm=12.0, rock_kn_p05=18.0, rock_kn_p50=45.0)
    found = capacity_quantile_kn(material_weights(["316"]), [20.0], place)
    assert found[0] == pytest.approx(np.quantile(held, 0.05), rel=0.01)


def test_weibull_scale_lies_within_published_crack_growth():
    """304 and 304L in open sea air: 1.2e-12 to 1.8e-11 m/s (Nuclear Engineering and Design 2008,
    abstract; article 299184). Through 3 mm that takes 5 to 80 years."""
    seconds = 365.25 * 86400
    fastest, slowest = (0.003 / (v * seconds) for v in (1.8e-11, 1.2e-12))
    assert fastest <= MODEL.scale_304_y <= slowest


def test_zinc_on_bolts_of_a_tropical_shore_is_soon_gone():
    """Wenchang, Hainan: steel under zinc corroded from 6 months, bolts watched for 2 years
    (abstract of a study of bolts). Our reading of the place: 24 degC, 87 %, 300 mg/(m2 d)."""
    rate = first_year_loss_um_y("zinc", 24.0, 87.0, 5.0, 300.0)
    life = years_to_loss(np.sqrt(5.0 * 12.0), rate, EXPONENT_MEAN["zinc"])
    assert 0.3 < life < 2.0


@pytest.mark.pinned("peer")
def test_gamma_poisson_is_bayes_on_a_grid():
    rate = np.linspace(1e-4, 0.6, 60_000)
    weight = stats.gamma.pdf(rate, 2.0, scale=1 / 40.0) * stats.poisson.pmf(3, rate * 25.0)
    mean = (rate * weight).sum() / weight.sum()
    assert updating.batch_update(3, 25, (2.0, 40.0))[0] == pytest.approx(mean, rel=1e-4)


@pytest.mark.pinned("judgement")
def test_condition_is_bayes_rule_by_hand():
    """1 % before; poor condition: 0.01 x 0.35 / (0.01 x 0.35 + 0.99 x 0.018). Arithmetic."""
    after = updating.odds_update(0.01, updating.odds_ratio(3, "visible"))
    assert after == pytest.approx(0.0035 / (0.0035 + 0.01782))


def test_likelihoods_are_probabilities():
    for failing, sound in updating.LIKELIHOODS.values():
        assert sum(failing) == pytest.approx(1)
        assert sum(sound) == pytest.approx(1)
