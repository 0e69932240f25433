"""Sector survey: the rock mass of each sector, from a second table or a sheet named `survey`.

One row per sector with the columns of `columns.SURVEY`, all but crag and sector optional. The
rows are checked as the register's are: good rows go on, refused ones are listed with the fix.
"""

from __future__ import annotations

import difflib
import hashlib
import io
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd

from saltreach.errors import RegisterError
from saltreach.intake import check, formats
from saltreach.intake.headers import listed
from saltreach.intake.values import (
    parse_choices,
    parse_numbers,
    trimmed,
    without_unknown_words,
)
from saltreach.vocabulary.columns import REJECTED_COLUMNS, SURVEY, Column
from saltreach.vocabulary.synonyms import plain

SHEET = "survey"
"""Sheet of a workbook that holds the survey."""

HEADERS: dict[str, tuple[str, ...]] = {
    "crag": ("escuela", "zona", "cliff"),
    "sector": ("area",),
    "joint_spacing_mm": ("joint spacing", "spacing", "spacing mm", "espaciado", "espaciado mm"),
    "persistence_m": ("persistence", "joint length", "persistencia", "continuidad"),
    "aperture_mm": ("aperture", "opening", "abertura", "apertura"),
    "roughness": ("joint roughness", "rugosidad"),
    "infilling": ("infill", "filling", "relleno"),
    "joint_weathering": ("weathering of joints", "wall weathering", "meteorizacion de juntas"),
    "water": ("groundwater", "agua"),
    "rqd_pct": ("rqd",),
    "favourability": ("orientation", "orientacion", "favorability"),
}
"""Headers accepted beside the column names."""


@dataclass(frozen=True)
class Survey:
    """A survey that was read and checked.

    Attributes
    ----------
    sectors : DataFrame
        Good rows with the columns of `SURVEY`: numbers with NaN and words with "" where empty,
        and `source_row`.
    rejected : DataFrame
        One row per broken rule with `REJECTED_COLUMNS`.
    notes : tuple of str
        What was ignored or assumed.
    file, sha256 : str
        Name of the file, and checksum of its bytes.
    rows_read : int
        Rows with any content, good and refused.
    """

    sectors: pd.DataFrame
    rejected: pd.DataFrame
    notes: tuple[str, ...]
    file: str
    sha256: str
    rows_read: int

    def record(self) -> dict[str, Any]:
        """The survey as plain values, for `provenance.json`."""
        return {
            "file": self.file,
            "sha256": self.sha256,
            "rows": self.rows_read,
            "accepted": len(self.sectors),
            "rejected": int(self.rejected["row"].nunique()),
            "notes": list(self.notes),
        }


def sheets_of(path: Path) -> list[str]:
    """Names of a workbook's sheets; none for a file that is no workbook."""
    import warnings
    import zipfile

    import openpyxl
    from openpyxl.utils.exceptions import InvalidFileException

    if path.suffix.lower() != ".xlsx" or not path.is_file():
        return []
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")  # parts openpyxl does not read
            book = openpyxl.load_workbook(io.BytesIO(path.read_bytes()), read_only=True)
            names = list(book.sheetnames)
            book.close()
    except (zipfile.BadZipFile, InvalidFileException, KeyError, ValueError):
        return []  # the reader of the register says what is wrong with it
    return names


def survey_sheet(path: Path) -> str | None:
    """The sheet of a workbook that is named `survey`, whatever its case."""
    return next((name for name in sheets_of(path) if is_survey(name)), None)


def is_survey(sheet: str) -> bool:
    """Whether a sheet is named `survey`, whatever its case."""
    return sheet.strip().casefold() == SHEET


