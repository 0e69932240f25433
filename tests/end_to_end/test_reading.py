"""Files as people keep them, through the command: said before, doubted, refused, cleaned."""

import json
from pathlib import Path

import openpyxl
import pandas as pd

MESSY = Path(__file__).parents[1] / "messy"
DEMO = Path(__file__).parents[2] / "data" / "demo"


def test_a_volunteer_s_sheet_is_assessed_whole_and_what_is_in_doubt_is_listed(saltreach, tmp_path):
    out = tmp_path / "out"
    done = saltreach("assess", MESSY / "everything.csv", "--out", out, "--today", "2026-11-25")
    assert done.returncode == 1, done.stderr  # one anchor has no position
    said = done.stderr.splitlines()
    read = said.index("How the register was read, all of it: saltreach check:")
    assert read < said.index("saltreach: coast ...")
    assert "  2 title rows above the headers left out ('Alpenverein Sektion Nebelheim'); the " \
        "headers are in row 4" in said[read:]  # fmt: skip
    assert f"5 cells are unknown or in doubt: see {out / 'notes.csv'}." in done.stdout
    notes = pd.read_csv(out / "notes.csv")
    assert list(notes.columns) == ["file", "row", "column", "value", "reason", "fix"]
    assert notes[["row", "column", "value"]].values.tolist() == [
        [8, "embedment_mm", "~ 95"], [9, "installed_on", "ca. 1995"], [12, "kind", "Magnet"],
        [12, "embedment_mm", "70-80"], [12, "installed_on", "vor 1990"],
    ]  # fmt: skip
    assert pd.read_csv(out / "rejected.csv")["row"].tolist() == [15]
    record = json.loads((out / "provenance.json").read_text(encoding="utf-8"))["register"]
    assert (record["rows"], record["accepted"], record["cells_in_doubt"]) == (7, 6, 5)
    anchors = pd.read_parquet(out / "anchors.parquet", columns=["anchor_id", "embedment_mm"])
    assert anchors["embedment_mm"].fillna(0).tolist() == [100, 95, 75, 75, 0, 100]
    strict = saltreach("assess", MESSY / "everything.csv", "--out", out, "--strict", "--json",
                       "--today", "2026-11-25")  # fmt: skip
    assert json.loads(strict.stdout)["anchors"] == 3
    assert not (out / "notes.csv").exists()


def test_the_order_of_dates_is_asked_for_and_taken(saltreach, tmp_path):
    file = tmp_path / "a.csv"
    file.write_text("anchor_id,crag,sector,lon,lat,installed_on\n1,C,S,-4.95,43.44,03/04/2009\n")
    open_ = saltreach("check", file)
    assert open_.returncode == 0
    assert "the year is kept; write 2009-04-03 or 2009-03-04, or say the order of the file's " \
        "dates (--date-order day-first)" in open_.stdout  # fmt: skip
    told = saltreach("check", file, "--date-order", "month-first", "--json")
    assert json.loads(told.stdout)["understood"][5]["examples"] == "2009-03-04"
    wrong = saltreach("check", file, "--date-order", "backwards")
    assert wrong.returncode == 2


def test_check_writes_a_clean_copy_beside_and_never_over(saltreach, tmp_path):
    source = MESSY / "units_in_cells.csv"
    copy = tmp_path / "clean.xlsx"
    done = saltreach("check", source, "--clean", copy)
    assert done.returncode == 0 and f"clean copy: {copy}" in done.stderr
    again = saltreach("check", copy)
    assert again.returncode == 0
    assert "note:" not in again.stdout and "in doubt: row" not in again.stdout
    before = copy.read_bytes()
    over = saltreach("check", source, "--clean", copy)
    assert over.returncode == 2 and "nothing is overwritten" in over.stderr
    assert copy.read_bytes() == before
    itself = saltreach("check", copy, "--clean", copy)
    assert itself.returncode == 2 and copy.read_bytes() == before
    assert openpyxl.load_workbook(copy).sheetnames == ["register"]


def test_every_kind_of_file_is_checked(saltreach, tmp_path):
    for file in ("windows.csv", "teams.csv", "policy.toml", "holding.toml"):
        done = saltreach("check", DEMO / file)
        assert done.returncode == 0, done.stderr
    (tmp_path / "w.csv").write_text("crag,from,until\nC,2027-01-01,soon\n")
    bad = saltreach("check", tmp_path / "w.csv", "--as", "windows")
    assert bad.returncode == 1
    assert "refused: row 2, until = 'soon': not a date" in bad.stdout
    nothing = saltreach("check", tmp_path / "w.csv", "--as", "windws")
    assert nothing.returncode == 2 and "did you mean windows?" in nothing.stderr


def test_a_map_is_a_page_and_never_replaces_results(saltreach, demo):
    for name in ("anchors.parquet", "sectors.csv", "saltreach.gpkg"):
        file = demo[0] / name
        before = file.read_bytes()
        done = saltreach("map", demo[0], "--out", file)
        assert done.returncode == 2 and "the map is a page; name it .html" in done.stderr
        assert file.read_bytes() == before


def test_a_visit_that_is_still_ahead_is_not_done(saltreach, demo, tmp_path):
    sector = pd.read_csv(demo[0] / "sectors.csv").iloc[0]
    done = tmp_path / "done.csv"
    done.write_text(f"crag,sector,done_on\n{sector['crag']},{sector['sector']},2099-01-01\n")
    refused = saltreach("plan", demo[0], "--teams", DEMO / "teams.csv", "--done", done,
                        "--seconds", "0", "--out", tmp_path / "out")  # fmt: skip
    assert refused.returncode == 2
    assert "done.csv, row 2, done_on = '2099-01-01': in the future" in refused.stderr


def test_a_plan_reads_a_register_as_an_assessment_does(saltreach, tmp_path):
    file = tmp_path / "a.csv"
    file.write_text(
        "Bolt,Rock wall,sector,lon,lat,installed\n1,C,S,-4.95,43.44,03/04/2009\n"
        "2,C,S,-4.9501,43.44,04/05/2009\n"
    )
    given = ("plan", file, "--teams", DEMO / "teams.csv", "--seconds", "0", "--from",
             "2027-01-02", "--out", tmp_path / "plan")  # fmt: skip
    assert saltreach(*given).returncode == 2
    done = saltreach(
        *given, "--column", "anchor_id=Bolt", "--column", "crag=Rock wall", "--date-order",
        "day-first",
    )  # fmt: skip
    assert done.returncode == 0, done.stderr
    assert "read day-first, as asked" in done.stderr
    results = tmp_path / "plan"
    wrong = saltreach("plan", results, "--teams", DEMO / "teams.csv", "--strict", "--out",
                      tmp_path / "other")  # fmt: skip
    assert wrong.returncode == 2
