"""Which days a team is free, a sector is open, and how long the tide leaves it dry.

Days are integers: days since 1970-01-01, as numpy's datetime64[D] counts them. Months are added
by the calendar: one month after 31 January is the last day of February.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np
from dateutil.rrule import rrulestr

from saltreach.vocabulary.words import OPEN_ONLY


def day_number(day: dt.date | str) -> int:
    """Days since 1970-01-01.

    Examples
    --------
    >>> day_number("1970-02-01"), day_number(dt.date(2000, 1, 1))
    (31, 10957)
    """
    return int(np.datetime64(day, "D").astype(np.int64))


def day_text(day: int) -> str:
    """ISO date of a day number."""
    return str(np.datetime64(int(day), "D"))


def add_months(day: np.ndarray | int, months: int) -> np.ndarray:
    """Same day of the month some months later, or that month's last day.

    Parameters
    ----------
    day : int or ndarray of int
        Day numbers.
    months : int
        Months to add.

    Examples
    --------
    >>> [day_text(d) for d in add_months(np.array([day_number("2027-01-31")]), 1)]
    ['2027-02-28']
    """
    date = np.asarray(day, np.int64).astype("datetime64[D]")
    month = date.astype("datetime64[M]")
    later = month + np.timedelta64(int(months), "M")
    last = (later + 1).astype("datetime64[D]") - np.timedelta64(1, "D")
    wanted = later.astype("datetime64[D]") + (date - month.astype("datetime64[D]"))
    return np.minimum(wanted, last).astype(np.int64)


def month_days(days: np.ndarray) -> np.ndarray:
    """Month and day of each day as one number: 203 is 3 February."""
    date = np.asarray(days, np.int64).astype("datetime64[D]")
    month = date.astype("datetime64[M]")
    day = (date - month.astype("datetime64[D]")).astype(np.int64) + 1
    return (month.astype(np.int64) % 12 + 1) * 100 + day


def in_window(window: Mapping[str, Any], days: np.ndarray) -> np.ndarray:
    """Whether each day lies in a window; both ends belong to it.

    Parameters
    ----------
    window : mapping
        `from` and `until`: both MM-DD (each year, over the year's end where `from` is later)
        or both YYYY-MM-DD.
    days : ndarray of int
        Day numbers.

    Examples
    --------
    >>> days = np.array([day_number(d) for d in ("2027-01-15", "2027-06-15", "2027-12-31")])
    >>> in_window({"from": "11-15", "until": "02-15"}, days).tolist()
    [True, False, True]
    """
    first, last = window["from"], window["until"]
    if len(first) == 10:
        return (days >= day_number(first)) & (days <= day_number(last))
    now = month_days(days)
    begin, end = (int(text[:2]) * 100 + int(text[3:]) for text in (first, last))
    after, before = now >= begin, now <= end
    return after & before if begin <= end else after | before


def open_days(windows: Sequence[Mapping[str, Any]], days: np.ndarray) -> np.ndarray:
    """Whether a sector is open on each day.

    Parameters
    ----------
    windows : sequence of mapping
        The windows of this sector and of its whole crag. Where one or more say `open only`,
        the sector is open in those alone; `closed` wins over them.
    days : ndarray of int
        Day numbers.
    """
    seasons = [w for w in windows if w["access"] == OPEN_ONLY]
    is_open = np.full(len(days), not seasons)
    for window in seasons:
        is_open |= in_window(window, days)
    for window in windows:
        if window["access"] != OPEN_ONLY:
            is_open &= ~in_window(window, days)
    return is_open


def windows_of(rows: Sequence[Mapping[str, Any]], crag: str, sector: str) -> list[Any]:
    """Rows about a sector or its whole crag."""
    return [r for r in rows if r["crag"] == crag and r["sector"] in ("", sector)]


def team_days(team: Mapping[str, Any], days: np.ndarray) -> np.ndarray:
    """Days on which a team is free, of the days given.

    Parameters
    ----------
    team : mapping
        `days_free` in RFC 5545's BYDAY form, `from`, `until`, `away`, `also`.
    days : ndarray of int
        Day numbers.
    """
    ends = [dt.datetime.fromisoformat(day_text(days[at])) for at in (0, -1)]
    # one rule a token: dateutil takes SA,1SU for what is both
    rules = [rrulestr(f"FREQ=MONTHLY;BYDAY={t}", dtstart=ends[0]) for t in team["days_free"]]
    dates = [date for rule in rules for date in rule.between(*ends, inc=True)]
    free = np.isin(days, [day_number(date) for date in dates])
    for first, last in team["also"]:
        free |= (days >= day_number(first)) & (days <= day_number(last))
    for first, last in team["away"]:
        free &= ~((days >= day_number(first)) & (days <= day_number(last)))
    if team["from"]:
        free &= days >= day_number(team["from"])
    if team["until"]:
        free &= days <= day_number(team["until"])
    return np.asarray(days)[free]
