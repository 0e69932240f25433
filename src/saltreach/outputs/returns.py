"""What returns would change, for the screen, for a machine, and as a sheet of open questions."""

from __future__ import annotations

from collections.abc import Iterable
from typing import TYPE_CHECKING, Any

import pandas as pd

from saltreach.assessment.reasons import some
from saltreach.intake.cells import text_of
from saltreach.intake.names import safe_text
from saltreach.outputs.tables.results import spreadsheet_safe
from saltreach.records.conflicts import Conflict, shown
from saltreach.vocabulary.columns import columns_of
from saltreach.vocabulary.words import CAUTION, counted

if TYPE_CHECKING:
    from rich.table import Table

    from saltreach.records.returns import Proposal

MOST_SHOWN = 200
"""Changes, and other lines of one kind, on the screen; --json has all."""
ONLY_SHOWN = "Nothing was written: run it again with --apply to write it into the book."


def one_line(value: object) -> str:
    """A user's text on one line of a terminal, without what would move its cursor."""
    return " ".join(safe_text(text_of(value) or "-").split())


def counts_line(found: Proposal, name: str, *, applied: bool = False) -> str:
    """How many records there are, and what became of them."""
    done = "written" if applied else "to write"
    anchors = len({event.anchor_id for event in found.events})
    return (
        f"{name}: {counted(found.rows, 'row')}: {found.records} good, "
        f"{found.rows - found.records} refused; {found.known} known already; "
        f"{counted(len(found.events), 'event')} {done} about {counted(anchors, 'anchor')}; "
        f"{counted(len(found.open), 'difference')} open"
    )


def change_rows(found: Proposal) -> list[tuple[str, ...]]:
    """Changes as texts: anchor, column, before, after, file and person."""
    rows = found.changes.head(MOST_SHOWN).itertuples(index=False, name=None)
    return [tuple(map(one_line, row)) for row in rows]


def returns_lines(found: Proposal, name: str, *, applied: bool, table: bool = True) -> list[str]:
    """A proposal in lines of text.

    Parameters
    ----------
    found : Proposal
        From `records.returns.read_returns`.
    name : str
        The book's.
    applied : bool
        Whether it was written.
    table : bool
        Whether the changes are among them; a terminal shows them as a table.
    """
    lines = [counts_line(found, name, applied=applied)]
    if found.records and found.known == found.records and not found.events:
        lines.append("Everything is in the book already: nothing changes.")
    if table and len(found.changes):
        lines.append(changes_title(applied=applied))
        lines += _aligned(change_rows(found))
    if len(found.changes) > MOST_SHOWN:
        lines.append(f"  and {len(found.changes) - MOST_SHOWN} more changes: --json lists all")
    milder = [
        f"  MILDER THAN BEFORE: {one_line(m.anchor_id)}: {one_line(m.said)}" for m in found.milder
    ]
    lines += _cut(milder, "milder")
    if found.conflicts:
        lines.append("Records that differ about one anchor on one day (both are kept):")
        lines += _cut([f"  {conflict_said(one)}" for one in found.conflicts], "differences")
    doubts = [f"  {one_line(d.anchor_id)}: {one_line(d.said)}" for d in found.doubts.itertuples()]
    if doubts:
        lines += ["Kept, and in doubt:", *_cut(doubts, "doubts")]
    lines += _cut([f"  refused: {_refusal(bad)}" for bad in found.rejected.itertuples()], "refused")
    lines += [f"  note: {one_line(note)}" for note in found.notes]
    return [*lines, *([] if applied or not found.events else [ONLY_SHOWN]), CAUTION]


def changes_title(*, applied: bool) -> str:
    """What stands over the changes."""
    return "Changed in the register:" if applied else "Would change in the register:"


def changes_table(found: Proposal, *, applied: bool) -> Table:
    """The changes as a table of a terminal."""
    from rich.table import Table
    from rich.text import Text

    table = Table(title=changes_title(applied=applied), title_justify="left")
    for header in found.changes.columns:
        table.add_column(str(header))
    for row in change_rows(found):
        table.add_row(*map(Text, row))
    return table


def conflict_said(one: Conflict) -> str:
    """A difference in one sentence."""
    said = ", ".join(
        f"{one_line(who)} says {one_line(shown(one.column, value))}" for who, value in one.said
    )
    where = f"{one_line(one.anchor_id)}, {one.done_on}, {one.column}: {said}"
    if one.settled_by:
        answer = one_line(shown(one.column, one.answer))
        return f"{where}; {one_line(one.settled_by)} settled it: {answer}"
    return f"{where}; until it is settled {one_line(shown(one.column, one.proposed))} holds"


def _refusal(bad: Any) -> str:
    where = f"{bad.column} = {one_line(bad.value)}" if bad.column else one_line(bad.value)
    return (
        f"{one_line(bad.file)}, row {bad.row}, {where}: {one_line(bad.reason)}; {one_line(bad.fix)}"
    )


def _cut(lines: list[str], what: str) -> list[str]:
    more = len(lines) - MOST_SHOWN
    return [*lines[:MOST_SHOWN], *([f"  and {more} more {what}: --json lists all"] * (more > 0))]


def _aligned(rows: list[tuple[str, ...]]) -> list[str]:
    """Anchor, column, before -> after, and what says so."""
    wide = [max((len(row[at]) for row in rows), default=0) for at in range(2)]
    return [
        f"  {row[0]:<{wide[0]}}  {row[1]:<{wide[1]}}  {row[2]} -> {row[3]}  ({row[4]})"
        for row in rows
    ]


def returns_record(found: Proposal, *, applied: bool) -> dict[str, Any]:
    """A proposal as plain values."""
    return {
        "applied": applied,
        "rows": found.rows,
        "records": found.records,
        "milder": [one._asdict() for one in found.milder],
        "known": found.known,
        "events": len(found.events),
        "photos": len(found.photos),
        "changes": _plain(found.changes),
        "differences": [vars(one) | {"said": list(one.said)} for one in found.conflicts],
        "doubts": _plain(found.doubts),
        "rejected": _plain(found.rejected),
        "notes": list(found.notes),
        "caution": CAUTION,
    }


def _plain(table: pd.DataFrame) -> list[dict[str, Any]]:
    cells = table.astype(object)
    return [{str(k): v for k, v in row.items()} for row in
            cells.where(cells.notna(), None).to_dict("records")]  # fmt: skip


def settle_csv(conflicts: Iterable[Conflict]) -> str:
    """Open differences as a table: `answer` and `who` are to be filled in, and it is read again."""
    rows = [
        {
            "anchor_id": one.anchor_id,
            "done_on": one.done_on,
            "column": one.column,
            "said": "; ".join(f"{who}: {shown(one.column, value)}" for who, value in one.said),
            "proposed": shown(one.column, one.proposed),
            "answer": "",
            "who": "",
        }
        for one in conflicts
    ]
    table = pd.DataFrame(rows, columns=list(columns_of("settle")), dtype="str")
    return spreadsheet_safe(table).to_csv(index=False)


def written_line(new: int, known: int, photos: int, name: str) -> str:
    """What was written."""
    told = [counted(new, "event")] + ([counted(photos, "photo")] if photos else [])
    more = f"; {known} were there already" if known else ""
    return f"written into {name}: {some(told, len(told))}{more}"
