"""Small tables beside the register, read row by row: good rows go on, others are listed.

A table is a tuple of `Field`; each reads one cell or raises `Refused`. Used for teams, closures,
tides, travel, needs of sectors and what was done (`teams.py`).
"""

from __future__ import annotations

import datetime as dt
import difflib
import hashlib
import re
from collections.abc import Callable
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd

from saltreach.errors import RegisterError
from saltreach.intake import formats
from saltreach.intake.headers import listed
from saltreach.intake.survey import sheets_of
from saltreach.vocabulary.columns import REJECTED_COLUMNS
from saltreach.vocabulary.synonyms import plain


class Refused(Exception):
    """A cell that cannot be used; reason and fix for the list of refused rows."""

    def __init__(self, reason: str, fix: str) -> None:
        super().__init__(reason)
        self.reason, self.fix = reason, fix


@dataclass(frozen=True)
class Field:
    """One column of a small table: its name, how a cell is read, and what it means."""

    name: str
    read: Callable[[str], Any]
    meaning: str
    required: bool = False
    default: Any = None
    words: tuple[str, ...] = ()


@dataclass(frozen=True)
class Sheet:
    """A small table that was read and checked.

    Attributes
    ----------
    rows : tuple of dict
        Good rows, every field of the table filled; `row` is the number the user sees.
    rejected : DataFrame
        Refused rows with `REJECTED_COLUMNS`.
    notes : tuple of str
        What was ignored or assumed.
    file, sha256 : str
        Name of the file, and checksum of its bytes.
    """

    rows: tuple[dict[str, Any], ...]
    rejected: pd.DataFrame
    notes: tuple[str, ...] = ()
    file: str = ""
    sha256: str = ""

    def record(self) -> dict[str, Any]:
        """The table as plain values, for provenance."""
        return {
            "file": self.file,
            "sha256": self.sha256,
            "accepted": len(self.rows),
            "rejected": len({*self.rejected["row"]}),
            "notes": list(self.notes),
        }


NOTHING = Sheet((), pd.DataFrame(columns=list(REJECTED_COLUMNS)))
"""A table nobody gave."""


def read_sheet(
    path: str | Path,
    what: str,
    fields: tuple[Field, ...],
    check: Callable[[dict[str, Any]], None] | None = None,
    unique: tuple[str, ...] = (),
) -> Sheet:
    """Read and check a small table.

    Parameters
    ----------
    path : path
        CSV or XLSX; of a workbook with several sheets the one named `what`.
    what : str
        What the table holds, for messages.
    fields : tuple of Field
        Its columns; headers match without regard to case, blanks and underscores.
    check : callable, optional
        Looks at a whole row; raises `Refused`.
    unique : tuple of str
        Fields that together must not repeat.

    Returns
    -------
    Sheet

    Raises
    ------
    RegisterError
        The file cannot be used at all.
    """
    table, file, digest = _table(Path(path), what)
    places, notes = _places(table.headers, fields, f"{what} {file}")
    rows: list[dict[str, Any]] = []
    problems = [
        {"row": row, "column": "", "value": value, "reason": reason, "fix": fix}
        for row, value, reason, fix in table.bad_rows
    ]
    broken = {row for row, *_ in table.bad_rows}
    seen: dict[tuple, int] = {}
    cells = table.cells.astype(object).where(table.cells.notna(), "")
    for number, values in zip(table.rows.tolist(), cells.to_numpy(object), strict=True):
        if number in broken:
            continue
        given = {name: str(values[place]).strip() for name, place in places.items()}
        row, wrong = _row(given, fields, check)
        key = tuple(plain(str(row.get(name))) for name in unique)
        if not wrong and unique and key in seen:
            told = ", ".join(str(row[name]) for name in unique)
            wrong = [
                {
                    "column": ", ".join(unique),
                    "value": told,
                    "reason": f"already given in row {seen[key]}",
                    "fix": "keep one of the rows",
                }
            ]
        problems += [{"row": number} | problem for problem in wrong]
        if not wrong:
            seen[key] = number
            rows.append(row | {"row": number})
    return Sheet(tuple(rows), _rejected(problems, file), (*table.notes, *notes), file, digest)


def _table(path: Path, what: str) -> tuple[formats.Table, str, str]:
    """Cells of the file, its name and checksum."""
    readers = {".csv": formats.read_csv, ".xlsx": formats.read_xlsx}
    suffix = path.suffix.lower()
    if suffix not in readers:
        raise RegisterError(f"{what} {path.name}: give a .csv or .xlsx file")
    try:
        data = path.read_bytes()
    except OSError as error:
        raise RegisterError(f"{what} {path}: cannot be read ({error.strerror})") from error
    if not data.strip():
        raise RegisterError(f"{what} {path.name}: the file is empty; give a header row")
    names = sheets_of(path)
    sheet = next((n for n in names if n.strip().casefold() == what.casefold()), None)
    if len(names) > 1 and sheet is None:
        raise RegisterError(
            f"{what} {path.name}: no sheet is named {what!r}; sheets: {listed(names)}"
        )
    request = formats.Request(None, False, sheet, None)
    return readers[suffix](path, data, request), path.name, hashlib.sha256(data).hexdigest()


