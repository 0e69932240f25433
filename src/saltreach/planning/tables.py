"""Tables that Python users hand in and get back: from files or frames, with their real types."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

import pandas as pd

from saltreach.assessment.typed import typed_columns
from saltreach.vocabulary.columns import columns_of
from saltreach.vocabulary.words import UNKNOWN

CLOCKS = ("begins", "ends", "trip_leaves", "trip_back")
"""Times of day; typed, they stand on the day of the visit."""


def frame_or_file(given: Any, name: str, read: Callable[[Any], Any]) -> Any:
    """What a reader of files makes of a table: a path, a frame, or what it has read before.

    Parameters
    ----------
    given : path, DataFrame, or what `read` returns
        A frame's cells are read as those of a file are: the same words, checks and messages.
    name : str
        Of the table, for messages about a frame.
    read : callable
        Reader of a path.
    """
    if isinstance(given, str | Path):
        return read(given)
    if not isinstance(given, pd.DataFrame):
        return given
    with TemporaryDirectory() as folder:
        file = Path(folder) / f"{name}.csv"
        as_written(given).to_csv(file, index=False)
        return read(file)


def typed(table: pd.DataFrame, name: str) -> pd.DataFrame:
    """A table of a plan or of priorities with real types.

    Parameters
    ----------
    table : DataFrame
        As its file holds it.
    name : str
        Of the table, as `vocabulary.columns` has it.
    """
    if "risk_band" in table:
        table = table.assign(risk_band=table["risk_band"].replace(UNKNOWN, ""))
    columns = typed_columns(table, columns_of(name))
    for clock in set(CLOCKS) & set(columns):
        columns[clock] = columns["date"] + pd.to_timedelta(table[clock] + ":00")
    return pd.DataFrame(columns, index=table.index)


def as_written(table: pd.DataFrame) -> pd.DataFrame:
    """A table with typed days, times and words as its file holds them."""
    columns: dict[str, Any] = {}
    for name, column in table.items():
        if pd.api.types.is_datetime64_any_dtype(column.dtype):
            columns[name] = column.dt.strftime("%H:%M" if name in CLOCKS else "%Y-%m-%d").fillna("")
        elif isinstance(column.dtype, pd.CategoricalDtype):
            columns[name] = column.astype(object).fillna(UNKNOWN if name == "risk_band" else "")
        else:
            columns[name] = column
    return pd.DataFrame(columns, index=table.index)


def left_out_before(provenance: Mapping[str, Any]) -> tuple[str, ...]:
    """What an assessment left out, to be said first with all that rests on it."""
    return tuple(f"In the assessment: {text}" for text in provenance.get("left_out", ()))


def looser(provenance: Mapping[str, Any]) -> list[str]:
    """What the policy of an assessment loosens, and what was learned, to be said with all that
    rests on it."""
    learned = [note for note in provenance.get("table_notes", ()) if note.startswith("LEARNED")]
    return [*(f"looser policy: {text}" for text in provenance["policy"]["loosened"]), *learned]
