"""Dates as registers hold them: ISO text that stops at the known precision."""

from __future__ import annotations

import datetime as dt
import re
from typing import NamedTuple

import numpy as np
import pandas as pd

from saltreach.errors import setting
from saltreach.intake.distinct import distinct

EARLIEST_YEAR, LATEST_YEAR = 1900, 2199
"""No anchor of a climbing crag is older, and none is assessed later; other years are a slip."""

_YEAR_FIRST = (
    r"^(?P<y>[0-9]{4})(?:(?P<s>[-/])(?P<m>[0-9]{1,2})(?:(?P=s)(?P<d>[0-9]{1,2})"
    r"(?:[T ][0-9]{2}:[0-9]{2}[0-9:.,]*\s?(?:Z|[+-][0-9]{2}:?[0-9]{2})?)?)?)?$"
)
# With dots only the full form: 2014.5 may be a decimal year, so it is never read as May.
_YEAR_FIRST_DOTS = r"^(?P<y>[0-9]{4})\.(?P<m>[0-9]{1,2})\.(?P<d>[0-9]{1,2})\.?$"
_BASIC = r"^(?P<y>[0-9]{4})(?P<m>[0-9]{2})(?P<d>[0-9]{2})$"
_MONTH_FIRST = r"^(?P<m>[0-9]{1,2})[-/.](?P<y>[0-9]{4})$"
_YEAR_LAST = (
    r"^(?P<a>[0-9]{1,2})(?P<s>[-/.])(?P<b>[0-9]{1,2})(?P=s)(?P<y>[0-9]{4})"
    r"(?:[T ][0-9]{1,2}:[0-9]{2}(?::[0-9]{2})?)?$"
)
# 12.06.09 and 12/06/09; with hyphens the year may come first, so those are refused.
_SHORT_YEAR = r"^(?P<a>[0-9]{1,2})(?P<s>[./])(?P<b>[0-9]{1,2})(?P=s)(?P<y>[0-9]{2})$"
_FORM = "write YYYY, YYYY-MM or YYYY-MM-DD, or leave it empty"
ORDERS = ("day-first", "month-first")
"""Which of the first two numbers of a date is the day."""
_ABOUT = re.compile(
    r"(?:(?:~|≈|c(?:irc)?a\.?|approx\.?|about|etwa|um|env\.?|environ|vers|aprox\.?|hacia|verso|"
    r"por volta de)\s*(?P<a>(?:19|20)[0-9]{2})|(?P<b>(?:19|20)[0-9]{2})\s*(?:\?|\(\?\)))",
    re.IGNORECASE,
)
_SEASON = re.compile(
    r"(?:(?:in|im|en|em|au|a|l'|the|à l')?\s*)(?:spring|summer|autumn|fall|winter|frühling|"
    r"frühjahr|sommer|herbst|primavera|verano|estate|verão|otoño|autunno|outono|invierno|inverno|printemps|"
    r"été|automne|hiver)(?:\s+(?:of|de|del|do|di))?\s+(?P<y>(?:19|20)[0-9]{2})",
    re.IGNORECASE,
)
_LIMIT = re.compile(
    r"(?:before|after|since|vor|nach|seit|antes de|después de|desde|avant|après|depuis|prima del|"
    r"dopo il|dal|depois de|[<>])\s*\d.*|\d{4}\s*(?:/|-|–|to|bis|a|à)\s*(?:\d{4}|\d{2})",
    re.IGNORECASE,
)
_DAY_ZERO = pd.Timestamp("1899-12-30")
"""Day 0 of spreadsheets since March 1900 (ECMA-376 part 1, 18.17.4.1, from memory)."""
_LANGUAGES = ["en", "de", "es", "fr", "it", "pt"]


class Parsed(NamedTuple):
    """Values of one column, with the reason and the fix where a cell is refused (else NaN)."""

    values: pd.Series
    reason: pd.Series
    fix: pd.Series


def empty_text(index: pd.Index) -> pd.Series:
    """Return a text column with every cell unknown."""
    return pd.Series(np.nan, index=index, dtype="str")


class _Orders(NamedTuple):
    """Cells that can be read both ways; the order taken, and whether other columns lent it.

    Also years of two figures, and cells against the order that was asked for.
    """

    both: pd.Series
    taken: str | None
    lent: bool
    two: pd.Series
    against: pd.Series


