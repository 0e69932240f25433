"""Adhesive at the cliff: how long it needs at the temperature of the rock, and its expiry.

No product data live here. The times are those of the product's own data sheet, and only what
lies between its rows is interpolated. The data sheet wins over anything here.
"""

from __future__ import annotations

import calendar
import datetime as dt
import re
from dataclasses import dataclass
from typing import Any

import numpy as np

from saltreach.errors import OptionError
from saltreach.vocabulary.words import UNKNOWN

GAS_CONSTANT_J_MOL_K = 8.314462618
ZERO_CELSIUS_K = 273.15
WET_HOLE_FACTOR = 2.0
"""Cure time in a wet hole over that in a dry one: common practice, no source. If the data sheet
says otherwise, or forbids wet holes, follow it."""

EXPIRY_STATES = ("in date", "expired", UNKNOWN)


@dataclass(frozen=True)
class CureTable:
    """Gel and cure time by rock temperature, from one product's data sheet.

    `rock_temperature_c` rises, two values or more; `gel_min` and `cure_min` are minutes in a dry
    hole and do not rise with it. `source` is the file it came from.
    """

    rock_temperature_c: np.ndarray
    gel_min: np.ndarray
    cure_min: np.ndarray
    source: str


def cure_time_ratio(temperature_c: Any, reference_c: Any, activation_energy_kj_mol: Any) -> Any:
    r"""Time a reaction needs at one temperature over that at another (Arrhenius).

    .. math:: t / t_{ref} = \exp\left[\frac{E_a}{R}\left(\frac{1}{T} -
        \frac{1}{T_{ref}}\right)\right]

    Parameters
    ----------
    temperature_c, reference_c : array_like
        Temperatures, degrees Celsius.
    activation_energy_kj_mol : array_like
        Activation energy, kJ/mol; 51 to 55 doubles the time every 10 degrees near 20.

    Returns
    -------
    array_like
        Ratio; NaN stays NaN.

    References
    ----------
    Arrhenius law, R = 8.314462618 J/(mol K) (CODATA 2018).

    Examples
    --------
    >>> round(float(cure_time_ratio(10, 20, 50)), 3)
    2.064
    """
    inverse = 1.0 / (temperature_c + ZERO_CELSIUS_K) - 1.0 / (reference_c + ZERO_CELSIUS_K)
    return np.exp(1000.0 * activation_energy_kj_mol / GAS_CONSTANT_J_MOL_K * inverse)


def doubling_rule_ratio(temperature_c: Any, reference_c: Any = 20.0) -> Any:
    r"""Rule of thumb: the time doubles for each 10 degrees less.

    .. math:: t / t_{ref} = 2^{(T_{ref} - T)/10}

    Parameters
    ----------
    temperature_c, reference_c : array_like
        Temperatures, degrees Celsius.

    Returns
    -------
    array_like
        Ratio; NaN stays NaN.

    References
    ----------
    Common practice, no source. For orientation only; `cure_time_min` uses the data sheet.

    Examples
    --------
    >>> float(doubling_rule_ratio(10.0))
    2.0
    """
    return 2.0 ** ((reference_c - temperature_c) / 10.0)


def _time_min(temperature_c: Any, table: CureTable, times_min: np.ndarray) -> np.ndarray:
    kelvin = np.asarray(temperature_c, dtype=float) + ZERO_CELSIUS_K
    celsius = kelvin - ZERO_CELSIUS_K
    low, high = table.rock_temperature_c[[0, -1]]
    # a hair of rounding is not extrapolation
    outside = (celsius < low - 1e-9) | (celsius > high + 1e-9)
    if outside.any():
        raise OptionError(
            f"rock temperature {float(celsius[outside].flat[0]):g} degC is outside the table of "
            f"{table.source}, {low:g} to {high:g} degC; times are not extrapolated: wait for rock "
            "within the range or add rows the data sheet gives"
        )
    # straight in ln t over 1/T between neighbours: one activation energy per interval
    rising = 1.0 / (table.rock_temperature_c[::-1] + ZERO_CELSIUS_K)
    return np.exp(np.interp(1.0 / kelvin, rising, np.log(times_min[::-1])))


def cure_time_min(temperature_c: Any, table: CureTable, wet: Any = False) -> np.ndarray:
    r"""Time until the anchor may be loaded.

    .. math:: \ln t = \ln t_1 + (\ln t_2 - \ln t_1)\,\frac{1/T - 1/T_1}{1/T_2 - 1/T_1}

    between the neighbouring rows 1 and 2 of the table (T in kelvin).

    Parameters
    ----------
    temperature_c : array_like
        Temperature of the rock in the hole, the lowest until the cure ends, degrees Celsius.
    table : CureTable
        The data sheet.
    wet : array_like of bool
        Whether the hole is wet: `WET_HOLE_FACTOR` times as long.

    Returns
    -------
    numpy.ndarray
        Minutes; NaN stays NaN.

    Raises
    ------
    OptionError
        A temperature outside the table: nothing is extrapolated.

    References
    ----------
    Arrhenius law; the wet-hole factor is common practice, no source.

    Examples
    --------
    >>> sheet = CureTable(*np.array([[0.0, 20.0], [20.0, 6.0], [240.0, 60.0]]), "sheet")
    >>> round(float(cure_time_min(20.0, sheet, wet=True)))
    120
    """
    factor = 1.0 + (WET_HOLE_FACTOR - 1.0) * np.asarray(wet, dtype=bool)
    return _time_min(temperature_c, table, table.cure_min) * factor


def gel_time_min(temperature_c: Any, table: CureTable) -> np.ndarray:
    """Time until the adhesive sets and the anchor must not be moved any more.

    Parameters
    ----------
    temperature_c : array_like
        Temperature of the rock, degrees Celsius.
    table : CureTable
        The data sheet.

    Returns
    -------
    numpy.ndarray
        Minutes, interpolated as in `cure_time_min`; NaN stays NaN. Water gives no more time.

    Raises
    ------
    OptionError
        A temperature outside the table.
    """
    return _time_min(temperature_c, table, table.gel_min)


def expiry_state(expires_on: str, on: dt.date) -> str:
    """Tell whether a cartridge may still be used.

    Parameters
    ----------
    expires_on : str
        As printed, in ISO form: year-month (good to the end of the month) or date. Empty if
        it cannot be read.
    on : datetime.date
        Day of use.

    Returns
    -------
    str
        One of `EXPIRY_STATES`: `in date` up to and including the last day; `unknown` for empty,
        which at the cliff means: do not use it.

    Raises
    ------
    OptionError
        A text that is no ISO year-month or date.

    Examples
    --------
    >>> expiry_state("2026-04", dt.date(2026, 4, 30)), expiry_state("2026-04", dt.date(2026, 5, 1))
    ('in date', 'expired')
    """
    text = expires_on.strip()
    if not text:
        return UNKNOWN
    found = re.fullmatch(r"(\d{4})-(\d{2})(?:-(\d{2}))?", text)
    try:
        if not found:
            raise ValueError(text)
        year, month = int(found[1]), int(found[2])
        day = int(found[3] or calendar.monthrange(year, month)[1])
        last_day = dt.date(year, month, day)
    except ValueError as error:
        raise OptionError(
            f"expiry date {expires_on!r} is not an ISO year-month or date; write 2026-04 or "
            "2026-04-30"
        ) from error
    return EXPIRY_STATES[int(on > last_day)]
