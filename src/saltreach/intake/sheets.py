"""One reader for the tables beside the register: good rows go on, refused ones are listed."""

from __future__ import annotations

import difflib
import hashlib
from collections.abc import Iterable
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd

from saltreach.errors import RegisterError
from saltreach.intake import check, formats, table_files
from saltreach.intake.headers import listed, renamed_note
from saltreach.intake.tables import Table
from saltreach.intake.values import parse_column, trimmed
from saltreach.vocabulary.columns import REJECTED_COLUMNS, Column
from saltreach.vocabulary.synonyms import plain, table_header_words

NUMBERS = ("number", "integer")


@dataclass(frozen=True)
class Sheet:
    """A table that was read and checked.

    Attributes
    ----------
    rows : tuple of dict
        Good rows, every column of the table filled; `row` is the number the user sees.
    rejected : DataFrame
        Refused rows with `REJECTED_COLUMNS`.
    notes : tuple of str
        What was ignored or assumed.
    file, sha256 : str
        Name of the file, and checksum of its bytes.
    rows_read : int
        Rows with any content, good and refused.
    unique : tuple of str
        Columns that together must not repeat.
    """

    rows: tuple[dict[str, Any], ...]
    rejected: pd.DataFrame
    notes: tuple[str, ...] = ()
    file: str = ""
    sha256: str = ""
    rows_read: int = 0
    unique: tuple[str, ...] = ()

    def record(self) -> dict[str, Any]:
        """The table as plain values, for provenance."""
        return {
            "file": self.file,
            "sha256": self.sha256,
            "rows": self.rows_read,
            "accepted": len(self.rows),
            "rejected": self.rejected["row"].nunique(),
            "notes": list(self.notes),
        }

    def frame(self, columns: Iterable[Column]) -> pd.DataFrame:
        """The good rows: numbers with NaN, texts and words with "" where empty."""

        def values(column: Column) -> pd.Series:
            cells = [row[column.name] for row in self.rows]
            if column.kind in NUMBERS:
                return pd.Series(cells, dtype=float)
            return pd.Series(cells, dtype="str").fillna("")

        return pd.DataFrame({column.name: values(column) for column in columns})


NOTHING = Sheet((), pd.DataFrame(columns=list(REJECTED_COLUMNS)))
"""A table nobody gave."""


def read_table(path: str | Path, table: Table, *, sheet: str | None = None) -> Sheet:
    """Read and check a table.

    Parameters
    ----------
    path : path
        CSV or XLSX; of a workbook with several sheets the one named as the table is.
    table : Table
        Its columns and rules; headers match as the register's do, by name or synonym.
    sheet : str, optional
        Another sheet.

    Returns
    -------
    Sheet

    Raises
    ------
    RegisterError
        The file cannot be used at all. A table of which every row is needed raises its own
        error, for the first refused row too.
    """
    file = Path(path)
    words = table_header_words(table.columns)
    request = formats.Request(
        sheet=sheet, named=table.name, known=lambda header: plain(header) in words
    )
    try:
        data = formats.content(file, table_files.READERS, "rows")
        found = table_files.READERS[file.suffix.lower()](file, data, request)
        places, unused = _places(found.headers, table, words, file.name)
    except RegisterError as error:
        raise (table.error or RegisterError)(f"{table.title} {error}") from error
    values, problems, notes = _parsed(found, table, places)
    rejected = _rejected(problems, found, file.name)
    if table.error is not None and len(rejected):
        bad = rejected.iloc[0]
        cell = f"{bad['column']} = {bad['value']!r}" if bad["column"] else repr(bad["value"])
        raise table.error(
            f"{table.title} {file.name}, row {bad['row']}, {cell}: {bad['reason']}; {bad['fix']}"
        )
    good = np.ones(len(values), dtype=bool)
    good[problems["place"].to_numpy(dtype=int)] = False
    names = [*values, "row"]
    kept = values.assign(row=found.rows)[good].astype(object)
    return Sheet(
        rows=tuple(dict(zip(names, row, strict=True)) for row in kept.to_numpy(object).tolist()),
        rejected=rejected,
        notes=(*found.notes, *unused, *_renamed(found.headers, places), *notes),
        file=file.name,
        sha256=hashlib.sha256(data).hexdigest(),
        rows_read=len(values) + len(found.bad_rows),
        unique=table.unique,
    )


