"""Rules of the register: every broken rule of every row, all at once.

Single-column rules (required, range, allowed words) are a pandera schema made from
`columns.REGISTER`; rules across columns and rows are the data in `ROW_RULES` and the functions
below them.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import lru_cache
from typing import Any

import numpy as np
import pandas as pd
import pyarrow as pa
import pyarrow.compute as pc

from saltreach.intake.dates import day_limits
from saltreach.intake.names import keys_of
from saltreach.intake.positions import looks_swapped
from saltreach.vocabulary.columns import REGISTER, REGISTER_BY_NAME, REJECTED_COLUMNS, Column
from saltreach.vocabulary.metals import GRADES

METAL_OF_GRADE = {grade.name: grade.material for grade in GRADES}

PROBLEM_COLUMNS = ("place", "column", "value", "reason", "fix")
"""A problem before it is shown: `place` is the position of the row in the table read."""


@dataclass(frozen=True)
class RowRule:
    """A rule over several columns of one row; `bad` gets the parsed table."""

    columns: tuple[str, ...]
    reason: str
    fix: str
    bad: Callable[[pd.DataFrame], pd.Series]


def _inspected_before_installed(table: pd.DataFrame) -> pd.Series:
    installed, _ = day_limits(table["installed_on"])
    _, inspected = day_limits(table["last_inspected_on"])
    return pd.Series(inspected < installed, index=table.index)


ROW_RULES: tuple[RowRule, ...] = (
    RowRule(
        ("lon", "lat"),
        "0, 0 is a placeholder, not a position",
        "give the surveyed position of the anchor",
        lambda t: (t["lon"] == 0) & (t["lat"] == 0),
    ),
    RowRule(
        ("embedment_mm", "diameter_mm"),
        "embedment shorter than the diameter",
        "give both in millimetres (not cm), and check that they are not exchanged",
        lambda t: t["embedment_mm"] < t["diameter_mm"],
    ),
    RowRule(
        ("grade", "material"),
        "the grade is of another metal",
        "correct the wrong one of the two, or leave one empty",
        lambda t: t["grade"].notna() & (t["grade"].map(METAL_OF_GRADE) != t["material"]),
    ),
    RowRule(
        ("last_inspected_on", "installed_on"),
        "inspected before it was installed",
        "correct the wrong one of the two dates, or leave it empty",
        _inspected_before_installed,
    ),
)
"""Rules across columns (own rules; an anchor that breaks them cannot exist as written)."""


def _bound(value: float | None) -> str:
    return f"{value:g}" if value is None or abs(value) < 1e5 else f"{value:.0f}"


def _range_fix(column: Column) -> str:
    if column.name in ("lon", "lat"):
        return (
            "give WGS 84 degrees; metres of a national grid need the CRS "
            "(--crs EPSG:25830, for example)"
        )
    unit = f" in {column.unit}" if column.unit else ""
    return f"correct it{unit} ({column.meaning}), or leave it empty"


@lru_cache(maxsize=1)
def register_schema() -> Any:
    """Return the pandera schema of a parsed register, made from `columns.REGISTER`."""
    import pandera.pandas as pa

    def checks(column: Column) -> list[Any]:
        if column.kind == "several":  # each word was read by itself
            return []
        if column.choices:
            return [pa.Check.isin(list(column.choices))]
        if column.low is not None or column.high is not None:
            low = -np.inf if column.low is None else column.low
            high = np.inf if column.high is None else column.high
            return [pa.Check.in_range(low, high)]
        return []

    return pa.DataFrameSchema(
        {c.name: pa.Column(checks=checks(c), nullable=not c.required) for c in REGISTER}
    )


def _explained(name: str, check: str) -> tuple[str, str]:
    """Reason and fix of a failed check of the schema."""
    column = REGISTER_BY_NAME[name]
    if check == "not_nullable":
        if name in ("lon", "lat"):
            return "missing", "give the position of the anchor in WGS 84 degrees"
        return "missing", f"give the {column.meaning}"
    if column.choices:
        return "not an allowed word", f"use one of: {', '.join(column.choices)}"
    return f"not in {_bound(column.low)}..{_bound(column.high)}", _range_fix(column)


def schema_problems(table: pd.DataFrame) -> pd.DataFrame:
    """Broken single-column rules.

    Parameters
    ----------
    table : DataFrame
        Parsed register with every column of `REGISTER`, index 0..n-1.

    Returns
    -------
    DataFrame
        `place, column, reason, fix`, one row per broken rule.
    """
    import pandera.errors

    try:
        register_schema().validate(table, lazy=True, inplace=True)
    except pandera.errors.SchemaErrors as errors:
        cases = errors.failure_cases[["index", "column", "check"]].astype({"index": int})
    else:
        return pd.DataFrame(columns=["place", "column", "reason", "fix"])
    text = {
        pair: _explained(*pair) for pair in set(zip(cases["column"], cases["check"], strict=True))
    }
    pairs = pd.MultiIndex.from_frame(cases[["column", "check"]])
    return pd.DataFrame(
        {
            "place": cases["index"].to_numpy(),
            "column": cases["column"].to_numpy(),
            "reason": pairs.map(lambda pair: text[pair][0]),
            "fix": pairs.map(lambda pair: text[pair][1]),
        }
    )


def problems(
    mask: pd.Series | np.ndarray,
    column: str,
    value: pd.Series | str,
    reason: pd.Series | str,
    fix: pd.Series | str,
) -> pd.DataFrame:
    """One problem per True of `mask`; value, reason and fix are columns or one text for all."""
    places = np.flatnonzero(np.asarray(mask, dtype=bool))
    cells = {
        name: text.iloc[places].to_numpy() if isinstance(text, pd.Series) else text
        for name, text in (("value", value), ("reason", reason), ("fix", fix))
    }
    frame = pd.DataFrame({"place": places, "column": column}).assign(**cells)
    return frame[list(PROBLEM_COLUMNS)]


def problems_at(
    places: np.ndarray, column: str, value: pd.Series, reason: pd.Series | str, fix: pd.Series | str
) -> pd.DataFrame:
    """One problem for each place; value, reason and fix are those of the places alone."""
    found = problems(np.ones(len(places), dtype=bool), column, value, reason, fix)
    return found.assign(place=places)


def joined(cells: pd.DataFrame, columns: tuple[str, ...]) -> pd.Series:
    """Text of several columns side by side, as shown in the value of a problem."""
    parts = [
        pa.array(cells[name].fillna("").astype("str"), type=pa.large_string()) for name in columns
    ]
    side_by_side = pc.binary_join_element_wise(*parts, pa.scalar(", ", pa.large_string()))
    return pd.Series(side_by_side, index=cells.index, dtype="str")


def row_problems(table: pd.DataFrame, shown: pd.DataFrame) -> list[pd.DataFrame]:
    """Broken rules across columns; `shown` holds the cells as the user wrote them."""
    return [_row_problems(rule, table, shown) for rule in ROW_RULES]


def _row_problems(rule: RowRule, table: pd.DataFrame, shown: pd.DataFrame) -> pd.DataFrame:
    bad = np.flatnonzero(rule.bad(table).to_numpy(bool))
    said = joined(shown[list(rule.columns)].iloc[bad], rule.columns)
    return problems_at(bad, ", ".join(rule.columns), said, rule.reason, rule.fix)


def duplicate_problems(
    anchor_id: pd.Series, everything: pd.DataFrame, rows: np.ndarray
) -> pd.DataFrame:
    """Second and later rows of an anchor; says where the first is and whether they differ."""
    key = keys_of(anchor_id)
    later = key.notna() & key.duplicated()
    if not later.any():
        return problems(later, "anchor_id", anchor_id, "", "")
    place = pd.Series(np.arange(len(anchor_id)), index=anchor_id.index)
    first = place.groupby(key).transform("first")
    everything = everything.assign(anchor_id=key)
    mine = everything[later].fillna("").reset_index(drop=True)
    other = everything.iloc[first[later].astype(int)].fillna("").reset_index(drop=True)
    differ = (mine != other).any(axis=1).to_numpy()
    number = pd.Series(rows[first[later].astype(int)]).astype("str")
    reason = pd.Series("", index=anchor_id.index, dtype="str")
    written = anchor_id.iloc[first[later].astype(int)].reset_index(drop=True)
    other_way = (written != anchor_id[later].reset_index(drop=True)).to_numpy()
    reason.loc[later] = (
        "anchor_id already used in row "
        + number
        + (", written " + written.map(repr)).where(other_way, "")
        + pd.Series(np.where(differ, ", with other data", ", with the same data"), dtype="str")
    ).to_numpy()
    fix = pd.Series("remove this row", index=anchor_id.index, dtype="str")
    fix.loc[later] = np.where(
        differ, "give each anchor its own anchor_id, or keep only the right row", "remove this row"
    )
    return problems(later, "anchor_id", anchor_id, reason, fix)


def swap_problems(
    first: np.ndarray, second: np.ndarray, shown: pd.DataFrame, *, degrees: bool
) -> pd.DataFrame:
    """Rows whose two coordinates seem to have changed places."""
    swapped = looks_swapped(first, second, degrees=degrees)
    with np.errstate(invalid="ignore"):
        impossible = degrees & (np.abs(second) > 90)
    names = ("lon", "lat") if degrees else ("easting", "northing")
    shown = shown[swapped]
    east, north = (shown[name].fillna("").astype("str") for name in ("lon", "lat"))
    looks = f"looks like {names[0]} and {names[1]} are swapped: "
    fix = looks + f"{names[0]} " + north + f", {names[1]} " + east
    reason = np.where(
        impossible[swapped], "lat not in -90..90", "far from the other anchors of the register"
    )
    return problems_at(
        np.flatnonzero(swapped), "lon, lat", joined(shown, ("lon", "lat")),
        pd.Series(reason, index=shown.index, dtype="str"), fix,
    )  # fmt: skip


def rejected_table(found: pd.DataFrame, rows: np.ndarray, file: str) -> pd.DataFrame:
    """Problems as the user sees them: sorted by row, with `REJECTED_COLUMNS`."""
    order = {c.name: i for i, c in enumerate(REGISTER)}
    # Within a row: in the order of the columns, rules over several columns after those of one.
    first = found["column"].str.replace(",.*", "", regex=True).map(order)
    wide = found["column"].str.contains(",")
    table = found.assign(
        file=file, row=rows[found["place"].to_numpy(dtype=int)], order=first, wide=wide
    ).sort_values(["place", "order", "wide", "reason"], kind="stable")
    text = {n: "str" for n in REJECTED_COLUMNS if n != "row"}
    table = table[list(REJECTED_COLUMNS)].fillna({"value": ""})
    return table.astype({**text, "row": np.int64}).reset_index(drop=True)
