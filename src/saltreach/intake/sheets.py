"""One reader for the tables beside the register: good rows go on, refused ones are listed."""

from __future__ import annotations

import datetime as dt
import difflib
import hashlib
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any, NamedTuple

import numpy as np
import pandas as pd

from saltreach.errors import RegisterError, SaltreachError, setting, together
from saltreach.intake import check, formats, table_files
from saltreach.intake.headers import listed, meant_by, near_columns, said_by
from saltreach.intake.leftovers import cleaned
from saltreach.intake.own_results import is_a_plan, said_of_results
from saltreach.intake.parts import row_named
from saltreach.intake.strays import columns_that_may_limit, lost, sheets_that_may_limit
from saltreach.intake.tables import Table
from saltreach.intake.together import earth_m
from saltreach.intake.understood import UNDERSTOOD_COLUMNS, understood
from saltreach.intake.values import Reading, parse_column, trimmed
from saltreach.vocabulary.columns import REJECTED_COLUMNS, Column
from saltreach.vocabulary.synonyms import alike_in_register, plain, table_header_words
from saltreach.vocabulary.words import LEFT_OUT, UNKNOWN, counted

NUMBERS = ("number", "integer")
FAR_HOME_M = 500_000.0
"""From every anchor; a team's home so far away is looked at twice (own choice)."""
MOST_LISTED = 5
"""Refused rows of a table named in a message; the others are counted."""


class Near(NamedTuple):
    """A column or a sheet that is not used, and in words what it may mean."""

    what: str
    hint: str

    def __str__(self) -> str:
        return f"{self.what} is not used; {self.hint} Rename or remove it"


class _Places(NamedTuple):
    """Where columns stand, units of their headers, headers that are nearly one, notes, and which
    columns those headers may be."""

    of: dict[str, int]
    units: dict[str, str]
    near: dict[str, str]
    notes: list[str]
    may_be: dict[str, tuple[str, ...]]


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
        What was ignored or assumed, the columns not used, those read under another name.
    file, sha256 : str
        Name of the file, and checksum of its bytes.
    rows_read : int
        Rows with any content, good and refused.
    table : Table or None
        What it was read as.
    near : tuple of Near
        What is not used but may be meant: headers that are nearly one the table lacks, columns
        and sheets that may hold a limit.
    understood : DataFrame
        One row per column of the file (`saltreach.intake.understood`).
    """

    rows: tuple[dict[str, Any], ...]
    rejected: pd.DataFrame
    notes: tuple[str, ...] = ()
    file: str = ""
    sha256: str = ""
    rows_read: int = 0
    table: Table | None = field(default=None, repr=False)
    near: tuple[Near, ...] = ()
    understood: pd.DataFrame = field(
        default_factory=lambda: pd.DataFrame(columns=list(UNDERSTOOD_COLUMNS)), repr=False
    )

    @property
    def name(self) -> str:
        """What it is, and its file, for messages."""
        return " ".join(filter(None, [self.table.title if self.table else "", self.file]))

    @property
    def said(self) -> list[str]:
        """The notes, each with the table it is about."""
        return [f"{self.name}: {note}" for note in self.notes]

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
        The file cannot be used at all; a table may raise an error of its own. Where every row
        is needed (it does not limit, see `Table`), a refused one too.
    """
    file = Path(path)
    if file.is_dir():
        raise table.error(f"{table.title} {file}: this is a folder; give a file of the table")
    columns = table.columns
    needed = {name for name, column in columns.items() if column.required}
    request = formats.Request(
        sheet=sheet,
        named=table.name,
        known=lambda header: meant_by(header, columns).name is not None,
        fits=lambda headers: needed <= {meant_by(header, columns).name for header in headers},
    )
    try:
        data = formats.content(file, table_files.READERS, "rows")
        found = cleaned(table_files.READERS[file.suffix.lower()](file, data, request))
        places = _places(found.headers, table, file.name)
    except RegisterError as error:
        raise table.error(f"{table.title} {error}") from error
    found, still_open = _done_alone(found, table, places)
    near = _near(found, table, places)
    not_used = [Near(f"column {header!r}", hint) for header, hint in near.items()]
    if table.limits:
        not_used += [
            Near(f"sheet {title!r}", "it has the columns of this table too.")
            for title in sheets_that_may_limit(file, data, found, table)
        ]
    made = _made(found, table, places, file.name, still_open)
    made = replace(made, sha256=hashlib.sha256(data).hexdigest(), near=tuple(not_used))
    if not (table.limits or table.keeps_good) and len(made.rejected):
        raise refusal(made)
    return made


