"""Text tables: any of the usual separators, whatever stands above the headers."""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Callable, Iterator
from pathlib import Path

import numpy as np
import pandas as pd

from saltreach.errors import RegisterError, cause_of
from saltreach.intake import sizes
from saltreach.intake.decoding import decoded
from saltreach.intake.formats import Request, Table, text_frame
from saltreach.intake.layout import HeaderPlace, find_headers, no_data

DELIMITERS = {",": "comma", ";": "semicolon", "\t": "tab", "|": "vertical bar"}
_HEAD_LETTERS = 262_144
_HEAD_ROWS = 60
_CHUNK_ROWS = 100_000
_SEP = re.compile(r"\ufeff?sep=([,;|\t])\s*(?:\r\n|\n|\r)", re.IGNORECASE)


def _records(text: str, delimiter: str) -> Iterator[tuple[list[str], int]]:
    """Records of a text, each with the place in the text where the next one begins."""
    place = 0

    def lines() -> Iterator[str]:
        nonlocal place
        for line in io.StringIO(text, newline=""):
            place += len(line)
            yield line

    csv.field_size_limit(2**31 - 1)
    for record in csv.reader(lines(), delimiter=delimiter):
        yield record, place


def _head(text: str, delimiter: str) -> tuple[list[list[str]], list[int]]:
    """The first records, and where each ends; the last one of a cut text is left out."""
    records: list[list[str]] = []
    ends: list[int] = []
    cut = text[:_HEAD_LETTERS]
    try:
        for record, end in _records(cut, delimiter):
            records.append(record)
            ends.append(end)
            if len(records) == _HEAD_ROWS:
                break
    except csv.Error:
        pass
    if len(cut) < len(text) and len(records) > 1 and ends[-1] == len(cut):
        del records[-1], ends[-1]
    return records, ends


def _offered(told: re.Match[str] | None) -> list[str]:
    return [told[1]] if told else list(DELIMITERS)


def _fit(
    records: list[list[str]], known: Callable[[str], bool], first_row: int = 1
) -> tuple[tuple[int, int, int], HeaderPlace]:
    """How well the delimiter that gave these records fits, and where the headers are.

    It fits by the headers known, then rows as wide as the headers, then columns.
    """
    place = find_headers(records, known, first_row)
    width = len(place.names)
    alike = sum(1 for r in records[place.after :] if len(r) == width and width > 1)
    return (place.known, alike, width), place


def csv_head(path: Path, data: bytes) -> Callable[[Callable[[str], bool]], tuple[str, ...]]:
    """Headers of a text table, for a function that says which are known."""
    text, _ = decoded(data, path.name)
    told = _SEP.match(text)
    heads = [_head(text[told.end() :] if told else text, d)[0] for d in _offered(told)]

    def head(known: Callable[[str], bool]) -> tuple[str, ...]:
        return max((_fit(records, known) for records in heads), key=lambda one: one[0])[1].names

    return head


def read_csv(path: Path, data: bytes, request: Request) -> Table:
    """Read a text table: comma, semicolon, tab or vertical bar between the cells."""
    text, notes = decoded(data, path.name)
    if not text.strip():
        raise RegisterError(f"{path.name}: the file is empty; give a header row and rows")
    told = _SEP.match(text)
    if told:
        text = text[told.end() :]
    heads = {delimiter: _head(text, delimiter) for delimiter in _offered(told)}
    top = 1 + bool(told)
    fits = {one: _fit(records, request.is_known, top) for one, (records, _) in heads.items()}
    delimiter = max(fits, key=lambda one: fits[one][0])
    place, ends = fits[delimiter][1], heads[delimiter][1]
    headers = place.names
    if not any(header.strip() for header in headers):
        raise RegisterError(f"{path.name}: no headers in it; begin with a row of headers")
    if len(headers) > sizes.COLUMNS:
        raise RegisterError(
            f"{path.name}: {len(headers)} columns; at most {sizes.COLUMNS} are read: remove those "
            "that are not needed"
        )
    body = text[ends[place.after - 1] :] if place.after else text
    first = place.after + top
    cells, rows, bad = _body(body, delimiter, len(headers), first, path.name)
    return body_table(
        headers,
        cells,
        rows,
        "CSV",
        (*notes, *place.notes),
        request,
        lines=place.lines,
        bad_rows=tuple(bad),
    )


