"""Files appear whole or not at all: written beside their place, then moved into it."""

from __future__ import annotations

import os
import shutil
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path


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
    path.parent.mkdir(parents=True, exist_ok=True)
    handle, temporary = tempfile.mkstemp(dir=path.parent, prefix=f".{path.name}.", suffix=".part")
    try:
        with os.fdopen(handle, "wb") as stream:
            stream.write(content.encode("utf-8") if isinstance(content, str) else content)
        # mkstemp makes private files; these are there to be shared
        Path(temporary).chmod(0o644)
        Path(temporary).replace(path)
    finally:
        Path(temporary).unlink(missing_ok=True)
    return path


@contextmanager
def atomic_folder(target: Path) -> Iterator[Path]:
    """A temporary folder whose files move into `target` once all of them are written.

    Files of the same name in `target` are replaced one by one, each in one step; nothing
    else there is touched. On an error nothing moves.
    """
    target.mkdir(parents=True, exist_ok=True)
    work = Path(tempfile.mkdtemp(prefix=".saltreach-", dir=target))
    try:
        yield work
        for file in sorted(work.iterdir()):
            file.replace(target / file.name)
    finally:
        shutil.rmtree(work, ignore_errors=True)
