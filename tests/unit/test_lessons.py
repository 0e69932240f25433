"""From events to lessons: what counts as seen, and what the file of lessons holds."""

import datetime as dt
import json

import numpy as np
import pandas as pd
import pytest

from helpers.learned_region import PRIOR, TODAY, believed, lessons, register
from saltreach.assessment.assess import assess
from saltreach.assessment.hazard import cumulative_hazard
from saltreach.errors import OptionError, RecordError
from saltreach.intake import read_register
from saltreach.intake.lessons import FailureLesson, SaltLesson, lessons_text, read_lessons
from saltreach.intake.options import Options
from saltreach.outputs.tables.learned import NOTHING, learned_lines, learned_table, write_learned
from saltreach.records.book import entered
from saltreach.records.events import Event, frame_of
from saltreach.records.lessons import lessons_of
from saltreach.records.watched import Source, failed_by, seen_in, seen_of
from saltreach.vocabulary.columns import columns_of


@pytest.fixture(scope="module")
def region():
    """The region assessed, and the events that entered it."""
    read = read_register(register(), today=TODAY)
    events = entered(read, who="Ana", on=dt.date(2026, 11, 25))
    return assess(read, Options(today=TODAY)).working, events


def learn(region, *more, today=TODAY, entered_too=True):
    table, events = region
    frame = frame_of([*(events if entered_too else ()), *more])
    return lessons_of([Source(table, seen_of(frame), "book.gpkg", "f" * 64)], today)


def of(found, metal):
    (one,) = (f for f in found.failure if f.metal == metal)
    return one


def test_a_region_without_events_teaches_nothing_and_says_so(region, tmp_path):
    found = learn(region, entered_too=False)
    assert not found.told
    assert (found.failure, found.rock, found.salt) == ((), (), ())
    assert NOTHING in learned_lines(found)
    assert write_learned(found, tmp_path / "out") == []
    assert (tmp_path / "out" / "learned.png").stat().st_size > 5000
    heads = list(pd.read_csv(tmp_path / "out" / "learned.csv"))
    assert heads == [*columns_of("learned"), "caution"]


def test_what_was_entered_is_one_look_at_each_anchor(region):
    found = learn(region)
    assert {f.metal: (f.anchors, f.looks, f.failed) for f in found.failure if f.metal != "316"} == {
        "coated steel": (1, 1, 0), "304 or less": (1, 1, 0),
        "superaustenitic or titanium": (1, 1, 0),
    }  # fmt: skip
    assert sum(f.anchors for f in found.failure if f.metal == "316") == 2
    assert any("1 looks and tests at anchors whose metal" in text for text in found.left_out)
    by_itself = lessons_of([Source(region[0], seen_in(region[0]), "a.csv", "e" * 64)], TODAY)
    assert by_itself.failure == found.failure


def test_a_finding_of_a_break_raises_its_group_and_leans_on_the_others(region):
    before = learn(region)
    broken = Event("a2", "looked at", "2026-11-25", "Ana", {"condition": 4, "findings": "broken"})
    after = learn(region, broken)
    assert of(after, "304 or less").failed == 1
    assert of(after, "304 or less").after.p50 > 1.2 * of(before, "304 or less").after.p50
    assert of(after, "coated steel").after.p50 > of(before, "coated steel").after.p50


def test_what_is_taken_back_or_lies_in_the_future_teaches_nothing(region):
    broken = Event("a2", "looked at", "2026-10-25", "Ana", {"condition": 4, "findings": "broken"})
    back = Event("a2", "taken back", "2026-11-01", "Ana", replaces=broken.event_id)
    assert learn(region, broken, back).failure == learn(region).failure
    later = Event("a2", "looked at", "2027-05-01", "Ana", {"condition": 4, "findings": "broken"})
    found = learn(region, later)
    assert of(found, "304 or less").failed == 0
    assert any("1 looks and tests lie after the day" in text for text in found.left_out)


def test_a_value_that_cannot_be_one_is_named(region):
    """A book that was changed past its own rules."""
    look = Event("a2", "looked at", "2026-11-20", "Ana", {"condition": 3})
    odd = frame_of([*region[1], look])
    odd["says"] = odd["says"].replace('{"condition":3}', '{"condition":"rusty"}')
    with pytest.raises(RecordError, match="anchor a2, looked at 2026-11-20.*rusty.*take the"):
        seen_of(odd)


