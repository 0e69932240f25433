"""The book of a region: every event of its anchors, and the register that they add up to."""

from __future__ import annotations

import datetime as dt
import json
from collections.abc import Iterable
from contextlib import AbstractContextManager
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pandas as pd

from saltreach.errors import RecordError
from saltreach.intake.book_layer import FORMAT, cells_checksum, is_book_file
from saltreach.intake.gis import from_frame
from saltreach.intake.read import Register
from saltreach.records.address import Address, address_of
from saltreach.records.book_gpkg import GeoPackageBook, new_file
from saltreach.records.entering import entered
from saltreach.records.events import Event, frame_of
from saltreach.records.postgis_trouble import require_libraries
from saltreach.records.seals import OF_THE_LAYER, refuse_events, untouched
from saltreach.records.state import own_columns, state_of
from saltreach.records.store import Store, Writer
from saltreach.vocabulary.columns import REGISTER_BY_NAME

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

    def __init__(self, store: Store) -> None:
        self._store = store

    @property
    def name(self) -> str:
        """What the book is called, without any password."""
        return self._store.name

    @property
    def title(self) -> str:
        """What it is called on a map."""
        return self._store.title

    @property
    def format(self) -> str:
        """What it is kept in, in words."""
        return self._store.format

    def events(self, *, known_on: dt.datetime | None = None) -> pd.DataFrame:
        """All events in the order of entry (`records.events.COLUMNS`).

        Parameters
        ----------
        known_on : datetime, optional
            Without what was entered later; without time zone it is UTC.

        Raises
        ------
        RecordError
            They are not all there, or not as they were written.
        """
        events, about = self._store.events()
        refuse_events(self.name, about, events)
        if known_on is None:
            return events
        return events[events["entered_at"] <= utc(known_on)].reset_index(drop=True)

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
        import geopandas as gpd

        if on is None and known_on is None:
            self.verify()
            table = self._store.anchors()
        else:
            table = state_of(self.events(known_on=known_on), on=on)
        table = table[[*REGISTER_BY_NAME, *(n for n in self._own() if n in table)]]
        points = gpd.points_from_xy(table["lon"], table["lat"])
        return gpd.GeoDataFrame(table, geometry=points, crs="EPSG:4326")

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
        frame = frame_of(events, entered_at=utc(now))
        if not len(frame):
            return Appended(0, 0)
        with self._store.writing() as writer:
            writer.refuse_changed()
            new = writer.add(frame)
            if new:
                _follow(writer, new, frame[frame["event_id"].isin(new)])
        return Appended(len(new), len(frame) - len(new))

    def verify(self) -> None:
        """Raise where the layer of anchors is not what was written last.

        Raises
        ------
        RecordError
            With the fix.
        """
        self._store.verify()

    def events_as_they_are(self) -> pd.DataFrame:
        """All events of the table, whether or not another program changed them."""
        return self._store.events()[0]

    def sealed(self) -> bool:
        """Whether all events are as they were written, by their digest."""
        events, about = self._store.events()
        return untouched(about, events)

    def derived(self) -> pd.DataFrame:
        """The register worked out from all events anew, own columns in the book's order."""
        table = state_of(self.events_as_they_are())
        return table[[*REGISTER_BY_NAME, *(n for n in self._own() if n in table)]]

    def layer(self) -> pd.DataFrame:
        """The layer of anchors as it is, with whatever columns it has."""
        return self._store.anchors()

    def faults(self) -> list[str]:
        """What is wrong with the place where the book is kept."""
        return self._store.faults()

    def about(self) -> dict[str, str]:
        """What the book says of itself: format, start, number of events, own columns."""
        return self._store.about()

    def rebuild(self) -> None:
        """Write the layer of anchors anew from all events, and the guards with it."""
        with self._store.writing() as writer:
            writer.guard()
            events = writer.events_about(None)
            writer.replace(state_of(events), _places(events), None, _own_of(writer.about()))

    def _own(self) -> list[str]:
        return _own_of(self.about())

    @property
    def checksum(self) -> str:
        """SHA-256 of the cells of the present register, whatever the file's bytes are."""
        return cells_checksum(from_frame(self.anchors(), "book"))


