"""Cells that hold more than a number or a word: days, spans, times, weekdays, lists, rocks."""

from __future__ import annotations

import datetime as dt
import re
from collections.abc import Callable
from typing import Any

import numpy as np
import pandas as pd

from saltreach.intake.dates import Parsed
from saltreach.vocabulary.synonyms import WEEKDAY_WORDS, plain
from saltreach.vocabulary.words import UNKNOWN, WEEKDAYS

_WEEKDAYS = WEEKDAY_WORDS | {plain(name): name for name in WEEKDAYS}


class Refused(Exception):
    """A cell that cannot be used; reason and fix for the list of refused rows."""

    def __init__(self, reason: str, fix: str) -> None:
        super().__init__(reason)
        self.reason, self.fix = reason, fix


def day(text: str) -> dt.date:
    """Read a full date, YYYY-MM-DD only: day and month are never guessed."""
    try:
        if re.fullmatch(r"[0-9]{4}-[0-9]{2}-[0-9]{2}", text):
            return dt.date.fromisoformat(text)
    except ValueError:
        pass
    raise Refused("not a date", "write YYYY-MM-DD")


def season_day(text: str) -> str:
    """Read a dated day (YYYY-MM-DD) or one that repeats each year (MM-DD)."""
    if re.fullmatch(r"[0-9]{2}-[0-9]{2}", text):
        day(f"2024-{text}")  # a leap year, so 02-29 passes
        return text
    return day(text).isoformat()


def spans(text: str) -> tuple[tuple[dt.date, dt.date], ...]:
    """Read dates and spans of dates between semicolons: 2027-08-01..2027-08-31."""
    out = []
    for part in re.split(r"[;,\s]+", text.strip()):
        first, _, last = part.partition("..")
        span = (day(first), day(last or first))
        if span[1] < span[0]:
            raise Refused(f"{part} ends before it begins", "exchange the two dates")
        out.append(span)
    return tuple(out)


def clock(text: str) -> int:
    """Read a time of day, HH:MM, as minutes after midnight."""
    found = re.fullmatch(r"([01]?[0-9]|2[0-4]):([0-5][0-9])(?::00)?", text)
    minutes = int(found[1]) * 60 + int(found[2]) if found else 9999
    if minutes > 24 * 60:
        raise Refused("not a time of day", "write HH:MM, 24 hours")
    return minutes


def weekdays(text: str) -> tuple[str, ...]:
    """Read weekdays in RFC 5545's BYDAY form, or by their names.

    Two letters that are different days in two languages (`di`, `do`) are refused.

    Examples
    --------
    >>> weekdays("sat, 1SU -1fr Sonntag")
    ('SA', '1SU', '-1FR', 'SU')
    """
    out = []
    for word in re.split(r"[\s,;]+", text.strip()):
        found = re.fullmatch(r"([+-]?[1-5])?\.?([^\W\d_][\w-]*)\.?", word)
        day_of_week = found and _WEEKDAYS.get(plain(found[2]))
        if not found or not day_of_week:
            raise Refused(
                f"{word!r} is not a weekday", "write for example SA SU, or 1SA 3SA for the 1st and "
                "3rd Saturday of each month"
            )  # fmt: skip
        out.append((found[1] or "").lstrip("+") + day_of_week)
    return tuple(dict.fromkeys(out))


def words(text: str) -> tuple[str, ...]:
    """Read a list of words between semicolons or commas, in lower case."""
    parts = (" ".join(p.split()).casefold() for p in re.split(r"[;,|]", text))
    return tuple(dict.fromkeys(p for p in parts if p))


def number_text(number: float) -> str:
    """A number as a map's legend writes it: a whole one with every figure and without a point."""
    return f"{number:.0f}" if number % 1 == 0 else f"{number:g}"


def code(text: object) -> str:
    """Read a code of a map's legend: case, blanks and a trailing .0 do not matter."""
    plain = " ".join(str(text).casefold().split())
    try:
        return number_text(float(plain))
    except ValueError:
        return plain


def lithology(text: str) -> str:
    """Read the name of a rock: one of the table of lithologies, or a word it knows."""
    from saltreach.vocabulary.rocks import lithologies, lithology_of

    name = text if text in lithologies() else str(lithology_of([text])[0])
    if name == UNKNOWN and text.casefold() != UNKNOWN:
        raise Refused("it names no rock", f"use one of {', '.join(lithologies())}")
    return name


READERS: dict[str, Callable[[str], Any]] = {
    "text": lambda text: " ".join(text.split()),
    "day": day,
    "season day": season_day,
    "days": spans,
    "time": clock,
    "weekdays": weekdays,
    "words": words,
    "code": code,
    "lithology": lithology,
}
"""Kind of column -> reader of one cell, which gives its value or raises `Refused`."""


def parse_cells(text: pd.Series, read: Callable[[str], Any]) -> Parsed:
    """Read each distinct text once.

    Parameters
    ----------
    text : Series of str
        Cells without surrounding blanks; NaN where empty.
    read : callable
        One of `READERS`.

    Returns
    -------
    Parsed
        Values as objects (NaN where empty or refused), reason and fix of refused cells.
    """
    values, reasons, fixes = {}, {}, {}
    for given in text.dropna().unique():
        try:
            values[given] = read(given)
        except Refused as problem:
            reasons[given], fixes[given] = problem.reason, problem.fix
    read_ = [values.get(given, np.nan) if isinstance(given, str) else np.nan for given in text]
    return Parsed(
        pd.Series(read_, index=text.index, dtype=object),
        *(text.map(told).astype("str") for told in (reasons, fixes)),
    )