def test_a_rock_that_gave_way_says_nothing_of_the_metal(region):
    loose = Event("a2", "looked at", "2026-11-25", "Ana", {"condition": 4, "findings": "loose"})
    assert of(learn(region, loose), "304 or less").failed == 0
    moved = Event("a2", "proof test", "2026-11-25", "Ana",
                  {"proof_load_kn": 8.0, "proof_result": "moved"})  # fmt: skip
    found = learn(region, moved)
    assert of(found, "304 or less").failed == 0
    assert (found.rock[0].moved, found.rock[0].held) == (1, 0)
    assert found.rock[0].after.p50 < 1.0
    failed = Event("a2", "proof test", "2026-11-25", "Ana",
                   {"proof_load_kn": 8.0, "proof_result": "failed"})  # fmt: skip
    assert of(learn(region, failed), "304 or less").failed == 1


@pytest.mark.pinned("judgement", answers=8)
@pytest.mark.parametrize(
    ("says", "failed"),
    [
        ({"condition": 0}, False), ({"condition": 3, "findings": "rust flakes"}, False),
        ({"condition": 4}, True), ({"condition": 4, "findings": "rust flakes"}, True),
        ({"findings": "cracked"}, True), ({"condition": 4, "findings": "loose; proud"}, None),
        ({"condition": 4, "findings": "loose; broken"}, True), ({"seepage": "water"}, None),
    ],
)  # fmt: skip
def test_what_counts_as_a_metal_that_failed(says, failed):
    assert failed_by(says) is failed


def test_a_test_below_the_load_of_a_year_proves_nothing(region):
    def tests(load):
        held = Event("a1", "proof test", "2026-11-25", "Ana",
                     {"proof_load_kn": load, "proof_result": "held"})  # fmt: skip
        return sum(f.proof_tests for f in learn(region, held).failure)

    assert (tests(3.9), tests(4.0)) == (0, 1)


def test_a_new_piece_is_not_the_old_one(region):
    """The old 304 broke and was replaced by titanium, which is watched from its placing on."""
    broken = Event("a2", "looked at", "2026-11-20", "Ana", {"condition": 4, "findings": "broken"})
    new = Event("a2", "replaced", "2026-11-21", "Ana", {"material": "titanium", "kind": "bonded"})
    look = Event("a2", "looked at", "2026-11-24", "Ana", {"condition": 0})
    now = register()
    now.loc[1, ["material", "kind"]] = ["titanium", "bonded"]
    read = read_register(now, today=TODAY)
    table = assess(read, Options(today=TODAY)).working
    found = learn((table, region[1]), broken, new, look)
    old = of(found, "304 or less")
    assert (old.kind, old.failed) == ("mechanical", 1)
    assert of(found, "superaustenitic or titanium").failed == 0
    assert of(found, "superaustenitic or titanium").looks == 2


def test_pulls_on_what_stands_no_more_count(region):
    pulled = Event("a1", "pulled to failure", "2026-11-25", "Ana",
                   {"pulled_to_kn": 6.0, "failure_way": "rock"})  # fmt: skip
    found = learn(region, pulled)
    (rock,) = found.rock
    assert (rock.lithology, rock.tap, rock.to_failure) == ("limestone", "ringing", 1)
    assert rock.after.p95 < rock.before.p95
    by_metal = Event("a1", "pulled to failure", "2026-11-25", "Ana",
                     {"pulled_to_kn": 30.0, "failure_way": "metal"})  # fmt: skip
    assert learn(region, by_metal).rock[0].held == 1


def test_a_candle_moves_its_crag_more_than_the_next(region):
    measured = Event("a1", "measured", "2026-11-01", "Ana",
                     {"candle_chloride_mg_m2_d": 900.0, "exposed_days": 365})  # fmt: skip
    here, there = learn(region, measured).salt
    assert (here.crag, here.measurements, there.measurements) == ("Alder Point", 1, 0)
    assert here.shift_ln > there.shift_ln > 0
    assert here.spread < there.spread < 1


