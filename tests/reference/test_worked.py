"""Places worked out by hand (`worked/by_hand.py`, one file each in `worked/places`): by value.

Which standard, table or paper stands behind each step is written beside it in the place's file;
how near the tool must come, once for each column, in `worked/tolerance.toml`.
"""

import json
import tomllib
from itertools import chain

import by_hand
import numpy as np
import pandas as pd
import pytest

from helpers import worked
from saltreach.assessment.corrosivity import chloride_at
from saltreach.science.metal.stress_corrosion import scc_hazard
from saltreach.vocabulary.metals import PLACEABLE
from saltreach.vocabulary.words import BANDS, CATEGORIES, CLASSES, YES_NO, YES_NO_UNKNOWN

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
        for group in worked.groups(PLACES, layers_alone=True)
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


def step(name: str, what: str) -> object:
    return next(s["value"] for s in PLACES[name]["step"] if s["what"].startswith(what))


@pytest.mark.pinned("worked", answers=2 * len(PLACES))
def test_salt_at_just_that_distance(answers):
    """The formula by itself: 4 figures stand in the files, and no spread of a distance hides it."""
    table = pd.DataFrame.from_dict(answers, orient="index")
    median, sigma_ln = chloride_at(table)(table[["salt_distance_m"]].to_numpy(float), slice(None))
    for row, name in enumerate(table.index):
        worked_out = step(name, "chloride at just"), step(name, "sigma of its logarithm")
        found = median[row, 0], sigma_ln[row, 0]
        # the share of open sea is given to 3 decimals, and moves a little with the company
        assert found == pytest.approx(worked_out, rel=2.5e-3), name


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


@pytest.mark.parametrize(
    ("column", "name", "other", "ratio"),
    [
        # the one thing that differs, and what the documented weights make of it (judgement)
        ("scc_hazard", "wall", "wall_granite", 1.15),
        ("scc_hazard", "wall_rock_unknown", "wall", 1.0),
        ("scc_hazard_mild", "wall_rock_unknown", "wall_granite", 1.0),
        ("scc_hazard", "wall_seepage_unknown", "wall", 1.01),
        ("scc_hazard", "wall_washing_unknown", "wall", 1.0),
        ("scc_hazard_mild", "wall_washing_unknown", "wall_washed", 1.0),
    ],
)
@pytest.mark.pinned("judgement")
def test_one_unknown_apart(column, name, other, ratio, answers):
    found = answers[name][column] / answers[other][column]
    assert found == pytest.approx(ratio, rel=1e-6)


KNOWN = {
    "rain_washed": "no",
    "warm_month_c": 26.0,
    "sun": 0.5,
    "humidity_share": 0.4,
    "carbonate_rock": 0.0,
    "sulphate": 0.0,
}
"""An invented wall at 20 degC under 60 mg/(m2 d) of chloride."""


@pytest.mark.parametrize(
    ("changed", "mild", "harsh"),
    [
        ({}, 0.265283, 0.265283),
        ({"warm_month_c": np.nan}, 0.209127, 0.278562),
        ({"humidity_share": np.nan}, 0.098363, 0.274913),
        ({"sun": np.nan}, 0.209127, 0.296297),
        ({"carbonate_rock": np.nan}, 0.265283, 0.305076),
        ({"sulphate": np.nan}, 0.267936, 0.267936),
        ({"sulphate": 1.0}, 0.397925, 0.397925),
        ({"rain_washed": "unknown"}, 0.086772, 0.265283),
        ({"rain_washed": "yes"}, 0.086772, 0.086772),
    ],
)
@pytest.mark.pinned("worked", answers=2)
def test_hazard_of_a_wall_with_one_thing_changed(changed, mild, harsh):
    """Worked out by `worked/hand_metal.py: Hazard`, unknowns put at both ends."""
    found = scc_hazard(60.0, 20.0, **KNOWN | changed)
    assert (float(found.mild), float(found.harsh)) == pytest.approx((mild, harsh), abs=1e-6)


@pytest.mark.pinned("judgement")
def test_a_hazard_is_at_most_1():
    """Hot, salt without end, sulphate on limestone: the factors alone make 1.15 x 1.5 x 0.9."""
    worst = {"warm_month_c": 45.0, "sun": 1.0, "carbonate_rock": 1.0, "sulphate": 1.0}
    assert float(scc_hazard(1e6, 45.0, **KNOWN | worst).harsh) == 1.0


CODES = {
    "OUTSIDE-STANDARD",
    "EN-1993-1-4",
    "SEA-CLIFF",
    "SALT-LAKE",
    "ROAD-SALT",
    "WASHING-UNKNOWN",
    "CRUST",
    "CLASS-CONFIDENCE",
    "NO-DUPLEX",
    "SCC-HAZARD",
    "SCC-FLOOR",
    "POLICY",
    "STOCK-SHORT",
    "AVAILABLE",
}
"""Every code of a reason for a metal, but UNKNOWN: the layers always know a distance."""


def test_every_answer_is_met_somewhere():
    def met(column: str) -> set:
        found = [place["expected"].get(column) for place in PLACES.values()]
        return set(chain.from_iterable(v if isinstance(v, list) else [v] for v in found))

    assert met("crc") == set(CLASSES) - {"I"}  # indoors only: its factor is above 0
    assert met("corrosivity_category") == set(CATEGORIES)
    assert met("scc_band") == met("scc_band_confident") == set(BANDS)
    assert met("material_recommended") == {*PLACEABLE, ""}
    assert met("washing") == set(YES_NO_UNKNOWN)
    assert met("sea_cliff") == set(YES_NO)
    assert met("beyond_calibration") == met("outside_standard") == {True, False}
    assert met("material_codes") == CODES


def test_the_files_are_what_by_hand_writes():
    assert by_hand.stale() == []


def test_nothing_by_hand_comes_from_the_tool():
    for file in worked.FOLDER.glob("*.py"):
        lines = file.read_text(encoding="utf-8").splitlines()
        assert not [line for line in lines if "import" in line and "saltreach" in line], file
