"""Tables beside the register: good rows go on, bad ones are listed with the fix."""

import datetime as dt

import openpyxl
import pytest

from saltreach.errors import RegisterError
from saltreach.intake.sheets import refuse_unknown
from saltreach.intake.teams import (
    read_done,
    read_needs,
    read_teams,
    read_tides,
    read_travel,
    read_windows,
)
from saltreach.vocabulary.columns import REJECTED_COLUMNS

TEAMS = "team,lon,lat,people,skills,days_free,away,starts,hours_per_day\n"


def write(path, text):
    path.write_text(text, encoding="utf-8")
    return path


def test_a_team_is_read_with_its_defaults(tmp_path):
    text = TEAMS + "West,-6.6,43.4,,Rope  Access; rebolting,1SA sun,2027-08-01..2027-08-31,08:30,\n"
    sheet = read_teams(write(tmp_path / "teams.csv", text))
    (team,) = sheet.rows
    assert team["people"] == 2 and team["hours_per_day"] == 8.0 and team["starts"] == 510
    assert team["skills"] == ("rope access", "rebolting")
    assert team["days_free"] == ("1SA", "SU")
    assert team["away"] == ((dt.date(2027, 8, 1), dt.date(2027, 8, 31)),)
    assert sheet.rejected.empty and team["row"] == 2


@pytest.mark.parametrize(
    ("cells", "column", "reason"),
    [
        ("West,-6.6,143.4,2,,SA,,,8", "lat", "not in -90..90"),
        ("West,-6.6,,2,,SA,,,8", "lat", "missing"),
        ("West,-6.6,43,2.5,,SA,,,8", "people", "not a whole number"),
        ("West,-6.6,43,two,,SA,,,8", "people", "not a number"),
        ("West,-6.6,43,2,,someday,,,8", "days_free", "'someday' is not a weekday"),
        ("West,-6.6,43,2,,SA,01/02/2027,,8", "away", "day and month can be read both ways"),
        ("West,-6.6,43,2,,SA,2027-02-30,,8", "away", "not a date"),
        ("West,-6.6,43,2,,SA,2027-03-02..2027-03-01,,8", "away",
         "2027-03-02..2027-03-01 ends before it begins"),
        ("West,-6.6,43,2,,SA,,25:00,8", "starts", "not a time of day"),
        ("West,-6.6,43,2,,SA,,20:00,8", "", "the day ends after midnight"),
    ],
)  # fmt: skip
def test_a_bad_cell_is_listed_with_its_row_and_fix(tmp_path, cells, column, reason):
    good = "East,-4,43,2,,SA,,,8\n"
    sheet = read_teams(write(tmp_path / "teams.csv", TEAMS + good + cells + "\n"))
    assert [t["team"] for t in sheet.rows] == ["East"]
    assert tuple(sheet.rejected.columns) == REJECTED_COLUMNS
    (problem,) = sheet.rejected.to_dict("records")
    assert (problem["file"], problem["row"]) == ("teams.csv", 3)
    assert problem["reason"] == reason and problem["fix"]
    if column:
        assert problem["column"] == column


def test_a_team_given_twice_is_refused(tmp_path):
    rows = "West,-6,43,2,,SA,,,8\nwest,-6,43,2,,SU,,,8\n"
    sheet = read_teams(write(tmp_path / "teams.csv", TEAMS + rows))
    assert len(sheet.rows) == 1
    assert sheet.rejected["reason"].tolist() == ["already given in row 2"]


@pytest.mark.parametrize(
    ("cells", "reason"),
    [
        ("C,,closed,02-01,2027-07-31,", "one day repeats and the other is dated"),
        ("C,,closed,2027-07-31,2027-02-01,", "it ends before it begins"),
        ("C,,closed,13-01,07-31,", "not a date"),
        ("C,,ajar,02-01,07-31,", "not one of the words of access"),
    ],
)
def test_impossible_windows_are_refused(tmp_path, cells, reason):
    head = "crag,sector,access,from,until,reason\n"
    good = "C,,open-only,11-15,02-15,winter\n"
    sheet = read_windows(write(tmp_path / "w.csv", head + good + cells + "\n"))
    assert [w["access"] for w in sheet.rows] == ["open only"]
    assert sheet.rejected["reason"].tolist() == [reason]


