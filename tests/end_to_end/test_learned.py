"""`saltreach learned` and `assess --learned`, as a person runs them."""

import datetime as dt
import json

import geopandas as gpd
import pandas as pd
import pytest

from helpers.learned_region import TODAY, register
from saltreach.intake import read_register
from saltreach.records.book import start_book
from saltreach.records.events import Event
from saltreach.vocabulary.words import CAUTION

NOW = dt.datetime(2026, 11, 25, 12, tzinfo=dt.UTC)


@pytest.fixture(scope="module")
def book(tmp_path_factory):
    path = tmp_path_factory.mktemp("book") / "region.gpkg"
    made = start_book(path, read_register(register(), today=TODAY), who="Ana", now=NOW)
    broken = {"condition": 4, "findings": "broken"}
    made.append(
        [
            Event("a1", "looked at", "2026-11-20", "Ana", broken),
            Event("a4", "proof test", "2026-11-20", "Ana",
                  {"proof_load_kn": 8.0, "proof_result": "held"}),
            Event("a5", "measured", "2026-11-20", "Ana",
                  {"candle_chloride_mg_m2_d": 900.0, "exposed_days": 365}),
            Event("a6", "removed", "2026-11-21", "Ana", {}),
        ],
        now=NOW,
    )  # fmt: skip
    return path


@pytest.fixture(scope="module")
def taught(saltreach, book, tmp_path_factory):
    out = tmp_path_factory.mktemp("taught") / "out"
    before = book.read_bytes()
    done = saltreach("learned", book, "--out", out, "--today", "2026-11-25")
    assert done.returncode == 0, done.stderr
    assert book.read_bytes() == before
    return done, out


def test_a_book_is_told_in_sentences_a_table_a_picture_and_a_file(taught):
    done, out = taught
    assert "metal: 316, bonded" in done.stdout
    assert "1 found failed" in done.stdout
    assert "rock: limestone, ringing: 0 pulls to failure, 1 held" in done.stdout
    assert "salt: Beech Hill: 1 measurement." in done.stdout
    assert "It cannot know what nobody wrote down" in done.stdout
    assert CAUTION in done.stdout
    table = pd.read_csv(out / "learned.csv")
    assert table["caution"].eq(CAUTION).all()
    assert set(table["subject"]) == {"metal", "rock", "salt"}
    assert (out / "learned.png").read_bytes().startswith(b"\x89PNG")
    record = json.loads((out / "learned.json").read_text())
    assert record["made_from"][0]["file"] == "region.gpkg"
    assert record["learned_for"] == "2026-11-25"


def test_an_assessment_counts_with_it_and_says_so(saltreach, book, taught, tmp_path):
    _, lessons = taught
    runs = {"plain": (), "learned": ("--learned", lessons / "learned.json")}
    found = {}
    for name, more in runs.items():
        done = saltreach("assess", book, "--out", tmp_path / name, "--today", "2026-11-25", *more)
        assert done.returncode == 0, done.stderr
        found[name] = gpd.read_parquet(tmp_path / name / "anchors.parquet").set_index("anchor_id")
        assert ("LEARNED" in done.stdout) == (name == "learned")
    ratio = found["learned"]["chloride_mg_m2_d"] / found["plain"]["chloride_mg_m2_d"]
    assert ratio["a5"] > 1.5
    assert found["learned"]["warnings"]["a5"].count("Learned from looks and tests") == 1
    assert not found["plain"]["warnings"].str.contains("Learned").any()
    record = json.loads((tmp_path / "learned" / "provenance.json").read_text())
    assert record["options"]["learned_file"] == "learned.json"
    said = [text for text in record["assumptions"] if text.startswith("LEARNED")]
    assert len(said) == 1
    assert "another one" not in said[0]  # it is the register in hand
    again = saltreach("learned", tmp_path / "learned", "--out", tmp_path / "twice")
    assert again.returncode == 2
    assert "nothing is learned twice" in again.stderr
    results = saltreach("learned", tmp_path / "plain", "--out", tmp_path / "of-results", "--json")
    assert results.returncode == 0, results.stderr
    assert json.loads(results.stdout)["told"]


def test_a_register_without_looks_teaches_nothing(saltreach, tmp_path):
    path = tmp_path / "a.csv"
    register(condition=None, last_inspected_on=None).to_csv(path, index=False)
    done = saltreach("learned", path, "--out", tmp_path / "out", "--today", "2026-11-25")
    assert done.returncode == 0, done.stderr
    assert "Nothing was learned" in done.stdout
    assert (tmp_path / "out" / "learned.json").is_file()


@pytest.mark.parametrize("text", ["{", "[]", '{"format": "saltreach lessons", "version": 9}'])
def test_a_file_that_is_no_lessons_ends_in_one_sentence(saltreach, book, tmp_path, text):
    path = tmp_path / "learned.json"
    path.write_text(text)
    done = saltreach("assess", book, "--out", tmp_path / "out", "--learned", path)
    assert done.returncode == 2
    assert "learned file learned.json" in done.stderr
    assert "Traceback" not in done.stderr
    assert not (tmp_path / "out").exists()
    missing = saltreach("learned", tmp_path / "none.gpkg", "--out", tmp_path / "out")
    assert missing.returncode == 2
