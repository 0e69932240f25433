"""Washing by rain, time of wetness, and the hours in which only some salts are liquid.

Hours are estimated from monthly means. Within a month temperature and relative humidity follow
a day-night wave in opposite phase (coldest and dampest together), and days differ from each
other by a normal spread:

.. math:: H = \\bar H + A_H \\cos\\varphi + \\sigma_H Z, \\qquad
          T = \\bar T - A_T \\cos\\varphi + \\sigma_T Z'

with phase φ even over the day and Z, Z' independent standard normal. Amplitudes and spreads are
**stated assumptions**, not data: the defaults are our judgement for open temperate sites. The
amplitude shrinks near 100 and 0 % so that the wave stays possible. Saturated means above 100 %
count as 100 %.
"""

from __future__ import annotations

import numpy as np

from saltreach.science.labelled import Axis, labelled
from saltreach.science.lookup import classify
from saltreach.science.normal import normal_cdf
from saltreach.science.types import Floats, Texts, Values, Words, number, numbers
from saltreach.vocabulary.words import UNKNOWN, Scale

MONTHS = Axis("month")
HOURS_OF_MONTH = 24 * np.array([31, 28.25, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31])
HOURS_OF_YEAR = float(HOURS_OF_MONTH.sum())

HUMIDITY_AMPLITUDE_PCT = 15.0
HUMIDITY_SPREAD_PCT = 8.0
TEMPERATURE_AMPLITUDE_C = 4.0
TEMPERATURE_SPREAD_C = 4.0
"""Half of the mean day-night range, and standard deviation between days: judgement."""

WET_ABOVE_PCT = 80.0  # wet above this and 0 °C: ISO 9223:1992, from memory
MAGNESIUM_CHLORIDE_PCT = 33.0
SODIUM_CHLORIDE_PCT = 75.0
"""Humidity at which MgCl2 and NaCl turn liquid near 25 °C, from memory."""

WASHED_BELOW_DEG = 85.0
SHELTERED_ABOVE_DEG = 100.0
"""Faces that every rain washes, and that none does: common practice, no source."""

TAU_CLASSES = Scale(("tau1", "tau2", "tau3", "tau4", "tau5"))
"""Of time of wetness, ISO 9223:1992."""
TAU_UPPER_H_Y = (10.0, 250.0, 2500.0, 5500.0)
"""Upper limit of tau1 to tau4, h/y: ISO 9223:1992, from memory."""

