"""Sentences that gather on the rows of a table, without a loop over rows."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import pandas as pd

from saltreach.vocabulary.words import SEPARATOR


def some(names: Sequence[str], most: int = 3) -> str:
    """The first of some names, and how many more there are.

    Examples
    --------
    >>> some(["a", "b", "c", "d", "e"]), some(["a"])
    ('a, b, c and 2 more', 'a')
    """
    more = f" and {len(names) - most} more" if len(names) > most else ""
    return ", ".join(names[:most]) + more


class Reasons:
    """One text per row, built from sentences that apply to some of the rows."""

    def __init__(self, index: pd.Index) -> None:
        self._text = pd.Series("", index=index, dtype=object)

    def add(self, where: object, sentence: object) -> None:
        """Append a sentence (one string, or one per row) where the mask is true."""
        mask = np.broadcast_to(np.asarray(where, bool), len(self._text))
        if not mask.any():
            return
        new = sentence if isinstance(sentence, str) else np.asarray(sentence, object)[mask]
        old = self._text[mask]
        self._text[mask] = np.where(old == "", "", old + SEPARATOR) + new

    def text(self) -> pd.Series:
        """The gathered text, empty where nothing applied."""
        return self._text.astype("str")
