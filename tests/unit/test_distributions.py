"""Normal distributions against scipy, at the ends and between them."""

import numpy as np
import pytest
from scipy import stats
from scipy.optimize import brentq

from saltreach.errors import OptionError
from saltreach.science import normal
from saltreach.science.distributions import (
    band_probabilities,
    even_nodes,
    lognormal_quantile,
    mixture_quantiles,
    non_negative_nodes,
    normal_nodes,
    truncated_normal,
    truncated_normal_moments,
)


@pytest.mark.pinned("peer", answers=4)
def test_quantiles_of_a_lognormal_and_its_ends():
    for p in (0.02, 0.5, 0.75, 0.999):
        expected = stats.lognorm(0.6, scale=7.0).ppf(p)
        assert lognormal_quantile(7.0, 0.6, p) == pytest.approx(expected)
    for p in (-0.1, 0.0, 1.0, 1.1, np.nan):
        with pytest.raises(OptionError, match="ends excluded"):
            lognormal_quantile(7.0, 0.6, p)


@pytest.mark.pinned("peer", answers=6)
@pytest.mark.parametrize(
    ("mean", "sd"), [(97.0, 8.0), (3.0, 5.0), (60.0, 30.0), (97.0, 0.9), (5.5, 1.2)]
)
def test_draws_of_a_cut_normal(mean, sd):
    z = np.array([-3.2, -1.0, 0.0, 0.4, 1.7, 3.0])
    peer = stats.truncnorm((1 - mean) / sd, (100 - mean) / sd, loc=mean, scale=sd)
    assert truncated_normal(mean, sd, 1.0, 100.0, z) == pytest.approx(peer.ppf(stats.norm.cdf(z)))


@pytest.mark.pinned("worked", answers=6)
def test_a_normal_that_the_cut_does_not_reach_stays_as_it_is():
    """Four deviations inside: mean + sd z, and never beyond an end; sd 0 is the mean itself."""
    z = np.array([-2.0, 0.5, 9.0])
    assert truncated_normal(50.0, 10.0, 1.0, 100.0, z).tolist() == [30.0, 55.0, 100.0]
    assert truncated_normal(96.0, 1.0, 1.0, 100.0, z[:2]).tolist() == [94.0, 96.5]
    assert truncated_normal(70.0, 0.0, 1.0, 100.0, z).tolist() == [70.0] * 3
    assert truncated_normal(101.0, 0.0, 1.0, 100.0, 1.0) == 100.0
    assert np.isnan(truncated_normal(np.nan, 1.0, 1.0, 100.0, z)).all()


@pytest.mark.pinned("peer", answers=2)
@pytest.mark.parametrize(("mean", "sd"), [(80.0, 6.0), (97.0, 8.0), (3.0, 5.0), (40.0, 60.0)])
def test_moments_of_a_cut_normal(mean, sd):
    peer = stats.truncnorm((1 - mean) / sd, (100 - mean) / sd, loc=mean, scale=sd)
    found = truncated_normal_moments(mean, sd, 1.0, 100.0)
    assert found == pytest.approx((peer.mean(), peer.std()), rel=1e-8)


def test_moments_of_what_is_known_exactly():
    assert np.array(truncated_normal_moments([70.0, 99.9], 0.0, 1.0, 100.0)).tolist() == [
        [70.0, 99.9], [0.0, 0.0],
    ]  # fmt: skip


@pytest.mark.pinned("worked", answers=6)
def test_nodes_of_a_normal():
    """Moments of the standard normal: 0, 1, 0, 3, 0, 15."""
    for node, weight in (normal_nodes(7), even_nodes(41, 7.0)):
        moments = [float(node**k @ weight) for k in range(1, 7)]
        assert moments == pytest.approx([0, 1, 0, 3, 0, 15], abs=1e-6)
        assert weight.sum() == pytest.approx(1)
    node, weight = even_nodes(5, 2.0)
    assert node.tolist() == [-2, -1, 0, 1, 2]
    assert weight[1:4] / weight[2] == pytest.approx([0.606531, 1, 0.606531], rel=1e-6)


@pytest.mark.pinned("peer", answers=3)
@pytest.mark.parametrize(("mean", "sd"), [(0.0, 250.0), (300.0, 250.0), (0.3, 0.5)])
def test_nodes_of_a_distance_that_is_never_below_0(mean, sd):
    """Mean and mean square of max(0, x), x normal, by scipy; the share at 0 is its tail."""
    node, weight = non_negative_nodes(np.array([mean]), np.array([sd]), 12)
    normal = stats.norm(mean, sd)
    assert node[0, 0] == 0.0
    assert weight[0, 0] == pytest.approx(normal.cdf(0.0))
    assert weight.sum() == pytest.approx(1)
    assert (np.diff(node[0]) > 0).all()
    for power in (1, 2):
        expected = normal.expect(lambda x, power=power: x**power, lb=0.0)
        assert (node**power * weight).sum() == pytest.approx(expected, rel=0.01)
    # nodes stand at quantiles of the whole: Gauss-Legendre in probability
    place = (np.polynomial.legendre.leggauss(12)[0] + 1) / 2
    tail = normal.cdf(0.0)
    assert node[0, 1:] == pytest.approx(normal.ppf(tail + (1 - tail) * place))


