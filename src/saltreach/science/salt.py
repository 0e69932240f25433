r"""Airborne sea salt: chloride deposition from distance, openness, wind, height and terrain.

Deposition S on a wet candle, in mg Cl/(m² d), is lognormal. Its median adds three parts,

.. math:: S = \underbrace{f_o f_w f_h f_s\, A\, (1 + D/a)^{-2}}_{\text{surf}}
          + \underbrace{f_w\, B\, e^{-d/b}}_{\text{far travelled}} + F,
          \qquad D = \sqrt{d^2 + d_0^2}

*Surf.* Coarse drops torn from breakers fall out within a few hundred metres (Gustafsson and
Franzén 1996 separate them from the fine part). A single exponential in distance fits station
means poorly (R² 0.2 to 0.3) and a hyperbola or power law well; the square of a hyperbola lies
between the two. D makes the curve finite and flat at the shore.

*Far travelled.* Fine droplets stay aloft for tens to hundreds of kilometres. Keywood and others
(1997) found a fast and a slow exponential over 18 sites of Western Australia.

*Floor.* What remains deep inland, of any origin.

A, a, B and F are fitted (`saltreach.science.calibration`, notebooks/salt_calibration.ipynb) to
station medians of ISOCORRAG (ASTM DS68, 2010), MICAT (1998) and Cole and others (2003), 86
stations in seven bins of distance, read through a secondary compilation **whose units were
inferred**. b, d0 and the power are set, not fitted: the bins cannot tell them apart.

The factors f are 1 where nothing is known. None of them is calibrated, because positions of the
stations were not available; each says below where it comes from.
"""

from __future__ import annotations

from typing import Any, NamedTuple

import numpy as np

UNKNOWN = float("nan")


FAR_SCALE_M = 100e3  # b, judgement: 50 to 200 km fit about equally
SURF_POWER = 2.0  # judgement: 1 to 3 fit about equally
SHORE_M = 30.0  # d0, judgement: the nearest stations stand some tens of metres from the water


class Curve(NamedTuple):
    """Parameters of the median deposition, mg/(m² d) and m: four fitted, two set."""

    surf: float
    surf_scale_m: float
    far: float
    floor: float
    far_scale_m: float = FAR_SCALE_M
    surf_power: float = SURF_POWER


CURVE = Curve(surf=272.0, surf_scale_m=264.0, far=6.29, floor=2.87)
"""The fit to all seven bins; a test refits it."""

SPREAD_SIGMA_LN = 0.93
"""Standard deviation of ln S between stations at one distance: pooled over the bins."""
CURVE_SIGMA_LN = 0.27
"""Standard error of the fitted ln median, root mean square over the bins' distances."""
SIGMA_LN = float(np.hypot(SPREAD_SIGMA_LN, CURVE_SIGMA_LN))
"""Standard deviation of ln S where only the distance is known: a factor of 2.6."""

OPENNESS_OF_A_STRAIGHT_COAST = 0.5
SHELTERED_SHARE = 0.2
OPENNESS_SIGMA_LN = 0.41

WIND_PER_M_S = 0.16
WIND_ONSET_M_S = 3.0
WIND_LIMIT_M_S = 15.0
WIND_REFERENCE_M_S = 6.6
"""Area mean of the embedded sea wind (a test checks it)."""

HEIGHT_WITHOUT_GRADIENT_M = 15.0
HEIGHT_SCALE_M = 100.0
HEIGHT_DOUBT = 0.5

TERRAIN_FOLD = 30.0


def distance_curve(coast_distance_m: Any, curve: Curve = CURVE) -> tuple[Any, Any, Any]:
    """Surf, far-travelled and floor part of the median, all factors 1.

    Parameters
    ----------
    coast_distance_m : array_like
        Distance to the sea, m; below 0 counts as 0.
    curve : Curve
        Parameters, by default the fit to all bins.

    Returns
    -------
    surf, far, floor : array_like
        mg Cl/(m² d); their sum is the median. NaN stays NaN.
    """
    d = np.maximum(coast_distance_m, 0.0)
    surf = curve.surf * (1 + np.hypot(d, SHORE_M) / curve.surf_scale_m) ** -curve.surf_power
    return surf, curve.far * np.exp(-d / curve.far_scale_m), curve.floor + 0.0 * d


