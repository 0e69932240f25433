"""What a book holds, as the reader of returns asks it."""

from __future__ import annotations

import json
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from functools import cached_property
from typing import Any

import numpy as np
import pandas as pd

from saltreach.intake.names import name_key
from saltreach.records.events import COLUMNS, Event, frame_of
from saltreach.records.state import live
from saltreach.vocabulary.columns import REQUIRED
from saltreach.vocabulary.words import (
    ENTERED,
    LOOKED_AT,
    PLACED,
    PULLED,
    REMOVED,
    REPLACED,
    TAKEN_BACK,
)

_CONTENT = COLUMNS[1:7]
Content = tuple[str, str, str, str, str, str]
"""Anchor, kind, day, who, what it says, record: what makes two events one fact."""


def content(event: Event) -> Content:
    """What an event is, whatever it replaces and whatever file it came in."""
    return (
        event.anchor_id, event.kind, event.happened_on, event.who, event.says_json,
        event.record_id,
    )  # fmt: skip


@dataclass(frozen=True)
class View:
    """Events of a book and its anchors in place, indexed.

    Attributes
    ----------
    events : DataFrame
        All events (`records.events.COLUMNS`).
    anchors : DataFrame
        The present register.
    """

    events: pd.DataFrame
    anchors: pd.DataFrame

    @cached_property
    def alive(self) -> np.ndarray:
        """Which events count."""
        return live(self.events)

    @cached_property
    def in_place(self) -> Mapping[str, Mapping[str, Any]]:
        """Rows of the register by anchor."""
        names = [*REQUIRED, "grade"]
        rows = pd.DataFrame(self.anchors)[names].to_dict("records")
        return {row["anchor_id"]: row for row in rows}

    @cached_property
    def known(self) -> Mapping[str, str]:
        """Every anchor that was ever in the book, by what names are compared by."""
        return {name_key(name): name for name in self.events["anchor_id"].unique()}

    @cached_property
    def contents(self) -> frozenset[Content]:
        """What all events say, those taken back among them."""
        names = list(_CONTENT)
        return frozenset(self.events[names].itertuples(index=False, name=None))

    @cached_property
    def records(self) -> Mapping[str, list[dict[str, Any]]]:
        """Live events of each record of a return."""
        table = self.events[self.alive & (self.events["record_id"] != "").to_numpy(bool)]
        found: dict[str, list[dict[str, Any]]] = {}
        for row in table.to_dict("records"):
            found.setdefault(str(row["record_id"]), []).append({str(k): v for k, v in row.items()})
        return found

    @cached_property
    def replaced(self) -> Mapping[str, str]:
        """Records that another record replaced, and who wrote that one."""
        ids = self.events["event_id"]
        about = dict(zip(ids, self.events["record_id"], strict=True))
        ended = self.events.loc[~self.alive, "event_id"]
        table = self.events[self.events["replaces"].isin(ended)]
        table = table[table["kind"] != TAKEN_BACK]
        found = {
            about.get(row.replaces, ""): f"record {row.record_id} of {row.who}"
            for row in table.itertuples()
            if row.record_id and about.get(row.replaces, "") != row.record_id
        }
        return {key: said for key, said in found.items() if key}

    @cached_property
    def loose(self) -> Mapping[tuple[str, str, str, str], list[dict[str, Any]]]:
        """Live events without a record, by anchor, kind, day and who."""
        table = self.events[self.alive & (self.events["record_id"] == "").to_numpy(bool)]
        table = table[~table["kind"].isin([ENTERED, TAKEN_BACK])]
        found: dict[tuple[str, str, str, str], list[dict[str, Any]]] = {}
        for row in table.to_dict("records"):
            key = (row["anchor_id"], row["kind"], row["happened_on"], row["who"])
            found.setdefault(key, []).append({str(k): v for k, v in row.items()})
        return found

    @cached_property
    def gone(self) -> Mapping[str, tuple[str, str]]:
        """Anchors that are no longer in place: when that happened, and who says so."""
        table = self.events[self.alive & self.events["kind"].isin([REMOVED, PULLED]).to_numpy(bool)]
        last = table.sort_values(["happened_on", "seq"]).groupby("anchor_id").last()
        return {
            str(anchor): (row["happened_on"], row["who"])
            for anchor, row in last.to_dict("index").items()
            if anchor not in self.in_place
        }

    @cached_property
    def first_day(self) -> Mapping[str, str]:
        """Day, month or year from which an anchor is known to have been in place, where it is."""
        first: dict[str, str] = {}
        kinds = [ENTERED, PLACED, REPLACED]
        table = self.events[self.alive & self.events["kind"].isin(kinds).to_numpy(bool)]
        for row in table.sort_values("happened_on", kind="stable").itertuples():
            if row.kind == ENTERED:
                day = json.loads(row.says).get("installed_on") or ""
            else:
                day = row.happened_on if row.kind == PLACED else ""
            first.setdefault(row.anchor_id, day)
            first[row.anchor_id] = min(first[row.anchor_id], day)
        return first

    @cached_property
    def by_day(self) -> Mapping[tuple[str, str], list[tuple[str, str]]]:
        """Kinds of the looks and placings of an anchor on a day, and who says so."""
        kinds = self.events["kind"].isin([LOOKED_AT, PLACED, REPLACED]).to_numpy(bool)
        found: dict[tuple[str, str], list[tuple[str, str]]] = {}
        for row in self.events[self.alive & kinds].itertuples():
            found.setdefault((row.anchor_id, row.happened_on), []).append((row.kind, row.who))
        return found

    def with_more(self, events: Iterable[Event]) -> View:
        """The same with more events, of which the anchors do not follow yet."""
        first = int(self.events["seq"].max()) + 1 if len(self.events) else 1
        more = frame_of(events, first_seq=first)
        return View(pd.concat([self.events[list(COLUMNS)], more], ignore_index=True), self.anchors)
