"""The tool that changes rules and numbers (`tests/mutants`): what it changes, and what it sees."""

import ast
import fnmatch
import json
import subprocess
import sys
import tomllib
from pathlib import Path

import pytest

TOOL = Path(__file__).parents[1] / "mutants"
sys.path.insert(0, str(TOOL))
import changes  # noqa: E402

SOURCE = '''
"""A text."""
LIMIT = 0.5
BAND = "severe"
SMALL = 1e-9

def risk(p: float, floor: str = "low") -> str:
    """Another text."""
    if p < LIMIT and not done(p):
        raise ValueError("low 1")
    say(p)
    return np.where(p > 2, BAND, f"{p:.3f} low")
'''

MADE = {
    "x:LIMIT: 0.5 -> 0.6": "LIMIT = 0.6",
    "x:BAND: 'severe' -> 'low'": "BAND = 'low'",
    "x:risk: 'low' -> 'moderate'": "floor: str='moderate'",
    "x:risk: p < LIMIT and (not done(p)): and -> or": "if p < LIMIT or not done(p):",
    "x:risk: p < LIMIT: < -> <=": "if p <= LIMIT and",
    "x:risk: not done(p): sign left out": "if p < LIMIT and done(p):",
    "x:risk: left out: say(p)": "pass",
    "x:risk: np.where(p > 2, BAND, f'{p:.3f} low'): cases swapped": "low', BAND)",
    "x:risk: p > 2: > -> >=": "p >= 2",
    "x:risk: 2 -> 3": "p > 3",
}


def test_rules_numbers_and_words_are_changed_and_texts_are_not():
    found = {c.name: c for c in changes.changes("x", SOURCE)}
    assert set(found) == set(MADE)
    for name, line in MADE.items():
        made = ast.unparse(changes.changed(found[name], SOURCE))
        assert line in made
        compile(made, "x", "exec")
        assert ast.unparse(ast.parse(SOURCE)).count("\n") == made.count("\n")


def test_a_change_knows_the_function_to_put_it_into_and_the_lines_that_run_it():
    found = {c.name: c for c in changes.changes("x", SOURCE)}
    assert found["x:risk: 2 -> 3"].inside == ("risk", 7)
    assert list(found["x:risk: 2 -> 3"].lines) == [12]
    assert found["x:risk: 'low' -> 'moderate'"].inside is None  # a default is made by the import
    assert found["x:LIMIT: 0.5 -> 0.6"].inside is None


def test_every_listed_change_without_effect_is_one_that_is_made():
    listed = tomllib.loads((TOOL / "equivalents.toml").read_text(encoding="utf-8"))
    names = [c.name for module in changes.modules() for c in changes.changes(module)]
    stale = [p for p in listed if not fnmatch.filter(names, p.replace("[", "[[]"))]
    assert not stale
    assert all(listed.values())


SEEN_AND_NOT = """
import functools, json, os, sys
sys.path.insert(0, "tests/mutants")
import changes, runner
change = next(
    c for c in changes.changes("saltreach.science.rock.rebound")
    if c.name == "science.rock.rebound:rebound_strength_mpa: 1.01 -> 1.212"
)
runner.forget_saltreach()
related, other = ["tests/reference/test_rock.py"], ["tests/unit/test_tables.py"]
found = {}
for name, files in (("related", related), ("other", other)):
    found |= {f"{name} afresh": runner.run_sample([(change, files)], 1)[change.name][0]}
    job = functools.partial(runner.warm, [(change, files)], files, 1, 120.0)
    found |= {f"{name} in place": next(iter(runner.in_forks([("", job)], 1, 120.0)))[1][0][1][0]}
print(json.dumps(found))
"""


@pytest.mark.parametrize("way", ["afresh", "in place"])
def test_a_change_is_seen_by_the_tests_it_breaks_and_by_no_other(changed_once, way):
    assert changed_once[f"related {way}"] == "seen"
    assert changed_once[f"other {way}"] == "alive"


@pytest.fixture(scope="module")
def changed_once():
    run = subprocess.run(
        [sys.executable, "-c", SEEN_AND_NOT],
        cwd=TOOL.parents[1], capture_output=True, text=True, check=True,
    )  # fmt: skip
    return json.loads(run.stdout.splitlines()[-1])


SOLVES_IN_A_FORK = """
import runner
from saltreach.planning.highs import minimise
from math import inf
def solved():
    rows = [([(i, 5 + i * k % 11) for i in range(30)], -inf, 40) for k in range(2, 9)]
    return minimise({i: -10 - i % 7 for i in range(30)}, [1] * 30, rows).proven
assert solved()
runner.leave_no_threads()
print(dict(runner.in_forks([("", solved)], 1, 60.0)))
"""


def test_a_fork_of_a_process_that_has_solved_a_plan_can_solve_one():
    """What waits for threads that it has not would count as seen, by time."""
    done = subprocess.run(
        [sys.executable, "-c", SOLVES_IN_A_FORK], cwd=TOOL, capture_output=True, text=True
    )
    assert done.stdout == "{'': True}\n", done.stderr