def checked_rows(found: formats.Table, table: Table, file: str, sha256: str) -> Sheet:
    """Read and check rows of text that no table file holds.

    Parameters
    ----------
    found : saltreach.intake.formats.Table
        Headers and cells.
    table : Table
        What they are read as.
    file, sha256 : str
        Where they are from.

    Raises
    ------
    RegisterError
        A column that is needed is missing.
    """
    places = _places(found.headers, table, file)
    near = _near(found, table, places)
    made = _made(found, table, places, file, [])
    not_used = tuple(Near(f"column {header!r}", hint) for header, hint in near.items())
    return replace(made, sha256=sha256, near=not_used)


def _near(found: formats.Table, table: Table, places: _Places) -> dict[str, str]:
    """Headers that are not used and may be meant, and in words why."""
    near = dict(places.near)
    if not table.no_strays:
        return near
    if table.keeps_good:
        near = {
            header: hint
            for header, hint in near.items()
            if lost(header, found, table, places.may_be[header])
        }
    return dict(columns_that_may_limit(found, places.of, table)) | near


def refused_whole(sheet: Sheet) -> Sheet:
    """A sheet of which nothing is taken, where a filled column of it would be lost.

    Parameters
    ----------
    sheet : Sheet
        Of a table that keeps good rows.
    """
    if not sheet.near:
        return sheet
    problems = [
        {
            "row": 1, "column": "", "value": one.what,
            "reason": f"it is filled in and not read; {one.hint.rstrip('.?')}"
            + ("?" if one.hint.endswith("?") else ""),
            "fix": "nothing of the file is taken: write the header as the column is called, give "
            "your word for it with --words, or take the column out",
        }
        for one in sheet.near
    ]  # fmt: skip
    return _without(sheet, (), problems)


def _made(
    found: formats.Table, table: Table, places: _Places, file: str, more: Sequence[str]
) -> Sheet:
    """The rows of a table that was split into cells, each cell read and checked."""
    values, problems, notes = _parsed(found, table, places)
    good = np.ones(len(values), dtype=bool)
    good[problems["place"].to_numpy(dtype=int)] = False
    names = [*values, "row"]
    kept = values.assign(row=found.rows)[good].astype(object)
    said = (*found.notes, *places.notes, *more, *notes)
    return Sheet(
        rows=tuple(dict(zip(names, row, strict=True)) for row in kept.to_numpy(object).tolist()),
        rejected=_rejected(problems, found, file),
        notes=said,
        file=file,
        rows_read=len(values) + len(found.bad_rows),
        table=table,
        understood=understood(
            found.headers, found.cells, places.of, values, columns=table.columns, notes=said
        ),
    )


def refusal(sheet: Sheet) -> SaltreachError:
    """What is refused of a table, as an error: the first rows, and how many more."""
    first = sheet.rejected.drop_duplicates("row")
    told = [row_said(bad) for bad in first.head(MOST_LISTED).itertuples(index=False)]
    if len(first) > MOST_LISTED:
        told.append(f"and {len(first) - MOST_LISTED} more rows")
    told += map(str, sheet.near)
    table = sheet.table
    ways = ""
    if table is not None and table.limits:
        ways = "mend it in the file, or leave it out aloud with " + setting("leave_out_refused")
    error = RegisterError if table is None else table.error
    if len(told) == 1:
        return error(f"{sheet.name}, {told[0]}" + (f" ({ways})" if ways else ""))
    head = f"{sheet.name}: {len(first)} of {sheet.rows_read} rows refused"
    if not len(first):
        head = f"{sheet.name}: not all of it can be used"
    return error("\n  ".join([head + (f"; {ways}:" if ways else ":"), *told]))


