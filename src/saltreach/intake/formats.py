"""The six file formats of a register, each read to one table of text."""

from __future__ import annotations

import csv
import datetime as dt
import io
import json
import re
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd

from saltreach.errors import RegisterError
from saltreach.intake.headers import column_of, listed, resolve_headers
from saltreach.vocabulary.synonyms import plain

DELIMITERS = {",": "comma", ";": "semicolon", "\t": "tab"}


@dataclass(frozen=True)
class Table:
    """A register as its file has it: every cell text, NaN where empty.

    `cells` has one column per header, named 0, 1, 2 ... because headers may repeat. `rows` are
    the numbers the user sees. For GIS formats `points` holds the coordinates in `crs` (NaN
    where a feature has no point) and `odd_geometry` the type of geometries that are not points.
    `bad_rows` lists rows that could not even be split into cells: row, value, reason, fix.
    `other_sheets` are those of a workbook that were not read, `typed` the columns of a frame
    that hold numbers or truth values, by place.
    """

    headers: tuple[str, ...]
    cells: pd.DataFrame
    rows: np.ndarray
    format: str
    notes: tuple[str, ...] = ()
    points: np.ndarray | None = None
    odd_geometry: np.ndarray | None = None
    crs: Any = None
    crs_is_assumed: bool = False
    bad_rows: tuple[tuple[int, str, str, str], ...] = ()
    other_sheets: tuple[str, ...] = ()
    typed: Mapping[int, pd.Series] = field(default_factory=dict)


@dataclass(frozen=True)
class Request:
    """What the user asked for, as the readers need it.

    `named` is the sheet that a table beside the register has in a workbook of several; None for
    a register, whose sheet is known by its headers. `known` says which headers are ours.
    """

    columns: Mapping[str, str] | None = None
    grid: bool = False
    sheet: str | None = None
    layer: str | None = None
    named: str | None = None
    known: Callable[[str], bool] = lambda header: column_of(header, grid=True) is not None


def content(path: Path, suffixes: Iterable[str], what: str) -> bytes:
    """Bytes of a file that can be read and holds something; `what` it must hold, for messages."""
    if path.suffix.lower() not in suffixes:
        raise RegisterError(
            f"{path.name}: cannot read {path.suffix or 'a file without suffix'!r}; "
            f"give one of {', '.join(suffixes)}"
        )
    try:
        data = path.read_bytes()
    except FileNotFoundError as error:
        raise RegisterError(f"{path}: no such file; check the path") from error
    except OSError as error:
        raise RegisterError(f"{path}: cannot be read ({error.strerror})") from error
    if not data.strip():
        raise RegisterError(f"{path.name}: the file is empty; give a header row and {what}")
    return data


def cell_text(value: Any) -> Any:
    """Text of one typed cell as the user would write it; NaN for an empty one.

    Examples
    --------
    >>> cell_text(2014.0), cell_text(dt.datetime(2014, 6, 12)), cell_text("007"), cell_text(True)
    ('2014', '2014-06-12', '007', 'true')
    """
    if isinstance(value, str):
        return value if value else np.nan
    if value is None or value is pd.NaT or value is pd.NA:
        return np.nan
    if isinstance(value, bool | np.bool_):
        return "true" if value else "false"
    if isinstance(value, int | np.integer):
        return str(int(value))
    if isinstance(value, float | np.floating):
        number = float(value)
        if np.isnan(number):
            return np.nan
        return str(int(number)) if number.is_integer() and abs(number) < 1e15 else repr(number)
    if isinstance(value, dt.datetime):
        midnight = value.time() == dt.time(0)
        return value.date().isoformat() if midnight else value.isoformat(sep=" ")
    if isinstance(value, dt.date | dt.time):
        return value.isoformat()
    if isinstance(value, dict | list):
        return json.dumps(value, ensure_ascii=False)
    return str(value)


def text_frame(columns: Sequence[Iterable[Any]], length: int) -> pd.DataFrame:
    """Frame of text columns named 0, 1, 2 ... from columns of typed cells."""

    def text(values: Iterable[Any]) -> pd.Series:
        if isinstance(values, pd.Series) and isinstance(values.dtype, pd.StringDtype):
            return values.astype("str").set_axis(range(length)).where(lambda v: v != "")
        return pd.Series([cell_text(v) for v in values], index=range(length), dtype="str")

    return pd.DataFrame(
        {i: text(values) for i, values in enumerate(columns)}, index=pd.RangeIndex(length)
    )


