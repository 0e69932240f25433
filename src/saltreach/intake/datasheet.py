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
