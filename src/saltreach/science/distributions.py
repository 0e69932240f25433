"""Normal distributions: cut off, in bands, in mixtures, and as nodes of a sum."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from saltreach.errors import OptionError
from saltreach.science.labelled import labelled
from saltreach.science.normal import Scratch, mixture_quantiles_of
from saltreach.science.types import Floats, Values, numbers

_ROWS_AT_ONCE = 2048


class Lognormal(NamedTuple):
    """A positive quantity that is not known exactly.

    `median` is in its unit, `sigma_ln` the standard deviation of its natural logarithm.
    """

    median: Floats
    sigma_ln: Floats


@labelled("")
def lognormal_quantile(median: Values, sigma_ln: Values, probability: float) -> Floats:
    r"""Quantile of a lognormal value: what it does not exceed with a probability.

    .. math:: q = m\, e^{z_p \sigma}

    Parameters
    ----------
    median, sigma_ln : array_like
        Median m, and standard deviation of the natural logarithm.
    probability : float
        Between 0 and 1, ends excluded.

    Returns
    -------
    array_like
        In the unit of the median; NaN stays NaN.

    Raises
    ------
    OptionError
        Probability out of range.

    References
    ----------
    Definition of the lognormal distribution.

    Examples
    --------
    >>> round(float(lognormal_quantile(100.0, 1.0, 0.9)), 1)
    360.2
    """
    from scipy.special import ndtri

    if not 0.0 < probability < 1.0:
        raise OptionError(f"probability {probability!r} is not between 0 and 1, ends excluded")
    median, sigma_ln = numbers(median, sigma_ln)
    return median * np.exp(ndtri(probability) * sigma_ln)


def truncated_normal(mean: Values, sd: Values, low: float, high: float, z: Values) -> Floats:
    """Turn standard normal draws into those of a normal cut off at two ends.

    Parameters
    ----------
    mean, sd : array_like
        Of the normal before it is cut; the mean lies inside.
    low, high : float
        Ends.
    z : array_like
        Standard normal draws.

    Returns
    -------
    array_like
        Same order as `z`, inside the ends. NaN stays NaN.

    References
    ----------
    Inverse of the distribution function: textbook.
    """
    from scipy.special import ndtr, ndtri

    mean, sd, z = np.broadcast_arrays(*numbers(mean, sd, z))
    out = np.array(np.clip(mean + sd * z, low, high))
    # Where 4 standard deviations stay inside, the cut moves nothing that matters.
    cut = (np.minimum(mean - low, high - mean) < 4 * sd) & (sd > 0)
    m, s = mean[cut], sd[cut]
    below, above = ndtr((low - m) / s), ndtr((high - m) / s)
    out[cut] = m + s * ndtri(below + ndtr(z[cut]) * (above - below))
    return out


def truncated_normal_moments(
    mean: Values, sd: Values, low: float, high: float
) -> tuple[Floats, Floats]:
    """Mean and standard deviation of a normal cut off at two ends.

    Parameters
    ----------
    mean, sd, low, high
        As in `truncated_normal`.

    Returns
    -------
    mean, sd : ndarray

    References
    ----------
    Johnson, Kotz and Balakrishnan (1994), Continuous Univariate Distributions 1, 10.1, from
    memory; a test compares with scipy.
    """
    from scipy.special import ndtr

    mean, sd = numbers(mean, sd)
    wide = np.where(sd > 1e-9, sd, 1.0)
    a, b = (low - mean) / wide, (high - mean) / wide
    at_a, at_b = (np.exp(-0.5 * v * v) / np.sqrt(2 * np.pi) for v in (a, b))
    mass = ndtr(b) - ndtr(a)
    shift = (at_a - at_b) / mass
    shrink = 1 + (a * at_a - b * at_b) / mass - shift**2
    return (
        np.where(sd > 1e-9, mean + wide * shift, mean),
        np.where(sd > 1e-9, wide * np.sqrt(np.maximum(shrink, 0)), sd),
    )


def normal_nodes(count: int) -> tuple[Floats, Floats]:
    """Gauss-Hermite nodes and weights of a standard normal.

    Parameters
    ----------
    count : int
        Number of nodes; polynomials up to degree ``2 count - 1`` are integrated exactly.

    Returns
    -------
    node, weight : ndarray, shape (count,)
        Weights sum to 1.

    References
    ----------
    Gauss-Hermite quadrature: `numpy.polynomial.hermite_e`.

    Examples
    --------
    >>> node, weight = normal_nodes(5)
    >>> round(float(node**4 @ weight), 6)  # the fourth moment of a standard normal is 3
    3.0
    """
    node, weight = np.polynomial.hermite_e.hermegauss(count)
    return node, weight / weight.sum()


def even_nodes(count: int, end: float) -> tuple[Floats, Floats]:
    """Evenly spaced nodes of a standard normal, weighted by its density.

    For what bends sharply once or twice, such as the tail of a mixture: Gauss-Hermite nodes of
    the same number lie too far apart there.

    Parameters
    ----------
    count : int
        Number of nodes.
    end : float
        They run from minus this to this.

    Returns
    -------
    node, weight : ndarray, shape (count,)
        Weights sum to 1.

    References
    ----------
    Trapezoidal rule, which converges fast for a smooth function that vanishes at both ends:
    textbook.

    Examples
    --------
    >>> node, weight = even_nodes(13, 3.6)
    >>> round(float(node**2 @ weight), 2)  # the variance of a standard normal is 1
    1.0
    """
    node = np.linspace(-end, end, count)
    weight = np.exp(-0.5 * node * node)
    return node, weight / weight.sum()


def non_negative_nodes(mean: Floats, sd: Floats, count: int) -> tuple[Floats, Floats]:
    """Nodes and weights of a normal whose values below 0 count as 0.

    Parameters
    ----------
    mean, sd : ndarray, shape (n,)
        Of the normal.
    count : int
        Nodes above 0; one more stands at 0.

    Returns
    -------
    node, weight : ndarray, shape (n, count + 1)
        Gauss-Legendre in probability above 0; weights of a row sum to 1.

    References
    ----------
    Quadrature: textbook. That values below 0 count as 0 is the caller's model.
    """
    from scipy.special import ndtr, ndtri

    place, share = np.polynomial.legendre.leggauss(count)
    place, share = (place + 1) / 2, share / 2
    with np.errstate(divide="ignore", invalid="ignore", over="ignore"):
        below = np.where(sd > 0, ndtr(-mean / sd), 0.0)[:, None]
    above = mean[:, None] + sd[:, None] * ndtri(below + (1 - below) * place)
    node = np.column_stack([0.0 * mean, np.maximum(above, 0.0)])
    return node, np.column_stack([below, (1 - below) * share])


def mixture_quantiles(centre: Floats, sigma: Floats, weight: Floats, probability: Floats) -> Floats:
    """Quantiles of a mixture of normals.

    Parameters
    ----------
    centre, sigma : ndarray, shape (n, k)
        Mean and standard deviation (above 0) of each part.
    weight : ndarray, shape (k,) or (n, k)
        Weights of the parts, summing to 1.
    probability : ndarray, shape (q,)
        Between 0 and 1.

    Returns
    -------
    ndarray, shape (n, q)
        See `normal.mixture_quantiles_of`.

    References
    ----------
    As there.
    """
    scratch, count = Scratch(), len(centre)
    weight = np.atleast_2d(weight)
    out = np.empty((count, len(probability)))
    for begin in range(0, count, _ROWS_AT_ONCE):
        rows = slice(begin, begin + _ROWS_AT_ONCE)
        share = weight if len(weight) == 1 else weight[rows]
        mean, spread, share = (
            np.ascontiguousarray(v.T) for v in (centre[rows], sigma[rows], share)
        )
        out[rows] = mixture_quantiles_of(mean, spread, share, probability, scratch).T
    return out


def band_probabilities(mean: Floats, sd: Floats, limits: Floats, *, at_limit: bool) -> Floats:
    """Chance that a normal value lies in each band between limits.

    Parameters
    ----------
    mean, sd : ndarray, shape (n,)
        Of the value; a standard deviation of 0 puts it in one band.
    limits : ndarray, shape (m,)
        Rising.
    at_limit : bool
        Whether a value at a limit belongs to the band below it.

    Returns
    -------
    ndarray, shape (n, m + 1)
        Rows sum to 1.

    References
    ----------
    Normal distribution function at the limits: textbook.
    """
    from scipy.special import ndtr

    known = mean[:, None] <= limits if at_limit else mean[:, None] < limits
    with np.errstate(divide="ignore", invalid="ignore", over="ignore"):
        below = np.where(sd[:, None] > 0, ndtr((limits - mean[:, None]) / sd[:, None]), known)
    below = np.column_stack([below, np.ones(len(below))])
    return np.diff(below, axis=1, prepend=0.0)
