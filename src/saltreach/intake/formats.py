"""What every reader of a file gives: one table of text, and what it was asked for."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd

from saltreach.errors import RegisterError
from saltreach.intake.headers import column_of, is_header
from saltreach.intake.parts import Parts
from saltreach.intake.typed import cell_text as cell_text
from saltreach.intake.typed import is_plain_number, number_column
from saltreach.vocabulary.columns import REQUIRED


@dataclass(frozen=True)
class Table:
    """A register as its file has it: every cell text, NaN where empty.

    `cells` has one column per header, named 0, 1, 2 ... because headers may repeat. `rows` are
    the numbers the user sees. For GIS formats `points` holds the coordinates in `crs` (NaN
    where a feature has no point) and `odd_geometry` the type of geometries that are not points.
    `bad_rows` lists rows that could not even be split into cells: row, value, reason, fix.
    `point_text` is what the user wrote for points that were read from cells, `point_fault` why
    one could not be read (NaN where nothing is wrong).
    `other_sheets` are those of a workbook that were not read, `typed` the columns of a frame
    that hold numbers or truth values, by place.
    """

    headers: tuple[str, ...]
    cells: pd.DataFrame
    rows: np.ndarray
    format: str
    notes: tuple[str, ...] = ()
    points: np.ndarray | None = None
    odd_geometry: np.ndarray | None = None
    crs: Any = None
    crs_is_assumed: bool = False
    point_text: pd.Series | None = None
    point_fault: pd.Series | None = None
    bad_rows: tuple[tuple[int, str, str, str], ...] = ()
    other_sheets: tuple[str, ...] = ()
    typed: Mapping[int, pd.Series] = field(default_factory=dict)
    parts: Parts | None = None


@dataclass(frozen=True)
class Request:
    """What the user asked for, as the readers need it.

    `named` is the sheet that a table beside the register has in a workbook of several; None for
    a register, whose sheet is known by its headers. `known` says which headers are ours, `fits`
    whether headers are those of the table, where no sheet has its name.
    """

    columns: Mapping[str, str] | None = None
    grid: bool = False
    sheet: str | None = None
    layer: str | None = None
    named: str | None = None
    known: Callable[[str], bool] = is_header
    fits: Callable[[tuple[str, ...]], bool] | None = None

    def is_known(self, header: str) -> bool:
        """Whether a header is ours, by name or because the user mapped it."""
        mapped = (self.columns or {}).values()
        return header.strip() in {theirs.strip() for theirs in mapped} or self.known(header)

    def is_key(self, header: str) -> bool:
        """Whether a header names or places an anchor."""
        mapped = {theirs.strip(): ours for ours, theirs in (self.columns or {}).items()}
        return mapped.get(header.strip(), column_of(header, grid=True)) in REQUIRED


def content(path: Path, suffixes: Iterable[str], what: str) -> bytes:
    """Bytes of a file that can be read and holds something; `what` it must hold, for messages."""
    if path.suffix.lower() not in suffixes:
        raise RegisterError(
            f"{path.name}: cannot read {path.suffix or 'a file without suffix'!r}; "
            f"give one of {', '.join(suffixes)}"
        )
    try:
        data = path.read_bytes()
    except FileNotFoundError as error:
        raise RegisterError(f"{path}: no such file; check the path") from error
    except OSError as error:
        raise RegisterError(f"{path}: cannot be read ({error.strerror})") from error
    if not data.strip():
        raise RegisterError(f"{path.name}: the file is empty; give a header row and {what}")
    return data


def text_frame(columns: Sequence[Iterable[Any]], length: int) -> pd.DataFrame:
    """Frame of text columns named 0, 1, 2 ... from columns of typed cells."""

    def text(values: Iterable[Any]) -> pd.Series:
        if isinstance(values, pd.Series) and isinstance(values.dtype, pd.StringDtype):
            return values.astype("str").set_axis(range(length)).where(lambda v: v != "")
        if isinstance(values, pd.Series) and is_plain_number(values.dtype):
            return number_column(values.to_numpy(), pd.RangeIndex(length))
        return pd.Series([cell_text(v) for v in values], index=range(length), dtype="str")

    return pd.DataFrame(
        {i: text(values) for i, values in enumerate(columns)}, index=pd.RangeIndex(length)
    )


_PIECE = re.compile(r"[^;\n]+")
_KEY = re.compile(r"\s*([^\W\d][\w .\-]{0,60}?)\s*=")


def key_value_pairs(text: str) -> tuple[dict[str, str], str]:
    """Split `key=value; key=value` text; what precedes the first key is returned apart.

    A semicolon that no `key=` follows belongs to the value.

    Examples
    --------
    >>> key_value_pairs("crag=Punta Roja; sector=Norte; notes=rusty; look again")
    ({'crag': 'Punta Roja', 'sector': 'Norte', 'notes': 'rusty; look again'}, '')
    """
    # piece by piece: one pattern over all would take minutes on a page of blank lines
    found = [
        (piece.start(), key) for piece in _PIECE.finditer(text) if (key := _KEY.match(piece[0]))
    ]
    if not found:
        return {}, text.strip()
    ends = [*(start - 1 for start, _ in found[1:]), len(text)]
    pairs = {
        key[1]: text[start + key.end() : end].strip()
        for (start, key), end in zip(found, ends, strict=True)
    }
    return pairs, text[: found[0][0]].strip().removesuffix(";").strip()
