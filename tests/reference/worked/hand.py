"""What the worked places share: a place, its sheet of steps, and draws of what is uncertain."""

from __future__ import annotations

import math
import tomllib
from dataclasses import dataclass, field
from functools import cache
from pathlib import Path

import numpy as np
from scipy.stats import norm, qmc

DRAWS = 15  # a power of two: 32,768
UNCERTAIN = ("distance", "salt", "temperature", "humidity", "so2", "function")


@dataclass
class Place:
    """One worked place: what is given, and what has been worked out so far."""

    name: str
    register: dict[str, str]
    layers: dict
    policy: dict
    stock: list[str] | None
    steps: list[dict] = field(default_factory=list)
    expected: dict = field(default_factory=dict)
    known: dict = field(default_factory=dict)

    def said(self, column: str, blank: str = "unknown") -> str:
        """A word of the register; `blank` where the cell is empty."""
        return self.register.get(column) or blank

    def number(self, column: str) -> float | None:
        """A number of the register; None where the cell is empty."""
        text = self.register.get(column)
        return float(text) if text else None

    def step(self, what: str, value, rule: str, source: str):
        """Write a step down; gives its value back."""
        self.steps.append({"what": what, "rule": rule, "source": source, "value": value})
        return value

    def expect(self, **columns) -> None:
        """Columns that the tool must give."""
        self.expected.update(columns)


def read(path: Path) -> Place:
    """The given part of a place's file."""
    given = tomllib.loads(path.read_text(encoding="utf-8"))
    return Place(
        path.stem,
        given["register"],
        given["layers"],
        given.get("policy", {}),
        given.get("stock"),
    )


@cache
def draws() -> dict[str, np.ndarray]:
    """Uniform draws of each uncertain input, the same for every place (Sobol, scrambled)."""
    points = qmc.Sobol(len(UNCERTAIN), seed=20261125).random_base2(DRAWS)
    return dict(zip(UNCERTAIN, points.T, strict=True))


@cache
def normal(name: str) -> np.ndarray:
    """Standard normal draws of an uncertain input."""
    return norm.ppf(draws()[name])


def figures(value, digits: int = 4):
    """A number to some significant digits; words and lists of words as they are."""
    if isinstance(value, (list, tuple)):
        return [figures(v, digits) for v in value]
    if isinstance(value, (bool, np.bool_)):
        return bool(value)
    if isinstance(value, (int, np.integer)):
        return int(value)
    if isinstance(value, (float, np.floating)):
        return float(f"{value:.{digits}g}") if math.isfinite(value) else float(value)
    return value
