"""Records of a return against a book: which are refused, which are known, which correct others."""

from __future__ import annotations

import datetime as dt
import json
from collections.abc import Iterable, Mapping
from dataclasses import replace
from itertools import product
from typing import Any, NamedTuple

import numpy as np

from saltreach.intake.names import name_key
from saltreach.intake.policy import DEFAULT
from saltreach.intake.return_file import Photo
from saltreach.intake.sheets import nearest
from saltreach.intake.tables import of_metal
from saltreach.intake.together import earth_m
from saltreach.records.book_view import View, content
from saltreach.records.conflicts import MORE_CAUTIOUS, proposed, shown
from saltreach.records.events import Event, canonical
from saltreach.records.rows import PLACINGS, Record, events_of
from saltreach.science.rock.adhesive import CureTable
from saltreach.vocabulary.synonyms import plain
from saltreach.vocabulary.words import LOOKED_AT, PHOTO, PLACED, REMOVED, TAKEN_BACK, UNKNOWN

FAR_M = 5_000.0
"""From every other anchor of its crag: a new anchor so far away is at another place; judgement."""
_WHERE = ("crag", "sector", "lon", "lat")


class Doubt(NamedTuple):
    """What is kept and may still be wrong."""

    anchor_id: str
    said: str


class Refused(Exception):
    """A record that cannot be used: column, value, reason and fix."""

    def __init__(self, column: str, value: object, reason: str, fix: str) -> None:
        super().__init__(reason)
        self.cell = {"column": column, "value": str(value), "reason": reason, "fix": fix}


