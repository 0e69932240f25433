"""Figures that the benchmarks print, each under a name of its own, which README.md gives."""

import ast
from pathlib import Path

SCRIPTS = Path(__file__).parents[1] / "benchmarks"


def figure(name: str, said: str) -> None:
    """Print a figure; its name begins with that of its script and is written out there."""
    print(f"{name}: {said}", flush=True)


def names(script: Path) -> list[str]:
    """The names of the figures of a script."""
    calls = (n for n in ast.walk(ast.parse(script.read_text())) if isinstance(n, ast.Call))
    given = [call.args[0] for call in calls if ast.unparse(call.func) == "figure"]
    return [ast.literal_eval(name) for name in given]
