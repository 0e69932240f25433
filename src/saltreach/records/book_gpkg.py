"""A book in an OGC GeoPackage: anchors as a layer of points, events as a table beside it."""

from __future__ import annotations

import os
import sqlite3
import struct
import tempfile
from collections.abc import Iterator, Sequence
from contextlib import closing, contextmanager, suppress
from pathlib import Path
from typing import Any

import pandas as pd

from saltreach.errors import OutputError, RecordError
from saltreach.folders.files import OWN_PREFIX, PART_SUFFIX, refuse_present, sync_folder
from saltreach.folders.trouble import cannot_write, told
from saltreach.intake.book_layer import ANCHORS, EVENTS, FORMAT, MARK, is_book_file
from saltreach.records.events import COLUMNS, frame_of_rows
from saltreach.records.facts import NUMBERS
from saltreach.vocabulary.columns import REGISTER, REGISTER_BY_NAME
from saltreach.vocabulary.words import CAUTION

WAIT_S = 10.0
"""How long a book that another program writes to is waited for."""
_APPLICATION_ID, _USER_VERSION = 0x47504B47, 10200
"""GPKG, version 1.2 (OGC 12-128r14, requirement 2)."""
_BLOB_HEAD = b"GP\x00\x01" + struct.pack("<i", 4326)
"""Of a point in WGS 84 without envelope, little-endian (OGC 12-128r14, clause 2.1.3)."""
_KEY, _POINT = "fid", "geom"
_WHAT_FOR = {
    ANCHORS: "anchors of a book are made from its events: hand in a return or a correction "
    "(saltreach returns), or export them first (saltreach book export)",
    EVENTS: "events of a book are only added to, by saltreach: hand in a return, or take one back "
    "(saltreach book take-back)",
}
TRIGGERS = {
    f"{table}_no_{what.lower()}": f"CREATE TRIGGER {table}_no_{what.lower()} BEFORE {what} ON "
    f"{table} BEGIN SELECT RAISE(ABORT, '{said}'); END"
    for table, said in _WHAT_FOR.items()
    for what in ("INSERT", "UPDATE", "DELETE")
}
"""What refuses changes by others; a writer of ours takes them off within its transaction."""
_TABLES = f"""
CREATE TABLE gpkg_spatial_ref_sys (srs_name TEXT NOT NULL, srs_id INTEGER NOT NULL PRIMARY KEY,
    organization TEXT NOT NULL, organization_coordsys_id INTEGER NOT NULL,
    definition TEXT NOT NULL, description TEXT);
CREATE TABLE gpkg_contents (table_name TEXT NOT NULL PRIMARY KEY, data_type TEXT NOT NULL,
    identifier TEXT UNIQUE, description TEXT DEFAULT '', last_change DATETIME NOT NULL DEFAULT
    (strftime('%Y-%m-%dT%H:%M:%fZ','now')), min_x DOUBLE, min_y DOUBLE, max_x DOUBLE, max_y DOUBLE,
    srs_id INTEGER, CONSTRAINT fk_gc_r_srs_id FOREIGN KEY (srs_id) REFERENCES
    gpkg_spatial_ref_sys(srs_id));
CREATE TABLE gpkg_geometry_columns (table_name TEXT NOT NULL, column_name TEXT NOT NULL,
    geometry_type_name TEXT NOT NULL, srs_id INTEGER NOT NULL, z TINYINT NOT NULL,
    m TINYINT NOT NULL, CONSTRAINT pk_geom_cols PRIMARY KEY (table_name, column_name),
    CONSTRAINT uk_gc_table_name UNIQUE (table_name), CONSTRAINT fk_gc_tn FOREIGN KEY (table_name)
    REFERENCES gpkg_contents(table_name), CONSTRAINT fk_gc_srs FOREIGN KEY (srs_id)
    REFERENCES gpkg_spatial_ref_sys (srs_id));
CREATE TABLE {MARK} (id INTEGER PRIMARY KEY, name TEXT NOT NULL UNIQUE, value TEXT NOT NULL);
CREATE TABLE {EVENTS} (seq INTEGER PRIMARY KEY AUTOINCREMENT NOT NULL,
    {", ".join(f"{name} TEXT NOT NULL" for name in COLUMNS if name != "seq")},
    UNIQUE (event_id));
CREATE INDEX {EVENTS}_anchor ON {EVENTS} (anchor_id);
CREATE INDEX {EVENTS}_replaces ON {EVENTS} (replaces) WHERE replaces <> '';
"""
_READ = f"SELECT {', '.join(COLUMNS)} FROM {EVENTS}"
_TARGETS = f"""
WITH RECURSIVE chain(event_id, anchor_id, replaces) AS (
    SELECT event_id, anchor_id, replaces FROM {EVENTS}
    WHERE event_id IN (SELECT value FROM json_each(?))
    UNION SELECT e.event_id, e.anchor_id, e.replaces FROM {EVENTS} e
    JOIN chain c ON e.event_id = c.replaces)
SELECT DISTINCT anchor_id FROM chain
"""
"""Anchors that events can change: their own, and those of what they replace, step by step."""
_ABOUT = f"""
WITH RECURSIVE about(event_id) AS (
    SELECT event_id FROM {EVENTS} WHERE anchor_id IN (SELECT value FROM json_each(?))
    UNION SELECT e.event_id FROM {EVENTS} e JOIN about a ON e.replaces = a.event_id
    WHERE e.replaces <> '')
{_READ} WHERE event_id IN about ORDER BY seq
"""
"""All that decides the state of anchors: their events, and what replaces them, step by step."""


