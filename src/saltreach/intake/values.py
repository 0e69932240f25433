"""Cells of a register: text to numbers and choices, one column at a time."""

from __future__ import annotations

import datetime as dt
import difflib
from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np
import pandas as pd
import pyarrow.compute as pc

from saltreach.intake.cells import READERS, parse_cells
from saltreach.intake.dates import Parsed, empty_text, parse_dates
from saltreach.intake.distinct import as_arrow, distinct, told
from saltreach.intake.levels import level_fix, levels_said
from saltreach.intake.numbers import parse_numbers
from saltreach.vocabulary.columns import Column
from saltreach.vocabulary.synonyms import (
    MATERIAL_NOISE,
    UNKNOWN_WORDS,
    choice_words,
    level_words,
    plain,
    spelt,
    words,
)
from saltreach.vocabulary.words import JOIN, UNKNOWN, counted

SPREADSHEET_ERRORS = frozenset(
    ("#REF!", "#N/A", "#DIV/0!", "#VALUE!", "#NAME?", "#NUM!", "#NULL!", "#BEZUG!", "#WERT!", "#NV")
)
"""What a cell shows whose formula fails."""


@dataclass(frozen=True)
class Reading:
    """How a file writes its values.

    Attributes
    ----------
    mark : str or None
        Decimal mark that the whole table shows, `,` or `.`.
    date_order : str or None
        One of `dates.ORDERS`, as the user says.
    order_beside : str or None
        Order of dates that the columns show which show one.
    units, orders : mapping
        Unit, and order of dates, that a header names, by our column.
    """

    mark: str | None = None
    date_order: str | None = None
    order_beside: str | None = None
    units: Mapping[str, str] = field(default_factory=dict)
    orders: Mapping[str, str] = field(default_factory=dict)


_LOOSE = r"^$|^[\s\x00-\x1f]|[\s\x00-\x1f]$|^[^\x00-\x7f]|[^\x00-\x7f]$"
"""Cells that are empty, or may begin or end with a blank of any alphabet."""


def trimmed(text: pd.Series) -> pd.Series:
    """Return text without surrounding blanks; a cell of blanks only is unknown."""
    if not pc.any(pc.match_substring_regex(as_arrow(text), _LOOSE)).as_py():
        return text
    bare = text.str.strip()
    return bare.where(bare != "")


def parse_column(
    text: pd.Series,
    column: Column,
    today: dt.date | None = None,
    *,
    unknown_is_empty: bool = True,
    reading: Reading | None = None,
) -> tuple[Parsed, list[str]]:
    """Read the cells of a column by its kind.

    Parameters
    ----------
    text : Series of str
        Cells without surrounding blanks; NaN where empty. Words like `n/a` or `?` count as
        empty where they are none of the column's own and it holds no text.
    column : Column
        The column.
    today : date, optional
        The last day that is not in the future; needed for dates only.
    unknown_is_empty : bool
        Whether such words count as empty: not where an empty cell means a default.
    reading : Reading, optional
        How the file writes its numbers and dates.

    Returns
    -------
    parsed : Parsed
        Values, and reason and fix of cells that cannot be read or only in part. Ranges are not
        checked here.
    notes : list of str
        What the user must be told of the reading.
    """
    if column.kind in READERS:
        return parse_cells(text, READERS[column.kind]), []
    known = _known(text, column) if unknown_is_empty else text
    if column.kind == "several":
        return parse_several(known, column)
    if column.choices:
        return parse_choices(known, column)
    reading = reading or Reading()
    if column.kind == "date":
        if today is None:
            raise ValueError(f"{column.name}: dates are read for a day; give today")
        order = reading.date_order or reading.orders.get(column.name)
        parsed, notes = parse_dates(known, today, order=order, beside=reading.order_beside)
        return parsed, [f"{column.name}: {note}" for note in notes]
    levels, said = levels_said(known, column)
    numbers = known.where(levels.isna())
    unit = reading.units.get(column.name)
    parsed, notes = parse_numbers(numbers, column, mark=reading.mark, unit=unit)
    if level_words(column.name):
        unread = parsed.values.isna() & levels.isna()
        word = known[unread & known.str.contains(r"[^\W\d]", na=False)]
        parsed.reason.loc[word.index] = f"not one of the words of {column.name}"
        parsed.fix.loc[word.index] = word.map({g: level_fix(g, column) for g in word.unique()})
    return parsed._replace(values=parsed.values.where(levels.isna(), levels)), [*notes, *said]


