"""Returns against a book: events of a row, what is refused, what is known, what differs."""

import pandas as pd
import pytest

from helpers.returned import (
    JPG,
    NOW,
    TODAY,
    bring,
    changed,
    phone,
    read,
    row,
    said,
    sheet,
    small_book,
    state,
)
from saltreach.records.conflicts import proposed
from saltreach.records.returns import apply_returns, read_returns


@pytest.fixture
def book(tmp_path):
    return small_book(tmp_path)


def kinds(found):
    return [(event.anchor_id, event.kind) for event in found.events]


def test_a_row_becomes_events_by_kind(book, tmp_path):
    file = sheet(
        tmp_path / "r.csv",
        row("a2", condition=2, findings="loose", tap_response="hollow", rebound_number=30,
            rain_washed="no", proof_load_kn=5, proof_result="held", remark="wet", photo="p.jpg",
            material="316"),
        row("a1", done="removed", old_material="304"),
        row("a3", done="not reached"),
        row("b1", done="closed"),
    )  # fmt: skip
    found = read(book, file)
    assert kinds(found) == [
        ("a1", "removed"), ("a2", "corrected"), ("a2", "looked at"), ("a2", "tapped"),
        ("a2", "rebound"), ("a2", "measured"), ("a2", "proof test"), ("a2", "note"),
        ("a2", "photo"), ("a3", "not reached"), ("b1", "closed"),
    ]  # fmt: skip
    said = {event.kind: event.says for event in found.events}
    assert said["removed"] == {"old_material": "304"} and said["closed"] == {}
    assert said["looked at"] == {"condition": 2, "findings": "loose"}
    assert said["measured"] == {"rain_washed": "no"} and said["photo"] == {"photo": "p.jpg"}
    assert changed(found)["a2", "tap_response"] == (None, "hollow")
    assert changed(found)["a1", "anchor_id"] == ("a1", "no longer in place")
    assert changed(found)["b1", "closed_on"] == (None, "2026-10-03")
    assert len(book.events()) == 5


def test_nothing_is_written_before_it_is_applied(book, tmp_path):
    file = sheet(tmp_path / "r.csv", row("a1", condition=4))
    found = read(book, file)
    assert state(book, "a1")["condition"] == 0
    assert (
        apply_returns(found, book, tmp_path / "region.gpkg", now=NOW).new == len(found.events) == 1
    )
    assert state(book, "a1")["condition"] == 4
    assert state(book, "a1")["last_inspected_on"] == "2026-10-03"


@pytest.mark.pinned("worked", answers=6)
def test_a_new_piece_is_what_is_said_of_it_and_nothing_of_the_old(book, tmp_path):
    file = sheet(
        tmp_path / "r.csv",
        row("b1", done="replaced", kind="bonded", material="titanium", diameter_mm=12,
            piece_length_mm=100, hole_depth_mm=95),
    )  # fmt: skip
    bring(book, tmp_path, file)
    now = state(book, "b1")
    assert (now["material"], now["diameter_mm"], now["installed_on"]) == (
        "titanium",
        12,
        "2026-10-03",
    )
    assert now["embedment_mm"] == 95  # no longer than the hole is deep
    assert pd.isna(now["condition"]) and now["tap_response"] == "dull"
    assert "hole too shallow" in now["placement_doubts"]


@pytest.mark.pinned("worked", answers=4)
@pytest.mark.parametrize("missing", ["hole_depth_mm", "piece_length_mm"])
def test_a_depth_that_nobody_measured_is_not_taken_from_the_piece(book, tmp_path, missing):
    measured = {"piece_length_mm": 100, "hole_depth_mm": 110, missing: None}
    file = sheet(tmp_path / "r.csv", row("b1", done="replaced", kind="bonded", **measured))
    bring(book, tmp_path, file)
    now = state(book, "b1")
    assert pd.isna(now["embedment_mm"])
    assert "depth unknown" in now["placement_doubts"].split("; ")


