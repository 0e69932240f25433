"""The life of a place by date: who, what, from which file, what was taken back and by whom."""

from __future__ import annotations

import datetime as dt
import json
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd

from saltreach.errors import RecordError
from saltreach.intake.dates import day_limits
from saltreach.intake.names import keys_of, name_key
from saltreach.intake.sheets import nearest
from saltreach.records.events import COLUMNS
from saltreach.records.state import live, state_of
from saltreach.records.taking_back import LEAST_DIGITS
from saltreach.vocabulary.columns import REGISTER
from saltreach.vocabulary.synonyms import plain
from saltreach.vocabulary.words import (
    CLOSED_EVENT,
    ENTERED,
    LOOKED_AT,
    NOT_REACHED,
    PHOTO,
    PLACED,
    REMOVED,
    REOPENED,
    REPLACED,
    TAKEN_BACK,
    UNKNOWN,
)

BATCHES = ("piece_batch", "adhesive_batch")
TOLD = ("anchor_id", "crag", "sector", "happened_on", "kind", "who", "says", "file", "ended_on",
        "ended_by", "ended_how", "corrects", "record")  # fmt: skip
"""Columns of a history."""
_DECIDING = (PLACED, REPLACED, REMOVED, CLOSED_EVENT, REOPENED)
_VISITS = (LOOKED_AT, PLACED, REPLACED, REMOVED, CLOSED_EVENT, REOPENED, NOT_REACHED)
_OF_FILES = ("sha256", "file")
PARTS = " / "


@dataclass(frozen=True)
class History:
    """What is known of a place.

    Attributes
    ----------
    place : str
        Anchor, sector or crag, as the book spells it.
    events : DataFrame
        `TOLD`, by day; `says` is a mapping, the `ended` columns say who took it back or replaced
        it. Of an entered row only what is known of the register.
    anchors : DataFrame
        The register of the place on that day.
    seen_by, seen_on : str
        Who was there last, and when; empty where nobody was.
    decided : DataFrame
        Rows of `events` that decided something: placed, replaced, removed, closed, reopened.
    on : date or None
        The day it speaks for.
    """

    place: str
    events: pd.DataFrame
    anchors: pd.DataFrame
    seen_by: str
    seen_on: str
    decided: pd.DataFrame
    on: dt.date | None


def history_of(
    events: pd.DataFrame, place: str = "", *, on: dt.date | None = None, batch: str = ""
) -> History:
    """The history of an anchor, a sector, a crag, or of every anchor with a batch.

    Parameters
    ----------
    events : DataFrame
        Of a book (`records.events.COLUMNS`).
    place : str
        Id of an anchor, `Crag / Sector`, or a crag; empty with `batch` means the whole book.
    on : date, optional
        Without what happened after that day.
    batch : str
        Only anchors of which a record names this batch of the piece or of the adhesive, pieces
        that were replaced since among them; case and blanks do not matter.

    Raises
    ------
    RecordError
        The book knows no such place or batch; the nearest are named.
    """
    events = events.sort_values("seq", kind="stable", ignore_index=True)
    where = _places(events)
    here = where if not place else _meant(where, place)
    if batch:
        here = here[here["anchor_id"].isin(_with_batch(events, batch))]
    elif not place:
        raise RecordError(
            "nothing is asked for: give an anchor, 'Crag / Sector', a crag or --batch"
        )
    about = events["anchor_id"].isin(here["anchor_id"])
    told = _told(events[about].reset_index(drop=True), on).merge(here, on="anchor_id", how="left")
    told = told[list(TOLD)]
    standing = told[told["ended_by"] == ""]
    visits = standing[standing["kind"].isin(_VISITS[:-1])]
    last = visits.iloc[-1] if len(visits) else None
    return History(
        place=_name(here, place, batch),
        events=told,
        anchors=state_of(events[about], on=on),
        seen_by="" if last is None else str(last["who"]),
        seen_on="" if last is None else str(last["happened_on"]),
        decided=standing[standing["kind"].isin(_DECIDING)].reset_index(drop=True),
        on=on,
    )


def _places(events: pd.DataFrame) -> pd.DataFrame:
    """Where each anchor is, or was: as events last said, the dead ones where no other does."""
    rows: dict[str, dict[str, Any]] = {}
    for row, counts in zip(events.itertuples(), live(events), strict=True):
        there = rows.setdefault(row.anchor_id, {"anchor_id": row.anchor_id})
        if '"crag"' in row.says or '"sector"' in row.says:
            said = json.loads(row.says)
            for name in ("crag", "sector"):
                if said.get(name) and (counts or not there.get(name)):
                    there[name] = said[name]
    table = pd.DataFrame(list(rows.values()), columns=["anchor_id", "crag", "sector"])
    return table.astype("str").fillna("")


def _meant(where: pd.DataFrame, place: str) -> pd.DataFrame:
    key = name_key(place)
    named = where[keys_of(where["anchor_id"]) == key]
    if len(named):
        return named
    both = keys_of(where["crag"] + PARTS + where["sector"]) == name_key(_spaced(place))
    if both.any():
        return where[both]
    crag = keys_of(where["crag"]) == key
    if crag.any():
        return where[crag]
    names = [*where["anchor_id"], *where["crag"], *(where["crag"] + PARTS + where["sector"])]
    raise RecordError(
        f"the book knows no anchor, crag or sector {place!r}; write an anchor_id, a crag or "
        f"'Crag / Sector'{nearest(place, {plain(name): name for name in names})}"
    )


