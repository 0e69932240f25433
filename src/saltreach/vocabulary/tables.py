"""The lists beside these modules, row by row."""

from __future__ import annotations

import csv
from importlib.resources import files


def rows_of(file: str) -> list[dict[str, str]]:
    """Rows of a CSV file of this package, as text by column."""
    text = (files("saltreach.vocabulary") / file).read_text(encoding="utf-8")
    return list(csv.DictReader(text.splitlines()))
