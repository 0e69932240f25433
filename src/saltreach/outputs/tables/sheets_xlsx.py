"""Tables as a workbook that prints well and in which no cell can run as a formula."""

from __future__ import annotations

import contextlib
import datetime as dt
import io
import math
import re
import zipfile
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

import pandas as pd

from saltreach.outputs.tables.text_size import LINE_EM, width_em, wrapped
from saltreach.vocabulary.words import CAUTION

CREATED = dt.datetime(2000, 1, 1)
"""Written as the time of making, so that the same tables give the same workbook."""

FONT, FONT_PT = "Arial", 9.0
UNIT_PX, PX_PER_PT, INSET_PX = 7, 96 / 72, 8
"""A column's width is counted in digits of the workbook's font, 7 pixels each for Arial 10; the
rest is the space that programs keep free beside the text."""

GAP = "_)"
"""End of a number format: keeps the width of a bracket free, so that a number does not touch the
next column. LibreOffice shows it in every column, and an indent at the right only in some."""

GAP_PT = 5.0

PAGE_PT = 277 / 25.4 * 72
"""Width of landscape A4 between margins of 10 mm."""

PROSE_PT = 640.0
"""Width of the sentences on the first sheet: well within the page, whatever the font."""

SMALLEST_PRINT = 0.75
"""Pages are shrunk to fit their width, but columns of words are made narrower before that."""

LEAST_PT, WIDEST_PT = 85.0, 300.0
TALLEST_PT = 400.0
"""Rows end at 409 points in spreadsheet programs."""

MONEY = ("budget", "spent", "cost", "price")


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
    cell is edited; letters that XML cannot hold are dropped. Whole ISO dates in a column `date`
    or `..._on` are stored as dates. Every sheet prints in landscape, one page wide, with its
    header row on each page. Widths and heights are written into the file, measured with
    `saltreach.outputs.tables.text_size`: programs that open it differ in whether they measure
    again.
    """
    import openpyxl
    from openpyxl.styles import Font

    book = openpyxl.Workbook()
    usual = Font(name=FONT, size=10)
    book._fonts[0] = usual
    book._named_styles["Normal"].font = usual
    book.properties.creator = "saltreach"
    book.properties.title = _plain(title)
    book.properties.created = book.properties.modified = CREATED
    first = book.active
    first.title = "About"
    first.column_dimensions["A"].width = _units(PROSE_PT)
    last = len(about) + 3
    for row, text in enumerate((title, *about, "", CAUTION), 1):
        size, bold = (14.0 if row == 1 else 10.0), row in (1, last)
        _set(first, row, 1, _plain(text))
        _dress(first.cell(row, 1), size, bold=bold)
        lines = len(wrapped(_plain(text), PROSE_PT / size, bold=bold))
        first.row_dimensions[row].height = _height(lines, size)
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
    from openpyxl.styles import Border, PatternFill, Side
    from openpyxl.utils import get_column_letter

    line = Side(style="thin", color="B8B8B8")
    box, grey = Border(line, line, line, line), PatternFill("solid", fgColor="E4E4E4")
    heads = [_plain(str(name).replace("_", " ")) for name in table.columns]
    columns = [_column(str(name), table.iloc[:, at]) for at, name in enumerate(table.columns)]
    widths = _widths(heads, [shown for _, shown, _ in columns])
    for at, (head, (values, _, form), width) in enumerate(
        zip(heads, columns, widths, strict=True), 1
    ):
        sheet.column_dimensions[get_column_letter(at)].width = _units(width)
        _set(sheet, 1, at, head)
        _dress(sheet.cell(1, at), FONT_PT, bold=True)
        sheet.cell(1, at).fill, sheet.cell(1, at).border = grey, box
        for row, value in enumerate(values, 2):
            cell = sheet.cell(row, at)
            _set(sheet, row, at, value)
            _dress(cell, FONT_PT, right=not isinstance(value, str | dt.date))
            cell.border = box
            if not isinstance(value, str):
                cell.number_format = form
    for row in range(len(table) + 1):
        texts = heads if row == 0 else [shown[row - 1] for _, shown, _ in columns]
        lines = max(
            (len(wrapped(text, width / FONT_PT, bold=row == 0))
             for text, width in zip(texts, widths, strict=True)),
            default=1,
        )  # fmt: skip
        sheet.row_dimensions[row + 1].height = _height(lines, FONT_PT)
    sheet.freeze_panes = "A2"
    if len(table.columns):
        sheet.auto_filter.ref = f"A1:{get_column_letter(len(table.columns))}{len(table) + 1}"
    sheet.print_title_rows = "1:1"
    _page(sheet, title)


def _column(name: str, column: pd.Series) -> tuple[list[Any], list[str], str]:
    """Values of a column, how each of them reads, and the number format that shows them so."""
    values = [_value(name, value) for value in column]
    numbers = [float(v) for v in values if v is not None and not isinstance(v, str | dt.date)]
    digits = 2 if name in MONEY or name.endswith(tuple(f"_{word}" for word in MONEY)) else 0
    while digits < 3 and any(abs(round(n, digits) - n) > 1e-9 for n in numbers):
        digits += 1
    shown = [_shown(value, digits) for value in values]
    date = any(isinstance(v, dt.date) for v in values)
    return values, shown, "yyyy-mm-dd" if date else f"{0:.{digits}f}{GAP}"


def _shown(value: Any, digits: int) -> str:
    if value is None:
        return ""
    return str(value) if isinstance(value, str | dt.date) else f"{float(value):.{digits}f}"


def _value(name: str, value: Any) -> Any:
    """A table's value as a cell's: text, date, number or None."""
    if value is None or value is pd.NA or (isinstance(value, float) and pd.isna(value)):
        return None
    if not isinstance(value, str):
        return value.item() if hasattr(value, "item") else value
    if (name == "date" or name.endswith("_on")) and re.fullmatch(r"\d{4}-\d{2}-\d{2}", value):
        with contextlib.suppress(ValueError):
            return dt.date.fromisoformat(value)
    return _plain(value)


def _widths(heads: Sequence[str], shown: Sequence[Sequence[str]]) -> list[float]:
    """Width of each column's text, in points: no word is cut, the page is used, long texts wrap."""
    least, wished = [], []
    for head, texts in zip(heads, shown, strict=True):
        widest = max((width_em(t) for text in set(texts) for t in text.split("\n")), default=0)
        word = max((width_em(word) for text in set(texts) for word in text.split()), default=0)
        label = max((width_em(word, bold=True) for word in head.split()), default=0)
        need = min(max(word, label, 2.0) * FONT_PT, WIDEST_PT)
        least.append(need + GAP_PT)
        wished.append(max(widest * FONT_PT + GAP_PT, least[-1]))
    room = PAGE_PT / SMALLEST_PRINT - len(heads) * INSET_PX / PX_PER_PT
    cap = WIDEST_PT
    while cap > LEAST_PT and sum(map(max, least, [min(w, cap) for w in wished])) > room:
        cap -= 5
    widths = [max(low, min(wish, cap)) for low, wish in zip(least, wished, strict=True)]
    for at, texts in enumerate(shown):
        longest = max(texts, key=len, default="")
        while _height(len(wrapped(longest, widths[at] / FONT_PT)), FONT_PT) >= TALLEST_PT:
            widths[at] *= 1.25
            if widths[at] > 1000:  # as wide as a column can be; the text stays whole in the cell
                break
    return widths


