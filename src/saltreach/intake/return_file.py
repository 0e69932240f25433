"""The return file of the phone page: a zip with its records and photos, which nobody vouches for.

Nothing in the archive is unpacked by its name: records are read as a table is, photos are known by
their checksum alone.
"""

from __future__ import annotations

import hashlib
import io
import json
import re
import zipfile
import zlib
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import IO, Any

import numpy as np

from saltreach.errors import RegisterError, brief, cause_of
from saltreach.intake import formats
from saltreach.intake.sheets import Sheet, checked_rows, with_refused
from saltreach.intake.tables import RETURNS

FORMAT, VERSION = "saltreach return", 1
RECORDS = "return.json"
MOST_FILES = 2_000
MOST_RECORDS_BYTES = 20_000_000
MOST_PHOTO_BYTES = 40_000_000
MOST_BYTES = 2_000_000_000
"""What an archive may hold unpacked: a day at the cliff is far below each; own choice."""
MOST_ROWS = 20_000
_LONGEST = 60
_BLOCK = 1 << 20
_NAME = re.compile(r"photos/[^/\\:\x00-\x1f]{1,120}")
_SHA = re.compile(r"[0-9a-f]{64}")
_PICTURES = {b"\xff\xd8\xff": ".jpg", b"\x89PNG\r\n\x1a\n": ".png"}
_WEBP = re.compile(rb"RIFF....WEBP", re.DOTALL)
_DAMAGED = (zipfile.BadZipFile, zlib.error, EOFError, NotImplementedError, RuntimeError, OSError,
            ValueError)  # fmt: skip


@dataclass(frozen=True)
class Photo:
    """A picture in a return file, read when it is stored.

    Attributes
    ----------
    archive : Path
        The return file.
    member : str
        Its name there.
    sha256 : str
        Checksum of its bytes.
    suffix : str
        By what it is: .jpg, .png or .webp.
    anchor_id, record_id : str
        What it shows; empty where the file does not say.
    """

    archive: Path
    member: str
    sha256: str
    suffix: str
    anchor_id: str = ""
    record_id: str = ""

    @property
    def name(self) -> str:
        """Its name without the folder."""
        return self.member.rpartition("/")[2]


def read_return_file(path: Path) -> tuple[Sheet, tuple[Photo, ...]]:
    """Records and photos of a return file.

    Parameters
    ----------
    path : Path
        The .zip.

    Returns
    -------
    sheet : Sheet
        Good rows and refused ones, photos that cannot be used among these.
    photos : tuple of Photo
        Those whose bytes are what the file says.

    Raises
    ------
    RegisterError
        It is no return file, of another version, damaged, or larger than any day's.
    """
    path = Path(path)
    data = formats.content(path, (".zip",), "records")
    with _opened(path, io.BytesIO(data)) as archive:
        given = _records(path, archive)
        rows, wrong = _rows(given["rows"], given)
        sheet = checked_rows(_as_table(rows), RETURNS, path.name, hashlib.sha256(data).hexdigest())
        photos, missing = _photos(path, archive, given.get("photos"), len(given["rows"]))
    return with_refused(sheet, [*wrong, *missing], len(wrong)), photos


@contextmanager
def _opened(path: Path, source: IO[bytes] | Path) -> Iterator[zipfile.ZipFile]:
    """The archive, its damage told in one sentence."""
    try:
        with zipfile.ZipFile(source) as archive:
            _refuse_bombs(path, archive)
            yield archive
    except RegisterError:
        raise
    except _DAMAGED as error:
        raise RegisterError(
            f"{path.name}: the return file is damaged or no zip ({cause_of(error)}); export it "
            "again on the phone"
        ) from error


def _refuse_bombs(path: Path, archive: zipfile.ZipFile) -> None:
    entries = archive.infolist()
    if len(entries) > MOST_FILES or sum(entry.file_size for entry in entries) > MOST_BYTES:
        raise RegisterError(
            f"{path.name}: the archive holds more than a return file does ({len(entries)} files); "
            "give the file as the phone page wrote it"
        )


