"""What a table that limits does not use, and might be a limit: it stops, or is said (own rules)."""

import datetime as dt

import openpyxl
import pandas as pd
import pytest

import saltreach as sr
from saltreach.errors import OptionError, SaltreachError
from saltreach.intake import read_register, teams
from saltreach.intake.prices import read_prices
from saltreach.intake.survey import read_survey
from saltreach.intake.workbook import hides_year
from saltreach.layers.embedded import embedded_file
from saltreach.vocabulary.columns import columns_of

HEAD = ["crag", "sector", "access", "from", "until"]
CLOSED = ["Vega Tormal", None, "closed"]


def file(tmp_path, text, name="t.csv"):
    path = tmp_path / name
    path.write_text(text, encoding="utf-8")
    return path


def book(tmp_path, sheets, shown=None):
    made = openpyxl.Workbook()
    made.remove(made.active)
    for title, rows in sheets.items():
        sheet = made.create_sheet(title)
        for row in rows:
            sheet.append(row)
            for cell in sheet[sheet.max_row]:
                if shown and isinstance(cell.value, dt.date):
                    cell.number_format = shown
    made.save(tmp_path / "b.xlsx")
    return tmp_path / "b.xlsx"


@pytest.mark.parametrize(
    ("text", "column", "hint"),
    [
        ("crag,Status,from,until\nVega,open only,08-01,01-31\n", "Status", "did you mean access?"),
        ("crag,k,from,until\nVega,gesperrt,08-01,01-31\n", "k", "did you mean access?"),
        ("crag,from,until,from 2\nVega,01-01,01-02,10-01\n", "from 2", "a second from belongs in"),
        ("crag,from,until,von II\nVega,01-01,01-02,x\n", "von II", "a second from belongs in"),
        ("crag,from,until,days\nVega,01-01,01-02,30\n", "days", "its numbers may be a limit."),
        ("crag,from,until,since\nVega,01-01,01-02,1.9.2027\n", "since", "its numbers may be"),
        ("crag,from,until,hrs\nA,01-01,01-02,5 h\nB,01-01,01-02,x\n", "hrs", "its numbers may be"),
    ],
)
def test_a_column_that_may_hold_a_limit_is_not_passed_over(tmp_path, text, column, hint):
    sheet = teams.read_windows(file(tmp_path, text))
    assert [(near.what, near.hint[: len(hint)]) for near in sheet.near] == [
        (f"column {column!r}", hint)
    ]


@pytest.mark.parametrize(
    "more",
    ["Why,birds", "tel,0612345678", "Nr.,7", "Telefon,12345", "elevation_m,400", "notes,12",
     "empty,", "days,thirty"],
)  # fmt: skip
def test_a_column_that_says_nothing_of_limits_is_only_said(tmp_path, more):
    header, cell = more.split(",")
    sheet = teams.read_windows(
        file(tmp_path, f"crag,from,until,{header}\nVega,01-01,01-02,{cell}\n")
    )
    assert len(sheet.rows) == 1 and sheet.near == ()


def test_numbers_beside_what_was_seen_or_done_stop_nothing(tmp_path):
    survey = read_survey(file(tmp_path, "crag,sector,water,metres\nA,N,dry,12\n"))
    done = teams.read_done(file(tmp_path, "crag,done_on,hours\nA,2026-11-20,2\n"))
    assert survey.near == done.near == ()


def test_another_sheet_of_the_same_table_stops(tmp_path):
    rows = [HEAD, [*CLOSED, "01-01", "01-02"]]
    sheet = teams.read_windows(book(tmp_path, {"windows": rows, "closures 2": rows, "teams": rows}))
    assert [near.what for near in sheet.near] == ["sheet 'closures 2'"]
    assert "sheet 'windows' read; the other sheets were not: 'closures 2', 'teams'" in sheet.notes
    sheet = teams.read_windows(book(tmp_path, {"windows": rows, "hints": [["crag"], ["A"]]}))
    assert sheet.near == ()
    assert len(teams.read_windows(book(tmp_path, {"Shut": rows, "hints": [["x"]]})).rows) == 1


def test_a_day_that_shows_no_year_is_one_of_every_year(tmp_path):
    """A typed `1.2.` is a date of that year to a spreadsheet."""
    rows = [HEAD, [*CLOSED, dt.datetime(2026, 2, 1), dt.datetime(2026, 7, 31)]]
    sheet = teams.read_windows(book(tmp_path, {"w": rows}, "DD. MMM"))
    assert [(row["from"], row["until"]) for row in sheet.rows] == [("02-01", "07-31")]
    assert sheet.notes == (
        "2 dates that show no year read without one: the spreadsheet took the year in which they "
        "were typed",
    )
    sheet = teams.read_windows(book(tmp_path, {"w": rows}, "DD.MM.YY"))
    assert (sheet.rows[0]["from"], sheet.notes) == ("2026-02-01", ())
    place = ["anchor_id", "crag", "sector", "lon", "lat", "installed_on"]
    made = book(tmp_path, {"r": [place, ["1", "C", "S", 1, 41, dt.datetime(2026, 2, 1)]]}, "d-mmm")
    found = read_register(made)
    assert pd.isna(found.anchors["installed_on"][0])
    assert found.doubts["value"].tolist() == ["02-01"]
    assert hides_year("[$-407]d/ mmm;@") and not hides_year('d-mmm "y"yy') and not hides_year("0")


