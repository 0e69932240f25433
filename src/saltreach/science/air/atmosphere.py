"""Atmospheric corrosivity after ISO 9223:2012: first-year loss, category, and their spread.

The dose-response functions hold for carbon steel, zinc, copper and aluminium only. There is
none for stainless steel: see `saltreach.science.metal.stainless`.

Coefficients, calibration ranges, category limits and uncertainties are from memory of
ISO 9223:2012 (clause 8.1 equations 1 to 4, tables 2 and 3, Annex A); check them against the
printed standard before relying on a class that a small change would move.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from saltreach.errors import OptionError
from saltreach.science.labelled import labelled
from saltreach.science.types import Flags, Floats, Values, number, numbers


class DoseResponse(NamedTuple):
    """Coefficients of one metal's dose-response function (ISO 9223:2012, equations 1 to 4)."""

    so2_factor: float
    so2_power: float
    so2_humidity: float
    cold: float
    warm: float
    salt_factor: float
    salt_power: float
    salt_humidity: float
    salt_temperature: float
    error_sigma_ln: float


DOSE_RESPONSE: dict[str, DoseResponse] = {
    "steel": DoseResponse(
        1.77, 0.52, 0.020, 0.150, -0.054, 0.102, 0.62, 0.033, 0.040, float(np.log(1.5))
    ),
    "zinc": DoseResponse(
        0.0129, 0.44, 0.046, 0.038, -0.071, 0.0175, 0.57, 0.008, 0.085, float(np.log(1.5))
    ),
    "copper": DoseResponse(
        0.0053, 0.26, 0.059, 0.126, -0.080, 0.01025, 0.27, 0.036, 0.049, float(np.log(1.5))
    ),
    "aluminium": DoseResponse(
        0.0042, 0.73, 0.025, 0.009, -0.043, 0.0018, 0.60, 0.020, 0.094, float(np.log(2.0))
    ),
}
"""Per metal; `error_sigma_ln` is the standard deviation of ln(rate) that Annex A's -33..+50 %
(aluminium -50..+100 %) stands for."""

CALIBRATION_RANGE: dict[str, tuple[float, float]] = {
    "temperature_c": (-17.1, 28.7),
    "relative_humidity_pct": (34.0, 93.0),
    "so2_mg_m2_d": (0.7, 150.4),
    "chloride_mg_m2_d": (0.4, 760.5),
}
"""Inputs the functions were fitted on; outside, values are computed, flagged and less sure
(ISO 9223:2012, table 3, from memory)."""

BEYOND_SIGMA_LN = 0.4
"""Standard deviation of ln(rate) that extrapolation adds per `BEYOND_UNIT` outside
`CALIBRATION_RANGE`: judgement. With 0.4 the 10th percentile of steel and zinc still never falls
where salt rises (their powers of chloride, 0.62 and 0.57, are above 1.28 x 0.4)."""
BEYOND_UNIT: dict[str, float] = {
    "temperature_c": 10.0,
    "relative_humidity_pct": 10.0,
    "so2_mg_m2_d": 1.0,
    "chloride_mg_m2_d": 1.0,
}
"""One unit of overshoot: 10 degC, 10 %, and a factor of e in a deposition. Judgement."""

UPPER_LIMIT_UM_Y: dict[str, tuple[float, ...]] = {
    "steel": (1.3, 25.0, 50.0, 80.0, 200.0, 700.0),
    "zinc": (0.1, 0.7, 2.1, 4.2, 8.4, 25.0),
    "copper": (0.1, 0.6, 1.3, 2.8, 5.6, 10.0),
}
"""Upper limit of C1 to CX, um/y (ISO 9223:2012, table 2, from memory); a limit belongs to the lower
class."""

ALUMINIUM_UPPER_LIMIT_G_M2_Y: tuple[float, ...] = (0.0, 0.6, 2.0, 5.0, 10.0, np.inf)
"""Upper limit of C1 to CX for aluminium, g/(m2 y): the table (ISO 9223:2012, 2, from
memory) is in mass, the function in um."""

ALUMINIUM_DENSITY_G_CM3 = 2.7  # handbooks, from memory


