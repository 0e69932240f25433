"""Tables, triggers and points of a book in a GeoPackage, as the standard has them."""

from __future__ import annotations

import sqlite3
import struct
from collections.abc import Sequence

import pandas as pd

from saltreach.intake.book_layer import ANCHORS, EVENTS, MARK
from saltreach.records.events import COLUMNS
from saltreach.records.facts import NUMBERS
from saltreach.records.store import REFUSED
from saltreach.vocabulary.columns import REGISTER
from saltreach.vocabulary.words import CAUTION

_APPLICATION_ID, _USER_VERSION = 0x47504B47, 10200
"""GPKG, version 1.2 (OGC 12-128r14, requirement 2)."""
_BLOB_HEAD = b"GP\x00\x01" + struct.pack("<i", 4326)
"""Of a point in WGS 84 without envelope, little-endian (OGC 12-128r14, clause 2.1.3)."""
KEY, POINT = "fid", "geom"
TRIGGERS = {
    f"{table}_no_{what.lower()}": f"CREATE TRIGGER {table}_no_{what.lower()} BEFORE {what} ON "
    f"{table} BEGIN SELECT RAISE(ABORT, '{said}'); END"
    for table, said in REFUSED.items()
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


def quoted(name: str) -> str:
    """A name as SQL takes it, whatever stands in it."""
    return '"' + name.replace('"', '""') + '"'


def _type_of(name: str) -> str:
    return "DOUBLE" if name in NUMBERS else "TEXT"


def anchors_table(table: str, names: Sequence[str]) -> str:
    """The statement that makes a layer of anchors with these columns."""
    columns = ", ".join(f"{quoted(name)} {_type_of(name)}" for name in names)
    return (
        f"CREATE TABLE {table} ({KEY} INTEGER PRIMARY KEY AUTOINCREMENT NOT NULL, "
        f"{POINT} POINT, {columns})"
    )


def points_of(state: pd.DataFrame) -> list[bytes]:
    """Points as a GeoPackage holds them."""
    import shapely

    shapes = shapely.points(state["lon"].to_numpy(float), state["lat"].to_numpy(float))
    return [_BLOB_HEAD + blob for blob in shapely.to_wkb(shapes, byte_order=1)]


def prepare(database: sqlite3.Connection) -> None:
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
        "INSERT INTO gpkg_geometry_columns VALUES (?, ?, 'POINT', 4326, 0, 0)", (ANCHORS, POINT)
    )
    database.execute(anchors_table(ANCHORS, [c.name for c in REGISTER]))
    database.execute(f"CREATE UNIQUE INDEX {ANCHORS}_id ON {ANCHORS} (anchor_id)")
