"""`saltreach sheets` on the demo, as a person runs it: from the plan, or sector by sector."""

import datetime as dt
import re
from io import BytesIO
from pathlib import Path

import openpyxl
import pandas as pd
import pytest
from pypdf import PdfReader

from saltreach.intake.plan_file import VISIT_COLUMNS

DATA = Path(__file__).parents[2] / "data" / "demo"


def visit(trip, sector, kind, count, stop, **values):
    given = dict.fromkeys(VISIT_COLUMNS, "") | {
        "visit_id": f"{stop:016x}-1", "revision": 0, "kind": kind, "crag": "Isla Corbaya",
        "sector": sector, "part": "1 of 1", "team": "Team", "date": "2026-12-12",
        "begins": "10:30", "ends": "12:00", "days_late": 0, "anchors": count, "work_hours": 1.5,
        "trip": trip, "stop": stop, "trip_leaves": "09:00", "trip_back": "15:00",
        "trip_travel_hours": 2,
    }  # fmt: skip
    return given | values


@pytest.fixture(scope="module")
def plan(tmp_path_factory):
    rows = [
        visit("A", "Main wall", "inspect", 12, 1), visit("A", "Left wing", "rebolt", 3, 2),
        visit("B", "Main wall", "rebolt", 2, 3, date="2027-03-01"),
    ]  # fmt: skip
    file = tmp_path_factory.mktemp("plan") / "plan.csv"
    pd.DataFrame(rows).to_csv(file, index=False)
    return file


def text_of(file):
    pages = PdfReader(BytesIO(file.read_bytes())).pages
    return " ".join(" ".join(page.extract_text() for page in pages).split())


def test_a_plan_gives_a_sheet_for_each_trip(saltreach, demo, plan, tmp_path):
    given = ["sheets", demo[0], "--plan", plan, "--data-sheet", DATA / "data_sheet.csv",
             "--windows", DATA / "windows.csv", "--tides", DATA / "tides.csv",
             "--contact", DATA / "holding.toml", "--cartridge-ml", 30, "--waste", 0.5,
             "--proof-kn", 6, "--rock-temperature-c", 10, "--blank-sheet"]  # fmt: skip
    run = saltreach(*given, "--out", tmp_path / "a")
    assert run.returncode == 0, run.stderr
    assert sorted(p.name for p in (tmp_path / "a").glob("[ab].*")) == [
        "a.pdf", "a.xlsx", "b.pdf", "b.xlsx",
    ]  # fmt: skip
    first, second = (text_of(tmp_path / "a" / f"{name}.pdf") for name in "ab")
    assert "Tide: work from 10:30 to 14:10 only." in first
    assert "CLOSED ON THIS DAY" not in first
    assert "CLOSED ON THIS DAY" in second
    assert "B: Isla Corbaya / Main wall: CLOSED ON THIS DAY" in run.stderr
    assert "sets in 20 min, may be loaded after 2 h 30 min; in a wet hole after 5 h" in first
    assert "cartridge of 30 mL" in first
    assert "6 kN after curing" in first
    assert "+44 1632 960123" in first
    # three of 12 x 130 mm: pi/4 x 196 x 140 x 2/3 x 3 = 43.1 mL, more than half over the gap; of
    # 30 mL each throws 10 away: 3, and a spare
    assert re.search(r"4 cartridge of 30 mL 44 mL into 3 holes", first)
    assert run.stderr.count("CLOSED ON THIS DAY") == 1
    again = saltreach(*given, "--out", tmp_path / "b")
    assert again.returncode == 0
    for name in ("a.pdf", "a.xlsx", "b.pdf"):
        assert (tmp_path / "a" / name).read_bytes() == (tmp_path / "b" / name).read_bytes()


def test_one_sector_without_a_plan(saltreach, demo, tmp_path):
    run = saltreach(
        "sheets", demo[0], "--sector", "Isla Corbaya / Left wing", "--kind", "inspect", "--day",
        "2027-05-02", "--out", tmp_path / "one",
    )  # fmt: skip
    assert run.returncode == 0, run.stderr
    (file,) = (tmp_path / "one").glob("*.pdf")
    assert file.name == "isla-corbaya-left-wing.pdf"
    said = text_of(file)
    assert "2027-05-02" in said
    assert "Anchors to look at" in said
    assert "Placing an anchor" not in said


