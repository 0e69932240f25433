"""The rock mass of each sector, from a table of its own or a sheet of the register's workbook."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pandas as pd

from saltreach.intake.sheets import Sheet, read_table, refuse_unknown
from saltreach.intake.tables import SURVEY


def read_survey(path: str | Path, *, sheet: str | None = None) -> Sheet:
    """Read and check a survey of sectors; see `read_table`."""
    return read_table(path, SURVEY, sheet=sheet)


def sector_key(frame: pd.DataFrame) -> pd.Series:
    """Crag and sector as one text, without regard to case and double blanks."""
    parts = [
        frame[name].fillna("").astype("str").str.split().str.join(" ").str.casefold()
        for name in ("crag", "sector")
    ]
    return parts[0] + "\x1f" + parts[1]


def with_names(survey: Sheet, anchors: pd.DataFrame) -> Sheet:
    """A survey with the rows whose sector holds none of these anchors moved to `rejected`."""
    return refuse_unknown(survey, anchors.groupby("crag")["sector"].agg(set).to_dict())


def survey_at(survey: Sheet | None, anchors: pd.DataFrame) -> tuple[pd.DataFrame, Sheet | None]:
    """What the survey says of each anchor's sector.

    Parameters
    ----------
    survey : Sheet or None
        From `read_survey`.
    anchors : DataFrame
        Columns `crag` and `sector`; case and double blanks do not matter.

    Returns
    -------
    values : DataFrame
        Columns of the survey but crag and sector, one row per anchor, unknown where the sector
        was not surveyed: numbers NaN, words "".
    survey : Sheet or None
        With the rows whose sector holds no anchor moved to `rejected`.
    """
    columns = [c for c in SURVEY.columns.values() if not c.required]
    if survey is None:
        empty = {c.name: ("" if c.choices else np.nan) for c in columns}
        return pd.DataFrame(empty, index=anchors.index), None
    kept = with_names(survey, anchors)
    table = kept.frame(SURVEY.columns.values())
    values = table.set_axis(pd.Index(sector_key(table)))[[c.name for c in columns]]
    values = values.reindex(sector_key(anchors)).set_axis(anchors.index)
    words = [c.name for c in columns if c.choices]
    values[words] = values[words].fillna("").astype("str")
    return values, kept
