"""Spread: seeds, chunks, unknown inputs, and limits that need no draws."""

import numpy as np
import pytest
from scipy.stats import norm

from helpers.spread_sampling import spread_by_sampling, standard_normal_draws
from saltreach.science.air import atmosphere, uncertainty
from saltreach.science.air.uncertainty import (
    INPUTS,
    Exposure,
    spread_by_quadrature,
    variance_shares,
)
from saltreach.science.distributions import mixture_quantiles, non_negative_nodes
from saltreach.science.metal.stainless import crc_probabilities

WAYS = [spread_by_quadrature, lambda e, c: spread_by_sampling(e, c, draws=64)]


def chloride(distance_m, rows):
    return 300 / (1 + distance_m / 200), 0.9


def airs(n, seed=1):
    rng = np.random.default_rng(seed)
    return Exposure(
        10 ** rng.uniform(1, 5, n), np.full(n, 250.0), rng.uniform(0, 28, n), np.full(n, 1.2),
        rng.uniform(50, 92, n), np.full(n, 6.0), np.full(n, 2.0), np.full(n, 0.7),
    )  # fmt: skip


def same(a, b):
    return all(np.array_equal(x, y, equal_nan=True) for x, y in zip(a, b, strict=True))


def close(a, b):
    return all(np.allclose(x, y, rtol=1e-5, atol=1e-6) for x, y in zip(a, b, strict=True))


def test_the_seed_decides_and_nothing_else(monkeypatch):
    e = airs(50)
    once = spread_by_sampling(e, chloride, draws=128, seed=4)
    assert same(once, spread_by_sampling(e, chloride, draws=128, seed=4))
    other = spread_by_sampling(e, chloride, draws=128, seed=5)
    assert not np.array_equal(once.steel_rate_um_y, other.steel_rate_um_y)
    monkeypatch.setattr(uncertainty, "SAMPLES_AT_ONCE", 7 * 128)
    assert same(once, spread_by_sampling(e, chloride, draws=128, seed=4))


@pytest.mark.parametrize("spread", WAYS, ids=["quadrature", "sampling"])
def test_an_anchor_does_not_depend_on_the_other_rows(spread, monkeypatch):
    e = airs(40)
    whole = spread(e, chloride)
    backwards = spread(Exposure(*(v[::-1] if np.ndim(v) else v for v in e)), chloride)
    assert close(whole, [v[::-1] for v in backwards])
    alone = spread(Exposure(*(v[7:8] if np.ndim(v) else v for v in e)), chloride)
    assert close([v[7:8] for v in whole], alone)
    monkeypatch.setattr(uncertainty, "SAMPLES_AT_ONCE", 200)
    assert close(whole, spread(e, chloride))


@pytest.mark.parametrize("spread", WAYS, ids=["quadrature", "sampling"])
def test_chunks_tell_the_chloride_function_their_rows(spread, monkeypatch):
    monkeypatch.setattr(uncertainty, "SAMPLES_AT_ONCE", 130)
    median = np.linspace(10, 100, 23)
    same_air = Exposure(*(np.full(23, v[0]) if np.ndim(v) else v for v in airs(1)))
    computed = spread(same_air, lambda d, rows: (median[rows, None] + 0 * d, 0.5))
    assert computed.chloride_mg_m2_d[:, 1] / median == pytest.approx(
        computed.chloride_mg_m2_d[0, 1] / median[0]
    )


@pytest.mark.parametrize("spread", WAYS, ids=["quadrature", "sampling"])
def test_unknown_stays_unknown(spread):
    e = airs(9)
    for row, field in enumerate(Exposure._fields[:8]):
        getattr(e, field)[row] = np.nan
    computed = spread(e, chloride)
    for part in (computed.steel_rate_um_y, computed.zinc_rate_um_y,
                 computed.category_probabilities):  # fmt: skip
        assert np.isnan(part[:8]).all()
        assert np.isfinite(part[8]).all()
    crc = crc_probabilities(*(getattr(e, f) for f in (
        "coast_distance_m", "coast_distance_sd_m", "so2_ug_m3", "so2_sigma_ln")), 0.0)  # fmt: skip
    assert np.isnan(crc).all(axis=1).tolist() == [True] * 2 + [False] * 4 + [True] * 2 + [False]
    shares = variance_shares("steel", e, chloride)
    assert np.isnan(np.sum(list(shares.values()), axis=0)).tolist() == [True] * 8 + [False]


