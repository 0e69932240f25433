r"""What pulls teach of the rock side: how much more, or less, it bears than the model says.

A pull to failure gives :math:`x = \ln(R / R_{50})`, the resistance over the model's median; a test
that held says only that x is above that of its load, one that moved or failed that it is below.

.. math:: x \sim N(\beta_g, s), \qquad \beta_g = m + v_g

with groups of like rock pooled as in `learning`. Before anything is seen the spread of
:math:`\beta_g` is what the model states of an anchor's resistance, less the scatter s from anchor
to anchor within one crag.

*Published*: normal likelihood with censoring (any text on reliability). *Our own judgement*: s,
and the halves of the spread.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from saltreach.science.labelled import labelled
from saltreach.science.time.learning import Pooled, pooled
from saltreach.science.types import Column, Floats, Values, number, numbers

WITHIN_SIGMA_LN = 0.35
"""Scatter of resistance from anchor to anchor of one crag and kind. Judgement, as that of strength
within a tested crag (`assessment.resistance.SITE_SIGMA_LN`)."""
LEAST_SIGMA_LN = 0.2
"""Least spread that the model's median is believed to have. Judgement."""
MOST_RAISED = 1.5
"""The rock side is never believed to bear more than this times the model's. Judgement."""

ROCK_GRID = 0.02 * np.arange(-125, 126.0)
"""Values of beta."""
_ROUNDING = 1e-9
EXACT, ABOVE, BELOW = 0, 1, -1
"""What a pull says: the resistance itself, that it is above the load, that it is below."""


class Pulls(NamedTuple):
    """Pulls on anchors, arrays of shape (n,): number of the group, load, the model's median of
    the axial resistance (kN), and `EXACT`, `ABOVE` or `BELOW`. Rows with NaN or a load or median
    that is not above 0 say nothing."""

    group: Column
    load_kn: Column
    median_kn: Column
    sense: Column = EXACT


def pulls_log_likelihood(
    pulls: Pulls, groups: int, *, grid: Floats = ROCK_GRID, sigma_ln: float = WITHIN_SIGMA_LN
) -> Floats:
    """Log likelihood of each group's shift on a grid.

    Parameters
    ----------
    pulls : Pulls
        Tests to failure, held, moved.
    groups : int
        How many groups there are.
    grid : ndarray, shape (k,)
        Values of beta.
    sigma_ln : float
        Scatter from anchor to anchor.

    Returns
    -------
    ndarray, shape (groups, k)
        Exactly 0 for a group without pulls; constants left out.

    References
    ----------
    Censored normal likelihood, any text on reliability.

    Examples
    --------
    >>> one = Pulls(group=[0], load_kn=[20.0], median_kn=[20.0], sense=[ABOVE])
    >>> round(float(pulls_log_likelihood(one, 1, grid=np.zeros(1))[0, 0]), 4)
    -0.6931
    """
    from scipy.special import log_ndtr

    columns = np.broadcast_arrays(*np.atleast_1d(*numbers(*pulls)))
    group, load, median, sense = columns
    known = ~np.isnan(np.sum(columns, axis=0)) & (load > 0) & (median > 0)
    group, load, median, sense = (c[known] for c in columns)
    score = (np.log(load / median)[:, None] - grid[None]) / sigma_ln
    direction = sense[:, None]
    like = np.where(direction == EXACT, -0.5 * score**2, log_ndtr(-direction * score))
    out = np.zeros((groups, len(grid)))
    np.add.at(out, group.astype(int), like)
    return out


def pooled_shift(
    log_likelihood: Values, model_sigma_ln: float, *, grid: Floats = ROCK_GRID
) -> Pooled:
    """Posterior of each group's shift; see `learning.pooled`.

    Parameters
    ----------
    log_likelihood : array_like, shape (g, k)
        From `pulls_log_likelihood`.
    model_sigma_ln : float
        Spread of ln(resistance) that the model states of an anchor.
    grid : ndarray, shape (k,)
        Values of beta.

    Returns
    -------
    Pooled

    References
    ----------
    As `learning.pooled`.
    """
    sigma = prior_sigma_ln(model_sigma_ln) / np.sqrt(2.0)
    return pooled(log_likelihood, grid, sigma, sigma)


def prior_sigma_ln(model_sigma_ln: float) -> float:
    """Spread of a group's shift before anything is seen.

    Parameters
    ----------
    model_sigma_ln : float
        Spread of the logarithm of the model's resistance.

    Returns
    -------
    float

    References
    ----------
    Variances of independent parts add up; `WITHIN_SIGMA_LN` and `LEAST_SIGMA_LN` are judgement.

    Examples
    --------
    >>> round(prior_sigma_ln(0.5), 3), prior_sigma_ln(0.1)
    (0.357, 0.2)
    """
    return float(np.sqrt(max(model_sigma_ln**2 - WITHIN_SIGMA_LN**2, LEAST_SIGMA_LN**2)))


@labelled("1")
def rock_factor_used(p10: Values, p50: Values, told: Values = True) -> Floats:
    """The factor on the rock side that an assessment counts with.

    Lowered to the median where that is below 1; raised to the 10th percentile where that is
    above 1, to `MOST_RAISED` at most; else 1. What was not pulled on is not raised.

    Parameters
    ----------
    p10, p50 : array_like
        10th percentile and median of what is believed.
    told : array_like of bool
        Whether anything of the group itself was pulled on.

    Returns
    -------
    ndarray

    References
    ----------
    Judgement: as `learning.factor_used`, the other way round.

    Examples
    --------
    >>> rock_factor_used([0.5, 0.9, 1.2], [0.8, 1.1, 1.5]).tolist()
    [0.8, 1.0, 1.2]
    """
    p10, p50, told = number(p10), number(p50), number(told)
    raised = np.where(told > 0, np.clip(p10, 1.0, MOST_RAISED), 1.0)
    factor = np.where(p50 < 1.0 - _ROUNDING, p50, raised)
    return np.where(np.isnan(factor), 1.0, factor)
