"""Modules of a package, loaded when they are first asked for."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from importlib import import_module
from types import ModuleType


def modules_of(package: str, names: Sequence[str]) -> Callable[[str], ModuleType]:
    """A `__getattr__` for a package that loads each of its modules on first use.

    Examples
    --------
    >>> modules_of("saltreach.science", ["lookup"])("lookup").__name__
    'saltreach.science.lookup'
    """

    def load(name: str) -> ModuleType:
        if name in names:
            return import_module(f"{package}.{name}")
        raise AttributeError(f"module {package!r} has no attribute {name!r}")

    return load
