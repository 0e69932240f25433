"""Sentences that gather on the rows of a table, without a loop over rows."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import Any

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


MOST_SHOWN = 5
"""Names of a list that a screen shows; the file it names holds them all."""


class Listing(str):
    """A sentence that ends with names, all of them as text.

    Examples
    --------
    >>> import copy
    >>> note = Listing("left out", [f"s{n}" for n in range(7)])
    >>> note, note.short("plan.json")
    ('left out: s0, s1, s2, s3, s4, s5, s6', 'left out: s0, s1, s2, s3, s4 and 2 more (plan.json)')
    >>> copy.deepcopy(note).names == note.names
    True
    """

    why: str
    names: tuple[str, ...]

    def __new__(cls, why: str, names: Iterable[str]) -> Listing:
        """Join them."""
        names = tuple(names)
        made = super().__new__(cls, f"{why}: {', '.join(names)}")
        made.why, made.names = why, names
        return made

    def __getnewargs__(self) -> Any:
        """What a copy is made of."""
        return self.why, self.names

    def short(self, file: object) -> str:
        """For a screen: the first few, how many more there are and where."""
        more = f" ({file})" if len(self.names) > MOST_SHOWN else ""
        return f"{self.why}: {some(self.names, MOST_SHOWN)}{more}"


def short(note: str, file: object) -> str:
    """A note for a screen; `file` holds it whole."""
    return note.short(file) if isinstance(note, Listing) else note


class Reasons:
    """One text per row, built from sentences that apply to some of the rows.

    Rows that read alike share one text, so that each is put together once.
    """

    def __init__(self, index: pd.Index) -> None:
        self._index = index
        self._texts = [""]
        self._of = np.zeros(len(index), dtype=np.int64)

    def add(self, where: object, sentence: object) -> None:
        """Append a sentence (one string, or one per row) where the mask is true."""
        rows = np.flatnonzero(np.broadcast_to(np.asarray(where, bool), len(self._of)))
        if not len(rows):
            return
        if isinstance(sentence, str):
            said, words = np.zeros(len(rows), dtype=np.int64), np.array([sentence], dtype=object)
        else:
            said, words = pd.factorize(np.asarray(sentence, object)[rows])
        pair, distinct = pd.factorize(self._of[rows] * len(words) + said)
        before, new = (part.tolist() for part in np.divmod(distinct, len(words)))
        self._of[rows] = pair + len(self._texts)
        self._texts += [
            f"{self._texts[old]}{SEPARATOR}{words[at]}" if self._texts[old] else words[at]
            for old, at in zip(before, new, strict=True)
        ]

    def text(self) -> pd.Series:
        """The gathered text, empty where nothing applied."""
        texts = pd.Series(self._texts, dtype="str")
        return pd.Series(texts.array.take(self._of), index=self._index)
