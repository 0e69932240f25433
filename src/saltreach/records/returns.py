"""What people bring back, against the book: what would change, where records differ, and why not.

Nothing is written by reading. `apply_returns` writes what a proposal holds, in one transaction.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pandas as pd

from saltreach.errors import RegisterError, SaltreachError, together
from saltreach.intake.datasheet import read_cure_table
from saltreach.intake.return_file import Photo, read_return_file
from saltreach.intake.sheets import Sheet, read_table, refused_whole, with_refused
from saltreach.intake.tables import RETURNS
from saltreach.intake.values import parse_column
from saltreach.records.book_view import View
from saltreach.records.conflicts import Conflict, settle, shown
from saltreach.records.events import Event
from saltreach.records.photos import photos_folder, stored
from saltreach.records.rows import Record, in_order, known_values, stated
from saltreach.records.state import state_of
from saltreach.records.taking import Doubt, Reading, Refused
from saltreach.vocabulary.columns import REGISTER, REJECTED_COLUMNS, columns_of
from saltreach.vocabulary.words import (
    CLOSED_EVENT,
    LOOKED_AT,
    PROOF_TEST,
    PULLED,
    REMOVED,
    REOPENED,
    UNKNOWN,
)

if TYPE_CHECKING:
    from saltreach.records.book import Appended, Book

CHANGED = ("anchor_id", "column", "before", "after", "record")
"""Columns of the table of changes."""
NEW_ANCHOR, NO_ANCHOR = "new anchor", "no longer in place"
_BY_KIND: Mapping[str, tuple[str, ...]] = {
    CLOSED_EVENT: ("closed_on",), REOPENED: ("closed_on",), LOOKED_AT: ("last_inspected_on",),
    REMOVED: ("anchor_id",), PULLED: ("anchor_id",),
    PROOF_TEST: ("condition", "findings", "proof_tested_on"),
}  # fmt: skip
"""Columns of the register that follow from what was done, so that they are credited to it."""
Answers = Mapping[tuple[str, str, str], tuple[Any, str]]
"""Anchor, day and column -> what is right, and who says so."""


@dataclass(frozen=True)
class Proposal:
    """What returns would do to a book.

    Attributes
    ----------
    events : tuple of Event
        To be written, in order.
    changes : DataFrame
        `CHANGED`, one row per anchor and column of the register; None where not known.
    conflicts : tuple of Conflict
        Where records differ, settled or not.
    rejected : DataFrame
        Refused rows and photos.
    doubts : DataFrame
        anchor_id and said: what is kept and may still be wrong.
    known : int
        Records that change nothing.
    records : int
        Good records that were read.
    photos : tuple of Photo
        Pictures to be stored.
    notes : tuple of str
        How the files were read.
    rows : int
        Rows that were read, good and refused; photos are none.
    milder : tuple of Doubt
        What corrections say less bad than the records before them.
    """

    events: tuple[Event, ...]
    changes: pd.DataFrame
    conflicts: tuple[Conflict, ...]
    rejected: pd.DataFrame
    doubts: pd.DataFrame
    known: int
    records: int
    photos: tuple[Photo, ...]
    notes: tuple[str, ...]
    rows: int = 0
    milder: tuple[Doubt, ...] = ()

    @property
    def open(self) -> tuple[Conflict, ...]:
        """Differences that nobody settled."""
        return tuple(one for one in self.conflicts if not one.settled_by)


def read_returns(
    paths: Iterable[str | Path],
    book: Book,
    *,
    today: dt.date,
    data_sheet: str | Path | None = None,
    answers: str | Path | None = None,
) -> Proposal:
    """Read returns, and work out what they would change.

    Parameters
    ----------
    paths : iterable of path
        Return files of the phone page (.zip), filled sheets and lists (.xlsx, .csv).
    book : Book
        Unchanged.
    today : date
        The last day that is not in the future.
    data_sheet : path, optional
        Of the adhesive: the time that a placing needed, where its record states none or less.
    answers : path, optional
        Answers to differences (table `settle`).

    Raises
    ------
    SaltreachError
        A file cannot be used at all; all of them are named.
    """
    sheet = None if data_sheet is None else read_cure_table(data_sheet)
    sheets, records = _read_all(paths)
    view = View(book.events(), book.anchors())
    reading = Reading(view, today, sheet)
    refused: dict[str, list[dict[str, Any]]] = {}
    for record in in_order(records):
        try:
            reading.take(record)
        except Refused as problem:
            refused.setdefault(record.sha256, []).append({"row": record.row, **problem.cell})
    sheets = [with_refused(one, refused.pop(one.sha256, [])) for one in sheets]
    settling, bad, source = ({}, [], ("", "")) if answers is None else read_answers(answers)
    events, conflicts = _settled(view, reading, settling, source)
    after = view.with_more(events)
    states = _states(view, after, events)
    rejected = [one.rejected for one in sheets if len(one.rejected)] + bad
    return Proposal(
        events=tuple(events),
        changes=_changes(events, *states),
        conflicts=tuple(conflicts),
        rejected=(
            pd.concat(rejected, ignore_index=True)
            if rejected
            else pd.DataFrame(columns=list(REJECTED_COLUMNS))
        ),
        doubts=_doubts(reading, *states),
        known=reading.known,
        records=sum(len(one.rows) for one in sheets),
        rows=sum(one.rows_read for one in sheets),
        milder=tuple(reading.milder),
        photos=tuple({photo.sha256: photo for photo in reading.photos}.values()),
        notes=tuple(f"{one.file}: {note}" for one in sheets for note in one.notes),
    )


def _read_all(paths: Iterable[str | Path]) -> tuple[list[Sheet], list[Record]]:
    """Every file once, whatever its name, and the records of all."""
    sheets: dict[str, Sheet] = {}
    records: list[Record] = []
    errors: list[SaltreachError] = []
    for path in map(Path, paths):
        photos: tuple[Photo, ...] = ()
        try:
            if path.suffix.lower() == ".zip":
                sheet, photos = read_return_file(path)
            else:
                sheet = read_table(path, RETURNS)
        except SaltreachError as error:
            errors.append(error)
            continue
        if sheet.sha256 in sheets:
            first = sheets[sheet.sha256]
            note = f"the same file as {sheet.file}"
            sheets[sheet.sha256] = replace(first, notes=(*first.notes, note))
            continue
        sheet = sheets[sheet.sha256] = refused_whole(sheet)
        of_record: dict[str, list[Photo]] = {}
        for photo in photos:
            of_record.setdefault(photo.record_id, []).append(photo)
        for row in sheet.rows:
            values = known_values(row)
            mine = tuple(of_record.get(str(values.get("record_id", " ")), ()))
            records.append(Record(sheet.file, sheet.sha256, row["row"], values, mine))
    if errors:
        raise together(errors)
    return list(sheets.values()), records


def _settled(
    view: View, reading: Reading, answers: Answers, file: tuple[str, str]
) -> tuple[list[Event], list[Conflict]]:
    """The events that were read, and those that hold where records differ."""
    after = view.with_more(reading.events)
    new = frozenset(event.event_id for event in reading.events)
    source = {event.anchor_id: (event.source_file, event.source_sha256) for event in reading.events}
    groups = reading.touched | {(anchor, day) for anchor, day, _ in answers}
    anchors = {anchor for anchor, _ in groups}
    table = after.events[after.alive & after.events["anchor_id"].isin(anchors).to_numpy(bool)]
    events, conflicts = list(reading.events), []
    for group, rows in table.groupby(["anchor_id", "happened_on"], sort=True):
        if group in groups:
            more, found = settle(rows, new, answers, lambda one: source.get(one, file))
            events += more
            conflicts += found
    return events, conflicts


def read_answers(
    path: str | Path,
) -> tuple[Answers, list[pd.DataFrame], tuple[str, str]]:
    """Answers to differences, by anchor, day and column; what is refused; file and checksum."""
    from saltreach.intake.tables import SETTLE

    sheet = read_table(path, SETTLE)
    columns = columns_of(RETURNS.name)
    answers, wrong = {}, []
    for row in sheet.rows:
        column = columns.get(row["column"])
        cell = {"row": row["row"], "column": "column", "value": row["column"]}
        if column is None:
            wrong.append(cell | {"reason": "no column of returns", "fix": "leave it as it was"})
            continue
        if not row["answer"]:
            continue
        cell |= {"column": "answer", "value": row["answer"]}
        value, reason, fix = _answer(row["answer"], column)
        if reason:
            wrong.append(cell | {"reason": reason, "fix": fix})
        else:
            key = (row["anchor_id"], row["done_on"].isoformat(), column.name)
            answers[key] = (value, row["who"])
    rejected = with_refused(sheet, wrong).rejected
    return answers, [rejected] if len(rejected) else [], (sheet.file, sheet.sha256)


def _answer(text: str, column: Any) -> tuple[Any, str, str]:
    """The value of an answer; or why there is none, and the fix."""
    if column.kind == "several" and text.casefold() == shown(column.name, None):
        return None, "", ""
    parsed, _ = parse_column(pd.Series([text], dtype="str"), column)
    value, reason = parsed.values.tolist()[0], parsed.reason.iloc[0]
    if pd.notna(reason):
        return None, str(reason), str(parsed.fix.iloc[0])
    if pd.isna(value) or value == UNKNOWN:
        return None, "unknown settles nothing", "leave it empty until somebody knows"
    low, high = column.low, column.high
    if low is not None and not low <= float(value) <= high:
        return None, f"not in {low:g}..{high:g}", f"correct it ({column.meaning})"
    return stated(column.name, value), "", ""


State = dict[str, dict[str, Any]]
"""Rows of the register by anchor; None where not known."""


def _changes(events: list[Event], then: State, now: State) -> pd.DataFrame:
    """What of the register events would change: one row per anchor and column."""
    says: dict[tuple[str, str], str] = {}
    for event in events:
        told = f"{event.source_file}, {event.who}".strip(", ")
        says[event.anchor_id, ""] = told
        names = (*event.says, *_BY_KIND.get(event.kind, ()))
        says |= dict.fromkeys(((event.anchor_id, name) for name in names), told)
    rows: list[tuple[Any, ...]] = []
    for anchor in dict.fromkeys(event.anchor_id for event in events):
        old, new = then.get(anchor), now.get(anchor)
        if old is None and new is None:
            continue
        if old is None or new is None:
            word = NEW_ANCHOR if old is None else NO_ANCHOR
            rows.append((anchor, "anchor_id", None if old is None else anchor,
                         word if new is None else anchor,
                         says.get((anchor, "anchor_id"), says[anchor, ""])))  # fmt: skip
        for name in (c.name for c in REGISTER[1:]):
            one, other = (None if row is None else row[name] for row in (old, new))
            if one != other and new is not None:
                record = says.get((anchor, name), says[anchor, ""])
                rows.append((anchor, name, one, other, record))
    return pd.DataFrame(rows, columns=list(CHANGED), dtype=object)


def _states(before: View, after: View, events: list[Event]) -> tuple[State, State]:
    """The anchors that events are about, before and after."""
    touched = {event.anchor_id for event in events}
    if not touched:
        return {}, {}

    def rows(view: View) -> State:
        state = state_of(view.events[view.events["anchor_id"].isin(touched)])
        table = state[[c.name for c in REGISTER]].astype(object)
        table = table.where(table.notna() & (table != UNKNOWN), None)
        return {row["anchor_id"]: row for row in table.to_dict("records")}

    return rows(before), rows(after)


def _doubts(reading: Reading, then: State, now: State) -> pd.DataFrame:
    """What is kept and may still be wrong: of the records, and of the placings they are about."""
    rows = list(dict.fromkeys((doubt.anchor_id, doubt.said) for doubt in reading.doubts))
    for anchor, row in now.items():
        said = row["placement_doubts"]
        if said and said != then.get(anchor, {}).get("placement_doubts"):
            rows.append((anchor, f"placed with doubts: {said}"))
    return pd.DataFrame(rows, columns=["anchor_id", "said"], dtype="str")


def apply_returns(
    proposal: Proposal, book: Book, address: str | Path, *, now: dt.datetime
) -> Appended:
    """Write what a proposal holds: photos first, then all events or none.

    Parameters
    ----------
    proposal : Proposal
        From `read_returns` on the same book.
    book : Book
        The book.
    address : str or Path
        Where it is: photos go into a folder beside it.
    now : datetime
        When they are entered.

    Raises
    ------
    SaltreachError
        The book or the folder cannot be written to; the book is as it was.
    """
    if proposal.photos:
        stored(proposal.photos, photos_folder(address))
    return book.append(proposal.events, now=now)


def refuse_nothing_given(paths: list[Path], answers: Path | None) -> None:
    """Raise where there is nothing to read."""
    if not paths and answers is None:
        raise RegisterError("no file of returns is given: give a .zip, .xlsx or .csv, or --settle")
