"""Single files appear whole or not at all, and are on the disk when they are said to be."""

from __future__ import annotations

import hashlib
import os
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import IO

from saltreach.errors import OutputError

OWN_PREFIX, PART_SUFFIX = ".saltreach-", ".part"
"""What every passing file of saltreach is called; a later run removes those of a killed one."""


def atomic_write(path: Path, content: str | bytes) -> Path:
    """Write a whole file or none: a temporary file beside it is renamed at the end.

    Parameters
    ----------
    path : pathlib.Path
        Where; missing folders are made.
    content : str or bytes
        The whole content; text as UTF-8 with plain line feeds.

    Returns
    -------
    pathlib.Path
        The same path.
    """
    path = Path(path)
    with whole_file(path) as stream:
        stream.write(content.encode("utf-8") if isinstance(content, str) else content)
    return path


@contextmanager
def whole_file(path: Path, start: str = OWN_PREFIX) -> Iterator[IO[bytes]]:
    """A stream of what a file is to hold; it has its name when all is written, or not at all.

    Parameters
    ----------
    path : pathlib.Path
        Where; missing folders are made.
    start : str
        How the passing file is called, from `OWN_PREFIX` on.
    """
    path.parent.mkdir(parents=True, exist_ok=True)
    handle, temporary = tempfile.mkstemp(dir=path.parent, prefix=start, suffix=PART_SUFFIX)
    try:
        with os.fdopen(handle, "wb") as stream:
            yield stream
            stream.flush()
            os.fsync(stream.fileno())
        # mkstemp makes private files; these are there to be shared
        Path(temporary).chmod(0o644)
        Path(temporary).replace(path)
    finally:
        Path(temporary).unlink(missing_ok=True)
    sync_folder(path.parent)


def refuse_present(file: Path, suffix: str, what: str) -> None:
    """Raise where a new file of the user's choice is there already, or is named as another kind.

    Raises
    ------
    OutputError
        With the fix.
    """
    if file.suffix.lower() != suffix:
        raise OutputError(f"{file}: {what}; name it {suffix}")
    if file.exists() or file.is_symlink():
        raise OutputError(f"{file} is there already, and nothing is overwritten; give another name")


def sync_folder(folder: Path) -> None:
    """Have the names in a folder written to the disk, where the system can."""
    with suppress(OSError):  # Windows opens no folder, some network disks sync none
        handle = os.open(folder, os.O_RDONLY)
        try:
            os.fsync(handle)
        finally:
            os.close(handle)


def sync_files(folder: Path) -> None:
    """Have every file below a folder, and its name, written to the disk."""
    for place, _, names in os.walk(folder):
        for name in names:
            with (Path(place) / name).open("rb+") as stream:
                os.fsync(stream.fileno())
        sync_folder(Path(place))


def checksum(path: Path) -> str | None:
    """SHA-256 of a plain file; None for whatever else stands there, a link included.

    Of a SQLite file (GeoPackage) without what a program changes that only looks at it: the mode
    of its journal and the counts of changes in the header (SQLite file format, section 1.3).
    """
    if path.is_symlink() or not path.is_file():
        return None
    with path.open("rb") as stream:
        head = bytearray(stream.read(_SQLITE_HEADER))
        if not head.startswith(b"SQLite format 3\x00"):
            stream.seek(0)
            return hashlib.file_digest(stream, "sha256").hexdigest()
        for first, after in _SQLITE_LOOKED_AT:
            head[first:after] = bytes(after - first)
        found = hashlib.sha256(head)
        while block := stream.read(1 << 20):
            found.update(block)
        return found.hexdigest()


_SQLITE_HEADER = 100
_SQLITE_LOOKED_AT = ((18, 20), (24, 28), (92, 100))
"""Bytes of the format's version, of the change counter, and of the version it is valid for."""
