r"""What looks and tests of a region teach: how much oftener, or seldomer, its anchors fail.

The failure model gives each anchor a cumulative hazard H(t) (`failure`). A group of like anchors
(metal, kind, air) fails :math:`\theta_g` times as fast,

.. math:: \ln\theta_g = \mu + u_g, \qquad \mu \sim N(0, s_\mu), \quad u_g \sim N(0, s_u)

so that groups with little to show lean on the region. The integrals are sums on a grid of
:math:`\ln\theta`: exact to its step, with no starts, no draws and nothing to converge.

A look is weak: an eye finds a failed anchor with a chance d, and what one eye missed the next one
misses too, so ten sound looks at one anchor say no more than the last. How well eyes see is not
known either and is summed over. A proof test finds it with a chance q. What had failed before an
anchor came under watch is partly gone: only a share r still stands to be found. With F the chance
of having failed and a the age at which the watch began,

.. math:: G(t) = F(t) - (1 - r) F(\min(t, a)), \qquad N = 1 - (1 - r) F(a)

(failed by t and still there; still there at all), each anchor says

.. math::
    \text{never found:}\quad & 1 - [d\,G(e) + q\,G(p) - d q\,G(\min(e, p))] / N \\
    \text{found by eye at x:}\quad & d\,[G(x) - G(e) - q\,(G(\max(e, p)) - G(e))] / N

with e the last sound look and p the last test held; found in a test as by eye, d and q changed
over. All ages enter as H at that age.

*Published*: interval-censored and left-truncated likelihoods (Turnbull 1976, from memory), partial
pooling (any text on Bayesian statistics). *Our own judgement*: every number below.

Compared on 300 synthetic regions drawn from these priors, which favours what knows them
(tests/benchmarks/bench_learning.py): the 90 % interval of this grid holds the truth in 92 of 100
for rust and 91 for cracks; a normal at the peak (Laplace) in 90 and 88, slower; gamma prior and
Poisson counts (`updating.batch_update`) in 16 and 7, or 61 and 71 with what eyes see on average,
because it takes that for known. Without pooling it is as true and a little wider.
"""

from __future__ import annotations

from collections.abc import Iterator
from functools import lru_cache
from typing import NamedTuple

import numpy as np

from saltreach.science.labelled import labelled
from saltreach.science.rows import distinct_rows
from saltreach.science.time.updating import CONDITIONS, LIKELIHOODS
from saltreach.science.types import Column, Floats, Values, number, numbers

TOTAL_SIGMA_LN = float(np.log(5.0) / 1.2815515655446004)
"""Of ln(theta) before anything is seen: a factor of 5 either way at the 10th and 90th percentile,
the range that the one population with figures spans (tropical marine stainless, 0.011 to 0.056 a
year, derived); no count of failures per anchor and year is published. Judgement."""
REGION_SIGMA_LN = GROUP_SIGMA_LN = float(TOTAL_SIGMA_LN / np.sqrt(2.0))
"""Half of that variance is the region's, half its groups' own. Judgement."""
SEEN_FACTORS: dict[str, tuple[float, ...]] = {
    "visible": (1.0 / 3.0, 1.0, 3.0),
    "cracking": (0.0, 1.0, 3.0),
}
"""How much worse or better eyes may be than `updating.LIKELIHOODS` says they record condition 4. Of
cracks they may see nothing at all: so no number of sound looks lowers what is believed of a metal
that cracks. Judgement."""
SEEN_SHARES = (0.25, 0.5, 0.25)
"""How likely each of these is. Judgement."""
SEEN = {
    way: tuple(LIKELIHOODS[way][0][CONDITIONS - 1] * factor for factor in factors)
    for way, factors in SEEN_FACTORS.items()
}
"""Chances that an eye finds it, by what fails."""
PROOF_SEES = 0.8
"""Chance that a proof test finds it: a crack may hold a short pull in one direction. Judgement."""
STILL_THERE = 0.5
"""Share of what failed before the watch began that nobody took away. Judgement."""
LEAST_FACTOR = 0.2
"""No group is believed safer than a fifth of the model: its range is no wider. Judgement."""

STEP_LN, HALF_WIDTH_LN = 0.05, 6.3
GRID = STEP_LN * np.arange(-round(HALF_WIDTH_LN / STEP_LN), round(HALF_WIDTH_LN / STEP_LN) + 1.0)
"""Values of ln(theta): five standard deviations either way."""
SOUND, BY_EYE, BY_TEST = 0, 1, 2
"""How an anchor was found: never failed, failed to the eye, failed in a test."""
QUANTILES = (0.05, 0.1, 0.5, 0.9, 0.95)
"""What is told of a factor: our choice."""
_LEAST, _ROUNDING, _ROWS_AT_ONCE = 1e-300, 1e-9, 2048


