"""A folder to write into: asked before anything is computed, held until all is in its place."""

from __future__ import annotations

import os
import shutil
import tempfile
from collections.abc import Callable, Iterable, Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass, field
from datetime import UTC, datetime
from fnmatch import fnmatch
from itertools import islice
from pathlib import Path, PurePath
from typing import TypeVar

from filelock import FileLock, Timeout

from saltreach.errors import OutputError
from saltreach.folders.files import OWN_PREFIX, checksum
from saltreach.folders.manifest import (
    MANIFEST,
    FileSet,
    Manifest,
    read_manifest,
    unchanged,
)
from saltreach.folders.swap import (
    JOURNAL,
    UNFINISHED,
    WORK_PREFIX,
    finish,
    swap,
    sweep,
    unfinished,
)
from saltreach.folders.trouble import told

T = TypeVar("T")
LOCK = f"{OWN_PREFIX}lock"
"""Empty, and left there: whoever waits for it must wait for the same file. The lock is the
system's and ends with the process that holds it, however that ends."""
WAIT_S, WAIT_TO_READ_S = 2.0, 20.0
"""A run lasts minutes, so another is refused; the move of finished files is waited for."""
TRIES = 5
NAMED = 5
"""Files named in a refusal."""
OF_THE_SYSTEM = (
    "*.yours-[0-9]*", ".DS_Store", "._*", "Thumbs.db", "desktop.ini", ".directory", "~$*",
    ".~lock.*#",
)  # fmt: skip
"""What file managers and office programs leave, and what was kept for the user under another name
(`swap`): it stands in nobody's way."""
OPEN_IN_GIS = ("-wal", "-journal")
"""Ends of the files that stand beside a GeoPackage while another program has it open."""
OPTION = "--beside-other-files"


@dataclass
class Claim:
    """A folder that this run may write into.

    `folder`: where, links resolved; `shown`: as the user wrote it. `kept`: what stood in the way
    and was kept under another name, a sentence each.
    """

    folder: Path
    shown: Path
    kept: list[str] = field(default_factory=list)

    @property
    def manifest(self) -> Manifest:
        """What saltreach wrote there so far."""
        return read_manifest(self.folder)


@contextmanager
def claimed(
    out: Path | str | Claim,
    *,
    inputs: Iterable[Path | str] = (),
    beside_other_files: bool = False,
    only: Iterable[str] | None = None,
) -> Iterator[Claim]:
    """Hold a folder to write into, made if absent; refuse where something could be lost.

    Parameters
    ----------
    out : path or Claim
        The folder; one that is held already is taken as it is.
    inputs : iterable of paths
        Files of the user that the results come from: none may be in the folder (or be one of
        `only`), unless saltreach wrote it there and nobody changed it.
    beside_other_files : bool
        Write although the folder holds files that saltreach did not write, or wrote and somebody
        changed. They stay; one that is in the way is kept under another name.
    only : iterable of str, optional
        Names of all that will be written, where others in the folder do not matter.

    Raises
    ------
    OutputError
        With the reason and the fix.
    """
    if isinstance(out, Claim):
        yield out
        return
    shown = Path(out)
    files = [Path(one) for one in inputs]
    with told(shown):
        folder = _folder_of(shown, files)
        claim = Claim(folder, shown)
        if folder.exists() and not unfinished(folder):  # what is refused is left without a trace
            _refuse_inputs(claim, files, only)
            _refuse_others(claim, beside_other_files, only)
        made = _made(folder)
    lock = FileLock(folder / LOCK, timeout=WAIT_S)
    try:
        try:
            with told(shown):
                lock.acquire()
        except Timeout:
            raise OutputError(
                f"{shown}: another saltreach is writing there; wait until it has ended, or give "
                "another --out"
            ) from None
        with told(shown):
            claim.kept += finish(folder)
            sweep(folder)
            _refuse_inputs(claim, files, only)
            _refuse_others(claim, beside_other_files, only)
        yield claim
    finally:
        lock.release()
        _unmade(made)


