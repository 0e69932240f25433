"""A region planned sector by sector: its bound is below every plan there is, its plan keeps all.

Small worlds, of which HiGHS proves the best plan by another model (`planning.model`), with
closures, teams with skills, days and months that are full, two visits a day, rebolting, travel
times that keep no triangle, tides, and a last plan.
"""

import numpy as np
import pandas as pd
from hypothesis import given, settings
from hypothesis import strategies as st

from helpers.planning_world import closed, problem, sectors, sheet, team
from saltreach.planning.bound import Sectors, shares, shortest_rounds
from saltreach.planning.cost import (
    broken_rules,
    by_day,
    cost_of,
    overdue_days,
    round_min,
    timetable,
)
from saltreach.planning.greedy import greedy_plan
from saltreach.planning.large import solve_large
from saltreach.planning.master import lower_bound
from saltreach.planning.reschedule import Calendar, reschedule
from saltreach.planning.solver import solve
from saltreach.vocabulary.words import BANDS

PROVEN = 3_000
TIDES = [{"crag": "Crag 0", "sector": "Sector 0", "date": np.datetime64("2027-01-02").item(),
          "from": 600, "until": 760}]  # fmt: skip


@st.composite
def worlds(draw, tides=True):
    """Up to five sectors of up to five crags, three teams, four months."""
    count = draw(st.integers(1, 5))
    frame = sectors(
        count,
        crag=[f"Crag {draw(st.integers(0, i))}" if i else "Crag 0" for i in range(count)],
        anchors=[draw(st.integers(1, 30)) for _ in range(count)],
        risk_band=[draw(st.sampled_from([*BANDS, ""])) for _ in range(count)],
        inspection_interval_months=pd.array(
            [draw(st.sampled_from([1, 2, 3, 12])) for _ in range(count)], dtype="Int64"
        ),
        next_inspection_on=["2027-01-01", *(
            draw(st.dates(pd.Timestamp("2026-10-01").date(), pd.Timestamp("2027-04-30").date()))
            .isoformat() for _ in range(count - 1)
        )],
    )  # fmt: skip
    crags = list(dict.fromkeys(frame["crag"]))
    month = st.integers(1, 4)
    shut = [
        closed(draw(st.sampled_from(crags)), f"{draw(month):02d}-01", f"{draw(month):02d}-28")
        for _ in range(draw(st.integers(0, 2)))
    ]
    skills = st.sampled_from([(), ("rope access",), ("rebolting",)])
    free = st.sampled_from(["1SA", "SA"])
    teams = [
        team(
            f"T{i}", lon=draw(st.floats(-0.5, 1.5)), days_free=(draw(free),),
            days_per_month=draw(st.sampled_from([None, 1, 2])), skills=draw(skills),
            hours_per_day=draw(st.sampled_from([6.0, 9.0, 12.0])),
        )
        for i in range(draw(st.integers(1, 3)))
    ]  # fmt: skip
    needs = [
        {"crag": draw(st.sampled_from(crags)), "sector": "", "skills": ("rope access",),
         "people": 2, "access_hours": 0.5, "hours_per_anchor": None}
        for _ in range(draw(st.integers(0, 1)))
    ]  # fmt: skip
    ends = [t["team"] for t in teams] + crags
    hours = draw(st.lists(st.floats(0.1, 3.0), max_size=3))
    travel = [
        {"from": ends[i % len(ends)], "to": ends[(i * 2 + 1) % len(ends)], "hours": h, "row": i}
        for i, h in enumerate(hours)
        if ends[i % len(ends)] != ends[(i * 2 + 1) % len(ends)]
    ]
    tables = {"windows": sheet(*shut), "needs": sheet(*needs), "travel": sheet(*travel)}
    if tides and draw(st.booleans()):
        tables["tides"] = sheet(*TIDES)
    rebolt = None
    if draw(st.booleans()):
        rebolt = frame[["crag", "sector"]].head(1).assign(anchors=draw(st.integers(1, 8)))
    return problem(
        frame, teams, tables=tables, rebolt=rebolt, years=0.34,
        crags_per_day=draw(st.integers(1, 3)), unfair_hours=draw(st.sampled_from([0.0, 2.0])),
    )  # fmt: skip


def least_by_any_way(world, last=frozenset()):
    """Cost of the best plan of the model where that is proven, else None."""
    found = solve(world, greedy_plan(world, last), nodes=PROVEN, last=last)
    return cost_of(world, found.pairs, last).total_min if found.proven else None


