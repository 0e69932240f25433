"""Rock mass rating RMR89 and the geological strength index that follows from it.

RMR89 is the rating of Bieniawski (1989), Engineering Rock Mass Classifications, Wiley. Its
cells were checked against a public copy of the table headed "Input parameters to RMR1989
(from Bieniawski, 1989)"; that copy rates RQD below 25 % as 5, Bieniawski's own table and
Hoek's course notes as 3: we keep 3.

A value on a limit takes the poorer rating. The rating was made for tunnels and slopes; the sum
is taken by the caller, so that a missing part stays visible as NaN.
"""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from saltreach.errors import OptionError
from saltreach.science.labelled import labelled
from saltreach.science.lookup import classify, lookup
from saltreach.science.types import Floats, Texts, Values, Words, number
from saltreach.vocabulary.words import FAVOURABILITY, RMR_CLASSES

Steps = tuple[tuple[float, float], ...]

STRENGTH_STEPS: Steps = ((1, 1), (5, 2), (25, 4), (50, 7), (100, 12), (250, 15))
"""Rating above each limit of strength, MPa; 0 up to the first."""
RQD_STEPS = ((25, 8), (50, 13), (75, 17), (90, 20))
"""Rating above each limit of RQD, %; 3 up to the first."""
SPACING_STEPS = ((60, 8), (200, 10), (600, 15), (2000, 20))
"""Rating above each limit of joint spacing, mm; 5 up to the first."""
PERSISTENCE_STEPS = ((1, 4), (3, 2), (10, 1), (20, 0))
"""Rating from each limit of joint length, m; 6 below the first."""
APERTURE_STEPS = ((0.1, 4), (1, 1), (5, 0))
"""Rating from each limit of joint opening, mm; 5 below the first, 6 for closed (0 mm)."""

ROUGHNESS: Mapping[str, float] = {
    "very rough": 6,
    "rough": 5,
    "slightly rough": 3,
    "smooth": 1,
    "slickensided": 0,
}
INFILLING: Mapping[str, float] = {
    "none": 6,
    "hard below 5 mm": 4,
    "hard above 5 mm": 2,
    "soft below 5 mm": 2,
    "soft above 5 mm": 0,
}
JOINT_WEATHERING: Mapping[str, float] = {
    "unweathered": 6,
    "slight": 5,
    "moderate": 3,
    "high": 1,
    "decomposed": 0,
}
WATER: Mapping[str, float] = {"dry": 15, "damp": 10, "wet": 7, "dripping": 4, "flowing": 0}
ORIENTATION: Mapping[str, Mapping[str, float]] = {
    "tunnels": dict(zip(FAVOURABILITY, (0, -2, -5, -10, -12), strict=True)),
    "foundations": dict(zip(FAVOURABILITY, (0, -2, -7, -15, -25), strict=True)),
    "slopes": dict(zip(FAVOURABILITY, (0, -5, -25, -50, -60), strict=True)),
}
GSI_VALID_ABOVE_RMR89 = 23  # Hoek, Kaiser and Bawden (1995), from memory


def _stepped(value: Values, lowest: float, steps: Steps, *, from_limit: bool = False) -> Floats:
    """Rating of a value; NaN stays NaN."""
    value = number(value)
    limits, reached = zip(*steps, strict=True)
    place = np.searchsorted(limits, value, side="right" if from_limit else "left")
    return np.where(np.isnan(value), np.nan, np.array([lowest, *reached])[place])


@labelled("1")
def rmr_strength_rating(strength_mpa: Values) -> Floats:
    """RMR89 rating of the intact strength, 0 to 15.

    Parameters
    ----------
    strength_mpa : array_like
        Uniaxial compressive strength, MPa.

    Returns
    -------
    array_like
        Rating; a value on a limit takes the lower; NaN stays NaN.

    References
    ----------
    Bieniawski (1989), table of RMR89, parameter 1.

    Examples
    --------
    >>> float(rmr_strength_rating(120.0))
    12.0
    """
    return _stepped(strength_mpa, 0.0, STRENGTH_STEPS)


@labelled("1")
def rmr_rqd_rating(rqd_pct: Values) -> Floats:
    """RMR89 rating of the rock quality designation, 3 to 20.

    Parameters
    ----------
    rqd_pct : array_like
        RQD, %.

    Returns
    -------
    array_like
        Rating; a value on a limit takes the lower; NaN stays NaN.

    References
    ----------
    Bieniawski (1989), table of RMR89, parameter 2.

    Examples
    --------
    >>> float(rmr_rqd_rating(80.0))
    17.0
    """
    return _stepped(rqd_pct, 3.0, RQD_STEPS)


@labelled("%")
def rqd_from_spacing_pct(spacing_mm: Values) -> Floats:
    r"""Rock quality designation to expect of a mean joint spacing, where no core was drilled.

    .. math:: RQD = 100\, e^{-0.1 \lambda} (0.1 \lambda + 1)

    with :math:`\lambda` joints per metre.

    Parameters
    ----------
    spacing_mm : array_like
        Mean spacing, mm.

    Returns
    -------
    array_like
        RQD, %; NaN stays NaN. An upper estimate where several joint sets cross.

    References
    ----------
    Priest and Hudson (1976), negative exponential spacings, threshold 0.1 m; from memory.

    Examples
    --------
    >>> round(float(rqd_from_spacing_pct(100.0)), 1)
    73.6
    """
    per_threshold = 0.1 * 1000.0 / number(spacing_mm)
    return 100.0 * np.exp(-per_threshold) * (per_threshold + 1.0)