def _own_of(about: dict[str, str]) -> list[str]:
    return list(json.loads(about["own_columns"]))


def _places(events: pd.DataFrame) -> pd.Series:
    """The place of each anchor in the layer: when it was first heard of."""
    return events.groupby("anchor_id")["seq"].min()


def _follow(writer: Writer, new: list[str], events: pd.DataFrame) -> None:
    """Have the layer of anchors follow from events that were just written."""
    about = writer.about()
    own = _own_of(about)
    heard = [name for name in own_columns(events) if name not in own]
    if heard:
        own += heard
        _refuse_alike(own)
    writer.set_about(
        own_columns=json.dumps(own, ensure_ascii=False),
        events=str(int(about["events"]) + len(new)),
    )
    touched = writer.touched(new)
    deciding = writer.events_about(touched)
    state = state_of(deciding)
    state = state[state["anchor_id"].isin(touched)]
    writer.replace(state, _places(deciding), touched, own)


def _refuse_alike(own: list[str]) -> None:
    """Raise where two columns differ in capital letters alone, which no GeoPackage tells apart."""
    seen = {name.casefold(): name for name in (*REGISTER_BY_NAME, *OF_THE_LAYER)}
    for name in own:
        other = seen.setdefault(name.casefold(), name)
        if other != name or name in OF_THE_LAYER:
            raise RecordError(
                f"an event states a column {name!r}, and the book has {other!r}: no table can "
                "hold both; give it another name"
            )


def utc(time: dt.datetime) -> str:
    """A time as the book writes it: ISO in UTC; without time zone it is UTC already.

    Examples
    --------
    >>> utc(dt.datetime(2026, 3, 2, 9, 30))
    '2026-03-02T09:30:00.000Z'
    """
    if time.tzinfo is not None:
        time = time.astimezone(dt.UTC).replace(tzinfo=None)
    return time.isoformat(timespec="milliseconds") + "Z"


def is_book(address: str | Path | Address) -> bool:
    """Whether a path or an address is that of a book; every address of a database is one."""
    return address_of(address) is not None or is_book_file(Path(str(address)))


def _postgis() -> Any:
    """What keeps books in databases; its libraries are an extra."""
    require_libraries()
    from saltreach.records import book_postgis

    return book_postgis


def _new(place: Path | Address) -> AbstractContextManager[Writer]:
    return new_file(place) if isinstance(place, Path) else _postgis().new_schema(place)


def open_book(address: str | Path | Address) -> Book:
    """Open a book.

    Parameters
    ----------
    address : str or Path
        A GeoPackage that `start_book` wrote, or postgresql://user@host/database?schema=name.

    Raises
    ------
    RecordError
        There is no book, it cannot be read, or a later version wrote it.
    """
    database = address_of(address)
    store: Store
    if database is None:
        store = GeoPackageBook(Path(str(address)))
    else:
        store = _postgis().PostgisBook(database)
    version = store.about().get("format", "")
    if version != str(FORMAT):
        raise RecordError(
            f"{store.name}: a book of format {version or 'unknown'}, and this saltreach knows "
            f"{FORMAT}; install a newer saltreach"
        )
    return Book(store)


def start_book(
    address: str | Path | Address, register: Register, *, who: str, now: dt.datetime
) -> Book:
    """Start a book with the anchors of a register.

    Parameters
    ----------
    address : str or Path
        A new GeoPackage, or a database with a schema in which there is no book; nothing is
        overwritten.
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
    frame = frame_of(entered(register, who=who, on=now.date()), entered_at=utc(now))
    named = own_columns(frame)
    own = [name for name in register.anchors if name in named]
    _refuse_alike(own)
    database = address_of(address)
    with _new(database or Path(str(address))) as writer:
        writer.set_about(
            format=str(FORMAT),
            started_at=utc(now),
            events=str(len(frame)),
            own_columns=json.dumps(own, ensure_ascii=False),
        )
        writer.add(frame)
        writer.replace(state_of(frame), _places(frame), None, own)
    return open_book(address)
