"""To the cliff and back: a register, a book, filled sheets, the next assessment; and taken back."""

import json
from pathlib import Path

import geopandas as gpd
import openpyxl
import pandas as pd
import pytest

from helpers.returned import JPG, NOW, TODAY, phone, row, sheet
from saltreach import read_register
from saltreach.layers.embedded import embedded_file
from saltreach.records.book import open_book, start_book

DAY = "2026-11-21"
UNKNOWN_METAL, TAPPED, UNDATED = "DEMO-0014", "DEMO-0003", "DEMO-0017"
HOLDING = """name = "the commons"
crags = ["Punta Vellorio"]

[contact]
organisation = "Demo Climbers"
person = "Hardware officer"
phone = "+44 1632 960123"
email = "anchors@example.org"
emergency_phone = "112"
"""
TABLES = ("anchors.parquet", "sectors.csv", "crags.csv", "find_out.csv")


def german(path: Path) -> Path:
    """A sheet as a volunteer fills it in: German, commas, days with dots, a row left empty."""
    book = openpyxl.Workbook()
    page = book.active
    page.append(["Eintragsnummer", "Anker", "Datum", "Wer", "Was", "Material", "Zustand", "Klang",
                 "Drehmoment", "Befund"])  # fmt: skip
    page.append(["p1", UNKNOWN_METAL, "21.11.2026", "MT", "kontrolliert", "1.4401", "gut", "", "",
                 ""])  # fmt: skip
    page.append(["p2", TAPPED, "21.11.2026", "MT", "angeschaut", "", "1", "hohl", "22,5",
                 "Flugrost"])  # fmt: skip
    page.append(["p3", "DEMO-0004", "", "", "", "", "", "", "", ""])
    book.save(path)
    return path


PLACED = row(
    UNDATED, "MT", DAY, record_id="q1", done="replaced", material="titanium", kind="bonded",
    diameter_mm=12, piece_length_mm=100, piece_batch="T-7", hole_depth_mm=110, hole_cleaned="yes",
    hole_condition="clean and dry", adhesive="epoxy", adhesive_expires_on="2027-04",
    cure_needed_min=60, set_at="10:00", loaded_at="12:00", condition=0,
)  # fmt: skip


@pytest.fixture(scope="module")
def there_and_back(saltreach, tmp_path_factory):
    """One sector of the demo: assessed, brought back, assessed, taken back, assessed."""
    folder = tmp_path_factory.mktemp("back")
    demo = pd.read_csv(embedded_file("demo/anchors.csv"), dtype="str", keep_default_na=False)
    demo[(demo["crag"] == "Punta Vellorio") & (demo["sector"] == "Main wall")].to_csv(
        folder / "anchors.csv", index=False
    )
    book = folder / "region.gpkg"
    start_book(book, read_register(folder / "anchors.csv", today=TODAY), who="HO", now=NOW)
    told = {}

    def assessed(name: str) -> None:
        done = saltreach("assess", book, "--out", folder / name, "--today", "2026-11-25")
        assert done.returncode == 0, done.stderr

    def returned(name: str, *given: object) -> None:
        told[name] = saltreach("returns", *given, "--book", book, "--today", "2026-11-25")

    files = [german(folder / "sheet.xlsx"), sheet(folder / "placed.csv", PLACED)]
    assessed("before")
    returned("shown", *files)
    returned("written", *files, "--apply", "--json")
    returned("again", *files, "--apply")
    assessed("after")
    told["history"] = saltreach("history", UNDATED, "--book", book)
    told["batch"] = saltreach("history", "--batch", "t-7", "--book", book, "--json")
    ids = {"p1": UNKNOWN_METAL, "p2": TAPPED, "q1": UNDATED}
    back = [row(ids[one], "HO", DAY, record_id=f"b{one}", takes_back=one) for one in ids]
    returned("back", sheet(folder / "back.csv", *back), "--apply")
    assessed("taken_back")
    return folder, told


def anchors(folder: Path, name: str) -> pd.DataFrame:
    return gpd.read_parquet(folder / name / "anchors.parquet").set_index("anchor_id")


def test_what_would_change_is_shown_and_written_only_when_asked(there_and_back):
    _, told = there_and_back
    shown = told["shown"]
    assert shown.returncode == 0, shown.stderr
    assert f"{UNKNOWN_METAL}  material" in shown.stdout and "- -> 316" in shown.stdout
    assert "run it again with --apply" in shown.stdout
    assert "1 row that nobody filled in: left out" in shown.stdout
    record = json.loads(told["written"].stdout)
    assert record["applied"] and record["records"] == 3 and not record["rejected"]
    assert "Everything is in the book already" in told["again"].stdout


