"""A book in an OGC GeoPackage: anchors as a layer of points, events as a table beside it."""

from __future__ import annotations

import json
import os
import sqlite3
import tempfile
from collections.abc import Iterator, Sequence
from contextlib import closing, contextmanager, suppress
from pathlib import Path
from typing import Any

import pandas as pd

from saltreach.errors import OutputError, RecordError
from saltreach.folders.files import OWN_PREFIX, PART_SUFFIX, refuse_present, sync_folder
from saltreach.folders.trouble import told
from saltreach.intake.book_layer import ANCHORS, EVENTS, MARK, SQLITE_MAGIC, is_book_file
from saltreach.records.events import COLUMNS, frame_of_rows
from saltreach.records.facts import NUMBERS
from saltreach.records.gpkg_tables import (
    KEY,
    POINT,
    TRIGGERS,
    anchors_table,
    points_of,
    prepare,
    quoted,
)
from saltreach.records.gpkg_trouble import clear
from saltreach.records.seals import (
    EVENTS_SEAL,
    LAST_EVENT,
    chained,
    moved,
    refuse_ends,
    refuse_layer,
    summed,
)
from saltreach.records.store import CHANGEABLE, DECIDING, ENDS, unguarded
from saltreach.vocabulary.columns import REGISTER_BY_NAME

WAIT_S = 10.0
"""How long a book that another program writes to is waited for."""
_READ = f"SELECT {', '.join(COLUMNS)} FROM {EVENTS}"
_AMONG = "IN (SELECT value FROM json_each(?))"


class GeoPackageBook:
    """The store of a book that is one file."""

    format = "GeoPackage, a book"

    def __init__(self, path: Path) -> None:
        """Open a book.

        Raises
        ------
        RecordError
            There is no such file, or it is no book.
        """
        self.path = path
        self.name, self.title = path.name, path.stem
        if path.is_dir():
            raise RecordError(f"{path} is a folder; give the file of the book")
        if not path.is_file():
            raise RecordError(f"{path}: no such file; start a book with saltreach book start")
        try:
            with path.open("rb") as stream:
                head = stream.read(len(SQLITE_MAGIC))
        except OSError as error:
            raise RecordError(f"{path} cannot be read ({error.strerror})") from error
        if head != SQLITE_MAGIC:
            raise RecordError(
                f"{path}: no book (it is no GeoPackage); start one with saltreach book start"
            )
        if not is_book_file(path):
            with self._database() as database:  # says what is wrong, where something is
                database.execute("SELECT count(*) FROM sqlite_master").fetchone()
            raise RecordError(
                f"{path}: a GeoPackage, but no book; start one with saltreach book start"
            )

    @contextmanager
    def _database(self) -> Iterator[sqlite3.Connection]:
        # to be written to where that is allowed: what a killed run left is undone by the next
        with clear(self.path), closing(
            sqlite3.connect(
                f"{self.path.resolve().as_uri()}?mode=rw", uri=True, timeout=WAIT_S,
                isolation_level=None,
            )
        ) as database:  # fmt: skip
            yield database

    def about(self) -> dict[str, str]:
        """What the book says of itself."""
        with self._database() as database:
            return _about(database)

    def events(self) -> tuple[pd.DataFrame, dict[str, str]]:
        """All events in the order of entry, and what the book said of itself then."""
        with self._view() as database:
            return _events(database, f"{_READ} ORDER BY seq"), _about(database)

    @contextmanager
    def _view(self) -> Iterator[sqlite3.Connection]:
        """One view of the file, whatever others write meanwhile."""
        with self._database() as database:
            database.execute("BEGIN")
            yield database

    def verify(self) -> None:
        """Raise where the layer of anchors is not what was written last."""
        with self._view() as database:
            names, total = _sum(database)
            refuse_layer(self.name, _about(database), names, total)

    def anchors(self) -> pd.DataFrame:
        """The register as it stands, from the layer of anchors."""
        with self._database() as database:
            names = _columns(database)
            listed = ", ".join(map(quoted, names))
            rows = database.execute(f"SELECT {listed} FROM {ANCHORS} ORDER BY {KEY}").fetchall()
        columns = list(zip(*rows, strict=True)) if rows else [()] * len(names)
        return pd.DataFrame(
            {
                name: pd.Series(list(values), dtype=float if name in NUMBERS else "str")
                for name, values in zip(names, columns, strict=True)
            }
        )

    def faults(self) -> list[str]:
        """What is wrong with the file itself."""
        with self._database() as database:
            damage = [row[0] for row in database.execute("PRAGMA integrity_check(5)")]
            if damage != ["ok"]:
                return [f"the file is damaged: {said}" for said in damage]
            there = dict(
                database.execute("SELECT name, sql FROM sqlite_master WHERE type = 'trigger'")
            )
            gone = sorted(name for name, sql in TRIGGERS.items() if there.get(name) != sql)
            rows = database.execute(f"SELECT anchor_id, lon, lat, {POINT} FROM {ANCHORS}")
            table = pd.DataFrame(rows.fetchall(), columns=["anchor_id", "lon", "lat", POINT])
        expected = points_of(table)
        astray = [
            f"anchor {name}: its point is not where lon and lat say"
            for name, point, right in zip(table["anchor_id"], table[POINT], expected, strict=True)
            if point != right
        ]
        return unguarded(gone) + astray

    @contextmanager
    def writing(self) -> Iterator[GeoPackageWriter]:
        """One transaction: everything inside is written, or nothing."""
        with self._database() as database:
            database.execute("PRAGMA journal_mode = DELETE")
            database.execute("PRAGMA synchronous = FULL")
            database.execute("BEGIN IMMEDIATE")
            try:
                for name in TRIGGERS:
                    database.execute(f"DROP TRIGGER IF EXISTS {name}")
                yield GeoPackageWriter(database, self.name)
                for trigger in TRIGGERS.values():
                    database.execute(trigger)
                database.execute("COMMIT")
            except BaseException:
                with suppress(sqlite3.Error):
                    database.execute("ROLLBACK")
                raise


