"""What several processes of one run of the tests need, made by the first that asks."""

from collections.abc import Callable
from pathlib import Path

import pytest
from filelock import FileLock


def once(factory: pytest.TempPathFactory, name: str, make: Callable[[Path], None]) -> Path:
    """A folder of this run, filled by `make` in whichever process comes first."""
    root = factory.getbasetemp()
    if root.name.startswith("popen-"):  # a worker's own folder lies in that of the run
        root = root.parent
    folder, done = root / name, root / f"{name}.done"
    with FileLock(root / f"{name}.lock"):
        if not done.exists():
            folder.mkdir()
            make(folder)
            done.touch()
    return folder
