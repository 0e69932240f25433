"""Every figure that README.md states names the line of a benchmark that makes it."""

import ast
import re
from pathlib import Path

from benchmarks.running import PARTS
from helpers.figures import SCRIPTS, names

TOP = Path(__file__).parents[2]
MADE = {script: names(script) for script in sorted(SCRIPTS.glob("bench_*.py"))}
TABLE = re.search(
    r"^## Measured\n.*?^\|---.*?\n(.*?)\n\n",
    (TOP / "README.md").read_text(),
    re.DOTALL | re.MULTILINE,
)
ROWS = [[cell.strip() for cell in row.strip("|").split(" | ")] for row in TABLE[1].splitlines()]


def test_every_row_names_lines_that_a_benchmark_prints():
    made = {name for found in MADE.values() for name in found}
    named = [re.findall("`([^`]+)`", row[-1]) for row in ROWS]
    assert all(len(row) == 3 for row in ROWS)
    assert all(named)
    assert {name for lines in named for name in lines} <= made


def test_a_name_begins_with_its_script():
    for script, found in MADE.items():
        assert found
        assert {name.split(" / ")[0] for name in found} == {script.stem.removeprefix("bench_")}


def test_make_bench_runs_every_script():
    recipe = re.search(r"^bench:.*?\n\n", (TOP / "Makefile").read_text(), re.DOTALL | re.MULTILINE)
    assert re.findall(r"python (tests/benchmarks\S*)", recipe[0]) == ["tests/benchmarks"]
    assert [f"bench_{part}" for part in PARTS] == [script.stem for script in MADE]
    for script in MADE:
        top = ast.parse(script.read_text(encoding="utf-8")).body
        assert "measures" in {node.name for node in top if isinstance(node, ast.FunctionDef)}
