"""The history of a place for the screen: what is known, who was there last, what was decided."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import pandas as pd

from saltreach.outputs.returns import one_line
from saltreach.records.history import History, known_of, said_of
from saltreach.vocabulary.columns import REGISTER_BY_NAME, REQUIRED
from saltreach.vocabulary.words import CAUTION, ENTERED, NOTE, TAKEN_BACK, counted

SCREEN = 24
"""Events of one place on the screen, the last ones; --json has all."""
NAMED = 12
"""Anchors named on the screen."""
_STATE = ("condition", "findings", "tap_response", "material")
_PLACE = REQUIRED


def history_lines(found: History) -> list[str]:
    """A history in lines that fit one screen."""
    when = f", as of {found.on.isoformat()}" if found.on else ""
    lines = [f"{one_line(found.place)}{when}: {counted(len(found.anchors), 'anchor')} in place"]
    names = [one_line(name) for name in found.anchors["anchor_id"]]
    if len(names) != 1 or names[0] not in lines[0]:
        more = f" and {len(names) - NAMED} more" if len(names) > NAMED else ""
        lines.append("Anchors: " + (", ".join(names[:NAMED]) or "none") + more)
    if len(names) == 1:
        lines.append("Known: " + _known(known_of(found.anchors)))
    if not len(found.events):
        lines.append(
            "The book says nothing of it up to that day: it knows a place once it is entered."
        )
    elif not names:
        lines.append("No longer in place.")
    seen = f"{one_line(found.seen_by)}, {found.seen_on}." if found.seen_on else "not known."
    lines.append(f"Last there: {seen}")
    if len(found.decided):
        lines.append("Decided:")
        for row in found.decided.tail(3).itertuples():
            lines += [f"  {_event(row, found)}", f"    before it: {_before(row, found)}"]
    entered = found.events["kind"] == ENTERED
    rows = list(found.events[~entered].iloc[::-1].head(SCREEN).itertuples())
    lines += [
        "Events, the last first (<key> for book take-back):",
        *(f"  {_event(row, found)}" for row in rows),
    ]
    left = int((~entered).sum()) - len(rows)
    if left:
        lines.append(f"  and {left} earlier: --json lists all")
    if entered.any():
        first = found.events[entered].iloc[0]
        where = f"{one_line(first['who'])}, {first['happened_on']} [{one_line(first['file'])}]"
        lines.append(f"  {int(entered.sum())} entered from a register, the first by {where}")
    return [*lines, CAUTION]


def _known(cells: Mapping[str, str]) -> str:
    told = []
    for name, value in cells.items():
        if name not in _PLACE:
            unit = REGISTER_BY_NAME[name].unit
            told.append(f"{name} {one_line(value)}" + (f" {unit}" if unit else ""))
    return ", ".join(told) or "nothing but where it is"


def _event(row: Any, found: History) -> str:
    anchor = "" if found.events["anchor_id"].nunique() == 1 else f"{one_line(row.anchor_id)}: "
    what = row.kind
    if row.kind == TAKEN_BACK:
        what = f"took back: {row.says['taken_back']}"
    says = "" if row.kind == TAKEN_BACK else one_line(said_of(row.says))
    file = f" [{one_line(row.file)}]" if row.file else ""
    said = f": {says}" if says and says != "-" else ""
    end = ""
    if row.ended_by:
        end = f" ({row.ended_how}, {one_line(row.ended_by)}, {row.ended_on})"
    key = f" <{one_line(row.record)}>"
    return f"{row.happened_on}  {anchor}{what}, {one_line(row.who)}{said}{file}{key}{end}"


def _before(decided: Any, found: History) -> str:
    """What was said of the anchor up to a decision, the last first, and the notes on that day."""
    table = found.events[
        (found.events["anchor_id"] == decided.anchor_id) & (found.events["ended_by"] == "")
    ]
    table = table[~table["kind"].isin([ENTERED, TAKEN_BACK])]
    at = int(((table["kind"] == decided.kind) & (table["happened_on"] == decided.happened_on)
              & (table["who"] == decided.who)).to_numpy(bool).argmax())  # fmt: skip
    day = (table["happened_on"] == decided.happened_on) & (table["kind"] == NOTE)
    rows = [*table[day].itertuples(), *table.iloc[:at][::-1].itertuples()]
    said = dict.fromkeys(one_line(said_of(row.says)) for row in rows if row.says)
    own = found.events["kind"].eq(ENTERED) & (found.events["anchor_id"] == decided.anchor_id)
    for row in found.events[own].itertuples():
        cells = {name: row.says[name] for name in _STATE if name in row.says}
        said |= dict.fromkeys([f"in the register: {one_line(said_of(cells))}"] if cells else [])
    return "; ".join(list(said)[:3]) or "nothing is written down"


def history_record(found: History) -> dict[str, Any]:
    """A history as plain values."""
    cells = pd.DataFrame(found.anchors).drop(columns="geometry", errors="ignore").astype(object)
    return {
        "place": found.place,
        "on": None if found.on is None else found.on.isoformat(),
        "last_there": {"who": found.seen_by, "on": found.seen_on},
        "anchors": cells.where(cells.notna(), None).to_dict("records"),
        "events": found.events.to_dict("records"),
        "decided": found.decided.to_dict("records"),
        "caution": CAUTION,
    }