def test_a_metal_that_a_look_names_ends_the_grade_of_another(book, tmp_path):
    file = sheet(tmp_path / "r.csv", row("a4", done="looked at", material="316"),
                 row("a3", done="looked at", grade="1.4462"))  # fmt: skip
    found = bring(book, tmp_path, file)
    assert state(book, "a4")["material"] == "316" and pd.isna(state(book, "a4")["grade"])
    assert state(book, "a3")["material"] == "duplex"
    assert not len(read(book, file).events) and not len(found.doubts)


@pytest.mark.parametrize(
    ("given", "column", "reason", "fix"),
    [
        (row("a11"), "anchor_id", "no such anchor", "nearest: a1"),
        (row("a1", done_on="2026-11-26"), "done_on", "in the future", "give the day"),
        (row("a1", done_on="2000-12-31"), "done_on", "before the anchor was placed (2001)", ""),
        (row("a2", done_on="2010-06-11"), "done_on", "placed (2010-06-12)", "correct the day"),
        (row("a1", condition=5), "condition", "not in 0..4", "0 sound"),
        (row("a1", crag="Birk Head"), "anchor_id, crag", "in Alder Point / North", "other side"),
        (row("a1", sector="South"), "anchor_id, sector", "in Alder Point / North", "other side"),
        (row("c1", done="placed"), "crag, sector, lon, lat", "missing for an anchor", "where"),
        (row("c1", done="placed", crag="Alder Point", sector="North", lon=43.44, lat=-4.95),
         "lon, lat", "km from every other anchor of Alder Point", "order"),
        (row("a1", done="not reached", tap_response="dull"), "done", "not reached", "say what"),
        (row("a1", grade="1.4401", material="titanium"), "grade, material", "another metal", ""),
        (row("a1", replaces="x"), "replaces", "no such record", "record_id"),
        (row("a1", takes_back="x"), "takes_back", "no such record", "record_id"),
        (row("a1", done="replaced", loaded_on="2026-10-02"), "loaded_on, done_on", "loaded before",
         ""),
        (row("a1", findings="loose; odd"), "findings", "not one of the words", "use one of"),
    ],
)  # fmt: skip
def test_what_cannot_be_is_refused_and_the_rest_is_kept(book, tmp_path, given, column, reason, fix):
    file = sheet(tmp_path / "r.csv", given, row("a3", tap_response="dull"))
    found = read(book, file)
    assert kinds(found) == [("a3", "looked at"), ("a3", "tapped")]
    ((number, where, why, mend),) = said(found)
    assert (number, where) == (2, column) and reason in why and fix in mend
    assert found.rejected["file"].tolist() == ["r.csv"]


def test_what_was_removed_is_looked_at_no_more_but_what_was_seen_before_counts(book, tmp_path):
    bring(book, tmp_path, sheet(tmp_path / "1.csv", row("a1", done="removed")))
    late = sheet(tmp_path / "2.csv", row("a1", done_on="2026-10-02", condition=2))
    after = sheet(tmp_path / "3.csv", row("a1", done_on="2026-10-04", condition=2))
    again = sheet(
        tmp_path / "4.csv", row("a1", done_on="2026-10-05", done="placed", material="316")
    )
    assert len(read(book, late).events) == 1
    (refused,) = said(read(book, after))
    assert refused[2] == "no longer in place since 2026-10-03, as AB says"
    bring(book, tmp_path, again)
    assert state(book, "a1")["installed_on"] == "2026-10-05"


def test_a_new_anchor_is_spelt_as_its_neighbours_are(book, tmp_path):
    given = row("c1", done="placed", crag="alder  point", sector="NORTH", lon=-4.951, lat=43.44)
    file = sheet(tmp_path / "r.csv", row("C1", done_on="2026-10-04", condition=0), given)
    found = bring(book, tmp_path, file)
    assert not len(found.rejected)
    now = state(book, "c1")
    assert (now["crag"], now["sector"], now["condition"]) == ("Alder Point", "North", 0)
    assert ("c1", "anchor_id") in changed(found)
    assert read(book, file).known == 2


