"""What the form on the phone asks, from the one list of columns."""

from __future__ import annotations

import csv
from typing import Any

from saltreach.outputs.html import asset_text
from saltreach.planning.trip import LOOK, PLACE
from saltreach.vocabulary.columns import Column, columns_of


def form_rows() -> dict[str, dict[str, str]]:
    """How the form shows each column, in the form's order.

    Returns
    -------
    dict
        By column: `group` it stands in, the forms on which that group is `folded` until somebody
        opens it, `control` where the kind of the column does not say,
        `planned` (the entry of the planned piece it answers), `as_planned` and `repeats` (yes:
        taken over from the plan, or from the record before, by one tap).
    """
    return {row["column"]: row for row in csv.DictReader(asset_text("phone/form.csv").splitlines())}


def form_columns() -> list[dict[str, Any]]:
    """Columns of the form as the page holds them.

    Returns
    -------
    list of dict
        Name, kind, unit, range, words and place on the form. A column that is shown on a form
        and that the form's table lacks stands last, in a group of its event.
    """
    shown = {form: columns_of("returns", shown=form) for form in (LOOK, PLACE)}
    columns = shown[LOOK] | shown[PLACE]
    rows = form_rows()
    ordered = [name for name in rows if name in columns]
    ordered += [name for name in columns if name not in rows]
    return [
        _field(columns[name], rows.get(name, {}), [form for form in shown if name in shown[form]])
        for name in ordered
    ]


def _field(column: Column, row: dict[str, str], forms: list[str]) -> dict[str, Any]:
    return {
        "name": column.name,
        "kind": column.kind,
        "unit": column.unit,
        "low": column.low,
        "high": column.high,
        "choices": column.choices,
        "on": forms,
        "group": row.get("group", column.event),
        "folded": row.get("folded", "").split(),
        "control": row.get("control", ""),
        "planned": row.get("planned", ""),
        "as_planned": row.get("as_planned") == "yes",
        "repeats": row.get("repeats") == "yes",
    }
