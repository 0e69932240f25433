"""What a file is taken for, and the clean copy of it (own rules)."""

import datetime as dt
import errno
import os
import re
from pathlib import Path

import openpyxl
import pandas as pd
import pytest

from saltreach.errors import OptionError, OutputError, SaltreachError
from saltreach.intake import read_register
from saltreach.intake.cells import READERS, Refused, day, season_day, text_of
from saltreach.intake.checked import checked
from saltreach.intake.kinds import KINDS, kinds_in
from saltreach.intake.own_results import said_of_results
from saltreach.intake.survey import read_survey
from saltreach.intake.tables import TABLES
from saltreach.intake.teams import read_done
from saltreach.outputs.check import check_lines, write_clean
from saltreach.vocabulary.columns import columns_of

DEMO = Path(__file__).parents[2] / "data" / "demo"
MESSY = Path(__file__).parents[1] / "messy"


@pytest.mark.parametrize(
    ("file", "kind"),
    [
        ("anchors.csv", "register"), ("sectors_survey.csv", "survey"), ("teams.csv", "teams"),
        ("windows.csv", "windows"), ("tides.csv", "tides"), ("needs.csv", "needs"),
        ("travel.csv", "travel"), ("done.csv", "done"), ("data_sheet.csv", "data_sheet"),
        ("rock_mapping.csv", "rock_mapping"), ("prices.toml", "prices"),
        ("policy.toml", "policy"), ("options.toml", "options"), ("holding.toml", "holding"),
    ],
)  # fmt: skip
def test_a_file_is_known_by_its_columns_whatever_its_name(tmp_path, file, kind):
    assert kinds_in(DEMO / file) == [kind]
    if file.endswith(".csv"):
        other = tmp_path / "a.csv"
        other.write_bytes((DEMO / file).read_bytes())
        assert kinds_in(other) == [kind]


def test_each_sheet_of_a_workbook_that_is_named_as_a_table_is_one(tmp_path):
    book = openpyxl.Workbook()
    for title, file in (("our bolts", "anchors.csv"), ("Teams", "teams.csv"), ("x", None)):
        sheet = book.create_sheet(title)
        for row in pd.read_csv(DEMO / file, dtype=str).fillna("").head(3).to_csv(
            index=False
        ).splitlines() if file else ["hello"]:  # fmt: skip
            sheet.append(row.split(","))
    book.save(tmp_path / "all.xlsx")
    assert kinds_in(tmp_path / "all.xlsx") == ["register", "teams"]


@pytest.mark.parametrize("name", ["headers_de.csv", "two_header_lines.csv", "one_cell.csv",
                                  "lambert93.csv", "everything.csv"])  # fmt: skip
def test_messy_registers_are_known_as_such(name):
    assert kinds_in(MESSY / name) == ["register"]


def test_what_fits_nothing_is_said(tmp_path):
    (tmp_path / "a.csv").write_text("colour,size\nred,2\n")
    with pytest.raises(OptionError, match="has the columns of none of the tables; say what it is"):
        kinds_in(tmp_path / "a.csv")
    (tmp_path / "a.toml").write_text("colour = 1\n")
    with pytest.raises(OptionError, match="it holds no setting of ours"):
        kinds_in(tmp_path / "a.toml")
    with pytest.raises(OptionError, match="no file is 'windws'; did you mean windows"):
        kinds_in(tmp_path / "a.csv", "windws")
    assert kinds_in(tmp_path / "a.csv", "teams") == ["teams"]
    assert {table.name for table in TABLES} < set(KINDS)


def clean(tmp_path, source, kind, **reading):
    found = checked(source, kind, **reading)
    file = tmp_path / "clean.xlsx"
    return found, file, write_clean([found], file)


@pytest.mark.parametrize("name", ["everything.csv", "units_in_cells.csv", "month_names.csv",
                                  "utm_columns.csv", "headers_it.csv",
                                  "vague_dates.csv"])  # fmt: skip
def test_the_clean_copy_of_a_messy_register_reads_without_a_note(tmp_path, name):
    found, file, left = clean(tmp_path, MESSY / name, "register")
    again = checked(file, "register")
    assert (again.notes, len(again.rejected), len(again.doubts)) == ((), 0, 0)
    assert again.accepted == found.accepted == again.rows
    assert left == (
        [f"{found.rejected['row'].nunique()} refused rows are not in the copy"]
        * bool(len(found.rejected))
    ) or "not used" in left[0]  # fmt: skip
    columns = list(found.clean.columns)
    for column in columns:
        ours, theirs = found.clean[column].tolist(), again.clean[column].tolist()
        if column in ("lon", "lat"):
            assert theirs == pytest.approx(ours, abs=1e-9)
        else:
            assert theirs == ours, column