def body_table(
    headers: tuple[str, ...],
    cells: pd.DataFrame,
    rows: np.ndarray,
    name: str,
    notes: tuple[str, ...],
    request: Request,
    *,
    lines: tuple[tuple[str, ...], ...],
    bad_rows: tuple[tuple[int, str, str, str], ...] = (),
    other_sheets: tuple[str, ...] = (),
) -> Table:
    """The table without rows that are no data and without columns that hold nothing."""
    keys = request.is_key if request.named is None else None
    out, more = no_data(cells, headers, rows, lines=lines, keys=keys)
    cells, rows = cells[~out].reset_index(drop=True), rows[~out]
    # A delimiter at the end of every line makes one more column with nothing in it.
    keep = [i for i, h in enumerate(headers) if h.strip() or cells[i].notna().any()]
    return Table(
        tuple(headers[i] for i in keep),
        cells[keep].set_axis(range(len(keep)), axis=1),
        rows,
        name,
        (*notes, *more),
        bad_rows=bad_rows,
        other_sheets=other_sheets,
    )


def _body(
    text: str, delimiter: str, width: int, first_row: int, where: str
) -> tuple[pd.DataFrame, np.ndarray, list[tuple[int, str, str, str]]]:
    """Cells below the headers without blank rows, the number of each row, and bad rows."""
    text = text.rstrip(f"\r\n\t {delimiter}")
    if not text.strip():
        return text_frame([[]] * width, 0), np.zeros(0, dtype=int), []
    # A first row of its own says how wide the table is: pandas takes the width from there.
    lead = delimiter.join(["x"] * width) + "\n"
    parts, numbers, seen, held = [], [], 0, 0
    try:
        with pd.read_csv(
            io.StringIO(lead + text), header=None, dtype="str", sep=delimiter,
            keep_default_na=False, na_values=[""], skip_blank_lines=False, index_col=False,
            chunksize=_CHUNK_ROWS,
        ) as chunks:  # fmt: skip
            for chunk in chunks:
                filled = np.flatnonzero(_holds(chunk))
                filled = filled[filled + seen > 0]
                numbers.append(filled + seen + first_row - 1)
                parts.append(chunk.iloc[filled])
                seen += len(chunk)
                held += len(filled)
                if held > sizes.ROWS:
                    raise RegisterError(f"{where}: more than {sizes.ROWS:,} rows; divide the file")
    except pd.errors.ParserError as error:
        if "EOF inside string" in str(error):
            raise RegisterError(
                f"{where}: a double quote is opened and never closed "
                f"({cause_of(error)}); close it or remove it"
            ) from error
        return _ragged(text, delimiter, width, first_row, where)
    cells = pd.concat(parts, ignore_index=True).astype("str")
    return cells.set_axis(range(width), axis=1), np.concatenate(numbers), []


def _holds(chunk: pd.DataFrame) -> np.ndarray:
    """Rows that hold more than blanks; only rows of one to three cells are looked at closely."""
    count = chunk.notna().sum(axis=1).to_numpy(copy=True)
    few = np.flatnonzero((count > 0) & (count < 4))
    if len(few):
        blank = chunk.iloc[few].apply(lambda cells: cells.isna() | cells.str.strip().eq(""))
        count[few[blank.all(axis=1).to_numpy()]] = 0
    return count > 0


def _ragged(
    text: str, delimiter: str, width: int, first_row: int, where: str
) -> tuple[pd.DataFrame, np.ndarray, list[tuple[int, str, str, str]]]:
    """Slow road for rows longer than the header: those are listed as bad."""
    good, numbers = [], []
    bad: list[tuple[int, str, str, str]] = []
    try:
        for count, (record, _) in enumerate(_records(text, delimiter)):
            number = first_row + count
            if any(cell.strip() for cell in record[width:]):
                bad.append(
                    (
                        number,
                        delimiter.join(record)[:200],
                        f"{len(record)} cells, but the header has {width}",
                        f"put text that holds a {DELIMITERS[delimiter]} between double quotes",
                    )
                )
            elif any(map(str.strip, record)):
                good.append(record[:width] + [""] * (width - len(record)))
                numbers.append(number)
    except csv.Error as error:
        raise RegisterError(f"{where}: not a readable CSV table ({cause_of(error)})") from error
    columns: list[tuple[str, ...]] = list(zip(*good, strict=True)) if good else [()] * width
    return text_frame(columns, len(good)), np.array(numbers, dtype=int), bad