def read_survey(path: str | Path, *, sheet: str | None = None) -> Survey:
    """Read and check a survey of sectors.

    Parameters
    ----------
    path : path
        CSV or XLSX. Of a workbook with several sheets the one named `survey` is read.
    sheet : str, optional
        Another sheet.

    Returns
    -------
    Survey

    Raises
    ------
    RegisterError
        The file cannot be used at all: missing, unreadable, or without crag and sector.
    """
    file = Path(path)
    readers = {".csv": formats.read_csv, ".xlsx": formats.read_xlsx}
    suffix = file.suffix.lower()
    if suffix not in readers:
        raise RegisterError(f"survey {file.name}: give a .csv or .xlsx file")
    try:
        data = file.read_bytes()
    except OSError as error:
        raise RegisterError(f"survey {file}: cannot be read ({error.strerror})") from error
    if not data.strip():
        raise RegisterError(f"survey {file.name}: the file is empty; give crag and sector")
    if suffix == ".xlsx" and sheet is None:
        names = sheets_of(file)
        sheet = survey_sheet(file)
        if sheet is None and len(names) > 1:
            raise RegisterError(
                f"survey {file.name}: no sheet is named {SHEET!r}; sheets: {listed(names)}; "
                f"name the right one {SHEET!r}"
            )
    table = readers[suffix](file, data, formats.Request(None, False, sheet, None))
    return _checked(table, f"{file.name}", hashlib.sha256(data).hexdigest())


def _places(headers: tuple[str, ...], where: str) -> tuple[dict[str, int], list[str]]:
    """Where each column of `SURVEY` stands, and the headers that are none of them."""
    words = {plain(w): c.name for c in SURVEY for w in (c.name, *HEADERS.get(c.name, ()))}
    places: dict[str, int] = {}
    ignored = []
    for i, header in enumerate(headers):
        name = words.get(plain(header))
        if name is None:
            ignored.append(header)
        elif name in places:
            raise RegisterError(
                f"survey {where}: headers {headers[places[name]]!r} and {header!r} both mean "
                f"{name}; keep one"
            )
        else:
            places[name] = i
    missing = [c.name for c in SURVEY if c.required and c.name not in places]
    if missing:
        raise RegisterError(
            f"survey {where}: no column {' and '.join(missing)}; headers found: "
            f"{listed(headers)}; the survey needs crag and sector as the register spells them"
        )
    return places, ignored


def _parsed(text: pd.Series, column: Column) -> tuple[pd.Series, list[pd.DataFrame], list[str]]:
    """Values of one column, its problems and notes."""
    if column.kind == "text":
        bad = text.isna()
        return (
            text,
            [check.problems(bad, column.name, "", "missing", f"give the {column.meaning}")],
            [],
        )
    # "none" is a word of its own for infilling, though elsewhere it says that nothing is known
    own = text.str.casefold().isin(column.choices)
    known = without_unknown_words(text).where(~own, text)
    if column.choices:
        parsed, notes = parse_choices(known, column)
        values = parsed.values.fillna("").astype("str")
    else:
        parsed, notes = parse_numbers(known, column), []
        values = parsed.values
    found = [check.problems(parsed.reason.notna(), column.name, text, parsed.reason, parsed.fix)]
    if not column.choices:
        outside = values.notna() & ~values.between(column.low, column.high)
        reason = f"not in {column.low:g}..{column.high:g}"
        fix = f"correct it in {column.unit} ({column.meaning}), or leave it empty"
        found.append(check.problems(outside, column.name, text, reason, fix))
    return values, found, notes


def sector_key(frame: pd.DataFrame) -> pd.Series:
    """Crag and sector as one text, without regard to case and double blanks."""
    parts = [
        frame[name].fillna("").astype("str").str.split().str.join(" ").str.casefold()
        for name in ("crag", "sector")
    ]
    return parts[0] + "\x1f" + parts[1]