def test_the_same_again_changes_nothing(book, tmp_path):
    rows = [row("a1", condition=1, record_id="r1"), row("a2", done="removed")]
    file = sheet(tmp_path / "r.csv", *rows)
    twice = sheet(tmp_path / "again.csv", *rows[::-1])
    found = bring(book, tmp_path, file, file, twice)
    assert len(found.events) == 2 and found.known == 2
    assert any("the same file as r.csv" in note for note in found.notes)
    more = bring(book, tmp_path, file, twice)
    assert (len(more.events), more.known, len(more.changes)) == (0, 4, 0)


def test_a_record_with_more_filled_in_takes_the_place_of_the_former(book, tmp_path):
    first = phone(tmp_path / "1.zip", row("a1", record_id="r1", condition=1))
    more = phone(tmp_path / "2.zip", row("a1", record_id="r1", condition=3, tap_response="hollow"))
    bring(book, tmp_path, first)
    found = bring(book, tmp_path, more)
    assert [(e.kind, bool(e.replaces)) for e in found.events] == [
        ("looked at", True), ("tapped", False),
    ]  # fmt: skip
    assert state(book, "a1")["condition"] == 3 and not found.conflicts
    assert not read(book, first).events and not read(book, more).events


def test_a_record_with_less_does_not_take_values_away(book, tmp_path):
    full = phone(tmp_path / "1.zip", row("a1", record_id="r1", condition=3, findings="loose"))
    less = phone(tmp_path / "2.zip", row("a1", record_id="r1", condition=3))
    bring(book, tmp_path, full)
    found = read(book, less)
    assert not found.events and "says less than the book" in found.doubts["said"].iloc[0]
    both = small_book(tmp_path, "other.gpkg")
    assert [e.says for e in read(both, less, full).events][-1] == {
        "condition": 3,
        "findings": "loose",
    }


def test_a_sheet_filled_in_further_counts_once(book, tmp_path):
    first = sheet(tmp_path / "1.csv", row("a1", condition=1))
    more = sheet(tmp_path / "2.csv", row("a1", condition=1, findings="bent"))
    bring(book, tmp_path, first)
    (event,) = bring(book, tmp_path, more).events
    assert event.replaces and not read(book, first).events
    assert state(book, "a1")["findings"] == "bent"


def test_a_record_replaces_another_and_one_takes_it_back(book, tmp_path):
    bring(
        book,
        tmp_path,
        sheet(tmp_path / "1.csv", row("a1", record_id="r1", condition=4, remark="?")),
    )
    file = sheet(tmp_path / "2.csv", row("a1", record_id="r2", replaces="r1", condition=1))
    found = bring(book, tmp_path, file)
    assert sorted(e.kind for e in found.events) == ["looked at", "taken back"]
    assert state(book, "a1")["condition"] == 1 and not read(book, file).events
    back = sheet(tmp_path / "3.csv", row("a1", record_id="r3", takes_back="r2"))
    bring(book, tmp_path, back)
    assert state(book, "a1")["condition"] == 4  # what r2 had replaced counts again
    assert read(book, back).known == 1
    again = sheet(tmp_path / "4.csv", row("a1", record_id="r4", takes_back="r3"))
    bring(book, tmp_path, again)
    assert state(book, "a1")["condition"] == 1


def test_a_value_that_came_back_is_told_anew(book, tmp_path):
    for number, condition, remark in ((1, 1, "a"), (2, 2, "a"), (3, 1, "b")):
        given = row("a1", record_id="r1", condition=condition, remark=remark)
        bring(book, tmp_path, sheet(tmp_path / f"{number}.csv", given))
        assert state(book, "a1")["condition"] == condition


