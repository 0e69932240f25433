"""Data flows one way: a folder imports only from those before it."""

import ast
from pathlib import Path

import pytest

SOURCE = Path(__file__).parents[2] / "src" / "saltreach"
FREE = {"errors", "materials", "options", "columns"}
ORDER = ("science", "register", "layers", "decisions", "views")


def imports(path):
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.ImportFrom) and (node.module or "").startswith("saltreach."):
            yield node.module.split(".")[1:]


@pytest.mark.parametrize("folder", ORDER)
def test_a_folder_imports_only_from_those_before_it(folder):
    later = set(ORDER[ORDER.index(folder) + 1 :])
    wrong = [
        (path.name, ".".join(module))
        for path in (SOURCE / folder).glob("*.py")
        for module in imports(path)
        if module[0] in later
    ]
    assert not wrong


def test_science_knows_no_tables_and_no_geography():
    tables = ("pandas", "geopandas", "saltreach.intake", "saltreach.layers", "xarray")
    for path in (SOURCE / "science").glob("*.py"):
        text = path.read_text(encoding="utf-8")
        assert not [t for t in tables if f"import {t}" in text or f"from {t}" in text], path.name
