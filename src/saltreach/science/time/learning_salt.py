r"""What candles, swabs and coupons teach of the salt: the local median of chloride deposition.

The model gives ln S at each place with a standard deviation :math:`\sigma_i` (`air.salt`). Places
err together, the more the nearer:

.. math:: \operatorname{cov}_{ij} = \sigma_i \sigma_j\,
          [c_r + c_n e^{-d_{ij}/L} + (1 - c_r - c_n)\,\delta_{ij}]

(of which the scatter from spot to spot is no part), and what is measured at some of them shifts
and narrows all by the rules of normal distributions.

A coupon gives a loss, not a salt: it is turned back through ISO 9223's function, whose own error
counts the more the less of the loss is the salt's. A swab finds what lies there now, not what
falls: weak and wide.

*Published*: conditional normal distributions (kriging); ISO 9223:2012 and ISO 9224:2012.
*Our own judgement*: shares, length and errors.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from saltreach.errors import OptionError
from saltreach.science.air.atmosphere import first_year_loss_um_y
from saltreach.science.labelled import labelled
from saltreach.science.metal.metal_loss import EXPONENT_MEAN
from saltreach.science.types import Floats, Values, number, numbers

REGION_SHARE, NEAR_SHARE = 0.3, 0.4
"""c_r and c_n, shares of the model's variance that a whole region has in common, and that near
places have; the rest is each place's own. Judgement: mean wind, which a region shares, goes with
ln(chloride) at like distance (r 0.6 to 0.7 between stations)."""
SPOT_SIGMA_LN = 0.5
"""Scatter of ln S from spot to spot of one place: what was measured at one is another's only so
far. Judgement."""
LEAST_SHIFT_LN = -float(np.log(5.0))
"""No place is believed to have less than a fifth of the model's salt. Judgement."""
LOWERED_SCORE = 1.2815515655446004
"""A place is made milder only to the 90th percentile of what is believed of it. Judgement."""
NEAR_LENGTH_M = 5000.0
"""L: distance over which that of near places falls to a third. Judgement."""
CANDLE_SIGMA_LN = 0.3
"""Of a wet candle that hung for a year, beside `SPOT_SIGMA_LN`. Judgement."""
SEASON_SIGMA_LN = 0.6
"""More where it hung for less than a year, in proportion to the part that is missing: salt comes
with the gales of a season. Judgement."""
SWAB_DAYS, SWAB_SIGMA_LN = 30.0, 1.2
"""A swab counts as the salt of so many days, within a factor of 3.3: what rain left. Judgement."""
COUPON_SIGMA_LN = float(np.log(1.5))
"""Error of ISO 9223's functions for steel and zinc (Annex A, from memory)."""
LEAST_MG_M2_D = 0.4
"""Lower salts count as this one, the least that ISO 9223's functions were fitted on (from
memory): a candle that caught nothing does not make a place free of salt."""
MOST_LN = 4.0
"""No single measurement moves a place by more than this, a factor of 55. Judgement."""
LEAST_SLOPE = 0.05
"""Least share of a coupon's loss that is read as the salt's. Judgement."""
_YEAR_D, _ROUNDS, _LONGEST_STEP, _TINY_UM_Y = 365.25, 40, 1.0, 1e-3


class Measured(NamedTuple):
    """ln of a measurement over the model's median, and the standard deviation of its error."""

    ln_ratio: Floats
    sigma_ln: Floats


_MEASURED = dict.fromkeys(Measured._fields, "1")


@labelled(_MEASURED, returns=Measured)
def candle(
    chloride_mg_m2_d: Values, exposed_days: Values, model_chloride_mg_m2_d: Values
) -> Measured:
    """What a wet candle says of a place.

    Parameters
    ----------
    chloride_mg_m2_d : array_like
        Deposition that it caught.
    exposed_days : array_like
        Days that it hung; NaN counts as no year at all.
    model_chloride_mg_m2_d : array_like
        Median of the model.

    Returns
    -------
    Measured

    References
    ----------
    ISO 9225 for the method, from memory; its errors are judgement.

    Examples
    --------
    >>> year = candle(60.0, 365.25, 30.0)
    >>> round(float(year.ln_ratio), 3), round(float(year.sigma_ln), 3)
    (0.693, 0.583)
    """
    caught, days, model = numbers(chloride_mg_m2_d, exposed_days, model_chloride_mg_m2_d)
    missing = 1.0 - np.clip(np.nan_to_num(days) / _YEAR_D, 0.0, 1.0)
    sigma = np.hypot(np.hypot(CANDLE_SIGMA_LN, SPOT_SIGMA_LN), SEASON_SIGMA_LN * missing)
    return Measured(_ratio(caught, model), sigma)


