"""A small invented region in a book: three anchors of one sector, and how events are written."""

import datetime as dt
from functools import cache

import pandas as pd

from saltreach import read_register
from saltreach.records.events import Event, frame_of
from saltreach.records.state import state_of

NOW = dt.datetime(2026, 3, 2, 9, 30)
ROW = {
    "crag": "Punta Gris", "sector": "Norte", "lon": -3.8, "lat": 43.5, "route": "La Espuma",
    "kind": "expansion", "material": "304", "diameter_mm": 10, "installed_on": "1998",
    "last_inspected_on": "2024-05", "condition": 1, "rock_type": "limestone", "owner": "club",
}  # fmt: skip
"""A row of the register as an event states it; `owner` is a column of the user's own."""


def entered(anchor_id: str = "A1", day: str = "2026-03-02", **more) -> Event:
    said = {**ROW, **more}
    return Event(anchor_id, "entered", day, "Ana", {k: v for k, v in said.items() if v is not None})


def state(*events: Event, on: str | None = None) -> pd.DataFrame:
    """State after events in that order of entry, by anchor."""
    day = None if on is None else dt.date.fromisoformat(on)
    return state_of(frame_of(events), on=day).set_index("anchor_id")


def cells(*events: Event, anchor: str = "A1", on: str | None = None) -> dict:
    """What is known of one anchor after events."""
    row = state(*events, on=on).loc[anchor]
    return {name: value for name, value in row.items() if pd.notna(value) and value != "unknown"}


def back(event: Event, day: str = "2026-12-01") -> Event:
    return Event(event.anchor_id, "taken back", day, "Ana", replaces=event.event_id)


@cache
def register(count: int = 3, **columns):
    """A register of so many anchors 10 m apart."""
    rows = [
        {**ROW, "anchor_id": f"A{i + 1}", "lat": round(43.5 + i * 1e-4, 6)} for i in range(count)
    ]
    return read_register(pd.DataFrame(rows).assign(**columns), today=NOW.date())
