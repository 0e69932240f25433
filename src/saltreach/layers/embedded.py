"""Where the files that ship with saltreach lie, in a wheel and in a checkout."""

from __future__ import annotations

import hashlib
from functools import lru_cache
from pathlib import Path

from saltreach.errors import LayerError

_PACKAGE = Path(__file__).resolve().parents[1]
_PLACES = (_PACKAGE / "data", _PACKAGE.parents[1] / "data")


def embedded_file(name: str) -> Path:
    """Path of an embedded file, e.g. ``embedded_file("layers/coast_gshhg_h.npz")``.

    Raises
    ------
    LayerError
        When the installation does not hold the file.
    """
    for place in _PLACES:
        if (place / name).is_file():
            return place / name
    raise LayerError(
        f"embedded file {name!r} is missing from this installation; reinstall saltreach, "
        f"or rebuild the file with the scripts under data/build/"
    )


@lru_cache(maxsize=32)
def sha256_of(path: Path) -> str:
    """SHA-256 checksum of a file, hexadecimal."""
    with path.open("rb") as stream:
        return hashlib.file_digest(stream, "sha256").hexdigest()
