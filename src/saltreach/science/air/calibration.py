"""How the salt model was fitted: weighted least squares in ln S to bins of station medians.

Used by notebooks/salt_calibration.ipynb and the tests; nothing at run time depends on it.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike

from saltreach.science.air import salt

POINTS_IN_BIN = 64
_START = (400.0, 200.0, 5.0, 2.0)
FITTED = len(_START)


class Fit(NamedTuple):
    """A fitted curve, the covariance of the logarithms of its parameters, and its residuals."""

    curve: salt.Curve
    covariance: np.ndarray
    residual_ln: np.ndarray
    chi2: float


def median_sigma_ln(stations: ArrayLike, gsd: ArrayLike) -> np.ndarray:
    """Standard error of the logarithm of a sample median of lognormal values.

    Parameters
    ----------
    stations : array_like
        Number of values.
    gsd : array_like
        Geometric standard deviation.

    Returns
    -------
    ndarray
        sqrt(pi/2) ln(GSD) / sqrt(n).

    References
    ----------
    Asymptotic variance of the median of a normal sample (Kendall and Stuart, from memory).

    Examples
    --------
    >>> round(float(median_sigma_ln(100, np.e)), 4)
    0.1253
    """
    return np.sqrt(np.pi / 2) * np.log(gsd) / np.sqrt(stations)


def bin_ln_median(curve: salt.Curve, low_m: ArrayLike, high_m: ArrayLike) -> np.ndarray:
    """Mean of ln S on a wet candle over each range of distance, even in its logarithm.

    Without the spray part: candles stand under a roof (see `saltreach.science.air.salt`).

    Parameters
    ----------
    curve : Curve
        Parameters.
    low_m, high_m : array_like, shape (n,)
        Ends of the ranges, m, above 0.

    Returns
    -------
    ndarray, shape (n,)
    """
    low, high = np.atleast_1d(np.asarray(low_m, float), np.asarray(high_m, float))
    middles = (np.arange(POINTS_IN_BIN) + 0.5) / POINTS_IN_BIN
    distance = low[:, None] * (high / low)[:, None] ** middles
    return np.log(candle_mg_m2_d(distance, curve)).mean(axis=1)


def candle_mg_m2_d(coast_distance_m: ArrayLike, curve: salt.Curve = salt.CURVE) -> np.ndarray:
    """Median deposition on a wet candle, which misses the spray.

    Parameters
    ----------
    coast_distance_m : array_like
        Distance to the sea, m.
    curve : Curve
        Parameters.

    Returns
    -------
    ndarray
        mg Cl/(m² d).

    Examples
    --------
    >>> round(float(candle_mg_m2_d(100.0)))
    149
    """
    return np.asarray(sum(salt.distance_curve(coast_distance_m, curve)[1:]))


def fit_bins(
    low_m: ArrayLike,
    high_m: ArrayLike,
    median_mg_m2_d: ArrayLike,
    sigma_ln: ArrayLike,
    **given_values: float,
) -> Fit:
    """Fit the four parameters of the curve to medians in ranges of distance.

    Parameters
    ----------
    low_m, high_m : array_like, shape (n,)
        Ranges of distance, m; equal ends make a point.
    median_mg_m2_d : array_like, shape (n,)
        Median deposition in each range.
    sigma_ln : array_like, shape (n,)
        Standard error of ln(median): the weight is its inverse square.
    **given_values : float, optional
        Other values of the parameters of `salt.Curve` that are set, not fitted.

    Returns
    -------
    Fit
        `residual_ln` is fitted minus given.
    """
    from scipy.optimize import least_squares

    given, sigma = np.log(median_mg_m2_d), np.asarray(sigma_ln, float)

    def weighted_residual(ln_parameters: np.ndarray) -> np.ndarray:
        curve = salt.Curve(*np.exp(ln_parameters), **given_values)
        return (bin_ln_median(curve, low_m, high_m) - given) / sigma

    # Parameters are bounded to a wide range so that a bin left out cannot send one to infinity.
    bounds = np.log([(1.0, 10.0, 0.05, 0.05), (1e5, 5e4, 200.0, 50.0)])
    found = least_squares(weighted_residual, np.log(_START), bounds=bounds)
    return Fit(
        curve=salt.Curve(*np.exp(found.x).tolist(), **given_values),
        covariance=np.linalg.pinv(found.jac.T @ found.jac),
        residual_ln=found.fun * sigma,
        chi2=float(2 * found.cost),
    )


def curve_sigma_ln(fit: Fit, low_m: ArrayLike, high_m: ArrayLike) -> np.ndarray:
    """Standard error of the fitted ln S in ranges of distance, to first order.

    Parameters
    ----------
    fit : Fit
        The fit and its covariance.
    low_m, high_m : array_like, shape (n,)
        Ranges of distance, m.

    Returns
    -------
    ndarray, shape (n,)
    """
    step = 1e-4
    base, given = np.log(fit.curve[:FITTED]), fit.curve[FITTED:]

    def moved(change: np.ndarray) -> np.ndarray:
        return bin_ln_median(salt.Curve._make([*np.exp(base + change), *given]), low_m, high_m)

    slopes = [(moved(step * unit) - moved(-step * unit)) / (2 * step) for unit in np.eye(FITTED)]
    jacobian = np.stack(slopes, axis=1)
    return np.sqrt(np.einsum("ij,jk,ik->i", jacobian, fit.covariance, jacobian))


def pooled_sigma_ln(stations: ArrayLike, gsd: ArrayLike) -> float:
    """Spread of ln S between stations at one distance, pooled over bins by their numbers."""
    n = np.asarray(stations, float)
    return float(np.sqrt(np.sum(n * np.log(gsd) ** 2) / n.sum()))


def band_coverage(
    predicted_ln: ArrayLike, sigma_ln: ArrayLike, true_ln: ArrayLike, true_sigma_ln: ArrayLike
) -> np.ndarray:
    """Share of a lognormal population inside the predicted 10 to 90 % band.

    Parameters
    ----------
    predicted_ln, sigma_ln : array_like
        Predicted mean and standard deviation of ln S.
    true_ln, true_sigma_ln : array_like
        Those of the population.

    Returns
    -------
    ndarray
        0 to 1; 0.8 where both agree.

    Examples
    --------
    >>> round(float(band_coverage(3.0, 0.9, 3.0, 0.9)), 3)
    0.8
    """
    from scipy.special import ndtr, ndtri

    half = float(ndtri(0.9)) * np.asarray(sigma_ln)
    off = np.asarray(predicted_ln) - np.asarray(true_ln)
    return ndtr((off + half) / true_sigma_ln) - ndtr((off - half) / true_sigma_ln)
