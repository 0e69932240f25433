"""Calendar, workbook and CSV, read back by other programs than wrote them."""

import datetime as dt
import re
import zipfile
from dataclasses import replace

import openpyxl
import pandas as pd
import pytest
import vobject

from helpers.planning_world import problem, sectors, team
from saltreach.errors import RegisterError
from saltreach.intake.plan_file import TRIP_COLUMNS, read_plan, read_rebolting
from saltreach.outputs.tables.plan import write_plan
from saltreach.outputs.tables.sheets_xlsx import write_workbook
from saltreach.planning.plan import make_plan
from saltreach.planning.tables import frame_or_file
from saltreach.planning.visits import trips_by_month
from saltreach.vocabulary.words import CAUTION

TIME = "2026-11-25T10:00:00+00:00"
HOSTILE = '=HYPERLINK("x");, \\ "Grüße"\n\x07<b>'


def plan(name="Crag 0", last=None, **more):
    frame = sectors(2, crag=name)
    return make_plan(problem(frame, [team("=Team", **more)]), nodes=1000, last=last)


def write(made, out):
    write_plan(replace(made, sources={"assessment": TIME}), out)
    return out


def events(path):
    calendar = vobject.readOne(path.read_text(encoding="utf-8"))
    return list(calendar.vevent_list)


def test_an_independent_parser_reads_every_visit(tmp_path):
    made = plan()
    found = {e.uid.value: e for e in events(write(made, tmp_path) / "inspections.ics")}
    assert len(found) == len(made.flat.visits)
    for v in made.flat.visits.itertuples():
        event = found[f"{v.visit_id}@plan.saltreach"]
        assert event.dtstart.value == dt.datetime.fromisoformat(f"{v.date}T{v.begins}")
        assert event.dtend.value == dt.datetime.fromisoformat(f"{v.date}T{v.ends}")
        assert event.dtstamp.value == dt.datetime.fromisoformat(TIME)
        assert CAUTION in event.description.value
        assert not hasattr(event, "geo")


def test_hostile_names_survive_the_calendar_as_text(tmp_path):
    made = plan(HOSTILE)
    first = events(write(made, tmp_path) / "inspections.ics")[0]
    assert "Grüße" in first.summary.value and "HYPERLINK" in first.location.value
    raw = (tmp_path / "inspections.ics").read_bytes()
    assert all(len(line) <= 75 for line in raw.split(b"\r\n"))  # RFC 5545, 3.1
    assert raw.count(b"BEGIN:VEVENT") == len(made.flat.visits)


def test_a_moved_visit_keeps_its_uid_and_a_dropped_one_is_cancelled(tmp_path):
    made = plan()
    last = read_plan(write(made, tmp_path / "a") / "plan.csv")
    day = dt.date.fromisoformat(made.flat.visits["date"].iloc[0])
    again = plan(last=last, away=((day, day),))
    found = {e.uid.value: e for e in events(write(again, tmp_path / "b") / "inspections.ics")}
    before = {e.uid.value for e in events(tmp_path / "a" / "inspections.ics")}
    assert before <= set(found)
    for change in again.flat.changes.itertuples():
        event = found[f"{change.visit_id}@plan.saltreach"]
        if change.change != "added":
            assert int(event.sequence.value) == 1
        assert (event.status.value == "CANCELLED") == (change.change == "dropped")
    assert (tmp_path / "b" / "changes.csv").is_file()


def test_the_same_plan_gives_the_same_bytes(tmp_path):
    made = plan()
    for name in ("plan.csv", "inspections.ics", "plan.xlsx"):
        one, two = (write(made, tmp_path / n) / name for n in "ab")
        assert one.read_bytes() == two.read_bytes(), name
    with zipfile.ZipFile(tmp_path / "a" / "plan.xlsx") as book:  # the clock is nowhere inside
        assert {i.date_time for i in book.infolist()} == {(2000, 1, 1, 0, 0, 0)}
        days = re.findall(rb"\d{4}-\d\d-\d\d", book.read("docProps/core.xml"))
        assert set(days) == {b"2000-01-01"}


def test_the_workbook_opens_prints_and_holds_no_formula(tmp_path):
    made = plan(HOSTILE)
    book = openpyxl.load_workbook(write(made, tmp_path) / "plan.xlsx")
    assert book.sheetnames == ["About", "Plan", "Months", "Not met"]
    assert any(c.value == CAUTION for row in book["About"] for c in row)
    for sheet in book:
        assert sheet.page_setup.orientation == "landscape"
        assert sheet.sheet_properties.pageSetUpPr.fitToPage
        assert (sheet.page_setup.fitToWidth, sheet.page_setup.fitToHeight) == (1, 0)
        assert CAUTION in sheet.oddFooter.left.text
        assert all(c.data_type != "f" for row in sheet.iter_rows() for c in row)
    assert book["Plan"].print_title_rows == "$1:$1"
    assert len(list(book["Plan"].rows)) == 1 + len(made.flat.visits)
    names = [c for row in book["Plan"].iter_rows(min_row=2) for c in row if c.value == "=Team"]
    assert names and all(c.quotePrefix for c in names)
    assert sum(c.value for c in book["Months"]["B"][1:]) == made.cost.trips


