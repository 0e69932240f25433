"""The book of a region: every event of its anchors, and the register that they add up to."""

from __future__ import annotations

import datetime as dt
import json
from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd

from saltreach.errors import RecordError
from saltreach.intake.book_layer import FORMAT, cells_checksum, is_book_file
from saltreach.intake.gis import from_frame
from saltreach.intake.read import Register
from saltreach.records.book_gpkg import GeoPackageBook, new_file
from saltreach.records.events import Event, frame_of
from saltreach.records.state import own_columns, state_of
from saltreach.vocabulary.columns import REGISTER_BY_NAME
from saltreach.vocabulary.words import ENTERED, UNKNOWN

if TYPE_CHECKING:
    import geopandas as gpd


@dataclass(frozen=True)
class Appended:
    """What became of events that were handed to a book.

    Attributes
    ----------
    new : int
        Events that were written.
    known : int
        Events that the book held already.
    """

    new: int
    known: int


class Book:
    """A register that lives: events are added, and the anchors follow from them."""

    def __init__(self, store: GeoPackageBook) -> None:
        self._store = store

    @property
    def name(self) -> str:
        """What the book is called, without any password."""
        return self._store.name

    def events(self, *, known_on: dt.datetime | None = None) -> pd.DataFrame:
        """All events in the order of entry (`records.events.COLUMNS`).

        Parameters
        ----------
        known_on : datetime, optional
            Without what was entered later; without time zone it is UTC.
        """
        events = self._store.events()
        if known_on is None:
            return events
        return events[events["entered_at"] <= _utc(known_on)].reset_index(drop=True)

    def anchors(
        self, *, on: dt.date | None = None, known_on: dt.datetime | None = None
    ) -> gpd.GeoDataFrame:
        """The register: as it stands, as it stood on a day, or as it was known at a time.

        Parameters
        ----------
        on : date, optional
            Without what happened after that day, as it is known now.
        known_on : datetime, optional
            Without what was entered later; without time zone it is UTC.

        Returns
        -------
        GeoDataFrame
            Columns of the register and the user's own, points in EPSG:4326.
        """
        if on is None and known_on is None:
            return _placed(self._store.anchors())
        return _placed(state_of(self.events(known_on=known_on), on=on))

    def append(self, events: Iterable[Event], *, now: dt.datetime) -> Appended:
        """Write events into the book, all or none; one that is known is not written twice.

        Parameters
        ----------
        events : iterable of Event
            In the order in which they happened.
        now : datetime
            When they are entered; without time zone it is UTC.

        Raises
        ------
        RecordError
            The book cannot be written to; it is as it was.
        """
        frame = frame_of(events, entered_at=_utc(now))
        if not len(frame):
            return Appended(0, 0)
        with self._store.writing() as writer:
            new = writer.add(frame)
            if new:
                _follow(writer, new, frame[frame["event_id"].isin(new)])
        return Appended(len(new), len(frame) - len(new))

    @property
    def checksum(self) -> str:
        """SHA-256 of the cells of the present register, whatever the file's bytes are."""
        return cells_checksum(from_frame(self.anchors(), "book"))


def _follow(writer: Any, new: list[str], events: pd.DataFrame) -> None:
    """Have the layer of anchors follow from events that were just written."""
    own = json.loads(writer.about()["own_columns"])
    heard = [name for name in own_columns(events) if name not in own]
    if heard:
        own += heard
        _refuse_alike(own)
        writer.set_about(own_columns=json.dumps(own, ensure_ascii=False))
    touched = writer.touched(new)
    about = writer.events_about(touched)
    state = state_of(about)
    state = state[state["anchor_id"].isin(touched)]
    writer.replace(state, about.groupby("anchor_id")["seq"].min(), touched, own)


def _refuse_alike(own: list[str]) -> None:
    """Raise where two columns differ in capital letters alone, which no database tells apart."""
    seen = {name.casefold(): name for name in (*REGISTER_BY_NAME, "fid", "geom", "geometry")}
    for name in own:
        other = seen.setdefault(name.casefold(), name)
        if other != name:
            raise RecordError(
                f"an event states a column {name!r}, and the book has {other!r}: no table can "
                "hold both; give it another name"
            )
        if name in REGISTER_BY_NAME or name in ("fid", "geom", "geometry"):
            raise RecordError(f"an event states a column {name!r}, which is the book's own")


def _utc(time: dt.datetime) -> str:
    """A time as the book writes it."""
    if time.tzinfo is not None:
        time = time.astimezone(dt.UTC).replace(tzinfo=None)
    return time.isoformat(timespec="milliseconds") + "Z"


def _placed(table: pd.DataFrame) -> gpd.GeoDataFrame:
    import geopandas as gpd

    points = gpd.points_from_xy(table["lon"], table["lat"])
    return gpd.GeoDataFrame(table, geometry=points, crs="EPSG:4326")


def is_book(address: str | Path) -> bool:
    """Whether a path or an address is that of a book."""
    return is_book_file(Path(address))


def open_book(address: str | Path) -> Book:
    """Open a book.

    Parameters
    ----------
    address : str or Path
        A GeoPackage that `start_book` wrote.

    Raises
    ------
    RecordError
        There is no book, or it cannot be read.
    """
    return Book(GeoPackageBook(Path(address)))


def start_book(
    address: str | Path, register: Register, *, who: str, now: dt.datetime
) -> Book:  # fmt: skip
    """Start a book with the anchors of a register.

    Parameters
    ----------
    address : str or Path
        A new GeoPackage; nothing is overwritten.
    register : Register
        Its good rows are entered; refused ones are not in the book.
    who : str
        Who enters them.
    now : datetime
        When; without time zone it is UTC.

    Raises
    ------
    RecordError, OutputError
        Nobody is named, or the book cannot be written.
    """
    path = Path(address)
    events = frame_of(entered(register, who=who, on=now.date()), entered_at=_utc(now))
    own = own_columns(events)
    _refuse_alike(own)
    with new_file(path) as writer:
        writer.set_about(
            format=str(FORMAT),
            started_at=_utc(now),
            own_columns=json.dumps(own, ensure_ascii=False),
        )
        writer.add(events)
        keys = pd.Series(events["seq"].to_numpy(), index=events["anchor_id"])
        writer.replace(state_of(events), keys, None, own)
    return open_book(path)


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
    """
    if not who.strip():
        raise RecordError("nobody is named: say who enters the register (--who NAME)")
    table = pd.DataFrame(register.anchors).drop(columns=["geometry", "source_row"], errors="ignore")
    known = table.notna() & (table != UNKNOWN)
    said: list[dict[str, Any]] = [{} for _ in range(len(table))]
    for name in table:
        text = name not in REGISTER_BY_NAME
        cells = table[name].to_numpy(object)
        for at in np.flatnonzero(known[name].to_numpy(bool)):
            said[at][name] = _text(cells[at]) if text else cells[at]
    return [
        Event(
            anchor, ENTERED, on.isoformat(), who.strip(), says,
            source_file=register.file, source_sha256=register.sha256,
        )
        for anchor, says in zip(table["anchor_id"], said, strict=True)
    ]  # fmt: skip


def _text(value: Any) -> Any:
    from saltreach.intake.formats import cell_text

    return cell_text(value)