def test_two_people_who_differ_are_both_kept_and_the_worse_holds(book, tmp_path):
    one = sheet(tmp_path / "1.csv", row("a1", condition=3, findings="bent", piece_batch="T1"))
    other = sheet(
        tmp_path / "2.csv", row("a1", "CD", condition=1, findings="loose", piece_batch="T2")
    )
    found = bring(book, tmp_path, one)
    assert not found.conflicts
    found = bring(book, tmp_path, other)
    assert {c.column: (c.said, c.proposed, c.settled_by) for c in found.conflicts} == {
        "condition": ((("AB", 3), ("CD", 1)), 3, ""),
        "findings": ((("AB", "bent"), ("CD", "loose")), "bent; loose", ""),
        "piece_batch": ((("AB", "T1"), ("CD", "T2")), "T2", ""),
    }
    now = state(book, "a1")
    assert (now["condition"], now["findings"]) == (3, "bent; loose")
    assert not read(book, one, other).events and len(read(book, one).open) == 3


def test_a_look_that_found_nothing_does_not_hide_what_another_found(book, tmp_path):
    files = [sheet(tmp_path / "1.csv", row("a1", condition=2, findings="loose")),
             sheet(tmp_path / "2.csv", row("a1", "CD", condition=2))]  # fmt: skip
    for file in files:
        found = bring(book, tmp_path, file)
    (conflict,) = found.conflicts
    assert conflict.said == (("AB", "loose"), ("CD", "")) and conflict.proposed == "loose"
    assert state(book, "a1")["findings"] == "loose"


def test_a_test_that_failed_is_not_hidden_by_another_look(book, tmp_path):
    one = row("a1", condition=1, proof_load_kn=5, proof_result="moved")
    bring(book, tmp_path, sheet(tmp_path / "1.csv", one, row("a1", "CD", condition=3)))
    now = state(book, "a1")
    assert now["condition"] == 4 and "loose" in now["findings"]


def test_people_who_say_the_same_differ_in_nothing(book, tmp_path):
    both = [row("a1", who, condition=1, tap_response="dull") for who in ("AB", "CD")]
    found = bring(book, tmp_path, sheet(tmp_path / "1.csv", *both))
    assert not found.conflicts and len(found.events) == 4


def test_an_answer_settles_it(book, tmp_path):
    given = sheet(
        tmp_path / "1.csv", row("a1", condition=3, findings="bent"), row("a1", "CD", condition=1)
    )
    bring(book, tmp_path, given)
    asked = {"anchor_id": "a1", "done_on": "2026-10-03"}
    answers = sheet(
        tmp_path / "settle.csv",
        asked | {"column": "condition", "answer": 1, "who": "HO"},
        asked | {"column": "findings", "answer": "none", "who": "HO"},
    )
    found = read_returns([], book, today=TODAY, answers=answers)
    apply_returns(found, book, tmp_path / "region.gpkg", now=NOW)
    now = state(book, "a1")
    assert now["condition"] == 1 and pd.isna(now["findings"])
    again = read_returns([given], book, today=TODAY, answers=answers)
    assert not again.events and [c.settled_by for c in again.conflicts] == ["HO", "HO"]
    third = sheet(tmp_path / "3.csv", row("a1", "EF", condition=2))
    bring(book, tmp_path, third)
    assert state(book, "a1")["condition"] == 3  # a new word opens it again


@pytest.mark.parametrize(
    ("column", "answer", "who", "reason"),
    [
        ("condition", "9", "HO", "not in 0..4"),
        ("condition", "?", "HO", "settles nothing"),
        ("tap_response", "odd", "HO", "not one of the words"),
        ("colour", "red", "HO", "no column of returns"),
        ("condition", "1", "", "without who"),
    ],
)
def test_an_answer_that_is_none_is_refused(book, tmp_path, column, answer, who, reason):
    cells = {
        "anchor_id": "a1",
        "done_on": "2026-10-03",
        "column": column,
        "answer": answer,
        "who": who,
    }
    answers = sheet(tmp_path / "settle.csv", cells)
    found = read_returns([], book, today=TODAY, answers=answers)
    assert reason in found.rejected["reason"].iloc[0] and not found.events


