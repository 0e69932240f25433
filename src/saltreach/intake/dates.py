"""Dates as registers hold them: ISO text that stops at the known precision."""

from __future__ import annotations

import datetime as dt
from typing import NamedTuple

import numpy as np
import pandas as pd

EARLIEST_YEAR = 1900
"""No anchor of a climbing crag is older; an earlier year is a slip."""

_YEAR_FIRST = (
    r"^(?P<y>[0-9]{4})(?:(?P<s>[-/])(?P<m>[0-9]{1,2})(?:(?P=s)(?P<d>[0-9]{1,2})"
    r"(?:[T ][0-9]{2}:[0-9]{2}[0-9:.,]*\s?(?:Z|[+-][0-9]{2}:?[0-9]{2})?)?)?)?$"
)
# With dots only the full form: 2014.5 may be a decimal year, so it is never read as May.
_YEAR_FIRST_DOTS = r"^(?P<y>[0-9]{4})\.(?P<m>[0-9]{1,2})\.(?P<d>[0-9]{1,2})\.?$"
_BASIC = r"^(?P<y>[0-9]{4})(?P<m>[0-9]{2})(?P<d>[0-9]{2})$"
_MONTH_FIRST = r"^(?P<m>[0-9]{1,2})[-/.](?P<y>[0-9]{4})$"
_YEAR_LAST = r"^(?P<a>[0-9]{1,2})(?P<s>[-/.])(?P<b>[0-9]{1,2})(?P=s)(?P<y>[0-9]{4})$"
_FORM = "write YYYY, YYYY-MM or YYYY-MM-DD, or leave it empty"


class Parsed(NamedTuple):
    """Values of one column, with the reason and the fix where a cell is refused (else NaN)."""

    values: pd.Series
    reason: pd.Series
    fix: pd.Series


def empty_text(index: pd.Index) -> pd.Series:
    """Return a text column with every cell unknown."""
    return pd.Series(np.nan, index=index, dtype="str")


def _parts(text: pd.Series) -> tuple[pd.DataFrame, pd.Series]:
    """Year, month, day as floats (NaN where not given), and where both orders are possible."""
    parts = pd.DataFrame(np.nan, index=text.index, columns=["y", "m", "d"], dtype=float)
    for pattern in (_YEAR_FIRST, _YEAR_FIRST_DOTS, _BASIC, _MONTH_FIRST):
        found = text.str.extract(pattern)
        hit = found["y"].notna() & parts["y"].isna()
        for name in parts.columns.intersection(found.columns):
            parts.loc[hit, name] = found.loc[hit, name].astype(float)
    found = text.str.extract(_YEAR_LAST)
    hit = found["y"].notna()
    a, b = (found[name].astype(float) for name in ("a", "b"))
    both = hit & a.between(1, 12) & b.between(1, 12) & (a != b)
    month_first = hit & a.between(1, 12) & (b > 12)
    parts.loc[hit, "y"] = found.loc[hit, "y"].astype(float)
    parts.loc[hit, "d"] = a.where(~month_first, b)[hit]
    parts.loc[hit, "m"] = b.where(~month_first, a)[hit]
    return parts, both


def _days_in_month(year: np.ndarray, month: np.ndarray) -> np.ndarray:
    months = (year - 1970) * 12 + month - 1
    starts = months.astype("datetime64[M]").astype("datetime64[D]")
    ends = (months + 1).astype("datetime64[M]").astype("datetime64[D]")
    return (ends - starts).astype(np.int64)


def _two(values: pd.Series) -> pd.Series:
    return values.fillna(0).astype(int).astype("str").str.zfill(2)


def _iso(parts: pd.DataFrame) -> pd.Series:
    year = parts["y"].fillna(0).astype(int).astype("str").str.zfill(4).astype("str")
    month = year + "-" + _two(parts["m"])
    day = month + "-" + _two(parts["d"])
    out = year.where(parts["m"].isna(), month.where(parts["d"].isna(), day))
    return out.where(parts["y"].notna())


def parse_dates(text: pd.Series, today: dt.date) -> Parsed:
    """Read dates written as text.

    Parameters
    ----------
    text : Series of str
        Cells without surrounding blanks; NaN where empty.
    today : date
        The last day that is not in the future.

    Returns
    -------
    Parsed
        ISO text (`2014`, `2014-06`, `2014-06-12`), and reason and fix of refused cells.
        A date that can be read day-first and month-first is refused, never guessed.
    """
    # Registers repeat few dates many times: each is read once.
    codes, distinct = pd.factorize(text, use_na_sentinel=False)
    parsed = _parse_distinct(pd.Series(distinct, dtype="str"), today)
    return Parsed(*(column.take(codes).set_axis(text.index) for column in parsed))


