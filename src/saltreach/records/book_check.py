"""Whether a book is whole: keys, order, guards, and the layer of anchors against its events."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from saltreach.records.book import Book
from saltreach.records.events import FACT, KEY, event_id, is_date
from saltreach.records.facts import is_object
from saltreach.vocabulary.words import EVENT_KINDS

MOST_SHOWN = 5


@dataclass(frozen=True)
class Checkup:
    """What is wrong with a book.

    Attributes
    ----------
    events : tuple of str
        With its events: nothing can mend them but a backup.
    layer : tuple of str
        With its guards and its layer of anchors, which follow from the events.
    """

    events: tuple[str, ...]
    layer: tuple[str, ...]

    @property
    def whole(self) -> bool:
        """Whether nothing is wrong."""
        return not self.events and not self.layer


def check_book(book: Book) -> Checkup:
    """Recompute every key and the layer of anchors, and compare.

    Parameters
    ----------
    book : Book
        The book.

    Returns
    -------
    Checkup
        One sentence for each fault; of many alike the first few and their number.

    Raises
    ------
    RecordError
        The book cannot be read at all.
    """
    faults = tuple(book.faults())
    events = book.events_as_they_are()
    wrong = _wrong_events(book, events)
    differing = () if wrong and _unreadable(events) else tuple(_differences(book))
    return Checkup(wrong, (*_some(list(faults)), *differing))


def _unreadable(events: pd.DataFrame) -> bool:
    """Whether nothing can be worked out from the events."""
    return not events["says"].map(is_object).all()


def _wrong_events(book: Book, events: pd.DataFrame) -> tuple[str, ...]:
    found: list[str] = []
    facts = zip(*(events[name] for name in FACT), strict=True)
    made = [event_id(*fact) for fact in facts]
    changed = events[events["event_id"].to_numpy(object) != np.array(made, dtype=object)]
    found += _some(
        [
            f"event {row.seq} (anchor {row.anchor_id}, {row.kind}, {row.happened_on}) is not what "
            "was written: its key does not fit"
            for row in changed.itertuples()
        ]
    )
    odd = events[~events["kind"].isin(EVENT_KINDS) | ~events["happened_on"].map(is_date)]
    found += _some(
        [f"event {row.seq} is of no kind or day that is known" for row in odd.itertuples()]
    )
    due = int(book.about()["events"])
    missing = sorted(set(range(1, due + 1)) - set(events["seq"]))
    found += _some([f"event {at} is gone" for at in missing])
    more = events[~events["seq"].isin(range(1, due + 1))]
    found += _some([f"event {row.seq} was not written by saltreach" for row in more.itertuples()])
    if not found and not book.sealed():
        found.append("events are not those that were written: their digest does not fit")
    return tuple(found)


def _differences(book: Book) -> list[str]:
    """Cells of the layer of anchors that are not what the events say."""
    derived = book.derived().set_index(KEY)
    layer = book.layer().set_index(KEY)
    lacking, more = derived.index.difference(layer.index), layer.index.difference(derived.index)
    found = _some([f"anchor {name} is missing in the layer" for name in lacking])
    found += _some([f"anchor {name} is in the layer, and no event places it" for name in more])
    if set(layer) != set(derived):
        odd = sorted(set(layer) ^ set(derived))
        found += _some([f"column {name} is not as the events have it" for name in odd])
    both = derived.index.intersection(layer.index)
    names = [name for name in derived if name in layer]
    ours, theirs = (t.loc[both, names].astype(object) for t in (derived, layer))
    differ = (ours != theirs) & ~(ours.isna() & theirs.isna())
    where = np.argwhere(differ.to_numpy(bool))
    return found + _some(
        [
            f"anchor {both[row]}, {names[at]}: {theirs.iat[row, at]} in the layer, "
            f"{ours.iat[row, at]} by its events"
            for row, at in where[: MOST_SHOWN + 1]
        ],
        len(where),
    )  # fmt: skip


def _some(sentences: list[str], count: int | None = None) -> list[str]:
    count = len(sentences) if count is None else count
    more = [f"and {count - MOST_SHOWN} more like that"] if count > MOST_SHOWN else []
    return [*sentences[:MOST_SHOWN], *more]