def _quoted(name: str) -> str:
    return '"' + name.replace('"', '""') + '"'


def _type_of(name: str) -> str:
    return "DOUBLE" if name in NUMBERS else "TEXT"


@contextmanager
def _clear(path: Path) -> Iterator[None]:
    """What SQLite refuses, as one sentence."""
    try:
        yield
    except sqlite3.Error as error:
        raise _said(path, error) from error


def _said(path: Path, error: sqlite3.Error) -> Exception:
    text = str(error)
    lower = text.casefold()
    if "locked" in lower or "busy" in lower:
        return RecordError(
            f"{path}: another program is writing there or holds it open; close it there (QGIS: "
            "remove the layer), and run the command again"
        )
    if "readonly" in lower:
        return RecordError(
            f"{path} is read-only: nothing was written; ask for the right to write, or take a "
            "copy elsewhere"
        )
    if full := cannot_write(path, error):
        return RecordError(
            str(full).replace("or give another --out", "and run the command again; the book is as "
            "it was")
        )  # fmt: skip
    if "unable to open" in lower:
        return RecordError(f"{path} cannot be opened; check the path and who may read it")
    if isinstance(error, sqlite3.IntegrityError) and "of a book" in lower:
        return RecordError(f"{path}: {text}")
    if any(word in lower for word in ("malformed", "not a database", "corrupt", "disk i/o")):
        return RecordError(
            f"{path}: it is damaged or was not copied whole ({text}); take it from your backup"
        )
    return RecordError(f"{path}: SQLite refuses it ({text})")


