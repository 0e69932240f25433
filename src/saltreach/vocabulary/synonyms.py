"""Other words for our columns and for the values of choice columns.

Words are compared without case, accents, blanks, hyphens, dots and underscores. The lists are
ordinary words of English, Spanish, French and German, EN and ISO designations of steels, and
no brand or product of the climbing trade. Trade usage: common practice, no source.
"""

from __future__ import annotations

import unicodedata
from collections.abc import Mapping

from saltreach.vocabulary.columns import REGISTER_BY_NAME, Column
from saltreach.vocabulary.metals import FAMILIES
from saltreach.vocabulary.tables import rows_of

_ROWS = [(row, tuple(row["words"].split("; "))) for row in rows_of("synonyms.csv")]


def _headers(which: str) -> dict[str, tuple[str, ...]]:
    return {row["column"]: more for row, more in _ROWS if row["list"] == which}


HEADERS = _headers("header")
"""Headers accepted for a column beside its own name. Bare x and y are never accepted: which of
them is east differs between programs."""

WEAK_HEADERS: dict[str, str] = {"id": "anchor_id"}
"""Taken only when no other header claims the column."""

GRID_HEADERS: dict[str, tuple[str, ...]] = {
    "lon": ("easting", "eastings", "este", "ostwert", "rechtswert"),
    "lat": ("northing", "northings", "norte", "nordwert", "hochwert"),
}
"""Accepted for lon and lat only when a CRS is given."""

PAIR_HEADERS = _headers("position header")["pair"]
"""Headers of a column that holds both coordinates."""

ZONE_HEADERS = _headers("position header")["zone"]
"""Headers of a column of UTM zones, beside eastings and northings."""

TABLE_HEADERS = _headers("table header")
"""Headers accepted in the tables beside the register, besides those of `HEADERS`."""

NOT_KNOWN: tuple[str, ...] = (
    "unknown", "not known", "n/a", "na", "nan", "none", "null", "?", "??", "-", "--",
    "desconocido", "desconocida", "no se sabe", "inconnu", "inconnue", "unbekannt",
)  # fmt: skip
"""Words read as an empty cell in number, date and choice columns (never in text columns)."""

CHOICES: dict[str, dict[str, tuple[str, ...]]] = {
    "material": {name: family.spellings for name, family in FAMILIES.items()}
}
WITH_NOTE: dict[str, dict[str, tuple[str, tuple[str, ...]]]] = {}
for _row, _more in _ROWS:
    if _row["list"] == "choice" and _row["note"]:
        WITH_NOTE.setdefault(_row["column"], {})[_row["note"]] = (_row["value"], _more)
    elif _row["list"] == "choice":
        CHOICES.setdefault(_row["column"], {})[_row["value"]] = _more
"""Words accepted for each value of a choice column, beside the value itself. EN numbers by
EN 1993-1-4:2006+A1:2015 Table A.3 (from memory), A2 to A8 and D6 by
ISO 3506-1:2020 (from memory). `grade 2` or `grade 5` alone is refused: it is a titanium grade
and a strength grade of carbon steel bolts (SAE J429) as well.

WITH_NOTE: words whose reading the user must be told: column -> note -> (value, words). No mapping
raises a metal above its EN class; where the class and the stress-corrosion behaviour disagree
the weaker one names it. 904L (about 25 % nickel) keeps its class IV name: published drop
evaporation tests place it no lower than 1.4462 (from memory)."""

YES_NO: dict[str, tuple[str, ...]] = {
    "yes": ("y", "true", "1", "sí", "s", "oui", "o", "ja", "j"),
    "no": ("n", "false", "0", "non", "nein"),
}
"""Words for yes and no in every column that asks for them."""

MATERIAL_NOISE: frozenset[str] = frozenset(
    ("aisi", "en", "astm", "uns", "type", "typ", "tipo", "stainless", "steel", "inox", "acero",
     "inoxidable", "acier", "inoxydable", "edelstahl", "stahl", "ss", "din", "wnr", "werkstoff")
)  # fmt: skip
"""Words that may stand beside a grade without changing it: `AISI 316L stainless steel`."""


def plain(text: str) -> str:
    """Return text without case, accents, blanks and punctuation, for comparing words.

    Examples
    --------
    >>> plain("Última  inspección"), plain("1.4404"), plain("glue-in")
    ('ultimainspeccion', '14404', 'gluein')
    """
    bare = unicodedata.normalize("NFKD", text)
    return "".join(c for c in bare.casefold() if c.isalnum())


def words(text: str) -> list[str]:
    """Return the words of a text, each in the form of `plain`."""
    spaced = "".join(c if c.isalnum() else " " for c in text)
    return [plain(word) for word in spaced.split()]


def header_words(*, grid: bool) -> dict[str, str]:
    """Return the table from plain header to column; with `grid` eastings are accepted too."""
    table = {plain(word): name for name, more in HEADERS.items() for word in more}
    if grid:
        table |= {plain(word): name for name, more in GRID_HEADERS.items() for word in more}
    return table


def table_header_words(columns: Mapping[str, Column]) -> dict[str, str]:
    """Return the table from plain header to column, for a table of these columns.

    A column that means what the register's of that name does is known by the same headers.
    """

    def of_register(name: str, column: Column) -> tuple[str, ...]:
        ours = REGISTER_BY_NAME.get(name)
        return HEADERS.get(name, ()) if ours and ours.choices == column.choices else ()

    return {
        plain(word): name
        for name, column in columns.items()
        for word in (*of_register(name, column), *TABLE_HEADERS.get(name, ()))
    } | {plain(name): name for name in columns}


def choice_words(column: str, choices: tuple[str, ...]) -> dict[str, tuple[str, str]]:
    """Return the table from plain word to (value, note) of a choice column."""
    family = "material" if column == "hanger_material" else column
    own = CHOICES.get(family, {})
    both = YES_NO if "yes" in choices else {}
    table = {
        plain(word): (value, "")
        for words_of in (both, own)
        for value, more in words_of.items()
        for word in more
        if value in choices
    }
    for note, (value, more) in WITH_NOTE.get(family, {}).items():
        table |= {plain(word): (value, note) for word in more if value in choices}
    return table | {plain(value): (value, "") for value in choices}


UNKNOWN_WORDS: frozenset[str] = frozenset(word.casefold() for word in NOT_KNOWN)
