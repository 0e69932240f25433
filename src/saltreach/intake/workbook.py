"""Workbooks: the sheet that holds the table, its merged cells, and what it does not say."""

from __future__ import annotations

import datetime as dt
import io
import itertools
import re
import struct
import warnings
import zipfile
import zlib
from collections.abc import Callable, Iterable, Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import Any
from xml.etree.ElementTree import ParseError

import numpy as np

from saltreach.errors import RegisterError, cause_of
from saltreach.intake import sizes
from saltreach.intake.csv_file import body_table
from saltreach.intake.formats import Request, Table, cell_text, text_frame
from saltreach.intake.headers import listed
from saltreach.intake.layout import MOST_ABOVE, MOST_LINES, HeaderPlace, find_headers
from saltreach.intake.names import shortened
from saltreach.intake.place_columns import register_headers
from saltreach.vocabulary.columns import COLUMNS
from saltreach.vocabulary.synonyms import plain

_HEAD_ROWS = MOST_ABOVE + MOST_LINES + 1
_BROKEN = (
    zipfile.BadZipFile, ParseError, LookupError, EOFError, OSError, zlib.error, ValueError,
    TypeError, AttributeError, RuntimeError, struct.error, NotImplementedError, MemoryError,
)  # fmt: skip
_MERGED = re.compile(rb'<mergeCell ref="([A-Z]{1,3})(\d+):[A-Z]{1,3}(\d+)"')
_NO_VALUE = re.compile(rb"<f\b[^>]*(?:/>|>[^<]*</f>)\s*(?:<v\s*/>|<v></v>)?\s*</c>")


_OTHER_TABLES = frozenset(plain(name) for c in COLUMNS if c.stage == "user" for name in c.tables)
"""Names of the tables beside a register."""


def _text(value: Any) -> str:
    found = cell_text(value)
    return found if isinstance(found, str) else ""


def _chosen_sheet(headers: dict[str, tuple[str, ...]], request: Request, where: str) -> str:
    names = ", ".join(repr(name) for name in headers)
    if request.sheet is not None:
        if request.sheet not in headers:
            raise RegisterError(f"{where}: no sheet {request.sheet!r}; sheets: {names}")
        return request.sheet
    if len(headers) == 1:
        return next(iter(headers))
    if request.named is not None:
        found = [n for n in headers if plain(n) == plain(request.named)]
        if not found and request.fits is not None:
            found = [n for n, heads in headers.items() if request.fits(heads)]
        if len(found) != 1:
            raise RegisterError(
                f"{where}: no sheet is named {request.named!r}; sheets: {names}; name one so"
            )
        return found[0]
    fitting = [
        name
        for name, found in headers.items()
        if register_headers(found, request.columns, grid=request.grid) is not None
    ]
    if len(fitting) > 1:  # returns name anchors as a register does
        fitting = [name for name in fitting if plain(name) not in _OTHER_TABLES] or fitting
    if len(fitting) == 1:
        return fitting[0]
    if fitting:
        chosen = ", ".join(repr(name) for name in fitting)
        raise RegisterError(f"{where}: several sheets hold a register ({chosen}); choose one")
    held = "; ".join(f"{name!r}: {listed(h)}" for name, h in headers.items())
    raise RegisterError(
        f"{where}: no sheet has the required columns. Headers found: {held}. "
        "Choose a sheet and map its headers, for example --column lon=Longitude"
    )


def _number(letters: str) -> int:
    """Index of a column by its letters, from 0."""
    value = 0
    for letter in letters:
        value = value * 26 + ord(letter) - 64
    return value - 1


def xlsx_heads(
    path: Path, data: bytes
) -> dict[str, Callable[[Callable[[str], bool]], tuple[str, ...]]]:
    """Headers of each visible sheet, for a function that says which are known."""
    with _opened(path, data) as book:
        rows = {
            sheet.title: list(itertools.islice(sheet.iter_rows(values_only=True), _HEAD_ROWS))
            for sheet in book.worksheets
            if sheet.sheet_state == "visible" and sheet.reset_dimensions() is None
        }
    return {
        title: lambda known, head=head: _place(head, Request(known=known)).names  # type: ignore[misc]
        for title, head in rows.items()
    }


