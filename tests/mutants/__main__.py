"""Changes one rule or number at a time, and says which change no test sees.

A module passes where its tests see 95 % of its changes, those without effect apart. Example:
python tests/mutants science.air.salt --record build/salt.json
"""

from __future__ import annotations

import argparse
import ast
import fnmatch
import functools
import hashlib
import importlib
import json
import os
import sys
import tomllib
from pathlib import Path

# before numpy and dask: a fork has none of the threads of what it was forked from
os.environ["OMP_NUM_THREADS"] = os.environ["OPENBLAS_NUM_THREADS"] = "1"
os.environ["DASK_SCHEDULER"] = "synchronous"

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

import changes
import runner

from helpers.constants import TECHNICAL

HERE = Path(__file__).parent
LISTED = HERE / "equivalents.toml"
GOAL = 0.95
"""Share of the changes of each module, those without effect apart, that some test must see."""
PAGE = "tests/unit/test_limits_page.py::test_the_page_is_up_to_date"
WORKED = [f"tests/reference/test_worked{part}.py" for part in ("", "_anchors")]
EVERYWHERE = {
    "science": [PAGE, *WORKED],
    "assessment": [PAGE, *WORKED, "tests/reference/test_places_decided.py"],
    "planning": [
        PAGE,
        "tests/unit/test_planning_python.py",
        *(f"tests/reference/test_worked_{part}.py" for part in ("prices", "plans")),
    ],
    "layers": [
        PAGE,
        "tests/reference/test_worked.py::test_the_layers_still_say_what_the_places_were_given",
    ],
}
"""Tests that go through a whole room, beside those that import its module."""
FOLDERS = ("unit", "reference", "property")


def tests_of(module: str) -> list[str]:
    """The module for its doctests, the files of tests that import it, and those of its room.

    A file that imports a world made by a helper imports what that world is made of.
    """
    own = str(changes.path_of(module).relative_to(runner.TOP))
    found, tests = [own], runner.TOP / "tests"
    worlds = {f"helpers.{path.stem}" for path in (tests / "helpers").glob("*_world.py")
              if module in imported(path)}  # fmt: skip
    for folder in FOLDERS:
        for path in sorted((tests / folder).glob("test_*.py")):
            if not {module, *worlds}.isdisjoint(imported(path)):
                found.append(str(path.relative_to(runner.TOP)))
    return list(dict.fromkeys([*found, *EVERYWHERE[module.split(".")[1]]]))


@functools.cache
def imported(path: Path) -> set[str]:
    """Every dotted name that a file of tests imports."""
    names: set[str] = set()
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            names.update(alias.name for alias in node.names)
        elif isinstance(node, ast.ImportFrom) and node.module:
            names.add(node.module)
            names.update(f"{node.module}.{alias.name}" for alias in node.names)
    return names


def without_effect(name: str) -> str | None:
    """Why a change has no effect: a number that is technical, or as `equivalents.toml` lists it."""
    module, given = name.split(": ")[0].split(":")
    technical, names = TECHNICAL.get(module, {}), given.strip("()").split(", ")
    if technical.keys() >= set(names):
        return technical[names[0]]
    for pattern, why in tomllib.loads(LISTED.read_text(encoding="utf-8")).items():
        if fnmatch.fnmatchcase(name, pattern.replace("[", "[[]")):
            return why
    return None


def drawn(name: str, seed: int) -> float:
    """A number from 0 to 1 that a change keeps whatever else is changed in the code."""
    digest = hashlib.sha256(f"{seed} {name}".encode()).digest()
    return int.from_bytes(digest[:8]) / 2**64


def report(module: str, found: dict[str, tuple[str, str]], without: int) -> int:
    """Prints what lived, and how many did not; gives their number."""
    alive = sorted((name, by) for name, (what, by) in found.items() if what == runner.ALIVE)
    for name, by in alive:
        print(f"  alive  {name}" + (f" ({by})" if by else ""))
    seen = len(found) - len(alive)
    share = f"{seen / len(found):.0%}" if found else "none"
    late = sum(what == runner.LATE for what, _ in found.values())
    by_time = f", {late} of them by time" if late else ""
    told = f"{seen} of {len(found)} seen ({share}){by_time}, {without} without effect"
    print(f"{module}: {told}", flush=True)
    return seen


def main() -> int:
    """Prints what lived and the score of each module; 1 where a score is below the goal."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("modules", nargs="*", help="science.air.salt, planning ...; default all")
    parser.add_argument(
        "--sample", type=float, default=0.0,
        help="try this share of the changes, and judge them together: 0.01 takes one in 100",
    )  # fmt: skip
    parser.add_argument("--seed", type=int, default=1, help="another sample")
    parser.add_argument("--workers", type=int, default=os.cpu_count())
    parser.add_argument("--record", type=Path, help="write what became of each change (JSON)")
    args = parser.parse_args()
    os.chdir(runner.TOP)
    wanted = tuple(f"saltreach.{m}" for m in args.modules) or ("",)
    for name in wanted:
        if not any(m.startswith(name) for m in changes.modules()):
            parser.error(f"no module of {', '.join(changes.ROOMS)} is called {name}")
    chosen = {m: changes.changes(m) for m in changes.modules() if m.startswith(wanted)}
    if args.sample:
        chosen = {
            m: [c for c in own if drawn(c.name, args.seed) < args.sample]
            for m, own in chosen.items()
        }
    tried = {m: [c for c in own if without_effect(c.name) is None] for m, own in chosen.items()}
    for name in runner.READY:
        importlib.import_module(name)
    runner.forget_saltreach()
    if args.sample:
        pairs = [(c, tests_of(m)) for m, own in tried.items() for c in own]
        found = runner.run_sample(pairs, args.workers)
        without = sum(map(len, chosen.values())) - len(pairs)
        if len(found) < len(pairs):
            print(f"{len(pairs) - len(found)} not tried: this run's time was over")
        return int(report("sample", found, without) < GOAL * len(found))
    below, record = [], {}
    for module, own in tried.items():
        if not own:
            continue
        found = runner.run_module(own, tests_of(module), args.workers)
        record |= found
        if report(module, found, len(chosen[module]) - len(own)) < GOAL * len(own):
            below.append(module)
        if args.record:
            args.record.parent.mkdir(exist_ok=True)
            args.record.write_text(json.dumps(record, indent=1))
    print("below the goal: " + (", ".join(below) or "none"))
    return int(bool(below))


if __name__ == "__main__":
    sys.exit(main())