def _checked(table: formats.Table, where: str, sha256: str) -> Survey:
    places, ignored = _places(table.headers, where)
    index = table.cells.index
    values: dict[str, pd.Series] = {}
    found: list[pd.DataFrame] = []
    notes = [*table.notes]
    for column in SURVEY:
        if column.name not in places:
            empty: Any = "" if column.choices else np.nan
            values[column.name] = pd.Series(
                empty, index=index, dtype="str" if column.choices else float
            )
            continue
        text = trimmed(table.cells[places[column.name]])
        values[column.name], problems, more = _parsed(text, column)
        found += problems
        notes += more
    if ignored:
        notes.append(f"columns not used: {', '.join(h for h in ignored if h.strip())}")
    sectors = pd.DataFrame(values, index=index)
    key = sector_key(sectors)
    named = sectors[["crag", "sector"]].notna().all(axis=1)
    again = named & key.duplicated()
    shown = check.joined(sectors, ("crag", "sector"))
    found.append(
        check.problems(
            again, "crag, sector", shown, "sector surveyed twice", "keep one row per sector"
        )
    )
    everything = pd.concat(found, ignore_index=True)
    rejected = _rejected(everything, table.rows, where)
    if table.bad_rows:
        broken = pd.DataFrame(table.bad_rows, columns=["row", "value", "reason", "fix"])
        broken = broken.assign(file=where, column="")[list(REJECTED_COLUMNS)]
        rejected = pd.concat([rejected, broken], ignore_index=True)
    good = np.ones(len(sectors), dtype=bool)
    good[everything["place"].to_numpy(dtype=int)] = False
    sectors["source_row"] = table.rows
    return Survey(
        sectors=sectors[good].reset_index(drop=True),
        rejected=rejected.sort_values("row", kind="stable", ignore_index=True),
        notes=tuple(notes),
        file=where,
        sha256=sha256,
        rows_read=len(sectors) + len(table.bad_rows),
    )


def _rejected(found: pd.DataFrame, rows: np.ndarray, where: str) -> pd.DataFrame:
    """Problems in the form of the register's own list."""
    table = found.assign(file=where, row=rows[found["place"].to_numpy(dtype=int)])
    text = {n: "str" for n in REJECTED_COLUMNS if n != "row"}
    table = table.sort_values("place", kind="stable")[list(REJECTED_COLUMNS)]
    return table.fillna({"value": ""}).astype({**text, "row": np.int64}).reset_index(drop=True)


def survey_at(survey: Survey | None, anchors: pd.DataFrame) -> tuple[pd.DataFrame, Survey | None]:
    """What the survey says of each anchor's sector.

    Parameters
    ----------
    survey : Survey or None
        From `read_survey`.
    anchors : DataFrame
        Columns `crag` and `sector`; case and double blanks do not matter.

    Returns
    -------
    values : DataFrame
        Columns of `SURVEY` but crag and sector, one row per anchor, unknown where the sector
        was not surveyed.
    survey : Survey or None
        With the rows whose sector holds no anchor moved to `rejected`.
    """
    names = [c.name for c in SURVEY if not c.required]
    if survey is None:
        empty = {c.name: ("" if c.choices else np.nan) for c in SURVEY if not c.required}
        return pd.DataFrame(empty, index=anchors.index), None
    own, theirs = sector_key(anchors), sector_key(survey.sectors)
    table = survey.sectors.set_axis(pd.Index(theirs))[names]
    values = table.reindex(own).set_axis(anchors.index)
    words = [c.name for c in SURVEY if c.choices]
    values[words] = values[words].fillna("").astype("str")
    lost = ~theirs.isin(set(own))
    if not lost.any():
        return values, survey
    known = dict(zip(own, anchors["crag"] + " / " + anchors["sector"], strict=True))
    near = [difflib.get_close_matches(k, known, n=1, cutoff=0.6) for k in theirs[lost]]
    fix = [
        "spell crag and sector as the register does"
        + (f"; nearest: {known[match[0]]}" if match else "")
        for match in near
    ]
    gone = survey.sectors[lost]
    more = pd.DataFrame(
        {
            "file": survey.file,
            "row": gone["source_row"],
            "column": "crag, sector",
            "value": gone["crag"] + ", " + gone["sector"],
            "reason": "no accepted anchor of the register stands in this sector",
            "fix": fix,
        }
    )
    rejected = pd.concat([survey.rejected, more], ignore_index=True)
    return values, replace(
        survey,
        sectors=survey.sectors[~lost].reset_index(drop=True),
        rejected=rejected.sort_values("row", kind="stable", ignore_index=True),
    )