def chloride(
    coast_distance_m: Any,
    *,
    sea_openness: Any = UNKNOWN,
    wind_speed_m_s: Any = UNKNOWN,
    height_above_sea_m: Any = UNKNOWN,
    shielding: Any = UNKNOWN,
    salt_share: Any = 1.0,
) -> tuple[Any, Any]:
    """Chloride deposition as a lognormal: median and spread.

    Parameters
    ----------
    coast_distance_m : array_like
        Distance to the sea, m.
    sea_openness : array_like, optional
        Share of directions with open sea, 0 to 1; a straight coast has 0.5 at the water.
        NaN: as a straight coast, with the whole spread.
    wind_speed_m_s : array_like, optional
        Mean wind speed over the sea nearby, m/s. NaN: the mean of the oceans.
    height_above_sea_m : array_like, optional
        Height above the sea, m. NaN: no decrease with height.
    shielding : array_like, optional
        0 where terrain leaves the sea in sight, 1 where it hides all of it. NaN: 0.

    salt_share : array_like, optional
        Salt of the water over that of the ocean; scales what comes from the water (assumption).

    Returns
    -------
    median : array_like
        mg Cl/(m² d), positive; NaN where the distance is NaN.
    sigma_ln : array_like
        Standard deviation of ln S.

    Notes
    -----
    Median, 10th and 90th percentile never increase with distance or height and never decrease
    with openness or wind (sea-cliff heights above 15 m widen the spread, so that there only
    median and 10th percentile fall with height).

    Examples
    --------
    >>> median, sigma_ln = chloride(100.0)
    >>> round(float(median)), round(float(sigma_ln), 2)
    (149, 0.97)
    """
    surf, far, floor = distance_curve(coast_distance_m)
    wind = wind_factor(wind_speed_m_s)
    height = height_factor(height_above_sea_m)
    surf, far = surf * salt_share, far * salt_share
    surf = surf * openness_factor(sea_openness) * wind * height * shielding_factor(shielding)
    median = surf + far * wind + floor
    surf_share = surf / median
    known = 1.0 - np.isnan(sea_openness)
    variance = (
        SIGMA_LN**2
        - known * (OPENNESS_SIGMA_LN * surf_share) ** 2
        + (HEIGHT_DOUBT * np.log(height) * surf_share) ** 2
    )
    return median, np.sqrt(variance)


def openness_factor(sea_openness: Any) -> Any:
    r"""Factor on surf deposition for the share of directions that are open sea.

    .. math:: f_o = \varphi + (1 - \varphi)\, o / 0.5, \qquad \varphi = 0.2

    Parameters
    ----------
    sea_openness : array_like
        o, 0 to 1.

    Returns
    -------
    array_like
        0.2 to 1.8; 1 at 0.5 and where unknown.

    Notes
    -----
    Derivation: with breakers alike on all shores in sight and wind from all sides alike, the
    salt that passes is proportional to the open directions. The rest, 0.2, reaches shores with no
    open sea: small waves, and fjords are a source too (western Norway, storms of 1986/87).
    0.2 is our judgement. No station position was available to test it.

    `OPENNESS_SIGMA_LN` is the standard deviation of ln f_o when o is uniform over 0.1 to 0.9;
    knowing o takes that variance out of the spread (law of total variance: all sites
    together keep the calibrated spread).

    Examples
    --------
    >>> float(openness_factor(0.5)), round(float(openness_factor(1.0)), 2)
    (1.0, 1.8)
    """
    above = _nan_to_zero(sea_openness - OPENNESS_OF_A_STRAIGHT_COAST)
    return 1.0 + (1 - SHELTERED_SHARE) * above / OPENNESS_OF_A_STRAIGHT_COAST


def wind_factor(wind_speed_m_s: Any) -> Any:
    r"""Relative factor on surf and far-travelled deposition for the mean wind over the sea.

    .. math:: f_w = e^{0.16\,(u - 6.6)}, \qquad 3 \le u \le 15 \text{ m/s}

    Parameters
    ----------
    wind_speed_m_s : array_like
        Mean wind speed u, m/s; limited to 3 to 15.

    Returns
    -------
    array_like
        1 at the oceans' mean of 6.6 m/s and where unknown.

    Notes
    -----
    ln(salt concentration, µg/m³) = 0.16 u + 1.45 from ships in the North Atlantic 1974/75
    (Tellus, 1978); only its slope is used. Onset at 3 m/s: Meira and others (2006). Applied to
    a mean wind, not hour by hour. Not shown to improve the estimate (see the notebook), so
    callers leave the wind unknown unless the user asks for it; the spread takes no credit.

    References
    ----------
    Meira and others (2006), Atmospheric Environment.

    Examples
    --------
    >>> round(float(wind_factor(6.6 + 4.33)), 2)
    2.0
    """
    limited = np.minimum(np.maximum(wind_speed_m_s, WIND_ONSET_M_S), WIND_LIMIT_M_S)
    return np.exp(WIND_PER_M_S * _nan_to_zero(limited - WIND_REFERENCE_M_S))