def _places(
    headers: tuple[str, ...], fields: tuple[Field, ...], where: str
) -> tuple[dict[str, int], list[str]]:
    words = {plain(w): f.name for f in fields for w in (f.name, *f.words)}
    places: dict[str, int] = {}
    unused = []
    for i, header in enumerate(headers):
        name = words.get(plain(header))
        if name is None:
            unused.append(header)
        elif name in places:
            raise RegisterError(f"{where}: two columns are named {name}; keep one")
        else:
            places[name] = i
    missing = [f.name for f in fields if f.required and f.name not in places]
    if missing:
        raise RegisterError(
            f"{where}: no column {' and '.join(missing)}; headers found: {listed(headers)}; "
            f"columns are {', '.join(f.name for f in fields)}"
        )
    return places, [f"columns not used: {', '.join(unused)}"] if any(unused) else []


def _row(
    given: dict[str, str],
    fields: tuple[Field, ...],
    check: Callable[[dict[str, Any]], None] | None,
) -> tuple[dict[str, Any], list[dict[str, str]]]:
    """Values of one row, and every problem of it."""
    row: dict[str, Any] = {}
    wrong = []
    for field in fields:
        text = given.get(field.name, "")
        row[field.name] = field.default
        try:
            if text:
                row[field.name] = field.read(text)
            elif field.required:
                raise Refused("missing", f"give the {field.meaning}")
        except Refused as problem:
            wrong.append(
                {
                    "column": field.name,
                    "value": text,
                    "reason": problem.reason,
                    "fix": f"{problem.fix} ({field.meaning})",
                }
            )
    if not wrong and check is not None:
        try:
            check(row)
        except Refused as problem:
            used = ", ".join(name for name, text in given.items() if text)
            shown = ", ".join(text for text in given.values() if text)
            wrong.append(
                {"column": used, "value": shown, "reason": problem.reason, "fix": problem.fix}
            )
    return row, wrong


def _rejected(problems: list[dict[str, Any]], file: str) -> pd.DataFrame:
    table = pd.DataFrame(problems, columns=list(REJECTED_COLUMNS)).assign(file=file)
    text = {n: "str" for n in REJECTED_COLUMNS if n != "row"}
    return table.astype({**text, "row": np.int64}).sort_values(
        "row", kind="stable", ignore_index=True
    )


def refuse_unknown(sheet: Sheet, known: dict[str, set[str]]) -> Sheet:
    """Move rows about crags or sectors that the results do not hold to the refused ones.

    Parameters
    ----------
    sheet : Sheet
        Rows with `crag` and `sector` (empty: the whole crag).
    known : dict
        Sectors of each crag, as the results spell them.

    Returns
    -------
    Sheet
        With crag and sector spelt as the results spell them.
    """
    crags = {plain(crag): crag for crag in known}
    good, problems = [], []
    for row in sheet.rows:
        crag = crags.get(plain(row["crag"] or ""))
        sectors = {plain(s): s for s in known.get(crag or "", ())}
        wanted = plain(row["sector"] or "")
        if crag is not None and (not wanted or wanted in sectors):
            good.append(row | {"crag": crag, "sector": sectors.get(wanted, "")})
            continue
        pool = crags if crag is None else sectors
        value = row["crag"] if crag is None else row["sector"]
        near = difflib.get_close_matches(plain(value), pool, n=1, cutoff=0.6)
        hint = f"; nearest: {pool[near[0]]}" if near else ""
        problems.append(
            {
                "file": sheet.file,
                "row": row["row"],
                "column": "crag" if crag is None else "sector",
                "value": value,
                "reason": "not among the crags and sectors assessed",
                "fix": f"spell it as the register does{hint}",
            }
        )
    if not problems:
        return replace(sheet, rows=tuple(good))
    more = pd.concat([sheet.rejected, _rejected(problems, sheet.file)], ignore_index=True)
    return replace(
        sheet,
        rows=tuple(good),
        rejected=more.sort_values("row", kind="stable", ignore_index=True),
    )


def number(low: float, high: float, unit: str = "") -> Callable[[str], float]:
    """Reader of a plain number in a closed range; a decimal comma is accepted."""

    def read(text: str) -> float:
        bare = text.replace(",", ".") if re.fullmatch(r"[+-]?[0-9]+,[0-9]+", text) else text
        if not re.fullmatch(r"[+-]?([0-9]+\.?[0-9]*|\.[0-9]+)", bare):
            raise Refused("not a number", f"write a plain number{unit and ' in ' + unit}")
        value = float(bare)
        if not low <= value <= high:
            raise Refused(f"not in {low:g}..{high:g}", f"correct it{unit and ', in ' + unit}")
        return value

    return read


def day(text: str) -> dt.date:
    """Reader of a full date, YYYY-MM-DD only: day and month are never guessed."""
    try:
        if re.fullmatch(r"[0-9]{4}-[0-9]{2}-[0-9]{2}", text):
            return dt.date.fromisoformat(text)
    except ValueError:
        pass
    raise Refused("not a date", "write YYYY-MM-DD")


def clock(text: str) -> int:
    """Reader of a time of day, HH:MM; minutes after midnight."""
    found = re.fullmatch(r"([01]?[0-9]|2[0-4]):([0-5][0-9])(?::00)?", text)
    minutes = int(found[1]) * 60 + int(found[2]) if found else 9999
    if minutes > 24 * 60:
        raise Refused("not a time of day", "write HH:MM, 24 hours")
    return minutes


def words_of(text: str) -> tuple[str, ...]:
    """Reader of a list of words between semicolons or commas, in lower case."""
    parts = (" ".join(p.split()).casefold() for p in re.split(r"[;,|]", text))
    return tuple(dict.fromkeys(p for p in parts if p))


def text_of(text: str) -> str:
    """Reader of plain text; blanks are made single."""
    return " ".join(text.split())
