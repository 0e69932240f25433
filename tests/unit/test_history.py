"""The history of a place: by date, with what ended what; batches; what cards show."""

import datetime as dt

import pytest

from helpers.returned import bring, row, sheet, small_book
from saltreach.errors import RecordError
from saltreach.outputs.history import history_lines
from saltreach.records.history import history_of, last_events


@pytest.fixture
def events(tmp_path):
    book = small_book(tmp_path)
    placed = row("b1", done="replaced", done_on="2026-05-02", piece_batch="T 7", material="316")
    bring(
        book, tmp_path,
        sheet(tmp_path / "spring.csv", row("b1", done_on="2026-05-01", findings="loose"), placed),
        sheet(tmp_path / "autumn.csv", row("a1", "CD", record_id="r1", condition=2),
              row("a2", "CD", done="closed", remark="tape")),
    )  # fmt: skip
    bring(book, tmp_path, sheet(tmp_path / "b.csv", row("a1", "HO", "2026-10-05", takes_back="r1")))
    return book.events()


def test_an_anchor_by_date_with_what_was_taken_back_and_by_whom(events):
    found = history_of(events, "A1")
    assert found.place == "a1 (Alder Point / North)"
    told = found.events[["kind", "who", "happened_on", "ended_by", "ended_on"]].to_numpy().tolist()
    assert told == [
        ["entered", "HO", "2026-11-25", "", ""],
        ["looked at", "CD", "2026-10-03", "HO", "2026-10-05"],
        ["taken back", "HO", "2026-10-05", "", ""],
    ]
    assert (found.seen_by, found.seen_on) == ("", "")  # the only look was taken back


def test_a_sector_a_crag_and_a_day(events):
    assert history_of(events, "alder point/north").anchors["anchor_id"].tolist() == ["a1", "a2"]
    assert len(history_of(events, "Alder Point").anchors) == 4
    found = history_of(events, "b1")
    assert found.decided["kind"].tolist() == ["replaced"] and found.seen_on == "2026-05-02"
    then = history_of(events, "b1", on=dt.date(2026, 5, 1))
    assert then.events["kind"].tolist() == ["looked at"] and not len(then.decided)


def test_every_anchor_of_a_batch_is_found(events):
    assert history_of(events, batch="t7").anchors["anchor_id"].tolist() == ["b1"]
    with pytest.raises(RecordError, match="no record names a batch"):
        history_of(events, batch="T8")
    with pytest.raises(RecordError, match="nearest: .*Birk Head"):
        history_of(events, "Birk Heat")
    with pytest.raises(RecordError, match="nothing is asked for"):
        history_of(events)


def test_one_screen_answers_who_was_there_what_was_decided_and_why(events):
    lines = history_lines(history_of(events, "b1"))
    text = "\n".join(lines)
    assert "Last there: AB, 2026-05-02." in text
    assert "before it: findings loose" in text and "[spring.csv]" in text
    assert len(lines) < 20


def test_cards_show_what_counts_the_last_first(events):
    shown = last_events(events)
    assert set(shown["anchor_id"]) == {"a2", "b1"}
    assert shown["kind"].tolist() == ["note", "closed", "replaced", "looked at"]
    assert shown["said"].iloc[0] == "remark tape"
