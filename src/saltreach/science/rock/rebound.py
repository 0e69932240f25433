"""Rebound hammer: what a rebound number says of the strength of rock, and how loosely.

Every relation here is a fit with a large scatter, half to twice for one lithology and more
between lithologies; `rock.strength_posterior` weighs it accordingly.
"""

from __future__ import annotations

from typing import Any, NamedTuple

import numpy as np
from scipy.special import ndtri

from saltreach.errors import OptionError


class ReboundCorrelation(NamedTuple):
    """A published relation of rebound number N to strength: `form(N)`, MPa."""

    name: str
    rocks: str
    form: str
    a: float
    b: float
    source: str


REBOUND_CORRELATIONS = (
    ReboundCorrelation("singh", "sandstone, siltstone", "linear", 2.0, 0.0, "Singh et al. 1983"),
    ReboundCorrelation(
        "yilmaz-sendir", "gypsum", "exponential", 0.059, 0.818, "Yilmaz and Sendir 2002"
    ),
    ReboundCorrelation(
        "dincer", "andesite, basalt, tuff", "linear", 2.75, -36.83, "Dincer et al. 2004"
    ),
    ReboundCorrelation(
        "aggistalis", "gabbro, basalt", "linear", 2.22, -47.67, "Aggistalis et al. 1996"
    ),
)
"""Relations by lithology, all as listed in one compiled table (a university course annex)."""

REBOUND_HAMMER_SIGMA_LN = float(np.log(2) / ndtri(0.9))
"""Scatter of one reading: half to twice, read as 10th and 90th percentile (from memory)."""

REBOUND_CORRELATION_SIGMA_LN = 0.53
"""Scatter between lithologies, shared by all readings of a sector: standard deviation of the
logarithms of the five strengths that `REBOUND_CORRELATIONS` and Deere and Miller give at N = 40
(84, 80, 24, 73 and 41 MPa)."""

UNIT_WEIGHT_UNKNOWN_KN_M3 = 26.0
UNIT_WEIGHT_UNKNOWN_SIGMA_LN = 0.16
"""With no unit weight, 26 kN/m3 is used and the scatter widened by what 2 kN/m3 do at N = 40."""


def rebound_strength_mpa(rebound_number: Any, unit_weight_kn_m3: Any) -> Any:
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
    return 10 ** (0.00088 * unit_weight_kn_m3 * rebound_number + 1.01)


def rebound_strength_deere_miller_mpa(rebound_number: Any, density_t_m3: Any) -> Any:
    r"""Strength from the rebound number, Deere and Miller's own form.

    .. math:: \sigma_c = 6.9 \times 10^{0.0087\,\rho N + 0.16}

    Parameters
    ----------
    rebound_number : array_like
        Rebound number N of an L-type hammer.
    density_t_m3 : array_like
        Density, t/m3 (g/cm3).

    Returns
    -------
    array_like
        Uniaxial compressive strength, MPa; NaN stays NaN.

    References
    ----------
    Deere and Miller (1966) as listed in a university course annex (digits partly garbled in
    the scan). Kept to show that it agrees with `rebound_strength_mpa` within a few percent.

    Examples
    --------
    >>> round(float(rebound_strength_deere_miller_mpa(40, 2.65)), 1)
    83.4
    """
    return 6.9 * 10 ** (0.0087 * density_t_m3 * rebound_number + 0.16)


def rebound_strength_by_correlation_mpa(rebound_number: Any, name: str) -> Any:
    """Strength from a rebound number by a relation fitted to one group of rocks.

    Parameters
    ----------
    rebound_number : array_like
        Rebound number N.
    name : str
        A `name` of `REBOUND_CORRELATIONS`.

    Returns
    -------
    array_like
        Strength, MPa; NaN stays NaN. Below the fitted range it may come out negative.

    Raises
    ------
    OptionError
        Unknown name.

    Notes
    -----
    Not used for results: the spread between the relations is, as
    `REBOUND_CORRELATION_SIGMA_LN`.

    Examples
    --------
    >>> round(float(rebound_strength_by_correlation_mpa(40, "yilmaz-sendir")), 1)
    24.0
    """
    by_name = {c.name: c for c in REBOUND_CORRELATIONS}
    if name not in by_name:
        raise OptionError(f"rebound correlation {name!r} is not known; use one of {list(by_name)}")
    relation = by_name[name]
    line = relation.a * rebound_number + relation.b
    return np.exp(line) if relation.form == "exponential" else line


def sector_mean_rebound(rebound_number: Any, sector: Any) -> tuple[np.ndarray, np.ndarray]:
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

    Examples
    --------
    >>> mean, tests = sector_mean_rebound([40.0, 50.0, float("nan")], ["A", "A", "B"])
    >>> mean.tolist(), tests.tolist()
    ([45.0, 45.0, nan], [2, 2, 0])
    """
    numbers = np.asarray(rebound_number, dtype=float)
    _, group = np.unique(np.asarray(sector).astype(str), return_inverse=True)
    known = np.isfinite(numbers)
    size = int(group.max(initial=-1)) + 1
    tests = np.bincount(group, weights=known, minlength=size)
    total = np.bincount(group, weights=np.where(known, numbers, 0.0), minlength=size)
    mean = np.full(size, np.nan)
    np.divide(total, tests, out=mean, where=tests > 0)
    return mean[group], tests[group].astype(int)