def _places(
    headers: tuple[str, ...], table: Table, words: dict[str, str], where: str
) -> tuple[dict[str, int], list[str]]:
    """Where each column stands, and a note on the headers that are none of them."""
    names = {plain(name): name for name in table.columns}
    places: dict[str, int] = {}
    for i, header in enumerate(headers):  # what is named as it should be is meant
        if (name := names.get(plain(header))) is not None and name not in places:
            places[name] = i
    named = set(places)
    unused = []
    for i, header in enumerate(headers):
        name = words.get(plain(header))
        if name is None or (name in named and plain(header) not in names):
            unused += [header] if header.strip() else []
        elif places.get(name, i) != i:
            raise RegisterError(
                f"{where}: headers {headers[places[name]]!r} and {header!r} both mean {name}; "
                "keep one"
            )
        else:
            places[name] = i
    missing = [n for n, c in table.columns.items() if c.required and n not in places]
    if missing:
        raise RegisterError(
            f"{where}: no column {' and '.join(missing)}; headers found: {listed(headers)}; "
            f"columns are {', '.join(table.columns)}"
        )
    return places, [f"columns not used: {', '.join(unused)}"] if unused else []


def _renamed(headers: tuple[str, ...], places: dict[str, int]) -> list[str]:
    """Notes on headers that are another word than the column's name."""
    pairs = ((headers[i], name) for name, i in places.items())
    return [renamed_note(header, name) for header, name in pairs if plain(header) != plain(name)]


def _parsed(
    found: formats.Table, table: Table, places: dict[str, int]
) -> tuple[pd.DataFrame, pd.DataFrame, list[str]]:
    """Values of all rows, None where there is none, every problem, and notes."""
    index = found.cells.index
    empty = pd.Series(np.nan, index=index, dtype="str")
    cells = {
        name: trimmed(found.cells[places[name]]) if name in places else empty
        for name in table.columns
    }
    shown = pd.DataFrame(cells, index=index)
    values: dict[str, pd.Series] = {}
    problems, notes = [check.problems(np.zeros(len(index)), "", "", "", "")], []
    for column in table.columns.values():
        text = shown[column.name]
        parsed, more = parse_column(text, column, unknown_is_empty=table.unknown_is_empty)
        notes += more
        problems.append(_cell_problems(text, parsed.values, parsed.reason, parsed.fix, column))
        default = table.defaults.get(column.name)
        whole = column.kind == "integer"
        filled = [
            default if isinstance(v, float) and np.isnan(v) else int(v) if whole else v
            for v in parsed.values
        ]
        values[column.name] = pd.Series(filled, index=index, dtype=object)
    frame = pd.DataFrame(values, index=index)
    broken = np.isin(index, pd.concat(problems)["place"].to_numpy(dtype=int))
    if table.unique:
        problems.append(_repeated(frame[~broken], table.unique, found.rows, shown))
        broken |= np.isin(index, problems[-1]["place"].to_numpy(dtype=int))
    for rule in table.rules:
        bad = np.zeros(len(index), dtype=bool)
        bad[~broken] = rule.bad(frame[~broken].infer_objects()).to_numpy(dtype=bool)
        said = check.joined(shown, rule.columns)
        problems.append(check.problems(bad, ", ".join(rule.columns), said, rule.reason, rule.fix))
        broken |= bad
    return frame, pd.concat(problems, ignore_index=True), notes


def _cell_problems(
    text: pd.Series, values: pd.Series, reason: pd.Series, fix: pd.Series, column: Column
) -> pd.DataFrame:
    """Cells that cannot be read, are missing or out of range."""
    told = f" ({column.meaning})"
    found = [check.problems(reason.notna(), column.name, text, reason, fix + told)]
    if column.required:
        gone = values.isna() & reason.isna()
        found.append(check.problems(gone, column.name, "", "missing", f"give the {column.meaning}"))
    if column.kind in NUMBERS:
        low = -np.inf if column.low is None else column.low
        high = np.inf if column.high is None else column.high
        outside = values.notna() & ~values.between(low, high)
        unit = f" in {column.unit}" if column.unit else ""
        limits = f"not in {low:g}..{high:.10g}"
        empty = "" if column.required else ", or leave it empty"
        found.append(
            check.problems(outside, column.name, text, limits, f"correct it{unit}{told}{empty}")
        )
    return pd.concat(found, ignore_index=True)


def _one_case(name: str) -> str:
    return " ".join(name.split()).casefold()


