"""Tables that Python users hand in and get back: from files or frames, with their real types."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

import pandas as pd

from saltreach.vocabulary.metals import BONDED, MECHANICAL, PLACEABLE
from saltreach.vocabulary.words import BANDS, UNKNOWN, VISIT_KINDS, YES_NO

CLOCKS = ("begins", "ends", "trip_leaves", "trip_back")
"""Times of day; typed, they stand on the day of the visit."""
_YES_NO = dict.fromkeys(("sea_cliff", "chosen", "size_assumed"), YES_NO.dtype())
_WORDS = _YES_NO | {
    "risk_band": BANDS.dtype(),
    "metal": pd.CategoricalDtype(PLACEABLE, ordered=True),
    "kind": pd.CategoricalDtype((*VISIT_KINDS, BONDED, MECHANICAL)),
}


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


def typed(table: pd.DataFrame) -> pd.DataFrame:
    """A table of a plan or of priorities with real types.

    Days are datetime64, times of day stand on their day, words that have an order are ordered
    categories (not known: missing), counts are nullable whole numbers.
    """
    columns: dict[str, Any] = {}
    for name, column in table.items():
        if name in CLOCKS:
            columns[name] = pd.to_datetime(table["date"]) + pd.to_timedelta(column + ":00")
        elif _is_day(str(name)):
            columns[name] = pd.to_datetime(column.replace("", None), format="%Y-%m-%d")
        elif name in _WORDS:
            known = column.where(column.isin(_WORDS[name].categories)).astype(_WORDS[name])
            columns[name] = known if known.cat.ordered else known.cat.remove_unused_categories()
        elif pd.api.types.is_integer_dtype(column.dtype):
            columns[name] = column.astype("Int64")
        else:
            columns[name] = column
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


def _is_day(name: str) -> bool:
    return name.startswith("date") or name.endswith("_on")


def looser(provenance: Mapping[str, Any]) -> list[str]:
    """What the policy of an assessment loosens, to be said with all that rests on it."""
    return [f"looser policy: {text}" for text in provenance["policy"]["loosened"]]
