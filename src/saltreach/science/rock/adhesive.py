"""Adhesive at the cliff: how long it needs at the temperature of the rock, and its expiry.

No product data live here. The user types the table of the product's own data sheet into a CSV,
and only what lies between its rows is interpolated. The data sheet wins over anything here.
"""

from __future__ import annotations

import calendar
import csv
import datetime as dt
import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

from saltreach.errors import OptionError
from saltreach.vocabulary.words import UNKNOWN

GAS_CONSTANT_J_MOL_K = 8.314462618
ZERO_CELSIUS_K = 273.15
WET_HOLE_FACTOR = 2.0
"""Cure time in a wet hole over that in a dry one: common practice, no source. If the data sheet
says otherwise, or forbids wet holes, follow it."""

CURE_COLUMNS = ("rock_temperature_c", "gel_min", "cure_min")
EXPIRY_STATES = ("in date", "expired", UNKNOWN)
_PLAUSIBLE_C = (-40.0, 60.0)


@dataclass(frozen=True)
class CureTable:
    """Gel and cure time by rock temperature, from one product's data sheet.

    `rock_temperature_c` rises; `gel_min` and `cure_min` are minutes in a dry hole and do not
    rise with it. `source` is the file it came from.
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


def cure_table(rows: Iterable[Mapping[str, Any]], source: str) -> CureTable:
    """Check the rows of a data sheet and make a table of them.

    Parameters
    ----------
    rows : iterable of mapping
        One mapping per temperature with the keys of `CURE_COLUMNS`; numbers or their text.
    source : str
        Where the rows come from, for messages.

    Returns
    -------
    CureTable
        Sorted by temperature.

    Raises
    ------
    OptionError
        A value that is no number, not positive or not plausible, a temperature given twice,
        a gel time above the cure time, a time that rises with temperature, or fewer than two
        rows. The message names file, row, column, value and fix.

    Examples
    --------
    >>> sheet = [{"rock_temperature_c": 20, "gel_min": 8, "cure_min": 60},
    ...          {"rock_temperature_c": 10, "gel_min": 16, "cure_min": 120}]
    >>> cure_table(sheet, "sheet").rock_temperature_c.tolist()
    [10.0, 20.0]
    """
    lines = [
        (line, *(_cell(source, line, row, column) for column in CURE_COLUMNS))
        for line, row in enumerate(rows, start=2)
    ]
    if len(lines) < 2:
        raise OptionError(
            f"{source}: {len(lines)} row(s) of cure times; give at least two temperatures from "
            "the data sheet"
        )
    lines.sort(key=lambda found: found[1])
    for line, _, gel, cure in lines:
        if gel > cure:
            raise OptionError(
                f"{source}, row {line}, column gel_min: {gel:g} is longer than cure_min {cure:g}; "
                "are the two swapped?"
            )
    for (_, cold_c, *cold), (line, warm_c, *warm) in zip(lines, lines[1:], strict=False):
        if warm_c == cold_c:
            raise OptionError(
                f"{source}, row {line}, column rock_temperature_c: {warm_c:g} is there twice; "
                "keep one row per temperature"
            )
        for column, slow, fast in zip(CURE_COLUMNS[1:], cold, warm, strict=True):
            if fast > slow:
                raise OptionError(
                    f"{source}, row {line}, column {column}: {fast:g} min at {warm_c:g} degC is "
                    f"longer than {slow:g} min at {cold_c:g} degC; check the data sheet"
                )
    _, temperature_c, gel_min, cure_min = np.array(lines, dtype=float).T
    return CureTable(temperature_c, gel_min, cure_min, source)


def _cell(source: str, line: int, row: Mapping[str, Any], column: str) -> float:
    text = row.get(column)
    try:
        value = float(str(text).strip())
    except ValueError:
        value = float("nan")
    low, high = _PLAUSIBLE_C if column == CURE_COLUMNS[0] else (0.0, float("inf"))
    if not low < value < high:
        wanted = f"a number between {low:g} and {high:g}" if high < 1e9 else "a positive number"
        raise OptionError(
            f"{source}, row {line}, column {column}: {text!r} is not {wanted}; give "
            f"{'degrees Celsius' if column == CURE_COLUMNS[0] else 'minutes'} with a decimal point"
        )
    return value


def read_cure_table(path: str | Path) -> CureTable:
    """Read the user's own data sheet table.

    Parameters
    ----------
    path : path
        CSV (UTF-8, commas) with the columns of `CURE_COLUMNS`. Where the sheet gives a band of
        temperatures for one time, enter its lower end.

    Returns
    -------
    CureTable
        Checked and sorted.

    Raises
    ------
    OptionError
        A missing file or column, or what `cure_table` refuses.
    """
    file = Path(path)
    try:
        with file.open(encoding="utf-8-sig", newline="") as handle:
            reader = csv.DictReader(handle)
            missing = [c for c in CURE_COLUMNS if c not in (reader.fieldnames or ())]
            rows = list(reader)
    except OSError as error:
        raise OptionError(
            f"{file}: cannot be read ({error.strerror}); give the CSV of the data sheet"
        ) from error
    if missing:
        raise OptionError(
            f"{file.name}: columns {', '.join(missing)} are missing; the table needs "
            f"{', '.join(CURE_COLUMNS)}, separated by commas"
        )
    return cure_table(rows, file.name)


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
        From `read_cure_table`.
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
    >>> sheet = cure_table([{"rock_temperature_c": 0, "gel_min": 20, "cure_min": 240},
    ...     {"rock_temperature_c": 20, "gel_min": 6, "cure_min": 60}], "sheet")
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
        From `read_cure_table`.

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
