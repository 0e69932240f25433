"""Templates hold every column and name, and say what a reader accepts."""

import tomllib
from dataclasses import replace

import openpyxl
import pandas as pd
import pytest

from saltreach.errors import OptionError
from saltreach.intake.prices import read_prices
from saltreach.intake.settings import schema_of
from saltreach.intake.tables import TABLES
from saltreach.intake.templates import REGISTER, SETTINGS, example_settings, file_name, toml_of
from saltreach.layers.embedded import embedded_file
from saltreach.outputs.tables.templates import write_templates

DEMO = embedded_file("demo/anchors.csv").parent


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    out = tmp_path_factory.mktemp("templates")
    write_templates(out, DEMO)
    return out


def settable(model):
    return [n for n, part in schema_of(model)["properties"].items() if not part.get("readOnly")]


@pytest.mark.parametrize("name", SETTINGS)
def test_an_empty_settings_file_names_everything_and_sets_nothing(name):
    text = toml_of(SETTINGS[name])
    assert tomllib.loads(text) == {}
    for said in settable(SETTINGS[name]):
        assert f"# {said} = " in text or f"# [{said}]" in text or f"# [[{said}]]" in text
    assert " # (" not in text and "\n# (" not in text  # each has a meaning


@pytest.mark.parametrize("name", SETTINGS)
def test_an_example_says_what_the_demo_says(name):
    values = example_settings(DEMO)[name]
    assert tomllib.loads(toml_of(SETTINGS[name], values)) == values


def test_what_the_comments_of_options_and_policy_say_is_accepted_when_set():
    for name in ("options", "policy"):
        model = SETTINGS[name]
        lines = toml_of(model).splitlines()
        given = tomllib.loads("\n".join(line[2:] for line in lines if " = " in line))
        known = set(settable(model))
        values = {n: v for n, v in given.items() if n in known and n != "rock_column"}
        assert len(values) > 5
        model(**values)


def test_every_column_is_in_the_example_and_in_the_empty_sheet(folder):
    for table in (REGISTER, *TABLES):
        names = list(table.columns)
        example, empty = (
            pd.read_csv(folder / kind / file_name(table), dtype=str)
            for kind in ("example", "empty")
        )
        assert list(example.columns) == list(empty.columns) == names
        assert len(empty) == 0 and len(example) > 0
        needed = [n for n, c in table.columns.items() if c.required]
        assert example[needed].notna().all(axis=None)


def test_the_workbook_has_a_sheet_for_each_table_and_one_that_explains(folder):
    book = openpyxl.load_workbook(folder / "empty" / "tables.xlsx", read_only=True)
    assert book.sheetnames == ["About", "register", *(t.name for t in TABLES), "columns"]
    told = list(book["columns"].iter_rows(min_row=2, values_only=True))
    assert len(told) == sum(len(t.columns) for t in (REGISTER, *TABLES))
    assert all(row[0] and row[1] and row[-1] for row in told)
    book.close()


def test_nothing_is_overwritten(tmp_path):
    (tmp_path / "empty").mkdir()
    (tmp_path / "empty" / "teams.csv").write_text("mine")
    with pytest.raises(OptionError, match=r"left as it is: empty/teams\.csv; give another --out"):
        write_templates(tmp_path, DEMO)
    assert (tmp_path / "empty" / "teams.csv").read_text() == "mine"
    assert not (tmp_path / "example").exists()


def test_invented_prices_stay_invented_in_a_table(folder):
    toml, table = (read_prices(folder / "example" / f"prices.{end}") for end in ("toml", "csv"))
    assert toml.example and table == replace(toml, source="prices.csv")