class Watched(NamedTuple):
    """What was seen of each anchor; arrays of shape (n,), ages as the model's H at that age.

    `group`, number from 0; `entered`, when the watch began (0: at its placing); `looked`, last
    sound look; `tested`, last proof test held; `outcome`, `SOUND`, `BY_EYE` or `BY_TEST`;
    `found`, when it was found failed. 0 stands for what never was; a sound look
    or test that is not before `found` is not counted. Rows with NaN say nothing.
    """

    group: Column
    entered: Column
    looked: Column
    tested: Column = 0.0
    outcome: Column = SOUND
    found: Column = 0.0


class Pooled(NamedTuple):
    """Weights on a grid: of each group (g, k), and of a group of which nothing is known (k,)."""

    groups: Floats
    new: Floats


class Belief(NamedTuple):
    """What is believed of a factor, arrays of shape (g,)."""

    mean: Floats
    p05: Floats
    p10: Floats
    p50: Floats
    p90: Floats
    p95: Floats


def watched_log_likelihood(
    watched: Watched,
    groups: int,
    way: str,
    *,
    grid: Floats = GRID,
    seen: tuple[float, ...] | None = None,
    seen_shares: tuple[float, ...] = SEEN_SHARES,
    proof_sees: float = PROOF_SEES,
    still_there: float = STILL_THERE,
) -> Floats:
    """Log likelihood of each group's factor on a grid, eyes summed over.

    Parameters
    ----------
    watched : Watched
        Anchors of one way to fail.
    groups : int
        How many groups there are.
    way : str
        One of `SEEN`: what an eye sees of it.
    grid : ndarray, shape (k,)
        Values of ln(theta).
    seen, seen_shares : tuple of float, optional
        Chances that an eye finds it, and how likely each is; by `SEEN`.
    proof_sees, still_there : float
        q and r of the module.

    Returns
    -------
    ndarray, shape (groups, k)
        Exactly 0 for a group without anchors.

    References
    ----------
    The likelihood at the top of the module; its numbers are judgement.

    Examples
    --------
    >>> one = Watched(group=[0], entered=[0.0], looked=[0.1])
    >>> seen = watched_log_likelihood(one, 1, "visible", grid=np.zeros(1), seen=(1.0,),
    ...     seen_shares=(1.0,))
    >>> round(float(seen[0, 0]), 6)
    -0.1
    """
    seen = SEEN[way] if seen is None else seen
    columns = np.broadcast_arrays(*np.atleast_1d(*numbers(*watched)))
    known = ~np.isnan(np.sum(columns, axis=0))
    group, entered, looked, tested, outcome, found = (c[known] for c in columns)
    entered, looked, tested, found = (np.maximum(h, 0.0) for h in (entered, looked, tested, found))
    failed = outcome != SOUND
    looked, tested = (np.where(failed & (h >= found), 0.0, h) for h in (looked, tested))
    rows = [group, entered, looked, tested, outcome, np.where(failed, found, 0.0)]
    first, inverse = distinct_rows(rows)
    like = np.bincount(inverse, minlength=len(first)).astype(float)
    order = np.lexsort([row[first] for row in rows[::-1]])  # whatever that of the register
    first, like = first[order], like[order]
    parts = np.zeros((len(seen), groups, len(grid)))
    for start in range(0, len(first), _ROWS_AT_ONCE):
        some = first[start : start + _ROWS_AT_ONCE]
        one = [row[some][:, None] for row in rows]
        weight = like[start : start + _ROWS_AT_ONCE, None]
        for at, chance in enumerate(
            _chances(one, np.exp(grid)[None], seen, proof_sees, still_there)
        ):
            by_row = weight * np.log(np.maximum(chance, _LEAST))
            np.add.at(parts[at], one[0][:, 0].astype(int), by_row)
    share = np.log(seen_shares)[:, None, None]
    most = parts.max(axis=0)
    summed = most + np.log(np.exp(parts - most + share).sum(axis=0))
    empty = np.bincount(group.astype(int), minlength=groups) == 0
    return np.where(empty[:, None], 0.0, summed)


def _chances(
    rows: list[Floats], theta: Floats, seen: tuple[float, ...], q: float, still_there: float
) -> Iterator[Floats]:
    """Chance of what was seen of each row at each factor, for each chance that an eye sees it."""
    _, entered, looked, tested, outcome, found = rows
    early = -np.expm1(-theta * entered) * (1.0 - still_there)
    standing = 1.0 - early

    def there(hazard: Floats) -> Floats:
        before = -np.expm1(-theta * np.minimum(hazard, entered))
        return -np.expm1(-theta * hazard) - (1.0 - still_there) * before

    by_look, by_test, until = there(looked), there(tested), there(found)
    both = np.where(looked < tested, by_look, by_test)
    either = np.where(looked < tested, by_test, by_look)
    for d in seen:
        never = standing - d * by_look - q * by_test + d * q * both
        eye = d * (until - by_look - q * (either - by_look))
        test = q * (until - by_test - d * (either - by_test))
        yield np.select([outcome == BY_EYE, outcome == BY_TEST], [eye, test], never) / standing