def test_what_was_bought_and_what_is_in_stock(saltreach, demo, plan, tmp_path):
    bought = tmp_path / "priorities.csv"
    row = {"crag": "Isla Corbaya", "sector": "Left wing", "scope": "all that fall short",
           "chosen": "yes", "metal": "titanium", "kind": "bonded", "diameter_mm": 14.0,
           "embedment_mm": 150.0, "legs": 1.0}  # fmt: skip
    pd.DataFrame([row, row | {"chosen": "no", "legs": ""}]).to_csv(bought, index=False)
    run = saltreach("sheets", demo[0], "--plan", plan, "--trip", "A", "--rebolt", bought,
                    "--prices", DATA / "prices.toml", "--out", tmp_path / "out")  # fmt: skip
    assert run.returncode == 0, run.stderr
    assert "no stock list" in run.stderr
    assert "4 bonded titanium, 14 x 150 mm 3 to place, 1 spare" in text_of(
        tmp_path / "out" / "a.pdf"
    )
    assert not (tmp_path / "out" / "b.pdf").exists()
    pd.DataFrame([row | {"legs": 3}]).to_csv(bought, index=False)
    bad = saltreach("sheets", demo[0], "--plan", plan, "--rebolt", bought, "--out", tmp_path / "no")
    assert bad.returncode == 2
    assert "legs" in bad.stderr


def test_a_refused_row_stops_and_is_said_where_it_is_left_out(saltreach, demo, plan, tmp_path):
    windows = tmp_path / "windows.csv"
    windows.write_text("crag,access,from,until\nIsla Corbaya,closed,02-01,99-99\n", "utf-8")
    given = ("sheets", demo[0], "--plan", plan, "--trip", "B", "--windows", windows, "--out")
    run = saltreach(*given, tmp_path / "out")
    assert run.returncode == 2
    assert "row 2" in run.stderr
    assert not (tmp_path / "out").exists()
    run = saltreach(*given, tmp_path / "out", "--leave-out-refused")
    assert run.returncode == 1
    assert "LEFT OUT" in text_of(tmp_path / "out" / "b.pdf")


@pytest.mark.parametrize(
    ("wrong", "said"),
    [
        (["--trip", "C"], "trip 'C' is not there"),
        (["--cartridge-ml", "1"], "cartridge_ml 1.0: give a value from 20"),
        (["--waste", "1.25"], "waste_share 1.25: give a value from 0 to 1: a share"),
        (["--contact", "windows.csv"], "give TOML that says who to call"),
    ],
)
def test_what_cannot_be_used_is_one_sentence(saltreach, demo, plan, tmp_path, wrong, said):
    run = saltreach("sheets", demo[0], "--plan", plan, *wrong, "--out", tmp_path / "out")
    assert run.returncode == 2
    assert said in run.stderr
    assert not (tmp_path / "out").exists()


def test_a_filled_workbook_is_read_back(saltreach, demo, plan, tmp_path):
    """A look at one anchor, typed under the printed headers; the rest of the rows is no record."""
    run = saltreach("sheets", demo[0], "--plan", plan, "--trip", "A", "--blank-sheet", "--out",
                    tmp_path / "out")  # fmt: skip
    assert run.returncode == 0, run.stderr
    file = tmp_path / "out" / "a.xlsx"
    workbook = openpyxl.load_workbook(file)
    page = workbook["returns"]
    header = [str(cell.value).replace(" ", "_") for cell in page[1]]
    typed = {"done": "looked at", "done_on": dt.date(2026, 12, 12), "who": "Ann",
             "tap_response": "hollow"}  # fmt: skip
    for name, value in typed.items():
        page.cell(2, header.index(name) + 1, value)
    anchor = page.cell(2, 2).value
    filled = tmp_path / "filled.xlsx"
    workbook.save(filled)
    book = tmp_path / "book.gpkg"
    made = saltreach("book", "start", DATA / "anchors.csv", "--book", book, "--who", "Ann")
    assert made.returncode == 1, made.stderr  # the demo has rows to refuse
    back = saltreach("returns", filled, "--book", book, "--today", "2026-12-13", "--apply")
    assert back.returncode == 0, back.stderr
    history = saltreach("history", anchor, "--book", book)
    assert "hollow" in history.stdout
