"""What inspections and failures of others teach: Bayes' rule, in four small forms.

*Published*: the rules themselves (any text on Bayesian statistics). *Our own judgement*: every
likelihood of `LIKELIHOODS`. An eye sees rust and wear; it sees next to nothing of stress-corrosion
cracks, so a sound look earns near-zero credit there, and little for a bond inside the rock.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from saltreach.errors import OptionError
from saltreach.science.labelled import labelled
from saltreach.science.types import Floats, Values, number, numbers

CONDITIONS = 5
LIKELIHOODS: dict[str, tuple[tuple[float, ...], tuple[float, ...]]] = {
    # chance of recording condition 0, 1, 2, 3, 4 if it would fail within a year; if it would not
    "visible": ((0.05, 0.10, 0.20, 0.35, 0.30), (0.70, 0.20, 0.08, 0.018, 0.002)),
    "cracking": ((0.80, 0.10, 0.05, 0.03, 0.02), (0.845, 0.10, 0.035, 0.013, 0.007)),
    "rock": ((0.55, 0.20, 0.12, 0.08, 0.05), (0.70, 0.20, 0.08, 0.018, 0.002)),
}
"""By what fails: rust and wear, stress-corrosion cracks, the rock side. Judgement."""

CREDIT_HALF_LIFE_Y = 3.0
"""Years after which a good finding counts half as much (in the logarithm). A bad one stays."""


@labelled("1")
def odds_ratio(condition: Values, way: str, years_since: Values = 0.0) -> Floats:
    r"""How much a recorded condition multiplies the odds of failure.

    .. math:: \lambda = P(c \mid \text{fails}) / P(c \mid \text{holds})

    Parameters
    ----------
    condition : array_like
        0 sound to 4 failed; NaN: not recorded.
    way : str
        One of `LIKELIHOODS`.
    years_since : array_like
        Years since the inspection; NaN: a good finding earns no credit.

    Returns
    -------
    numpy.ndarray
        1 where nothing is recorded; infinite for condition 4, which is a fact, no hint.

    Raises
    ------
    OptionError
        A way that is not listed.

    References
    ----------
    Bayes' rule; the likelihoods are judgement.

    Examples
    --------
    >>> odds_ratio([0, 3, np.nan], "visible").round(2).tolist()
    [0.07, 19.44, 1.0]
    >>> odds_ratio([0, 3], "cracking").round(2).tolist()
    [0.95, 2.31]
    """
    if way not in LIKELIHOODS:
        raise OptionError(f"way to fail {way!r} is not known; use one of {list(LIKELIHOODS)}")
    failing, sound = (np.array(row) for row in LIKELIHOODS[way])
    grade, since = np.broadcast_arrays(*numbers(condition, years_since))
    index = np.clip(np.nan_to_num(grade), 0, CONDITIONS - 1).astype(int)
    ratio = np.where(np.isnan(grade), 1.0, (failing / sound)[index])
    credit = np.where(np.isnan(since), 0.0, 0.5 ** (np.maximum(since, 0) / CREDIT_HALF_LIFE_Y))
    ratio = np.where(ratio < 1, ratio**credit, ratio)
    return np.where(grade == CONDITIONS - 1, np.inf, ratio)


CONDITION_SHARES = (0.55, 0.25, 0.12, 0.07, 0.003)
"""Conditions 0 to 4 of old anchors that nobody recorded, judgement; scaled to sum to 1."""
CONDITION_AGE_Y = 15.0
"""Age from which those shares hold in full; a new anchor has none of the bad ones. Judgement."""


@labelled({"ratio": "1", "failed": "1"})
def unknown_condition(
    way: str, age_y: Values, shares: ArrayLike = CONDITION_SHARES
) -> tuple[Floats, Floats]:
    """What an unrecorded condition does: factor on the odds, and chance of having failed.

    Parameters
    ----------
    way : str
        One of `LIKELIHOODS`.
    age_y : array_like
        Age, years; NaN: old.
    shares : array_like, shape (5,)
        How usual conditions 0 to 4 are.

    Returns
    -------
    ratio, failed : numpy.ndarray
        Good findings earn nothing where nobody looked, so the factor is never below 1.

    References
    ----------
    Bayes' rule over `CONDITION_SHARES`, which are judgement.

    Examples
    --------
    >>> ratio, failed = unknown_condition("visible", [0.0, 30.0])
    >>> ratio.round(2).tolist(), failed.round(4).tolist()
    ([1.0, 2.49], [0.0, 0.003])
    """
    share = number(shares) / np.sum(shares)
    ratios = np.maximum(odds_ratio(np.arange(4.0), way), 1.0)
    old = float((share[:4] * ratios).sum() / share[:4].sum())
    age = number(age_y)
    part = np.clip(np.where(np.isnan(age), 1.0, age / CONDITION_AGE_Y), 0.0, 1.0)
    return 1.0 + part * (old - 1.0), part * share[4]


@labelled("1")
def odds_update(probability: Values, ratio: Values) -> Floats:
    r"""Bayes' rule on odds.

    .. math:: \frac{p'}{1 - p'} = \lambda \frac{p}{1 - p}

    Parameters
    ----------
    probability : array_like
        Before, 0 to 1.
    ratio : array_like
        Likelihood ratio; infinite makes it certain.

    Returns
    -------
    numpy.ndarray
        After; NaN stays NaN.

    References
    ----------
    Bayes' rule.

    Examples
    --------
    >>> float(odds_update(0.5, 3.0)), float(odds_update(0.01, np.inf))
    (0.75, 1.0)
    """
    p, r = np.broadcast_arrays(*numbers(probability, ratio))
    finite = np.where(np.isinf(r), 1.0, r)
    after = p * finite / (p * finite + (1 - p))
    return np.where(np.isinf(r), 1.0, after)


@labelled(dict.fromkeys(("mean", "shape", "rate"), "1"))
def batch_update(
    failures: Values, exposure: Values, prior: tuple[float, float]
) -> tuple[Floats, Floats, Floats]:
    r"""Failure rate after some failures in some exposure: gamma prior, Poisson counts.

    .. math:: E = \frac{a + k}{b + t}

    Parameters
    ----------
    failures : array_like
        Number seen.
    exposure : array_like
        Anchor years (or any exposure) in which they were seen.
    prior : tuple of float
        Shape a and rate b of the gamma prior, in the same exposure.

    Returns
    -------
    mean, shape, rate : array_like
        Of the posterior gamma; mean = shape / rate.

    References
    ----------
    Gamma prior and Poisson counts, any text on Bayesian statistics.

    Examples
    --------
    >>> round(float(batch_update(3, 25, (2.0, 40.0))[0]), 4)
    0.0769
    """
    shape, rate = prior[0] + number(failures), prior[1] + number(exposure)
    return shape / rate, shape, rate


@labelled("1")
def batch_factor(failures: Values, expected_failures: Values, prior_shape: float = 0.5) -> Floats:
    r"""How much failures in a batch raise the failure rate of its other anchors.

    .. math:: f = \frac{a + k}{a + k_0}

    Parameters
    ----------
    failures : array_like
        Failures seen in the batch (same make, same team, same year).
    expected_failures : array_like
        Failures the model expected there until now.
    prior_shape : float
        Shape of the gamma spread of batches about 1; the smaller, the more batches differ
        (0.5 is judgement: about one batch in three is worse than the mean).

    Returns
    -------
    array_like
        Factor with mean 1 before anything is seen.

    References
    ----------
    As `batch_update`; the spread of batches is judgement.

    Examples
    --------
    >>> round(float(batch_factor(1, 0.1)), 2)
    2.5
    """
    mean, _, _ = batch_update(failures, expected_failures, (prior_shape, prior_shape))
    return number(mean)
