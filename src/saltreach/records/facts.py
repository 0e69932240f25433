"""What events state, by column, and which statement about an anchor is the last."""

from __future__ import annotations

import json
from collections import defaultdict
from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd

from saltreach.errors import RecordError
from saltreach.intake.formats import cell_text
from saltreach.vocabulary.columns import REGISTER

NUMBERS = frozenset(c.name for c in REGISTER if c.kind in ("number", "integer"))
_CHUNK = 20_000
"""Events whose statements are held as Python values at a time."""


@dataclass(frozen=True)
class Facts:
    """Statements about one column: the events that make them, and the values (NaN: unknown)."""

    rows: np.ndarray
    values: Any

    @staticmethod
    def none(numeric: bool) -> Facts:
        """No statement."""
        empty = np.array([], dtype=float) if numeric else pd.array([], dtype="str")
        return Facts(np.array([], dtype=np.int64), empty)

    @staticmethod
    def unknown(rows: np.ndarray, numeric: bool) -> Facts:
        """Statements that a value is not known."""
        return Facts(rows, _missing(len(rows), numeric))

    def where(self, kept: np.ndarray) -> Facts:
        """Statements of the events of which `kept`, one truth value per event, says so."""
        here = kept[self.rows]
        return Facts(self.rows[here], self.values[here])

    def then(self, other: Facts) -> Facts:
        """These and others, which count as later where one event makes both."""
        rows = np.concatenate([self.rows, other.rows])
        if isinstance(self.values, np.ndarray):
            return Facts(rows, np.concatenate([self.values, other.values]))
        return Facts(rows, self.values._concat_same_type([self.values, other.values]))


def _missing(count: int, numeric: bool) -> Any:
    return np.full(count, np.nan) if numeric else pd.array([np.nan] * count, dtype="str")


def stated(says: pd.Series, rows: np.ndarray) -> dict[str, Facts]:
    """Statements of events, by column in the order first met.

    Parameters
    ----------
    says : Series of str
        JSON of every event, each under the number that messages name it by.
    rows : ndarray of int
        Places of those whose statements are wanted.

    Raises
    ------
    RecordError
        What an event says is no JSON, or no number where one belongs.
    """
    at: dict[str, list[np.ndarray]] = defaultdict(list)
    values: dict[str, list[Any]] = defaultdict(list)
    for start in range(0, len(rows), _CHUNK):
        chunk = rows[start : start + _CHUNK]
        places: dict[str, list[int]] = defaultdict(list)
        cells: dict[str, list[Any]] = defaultdict(list)
        for place, one in enumerate(_parsed(says.iloc[chunk])):
            for name, value in one.items():
                places[name].append(place)
                cells[name].append(value)
        for name, found in places.items():
            at[name].append(chunk[found])
            values[name].append(_typed(name, cells[name]))
    facts = {}
    for name in at:
        whole = (
            np.concatenate(values[name])
            if name in NUMBERS
            else values[name][0]._concat_same_type(values[name])
        )
        facts[name] = Facts(np.concatenate(at[name]), whole)
    return facts


def is_object(text: str) -> bool:
    """Whether a text is a JSON object, as what an event says."""
    try:
        return isinstance(json.loads(text), dict)
    except (TypeError, ValueError, RecursionError):
        return False


def _parsed(says: pd.Series) -> list[dict[str, Any]]:
    try:
        found: list[dict[str, Any]] = json.loads(f"[{','.join(says)}]")
    except (TypeError, ValueError, RecursionError):
        found = []
    if len(found) == len(says) and all(isinstance(one, dict) for one in found):
        return found
    at = next((name for name, text in says.items() if not is_object(text)), "")
    raise RecordError(
        f"event {at}: what it says is no JSON object: the book was changed by another program; "
        "run saltreach book check, and take the book from your backup"
    )


def _typed(name: str, cells: list[Any]) -> Any:
    if name in NUMBERS:
        try:
            return np.array(cells, dtype=float)
        except (TypeError, ValueError) as error:
            raise RecordError(
                f"an event states a {name} that is no number ({error}); take it back"
            ) from error
    return pd.array(
        [value if isinstance(value, str) and value else cell_text(value) for value in cells],
        dtype="str",
    )


@dataclass(frozen=True)
class Order:
    """Which event of an anchor is later: `anchor` and `rank` of each event, of `count` anchors."""

    anchor: np.ndarray
    rank: np.ndarray
    count: int

    @staticmethod
    def of(anchor: np.ndarray, days: np.ndarray, count: int) -> Order:
        """By day and, on one day, as the events stand."""
        order = np.lexsort((np.arange(len(anchor)), days, anchor))
        rank = np.empty(len(anchor), dtype=np.int64)
        rank[order] = np.arange(len(anchor))
        return Order(anchor, rank, count)

    def last(self, facts: Facts) -> np.ndarray:
        """For each anchor the place of the last statement among `facts`; -1 where there is none."""
        out = np.full(self.count, -1)
        if len(facts.rows):
            by = np.argsort(self.rank[facts.rows], kind="stable")
            anchor = self.anchor[facts.rows[by]]
            final = np.append(anchor[1:] != anchor[:-1], True)
            out[anchor[final]] = by[final]
        return out

    def value(self, facts: Facts) -> Any:
        """The last value stated of each anchor; NaN where none is, or the last is unknown."""
        return pd.api.extensions.take(facts.values, self.last(facts), allow_fill=True)
