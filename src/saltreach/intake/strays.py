"""What of a table that limits is not used, and may hold a limit all the same."""

from __future__ import annotations

import difflib
import re
from collections.abc import Callable, Collection, Iterator, Mapping
from functools import partial
from pathlib import Path

import pandas as pd

from saltreach.intake import table_files
from saltreach.intake.formats import Table as Read
from saltreach.intake.headers import meant_by
from saltreach.intake.tables import TABLES, Table
from saltreach.intake.values import parse_column, trimmed
from saltreach.vocabulary.columns import ANCHORS_BY_NAME, Column
from saltreach.vocabulary.synonyms import (
    IDLE_HEADERS,
    choice_words,
    header_words,
    level_words,
    plain,
    spelt,
    table_header_words,
)
from saltreach.vocabulary.words import NOTE, PHOTO

Fit = tuple[bool, int, float]
"""Whether headers are those of a table, how many of its columns they name, and their share."""
_LEAST_KNOWN = 0.5
"""Headers that a table must know of a file to be taken for it (own choice)."""
_LEAST_SHARE = 0.5
"""Filled cells of one kind that tell what a column holds (own choice)."""
_FIGURES = re.compile(r"[<>~≤≥]?\s*[+-]?[0-9][0-9.,:/\s\-]*(?:[^\W\d_]{1,10}\.?|%)?")
_FREE = ("text", "names")
"""Kinds of columns in which anything may stand."""
_ABOUT = ("trip", "crag", "sector")
"""Columns of a return that say nothing of what was found."""
_MISSPELT = 0.88
"""How alike a header and a word are where it is one letter that differs (own choice)."""
_DATED = re.compile(
    r"[0-9]{1,4}[./-][0-9]{1,2}[./-][0-9]{1,4}|[0-9]{1,2}[:h][0-9]{2}(?::[0-9]{2})?"
)
_PARTS = re.compile(r"[;,/+]")
_AGAIN = re.compile(r"[\s_.(\[]*(?:[2-9]|ii|iii|b|c)\.?(?:st|nd|rd|th|te[rn]?|ª|º)?[)\]]*$", re.I)


def columns_that_may_limit(
    found: Read, places: Mapping[str, int], table: Table
) -> Iterator[tuple[str, str]]:
    """Headers that are not used whose cells may limit, and in words why.

    Parameters
    ----------
    found : saltreach.intake.formats.Table
        The table as it was read.
    places : mapping
        Columns that are used -> place.
    table : Table
        What it is read as.
    """
    used = set(places.values())
    known = {*header_words(grid=True), *map(plain, ANCHORS_BY_NAME)}
    for i, header in enumerate(found.headers):
        word = plain(header)
        if i in used or not header.strip() or word in IDLE_HEADERS or word in known:
            continue
        if meant_by(header, table.columns).name is not None:  # another word for one that is used
            continue
        cells = trimmed(found.cells[i]).dropna()
        if len(cells):
            said = _said(header, cells, places, table)
            if said:
                yield header, said


def _said(header: str, cells: pd.Series, places: Mapping[str, int], table: Table) -> str:
    columns = table.columns
    stem = _AGAIN.sub("", header)
    again = meant_by(stem, columns).name if stem and stem != header else None
    if again is not None and columns[again].kind not in _FREE:
        return f"a second {again} belongs in a row of its own."
    for name, column in columns.items():
        words = {} if name in places else _words_of(column)
        if words and cells.map(partial(_is_of, words=words)).mean() >= _LEAST_SHARE:
            return f"did you mean {name}?"
    figures = cells.str.fullmatch(_FIGURES.pattern, na=False)
    if table.keeps_good:  # a day or a time that is lost leaves a placing in doubt
        figures &= ~cells.str.fullmatch(_DATED.pattern, na=False)
    if figures.mean() >= _LEAST_SHARE:
        return f"its numbers may be a {'measure' if table.keeps_good else 'limit'}."
    return ""


def _words_of(column: Column) -> Collection[str]:
    """Words that tell a column by its cells: of a choice, or of levels; yes and no tell none."""
    if column.choices and "yes" not in column.choices:
        return choice_words(column.name, column.choices)
    return level_words(column.name)


def _is_of(cell: str, words: Collection[str]) -> bool:
    """Whether a cell is one of the words, or several of them."""
    parts = [spelt(part) for part in _PARTS.split(cell) if part.strip()]
    return spelt(cell) in words or (bool(parts) and all(part in words for part in parts))


def lost(header: str, found: Read, table: Table, columns: Collection[str]) -> bool:
    """Whether what stands under a header that is not read may be lost of these columns.

    It is filled in, and it is spelt nearly as a column is, or a cell of it can be read as one.
    What anything may stand in is free text.

    Parameters
    ----------
    header : str
        As the file has it.
    found : saltreach.intake.formats.Table
        The table as it was read.
    table : Table
        What it is read as.
    columns : collection of str
        What the header may mean; none where its unit or remark is not understood.
    """
    cells = trimmed(found.cells[found.headers.index(header)]).dropna()
    if not len(cells) or plain(header) in header_words(grid=True):
        return False
    if not columns:
        return True
    ours = [
        table.columns[name]
        for name in columns
        if name not in _ABOUT and table.columns[name].event not in (NOTE, PHOTO)
    ]
    words = table_header_words(table.columns)
    names = {column.name for column in ours}
    spelt_so = [word for word, name in words.items() if name in names]
    return bool(difflib.get_close_matches(plain(header), spelt_so, 1, cutoff=_MISSPELT)) or any(
        parse_column(cells, column)[0].reason.isna().any() for column in ours
    )


def sheets_that_may_limit(path: Path, data: bytes, found: Read, table: Table) -> Iterator[str]:
    """Other sheets of a workbook that have the columns of the same table.

    Parameters
    ----------
    path : Path
        The workbook.
    data : bytes
        Its content.
    found : saltreach.intake.formats.Table
        The sheet that was read.
    table : Table
        What it is read as.
    """
    ours = {plain(one.name) for one in TABLES}
    others = [title for title in found.other_sheets if plain(title) not in ours]
    if not others:
        return
    heads = table_files.heads(path, data)
    for title in others:
        if title in heads and fits(heads[title], table)[0]:
            yield title


def fits(head: Callable[[Callable[[str], bool]], tuple[str, ...]], table: Table) -> Fit:
    """Whether headers are those of a table, how many of its columns, and share of the headers."""
    columns = table.columns

    def column(header: str) -> str | None:
        return meant_by(header, columns).name

    headers = [h for h in head(lambda header: column(header) is not None) if h.strip()]
    known = {name for header in headers if (name := column(header)) is not None}
    needed = {name for name, one in columns.items() if one.required}
    share = len(known) / max(len(headers), 1)
    return needed <= known and share >= _LEAST_KNOWN, len(known), share