def row_said(bad: Any, whole: str | None = None) -> str:
    """A refused row in one sentence: its number (and part, of `whole`), cell, reason and fix."""
    at = f"row {bad.row}" if whole is None else row_named(bad, whole)
    return f"{at}, {_cell(bad.column, bad.value, ' = ')}: {bad.reason}; {bad.fix}"


def _cell(column: str, value: object, between: str) -> str:
    """A cell, or a whole row that could not be split into cells, cut where it is long."""
    text = str(value).replace("|", "/")  # a bar parts the warnings of a row
    shown = repr(text if len(text) <= 80 else f"{text[:79]}…")
    return f"{column}{between}{shown}" if column else shown


def left_out(sheet: Sheet) -> str:
    """What is left out of a table, in one sentence for every output; empty for nothing."""
    first = sheet.rejected.drop_duplicates("row")
    told = [
        f"row {bad.row} ({_cell(bad.column, bad.value, ' ')})"
        for bad in first.head(MOST_LISTED).itertuples(index=False)
    ]
    if len(first) > MOST_LISTED:
        told.append(f"{len(first) - MOST_LISTED} more rows")
    told += [near.what for near in sheet.near]
    return f"{LEFT_OUT} of {sheet.name}: {', '.join(told)}." if told else ""


def settled(
    sheets: Iterable[Sheet], *, leave_out: bool, errors: Sequence[SaltreachError] = ()
) -> tuple[str, ...]:
    """Stop on what is refused of tables that limit, all in one error, or say what is left out.

    Parameters
    ----------
    sheets : iterable of Sheet
        All tables of a run, read and checked.
    leave_out : bool
        Whether the user says to go on without what is refused.
    errors : sequence of SaltreachError
        What else stops the run, to be said with it.

    Returns
    -------
    tuple of str
        A sentence for each table that something is left out of.

    Raises
    ------
    SaltreachError
        Something is refused and is not to be left out, or there are other errors.
    """
    bad = [sheet for sheet in sheets if len(sheet.rejected) or sheet.near]
    found = [*errors, *([] if leave_out else map(refusal, bad))]
    if found:
        raise together(found)
    return tuple(map(left_out, bad))


def _places(headers: tuple[str, ...], table: Table, where: str) -> _Places:
    """Where each column stands, its unit, the headers that are nearly one, notes on the headers."""
    if said := said_of_results(headers):
        raise RegisterError(f"{where}: {said}")
    columns = table.columns
    names = {plain(name): name for name in columns}
    meant = [meant_by(header, columns) for header in headers]
    places: dict[str, int] = {}
    for i, header in enumerate(headers):  # what is named as it should be is meant
        if (name := names.get(plain(header))) is not None and name not in places:
            places[name] = i
    named = set(places)
    unused = []
    for i, header in enumerate(headers):
        name = meant[i].name
        if name is None or (name in named and plain(header) not in names):
            unused += [i] if header.strip() else []
        elif places.get(name, i) != i:
            raise RegisterError(
                f"{where}: headers {headers[places[name]]!r} and {header!r} both mean {name}; "
                "keep one"
            )
        else:
            places[name] = i
    words, alike = table_header_words(columns), alike_in_register(columns.values())
    near: dict[str, str] = {}
    may_be: dict[str, tuple[str, ...]] = {}
    hints = []
    for i in unused:
        hint, may = near_columns(headers[i], words, places, alike)
        hint = meant[i].problem or hint
        if hint:
            may_be[headers[i]] = may
            near[headers[i]] = hint if hint.endswith("?") else f"{hint}."
        hints += [f"{headers[i]!r}: {hint}" for name in may if columns[name].required]
    missing = [n for n, c in columns.items() if c.required and n not in places]
    if missing:
        raise RegisterError(
            f"{where}: no column {' and '.join(missing)}; headers found: {listed(headers)}; "
            f"columns are {', '.join(columns)}{''.join(f'; {hint}' for hint in hints)}"
        )
    told = {headers[i]: "" for i in unused} | {h: f" ({hint})" for h, hint in near.items()}
    renamed = [
        f"{headers[place]!r} as {name}{said_by(headers[place], name)}"
        for name, place in places.items()
        if plain(headers[place]) != plain(name)
    ]
    notes = [
        f"columns {how}: {', '.join(which)}"
        for how, which in (
            ("not used", [f"{header!r}{hint}" for header, hint in told.items()]),
            ("read under another name", renamed),
        )
        if which
    ]
    units = {name: meant[i].unit for name, i in places.items() if meant[i].unit}
    return _Places(places, units, near, notes, may_be)