@labelled(_MEASURED, returns=Measured)
def swab(salt_mg_m2: Values, model_chloride_mg_m2_d: Values) -> Measured:
    """What a swab says of a place: little.

    Parameters
    ----------
    salt_mg_m2 : array_like
        Chloride wiped off.
    model_chloride_mg_m2_d : array_like
        Median of the model.

    Returns
    -------
    Measured

    References
    ----------
    Judgement: `SWAB_DAYS`.

    Examples
    --------
    >>> float(swab(900.0, 30.0).ln_ratio)
    0.0
    """
    found, model = numbers(salt_mg_m2, model_chloride_mg_m2_d)
    ratio = _ratio(found / SWAB_DAYS, model)
    return Measured(ratio, np.full(np.shape(ratio), SWAB_SIGMA_LN))


@labelled(_MEASURED, returns=Measured)
def coupon(
    metal: str,
    loss_um: Values,
    exposed_days: Values,
    temperature_c: Values,
    relative_humidity_pct: Values,
    so2_mg_m2_d: Values,
    model_chloride_mg_m2_d: Values,
) -> Measured:
    r"""What the loss of a coupon says of the salt of a place.

    .. math:: r = m\, t^{-b}, \qquad r(S) = r

    Parameters
    ----------
    metal : {"steel", "zinc"}
        Of the coupon.
    loss_um : array_like
        Loss m of a side.
    exposed_days : array_like
        Time t that it hung; made a first-year loss by ISO 9224's exponent b.
    temperature_c, relative_humidity_pct, so2_mg_m2_d : array_like
        As `atmosphere.first_year_loss_um_y` takes them.
    model_chloride_mg_m2_d : array_like
        Median of the model.

    Returns
    -------
    Measured
        The error is that of the function over the share of the loss that is the salt's, and that
        of a season where it hung for less than a year.

    References
    ----------
    ISO 9223:2012, equations (1) and (2), ISO 9224:2012, both from memory; solved by Newton's steps.

    Examples
    --------
    >>> found = coupon("steel", 149.5609, 365.25, 27.0, 80.0, 2.0, 30.0)
    >>> round(30.0 * float(np.exp(found.ln_ratio)))
    300
    """
    if metal not in EXPONENT_MEAN:
        raise OptionError(f"coupon of {metal!r}: give one of {list(EXPONENT_MEAN)}")
    values = numbers(loss_um, exposed_days, temperature_c, relative_humidity_pct, so2_mg_m2_d,
                     model_chloride_mg_m2_d)  # fmt: skip
    loss, days, warm, humid, so2, model = np.broadcast_arrays(*values)

    def rate_at(chloride: Values) -> Floats:
        return first_year_loss_um_y(metal, warm, humid, so2, chloride)

    year = np.where(days > 0, days, np.nan) / _YEAR_D
    rate = np.maximum(loss, 0.0) / year ** EXPONENT_MEAN[metal]
    without, one, ten = (rate_at(salt) for salt in (0.0, 1.0, 10.0))
    power = np.log10((ten - without) / (one - without))  # of chloride, in the salt's part
    ratio = np.zeros(loss.shape)
    slope = np.ones(loss.shape)
    for _ in range(_ROUNDS):
        own = rate_at(model * np.exp(ratio))
        slope = np.maximum(power * (own - without) / own, LEAST_SLOPE)
        step = (np.log(np.maximum(rate, _TINY_UM_Y)) - np.log(own)) / slope
        ratio = np.clip(ratio + np.clip(step, -_LONGEST_STEP, _LONGEST_STEP), -MOST_LN, MOST_LN)
    low = np.log(LEAST_MG_M2_D / model)
    ratio = np.maximum(ratio, np.minimum(low, 0.0))
    missing = 1.0 - np.clip(year, 0.0, 1.0)
    of_function = np.hypot(COUPON_SIGMA_LN / slope, SPOT_SIGMA_LN)
    return Measured(ratio, np.hypot(of_function, SEASON_SIGMA_LN * missing))