class GeoPackageWriter:
    """What is written to a book within one transaction."""

    def __init__(self, database: sqlite3.Connection, name: str) -> None:
        self.database, self.name = database, name

    def refuse_changed(self) -> None:
        """Raise where events or anchors are more or fewer than were written."""
        ends = self.database.execute(ENDS.format(events=EVENTS, anchors=ANCHORS)).fetchone()
        refuse_ends(self.name, self.about(), *ends)

    def add(self, events: pd.DataFrame) -> list[str]:
        """Write events that are not there yet; their keys."""
        names = [name for name in COLUMNS if name != "seq"]
        known = {
            row[0]
            for row in self.database.execute(
                f"SELECT event_id FROM {EVENTS} WHERE event_id IN (SELECT value FROM json_each(?))",
                (_json_list(events["event_id"]),),
            )
        }
        new = events[~events["event_id"].isin(known) & ~events["event_id"].duplicated()]
        last = self.database.execute(f"SELECT coalesce(max(seq), 0) FROM {EVENTS}").fetchone()
        self.database.executemany(
            f"INSERT INTO {EVENTS} ({', '.join(names)}) VALUES ({', '.join('?' * len(names))})",
            zip(*(new[name].to_numpy(object) for name in names), strict=True),
        )
        if len(new):
            written = self.database.execute(f"{_READ} WHERE seq > ? ORDER BY seq", last)
            digest = chained(self.about().get(EVENTS_SEAL, ""), written)
            self.set_about(**{EVENTS_SEAL: digest, LAST_EVENT: new["event_id"].iloc[-1]})
        return list(new["event_id"])

    def touched(self, event_ids: Sequence[str]) -> list[str]:
        """Anchors whose state these events can change."""
        query = CHANGEABLE.format(events=EVENTS, among=_AMONG)
        return [row[0] for row in self.database.execute(query, (_json_list(event_ids),))]

    def events_about(self, anchors: Sequence[str] | None) -> pd.DataFrame:
        """Events that decide the state of anchors; None means of all."""
        if anchors is None:
            return _events(self.database, f"{_READ} ORDER BY seq")
        query = DECIDING.format(events=EVENTS, among=_AMONG, columns=", ".join(COLUMNS))
        return _events(self.database, query, (_json_list(anchors),))

    def guard(self) -> None:
        """The guards are put back at the end of every transaction."""

    def about(self) -> dict[str, str]:
        """What the book says of itself."""
        return _about(self.database)

    def set_about(self, **values: str) -> None:
        """Change what the book says of itself."""
        self.database.executemany(
            f"INSERT INTO {MARK} (name, value) VALUES (?, ?) "
            "ON CONFLICT (name) DO UPDATE SET value = excluded.value",
            list(values.items()),
        )

    def replace(
        self, state: pd.DataFrame, keys: pd.Series, anchors: Sequence[str] | None, own: list[str]
    ) -> None:
        """Write the state of anchors in place of what the layer has of them (`store.Writer`)."""
        there = set(_columns(self.database))
        used = [name for name in own if name in there or name in state]
        self._shape([*REGISTER_BY_NAME, *used])
        about = self.about() if anchors is not None else {}
        _, out = _sum(self.database, anchors or ())
        if anchors is None:
            self.database.execute(f"DELETE FROM {ANCHORS}")
        else:
            self.database.execute(
                f"DELETE FROM {ANCHORS} WHERE anchor_id IN (SELECT value FROM json_each(?))",
                (_json_list(anchors),),
            )
        names = list(state.columns)
        columns = [state[name].astype(object).where(state[name].notna(), None) for name in names]
        listed = ", ".join(map(quoted, [KEY, POINT, *names]))
        self.database.executemany(
            f"INSERT INTO {ANCHORS} ({listed}) VALUES ({', '.join('?' * (len(names) + 2))})",
            zip(state["anchor_id"].map(keys).tolist(), points_of(state), *columns, strict=True),
        )
        kept = [name for name in used if self._holds(name)]
        self._shape([*REGISTER_BY_NAME, *kept])
        _, into = _sum(self.database, anchors)
        rows = self.database.execute(f"SELECT count(*) FROM {ANCHORS}").fetchone()[0]
        self.set_about(**moved(about, out, into, rows))
        self.database.execute(
            f"UPDATE gpkg_contents SET (min_x, min_y, max_x, max_y) = (SELECT min(lon), min(lat), "
            f"max(lon), max(lat) FROM {ANCHORS}) WHERE table_name = '{ANCHORS}'"
        )

    def _holds(self, name: str) -> bool:
        return bool(
            self.database.execute(
                f"SELECT EXISTS (SELECT 1 FROM {ANCHORS} WHERE {quoted(name)} IS NOT NULL)"
            ).fetchone()[0]
        )

    def _shape(self, names: list[str]) -> None:
        """Give the layer these columns, in this order."""
        there = _columns(self.database)
        if there == names:
            return
        self.database.execute(anchors_table("anchors_new", names))
        both = ", ".join(quoted(n) for n in [KEY, POINT, *(n for n in names if n in there)])
        self.database.execute(f"INSERT INTO anchors_new ({both}) SELECT {both} FROM {ANCHORS}")
        self.database.execute(f"DROP TABLE {ANCHORS}")
        self.database.execute(f"ALTER TABLE anchors_new RENAME TO {ANCHORS}")
        self.database.execute(f"CREATE UNIQUE INDEX {ANCHORS}_id ON {ANCHORS} (anchor_id)")


