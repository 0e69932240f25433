"""Returns that would lose or soften what was found: headers not read, keys used again, deeds."""

import pandas as pd
import pytest

from helpers.returned import NOW, TODAY, bring, phone, read, row, said, sheet, small_book, state
from saltreach.intake.headers import meant_by
from saltreach.outputs.history import history_lines
from saltreach.outputs.returns import counts_line
from saltreach.records.history import history_of
from saltreach.records.returns import apply_returns, read_returns
from saltreach.records.taking_back import taking_back
from saltreach.vocabulary.columns import columns_of


@pytest.fixture
def book(tmp_path):
    return small_book(tmp_path)


@pytest.mark.parametrize(
    "more",
    [{"conditon": 4}, {"tap_respnse": "hollow"}, {"finding notes": "broken"}, {"odd": "hollow"},
     {"odd": "loose; bent"}, {"Kraft": "5,5 kN"}, {"Drehmoment [kN]": 4}, {"take_back": "r1"}],
)  # fmt: skip
def test_a_filled_column_that_is_not_read_refuses_the_file_alone(book, tmp_path, more):
    bad = sheet(tmp_path / "bad.csv", row("a1", condition="", **more), row("a2"))
    good = sheet(tmp_path / "good.csv", row("a3", condition=1))
    found = read(book, bad, good)
    assert {event.anchor_id for event in found.events} == {"a3"}
    ((_, _, reason, fix),) = said(found)
    assert "filled in and not read" in reason and "--words" in fix
    assert counts_line(found, "b").startswith("b: 3 rows: 1 good, 2 refused; ")
    assert not read(book, phone(tmp_path / "p.zip", row("a1", conditon=4))).events


@pytest.mark.parametrize(
    "more",
    [{"Route": "Left"}, {"own remarks": "nice"}, {"weather": "sunny"}, {"arrived": "9:30"},
     {"pitch": 2}, {"conditon": ""}, {"risk_band": "high"}, {"remark 2": "x"}],
)  # fmt: skip
def test_free_text_and_empty_columns_stop_nothing(book, tmp_path, more):
    found = read(book, sheet(tmp_path / "r.csv", row("a1", condition=1, **more)))
    assert len(found.events) == 1 and not len(found.rejected)


@pytest.mark.parametrize(
    ("header", "name", "unit"),
    [("Drehmoment [Nm]", "torque_nm", "Nm"), ("Drehmoment (N·m)", "torque_nm", "N·m"),
     ("drehmoment_nm", "torque_nm", "nm"), ("Haltezeit [s]", "proof_held_s", "s"),
     ("held [sec]", "proof_held_s", "sec"), ("Haltezeit (min)", "proof_held_s", "min"),
     ("rock temperature [°C]", "rock_temperature_c", "°C"), ("Ergebnis", "proof_result", ""),
     ("résultat", "proof_result", "")],
)  # fmt: skip
def test_units_and_words_of_headers_are_read(header, name, unit):
    assert meant_by(header, columns_of("returns"))[:2] == (name, unit)


@pytest.mark.pinned("worked", answers=3)
def test_a_german_test_that_failed_is_not_lost(book, tmp_path):
    file = sheet(tmp_path / "r.csv", row("a1", **{"Was": "angesehen", "Ergebnis": "versagt",
                 "Prüflast [kN]": 4, "Haltezeit [min]": 2}))  # fmt: skip
    found = bring(book, tmp_path, file)
    (test,) = [e for e in found.events if e.kind == "proof test"]
    assert test.says == {"proof_load_kn": 4, "proof_result": "failed", "proof_held_s": 120}
    assert state(book, "a1")["condition"] == 4


def test_a_key_is_one_persons_one_anchors_and_never_softened_on_another_day(book, tmp_path):
    first = row("a1", record_id="r1", condition=4, findings="broken")
    bring(book, tmp_path, sheet(tmp_path / "1.csv", first))
    for given in (
        row("a1", "CD", record_id="r1", condition=0),
        row("a2", record_id="r1", condition=4),
        row("a1", done_on="2026-10-04", record_id="r1", condition=0),
    ):
        found = read(book, sheet(tmp_path / "2.csv", given))
        ((_, column, reason, _),) = said(found)
        assert column == "record_id" and "in use by AB for a1 on 2026-10-03" in reason
        assert not found.events
    found = bring(book, tmp_path, sheet(tmp_path / "3.csv", row("a1", record_id="r1", condition=0)))
    ((anchor, told),) = found.milder
    assert anchor == "a1" and "condition 4 -> 0, findings broken -> none" in told
    assert state(book, "a1")["condition"] == 0