@pytest.mark.pinned("worked", answers=15)
def test_the_next_assessment_differs_as_worked_by_hand(there_and_back):
    """A known metal below its class: 24 months from the look. A hollow spot: 6 months, severe,
    out within 12 months. A new titanium anchor in category C3: 48 months."""
    folder, _ = there_and_back
    names = ["action", "inspection_interval_months", "interval_rule", "next_inspection_on",
             "risk_band"]  # fmt: skip
    before, after = (anchors(folder, name)[names] for name in ("before", "after"))
    assert before.loc[UNKNOWN_METAL, "action"] == "find out"
    assert after.loc[UNKNOWN_METAL].tolist() == [
        "keep", 24, "metal below its class", "2028-11-21", "moderate",
    ]  # fmt: skip
    assert before.loc[TAPPED, "action"] == "replace"
    assert after.loc[TAPPED].tolist() == [
        "move or remove", 6, "hollow rock", "2027-05-21", "severe",
    ]  # fmt: skip
    assert anchors(folder, "after").loc[TAPPED, "kind_advised"] == "do not place here"
    assert anchors(folder, "after").loc[TAPPED, "replace_by"] == "2027-11-25"
    assert before.loc[UNDATED, "next_inspection_on"] == "2026-11-25"
    assert after.loc[UNDATED].tolist() == ["keep", 48, "corrosivity category", "2030-11-21", "low"]


def test_taken_back_every_table_is_as_it_was(there_and_back):
    folder, told = there_and_back
    assert told["back"].returncode == 0, told["back"].stderr
    for name in TABLES:
        first, last = ((folder / run / name) for run in ("before", "taken_back"))
        assert first.read_bytes() == last.read_bytes(), name
        assert first.read_bytes() != (folder / "after" / name).read_bytes()
    assert not (folder / "taken_back/events.csv").exists()
    assert len(open_book(folder / "region.gpkg").events()) == 18 + 2 * 6


def test_the_map_shows_what_happened_last_and_draws_it_again(there_and_back, saltreach):
    folder, _ = there_and_back
    events = pd.read_csv(folder / "after/events.csv", dtype="str")
    assert set(events["anchor_id"]) == {UNKNOWN_METAL, TAPPED, UNDATED}
    assert (events["anchor_id"] == TAPPED).sum() == 2
    drawn = saltreach("map", folder / "after", "--out", folder / "map/again.html")
    assert drawn.returncode == 0, drawn.stderr
    for page in (folder / "after/map.html", folder / "map/again.html"):
        assert "torque_nm 22.5" in page.read_text(encoding="utf-8")
    assert "torque_nm" not in (folder / "before/map.html").read_text(encoding="utf-8")


def test_history_answers_in_one_screen(there_and_back):
    _, told = there_and_back
    said = told["history"].stdout
    assert told["history"].returncode == 0 and len(said.splitlines()) < 30
    assert "Last there: MT, 2026-11-21." in said and "replaced, MT" in said
    assert "[placed.csv]" in said
    found = json.loads(told["batch"].stdout)
    assert [one["anchor_id"] for one in found["anchors"]] == [UNDATED]


def test_a_landowner_learns_nothing_of_who_was_there(there_and_back, saltreach):
    folder, _ = there_and_back
    out = folder / "landowner"
    land = folder / "land.toml"
    land.write_text(HOLDING)
    done = saltreach("landowner", folder / "after", "--holding", land, "--out", out)
    assert done.returncode == 0, done.stderr
    for file in out.rglob("*"):
        if file.is_file():
            data = file.read_bytes()
            for private in (b"torque_nm", b"Flugrost", b"rust film", b"looked at", b"T-7"):
                assert private not in data, (file, private)


def test_refused_rows_end_with_1_and_differences_are_settled_by_a_sheet(saltreach, tmp_path):
    register = tmp_path / "anchors.csv"
    register.write_text("anchor_id,crag,sector,lon,lat\na1,Alder Point,North,-4.95,43.44\n")
    book = tmp_path / "region.gpkg"
    start_book(book, read_register(register, today=TODAY), who="HO", now=NOW)
    first = phone(
        tmp_path / "r.zip", row("a1", record_id="r1", condition=3), 5, photos={"a.jpg": JPG}
    )
    other = sheet(tmp_path / "r.csv", row("a1", "CD", condition=1))
    settle = tmp_path / "settle.csv"
    given = ("--book", book, "--apply", "--today", "2026-11-25", "--settle", settle)
    done = saltreach("returns", first, other, *given)
    assert done.returncode == 1 and "refused: r.zip, row 2" in done.stdout
    assert "AB says 3" in done.stdout and "CD says 1" in done.stdout
    assert "until it is settled 3 holds" in done.stdout
    answers = pd.read_csv(settle, dtype="str").assign(answer="1", who="HO")
    answers.to_csv(settle, index=False)
    done = saltreach("returns", *given)
    assert done.returncode == 0 and "HO settled it: 1" in done.stdout
    assert open_book(book).anchors()["condition"].tolist() == [1]
    done = saltreach("returns", "--book", book)
    assert done.returncode == 2 and "no file of returns" in done.stderr
    done = saltreach("returns", first, "--book", tmp_path / "none.gpkg")
    assert done.returncode == 2 and "no such file" in done.stderr