def _repeated(
    frame: pd.DataFrame, unique: tuple[str, ...], rows: np.ndarray, shown: pd.DataFrame
) -> pd.DataFrame:
    """Second and later rows of the same key; case and double blanks do not matter.

    Names that the register spells are compared again once they are known (`refuse_unknown`).
    """
    fold = _one_case if "crag" in unique else plain
    key = frame[list(unique)].map(lambda v: fold(v) if isinstance(v, str) else v)
    key = pd.Series(list(key.itertuples(index=False, name=None)), index=frame.index, dtype=object)
    place = pd.Series(frame.index, index=frame.index)
    first = place.groupby(key).transform("first") if len(key) else place
    number = pd.Series(rows[first.to_numpy(dtype=int)], index=frame.index).astype("str")
    again = np.zeros(len(shown), dtype=bool)
    again[frame.index[(first != place).to_numpy(dtype=bool)]] = True
    reason = ("already given in row " + number).reindex(shown.index).astype("str")
    said = check.joined(shown, unique)
    return check.problems(again, ", ".join(unique), said, reason, "keep one of the rows")


def _rejected(problems: pd.DataFrame, found: formats.Table, file: str) -> pd.DataFrame:
    """Problems, and rows that could not be split into cells, as the user sees them."""
    rows = found.rows[problems["place"].to_numpy(dtype=int)]
    bad = pd.DataFrame(list(found.bad_rows), columns=["row", "value", "reason", "fix"])
    whole = pd.concat([problems.assign(row=rows), bad.assign(column="")], ignore_index=True)
    return _listed(whole, file)


def _listed(problems: pd.DataFrame, file: str) -> pd.DataFrame:
    text = {n: "str" for n in REJECTED_COLUMNS if n != "row"}
    table = problems.assign(file=file)[list(REJECTED_COLUMNS)].fillna({"value": ""})
    return table.astype({**text, "row": np.int64}).sort_values(
        "row", kind="stable", ignore_index=True
    )


def _spellings(names: Iterable[str]) -> dict[str, str]:
    """Each name by itself, and by what is left of it without case, accents and blanks."""
    known = list(names)
    return {plain(name): name for name in known} | {name: name for name in known}


def _spelt(name: str, pool: dict[str, str]) -> str | None:
    return pool.get(name, pool.get(plain(name)))


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

    crags = _spellings(known)
    sectors_of = {crag: _spellings(sectors) | {"": ""} for crag, sectors in known.items()}
    alike: dict[str, list[str]] = {}
    for name in known:
        alike.setdefault(plain(name), []).append(name)
    good: list[dict[str, Any]] = []
    problems: list[dict[str, Any]] = []
    first: dict[tuple[Any, ...], int] = {}

    def refuse(row: dict[str, Any], columns: tuple[str, ...], reason: str, fix: str) -> None:
        value = ", ".join(str(row[name]) for name in columns)
        cell = {"row": row["row"], "column": ", ".join(columns), "value": value}
        problems.append(cell | {"reason": reason, "fix": fix})

    for row in sheet.rows:
        crag = _spelt(row["crag"], crags)
        for other in alike.get(plain(row["crag"]), ()):  # a register may spell a crag in two ways
            if row["sector"] in known[other] and row["sector"] not in known.get(crag or "", ()):
                crag = other
        sectors = sectors_of.get(crag or "", {})
        sector = _spelt(row["sector"], sectors)
        if crag is None or sector is None:
            name, pool = ("crag", crags) if crag is None else ("sector", sectors)
            near = difflib.get_close_matches(plain(row[name]), filter(None, pool), 1, cutoff=0.6)
            hint = f"; nearest: {pool[near[0]]}" if near else ""
            fix = f"spell it as the register does{hint}"
            refuse(row, (name,), "not among the crags and sectors assessed", fix)
            continue
        here = row | {"crag": crag, "sector": sector}
        key = tuple(here[name] for name in sheet.unique) or (row["row"],)
        if key in first:
            refuse(row, sheet.unique, f"already given in row {first[key]}", "keep one of the rows")
            continue
        first[key] = row["row"]
        good.append(here)
    more = [_listed(pd.DataFrame(problems), sheet.file)] if problems else []
    rejected = pd.concat([sheet.rejected, *more], ignore_index=True)
    return replace(
        sheet,
        rows=tuple(good),
        rejected=rejected.sort_values("row", kind="stable", ignore_index=True),
    )