def test_the_hazard_learned_from_is_the_models_own(region):
    """304 in salt air: ((t + 1)^2 - t^2) / eta^2 a year, with what a thick bar adds: next to
    nothing."""
    table = region[0].assign(diameter_mm=40.0)
    hazard = cumulative_hazard(table, 30.0)
    place = table["scc_hazard"].to_numpy(float)[1]
    assert hazard[1, 20] == pytest.approx((20 * place / 6.0) ** 2 + 20e-5, rel=1e-3)
    assert np.isnan(hazard[5]).all()  # nobody knows its metal
    assert (np.diff(hazard[:5], axis=1) >= 0).all()


def some():
    lesson = FailureLesson(metal="316", kind="bonded", air="harsh air", anchors=4, looks=9,
                           proof_tests=1, failed=1, expected=0.2, before=PRIOR,
                           after=believed(2.0, 0.5, 6.0))  # fmt: skip
    salt = SaltLesson(crag="=cmd()", measurements=2, shift_ln=0.5, spread=0.7, model_sigma_ln=1.0)
    return lessons(failure=(lesson,), salt=(salt,))


def test_the_file_is_read_back_as_it_was_written(tmp_path):
    path = tmp_path / "learned.json"
    path.write_text(lessons_text(some()), encoding="utf-8")
    assert read_lessons(path) == some()
    assert "certificate" in json.loads(path.read_text())["caution"]


def test_the_tables_are_safe_in_a_spreadsheet_and_say_what_counts(tmp_path):
    assert write_learned(some(), tmp_path / "out") == []
    table = pd.read_csv(tmp_path / "out" / "learned.csv")
    assert not table["group"].str.startswith("=").any()
    assert table["used"].tolist() == [2.0, round(float(np.exp(0.5)), 3)]
    said = learned_table(some())["said"]
    assert "4 anchors, 9 looks, 1 proof test; 1 found failed" in said[0]
    assert "Counted: it fails 2 times as often as the model says." in said[0]
    one, two = ((tmp_path / name / "learned.png") for name in ("out", "again"))
    write_learned(some(), tmp_path / "again")
    assert one.read_bytes() == two.read_bytes()


WRONG = {
    "no JSON": ("{", "is not valid JSON"),
    "a list": ("[]", "is no file of lessons"),
    "another file": ('{"format": "other"}', "is no file of lessons"),
    "NaN": ('{"format": NaN}', "NaN is no number"),
}


@pytest.mark.parametrize("name", WRONG)
def test_a_file_that_is_no_lessons_is_refused(name, tmp_path):
    path = tmp_path / "learned.json"
    path.write_text(WRONG[name][0])
    with pytest.raises(OptionError, match=WRONG[name][1]) as told:
        read_lessons(path)
    assert "learned.json" in str(told.value)


@pytest.mark.parametrize(
    ("change", "said"),
    [
        (("version",), "run saltreach learned again"),
        (("failure", 0, "metal"), "failure 1.metal = -1; give one of coated steel"),
        (("failure", 0, "after", "p50"), "failure 1.after.p50 = -1; give a number above 0"),
        (("failure", 0, "anchors"), "failure 1.anchors = -1; give a whole number"),
        (("salt", 0, "spread"), "salt 1.spread = -1; give a number from 0.01 to 1"),
        (("salt", 0, "colour"), "unknown name 'colour'"),
        (("failure", 0, "before"), "failure 1.before = -1"),
    ],
)
def test_an_impossible_value_is_named(change, said, tmp_path):
    plain = json.loads(lessons_text(some()))
    inside = plain
    for step in change[:-1]:
        inside = inside[step]
    inside[change[-1]] = -1
    path = tmp_path / "learned.json"
    path.write_text(json.dumps(plain))
    with pytest.raises(OptionError) as told:
        read_lessons(path)
    assert said in str(told.value)


def test_quantiles_must_rise_and_groups_stand_once(tmp_path):
    with pytest.raises(OptionError, match="do not rise"):
        believed(9.0, 0.5, 6.0)
    with pytest.raises(OptionError, match="stands twice"):
        lessons(salt=some().salt * 2)