def test_a_record_that_goes_takes_its_difference_along(book, tmp_path):
    rows = [row("a1", record_id="r1", condition=1), row("a1", "CD", record_id="r2", condition=3)]
    bring(book, tmp_path, sheet(tmp_path / "1.csv", *rows))
    assert state(book, "a1")["condition"] == 3
    found = bring(
        book, tmp_path, sheet(tmp_path / "2.csv", row("a1", "CD", record_id="r3", takes_back="r2"))
    )
    assert state(book, "a1")["condition"] == 1 and not found.conflicts


def test_two_who_placed_one_anchor_together_know_what_both_know(book, tmp_path):
    one = row("b1", done="replaced", kind="bonded", material="titanium", piece_length_mm=100,
              hole_depth_mm=110, condition=0)  # fmt: skip
    other = row("b1", "CD", done="replaced", hole_cleaned="yes", diameter_mm=12)
    for rows in ((one, other), (other, one)):
        mine = small_book(tmp_path, f"{rows[0]['who']}.gpkg")
        for number, given in enumerate(rows):
            bring(mine, tmp_path, sheet(tmp_path / f"{number}.csv", given))
        now = state(mine, "b1")
        assert (now["material"], now["diameter_mm"], now["condition"]) == ("titanium", 12, 0)
        assert "depth unknown" not in now["placement_doubts"]
        assert "cleaning unknown" not in now["placement_doubts"]


@pytest.mark.pinned("worked", answers=2)
def test_the_data_sheet_tells_the_time_that_a_placing_needed(book, tmp_path):
    times = tmp_path / "sheet.csv"
    times.write_text("rock_temperature_c,gel_min,cure_min\n0,20,240\n20,6,60\n")
    given = row(
        "b1",
        done="replaced",
        kind="bonded",
        rock_temperature_c=20,
        set_at="10:00",
        loaded_at="10:50",
    )
    cold = row("a2", done="replaced", kind="bonded", rock_temperature_c=-5)
    wet = row("a3", done="replaced", kind="bonded", rock_temperature_c=0, hole_condition="damp")
    found = read(book, sheet(tmp_path / "r.csv", given, cold, wet), data_sheet=times)
    needed = {e.anchor_id: e.says.get("cure_needed_min") for e in found.events}
    assert needed == {"b1": 60, "a2": None, "a3": 480}
    doubts = found.doubts.groupby("anchor_id")["said"].agg(" ".join)
    assert "cure time short" in doubts["b1"] and "outside the table" in doubts["a2"]


@pytest.mark.pinned("worked", answers=3)
def test_the_longer_of_a_written_cure_time_and_the_data_sheets_counts(book, tmp_path):
    times = tmp_path / "sheet.csv"
    times.write_text("rock_temperature_c,gel_min,cure_min\n0,20,240\n20,6,60\n")
    glued = {"done": "replaced", "kind": "bonded", "rock_temperature_c": 20}
    file = sheet(tmp_path / "r.csv", row("b1", cure_needed_min=59, **glued),
                 row("a2", cure_needed_min=61, **glued),
                 row("a3", cure_needed_min=45, **glued | {"rock_temperature_c": -5}))  # fmt: skip
    found = read(book, file, data_sheet=times)
    assert {e.anchor_id: e.says["cure_needed_min"] for e in found.events} == {
        "b1": 60, "a2": 61, "a3": 45,
    }  # fmt: skip
    less = [said for said in found.doubts["said"] if "less than" in said]
    assert less == ["59 min of curing is less than the 60 min of the data sheet: those count"]