@lru_cache(maxsize=8)
def _own_part(count: int, step: float, sigma: float) -> Floats:
    """Weights of a group's value (columns) around the region's part (rows)."""
    at = step * np.arange(count)
    own = np.exp(-0.5 * ((at[None] - at[:, None]) / sigma) ** 2)
    return np.asarray(own / own.sum(axis=1, keepdims=True))


def pooled(
    log_likelihood: Values,
    grid: Floats = GRID,
    region_sigma: float = REGION_SIGMA_LN,
    group_sigma: float = GROUP_SIGMA_LN,
) -> Pooled:
    """Posterior of each group's value, which is the region's and its own part together.

    Parameters
    ----------
    log_likelihood : array_like, shape (g, k)
        Of each group on the grid; all 0 where nothing was seen.
    grid : ndarray, shape (k,)
        Even steps around 0.
    region_sigma, group_sigma : float
        Standard deviations of the region's part and of a group's own, in the grid's unit.

    Returns
    -------
    Pooled
        Rows sum to 1. A group of which nothing was seen has exactly the weights of `new`, and
        with no data at all those are exactly the prior's.

    References
    ----------
    Partial pooling by sums over a grid of the region's part: Bayes' rule.

    Examples
    --------
    >>> none = pooled(np.zeros((1, len(GRID))))
    >>> bool((none.groups[0] == none.new).all())
    True
    """
    seen = np.atleast_2d(number(log_likelihood))
    own = _own_part(len(grid), round(float(grid[1] - grid[0]), 9), group_sigma)
    region = -0.5 * (grid / region_sigma) ** 2
    told = seen.any(axis=1)
    like = np.exp(seen - seen.max(axis=1, keepdims=True))
    fit = like @ own.T
    region = region + np.log(fit[told]).sum(axis=0)
    weight = np.exp(region - region.max())
    weight /= weight.sum()
    new = weight @ own
    groups = np.tile(new, (len(seen), 1))
    groups[told] = ((weight / fit[told]) @ own) * like[told]
    groups[told] /= groups[told].sum(axis=1, keepdims=True)
    return Pooled(groups, new)


def belief(weights: Values, grid: Floats = GRID) -> Belief:
    """Mean and quantiles of exp(value) from weights on a grid of values.

    Parameters
    ----------
    weights : array_like, shape (g, k)
        Rows sum to 1.
    grid : ndarray, shape (k,)
        Even steps.

    Returns
    -------
    Belief

    References
    ----------
    Quantiles of a distribution on even steps, by linear interpolation of its sums.

    Examples
    --------
    >>> prior = belief(pooled(np.zeros((1, len(GRID)))).groups)
    >>> [round(float(v[0]), 2) for v in (prior.p05, prior.p50, prior.p90)]
    [0.13, 1.0, 5.0]
    """
    rows = np.atleast_2d(number(weights))
    half = (grid[1] - grid[0]) / 2.0
    edges = np.append(grid - half, grid[-1] + half)
    below = np.concatenate([np.zeros((len(rows), 1)), np.cumsum(rows, axis=1)], axis=1)

    def at(share: float) -> Floats:
        return np.exp([np.interp(share, row / row[-1], edges) for row in below])

    return Belief(rows @ np.exp(grid), *(at(share) for share in QUANTILES))


@labelled("1")
def factor_used(p50: Values, p90: Values, told: Values = True) -> Floats:
    """The factor that an assessment counts with: raised readily, lowered only on good grounds.

    Raised to the median where that is above 1; lowered to the 90th percentile where that is
    below 1, never below `LEAST_FACTOR`; else 1. A group of which nothing was seen is not lowered.

    Parameters
    ----------
    p50, p90 : array_like
        Median and 90th percentile of what is believed.
    told : array_like of bool
        Whether anything was seen of the group itself.

    Returns
    -------
    ndarray
        Above 0; 1 where a quantile is NaN.

    References
    ----------
    Judgement: a risk that is raised wrongly costs a look, one that is lowered wrongly a fall, so
    raising asks for even odds and lowering for nine in ten.

    Examples
    --------
    >>> factor_used([2.0, 0.5, 0.3, 0.05], [6.0, 1.4, 0.8, 0.1]).tolist()
    [2.0, 1.0, 0.8, 0.2]
    """
    p50, p90, told = numbers(p50, p90, told)
    lowered = np.where(told > 0, np.clip(p90, LEAST_FACTOR, 1.0), 1.0)
    factor = np.where(p50 > 1.0 + _ROUNDING, p50, lowered)
    return np.where(np.isnan(factor), 1.0, factor)