class GeoPackageBook:
    """The store of a book that is one file."""

    def __init__(self, path: Path) -> None:
        """Open a book.

        Raises
        ------
        RecordError
            There is no such file, it is no book, or one of a later version.
        """
        self.path = path
        if not path.is_file():
            raise RecordError(f"{path}: no such file; start a book with saltreach book start")
        if not is_book_file(path):
            with self._database() as database:  # says what is wrong, where something is
                database.execute("SELECT count(*) FROM sqlite_master").fetchone()
            raise RecordError(
                f"{path}: a GeoPackage, but no book; start one with saltreach book start"
            )
        version = self.about().get("format", "")
        if version != str(FORMAT):
            raise RecordError(
                f"{path}: a book of format {version or 'unknown'}, and this saltreach knows "
                f"{FORMAT}; install a newer saltreach"
            )

    @property
    def name(self) -> str:
        """What the book is called, for messages and provenance."""
        return self.path.name

    @contextmanager
    def _database(self, *, write: bool = False) -> Iterator[sqlite3.Connection]:
        mode = "rw" if write else "ro"
        with _clear(self.path), closing(
            sqlite3.connect(
                f"{self.path.resolve().as_uri()}?mode={mode}", uri=True, timeout=WAIT_S,
                isolation_level=None,
            )
        ) as database:  # fmt: skip
            yield database

    def about(self) -> dict[str, str]:
        """What the book says of itself."""
        with self._database() as database:
            return _about(database)

    def events(self) -> pd.DataFrame:
        """All events in the order of entry."""
        with self._database() as database:
            return _events(database, f"{_READ} ORDER BY seq")

    def anchors(self) -> pd.DataFrame:
        """The register as it stands, from the layer of anchors."""
        with self._database() as database:
            names = _columns(database)
            listed = ", ".join(map(_quoted, names))
            rows = database.execute(f"SELECT {listed} FROM {ANCHORS} ORDER BY {_KEY}").fetchall()
        columns = list(zip(*rows, strict=True)) if rows else [()] * len(names)
        return pd.DataFrame(
            {
                name: pd.Series(list(values), dtype=float if name in NUMBERS else "str")
                for name, values in zip(names, columns, strict=True)
            }
        )

    @contextmanager
    def writing(self) -> Iterator[GeoPackageWriter]:
        """One transaction: everything inside is written, or nothing."""
        with self._database(write=True) as database:
            database.execute("PRAGMA journal_mode = DELETE")
            database.execute("PRAGMA synchronous = FULL")
            database.execute("BEGIN IMMEDIATE")
            try:
                for name in TRIGGERS:
                    database.execute(f"DROP TRIGGER IF EXISTS {name}")
                yield GeoPackageWriter(database)
                for trigger in TRIGGERS.values():
                    database.execute(trigger)
                database.execute("COMMIT")
            except BaseException:
                with suppress(sqlite3.Error):
                    database.execute("ROLLBACK")
                raise


class GeoPackageWriter:
    """What is written to a book within one transaction."""

    def __init__(self, database: sqlite3.Connection) -> None:
        self.database = database

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
        self.database.executemany(
            f"INSERT INTO {EVENTS} ({', '.join(names)}) VALUES ({', '.join('?' * len(names))})",
            zip(*(new[name].to_numpy(object) for name in names), strict=True),
        )
        return list(new["event_id"])

    def touched(self, event_ids: Sequence[str]) -> list[str]:
        """Anchors whose state these events can change."""
        found = self.database.execute(_TARGETS, (_json_list(event_ids),))
        return [row[0] for row in found]

    def events_about(self, anchors: Sequence[str] | None) -> pd.DataFrame:
        """Events that decide the state of anchors; None means of all."""
        if anchors is None:
            return _events(self.database, f"{_READ} ORDER BY seq")
        return _events(self.database, _ABOUT, (_json_list(anchors),))

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
        there = set(_columns(self.database))
        used = [name for name in own if name in there or name in state]
        self._shape([*REGISTER_BY_NAME, *used])
        if anchors is None:
            self.database.execute(f"DELETE FROM {ANCHORS}")
        else:
            self.database.execute(
                f"DELETE FROM {ANCHORS} WHERE anchor_id IN (SELECT value FROM json_each(?))",
                (_json_list(anchors),),
            )
        names = list(state.columns)
        columns = [state[name].astype(object).where(state[name].notna(), None) for name in names]
        listed = ", ".join(map(_quoted, [_KEY, _POINT, *names]))
        self.database.executemany(
            f"INSERT INTO {ANCHORS} ({listed}) VALUES ({', '.join('?' * (len(names) + 2))})",
            zip(state["anchor_id"].map(keys).tolist(), _points(state), *columns, strict=True),
        )
        kept = [name for name in used if self._holds(name)]
        self._shape([*REGISTER_BY_NAME, *kept])
        self.database.execute(
            f"UPDATE gpkg_contents SET (min_x, min_y, max_x, max_y) = (SELECT min(lon), min(lat), "
            f"max(lon), max(lat) FROM {ANCHORS}) WHERE table_name = '{ANCHORS}'"
        )

    def _holds(self, name: str) -> bool:
        return bool(
            self.database.execute(
                f"SELECT EXISTS (SELECT 1 FROM {ANCHORS} WHERE {_quoted(name)} IS NOT NULL)"
            ).fetchone()[0]
        )

    def _shape(self, names: list[str]) -> None:
        """Give the layer these columns, in this order."""
        there = _columns(self.database)
        if there == names:
            return
        self.database.execute(_anchors_table("anchors_new", names))
        both = ", ".join(_quoted(n) for n in [_KEY, _POINT, *(n for n in names if n in there)])
        self.database.execute(f"INSERT INTO anchors_new ({both}) SELECT {both} FROM {ANCHORS}")
        self.database.execute(f"DROP TABLE {ANCHORS}")
        self.database.execute(f"ALTER TABLE anchors_new RENAME TO {ANCHORS}")
        self.database.execute(f"CREATE UNIQUE INDEX {ANCHORS}_id ON {ANCHORS} (anchor_id)")


