"""What events add up to, each kind by a story worked out by hand."""

import datetime as dt

import numpy as np
import pandas as pd
import pytest

from helpers.book_world import ROW, back, cells, entered, state
from saltreach.records.events import Event, frame_of
from saltreach.records.state import live, own_columns, state_of
from saltreach.vocabulary.columns import REGISTER_BY_NAME


def event(kind: str, day: str, says: dict | None = None, anchor: str = "A1", **more) -> Event:
    return Event(anchor, kind, day, "Bea", says or {}, **more)


def look(day: str, **says) -> Event:
    return event("looked at", day, says)


@pytest.mark.pinned("worked", answers=11)
def test_a_row_that_is_entered_is_the_anchor():
    assert cells(entered()) == ROW


def test_the_register_has_every_column_in_order_and_then_the_users_own():
    table = state(entered(), entered("A2", colour="red")).reset_index()
    assert list(table) == [*REGISTER_BY_NAME, "owner", "colour"]
    assert table["embedment_mm"].dtype == float
    assert table["material"].dtype == table["colour"].dtype == table["installed_on"].dtype == "str"
    assert (table["seepage"] == "unknown").all()
    assert table["salted_road_m"].isna().all()


@pytest.mark.pinned("worked", answers=4)
def test_a_look_says_how_it_is_and_when_it_was_looked_at():
    found = cells(entered(), look("2026-06-01", condition=3, findings="rust flakes; loose"))
    changed = {n: v for n, v in found.items() if ROW.get(n) != v}
    assert changed == {
        "condition": 3.0, "findings": "rust flakes; loose", "last_inspected_on": "2026-06-01",
    }  # fmt: skip


@pytest.mark.pinned("worked", answers=3)
def test_findings_last_until_a_look_that_states_a_condition():
    bad = look("2026-06-01", condition=3, findings="loose")
    assert "findings" not in cells(entered(), bad, look("2026-07-01", condition=1))
    # a look at something else says nothing of them
    assert cells(entered(), bad, look("2026-07-01", seepage="water"))["findings"] == "loose"
    assert cells(entered(), bad, look("2026-07-01", findings="wet"))["findings"] == "wet"


@pytest.mark.pinned("worked", answers=6)
@pytest.mark.parametrize(
    ("kind", "says"),
    [
        ("tapped", {"tap_response": "hollow"}),
        ("rebound", {"rebound_number": 38.0}),
        ("measured", {"crack_distance_mm": 90.0, "rain_washed": "no"}),
        ("measured", {"coast_distance_m": 40.0}),
        ("corrected", {"lon": -3.81, "crag": "Punta Negra"}),
        ("corrected", {"owner": "council"}),
    ],
)
def test_what_later_events_state_counts(kind, says):
    found = cells(entered(), event(kind, "2026-06-01", says))
    assert found == ROW | says


def test_a_correction_can_state_that_a_value_is_not_known():
    found = cells(entered(), event("corrected", "2026-06-01", {"condition": None, "owner": None}))
    assert found == {n: v for n, v in ROW.items() if n not in ("condition", "owner")}


def test_what_only_a_record_holds_is_no_column():
    told = {"torque_nm": 30, "remark": "windy", "tap_around": "dull"}
    assert cells(entered(), look("2026-06-01", **told)) == ROW | {"last_inspected_on": "2026-06-01"}
    # of a correction too: what a return can hold is a record, whoever states it
    assert cells(entered(), event("corrected", "2026-06-01", {"remark": "calm"})) == ROW
    # but not of a register that had such a column itself
    assert cells(entered(remark="mine"))["remark"] == "mine"


PLACED = {"kind": "bonded", "material": "titanium", "diameter_mm": 12, "hole_depth_mm": 85,
          "piece_length_mm": 80, "hole_cleaned": "yes", "hole_condition": "clean and dry",
          "adhesive": "epoxy",
          "adhesive_expires_on": "2027-01", "cure_needed_min": 60, "set_at": "10:00",
          "loaded_at": "11:00"}  # fmt: skip


