"""Events: the same fact has one key, and nothing that no book can hold becomes one."""

import hashlib
import json

import numpy as np
import pandas as pd
import pytest

from saltreach.errors import RecordError
from saltreach.records.events import COLUMNS, Event, frame_of
from saltreach.vocabulary import words


def look(**more) -> Event:
    given = {"anchor_id": "A1", "kind": "looked at", "happened_on": "2026-03-01", "who": "Ana",
             "says": {"condition": 2, "findings": "loose"}}  # fmt: skip
    return Event(**(given | more))


@pytest.mark.pinned("worked")
def test_the_key_is_that_of_the_fact():
    """Worked out from the description alone: SHA-256 over the values as a JSON list."""
    says = '{"condition":2,"findings":"loose"}'
    fact = json.dumps(["A1", "looked at", "2026-03-01", "Ana", says, "", ""], separators=(",", ":"))
    assert look().event_id == hashlib.sha256(fact.encode()).hexdigest()[:32]


@pytest.mark.parametrize(
    "same",
    [
        {"says": {"findings": "loose", "condition": 2.0}},
        {"says": {"findings": "loose", "condition": np.int64(2)}},
        {"source_file": "other.csv", "source_sha256": "ab"},
    ],
)
def test_the_same_fact_is_the_same_event(same):
    assert look(**same).event_id == look().event_id


@pytest.mark.parametrize(
    "other",
    [
        {"anchor_id": "A2"}, {"kind": "measured"}, {"happened_on": "2026-03"}, {"who": "Bea"},
        {"says": {"condition": 3, "findings": "loose"}}, {"record_id": "r1"}, {"replaces": "e1"},
    ],
)  # fmt: skip
def test_another_fact_is_another_event(other):
    assert look(**other).event_id != look().event_id


def test_a_frame_has_the_columns_of_the_vocabulary_in_order():
    frame = frame_of([look(), look(who="Bea")], entered_at="2026-03-02T00:00:00.000Z", first_seq=7)
    assert tuple(frame) == COLUMNS
    assert frame["seq"].tolist() == [7, 8]
    assert frame["says"].tolist() == ['{"condition":2,"findings":"loose"}'] * 2
    assert (frame["entered_at"] == "2026-03-02T00:00:00.000Z").all()
    assert frame_of([]).dtypes.equals(frame.dtypes)


@pytest.mark.parametrize(
    ("wrong", "said"),
    [
        ({"kind": "admired"}, "no event is of the kind 'admired'; give one of entered, looked at"),
        ({"anchor_id": ""}, "anchor '') has no anchor_id"),
        ({"who": "  "}, "has no who"),
        ({"happened_on": "1.3.2026"}, "no day, month or year of that form"),
        ({"happened_on": "2026-02-30"}, "no day, month or year of that form"),
        ({"happened_on": ""}, "has no happened_on"),
        ({"says": {"condition": "bad"}}, "condition 'bad' is no number"),
        ({"says": {"condition": True}}, "condition True is no number"),
        ({"says": {"material": "chewing gum"}}, "not one of the words of material"),
        ({"says": {"findings": "loose; sad"}}, "not one of the words of findings"),
        ({"says": {"installed_on": "May"}}, "installed_on 'May'"),
        ({"says": {"condition": 7}}, "condition 7 is not in 0..4"),
        ({"says": {"embedment_mm": float("inf")}}, "is not in 10..500"),
        ({"says": {"torque_nm": float("inf")}}, "infinite"),
        ({"says": {"photo": {1, 2}}}, "JSON"),
        ({"says": {"anchor_id": "A9"}}, "anchor_id"),
    ],
)
def test_what_no_book_can_hold_is_refused_with_the_fix(wrong, said):
    with pytest.raises(RecordError, match="A1|admired|event states|has no") as error:
        look(**wrong).event_id  # noqa: B018
    assert said in str(error.value)


def test_texts_that_no_file_can_hold_are_made_whole():
    assert look(says={"remark": "a" + chr(0xD800)}).says_json == '{"remark":"a�"}'


def test_every_kind_of_event_can_be_written():
    for kind in words.EVENT_KINDS:
        assert len(look(kind=kind).event_id) == 32


def test_missing_values_of_any_library_are_unknown():
    says = {"condition": np.nan, "material": pd.NA, "findings": None}
    assert look(says=says).says_json == '{"condition":null,"findings":null,"material":null}'
