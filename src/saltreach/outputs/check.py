"""What a check found, for the screen; and the clean copy of a table."""

from __future__ import annotations

import io
from collections.abc import Mapping
from pathlib import Path

import pandas as pd

from saltreach.assessment.reasons import MOST_SHOWN, some
from saltreach.errors import OutputError
from saltreach.folders.files import atomic_write, refuse_present
from saltreach.folders.trouble import told
from saltreach.intake.checked import Checked
from saltreach.intake.parts import row_named, rows_in

MOST_ROWS_SHOWN = 20
"""Refused rows and cells in doubt that the screen lists; --json has all."""


def check_lines(found: Checked) -> list[str]:
    """A check in lines: counts, each column, notes, refused rows, cells in doubt."""
    if found.clean is None:
        return [f"{found.file}: {found.kind} settings, nothing is wrong with them"]
    refused = rows_in(found.rejected)
    lines = [
        f"{found.file}, read as {found.kind}: {found.rows} rows, {found.accepted} good, "
        f"{refused} refused, {len(found.doubts)} cells in doubt",
        "Columns as they were understood (header = column [unit], filled, examples):",
    ]
    for row in found.understood.itertuples(index=False):
        unit = f" [{row.unit}]" if row.unit else ""
        name = f"{row.column}{unit}, {row.meaning}" if row.column else "not used"
        shown = f": {row.examples}" if row.examples else ""
        told = f" ({row.reading})" if row.reading else ""
        lines.append(f"  {row.header!r} = {name}; {row.filled_pct:g} %{shown}{told}")
    lines += [f"  note: {note}" for note in found.notes]
    lines += [f"  stops the commands that read it: {said}" for said in found.stops]
    for title, table in (("refused", found.rejected), ("in doubt", found.doubts)):
        for row in table.head(MOST_ROWS_SHOWN).itertuples(index=False):
            where = f"{row.column} = {row.value!r}" if row.column else repr(row.value)
            at = row_named(row, found.file)
            lines.append(f"  {title}: {at}, {where}: {row.reason}; {row.fix}")
        if len(table) > MOST_ROWS_SHOWN:
            lines.append(f"  and {len(table) - MOST_ROWS_SHOWN} more {title}: --json lists all")
    return lines


def write_clean(checks: list[Checked], file: Path) -> list[str]:
    """Write the good rows of every table of a file as a workbook in our own form.

    Parameters
    ----------
    checks : list of Checked
        One for each sheet of the copy.
    file : Path
        The workbook; never one that is there already.

    Returns
    -------
    list of str
        What the copy leaves out.

    Raises
    ------
    OutputError
        The file is there already, or is no .xlsx.
    """
    refuse_present(file, ".xlsx", "the clean copy is a workbook")
    sheets: dict[str, pd.DataFrame] = {}
    left: list[str] = []
    for found in checks:
        if found.clean is None:
            continue
        sheets[found.kind] = found.clean
        unused = found.understood.loc[found.understood["column"] == "", "header"].tolist()
        refused = rows_in(found.rejected)
        if unused:
            shown = some([repr(header) for header in unused], MOST_SHOWN)
            left.append(f"columns not used are not in the copy: {shown}")
        if refused:
            left.append(f"{refused} refused rows are not in the copy")
    if not sheets:
        raise OutputError("settings need no clean copy; mend the file itself")
    with told(file, "--clean"):
        atomic_write(file, workbook_of(sheets))
    return left


def workbook_of(sheets: Mapping[str, pd.DataFrame]) -> bytes:
    """A workbook with one sheet a table, in which every text stays text."""
    import openpyxl

    book = openpyxl.Workbook()
    book.remove(book.active)
    for name, table in sheets.items():
        sheet = book.create_sheet(name)
        sheet.append(list(table.columns))
        for row in table.itertuples(index=False):
            sheet.append([value if value != "" else None for value in row])
        sheet.freeze_panes = "A2"
        for column in sheet.columns:
            for cell in column:
                if isinstance(cell.value, str):
                    # text: no program makes a formula, a date or a number of it
                    cell.data_type, cell.quotePrefix, cell.number_format = "s", True, "@"
    buffer = io.BytesIO()
    book.save(buffer)
    return buffer.getvalue()
