"""What the system refused, in one sentence: path, cause and fix."""

from __future__ import annotations

import errno
import math
import shutil
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from saltreach.errors import OutputError, SaltreachError

_ROOM = "make room there, or give another --out"
_CAUSES = {
    errno.ENOSPC: ("the disk is full", _ROOM),
    errno.EDQUOT: ("your share of the disk is used up", _ROOM),
    errno.EFBIG: ("the file is larger than may be written there", "give another --out"),
    errno.EROFS: ("that disk is read-only", "give another --out"),
    errno.EACCES: ("you may not write there", "ask for the right, or give another --out"),
    errno.EPERM: ("the system does not allow it", "give another --out"),
    errno.ENOENT: ("no folder can be made there", "give another --out"),
    errno.ENOTDIR: ("a part of the path is a file", "give another --out"),
    errno.EISDIR: ("a folder is in the way", "give another --out"),
    errno.EEXIST: ("something else of that name is there", "give another --out"),
    errno.ENAMETOOLONG: ("the name is too long", "give a shorter --out"),
    errno.ELOOP: ("links there lead in a circle", "give another --out"),
    errno.EINVAL: ("no file can be written there", "give another --out"),
    errno.EBUSY: ("another program holds it", "close it there and run the command again"),
    errno.EIO: ("the disk reports an error", "give another --out"),
    errno.ENODEV: ("no file can be written there", "give another --out"),
    errno.ESTALE: ("the network disk lost it", "run the command again"),
}
_FULL = ("disk is full", "no space left", "disk full")
"""How libraries that hide the system's number say it."""
FULL_BELOW_BYTES = 1 << 20
"""With less room left whatever failed while writing failed for that: GDAL says only what it could
not do next."""


def cannot_write(
    path: Path | str, error: BaseException, option: str = "--out"
) -> OutputError | None:
    """The sentence for what kept a file from being written; None for another kind of error."""
    number = error.errno if isinstance(error, OSError) else None
    if number not in _CAUSES and any(word in str(error).casefold() for word in _FULL):
        number = errno.ENOSPC
    if number not in _CAUSES:
        return None
    cause, fix = _CAUSES[number]
    return OutputError(f"{path} cannot be written: {cause}; {fix.replace('--out', option)}")


def cannot_read(error: OSError) -> str | None:
    """The sentence for a file handed in that cannot be read; None without its name."""
    if error.filename is None or error.errno is None:
        return None
    if error.errno == errno.EISDIR:
        return f"{error.filename} is a folder: give a file"
    cause = (error.strerror or "").lower() or "no reason given"
    return f"{error.filename} cannot be opened ({cause}): check the path and who may read it"


def _free_bytes(path: Path | str) -> float:
    try:
        return shutil.disk_usage(path).free
    except OSError:
        return math.inf


@contextmanager
def told(path: Path | str, option: str = "--out") -> Iterator[None]:
    """Refusals of the system while something is written, as an `OutputError` that names it.

    `option` is the one that says where.
    """
    try:
        yield
    except SaltreachError:
        raise
    except Exception as error:
        said = cannot_write(path, error, option)
        if said is None and not isinstance(error, OSError) and _free_bytes(path) < FULL_BELOW_BYTES:
            said = cannot_write(path, OSError(errno.ENOSPC, ""), option)
        if said is None:
            raise
        raise said from error
