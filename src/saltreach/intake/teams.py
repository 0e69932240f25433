"""Who inspects and when: teams, closures, tides, travel, needs of sectors, what was done.

Each reader takes a CSV or XLSX and returns a `Sheet`: good rows, and the refused ones with the
fix. Crag and sector are as the register spells them; an empty sector means the whole crag.
"""

from __future__ import annotations

import datetime as dt
import re
from pathlib import Path
from typing import Any

from saltreach.intake.sheets import (
    Field,
    Refused,
    Sheet,
    clock,
    day,
    number,
    read_sheet,
    text_of,
    words_of,
)

WEEKDAYS = ("MO", "TU", "WE", "TH", "FR", "SA", "SU")
"""As RFC 5545 writes them; `1SA` is the first Saturday of a month, `-1SU` the last Sunday."""

CLOSED, OPEN_ONLY = "closed", "open only"
DAY_START_MIN = 9 * 60
DAY_HOURS = 8.0

_PLACE = (
    Field("crag", text_of, "crag, as the register spells it", required=True),
    Field("sector", text_of, "sector; empty means the whole crag", default=""),
)


def days_free(text: str) -> tuple[str, ...]:
    """Reader of free weekdays in RFC 5545's BYDAY form.

    Examples
    --------
    >>> days_free("sat, 1SU -1fr")
    ('SA', '1SU', '-1FR')
    """
    out = []
    for word in re.split(r"[\s,;]+", text.strip()):
        found = re.fullmatch(r"([+-]?[1-5])?(MO|TU|WE|TH|FR|SA|SU)[A-Z]*", word.upper())
        if found is None:
            raise Refused(
                f"{word!r} is not a weekday", "write for example SA SU, or 1SA 3SA for the 1st and "
                "3rd Saturday of each month"
            )  # fmt: skip
        out.append((found[1] or "").lstrip("+") + found[2])
    return tuple(dict.fromkeys(out))


def spans(text: str) -> tuple[tuple[dt.date, dt.date], ...]:
    """Reader of dates and spans of dates between semicolons: 2027-08-01..2027-08-31."""
    out = []
    for part in re.split(r"[;,\s]+", text.strip()):
        first, _, last = part.partition("..")
        span = (day(first), day(last or first))
        if span[1] < span[0]:
            raise Refused(f"{part} ends before it begins", "exchange the two dates")
        out.append(span)
    return tuple(out)


def season_day(text: str) -> str:
    """Reader of a dated day (YYYY-MM-DD) or one that repeats each year (MM-DD)."""
    if re.fullmatch(r"[0-9]{2}-[0-9]{2}", text):
        day(f"2024-{text}")  # a leap year, so 02-29 passes
        return text
    return day(text).isoformat()


def _access(text: str) -> str:
    word = " ".join(text.replace("-", " ").split()).casefold()
    if word not in (CLOSED, OPEN_ONLY):
        raise Refused("not one of its words", f"use {CLOSED} or {OPEN_ONLY}")
    return word


def _kind(text: str) -> str:
    if text.casefold() not in ("inspect", "rebolt"):
        raise Refused("not one of its words", "use inspect or rebolt")
    return text.casefold()


def _whole(low: int, high: int) -> Any:
    read = number(low, high)

    def whole(text: str) -> int:
        if read(text) % 1:
            raise Refused("not a whole number", "write a whole number")
        return int(read(text))

    return whole