def test_plan_csv_comes_back_as_it_was(tmp_path):
    made = plan()
    back = read_plan(write(made, tmp_path) / "plan.csv")
    pd.testing.assert_frame_equal(
        back[["visit_id", "team", "date", "crag", "task", "revision"]].astype("str"),
        made.flat.visits[["visit_id", "team", "date", "crag", "task", "revision"]].astype("str"),
    )
    raw = pd.read_csv(tmp_path / "plan.csv")
    assert set(raw["caution"]) == {CAUTION}
    assert set(raw["team"]) == {"'=Team"}


@pytest.mark.parametrize(
    ("spoil", "says"),
    [
        (lambda t: t.drop(columns="task"), "no column task"),
        (lambda t: t.assign(date="soon"), "row 2 has date 'soon'"),
        (lambda t: t.assign(visit_id="mine"), "visit_id 'mine'"),
    ],
)
def test_a_spoilt_plan_is_refused_in_one_sentence(tmp_path, spoil, says):
    table = pd.read_csv(write(plan(), tmp_path) / "plan.csv", dtype=str)
    spoil(table).to_csv(tmp_path / "spoilt.csv", index=False)
    with pytest.raises(RegisterError, match=says):
        read_plan(tmp_path / "spoilt.csv")
    with pytest.raises(RegisterError, match="no such file; check the path"):
        read_plan(tmp_path / "absent.csv")


def test_a_map_needs_less_of_a_plan_but_the_same_days(tmp_path):
    (tmp_path / "own.csv").write_text("crag,sector,date,trip\n'=A,B,2027-01-02,t\n")
    assert read_plan(tmp_path / "own.csv", TRIP_COLUMNS).to_numpy().tolist() == [
        ["=A", "B", "2027-01-02", "t"]
    ]
    with pytest.raises(RegisterError, match="no column anchors, risk_band, visit_id"):
        read_plan(tmp_path / "own.csv")
    (tmp_path / "own.csv").write_text("crag,sector,date,trip\nA,B,soon,t\n")
    with pytest.raises(RegisterError, match="row 2 has date 'soon'"):
        read_plan(tmp_path / "own.csv", TRIP_COLUMNS)


def test_the_chosen_rebolting_is_read_from_a_list_of_priorities(tmp_path):
    path = tmp_path / "priorities.csv"
    path.write_text("crag,sector,chosen,anchors_to_replace\n'=A,B,yes,12\nC,D,no,\n")
    assert read_rebolting(path).to_numpy().tolist() == [["=A", "B", 12]]
    path.write_text("crag,sector,chosen,anchors_to_replace\nA,B,no,\nC,D,yes,many\n")
    with pytest.raises(RegisterError, match="row 3: anchors_to_replace 'many' is no whole number"):
        read_rebolting(path)
    path.write_text("crag,sector\n")
    with pytest.raises(RegisterError, match="no column chosen, anchors_to_replace; give the prior"):
        read_rebolting(path)


@pytest.mark.pinned("worked", answers=3)
def test_months_without_trips_stand_among_the_others():
    visits = pd.DataFrame({"crag": "C", "sector": ["a", "b", "a"], "trip": ["x", "x", "y"],
                           "date": ["2027-03-06", "2027-03-06", "2027-05-01"]})  # fmt: skip
    found = trips_by_month(visits)
    assert found.reset_index().to_numpy().tolist() == [
        ["2027-03", 1, 2, [("C", "a"), ("C", "b")]], ["2027-04", 0, 0, []],
        ["2027-05", 1, 1, [("C", "a")]],
    ]  # fmt: skip
    assert trips_by_month(visits.iloc[:0]).empty


def test_the_months_of_a_plan_add_up_to_its_cost():
    made = plan()
    months = made.flat.months
    assert months["team_hours"].sum() == pytest.approx(made.cost.team_min / 60, abs=0.04)
    assert months[["trips", "visits"]].sum().tolist() == [made.cost.trips, len(made.flat.visits)]
    assert months["=Team"].tolist() == months["trips"].tolist()
    assert months["visits_after_due"].sum() == (made.flat.visits["days_late"] > 0).sum()
    assert months.index[[0, -1]].tolist() == ["2027-01", "2027-06"]


def test_a_workbook_of_nothing_opens(tmp_path):
    empty = pd.DataFrame({"a": []})
    write_workbook(tmp_path / "x.xlsx", {"Empty": empty}, [], title="&A & co")
    assert openpyxl.load_workbook(tmp_path / "x.xlsx")["Empty"]["A1"].value == "a"


def test_a_frame_is_handed_on_with_its_columns_and_no_more():
    frame = pd.DataFrame({"team": ["A", "B"], "people": [2, 3]}, index=[7, 9])
    text = frame_or_file(frame, "teams", lambda file: file.read_text())
    assert text.splitlines() == ["team,people", "A,2", "B,3"]