def _spaced(place: str) -> str:
    """A crag and a sector with the blanks that stand around the bar here."""
    crag, bar, sector = place.partition("/")
    return f"{crag.strip()}{PARTS}{sector.strip()}" if bar else place


def _with_batch(events: pd.DataFrame, batch: str) -> set[str]:
    """Anchors of which an event that counts names a batch."""
    key = "".join(batch.split()).casefold()
    found, known = set(), {}
    named = events["says"].str.contains("_batch", regex=False) & live(events)
    for row in events[named].itertuples():
        said = json.loads(row.says)
        for name in BATCHES:
            text = str(said.get(name) or "")
            known[plain(text)] = text
            if "".join(text.split()).casefold() == key:
                found.add(row.anchor_id)
    if not found:
        raise RecordError(
            f"no record names a batch {batch!r}{nearest(batch, known)}; the batch of an anchor is "
            "known where its placing says it"
        )
    return found


def _name(here: pd.DataFrame, place: str, batch: str) -> str:
    if batch:
        return f"batch {batch}" + (f", {place}" if place else "")
    if len(here) == 1 and name_key(here["anchor_id"].iloc[0]) == name_key(place):
        row = here.iloc[0]
        return f"{row['anchor_id']} ({row['crag']}{PARTS}{row['sector']})"
    row = here.iloc[0]
    return f"{row['crag']}{PARTS}{row['sector']}" if "/" in place else str(row["crag"])


def _told(events: pd.DataFrame, on: dt.date | None) -> pd.DataFrame:
    """Events by day, each with what ended it."""
    counts = live(events)
    days, _ = day_limits(events["happened_on"])
    within = np.ones(len(events), dtype=bool) if on is None else days <= np.datetime64(on)
    ended = {
        row.replaces: row
        for row, alive, seen in zip(events.itertuples(), counts, within, strict=True)
        if row.replaces and alive and seen
    }
    rows = []
    entered = (events["kind"] == ENTERED).to_numpy(bool)
    order = np.lexsort((events["seq"], np.where(entered, days.min(), days), ~entered))
    about = dict(zip(events["event_id"], events["kind"], strict=True))
    for row in events.iloc[order[within[order]]].itertuples():
        end = ended.get(row.event_id)
        says: Mapping[str, Any] = json.loads(row.says)
        if row.kind == TAKEN_BACK:
            says = {"taken_back": about.get(row.replaces, UNKNOWN)}
        rows.append(
            {
                "anchor_id": row.anchor_id, "happened_on": row.happened_on, "kind": row.kind,
                "who": row.who, "says": dict(says), "file": row.source_file,
                "ended_on": "" if end is None else end.happened_on,
                "ended_by": "" if end is None else end.who,
                "ended_how": "" if end is None else _how(end.kind),
                "record": key_of(row),
                "corrects": about.get(row.replaces, "") if row.kind != TAKEN_BACK else "",
            }
        )  # fmt: skip
    names = [name for name in TOLD if name not in ("crag", "sector")]
    return pd.DataFrame(rows, columns=names, dtype=object)


def _how(kind: str) -> str:
    return TAKEN_BACK if kind == TAKEN_BACK else "replaced by another record"


def last_events(events: pd.DataFrame, most: int = 5) -> pd.DataFrame:
    """The last events of every anchor that count, for cards: not where a register was entered.

    Parameters
    ----------
    events : DataFrame
        Of a book.
    most : int
        As many of one anchor.

    Returns
    -------
    DataFrame
        anchor_id, happened_on, kind, who, said (a sentence's worth of what it states), the last
        first.
    """
    names = ["anchor_id", "happened_on", "kind", "who", "said"]
    kinds = ~events["kind"].isin([ENTERED, TAKEN_BACK, PHOTO])
    table = events.loc[live(events) & kinds.to_numpy(bool), list(COLUMNS)]
    days, _ = day_limits(table["happened_on"])
    order = np.lexsort((table["seq"], days))[::-1]
    table = table.iloc[order]
    table = table[table.groupby("anchor_id").cumcount() < most]
    said = [said_of(json.loads(text)) for text in table["says"]]
    return table.assign(said=said)[names].astype("str").reset_index(drop=True)


def said_of(says: Mapping[str, Any], most: int = 6) -> str:
    """What an event states, in a line.

    Examples
    --------
    >>> said_of({"condition": 2, "findings": "loose"}), said_of({"grade": None})
    ('condition 2, findings loose', 'grade unknown')
    """
    says = {name: value for name, value in says.items() if name not in _OF_FILES}
    told = [f"{name} {_said(name, value)}" for name, value in says.items()]
    more = f" and {len(told) - most} more" if len(told) > most else ""
    return ", ".join(told[:most]) + more


def _said(name: str, value: Any) -> str:
    if value is None or (name == "findings" and value == ""):
        return "none" if name == "findings" else UNKNOWN
    return _text(value)


def key_of(event: Any) -> str:
    """What an event is taken back by: the key of its record, else the start of its own.

    A row without a key of its own has one that follows from what it says, and does not change.
    """
    return str(event.record_id) or str(event.event_id)[:LEAST_DIGITS]


def _text(value: Any) -> str:
    return "; ".join(map(str, value)) if isinstance(value, list) else str(value)


def known_of(anchors: pd.DataFrame) -> dict[str, str]:
    """What the register says of one anchor, by column, where it is known."""
    row = anchors.iloc[0]
    shown = {c.name: row[c.name] for c in REGISTER if c.name in anchors}
    return {
        name: f"{value:g}" if isinstance(value, float) else str(value)
        for name, value in shown.items()
        if pd.notna(value) and value != UNKNOWN
    }
