"""Words for the whole numbers of a column that counts levels: `worn` for 2."""

from __future__ import annotations

import difflib
from collections.abc import Mapping

import pandas as pd

from saltreach.intake.distinct import told
from saltreach.vocabulary.columns import Column
from saltreach.vocabulary.synonyms import level_words, plain, words
from saltreach.vocabulary.words import counted


def levels_said(text: pd.Series, column: Column) -> tuple[pd.Series, list[str]]:
    """Read the words for levels of a column, with or without their number.

        Parameters
        ----------
        text : Series of str
            Cells without surrounding blanks; NaN where empty.
        column : Column
            The column.

        Returns
        -------
        values : Series of float
            The levels; NaN where a cell is empty or is no such word. `3 poor` counts, `0 poor` and
            words that name no one level (`ok`) do not.
        notes : list of str
            One sentence per word.

        Examples
        --------
    >>> from saltreach.vocabulary.columns import REGISTER_BY_NAME
        >>> levels_said(pd.Series(["gut", "3 poor", "ok", "2"]), REGISTER_BY_NAME["condition"])[0]
        0    0.0
        1    3.0
        2    NaN
        3    NaN
        dtype: float64
    """
    table = level_words(column.name)
    found = {given: said for given in text.dropna().unique() if (said := _level(given, table))}
    names = _names(column)
    counts = text.value_counts(sort=False)
    notes = []
    for given, (value, file) in sorted(found.items()):
        rows = counted(counts[given], "row")
        says = f", as {file} says" if file else ""
        notes.append(f"{column.name}: {given!r} ({rows}) read as {names.get(value, value)}{says}")
    levels = {given: value for given, (value, _) in found.items()}
    return told(text, levels).astype(float), notes


def _level(given: str, table: Mapping[str, tuple[str, str]]) -> tuple[str, str] | None:
    """Level of a text, and the file of the user's that says so; None where it names none."""
    said = table.get(plain(given))
    number, *rest = words(given) or [""]
    if said is None and number.isdecimal():
        said = table.get("".join(rest))
        if said is not None and said[0] != number:
            return None
    return said


def _names(column: Column) -> dict[str, str]:
    """`0 sound` by 0, from the column's meaning."""
    return {part.split()[0]: part for part in column.meaning.split(", ")}


def level_fix(given: str, column: Column) -> str:
    """What to write instead of a word that names no level; the nearest level we know."""
    table = level_words(column.name)
    near = difflib.get_close_matches(plain(given), table, n=1, cutoff=0.7)
    names = _names(column)
    hint = f"; nearest: {names[table[near[0]][0]]}" if near else ""
    return f"write one of: {column.meaning}, or leave it empty{hint}"