@contextmanager
def _opened(path: Path, data: bytes) -> Iterator[Any]:
    """A workbook to be read in passing; what is wrong with it in one sentence."""
    import openpyxl
    from openpyxl.utils.exceptions import InvalidFileException

    try:
        with zipfile.ZipFile(io.BytesIO(data)) as archive:
            unpacked = sum(part.file_size for part in archive.infolist())
        if unpacked > sizes.UNPACKED_BYTES:
            raise RegisterError(
                f"{path.name}: it unpacks to {unpacked / 1e9:.1f} GB; at most "
                f"{sizes.UNPACKED_BYTES / 1e9:g} GB are read: save the sheet as CSV"
            )
        with warnings.catch_warnings():
            # openpyxl warns of parts it does not read (validation lists, printing headers).
            warnings.simplefilter("ignore")
            book = openpyxl.load_workbook(io.BytesIO(data), read_only=True, data_only=True)
            yield book
            book.close()
    except RegisterError:
        raise
    except (InvalidFileException, *_BROKEN) as error:
        raise RegisterError(
            f"{path.name}: not a readable XLSX workbook ({cause_of(error)}); "
            "it may be damaged, protected by a password, or another format renamed"
        ) from error


def read_xlsx(path: Path, data: bytes, request: Request) -> Table:
    """Read one sheet of a workbook; stored values of formulas, dates to their day."""
    with _opened(path, data) as book:
        places: dict[str, HeaderPlace] = {}
        shown = [sheet for sheet in book.worksheets if sheet.sheet_state == "visible"]
        hidden = 0
        # a sheet that nobody sees is read only when it is asked for, or alone
        for sheet in book.worksheets:
            if shown and sheet not in shown and sheet.title != request.sheet:
                hidden += 1
                continue
            sheet.reset_dimensions()
            head = list(itertools.islice(sheet.iter_rows(values_only=True), _HEAD_ROWS))
            places[sheet.title] = _place(head, request)
        name = _chosen_sheet({n: p.names for n, p in places.items()}, request, path.name)
        chosen = book[name]
        yearless: list[int] = []
        grid, notes = _rows(_values(chosen, book, yearless), path.name)
        if yearless:
            notes.append(
                f"{len(yearless)} dates that show no year read without one: the spreadsheet "
                "took the year in which they were typed"
            )
        source = chosen._get_source()  # what openpyxl does not read of a sheet it streams
        xml = source.read() if hasattr(source, "read") else b""
        others = tuple(sheet.title for sheet in book.worksheets if sheet.title != name)
    if not any(h.strip() for h in places[name].names):
        raise RegisterError(f"{path.name}, sheet {name!r}: it is empty; put headers and rows there")
    if others:
        more = f" ({hidden} hidden)" if hidden else ""
        named = ", ".join(shortened([repr(other) for other in others], "sheets"))
        notes.insert(0, f"sheet {name!r} read; the other sheets{more} were not: {named}")
    merged = _unmerged(grid, xml)
    place = _place([grid.get(i, ()) for i in range(1, _HEAD_ROWS + 1)], request)
    numbers = np.array([row for row in grid if row > place.after], dtype=int)
    width = max([len(place.names), *(len(grid[row]) for row in numbers)])
    columns = [[_cell(grid[row], i) for row in numbers] for i in range(width)]
    cells = text_frame(columns, len(numbers))
    headers = (*place.names, *[""] * (width - len(place.names)))
    below: dict[str, int] = {}
    for (i, row), count in sorted(merged.items()):
        if row > place.after:
            name = headers[i] or f"column {i + 1}"
            below[name] = below.get(name, 0) + count
    if below:
        said = ", ".join(f"{header} ({count} cells)" for header, count in below.items())
        notes.append(f"merged cells filled downwards: {said}")
    empty = len(_NO_VALUE.findall(xml))
    if empty:
        notes.append(
            f"{empty} formulas have no stored value and count as empty: open and save the "
            "workbook in a spreadsheet program, then read it again"
        )
    return body_table(
        headers,
        cells,
        numbers,
        "XLSX",
        (*notes, *place.notes),
        request,
        lines=place.lines,
        other_sheets=others,
    )


