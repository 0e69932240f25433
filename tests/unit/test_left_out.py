"""Tables that limit: a refused row or a lost column stops the run, or is named first by all."""

import dataclasses
import datetime as dt
import json

import openpyxl
import pandas as pd
import pytest
import vobject

import saltreach as sr
from helpers.planning_world import anchors, sectors
from saltreach.assessment.result import Assessment, Flat
from saltreach.errors import LayerError, OptionError, RegisterError, settings_by_flags, together
from saltreach.intake import tables, teams
from saltreach.intake.datasheet import read_cure_table
from saltreach.intake.options import Options
from saltreach.intake.plan_file import left_out_in
from saltreach.intake.prices import read_prices
from saltreach.intake.rock_mapping import read_rock_mapping
from saltreach.intake.sheets import left_out, read_table, refuse_unknown, refuse_unknown_ends
from saltreach.outputs.explain import explain
from saltreach.outputs.landowner.page import landowner
from saltreach.outputs.map.page import map_of
from saltreach.outputs.summary import summary_text
from saltreach.vocabulary.words import CAUTION

TEAMS = "team,lon,lat,days_free,away\nWest,0,43,1SA,\n"
HEAD = "crag,sector,access,from,until\n"


def file(tmp_path, name, text):
    path = tmp_path / name
    path.write_text(text, encoding="utf-8")
    return path


@pytest.fixture
def result():
    frame = sectors(4)
    flat = Flat(anchors(frame), frame, frame, frame.iloc[:0])
    return Assessment(flat, {
        "assessed_for": "2027-01-01", "time": "2027-01-01T10:00:00+00:00",
        "policy": {"loosened": []},
    })  # fmt: skip


def planned(result, tmp_path, **more):
    given = {"teams": file(tmp_path, "teams.csv", TEAMS), "years": 0.5, "seconds": 0} | more
    return sr.plan(result, given.pop("teams"), **given)


def refused(result, tmp_path, **more):
    with pytest.raises(RegisterError) as caught:
        planned(result, tmp_path, **more)
    return str(caught.value)


def test_which_tables_limit_is_data():
    """A row that is lost of these is a closure, a promise or a price that nobody keeps to."""
    assert [table.name for table in tables.TABLES if table.limits] == [
        "survey", "teams", "windows", "tides", "needs", "travel", "done", "prices",
    ]  # fmt: skip


ONE = (
    "windows w.csv, row 2, until = '37/31': not a date; write YYYY-MM-DD (last day: MM-DD each "
    "year, or YYYY-MM-DD) (mend it in the file, or leave it out aloud with "
)


def test_a_closure_that_cannot_be_read_stops_the_plan(result, tmp_path):
    windows = file(tmp_path, "w.csv", HEAD + "Crag 0,,closed,02-01,37/31\n")
    assert refused(result, tmp_path, windows=windows) == ONE + "leave_out_refused=True)"
    with settings_by_flags():
        assert refused(result, tmp_path, windows=windows) == ONE + "--leave-out-refused)"


ROWS = {
    "windows": (HEAD + "Crag 0,,ajar,02-01,07-31\n", "access = 'ajar'"),
    "tides": ("crag,date,from,until\nCrag 0,2027-02-01,9,12:00\n", "from = '9'"),
    "needs": ("crag,people\nCrag 0,many\n", "people = 'many'"),
    "travel": ("from,to,hours\nWest,Crag 0,far\n", "hours = 'far'"),
    "done": ("crag,done_on\nCrag 0,2027-02-30\n", "done_on = '2027-02-30'"),
}


@pytest.mark.parametrize("name", ROWS)
def test_every_table_of_a_plan_limits(result, tmp_path, name):
    text, says = ROWS[name]
    table = file(tmp_path, f"{name}.csv", text)
    assert f"{name} {name}.csv, row 2, {says}: " in refused(result, tmp_path, **{name: table})
    made = planned(result, tmp_path, leave_out_refused=True, **{name: table})
    assert made.left_out == (f"LEFT OUT of {name} {name}.csv: row 2 ({says.replace(' = ', ' ')}).",)


