"""The page of limits and judgement is what its script makes of the code, and misses no number."""

import importlib.util
import math
from pathlib import Path
from typing import Any

import pytest

from helpers.constants import HELD, TECHNICAL, Constant, constants

TOP = Path(__file__).parents[2]


def script():
    """The script, loaded anew: it takes the numbers that the code has now."""
    spec = importlib.util.spec_from_file_location(
        "build_limits", TOP / "data/build/build_limits.py"
    )
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


def others(value: Any):
    """The value with one of its numbers changed, for each of them."""
    if hasattr(value, "_asdict"):
        for fields in others(value._asdict()):
            yield type(value)(**fields)
    elif isinstance(value, dict):
        for name, one in value.items():
            yield from (value | {name: other} for other in others(one))
    elif isinstance(value, tuple):
        for at, one in enumerate(value):
            yield from (value[:at] + (other,) + value[at + 1 :] for other in others(one))
    elif isinstance(value, int | float) and math.isfinite(value):
        yield value + 1 if isinstance(value, int) else 1.1 * value + 0.001


def test_the_page_is_up_to_date():
    made = script()
    assert made.TARGET.read_text(encoding="utf-8") == made.page()


ON_THE_PAGE = [one for one in constants() if not one.kept_for]


@pytest.mark.parametrize("one", ON_THE_PAGE, ids=lambda one: f"{one.module}.{one.name}")
def test_another_number_makes_another_page(one: Constant, monkeypatch):
    page = script().numbers()
    for other in others(one.value):
        with monkeypatch.context() as changed:
            defaults = getattr(one.owner, "_field_defaults", None)
            field = one.name.split(".")[-1]
            if defaults is None:
                changed.setattr(one.owner, field, other)
            else:
                changed.setitem(defaults, field, other)
            assert script().numbers() != page, f"{other} in place of {one.value}: not on the page"


def test_every_number_of_the_page_says_what_it_is():
    assert [one for one in ON_THE_PAGE if not one.note] == []


@pytest.mark.parametrize("kept", [TECHNICAL, HELD], ids=["technical", "held"])
def test_the_lists_name_no_number_that_is_gone(kept):
    named = {(module, name) for module, names in kept.items() for name in names}
    assert named <= {(one.module, one.name) for one in constants()}


def test_what_holds_a_published_number_exists():
    files = {file for names in HELD.values() for file in names.values()}
    assert [file for file in files if not (TOP / "tests/reference" / file).exists()] == []
