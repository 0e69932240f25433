"""Places worked out by hand (`worked/by_hand.py`, one file each in `worked/places`): by value.

Which standard, table or paper stands behind each step is written beside it in the place's file;
how near the tool must come, once for each column, in `worked/tolerance.toml`.
"""

import json
import tomllib

import by_hand
import numpy as np
import pytest

from helpers import worked

PLACES = worked.places()
TOLERANCE = tomllib.loads((worked.FOLDER / "tolerance.toml").read_text(encoding="utf-8"))
LISTS = {
    "crc_probabilities": lambda text: list(json.loads(text).values()),
    "category_probabilities": lambda text: list(json.loads(text).values()),
    "material_codes": lambda text: text.split(" | ") if text else [],
}
"""Columns whose text holds a list."""


@pytest.fixture(scope="module")
def answers():
    return {
        name: row
        for group in worked.groups(PLACES)
        for name, row in worked.assessed(PLACES, group).to_dict("index").items()
    }


@pytest.fixture(scope="module")
def layers():
    return {
        name: said
        for group in worked.groups(PLACES)
        for name, said in worked.layers_at(PLACES, group).items()
    }


def near(column: str, want: object, got: object) -> bool:
    """Whether an answer is the expected one; numbers within the column's tolerance."""
    rule = TOLERANCE.get(column, {})
    rule = TOLERANCE[rule["same_as"]] if "same_as" in rule else rule
    if isinstance(want, str) or isinstance(want, list) and isinstance(want[0], str):
        return want == got
    return np.allclose(
        np.asarray(got, float), want, rule.get("relative", 0.0), rule.get("absolute", 0.0)
    )


def off(want: dict, row: dict) -> list[str]:
    """The columns that are not as expected."""
    got = {column: LISTS.get(column, lambda v: v)(row[column]) for column in want}
    return [
        f"{column}: worked out {want[column]}, the tool says {got[column]}"
        for column in want
        if not near(column, want[column], got[column])
    ]


@pytest.mark.parametrize(
    "name",
    [
        pytest.param(n, marks=pytest.mark.pinned("worked", answers=len(p["expected"])))
        for n, p in PLACES.items()
    ],
)
def test_the_tool_says_what_was_worked_out(name, answers):
    assert off(PLACES[name]["expected"], answers[name]) == []


def test_the_layers_still_say_what_the_places_were_given(layers):
    for name, place in PLACES.items():
        given, said = place["layers"], layers[name]
        assert given.keys() == said.keys(), name
        for column, decimals in worked.DECIMALS.items():
            if column in given and decimals is None:
                assert given[column] == said[column], (name, column)
            elif column in given:
                step = 1.5 * 10**-decimals
                np.testing.assert_allclose(said[column], given[column], 0, step, err_msg=name)


def test_the_files_are_what_by_hand_writes():
    assert by_hand.stale() == []


def test_nothing_by_hand_comes_from_the_tool():
    for file in worked.FOLDER.glob("*.py"):
        lines = file.read_text(encoding="utf-8").splitlines()
        assert not [line for line in lines if "import" in line and "saltreach" in line], file