def test_a_team_s_days_away_are_never_planned_through(result, tmp_path):
    away = file(tmp_path, "t.csv", TEAMS + "East,1,43,1SA,2027-08-31..2027-08-01\n")
    assert "teams t.csv, row 3, away = '2027-08-31..2027-08-01'" in refused(
        result, tmp_path, teams=away
    )
    made = planned(result, tmp_path, teams=away, leave_out_refused=True)
    assert set(made.flat.visits["team"]) == {"West"}


def test_a_name_that_matches_nothing_stops_with_the_nearest(result, tmp_path):
    windows = file(tmp_path, "w.csv", HEAD + "Krag 0,,closed,02-01,07-31\n")
    assert refused(result, tmp_path, windows=windows).startswith(
        "windows w.csv, row 2, crag = 'Krag 0': not among the crags and sectors assessed; spell it "
        "as the register does; nearest: Crag 0, Crag 1 ("
    )
    needs = file(tmp_path, "n.csv", "crag,sector\nCrag 0,Sektor 1\n")
    assert "sector = 'Sektor 1': not among" in refused(result, tmp_path, needs=needs)
    assert "nearest: Sector 1, Sector 0 (" in refused(result, tmp_path, needs=needs)
    travel = file(tmp_path, "v.csv", "from,to,hours\nWest,Krag 1,2\nEast,Crag 0,1\nWest,Crag 0,1\n")
    said = refused(result, tmp_path, travel=travel)
    assert said.splitlines()[1:] == [
        "  row 2, to = 'Krag 1': neither a team nor a crag assessed; spell it as the teams or the "
        "register do; nearest: Crag 1, Crag 0",
        "  row 3, from = 'East': neither a team nor a crag assessed; spell it as the teams or the "
        "register do; nearest: West",
    ]
    made = planned(result, tmp_path, travel=travel, leave_out_refused=True)
    assert made.rejected["row"].tolist() == [2, 3]


def test_up_to_three_names_are_near(tmp_path):
    windows = teams.read_windows(file(tmp_path, "w.csv", HEAD + "Crag,,closed,02-01,07-31\n"))
    found = refuse_unknown(windows, {f"Crag {i}": {"A"} for i in range(5)})
    assert found.rejected["fix"].str.count("Crag").tolist() == [3]
    far = refuse_unknown(windows, {"Peña Oscalda": {"A"}})
    assert far.rejected["fix"].tolist() == ["spell it as the register does"]
    legs = teams.read_travel(file(tmp_path, "t.csv", "from,to,hours\nWEST,crag-0,1\n"))
    assert not len(refuse_unknown_ends(legs, ["West", "Crag 0"]).rejected)


def test_the_list_is_short_and_counts_the_rest(result, tmp_path):
    rows = "".join(f"Crag 0,,closed,13-0{i},07-31\n" for i in range(1, 9))
    windows = file(tmp_path, "w.csv", HEAD + rows + "Crag 0,,closed,02-01,07-31\n")
    lines = refused(result, tmp_path, windows=windows).splitlines()
    assert lines[0] == (
        "windows w.csv: 8 of 9 rows refused; mend it in the file, or leave it out aloud with "
        "leave_out_refused=True:"
    )
    assert [line[:9] for line in lines[1:6]] == [f"  row {i}, " for i in range(2, 7)]
    assert lines[6:] == ["  and 3 more rows"]
    made = planned(result, tmp_path, windows=windows, leave_out_refused=True)
    assert made.left_out[0].endswith("row 6 (from '13-05'), 3 more rows.")


def test_a_long_cell_is_cut_in_the_message(tmp_path):
    sheet = teams.read_windows(file(tmp_path, "w.csv", HEAD + f"A,,{'x' * 500},02-01,07-31\n"))
    assert left_out(sheet) == f"LEFT OUT of windows w.csv: row 2 (access '{'x' * 79}…')."