def _parts(text: pd.Series, asked: str | None, beside: str | None) -> tuple[pd.DataFrame, _Orders]:
    """Year, month, day as floats (NaN where not given), and what was found of their order."""
    parts = pd.DataFrame(np.nan, index=text.index, columns=["y", "m", "d"], dtype=float)
    for pattern in (_YEAR_FIRST, _YEAR_FIRST_DOTS, _BASIC, _MONTH_FIRST):
        found = text.str.extract(pattern)
        hit = found["y"].notna() & parts["y"].isna()
        for name in parts.columns.intersection(found.columns):
            parts.loc[hit, name] = found.loc[hit, name].astype(float)
    found, short = text.str.extract(_YEAR_LAST), text.str.extract(_SHORT_YEAR)
    two = short["y"].notna()
    found = found.where(found["y"].notna(), short)
    hit = found["y"].notna()
    a, b = (found[name].astype(float) for name in ("a", "b"))
    can_be = a.between(1, 12) & b.between(1, 12)
    month_first = hit & a.between(1, 12) & (b > 12)
    day_first = hit & b.between(1, 12) & (a > 12)
    order = asked
    if order is None and day_first.any() != month_first.any():
        order = ORDERS[0] if day_first.any() else ORDERS[1]
    lent = order is None and not day_first.any() and beside is not None
    if lent:
        order = beside
    dots = hit & found["s"].eq(".")  # no country writes the month first with dots
    both = hit & can_be & (a != b)
    if order == ORDERS[1]:
        month_first |= both & ~(dots if asked is None else False)
    open_ = both & ~dots if order is None else both & False
    parts.loc[hit, "y"] = found.loc[hit, "y"].astype(float)
    parts.loc[hit, "d"] = a.where(~month_first, b)[hit]
    parts.loc[hit, "m"] = b.where(~month_first, a)[hit]
    taken = order if (both & ~open_).any() else None
    if taken is None and (both & dots & ~open_).any():
        taken = ORDERS[0]
    against = month_first & can_be.eq(False) if asked == ORDERS[0] else day_first & False
    if asked == ORDERS[1]:
        against = day_first & ~dots
    return parts, _Orders(open_, taken, lent and bool((both & ~dots).any()), two, against)


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


def parse_dates(
    text: pd.Series, today: dt.date, *, order: str | None = None, beside: str | None = None
) -> tuple[Parsed, list[str]]:
    """Read dates written as text, in the order that the whole column shows.

    Parameters
    ----------
    text : Series of str
        Cells without surrounding blanks; NaN where empty.
    today : date
        The last day that is not in the future.
    order : str, optional
        One of `ORDERS`, for dates that can be read both ways. Without it the cells of the column
        that can be read one way only decide, if they agree; dates with dots are day-first.
    beside : str, optional
        The order that other columns of the file show (`order_shown`), where this one shows none.

    Returns
    -------
    parsed : Parsed
        ISO text (`2014`, `2014-06`, `2014-06-12`), and reason and fix of cells that cannot be
        read or only in part: of a date that can be read both ways the year is kept.
    notes : list of str
        How dates were read that are not ISO, with counts.
    """
    # Registers repeat few dates many times: each is read once.
    found = distinct(text)
    parsed, notes = _parse_distinct(found.texts, today, order, beside)
    return Parsed(*(found.spread(column, text.index) for column in parsed)), notes


def order_shown(text: pd.Series) -> str | None:
    """The order that the dates of a column show which can be read one way only; None if none do.

    Examples
    --------
    >>> order_shown(pd.Series(["06/07/2022", "25/12/2022"])), order_shown(pd.Series(["06/07/2022"]))
    ('day-first', None)
    """
    found = pd.Series(text.dropna().unique(), dtype="str").str.extract(_YEAR_LAST)
    a, b = (found[name].astype(float) for name in ("a", "b"))
    days, months = bool((a > 12).any()), bool((b > 12).any())
    return None if days == months else ORDERS[0] if days else ORDERS[1]


def _named(text: pd.Series, parts: pd.DataFrame) -> pd.Series:
    """Fill in dates with the name of a month, in six languages; True where one was read."""
    named = parts["y"].isna() & text.str.contains(r"[^\W\d_]{3}", na=False)
    named &= text.str.contains(r"(?<![0-9])(?:19|20)[0-9]{2}(?![0-9])", na=False)
    named &= ~text.str.fullmatch(_SEASON, na=False) & ~text.str.fullmatch(_ABOUT, na=False)
    named &= ~text.str.fullmatch(_LIMIT, na=False)
    if not named.any():
        return named
    from dateparser.date import DateDataParser

    reader = DateDataParser(
        languages=_LANGUAGES, settings={"DATE_ORDER": "DMY", "PARSERS": ["absolute-time"]}
    )
    for i in np.flatnonzero(named):
        given = text.iloc[i]
        found = reader.get_date_data(given)
        day = found.date_obj
        if day is None or str(day.year) not in given or found.period not in ("day", "month"):
            named.iloc[i] = False
            continue
        parts.iloc[i] = [day.year, day.month, day.day if found.period == "day" else np.nan]
    return named


