"""Every example and every empty sheet of `templates` goes through the command it is for."""

import json

import pytest

from helpers.folders import shown
from saltreach.folders.manifest import MANIFEST
from saltreach.layers.embedded import embedded_file

BESIDE = ("windows", "tides", "needs", "travel", "done")


@pytest.fixture(scope="module")
def folder(saltreach, tmp_path_factory):
    out = tmp_path_factory.mktemp("templates")
    done = saltreach("templates", "--out", out)
    assert done.returncode == 0, done.stderr
    written = sorted(str(out / name) for name in shown(out) - {MANIFEST})
    assert done.stdout.split() == written and len(written) > 30
    return out


@pytest.fixture(scope="module")
def run(saltreach):
    def good(*arguments):
        done = saltreach(*arguments)
        assert done.returncode == 0, done.stdout + done.stderr
        return done.stdout

    return good


@pytest.fixture(scope="module")
def results(run, folder, tmp_path_factory):
    out, at = tmp_path_factory.mktemp("results"), folder / "example"
    run("assess", at / "register.csv", "--out", out, "--options", at / "options.toml",
        "--policy", at / "policy.toml", "--survey", at / "survey.csv",
        "--prices", at / "prices.toml", "--rock-mapping", at / "rock_mapping.csv")  # fmt: skip
    record = json.loads((out / "provenance.json").read_text())
    assert record["survey"]["accepted"] > 20
    assert (record["options"]["axial_kn"], record["assessed_for"]) == (20.0, "2026-11-25")
    assert record["policy"]["longest_interval_months"] == 36
    return out


def plan(run, results, out, teams, files):
    beside = [part for name, file in files.items() for part in (f"--{name}", file)]
    return run("plan", results, "--teams", teams, *beside, "--seconds", 0, "--out", out)


def test_the_examples_of_the_tables_make_a_plan(run, folder, results, tmp_path):
    at = folder / "example"
    plan(run, results, tmp_path, at / "teams.csv", {n: at / f"{n}.csv" for n in BESIDE})
    tables = json.loads((tmp_path / "plan.json").read_text())["tables"]
    assert {n for n, record in tables.items() if record["accepted"]} == {"teams", *BESIDE}


def test_the_examples_of_prices_buy_the_same(run, folder, results, tmp_path):
    said = set()
    for name in ("prices.toml", "prices.csv", "tables.xlsx"):
        run("priorities", results, "--budget", 500, "--prices", folder / "example" / name,
            "--out", tmp_path / name)  # fmt: skip
        said.add((tmp_path / name / "shopping.csv").read_text())
    (shopping,) = said
    assert "EXAMPLE PRICES" in shopping and "bonded,304" in shopping


def test_the_examples_of_land_and_data_sheet(run, folder, results, tmp_path):
    at = folder / "example"
    run("landowner", results, "--holding", at / "holding.toml", "--out", tmp_path)
    lines = (at / "holding.toml").read_text(encoding="utf-8").splitlines(keepends=True)
    contact = tmp_path / "contact.toml"
    contact.write_text("".join(s for s in lines if not s.startswith(("name", "land"))))
    run("landowner", results, "--holding", at / "holding.geojson", "--contact", contact,
        "--out", tmp_path / "again")  # fmt: skip
    said = run("cure", at / "data_sheet.csv", "--rock-temperature", 8)
    note, *again = run("cure", at / "tables.xlsx", "--rock-temperature", 8).splitlines()
    assert note.startswith("note: data sheet tables.xlsx: sheet 'data_sheet' read; the other")
    assert again[1:] == said.splitlines()[1:]


def test_one_workbook_serves_every_command(run, folder, tmp_path):
    book = folder / "example" / "tables.xlsx"
    run("assess", book, "--out", tmp_path, "--today", "2026-11-25", "--rock-mapping", book)
    survey = json.loads((tmp_path / "provenance.json").read_text())["survey"]
    assert survey["file"] == "tables.xlsx" and survey["rejected"] == 0
    plan(run, tmp_path, tmp_path / "plan", book, dict.fromkeys(BESIDE, book))


def test_empty_sheets_change_nothing(run, saltreach, folder, results, tmp_path):
    at, full = folder / "empty", folder / "example"
    for name in ("register.csv", "tables.xlsx"):
        assert "0 rows, 0 good, 0 refused" in run("check", at / name)
    for number, more in enumerate([
        ["--options", at / "options.toml", "--policy", at / "policy.toml",
         "--survey", at / "survey.csv", "--rock-mapping", at / "rock_mapping.csv"], [],
    ]):  # fmt: skip
        run("assess", full / "register.csv", "--out", tmp_path / str(number), "--today",
            "2026-11-25", *more)  # fmt: skip
    first, second = (tmp_path / n / "sectors.csv" for n in "01")
    assert first.read_text() == second.read_text()
    plan(run, results, tmp_path, full / "teams.csv", {n: at / f"{n}.csv" for n in BESIDE})


@pytest.mark.parametrize(
    ("command", "says"),
    [
        (["assess", "{empty}/register.csv", "--out", "x"], "no row below its header"),
        (["plan", "{results}", "--teams", "{empty}/teams.csv", "--out", "x"], "team"),
        (["priorities", "{results}", "--budget", "5", "--prices", "{empty}/prices.csv", "--out",
          "x"], "no anchor has a price"),
        (["priorities", "{results}", "--budget", "5", "--prices", "{empty}/prices.toml", "--out",
          "x"], "no anchor has a price"),
        (["landowner", "{results}", "--holding", "{empty}/holding.toml", "--out", "x"],
         "name the land"),
        (["cure", "{empty}/data_sheet.csv", "--rock-temperature", "8"], "at least two"),
    ],
)  # fmt: skip
def test_what_cannot_be_empty_says_so(saltreach, folder, results, command, says):
    done = saltreach(*(c.format(empty=folder / "empty", results=results) for c in command))
    assert done.returncode == 2
    assert says in done.stderr


def test_a_second_run_leaves_every_file_and_exits_with_2(saltreach, folder):
    path = folder / "example" / "teams.csv"
    before = path.read_text()
    done = saltreach("templates", "--out", folder)
    assert done.returncode == 2
    assert "example/holding.geojson, example/register.csv" in done.stderr
    assert "and 34 more; give another --out" in done.stderr
    assert path.read_text() == before
    assert before.splitlines()[0] == embedded_file("demo/teams.csv").read_text().splitlines()[0]