def test_a_row_with_two_faults_is_one_row(tmp_path):
    sheet = teams.read_windows(file(tmp_path, "w.csv", HEAD + "A,,ajar,02-01,31-07\n"))
    assert left_out(sheet) == "LEFT OUT of windows w.csv: row 2 (access 'ajar')."


def test_the_problems_of_all_tables_are_said_together(result, tmp_path):
    said = refused(
        result, tmp_path, teams=tmp_path / "none.csv",
        windows=file(tmp_path, "w.csv", HEAD + "Crag 0,,,02-01,31-07\nCrag 7,,,02-01,03-01\n"),
        tides=file(tmp_path, "t.csv", "crag,date\nCrag 0,2027-01-01\n"),
        last_plan=file(tmp_path, "last.csv", "crag\nCrag 0\n"),
    )  # fmt: skip
    assert said.startswith("4 of the files cannot be used:\n  teams ")
    for words in (
        "none.csv: no such file", "\n  tides t.csv: no column from and until;",
        "\n  plan ", "last.csv: no column ", "\n  windows w.csv: 2 of 2 rows refused;",
        "\n    row 2, until = '31-07': not a date", "\n    row 3, crag = 'Crag 7': not among",
    ):  # fmt: skip
        assert words in said


def test_nothing_is_planned_before_all_is_known(result, tmp_path):
    steps = []
    windows = file(tmp_path, "w.csv", HEAD + "Crag 9,,closed,02-01,07-31\n")
    refused(result, tmp_path, windows=windows, on_step=steps.append)
    assert steps == []


def test_one_error_stays_what_it_is():
    one = OptionError("a\n  b")
    assert together([one]) is one
    both = together([one, LayerError("c")])
    assert isinstance(both, OptionError)
    assert str(both) == "2 of the files cannot be used:\n  a\n    b\n  c"


@pytest.mark.parametrize(
    ("header", "column"),
    [("accss", "access"), ("reasn", "reason"), ("Secto", "sector")],
)
def test_a_header_that_is_nearly_ours_stops_what_limits(result, tmp_path, header, column):
    text = f"crag,{header},from,until,remarks\nCrag 0,,02-01,07-31,x\n"
    windows = file(tmp_path, "w.csv", text)
    assert refused(result, tmp_path, windows=windows) == (
        f"windows w.csv, column {header!r} is not used; did you mean {column}? Rename or remove it "
        "(mend it in the file, or leave it out aloud with leave_out_refused=True)"
    )
    made = planned(result, tmp_path, windows=windows, leave_out_refused=True)
    assert made.left_out == (f"LEFT OUT of windows w.csv: column {header!r}.",)
    note = f"columns not used: {header!r} (did you mean {column}?), 'remarks'"
    assert made.sources["tables"]["windows"]["notes"] == [note]
    assert f"windows w.csv: {note}" in made.notes


def test_a_column_of_one_s_own_does_not_stop(result, tmp_path):
    text = "crag,access,from,until,acces,volunteer,season\nCrag 0,,02-01,07-31,,,\n"
    windows = file(tmp_path, "w.csv", text.replace(",season", ",reason"))
    made = planned(result, tmp_path, windows=windows)  # access is there: acces is another column
    assert "windows w.csv: columns not used: 'acces', 'volunteer'" in made.notes


def test_a_missing_column_is_told_its_near_name(tmp_path):
    with pytest.raises(
        RegisterError, match=r"no column days_free; .*; 'day_free': did you mean days_free"
    ):
        teams.read_teams(file(tmp_path, "t.csv", "team,lon,lat,day_free\nA,1,1,SA\n"))


def test_columns_read_under_another_name_are_said(result, tmp_path):
    windows = file(tmp_path, "w.csv", "Cliff,Access,FROM,until\nCrag 0,,02-01,07-31\n")
    made = planned(result, tmp_path, windows=windows)
    note = "columns read under another name: 'Cliff' as crag"
    assert made.sources["tables"]["windows"]["notes"] == [note]
    assert f"windows w.csv: {note}" in made.notes


# -- every output of a plan


