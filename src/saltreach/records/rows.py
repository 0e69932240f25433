"""From a row that somebody brought back to the events of an anchor."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

from saltreach.errors import OptionError
from saltreach.intake.cells import clock_text
from saltreach.intake.datasheet import expiry_of
from saltreach.intake.return_file import Photo
from saltreach.intake.tables import of_metal
from saltreach.records.events import Event
from saltreach.records.placing import WET_HOLES
from saltreach.science.rock.adhesive import CureTable, cure_time_min
from saltreach.vocabulary.columns import columns_of
from saltreach.vocabulary.words import (
    CLOSED_EVENT,
    CORRECTED,
    LOOKED_AT,
    MEASURED,
    NOT_REACHED,
    NOTE,
    PHOTO,
    PLACED,
    PROOF_TEST,
    PULLED,
    REBOUND,
    REMOVED,
    REOPENED,
    REPLACED,
    TAPPED,
    UNKNOWN,
)

COLUMNS = columns_of("returns")
PLACINGS = (PLACED, REPLACED)
_OF_PLACE = ("crag", "sector", "lon", "lat")
_SAID_OF_THE_OLD = tuple(name for name in COLUMNS if name.startswith("old_"))
_ORDER = (
    *PLACINGS, CORRECTED, LOOKED_AT, TAPPED, REBOUND, MEASURED, PROOF_TEST, CLOSED_EVENT, REOPENED,
    PULLED, REMOVED, NOT_REACHED, NOTE, PHOTO,
)  # fmt: skip
"""Of the events of one record: a new piece is placed before it is looked at and tested."""
_LOOKS = frozenset({LOOKED_AT, TAPPED, REBOUND, MEASURED, PROOF_TEST})
"""Of these a row tells only where somebody looked."""
_NO_LOOK = {
    NOTE: "a remark: kept as a note",
    PHOTO: "a photo: kept as one",
    PLACED: "columns of a placing: kept as a correction",
}


@dataclass(frozen=True)
class Record:
    """One row of a return.

    Attributes
    ----------
    file, sha256 : str
        The file it came in.
    row : int
        Its row there, as the user sees it.
    values : mapping
        Column -> value, those that are known.
    photos : tuple of Photo
        Pictures that came with it.
    """

    file: str
    sha256: str
    row: int
    values: Mapping[str, Any]
    photos: tuple[Photo, ...] = field(default=(), repr=False)

    @property
    def anchor_id(self) -> str:
        """The anchor."""
        return str(self.values["anchor_id"])

    @property
    def done_on(self) -> dt.date:
        """The day."""
        day: dt.date = self.values["done_on"]
        return day

    @property
    def record_id(self) -> str:
        """Its key; empty where it has none."""
        return str(self.values.get("record_id", ""))

    @property
    def done(self) -> str:
        """What was done, empty where it is not said.

        A row that does not say so was a look where it states what only a look can tell, or nothing
        at all: a plain list of what was looked at.
        """
        said = self.values.get("done")
        if said:
            return str(said)
        return LOOKED_AT if not self.kinds or self.kinds & _LOOKS else ""

    @property
    def kinds(self) -> frozenset[str]:
        """Kinds of event that its columns belong to."""
        kinds = {COLUMNS[name].event for name in self.values} - {""}
        return frozenset(kinds | {PHOTO}) if self.photos else frozenset(kinds)


def in_order(records: Iterable[Record]) -> list[Record]:
    """Records in the order in which they are taken, whatever the order of the files.

    By day; of one anchor on one day those of a file stay together in their order, a file that
    places it first, then the one with more filled in last. What corrects others comes at the end.
    """
    records = list(records)
    weight: dict[tuple[str, str, dt.date], tuple[int, int]] = {}
    for one in records:
        key = (one.sha256, one.anchor_id, one.done_on)
        looks, cells = weight.get(key, (1, 0))
        weight[key] = (min(looks, int(one.done not in PLACINGS)), cells + len(one.values))

    def place(one: Record) -> tuple[Any, ...]:
        corrects = bool(one.values.get("replaces") or one.values.get("takes_back"))
        key = (one.sha256, one.anchor_id, one.done_on)
        return (corrects, one.done_on, one.anchor_id, *weight[key], one.sha256, one.row)

    return sorted(records, key=place)


def stated(name: str, value: Any) -> Any:
    """A value as an event states it: days and times as ISO text, lists as lists."""
    kind = COLUMNS[name].kind
    if kind == "time":
        return clock_text(value)
    if isinstance(value, dt.date):
        return value.isoformat()
    return list(value) if isinstance(value, tuple) else value


def known_values(row: Mapping[str, Any]) -> dict[str, Any]:
    """Columns of a row that state something.

    Examples
    --------
    >>> known_values({"material": "unknown", "condition": 0, "remark": None})
    {'condition': 0}
    """
    return {
        name: value
        for name, value in row.items()
        if name in COLUMNS and value is not None and value not in ((), "", UNKNOWN)
    }


def events_of(
    record: Record,
    *,
    is_new: bool = False,
    ends_grade: bool = False,
    sheet: CureTable | None = None,
) -> tuple[list[Event], list[str]]:
    """What a record says, as one event of each kind.

    Parameters
    ----------
    record : Record
        A row that takes nothing back.
    is_new : bool
        Whether the anchor is new, so that the row says where it is.
    ends_grade : bool
        Whether the metal that it states is not that of the grade which the book has.
    sheet : CureTable, optional
        Data sheet of the adhesive, for the time that a placing needed.

    Returns
    -------
    events : list of Event
        In the order in which they happened.
    doubts : list of str
        What could not be worked out.
    """
    said: dict[str, dict[str, Any]] = {}
    for name, value in record.values.items():
        kind = COLUMNS[name].event
        if kind and kind != PHOTO:
            said.setdefault(kind, {})[name] = stated(name, value)
    doubts = [*_no_look(record), *_expiry(said.get(PLACED, {}))]
    done = record.done
    if done in PLACINGS:
        placing = _placing(said.pop(PLACED, {}))
        doubts += _needed(placing, sheet)
        if is_new:
            placing |= {n: record.values[n] for n in _OF_PLACE if n in record.values}
        said[done] = placing
    else:
        piece = said.pop(PLACED, {})
        if done == REMOVED:
            old = {name: piece.pop(name) for name in _SAID_OF_THE_OLD if name in piece}
            said[REMOVED] = old
        if piece:
            said[CORRECTED] = _of_one_metal(piece, ends_grade)
        if done:
            said.setdefault(done, {})
    events = [_event(record, kind, said[kind]) for kind in _ORDER if kind in said] + [
        _event(record, PHOTO, one) for one in _photos(record)
    ]
    return events, doubts


def _no_look(record: Record) -> list[str]:
    """That a row which does not say what was done counts as no look."""
    if record.done or not record.kinds <= _NO_LOOK.keys():
        return []
    told = "; ".join(said for kind, said in _NO_LOOK.items() if kind in record.kinds)
    fix = "write done = looked at if it was one"
    if PLACED in record.kinds:
        fix += ", placed or replaced if a new piece went in"
    return [f"only {told}; no look: {fix}"]


def _expiry(piece: dict[str, Any]) -> list[str]:
    """Rewrite the expiry as ISO text where it can be read."""
    printed = piece.get("adhesive_expires_on")
    if not printed:
        return []
    read = expiry_of(str(printed))
    if read:
        piece["adhesive_expires_on"] = read
        return []
    return [f"the expiry {str(printed)!r} cannot be read: write it as 2027-10 or 10/27"]


def _event(record: Record, kind: str, says: Mapping[str, Any]) -> Event:
    return Event(
        record.anchor_id, kind, record.done_on.isoformat(), str(record.values["who"]), says,
        record_id=record.record_id, source_file=record.file, source_sha256=record.sha256,
    )  # fmt: skip


def _photos(record: Record) -> list[dict[str, Any]]:
    """Each photo once: those that came along with their checksum, others by name."""
    named = {photo.name: photo for photo in record.photos}
    found = [
        {"photo": photo.name, "sha256": photo.sha256, "file": f"{photo.sha256}{photo.suffix}"}
        for photo in record.photos
    ]
    listed = (str(name).rpartition("/")[2] for name in record.values.get("photo", ()))
    return [*found, *({"photo": name} for name in listed if name not in named)]


def _placing(says: dict[str, Any]) -> dict[str, Any]:
    """A placing with what follows from it: metal of its grade, length that is in the rock."""
    says = _of_one_metal(says, False)
    length, depth = says.get("piece_length_mm"), says.get("hole_depth_mm")
    if "embedment_mm" not in says and length is not None and depth is not None:
        says["embedment_mm"] = min(length, depth)
    return says


def _of_one_metal(says: dict[str, Any], ends_grade: bool) -> dict[str, Any]:
    """Grade and metal that belong together: a grade names its metal, another metal ends a grade."""
    says = dict(says)
    if "grade" in says:
        says.setdefault("material", of_metal(says["grade"]))
    elif ends_grade and "material" in says:
        says["grade"] = None
    return says


def _needed(placing: dict[str, Any], sheet: CureTable | None) -> Sequence[str]:
    """Fill in the time that the data sheet asks for, where the record states none or less."""
    temperature = placing.get("rock_temperature_c")
    mechanical = not str(placing.get("kind", "bonded")).startswith("bonded")
    if sheet is None or temperature is None or mechanical:
        return ()
    said = placing.get("cure_needed_min")
    wet = placing.get("hole_condition") in WET_HOLES
    try:
        needed = round(float(cure_time_min(temperature, sheet, wet)))
    except OptionError as error:
        return (f"the time it needed is not known: {error}",) if said is None else ()
    if said is not None and said >= needed:
        return ()
    placing["cure_needed_min"] = needed
    if said is None:
        return ()
    return (f"{said:g} min of curing is less than the {needed} min of the data sheet: those count",)
