"""The tables as Python users expect them: days, ordered words, numbers that may be unknown."""

from __future__ import annotations

import json
from collections.abc import Mapping
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

from saltreach.vocabulary.columns import Column, chance_of
from saltreach.vocabulary.words import SEPARATOR, Scale

if TYPE_CHECKING:
    import geopandas as gpd

KEYS = ("crag", "sector", "anchor_id")


def typed(frame: gpd.GeoDataFrame, columns: Mapping[str, Column]) -> gpd.GeoDataFrame:
    """A table with real types: `typed_columns` with the same rows, geometry and CRS."""
    parts = typed_columns(frame, columns)
    return type(frame)(parts, index=frame.index, geometry=frame.geometry.name, crs=frame.crs)


def typed_columns(frame: pd.DataFrame, columns: Mapping[str, Column]) -> dict[str, pd.Series]:
    """Columns of a table with real types.

    Parameters
    ----------
    frame : DataFrame
        Columns as the files hold them.
    columns : mapping of str to Column
        What is known of them (`vocabulary.columns.columns_of`); others pass unchanged.

    Returns
    -------
    dict of str to Series
        A `day` becomes datetime64, a `choice` categorical (ordered
        where its words are), an `integer` Int64, a `number` float64; empty text becomes a missing
        value. `probabilities` become one number column a word (`category_probability_C3`).
        `sentences` and `curve` are tables of their own: see `sentences_of` and `curves_of`. A
        `date` stays text: it may stop at the year.
    """
    parts: dict[str, pd.Series] = {}
    for name in frame.columns:
        column = columns.get(name)
        if column is None or column.kind not in ("sentences", "curve", "probabilities"):
            parts[name] = _typed(frame[name], column)
        elif column.kind == "probabilities":
            chances = [json.loads(v) if isinstance(v, str) and v else {} for v in frame[name]]
            for word in column.choices:
                values = [chance.get(word, np.nan) for chance in chances]
                parts[chance_of(column, word)] = pd.Series(values, index=frame.index, dtype=float)
    return parts


def _typed(values: pd.Series, column: Column | None) -> pd.Series:
    if column is None:
        return values
    if column.kind == "number":
        return pd.to_numeric(values).astype(float)
    if column.kind == "integer":
        return pd.to_numeric(values).astype("Int64")
    known = values.replace("", None)
    if column.kind == "day":
        return pd.to_datetime(known, format="%Y-%m-%d")
    if column.kind == "choice":
        ordered = isinstance(column.choices, Scale)
        kind = pd.CategoricalDtype(list(column.choices), ordered=ordered)
        return known.astype(kind)
    return known.astype("str")


def sentences_of(frame: pd.DataFrame, columns: Mapping[str, Column]) -> pd.DataFrame:
    """Every reason and warning of a table, one sentence a row.

    Parameters
    ----------
    frame : DataFrame
        As the files hold it, with the columns of `KEYS` that it has.
    columns : mapping of str to Column
        What is known of its columns.

    Returns
    -------
    DataFrame
        The keys, `about` (the column that held it), `place` (from 1, in the order said) and
        `sentence`.
    """
    keys = [name for name in KEYS if name in frame]
    parts = []
    for name, column in columns.items():
        if column.kind != "sentences" or name not in frame:
            continue
        said = pd.DataFrame(frame[keys]).assign(about=name)
        said["sentence"] = frame[name].fillna("").str.split(SEPARATOR, regex=False)
        parts.append(said.rename_axis("row").reset_index().explode("sentence"))
    long = pd.concat(parts, ignore_index=True)
    long = long[long["sentence"].fillna("") != ""].sort_values("row", kind="stable")
    long["place"] = long.groupby(["row", "about"], sort=False).cumcount() + 1
    return long[[*keys, "about", "place", "sentence"]].reset_index(drop=True)


def curves_of(sectors: pd.DataFrame) -> pd.DataFrame:
    """Probability of failure in a year from today on, one row a sector, one column a year.

    Parameters
    ----------
    sectors : DataFrame
        `crag`, `sector` and `failure_curve` as the files hold it.

    Returns
    -------
    DataFrame
        Indexed by crag and sector; columns are years from today. A sector of which nothing is
        known is missing.
    """
    keys = pd.MultiIndex.from_frame(pd.DataFrame(sectors[["crag", "sector"]]))
    rows = {
        key: value if isinstance(value, list) else json.loads(value)
        for key, value in zip(keys, sectors["failure_curve"], strict=True)
        if isinstance(value, list) or value
    }
    index = pd.MultiIndex.from_tuples(list(rows), names=keys.names) if rows else keys[:0]
    curves = pd.DataFrame(list(rows.values()), index=index, dtype=float)
    return curves.rename_axis(columns="year")