def _known(text: pd.Series, column: Column) -> pd.Series:
    """The cells without words for nothing known."""
    found = distinct(text)
    word = found.texts.str.casefold()
    unknown = word.isin(UNKNOWN_WORDS) & ~word.isin(column.choices)
    return text.where(~found.spread(unknown, text.index)) if unknown.any() else text


def _read_word(
    given: str, column: Column, table: dict[str, tuple[str, str]]
) -> tuple[str | None, str]:
    """Value and note of one word; None when it is not recognised."""
    if spelt(given) in table:
        return table[spelt(given)]
    if "material" in column.name:
        # `AISI 316L stainless`: the word for stainless adds nothing to the grade.
        grade = "".join(w for w in words(given) if w not in MATERIAL_NOISE)
        if grade in table:
            return table[grade]
    return None, ""


def parse_choices(text: pd.Series, column: Column) -> tuple[Parsed, list[str]]:
    """Read the words of a choice column, with its synonyms.

    Parameters
    ----------
    text : Series of str
        Cells without surrounding blanks; NaN where empty.
    column : Column
        The column with its allowed values.

    Returns
    -------
    parsed : Parsed
        The values; empty becomes `unknown` where the column has that value, otherwise NaN.
        A word that is not recognised is refused with the nearest allowed one.
    notes : list of str
        One sentence per word whose reading the user must be told.
    """
    table = choice_words(column.name, column.choices)
    has_unknown = UNKNOWN in column.choices
    value_of: dict[str, str] = {}
    reason_of: dict[str, str] = {}
    fix_of: dict[str, str] = {}
    notes: list[str] = []
    counts = text.value_counts(sort=False)
    for given in sorted(counts.index):
        value, note = _read_word(given, column, table)
        if value is None:
            allowed = ", ".join(column.choices)
            near = difflib.get_close_matches(plain(given), table, n=1, cutoff=0.7)
            hint = f"; nearest: {table[near[0]][0]}" if near else ""
            reason_of[given] = f"not one of the words of {column.name}"
            fix_of[given] = f"use one of: {allowed}, or leave it empty{hint}"
            continue
        value_of[given] = value
        if note:
            rows = counted(counts[given], "row")
            notes.append(f"{column.name} {given!r} ({rows}): {note}")
    values = told(text, value_of)
    if has_unknown:
        values = values.where(text.notna(), UNKNOWN)
    reason, fix = empty_text(text.index), empty_text(text.index)
    if reason_of:
        reason, fix = (told(text, words_of) for words_of in (reason_of, fix_of))
    return Parsed(values.where(reason.isna()), reason, fix), notes


def parse_several(text: pd.Series, column: Column) -> tuple[Parsed, list[str]]:
    """Read cells that hold several words of a choice, between semicolons or commas.

    Parameters
    ----------
    text : Series of str
        Cells without surrounding blanks; NaN where empty.
    column : Column
        The column with its allowed words.

    Returns
    -------
    parsed : Parsed
        The words once each, in the order of the column's, between semicolons. A cell with one
        word that is not recognised is refused.
    notes : list of str
        As of `parse_choices`.
    """
    parts = text.dropna().str.split(r"[;,|]").explode().str.strip()
    parts = parts[parts != ""].reset_index(name="word")
    read, notes = parse_choices(parts["word"], column)
    order = {word: at for at, word in enumerate(column.choices)}
    by_cell = parts.assign(read=read.values, reason=read.reason, fix=read.fix).groupby("index")
    values = by_cell["read"].agg(
        lambda found: JOIN.join(sorted(set(found.dropna()), key=order.__getitem__))
    )
    reason, fix = (by_cell[name].first() for name in ("reason", "fix"))
    whole = Parsed(*(got.reindex(text.index).astype("str") for got in (values, reason, fix)))
    return whole._replace(values=whole.values.where(whole.reason.isna())), notes


def grades_named(text: pd.Series, column: Column) -> pd.Series:
    """Return the grades that the words for a metal name; NaN where they name a family only.

    Parameters
    ----------
    text : Series of str
        Cells of the metal's column, as the user wrote them.
    column : Column
        The column of the grade, for its words.
    """
    table = choice_words(column.name, column.choices)
    named = {given: _grade_word(given, table) for given in text.dropna().unique()}
    return told(text, named)


def _grade_word(given: str, table: dict[str, tuple[str, str]]) -> str | float:
    bare = "".join(w for w in words(given) if w not in MATERIAL_NOISE)
    for word in (plain(given), bare):
        if word in table:
            return table[word][0]
    return np.nan
