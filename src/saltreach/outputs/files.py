"""Files appear whole or not at all: written beside their place, then moved into it."""

from __future__ import annotations

import shutil
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path


@contextmanager
def whole_folder(target: Path) -> Iterator[Path]:
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