@labelled("1")
def rmr_spacing_rating(spacing_mm: Values) -> Floats:
    """RMR89 rating of the spacing of discontinuities, 5 to 20.

    Parameters
    ----------
    spacing_mm : array_like
        Spacing, mm.

    Returns
    -------
    array_like
        Rating; a value on a limit takes the lower; NaN stays NaN.

    References
    ----------
    Bieniawski (1989), table of RMR89, parameter 3.

    Examples
    --------
    >>> float(rmr_spacing_rating(400.0))
    10.0
    """
    return _stepped(spacing_mm, 5.0, SPACING_STEPS)


@labelled("1")
def rmr_detailed_condition_rating(
    persistence_m: Values,
    aperture_mm: Values,
    roughness: Words,
    infilling: Words,
    weathering: Words,
) -> Floats:
    """RMR89 rating of the condition of discontinuities, the sum of five parts, 0 to 30.

    Parameters
    ----------
    persistence_m : array_like
        Length of the joints, m.
    aperture_mm : array_like
        Opening, mm; 0 for closed.
    roughness, infilling, weathering : array_like of str
        Keys of `ROUGHNESS`, `INFILLING`, `JOINT_WEATHERING`.

    Returns
    -------
    array_like
        Rating; lengths and openings on a limit take the lower part; NaN if any part is unknown.

    Raises
    ------
    OptionError
        Words that are not of the tables.

    References
    ----------
    Bieniawski (1989), guidelines for the classification of discontinuity conditions.

    Examples
    --------
    >>> float(rmr_detailed_condition_rating(2.0, 0.5, "slightly rough", "none", "slight"))
    22.0
    """
    closed = 1.0 * (number(aperture_mm) == 0)
    return (
        _stepped(persistence_m, 6.0, PERSISTENCE_STEPS, from_limit=True)
        + _stepped(aperture_mm, 5.0, APERTURE_STEPS, from_limit=True)
        + closed
        + lookup(roughness, ROUGHNESS, "roughness")
        + lookup(infilling, INFILLING, "infilling")
        + lookup(weathering, JOINT_WEATHERING, "joint weathering")
    )


@labelled("1")
def rmr_water_rating(water: Words) -> Floats:
    """RMR89 rating of groundwater, 0 to 15.

    Parameters
    ----------
    water : array_like of str
        dry, damp, wet, dripping or flowing.

    Returns
    -------
    array_like
        Rating; NaN for empty.

    Raises
    ------
    OptionError
        Words that are not of the table.

    References
    ----------
    Bieniawski (1989), table of RMR89, parameter 5.

    Examples
    --------
    >>> float(rmr_water_rating("damp"))
    10.0
    """
    return lookup(water, WATER, "groundwater")


@labelled("1")
def rmr_orientation_adjustment(favourability: Words, structure: str = "slopes") -> Floats:
    """RMR89 adjustment for the orientation of discontinuities, 0 or negative.

    Parameters
    ----------
    favourability : array_like of str
        One of `FAVOURABILITY`.
    structure : str
        slopes, tunnels or foundations.

    Returns
    -------
    array_like
        Adjustment; NaN for empty.

    Raises
    ------
    OptionError
        Unknown structure or word.

    References
    ----------
    Bieniawski (1989), table of RMR89, part B.

    Examples
    --------
    >>> float(rmr_orientation_adjustment("fair"))
    -25.0
    """
    if structure not in ORIENTATION:
        raise OptionError(f"structure {structure!r} is not known; use one of {list(ORIENTATION)}")
    return lookup(favourability, ORIENTATION[structure], "favourability")


@labelled(None)
def rmr_class(rmr89: Values) -> Texts:
    """Class of a rock mass rating.

    Parameters
    ----------
    rmr89 : array_like
        Sum of the five ratings, with or without the orientation adjustment.

    Returns
    -------
    numpy.ndarray of str
        I (81 to 100), II (61 to 80), III (41 to 60), IV (21 to 40), V (below 21);
        `unknown` for NaN.

    References
    ----------
    Bieniawski (1989), table of RMR89, part C.

    Examples
    --------
    >>> rmr_class([81, 49, 20]).tolist()
    ['I', 'III', 'V']
    """
    return classify(rmr89, (20, 40, 60, 80), RMR_CLASSES)


@labelled("1")
def gsi_from_rmr89(rmr89_dry: Values) -> Floats:
    r"""Geological strength index from RMR89.

    .. math:: GSI = RMR_{89}' - 5

    Parameters
    ----------
    rmr89_dry : array_like
        RMR89 with the groundwater rated 15 (dry) and no orientation adjustment.

    Returns
    -------
    array_like
        GSI; NaN where the rating is 23 or less, for which the relation does not hold.

    References
    ----------
    Hoek, Kaiser and Bawden (1995), from memory.

    Examples
    --------
    >>> float(gsi_from_rmr89(60.0))
    55.0
    """
    rmr89_dry = number(rmr89_dry)
    return np.where(rmr89_dry > GSI_VALID_ABOVE_RMR89, rmr89_dry - 5.0, np.nan)