@contextmanager
def result_set(
    out: Path | str | Claim,
    name: str,
    *,
    command: str | None = None,
    assessment: str | None = None,
    drops: Iterable[str] = (),
    beside_other_files: bool = False,
) -> Iterator[Path]:
    """A hidden folder whose files take the place of the last set of that name, all or none.

    Files of the last set that are not written again are removed; on an error nothing changes. A
    kill while the files move is mended by whoever opens the folder next.

    Parameters
    ----------
    out : path or Claim
        The folder of results.
    name : str
        Of the set.
    command : str, optional
        What writes it, in words; else `saltreach` and the name.
    assessment : str, optional
        Time of the assessment that the files are or rest on.
    drops : iterable of str
        Sets that this one ends.
    beside_other_files : bool
        As for `claimed`.
    """
    with claimed(out, beside_other_files=beside_other_files) as claim:
        folder = claim.folder
        with told(claim.shown):
            work = Path(tempfile.mkdtemp(prefix=WORK_PREFIX, dir=folder))
        try:
            with told(claim.shown):
                yield work
                written = FileSet(
                    command or f"saltreach {name}",
                    datetime.now(UTC).isoformat(timespec="seconds"),
                    {
                        one.relative_to(work).as_posix(): str(checksum(one))
                        for one in sorted(work.rglob("*"))
                        if one.is_file()
                    },
                    assessment,
                )
                claim.kept += _take_places(folder, work, name, written, tuple(drops))
        finally:
            if not unfinished(folder):  # else the new files count, and the next run moves them
                shutil.rmtree(work, ignore_errors=True)
                with suppress(OSError):
                    (folder / UNFINISHED).unlink(missing_ok=True)


def _take_places(
    folder: Path, work: Path, name: str, written: FileSet, drops: tuple[str, ...]
) -> list[str]:
    """Move a set into its folder in place of its last one and of those it ends; see `swap`."""
    old = read_manifest(folder)
    ended = [old.sets[one] for one in (name, *drops) if one in old.sets]
    gone = {
        file: sha for one in ended for file, sha in one.files.items() if file not in written.files
    }
    new = old.with_set(name, written, drops)
    (work / MANIFEST).write_text(new.text(), encoding="utf-8")
    expected = {file: old.files.get(file) for file in written.files}
    return swap(folder, work, expected | {MANIFEST: checksum(folder / MANIFEST)}, gone)


def mend(folder: Path | str) -> None:
    """Finish a move of files in a folder that was cut off, before the files are read.

    Raises
    ------
    OutputError
        Another run is at it, or the folder cannot be written to.
    """
    folder = Path(folder).resolve()
    if not unfinished(folder) and not (folder / UNFINISHED).exists():
        return
    try:
        with FileLock(folder / LOCK, timeout=WAIT_TO_READ_S):
            finish(folder)
            sweep(folder)
    except Timeout:
        raise OutputError(
            f"{folder}: another saltreach is writing there; wait until it has ended"
        ) from None
    except OSError as error:
        if unfinished(folder):
            raise OutputError(
                f"{folder}: the last run there was ended while it moved its files, and the folder "
                f"cannot be written to ({error.strerror}) to finish it: files of two runs are "
                "mixed in it; make it writable, or copy it whole and give the copy"
            ) from error


def read_whole(folder: Path | str, read: Callable[[], T]) -> T:
    """What `read` returns from a folder, all of one run, though another run may write there.

    Raises
    ------
    OutputError
        As `mend`, or when the files do not stay the same for as long as reading takes.
    """
    folder = Path(folder).resolve()
    for _ in range(TRIES):
        mend(folder)
        before = _state(folder)
        try:
            found = read()
        except Exception:
            if _state(folder) == before:
                raise
            continue
        if _state(folder) == before:
            return found
    raise OutputError(f"{folder}: it was written to while it was read; run the command again")


def _state(folder: Path) -> tuple[str | None, bool]:
    return checksum(folder / MANIFEST), (folder / JOURNAL).exists()


