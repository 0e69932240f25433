"""Cells of a register: text to numbers and choices, one column at a time."""

from __future__ import annotations

import datetime as dt
import difflib

import numpy as np
import pandas as pd

from saltreach.intake.cells import READERS, parse_cells
from saltreach.intake.dates import Parsed, empty_text, parse_dates
from saltreach.intake.levels import level_fix, levels_said
from saltreach.vocabulary.columns import Column
from saltreach.vocabulary.synonyms import (
    MATERIAL_NOISE,
    UNKNOWN_WORDS,
    choice_words,
    level_words,
    plain,
    words,
)
from saltreach.vocabulary.words import UNKNOWN

_NUMBER = r"[+-]?(?:[0-9]+(?:\.[0-9]*)?|\.[0-9]+)(?:[eE][+-]?[0-9]{1,3})?"
_COMMA = r"[+-]?[0-9]+,[0-9]+"
# 1,234 is 1.234 in one country and 1234 in another; a leading zero leaves one reading only.
_COMMA_OR_THOUSANDS = r"[+-]?[1-9][0-9]{0,2},[0-9]{3}"
_WITH_UNIT = r"[+-]?[0-9]+(?:[.,][0-9]+)?\s*[^0-9\s.,;:/+-].*"


def trimmed(text: pd.Series) -> pd.Series:
    """Return text without surrounding blanks; a cell of blanks only is unknown."""
    bare = text.str.strip()
    return bare.where(bare != "")


def parse_column(
    text: pd.Series,
    column: Column,
    today: dt.date | None = None,
    *,
    unknown_is_empty: bool = True,
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

    Returns
    -------
    parsed : Parsed
        Values, and reason and fix of refused cells. Ranges are not checked here.
    notes : list of str
        What the user must be told of the reading.
    """
    if column.kind in READERS:
        return parse_cells(text, READERS[column.kind]), []
    word = text.str.casefold()
    unknown = word.isin(UNKNOWN_WORDS) & ~word.isin(column.choices) & unknown_is_empty
    known = text.where(~unknown)
    if column.choices:
        return parse_choices(known, column)
    if column.kind == "date":
        if today is None:
            raise ValueError(f"{column.name}: dates are read for a day; give today")
        return parse_dates(known, today), []
    if not level_words(column.name):
        return parse_numbers(known, column), []
    levels, notes = levels_said(known, column)
    parsed = parse_numbers(known.where(levels.isna()), column)
    word = known[parsed.reason.notna() & known.str.contains(r"[^\W\d]", na=False)]
    parsed.reason.loc[word.index] = f"not one of the words of {column.name}"
    parsed.fix.loc[word.index] = word.map({g: level_fix(g, column) for g in word.unique()})
    return parsed._replace(values=parsed.values.where(levels.isna(), levels)), notes


def parse_numbers(text: pd.Series, column: Column) -> Parsed:
    """Read plain numbers, and decimal commas where only one reading is possible.

    Parameters
    ----------
    text : Series of str
        Cells without surrounding blanks; NaN where empty.
    column : Column
        The column, for its unit and whether it holds whole numbers. Its range is not checked
        here (`check.range_problems` does).

    Returns
    -------
    Parsed
        Float values (NaN where empty or refused), reason and fix of refused cells.
    """
    text = text.str.replace("\N{MINUS SIGN}", "-", regex=False)
    reason, fix = empty_text(text.index), empty_text(text.index)
    as_plain = text.str.fullmatch(_NUMBER, na=False)
    other = text[text.notna() & ~as_plain]

    def among_others(pattern: str) -> pd.Series:
        return other.str.fullmatch(pattern).reindex(text.index, fill_value=False).astype(bool)

    ambiguous = among_others(_COMMA_OR_THOUSANDS) & ~_decimals_only(text, column)
    as_comma = among_others(_COMMA) & ~ambiguous
    values = pd.Series(np.nan, index=text.index, dtype=float)
    # float() of Python reads every digit; the parsers of pandas may miss the last one.
    values.loc[as_plain] = text[as_plain].to_numpy(object).astype(float)
    dotted = text[as_comma].str.replace(",", ".", regex=False)
    values.loc[as_comma] = dotted.to_numpy(object).astype(float)
    unit = f" in {column.unit}" if column.unit else ""
    empty = "" if column.required else ", or leave it empty"

    def refuse(mask: pd.Series, why: str, how: str | pd.Series) -> None:
        fresh = mask & text.notna() & reason.isna()
        reason.loc[fresh] = why
        fix.loc[fresh] = how if isinstance(how, str) else how[fresh]

    if ambiguous.any():
        slip = text[ambiguous]
        as_decimal, as_thousands = (slip.str.replace(",", by, regex=False) for by in (".", ""))
        fix.loc[ambiguous] = "write " + as_decimal + " or " + as_thousands
        reason.loc[ambiguous] = "the comma may mark decimals or thousands"
    refuse(
        values.isna() & among_others(_WITH_UNIT),
        "more than a number in the cell",
        f"write the number alone{unit}, without unit or sign{empty}",
    )
    whole = column.kind == "integer"
    refuse(
        values.isna(),
        "not a number",
        f"write a {'whole number' if whole else 'plain number'}{unit}, like "
        f"{'12' if whole else '12.5'}{empty}",
    )
    refuse(~np.isfinite(values), "not a finite number", f"write a plain number{unit}{empty}")
    if whole:
        listed = column.meaning[0].isdigit()  # 0 sound, 1 marked ...
        how = f"write one of: {column.meaning}" if listed else "write a whole number"
        refuse(values % 1 != 0, "not a whole number", how + empty)
    return Parsed(values.where(reason.isna()), reason, fix)


def _decimals_only(text: pd.Series, column: Column) -> pd.Series:
    """Where `1,234` read as thousands lies outside the column's range, and as decimals does not."""
    if column.low is None or column.high is None or column.kind == "integer":
        return pd.Series(False, index=text.index)
    decimal, thousands = (
        pd.to_numeric(text.str.replace(",", by, regex=False), errors="coerce") for by in (".", "")
    )
    low, high = column.low, column.high
    return decimal.between(low, high) & ~thousands.between(low, high)


def _read_word(
    given: str, column: Column, table: dict[str, tuple[str, str]]
) -> tuple[str | None, str]:
    """Value and note of one word; None when it is not recognised."""
    if plain(given) in table:
        return table[plain(given)]
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
            rows = f"{counts[given]} row" + ("s" if counts[given] > 1 else "")
            notes.append(f"{column.name} {given!r} ({rows}): {note}")
    values = text.map(value_of).astype("str")
    if has_unknown:
        values = values.where(text.notna(), UNKNOWN)
    reason, fix = empty_text(text.index), empty_text(text.index)
    if reason_of:
        reason, fix = (text.map(table).astype("str") for table in (reason_of, fix_of))
    return Parsed(values.where(reason.isna()), reason, fix), notes


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
    return text.map(named).astype("str")


def _grade_word(given: str, table: dict[str, tuple[str, str]]) -> str | float:
    bare = "".join(w for w in words(given) if w not in MATERIAL_NOISE)
    for word in (plain(given), bare):
        if word in table:
            return table[word][0]
    return np.nan
