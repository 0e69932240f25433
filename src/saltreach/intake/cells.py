"""Cells that hold more than a number or a word: days, spans, times, weekdays, lists, rocks."""

from __future__ import annotations

import datetime as dt
import re
from collections.abc import Callable
from typing import Any

import numpy as np
import pandas as pd

from saltreach.intake.dates import Parsed
from saltreach.intake.formats import cell_text
from saltreach.vocabulary.columns import Column
from saltreach.vocabulary.synonyms import NO_WORDS, WEEKDAY_WORDS, plain
from saltreach.vocabulary.words import JOIN, UNKNOWN, WEEKDAYS

_WEEKDAYS = WEEKDAY_WORDS | {plain(name): name for name in WEEKDAYS}


class Refused(Exception):
    """A cell that cannot be used; reason and fix for the list of refused rows."""

    def __init__(self, reason: str, fix: str) -> None:
        super().__init__(reason)
        self.reason, self.fix = reason, fix


def day(text: str) -> dt.date:
    """Read a full date: day and month are never guessed.

    Examples
    --------
    >>> [day(text).isoformat() for text in ("2027-08-01", "1.8.2027", "31/08/2027")]
    ['2027-08-01', '2027-08-01', '2027-08-31']
    """
    iso = re.fullmatch(r"([0-9]{4})[-/.]([0-9]{1,2})[-/.]([0-9]{1,2})(?: 00:00(?::00)?)?", text)
    last = re.fullmatch(r"([0-9]{1,2})([-/.])([0-9]{1,2})\2([0-9]{4})", text)
    try:
        if iso:
            return dt.date(*(int(part) for part in iso.groups()))
        if last:
            first, second, year = int(last[1]), int(last[3]), int(last[4])
            if last[2] == "." or first > 12 or first == second:  # dots are day-first everywhere
                return dt.date(year, second, first)
            if second > 12:
                return dt.date(year, first, second)
    except ValueError:
        last = None
    if last:
        raise Refused("day and month can be read both ways", "write YYYY-MM-DD")
    raise Refused("not a date", "write YYYY-MM-DD")


def season_day(text: str) -> str:
    """Read a dated day (YYYY-MM-DD) or one that repeats each year (MM-DD)."""
    dotted = re.fullmatch(r"([0-9]{1,2})\.([0-9]{1,2})\.?", text)
    if dotted:  # 15.11. is the 15th of November wherever dots are written
        text = f"{int(dotted[2]):02d}-{int(dotted[1]):02d}"
    slashed = re.fullmatch(r"([0-9]{1,2})/([0-9]{1,2})", text)
    if slashed:  # as a full date, of which one number must be beyond 12
        return day(f"{text}/2024").strftime("%m-%d")
    if re.fullmatch(r"[0-9]{2}-[0-9]{2}", text):
        day(f"2024-{text}")  # a leap year, so 02-29 passes
        return text
    try:
        return day(text).isoformat()
    except Refused as error:
        fix = "write MM-DD for every year, as 02-01, or YYYY-MM-DD for one"
        raise Refused(error.reason, fix) from error


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


def clock_text(minutes: int) -> str:
    """Minutes after midnight as HH:MM."""
    return f"{int(minutes) // 60:02d}:{int(minutes) % 60:02d}"


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


def names(text: str) -> tuple[str, ...]:
    """Read a list of names between semicolons or commas, as they are written."""
    parts = (" ".join(p.split()) for p in re.split(r"[;,|]", text))
    return tuple(dict.fromkeys(p for p in parts if p))


def words(text: str) -> tuple[str, ...]:
    """Read a list of words between semicolons or commas, in lower case."""
    return names(text.casefold())


def skills(text: str) -> tuple[str, ...]:
    """Read a list of skills; a word for none is no skill.

    Examples
    --------
    >>> skills("Rope access; rebolting"), skills("keine"), skills("-")
    (('rope access', 'rebolting'), (), ())
    """
    return tuple(word for word in words(text) if word not in NO_WORDS)


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
    "names": names,
    "skills": skills,
    "code": code,
    "lithology": lithology,
}
"""Kind of column -> reader of one cell, which gives its value or raises `Refused`."""


def text_of(value: Any, column: Column | None = None) -> str:
    """A value as a cell in our own form, which is read as that value again.

    Parameters
    ----------
    value : any
        What a reader of this package gave; nothing known is "".
    column : Column, optional
        Its column, for kinds whose values are no text or number.

    Examples
    --------
    >>> text_of(((dt.date(2027, 8, 1), dt.date(2027, 8, 31)),)), text_of(("SA", "1SU"))
    ('2027-08-01..2027-08-31', 'SA 1SU')
    >>> text_of(12.0), text_of(None), text_of(dt.date(2027, 8, 1))
    ('12', '', '2027-08-01')
    """
    if isinstance(value, tuple):
        if value and isinstance(value[0], tuple):
            return JOIN.join(f"{first}..{last}" for first, last in value)
        several = column is not None and column.kind in ("words", "names", "skills")
        return (JOIN if several else " ").join(value)
    if column is not None and column.kind == "time" and value is not None:
        return clock_text(value)
    text = cell_text(value)
    return text if isinstance(text, str) else ""


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
