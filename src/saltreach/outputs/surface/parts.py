"""Blocks of a surface on the disk while it is made: what is done is not done again."""

from __future__ import annotations

import hashlib
import json
import shutil
from collections.abc import Iterator, Mapping
from contextlib import suppress
from pathlib import Path

import numpy as np

from saltreach.assessment.surface_blocks import Filled
from saltreach.assessment.surface_cells import SEA_CODE
from saltreach.assessment.surface_grid import Block
from saltreach.folders.files import OWN_PREFIX, whole_file

PARTS_PREFIX = f"{OWN_PREFIX}surface-"


class Parts:
    """Blocks that are done, in a hidden folder beside the target named after the request.

    The folder is there while it holds a block.
    """

    def __init__(self, folder: Path, name: str, about: Mapping[str, str]) -> None:
        text = json.dumps(dict(about), sort_keys=True, ensure_ascii=False)
        mark = hashlib.sha256(text.encode()).hexdigest()[:16]
        start = f"{PARTS_PREFIX}{name}-"
        self.folder = folder / f"{start}{mark}"
        for other in folder.glob(f"{PARTS_PREFIX}*"):  # of another request for the same target
            if other.name[:-16] == start and other != self.folder and other.is_dir():
                shutil.rmtree(other)

    def _file(self, block: Block) -> Path:
        return self.folder / f"{block.row}-{block.column}.npz"

    def has(self, block: Block) -> bool:
        """Whether a block is done."""
        return self._file(block).is_file()

    def keep(self, block: Block, filled: Filled) -> None:
        """Put a block on the disk, whole or not at all; of one without land only that it is."""
        land = (filled.classes != SEA_CODE).any()
        try:
            with whole_file(self._file(block)) as stream:
                np.savez(stream, **(filled._asdict() if land else {}))
        except BaseException:
            with suppress(OSError):  # another block is in it
                self.folder.rmdir()
            raise

    def filled(self, blocks: tuple[Block, ...]) -> Iterator[tuple[Block, Filled]]:
        """The blocks with land, in order."""
        for block in blocks:
            with np.load(self._file(block)) as found:
                if found.files:
                    yield block, Filled(found["numbers"], found["classes"])

    def remove(self) -> None:
        """When the target stands."""
        with suppress(OSError):
            shutil.rmtree(self.folder)
