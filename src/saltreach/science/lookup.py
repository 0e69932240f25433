"""Words to numbers and numbers to words, vectorised over distinct values."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import numpy as np

from saltreach.errors import OptionError
from saltreach.vocabulary.words import UNKNOWN

EMPTY = ("", "nan", "None", "<NA>", UNKNOWN)
"""Texts that stand for no entry once missing values have become text."""


def coded(words: Any, table: Mapping[str, float], what: str, missing: float = np.nan) -> Any:
    """Give the number that stands for each word.

    Parameters
    ----------
    words : array_like of str
        Words of the table; empty, NaN, None and `unknown` are allowed.
    table : mapping
        Number of each word.
    what : str
        What the words are, for the error.
    missing : float
        Number of an empty entry.

    Returns
    -------
    numpy.ndarray or float
        Numbers in the shape of `words`.

    Raises
    ------
    OptionError
        A word that is not of the table.

    Examples
    --------
    >>> coded(["dry", ""], {"dry": 15.0}, "groundwater").tolist()
    [15.0, nan]
    """
    keys = np.asarray(words, dtype=object).astype(str)
    distinct, inverse = np.unique(keys.ravel(), return_inverse=True)
    allowed = {**dict.fromkeys(EMPTY, missing), **table}
    wrong = [k for k in distinct.tolist() if k not in allowed]
    if wrong:
        raise OptionError(f"{what} {wrong[0]!r} is not known; use one of {list(table)} or empty")
    numbers = np.array([allowed[k] for k in distinct.tolist()], dtype=float)
    return numbers[inverse].reshape(keys.shape)[()]


def named(value: Any, limits: tuple[float, ...], names: tuple[str, ...]) -> np.ndarray:
    """Name the interval each value lies in.

    Parameters
    ----------
    value : array_like
        Numbers, any shape.
    limits : tuple of float
        Rising limits; a value on a limit belongs below it.
    names : tuple of str
        One more name than limits, from the lowest interval up.

    Returns
    -------
    numpy.ndarray of str
        Names in the shape of `value`; `unknown` for NaN.

    Examples
    --------
    >>> named([1.0, 2.0, float("nan")], (1,), ("low", "high")).tolist()
    ['low', 'high', 'unknown']
    """
    numbers = np.asarray(value, dtype=float)
    place = np.searchsorted(limits, numbers, side="left")
    with_unknown = np.array([*names, UNKNOWN], dtype=object)
    return with_unknown[np.where(np.isnan(numbers), len(names), place)]
