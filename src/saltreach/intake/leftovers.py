"""What programs leave in cells: HTML for letters, apostrophes before numbers and formulas."""

from __future__ import annotations

import html
import re
from dataclasses import replace

import pandas as pd

from saltreach.intake.formats import Table

_ENTITY = r"&(?:[A-Za-z]{2,8}|#[0-9]{1,6}|#x[0-9A-Fa-f]{1,5});"
_GUARD = r"^'(?=[0-9.,=+\-@])"


def _shown(code: re.Match[str]) -> str:
    return html.unescape(code[0])


def _holding(text: pd.Series, sign: str, pattern: str) -> pd.Series:
    """Where a pattern is found; only cells that hold its sign are looked at closely."""
    found = text.str.contains(sign, regex=False, na=False)
    return found if not found.any() else found & text.str.contains(pattern, na=False)


def cleaned(table: Table) -> Table:
    """A table without what a program left in its cells: HTML for letters, guarding apostrophes."""
    counts = {"HTML codes of letters": 0, "an apostrophe before a number": 0}
    cells = table.cells
    for place in cells.columns:
        text = cells[place]
        coded, guarded = (
            _holding(text, sign, pattern) for sign, pattern in (("&", _ENTITY), ("'", _GUARD))
        )
        if coded.any() or guarded.any():
            shown = text.str.replace(_ENTITY, _shown, regex=True)
            cells = cells.copy() if cells is table.cells else cells
            cells[place] = shown.str.replace(_GUARD, "", regex=True)
            counts["HTML codes of letters"] += int(coded.sum())
            counts["an apostrophe before a number"] += int(guarded.sum())
    notes = [
        f"{what} in {count} cells read as they show" for what, count in counts.items() if count
    ]
    return replace(table, cells=cells, notes=(*table.notes, *notes))
