"""What of a table that limits is not used, and may hold a limit all the same."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator, Mapping
from pathlib import Path

import pandas as pd

from saltreach.intake import table_files
from saltreach.intake.formats import Table as Read
from saltreach.intake.headers import meant_by
from saltreach.intake.tables import TABLES, Table
from saltreach.intake.values import trimmed
from saltreach.vocabulary.columns import Column
from saltreach.vocabulary.synonyms import (
    IDLE_HEADERS,
    choice_words,
    header_words,
    plain,
    spelt,
)

Fit = tuple[bool, int, float]
"""Whether headers are those of a table, how many of its columns they name, and their share."""
_LEAST_KNOWN = 0.5
"""Headers that a table must know of a file to be taken for it (own choice)."""
_LEAST_SHARE = 0.5
"""Filled cells of one kind that tell what a column holds (own choice)."""
_FIGURES = re.compile(r"[<>~≤≥]?\s*[+-]?[0-9][0-9.,:/\s\-]*(?:[^\W\d_]{1,10}\.?|%)?")
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
    known = header_words(grid=True)
    for i, header in enumerate(found.headers):
        word = plain(header)
        if i in used or not header.strip() or word in IDLE_HEADERS or word in known:
            continue
        if meant_by(header, table.columns).name is not None:  # another word for one that is used
            continue
        cells = trimmed(found.cells[i]).dropna()
        if len(cells):
            said = _said(header, cells, places, table.columns)
            if said:
                yield header, said


def _said(
    header: str, cells: pd.Series, places: Mapping[str, int], columns: Mapping[str, Column]
) -> str:
    stem = _AGAIN.sub("", header)
    again = meant_by(stem, columns).name if stem and stem != header else None
    if again is not None:
        return f"a second {again} belongs in a row of its own."
    for name, column in columns.items():
        if column.choices and name not in places and "yes" not in column.choices:
            words = choice_words(name, column.choices)
            if cells.map(lambda cell, words=words: spelt(cell) in words).mean() >= _LEAST_SHARE:
                return f"did you mean {name}?"
    if cells.str.fullmatch(_FIGURES.pattern, na=False).mean() >= _LEAST_SHARE:
        return "its numbers may be a limit."
    return ""


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