@pytest.mark.parametrize(
    ("says", "events", "said"),
    [
        ({"remark": "ivy"}, ["note"], "only a remark: kept as a note; no look: write done = looked "
         "at if it was one"),
        ({"photo": "p.jpg"}, ["photo"], "only a photo: kept as one; no look"),
        ({"adhesive_batch": "K2", "remark": "ivy"}, ["corrected", "note"],
         "only a remark: kept as a note; columns of a placing: kept as a correction; no look"),
        ({}, ["looked at"], ""),  # a plain list of what was looked at
        ({"done": "looked at", "remark": "ivy"}, ["looked at", "note"], ""),
        ({"condition": 0}, ["looked at"], ""),
        ({"tap_response": "dull", "remark": "ivy"}, ["looked at", "tapped", "note"], ""),
        ({"rebound_number": 30}, ["looked at", "rebound"], ""),
        ({"crack_distance_mm": 80}, ["looked at", "measured"], ""),
        ({"proof_load_kn": 6, "proof_result": "held"}, ["looked at", "proof test"], ""),
        ({"pulled_to_kn": 20}, ["pulled to failure"], ""),
    ],
)  # fmt: skip
def test_what_nobody_looked_at_is_no_look(book, tmp_path, says, events, said):
    found = read(book, sheet(tmp_path / "r.csv", row("a1", **says)))
    assert [event.kind for event in found.events] == events
    assert found.doubts["said"].agg(" ".join).startswith(said) if said else found.doubts.empty


def test_a_photo_that_came_along_is_no_look(book, tmp_path):
    file = phone(tmp_path / "r.zip", row("a1", record_id="r1"), photos={"p.jpg": JPG})
    found = read(book, file)
    assert [event.kind for event in found.events] == ["photo"] and len(found.doubts) == 1
    apply_returns(found, book, tmp_path / "region.gpkg", now=NOW)
    assert pd.isna(state(book, "a1")["last_inspected_on"])


@pytest.mark.pinned("worked")
@pytest.mark.parametrize(
    ("printed", "kept"),
    [("10/27", "2027-10"), ("10.2027", "2027-10"), ("10/2027", "2027-10"), ("2027-10", "2027-10"),
     ("31.10.2027", "2027-10-31"), ("next spring", "next spring")],
)  # fmt: skip
def test_an_expiry_is_read_as_it_is_printed(book, tmp_path, printed, kept):
    file = sheet(tmp_path / "r.csv", row("a1", done="replaced", adhesive_expires_on=printed))
    found = read(book, file)
    assert [event.says["adhesive_expires_on"] for event in found.events] == [kept]
    quoted = [said for said in found.doubts["said"] if "'next spring' cannot be read" in said]
    assert len(quoted) == (printed == "next spring")


def test_photos_are_kept_once_beside_the_book(book, tmp_path):
    given = row("a1", record_id="r1", condition=1)
    first = phone(tmp_path / "1.zip", given, photos={"a.jpg": JPG, "b.jpg": JPG})
    found = bring(book, tmp_path, first)
    (stored,) = (tmp_path / "region_photos").iterdir()
    assert stored.read_bytes() == JPG
    assert {e.says["file"] for e in found.events if e.kind == "photo"} == {stored.name}
    assert not read(book, first).events


@pytest.mark.parametrize(
    ("column", "values", "answer"),
    [
        ("condition", [1, None, 3, 0], 3), ("tap_response", ["hollow", "ringing"], "hollow"),
        ("findings", ["bent", "", "loose; bent"], "bent; loose"),
        ("crack_distance_mm", [40, 30], 30),
        ("rain_washed", ["no", "yes"], "no"), ("material", ["316", "unknown"], "316"),
        ("material", ["316", "304"], "304"), ("condition", [None], None),
    ],
)  # fmt: skip
@pytest.mark.pinned("judgement")
def test_what_is_proposed(column, values, answer):
    assert proposed(column, values) == answer


def test_who_enters_a_register_saw_nothing_that_day(book, tmp_path):
    """a1 was entered as sound: a look of the day on which it was entered contradicts nobody."""
    entered = book.events()["happened_on"].iloc[0]
    found = read(book, sheet(tmp_path / "r.csv", row("a1", condition=3, done_on=entered)))
    assert found.conflicts == () and changed(found)["a1", "condition"] == (0, 3)
