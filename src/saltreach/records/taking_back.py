"""Taking back what a record said, or one event of it."""

from __future__ import annotations

import datetime as dt

import pandas as pd

from saltreach.errors import RecordError, brief
from saltreach.records.events import Event
from saltreach.records.state import live
from saltreach.vocabulary.words import TAKEN_BACK

LEAST_DIGITS = 8
"""Of a key that is given in part."""


def taking_back(events: pd.DataFrame, key: str, *, who: str, on: dt.date) -> list[Event]:
    """Events that take back those of a record, or one event.

    Parameters
    ----------
    events : DataFrame
        Of the book.
    key : str
        A `record_id`, or an `event_id` of which the first 8 figures are enough.
    who : str
        Who takes it back.
    on : date
        The day.

    Returns
    -------
    list of Event
        One for each event of it that counts.

    Raises
    ------
    RecordError
        Nobody is named, the book knows no such key or several, or all of it is taken back.
    """
    if not who.strip():
        raise RecordError("nobody is named: say who takes it back (--who NAME)")
    key = key.strip()
    meant = events[(events["record_id"] == key) & (key != "")]
    if meant.empty and len(key) >= LEAST_DIGITS:
        meant = events[events["event_id"].str.startswith(key)]
        if len(meant) > 1:
            raise RecordError(
                f"{brief(key, 40)!r} begins {len(meant)} events; give more of the key"
            )
    if meant.empty:
        raise RecordError(
            f"the book has no record and no event {brief(key, 40)!r}; its history lists them "
            "(saltreach history)"
        )
    alive = pd.Series(live(events), index=events.index)
    counting = meant[alive[meant.index]]
    if counting.empty:
        raise RecordError(f"{brief(key, 40)!r} is taken back or corrected already")
    return [
        _against(events, alive, row.event_id, row.anchor_id, who.strip(), on.isoformat())
        for row in counting.itertuples()
    ]


def _against(
    events: pd.DataFrame, alive: pd.Series, event_id: str, anchor_id: str, who: str, day: str
) -> Event:
    """An event that ends another that counts.

    Where the same was written before and was taken back itself, that taking back is ended: the
    same fact cannot be written twice.
    """
    event = Event(anchor_id, TAKEN_BACK, day, who, replaces=event_id)
    if not (events["event_id"] == event.event_id).any():
        return event
    by = events[(events["replaces"] == event.event_id) & alive].iloc[0]
    return _against(events, alive, by["event_id"], by["anchor_id"], who, day)
