"""A region pack: a folder of open data, brought once, read offline, copied as it is.

Each part (shore, rock, heights ...) is a set of files that appears whole or not at all
(`saltreach.folders`), with one record `<part>.json` of where it comes from. What is read of a pack
is checked against the sums that were taken when it was written.
"""

from __future__ import annotations

import json
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import datetime
from functools import lru_cache
from importlib.metadata import version
from pathlib import Path
from typing import TYPE_CHECKING, Any, NamedTuple

from saltreach.errors import LayerError
from saltreach.folders.claim import Claim, mend, result_set
from saltreach.folders.files import checksum
from saltreach.folders.manifest import MANIFEST, read_manifest
from saltreach.layers.layer import Origin

if TYPE_CHECKING:
    from saltreach.intake.options import Options
    from saltreach.layers.online.part import Brought

PREFIX = "pack "
"""What a part's set of files is called in the folder's list, before its own name."""
GOOD, CHANGED, MISSING = "good", "changed", "missing"
"""What a file of a pack is found to be."""


@dataclass(frozen=True)
class PackPart:
    """One part of a pack.

    `brought_at`: ISO time. `requests`, `notes`, `about`: as `Brought`. `files`: their sums.
    """

    name: str
    folder: Path
    brought_at: str
    origins: tuple[Origin, ...]
    requests: tuple[str, ...]
    notes: tuple[str, ...]
    about: Mapping[str, Any]
    files: Mapping[str, str]

    @property
    def origin(self) -> Origin:
        """Its first source."""
        return self.origins[0]

    def file(self, name: str) -> Path:
        """Path of one of its files.

        Raises
        ------
        LayerError
            The part has none of that name.
        """
        if name not in self.files:
            raise LayerError(
                f"pack {self.folder}: its {self.name} has no {name}; "
                f"{_again(self.name, self.folder)}"
            )
        return self.folder / name

    def named(self, suffix: str) -> list[Path]:
        """Paths of its files with a suffix, in order of their names."""
        return [self.folder / name for name in sorted(self.files) if name.endswith(suffix)]


def files_of(folder: Path | str) -> dict[str, Mapping[str, str]]:
    """Sums of the files of a pack by name, for each part, as its list says.

    Raises
    ------
    LayerError
        The folder is no pack.
    """
    folder = Path(folder)
    if not folder.is_dir():
        what = "is a file" if folder.exists() else "does not exist"
        raise LayerError(f"pack {folder} {what}; give the folder `saltreach layers bring` wrote")
    mend(folder)
    sets = read_manifest(folder).sets
    found = {name.removeprefix(PREFIX): one.files for name, one in sets.items()
             if name.startswith(PREFIX)}  # fmt: skip
    if not found:
        raise LayerError(
            f"pack {folder} holds no part of a pack ({MANIFEST} lists none); bring one with "
            "`saltreach layers bring`, or copy the whole folder"
        )
    return found


def parts_of(folder: Path | str) -> dict[str, PackPart]:
    """Parts of a pack by name, as its records say; sums are not looked at.

    Raises
    ------
    LayerError
        The folder is no pack, or a record cannot be read.
    """
    folder = Path(folder)
    return {name: _read_part(folder, name, files) for name, files in files_of(folder).items()}


def _read_part(folder: Path, name: str, files: Mapping[str, str]) -> PackPart:
    try:
        record = json.loads((folder / f"{name}.json").read_text(encoding="utf-8"))
        return PackPart(
            name, folder, datetime.fromisoformat(record["brought_at"]).isoformat(),
            tuple(Origin(**one) for one in record["origins"]), tuple(record["requests"]),
            tuple(record["notes"]), record["about"], files,
        )  # fmt: skip
    except (OSError, ValueError, KeyError, TypeError) as error:
        raise LayerError(
            f"pack {folder}: the record {name}.json cannot be read; {_again(name, folder)}"
        ) from error


def verified(folder: Path | str, files: Mapping[str, str]) -> dict[str, str]:
    """What each of some files of a pack is: `GOOD`, `CHANGED` or `MISSING`."""
    return {
        name: GOOD if (found := checksum(Path(folder) / name)) == sum_then
        else MISSING if found is None else CHANGED
        for name, sum_then in files.items()
    }  # fmt: skip


def packed(options: Options, name: str) -> PackPart | None:
    """A part of the pack that the options name, its files as they were written; None without.

    Raises
    ------
    LayerError
        The folder is no pack, has no part that the options name, or a file of the part is missing
        or was changed.
    """
    if options.pack_folder is None:
        return None
    folder = Path(options.pack_folder).resolve()
    there = _files_at(folder, checksum(folder / MANIFEST))
    for other in options.pack_parts:
        if other not in there:
            raise LayerError(f"pack {folder} has no part {other!r}; it has: {', '.join(there)}")
    if name not in there or name not in (options.pack_parts or there):
        return None
    _whole(folder, name, tuple(there[name].items()))
    return _read_part(folder, name, there[name])


@lru_cache(maxsize=4)
def _files_at(folder: Path, _: str | None) -> dict[str, Mapping[str, str]]:
    return files_of(folder)


@lru_cache(maxsize=64)
def _whole(folder: Path, name: str, files: tuple[tuple[str, str], ...]) -> None:
    states = verified(folder, dict(files))
    wrong = [f"{file} is {state}" for file, state in states.items() if state != GOOD]
    if wrong:
        raise LayerError(f"pack {folder}: {', '.join(wrong)} since {name} was brought; "
                         f"{_again(name, folder)}")  # fmt: skip


def _again(name: str, folder: Path) -> str:
    return (
        f"bring {name} again, or leave it out with `saltreach layers forget {name} --pack "
        f"{folder}`; both need --beside-other-files where a file was changed, and keep that file"
    )


class Written(NamedTuple):
    """A part that was written, and what its source had to say."""

    name: str
    notes: tuple[str, ...]


def write_part(
    pack: Path | str | Claim,
    name: str,
    make: Callable[[Path], Brought],
    *,
    now: str | Callable[[], str],
) -> Written:
    """Write a part of a pack in place of its former one, whole or not at all.

    Parameters
    ----------
    pack : path or Claim
        Folder of the pack; made if absent.
    name : str
        Of the part.
    make : callable
        Writes its files into the folder it is given, and says what was brought.
    now : str or callable
        Time that it is of, ISO; or what says it once all is there.

    Raises
    ------
    OutputError
        The folder cannot be written to, or holds other files.
    """
    with result_set(pack, f"{PREFIX}{name}", command="saltreach layers bring") as work:
        brought = make(work)
        record = {
            "about_this_file": "Where this part of a region pack comes from. Leave it beside the "
            "others, and copy the folder whole.",
            "brought_at": now if isinstance(now, str) else now(),
            "software": f"saltreach {version('saltreach')}",
            "origins": [origin.record() for origin in brought.origins],
            "requests": list(brought.requests),
            "notes": list(brought.notes),
            "about": dict(brought.about),
        }
        text = json.dumps(record, indent=2, ensure_ascii=False)
        (work / f"{name}.json").write_text(text + "\n", encoding="utf-8")
    return Written(name, brought.notes)


def forget(pack: Path | str | Claim, name: str) -> None:
    """Remove a part of a pack with its files."""
    with result_set(pack, f"{PREFIX}{name}", command="saltreach layers forget"):
        pass
