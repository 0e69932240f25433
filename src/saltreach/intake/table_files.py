"""Reader of a table by the suffix of its file."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

from saltreach.intake.csv_file import read_csv
from saltreach.intake.formats import Request, Table
from saltreach.intake.workbook import read_xlsx

READERS: dict[str, Callable[[Path, bytes, Request], Table]] = {
    ".csv": read_csv,
    ".tsv": read_csv,
    ".txt": read_csv,
    ".xlsx": read_xlsx,
    ".xlsm": read_xlsx,
}
"""File suffix of a table -> reader."""