@pytest.mark.parametrize("table", TABLES, ids=lambda table: table.name)
def test_the_clean_copy_of_each_table_reads_as_the_table(tmp_path, table):
    own = {"survey": "sectors_survey.csv"}
    source = DEMO / own.get(table.name, f"{table.name}.csv")
    if not source.exists():
        pytest.skip(f"the demo has no {table.name}.csv")
    found, file, left = clean(tmp_path, source, table.name)
    again = checked(file, table.name)
    assert left == [] and again.notes == ()
    pd.testing.assert_frame_equal(again.clean, found.clean)
    assert again.accepted == found.accepted > 0


def test_a_clean_copy_never_replaces_a_file_and_guards_formulas(tmp_path):
    source = tmp_path / "a.csv"
    source.write_text('anchor_id,crag,sector,lon,lat,notes\n007,C,S,0.5,41,"=1+1"\n')
    _, file, _ = clean(tmp_path, source, "register")
    cells = [cell.value for cell in openpyxl.load_workbook(file)["register"][2]]
    assert cells == ["007", "C", "S", 0.5, 41, "=1+1"]
    formula = openpyxl.load_workbook(file)["register"]["F2"]
    assert (formula.data_type, formula.quotePrefix) == ("s", True)  # text, never run
    assert checked(file, "register").notes == ()
    assert checked(file, "register").clean["notes"].tolist() == ["=1+1"]
    with pytest.raises(OutputError, match="is there already, and nothing is overwritten"):
        write_clean([checked(source, "register")], file)
    with pytest.raises(OutputError, match=r"name it \.xlsx"):
        write_clean([checked(source, "register")], tmp_path / "a.csv")
    with pytest.raises(OutputError, match="settings need no clean copy"):
        write_clean([checked(DEMO / "policy.toml", "policy")], tmp_path / "b.xlsx")


def test_a_clean_copy_on_a_full_disk_names_its_own_option(tmp_path, monkeypatch):
    source = tmp_path / "a.csv"
    source.write_text("anchor_id,crag,sector,lon,lat\n1,C,S,0.5,41.2\n")

    def full(*_):
        raise OSError(errno.ENOSPC, "No space left on device")

    monkeypatch.setattr(os, "fsync", full)
    file = tmp_path / "b.xlsx"
    with pytest.raises(OutputError) as caught:
        write_clean([checked(source, "register")], file)
    assert str(caught.value) == (
        f"{file} cannot be written: the disk is full; make room there, or give another --clean"
    )
    assert [path.name for path in tmp_path.iterdir()] == ["a.csv"]