@pytest.fixture
def written(result, tmp_path):
    windows = file(tmp_path, "w.csv", HEAD + "Crag 0,,closed,02-01,31/37\n")
    made = planned(result, tmp_path, windows=windows, leave_out_refused=True)
    sr.write_plan(made, tmp_path / "out")
    return made, tmp_path / "out"


LOST = "LEFT OUT of windows w.csv: row 2 (until '31/37')."


def test_every_file_of_a_plan_says_first_what_was_left_out(written):
    _, out = written
    first = openpyxl.load_workbook(out / "plan.xlsx")["About"]
    assert [first.cell(row, 1).value for row in (1, 2)] == ["Inspection plan (advice)", LOST]
    assert sum(LOST in str(row[0].value) for row in first.iter_rows()) == 1
    for name in ("plan.csv", "unmet.csv"):
        said = pd.read_csv(out / name)["caution"]
        assert set(said) == {f"{LOST} {CAUTION}"}
    record = json.loads((out / "plan.json").read_text(encoding="utf-8"))
    assert record["left_out"] == [LOST] and record["notes"][0] == LOST
    calendar = vobject.readOne((out / "inspections.ics").read_text(encoding="utf-8"))
    assert calendar.contents["description"][0].value == f"{LOST}\n{CAUTION}"
    assert all(e.description.value.startswith(f"{LOST}\nTeam: ") for e in calendar.vevent_list)
    assert (out / "plan_rejected.csv").is_file()


def test_a_plan_that_leaves_nothing_out_says_nothing_of_it(result, tmp_path):
    made = planned(result, tmp_path)
    sr.write_plan(made, tmp_path / "out")
    assert made.left_out == () and made.figures["left_out"] == []
    for path in (tmp_path / "out").iterdir():
        assert b"LEFT OUT" not in path.read_bytes()
    assert left_out_in(tmp_path / "out" / "plan.csv") == ""


def test_what_the_assessment_left_out_is_said_by_its_plan(result, tmp_path):
    result.provenance["left_out"] = ["LEFT OUT of survey s.csv: row 2."]
    assert planned(result, tmp_path).left_out == (
        "In the assessment: LEFT OUT of survey s.csv: row 2.",
    )


def test_a_map_of_the_trips_says_what_the_plan_left_out(written, assessed_demo, tmp_path):
    _, out = written
    assert left_out_in(out / "plan.csv") == LOST
    told = '<p id="left-out" class="alarm" data-t="left_out">Refused rows of the tables were left'
    page = map_of(assessed_demo, left_out=LOST)
    assert told in page and LOST.replace("'", "\\u0027") in page or LOST in page
    plain = map_of(assessed_demo)
    assert 'id="left-out"' not in plain and "LEFT OUT" not in plain
    assert LOST not in assessed_demo.provenance["assumptions"]
    own = file(tmp_path, "own.csv", "crag,sector,date,trip\nA,B,2027-01-02,t\n")
    assert left_out_in(own) == ""


# -- survey and prices


REGISTER = "anchor_id,crag,sector,lon,lat\na,Alder,North,-4.95,43.44\n"


def surveyed(tmp_path, text, **more):
    register = sr.read_register(file(tmp_path, "own.csv", REGISTER), today=dt.date(2026, 11, 25))
    survey = str(file(tmp_path, "s.csv", text))
    return sr.assess(register, Options(survey_file=survey, today=dt.date(2026, 11, 25), **more))


def test_a_survey_with_a_refused_row_stops_the_assessment(tmp_path):
    with pytest.raises(RegisterError, match="survey s.csv, row 2, water = 'soaked': not one of"):
        surveyed(tmp_path, "crag,sector,water\nAlder,North,soaked\n")
    with pytest.raises(RegisterError, match="sector = 'Nroth': not among .*; nearest: North"):
        surveyed(tmp_path, "crag,sector,water\nAlder,Nroth,wet\n")
    with pytest.raises(RegisterError, match="'watr' is not used; did you mean water"):
        surveyed(tmp_path, "crag,sector,watr\nAlder,North,wet\n")


SURVEY_LOST = "LEFT OUT of survey s.csv: row 2 (water 'soaked')."


