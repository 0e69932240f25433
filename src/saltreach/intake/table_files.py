"""Reader of a table by the suffix of its file."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

from saltreach.intake.csv_file import csv_head, read_csv
from saltreach.intake.formats import Request, Table
from saltreach.intake.workbook import read_xlsx, xlsx_heads

Head = Callable[[Callable[[str], bool]], tuple[str, ...]]
"""Headers of a table, for a function that says which are known."""

READERS: dict[str, Callable[[Path, bytes, Request], Table]] = {
    ".csv": read_csv,
    ".tsv": read_csv,
    ".txt": read_csv,
    ".xlsx": read_xlsx,
    ".xlsm": read_xlsx,
}
"""File suffix of a table -> reader."""


def heads(path: Path, data: bytes) -> dict[str, Head]:
    """The headers of each sheet of a workbook, or of a text table under its file's name."""
    if path.suffix.lower() in (".xlsx", ".xlsm"):
        return xlsx_heads(path, data)
    return {path.stem: csv_head(path, data)}