@pytest.mark.pinned("worked", answers=12)
@pytest.mark.parametrize("kind", ["placed", "replaced"])
def test_a_new_piece_takes_nothing_over_from_the_old_one(kind):
    worn = (
        entered(grade="A2-70", embedment_mm=60, hanger_material="304", condition=3),
        look("2026-05-01", findings="worn", condition=3),
        event("closed", "2026-05-02"),
    )
    found = cells(*worn, event(kind, "2026-06-12", PLACED))
    assert found == {
        "crag": "Punta Gris", "sector": "Norte", "lon": -3.8, "lat": 43.5, "route": "La Espuma",
        "rock_type": "limestone", "owner": "club", "kind": "bonded", "material": "titanium",
        "diameter_mm": 12.0, "adhesive": "epoxy", "hole_condition": "clean and dry",
        "installed_on": "2026-06-12", "last_inspected_on": "2026-06-12",
    }  # fmt: skip


@pytest.mark.pinned("worked", answers=4)
@pytest.mark.parametrize(
    ("says", "doubts"),
    [
        ({}, None),
        ({"hole_depth_mm": 70}, "hole too shallow"),
        ({"adhesive_expires_on": "2026-05"}, "adhesive expired"),
        ({"loaded_at": "10:30", "hole_cleaned": "no"}, "cure time short; hole not cleaned"),
    ],
)
def test_what_a_placing_lacks_stays_in_doubt(says, doubts):
    found = cells(entered(), event("replaced", "2026-06-12", PLACED | says))
    assert found.get("placement_doubts") == doubts


@pytest.mark.pinned("worked", answers=5)
def test_doubts_stay_with_a_placing_whatever_test_held():
    """Which load settles which doubt is the policy's to say (`assessment.placement`)."""
    doubtful = (entered(), event("replaced", "2026-06-12", PLACED | {"hole_depth_mm": 70}))

    def tested(load, result="held"):
        said = {"proof_load_kn": load, "proof_result": result}
        return cells(*doubtful, event("proof test", "2026-06-20", said))

    held = tested(5)
    assert held["proof_tested_on"] == "2026-06-20"
    assert held["proof_load_kn"] == 5.0
    assert held["placement_doubts"] == "hole too shallow"
    assert held["last_inspected_on"] == "2026-06-12"
    # held for a second shows nothing; the policy's default asks for 15
    for seconds, shows in ((1, False), (15, True)):
        said = {"proof_load_kn": 6, "proof_held_s": seconds, "proof_result": "held"}
        found = cells(*doubtful, event("proof test", "2026-06-20", said))
        assert ("proof_tested_on" in found) == shows
    # a load with no word of what the anchor did is a record, and shows nothing
    unsaid = tested(6, None)
    assert not {"proof_load_kn", "proof_tested_on"} & set(unsaid)
    assert unsaid["placement_doubts"] == "hole too shallow"


@pytest.mark.pinned("worked", answers=6)
@pytest.mark.parametrize(("result", "word"), [("moved", "loose"), ("failed", "broken")])
def test_a_proof_test_that_did_not_hold_condemns(result, word):
    held = event("proof test", "2026-04-01", {"proof_load_kn": 6, "proof_result": "held"})
    test = event("proof test", "2026-06-20", {"proof_load_kn": 3, "proof_result": result})
    seen = look("2026-05-01", condition=1, findings="rust film")
    found = cells(entered(), held, seen, test)
    assert found["condition"] == 4.0
    assert found["findings"] == f"rust film; {word}"
    assert not {"proof_tested_on", "proof_load_kn"} & set(found)
    # what was found before a later look is that look's to say
    later = cells(entered(), test, look("2026-07-01", condition=2))
    assert later["condition"] == 2.0
    assert "findings" not in later