def test_every_output_of_an_assessment_says_first_what_was_left_out(tmp_path):
    found = surveyed(
        tmp_path, "crag,sector,water,Bemerkung\nAlder,North,soaked,\n", leave_out_refused=True
    )
    assert found.provenance["left_out"] == [SURVEY_LOST]
    assert found.provenance["assumptions"][0] == SURVEY_LOST
    note = "columns not used: 'Bemerkung'"
    assert found.provenance["survey"]["notes"] == [note]
    assert found.provenance["table_notes"] == [f"survey s.csv: {note}"]
    for table in (found.flat.anchors, found.flat.sectors, found.flat.crags):
        assert table["warnings"].str.startswith(SURVEY_LOST).all()
    assert found.flat.rejected["file"].tolist() == ["s.csv"]
    lines = summary_text(found, tmp_path).splitlines()
    assert lines[0] == SURVEY_LOST and f"note: survey s.csv: {note}" in lines
    assert next(line for line in lines if line.startswith("Rests on")).startswith(
        "Rests on: SO2 is taken as 2 ug/m3"
    )
    assert explain(found, "a").startswith(f"{SURVEY_LOST}\nAnchor a\n")
    assert 'id="left-out"' in map_of(found)
    sr.write_results(found, tmp_path / "out")
    for name in ("sectors.csv", "crags.csv"):
        caution = pd.read_csv(tmp_path / "out" / name)["caution"]
        assert caution.str.startswith(f"{SURVEY_LOST} {CAUTION}").all()
    land = 'crags = ["Alder"]\n[contact]\nperson = "x"\nphone = "112"\n'
    given = landowner(found, file(tmp_path, "h.toml", land))
    said = "Part of the data handed in could not be read and is left out."
    assert f'<p class="lead">{said} 1 to ' in given.page
    assert "s.csv" not in given.page and "soaked" not in given.page
    whole = surveyed(tmp_path, "crag,sector,water\nAlder,North,wet\n")
    assert said not in landowner(whole, file(tmp_path, "h.toml", land)).page
    assert "LEFT OUT" not in summary_text(whole, tmp_path)


PRICES = "item,metal,price,currency\nbonded,316,8,EUR\nbonded,titanium,cheap,EUR\n"


def test_a_refused_price_stops_or_is_left_out_aloud(assessed_demo, tmp_path):
    path = file(tmp_path, "p.csv", PRICES)
    with pytest.raises(OptionError, match=r"prices p.csv, row 3, price = 'cheap': not a number"):
        read_prices(path)
    found = read_prices(path, leave_out_refused=True)
    lost = "LEFT OUT of prices p.csv: row 3 (price 'cheap')."
    assert found.left_out == (lost,) and found.anchors == {("bonded", "316"): 8.0}
    with pytest.raises(OptionError, match="row 3"):
        sr.priorities(assessed_demo, 100, path)
    made = sr.priorities(assessed_demo, 100, path, leave_out_refused=True)
    assert made.left_out == [lost] and made.notes[0] == lost
    sr.write_priorities(made, tmp_path / "out")
    about = openpyxl.load_workbook(tmp_path / "out" / "priorities.xlsx")["About"]
    assert about.cell(2, 1).value == lost
    assert sum(lost in str(row[0].value) for row in about.iter_rows()) == 1
    for name in ("priorities", "shopping", "budget_curve"):
        table = pd.read_csv(tmp_path / "out" / f"{name}.csv")
        assert set(table["caution"]) <= {f"{lost} {CAUTION}"}
    record = json.loads((tmp_path / "out" / "priorities.json").read_text(encoding="utf-8"))
    assert next(iter(record)) == "left_out" and record["left_out"] == [lost]


def test_the_notes_of_prices_are_said_and_recorded(assessed_demo, tmp_path):
    path = file(tmp_path, "p.csv", "item,metal,Preis,price,supplier\nbonded,316,1,8,x\n")
    made = sr.priorities(assessed_demo, 100, path)
    assert "prices p.csv: columns not used: 'Preis', 'supplier'" in made.figures["notes"]