class Reading:
    """Takes records one by one, in order; what one says is known to the next.

    Attributes
    ----------
    events : list of Event
        What is new.
    photos : list of Photo
        Pictures of these.
    doubts : list of Doubt
    milder : list of Doubt
        What a correction says less bad than the record before it.
    known : int
        Records that change nothing.
    touched : set
        Anchor and day of every record that was taken.
    """

    def __init__(self, view: View, today: dt.date, sheet: CureTable | None) -> None:
        self.view, self.today, self.sheet = view, today, sheet
        self.events: list[Event] = []
        self.photos: list[Photo] = []
        self.doubts: list[Doubt] = []
        self.milder: list[Doubt] = []
        self.known = 0
        self.touched: set[tuple[str, str]] = set()
        self._contents = set(view.contents)
        self._records = {key: list(rows) for key, rows in view.records.items()}
        self._loose = {key: list(rows) for key, rows in view.loose.items()}
        self._names = dict(view.known)
        self._gone = dict(view.gone)
        self._here = dict(view.in_place)
        self._by_day: dict[tuple[str, str], list[tuple[str, str]]] = {}

    def take(self, record: Record) -> None:
        """Take a record; what it says is among the events from then on.

        Raises
        ------
        Refused
            Nothing of it is kept.
        """
        record = self._spelt(record)
        if record.values.get("takes_back"):
            self._take_back(record)
        elif self._says_nothing_new(record):
            self.known += 1
        else:
            self._check(record)
            self._check_key(record)
            self._write(record)
        self.touched.add((record.anchor_id, record.done_on.isoformat()))

    def _spelt(self, record: Record) -> Record:
        """The record with its anchor spelt as the book spells it."""
        name = self._names.get(name_key(record.anchor_id))
        return (
            record if name is None else replace(record, values={**record.values, "anchor_id": name})
        )

    def _says_nothing_new(self, record: Record) -> bool:
        """Whether each event of it was in the book before, the ones taken back among them."""
        if record.values.get("replaces"):
            record = replace(record, values={**record.values, "replaces": ""})
        for is_new, ends_grade in product((False, True), repeat=2):
            events, _ = events_of(record, is_new=is_new, ends_grade=ends_grade, sheet=self.sheet)
            if all(content(event) in self._contents for event in events):
                return True
        return False

    def _check(self, record: Record) -> None:
        anchor, day = record.anchor_id, record.done_on
        if day > self.today:
            raise Refused(
                "done_on", day.isoformat(), f"in the future (today is {self.today.isoformat()})",
                "give the day on which it was done",
            )  # fmt: skip
        if name_key(anchor) not in self._names:
            self._check_new(record)
            return
        first = self.view.first_day.get(anchor, "")
        if first and day.isoformat()[: len(first)] < first:
            raise Refused(
                "done_on", day.isoformat(), f"before the anchor was placed ({first})",
                "correct the day, or the id of the anchor; a wrong date in the book is corrected "
                "there",
            )  # fmt: skip
        gone = self._gone.get(anchor)
        if gone is not None and record.done != PLACED and day.isoformat() > gone[0]:
            raise Refused(
                "anchor_id", anchor, f"no longer in place since {gone[0]}, as {gone[1]} says",
                "correct the id; where a new anchor stands write done = placed",
            )  # fmt: skip
        self._check_place(record)

    def _check_key(self, record: Record) -> None:
        """Whether the key of a record is its own, or that of an earlier one which it may correct.

        Another person's record, or one of another anchor, keeps its key; on another day nobody
        makes it milder.
        """
        key = record.record_id
        rows = self._records.get(key, []) if key else []
        former = [row for row in rows if row["kind"] != TAKEN_BACK]
        if not former:
            self._check_replaced(key)
            return
        first = former[0]
        said = f"in use by {first['who']} for {first['anchor_id']} on {first['happened_on']}"
        fix = "give this record a key of its own, or none"
        if first["anchor_id"] != record.anchor_id:
            raise Refused("record_id", key, said, fix)
        events, _ = events_of(record, sheet=self.sheet)
        if first["who"] != str(record.values["who"]):
            kept = all(
                any(_says_all(event, row) for event in events)
                for row in former
                if row["kind"] != PHOTO
            )
            if not kept:
                raise Refused("record_id", key, said, fix)
        if first["happened_on"] != record.done_on.isoformat() and milder(former, events):
            raise Refused("record_id", key, said, fix)

    def _check_replaced(self, key: str) -> None:
        """A record that another one replaced does not come back."""
        by = self.view.replaced.get(key) if key else None
        if by is not None:
            raise Refused(
                "record_id", key, f"replaced by {by}",
                "correct that record, or give this one a key of its own",
            )  # fmt: skip

    def _check_new(self, record: Record) -> None:
        """A new anchor: placed, with where it is."""
        anchor = record.anchor_id
        if record.done != PLACED:
            near = nearest(anchor, {plain(name): name for name in self._here})
            raise Refused(
                "anchor_id", anchor, "no such anchor in the book",
                f"correct it{near}; a new anchor is done = placed with {', '.join(_WHERE)}",
            )  # fmt: skip
        missing = [name for name in _WHERE if name not in record.values]
        if missing:
            raise Refused(
                ", ".join(missing), "", "missing for an anchor that the book does not have",
                "give where the new anchor is, or correct the id"
                + nearest(anchor, {plain(name): name for name in self._here}),
            )  # fmt: skip
        crag = name_key(str(record.values["crag"]))
        beside = [row for row in self._here.values() if name_key(str(row["crag"])) == crag]
        if beside:
            there = earth_m(*(np.array([row[n] for row in beside], float) for n in ("lon", "lat")))
            mine = earth_m(*(np.array([record.values[n]], float) for n in ("lon", "lat")))
            away = float(np.min(np.linalg.norm(there - mine, axis=1)))
            if away > FAR_M:
                raise Refused(
                    "lon, lat", f"{record.values['lon']:g}, {record.values['lat']:g}",
                    f"{away / 1000:.1f} km from every other anchor of {record.values['crag']}",
                    "check the order and the signs of lon and lat, and the crag",
                )  # fmt: skip

    def _check_place(self, record: Record) -> None:
        """Crag and sector that a row names are those of the book: else its number is another's."""
        here = self._here.get(record.anchor_id)
        for name in ("crag", "sector"):
            given = record.values.get(name)
            if here is None or not given or name_key(str(given)) == name_key(str(here[name])):
                continue
            raise Refused(
                f"anchor_id, {name}", f"{record.anchor_id}, {given}",
                f"the book has this anchor in {here['crag']} / {here['sector']}",
                "was it numbered from the other side? give the id that the book has there; if the "
                f"id is right, leave {name} empty",
            )  # fmt: skip

    def _write(self, record: Record) -> None:
        anchor, values = record.anchor_id, record.values
        is_new = name_key(anchor) not in self._names
        grade = str((self._here.get(anchor) or {}).get("grade") or "")
        other = bool(of_metal(grade)) and of_metal(grade) != values.get("material", "")
        events, doubts = events_of(
            self._as_the_book_spells(record) if is_new else record,
            is_new=is_new, ends_grade=other, sheet=self.sheet,
        )  # fmt: skip
        old, fuller = self._former(record, events)
        if fuller:
            self.known += 1
            self.doubts.append(Doubt(anchor, fuller))
            return
        self.doubts += [Doubt(anchor, said) for said in doubts]
        self.doubts += [Doubt(anchor, said) for said in _tested_little(values)]
        self._doubt_order(record)
        told = milder(old, events)
        if told:
            self.milder.append(
                Doubt(anchor, f"{told} (record {record.record_id or '-'}, {values['who']})")
            )
        done = False
        for event in events:
            matched = self._matched(event, old)
            if self._is_live(event):
                continue
            ended = self._ending(event) if matched is None else matched["event_id"]
            self._add(replace(event, replaces=ended))
            done = True
        for left in old:
            if left["kind"] not in (PHOTO, TAKEN_BACK) and not _has(events, left):
                self._drop(left, record)
                done = True
        self.known += not done
        if done:
            wanted = {e.says.get("sha256") for e in events if e.kind == PHOTO}
            self.photos += [photo for photo in record.photos if photo.sha256 in wanted]
        self._follow(record, is_new=is_new)

    def _as_the_book_spells(self, record: Record) -> Record:
        """A new anchor's crag and sector, spelt as those of the book are."""
        spelt = {}
        for name in ("crag", "sector"):
            key = name_key(str(record.values[name]))
            names = (str(row[name]) for row in self._here.values())
            spelt[name] = next((n for n in names if name_key(n) == key), record.values[name])
        return replace(record, values={**record.values, **spelt})

    def _former(self, record: Record, events: list[Event]) -> tuple[list[dict[str, Any]], str]:
        """Live events that a record comes after, and in words that they say more than it does."""
        other = record.values.get("replaces")
        if other:
            if other not in self._records:
                raise Refused(
                    "replaces", other, "no such record in the book",
                    "give the record_id of the record that this one corrects",
                )  # fmt: skip
            return [*self._records[other], *self._records.get(record.record_id, [])], ""
        if not record.record_id:
            keys = [(e.anchor_id, e.kind, e.happened_on, e.who) for e in events]
            former = [row for key in keys for row in self._loose.get(key, [])]
            if all(any(_is_in(event, row) for row in former) for event in events):
                return former, "the book says this already, and more"
            return [row for row in former if any(_is_less(row, e) for e in events)], ""
        former = [r for r in self._records.get(record.record_id, []) if r["kind"] != TAKEN_BACK]
        if former and all(any(_is_in(event, row) for row in former) for event in events):
            return former, (
                f"record {record.record_id} in {record.file} says less than the book: the fuller "
                "one is kept; to take a value away, write a record that replaces it"
            )
        return former, ""

    def _matched(self, event: Event, old: list[dict[str, Any]]) -> dict[str, Any] | None:
        same = [row for row in old if row["kind"] == event.kind]
        if event.kind == PHOTO:
            name = event.says["photo"]
            same = [row for row in same if json.loads(row["says"]).get("photo") == name]
        return same[-1] if same else None

    def _is_live(self, event: Event) -> bool:
        """Whether the book holds the same fact, and nothing took it back."""
        key = (event.anchor_id, event.kind, event.happened_on, event.who)
        rows = (
            self._records.get(event.record_id, ()) if event.record_id else self._loose.get(key, ())
        )
        return any(
            (row["anchor_id"], row["kind"], row["happened_on"], row["who"]) == key
            and row["says"] == event.says_json
            for row in rows
        )

    def _ending(self, event: Event) -> str:
        """What ended the same fact before, so that it is told anew; empty where nothing did."""
        if content(event) not in self.view.contents:
            return ""
        table = self.view.events
        says = (table["says"] == event.says_json) & (table["record_id"] == event.record_id)
        same = table[says & (table["anchor_id"] == event.anchor_id) & (table["kind"] == event.kind)]
        ends = table[self.view.alive & table["replaces"].isin(same["event_id"]).to_numpy(bool)]
        return str(ends["event_id"].iloc[-1]) if len(ends) else ""

    def _take_back(self, record: Record) -> None:
        wanted = str(record.values["takes_back"])
        mine = self._records.get(record.record_id) if record.record_id else None
        if mine or (record.record_id, wanted) in self._taken():
            self.known += 1
            return
        former = self._records.get(wanted)
        if not former:
            raise Refused(
                "takes_back", wanted, "no such record in the book",
                "give the record_id of the record to be taken back"
                + nearest(wanted, {plain(name): name for name in self._records}),
            )  # fmt: skip
        for row in list(former):
            if row["anchor_id"] != record.anchor_id:
                raise Refused(
                    "takes_back", wanted, f"that record is about {row['anchor_id']}",
                    "give the anchor that it is about",
                )  # fmt: skip
            self._drop(row, record)

    def _taken(self) -> set[tuple[str, str]]:
        """Records that took others back, and which."""
        about = dict(zip(self.view.events["event_id"], self.view.events["record_id"], strict=True))
        taken = self.view.events[self.view.events["kind"] == TAKEN_BACK]
        return {
            (row.record_id, about.get(row.replaces, "")) for row in taken.itertuples(index=False)
        }

    def _drop(self, row: Mapping[str, Any], record: Record) -> None:
        """Take an event back."""
        event = Event(
            row["anchor_id"], TAKEN_BACK, record.done_on.isoformat(), str(record.values["who"]), {},
            record.record_id, row["event_id"], record.file, record.sha256,
        )  # fmt: skip
        self.touched.add((row["anchor_id"], row["happened_on"]))
        self._add(event)

    def _add(self, event: Event) -> None:
        self.events.append(event)
        self._contents.add(content(event))
        row = {
            "event_id": event.event_id, "anchor_id": event.anchor_id, "kind": event.kind,
            "happened_on": event.happened_on, "who": event.who, "says": event.says_json,
            "record_id": event.record_id, "replaces": event.replaces,
        }  # fmt: skip
        if event.replaces:
            for rows in (*self._records.values(), *self._loose.values()):
                rows[:] = [one for one in rows if one["event_id"] != event.replaces]
        if event.record_id:
            self._records.setdefault(event.record_id, []).append(row)
        elif event.kind != TAKEN_BACK:
            key = (event.anchor_id, event.kind, event.happened_on, event.who)
            self._loose.setdefault(key, []).append(row)

    def _doubt_order(self, record: Record) -> None:
        """Say what one day's records leave open."""
        key = (record.anchor_id, record.done_on.isoformat())
        before = self._by_day.setdefault(key, list(self.view.by_day.get(key, ())))
        there = record.anchor_id in self._here
        if record.done == PLACED and there and not any(kind in PLACINGS for kind, _ in before):
            said = "placed, and the book has an anchor there: it counts as replaced"
            self.doubts.append(Doubt(record.anchor_id, said))
        who = str(record.values["who"])
        mixed = {kind in PLACINGS for kind, other in before if other != who}
        if record.done in (LOOKED_AT, *PLACINGS) and (record.done not in PLACINGS) in mixed:
            said = (
                f"looked at and placed on one day ({key[1]}) by two people: a look that was "
                "before it is of the old piece"
            )
            self.doubts.append(Doubt(record.anchor_id, said))
        if record.done in (LOOKED_AT, *PLACINGS):
            before.append((record.done, who))

    def _follow(self, record: Record, *, is_new: bool) -> None:
        """What the next record finds."""
        anchor, day = record.anchor_id, record.done_on.isoformat()
        self._names.setdefault(name_key(anchor), anchor)
        if record.done in PLACINGS:
            self._gone.pop(anchor, None)
        if is_new:
            self._here[anchor] = {n: record.values[n] for n in _WHERE} | {"anchor_id": anchor}
        if record.done == REMOVED or "pulled_to_kn" in record.values:
            self._gone[anchor] = (day, str(record.values["who"]))
            self._here.pop(anchor, None)


