"""Spread against brute force: plain random draws by numpy and scipy, one anchor at a time.

The brute force shares the formulas of ISO 9223 and EN 1993-1-4 with the module (they are tested
elsewhere) and none of its sums. Tolerances are stated beside each check; 400,000 draws
are themselves good to about 0.5 % of a rate and 0.001 of a probability.
"""

import itertools

import numpy as np
import pytest
from scipy import stats

from helpers.spread_sampling import spread_by_sampling
from saltreach.science.air import atmosphere
from saltreach.science.air.uncertainty import INPUTS, Exposure, spread_by_quadrature
from saltreach.science.distributions import truncated_normal_moments
from saltreach.science.metal import stainless
from saltreach.science.metal.stainless import crc_probabilities

DRAWS = 400_000
QUANTILES = (0.1, 0.5, 0.9)


def chloride(distance_m, rows):
    """A plain power law with a floor; spread factor 2.5 (for the test only)."""
    return np.maximum(95 * (np.maximum(distance_m, 30) / 100) ** -0.55, 3.3), np.log(2.5)


# distance, sd, temperature, sd, humidity, sd, SO2, sigma: shore, surf, the bend at 10 degC,
# tropics near saturation, dry inland, a frosty town, exact inputs, hot beyond ISO 9223's range.
PLACES = np.array(
    [
        [20, 250, 14, 1.0, 78, 6, 2, 0.7],
        [300, 250, 18, 1.0, 72, 6, 2, 0.7],
        [900, 250, 10, 1.5, 80, 6, 10, 0.5],
        [250, 50, 27, 0.8, 90, 6, 2, 0.7],
        [60_000, 250, 16, 1.2, 50, 7, 5, 0.7],
        [200_000, 250, 2, 1.5, 82, 5, 40, 0.4],
        [1_000, 0, 20, 0.0, 75, 0, 5, 0.0],
        [100, 50, 33, 1.0, 28, 2, 2, 0.7],
    ]
)
EXPOSURE = Exposure(*PLACES.T)


def brute_force(place, seed, moved=INPUTS, draws=DRAWS):
    """Draws of distance, temperature, humidity, SO2 (ug/m3), chloride and the functions' error."""
    rng = np.random.default_rng(seed)
    d, d_sd, t, t_sd, h, h_sd, so2, so2_sigma = place

    def normal(name):
        return rng.standard_normal(draws) if name in moved else np.zeros(draws)

    distance = np.maximum(d + d_sd * normal("coast_distance"), 0)
    median, sigma = chloride(distance, None)
    salt = median * np.exp(sigma * normal("chloride"))
    humidity = np.full(draws, h)
    if h_sd and "relative_humidity" in moved:
        ends = (1 - h) / h_sd, (100 - h) / h_sd
        humidity = stats.truncnorm(*ends, loc=h, scale=h_sd).rvs(draws, random_state=rng)
    elif h_sd:
        humidity += stats.truncnorm((1 - h) / h_sd, (100 - h) / h_sd, scale=h_sd).median()
    temperature = t + t_sd * normal("temperature")
    sulphur = so2 * np.exp(so2_sigma * normal("so2"))
    return distance, temperature, humidity, sulphur, salt, normal("function")


def brute_rates(place, seed, moved=INPUTS, draws=DRAWS):
    _, t, h, so2, salt, own = brute_force(place, seed, moved, draws)
    rates = {}
    for metal in ("steel", "zinc"):
        air = t, h, atmosphere.so2_deposition_mg_m2_d(so2), salt
        rate = atmosphere.first_year_loss_um_y(metal, *air)
        so2_share = atmosphere.first_year_loss_um_y(metal, *air[:3], 0.0) / rate
        rates[metal] = rate * np.exp(atmosphere.error_sigma_ln(metal, *air, so2_share) * own)
    return rates


@pytest.fixture(scope="module")
def drawn():
    """Quantiles of chloride and of both losses, and category shares, by place."""
    out = []
    for seed, place in enumerate(PLACES):
        rates = brute_rates(place, seed)
        worst = np.maximum.reduce([atmosphere.category_index(m, r) for m, r in rates.items()])
        out.append(
            (
                np.quantile(brute_force(place, seed)[4], QUANTILES),
                np.quantile(rates["steel"], QUANTILES),
                np.quantile(rates["zinc"], QUANTILES),
                np.bincount(worst.astype(int), minlength=6) / DRAWS,
            )
        )
    return [np.array(v) for v in zip(*out, strict=True)]


# (quantiles of chloride, quantiles of a loss, probabilities)
@pytest.mark.parametrize(
    ("spread", "salt_rel", "loss_rel", "probability_abs"),
    [
        # Nodes; steel's and zinc's errors at a node are taken to move together.
        pytest.param(
            lambda: spread_by_quadrature(EXPOSURE, chloride),
            0.015,
            0.02,
            0.02,
            marks=pytest.mark.pinned("peer", answers=8),
        ),  # fmt: skip
        (lambda: spread_by_sampling(EXPOSURE, chloride, draws=16_384), 0.015, 0.015, 0.006),
        (lambda: spread_by_sampling(EXPOSURE, chloride), 0.05, 0.05, 0.025),
    ],
    ids=["quadrature", "16384 draws", "default draws"],
)
def test_spread_against_plain_draws(drawn, spread, salt_rel, loss_rel, probability_abs):
    computed = spread()
    salt, steel, zinc, categories = drawn
    assert computed.chloride_mg_m2_d == pytest.approx(salt, rel=salt_rel)
    assert computed.steel_rate_um_y == pytest.approx(steel, rel=loss_rel)
    assert computed.zinc_rate_um_y == pytest.approx(zinc, rel=loss_rel)
    assert computed.category_probabilities == pytest.approx(categories, abs=probability_abs)