def _cell(row: Sequence[Any], i: int) -> Any:
    return row[i] if i < len(row) else None


def hides_year(number_format: str) -> bool:
    """Whether a spreadsheet shows a date by day and month alone.

    Examples
    --------
    >>> hides_year("d-mmm"), hides_year('DD". "MMM'), hides_year("DD/MM/YYYY"), hides_year("h:mm")
    (True, True, False, False)
    """
    shown = re.sub(r'"[^"]*"|\\.|\[[^\]]*\]', "", number_format).casefold()
    return "d" in shown and "m" in shown and "y" not in shown and "e" not in shown


def _values(sheet: Any, book: Any, yearless: list[int]) -> Iterator[Sequence[Any]]:
    """Values of a sheet; of a date that shows no year only month and day, which are counted."""
    from openpyxl.styles.numbers import BUILTIN_FORMATS

    known = BUILTIN_FORMATS | dict(enumerate(book._number_formats, 164))
    if not any(hides_year(known.get(style.numFmtId, "")) for style in book._cell_styles):
        yield from sheet.iter_rows(values_only=True)
        return
    for row in sheet.iter_rows():
        values = [cell.value for cell in row]
        for i, (cell, value) in enumerate(zip(row, values, strict=True)):
            if isinstance(value, dt.date) and hides_year(cell.number_format):
                values[i] = f"{value:%m-%d}"
                yearless.append(cell.row)
        yield values


def _is_blank(value: Any) -> bool:
    return value is None or (isinstance(value, str) and not value.strip())


def _place(head: Iterable[Sequence[Any]], request: Request) -> HeaderPlace:
    rows = [tuple(_text(value) for value in row[: sizes.COLUMNS]) for row in head]
    widths = [max((i + 1 for i, cell in enumerate(row) if cell), default=0) for row in rows]
    return find_headers(
        [row[:width] for row, width in zip(rows, widths, strict=True)], request.is_known
    )


def _rows(rows: Iterable[Sequence[Any]], where: str) -> tuple[dict[int, list[Any]], list[str]]:
    """Filled rows by their number, and what was left out of them."""
    grid: dict[int, list[Any]] = {}
    stray = 0
    for number, row in enumerate(rows, 1):
        cut = len(row)
        while cut and _is_blank(row[cut - 1]):
            cut -= 1
        if not cut:
            continue
        if cut > sizes.COLUMNS:
            stray += sum(1 for v in row[sizes.COLUMNS : cut] if not _is_blank(v))
            cut = sizes.COLUMNS
            while cut and _is_blank(row[cut - 1]):
                cut -= 1
            if not cut:
                continue
        if len(grid) >= sizes.ROWS:
            raise RegisterError(f"{where}: more than {sizes.ROWS:,} rows; divide the file")
        grid[number] = list(row[:cut])
    notes = []
    if stray:
        notes.append(f"{stray} cells beyond column {sizes.COLUMNS} left out")
    return grid, notes


def _unmerged(grid: dict[int, list[Any]], xml: bytes) -> dict[tuple[int, int], int]:
    """Fill merged cells downwards; how many were, by column and first row of the area."""
    filled: dict[tuple[int, int], int] = {}
    for letters, top, bottom in _MERGED.findall(xml):
        column, start = _number(letters.decode()), int(top)
        value = _cell(grid.get(start, ()), column)
        if value is None or value == "":
            continue
        for row in range(start + 1, min(int(bottom), max(grid)) + 1):
            cells = grid.get(row)
            if cells is None:
                continue
            cells.extend([None] * (column + 1 - len(cells)))
            if cells[column] is None:
                cells[column] = value
                filled[column, start] = filled.get((column, start), 0) + 1
    return filled
