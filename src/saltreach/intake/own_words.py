"""Words of the user's own for columns and values, which come before ours."""

from __future__ import annotations

import difflib
from collections.abc import Callable, Iterable, Iterator, Mapping
from contextlib import contextmanager
from functools import wraps
from pathlib import Path
from typing import Any, ParamSpec, TypeVar

from saltreach.errors import OptionError
from saltreach.intake.sheets import read_table
from saltreach.intake.tables import TABLES, WORDS
from saltreach.vocabulary.columns import Column, columns_of
from saltreach.vocabulary.synonyms import ENTRIES, Entry, own_entries, plain

_Given = ParamSpec("_Given")
_Made = TypeVar("_Made")
_GIVEN = ("register", *(table.name for table in TABLES if table is not WORDS))
"""Tables a user hands in."""


@contextmanager
def own_words(path: str | Path | None) -> Iterator[None]:
    """Read every table inside with the words of a file before ours.

    Parameters
    ----------
    path : path or None
        CSV or XLSX with the columns `list`, `column`, `value` and `words`; None changes nothing.

    Raises
    ------
    OptionError
        The file cannot be read, a column or value is none of ours, or a word has two meanings.

    Examples
    --------
    >>> from saltreach.layers.embedded import embedded_file
    >>> from saltreach.vocabulary.synonyms import choice_words
    >>> with own_words(embedded_file("demo/words.csv")):
    ...     choice_words("kind", ("bonded",))["stuckin"]
    ('bonded', 'read as bonded, as words.csv says')
    """
    with own_entries(() if path is None else read_own_words(path)):
        yield


def with_own_words(read: Callable[_Given, _Made]) -> Callable[_Given, _Made]:
    """A reader whose argument `words` is a file of own words that count while it reads."""

    @wraps(read)
    def reader(*args: _Given.args, **more: _Given.kwargs) -> _Made:
        words = more.get("words")
        with own_words(None if words is None else Path(str(words))):
            return read(*args, **more)

    return reader


def read_own_words(path: str | Path) -> tuple[Entry, ...]:
    """Read and check a file of own words (see `own_words`)."""
    sheet = read_table(path, WORDS)
    entries: list[Entry] = []
    rows: list[int] = []
    for row in sheet.rows:
        entry = _entry(row, sheet.file)
        for word in entry.spelt():
            for other, number in zip(entries, rows, strict=True):
                if word in other.spelt() and _contradicts(entry, other):
                    raise _refused(
                        sheet.file, row, "words", f"{word!r} stands for {_of(other)} already, in "
                        f"row {number}", "give it one meaning",
                    )  # fmt: skip
        entries.append(entry)
        rows.append(row["row"])
    return tuple(entries)


def _refused(file: str, row: Mapping[str, Any], name: str, reason: str, fix: str) -> OptionError:
    said = "; ".join(row[name]) if isinstance(row[name], tuple) else row[name]
    value = "" if said is None else said
    return OptionError(f"words {file}, row {row['row']}, {name} = {value!r}: {reason}; {fix}")


def _of(entry: Entry) -> str:
    return f"{entry.column} {entry.value}".strip()


def _contradicts(one: Entry, other: Entry) -> bool:
    """Whether a word of both would have two meanings in one table."""
    if one.list != other.list:
        return False
    if one.list != "header":
        return one.column == other.column and one.value != other.value
    return one.column != other.column and any(
        {one.column, other.column} <= set(columns_of(table)) for table in _GIVEN
    )


def _near(text: str, pool: Iterable[str]) -> str:
    near = difflib.get_close_matches(text, list(pool), n=1, cutoff=0.6)
    return f"; nearest: {near[0]}" if near else ""


def _entry(row: Mapping[str, Any], file: str) -> Entry:
    """One row, with its column and value as we spell them."""
    name, which = row["column"], row["list"]
    columns = _columns_for(which)
    if name not in columns:
        what = {"header": "column", "choice": "column of choices", "level": "column of levels"}
        fix = f"write one of {', '.join(columns)}{_near(name, columns)}"
        raise _refused(file, row, "column", f"no {what[which]} of that name", fix)
    value = row["value"] or ""
    if which == "header":
        if value:
            raise _refused(file, row, "value", "a header has no value", "leave it empty")
    else:
        values = {plain(v): v for v in columns[name]}
        if plain(value) not in values:
            fix = f"write one of {', '.join(values.values())}{_near(value, values.values())}"
            raise _refused(file, row, "value", f"no value of {name}", fix)
        value = values[plain(value)]
    return Entry(which, name, value, "", row["words"], file=file)


def _columns_for(which: str) -> dict[str, tuple[str, ...]]:
    """Columns that a list of words may be of, and their values."""
    given: dict[str, list[Column]] = {}
    for table in _GIVEN:
        for name, column in columns_of(table).items():
            given.setdefault(name, []).append(column)
    if which == "level":
        levels = {e.column for e in ENTRIES if e.list == "level"}
        return {
            name: tuple(dict.fromkeys(e.value for e in ENTRIES if e.column == name and e.value))
            for name in levels
        }
    values = {n: tuple(v for c in found for v in c.choices) for n, found in given.items()}
    return values if which == "header" else {name: v for name, v in values.items() if v}