def _json_list(texts: Sequence[str] | pd.Series) -> str:
    return json.dumps(list(texts))


def _about(database: sqlite3.Connection) -> dict[str, str]:
    return dict(database.execute(f"SELECT name, value FROM {MARK}"))


def _columns(database: sqlite3.Connection) -> list[str]:
    """Columns of the layer of anchors but its key and its point."""
    found = [row[1] for row in database.execute(f"PRAGMA table_info({ANCHORS})")]
    return [name for name in found if name not in (KEY, POINT)]


def _sum(
    database: sqlite3.Connection, anchors: Sequence[str] | None = None
) -> tuple[list[str], int]:
    """Columns of the layer, and the digest of the rows of these anchors; None means of all."""
    names = [KEY, POINT, *_columns(database)]
    query = f"SELECT {', '.join(map(quoted, names))} FROM {ANCHORS}"
    if anchors is None:
        return names, summed(names, database.execute(query))
    query += " WHERE anchor_id IN (SELECT value FROM json_each(?))"
    return names, summed(names, database.execute(query, (_json_list(anchors),)))


def _events(database: sqlite3.Connection, query: str, given: tuple[Any, ...] = ()) -> pd.DataFrame:
    cursor = database.execute(query, given)
    parts = []
    while rows := cursor.fetchmany(50_000):
        parts.append(frame_of_rows(rows))
    return pd.concat(parts, ignore_index=True) if parts else frame_of_rows([])


@contextmanager
def new_file(path: Path) -> Iterator[GeoPackageWriter]:
    """A new book, which appears under its name when all inside is written, or not at all.

    Raises
    ------
    OutputError
        Something of that name is there, or it cannot be written.
    """
    refuse_present(path, ".gpkg", "a book is a GeoPackage or a database")
    with told(path, "--book"):
        path.parent.mkdir(parents=True, exist_ok=True)
        handle, name = tempfile.mkstemp(dir=path.parent, prefix=OWN_PREFIX, suffix=PART_SUFFIX)
    os.close(handle)
    work = Path(name)
    try:
        with clear(path), closing(sqlite3.connect(work, isolation_level=None)) as database:
            prepare(database)
            yield GeoPackageWriter(database, path.name)
            for trigger in TRIGGERS.values():
                database.execute(trigger)
            database.execute("COMMIT")
        with told(path, "--book"):
            work.chmod(0o644)
            _take_name(work, path)
            sync_folder(path.parent)
    finally:
        for end in ("", "-journal"):
            Path(f"{work}{end}").unlink(missing_ok=True)


def _take_name(work: Path, path: Path) -> None:
    """Give a file its name, unless something has it."""
    try:
        os.link(work, path)
    except FileExistsError as error:
        raise OutputError(f"{path} is there already, and nothing is overwritten") from error
    except OSError:  # a disk without links
        refuse_present(path, ".gpkg", "a book is a GeoPackage")
        work.rename(path)
