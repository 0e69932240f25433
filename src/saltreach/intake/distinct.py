"""Columns in which few texts stand many times: each is looked at once."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, NamedTuple

import numpy as np
import pandas as pd
import pyarrow as pa


class Distinct(NamedTuple):
    """The different cells of a column, NaN among them, in the order met; `counts` says how often
    each stands there, `codes` which of them each cell is."""

    texts: pd.Series
    counts: np.ndarray
    codes: np.ndarray

    def spread(self, values: pd.Series, index: pd.Index) -> pd.Series:
        """What was found for each different cell, for all cells."""
        return values.take(self.codes).set_axis(index)


def distinct(text: pd.Series) -> Distinct:
    """The different cells of a column.

    Parameters
    ----------
    text : Series of str
        Cells; NaN where empty.

    Examples
    --------
    >>> found = distinct(pd.Series(["12", None, "12"], dtype="str"))
    >>> found.counts.tolist(), found.codes.tolist()
    ([2, 1], [0, 1, 0])
    """
    codes, texts = pd.factorize(text, use_na_sentinel=False)
    counts = np.bincount(codes, minlength=len(texts))
    return Distinct(pd.Series(texts, dtype="str"), counts, codes)


def as_arrow(text: pd.Series) -> pa.ChunkedArray:
    """The cells of a column of text as they lie in memory; null where empty."""
    return pa.chunked_array(pa.array(text, type=pa.large_string(), from_pandas=True))


def numbers(text: pd.Series, table: Mapping[Any, float]) -> np.ndarray:
    """The number that a table gives for each cell; NaN where it gives none.

    Examples
    --------
    >>> numbers(pd.Series(["a", None, "c"], dtype="str"), {"a": 1.0}).tolist()
    [1.0, nan, nan]
    """
    code, found = pd.factorize(text)
    return np.array([*(table.get(word, np.nan) for word in found), np.nan], dtype=float)[code]


def told(text: pd.Series, words: Mapping[Any, Any]) -> pd.Series:
    """What a mapping says of each cell, as text; NaN where it says nothing.

    Examples
    --------
    >>> told(pd.Series(["a", "b", "a"]), {"a": "A"}).tolist()
    ['A', nan, 'A']
    """
    found = distinct(text)
    said = [words.get(t, np.nan) if isinstance(t, str) else np.nan for t in found.texts]
    return found.spread(pd.Series(said, dtype="str"), text.index)


def alike(word: str | None, index: pd.Index) -> pd.Series:
    """A column of text with one word, or nothing, in every row."""
    cells = pa.repeat(pa.scalar(word, pa.large_string()), len(index))
    return pd.Series(cells, index=index, dtype="str")
