"""What `saltreach plan` and `saltreach priorities` wrote, read back to be planned on."""

from __future__ import annotations

import re
from collections.abc import Sequence
from pathlib import Path

import pandas as pd

from saltreach.errors import RegisterError
from saltreach.folders.claim import mend
from saltreach.intake import formats, table_files
from saltreach.intake.prices import Piece
from saltreach.intake.settings import checked
from saltreach.vocabulary.columns import columns_of
from saltreach.vocabulary.words import CAUTION

VISIT_COLUMNS = tuple(name for name in columns_of("plan") if name != "caution")
TRIP_COLUMNS = ("crag", "sector", "date", "trip")
"""Those that a map of the trips needs."""
_SPELT = {
    "date": r"[0-9]{4}-[0-9]{2}-[0-9]{2}",
    "visit_id": r"[0-9a-f]{16}-[0-9]+",
    "revision": r"[0-9]+",
    "days_late": r"-?[0-9]+",
    "anchors": r"[0-9]+",
    "stop": r"[0-9]+",
}
MOST_ANCHORS = 10_000
"""In one sector."""
_WHOLE = ("revision", "days_late", "anchors", "stop")


def read_plan(path: str | Path, columns: Sequence[str] = VISIT_COLUMNS) -> pd.DataFrame:
    """Visits of a plan.csv that was written before.

    Parameters
    ----------
    path : path
        The file.
    columns : sequence of str
        Those that are needed; others are left out.

    Returns
    -------
    DataFrame
        As `saltreach plan` writes it: days as ISO text.

    Raises
    ------
    RegisterError
        The file is missing, or is not a plan.
    """
    table = _written(path, "plan", columns, "the plan.csv that saltreach plan wrote")
    keys = [name for name in _SPELT if name in columns]
    bad = ~pd.concat([table[n].str.fullmatch(_SPELT[n]) for n in keys], axis=1).all(axis=1)
    if bad.any():
        row = bad.index[bad][0]
        wrong = [n for n in keys if not re.fullmatch(_SPELT[n], table.at[row, n])]
        held = " and ".join(f"{n} {table.at[row, n]!r}" for n in wrong)
        raise RegisterError(
            f"plan {path}: row {row} has {held}; leave these columns as saltreach plan wrote them"
        )
    whole = {name: int for name in _WHOLE if name in columns}
    return table.astype(whole).reset_index(drop=True)


def left_out_in(path: str | Path) -> str:
    """What a plan.csv left out of its tables: its caution begins with it; empty for nothing."""
    try:
        caution = _written(path, "plan", ("caution",), "")["caution"]
    except RegisterError:  # a list of trips made by hand, which `read_plan` has found good
        return ""
    return str(caution.iloc[0]).removesuffix(CAUTION).strip() if len(caution) else ""


def read_rebolting(path: str | Path) -> pd.DataFrame:
    """What a priorities.csv has chosen: `crag`, `sector`, `anchors` to replace.

    Raises
    ------
    RegisterError
        The file is missing, or is not a list of priorities.
    """
    columns = ("crag", "sector", "chosen", "anchors_to_replace")
    ours = "the priorities.csv that saltreach priorities wrote"
    table = _written(path, "rebolting", columns, ours)
    chosen = table[table["chosen"] == "yes"]
    anchors = pd.to_numeric(chosen["anchors_to_replace"], errors="coerce")
    bad = ~(anchors.between(1, MOST_ANCHORS) & (anchors % 1 == 0))
    if bad.any():
        row = anchors.index[bad][0]
        raise RegisterError(
            f"rebolting {path}: row {row}: anchors_to_replace "
            f"{chosen['anchors_to_replace'][row]!r} is no whole number from 1 to {MOST_ANCHORS}; "
            "give how many are replaced"
        )
    return chosen[["crag", "sector"]].assign(anchors=anchors).reset_index(drop=True)


def read_bought(path: str | Path) -> dict[tuple[str, str], tuple[Piece, str]]:
    """What a priorities.csv buys: by crag and sector the piece, and how much of it is replaced.

    Raises
    ------
    RegisterError
        The file is missing, or is not a list of priorities.
    OptionError
        A piece that cannot be.
    """
    size = ("diameter_mm", "embedment_mm", "legs")
    columns = ("crag", "sector", "scope", "chosen", *("metal", "kind"), *size)
    ours = "the priorities.csv that saltreach priorities wrote"
    table = _written(path, "rebolting", columns, ours)
    found = {}
    for at, row in table[table["chosen"] == "yes"].iterrows():
        diameter, length, legs = pd.to_numeric(row[list(size)], errors="coerce")
        values = {
            "kind": row["kind"], "metal": row["metal"], "price": 0.0, "diameter_mm": diameter,
            "length_mm": length, "legs": int(legs) if legs in (1, 2) else row["legs"],
        }  # fmt: skip
        piece = checked(Piece, values, f"rebolting {path}: row {at}")
        found[row["crag"], row["sector"]] = piece, row["scope"]
    return found


def _written(path: str | Path, what: str, columns: Sequence[str], file: str) -> pd.DataFrame:
    """Columns of a table as text, by the row a spreadsheet counts."""
    where = Path(path)
    mend(where.parent)
    try:
        data = formats.content(where, table_files.READERS, "rows")
        found = table_files.READERS[where.suffix.lower()](where, data, formats.Request())
    except RegisterError as error:
        raise RegisterError(f"{what} {error}") from error
    if found.bad_rows:
        row, value, reason, fix = found.bad_rows[0]
        raise RegisterError(f"{what} {path}: row {row}, {value!r}: {reason}; {fix}")
    cells = found.cells.fillna("").astype("str").set_axis(list(found.headers), axis=1)
    table = cells.set_axis(found.rows, axis=0)
    missing = [name for name in columns if name not in table]
    if missing:
        raise RegisterError(f"{what} {path}: no column {', '.join(missing)}; give {file}")
    return unguarded(table[list(columns)])


def unguarded(table: pd.DataFrame) -> pd.DataFrame:
    """Texts without the apostrophe that guards them from spreadsheets."""
    return table.replace(r"^'(?=[=+\-@\t\r])", "", regex=True)
