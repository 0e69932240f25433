"""The words of the map in its languages: one table, one row a text, one column a language."""

from __future__ import annotations

import csv
from enum import StrEnum

from saltreach.errors import OptionError
from saltreach.outputs.html import asset_text


class Language(StrEnum):
    """A language the map speaks, by its ISO 639-1 code."""

    EN = "en"
    DE = "de"
    ES = "es"
    FR = "fr"


LANGUAGES: tuple[str, ...] = tuple(Language)
"""Codes, in the order of the page's own choice."""


def catalogue(language: str) -> dict[str, str]:
    """Words of the map in one language.

    Parameters
    ----------
    language : str
        One of `LANGUAGES`.

    Returns
    -------
    dict
        Text by key; every language has the same keys, with the same ``{placeholders}``.

    Raises
    ------
    OptionError
        When there is no such language.

    Examples
    --------
    >>> catalogue("es")["not_known"]
    'no se sabe'
    """
    if language not in LANGUAGES:
        raise OptionError(
            f"language: {language!r} is not one of the map's languages; use {', '.join(LANGUAGES)}"
        )
    rows = csv.DictReader(asset_text("map/texts.csv").splitlines())
    return {row["key"]: row[language] for row in rows}


def catalogues() -> dict[str, dict[str, str]]:
    """Words of the map in all languages.

    Returns
    -------
    dict
        `catalogue` by language code.
    """
    return {language: catalogue(language) for language in LANGUAGES}