@labelled("um year-1")
def first_year_loss_um_y(
    metal: str,
    temperature_c: Values,
    relative_humidity_pct: Values,
    so2_mg_m2_d: Values,
    chloride_mg_m2_d: Values,
) -> Floats:
    r"""First-year corrosion loss of a metal in the open air.

    .. math:: r = a_1 P^{p_1} e^{h_1 H + f(T)} + a_2 S^{p_2} e^{h_2 H + t_2 T}

    with :math:`f = k_c (T - 10)` up to 10 °C and :math:`k_w (T - 10)` above.

    Parameters
    ----------
    metal : {"steel", "zinc", "copper", "aluminium"}
        Carbon steel, zinc, copper or aluminium.
    temperature_c : array_like
        Annual mean air temperature T, °C.
    relative_humidity_pct : array_like
        Annual mean relative humidity H, %.
    so2_mg_m2_d, chloride_mg_m2_d : array_like
        Deposition rates P (SO2) and S (chloride), mg/(m² d), not negative.

    Returns
    -------
    array_like
        Rate in µm/y, with the broadcast shape and labels of the inputs. NaN stays NaN.

    Raises
    ------
    OptionError
        When the metal is none of the four.

    Notes
    -----
    Fitted inside `CALIBRATION_RANGE`; outside it the value is still computed,
    `beyond_calibration` marks it and `error_sigma_ln` widens its error.

    References
    ----------
    ISO 9223:2012, equations (1) to (4), from memory.

    Examples
    --------
    >>> round(float(first_year_loss_um_y("steel", 10, 75, 10, 10)), 2)
    33.8
    """
    so2, salt = loss_parts_um_y(
        metal, temperature_c, relative_humidity_pct, so2_mg_m2_d, chloride_mg_m2_d
    )
    return so2 + salt


def _coefficients(metal: str) -> DoseResponse:
    try:
        return DOSE_RESPONSE[metal]
    except KeyError:
        raise OptionError(f"metal {metal!r}: give one of {', '.join(DOSE_RESPONSE)}") from None


def loss_parts_um_y(
    metal: str, temperature: Values, humidity: Values, so2: Values, salt: Values
) -> tuple[Floats, Floats]:
    """The two terms of `first_year_loss_um_y`, of SO2 and of salt, um/y.

    Each has the broadcast shape of what it depends on, and no more.

    References
    ----------
    As `first_year_loss_um_y`.
    """
    k = _coefficients(metal)
    temperature, humidity, so2, salt = numbers(temperature, humidity, so2, salt)
    above_10 = temperature - 10.0
    f = k.cold * np.minimum(above_10, 0) + k.warm * np.maximum(above_10, 0)
    return (
        k.so2_factor * so2**k.so2_power * np.exp(k.so2_humidity * humidity + f),
        k.salt_factor
        * salt**k.salt_power
        * np.exp(k.salt_humidity * humidity + k.salt_temperature * temperature),
    )


@labelled("1")
def error_sigma_ln(
    metal: str,
    temperature_c: Values,
    relative_humidity_pct: Values,
    so2_mg_m2_d: Values,
    chloride_mg_m2_d: Values,
    so2_share: Values,
) -> Floats:
    r"""Standard deviation of the function's own error in ln(rate), wider beyond its range.

    .. math:: \sigma^2 = \sigma_0^2 + 0.4^2\,[(w e_P)^2 + ((1 - w) e_S)^2 + e_T^2 + e_H^2]

    Parameters
    ----------
    metal, temperature_c, relative_humidity_pct, so2_mg_m2_d, chloride_mg_m2_d : array_like
        As in `first_year_loss_um_y`.
    so2_share : array_like
        Share w of the SO2 part in the rate, 0 to 1.

    Returns
    -------
    array_like
        No unit; `DoseResponse.error_sigma_ln` inside `CALIBRATION_RANGE`.

    Notes
    -----
    e are the overshoots in `BEYOND_UNIT`. A deposition counts by the share of its part in the
    rate: salt below the range means nothing where the rate comes from SO2. A deposition below a
    hundredth of its lower limit counts as that.

    References
    ----------
    ISO 9223:2012, Annex A (inside the range, from memory); how it widens beyond is judgement.

    Examples
    --------
    >>> inside = error_sigma_ln("steel", 27.0, 80.0, 2.0, 300.0, 0.03)
    >>> outside = error_sigma_ln("steel", 27.0, 80.0, 2.0, 2000.0, 0.01)
    >>> round(float(inside), 2), round(float(outside), 2)
    (0.41, 0.56)
    """
    return np.sqrt(
        error_variance(
            metal, temperature_c, relative_humidity_pct, so2_mg_m2_d, chloride_mg_m2_d, so2_share
        )
    )


def error_variance(
    metal: str, temperature: Values, humidity: Values, so2: Values, salt: Values, so2_share: Values
) -> Floats:
    """The square of `error_sigma_ln`.

    References
    ----------
    As `error_sigma_ln`.
    """
    so2_share = number(so2_share)
    by_air = _overshoot("temperature_c", temperature) ** 2
    by_air = by_air + _overshoot("relative_humidity_pct", humidity) ** 2
    over_p = BEYOND_SIGMA_LN * _overshoot("so2_mg_m2_d", so2)
    over_s = BEYOND_SIGMA_LN * _overshoot("chloride_mg_m2_d", salt)
    inside = _coefficients(metal).error_sigma_ln ** 2 + BEYOND_SIGMA_LN**2 * by_air
    return inside + (so2_share * over_p) ** 2 + ((1.0 - so2_share) * over_s) ** 2