def _anchors_table(table: str, names: Sequence[str]) -> str:
    columns = ", ".join(f"{_quoted(name)} {_type_of(name)}" for name in names)
    return (
        f"CREATE TABLE {table} ({_KEY} INTEGER PRIMARY KEY AUTOINCREMENT NOT NULL, "
        f"{_POINT} POINT, {columns})"
    )


def _points(state: pd.DataFrame) -> list[bytes]:
    """Points as a GeoPackage holds them."""
    import shapely

    shapes = shapely.points(state["lon"].to_numpy(float), state["lat"].to_numpy(float))
    return [_BLOB_HEAD + blob for blob in shapely.to_wkb(shapes, byte_order=1)]


def _json_list(texts: Sequence[str] | pd.Series) -> str:
    import json

    return json.dumps(list(texts))


def _about(database: sqlite3.Connection) -> dict[str, str]:
    return dict(database.execute(f"SELECT name, value FROM {MARK}"))


def _columns(database: sqlite3.Connection) -> list[str]:
    """Columns of the layer of anchors but its key and its point."""
    found = [row[1] for row in database.execute(f"PRAGMA table_info({ANCHORS})")]
    return [name for name in found if name not in (_KEY, _POINT)]


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
        with _clear(path), closing(sqlite3.connect(work, isolation_level=None)) as database:
            _prepare(database)
            yield GeoPackageWriter(database)
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


def _prepare(database: sqlite3.Connection) -> None:
    """The tables of an empty book; a transaction is left open."""
    import pyproj

    database.execute(f"PRAGMA application_id = {_APPLICATION_ID}")
    database.execute(f"PRAGMA user_version = {_USER_VERSION}")
    database.execute("PRAGMA synchronous = FULL")
    database.execute("BEGIN IMMEDIATE")
    for statement in _TABLES.split(";\n"):
        if statement.strip():
            database.execute(statement)
    wgs84 = pyproj.CRS(4326).to_wkt("WKT1_GDAL")
    database.executemany(
        "INSERT INTO gpkg_spatial_ref_sys VALUES (?, ?, ?, ?, ?, ?)",
        [
            ("Undefined cartesian SRS", -1, "NONE", -1, "undefined", ""),
            ("Undefined geographic SRS", 0, "NONE", 0, "undefined", ""),
            ("WGS 84 geodetic", 4326, "EPSG", 4326, wgs84, "longitude, latitude in degrees"),
        ],
    )
    database.executemany(
        "INSERT INTO gpkg_contents (table_name, data_type, identifier, description, srs_id) "
        "VALUES (?, ?, ?, ?, ?)",
        [
            (ANCHORS, "features", ANCHORS, CAUTION, 4326),
            (EVENTS, "attributes", EVENTS, CAUTION, None),
            (MARK, "attributes", MARK, "", None),
        ],
    )
    database.execute(
        "INSERT INTO gpkg_geometry_columns VALUES (?, ?, 'POINT', 4326, 0, 0)", (ANCHORS, _POINT)
    )
    database.execute(_anchors_table(ANCHORS, [c.name for c in REGISTER]))
    database.execute(f"CREATE UNIQUE INDEX {ANCHORS}_id ON {ANCHORS} (anchor_id)")
