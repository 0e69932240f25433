"""A register in parts that are assessed one by one, and what was found of them put together again.

A part holds whole crags, for nothing that is worked out of neighbours reaches beyond a crag; what
speaks for the whole register is worked out before (`region.region_of`). So neither the size of the
parts nor their number changes a bit of the result.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Any, TypeAlias

import numpy as np
import pandas as pd

if TYPE_CHECKING:
    from numpy.typing import NDArray

Columns: TypeAlias = dict[str, Any]
"""Arrays by name of column."""

PART_ROWS = 25_000
"""Anchors of a part, more where one crag has more: some 250 MB at work. Our own choice."""
LONG_ROWS = 250_000
"""In a longer register what a part says in few different texts stays a column of categories, a
fortieth of the memory. Our own choice."""
_WORLD_DEG = (-180.0, -90.0, 180.0, 90.0)


def parts_of(anchors: pd.DataFrame, at_most: int = PART_ROWS) -> list[NDArray[np.int64]]:
    """Rows of each part of a register: whole crags, near ones together.

    Parameters
    ----------
    anchors : DataFrame
        Columns `crag`, `lon`, `lat`.
    at_most : int
        A part ends before the crag that would make it larger.

    Returns
    -------
    list of ndarray
        Places of rows, rising within a part. Crags follow a Hilbert curve over the world, each by
        its first anchor, so that a part's anchors share pieces of the layers.
    """
    import geopandas as gpd

    crag, _ = pd.factorize(anchors["crag"], use_na_sentinel=False)
    first = np.unique(crag, return_index=True)[1]
    lon, lat = (anchors[name].to_numpy(float)[first] for name in ("lon", "lat"))
    along = gpd.GeoSeries(gpd.points_from_xy(lon, lat)).hilbert_distance(_WORLD_DEG).to_numpy()
    order = np.argsort(along, kind="stable")
    size = np.bincount(crag)[order]
    number = np.empty(len(order), np.int64)
    held = part = 0
    for at, count in enumerate(size.tolist()):
        if held and held + count > at_most:
            held, part = 0, part + 1
        held += count
        number[order[at]] = part
    rows = np.argsort(number[crag], kind="stable")
    ends = np.cumsum(np.bincount(number[crag]))[:-1]
    return np.split(rows, ends)


def shrunk(table: pd.DataFrame) -> Columns:
    """The columns of a table, those of text as their few distinct texts: small to send.

    Each stands for itself, so that its room is free once it was taken.
    """
    text = set(table.select_dtypes(include=["object", "str"]).columns)
    return {
        name: pd.Categorical(table[name]) if name in text else table[name].array for name in table
    }


def together(parts: Sequence[Columns], rows: Sequence[NDArray[np.int64]]) -> Columns:
    """What was found of parts, in the order of the register.

    Parameters
    ----------
    parts : sequence of dict
        From `shrunk`, with the same columns. They are emptied, so that no two copies are held.
    rows : sequence of ndarray
        Places of their rows, from `parts_of`.

    Returns
    -------
    dict
        Text as text again, but in a register of more than `LONG_ROWS`: categories there, without an
        unknown one.
    """
    from pandas.api.types import union_categoricals

    count = sum(map(len, rows))
    back = np.argsort(np.concatenate(rows), kind="stable")
    out: Columns = {}
    for name in list(parts[0]):
        columns = [part.pop(name) for part in parts]
        if isinstance(columns[0], pd.Categorical):
            whole = union_categoricals(columns, sort_categories=True)
            words = pd.array(np.asarray(whole.categories, dtype=object), dtype="str")
            codes = whole.codes[back]
            if count > LONG_ROWS and len(words) < count / 10 and (codes >= 0).all():
                out[name] = pd.Categorical.from_codes(codes, pd.Index(words))
            else:
                out[name] = words.take(codes, allow_fill=True)
        else:
            out[name] = pd.concat(map(pd.Series, columns), ignore_index=True).array.take(back)
    return out
