"""New files take the place of old ones: one decision, then file by file, mended after a kill.

Everything is written into a hidden folder first. A journal then says what goes where; from the
moment it stands, the new files count, and whoever opens the folder next moves the rest. Without
a journal the leftovers of a killed run are thrown away.
"""

from __future__ import annotations

import json
import os
import shutil
from collections.abc import Mapping
from contextlib import suppress
from datetime import datetime
from pathlib import Path

from saltreach.errors import OutputError
from saltreach.folders.files import (
    OWN_PREFIX,
    PART_SUFFIX,
    atomic_write,
    checksum,
    sync_files,
    sync_folder,
)
from saltreach.folders.manifest import inside

WORK_PREFIX = f"{OWN_PREFIX}work-"
JOURNAL = f"{OWN_PREFIX}journal.json"
UNFINISHED = "UNFINISHED.txt"
_UNFINISHED_TEXT = """\
saltreach was ended while it moved new files into this folder: some files here are of the former
run, some of the new one. Do not use them yet. Nothing is lost: the rest of the new files is in
the hidden folder {work}.

Run any saltreach command on this folder (the same again, or `saltreach map` on it): it finishes
the move before anything else, and removes this note.
"""


def swap(
    folder: Path, work: Path, expected: Mapping[str, str | None], gone: Mapping[str, str]
) -> list[str]:
    """Move every file of a work folder to its place, and remove what the last run left.

    Parameters
    ----------
    folder, work : pathlib.Path
        Where to, and where from: a hidden folder in it.
    expected : mapping
        Each new file with the checksum of the one it replaces; None where none should be. Moved
        in this order.
    gone : mapping
        Files to be removed, with their checksums.

    Returns
    -------
    list of str
        What stood there and was not as expected, and the name it was kept under.
    """
    sync_files(work)
    (folder / UNFINISHED).write_text(_UNFINISHED_TEXT.format(work=work.name), encoding="utf-8")
    journal = {
        "work": work.name,
        "stamp": datetime.now().strftime("%Y%m%d-%H%M%S"),
        "moves": dict(expected),
        "gone": dict(gone),
    }
    atomic_write(folder / JOURNAL, json.dumps(journal, ensure_ascii=False))
    return finish(folder)


def unfinished(folder: Path) -> bool:
    """Whether a swap in a folder was decided and did not end."""
    return (folder / JOURNAL).is_file()


def finish(folder: Path) -> list[str]:
    """End a swap that was decided, from wherever it stopped; as `swap` returns.

    What is left of it then is for `sweep`.
    """
    if not unfinished(folder):
        return []
    journal = folder / JOURNAL
    try:
        found = json.loads(journal.read_text(encoding="utf-8"))
        moves, gone, stamp = inside(found["moves"]), inside(found["gone"]), str(found["stamp"])
        work = folder / found["work"]
        known = work.parent == folder and work.name.startswith(WORK_PREFIX) and stamp.isascii()
        if not known or os.sep in stamp:
            raise OutputError(f"{found['work']!r} is no work folder")
    except (ValueError, KeyError, TypeError) as error:
        raise OutputError(
            f"{folder}: the note of an interrupted run ({JOURNAL}) cannot be understood "
            f"({error}); give another --out"
        ) from None
    kept = []
    for name, was in moves.items():
        if os.path.lexists(work / name):  # else it is in its place already
            kept += _put_aside(folder, name, was, stamp)
            (folder / name).parent.mkdir(parents=True, exist_ok=True)
            (work / name).replace(folder / name)
    for name, was in gone.items():
        kept += _put_aside(folder, name, was, stamp)
        (folder / name).unlink(missing_ok=True)
        if (folder / name).parent != folder:
            with suppress(OSError):  # other files are in it
                (folder / name).parent.rmdir()
    for place in {(folder / name).parent for name in (*moves, *gone)}:
        sync_folder(place)
    journal.unlink()
    sync_folder(folder)
    return kept


def sweep(folder: Path) -> None:
    """Remove what killed runs left; only for who holds the folder's lock."""
    for entry in list(os.scandir(folder)):
        if entry.name.startswith(WORK_PREFIX) and entry.is_dir(follow_symlinks=False):
            shutil.rmtree(entry.path)
        elif entry.name.startswith(OWN_PREFIX) and entry.name.endswith(PART_SUFFIX):
            Path(entry.path).unlink()
    note = folder / UNFINISHED
    first = _UNFINISHED_TEXT.splitlines()[0]
    if note.is_file() and note.read_text(encoding="utf-8", errors="replace").startswith(first):
        note.unlink()


def _put_aside(folder: Path, name: str, was: str | None, stamp: str) -> list[str]:
    """Keep what is not the file we know under another name: it is somebody's work."""
    kept = []
    for place in [*(folder / name).relative_to(folder).parents][-2::-1]:
        if (folder / place).is_symlink() or (folder / place).is_file():
            kept.append(_renamed(folder, place.as_posix(), stamp))
    target = folder / name
    if os.path.lexists(target) and (was is None or checksum(target) != was):
        kept.append(_renamed(folder, name, stamp))
    return kept


def _renamed(folder: Path, name: str, stamp: str) -> str:
    path, number = folder / name, 1
    while True:
        mark = f".yours-{stamp}" + (f"-{number}" if number > 1 else "")
        new = path.with_name(f"{path.stem}{mark}{path.suffix}")
        if not os.path.lexists(new):
            path.rename(new)
            return f"{name} was not written by saltreach or was changed since: kept as {new.name}"
        number += 1
