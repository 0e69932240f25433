"""Digests by which a book knows whether another program changed it: of events and of its layer."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Iterable, Sequence
from typing import Any

import pandas as pd

from saltreach.errors import RecordError
from saltreach.records.events import COLUMNS
from saltreach.vocabulary.columns import REGISTER_BY_NAME

EVENTS_SEAL, LAST_EVENT = "events_digest", "last_event"
LAYER_SEAL, LAYER_COUNT = "anchors_digest", "anchors"
"""Names under which the mark of a book keeps them; written with what they are of."""
OF_THE_LAYER = ("fid", "geom", "geometry")
"""Columns of the layer that are none of the register."""
_ROOM = 1 << 256
CHANGED = "the book was changed by another program"
_LAYER_FIX = (
    "run saltreach book check, which says what differs; with --mend it rebuilds the anchors from "
    "the events"
)
_EVENTS_FIX = "run saltreach book check, which says which, and take the book from your backup"


def chained(digest: str, rows: Iterable[Sequence[Any]]) -> str:
    """The digest of events in order: SHA-256 of the digest before it and all cells of the event.

    Parameters
    ----------
    digest : str
        Of all events before; empty where there are none.
    rows : iterable of sequence
        Values of `events.COLUMNS` in order.
    """
    for row in rows:
        text = "\x1f".join([digest, *map(str, row)])
        digest = hashlib.sha256(text.encode("utf-8", "surrogatepass")).hexdigest()
    return digest


def rows_of(events: pd.DataFrame) -> Iterable[Sequence[Any]]:
    """Events of a frame as `chained` takes them."""
    return zip(*(events[name].to_numpy(object) for name in COLUMNS), strict=True)


def summed(names: Sequence[str], rows: Iterable[Sequence[Any]]) -> int:
    """The digest of rows of the layer, in any order: the sum of SHA-256 of the known cells of each.

    Parameters
    ----------
    names : sequence of str
        Columns of the rows, in any order; a column without a value counts as not there.
    rows : iterable of sequence
        Their cells as the place of the book gives them.
    """
    order = sorted(range(len(names)), key=names.__getitem__)
    total = 0
    for row in rows:
        cells = [f"{names[at]}\x1f{row[at]!r}" for at in order if row[at] is not None]
        text = "\x1e".join(cells).encode("utf-8", "surrogatepass")
        total += int.from_bytes(hashlib.sha256(text).digest())
    return total % _ROOM


def moved(about: dict[str, str], out: int, into: int, rows: int) -> dict[str, str]:
    """What the mark says of the layer after rows were taken out of it and others put in.

    Parameters
    ----------
    about : dict
        The mark as it was.
    out, into : int
        `summed` over what was taken out and put in.
    rows : int
        How many rows the layer has now.
    """
    total = (int(about.get(LAYER_SEAL, "0"), 16) - out + into) % _ROOM
    return {LAYER_SEAL: f"{total:064x}", LAYER_COUNT: str(rows)}


def refuse_layer(name: str, about: dict[str, str], names: Sequence[str], total: int) -> None:
    """Raise where the layer of anchors is not what was written last.

    Raises
    ------
    RecordError
        With the fix.
    """
    known = {*REGISTER_BY_NAME, *json.loads(about.get("own_columns", "[]")), *OF_THE_LAYER}
    odd = set(names) - known or set(REGISTER_BY_NAME) - set(names)
    if odd or f"{total:064x}" != about.get(LAYER_SEAL):
        raise RecordError(
            f"{name}: {CHANGED}, its anchors are not what its events say: {_LAYER_FIX}"
        )


def refuse_ends(name: str, about: dict[str, str], count: int, last: str, rows: int) -> None:
    """Raise where events or anchors are more or fewer than were written, before more are added.

    Raises
    ------
    RecordError
        With the fix.
    """
    if str(count) != about.get("events") or last != about.get(LAST_EVENT, ""):
        raise RecordError(
            f"{name}: {CHANGED}, it holds {count} events and {about.get('events')} were written: "
            f"{_EVENTS_FIX}"
        )
    if str(rows) != about.get(LAYER_COUNT):
        raise RecordError(
            f"{name}: {CHANGED}, it holds {rows} anchors and {about.get(LAYER_COUNT)} were "
            f"written: {_LAYER_FIX}"
        )


def untouched(about: dict[str, str], events: pd.DataFrame) -> bool:
    """Whether all events are as they were written."""
    return chained("", rows_of(events)) == about.get(EVENTS_SEAL, "")


def refuse_events(name: str, about: dict[str, str], events: pd.DataFrame) -> None:
    """Raise where the events are not all there, or not as they were written.

    Raises
    ------
    RecordError
        Which is changed, where that can be told, and the fix.
    """
    if untouched(about, events):
        return
    due = int(about.get("events", "0"))
    if len(events) != due:
        said = f"it holds {len(events)} events and {due} were written"
    else:
        said = "its events are not what was written"
    raise RecordError(f"{name}: {CHANGED}, {said}: {_EVENTS_FIX}")