def _done_alone(
    found: formats.Table, table: Table, places: _Places
) -> tuple[formats.Table, list[str]]:
    """Of a sheet that was printed the rows that were filled in, and how many were not."""
    if table.named_by:
        return _filled_in(found, table, places)
    place = places.of.get(table.filled_in)
    if place is None or not is_a_plan(found.headers):
        return found, []
    done = trimmed(found.cells[place]).notna().to_numpy()
    if done.all():
        return found, []
    cells = found.cells[done].reset_index(drop=True)
    count = int((~done).sum())
    left = f"{counted(count, 'visit')} of the plan without {table.filled_in}: not done yet"
    return replace(found, cells=cells, rows=found.rows[done]), [left]


def _filled_in(
    found: formats.Table, table: Table, places: _Places
) -> tuple[formats.Table, list[str]]:
    """The rows that say more than what they are about, and how many say no more."""
    told = [place for name, place in places.of.items() if name not in table.named_by]
    filled = np.zeros(len(found.cells), dtype=bool)
    for place in told:
        filled |= trimmed(found.cells[place]).notna().to_numpy()
    if filled.all():
        return found, []
    cells = found.cells[filled].reset_index(drop=True)
    count = int((~filled).sum())
    left = f"{counted(count, 'row')} that nobody filled in: left out"
    return replace(found, cells=cells, rows=found.rows[filled]), [left]


def _parsed(
    found: formats.Table, table: Table, places: _Places
) -> tuple[pd.DataFrame, pd.DataFrame, list[str]]:
    """Values of all rows, None where there is none, every problem, and notes."""
    index = found.cells.index
    empty = pd.Series(np.nan, index=index, dtype="str")
    cells = {
        name: trimmed(found.cells[places.of[name]]) if name in places.of else empty
        for name in table.columns
    }
    shown = pd.DataFrame(cells, index=index)
    values: dict[str, pd.Series] = {}
    problems, notes = [check.problems(np.zeros(len(index)), "", "", "", "")], []
    for column in table.columns.values():
        if column.name not in places.of and not column.required:
            word = UNKNOWN if column.kind == "choice" and UNKNOWN in column.choices else None
            blank = table.defaults.get(column.name) if word is None else word
            values[column.name] = pd.Series([blank] * len(index), index=index, dtype=object)
            continue
        text = shown[column.name]
        parsed, more = parse_column(
            text,
            column,
            unknown_is_empty=table.unknown_is_empty,
            reading=Reading(units=places.units),
        )
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
        found.append(check.problems(gone, column.name, "", *_missing(column)))
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


def _missing(column: Column) -> tuple[str, str]:
    """Why a cell that is needed stops a row, and the fix, in plain words."""
    of_people = {"who": ("no name", "give who did it"), "done_on": ("no day", "give the day")}
    return of_people.get(column.name, ("missing", f"give the {column.meaning}"))


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


def nearest(name: str, pool: Mapping[str, str]) -> str:
    """Hint with up to three names that are spelt most like one; empty where none is alike."""
    near = difflib.get_close_matches(plain(name), filter(None, pool), 6, cutoff=0.6)
    names = list(dict.fromkeys(pool[match] for match in near))[:3]
    return f"; nearest: {', '.join(names)}" if names else ""


def with_refused(sheet: Sheet, problems: list[dict[str, Any]], rows: int = 0) -> Sheet:
    """A sheet with more that is refused.

    Parameters
    ----------
    sheet : Sheet
        As it was read.
    problems : list of dict
        Row, column, value, reason and fix of each.
    rows : int
        Rows among them that were not counted.
    """
    about = {problem["row"] for problem in problems}
    good = [row for row in sheet.rows if row["row"] not in about]
    return replace(_without(sheet, good, problems), rows_read=sheet.rows_read + rows)


