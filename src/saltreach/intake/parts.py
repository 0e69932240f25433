"""A register in several files: which row of which one each row is."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd


@dataclass(frozen=True)
class Parts:
    """Which row of which part each row is, where a register stands in several files.

    `names` are those of the parts in order, `ends` the number of the last row of each, counted
    from 1 through all of them.
    """

    names: tuple[str, ...]
    ends: tuple[int, ...]

    @classmethod
    def of(cls, names: Sequence[str], rows: Sequence[int]) -> Parts:
        """Parts by how many rows each has."""
        return cls(tuple(names), tuple(np.cumsum(rows).tolist()))

    def named(self, rows: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """Name of the part of each row, and the number of the row in it.

        Examples
        --------
        >>> part, row = Parts.of(["a", "b"], [2, 3]).named(np.array([2, 3]))
        >>> part.tolist(), row.tolist()
        (['a', 'b'], [2, 1])
        """
        at = np.searchsorted(self.ends, rows)
        before = np.array([0, *self.ends])[at]
        return np.array(self.names, dtype=object)[at], rows - before


def row_named(bad: Any, whole: str) -> str:
    """The row of a problem for a message, with its part where the register stands in several.

    Parameters
    ----------
    bad : named tuple
        A row of a table of problems: its `file` and `row`.
    whole : str
        Name of the register.

    Examples
    --------
    >>> from types import SimpleNamespace as Bad
    >>> row_named(Bad(file="region/a.parquet", row=2), "region")
    'row 2 of a.parquet'
    >>> row_named(Bad(file="anchors.csv", row=2), "anchors.csv")
    'row 2'
    """
    part = str(bad.file).removeprefix(f"{whole}/")
    return f"row {bad.row}" if part == bad.file else f"row {bad.row} of {part}"


def rows_in(problems: pd.DataFrame) -> int:
    """How many rows problems are of; rows of different parts may have one number."""
    return len(problems[["file", "row"]].drop_duplicates())


def in_parts(table: pd.DataFrame, parts: Parts | None) -> pd.DataFrame:
    """Problems of a register in several files with the file and the row of each."""
    if parts is None:
        return table
    part, row = parts.named(table["row"].to_numpy())
    files = pd.Series(part, index=table.index, dtype="str")
    return table.assign(file=table["file"] + "/" + files, row=row.astype(np.int64))
