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
