"""Words to numbers and numbers to words, vectorised over distinct values."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np

from saltreach.errors import OptionError
from saltreach.science.types import Floats, Texts, Values, Words, number
from saltreach.vocabulary.words import UNKNOWN, Scale

EMPTY = ("", "nan", "None", "<NA>", UNKNOWN)
"""Texts that stand for no entry once missing values have become text."""


def lookup(
    words: Words, table: Mapping[str, float] | Scale, what: str, missing: float = np.nan
) -> Floats:
    """Give the number that stands for each word.

    Parameters
    ----------
    words : array_like of str
        Words of the table; empty, NaN, None and `unknown` are allowed.
    table : mapping or Scale
        Number of each word; of a scale its place, from 0.
    what : str
        What the words are, for the error.
    missing : float
        Number of an empty entry.

    Returns
    -------
    numpy.ndarray
        Numbers in the shape of `words`.

    Raises
    ------
    OptionError
        A word that is not of the table.

    Examples
    --------
    >>> lookup(["dry", ""], {"dry": 15.0}, "groundwater").tolist()
    [15.0, nan]
    """
    keys = np.asarray(words, dtype=object)
    flat = keys.ravel().tolist()
    known = table if isinstance(table, Mapping) else {word: i for i, word in enumerate(table)}
    allowed = {**dict.fromkeys(EMPTY, missing), **known}
    found = {word: allowed.get(str(word)) for word in set(flat)}
    wrong = sorted(str(word) for word, value in found.items() if value is None)
    if wrong:
        raise OptionError(f"{what} {wrong[0]!r} is not known; use one of {list(table)} or empty")
    return np.array([found[word] for word in flat], dtype=float).reshape(keys.shape)


def classify(value: Values, limits: Sequence[float], names: Scale, unknown: str = UNKNOWN) -> Texts:
    """Name the interval each value lies in.

    Parameters
    ----------
    value : array_like
        Numbers, any shape.
    limits : sequence of float
        Rising limits; a value on a limit belongs below it.
    names : Scale
        One more name than limits, from the lowest interval up.
    unknown : str
        Name of NaN.

    Returns
    -------
    numpy.ndarray of str
        Names in the shape of `value`.

    Examples
    --------
    >>> classify([1.0, 2.0, float("nan")], (1,), Scale(("low", "high"))).tolist()
    ['low', 'high', 'unknown']
    """
    found = number(value)
    place = np.searchsorted(limits, found, side="left")
    return np.asarray(names.word(np.where(np.isnan(found), np.nan, place), unknown))
