"""Airborne sea salt: chloride deposition from distance to the sea, as a distribution."""

from __future__ import annotations

from typing import Any

import numpy as np

AT_100_M_MG_M2_D = 95.0
DISTANCE_POWER = -0.55
NEAREST_M = 30.0
BACKGROUND_MG_M2_D = 3.3
SIGMA_LN = float(np.log(2.5))
"""Standard deviation of ln(chloride) at a given distance: a factor of 2.5."""


def chloride_mg_m2_d(coast_distance_m: Any) -> Any:
    r"""Median chloride deposition at a distance from the sea.

    .. math:: S = \max(95\,(\max(d, 30)/100)^{-0.55},\; 3.3)

    Parameters
    ----------
    coast_distance_m : array_like
        Distance to the sea d, m.

    Returns
    -------
    array_like
        Median deposition, mg Cl/(m² d). The spread at one distance is lognormal with
        `SIGMA_LN`. NaN stays NaN.

    Notes
    -----
    The power law is a fit within 20 km to 86 station means of three programmes (ISOCORRAG,
    ASTM DS68, 2010; MICAT, 1998; Cole and others, 2003), read through a secondary compilation
    whose units were inferred. Nearer than 30 m the data end, so the value stays; far inland it
    stays at the median of the 15 stations beyond 100 km.

    Examples
    --------
    >>> float(chloride_mg_m2_d(100.0))
    95.0
    """
    from_shore = np.maximum(coast_distance_m, NEAREST_M) / 100.0
    return np.maximum(AT_100_M_MG_M2_D * from_shore**DISTANCE_POWER, BACKGROUND_MG_M2_D)


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
    """
    from scipy.special import ndtri

    return median * np.exp(float(ndtri(probability)) * sigma_ln)