TEAM_FIELDS = (
    Field("team", text_of, "name of the team", required=True),
    Field("lon", number(-180, 180, "degrees"), "home of the team, WGS 84 longitude", required=True),
    Field("lat", number(-90, 90, "degrees"), "home of the team, WGS 84 latitude", required=True),
    Field("people", _whole(1, 50), "number of people", default=2),
    Field("skills", words_of, "skills such as rope access; rebolting", default=()),
    Field("days_free", days_free, "free weekdays, e.g. SA SU or 1SA 3SA", required=True),
    Field("days_per_month", _whole(0, 31), "most days in a calendar month"),
    Field("from", day, "first day of service"),
    Field("until", day, "last day of service"),
    Field("away", spans, "dates the team is not there", default=()),
    Field("also", spans, "further free dates", default=()),
    Field("starts", clock, "time the team leaves home", default=DAY_START_MIN),
    Field("hours_per_day", number(1, 16, "hours"), "hours from door to door", default=DAY_HOURS),
)
WINDOW_FIELDS = (
    *_PLACE,
    Field("access", _access, "closed, or open only", default=CLOSED),
    Field("from", season_day, "first day: MM-DD each year, or YYYY-MM-DD", required=True),
    Field("until", season_day, "last day: MM-DD each year, or YYYY-MM-DD", required=True),
    Field("reason", text_of, "why, e.g. nesting", default=""),
)
TIDE_FIELDS = (
    *_PLACE,
    Field("date", day, "day of the window", required=True),
    Field("from", clock, "begin of the window, local time", required=True),
    Field("until", clock, "end of the window, local time", required=True),
)
NEED_FIELDS = (
    *_PLACE,
    Field("skills", words_of, "skills a team must have", default=()),
    Field("people", _whole(1, 50), "least number of people", default=1),
    Field("access_hours", number(0, 12, "hours"), "walk-in and way back", default=0.0),
    Field("hours_per_anchor", number(0.01, 8, "hours"), "inspection time of one anchor"),
)
TRAVEL_FIELDS = (
    Field("from", text_of, "team or crag", required=True),
    Field("to", text_of, "team or crag", required=True),
    Field("hours", number(0, 48, "hours"), "travel time one way", required=True),
)
DONE_FIELDS = (
    *_PLACE,
    Field("kind", _kind, "inspect or rebolt", default="inspect"),
    Field("done_on", day, "day it was done", required=True),
)


def read_teams(path: str | Path) -> Sheet:
    """Teams: home, people, skills, free days (columns of `TEAM_FIELDS`)."""

    def check(row: dict[str, Any]) -> None:
        if row["from"] and row["until"] and row["until"] < row["from"]:
            raise Refused("service ends before it begins", "exchange from and until")
        if row["starts"] + row["hours_per_day"] * 60 > 24 * 60:
            raise Refused("the day ends after midnight", "start earlier or give fewer hours")

    return read_sheet(path, "teams", TEAM_FIELDS, check, unique=("team",))


def read_windows(path: str | Path) -> Sheet:
    """Closures and seasons (columns of `WINDOW_FIELDS`).

    A repeating window may run over the end of the year (11-15 to 02-15), so both hemispheres
    are served. Both of its days belong to it.
    """

    def check(row: dict[str, Any]) -> None:
        first, last = row["from"], row["until"]
        if len(first) != len(last):
            raise Refused("one day repeats and the other is dated", "write both as MM-DD or both as YYYY-MM-DD")  # noqa: E501  # fmt: skip
        if len(first) == 10 and last < first:
            raise Refused("it ends before it begins", "exchange from and until")

    return read_sheet(path, "windows", WINDOW_FIELDS, check)


def read_tides(path: str | Path) -> Sheet:
    """Windows of tide-dependent sectors; a sector in this table is open in its windows only."""

    def check(row: dict[str, Any]) -> None:
        if row["until"] <= row["from"]:
            raise Refused("it ends before it begins", "give two rows for a window over midnight")

    return read_sheet(path, "tides", TIDE_FIELDS, check)


def read_needs(path: str | Path) -> Sheet:
    """Skills, people and time that crags or sectors need (columns of `NEED_FIELDS`)."""
    return read_sheet(path, "needs", NEED_FIELDS, unique=("crag", "sector"))


def read_travel(path: str | Path) -> Sheet:
    """Travel times between teams' homes and crags, hours one way."""
    return read_sheet(path, "travel", TRAVEL_FIELDS, unique=("from", "to"))


def read_done(path: str | Path) -> Sheet:
    """Visits that were done since the last plan."""
    return read_sheet(path, "done", DONE_FIELDS)
