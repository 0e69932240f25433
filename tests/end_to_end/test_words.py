"""Registers and tables in other words, through the command."""

import json

import pandas as pd
import pytest

from helpers.small_register import write
from saltreach.layers.embedded import embedded_file

GERMAN = """Haken-Nr.;Klettergebiet;Sektor;Längengrad;Breitengrad;Werkstoff;Zustand;Tiefe [cm];Höhe;Farbe;conditon
1;Rote Bucht;Links;-4,95;43,44;Edelstahl;gut;10;3;rot;1
2;Rote Bucht;Links;-4,951;43,441;V4A;schlecht;9;4;rot;2
"""  # noqa: E501
OWN = """list,column,value,words
header,crag,,Revier
header,team,,Trupp Nord
choice,material,titanium,Wundermetall
choice,access,closed,Vogelzeit
choice,metal,316,the usual
header,rock_temperature_c,,Wärme
"""


@pytest.fixture
def german(tmp_path):
    file = tmp_path / "haken.csv"
    file.write_text(GERMAN, encoding="utf-8")
    return file


@pytest.fixture
def words(tmp_path):
    file = tmp_path / "words.csv"
    file.write_text(OWN, encoding="utf-8")
    return file


def test_assess_says_how_the_register_was_read(saltreach, german, tmp_path):
    out = tmp_path / "out"
    done = saltreach("assess", german, "--out", out)
    assert done.returncode == 0, done.stdout + done.stderr
    lines = done.stderr.splitlines()
    at = lines.index("How the register was read, all of it: saltreach check:")
    assert at < lines.index("saltreach: coast ...")  # before anything is computed
    assert lines[at + 1 : at + 4] == [
        "  Columns read under another name: 'Haken-Nr.' as anchor_id, 'Klettergebiet' as crag, "
        "'Sektor' as sector, 'Längengrad' as lon, 'Breitengrad' as lat and 3 more",
        "  column 'Höhe' is not used; it may mean height_above_sea_m or elevation_m; say which, "
        "for example --column elevation_m=Höhe",
        "  columns kept but not used: Farbe, conditon",
    ]
    assert (
        lines[at + 7].startswith("  and ") and "more (all of it: saltreach check)" in lines[at + 7]
    )
    record = json.loads((out / "provenance.json").read_text(encoding="utf-8"))["register"]
    assert record["columns_read_as"] == {
        "anchor_id": "Haken-Nr.", "crag": "Klettergebiet", "sector": "Sektor",
        "lon": "Längengrad", "lat": "Breitengrad", "material": "Werkstoff",
        "condition": "Zustand", "embedment_mm": "Tiefe [cm]",
    }  # fmt: skip
    assert record["columns_not_used"] == ["Höhe", "Farbe", "conditon"]
    assert "condition: 'gut' (1 row) read as 0 sound" in record["notes"]
    said = json.loads(saltreach("assess", german, "--out", out, "--json").stdout)
    assert said["register"]["columns_not_used"] == ["Höhe", "Farbe", "conditon"]
    anchors = pd.read_parquet(out / "anchors.parquet", columns=["embedment_mm", "condition"])
    assert anchors["embedment_mm"].tolist() == [100, 90]
    assert anchors["condition"].tolist() == [0, 3]


def test_a_register_in_our_words_needs_no_such_lines(saltreach, tmp_path):
    done = saltreach("assess", write(tmp_path / "a.csv"), "--out", tmp_path / "out")
    assert "How the register was read" not in done.stdout + done.stderr


def test_own_words_in_every_command_that_reads_a_table(saltreach, words, tmp_path):
    register = tmp_path / "a.csv"
    write(register, material=["Wundermetall", "316", "316"])
    register.write_text(register.read_text().replace("crag", "Revier", 1))
    assert saltreach("check", register).returncode == 2
    done = saltreach("check", register, "--words", words)
    assert done.returncode == 0, done.stdout + done.stderr
    assert "note: header 'Revier' read as crag, as words.csv says" in done.stdout
    out = tmp_path / "out"
    done = saltreach("assess", register, "--out", out, "--words", words)
    assert done.returncode == 0, done.stderr
    notes = json.loads((out / "provenance.json").read_text())["register"]["notes"]
    assert "your own words: 6 of words.csv are used" in notes
    assert "material 'Wundermetall' (1 row): read as titanium, as words.csv says" in notes
    crag = pd.read_csv(out / "sectors.csv")["crag"][0]
    teams, windows = tmp_path / "teams.csv", tmp_path / "windows.csv"
    teams.write_text("Trupp Nord,lon,lat,days_free\nus,-4.9,43.4,Samstag Sonntag\n")
    windows.write_text(f"Revier,access,from,until\n{crag},Vogelzeit,02-01,07-31\n")
    arguments = ("--teams", teams, "--windows", windows, "--nodes", 1, "--out", tmp_path / "plan")
    done = saltreach("plan", register, *arguments, "--words", words)
    assert done.returncode == 0, done.stdout + done.stderr
    assert "Columns read under another name: 'Revier' as crag" in done.stderr
    assert json.loads((tmp_path / "plan" / "plan.json").read_text())["tables"]["windows"][
        "accepted"
    ]
    prices = tmp_path / "prices.csv"
    prices.write_text("item,metal,price\nbonded,the usual,7\nbonded,titanium,20\n")
    arguments = ("--budget", 500, "--prices", prices, "--out", tmp_path / "money")
    assert saltreach("priorities", out, *arguments).returncode == 2
    done = saltreach("priorities", out, *arguments, "--words", words)
    assert done.returncode == 0, done.stdout + done.stderr
    sheet = tmp_path / "sheet.csv"
    sheet.write_text("Wärme,Gelzeit min,Aushärtezeit min\n0,30,300\n10,20,120\n", encoding="utf-8")
    done = saltreach("cure", sheet, "--rock-temperature", 5, "--words", words)
    assert done.returncode == 0, done.stderr


def test_a_word_for_what_is_none_of_ours_ends_in_one_sentence(saltreach, tmp_path):
    words = tmp_path / "words.csv"
    words.write_text("list,column,value,words\nheader,diametre,,dicke\n")
    done = saltreach("assess", write(tmp_path / "a.csv"), "--out", tmp_path, "--words", words)
    assert done.returncode == 2
    last = done.stderr.strip().splitlines()[-1]
    assert last.startswith("saltreach: words words.csv, row 2, column = 'diametre': no column of ")
    assert last.endswith("; nearest: diameter_mm")


def test_the_example_of_words_is_used(saltreach, tmp_path):
    done = saltreach(
        "check", write(tmp_path / "a.csv", kind=["stuck in", "bonded", "bonded"]),
        "--words", embedded_file("demo/words.csv"),
    )  # fmt: skip
    assert done.returncode == 0
    assert "kind 'stuck in' (1 row): read as bonded, as words.csv says" in done.stdout
