"""The list of what saltreach wrote into a folder: one file there, with a checksum of each."""

from __future__ import annotations

import json
from collections.abc import Iterable, Mapping
from dataclasses import asdict, dataclass, field, replace
from pathlib import Path, PurePosixPath
from typing import Any

from saltreach.errors import OutputError
from saltreach.folders.files import checksum

MANIFEST = "saltreach-files.json"
ASSESS = "assess"
_ABOUT = (
    "Which files here saltreach wrote, with their SHA-256, so that it replaces no other and none "
    "that was changed since. Leave it beside them."
)


@dataclass(frozen=True)
class FileSet:
    """What one command wrote: files by their checksum.

    `assessment`: time of the assessment that these files are, or rest on. `note`: what a reader
    of the list must know.
    """

    command: str
    time: str
    files: Mapping[str, str]
    assessment: str | None = None
    note: str = ""


@dataclass(frozen=True)
class Manifest:
    """The sets of files in one folder, by name."""

    sets: Mapping[str, FileSet] = field(default_factory=dict)

    @property
    def files(self) -> dict[str, str]:
        """Every file with its checksum."""
        return {name: sha for one in self.sets.values() for name, sha in one.files.items()}

    def with_set(self, name: str, new: FileSet, drops: Iterable[str] = ()) -> Manifest:
        """With a set written anew: what it takes over from others is theirs no more.

        A set without files is gone.
        """
        kept = {
            other: replace(one, files={n: s for n, s in one.files.items() if n not in new.files})
            for other, one in self.sets.items()
            if other not in (name, *drops)
        }
        sets = {n: one for n, one in {**kept, name: new}.items() if one.files}
        rests = Manifest(sets).resting_elsewhere()
        return Manifest({n: replace(one, note=rests.get(n, "")) for n, one in sets.items()})

    def resting_elsewhere(self) -> dict[str, str]:
        """Sets that rest on another assessment than the one in the folder, with a sentence."""
        here = self.sets[ASSESS].assessment if ASSESS in self.sets else None
        return {
            name: f"{', '.join(list(one.files)[:2])}: made from the assessment of "
            f"{one.assessment}, not from the one in this folder; run {one.command} again"
            for name, one in self.sets.items()
            if name != ASSESS and here and one.assessment and one.assessment != here
        }

    def text(self) -> str:
        """The list as it stands in the folder."""
        sets = {
            name: {key: value for key, value in asdict(one).items() if value}
            for name, one in self.sets.items()
        }
        return json.dumps({"about": _ABOUT, "sets": sets}, indent=2, ensure_ascii=False) + "\n"


def rests_on(file: Path, name: str) -> str | None:
    """Time of the assessment that a file of a set rests on; None where no list says."""
    found = read_manifest(file.parent).sets.get(name)
    return found.assessment if found is not None and file.name in found.files else None


def read_manifest(folder: Path) -> Manifest:
    """The list in a folder; an empty one where none is, or it cannot be understood.

    What an unreadable list named counts as the user's, so nothing of it is replaced.
    """
    try:
        sets = json.loads((folder / MANIFEST).read_text(encoding="utf-8"))["sets"]
        return Manifest(
            {
                name: FileSet(
                    str(one["command"]), str(one["time"]), inside(one["files"]),
                    one.get("assessment"), one.get("note", ""),
                )
                for name, one in sets.items()
            }
        )  # fmt: skip
    except (OSError, ValueError, KeyError, TypeError, AttributeError):
        return Manifest()


def inside(names: Any) -> dict[str, Any]:
    """Names below the folder only: a list from elsewhere must not reach another folder."""
    for name in names:
        path = PurePosixPath(name)
        if path.is_absolute() or ".." in path.parts or "\\" in name or not path.parts:
            raise OutputError(f"{name!r} is no file below the folder")
    return dict(names)


def resting_elsewhere(folder: Path) -> list[str]:
    """What in a folder rests on another assessment than the one there, a sentence each."""
    return list(read_manifest(folder).resting_elsewhere().values())


def unchanged(path: Path) -> bool:
    """Whether saltreach wrote a file and nobody changed it since."""
    for folder in path.parents:
        if (folder / MANIFEST).is_file():
            listed = read_manifest(folder).files.get(path.relative_to(folder).as_posix())
            return listed is not None and listed == checksum(path)
    return False
