"""What SQLite refuses of a book, in one sentence each."""

from __future__ import annotations

import sqlite3
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from saltreach.errors import RecordError
from saltreach.folders.trouble import cannot_write


@contextmanager
def clear(path: Path) -> Iterator[None]:
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
    if "disk i/o" in lower:
        return RecordError(
            f"{path}: the disk reports an error; make room there or look at the disk, and run the "
            "command again: the book is as it was"
        )
    if "readonly" in lower:
        return RecordError(
            f"{path} is read-only: nothing was written; ask for the right to write, or take a "
            "copy elsewhere"
        )
    if full := cannot_write(path, error):
        cause = str(full).partition(";")[0]
        return RecordError(
            f"{cause}; make room there and run the command again: the book is as it was"
        )
    if "unable to open" in lower:
        return RecordError(
            f"{path} cannot be opened; check who may read it, and write to it and to its folder"
        )
    if isinstance(error, sqlite3.IntegrityError) and "of a book" in lower:
        return RecordError(f"{path}: {text}")
    if any(word in lower for word in ("malformed", "not a database", "corrupt")):
        return RecordError(
            f"{path}: it is damaged or was not copied whole ({text}); take it from your backup"
        )
    if any(word in lower for word in ("no such table", "no such column", "sqlite3_prepare")):
        return RecordError(
            f"{path}: the file is damaged or only partly copied: a table of the book is missing; "
            "take it from your backup"
        )
    return RecordError(f"{path}: SQLite refuses it ({text})")
