"""Rows of a register as events: what is entered when a book is started or another one joins it."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd

from saltreach.errors import RecordError
from saltreach.intake.formats import cell_text
from saltreach.intake.names import keys_of
from saltreach.intake.parts import in_parts
from saltreach.intake.read import Register
from saltreach.records.events import KEY, Event, canonical
from saltreach.records.state import is_extra
from saltreach.vocabulary.columns import REGISTER_BY_NAME, REJECTED_COLUMNS
from saltreach.vocabulary.words import ENTERED, UNKNOWN

_OF_THE_READING = ["geometry", "source_row"]


def entered(register: Register, *, who: str, on: dt.date) -> list[Event]:
    """One event per good row of a register, which states every cell that is known.

    Parameters
    ----------
    register : Register
        What was read.
    who : str
        Who enters it.
    on : date
        The day.

    Raises
    ------
    RecordError
        Nobody is named.
    """
    if not who.strip():
        raise RecordError("nobody is named: say who enters the register (--who NAME)")
    return [
        Event(
            anchor, ENTERED, on.isoformat(), who.strip(), says,
            source_file=register.file, source_sha256=register.sha256,
        )
        for anchor, says in zip(register.anchors[KEY], said_by(register.anchors), strict=True)
    ]  # fmt: skip


def said_by(anchors: pd.DataFrame) -> list[dict[str, Any]]:
    """What each row says, but for its key: every cell that is known."""
    table = pd.DataFrame(anchors).drop(columns=_OF_THE_READING, errors="ignore")
    known = table.notna() & (table != UNKNOWN)
    said: list[dict[str, Any]] = [{} for _ in range(len(table))]
    for name in table.columns.drop(KEY):
        cells = table[name].to_numpy(object)
        for at in np.flatnonzero(known[name].to_numpy(bool)):
            said[at][name] = cells[at] if name in REGISTER_BY_NAME else cell_text(cells[at])
    return said


@dataclass(frozen=True)
class Joining:
    """What of a register can join a book.

    Attributes
    ----------
    events : list of Event
        One per anchor that the book does not know.
    known : int
        Rows that say of an anchor what the book says.
    rejected : DataFrame
        Rows whose anchor is another in the book, with the fix.
    """

    events: list[Event]
    known: int
    rejected: pd.DataFrame


def joining(
    register: Register, anchors: pd.DataFrame, heard_of: pd.Series, *, who: str, on: dt.date
) -> Joining:
    """Anchors of a second register that can join a book.

    Parameters
    ----------
    register : Register
        The second register.
    anchors : DataFrame
        Those in place in the book.
    heard_of : Series of str
        Every `anchor_id` that an event of the book names.
    who, on : str, date
        Who enters them, and the day.

    Returns
    -------
    Joining
        An `anchor_id` that the book knows, in whatever capital letters, is refused unless all
        cells are the same.
    """
    events = entered(register, who=who, on=on)
    keys = keys_of(pd.Series([event.anchor_id for event in events], dtype="str"))
    taken = keys.isin(set(keys_of(heard_of.drop_duplicates())))
    there = pd.DataFrame(anchors)[anchors[KEY].isin(register.anchors[KEY])]
    present = dict(zip(there[KEY], said_by(there), strict=True))
    known, refused = 0, []
    for at in np.flatnonzero(taken.to_numpy(bool)):
        event = events[at]
        same = event.anchor_id in present and canonical(present[event.anchor_id]) == canonical(
            {n: v for n, v in event.says.items() if n in REGISTER_BY_NAME or is_extra(n)}
        )
        known += same
        if not same:
            refused.append(at)
    rejected = pd.DataFrame(
        {
            "file": register.file,
            "row": register.anchors["source_row"].to_numpy()[refused],
            "column": KEY,
            "value": [events[at].anchor_id for at in refused],
            "reason": [
                "the book has an anchor of that key, which is another or says something else"
                if events[at].anchor_id in present
                else "the book had an anchor of that key"
                for at in refused
            ],
            "fix": "give it a key of its own, for example with the region's letter before it; what "
            "changed of an anchor of the book is handed in as a return",
        },
        columns=list(REJECTED_COLUMNS),
    )
    free = np.flatnonzero(~taken.to_numpy(bool))
    return Joining([events[at] for at in free], known, in_parts(rejected, register.parts))
