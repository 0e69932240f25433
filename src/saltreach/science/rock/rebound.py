"""Rebound hammer: what a rebound number says of the strength of rock, and how loosely.

Every relation here is a fit with a large scatter, half to twice for one lithology and more
between lithologies; `rock.strength_posterior` weighs it accordingly.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtri

from saltreach.science.labelled import labelled
from saltreach.science.types import Floats, Values, Words, number, numbers

REBOUND_HAMMER_SIGMA_LN = float(np.log(2) / ndtri(0.9))
"""Scatter of one reading: half to twice, read as 10th and 90th percentile (from memory)."""

REBOUND_CORRELATION_SIGMA_LN = 0.53
"""Scatter between lithologies, shared by all readings of a sector: standard deviation of the
logarithms of the strengths that Deere and Miller and four relations for single rocks (Singh 1983,
Yilmaz and Sendir 2002, Dincer 2004, Aggistalis 1996) give at N = 40: 84, 80, 24, 73 and 41 MPa."""

UNIT_WEIGHT_UNKNOWN_KN_M3 = 26.0
UNIT_WEIGHT_UNKNOWN_SIGMA_LN = 0.16
"""With no unit weight, 26 kN/m3 is used and the scatter widened by what 2 kN/m3 do at N = 40."""


@labelled("MPa")
def rebound_strength_mpa(rebound_number: Values, unit_weight_kn_m3: Values) -> Floats:
    r"""Strength from the rebound number of an L-type hammer.

    .. math:: \log_{10} \sigma_c = 0.00088\,\gamma R + 1.01

    Parameters
    ----------
    rebound_number : array_like
        Rebound number R, hammer vertical downwards; other directions must be corrected first.
    unit_weight_kn_m3 : array_like
        Unit weight of the rock, kN/m3.

    Returns
    -------
    array_like
        Uniaxial compressive strength, MPa, in the broadcast shape of the inputs; NaN stays NaN.

    Notes
    -----
    The scatter is large, half to twice is usual: never use the number alone.

    References
    ----------
    Deere and Miller (1966) in the form of Barton and Choubey (1977), from memory.

    Examples
    --------
    >>> round(float(rebound_strength_mpa(40, 26)), 1)
    84.2
    """
    rebound_number, unit_weight_kn_m3 = numbers(rebound_number, unit_weight_kn_m3)
    return 10 ** (0.00088 * unit_weight_kn_m3 * rebound_number + 1.01)


def sector_mean_rebound(rebound_number: Values, sector: Words) -> tuple[Floats, NDArray[np.int_]]:
    """Mean rebound number of each anchor's sector, and the number of tests behind it.

    Parameters
    ----------
    rebound_number : array_like
        One number per anchor, NaN where none was taken, shape (n,).
    sector : array_like
        Key of the sector of each anchor, shape (n,).

    Returns
    -------
    mean_rebound, tests : numpy.ndarray
        Shape (n,): the mean over the sector (NaN without tests) and the count.

    Notes
    -----
    The logarithm of strength is linear in the rebound number, so the mean number is the
    geometric mean of the strengths. Pass both to `strength_posterior`.

    References
    ----------
    Geometric mean of strengths, by the log-linear curves of `rebound_strength_mpa`.

    Examples
    --------
    >>> mean, tests = sector_mean_rebound([40.0, 50.0, float("nan")], ["A", "A", "B"])
    >>> mean.tolist(), tests.tolist()
    ([45.0, 45.0, nan], [2, 2, 0])
    """
    found = number(rebound_number)
    _, group = np.unique(np.asarray(sector).astype(str), return_inverse=True)
    known = np.isfinite(found)
    size = int(group.max(initial=-1)) + 1
    tests = np.bincount(group, weights=known, minlength=size)
    total = np.bincount(group, weights=np.where(known, found, 0.0), minlength=size)
    mean = np.full(size, np.nan)
    np.divide(total, tests, out=mean, where=tests > 0)
    return mean[group], tests[group].astype(int)
