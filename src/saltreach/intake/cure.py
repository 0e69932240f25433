"""The user's own data sheet of an adhesive, gel and cure times by temperature, and its expiry."""

from __future__ import annotations

import calendar
import csv
import datetime as dt
import re
from collections.abc import Iterable, Mapping
from pathlib import Path
from typing import Any

import numpy as np

from saltreach.errors import OptionError
from saltreach.science.rock.adhesive import CureTable
from saltreach.vocabulary.words import UNKNOWN

CURE_COLUMNS = ("rock_temperature_c", "gel_min", "cure_min")
EXPIRY_STATES = ("in date", "expired", UNKNOWN)
_PLAUSIBLE_C = (-40.0, 60.0)


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