def test_nodes_of_a_distance_that_is_known():
    node, weight = non_negative_nodes(np.array([0.0, 700.0, np.nan]), np.zeros(3), 4)
    assert node[:2].tolist() == [[0.0] * 5, [0.0, 700.0, 700.0, 700.0, 700.0]]
    assert weight[:2, 0].tolist() == [0.0, 0.0]
    assert np.isnan(node[2]).all()


MIXTURES = {
    "near": ([0.0, 1.0, 2.5], [1.0, 0.3, 0.7], [0.2, 0.5, 0.3]),
    "far": ([-9.0, 0.0, 14.0], [0.2, 1.0, 3.0], [0.45, 0.1, 0.45]),
    "one narrow": ([0.0, 0.02], [2.0, 0.01], [0.7, 0.3]),
    "one far": ([0.0, 40.0], [1.0, 1.0], [0.97, 0.03]),
    "one": ([3.0], [2.0], [1.0]),
}


@pytest.mark.pinned("peer", answers=7)
@pytest.mark.parametrize("name", MIXTURES)
def test_quantiles_of_a_mixture(name):
    """Root of the mixture's distribution function, by scipy's brentq."""
    centre, sigma, weight = (np.array(v) for v in MIXTURES[name])
    wanted = np.array([0.01, 0.1, 0.3, 0.5, 0.7, 0.9, 0.99])

    def excess(x, p):
        return stats.norm.cdf(x, centre, sigma) @ weight - p

    expected = [brentq(excess, -60, 90, args=(p,), xtol=1e-12) for p in wanted]
    found = mixture_quantiles(centre[None], sigma[None], weight, wanted)
    spread = np.sqrt(weight @ (sigma**2 + centre**2) - (weight @ centre) ** 2)
    assert found[0] == pytest.approx(expected, abs=2e-5 * spread)


@pytest.mark.parametrize("unit", [1e-3, 1e3])
def test_quantiles_of_a_mixture_in_another_unit(unit):
    centre, sigma, weight = (np.array(v) for v in MIXTURES["near"])
    wanted = np.array([0.05, 0.5, 0.9])
    found = mixture_quantiles(centre[None] * unit, sigma[None] * unit, weight, wanted)
    assert found / unit == pytest.approx(
        mixture_quantiles(centre[None], sigma[None], weight, wanted), abs=2e-6
    )


def test_quantiles_of_mixtures_do_not_depend_on_the_other_rows(monkeypatch):
    """An easy row stops no earlier and no later than a hard one needs; two or three steps do."""
    centre = np.array([[0.0, 0.0], [0.0, 40.0], [1.0, 2.0]])
    sigma = np.array([[1.0, 1.0], [1.0, 1.0], [0.5, 0.4]])
    weight = np.array([[0.5, 0.5], [0.97, 0.03], [0.3, 0.7]])
    at_once = mixture_quantiles(centre, sigma, weight, np.array([0.2, 0.985]))
    for row in range(3):
        alone = [v[row : row + 1] for v in (centre, sigma, weight)]
        found = mixture_quantiles(*alone, np.array([0.2, 0.985]))
        assert found[0] == pytest.approx(at_once[row], abs=1e-4)
    monkeypatch.setattr(normal, "_STEPS", 2)  # beside the first one
    near = mixture_quantiles(centre[2:], sigma[2:], weight[2:], np.array([0.2, 0.5]))
    expected = [
        brentq(lambda x, p=p: stats.norm.cdf(x, centre[2], sigma[2]) @ weight[2] - p, -9, 9)
        for p in (0.2, 0.5)
    ]
    assert near[0] == pytest.approx(expected, abs=1e-4)


@pytest.mark.pinned("peer", answers=4)
def test_chances_of_bands():
    limits = np.array([-1.0, 0.0, 2.5])
    found = band_probabilities(np.array([0.3, 4.0]), np.array([2.0, 0.5]), limits, at_limit=True)
    for row, (mean, sd) in enumerate([(0.3, 2.0), (4.0, 0.5)]):
        expected = np.diff([0.0, *stats.norm.cdf(limits, mean, sd), 1.0])
        assert found[row] == pytest.approx(expected, abs=1e-12)


def test_bands_of_what_is_known_exactly():
    limits, mean = np.array([1.0, 2.0]), np.array([0.5, 1.0, 1.5, 2.0, 3.0])
    for at_limit, bands in ((True, [0, 0, 1, 1, 2]), (False, [0, 1, 1, 2, 2])):
        found = band_probabilities(mean, np.zeros(5), limits, at_limit=at_limit)
        assert found.tolist() == np.eye(3)[bands].tolist()