def test_the_two_ways_agree_over_many_airs():
    """600 airs; 2 % of a rate and 0.02 of a probability, twice that at worst.

    Where the humidity may be on either side of the law's range its error begins to grow, and nodes
    see that bend roughly.
    """
    rng = np.random.default_rng(8)
    n = 600
    distance = 10 ** rng.uniform(1, 5.5, n)
    airs = Exposure(
        distance, np.where(rng.random(n) < 0.5, 250, 0.05 * distance), rng.uniform(-5, 29, n),
        rng.uniform(0, 2, n), rng.uniform(30, 95, n), rng.uniform(0, 8, n),
        10 ** rng.uniform(0, 2, n), rng.uniform(0, 0.8, n),
    )  # fmt: skip
    humidity, sd = airs.relative_humidity_pct, airs.relative_humidity_sd_pct
    limits = np.array(atmosphere.CALIBRATION_RANGE["relative_humidity_pct"])
    at_limit = (np.abs(humidity[:, None] - limits) < sd[:, None]).any(axis=1)
    a = spread_by_quadrature(airs, chloride)
    b = spread_by_sampling(airs, chloride, draws=8192)
    for name in ("chloride_mg_m2_d", "steel_rate_um_y", "zinc_rate_um_y"):
        off = np.abs(getattr(a, name) / getattr(b, name) - 1)
        assert np.quantile(off, 0.95) < 0.02, name
        assert off[~at_limit].max() < 0.05, name
        assert off[at_limit].max() < 0.07, name
    off = np.abs(a.category_probabilities - b.category_probabilities).max(axis=1)
    assert np.quantile(off, 0.95) < 0.02
    assert off.max() < 0.04


@pytest.mark.pinned("peer", answers=32)
def test_class_probabilities_against_plain_draws():
    """Exact by the normal's distribution; draws to 0.003."""
    d, d_sd, so2, so2_sigma = PLACES[:, 0], PLACES[:, 1], PLACES[:, 6] * 3, PLACES[:, 7]
    drawn = [brute_force(place, 50 + row) for row, place in enumerate(PLACES)]
    for f3, mild in itertools.product((stainless.F3_WASHED, stainless.F3_UNWASHED), (False, True)):
        computed = crc_probabilities(d, d_sd, so2, so2_sigma, f3, mild)
        for row, (distance, _, _, sulphur, _, _) in enumerate(drawn):
            f1 = stainless.sea_factor(distance, mild)
            crc = stainless.resistance_class(
                stainless.resistance_factor(f1, stainless.so2_factor(3 * sulphur), f3)
            )
            shares = [(crc == number).mean() for number in range(1, 6)]
            assert computed[row] == pytest.approx(shares, abs=0.003), (f3, mild, row)
            assert computed[row].sum() == pytest.approx(np.isfinite(crc).mean(), abs=0.003)


@pytest.mark.pinned("memory", answers=19)
def test_exact_inputs_give_one_class_en_1993_1_4_table_a_1():
    """Sites known exactly, at the bands' limits too (EN 1993-1-4 Annex A, arithmetic)."""
    distance = [12_000, 5_000, 500, 100, 250, 1_000, 10_000]
    washed = crc_probabilities(distance, 0, 8, 0, 0.0)
    sheltered = crc_probabilities(distance, 0, 8, 0, -7.0)
    assert (washed.argmax(axis=1) + 1).tolist() == [2, 2, 3, 4, 4, 3, 2]
    assert (sheltered.argmax(axis=1) + 1).tolist() == [2, 3, 3, 5, 5, 3, 3]
    for table in (washed, sheltered):
        assert table.max(axis=1).tolist() == [1.0] * 7
    # SO2 limits: 10 belongs to -5, 90 to -10; 250 is the last in the table, more is outside it.
    so2 = crc_probabilities(100, 0, [9.99, 10, 90, 250, 250.1], 0, 0.0)
    assert (so2.argmax(axis=1) + 1).tolist()[:4] == [4, 4, 5, 5]
    assert so2.sum(axis=1).tolist() == [1, 1, 1, 1, 0]


@pytest.mark.pinned("peer", answers=2)
@pytest.mark.parametrize(("mean", "sd"), [(80, 6), (97, 8), (3, 5), (50, 0.5)])
def test_moments_of_a_cut_normal_against_scipy(mean, sd):
    peer = stats.truncnorm((1 - mean) / sd, (100 - mean) / sd, loc=mean, scale=sd)
    computed = truncated_normal_moments(mean, sd, 1.0, 100.0)
    assert computed[0] == pytest.approx(peer.mean(), rel=1e-9)
    assert computed[1] == pytest.approx(peer.std(), rel=1e-7)
