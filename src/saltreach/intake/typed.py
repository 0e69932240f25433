"""Typed columns as the text a user would write."""

from __future__ import annotations

import datetime as dt
import json
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd
import pyarrow as pa
import pyarrow.compute as pc

from saltreach.intake.names import whole

if TYPE_CHECKING:
    from collections.abc import Iterable

_WHOLE = 1e15
"""From here on a whole number is written with an exponent."""
_LEAST, _MOST = 1e-4, 1e9
"""Between them Python and Arrow write the same decimals, without exponent."""


def cell_text(value: Any) -> Any:
    """Text of one typed cell as the user would write it; NaN for an empty one.

    Examples
    --------
    >>> cell_text(2014.0), cell_text(dt.datetime(2014, 6, 12)), cell_text("007"), cell_text(True)
    ('2014', '2014-06-12', '007', 'true')
    """
    if isinstance(value, str):
        return whole(value) if value else np.nan
    if value is None or value is pd.NaT or value is pd.NA:
        return np.nan
    if isinstance(value, bool | np.bool_):
        return "true" if value else "false"
    if isinstance(value, int | np.integer):
        return str(int(value))
    if isinstance(value, float | np.floating):
        number = float(value)
        if np.isnan(number):
            return np.nan
        return str(int(number)) if number.is_integer() and abs(number) < 1e15 else repr(number)
    if isinstance(value, dt.datetime):
        midnight = value.time() == dt.time(0)
        return value.date().isoformat() if midnight else value.isoformat(sep=" ")
    if isinstance(value, dt.date | dt.time):
        return value.isoformat()
    if isinstance(value, dict | list):
        return json.dumps(value, ensure_ascii=False)
    return str(value)


class NoText(Exception):
    """A column that holds what no cell of a table can; the text is the end of a sentence."""


def texts(column: pa.ChunkedArray) -> pa.ChunkedArray:
    """The cells of a column as `cell_text` writes each, null where empty.

    Parameters
    ----------
    column : pyarrow.ChunkedArray
        Of any type; lists and structures become JSON.

    Raises
    ------
    NoText
        It holds bytes that are no text.

    Examples
    --------
    >>> texts(pa.chunked_array([[2014.0, 0.5, None]])).to_pylist()
    ['2014', '0.5', None]
    """
    return pa.chunked_array(map(_texts, column.chunks), type=pa.large_string())


def _texts(values: pa.Array) -> pa.Array:
    kind = values.type
    if isinstance(values, pa.ExtensionArray):
        return _texts(values.storage)
    if pa.types.is_dictionary(kind):
        words = _texts(values.dictionary)
        lengths = pc.fill_null(pc.binary_length(words), 0)
        _not_too_long(pc.sum(pc.take(lengths, values.indices)).as_py())
        return pc.take(words, values.indices)
    if pa.types.is_null(kind):
        return pa.nulls(len(values), pa.large_string())
    if _is_bytes(kind):
        try:
            values = values.cast(pa.large_binary()).cast(pa.large_string())
        except pa.ArrowInvalid as error:
            raise NoText("holds bytes that are no text") from error
        kind = values.type
    if pa.types.is_string(kind) or pa.types.is_large_string(kind) or pa.types.is_string_view(kind):
        values = values.cast(pa.large_string())
        values.validate(full=True)
        return pc.if_else(pc.equal(values, ""), pa.scalar(None, pa.large_string()), values)
    if pa.types.is_boolean(kind) or pa.types.is_integer(kind):
        return values.cast(pa.large_string())
    if pa.types.is_floating(kind):
        known = values.is_valid().to_numpy(zero_copy_only=False)
        numbers = values.cast(pa.float64(), safe=False).to_numpy(zero_copy_only=False)
        return number_texts(np.where(known, numbers, np.nan))
    if pa.types.is_nested(kind):
        return _one_by_one(values.to_pylist())
    found = values.dictionary_encode()
    return pc.take(_one_by_one(found.dictionary.to_pylist()), found.indices)


def _is_bytes(kind: pa.DataType) -> bool:
    types = pa.types
    return (
        types.is_binary(kind) or types.is_large_binary(kind) or types.is_binary_view(kind)
        or types.is_fixed_size_binary(kind)
    )  # fmt: skip


def _not_too_long(letters: int | None) -> None:
    if (letters or 0) > _MOST_LETTERS:
        raise NoText(f"holds {letters:,} bytes of text, more than can be read")


_MOST_LETTERS = 1_500_000_000
"""Bytes that one column's texts may take once each cell holds its own."""


def _one_by_one(values: Iterable[Any]) -> pa.Array:
    said = (cell_text(_plain(value)) for value in values)
    return pa.array((s if isinstance(s, str) else None for s in said), type=pa.large_string())


def _plain(value: Any) -> Any:
    """Values inside a list or structure that JSON knows."""
    if isinstance(value, dict):
        return {str(name): _inside(inner) for name, inner in value.items()}
    return [_inside(inner) for inner in value] if isinstance(value, list | tuple) else value


def _inside(value: Any) -> Any:
    if isinstance(value, dict | list | tuple):
        return _plain(value)
    if value is None or isinstance(value, bool | int | float | str):
        return value
    text = cell_text(value)
    return text if isinstance(text, str) else None


def number_texts(numbers: np.ndarray) -> pa.Array:
    """Floats as `cell_text` writes each, null where NaN.

    Parameters
    ----------
    numbers : ndarray of float
        Any; infinite ones are `inf`.

    Examples
    --------
    >>> number_texts(np.array([-8.75, 12.0, np.nan, 1e-7])).to_pylist()
    ['-8.75', '12', None, '1e-07']
    """
    numbers = np.asarray(numbers, dtype=float)
    size = np.abs(numbers)
    with np.errstate(invalid="ignore"):
        whole = (np.floor(numbers) == numbers) & (size < _WHOLE)
    broken = ~whole & (size >= _LEAST) & (size < _MOST)
    digits = pa.array(np.where(whole, numbers, 0).astype(np.int64)).cast(pa.large_string())
    decimals = pa.array(np.where(broken, numbers, 0.5)).cast(pa.large_string())
    out = pc.if_else(pa.array(whole), digits, decimals)
    rest = np.flatnonzero(~whole & ~broken)
    if not len(rest):
        return out
    mask = np.zeros(len(numbers), dtype=bool)
    mask[rest] = True
    return pc.replace_with_mask(out, pa.array(mask), _one_by_one(numbers[rest].tolist()))


def is_plain_number(kind: Any) -> bool:
    """Whether numpy holds a column's numbers as they are."""
    return isinstance(kind, np.dtype) and kind.kind in "iuf"


def number_column(numbers: np.ndarray, index: pd.Index) -> pd.Series:
    """Numbers of a plain type as a column of text, as `cell_text` writes each."""
    whole_ones = numbers.dtype.kind in "iu"
    cells = pa.array(numbers).cast(pa.large_string()) if whole_ones else number_texts(numbers)
    return pd.Series(cells, index=index, dtype="str")
