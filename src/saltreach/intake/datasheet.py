"""The data sheet of an adhesive, as the user types it into a table."""

from __future__ import annotations

from pathlib import Path

from saltreach.errors import OptionError
from saltreach.intake.sheets import read_table
from saltreach.intake.tables import DATA_SHEET
from saltreach.science.rock.adhesive import CureTable


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
    return CureTable(**{str(c): times[c].to_numpy() for c in times}, source=sheet.file)