def _ratio(value: Floats, model: Floats) -> Floats:
    return np.clip(np.log(np.maximum(value, LEAST_MG_M2_D) / model), -MOST_LN, MOST_LN)


def learned_salt(
    model_sigma_ln: Values,
    distance_m: Values,
    place: Values,
    measured: Measured,
) -> tuple[Floats, Floats]:
    """Shift of ln(median) and what is left of the spread at each place.

    Parameters
    ----------
    model_sigma_ln : array_like, shape (k,)
        Spread of the model at each place.
    distance_m : array_like, shape (k, k)
        Between the places.
    place : array_like of int, shape (m,)
        Where each measurement is from.
    measured : Measured
        Arrays of shape (m,); a NaN says nothing.

    Returns
    -------
    shift_ln, sigma_ln : ndarray, shape (k,)
        Exactly 0 and the model's where nothing was measured at all.

    References
    ----------
    Conditional normal distribution; shares and length are judgement.

    Examples
    --------
    >>> one = Measured(np.array([1.0]), np.array([1e-9]))
    >>> shift, sigma = learned_salt([1.0, 1.0], [[0.0, 1e9], [1e9, 0.0]], [0], one)
    >>> shift.round(2).tolist(), sigma.round(3).tolist()
    ([1.0, 0.3], [0.5, 0.966])
    """
    whole, apart = number(model_sigma_ln), number(distance_m)
    sigma = np.sqrt(np.maximum(whole**2 - SPOT_SIGMA_LN**2, 0.0))
    at, ratio, error = np.asarray(place, int), *(np.atleast_1d(v) for v in measured)
    known = np.isfinite(ratio) & np.isfinite(error) & np.isfinite(sigma[at])
    at, ratio, error = at[known], ratio[known], error[known]
    if not len(at):
        return np.zeros(len(whole)), whole.copy()
    own = 1.0 - REGION_SHARE - NEAR_SHARE
    share = REGION_SHARE + NEAR_SHARE * np.exp(-apart / NEAR_LENGTH_M) + own * np.eye(len(sigma))
    # each place is sampled once, by all its measurements together
    precision = np.bincount(at, 1.0 / error**2, minlength=len(sigma))
    total = np.bincount(at, ratio / error**2, minlength=len(sigma))
    seen = np.flatnonzero(precision > 0)
    prior = np.nan_to_num(sigma)[:, None] * np.nan_to_num(sigma)[None] * share
    mean, noise = total[seen] / precision[seen], 1.0 / precision[seen]
    inside = prior[np.ix_(seen, seen)] + np.diag(noise)
    gain = np.linalg.solve(inside, prior[seen]).T
    left = np.diag(prior) - (gain * prior[:, seen]).sum(axis=1)
    left = np.minimum(np.sqrt(np.maximum(left, 0.0) + SPOT_SIGMA_LN**2), whole)
    return gain @ mean, np.where(np.isnan(whole), np.nan, left)


@labelled("1")
def shift_used(shift_ln: Values, sigma_ln: Values, told: Values = True) -> Floats:
    """The shift of ln(chloride) that an assessment counts with.

    Raised where the shift is above 0; lowered to the 90th percentile where that is below 0, by
    `LEAST_SHIFT_LN` at most; else 0. A place where nothing was measured is not lowered.

    Parameters
    ----------
    shift_ln, sigma_ln : array_like
        From `learned_salt`.
    told : array_like of bool
        Whether anything was measured at the place itself.

    Returns
    -------
    ndarray

    References
    ----------
    Judgement: as `learning.factor_used`.

    Examples
    --------
    >>> shift_used([0.5, -0.5, -1.5, -9.0], [0.6, 0.6, 0.6, 0.6]).round(2).tolist()
    [0.5, 0.0, -0.73, -1.61]
    """
    shift, sigma, known = numbers(shift_ln, sigma_ln, told)
    lowered = np.clip(shift + LOWERED_SCORE * sigma, LEAST_SHIFT_LN, 0.0)
    return np.where(shift > 0.0, shift, np.where(known > 0, lowered, 0.0))
