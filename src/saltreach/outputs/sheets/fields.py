"""The form of a look or a placing: its fields in rows, each with its boxes or its line."""

from __future__ import annotations

import csv
from collections.abc import Iterable
from functools import cache
from typing import Any

from saltreach.outputs.html import asset_text
from saltreach.planning.spots import CONDITIONS
from saltreach.planning.trip import Spot
from saltreach.vocabulary.columns import Column, columns_of
from saltreach.vocabulary.words import UNKNOWN

STOP = "stop"
"""Begins the place of a field that is the same for all anchors of a stop."""
MOST_TICKS = 16
"""More words than these are written in, not ticked."""
ROW = 24
"""Width of a row of fields."""
_COLUMNS = columns_of("returns")


@cache
def _fields() -> tuple[dict[str, str], ...]:
    return tuple(csv.DictReader(asset_text("sheets/fields.csv").splitlines()))


def label_of_field(column: str) -> str:
    """Short words for a field; raises KeyError for a column that is on no form."""
    return {row["column"]: row["label"] for row in _fields()}[column]


def form_rows(form: str, *, stop: bool) -> list[list[dict[str, Any]]]:
    """Fields of a form, row by row.

    Parameters
    ----------
    form : str
        `trip.LOOK` or `trip.PLACE`.
    stop : bool
        Those of the whole stop, or those of one anchor.

    Returns
    -------
    list of list of dict
        `column`, `label`, `width` (of `ROW`), `ticks` (words to tick), `unit` (of what is
        written in), `times` (whether a time of day is written in).
    """
    rows: dict[int, list[dict[str, Any]]] = {}
    for field in _fields():
        *where, row, width = field[form].split() or ["", "", ""]
        if row and (STOP in where) == stop:
            column = _COLUMNS[field["column"]]
            rows.setdefault(int(row), []).append(
                {
                    "column": column.name, "label": field["label"], "width": int(width),
                    "ticks": ticks_of(column), "unit": unit_of(column),
                    "times": column.kind == "time",
                }
            )  # fmt: skip
    return [rows[at] for at in sorted(rows)]


def ticks_of(column: Column) -> list[str]:
    """Words of a field that are ticked; none where something is written in."""
    if column.name == "condition":
        return list(CONDITIONS)
    if column.kind == "integer" and column.low is not None and column.high is not None:
        few = range(int(column.low), int(column.high) + 1)
        return [str(n) for n in few] if len(few) <= MOST_TICKS else []
    return list(column.choices) if len(column.choices) <= MOST_TICKS else []


def unit_of(column: Column) -> str:
    """Unit beside a line to write on."""
    return {"degrees": "°"}.get(column.unit, column.unit)


def known_of(spot: Spot, form: str) -> tuple[dict[str, str], list[dict[str, str]], list[str]]:
    """What the register says of an anchor.

    Returns
    -------
    beside : dict
        By column of the form, to be marked there.
    known : list of dict
        What else is known.
    unknown : list of str
        Labels of what is not known and not asked.
    """
    asked = {f["column"] for row in form_rows(form, stop=False) for f in row}
    known = [k for k in spot.known if k["value"] != UNKNOWN]
    unknown = [k for k in spot.known if k["value"] == UNKNOWN]
    return (
        {k["column"]: k["value"] for k in known if k["column"] in asked},
        [k for k in known if k["column"] not in asked],
        [k["label"] for k in unknown if k["column"] not in asked],
    )


def headers_of(forms: Iterable[str]) -> list[dict[str, str]]:
    """Label and column of every field of some forms, once, in the order of the paper."""
    every = (
        field
        for form in forms
        for stop in (True, False)
        for row in form_rows(form, stop=stop)
        for field in row
    )
    found = {field["column"]: field["label"] for field in every}
    return [{"label": label, "column": column} for column, label in found.items()]
