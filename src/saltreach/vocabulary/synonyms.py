"""Other words for our columns and for the values of choice columns, in six languages.

The table is `synonyms.csv` beside this module, one row for each language (en, de, es, fr, it, pt;
none for numbers, signs and abbreviations that know no language). Words are compared without case,
accents, blanks, hyphens, dots and underscores; German words also with ae, oe, ue for their
umlauts. They are ordinary words, EN and ISO designations of steels, and no brand or product of
the climbing trade. Trade usage: common practice, no source. EN numbers by
EN 1993-1-4:2006+A1:2015 Table A.3 (from memory), A2 to A8 and D6 by ISO 3506-1:2020 (from memory),
words of strength grades by ISRM (from memory). `grade 2` or `grade 5` alone is refused: it is a
titanium grade and a strength grade of carbon steel bolts (SAE J429) as well.

Its lists:

* header: a column of the register, and of a table beside it where the column means the same;
* table header: a column of the tables beside the register;
* weak header: taken only when no other header claims the column;
* both header: taken only when all of the list are there (`Länge` beside `Breite`);
* grid header: lon and lat when a CRS is given; bare x and y never: which of them is east differs;
* position header: a column of both coordinates (`pair`), or of UTM zones (`zone`);
* unclear header: may mean that column, and often another too: never taken, named in a note;
* choice: a value of a choice column; without a column a yes or no of every such column. A note
  is told to the user. No word raises a metal above its EN class; where the class and the
  stress-corrosion behaviour disagree the weaker one names it. 904L (about 25 % nickel) keeps its
  class IV name: published drop evaporation tests place it no lower than 1.4462 (from memory);
* level: a whole number of a column that counts levels; only words that clearly name one;
* unknown: read as an empty cell in number, date and choice columns, never in text columns;
* nothing: in a list of skills, that there are none;
* idle header: a column that says nothing of limits (numbers, telephones), which may be left out
  of a table that limits without a word of the user's;
* weekday, beside (words that stand beside a grade without changing it: `AISI 316L stainless
  steel`) and remark (what may stand in brackets behind a header without changing it).

A user's own words (`own_words`) come before these.
"""

from __future__ import annotations

import unicodedata
from collections.abc import Iterable, Iterator, Mapping
from contextlib import contextmanager
from contextvars import ContextVar
from functools import lru_cache
from typing import NamedTuple

from saltreach.vocabulary.columns import COLUMNS, REGISTER_BY_NAME, Column
from saltreach.vocabulary.tables import rows_of

LANGUAGES = ("en", "de", "es", "fr", "it", "pt")


class Entry(NamedTuple):
    """Words of one row of the table; `file` is empty for ours."""

    list: str
    column: str
    value: str
    language: str
    words: tuple[str, ...]
    note: str = ""
    file: str = ""

    def spelt(self) -> Iterator[str]:
        """Each word as it is compared."""
        for word in self.words:
            yield spelt(word)
            if self.language == "de":
                yield plain(word.casefold().translate(_TWO_LETTERS))


_TWO_LETTERS = str.maketrans({"ä": "ae", "ö": "oe", "ü": "ue"})


def _ours(row: Mapping[str, str]) -> Entry:
    words = tuple(row["words"].split("; "))
    return Entry(row["list"], row["column"], row["value"], row["language"], words, row["note"])


ENTRIES: tuple[Entry, ...] = tuple(map(_ours, rows_of("synonyms.csv")))


@lru_cache(maxsize=8192)
def plain(text: str) -> str:
    """Return text without case, accents, blanks and punctuation, for comparing words.

    Examples
    --------
    >>> plain("Última  inspección"), plain("1.4404"), plain("glue-in")
    ('ultimainspeccion', '14404', 'gluein')
    """
    bare = unicodedata.normalize("NFKD", text)
    return "".join(c for c in bare.casefold() if c.isalnum())


def spelt(text: str) -> str:
    """Return text as words are compared: `plain`, or the sign itself (`✓`)."""
    return plain(text) or text.strip().removesuffix("\N{VARIATION SELECTOR-16}")


def words(text: str) -> list[str]:
    """Return the words of a text, each in the form of `plain`."""
    spaced = "".join(c if c.isalnum() else " " for c in text)
    return [plain(word) for word in spaced.split()]


_OWN: ContextVar[tuple[Entry, ...]] = ContextVar("a user's own words", default=())


@contextmanager
def own_entries(entries: Iterable[Entry]) -> Iterator[None]:
    """Words of the user that come before ours, for all that is read inside."""
    token = _OWN.set((*_OWN.get(), *entries))
    try:
        yield
    finally:
        _OWN.reset(token)


def own_files() -> dict[str, int]:
    """Files of own words that count now, and how many words each holds."""
    files: dict[str, int] = {}
    for entry in _OWN.get():
        files[entry.file] = files.get(entry.file, 0) + len(entry.words)
    return files


def _words(which: str, column: str = "") -> Iterator[tuple[str, str]]:
    for entry in ENTRIES:
        if entry.list == which and entry.column in (column, ""):
            yield from ((word, entry.value) for word in entry.spelt())


def _headers(which: str) -> dict[str, str]:
    return {w: e.column for e in ENTRIES if e.list == which for w in e.spelt()}


def _listed(which: str, column: str) -> tuple[str, ...]:
    found = (e.words for e in ENTRIES if e.list == which and e.column == column)
    return tuple(dict.fromkeys(word for more in found for word in more))


