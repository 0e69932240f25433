"""Work on the distinct rows of long tables, some thousands at a time."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence

import numpy as np
from numpy.typing import NDArray

from saltreach.science.types import Values, numbers

_CHUNK_ROWS = 4096


def distinct_rows(columns: Sequence[np.ndarray]) -> tuple[np.ndarray, np.ndarray]:
    """Find the distinct rows of a table of numbers.

    Parameters
    ----------
    columns : sequence of numpy.ndarray
        Numbers, columns of one length; NaN equals NaN.

    Returns
    -------
    first, inverse : numpy.ndarray
        Place of the first of each distinct row, in the order met, and for each row its place
        among them.

    Examples
    --------
    >>> first, inverse = distinct_rows([np.array([1.0, 2.0, 1.0]), np.array([0.0, 0.0, 0.0])])
    >>> first.tolist(), inverse.tolist()
    ([0, 1], [0, 1, 0])
    """
    bits = [_bits(column) for column in columns]
    first, inverse = _different(_mixed(bits))
    if not all((column[first][inverse] == column).all() for column in bits):
        # two rows have one mixture
        inverse = np.zeros(len(bits[0]), dtype=np.int64)
        for column in bits:
            values, code = np.unique(column, return_inverse=True)
            first, inverse = _different(inverse * len(values) + code)
    return first, inverse


def _different(key: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Place of the first of each key, and which of them each is, in the order met."""
    _, first, inverse = np.unique(key, return_index=True, return_inverse=True)
    order = np.argsort(first, kind="stable")
    rank = np.empty(len(order), dtype=np.int64)
    rank[order] = np.arange(len(order))
    return first[order], rank[inverse]


def _bits(column: np.ndarray) -> NDArray[np.uint64]:
    """Numbers as bits that are equal where the numbers are: one zero, one NaN."""
    value = np.asarray(column, dtype=np.float64) + 0.0
    value[np.isnan(value)] = np.nan
    return value.view(np.uint64)


def _mixed(bits: Sequence[NDArray[np.uint64]]) -> NDArray[np.uint64]:
    """A number for each row, nearly never the same for two different ones.

    Steele and others (2014), Fast splittable pseudorandom number generators (the mixing of
    SplitMix64); from memory. Whatever it gives, results are the same.
    """
    key = np.zeros(len(bits[0]), dtype=np.uint64)
    for column in bits:
        key ^= column
        for shift, factor in ((30, 0xBF58476D1CE4E5B9), (27, 0x94D049BB133111EB)):
            key ^= key >> np.uint64(shift)
            key *= np.uint64(factor)
        key ^= key >> np.uint64(31)
    return key


def in_chunks(
    function: Callable[..., tuple[np.ndarray, ...]], inputs: Mapping[str, Values]
) -> tuple[np.ndarray, ...]:
    """Call a function of equal-length columns on the distinct rows, some thousands at a time.

    Parameters
    ----------
    function : callable
        Takes the columns by name, returns arrays of their length.
    inputs : dict
        Array_like by name; broadcast against each other.

    Returns
    -------
    tuple of numpy.ndarray
        What `function` returned, in the broadcast shape of the inputs.

    Examples
    --------
    >>> in_chunks(lambda a, b: (a + b,), {"a": [1.0, 1.0], "b": 2.0})[0].tolist()
    [3.0, 3.0]
    """
    broadcast = np.broadcast_arrays(*numbers(*inputs.values()))
    shape = broadcast[0].shape
    columns = [column.ravel() for column in broadcast]
    first, inverse = distinct_rows(columns)
    rows = [column[first] for column in columns]
    starts = range(0, max(len(first), 1), _CHUNK_ROWS)
    parts = [
        function(**{k: r[i : i + _CHUNK_ROWS] for k, r in zip(inputs, rows, strict=True)})
        for i in starts
    ]
    return tuple(
        np.concatenate(piece)[inverse].reshape(shape) for piece in zip(*parts, strict=True)
    )


def on_distinct(
    function: Callable[..., tuple[np.ndarray, ...]], *columns: np.ndarray
) -> tuple[np.ndarray, ...]:
    """Call a function of columns on their distinct rows, where there are few of them.

    Parameters
    ----------
    function : callable
        Takes the columns, returns arrays of their length; what it gives for a row must not depend
        on the other rows.
    *columns : ndarray, shape (n,)
        Of one length; NaN equals NaN.

    Returns
    -------
    tuple of numpy.ndarray

    Examples
    --------
    >>> on_distinct(lambda a, b: (a + b,), np.array([1.0, 1.0]), np.array([2.0, 2.0]))[0].tolist()
    [3.0, 3.0]
    """
    found = few_distinct(columns)
    if found is None:
        return function(*columns)
    first, inverse = found
    return tuple(part[inverse] for part in function(*(c[first] for c in columns)))


_FEW = 0.7
"""More distinct rows than this share are not worth looking for."""


def few_distinct(columns: Sequence[np.ndarray]) -> tuple[np.ndarray, np.ndarray] | None:
    """As `distinct_rows`, None where most rows differ."""
    first, inverse = distinct_rows(columns)
    return None if len(first) > _FEW * len(inverse) else (first, inverse)