def planned(result, folder, **tables):
    given = {"teams": embedded_file("demo/teams.csv")} | {
        name: file(folder, text, f"{name}.csv") for name, text in tables.items()
    }
    return sr.plan(result, start="2026-12-01", years=1, seconds=0, **given)


def test_what_limits_nothing_or_lets_nobody_come_is_said(assessed_demo, tmp_path):
    made = planned(
        assessed_demo,
        tmp_path,
        windows="crag,from,until\nVega Tormal,2026-02-01,2026-11-30\n"
        "Vega Tormal,2026-02-01,2026-12-01\nVega Tormal,02-01,07-31\n",
        tides="crag,date,from,until\n",
        needs="crag,sector,skills\nVega Tormal,Left wing,none\nCastro Brenza,Main wall,cordiste\n",
    )
    assert {
        "windows windows.csv: what ends before the plan begins limits nothing, row 2; for a window "
        "of every year write MM-DD, as 02-01",
        "no team has the skill 'cordiste', which is needed at Castro Brenza / Main wall",
        "tides tides.csv: it has no row, and limits nothing",
    } <= set(made.notes)
    assert not any("Left wing" in note and "skill" in note for note in made.notes)


def test_a_home_that_is_exchanged_is_refused_with_its_fix(assessed_demo, tmp_path):
    text = "team,lon,lat,days_free\nA,43.4,-6.6,SA\nB,-6.6,43.4,SU\nFar,100,-60,SU\n"
    with pytest.raises(SaltreachError) as caught:
        planned(assessed_demo, tmp_path, teams=text)
    said = str(caught.value)
    assert "row 2, lon, lat = '43.4, -6.6': the home lies far from every crag; exchanged it" in said
    assert "write lon -6.6, lat 43.4" in said
    assert "row 3" not in said and "row 4" not in said


def test_prices_of_two_currencies_are_never_added(tmp_path):
    text = "item,metal,price,currency\nbonded,316,8,EUR\nbonded,titanium,28,{}\n"
    assert read_prices(file(tmp_path, text.format(""))).currency == "EUR"
    with pytest.raises(OptionError, match=r"t\.csv: prices in EUR and GBP; give all in one"):
        read_prices(file(tmp_path, text.format("GBP")))


@pytest.mark.parametrize("name", ["fid", "FID", "geom", "Geometry"])
def test_columns_of_gis_tables_of_their_own_are_kept_under_another_name(tmp_path, name):
    """A CSV that a GIS wrote once ended the command with an error of a library."""
    text = f"{name},anchor_id,crag,sector,lon,lat\n1,A,C,S,-7.05,43.52\n"
    result = sr.assess(read_register(file(tmp_path, text)))
    assert result.flat.anchors[f"{name}_given"].tolist() == ["1"]
    sr.write_results(result, tmp_path / "out")


def test_results_read_again_keep_nothing_that_was_worked_out(assessed_demo, tmp_path):
    """A distance from the shoreline once came back as measured, with a fortieth of its error."""
    frame = pd.DataFrame(assessed_demo.flat.anchors.drop(columns="geometry"))
    frame.to_csv(tmp_path / "a.csv", index=False)
    again = read_register(tmp_path / "a.csv")
    kept = again.anchors[["coast_distance_m", "sea_salinity_g_kg"]]
    assert kept.isna().all(axis=None) and (again.anchors["sea_cliff"] == "unknown").all()
    own = (frame["elevation_source"] == "register").to_numpy()
    assert 0 < own.sum() < len(frame)
    assert again.anchors["elevation_m"].notna().tolist() == own.tolist()
    lost = len(frame) - int(own.sum())
    assert (
        f"elevation_m: {lost} values that saltreach worked out are left out and worked out anew; "
        "only what was measured belongs in a register" in again.notes
    )


def test_a_plan_s_sheet_counts_what_was_filled_in(tmp_path):
    head = ["date", "kind", "crag", "sector", "due on", "days late", "trip leaves", "trip back",
            "done on"]  # fmt: skip
    row = ["2026-12-05", "inspect", "Vega", "Left", "2026-12-01", 4, "09:00", "16:00"]
    made = book(
        tmp_path,
        {"About": [["a plan"]], "Plan": [head, [*row, dt.datetime(2026, 12, 6)], [*row, None]]},
    )
    done = teams.read_done(made)
    assert [(r["row"], r["done_on"]) for r in done.rows] == [(2, dt.date(2026, 12, 6))]
    assert not len(done.rejected) and done.rows_read == 1
    assert "1 visit of the plan without done_on: not done yet" in done.notes
    other = file(tmp_path, "crag,kind,done_on\nVega,inspect,2026-11-20\nVega,inspect,\n")
    assert teams.read_done(other).rejected["reason"].tolist() == ["no day"]


def test_a_season_that_cannot_be_read_says_how_to_write_one(tmp_path):
    sheet = teams.read_windows(file(tmp_path, "crag,from,until\nVega,1 Feb,31/07\n"))
    assert sheet.rejected["fix"][0].startswith("write MM-DD for every year, as 02-01, or YYYY-MM-")


def test_columns_of_a_plan_are_those_the_sheet_shows():
    assert {"due_on", "days_late", "trip_leaves", "trip_back"} <= set(columns_of("plan"))