def milder(former: Iterable[Mapping[str, Any]], events: Iterable[Event]) -> str:
    """What events say less bad than those they come after, in words; empty for nothing.

    Parameters
    ----------
    former : iterable of mapping
        Rows of the book.
    events : iterable of Event
        What comes in their place.
    """
    then: dict[str, Any] = {}
    now: dict[str, Any] = {}
    for row in former:
        then |= json.loads(row["says"])
    for event in events:
        now |= json.loads(event.says_json)
    if "condition" in now:
        now.setdefault("findings", "")
    told = []
    for name in MORE_CAUTIOUS:
        one, other = then.get(name), now.get(name, then.get(name))
        if one in (None, "", UNKNOWN) or canonical({"": one}) == canonical({"": other}):
            continue
        if other in (None, "") or canonical({"": proposed(name, [one, other])}) != canonical(
            {"": other}
        ):
            told.append(f"{name} {shown(name, one)} -> {shown(name, other)}")
    return ", ".join(told)


def _tested_little(values: Mapping[str, Any]) -> list[str]:
    """What a proof test does not show."""
    load, held = values.get("proof_load_kn"), values.get("proof_held_s")
    if load is not None and "proof_result" not in values:
        return ["a load without a result shows nothing: say whether it held"]
    if held is not None and held < DEFAULT.proof_held_s:
        return [f"held for {held:g} s only: a proof test is {DEFAULT.proof_held_s:g} s"]
    return []


def _has(events: list[Event], row: Mapping[str, Any]) -> bool:
    return any(event.kind == row["kind"] for event in events)


def _covers(more: Mapping[str, Any], less: Mapping[str, Any]) -> bool:
    """Whether all that is stated stands in another; what states nothing says unknown."""
    return all(more.get(name) == value for name, value in less.items())


def _is_in(event: Event, row: Mapping[str, Any]) -> bool:
    """Whether an event of the book says all that a new one says."""
    same = (event.anchor_id, event.kind, event.happened_on, event.who) == (
        row["anchor_id"], row["kind"], row["happened_on"], row["who"],
    )  # fmt: skip
    return same and _covers(json.loads(row["says"]), json.loads(event.says_json))


def _is_less(row: Mapping[str, Any], event: Event) -> bool:
    """Whether a new event says all that one of the book says, and more."""
    return row["kind"] == event.kind and _covers(
        json.loads(event.says_json), json.loads(row["says"])
    )


def _says_all(event: Event, row: Mapping[str, Any]) -> bool:
    """The same, whoever says it; that a value is not known has to be stated as well."""
    return _is_less(row, event) and json.loads(row["says"]).keys() <= event.says.keys()
