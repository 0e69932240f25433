"""Rules that every plan keeps, whatever the world."""

import datetime as dt

import pandas as pd
from hypothesis import given, settings
from hypothesis import strategies as st

from helpers.planning_world import START, closed, problem, sectors, sheet, team
from saltreach.planning.cost import broken_rules, cost_of
from saltreach.planning.greedy import greedy_plan
from saltreach.planning.plan import make_plan
from saltreach.vocabulary.words import BANDS

month_day = st.dates(dt.date(2024, 1, 1), dt.date(2024, 12, 31)).map(lambda d: d.strftime("%m-%d"))
tokens = st.lists(st.sampled_from(["SA", "1SU", "-1SA", "WE"]), min_size=1, max_size=2, unique=True)


@st.composite
def worlds(draw):
    count = draw(st.integers(1, 6))
    months = st.sampled_from([1, 3, 6, 12, 60])
    due = st.dates(dt.date(2026, 1, 1), dt.date(2027, 12, 31)).map(str)
    frame = sectors(
        count,
        anchors=[draw(st.integers(1, 60)) for _ in range(count)],
        risk_band=[draw(st.sampled_from([*BANDS, ""])) for _ in range(count)],
        inspection_interval_months=pd.array([draw(months) for _ in range(count)], dtype="Int64"),
        next_inspection_on=[START, *(draw(due) for _ in range(count - 1))],
    )
    crags = sorted(set(frame["crag"]))
    shut = [closed(draw(st.sampled_from(crags)), draw(month_day), draw(month_day))
            for _ in range(draw(st.integers(0, 3)))]  # fmt: skip
    teams = [
        team(
            f"T{i}",
            lon=draw(st.floats(-0.5, 1.5)),
            days_free=tuple(draw(tokens)),
            days_per_month=draw(st.sampled_from([None, 1, 2])),
            hours_per_day=draw(st.sampled_from([6.0, 9.0])),
        )
        for i in range(draw(st.integers(1, 3)))
    ]
    tides = [
        {"crag": frame["crag"].iloc[0], "sector": frame["sector"].iloc[0],
         "date": draw(st.dates(dt.date(2027, 1, 1), dt.date(2027, 6, 30))), "from": begin,
         "until": begin + draw(st.integers(30, 300))}
        for begin in draw(st.lists(st.integers(300, 1000), max_size=4))
    ]  # fmt: skip
    tables = {"windows": sheet(*shut), "tides": sheet(*tides)}
    return problem(frame, teams, tables=tables), shut, tides


def check(world, made, shut, tides):
    assert not broken_rules(world, made.pairs)
    visits = made.flat.visits
    # no double booking: one trip per team and day, stops one after the other
    for _, trip in visits.groupby(["team", "date"]):
        assert (trip["begins"].iloc[1:].to_numpy() >= trip["ends"].iloc[:-1].to_numpy()).all()
        assert trip["trip"].nunique() == 1
    assert not visits.duplicated(["task", "date"]).any()
    # no visit in a closure, by the calendar's own text
    for window in shut:
        there = visits.loc[visits["crag"] == window["crag"], "date"].str[5:]
        first, last = window["from"], window["until"]
        inside = (there >= first) & (there <= last) if first <= last else (
            (there >= first) | (there <= last)
        )  # fmt: skip
        assert not inside.any()
    if tides:
        ruled = visits[visits["sector"] == tides[0]["sector"]]
        dates = {str(t["date"]) for t in tides}
        assert set(ruled["date"]) <= dates
    # never after the due date unless it is reported
    late = visits[visits["days_late"] > 0]
    unmet = made.flat.unmet
    reported = set(zip(unmet["crag"], unmet["sector"], unmet["due_on"], strict=True))
    assert all((v.crag, v.sector, v.due_on) in reported for v in late.itertuples())
    assert made.cost.overdue_days == unmet["days_overdue"].sum()
    assert (unmet["fix"].str.len() > 0).all()


@given(world=worlds())
def test_every_greedy_plan_keeps_the_rules(world):
    world, shut, tides = world
    check(world, make_plan(world, seconds=0), shut, tides)


@given(world=worlds(), seed=st.integers(0, 5))
@settings(max_examples=12)
def test_every_solved_plan_keeps_the_rules_and_is_no_worse(world, seed):
    world, shut, tides = world
    made = make_plan(world, nodes=3, seed=seed)
    check(world, made, shut, tides)
    assert made.cost.total_min <= made.greedy.total_min
    assert made.bound_min is None or made.bound_min <= made.cost.total_min
    assert made.forced_min <= made.cost.overdue_min


@given(world=worlds())
def test_a_plan_kept_as_the_last_plan_costs_no_change(world):
    world, _, _ = world
    pairs = greedy_plan(world)
    assert cost_of(world, pairs, pairs).change_min == 0
    if pairs:
        fewer = frozenset(list(pairs)[1:])
        assert cost_of(world, fewer, pairs).change_min == 120