def _parse_distinct(
    text: pd.Series, today: dt.date, order: str | None, beside: str | None
) -> tuple[Parsed, list[str]]:
    parts, (both, taken, lent, two, against) = _parts(text, order, beside)
    century = np.where(parts["y"] <= today.year % 100, today.year // 100, today.year // 100 - 1)
    parts.loc[two, "y"] += 100 * century[two]
    named = _named(text, parts)
    season = text.str.extract(_SEASON)["y"].where(parts["y"].isna()).astype(float)
    about = text.str.extract(rf"^{_ABOUT.pattern}$", flags=re.IGNORECASE)
    about = about["a"].fillna(about["b"]).where(parts["y"].isna()).astype(float)
    parts["y"] = parts["y"].fillna(season).fillna(about)
    serial = text.str.fullmatch(r"[0-9]{5}(?:\.[0-9]+)?", na=False) & parts["y"].isna()
    counted = pd.to_timedelta(text.where(serial).astype(float) // 1, unit="D") + _DAY_ZERO
    parts.loc[serial, ["y", "m", "d"]] = np.column_stack(
        [getattr(counted.dt, part)[serial] for part in ("year", "month", "day")]
    )
    reason, fix = empty_text(text.index), empty_text(text.index)
    given = text.notna()

    def refuse(mask: pd.Series, why: str, how: str) -> None:
        fresh = mask & given & reason.isna()
        reason.loc[fresh] = why
        fix.loc[fresh] = how

    limit = text.str.fullmatch(_LIMIT, na=False)
    refuse(parts["y"].isna() & limit, "a range or a limit, not one date", _FORM)
    refuse(parts["y"].isna(), "not a date that can be read", _FORM)
    refuse(against, f"not {order}, as was asked for", _FORM)
    month = parts["m"].where(parts["m"].between(1, 12), 1).to_numpy(np.int64)
    year = parts["y"].fillna(2000).to_numpy(np.int64)
    refuse((parts["m"] < 1) | (parts["m"] > 12), "no such month", _FORM)
    no_day = (parts["d"] < 1) | (parts["d"] > _days_in_month(year, month))
    refuse(no_day, "no such day in that month", _FORM)
    refuse(
        parts["y"] < EARLIEST_YEAR,
        f"before {EARLIEST_YEAR}",
        f"give a date from {EARLIEST_YEAR} on, or leave it empty",
    )
    either = _iso(parts)
    swapped = _iso(parts.rename(columns={"m": "d", "d": "m"}))
    parts.loc[both, ["m", "d"]] = np.nan
    values = _iso(parts).where(reason.isna())
    first, _ = day_limits(values)
    refuse(
        pd.Series(first > np.datetime64(today), index=text.index),
        f"in the future (today is {today.isoformat()})",
        "give the date it was done, not the date it is planned for, or leave it empty",
    )
    values = values.where(reason.isna())
    partly = both & reason.isna()
    ask = f", or say the order of the file's dates ({setting('date_order', ORDERS[0])})"
    reason.loc[partly] = "day and month can be read both ways; the year is kept"
    fix.loc[partly] = "write " + either[partly] + " or " + swapped[partly] + ask
    numbered = serial & reason.isna()
    reason.loc[numbered] = "a spreadsheet's day number; " + values[numbered] + " is used"
    fix.loc[numbered] = "format the cell as a date, or write YYYY-MM-DD"
    for mask, why in ((season.notna(), "a season"), (about.notna(), "about that year")):
        told = mask & reason.isna()
        reason.loc[told] = why + "; the year is kept"
        fix.loc[told] = _FORM
    return Parsed(values, reason, fix), _told(taken, order, lent, two & given, named)


def _dates(which: pd.Series) -> str:
    count = int(which.sum())
    return "1 date" if count == 1 else f"{count} different dates"


def _told(
    taken: str | None, asked: str | None, beside: bool, two: pd.Series, named: pd.Series
) -> list[str]:
    """How dates were read that are not ISO."""
    notes = []
    if taken is not None:
        own = "as other dates of the file show" if beside else "as the whole column shows"
        why = "as asked" if asked is not None else own
        notes.append(f"dates that can be read both ways read {taken}, {why}")
    if two.any():
        notes.append(f"years of two figures completed in {_dates(two)}")
    if named.any():
        notes.append(f"the name of a month read in {_dates(named)}")
    return notes


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
    found = distinct(pd.Series(iso, dtype="str"))
    first, last = _limits(found.texts)
    return first[found.codes], last[found.codes]


def _limits(text: pd.Series) -> tuple[np.ndarray, np.ndarray]:
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