@pytest.mark.parametrize("spread", WAYS, ids=["quadrature", "sampling"])
def test_no_rows_give_no_rows(spread):
    assert [v.shape for v in spread(airs(0), chloride)] == [(0, 3), (0, 3), (0, 3), (0, 6)]


@pytest.mark.pinned("worked", answers=7)
def test_with_inputs_known_exactly_the_functions_error_is_all():
    """Then a loss is lognormal: p90 / p50 = exp(1.2816 sigma), and so the closed category chances.

    1.28155 is the 90 % point of the standard normal (any table).
    """
    e = Exposure([500.0], [0.0], [15.0], [0.0], [70.0], [0.0], [5.0], [0.0])
    computed = spread_by_quadrature(e, lambda d, rows: (50.0 + 0 * d, 1e-6))
    rate = {m: atmosphere.first_year_loss_um_y(m, 15.0, 70.0, 4.0, 50.0) for m in ("steel", "zinc")}
    for metal, quantiles in (
        ("steel", computed.steel_rate_um_y),
        ("zinc", computed.zinc_rate_um_y),
    ):
        expected = rate[metal] * 1.5 ** np.array([-1.28155, 0, 1.28155])
        assert quantiles[0] == pytest.approx(expected, rel=1e-4)
    limits = {"steel": (1.3, 25, 50, 80, 200), "zinc": (0.1, 0.7, 2.1, 4.2, 8.4)}  # ISO 9223
    below = [norm.cdf(np.log(np.array(limits[m]) / r) / np.log(1.5)) for m, r in rate.items()]
    closed = np.diff([*np.minimum(*below), 1.0], prepend=0.0)
    assert computed.category_probabilities[0] == pytest.approx(closed, abs=1e-6)


def test_shares_are_where_the_doubt_is():
    known = dict(zip(Exposure._fields, (500.0, 0.0, 15.0, 0.0, 70.0, 0.0, 5.0, 0.0), strict=False))
    for field, name in (
        ("coast_distance_sd_m", "coast_distance"),
        ("temperature_sd_c", "temperature"),
        ("relative_humidity_sd_pct", "relative_humidity"),
        ("so2_sigma_ln", "so2"),
    ):
        doubt = {"coast_distance_sd_m": 200.0, "so2_sigma_ln": 1.0}.get(field, 5.0)
        shares = variance_shares(
            "steel", Exposure(**(known | {field: doubt})), lambda d, rows: (9e3 / (d + 1), 1e-9)
        )
        assert tuple(shares) == INPUTS
        assert sum(shares.values()) == pytest.approx(1)
        assert shares[name] > 0.01
        assert shares[name] + shares["function"] == pytest.approx(1)


def test_draws_are_standard_normal():
    z = standard_normal_draws(4096, 3)
    assert z.shape == (6, 4096)
    assert z.mean(axis=1) == pytest.approx(0, abs=5e-3)
    assert z.std(axis=1) == pytest.approx(1, abs=5e-3)
    assert np.abs(np.corrcoef(z) - np.eye(6)).max() < 0.02


@pytest.mark.pinned("worked", answers=2)
def test_nodes_at_the_shore():
    """Half of a normal at 0 lies seaward; the mean of what is left is sd / sqrt(2 pi)."""
    node, weight = non_negative_nodes(np.zeros(1), np.array([250.0]), 8)
    assert weight.sum() == pytest.approx(1)
    assert weight[0, 0] == pytest.approx(0.5)
    assert (node * weight).sum() == pytest.approx(250 / np.sqrt(2 * np.pi), rel=0.01)
    exact, one = non_negative_nodes(np.array([700.0]), np.zeros(1), 8)
    assert (exact[one > 0] == 700).all()


@pytest.mark.pinned("worked", answers=2)
def test_quantiles_of_two_far_normals():
    """Half the weight each, ten deviations apart: a quarter of all is the middle of the first."""
    computed = mixture_quantiles(
        np.array([[0.0, 10.0]]), np.ones((1, 2)), np.array([0.5, 0.5]), np.array([0.25, 0.75])
    )
    assert computed == pytest.approx(np.array([[0.0, 10.0]]), abs=1e-3)
