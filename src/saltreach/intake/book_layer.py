"""What a book of events in a GeoPackage is known by, and its layer of anchors."""

from __future__ import annotations

import hashlib
import sqlite3
from contextlib import closing
from pathlib import Path

from saltreach.intake.formats import Table

MARK = "saltreach_book"
"""Table that says that a file is a book, and of which version of the format."""
ANCHORS, EVENTS = "anchors", "events"
SQLITE_MAGIC = b"SQLite format 3\x00"
FORMAT = 1
"""Version of the format that is written."""


def is_book_file(path: Path) -> bool:
    """Whether a file is a GeoPackage that holds a book; one that cannot be opened is none.

    What a killed run of ours left half written is undone, so that any program can read it.
    """
    if path.suffix.lower() != ".gpkg" or not path.is_file():
        return False
    try:
        with closing(sqlite3.connect(f"{path.resolve().as_uri()}?mode=rw", uri=True)) as database:
            found = database.execute(
                "SELECT 1 FROM sqlite_master WHERE type = 'table' AND name = ?", (MARK,)
            ).fetchone()
    except (sqlite3.Error, ValueError):
        return False
    return found is not None


def cells_checksum(table: Table) -> str:
    """SHA-256 of the cells of a table and of its points, whatever file they stand in."""
    points = b"" if table.points is None else table.points.tobytes()
    data = table.cells.to_csv(header=list(table.headers)).encode() + points
    return hashlib.sha256(data).hexdigest()
