"""The words of the phone's page: one table, one row a text, one column a language."""

from __future__ import annotations

import csv

from saltreach.errors import OptionError
from saltreach.outputs.html import asset_text

ENGLISH = "en"


def catalogues() -> dict[str, dict[str, str]]:
    """Words of the page in all languages.

    Returns
    -------
    dict
        Text by key, by ISO 639-1 code: the columns of ``assets/texts.csv``. What a language
        leaves empty is English there.
    """
    rows = list(csv.DictReader(asset_text("phone/texts.csv").splitlines()))
    languages = [name for name in rows[0] if name != "key"]
    return {
        language: {row["key"]: row[language] or row[ENGLISH] for row in rows}
        for language in languages
    }


def catalogue(language: str = ENGLISH) -> dict[str, str]:
    """Words of the page in one language.

    Parameters
    ----------
    language : str
        One that ``assets/texts.csv`` has a column for.

    Returns
    -------
    dict
        Text by key.

    Raises
    ------
    OptionError
        When there is no such language.

    Examples
    --------
    >>> catalogue()["stage_missed"]
    'not reached'
    """
    known = catalogues()
    if language not in known:
        raise OptionError(
            f"language: {language!r} is not one of the phone page's; use {', '.join(known)}"
        )
    return known[language]