@pytest.mark.pinned("worked", answers=3)
@pytest.mark.parametrize("kind", ["removed", "pulled to failure"])
def test_what_is_taken_out_is_not_in_the_register_until_placed_again(kind):
    gone = event(kind, "2026-06-01")
    assert state(entered(), entered("A2"), gone).index.tolist() == ["A2"]
    assert state(entered(), gone, look("2026-07-01", condition=0)).empty
    again = state(entered(), entered("A2"), gone, event("placed", "2026-08-01", PLACED))
    assert again.index.tolist() == ["A1", "A2"]
    assert again.loc["A1", "route"] == "La Espuma"


@pytest.mark.pinned("worked", answers=2)
def test_an_anchor_is_closed_until_it_is_opened_again():
    closed = event("closed", "2026-06-01")
    assert cells(entered(), closed) == ROW | {"closed_on": "2026-06-01"}
    assert cells(entered(), closed, event("reopened", "2026-06-09")) == ROW


@pytest.mark.parametrize("kind", ["note", "photo", "not reached"])
def test_notes_photos_and_vain_visits_change_nothing(kind):
    assert cells(entered(), event(kind, "2026-06-01", {"condition": 4, "remark": "x"})) == ROW


def test_a_placing_with_a_place_is_a_new_anchor_and_one_without_is_none():
    place = {"crag": "Punta Gris", "sector": "Norte", "lon": -3.8, "lat": 43.5}
    assert cells(event("placed", "2026-06-01", PLACED | place))["installed_on"] == "2026-06-01"
    assert state(event("placed", "2026-06-01", PLACED)).empty
    assert state(look("2026-06-01", condition=1)).empty


@pytest.mark.pinned("worked", answers=5)
def test_what_is_taken_back_never_was_and_taking_back_can_be_taken_back():
    bad = look("2026-06-01", condition=4)
    first = back(bad)
    second = Event("A1", "taken back", "2026-12-02", "Ana", replaces=first.event_id)
    third = Event("A1", "taken back", "2026-12-03", "Ana", replaces=second.event_id)
    told = [
        cells(*(entered(), bad, first, second, third)[:n])["condition"] for n in (1, 2, 3, 4, 5)
    ]
    assert told == [1.0, 4.0, 1.0, 4.0, 1.0]


def test_a_record_that_is_replaced_gives_way_to_the_better_one():
    bad = look("2026-06-01", condition=4)
    better = look("2026-06-01", condition=2)
    better = Event("A1", "looked at", "2026-06-01", "Bea", better.says, replaces=bad.event_id)
    assert cells(entered(), bad, better)["condition"] == 2.0
    assert cells(entered(), better, bad)["condition"] == 2.0
    # moved to the right anchor: the wrong one is as it was
    moved = Event("A2", "looked at", "2026-06-01", "Bea", bad.says, replaces=bad.event_id)
    table = state(entered(), entered("A2"), bad, moved)
    assert table["condition"].tolist() == [1.0, 4.0]


def test_which_events_live_does_not_depend_on_their_order():
    """A chain of five, each taking the one before back: the last lives, so every second does."""
    chain = [look("2026-06-01", condition=4)]
    for day in "2345":
        chain.append(Event("A1", "taken back", f"2026-06-0{day}", "Ana",
                           replaces=chain[-1].event_id))  # fmt: skip
    other = look("2026-06-01", condition=3)
    frame = frame_of([*chain, other])
    expected = pd.Series([True, False, True, False, True, True], index=frame["event_id"])
    for seed in range(5):
        mixed = frame.sample(frac=1, random_state=seed)
        assert live(mixed).tolist() == expected[mixed["event_id"]].tolist()
    # of two that replace one, any that lives is enough
    two = [other, back(other), back(other, "2026-12-02")]
    two.append(Event("A1", "taken back", "2026-12-03", "Ana", replaces=two[1].event_id))
    assert live(frame_of(two)).tolist() == [False, False, True, True]
    # what replaces an event of another book replaces nothing here
    stranger = Event("A1", "taken back", "2026-06-01", "Ana", replaces="0" * 32)
    assert live(frame_of([stranger, other])).tolist() == [True, True]