PHASES = 24  # of half a wave; the other half mirrors it
_COSINES = np.cos(np.pi * (np.arange(PHASES) + 0.5) / PHASES)
_FEWER = np.cos(np.pi * (np.arange(PHASES // 2) + 0.5) / (PHASES // 2))
_EVEN_WAVE = 2.0  # a wave up to twice the spread needs half the phases, to 1e-13 of the share


@labelled(None)
def rain_washed_from_face(face_slope_deg: Values, rain_washed: Words = UNKNOWN) -> Texts:
    """Whether rain washes a place, from the register, else from the slope of the face.

    Parameters
    ----------
    face_slope_deg : array_like, shape (n,)
        Slope of the face, degrees: 90 is vertical, more overhangs. NaN: unknown.
    rain_washed : array_like of str, shape (n,), optional
        What the register says: ``yes``, ``no`` or ``unknown``; yes and no win.

    Returns
    -------
    ndarray of str
        ``yes`` below 85 degrees, ``no`` above 100 degrees, ``unknown`` between.

    Notes
    -----
    Common practice, no source: a slab is wetted by any rain, an overhang by none, a steep wall
    depends on wind and on what juts out above it.

    References
    ----------
    Common practice, no source.

    Examples
    --------
    >>> rain_washed_from_face([70, 90, 120, 120], ["unknown", "unknown", "unknown", "yes"]).tolist()
    ['yes', 'unknown', 'no', 'yes']
    """
    slope, said = number(face_slope_deg), np.asarray(rain_washed, object)
    by_slope = np.where(slope < WASHED_BELOW_DEG, "yes",
                        np.where(slope > SHELTERED_ABOVE_DEG, "no", UNKNOWN))  # fmt: skip
    return np.where((said == "yes") | (said == "no"), said, by_slope).astype(object)


@labelled("1")
def wet_share(
    temperature_c: Values,
    relative_humidity_pct: Values,
    *,
    humidity_amplitude_pct: Values = HUMIDITY_AMPLITUDE_PCT,
    humidity_spread_pct: Values = HUMIDITY_SPREAD_PCT,
    temperature_amplitude_c: Values = TEMPERATURE_AMPLITUDE_C,
    temperature_spread_c: Values = TEMPERATURE_SPREAD_C,
) -> Floats:
    """Share of a month with relative humidity above 80 % and temperature above 0 °C.

    Parameters
    ----------
    temperature_c, relative_humidity_pct : array_like
        Monthly means, °C and %.
    humidity_amplitude_pct, temperature_amplitude_c : array_like, optional
        Half of the mean day-night range, % and °C.
    humidity_spread_pct, temperature_spread_c : array_like, optional
        Standard deviation between days, % and °C, above 0.

    Returns
    -------
    array_like
        0 to 1, shape and labels of the inputs; NaN stays NaN.

    References
    ----------
    Definition of time of wetness: ISO 9223:1992, kept in 2012 (from memory).

    Examples
    --------
    >>> round(float(wet_share(15.0, 80.0)), 2)
    0.5
    """
    temperature_c, relative_humidity_pct = numbers(temperature_c, relative_humidity_pct)
    temperature_amplitude_c, temperature_spread_c = numbers(
        temperature_amplitude_c, temperature_spread_c
    )
    amplitude_pct, spread_pct = numbers(humidity_amplitude_pct, humidity_spread_pct)
    wave = _possible_amplitude(relative_humidity_pct, amplitude_pct)
    cosines = _cosines((amplitude_pct, spread_pct), (temperature_amplitude_c, temperature_spread_c))
    above = relative_humidity_pct - WET_ABOVE_PCT
    total = number(0.0)
    for cosine in cosines:
        damp = normal_cdf((above + wave * cosine) / spread_pct)
        warm = temperature_c - temperature_amplitude_c * cosine
        total = total + damp * normal_cdf(warm / temperature_spread_c)
    return total / len(cosines)


@labelled("h year-1", takes={"temperature_c": MONTHS, "relative_humidity_pct": MONTHS})
def time_of_wetness_h_y(
    temperature_c: Values, relative_humidity_pct: Values, **assumptions: Values
) -> Floats:
    """Estimated hours in a year with relative humidity above 80 % and temperature above 0 °C.

    Parameters
    ----------
    temperature_c, relative_humidity_pct : array_like, shape (..., 12)
        Monthly means, January first on the last axis, °C and %.
    **assumptions : array_like
        Amplitudes and spreads of `wet_share`.

    Returns
    -------
    array_like, shape (...)
        h/y, 0 to 8766; NaN where a month is unknown.

    References
    ----------
    ISO 9223:1992 (definition, from memory); hours from monthly means: see the module.

    Examples
    --------
    >>> import numpy as np
    >>> round(float(time_of_wetness_h_y(np.full(12, 15.0), np.full(12, 99.0))))
    8681
    """
    return _hours_of_year(wet_share(temperature_c, relative_humidity_pct, **assumptions))


@labelled(None)
def tau_class(time_of_wetness_h_y: Values) -> Texts:
    """Class of time of wetness, tau1 to tau5; empty where unknown.

    Parameters
    ----------
    time_of_wetness_h_y : array_like
        h/y.

    Returns
    -------
    ndarray of str
        An upper limit belongs to the lower class.

    References
    ----------
    ISO 9223:1992, table 1, limits from memory: 10, 250, 2500, 5500 h/y.

    Examples
    --------
    >>> tau_class([10, 11, 3000, 6000]).tolist()
    ['tau1', 'tau2', 'tau4', 'tau5']
    """
    return classify(time_of_wetness_h_y, TAU_UPPER_H_Y, TAU_CLASSES, unknown="")


@labelled("hPa")
def saturation_pressure_hpa(temperature_c: Values) -> Floats:
    r"""Saturation vapour pressure over water (Magnus).

    .. math:: e = 6.112\, e^{17.62\, T / (243.12 + T)}

    Parameters
    ----------
    temperature_c : array_like
        Temperature T, °C.

    Returns
    -------
    array_like
        hPa; NaN stays NaN.

    References
    ----------
    WMO-No. 8, annex 4.B.

    Examples
    --------
    >>> round(float(saturation_pressure_hpa(20.0)), 1)
    23.3
    """
    temperature_c = number(temperature_c)
    return 6.112 * np.exp(17.62 * temperature_c / (243.12 + temperature_c))


@labelled("%")
def humidity_at_surface_pct(
    relative_humidity_pct: Values, temperature_c: Values, surface_temperature_c: Values
) -> Floats:
    r"""Relative humidity of the same air at the temperature of a surface.

    .. math:: H_s = H\, e(T) / e(T_s)

    Parameters
    ----------
    relative_humidity_pct : array_like
        Of the free air, %.
    temperature_c, surface_temperature_c : array_like
        Of the air and of the surface, °C.

    Returns
    -------
    array_like
        %, not limited: above 100 the surface is wet with dew.

    References
    ----------
    Vapour pressure is the same; Magnus formula, WMO-No. 8, annex 4.B.

    Examples
    --------
    >>> round(float(humidity_at_surface_pct(70.0, 25.0, 40.0)), 1)
    30.0
    """
    drier = saturation_pressure_hpa(temperature_c) / saturation_pressure_hpa(surface_temperature_c)
    return number(relative_humidity_pct) * drier


@labelled("1")
def deliquescent_share(
    temperature_c: Values,
    relative_humidity_pct: Values,
    *,
    humidity_amplitude_pct: Values = HUMIDITY_AMPLITUDE_PCT,
    humidity_spread_pct: Values = HUMIDITY_SPREAD_PCT,
    temperature_amplitude_c: Values = TEMPERATURE_AMPLITUDE_C,
    metal_excess_c: Values = 0.0,
    low_pct: Values = MAGNESIUM_CHLORIDE_PCT,
    high_pct: Values = SODIUM_CHLORIDE_PCT,
) -> Floats:
    """Share of a month in which MgCl2 and CaCl2 deposits are liquid but NaCl is not.

    Parameters
    ----------
    temperature_c, relative_humidity_pct : array_like
        Monthly means of the air, °C and %.
    humidity_amplitude_pct, temperature_amplitude_c : array_like, optional
        Half of the mean day-night range, % and °C.
    humidity_spread_pct : array_like, optional
        Standard deviation between days, %, above 0.
    metal_excess_c : array_like, optional
        How much warmer than the air the metal is when the day is warmest, °C, not negative; it
        follows the sun, half a wave by day and none by night. 0: the metal has the temperature
        of the air.
    low_pct, high_pct : array_like, optional
        Band of relative humidity at the metal, %.

    Returns
    -------
    array_like
        0 to 1, shape and labels of the inputs; NaN stays NaN.

    Notes
    -----
    Deposits dry below the humidity at which they turn liquid (NaCl near 45 %), so real times
    differ; the band is the one in which only the aggressive brines of MgCl2 and CaCl2 exist.

    References
    ----------
    Humidity at which MgCl2 and NaCl turn liquid near 25 °C (33 and 75 %), from memory; that
    the band between is the harmful one: Prosek and others (2009), Corrosion 65:105.

    Examples
    --------
    >>> round(float(deliquescent_share(25.0, 54.0)), 2)
    0.89
    """
    temperature_c, relative_humidity_pct = numbers(temperature_c, relative_humidity_pct)
    amplitude_c, excess_c = numbers(temperature_amplitude_c, metal_excess_c)
    low_pct, high_pct, spread_pct = numbers(low_pct, high_pct, humidity_spread_pct)
    amplitude_pct = number(humidity_amplitude_pct)
    wave = _possible_amplitude(relative_humidity_pct, amplitude_pct)
    # the sun's warmth has a kink, which takes all phases
    calm = excess_c.ndim == 0 and excess_c == 0
    cosines = _cosines((amplitude_pct, spread_pct)) if calm else _COSINES
    total = number(0.0)
    for cosine in cosines:
        air_c = temperature_c - amplitude_c * cosine
        drier = (
            number(1.0)
            if calm
            else humidity_at_surface_pct(1.0, air_c, air_c + excess_c * max(-cosine, 0.0))
        )
        mean = relative_humidity_pct + wave * cosine
        at_low, at_high = low_pct / drier, high_pct / drier  # humidity of the air, %
        # Air holds 100 % at most: a limit beyond that is never reached.
        total = total + np.maximum(
            _reached(at_high, mean, spread_pct) - _reached(at_low, mean, spread_pct),
            0.0,
        )
    return total / len(cosines)


@labelled("1", takes={"temperature_c": MONTHS, "relative_humidity_pct": MONTHS})
def deliquescent_share_of_year(
    temperature_c: Values, relative_humidity_pct: Values, **assumptions: Values
) -> Floats:
    """Share of the year in which MgCl2 and CaCl2 deposits are liquid but NaCl is not.

    Parameters
    ----------
    temperature_c, relative_humidity_pct : array_like, shape (..., 12)
        Monthly means, January first on the last axis, °C and %.
    **assumptions : array_like
        Those of `deliquescent_share`.

    Returns
    -------
    array_like, shape (...)
        0 to 1; NaN where a month is unknown.

    References
    ----------
    As `deliquescent_share`.

    Examples
    --------
    >>> import numpy as np
    >>> round(float(deliquescent_share_of_year(np.full(12, 25.0), np.full(12, 54.0))), 2)
    0.89
    """
    share = deliquescent_share(temperature_c, relative_humidity_pct, **assumptions)
    return _hours_of_year(share) / HOURS_OF_YEAR


def _cosines(*waves: tuple[Floats, Floats]) -> Floats:
    """Phases for amplitudes and spreads; all of them where a place has its own."""
    even = all(a.ndim == 0 and s.ndim == 0 and a <= _EVEN_WAVE * s for a, s in waves)
    return _FEWER if even else _COSINES


def _reached(limit_pct: Floats, mean_pct: Floats, spread_pct: Floats) -> Floats:
    """Chance that the humidity does not exceed a limit; 1 from 100 % on."""
    below = normal_cdf((limit_pct - mean_pct) / spread_pct)
    if (limit_pct >= 100).any():
        below = below * (limit_pct < 100) + 1.0 * (limit_pct >= 100)
    return below


def _possible_amplitude(mean_pct: Floats, amplitude_pct: Floats) -> Floats:
    """The wave, no higher than 100 % and no lower than 0 %."""
    return np.maximum(np.minimum(np.minimum(amplitude_pct, 100.0 - mean_pct), mean_pct), 0.0)


def _hours_of_year(share: Floats) -> Floats:
    """From shares of twelve months on the last axis; NaN where one is unknown."""
    hours = number(share) * HOURS_OF_MONTH
    return number(np.add.accumulate(hours, axis=-1)[..., -1])  # in the order of the months
