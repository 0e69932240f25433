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
