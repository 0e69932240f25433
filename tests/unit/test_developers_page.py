"""What DEVELOPERS.md says of the house is so: rooms in their order, files, targets, names."""

import importlib
import re
from pathlib import Path

import pytest

from unit.test_layout import GROUPS, ROOMS

TOP = Path(__file__).parents[2]
SOURCE = TOP / "src" / "saltreach"
TEXT = (TOP / "DEVELOPERS.md").read_text(encoding="utf-8")
HOUSE = re.search(r"```\nsrc/saltreach/\n(.*?)```", TEXT, re.DOTALL).group(1)
PLACES = (TOP, SOURCE, SOURCE / "intake", SOURCE / "assessment")


def test_the_rooms_stand_in_the_order_of_their_imports():
    named = re.findall(r"^  (\w+)(?:/|\.py)", HOUSE, re.MULTILINE)
    assert tuple(named) == ROOMS
    assert ", ".join(GROUPS) in HOUSE


def test_every_folder_of_the_top_is_named():
    named = set(re.findall(r"^(\w+)/", TEXT, re.MULTILINE))
    assert named == {"src", "data", "notebooks", "tests"}
    assert all((TOP / name).is_dir() for name in named)


FILES = sorted(set(re.findall(r"[\w/]*\w+\.(?:py|csv)", TEXT)))


@pytest.mark.parametrize("name", FILES)
def test_every_file_named_is_there(name):
    found = [place / name for place in PLACES if (place / name).is_file()]
    found += [] if "/" in name else [*SOURCE.rglob(name), *(TOP / "tests").rglob(name)]
    assert found


def test_every_target_named_is_in_the_makefile():
    targets = set(re.findall(r"`make (\w+)`", TEXT))
    assert len(targets) >= 6
    phony = re.search(r"\.PHONY: (.*)", (TOP / "Makefile").read_text()).group(1).split()
    assert targets <= set(phony)


@pytest.mark.parametrize(
    ("module", "name"),
    [(m, n) for m, n in re.findall(r"`([a-z_/]+)\.py: (\w+)`", TEXT)],
)
def test_every_name_in_a_file_is_there(module, name):
    assert hasattr(importlib.import_module(f"saltreach.{module.replace('/', '.')}"), name)


@pytest.mark.parametrize(
    ("module", "name"),
    [
        ("intake.sheets", "read_table"), ("intake.settings", "record"),
        ("science.labelled", "labelled"), ("layers.layer", "Layer"),
        ("assessment.reasons", "Reasons"), ("outputs.tables.results", "spreadsheet_safe"),
    ],
)  # fmt: skip
def test_what_the_steps_call_by_name_is_there(module, name):
    assert name in TEXT
    assert hasattr(importlib.import_module(f"saltreach.{module}"), name)


def test_every_command_has_a_file_of_its_own():
    files = {p.stem for p in (SOURCE / "cli" / "commands").glob("[a-z]*.py")}
    for file in files:
        text = (SOURCE / "cli" / "commands" / f"{file}.py").read_text(encoding="utf-8")
        assert len(re.findall(r"app\.(?:command|add_typer)\(", text)) == 1, file