def _folder_of(shown: Path, inputs: list[Path]) -> Path:
    """Where a path leads; refused where no folder is or can be."""
    try:
        folder = shown.resolve()
    except RuntimeError as error:  # Python 3.11 and 3.12 say so of a circle of links
        raise OutputError(f"{shown}: links there lead in a circle; give another --out") from error
    same = [one for one in inputs if one.is_file() and one.resolve() == folder]
    if same:
        raise OutputError(f"{shown} is the file you gave to be read: give another --out")
    if shown.is_symlink() and not shown.exists():
        raise OutputError(
            f"{shown} is a link to {folder}, which does not exist: make that folder, or give "
            "another --out"
        )
    if folder.exists() and not folder.is_dir():
        raise OutputError(f"{shown} is a file: give another --out")
    return folder


def _made(folder: Path) -> list[Path]:
    """Make a folder; those that were not there before, the innermost first."""
    made = [one for one in (folder, *folder.parents) if not one.exists()]
    folder.mkdir(parents=True, exist_ok=True)
    return made


def _unmade(made: list[Path]) -> None:
    """Remove folders that were made and hold nothing but a lock."""
    for one in made:
        with suppress(OSError):
            if [entry.name for entry in os.scandir(one)] in ([], [LOCK]):
                (one / LOCK).unlink(missing_ok=True)
                one.rmdir()


def _refuse_inputs(claim: Claim, inputs: list[Path], only: Iterable[str] | None) -> None:
    ours = None if only is None else {PurePath(name).parts[0] for name in only}
    for one in inputs:
        real = one.resolve()
        if not real.is_file() or claim.folder not in real.parents or unchanged(real):
            continue
        if ours is None or real.relative_to(claim.folder).parts[0] in ours:
            alone = ", a folder for results alone" if ours is None else ""
            raise OutputError(
                f"{claim.shown} holds {one}, which you gave to be read: give another --out{alone}"
            )


def _refuse_others(claim: Claim, beside: bool, only: Iterable[str] | None) -> None:
    known = claim.manifest.files
    names = known if only is None else {name: known.get(name) for name in only}
    for name in names:
        place = claim.folder / name
        if place.is_dir() and not place.is_symlink() and only is not None:
            raise OutputError(f"{claim.shown / name} is a folder: give another --out")
        for end in OPEN_IN_GIS:
            if name in known and (claim.folder / f"{name}{end}").exists():
                raise OutputError(
                    f"{claim.shown / name} is open in another program, or was left so "
                    f"({name}{end}): close it there, and run the command again"
                )
    if beside:
        return
    changed = [
        name
        for name, sha in names.items()
        if os.path.lexists(claim.folder / name) and checksum(claim.folder / name) != sha
    ]
    if only is not None and changed:
        raise OutputError(
            f"{claim.shown / changed[0]} is there and saltreach did not write it, or somebody "
            f"changed it since: give another --out, or {OPTION} to keep it under another name"
        )
    if changed:
        raise OutputError(
            f"{claim.shown}: somebody changed what saltreach wrote there ({_some(changed)}): give "
            f"another --out, or {OPTION} to write there all the same; a changed file that is in "
            "the way is kept under another name"
        )
    others = [] if only is not None else list(islice(_others(claim.folder, known), NAMED + 1))
    if others:
        raise OutputError(
            f"{claim.shown} holds files that saltreach did not write ({_some(others)}): give "
            f"another --out, or {OPTION} to leave them there and write beside them"
        )


def _some(names: list[str]) -> str:
    more = ", and more" if len(names) > NAMED else ""
    return ", ".join(names[:NAMED]) + more


def _others(folder: Path, known: Iterable[str], within: str = "") -> Iterator[str]:
    """What stands in a folder and is neither ours nor the system's; folders end in a slash."""
    for entry in sorted(os.scandir(folder / within), key=lambda one: one.name):
        name = f"{within}{entry.name}"
        own = not within and (entry.name.startswith(OWN_PREFIX) or entry.name == MANIFEST)
        if own or name in known or any(fnmatch(entry.name, one) for one in OF_THE_SYSTEM):
            continue
        if not entry.is_dir(follow_symlinks=False):
            yield name
        elif any(one.startswith(f"{name}/") for one in known):
            yield from _others(folder, known, f"{name}/")
        elif not (Path(entry.path) / MANIFEST).is_file():  # else it is a folder of results itself
            yield f"{name}/"
