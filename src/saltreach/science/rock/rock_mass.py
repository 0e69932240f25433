"""Rock mass: ISRM words for strength and spacing, Hoek-Brown, Q-slope.

These describe masses many blocks wide and were made for tunnels and slopes; for an anchor of a
hand's depth they only say how much of the intact strength may be counted on. A value on a
limit takes the poorer side. The rock mass rating is in `rmr`.
"""

from __future__ import annotations

from typing import Any, NamedTuple

import numpy as np

from saltreach.science.lookup import named

STRENGTH_GRADES = ("R0", "R1", "R2", "R3", "R4", "R5", "R6")
SPACING_CLASSES = (
    "extremely close",
    "very close",
    "close",
    "medium",
    "wide",
    "very wide",
    "extremely wide",
)
SPACING_LIMITS_MM = (20, 60, 200, 600, 2000, 6000)
STRENGTH_LIMITS_MPA = (1, 5, 25, 50, 100, 250)


def isrm_strength_grade(strength_mpa: Any) -> np.ndarray:
    """ISRM grade of a strength.

    Parameters
    ----------
    strength_mpa : array_like
        Uniaxial compressive strength, MPa.

    Returns
    -------
    numpy.ndarray of str
        R0 to R6; a value on a limit takes the lower grade; `unknown` for NaN.

    References
    ----------
    ISRM grades with the limits of the field table in Hoek's notes: 1, 5, 25, 50, 100, 250 MPa.
    Below 0.25 MPa the standard speaks of soil; it is named R0 here.

    Examples
    --------
    >>> isrm_strength_grade([50, 50.1, 300]).tolist()
    ['R3', 'R4', 'R6']
    """
    return named(strength_mpa, STRENGTH_LIMITS_MPA, STRENGTH_GRADES)


def spacing_class(spacing_mm: Any) -> np.ndarray:
    """ISRM word for the spacing of discontinuities.

    Parameters
    ----------
    spacing_mm : array_like
        Mean spacing, mm.

    Returns
    -------
    numpy.ndarray of str
        One of `SPACING_CLASSES`; a value on a limit takes the closer class.

    References
    ----------
    ISRM (1978), limits 20, 60, 200, 600, 2000, 6000 mm, from memory.

    Examples
    --------
    >>> spacing_class([60, 300]).tolist()
    ['very close', 'medium']
    """
    return named(spacing_mm, SPACING_LIMITS_MM, SPACING_CLASSES)


class HoekBrown(NamedTuple):
    """Hoek-Brown constants of a rock mass and the two strengths that follow, MPa."""

    mb: Any
    s: Any
    a: Any
    rock_mass_strength_mpa: Any
    tensile_strength_mpa: Any


def hoek_brown(strength_mpa: Any, mi: Any, gsi: Any, disturbance: Any = 0.0) -> HoekBrown:
    r"""Hoek-Brown parameters of a rock mass, 2002 edition.

    .. math:: m_b = m_i e^{(GSI-100)/(28-14D)}, \quad s = e^{(GSI-100)/(9-3D)}, \quad
        a = \tfrac12 + \tfrac16 (e^{-GSI/15} - e^{-20/3})

    .. math:: \sigma_{cm} = \sigma_{ci} s^a, \qquad \sigma_t = -s \sigma_{ci} / m_b

    Parameters
    ----------
    strength_mpa : array_like
        Uniaxial compressive strength of intact rock, MPa.
    mi : array_like
        Hoek-Brown constant of intact rock.
    gsi : array_like
        Geological strength index, 0 to 100.
    disturbance : array_like
        Disturbance factor D: 0 in place, 1 heavily blasted.

    Returns
    -------
    HoekBrown
        mb, s, a, and uniaxial and tensile strength of the rock mass, MPa (tension negative);
        NaN stays NaN.

    References
    ----------
    Hoek, Carranza-Torres and Corkum (2002), equations 3 to 7; the forms of mb, s and a as in
    FHWA-NHI-16-072 (GEC 5), equations 9.30 to 9.32.

    Examples
    --------
    >>> rock = hoek_brown(150, 25, 75)
    >>> round(float(rock.mb), 2), round(float(rock.s), 3)
    (10.24, 0.062)
    """
    mb = mi * np.exp((gsi - 100.0) / (28.0 - 14.0 * disturbance))
    s = np.exp((gsi - 100.0) / (9.0 - 3.0 * disturbance))
    a = 0.5 + (np.exp(-gsi / 15.0) - np.exp(-20.0 / 3.0)) / 6.0
    return HoekBrown(mb, s, a, strength_mpa * s**a, -s * strength_mpa / mb)


def q_slope_angle_deg(q_slope: Any) -> Any:
    r"""Steepest slope that stands without support.

    .. math:: \beta = 20 \log_{10} Q_{slope} + 65

    Parameters
    ----------
    q_slope : array_like
        Q-slope value, above 0.

    Returns
    -------
    array_like
        Angle, degrees; NaN stays NaN. Fitted on slopes of 35 to 90 degrees.

    References
    ----------
    Barton and Bar (2015); Bar and Barton (2017), doi 10.1007/s00603-017-1305-0.

    Examples
    --------
    >>> float(q_slope_angle_deg(1.0))
    65.0
    """
    return 20.0 * np.log10(q_slope) + 65.0
