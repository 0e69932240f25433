"""Plans worked by hand, `worked/plans`: every visit, what it costs, and what cannot be met.

The place of each file is invented; its steps say why no other plan is as good. Then seeded cases
whose optimum a reference library gives: scipy's assignment, which is no search of a tree.
"""

import datetime as dt
import tomllib
from dataclasses import asdict
from functools import cache
from io import StringIO
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from scipy.optimize import linear_sum_assignment

from helpers.planning_world import problem, sectors, sheet, team
from saltreach.assessment.result import Assessment, Flat
from saltreach.intake.plan_file import VISIT_COLUMNS
from saltreach.planning.plan import make_plan, plan, workload
from saltreach.planning.visits import CHANGE_COLUMNS
from saltreach.vocabulary.columns import columns_of

WORKED = {
    path.stem: tomllib.loads(path.read_text(encoding="utf-8"))
    for path in sorted((Path(__file__).parent / "worked" / "plans").glob("*.toml"))
}
NODES = 1000
"""Enough to prove these optima."""
TABLES = ("teams", "windows", "tides", "needs", "travel", "done", "rebolt")


def table(text):
    frame = pd.read_csv(StringIO(text.strip()), sep="|", dtype=str, keep_default_na=False)
    return frame.rename(columns=str.strip).map(str.strip)


def assessment(text):
    frame = table(text)
    whole = {"anchors": int, "inspection_interval_months": "Int64"}
    frame = frame.astype({**whole, **({"priority_rank": int} if "priority_rank" in frame else {})})
    places = frame[["crag"]].assign(lon=1.0, lat=44.0)
    return Assessment(
        Flat(places, frame, frame, frame.iloc[:0]),
        {
            "time": "2027-01-01T10:00:00+00:00",
            "assessed_for": "2026-11-01",
            "policy": {"loosened": []},
        },
    )


@cache
def made(name):
    given = WORKED[name]
    tables = {what: table(given[what]) for what in TABLES if what in given}
    if "last" in given:
        last = table(given["last"])
        tables["last_plan"] = last.assign(
            **{n: "0" for n in VISIT_COLUMNS if n not in last}  # of no use to a new plan
        )
    return plan(
        assessment(given["sectors"]), tables.pop("teams"), start=given["start"], nodes=NODES,
        **tables, **given["options"],
    )  # fmt: skip


def same(found, text):
    expected = table(text)
    assert len(found) == len(expected)
    for name in expected:
        if pd.api.types.is_numeric_dtype(found[name]):
            assert found[name].tolist() == pytest.approx(expected[name].astype(float).tolist()), (
                name
            )
        else:
            assert found[name].tolist() == expected[name].tolist(), name


def with_table(what):
    return [
        pytest.param(
            name, place["expected"][what], id=name,
            marks=pytest.mark.pinned("worked", answers=table(place["expected"][what]).size),
        )
        for name, place in WORKED.items()
        if what in place["expected"]
    ]  # fmt: skip


@pytest.mark.parametrize(("name", "text"), with_table("visits"))
def test_every_visit(name, text):
    found = made(name)
    assert found.rejected.empty
    assert set(table(text)) >= set(VISIT_COLUMNS) - {"visit_id"}
    same(found.flat.visits, text)


@pytest.mark.parametrize(("name", "text"), with_table("unmet"))
def test_what_cannot_be_met_and_what_mends_it(name, text):
    assert set(table(text)) == set(columns_of("unmet")) - {"caution"}
    same(made(name).flat.unmet, text)


def test_all_is_met_where_nothing_is_expected_to_be_late():
    for name, place in WORKED.items():
        assert len(made(name).flat.unmet) == ("unmet" in place["expected"]), name


@pytest.mark.parametrize(("name", "text"), with_table("changes"))
def test_what_changed(name, text):
    assert set(table(text)) == set(CHANGE_COLUMNS)
    same(made(name).flat.changes, text)


@pytest.mark.parametrize(("name", "text"), with_table("months"))
def test_the_work_of_each_month(name, text):
    found = made(name).flat.months
    assert set(table(text)) == {"month", *found.columns}
    same(found.reset_index(), text)


@pytest.mark.pinned("worked", answers=18)
@pytest.mark.parametrize("name", WORKED)
def test_what_the_plan_costs(name):
    found, expected = made(name), WORKED[name]["expected"]
    cost = asdict(found.cost)
    assert list(cost.pop("load")) == pytest.approx(expected["cost"]["load"], abs=1e-9)
    assert cost == {k: v for k, v in expected["cost"].items() if k != "load"}
    assert (found.proven, found.bound_min) == (True, expected["cost"]["total_min"])
    assert (found.gap, found.gap_of_avoidable) == (0.0, 0.0)
    assert found.forced_min == expected["forced_min"]
    assert found.kept == expected.get("kept", 0)
    assert list(found.notes) == expected.get("notes", [])
    assert workload(found.problem) == expected["workload"]


def test_the_plans_hold_what_they_should():
    assert len(WORKED) >= 4 and all(place["steps"].strip() for place in WORKED.values())


@pytest.mark.pinned("peer")
@pytest.mark.parametrize("seed", range(12))
def test_of_one_sector_a_day_the_plan_is_the_assignment(seed):
    """Sectors of 5 h 15, each seen once: the least of scipy's `linear_sum_assignment`.

    The cost of a pair is counted here from the dates: days after the due day at the price of its
    band, 30 min to pack, the way there and back, the work; left out, all days to the end.
    """
    rng = np.random.default_rng(seed)
    count, end = 5, dt.date(2027, 5, 1)
    bands = rng.choice(["low", "moderate", "raised", "high", "severe"], count)
    due = [dt.date(2027, 1, 1) + dt.timedelta(int(d)) for d in rng.integers(0, 110, count)]
    hours = rng.integers(2, 5, (2, count)) / 4
    crags = [f"Crag {i}" for i in range(count)]
    frame = sectors(
        count, crag=crags, anchors=31, risk_band=bands, next_inspection_on=[str(d) for d in due],
        inspection_interval_months=pd.array([60] * count, dtype="Int64"),
    )  # fmt: skip
    legs = [{"from": t, "to": c, "hours": hours[i, j]}
            for i, t in enumerate("AB") for j, c in enumerate(crags)]  # fmt: skip
    world = problem(
        frame, [team("A", days_free=("1SA",)), team("B", days_free=("3SU",))], years=1 / 3,
        unfair_hours=0, tables={"travel": sheet(*legs)},
    )  # fmt: skip
    days = [(0, dt.date(2027, m, d)) for m, d in ((1, 2), (2, 6), (3, 6), (4, 3))]
    days += [(1, dt.date(2027, m, d)) for m, d in ((1, 17), (2, 21), (3, 21), (4, 18))]
    price = {"low": 15, "moderate": 30, "raised": 60, "high": 120, "severe": 240}
    work = 30 + 31 * 9
    cost = np.full((count, len(days) + count), 1e9)
    for k in range(count):
        late = price[bands[k]]
        for d, (at, day) in enumerate(days):
            cost[k, d] = max((day - due[k]).days, 0) * late + work + 30 + 120 * hours[at, k]
        cost[k, len(days) + k] = max((end - due[k]).days, 0) * late
    least = cost[linear_sum_assignment(cost)].sum()
    found = make_plan(world, nodes=NODES)
    assert found.proven
    assert found.cost.total_min == found.bound_min == least
