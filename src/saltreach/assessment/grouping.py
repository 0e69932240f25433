"""Groups of anchors (sectors, crags), found once, and what is worked out of all of them.

Nothing here looks beyond a group: parts of a register that hold whole groups give the same rows.
"""

from __future__ import annotations

from collections.abc import Sequence
from functools import cached_property
from typing import NamedTuple

import numpy as np
import pandas as pd

from saltreach.vocabulary.words import SEPARATOR


class Groups:
    """Which group each row of a table belongs to.

    Attributes
    ----------
    names : DataFrame
        The keys of the groups, one row each, in rising order; unknown ones last.
    of : ndarray of int, shape (n,)
        Place in `names` of each row's group.
    """

    def __init__(self, names: pd.DataFrame, of: np.ndarray) -> None:
        self.names, self.of = names, of

    def __len__(self) -> int:
        return len(self.names)

    @cached_property
    def size(self) -> np.ndarray:
        """Rows of each group."""
        return np.bincount(self.of, minlength=len(self))

    @cached_property
    def order(self) -> np.ndarray:
        """Places of the rows, group after group, each in the order of its rows."""
        return np.argsort(self.of, kind="stable")

    @cached_property
    def starts(self) -> np.ndarray:
        """Where each group begins in `order`."""
        return np.cumsum(self.size) - self.size

    def highest(self, values: np.ndarray) -> np.ndarray:
        """The highest known value of each group; NaN where none is known."""
        return np.fmax.reduceat(values[self.order], self.starts) if len(self) else values[:0]

    def lowest(self, values: np.ndarray) -> np.ndarray:
        """The lowest known value of each group; NaN where none is known."""
        return -self.highest(-values)

    def number(self, mask: np.ndarray) -> np.ndarray:
        """How many rows of each group a mask holds for."""
        return np.bincount(self.of[mask], minlength=len(self))

    def within(self, by: list[str]) -> Groups:
        """The larger groups that these lie in, by some of their keys."""
        outer = groups_of(self.names, by)
        return Groups(outer.names, outer.of[self.of])


def groups_of(table: pd.DataFrame, by: list[str]) -> Groups:
    """The groups of a table's rows.

    Parameters
    ----------
    table : DataFrame
        Holds the keys.
    by : list of str
        `["crag", "sector"]` or `["crag"]`.
    """
    grouped = table.groupby(by, dropna=False)
    return Groups(grouped.size().reset_index()[by], grouped.ngroup().to_numpy())


class Tally(NamedTuple):
    """How often each of some words stands in each group: one row a group and word, by group."""

    group: np.ndarray
    word: np.ndarray
    """Place in `words`."""
    number: np.ndarray
    first: np.ndarray
    """Rises with where the group has it first."""
    words: np.ndarray
    """Each once, in rising order."""


def words_in(groups: Groups, values: pd.Series) -> Tally:
    """How often each entry of a column stands in each group; unknown ones are not counted."""
    code, words = pd.factorize(values)
    words, code = _rising(np.asarray(words, dtype=object), code)
    return _tally(groups.of[code >= 0], code[code >= 0], words)


def sentences_in(
    groups: Groups, texts: pd.Series, rows: np.ndarray | None = None, *, empty: bool = False
) -> Tally:
    """How often each sentence of a text column stands in each group.

    Parameters
    ----------
    groups : Groups
        Of the rows of `texts`.
    texts : Series of str
        Sentences joined by `SEPARATOR`.
    rows : ndarray of bool, optional
        Rows that count; all of them.
    empty : bool
        Whether a text without sentences counts as an empty one.
    """
    of = groups.of if rows is None else groups.of[rows]
    code, distinct = pd.factorize(texts if rows is None else texts[rows])
    # each text of a group once: few, where the register is long
    group, text, count, first, _ = _tally(of, code, np.asarray(distinct, dtype=object))
    split = [whole.split(SEPARATOR) for whole in distinct]
    length = np.array([len(part) for part in split], dtype=np.int64)
    flat = pd.Series([sentence for part in split for sentence in part], dtype=object)
    sentence, words = pd.factorize(flat)
    words, sentence = _rising(np.asarray(words, dtype=object), sentence)
    many = length[text]
    within = np.arange(many.sum()) - np.repeat(np.cumsum(many) - many, many)
    sentence = sentence[np.repeat((np.cumsum(length) - length)[text], many) + within]
    order = np.repeat(first, many) * (length.max(initial=0) + 1) + within
    group, count = np.repeat(group, many), np.repeat(count, many)
    if not empty and len(words) and words[0] == "":
        known = sentence > 0
        group, sentence, count, order = (v[known] for v in (group, sentence, count, order))
    return _tally(group, sentence, words, count, order)


