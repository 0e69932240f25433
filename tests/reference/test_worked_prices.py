"""Priced choices worked by hand, `worked/prices`: every column of the tables of priorities.

The place of each file is invented; its steps say how each answer was reached on paper, and where
its numbers come from.
"""

import tomllib
from functools import cache
from io import StringIO
from pathlib import Path

import pandas as pd
import pytest

from saltreach.assessment.result import Assessment, Flat
from saltreach.intake.prices import Piece, Prices
from saltreach.planning.priorities import priorities
from saltreach.vocabulary.columns import columns_of

WORKED = {
    path.stem: tomllib.loads(path.read_text(encoding="utf-8"))
    for path in sorted((Path(__file__).parent / "worked" / "prices").glob("*.toml"))
}
NEW_METAL = 0.006
"""Percent: what a new anchor's own chance, left out on paper, takes from a share at most."""


WORDS = (
    "sector", "sea_cliff", "risk_band", "kind_advised", "material_recommended",
    "material_alternative", "position", "action", "scope", "metal", "kind", "piece",
    "size_assumed", "chosen",
)  # fmt: skip
"""Columns of text; all others hold numbers, NaN where a cell is empty."""


def table(text):
    """Cells between bars."""
    frame = pd.read_csv(StringIO(text.strip()), sep="|", dtype=str, keep_default_na=False)
    frame = frame.rename(columns=str.strip).map(str.strip)
    return frame.apply(number_or_text)


def number_or_text(column):
    if column.name in WORDS:
        return column
    return pd.to_numeric(column)


def assessment(places):
    sectors = table(places["sectors"]).assign(crag="Alder")
    anchors = table(places["anchors"]).rename(
        columns={"chance": "failure_probability_y1", "depth": "embedment_required_mm"}
    )
    kept = {
        "crag": "Alder", "rock_probability_after": 0.0, "scc_hazard": 0.0, "zinc_rate_um_y": 1.0,
        "steel_rate_um_y": 20.0, "diameter_required_mm": 12.0, "material_recommended": "316",
        "visits_per_year": 100.0,
    }  # fmt: skip
    anchors = anchors.assign(**kept)
    if "kind_advised" not in anchors:
        anchors["kind_advised"] = "bonded"
    return Assessment(
        Flat(anchors, sectors, sectors, sectors.iloc[:0]),
        {"time": "2027-01-01T10:00:00+00:00", "policy": {"loosened": []}},
    )


def prices(given):
    priced = {(kind, metal): price for kind in ("bonded", "mechanical")
              for metal, price in given.get(kind, {}).items()}  # fmt: skip
    rest = {k: v for k, v in given.items() if k not in ("bonded", "mechanical", "stock")}
    return Prices(anchors=priced, stock=tuple(Piece(**p) for p in given.get("stock", ())), **rest)


@cache
def asked(name, at):
    place, answer = WORKED[name], WORKED[name]["answers"][at]
    return priorities(
        assessment(place["places"]), answer["budget"], prices(place["prices"]),
        **place.get("limits", {}),
    )  # fmt: skip


def same(found, text):
    """Every cell of a table, the shares to what was left out on paper."""
    expected = table(text)
    assert len(found) == len(expected)
    for name in expected:
        here, there = found[name].reset_index(drop=True), expected[name]
        if name not in WORDS:
            here = here.astype(float)
            near = NEW_METAL if name.startswith("avoided") else 1e-9
            assert here.tolist() == pytest.approx(there.tolist(), abs=near, nan_ok=True), name
        else:
            here = here.astype(object).where(here.notna(), "")
            assert here.tolist() == there.tolist(), name


def cells(text):
    return len(table(text).stack(future_stack=True))


ANSWERS = [
    pytest.param(name, at, answer, id=f"{name} {answer['budget']:g}")
    for name, place in WORKED.items()
    for at, answer in enumerate(place["answers"])
]


def with_table(what):
    return [
        pytest.param(
            *p.values, id=p.id, marks=pytest.mark.pinned("worked", answers=cells(p.values[2][what]))
        )
        for p in ANSWERS
        if what in p.values[2]
    ]


@pytest.mark.parametrize(("name", "at", "answer"), with_table("sectors"))
def test_what_is_bought_and_what_is_left(name, at, answer):
    found = asked(name, at).flat.sectors
    shown = {"crag", "sea_cliff", "risk_band", "caution"}  # of the input, not of the choice
    listed = set(table(answer["sectors"]))
    assert listed == set(columns_of("priorities")) - shown
    assert set(found) == listed | (shown - {"caution"})
    same(found, answer["sectors"])
    given = table(WORKED[name]["places"]["sectors"]).set_index("sector")
    for word in ("sea_cliff", "risk_band"):
        assert found[word].tolist() == given.loc[found["sector"], word].tolist()


@pytest.mark.parametrize(("name", "at", "answer"), with_table("shopping"))
def test_what_to_buy(name, at, answer):
    found = asked(name, at).flat.shopping
    assert set(found) == set(columns_of("shopping")) - {"caution"} == set(table(answer["shopping"]))
    same(found, answer["shopping"])


@pytest.mark.parametrize(("name", "at", "answer"), with_table("curve"))
def test_what_more_and_less_money_would_do(name, at, answer):
    """26 budgets from nothing to all that can be done, and the one asked for."""
    steps = table(answer["curve"])
    budgets = {round(answer["all"] * i / 25, 2) for i in range(26)} | {answer["budget"]}
    found = asked(name, at).flat.curve
    assert found["budget"].tolist() == sorted(budgets)
    step = steps["from"].searchsorted(found["budget"] + 1e-9) - 1
    assert set(found) == set(columns_of("budget_curve")) - {"caution"}
    for column in steps.columns.drop("from"):
        near = NEW_METAL if column.startswith("avoided") else 1e-9
        expected = steps[column].to_numpy()[step]
        assert found[column].to_numpy() == pytest.approx(expected, abs=near), column


@pytest.mark.pinned("worked")
@pytest.mark.parametrize(
    ("name", "at", "answer"), [p for p in ANSWERS if {"notes", "chosen"} & set(p.values[2])]
)
def test_what_is_said_and_what_a_cent_decides(name, at, answer):
    made = asked(name, at)
    if "notes" in answer:
        assert made.notes == answer["notes"]
    else:
        bought = made.flat.sectors.loc[made.flat.sectors["chosen"] == "yes", "sector"]
        assert sorted(bought) == answer["chosen"]


def test_the_places_hold_what_they_should():
    assert len(WORKED) >= 6 and all(place["steps"].strip() for place in WORKED.values())