@given(world=worlds(), data=st.data())
def test_no_plan_is_below_the_bound_and_the_plan_is_not_below_the_best(world, data):
    last = frozenset()
    if data.draw(st.booleans()):
        pairs = sorted(map(tuple, np.argwhere(world.allowed).tolist()))
        last = frozenset(data.draw(st.lists(st.sampled_from(pairs), max_size=3))) if pairs else last
    base = greedy_plan(world, last)
    made = solve_large(world, base, nodes=4, last=last, seed=data.draw(st.integers(0, 3)))
    cost = cost_of(world, made.pairs, last).total_min
    assert broken_rules(world, made.pairs) == []
    assert 0 <= made.bound_min <= cost <= cost_of(world, base, last).total_min
    best = least_by_any_way(world, last)
    assert best is None or made.bound_min <= best
    # of a world without tides the model is the problem itself
    assert best is None or world.tidal.any() or best <= cost


@given(world=worlds(), data=st.data())
def test_at_any_prices_the_answer_of_the_sectors_is_a_bound(world, data):
    drawn = data.draw(st.lists(st.floats(0, 3000), min_size=1, max_size=20))
    price = np.resize(np.array(drawn), len(world.days))
    pairs = reschedule(world, greedy_plan(world), turns=20)
    told = Sectors(world).answer(price)
    assert told.bound <= cost_of(world, pairs).total_min + 1e-6
    # and each pays for the very visits that it is said to make
    days = world.days["day"].to_numpy()
    for k in range(len(world.tasks)):
        rows = told.rows[told.tasks == k]
        assert world.allowed[k, rows].all()
        late = overdue_days(world, k, sorted(days[rows].tolist()))
        minutes = shares(world)[1][k, world.days["team_at"].to_numpy()[rows]].sum()
        assert np.isclose(told.own[k], late * world.tasks["late_min"].iloc[k] + minutes)


@given(world=worlds(), seed=st.integers(0, 9))
def test_shares_of_a_day_never_come_to_more_than_the_day(world, seed):
    rng = np.random.default_rng(seed)
    size, minutes = shares(world)
    least = shortest_rounds(world)
    for d in rng.integers(len(world.days), size=20).tolist():
        able = np.flatnonzero(world.allowed[:, d])
        tasks = rng.permutation(able)[: rng.integers(1, 5)].tolist()
        if not tasks or timetable(world, d, tasks) is None:
            continue
        team = int(world.days["team_at"].iloc[d])
        crags = sorted(set(world.tasks["crag_at"].iloc[tasks].tolist()))
        way = round_min(world, team, crags)
        takes = world.trip_min + way + int(world.tasks["work_min"].iloc[tasks].sum())
        assert size[tasks, team].sum() <= 1 + 1e-9
        assert minutes[tasks, team].sum() <= takes + 1e-6
        assert all(least[team, c] <= way for c in crags)


@given(world=worlds(tides=False), turn=st.integers(0, 50))
def test_the_days_of_one_sector_are_the_best_while_the_rest_stands(world, turn):
    """By trying every set of its team-days, where there are few."""
    pairs = greedy_plan(world)
    task = turn % len(world.tasks)
    able = np.flatnonzero(world.allowed[task])[:6]
    allowed = np.zeros_like(world.allowed)
    allowed[:, :] = world.allowed
    allowed[task] = False
    allowed[task, able] = True
    world.__dict__["allowed"] = allowed
    rest = frozenset((k, d) for k, d in pairs if k != task)
    world.options.__dict__["unfair_hours"] = 0.0
    world.__dict__.pop("unfair_min", None)
    calendar = Calendar(world, rest)
    if not calendar.put_back(task):
        return
    best = cost_of(world, calendar.pairs).total_min
    for some in range(1 << len(able)):
        plan = rest | {(task, int(d)) for i, d in enumerate(able) if some >> i & 1}
        if not broken_rules(world, plan):
            assert best <= cost_of(world, plan).total_min


@given(world=worlds())
@settings(max_examples=10)
def test_the_same_search_gives_the_same_plan_and_bound(world):
    base = greedy_plan(world)
    one, two = (solve_large(world, base, nodes=3, seed=1) for _ in range(2))
    assert one == two


@given(world=worlds())
@settings(max_examples=10)
def test_what_a_calendar_says_a_day_takes_is_what_the_judge_says(world):
    calendar = Calendar(world, greedy_plan(world))
    for k in range(len(world.tasks)):
        calendar.again([k])
    cost = cost_of(world, calendar.pairs)
    assert calendar.busy == cost.team_min
    assert {d: sorted(t) for d, t in calendar.held.items()} == by_day(calendar.pairs)


def test_more_rounds_give_no_lower_bound():
    """Six sectors of two hours, due each month, and one day a month: the days have a price."""
    monthly = pd.array([1] * 6, dtype="Int64")
    frame = sectors(6, crag="Crag 0", inspection_interval_months=monthly)
    world = problem(frame, [team(days_per_month=1)])
    base = greedy_plan(world)
    found = [lower_bound(world, base, rounds=n) for n in (0, 1, 3, 20)]
    assert found == sorted(found) and found[0] < found[-1]
    assert found[-1] <= solve(world, base, nodes=PROVEN).bound_min