def joined(groups: Groups, group: np.ndarray, pieces: np.ndarray, by: str = SEPARATOR) -> pd.Series:
    """The pieces of each group as one text, empty where it has none; `group` in rising order."""
    ends = np.searchsorted(group, np.arange(len(groups) + 1))
    parts = pieces.tolist()
    texts = [by.join(parts[a:b]) for a, b in zip(ends[:-1], ends[1:], strict=True)]
    return pd.Series(texts, dtype="str")


def of_all(count: np.ndarray, total: np.ndarray) -> np.ndarray:
    """` (3 of 7 anchors)` for each count below its total; empty elsewhere."""
    code, pairs = pd.factorize(count * (int(total.max(initial=0)) + 1) + total)
    first = np.zeros(len(pairs), dtype=np.int64)
    first[code[::-1]] = np.arange(len(code))[::-1]
    said = [
        f" ({n} of {of} anchors)" if n < of else ""
        for n, of in zip(count[first].tolist(), total[first].tolist(), strict=True)
    ]
    return np.array(said, dtype=object)[code]


def counts_text(groups: Groups, values: pd.Series) -> pd.Series:
    """`316 x 12; unknown x 3`, the most frequent first."""
    tally = words_in(groups, values)
    order = np.lexsort((tally.word, -tally.number, tally.group))
    pieces = pd.Series(tally.words[tally.word[order]], dtype=object)
    pieces = pieces + " x " + pd.Series(tally.number[order]).astype("str").astype(object)
    return joined(groups, tally.group[order], pieces.to_numpy(), "; ")


def most_common(groups: Groups, values: pd.Series) -> pd.Series:
    """The most frequent entry of each group, the first in order of several; empty ones aside."""
    tally = words_in(groups, values.replace("", None))
    order = np.lexsort((tally.word, -tally.number, tally.group))
    group, first = np.unique(tally.group[order], return_index=True)
    found = np.full(len(groups), "", dtype=object)
    found[group] = tally.words[tally.word[order][first]]
    return pd.Series(found, dtype=object)


def texts_in_order(groups: Groups, texts: pd.Series, rows: np.ndarray) -> pd.Series:
    """The distinct sentences of a group's rows, in the order they first appear."""
    tally = sentences_in(groups, texts, rows)
    order = np.lexsort((tally.first, tally.group))
    return joined(groups, tally.group[order], tally.words[tally.word[order]])


def quantiles(groups: Groups, values: np.ndarray, q: float) -> np.ndarray:
    """A quantile of each group in each column, linear between neighbours; unknown ones aside.

    Parameters
    ----------
    groups : Groups
        Of the rows.
    values : ndarray, shape (n, m)
        NaN where unknown.
    q : float
        0 to 1.

    Returns
    -------
    ndarray, shape (groups, m)
        NaN where a group knows none.
    """
    out = np.full((len(groups), values.shape[1]), np.nan)
    for size in np.unique(groups.size):  # groups of one size at a time: no padding
        own = np.flatnonzero(groups.size == size)
        for some in np.array_split(own, max(1, len(own) * int(size) // _ROWS_AT_ONCE)):
            rows = groups.order[groups.starts[some][:, None] + np.arange(size)]
            block = np.sort(np.moveaxis(values[rows], 1, 2), axis=2)
            known = (~np.isnan(block)).sum(axis=2)
            place = q * np.maximum(known - 1, 0)
            low = place.astype(np.int64)
            part = place % 1
            below, above = (
                np.take_along_axis(block, np.minimum(at, size - 1)[:, :, None], axis=2)[:, :, 0]
                for at in (low, low + 1)
            )
            between = below + (above - below) * part
            out[some] = np.where(part == 0, below, between)
    return out


_ROWS_AT_ONCE = 50_000


def _rising(words: np.ndarray, code: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Words in rising order, and the code of each in it; -1 stays."""
    order = np.argsort(words)
    place = np.empty(len(words) + 1, dtype=np.int64)
    place[order] = np.arange(len(words))
    place[-1] = -1
    return words[order], place[code]


def _tally(
    group: np.ndarray,
    word: np.ndarray,
    words: np.ndarray,
    count: np.ndarray | None = None,
    order: np.ndarray | Sequence[int] | None = None,
) -> Tally:
    """Rows of one group and word as one: their counts summed, the least of their order."""
    key = group.astype(np.int64) * max(len(words), 1) + word
    sort = np.argsort(key, kind="stable")
    first = np.flatnonzero(np.diff(key[sort], prepend=-1))
    if count is None:
        summed = np.diff(np.append(first, len(key)))
        place = sort[first]  # the sort keeps the order of rows
    else:
        summed = np.add.reduceat(count[sort], first) if len(first) else count[:0]
        place = np.minimum.reduceat(np.asarray(order)[sort], first) if len(first) else sort[:0]
    found = key[sort[first]]
    group, word = np.divmod(found, max(len(words), 1))
    return Tally(group, word, summed, place, words)
