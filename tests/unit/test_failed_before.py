"""What failed and was replaced still speaks for its like."""

import numpy as np
import pandas as pd
import pytest

import saltreach as sr
from helpers.returned import NOW, TODAY, read, row, sheet, small_book
from saltreach.assessment.region import condition_shares, metal_in_place
from saltreach.assessment.state import like_failed_share
from saltreach.records.events import Event, frame_of
from saltreach.records.failed import failed_before
from saltreach.records.returns import apply_returns

PLACE = {"crag": "Alder", "sector": "North", "lon": 1.0, "lat": 45.0}


def entered(**says):
    known = PLACE | {"material": "316", "installed_on": "2006-05"} | says
    return Event("a1", "entered", "2026-01-01", "LM", known)


def on(day, kind_of_event, /, **says):
    return Event("a1", kind_of_event, day, "LM", says)


def gone(*events):
    found = failed_before(frame_of(events))
    rows = [] if found is None else found.to_dict("records")
    return [{n: None if pd.isna(v) else v for n, v in row.items()} for row in rows]


ROCK = {"metal_failed": False}
TESTED = {"by_test": True}
NEW = {"material": "titanium", "kind": "bonded"}
OLD = {"crag": "Alder", "sector": "North", "material": "316", "hanger_material": "unknown",
       "installed_on": "2006-05", "kind": None, "metal_failed": True,
       "by_test": False}  # fmt: skip


@pytest.mark.pinned("worked")
@pytest.mark.parametrize(
    ("events", "found"),
    [
        ((entered(condition=4),), []),  # still there: the register says it
        ((entered(condition=4), on("2026-06-01", "replaced", **NEW)), [OLD]),
        ((entered(condition=3), on("2026-06-01", "replaced", **NEW)), []),
        ((entered(), on("2026-05-01", "looked at", findings="cracked"),
          on("2026-06-01", "removed")), [OLD]),
        # loose is the rock's, and says nothing of other bolts of its metal
        ((entered(), on("2026-05-01", "looked at", condition=4, findings="loose"),
          on("2026-06-01", "removed")), [OLD | ROCK]),
        ((entered(), on("2026-05-01", "proof test", proof_load_kn=3, proof_result="failed"),
          on("2026-06-01", "replaced", **NEW)), [OLD | TESTED]),
        ((entered(kind="bonded"),
          on("2026-05-01", "proof test", proof_load_kn=3, proof_result="moved"),
          on("2026-06-01", "removed")), [OLD | ROCK | TESTED | {"kind": "bonded"}]),
        ((entered(), on("2026-05-01", "proof test", proof_load_kn=6, proof_result="held"),
          on("2026-06-01", "removed")), []),
        # the metal was found out before it went
        ((entered(condition=4, material="unknown"), on("2026-05-01", "corrected", material="304"),
          on("2026-06-01", "removed")), [OLD | {"material": "304"}]),
        # the successor is sound, and failed in its turn
        ((entered(condition=4), on("2026-06-01", "replaced", **NEW),
          on("2026-07-01", "looked at", condition=4), on("2026-08-01", "removed")),
         [OLD, OLD | {"material": "titanium", "installed_on": "2026-06-01", "kind": "bonded"}]),
        ((entered(condition=4, installed_on=None), on("2026-06-01", "removed")),
         [OLD | {"installed_on": None}]),
    ],
)  # fmt: skip
def test_what_failed_and_is_gone(events, found):
    assert gone(*events) == found


def test_taken_back_it_is_still_there():
    first = entered(condition=4)
    new = on("2026-06-01", "replaced", **NEW)
    back = Event("a1", "taken back", "2026-06-02", "LM", {}, replaces=new.event_id)
    assert gone(first, new) == [OLD]
    assert gone(first, new, back) == []


@pytest.mark.pinned("worked", answers=2)
def test_the_like_of_it_are_as_suspect_as_beside_it():
    """Three of 2006 and one of 2007 in 316, one undated; one of 2006 failed and was replaced."""
    table = pd.DataFrame(
        {
            "crag": "Alder", "sector": "North", "material": "316", "hanger_material": "unknown",
            "installed_on": ["2006-01", "2006", "2007", None], "condition": [0.0, np.nan, 1.0, 0.0],
        }
    )  # fmt: skip
    lost = pd.DataFrame([OLD])
    metal = metal_in_place(table)
    assert like_failed_share(table, metal).tolist() == [0, 0, 0, 0]
    # of 2006: two, the lost one and the undated one; undated: all five
    assert like_failed_share(table, metal, lost).tolist() == [1 / 4, 1 / 4, 0, 1 / 5]


def test_the_unrecorded_look_no_better_for_what_was_taken_away():
    there = condition_shares(pd.Series([4.0, 0.0, 0.0]))
    assert condition_shares(pd.Series([0.0, 0.0]), 1).tolist() == there.tolist()


def test_from_python_a_book_tells_what_failed_and_what_happened_last(tmp_path):
    """Its path is taken where a register is, and nothing that the command counts is lost."""
    book = small_book(tmp_path)
    file = sheet(tmp_path / "r.csv", row("a1", condition=4, done_on="2026-10-03"))
    new = sheet(tmp_path / "n.csv", row("a1", done="replaced", material="titanium",
                                        done_on="2026-10-04"))  # fmt: skip
    apply_returns(read(book, file, new), book, tmp_path / "region.gpkg", now=NOW)
    result = sr.assess(tmp_path / "region.gpkg", sr.Options(today=TODAY))
    notes = " ".join(result.provenance["register"]["notes"])
    assert "1 that failed and are gone still count for their like" in notes
    assert result.events["kind"].tolist() == ["replaced", "looked at"]