def test_other_tables_are_read(tmp_path):
    tides = read_tides(write(tmp_path / "t.csv", "crag,sector,date,from,until\nC,S,2027-05-02,10:30,14:00\nC,S,2027-05-03,14:00,10:30\n"))  # noqa: E501  # fmt: skip
    assert (tides.rows[0]["from"], tides.rows[0]["until"]) == (630, 840)
    assert tides.rejected["reason"].tolist() == ["it ends before it begins"]
    needs = read_needs(write(tmp_path / "n.csv", "crag,skills,people\nC,rope access,3\n"))
    assert needs.rows[0]["skills"] == ("rope access",) and needs.rows[0]["sector"] == ""
    legs = read_travel(write(tmp_path / "v.csv", "from;to;hours\nA;C;1,5\n"))
    assert legs.rows[0]["hours"] == 1.5
    done = read_done(write(tmp_path / "d.csv", "crag,sector,done_on,kind\nC,S,2027-05-02,rebolt\nC,S,2027-05-02,look\n"))  # noqa: E501  # fmt: skip
    assert done.rows[0]["kind"] == "rebolt" and len(done.rejected) == 1


def test_unknown_places_are_refused_with_the_nearest(tmp_path):
    text = "crag,sector,from,until\nPunta  VELLORIO,,02-01,07-31\nPunta Velorio,,02-01,07-31\nPunta Vellorio,Arc,02-01,07-31\n"  # noqa: E501
    sheet = refuse_unknown(
        read_windows(write(tmp_path / "w.csv", text)), {"Punta Vellorio": {"Arch", "Grey slab"}}
    )
    assert [w["crag"] for w in sheet.rows] == ["Punta Vellorio"]
    assert sheet.rejected["row"].tolist() == [3, 4]
    assert "nearest: Punta Vellorio" in sheet.rejected["fix"].iloc[0]
    assert "nearest: Arch" in sheet.rejected["fix"].iloc[1]


def test_a_workbook_sheet_of_that_name_is_read(tmp_path):
    book = openpyxl.Workbook()
    book.active.title = "notes"
    page = book.create_sheet("Teams")
    page.append(["Team", "Lon", "Lat", "Days free"])
    page.append(["West", -6.5, 43.25, "SA"])
    book.save(tmp_path / "all.xlsx")
    assert read_teams(tmp_path / "all.xlsx").rows[0]["lat"] == 43.25
    with pytest.raises(RegisterError, match="no sheet is named 'windows'"):
        read_windows(tmp_path / "all.xlsx")


@pytest.mark.parametrize(
    ("name", "text", "says"),
    [
        ("t.csv", "", "empty"),
        ("t.csv", "team,lat\nA,1\n", "no column lon and days_free"),
        ("t.csv", "team,Team,lon,lat,days_free\nA,A,1,1,SA\n", "both mean team"),
        ("t.doc", "team\n", "give one of .csv, .tsv, .txt, .xlsx, .xlsm"),
    ],
)
def test_a_useless_file_is_an_error_in_one_sentence(tmp_path, name, text, says):
    with pytest.raises(RegisterError, match=says):
        read_teams(write(tmp_path / name, text))
    with pytest.raises(RegisterError, match="no such file"):
        read_teams(tmp_path / "absent.csv")


def test_cells_and_headers_are_read_as_the_register_s(tmp_path):
    text = "Cliff;Secteur;people;access hours;Skills\nC;S;;0,5;\nC;T;3;1,500;x\nC;U;3 people;;\n"
    path = tmp_path / "n.csv"
    path.write_bytes(text.encode("utf-16"))
    sheet = read_needs(path)
    row, other = sheet.rows
    assert (row["crag"], row["sector"]) == ("C", "S")
    assert (row["people"], row["access_hours"]) == (1, 0.5)
    assert other["access_hours"] == 1.5  # 1500 hours of walking cannot be
    reasons = dict(zip(sheet.rejected["row"], sheet.rejected["reason"], strict=True))
    assert "more than a number" in reasons[4]
    assert (sheet.rows_read, sheet.record()["rejected"]) == (3, 1)


def test_a_row_with_too_many_cells_is_listed_and_the_others_go_on(tmp_path):
    text = "from,to,hours\nA,B,1\nA,C,2,3\nB,C,2\n"
    sheet = read_travel(write(tmp_path / "t.csv", text))
    assert [row["hours"] for row in sheet.rows] == [1, 2]
    assert sheet.rejected["row"].tolist() == [3]
    assert "4 cells" in sheet.rejected["reason"].iloc[0]


def test_a_word_of_another_table_is_no_word_of_this_one(tmp_path):
    sheet = read_done(write(tmp_path / "d.csv", "crag,done_on,kind\nC,2027-05-02,glue-in\n"))
    assert sheet.rejected["fix"].str.startswith("use one of: inspect, rebolt").all()


def test_places_that_differ_in_punctuation_only_stay_apart(tmp_path):
    text = "crag,sector,people\nC,Wall-1,3\nC,Wall 1,4\nc,WALL.1,5\n"
    sheet = read_needs(write(tmp_path / "n.csv", text))
    found = refuse_unknown(sheet, {"C": {"Wall 1", "Wall-1"}})
    assert [(r["sector"], r["people"]) for r in found.rows][:2] == [("Wall-1", 3), ("Wall 1", 4)]
