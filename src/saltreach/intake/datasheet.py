"""The data sheet of an adhesive, as the user types it into a table, and its expiry as printed."""

from __future__ import annotations

import calendar
import datetime as dt
import re
from pathlib import Path

from saltreach.errors import OptionError
from saltreach.intake.sheets import read_table
from saltreach.intake.tables import DATA_SHEET
from saltreach.science.rock.adhesive import CureTable
from saltreach.vocabulary.words import UNKNOWN

EXPIRY_STATES = ("in date", "expired", UNKNOWN)


def read_cure_table(path: str | Path) -> CureTable:
    """Gel and cure times of a data sheet, sorted by temperature.

    Parameters
    ----------
    path : path
        CSV or XLSX with the columns of `tables.DATA_SHEET`. Where the sheet gives a band of
        temperatures for one time, enter its lower end.

    Raises
    ------
    OptionError
        The file cannot be used, a row is refused, or fewer than two temperatures are given.
    """
    sheet = read_table(path, DATA_SHEET)
    if len(sheet.rows) < 2:
        raise OptionError(
            f"{DATA_SHEET.title} {sheet.file}: {len(sheet.rows)} row(s) of cure times; give at "
            "least two temperatures from the data sheet"
        )
    times = sheet.frame(DATA_SHEET.columns.values()).sort_values("rock_temperature_c")
    columns = {str(c): times[c].to_numpy() for c in times}
    return CureTable(**columns, source=sheet.file, notes=tuple(sheet.said))


_PRINTED = (
    r"(?P<y>20\d\d)[-./]?(?P<m>\d\d)",  # 2027-10, 202710
    r"(?P<y>20\d\d)([-./])(?P<m>\d\d?)(?:\2(?P<d>\d\d?))?",  # 2027-10-31
    r"(?P<y>20\d\d)(?P<m>\d\d)(?P<d>\d\d)",
    r"(?P<m>\d\d?)[-./](?P<y>20\d\d)",  # 10/2027
    r"(?P<m>\d\d?)[./](?P<y>\d\d)",  # 10/27
    r"(?P<m>\d\d)(?P<y>(?:20)?\d\d)",  # 1027
    r"(?P<d>\d\d?)\.(?P<m>\d\d?)\.(?P<y>20\d\d)",
)


def expiry_of(printed: str) -> str:
    """The expiry of a cartridge as ISO text, from what is printed on it.

    Parameters
    ----------
    printed : str
        Year and month, month and year (of two or four digits), or a whole day; a day between
        strokes (3/4/2027) says not which is the month, and is not read.

    Returns
    -------
    str
        Year-month or date of this century; empty where it cannot be read.

    Examples
    --------
    >>> [expiry_of(text) for text in ("10/27", "10.2027", "2027-10", "31.10.2027", "soon", "13/27")]
    ['2027-10', '2027-10', '2027-10', '2027-10-31', '', '']
    """
    text = printed.strip().replace(" ", "").replace(",", ".")
    for pattern in _PRINTED:
        found = re.fullmatch(pattern, text, re.ASCII)
        if not found:
            continue
        told = found.groupdict()
        year, month, day = int(told["y"]) % 100 + 2000, int(told["m"]), told.get("d")
        try:
            dt.date(year, month, int(day or 1))
        except ValueError:
            continue
        return f"{year}-{month:02d}" + (f"-{int(day):02d}" if day else "")
    return ""


def expiry_state(expires_on: str, on: dt.date) -> str:
    """Tell whether a cartridge may still be used.

    Parameters
    ----------
    expires_on : str
        As printed (`expiry_of`): year and month (good to the end of the month) or a day.
        Empty if it cannot be read.
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
        A text that is no such expiry.

    Examples
    --------
    >>> expiry_state("2026-04", dt.date(2026, 4, 30)), expiry_state("2026-04", dt.date(2026, 5, 1))
    ('in date', 'expired')
    """
    text = expires_on.strip()
    if not text:
        return UNKNOWN
    read = expiry_of(text)
    if not read:
        raise OptionError(
            f"expiry date {expires_on!r} is not an ISO year-month or date; write 2026-04 or "
            "2026-04-30"
        )
    year, month, *day = map(int, read.split("-"))
    last_day = dt.date(year, month, *(day or [calendar.monthrange(year, month)[1]]))
    return EXPIRY_STATES[int(on > last_day)]