def _without_blank_rows(cells: pd.DataFrame, rows: np.ndarray) -> tuple[pd.DataFrame, np.ndarray]:
    filled = cells.notna().any(axis=1).to_numpy()
    return cells[filled].reset_index(drop=True), rows[filled]


def _decoded(data: bytes, where: str) -> tuple[str, str, tuple[str, ...]]:
    """Text of a file, its encoding, and a note where it had to be guessed."""
    if data[:2] in (b"\xff\xfe", b"\xfe\xff"):
        return data.decode("utf-16", errors="replace"), "utf-16", ()
    if b"\x00" in data:
        raise RegisterError(
            f"{where}: not a text table (it holds zero bytes); save it as CSV UTF-8"
        )
    try:
        return data.decode("utf-8-sig"), "utf-8-sig", ()
    except UnicodeDecodeError as error:
        try:
            note = "text is not UTF-8 and was read as Windows-1252: check accents"
            return data.decode("cp1252"), "cp1252", (note,)
        except UnicodeDecodeError:
            raise RegisterError(
                f"{where}: neither UTF-8 nor Windows-1252 text at byte {error.start}; "
                "save it as CSV UTF-8"
            ) from error


def _delimiter(text: str, known: Callable[[str], bool]) -> str:
    """The delimiter under which the header row has most columns we know, then most columns."""

    def worth(delimiter: str) -> tuple[int, int]:
        header = next(csv.reader(io.StringIO(text, newline=""), delimiter=delimiter), [])
        return sum(map(known, header)), len(header)

    return max(DELIMITERS, key=worth)


def _ragged_csv(text: str, delimiter: str, where: str) -> tuple[pd.DataFrame, list]:
    """Slow road for a CSV with rows longer than its header: those rows are listed as bad."""
    csv.field_size_limit(2**31 - 1)
    try:
        records = list(csv.reader(io.StringIO(text, newline=""), delimiter=delimiter))
    except csv.Error as error:
        raise RegisterError(f"{where}: not a readable CSV table ({error})") from error
    width = len(records[0])
    bad: list[tuple[int, str, str, str]] = []
    for number, record in enumerate(records):
        if len(record) > width and any(record[width:]):
            bad.append(
                (
                    number + 1,
                    delimiter.join(record)[:200],
                    f"{len(record)} cells, but the header has {width}",
                    f"put text that holds a {DELIMITERS[delimiter]} between double quotes",
                )
            )
            record = []
        records[number] = record[:width] + [""] * (width - len(record))
    return text_frame(list(zip(*records, strict=True)), len(records)), bad


def read_csv(path: Path, data: bytes, request: Request) -> Table:
    """Read a CSV table: comma, semicolon or tab; UTF-8, or Windows-1252 with a note."""
    text, encoding, notes = _decoded(data, path.name)
    if not text.strip():
        raise RegisterError(f"{path.name}: the file is empty; give a header row and rows")
    delimiter = _delimiter(text, request.known)
    bad: list[tuple[int, str, str, str]] = []
    try:
        cells = pd.read_csv(
            io.BytesIO(data), header=None, dtype="str", sep=delimiter, encoding=encoding,
            keep_default_na=False, na_values=[""], skip_blank_lines=False, index_col=False,
        )  # fmt: skip
    except pd.errors.EmptyDataError as error:
        raise RegisterError(
            f"{path.name}: its first line is empty; begin with the header row"
        ) from error
    except pd.errors.ParserError as error:
        if "EOF inside string" in str(error):
            raise RegisterError(
                f"{path.name}: a double quote is opened and never closed "
                f"({error}); close it or remove it"
            ) from error
        cells, bad = _ragged_csv(text, delimiter, path.name)
    headers = tuple(cells.iloc[0].fillna("").astype("str"))
    cells = cells.iloc[1:].reset_index(drop=True)
    cells, rows = _without_blank_rows(cells, np.arange(len(cells)) + 2)
    # A delimiter at the end of every line makes one more column with nothing in it.
    keep = [i for i, h in enumerate(headers) if h.strip() or cells[i].notna().any()]
    return Table(
        tuple(headers[i] for i in keep),
        cells[keep].set_axis(range(len(keep)), axis=1),
        rows,
        "CSV",
        notes,
        bad_rows=tuple(bad),
    )