def _units(width_pt: float) -> float:
    """Width of a column that leaves so many points for its text, in the file's own unit."""
    return min(math.ceil((width_pt * PX_PER_PT + INSET_PX) / UNIT_PX * 4) / 4, 255.0)


def _height(lines: int, size_pt: float) -> float:
    return min(math.ceil(lines * size_pt * LINE_EM + 4), TALLEST_PT)


def _dress(cell: Any, size_pt: float, *, bold: bool = False, right: bool = False) -> None:
    from openpyxl.styles import Alignment, Font

    cell.font = Font(name=FONT, size=size_pt, bold=bold)
    cell.alignment = Alignment(
        horizontal="right" if right else "left", vertical="top", wrap_text=not right
    )


def _page(sheet: Any, title: str) -> None:
    """Landscape A4, one page wide, caution and page number at the foot."""
    sheet.page_setup.orientation = "landscape"
    sheet.page_setup.paperSize = sheet.PAPERSIZE_A4
    sheet.page_setup.fitToWidth, sheet.page_setup.fitToHeight = 1, 0
    sheet.sheet_properties.pageSetUpPr.fitToPage = True
    margins = sheet.page_margins
    margins.left = margins.right = 10 / 25.4
    margins.top, margins.bottom = 18 / 25.4, 20 / 25.4
    margins.header = margins.footer = 8 / 25.4
    sheet.oddHeader.left.text = _plain(title).replace("&", "&&")
    sheet.oddFooter.left.text = CAUTION
    sheet.oddFooter.left.size = 7
    sheet.oddFooter.right.text = "&P / &N"


def _set(sheet: Any, row: int, column: int, value: Any) -> None:
    """Put a value into a cell; text never becomes a formula."""
    cell = sheet.cell(row, column)
    if value is None:
        return
    cell.value = value
    if isinstance(value, str):
        cell.value = _plain(value)
        cell.data_type = "s"
        cell.quotePrefix = value[:1] in tuple("=+-@\t\r") and bool(value)


def _plain(text: str) -> str:
    """Text without the letters that XML cannot hold."""
    from openpyxl.cell.cell import ILLEGAL_CHARACTERS_RE

    return ILLEGAL_CHARACTERS_RE.sub("", text)