@pytest.mark.parametrize(
    ("table", "says"),
    [
        ("sectors", "sectors of an assessment); give the file it was made from"),
        ("unmet", "what a plan could not meet); give the file it was made from"),
        ("plan", "a plan); what is planned is not done yet: give the visits done, with done_on"),
    ],
)
def test_a_result_of_ours_is_no_table_of_the_users(tmp_path, table, says):
    """A plan once passed for visits done. Eight in ten of the columns are enough (judgement)."""
    columns = list(columns_of(table))
    file = tmp_path / "x.csv"
    file.write_text(",".join(columns[: -(len(columns) // 5) or None]) + "\n")
    with pytest.raises(
        SaltreachError, match=re.escape(f"x.csv: this is a result of saltreach ({says}")
    ):
        kinds_in(file)
    for read in (read_register, read_done, read_survey):
        with pytest.raises(SaltreachError) as caught:
            read(file)
        assert str(caught.value).endswith(says)
    assert said_of_results(columns[: len(columns) * 3 // 4]) == ""


def test_anchors_and_a_sheet_with_the_days_filled_in_are_read(tmp_path):
    cells = dict.fromkeys(columns_of("plan"), "") | {"crag": "C", "kind": "inspect"}
    file = tmp_path / "x.csv"
    pd.DataFrame([cells | {"done_on": "2026-11-20"}]).to_csv(file, index=False)
    assert read_done(file).rows[0]["done_on"] == dt.date(2026, 11, 20)
    place = {"anchor_id": "1", "crag": "C", "sector": "S", "lon": 1, "lat": 41}
    pd.DataFrame([dict.fromkeys(columns_of("anchors"), "") | place]).to_csv(file, index=False)
    assert kinds_in(file) == ["register"]
    assert len(read_register(file).anchors) == 1


def test_a_check_says_what_would_stop_a_plan(tmp_path):
    source = tmp_path / "w.csv"
    source.write_text("crag,acess,from,until\nVega,closed,02-01,07-31\n")
    found = checked(source, "windows")
    said = "column 'acess' is not used; did you mean access? Rename or remove it"
    assert found.stops == (said,) == tuple(found.record()["stops"])
    assert f"  stops the commands that read it: {said}" in check_lines(found)
    assert checked(DEMO / "windows.csv", "windows").stops == ()


def test_what_a_check_prints(tmp_path):
    source = tmp_path / "a.csv"
    source.write_text(
        "Nr;crag;sector;lon;lat;Tiefe (cm);colour\n1;C;S;0,5;41,2;9;red\n2;;T;0,5;41,2;x;red\n"
        "3;C;S;0,5;41,2;x;\n"
    )
    lines = check_lines(checked(source, "register"))
    assert lines[0] == "a.csv, read as register: 3 rows, 2 good, 1 refused, 1 cells in doubt"
    assert (
        "  'Tiefe (cm)' = embedment_mm [mm], installed length in the rock; 33.3 %: 90 (1 cell "
        "written in cm, as the header says, read in mm)" in lines
    )
    assert "  'colour' = not used; 66.7 %: red" in lines
    assert "  refused: row 3, crag = '': missing; give the crag the anchor belongs to" in lines
    doubt = [line for line in lines if line.startswith("  in doubt: row 4, embedment_mm = 'x'")]
    assert len(doubt) == 1 and "not a number" in doubt[0]
    assert check_lines(checked(DEMO / "policy.toml", "policy")) == [
        "policy.toml: policy settings, nothing is wrong with them"
    ]


@pytest.mark.parametrize(
    ("text", "value"),
    [("2027-08-01", (2027, 8, 1)), ("1.8.2027", (2027, 8, 1)), ("31/08/2027", (2027, 8, 31)),
     ("08/31/2027", (2027, 8, 31)), ("2027/8/1", (2027, 8, 1)),
     ("2027-08-01 00:00:00", (2027, 8, 1)),
     ("05/05/2027", (2027, 5, 5))],
)  # fmt: skip
def test_days_with_one_reading(text, value):
    assert day(text) == dt.date(*value)


@pytest.mark.parametrize(
    ("text", "reason"),
    [("01/08/2027", "day and month can be read both ways"), ("31.2.2027", "not a date"),
     ("13/13/2027", "not a date"), ("1.8.27", "not a date"), ("August", "not a date")],
)  # fmt: skip
def test_days_without_one_are_refused(text, reason):
    with pytest.raises(Refused, match=reason):
        day(text)


def test_days_of_each_year():
    assert season_day("15.11.") == season_day("11-15") == season_day("15/11") == "11-15"
    assert season_day("11/15") == "11-15"
    with pytest.raises(Refused, match="both ways"):
        season_day("10/11")
    with pytest.raises(Refused):
        season_day("11.15.")


def test_a_contact_is_checked_without_a_land(tmp_path):
    file = tmp_path / "us.toml"
    file.write_text('[contact]\norganisation = "Us"\nphone = "+44 1632 960123"\n')
    assert kinds_in(file) == ["holding"]
    assert checked(file, "holding").accepted == 1
    file.write_text('[contact]\nphone = "call me"\n')
    with pytest.raises(OptionError, match="us.toml: contact.phone = 'call me'"):
        checked(file, "holding")


def test_every_value_is_read_again_from_its_text():
    cells = {"days": "2027-08-01..2027-08-31; 2027-10-01..2027-10-01", "time": "09:30",
             "weekdays": "SA 1SU", "words": "rope access; rebolting", "text": "a b",
             "day": "2027-08-01", "season day": "11-15", "code": "12"}  # fmt: skip
    for table in TABLES:
        for column in table.columns.values():
            if column.kind in cells:
                value = READERS[column.kind](cells[column.kind])
                assert READERS[column.kind](text_of(value, column)) == value, column.name
