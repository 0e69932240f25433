"""A filled example and an empty sheet of every file a user may hand in."""

from __future__ import annotations

import shutil
from collections.abc import Mapping
from pathlib import Path
from typing import Any

import pandas as pd

from saltreach.assessment.reasons import MOST_SHOWN, some
from saltreach.errors import OptionError
from saltreach.folders.claim import Claim, result_set
from saltreach.intake.tables import Table
from saltreach.intake.templates import (
    SETTINGS,
    example_settings,
    example_tables,
    file_name,
    toml_of,
)
from saltreach.outputs.tables.sheets_xlsx import write_workbook
from saltreach.vocabulary.columns import Column

EXAMPLE, EMPTY = "example", "empty"
WORKBOOK = "tables.xlsx"


def write_templates(
    out: Path | str | Claim, demo: Path, *, beside_other_files: bool = False
) -> list[Path]:
    """Write the examples, the empty sheets and both as a workbook.

    Parameters
    ----------
    out : path
        Folder for the folders `example` and `empty`.
    demo : Path
        Folder of the demo's files.
    beside_other_files : bool
        As for `saltreach.write_results`; no file of the names below is replaced all the same.

    Returns
    -------
    list of Path
        What was written.

    Raises
    ------
    OptionError
        A file of that name is there already; nothing is written then.
    """
    filled, values = example_tables(demo), example_settings(demo)
    written: dict[str, dict[str, Any]] = {EXAMPLE: {}, EMPTY: {}}
    for table, cells in filled.items():
        written[EXAMPLE][file_name(table)] = cells.to_csv(index=False)
        written[EMPTY][file_name(table)] = cells.iloc[:0].to_csv(index=False)
    for name, model in SETTINGS.items():
        written[EXAMPLE][f"{name}.toml"] = toml_of(model, values[name])
        written[EMPTY][f"{name}.toml"] = toml_of(model)
    land = values["holding"]["land"]
    names = [f"{EXAMPLE}/{land}"] + [
        f"{folder}/{name}" for folder, files in written.items() for name in (*files, WORKBOOK)
    ]
    shown = out.shown if isinstance(out, Claim) else Path(out)
    there = [name for name in names if (shown / name).exists()]
    if there:
        named = some(there, MOST_SHOWN)
        raise OptionError(f"{shown}: already there and left as it is: {named}; give another --out")
    with result_set(out, "templates", beside_other_files=beside_other_files) as work:
        for folder, files in written.items():
            (work / folder).mkdir()
            for name, text in files.items():
                (work / folder / name).write_text(text, encoding="utf-8")
            if folder == EXAMPLE:
                shutil.copyfile(demo / land, work / folder / land)
            _workbook(work / folder / WORKBOOK, filled, empty=folder == EMPTY)
    return [shown / name for name in sorted(names)]


def _workbook(path: Path, filled: Mapping[Table, pd.DataFrame], *, empty: bool) -> None:
    """Every table as a sheet of the name its reader looks for, and one that explains columns."""
    sheets = {t.name: cells.iloc[:0] if empty else cells for t, cells in filled.items()}
    told = [{"sheet": t.name, **_told(c, t)} for t in filled for c in t.columns.values()]
    about = [
        "One sheet for each table saltreach reads; give this file wherever a command asks for one.",
        "Leave out what you do not have. What each column holds is on the sheet 'columns'.",
    ]
    if not empty:
        about.insert(0, "INVENTED EXAMPLE: no such crag, team or price exists.")
    write_workbook(path, {**sheets, "columns": pd.DataFrame(told)}, about, title="saltreach tables")


def _told(column: Column, table: Table) -> dict[str, str]:
    limits = [f"{v:.10g}" for v in (column.low, column.high) if v is not None]
    return {
        "column": column.name,
        "required": "yes" if column.required else "",
        "kind": column.kind,
        "unit": column.unit,
        "range or words": ", ".join(column.choices) or " to ".join(limits),
        "meaning": column.meaning,
    }
