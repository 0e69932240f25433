"""The house: imports run one way, at every level, in every file, wherever they stand."""

import ast
from functools import cache
from pathlib import Path

import pytest

SOURCE = Path(__file__).parents[2] / "src" / "saltreach"
ROOMS = (
    "errors", "workers", "vocabulary", "science", "folders", "intake", "layers", "assessment",
    "planning", "records", "outputs", "cli",
)  # fmt: skip
"""From the ground up: a room imports only from itself and those before it."""
FRONT = ("__init__", "__main__")
"""The front doors open every room and no room imports them (but for the version)."""
GROUPS = ("air", "metal", "rock", "time")
"""Of science; a group imports only from those before it."""
FILES = sorted(SOURCE.rglob("*.py"))


def module_of(path: Path) -> str:
    parts = path.relative_to(SOURCE.parent).with_suffix("").parts
    return ".".join(parts[:-1] if parts[-1] == "__init__" else parts)


MODULES = {module_of(path): path for path in FILES}


def imports(path: Path) -> set[str]:
    """Modules of saltreach that a file imports, at its top or inside a function."""
    found = set()
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.ImportFrom):
            assert node.level == 0, f"{path}: imports are written in full"
            names = [f"{node.module}.{alias.name}" for alias in node.names]
            found |= {n if n in MODULES else node.module for n in names}
        elif isinstance(node, ast.Import):
            found |= {alias.name for alias in node.names}
    return {name for name in found if name in MODULES}


@cache
def graph() -> dict[str, set[str]]:
    """What each file imports of the package; not while tests are collected."""
    return {name: imports(path) - {name} for name, path in MODULES.items()}


def room_of(name: str) -> str:
    return (name.split(".") + ["__init__"])[1]


def test_every_file_stands_in_a_room():
    assert {room_of(name) for name in MODULES} == {*ROOMS, *FRONT}


@pytest.mark.parametrize("name", sorted(MODULES))
def test_a_file_imports_only_from_its_own_room_and_those_before_it(name):
    if room_of(name) in FRONT:
        return
    allowed = ROOMS[: ROOMS.index(room_of(name)) + 1]
    wrong = {n for n in graph()[name] if room_of(n) not in allowed}
    assert wrong <= ({"saltreach"} if room_of(name) == "cli" else set())


@pytest.mark.parametrize("name", sorted(n for n in MODULES if n.startswith("saltreach.science.")))
def test_a_group_of_science_imports_only_from_those_before_it(name):
    group = (name.split(".")[2:] or [""])[0]
    # what all groups share knows none of them
    later = GROUPS[GROUPS.index(group) + 1 :] if group in GROUPS else GROUPS
    assert not {n for n in graph()[name] if n.split(".")[1:2] == ["science"]
                and n.split(".")[2:3] and n.split(".")[2] in later}  # fmt: skip


def test_no_file_comes_back_to_itself():
    """No circle of imports, those inside functions and for type checkers included."""
    open_, done = [], set()

    def walk(name: str) -> None:
        assert name not in open_, " > ".join([*open_[open_.index(name) :], name])
        if name in done:
            return
        open_.append(name)
        for other in sorted(graph()[name]):
            walk(other)
        open_.pop()
        done.add(name)

    for name in graph():
        walk(name)


def test_science_knows_no_tables_no_geography_and_no_files():
    tables = ("pandas", "geopandas", "pathlib", "csv", "json", "saltreach.intake")
    for path in (SOURCE / "science").rglob("*.py"):
        text = path.read_text(encoding="utf-8")
        assert not [t for t in tables if f"import {t}" in text or f"from {t}" in text], path.name


READS = ("read_csv", "read_excel", "read_file", "read_parquet", "tomllib", "load_workbook")


def test_outputs_read_nothing_a_user_hands_in():
    for path in (SOURCE / "outputs").rglob("*.py"):
        text = path.read_text(encoding="utf-8")
        assert not [word for word in READS if word in text], path.name
