"""Work on the distinct rows of long tables, some thousands at a time."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence

import numpy as np

from saltreach.science.types import Values, numbers

_CHUNK_ROWS = 4096


def distinct_rows(columns: list[np.ndarray]) -> tuple[np.ndarray, np.ndarray]:
    """Find the distinct rows of a table of numbers.

    Parameters
    ----------
    columns : list of numpy.ndarray
        Columns of one length; NaN equals NaN.

    Returns
    -------
    first, inverse : numpy.ndarray
        Place of the first of each distinct row, and for each row its place among them.

    Examples
    --------
    >>> first, inverse = distinct_rows([np.array([1.0, 2.0, 1.0]), np.array([0.0, 0.0, 0.0])])
    >>> first.tolist(), inverse.tolist()
    ([0, 1], [0, 1, 0])
    """
    key = np.zeros(len(columns[0]), dtype=np.int64)
    for column in columns:
        _, code = np.unique(column, return_inverse=True)
        _, key = np.unique(key * (int(code.max(initial=0)) + 1) + code, return_inverse=True)
    _, first, inverse = np.unique(key, return_index=True, return_inverse=True)
    return first, inverse


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
    """As `distinct_rows`, None as soon as most rows are known to differ."""
    count = len(columns[0])
    key, kinds = np.zeros(count, np.int64), 1
    for column in columns:
        values, code = np.unique(column, return_inverse=True)
        if len(values) == 1:
            continue
        key = key * len(values) + code if kinds > 1 else code
        kinds *= len(values)
        if kinds > _FEW * count:
            kept, key = np.unique(key, return_inverse=True)
            kinds = len(kept)
            if kinds > _FEW * count:
                return None
    _, first, inverse = np.unique(key, return_index=True, return_inverse=True)
    return first, inverse
