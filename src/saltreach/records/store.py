"""What a book asks of the place where it is kept: a file or a database."""

from __future__ import annotations

from collections.abc import Sequence
from contextlib import AbstractContextManager
from typing import Protocol

import pandas as pd

from saltreach.intake.book_layer import ANCHORS, EVENTS

REFUSED = {
    ANCHORS: "anchors of a book are made from its events: hand in a return or a correction "
    "(saltreach returns), or export them first (saltreach book export)",
    EVENTS: "events of a book are only added to, by saltreach: hand in a return, or take one back "
    "(saltreach book take-back)",
}
"""What is said to a program that changes a table of a book."""
CHANGEABLE = """
WITH RECURSIVE chain(event_id, anchor_id, replaces) AS (
    SELECT event_id, anchor_id, replaces FROM {events} WHERE event_id {among}
    UNION SELECT e.event_id, e.anchor_id, e.replaces FROM {events} e
    JOIN chain c ON e.event_id = c.replaces)
SELECT DISTINCT anchor_id FROM chain
"""
"""SQL: anchors that events can change: their own, and those of what they replace, step by step."""
DECIDING = """
WITH RECURSIVE about(event_id) AS (
    SELECT event_id FROM {events} WHERE anchor_id {among}
    UNION SELECT e.event_id FROM {events} e JOIN about a ON e.replaces = a.event_id
    WHERE e.replaces <> '')
SELECT {columns} FROM {events} WHERE event_id IN (SELECT event_id FROM about) ORDER BY seq
"""
"""SQL: all that decides the state of anchors: their events, and what replaces them, in order."""
ENDS = """
SELECT (SELECT count(*) FROM {events}),
    coalesce((SELECT event_id FROM {events} ORDER BY seq DESC LIMIT 1), ''),
    (SELECT count(*) FROM {anchors})
"""
"""SQL: how many events there are, the key of the last one, and how many anchors."""


def unguarded(gone: Sequence[str]) -> list[str]:
    """The sentence for guards that are gone."""
    return [f"what guards the book is gone: {', '.join(gone)}"] if gone else []


class Writer(Protocol):
    """What is written within one transaction."""

    def add(self, events: pd.DataFrame) -> list[str]:
        """Write events that are not there yet, in order; their keys."""

    def touched(self, event_ids: Sequence[str]) -> list[str]:
        """Anchors whose state these events can change: their own, and of what they replace."""

    def events_about(self, anchors: Sequence[str] | None) -> pd.DataFrame:
        """All that decides the state of anchors, None of all: their events, what replaces them."""

    def about(self) -> dict[str, str]:
        """What the book says of itself."""

    def set_about(self, **values: str) -> None:
        """Change what the book says of itself."""

    def refuse_changed(self) -> None:
        """Raise where events or anchors are more or fewer than were written."""

    def guard(self) -> None:
        """Put back what refuses changes by other programs, where it is gone."""

    def replace(
        self, state: pd.DataFrame, keys: pd.Series, anchors: Sequence[str] | None, own: list[str]
    ) -> None:
        """Write the state of anchors in place of what the layer has of them.

        Parameters
        ----------
        state : DataFrame
            Rows of those in place.
        keys : Series of int
            Anchor -> its place in the layer.
        anchors : sequence of str or None
            Whose rows are replaced; None means all.
        own : list of str
            Every column of the user's own that the book ever heard of, in order.
        """


class Store(Protocol):
    """Where a book is kept."""

    @property
    def name(self) -> str:
        """What the book is called in messages and provenance, without any password."""

    @property
    def title(self) -> str:
        """What the book is called on a map."""

    @property
    def format(self) -> str:
        """What it is, for provenance."""

    def about(self) -> dict[str, str]:
        """What the book says of itself."""

    def events(self) -> tuple[pd.DataFrame, dict[str, str]]:
        """All events in the order of entry, and what the book said of itself then."""

    def verify(self) -> None:
        """Raise where the layer of anchors is not what was written last."""

    def anchors(self) -> pd.DataFrame:
        """The register as it stands, from the layer of anchors, own columns in any order."""

    def writing(self) -> AbstractContextManager[Writer]:
        """One transaction, which no other writer can enter: all inside is written, or nothing."""

    def faults(self) -> list[str]:
        """What is wrong with the place itself: damage, guards that are gone, points astray."""