def test_a_record_that_was_replaced_stays_replaced(book, tmp_path):
    bring(book, tmp_path, sheet(tmp_path / "1.csv", row("a1", record_id="r1", condition=4)))
    new = row("a1", "CD", record_id="r2", replaces="r1", condition=1)
    bring(book, tmp_path, sheet(tmp_path / "2.csv", new))
    more = row("a1", "CD", record_id="r2", condition=1, findings="bent")
    bring(book, tmp_path, sheet(tmp_path / "3.csv", more))
    assert state(book, "a1")["condition"] == 1
    later = bring(book, tmp_path, sheet(tmp_path / "4.csv", row("a1", "EF", condition=2)))
    assert {who for one in later.conflicts for who, _ in one.said} == {"CD", "EF"}
    again = row("a1", record_id="r1", condition=4, findings="loose")
    ((_, _, reason, _),) = said(read(book, sheet(tmp_path / "5.csv", again)))
    assert "replaced by record r2 of CD" in reason


@pytest.mark.parametrize(("one", "other"), [("closed", "reopened"), ("removed", "looked at")])
def test_who_contradict_each_other_in_what_was_done(tmp_path, one, other):
    given = [row("a1", done=one), row("a1", "CD", done=other)]
    for number, rows in enumerate((given, given[::-1])):
        mine = small_book(tmp_path, f"{number}.gpkg")
        for at, each in enumerate(rows):
            found = bring(mine, tmp_path, sheet(tmp_path / f"{number}{at}.csv", each))
        (conflict,) = found.open
        assert (conflict.column, conflict.proposed) == ("done", "closed")
        assert set(conflict.said) == {("AB", one), ("CD", other)}
        assert state(mine, "a1")["closed_on"] == "2026-10-03"
    asked = {"anchor_id": "a1", "done_on": "2026-10-03", "column": "done", "who": "HO"}
    answers = sheet(tmp_path / "s.csv", asked | {"answer": other})
    settled = read_returns([], mine, today=TODAY, answers=answers)
    apply_returns(settled, mine, tmp_path / "region.gpkg", now=NOW)
    assert pd.isna(state(mine, "a1")["closed_on"])


def test_a_change_is_credited_to_who_did_it(book, tmp_path):
    rows = [row("a1", done="closed"), row("a1", "CD", condition=2)]
    found = read(book, sheet(tmp_path / "r.csv", *rows))
    record = found.changes.set_index("column")["record"]
    assert record["closed_on"].endswith("AB") and record["last_inspected_on"].endswith("CD")


def test_history_shows_what_take_back_takes(book, tmp_path):
    bring(book, tmp_path, sheet(tmp_path / "1.csv", row("a1", condition=3)))
    events = book.events()
    told = history_of(events, "a1").events
    key = told.loc[told["kind"] == "looked at", "record"].item()
    assert len(key) == 8 and f"<{key}>" in "\n".join(history_lines(history_of(events, "a1")))
    (event,) = taking_back(events, key, who="HO", on=TODAY)
    assert event.anchor_id == "a1"


def test_a_load_without_a_result_and_a_short_test_are_doubts(book, tmp_path):
    rows = [row("a1", proof_load_kn=5), row("a2", proof_load_kn=5, proof_result="held",
                                            proof_held_s=3)]  # fmt: skip
    found = read(book, sheet(tmp_path / "r.csv", *rows))
    told = found.doubts.set_index("anchor_id")["said"]
    assert "shows nothing" in told["a1"] and "held for 3 s only" in told["a2"]
    assert [e.kind for e in found.events].count("proof test") == 2


def test_a_missing_name_is_said_in_plain_words(book, tmp_path):
    found = read(book, sheet(tmp_path / "r.csv", row("a1", "", condition=1)))
    assert said(found) == [(2, "who", "no name", "give who did it")]
