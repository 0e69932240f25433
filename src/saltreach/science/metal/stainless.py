"""Stainless grade by EN 1993-1-4:2006+A1:2015, Annex A: factor, class, grades.

The annex covers structural use in Europe-like climates. It does not cover stress-corrosion
cracking of small, stressed, unwashed parts in warm chloride: there it is a floor only.

F1, F2 and the sum are as two data sheets repeat the standard; the bounds of the classes, the
grades, and the rule that F3 counts only below zero are from memory. One public excerpt shows
other F1 bounds (-3 for 5 to 10 km, -7 for 0.5 to 5 km, -10 for 0.25 to 0.5 km): not resolved,
so the table is data (`F1_SEA`) and the European one is the default.
"""

from __future__ import annotations

import numpy as np

from saltreach.science.distributions import band_probabilities
from saltreach.science.labelled import Axis, labelled
from saltreach.science.types import Flags, Floats, Values, number, numbers
from saltreach.vocabulary.words import CLASSES

F1_SEA: tuple[tuple[float, float], ...] = ((250.0, -15.0), (1_000.0, -7.0), (10_000.0, -3.0))
"""Distance to the sea up to and including (m), F1 (Table A.1); beyond the last row F1 is 0."""

F1_MILD_SEA = -10.0
"""F1 up to 250 m on the Baltic and on Germany's North Sea coast."""

F1_ROAD: tuple[tuple[float, float], ...] = ((10.0, -7.0), (100.0, -3.0))
"""Distance to a road with de-icing salt up to and including (m), F1 (Table A.1)."""

F1_ROAD_TUNNEL = -10.0
"""F1 in a road tunnel with de-icing salt."""

F2_SO2: tuple[tuple[float, float], ...] = ((10.0, 0.0), (90.0, -5.0), (250.0, -10.0))
"""SO2 concentration below (ug/m3), F2; the last row's end is the table's end."""

F3_WASHED, F3_CLEANED, F3_UNWASHED = 0.0, -2.0, -7.0
"""Washed by rain; under a specified cleaning regime; neither."""


@labelled("1")
def sea_factor(coast_distance_m: Values, mild_sea: Flags = False) -> Floats:
    """F1: the risk from chloride of the sea.

    Parameters
    ----------
    coast_distance_m : array_like
        Distance to the sea, m.
    mild_sea : array_like of bool
        On the Baltic, or on the North Sea coast of Germany.

    Returns
    -------
    ndarray of float
        -15, -10, -7, -3 or 0; NaN where the distance is unknown.

    References
    ----------
    EN 1993-1-4:2006+A1:2015, Table A.1.

    Examples
    --------
    >>> sea_factor([250.0, 251.0, 20_000.0]).tolist()
    [-15.0, -7.0, 0.0]
    """
    distance = number(coast_distance_m)
    limits, factors = (np.array(v) for v in zip(*F1_SEA, strict=True))
    factor = np.append(factors, 0.0)[np.searchsorted(limits, distance, side="left")]
    factor = np.where((factor == F1_SEA[0][1]) & np.asarray(mild_sea, bool), F1_MILD_SEA, factor)
    return np.where(np.isnan(distance), np.nan, factor)


@labelled("1")
def road_factor(salted_road_m: Values, in_tunnel: Flags = False) -> Floats:
    """F1: the risk from chloride of roads with de-icing salt.

    Parameters
    ----------
    salted_road_m : array_like
        Distance to the road, m; NaN: none is known, which counts as none.
    in_tunnel : array_like of bool
        In a road tunnel, or within 10 m of its mouth.

    Returns
    -------
    ndarray of float
        -10, -7, -3 or 0. The standard takes the worse of the sea's and the road's factor.

    References
    ----------
    EN 1993-1-4:2006+A1:2015, Table A.1. Salt from roads is still measured beyond 100 m, so 0
    there is a step of the table and not nothing.

    Examples
    --------
    >>> road_factor([8.0, 60.0, 150.0, float("nan")]).tolist()
    [-7.0, -3.0, 0.0, 0.0]
    """
    distance = number(salted_road_m)
    limits, factors = (np.array(v) for v in zip(*F1_ROAD, strict=True))
    factor = np.append(factors, 0.0)[np.searchsorted(limits, distance, side="left")]
    factor = np.where(np.isnan(distance), 0.0, factor)
    return np.where(np.asarray(in_tunnel, bool), F1_ROAD_TUNNEL, factor)


@labelled("1")
def so2_factor(so2_ug_m3: Values) -> Floats:
    """F2: the risk from sulphur dioxide.

    Parameters
    ----------
    so2_ug_m3 : array_like
        Annual mean concentration, µg/m³.

    Returns
    -------
    ndarray of float
        0, -5 or -10; NaN where unknown or above the table's end (250).

    References
    ----------
    EN 1993-1-4:2006+A1:2015, Table A.1.

    Examples
    --------
    >>> so2_factor([2.0, 10.0, 251.0]).tolist()
    [0.0, -5.0, nan]
    """
    so2 = number(so2_ug_m3)
    limits, factors = (np.array(v) for v in zip(*F2_SO2, strict=True))
    factor = factors[np.searchsorted(limits[:-1], so2, side="right")]
    return np.where(np.isnan(so2) | (so2 > limits[-1]), np.nan, factor)