def test_tables_of_which_every_row_is_needed_leave_none_out(tmp_path):
    text = "rock_temperature_c,gel_min,cure_min\n5,10,100\n10,x,60\n20,5,50\n25,y,40\n"
    with pytest.raises(OptionError) as caught:
        read_cure_table(file(tmp_path, "d.csv", text))
    assert str(caught.value).splitlines()[0] == "data sheet d.csv: 2 of 4 rows refused:"
    with pytest.raises(LayerError, match="rock mapping m.csv, row 2, lithology = 'cheese'"):
        read_rock_mapping(file(tmp_path, "m.csv", "code,lithology\n1,cheese\n"))


def test_the_notes_of_a_data_sheet_and_a_rock_mapping_are_said(tmp_path):
    text = "rock_temperature_c,gel_min,cure_min,Lot\n5,10,100,a\n20,5,50,a\n"
    sheet = read_cure_table(file(tmp_path, "d.csv", text))
    assert sheet.notes == ("data sheet d.csv: columns not used: 'Lot'",)
    mapping = file(tmp_path, "m.csv", "code,lithology,colour\n1,granite,red\n")
    found = surveyed(
        tmp_path, "crag,sector,water\nAlder,North,wet\n", rock_mapping_file=str(mapping)
    )
    note = "rock mapping m.csv: columns not used: 'colour'"
    assert found.provenance["table_notes"] == [note]
    assert f"note: {note}" in summary_text(found, tmp_path).splitlines()


def test_the_files_of_an_assessment_are_all_read_before_it_begins(tmp_path):
    steps = []
    register = sr.read_register(file(tmp_path, "own.csv", REGISTER))
    options = Options(
        survey_file=str(tmp_path / "none.csv"), policy_file=str(tmp_path / "none.toml"),
        prices_file=str(file(tmp_path, "p.csv", PRICES)),
        rock_mapping_file=str(file(tmp_path, "m.csv", "code,lithology\n1,cheese\n")),
    )  # fmt: skip
    with pytest.raises(OptionError) as caught:
        sr.assess(register, options, on_step=steps.append)
    said = str(caught.value)
    assert said.startswith("4 of the files cannot be used:\n  policy file ")
    assert "\n  prices p.csv, row 3, price = 'cheap'" in said
    assert "\n  rock mapping m.csv, row 2" in said and "none.csv: no such file" in said
    assert steps == ["tables beside the register"]


def test_a_folder_in_place_of_a_table_is_said(tmp_path):
    with pytest.raises(RegisterError) as caught:
        read_table(tmp_path, tables.WINDOWS)
    assert str(caught.value) == f"windows {tmp_path}: this is a folder; give a file of the table"


def test_a_record_of_a_table_is_short(tmp_path):
    sheet = teams.read_windows(file(tmp_path, "w.csv", HEAD + "A,,,02-01,07-31\n"))
    assert dataclasses.replace(sheet, table=None).name == "w.csv"
    assert "Table(" not in repr(sheet)


def test_a_plan_that_begins_before_the_assessment_is_said(result, tmp_path):
    note = (
        "the plan begins on 2026-12-31, before the day of the assessment (2027-01-01): it knows no "
        "visit and no risk of that time"
    )
    assert note in planned(result, tmp_path, start="2026-12-31").notes
    assert not any("begins on" in n for n in planned(result, tmp_path, start="2027-01-01").notes)


def test_a_rebolting_list_of_another_region_is_told_the_nearest(result, tmp_path):
    text = "crag,sector,chosen,anchors_to_replace\nCrag 0,Sektor 0,yes,3\n"
    with pytest.raises(OptionError) as caught:
        planned(result, tmp_path, rebolt=file(tmp_path, "r.csv", text))
    assert str(caught.value) == (
        "rebolting list: Crag 0 / Sektor 0 is not among the sectors assessed; nearest: "
        "Crag 0 / Sector 0, Crag 0 / Sector 1, Crag 1 / Sector 3"
    )