@pytest.mark.pinned("worked", answers=4)
def test_a_date_known_in_part_counts_from_its_first_day():
    def last(*looks):
        return cells(entered(last_inspected_on="2020"), *looks)["condition"]

    year, month = look("2025", condition=2), look("2025-06", condition=3)
    day = look("2025-06-10", condition=4)
    assert last(day, month, year) == 4.0
    assert last(month, year) == 3.0
    assert last(look("2025-01-01", condition=0), year) == 2.0  # one day: order of entry
    assert last(year, look("2025-01-01", condition=0)) == 0.0


def test_events_of_one_day_count_in_the_order_of_entry_whatever_the_frames_order():
    first, second = look("2026-06-01", condition=3), look("2026-06-01", condition=0)
    assert cells(entered(), first, second)["condition"] == 0.0
    assert cells(entered(), second, first)["condition"] == 3.0
    frame = frame_of([entered(), first, second])
    assert state_of(frame.iloc[::-1]).equals(state_of(frame))


@pytest.mark.pinned("worked", answers=4)
def test_a_row_counts_from_the_last_day_it_states():
    """Entered in March 2026 with a look of May 2024: what came between came later."""
    assert cells(entered(), look("2025-07-01", condition=3))["condition"] == 3.0
    assert cells(entered(), look("2023-07-01", condition=3))["condition"] == 1.0
    bare = entered(last_inspected_on=None, installed_on=None)
    assert cells(bare, look("1999-01-01", condition=3))["condition"] == 3.0
    assert state(entered(), event("removed", "2025-07-01")).empty


@pytest.mark.pinned("worked", answers=4)
def test_the_state_of_a_day_leaves_out_what_came_later():
    story = (
        entered(day="2026-03-02"),
        look("2026-06-01", condition=3),
        event("replaced", "2026-08-01", PLACED),
    )
    assert state(*story, on="2026-03-01").empty
    assert cells(*story, on="2026-03-02") == ROW
    assert cells(*story, on="2026-07-31")["condition"] == 3.0
    assert cells(*story, on="2026-08-01")["material"] == "titanium"
    # taken back since: what was wrong then is known now
    assert cells(*story, back(story[1], "2026-12-01"), on="2026-07-31") == ROW


def test_no_events_are_an_empty_register():
    table = state_of(frame_of([]))
    assert list(table) == list(REGISTER_BY_NAME)
    assert table["lon"].dtype == float


def test_own_columns_keep_the_order_in_which_they_were_heard_of_even_when_taken_back():
    first = entered(owner=None, zeta="1")
    events = [first, entered("A2", owner="x", alpha="2")]
    assert own_columns(frame_of(events)) == ["zeta", "alpha", "owner"]
    # within one event they stand by name; an event that is dead keeps the place of its column
    again = event("corrected", "2026-06-01", {"zeta": "3"}, "A2")
    table = state(*events, back(first), again)
    assert list(table)[-3:] == ["zeta", "alpha", "owner"]
    assert "zeta" not in state(*events, back(first))


def test_words_as_they_were_given_are_a_record_only():
    assert cells(entered(material_as_given="V2A")) == ROW


def test_numbers_and_truth_values_in_own_columns_are_texts():
    found = cells(entered(bolts=3, steep=True, height=2.5, tags=["a", "b"]))
    assert {n: found[n] for n in ("bolts", "steep", "height", "tags")} == {
        "bolts": "3", "steep": "true", "height": "2.5", "tags": '["a", "b"]',
    }  # fmt: skip


def test_many_anchors_do_not_mix():
    events = [entered(f"A{i}", lat=43 + i / 1e4) for i in range(400)]
    events += [
        Event(f"A{i}", "looked at", "2026-05-01", "x", {"condition": i % 5})
        for i in np.random.default_rng(1).permutation(400)
    ]
    table = state(*events)
    assert table.index.tolist() == [f"A{i}" for i in range(400)]
    assert table["condition"].tolist() == [i % 5 for i in range(400)]
    assert state_of(frame_of(events), on=dt.date(2026, 5, 1)).equals(table.reset_index())