@labelled("1")
def resistance_factor(f1: Values, f2: Values, f3: Values) -> Floats:
    """CRF, the corrosion resistance factor: F1 + F2 + F3.

    .. math:: CRF = F_1 + F_2 + F_3

    Parameters
    ----------
    f1, f2, f3 : array_like
        Factors for the sea, SO2 and cleaning. F3 counts only where F1 + F2 is below zero.

    Returns
    -------
    ndarray of float
        CRF; lower is harsher. NaN stays NaN.

    References
    ----------
    EN 1993-1-4:2006+A1:2015, A.2.

    Examples
    --------
    >>> float(resistance_factor(-15, 0, -7)), float(resistance_factor(0, 0, -7))
    (-22.0, 0.0)
    """
    f1, f2, f3 = numbers(f1, f2, f3)
    air = f1 + f2
    return air + np.where(air < 0, f3, 0.0)


@labelled("1")
def resistance_class(crf: Values) -> Floats:
    """CRC, the corrosion resistance class, as a number 1 (I) to 5 (V).

    Parameters
    ----------
    crf : array_like
        Corrosion resistance factor.

    Returns
    -------
    ndarray of float
        1: CRF above 0; 2: 0 to above -7; 3: -7 to above -15; 4: -15 to -20; 5: below -20.
        NaN stays NaN.

    References
    ----------
    EN 1993-1-4:2006+A1:2015, Table A.2.

    Examples
    --------
    >>> resistance_class([0, -7, -15, -20, -21]).tolist()
    [2.0, 3.0, 4.0, 4.0, 5.0]
    """
    value = number(crf)
    harsher = (value <= 0).astype(float) + (value <= -7) + (value <= -15) + (value < -20)
    return np.where(np.isnan(value), np.nan, 1 + harsher)


@labelled("1", gives=Axis("resistance_class", CLASSES))
def crc_probabilities(
    coast_distance_m: Values,
    coast_distance_sd_m: Values,
    so2_ug_m3: Values,
    so2_sigma_ln: Values,
    f3: Values,
    mild_sea: Flags = False,
    f1_road: Values = 0.0,
) -> Floats:
    """Probability of each EN 1993-1-4 corrosion resistance class, exact.

    Parameters
    ----------
    coast_distance_m, coast_distance_sd_m : array_like
        Distance to the sea and the standard deviation of its normal error, m. Below 0 counts
        as 0.
    so2_ug_m3, so2_sigma_ln : array_like
        Median SO2 (µg/m³) and the standard deviation of its logarithm.
    f3 : array_like
        `F3_WASHED` and so on.
    mild_sea : array_like of bool
        As in `sea_factor`.
    f1_road : array_like
        From `road_factor`; the worse of it and the sea's counts.

    Returns
    -------
    ndarray, shape (..., 5)
        Classes I to V. Rows sum to 1 less the chance that SO2 is beyond the table's end (250);
        NaN where an input is unknown.

    References
    ----------
    EN 1993-1-4:2006+A1:2015, Tables A.1 and A.2; probabilities by the normal distribution.

    Examples
    --------
    >>> crc_probabilities(240.0, 50.0, 2.0, 0.5, F3_WASHED).round(2).tolist()
    [0.0, 0.0, 0.42, 0.58, 0.0]
    """
    broadcast = np.broadcast_arrays(
        *numbers(coast_distance_m, coast_distance_sd_m, so2_ug_m3, so2_sigma_ln, f3, mild_sea,
                 f1_road)
    )  # fmt: skip
    shape = broadcast[0].shape
    distance, distance_sd, so2, so2_sigma, f3, mild, road = (v.ravel() for v in broadcast)
    sea_limits = np.array([limit for limit, _ in F1_SEA])
    at_sea = np.append(sea_limits, np.inf)
    f1 = sea_factor(at_sea, mild[:, None] > 0)  # a limit belongs to the nearer band
    f1 = np.minimum(f1, road[:, None])
    sea = band_probabilities(distance, distance_sd, sea_limits, at_limit=True)
    with np.errstate(divide="ignore"):
        so2_ln = np.log(so2)
    so2_limits = np.array([limit for limit, _ in F2_SO2])
    # A limit belongs to the dirtier band, save the last: it is still in the table.
    air = band_probabilities(so2_ln, so2_sigma, np.log(so2_limits), at_limit=False)[:, :-1]
    end = (so2_sigma == 0) & (so2 == so2_limits[-1])
    air[end, -1] = 1.0
    out = np.zeros((len(distance), 5))
    for band, (_, f2) in enumerate(F2_SO2):
        crf = resistance_factor(f1, f2, f3[:, None])
        crc = resistance_class(crf)
        for place in range(5):
            out[:, place] += air[:, band] * np.where(crc == place + 1, sea, 0.0).sum(axis=1)
    out[np.isnan(distance + distance_sd + so2 + so2_sigma + f3)] = np.nan
    return out.reshape(*shape, 5)


@labelled("1")
def pitting_resistance(
    chromium_pct: Values, molybdenum_pct: Values, nitrogen_pct: Values
) -> Floats:
    r"""Pitting resistance equivalent, PREN16.

    .. math:: PREN_{16} = Cr + 3.3\,Mo + 16\,N

    It ranks pitting, not stress-corrosion cracking, and says nothing of titanium.

    Parameters
    ----------
    chromium_pct, molybdenum_pct, nitrogen_pct : array_like
        Contents, % by mass.

    Returns
    -------
    array_like
        Cr + 3.3 Mo + 16 N.

    References
    ----------
    PREN16 as commonly published for stainless steels, from memory.

    Examples
    --------
    >>> round(float(pitting_resistance(22.4, 3.1, 0.17)), 1)
    35.3
    """
    chromium_pct, molybdenum_pct, nitrogen_pct = numbers(chromium_pct, molybdenum_pct, nitrogen_pct)
    return chromium_pct + 3.3 * molybdenum_pct + 16.0 * nitrogen_pct
