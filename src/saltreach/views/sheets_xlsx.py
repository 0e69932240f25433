"""Tables as a workbook that prints well and in which no cell can run as a formula."""

from __future__ import annotations

import datetime as dt
import io
import re
import zipfile
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

import pandas as pd

from saltreach.pipeline import CAUTION

CREATED = dt.datetime(2000, 1, 1)
"""Written as the time of making, so that the same tables give the same workbook."""

WIDEST = 60


def write_workbook(
    path: Path, sheets: Mapping[str, pd.DataFrame], about: Sequence[str], *, title: str
) -> None:
    """Write one sheet per table, and the sheet `About` first.

    Parameters
    ----------
    path : Path
        File to write.
    sheets : mapping of str to DataFrame
        Title of each sheet and its table.
    about : sequence of str
        Sentences of the first sheet, above the caution.
    title : str
        Heading, also of every printed page.

    Notes
    -----
    Text is stored as text, whatever it begins with, and marked so that it stays text when the
    cell is edited; letters that XML cannot hold are dropped. Every sheet prints in landscape,
    one page wide, with its header row on each page.
    """
    import openpyxl
    from openpyxl.styles import Alignment, Font

    book = openpyxl.Workbook()
    book.properties.creator = "saltreach"
    book.properties.title = _plain(title)
    book.properties.created = book.properties.modified = CREATED
    first = book.active
    first.title = "About"
    first.column_dimensions["A"].width = 110
    for row, text in enumerate((title, *about, "", CAUTION), 1):
        _set(first, row, 1, text)
        first.cell(row, 1).alignment = Alignment(wrap_text=True, vertical="top")
    first.cell(1, 1).font = Font(bold=True, size=14)
    first.cell(len(about) + 3, 1).font = Font(bold=True)
    _page(first, title)
    for name, table in sheets.items():
        _fill(book.create_sheet(name[:31]), table, title)
    data = io.BytesIO()
    book.save(data)
    path.write_bytes(_without_clock(data))


def _without_clock(book: io.BytesIO) -> bytes:
    """The workbook with fixed times inside, so that the same tables give the same bytes."""
    out = io.BytesIO()
    fixed = CREATED.strftime("%Y-%m-%dT%H:%M:%SZ").encode()
    with zipfile.ZipFile(book) as old, zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as new:
        for name in old.namelist():
            content = old.read(name)
            if name == "docProps/core.xml":
                content = re.sub(rb"[0-9]{4}-[0-9]{2}-[0-9]{2}T[0-9:]{8}Z", fixed, content)
            info = zipfile.ZipInfo(name, CREATED.timetuple()[:6])
            info.compress_type = zipfile.ZIP_DEFLATED
            new.writestr(info, content)
    return out.getvalue()


def _fill(sheet: Any, table: pd.DataFrame, title: str) -> None:
    from openpyxl.styles import Alignment, Font, PatternFill
    from openpyxl.utils import get_column_letter

    for column, name in enumerate(table.columns, 1):
        _set(sheet, 1, column, str(name).replace("_", " "))
        head = sheet.cell(1, column)
        head.font = Font(bold=True)
        head.fill = PatternFill("solid", fgColor="DDDDDD")
        head.alignment = Alignment(wrap_text=True, vertical="top")
    for row, values in enumerate(table.itertuples(index=False, name=None), 2):
        for column, value in enumerate(values, 1):
            _set(sheet, row, column, value)
            if isinstance(value, str):
                sheet.cell(row, column).alignment = Alignment(wrap_text=True, vertical="top")
            else:
                sheet.cell(row, column).alignment = Alignment(vertical="top")
    for column, name in enumerate(table.columns, 1):
        words = max((len(w) for w in str(name).split("_")), default=4)
        longest = table.iloc[:, column - 1].astype("str").str.len().max() if len(table) else 0
        width = min(max(words + 2, longest + 1, 6), WIDEST)
        sheet.column_dimensions[get_column_letter(column)].width = width
    sheet.freeze_panes = "A2"
    if len(table.columns):
        sheet.auto_filter.ref = f"A1:{get_column_letter(len(table.columns))}{len(table) + 1}"
    sheet.print_title_rows = "1:1"
    _page(sheet, title)


def _page(sheet: Any, title: str) -> None:
    """Landscape A4, one page wide, caution and page number at the foot."""
    sheet.page_setup.orientation = "landscape"
    sheet.page_setup.paperSize = sheet.PAPERSIZE_A4
    sheet.page_setup.fitToWidth, sheet.page_setup.fitToHeight = 1, 0
    sheet.sheet_properties.pageSetUpPr.fitToPage = True
    sheet.oddHeader.left.text = _plain(title).replace("&", "&&")
    sheet.oddFooter.left.text = CAUTION
    sheet.oddFooter.left.size = 7
    sheet.oddFooter.right.text = "&P / &N"


def _set(sheet: Any, row: int, column: int, value: Any) -> None:
    """Put a value into a cell; text never becomes a formula."""
    cell = sheet.cell(row, column)
    if value is None or value is pd.NA or (isinstance(value, float) and pd.isna(value)):
        return
    if isinstance(value, str):
        cell.value = _plain(value)
        cell.data_type = "s"
        cell.quotePrefix = value[:1] in tuple("=+-@\t\r") and bool(value)
    else:
        cell.value = value.item() if hasattr(value, "item") else value


def _plain(text: str) -> str:
    """Text without the letters that XML cannot hold."""
    from openpyxl.cell.cell import ILLEGAL_CHARACTERS_RE

    return ILLEGAL_CHARACTERS_RE.sub("", text)
