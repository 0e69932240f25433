"""Two records about one anchor on one day: what they say differently, and what holds until then.

Both stay in the book. What holds is an event of its own, `corrected`, which somebody's answer
replaces.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from itertools import permutations
from typing import Any

import pandas as pd

from saltreach.assessment.state import FAILED
from saltreach.records.events import Event, canonical
from saltreach.records.placing import placement_doubts
from saltreach.records.state import FOUND_BY
from saltreach.vocabulary.columns import REGISTER_BY_NAME, columns_of
from saltreach.vocabulary.words import (
    CLOSED_EVENT,
    CORRECTED,
    DONE,
    ENTERED,
    FINDINGS,
    JOIN,
    LOOKED_AT,
    NOT_REACHED,
    NOTE,
    PHOTO,
    PLACED,
    PROOF_RESULTS,
    PROOF_TEST,
    REMOVED,
    REOPENED,
    REPLACED,
    SEEPAGE,
    STRENGTH_GRADES,
    TAKEN_BACK,
    TAP_RESPONSES,
    UNKNOWN,
    WEATHERING,
)

OPEN = "not settled: "
"""How `who` of an event begins that holds until somebody settles it."""
_SETTLE, _TOGETHER = "settle ", "together "
_COLUMNS = columns_of("returns")
_FREE = tuple(n for n, c in _COLUMNS.items() if c.event in ("", NOTE, PHOTO))
"""What no two people need to write alike."""


def _worst(words: Sequence[str]) -> Callable[[Iterable[Any]], Any]:
    return lambda values: max(values, key=lambda word: words.index(word) if word in words else -1)


def _all_found(values: Iterable[Any]) -> str:
    found = {word for value in values for word in str(value or "").split(JOIN) if word}
    return JOIN.join(sorted(found, key=FINDINGS.index))


MORE_CAUTIOUS: Mapping[str, Callable[[Any], Any]] = {
    "condition": max,
    "findings": _all_found,
    "tap_response": _worst(TAP_RESPONSES),
    "tap_around": _worst(TAP_RESPONSES),
    "weathering_grade": _worst(WEATHERING),
    "strength_grade": _worst(STRENGTH_GRADES[::-1]),
    "seepage": _worst(SEEPAGE),
    "rain_washed": _worst(("yes", "no")),
    "salt_crust": _worst(("no", "yes")),
    "hole_cleaned": _worst(("yes", "no")),
    "proof_result": _worst(PROOF_RESULTS),
    "proof_load_kn": min,
    "proof_held_s": min,
    "pulled_to_kn": min,
    "rebound_number": min,
    "crack_distance_mm": min,
    "edge_distance_mm": min,
    "embedment_mm": min,
    "hole_depth_mm": min,
    "coupon_loss_um": max,
    "salt_swab_mg_m2": max,
    "candle_chloride_mg_m2_d": max,
}
"""Of a condition, a finding or a measure the more cautious is proposed, of all else the later one;
judgement."""


def proposed(column: str, values: Sequence[Any]) -> Any:
    """What holds of several values, the later last; unknown never wins.

    Examples
    --------
    >>> proposed("condition", [3, 1]), proposed("findings", ["loose", "bent"])
    (3, 'bent; loose')
    >>> proposed("piece_batch", ["T1", "T2"]), proposed("tap_response", ["hollow", None, "dull"])
    ('T2', 'hollow')
    """
    known = [value for value in values if value is not None and value != UNKNOWN]
    if not known:
        return None
    return MORE_CAUTIOUS.get(column, lambda all_: all_[-1])(known)


DONE_COLUMN = "done"
_EXCLUDES: Mapping[str, tuple[str, ...]] = {
    REMOVED: (LOOKED_AT, CLOSED_EVENT, REOPENED),
    CLOSED_EVENT: (REOPENED,),
    PLACED: (NOT_REACHED,),
    REPLACED: (NOT_REACHED,),
}


@dataclass(frozen=True)
class Conflict:
    """What records say differently of one column of an anchor on one day.

    Attributes
    ----------
    anchor_id, done_on, column : str
        Of what.
    said : tuple
        Who says what, in the order of entry; None: nothing was found.
    proposed : any
        What holds until somebody settles it.
    answer : any
        What somebody settled; None where nobody did.
    settled_by : str
        Who; empty where nobody did.
    """

    anchor_id: str
    done_on: str
    column: str
    said: tuple[tuple[str, Any], ...]
    proposed: Any
    answer: Any = None
    settled_by: str = ""


def mark_of(*parts: str) -> str:
    """A short key of a few texts."""
    return hashlib.sha256(json.dumps(parts).encode("utf-8", "surrogatepass")).hexdigest()[:12]


def is_settlement(record_id: str) -> bool:
    """Whether a record is ours, about what others say."""
    return record_id.startswith((_SETTLE, _TOGETHER))


@dataclass
class _Said:
    """What one record states of an anchor on a day, by column, and by whom."""

    who: str
    values: dict[str, Any]
    places: bool = False
    kinds: set[str] = field(default_factory=set)

    def add(self, column: str, value: Any) -> None:
        self.values[column] = (
            proposed(column, [self.values[column], value]) if column in self.values else value
        )


def _of_record(event: Mapping[str, Any]) -> str:
    return event["record_id"] or f"{event['who']} {event['source_file']}"


def _statements(events: Sequence[Mapping[str, Any]]) -> list[_Said]:
    """What each record states, in the order of entry."""
    records: dict[str, _Said] = {}
    for event in events:
        if event["kind"] == ENTERED or is_settlement(event["record_id"]):
            continue  # who enters a register was not there that day
        one = records.setdefault(_of_record(event), _Said(event["who"], {}))
        one.kinds.add(event["kind"])
        one.places |= event["kind"] in (PLACED, REPLACED)
        says = json.loads(event["says"])
        for column, value in says.items():
            if column in _COLUMNS and column not in _FREE and value is not None:
                one.add(column, value)
        if event["kind"] == LOOKED_AT and "condition" in says and "findings" not in says:
            one.add("findings", "")
        found = FOUND_BY.get(says.get("proof_result", ""))
        if event["kind"] == PROOF_TEST and found:
            one.add("condition", FAILED)
            one.add("findings", found)
    return list(records.values())


def _differing(records: Sequence[_Said]) -> dict[str, list[tuple[str, Any]]]:
    """Columns of which records state different values: who says what."""
    by_column: dict[str, list[tuple[str, Any]]] = {}
    for one in records:
        for column, value in one.values.items():
            by_column.setdefault(column, []).append((one.who, value))
    return {
        column: said
        for column, said in by_column.items()
        if len({canonical({"": value}) for _, value in said}) > 1
    }


def _done_differently(records: Sequence[_Said]) -> tuple[list[tuple[str, Any]], str]:
    """What people say they did that cannot both be, by whom, and what holds until it is settled.

    Closed before reopened; in place and closed where one removed it and another found it there;
    closed where one placed it and another did not reach it: judgement.
    """
    said: list[tuple[str, Any]] = []
    for one, other in permutations(records, 2):
        if one.who == other.who:
            continue
        first = next((kind for kind in _EXCLUDES if kind in one.kinds), "")
        against = [kind for kind in _EXCLUDES.get(first, ()) if kind in other.kinds]
        if against and REMOVED not in other.kinds:
            said += [(one.who, first), (other.who, against[0])]
    return list(dict.fromkeys(said)), CLOSED_EVENT


def _of_done(value: Any, day: str) -> dict[str, Any]:
    """What an answer about what was done states of the anchor."""
    closing = {CLOSED_EVENT: day, REOPENED: None}
    return {DONE_COLUMN: value} | ({"closed_on": closing[value]} if value in closing else {})


def _together(records: Sequence[_Said], day: str, but: Iterable[str]) -> dict[str, Any]:
    """What records about one placing say together: the later one does not undo the earlier."""
    if sum(one.places for one in records) < 2:
        return {}
    union = {
        column: proposed(column, [one.values[column] for one in records if column in one.values])
        for column in dict.fromkeys(name for one in records for name in one.values)
    }
    doubts = placement_doubts(pd.DataFrame([union | {"done_on": day}])).iloc[0]
    says = {n: v for n, v in union.items() if n not in but and v not in (None, "")}
    if union.get("proof_result") == PROOF_RESULTS[0]:
        says["proof_tested_on"] = day
    says["placement_doubts"] = doubts or None
    return says


def settle(
    events: pd.DataFrame,
    new: frozenset[str],
    answers: Mapping[tuple[str, str, str], tuple[Any, str]],
    source: Callable[[str], tuple[str, str]],
) -> tuple[list[Event], list[Conflict]]:
    """What holds where records differ, as events.

    Parameters
    ----------
    events : DataFrame
        Live events of one anchor on one day, those about to be written last.
    new : frozenset of str
        Keys of these.
    answers : mapping
        Anchor, day and column -> value and who settles it.
    source : callable
        Anchor -> file and checksum that a new event is written as from.

    Returns
    -------
    events : list of Event
        To be written after the others.
    conflicts : list of Conflict
        All differences, settled or not.
    """
    every = events.to_dict("records")
    rows = [row for row in every if row["kind"] != TAKEN_BACK]
    if not every:
        return [], []
    anchor, day = str(every[0]["anchor_id"]), str(every[0]["happened_on"])
    mine: dict[str, list[Any]] = {}
    for row in rows:
        if is_settlement(row["record_id"]):
            mine.setdefault(str(row["record_id"]), []).append(row)
    gone = {str(row["record_id"]): row for row in every if row["kind"] == TAKEN_BACK}
    records = _statements(rows)
    stated = {
        column
        for row in rows
        if row["event_id"] in new
        for column in [*json.loads(row["says"]), "findings", "condition"]
    }
    people = ", ".join(dict.fromkeys(one.who for one in records))
    writer = _Writer(anchor, day, *source(anchor), gone)
    differing = _differing(records)
    what, cautious = _done_differently(records)
    if what:
        differing[DONE_COLUMN] = what
    if any(row["event_id"] in new and row["kind"] in DONE for row in rows):
        stated.add(DONE_COLUMN)
    conflicts = []
    for column, said in differing.items():
        key = _SETTLE + mark_of(anchor, day, column)
        there = mine.pop(key, [None])[-1]
        held = None if there is None else json.loads(there["says"]).get(column)
        value, by = answers.get((anchor, day, column), (None, ""))
        best = cautious if column == DONE_COLUMN else proposed(column, [one for _, one in said])

        def says(value: Any, column: str = column) -> dict[str, Any]:
            return _of_done(value, day) if column == DONE_COLUMN else {column: value}

        if by:
            if there is None or there["who"] != by or held != value or column in stated:
                writer.write(key, by, says(value), there)
            answer = value
        elif there is None or column in stated:
            writer.write(key, OPEN + people, says(best or None), there)
            answer = None
        else:
            settled = not there["who"].startswith(OPEN)
            answer, by = (held, there["who"]) if settled else (None, "")
        conflicts.append(Conflict(anchor, day, column, tuple(said), best, answer, by))
    key = _TOGETHER + mark_of(anchor, day)
    there = mine.get(key, [None])[-1]
    together = _together(records, day, differing)
    if together and (
        there is None or there["says"] != canonical(together) or stated & set(together)
    ):
        writer.write(key, people, together, there)
    if together:
        mine.pop(key, None)
    for row in (row for rows_of_key in mine.values() for row in rows_of_key):
        if row["who"].startswith(OPEN) or row["record_id"].startswith(_TOGETHER):
            writer.take_back(row)  # nothing differs any more
    return writer.events, conflicts


class _Writer:
    """Events about one anchor on one day, beside those that people bring."""

    def __init__(
        self, anchor: str, day: str, file: str, sha256: str, gone: Mapping[str, Any]
    ) -> None:
        self.anchor, self.day, self.file, self.sha256 = anchor, day, file, sha256
        self.gone = gone
        self.events: list[Event] = []

    def write(
        self, key: str, who: str, says: Mapping[str, Any], there: Mapping[str, Any] | None
    ) -> None:
        there = there or self.gone.get(key)  # one that was taken back is not the same again
        replaces = "" if there is None else str(there["event_id"])
        self._add(CORRECTED, who, says, key, replaces)

    def take_back(self, row: Mapping[str, Any]) -> None:
        self._add(TAKEN_BACK, row["who"], {}, row["record_id"], row["event_id"])

    def _add(self, kind: str, who: str, says: Mapping[str, Any], key: str, replaces: str) -> None:
        self.events.append(
            Event(self.anchor, kind, self.day, who, says, key, replaces, self.file, self.sha256)
        )


def shown(column: str, value: Any) -> str:
    """A value as people read it: `none` for no findings."""
    if value in (None, ""):
        return "none" if column == "findings" else UNKNOWN
    unit = REGISTER_BY_NAME[column].unit if column in REGISTER_BY_NAME else ""
    text = f"{value:g}" if isinstance(value, float) else str(value)
    return f"{text} {unit}".strip()