def refuse_unknown(sheet: Sheet, known: Mapping[str, set[str]]) -> Sheet:
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
    unique = () if sheet.table is None else sheet.table.unique
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
            fix = f"spell it as the register does{nearest(row[name], pool)}"
            refuse(row, (name,), "not among the crags and sectors assessed", fix)
            continue
        here = row | {"crag": crag, "sector": sector}
        key = tuple(here[name] for name in unique) or (row["row"],)
        if key in first:
            refuse(row, unique, f"already given in row {first[key]}", "keep one of the rows")
            continue
        first[key] = row["row"]
        good.append(here)
    return _without(sheet, good, problems)


def refuse_ahead(sheet: Sheet, column: str, last: dt.date) -> Sheet:
    """Move rows about a day that has not come yet to the refused ones.

    Parameters
    ----------
    sheet : Sheet
        Rows with `column`, a day.
    column : str
        Its name.
    last : date
        The last day that counts as past.
    """
    ahead = [row for row in sheet.rows if row[column] is not None and row[column] > last]
    problems = [
        {
            "row": row["row"], "column": column, "value": row[column].isoformat(),
            "reason": f"in the future (the last day counted is {last.isoformat()})",
            "fix": "give what was done, not what is planned",
        }
        for row in ahead
    ]  # fmt: skip
    return _without(sheet, [row for row in sheet.rows if row not in ahead], problems)


def refuse_exchanged_homes(sheet: Sheet, lon: pd.Series, lat: pd.Series) -> Sheet:
    """Move teams whose home lies far from every anchor, but exchanged near one, to the refused.

    Parameters
    ----------
    sheet : Sheet
        Rows with `lon` and `lat`.
    lon, lat : Series of float
        Positions of the anchors, degrees.
    """
    from scipy.spatial import cKDTree

    if not sheet.rows:
        return sheet
    places = cKDTree(earth_m(lon.to_numpy(float), lat.to_numpy(float)))

    def far(east: np.ndarray, north: np.ndarray) -> np.ndarray:
        on_earth = np.abs(north) <= 90
        home = earth_m(east, np.where(on_earth, north, 0.0))
        return ~on_earth | (places.query(home)[0] > FAR_HOME_M)

    east, north = (np.array([row[name] for row in sheet.rows], float) for name in ("lon", "lat"))
    exchanged = far(east, north) & ~far(north, east)
    wrong = [row for row, is_one in zip(sheet.rows, exchanged, strict=True) if is_one]
    problems = [
        {
            "row": row["row"], "column": "lon, lat", "value": f"{row['lon']:g}, {row['lat']:g}",
            "reason": "the home lies far from every crag",
            "fix": f"exchanged it would lie near: write lon {row['lat']:g}, lat {row['lon']:g}",
        }
        for row in wrong
    ]  # fmt: skip
    good = [row for row, is_one in zip(sheet.rows, exchanged, strict=True) if not is_one]
    return _without(sheet, good, problems)


def refuse_unknown_ends(sheet: Sheet, names: Iterable[str]) -> Sheet:
    """Move travel times from or to what is neither a team nor a crag to the refused ones.

    Parameters
    ----------
    sheet : Sheet
        Rows with `from` and `to`.
    names : iterable of str
        Teams and crags.
    """
    pool = _spellings(names)
    good: list[dict[str, Any]] = []
    problems: list[dict[str, Any]] = []
    for row in sheet.rows:
        lost = [end for end in ("from", "to") if _spelt(row[end], pool) is None]
        problems += [
            {
                "row": row["row"], "column": end, "value": row[end],
                "reason": "neither a team nor a crag assessed",
                "fix": "spell it as the teams or the register do" + nearest(row[end], pool),
            }
            for end in lost
        ]  # fmt: skip
        good += [] if lost else [row]
    return _without(sheet, good, problems)


def _without(sheet: Sheet, good: Iterable[dict[str, Any]], problems: list[dict[str, Any]]) -> Sheet:
    """A sheet with its good rows, and more refused ones."""
    more = [_listed(pd.DataFrame(problems), sheet.file)] if problems else []
    rejected = pd.concat([sheet.rejected, *more], ignore_index=True)
    return replace(
        sheet,
        rows=tuple(good),
        rejected=rejected.sort_values("row", kind="stable", ignore_index=True),
    )