WEAK_HEADERS = _headers("weak header")
BOTH_HEADERS = _headers("both header")
GRID_HEADERS = {name: _listed("grid header", name) for name in ("lon", "lat")}
PAIR_HEADERS = _listed("position header", "pair")
"""Headers of a column that holds both coordinates."""
ZONE_HEADERS = _listed("position header", "zone")
"""Headers of a column of UTM zones, beside eastings and northings."""
UNCLEAR_HEADERS: dict[str, tuple[str, ...]] = {}
for _entry in ENTRIES:
    if _entry.list == "unclear header":
        for _word in _entry.spelt():
            _more = (*UNCLEAR_HEADERS.get(_word, ()), _entry.column)
            UNCLEAR_HEADERS[_word] = tuple(dict.fromkeys(_more))
MATERIAL_NOISE: frozenset[str] = frozenset(dict(_words("beside", "material")))
REMARKS: frozenset[str] = frozenset(dict(_words("remark")))
UNKNOWN_WORDS: frozenset[str] = frozenset(
    word.casefold() for entry in ENTRIES if entry.list == "unknown" for word in entry.words
)
NO_WORDS: frozenset[str] = frozenset(
    word.casefold() for entry in ENTRIES if entry.list == "nothing" for word in entry.words
)
IDLE_HEADERS: frozenset[str] = frozenset(_headers("idle header"))
WEEKDAY_WORDS: dict[str, str] = dict(_words("weekday", "days_free"))


def header_words(*, grid: bool) -> dict[str, str]:
    """Return the table from plain header to column; with `grid` eastings are accepted too."""
    return _header_words(grid, _OWN.get())


@lru_cache(maxsize=8)
def _header_words(grid: bool, own: tuple[Entry, ...]) -> dict[str, str]:
    table = _headers("header") | (_headers("grid header") if grid else {})
    table |= {plain(name): name for name in REGISTER_BY_NAME}
    return table | {
        w: e.column
        for e in own
        if e.list == "header" and e.column in REGISTER_BY_NAME
        for w in e.spelt()
    }


def alike_in_register(columns: Iterable[Column]) -> set[str]:
    """Return the names of columns that mean what the register's of that name does."""
    register = REGISTER_BY_NAME
    return {c.name for c in columns if c.name in register and register[c.name].choices == c.choices}


NAMESAKES = frozenset(
    c.name
    for c in COLUMNS
    if c.name in REGISTER_BY_NAME and REGISTER_BY_NAME[c.name].choices != c.choices
)
"""Columns of the register of which another table has one of that name that means something else:
words for that one are not words for the register's."""


def table_header_words(columns: Mapping[str, Column]) -> Mapping[str, str]:
    """Return the table from plain header to column, for a table of these columns.

    A column that means what the register's of that name does is known by the same headers.
    """
    return _table_header_words(tuple(columns.values()), _OWN.get())


@lru_cache(maxsize=32)
def _table_header_words(columns: tuple[Column, ...], own: tuple[Entry, ...]) -> Mapping[str, str]:
    names = {column.name for column in columns}
    alike = alike_in_register(columns)

    def fits(entry: Entry) -> bool:
        known = {"header": alike, "table header": names - (alike & NAMESAKES)}
        if entry.file:
            return entry.list in known and entry.column in names
        return entry.column in known.get(entry.list, ())

    def spelt(entries: Iterable[Entry]) -> dict[str, str]:
        return {word: e.column for e in entries if fits(e) for word in e.spelt()}

    return spelt(ENTRIES) | {plain(name): name for name in names} | spelt(own)


def own_header(word: str, column: str) -> str:
    """The file of the user's words that says a header means a column; empty where ours do."""
    files = (e.file for e in _OWN.get() if e.column == column and plain(word) in e.spelt())
    return next(files, "")


def choice_words(column: str, choices: tuple[str, ...]) -> dict[str, tuple[str, str]]:
    """Return the table from plain word to (value, note) of a choice column."""
    return dict(_choice_words(column, choices, _OWN.get()))


SAME_WORDS = {
    "hanger_material": "material", "old_material": "material", "metal": "material",
    "tap_around": "tap_response",
}  # fmt: skip
"""Column of the same words as another."""


@lru_cache(maxsize=64)
def _choice_words(
    column: str, choices: tuple[str, ...], own: tuple[Entry, ...]
) -> Mapping[str, tuple[str, str]]:
    family = SAME_WORDS.get(column, column)
    every = [""] if "yes" in choices else []
    table: dict[str, tuple[str, str]] = {}
    for names in (every, [family]):
        for entry in ENTRIES:
            if entry.list == "choice" and entry.column in names and entry.value in choices:
                table |= dict.fromkeys(entry.spelt(), (entry.value, entry.note))
    table |= {plain(value): (value, "") for value in choices}
    for entry in own:
        if entry.list == "choice" and entry.column in (column, family) and entry.value in choices:
            told = f"read as {entry.value}, as {entry.file} says"
            table |= dict.fromkeys(entry.spelt(), (entry.value, told))
    return table


def level_words(column: str) -> dict[str, tuple[str, str]]:
    """Return the table from plain word to (whole number, file of the user's that says so)."""
    entries = (e for e in (*ENTRIES, *_OWN.get()) if e.list == "level" and e.column == column)
    return {word: (entry.value, entry.file) for entry in entries for word in entry.spelt()}