def _overshoot(name: str, value: Values) -> Floats:
    """How far a value lies outside its range, in `BEYOND_UNIT`; 0 inside."""
    (low, high), found = CALIBRATION_RANGE[name], number(value)
    if name.endswith("_mg_m2_d"):
        found, low, high = np.log(np.maximum(found, low / 100)), np.log(low), np.log(high)
    beyond = np.maximum(np.maximum(found - high, low - found), 0.0) / BEYOND_UNIT[name]
    return number(beyond)


@labelled("1", dtype=bool)
def beyond_calibration(**inputs: Values) -> Flags:
    """Whether any input lies outside the range the functions were fitted on.

    Parameters
    ----------
    **inputs : array_like
        Any of the names in `CALIBRATION_RANGE`.

    Returns
    -------
    array_like of bool
        NaN counts as inside: it is unknown, not extreme.

    References
    ----------
    ISO 9223:2012, the ranges of its clause 8.1, from memory.

    Examples
    --------
    >>> beyond_calibration(chloride_mg_m2_d=[300.0, 2000.0]).tolist()
    [False, True]
    """
    outside = np.asarray(False)
    for name, value in inputs.items():
        (low, high), found = CALIBRATION_RANGE[name], number(value)
        outside = outside | (found < low) | (found > high)
    return outside


@labelled("1")
def category_index(metal: str, rate_um_y: Values) -> Floats:
    """Corrosivity category of a first-year loss as a number, 0 for C1 to 5 for CX.

    Parameters
    ----------
    metal : {"steel", "zinc", "copper", "aluminium"}
        Metal the loss belongs to.
    rate_um_y : array_like
        First-year loss, µm/y.

    Returns
    -------
    ndarray of float
        NaN where the loss is unknown. Losses above the limit of CX stay CX.

    References
    ----------
    ISO 9223:2012, table 2, from memory. A limit belongs to the lower category.

    Examples
    --------
    >>> category_index("steel", [25.0, 25.1]).tolist()
    [1.0, 2.0]
    """
    _coefficients(metal)
    value, limits = number(rate_um_y), UPPER_LIMIT_UM_Y.get(metal, ALUMINIUM_UPPER_LIMIT_G_M2_Y)
    if metal not in UPPER_LIMIT_UM_Y:
        value = value * ALUMINIUM_DENSITY_G_CM3
    index = np.searchsorted(np.asarray(limits[:-1]), value, side="left").astype(float)
    return np.where(np.isnan(value), np.nan, index)


def category_rates_um_y(metal: str, category: int) -> tuple[float, float, float]:
    """Lower limit, geometric mean and upper limit of a category's first-year loss.

    Parameters
    ----------
    metal : {"steel", "zinc", "copper"}
        Metal the loss belongs to.
    category : int
        1 for C2 to 5 for CX; C1 has no lower limit.

    Returns
    -------
    tuple of float
        um/y (ISO 9223:2012, table 2).

    References
    ----------
    ISO 9223:2012, table 2, from memory; the geometric mean is ours.

    Examples
    --------
    >>> [round(rate, 1) for rate in category_rates_um_y("steel", 3)]
    [50.0, 63.2, 80.0]
    """
    low, high = UPPER_LIMIT_UM_Y[metal][category - 1 : category + 1]
    return low, float(np.sqrt(low * high)), high


SO2_DEPOSITION_PER_CONCENTRATION = 0.8
"""mg/(m² d) of SO2 deposition for 1 µg/m³ in the air (ISO 9223:2012, 6.2, from memory)."""


@labelled("mg m-2 d-1")
def so2_deposition_mg_m2_d(so2_ug_m3: Values) -> Floats:
    r"""SO2 deposition from its concentration in the air.

    .. math:: P_d = 0.8\,P_c

    Parameters
    ----------
    so2_ug_m3 : array_like
        Annual mean concentration, µg/m³.

    Returns
    -------
    array_like
        Deposition, mg/(m² d), same shape.

    References
    ----------
    ISO 9223:2012, note to table 3, from memory: Pd = 0.8 Pc.

    Examples
    --------
    >>> float(so2_deposition_mg_m2_d(5.0))
    4.0
    """
    return SO2_DEPOSITION_PER_CONCENTRATION * number(so2_ug_m3)