def _sheet_fits(headers: Sequence[str], request: Request) -> bool:
    try:
        resolve_headers(headers, request.columns, where="", grid=request.grid, have_geometry=False)
    except RegisterError:
        return False
    return True


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
        if len(found) != 1:
            raise RegisterError(
                f"{where}: no sheet is named {request.named!r}; sheets: {names}; name one so"
            )
        return found[0]
    fitting = [name for name, found in headers.items() if _sheet_fits(found, request)]
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


def read_xlsx(path: Path, data: bytes, request: Request) -> Table:
    """Read one sheet of a workbook; cached values of formulas, dates to their day."""
    import struct
    import warnings
    import zipfile
    import zlib
    from xml.etree.ElementTree import ParseError

    import openpyxl
    from openpyxl.utils.exceptions import InvalidFileException

    try:
        with warnings.catch_warnings():
            # openpyxl warns of parts it does not read (validation lists, printing headers).
            warnings.simplefilter("ignore")
            book = openpyxl.load_workbook(io.BytesIO(data), read_only=True, data_only=True)
            sheets = {}
            for sheet in book.worksheets:
                sheet.reset_dimensions()
                first = next(sheet.iter_rows(max_row=1, values_only=True), ())
                sheets[sheet.title] = tuple("" if v is None else str(v) for v in first)
            name = _chosen_sheet(sheets, request, path.name)
            records = list(book[name].iter_rows(min_row=2, values_only=True))
            book.close()
    except RegisterError:
        raise
    except (
        zipfile.BadZipFile, InvalidFileException, ParseError, LookupError, EOFError, OSError,
        zlib.error, ValueError, TypeError, AttributeError, RuntimeError, struct.error,
    ) as error:  # fmt: skip
        raise RegisterError(
            f"{path.name}: not a readable XLSX workbook ({error}); "
            "it may be damaged, protected by a password, or another format renamed"
        ) from error
    headers = sheets[name]
    if not any(h.strip() for h in headers):
        raise RegisterError(f"{path.name}, sheet {name!r}: row 1 is empty; put the headers there")
    width = max((len(r) for r in records), default=0)
    width = max(width, len(headers))
    headers = headers + ("",) * (width - len(headers))
    padded = (tuple(r) + (None,) * (width - len(r)) for r in records)
    cells = text_frame(list(zip(*padded, strict=True)) or [()] * width, len(records))
    cells, rows = _without_blank_rows(cells, np.arange(len(records)) + 2)
    keep = [i for i, h in enumerate(headers) if h.strip() or cells[i].notna().any()]
    others = tuple(other for other in sheets if other != name)
    return Table(
        tuple(headers[i] for i in keep),
        cells[keep].set_axis(range(len(keep)), axis=1),
        rows,
        "XLSX",
        (f"sheet {name!r} read; the other sheets were not",) if others else (),
        other_sheets=others,
    )


_PIECE = re.compile(r"[^;\n]+")
_KEY = re.compile(r"\s*([^\W\d][\w .\-]{0,60}?)\s*=")


def key_value_pairs(text: str) -> tuple[dict[str, str], str]:
    """Split `key=value; key=value` text; what precedes the first key is returned apart.

    A semicolon that no `key=` follows belongs to the value.

    Examples
    --------
    >>> key_value_pairs("crag=Punta Roja; sector=Norte; notes=rusty; look again")
    ({'crag': 'Punta Roja', 'sector': 'Norte', 'notes': 'rusty; look again'}, '')
    """
    # piece by piece: one pattern over all would take minutes on a page of blank lines
    found = [
        (piece.start(), key) for piece in _PIECE.finditer(text) if (key := _KEY.match(piece[0]))
    ]
    if not found:
        return {}, text.strip()
    ends = [*(start - 1 for start, _ in found[1:]), len(text)]
    pairs = {
        key[1]: text[start + key.end() : end].strip()
        for (start, key), end in zip(found, ends, strict=True)
    }
    return pairs, text[: found[0][0]].strip().removesuffix(";").strip()


READERS: dict[str, Callable[[Path, bytes, Request], Table]] = {".csv": read_csv, ".xlsx": read_xlsx}
"""File suffix of a table -> reader."""