def height_factor(height_above_sea_m: Any) -> Any:
    """Factor on surf deposition for the height above the sea.

    Parameters
    ----------
    height_above_sea_m : array_like
        Height above mean sea level, m.

    Returns
    -------
    array_like
        1 up to 15 m and where unknown, then down by 1/e each 100 m.

    Notes
    -----
    Between 1 and 15 m over the sea no gradient was found (California Channel). Above, published
    evidence conflicts (little salt at 30 m on one coast, a second maximum near 100 m on an
    island): the scale of 100 m is judgement, and half the decrease is added to the spread. Spray
    thrown up by waves against a cliff is not in any of the data.

    Examples
    --------
    >>> float(height_factor(15.0)), round(float(height_factor(115.0)), 2)
    (1.0, 0.37)
    """
    rise = np.maximum(_nan_to_zero(height_above_sea_m - HEIGHT_WITHOUT_GRADIENT_M), 0.0)
    return np.exp(-rise / HEIGHT_SCALE_M)


def shielding_factor(shielding: Any) -> Any:
    """Factor on surf deposition where terrain stands between the place and the sea.

    Parameters
    ----------
    shielding : array_like
        0 (open) to 1 (sea wholly hidden).

    Returns
    -------
    array_like
        1 at 0 and where unknown, 1/30 at 1.

    Notes
    -----
    Around Wanning (Hainan) terrain made a 30-fold difference at one distance (Equipment
    Environmental Engineering, 2023, no. 2): taken as the full range; the path between is
    judgement. Unknown counts as open: stations of the calibration stand on clear ground.

    Examples
    --------
    >>> round(float(1 / shielding_factor(1.0)), 6)
    30.0
    """
    return TERRAIN_FOLD ** -_nan_to_zero(shielding)


def chloride_mg_m2_d(coast_distance_m: Any) -> Any:
    """Median chloride deposition where only the distance is known.

    Parameters
    ----------
    coast_distance_m : array_like
        Distance to the sea, m.

    Returns
    -------
    array_like
        Median, mg Cl/(m² d); its spread is `SIGMA_LN`. NaN stays NaN.

    Examples
    --------
    >>> round(float(chloride_mg_m2_d(10_000.0)), 1)
    8.7
    """
    return chloride(coast_distance_m)[0]


def lognormal_quantile(median: Any, sigma_ln: Any, probability: float) -> Any:
    """Quantile of a lognormal value.

    Parameters
    ----------
    median, sigma_ln : array_like
        Median, and standard deviation of the natural logarithm.
    probability : float
        Between 0 and 1.

    Returns
    -------
    array_like
        In the unit of the median.

    Examples
    --------
    >>> round(float(lognormal_quantile(100.0, 1.0, 0.9)), 1)
    360.2
    """
    from scipy.special import ndtri

    return median * np.exp(float(ndtri(probability)) * sigma_ln)


def lognormal_draws(median: Any, sigma_ln: Any, rng: np.random.Generator, draws: int) -> np.ndarray:
    """Random draws of a lognormal value, the same for the same state of `rng`.

    Parameters
    ----------
    median, sigma_ln : array_like, shape (n,)
        Median, and standard deviation of the natural logarithm.
    rng : numpy.random.Generator
        Source of randomness, seeded by the caller.
    draws : int
        Number of draws.

    Returns
    -------
    ndarray, shape (draws, n)
        In the unit of the median; NaN where an input is NaN.
    """
    median, sigma_ln = np.broadcast_arrays(median, sigma_ln)
    return median * np.exp(sigma_ln * rng.standard_normal((draws, *median.shape)))


def _nan_to_zero(value: Any) -> Any:
    """NaN to 0 by ufuncs alone, so that labels survive."""
    return np.fmax(value, 0.0) + np.fmin(value, 0.0)