def _parse_distinct(text: pd.Series, today: dt.date) -> Parsed:
    parts, both = _parts(text)
    reason, fix = empty_text(text.index), empty_text(text.index)
    given = text.notna()

    def refuse(mask: pd.Series, why: str, how: str) -> None:
        fresh = mask & given & reason.isna()
        reason.loc[fresh] = why
        fix.loc[fresh] = how

    serial = text.str.fullmatch(r"[0-9]{5}(?:\.[0-9]+)?", na=False)
    refuse(
        parts["y"].isna() & serial,
        "not a date: looks like a spreadsheet's day number",
        "format the cell as a date, or write YYYY-MM-DD",
    )
    refuse(parts["y"].isna(), "not a date that can be read", _FORM)
    if both.any():
        slip = parts[both]
        year = slip["y"].astype(int).astype("str")
        day, month = _two(slip["d"]), _two(slip["m"])
        fix.loc[both] = (
            "write " + year + "-" + month + "-" + day + " or " + year + "-" + day + "-" + month
        )
        reason.loc[both] = "day and month can be read both ways"
    refuse((parts["m"] < 1) | (parts["m"] > 12), "no such month", _FORM)
    month = parts["m"].where(parts["m"].between(1, 12), 1).to_numpy(np.int64)
    year = parts["y"].fillna(2000).to_numpy(np.int64)
    no_day = (parts["d"] < 1) | (parts["d"] > _days_in_month(year, month))
    refuse(no_day, "no such day in that month", _FORM)
    refuse(
        parts["y"] < EARLIEST_YEAR,
        f"before {EARLIEST_YEAR}",
        f"give a date from {EARLIEST_YEAR} on, or leave it empty",
    )
    values = _iso(parts).where(reason.isna())
    first, _ = day_limits(values)
    refuse(
        pd.Series(first > np.datetime64(today), index=text.index),
        f"in the future (today is {today.isoformat()})",
        "give the date it was done, not the date it is planned for, or leave it empty",
    )
    return Parsed(values.where(reason.isna()), reason, fix)


def day_limits(iso: pd.Series) -> tuple[np.ndarray, np.ndarray]:
    """First and last day that ISO text of any precision can mean.

    Parameters
    ----------
    iso : Series of str
        `2014`, `2014-06` or `2014-06-12`; NaN where unknown.

    Returns
    -------
    first, last : ndarray of datetime64[D]
        Both days belong to the period; NaT where unknown.

    Examples
    --------
    >>> first, last = day_limits(pd.Series(["2014", "2012-02"]))
    >>> [str(day) for day in first], [str(day) for day in last]
    (['2014-01-01', '2012-02-01'], ['2014-12-31', '2012-02-29'])
    """
    text = pd.Series(iso, dtype="str")
    known = (text.notna() & (text != "")).to_numpy(bool)

    def number(start: int, stop: int) -> np.ndarray:
        cut = text.str.slice(start, stop)
        return cut.where(cut != "").to_numpy(object, na_value=np.nan).astype(float)

    year, month, day = number(0, 4), number(5, 7), number(8, 10)
    y = np.where(known, year, 2000).astype(np.int64)
    m = np.where(np.isnan(month), 1, month).astype(np.int64)
    d = np.where(np.isnan(day), 1, day).astype(np.int64)
    start = (y - 1970) * 12 + m - 1
    first = start.astype("datetime64[M]").astype("datetime64[D]") + (d - 1)
    after_month = (start + np.where(np.isnan(month), 12, 1)).astype("datetime64[M]")
    last = np.where(np.isnan(day), after_month.astype("datetime64[D]") - 1, first)
    return (
        np.where(known, first, np.datetime64("NaT")),
        np.where(known, last, np.datetime64("NaT")),
    )


def year_fraction(iso: pd.Series) -> tuple[np.ndarray, np.ndarray]:
    """Middle of each date as a decimal year, and how far it may lie to either side.

    Parameters
    ----------
    iso : Series of str
        `2014`, `2014-06` or `2014-06-12`; NaN where unknown.

    Returns
    -------
    mid_year, half_width : ndarray of float
        Years. A date known to the year has its middle at .5 and half a year to either side;
        one known to the day half a day. NaN where unknown.

    Examples
    --------
    >>> mid, half = year_fraction(pd.Series(["2014", "2014-01"]))
    >>> [round(float(v), 4) for v in (*mid, *half)]
    [2014.5, 2014.0425, 0.5, 0.0425]
    """
    first, last = day_limits(iso)
    known = ~np.isnat(first)
    year = np.where(known, first, np.datetime64("2000-01-01")).astype("datetime64[Y]")
    new_year = year.astype("datetime64[D]")
    length = ((year + 1).astype("datetime64[D]") - new_year).astype(float)
    start = (np.where(known, first, new_year) - new_year).astype(float)
    end = (np.where(known, last, new_year) - new_year).astype(float) + 1.0
    mid = year.astype(np.int64) + 1970 + (start + end) / 2.0 / length
    half = (end - start) / 2.0 / length
    return np.where(known, mid, np.nan), np.where(known, half, np.nan)