def _bytes(archive: zipfile.ZipFile, name: str, most: int) -> Iterator[bytes]:
    """Blocks of an entry; what it says of its own size is not believed."""
    seen = 0
    with archive.open(name) as stream:
        while block := stream.read(_BLOCK):
            seen += len(block)
            if seen > most:
                raise RegisterError(f"{name} unpacks to more than {most // 1_000_000} MB")
            yield block


def _unlike(name: str) -> None:
    raise ValueError(f"{name} is no number of JSON")


def _pairs(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    names = [name for name, _ in pairs]
    if len(set(names)) < len(names):
        raise ValueError("a name stands twice in one record")
    return dict(pairs)


def _records(path: Path, archive: zipfile.ZipFile) -> Mapping[str, Any]:
    """The records as JSON, of the format and version that are known."""
    if RECORDS not in archive.namelist():
        raise RegisterError(
            f"{path.name}: no {RECORDS} in it, so it is no return file; give the file that the "
            "phone page wrote"
        )
    try:
        text = b"".join(_bytes(archive, RECORDS, MOST_RECORDS_BYTES)).decode("utf-8")
        given = json.loads(text, parse_constant=_unlike, object_pairs_hook=_pairs)
    except RegisterError as error:
        raise RegisterError(f"{path.name}: {error}; give the file as the phone wrote it") from error
    except (ValueError, RecursionError) as error:
        raise RegisterError(
            f"{path.name}: {RECORDS} cannot be read ({cause_of(error)}); export it again"
        ) from error
    if not isinstance(given, dict) or given.get("format") != FORMAT:
        raise RegisterError(
            f"{path.name}: {RECORDS} is not of the format {FORMAT!r}; give the file that the phone "
            "page wrote"
        )
    if given.get("version") != VERSION:
        raise RegisterError(
            f"{path.name}: version {brief(repr(given.get('version')), 20)} of the return format, "
            f"and {VERSION} is known here; use a newer saltreach"
        )
    rows = given.get("rows")
    if not isinstance(rows, list) or len(rows) > MOST_ROWS:
        raise RegisterError(f"{path.name}: 'rows' is no list of at most {MOST_ROWS} records")
    return given


def _refused(row: int, column: str, value: object, reason: str, fix: str) -> dict[str, Any]:
    shown = brief(value if isinstance(value, str) else repr(value), 80)
    return {"row": row, "column": column, "value": shown, "reason": reason, "fix": fix}


def _rows(
    rows: list[Any], given: Mapping[str, Any]
) -> tuple[dict[int, dict[str, Any]], list[dict[str, Any]]]:
    """Records by number, and those that are none."""
    columns = RETURNS.columns
    shared = {name: given[name] for name in ("trip", "who") if isinstance(given.get(name), str)}
    good: dict[int, dict[str, Any]] = {}
    wrong = []
    for number, row in enumerate(rows, start=1):
        if not isinstance(row, dict):
            wrong.append(_refused(number, "", row, "not a record", "export it again on the phone"))
            continue
        bad = [name for name, value in row.items() if name in columns and not _is_plain(value)]
        if bad:
            said = "not a text, a number or a list of texts"
            wrong.append(_refused(number, bad[0], row[bad[0]], said, "export it again"))
            continue
        good[number] = shared | {name: value for name, value in row.items() if value is not None}
    return good, wrong


def _is_plain(value: Any) -> bool:
    if isinstance(value, list):
        return all(isinstance(one, str) for one in value)
    return value is None or isinstance(value, str | bool | int | float)


def _cell(value: Any) -> Any:
    if isinstance(value, list):
        return "; ".join(value)
    if isinstance(value, bool):
        return "yes" if value else "no"
    return formats.cell_text(value)


def _as_table(rows: Mapping[int, Mapping[str, Any]]) -> formats.Table:
    """Records as cells of text, as any table is read."""
    known = {name for name, column in RETURNS.columns.items() if column.required}
    given = {name for row in rows.values() for name in row}
    headers = tuple(name for name in RETURNS.columns if name in given | known)
    more = sorted(name for name in given.difference(headers) if _stated(name, rows))
    cells = [[_cell(row.get(name)) for row in rows.values()] for name in (*headers, *more)]
    unused = sorted(given.difference(headers, more))
    notes = (f"not used: {_some(unused)}",) if unused else ()
    headers = (*headers, *more)
    numbers = np.array(list(rows), dtype=np.int64)
    return formats.Table(headers, formats.text_frame(cells, len(rows)), numbers, "zip", notes)


def _stated(name: str, rows: Mapping[int, Mapping[str, Any]]) -> bool:
    """Whether a name that is none of ours has plain values, so that it is looked at as a header."""
    return len(name) <= _LONGEST and all(_is_plain(row.get(name)) for row in rows.values())


def _some(names: list[str], most: int = 5) -> str:
    """The first few names, and how many more."""
    more = f" and {len(names) - most} more" if len(names) > most else ""
    return ", ".join(brief(repr(name), 40) for name in names[:most]) + more


def _photos(
    path: Path, archive: zipfile.ZipFile, listed: Any, records: int
) -> tuple[tuple[Photo, ...], list[dict[str, Any]]]:
    """Photos whose bytes are what the file says, and what is wrong with the others.

    They are numbered on from the records.
    """
    found: list[Photo] = []
    wrong: list[dict[str, Any]] = []
    names = set(archive.namelist())
    entries = listed if isinstance(listed, list) else []
    for row, entry in enumerate(entries[:MOST_FILES], start=records + 1):
        one = entry if isinstance(entry, dict) else {}
        name, sha = one.get("file"), one.get("sha256")
        fix = "its record is kept; send the photo again"
        if not isinstance(name, str) or not _NAME.fullmatch(name) or ".." in name:
            said = "not the name of a photo in the archive"
            wrong.append(_refused(row, "photo", name, said, fix))
        elif name not in names:
            wrong.append(_refused(row, "photo", name, "not in the archive", fix))
        elif not isinstance(sha, str) or not _SHA.fullmatch(sha):
            wrong.append(_refused(row, "photo", name, "no checksum is given", fix))
        else:
            try:
                actual, head = _sum(archive, name)
            except (RegisterError, *_DAMAGED) as error:
                said = f"cannot be read ({cause_of(error)})"
                wrong.append(_refused(row, "photo", name, said, fix))
                continue
            suffix = _suffix(head)
            if actual != sha:
                said = "not the bytes that the phone wrote (another checksum)"
                wrong.append(_refused(row, "photo", name, said, fix))
            elif not suffix:
                wrong.append(_refused(row, "photo", name, "no picture (.jpg, .png, .webp)", fix))
            else:
                about = (one.get(key) for key in ("anchor_id", "record_id"))
                texts = [value if isinstance(value, str) else "" for value in about]
                found.append(Photo(path, name, sha, suffix, *texts))
    return tuple(found), wrong


def _sum(archive: zipfile.ZipFile, name: str) -> tuple[str, bytes]:
    found, head = hashlib.sha256(), b""
    for block in _bytes(archive, name, MOST_PHOTO_BYTES):
        head = head or block[:16]
        found.update(block)
    return found.hexdigest(), head


def _suffix(head: bytes) -> str:
    if _WEBP.match(head):
        return ".webp"
    return next((suffix for magic, suffix in _PICTURES.items() if head.startswith(magic)), "")


def copied(photo: Photo, into: IO[bytes]) -> None:
    """Write the bytes of a photo.

    Raises
    ------
    RegisterError
        The return file is gone, damaged, or was changed since it was read.
    """
    found = hashlib.sha256()
    with _opened(photo.archive, photo.archive) as archive:
        for block in _bytes(archive, photo.member, MOST_PHOTO_BYTES):
            found.update(block)
            into.write(block)
    if found.hexdigest() != photo.sha256:
        raise RegisterError(
            f"{photo.archive.name}: {photo.member} was changed while it was read; run it again"
        )
