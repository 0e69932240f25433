"""Adhesive at the cliff: how long it needs at the temperature of the rock.

No product data live here: only what lies between the rows of the user's own data sheet
(`intake.datasheet`) is interpolated. The data sheet wins over anything here.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from saltreach.errors import OptionError
from saltreach.science.labelled import labelled
from saltreach.science.types import Flags, Floats, Values, number

ZERO_CELSIUS_K = 273.15
WET_HOLE_FACTOR = 2.0
"""Cure time in a wet hole over that in a dry one: common practice, no source. If the data sheet
says otherwise, or forbids wet holes, follow it."""


@dataclass(frozen=True)
class CureTable:
    """Gel and cure time by rock temperature, from one product's data sheet.

    `rock_temperature_c` rises, two values or more; `gel_min` and `cure_min` are minutes in a dry
    hole and do not rise with it. `source` is the file it came from, `notes` what was ignored or
    assumed in it.
    """

    rock_temperature_c: Floats
    gel_min: Floats
    cure_min: Floats
    source: str
    notes: tuple[str, ...] = ()


def _time_min(temperature_c: Values, table: CureTable, times_min: Floats) -> Floats:
    kelvin = number(temperature_c) + ZERO_CELSIUS_K
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


@labelled("min")
def cure_time_min(temperature_c: Values, table: CureTable, wet: Flags = False) -> Floats:
    r"""Time until the anchor may be loaded.

    .. math:: \ln t = \ln t_1 + (\ln t_2 - \ln t_1)\,\frac{1/T - 1/T_1}{1/T_2 - 1/T_1}

    between the neighbouring rows 1 and 2 of the table (T in kelvin).

    Parameters
    ----------
    temperature_c : array_like
        Temperature of the rock in the hole, the lowest until the cure ends, degrees Celsius.
    table : CureTable
        From `intake.datasheet.read_cure_table`.
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
    >>> sheet = CureTable(np.array([0.0, 20.0]), np.array([20.0, 6.0]), np.array([240.0, 60.0]), "")
    >>> round(float(cure_time_min(20.0, sheet, wet=True)))
    120
    """
    factor = 1.0 + (WET_HOLE_FACTOR - 1.0) * np.asarray(wet, dtype=bool)
    return _time_min(temperature_c, table, table.cure_min) * factor


@labelled("min")
def gel_time_min(temperature_c: Values, table: CureTable) -> Floats:
    """Time until the adhesive sets and the anchor must not be moved any more.

    Parameters
    ----------
    temperature_c : array_like
        Temperature of the rock, degrees Celsius.
    table : CureTable
        From `intake.datasheet.read_cure_table`.

    Returns
    -------
    numpy.ndarray
        Minutes, interpolated as in `cure_time_min`; NaN stays NaN. Water gives no more time.

    Raises
    ------
    OptionError
        A temperature outside the table.

    References
    ----------
    Arrhenius law, as `cure_time_min`.

    Examples
    --------
    >>> sheet = CureTable(np.array([0.0, 20.0]), np.array([20.0, 6.0]), np.array([240.0, 60.0]), "")
    >>> gel_time_min([0.0, 20.0], sheet).round(3).tolist()
    [20.0, 6.0]
    """
    return _time_min(temperature_c, table, table.gel_min)
