"""Which part of a plan is improved next, and for how long: worked by hand for five crags.

Crags lie 0.3 degrees apart from 0.1 on, the teams live at 0.0 (A), 0.3 (B) and 1.4 (C): A is the
nearest to Crag 0, B to 1 and 2, C to 3 and 4. Everyone is free on first Saturdays; B and C also
on 2 May and 1 July, on which spans of 120 days end. Spans begin every 60 days: 3 November (0),
2 January (1), 3 March (2), 2 May (3), 1 July (4) and 30 August (5).
"""

import datetime as dt

import numpy as np
import pytest

from helpers.planning_world import closed, problem, sectors, sheet, team
from saltreach.planning import parts
from saltreach.planning.cost import OverdueSpell, cost_of
from saltreach.planning.greedy import greedy_plan
from saltreach.planning.parts import PartChooser, improve, solve_both_ways
from saltreach.planning.solver import Solved
from saltreach.planning.windows import day_number

ENDS = tuple((day, day) for day in (dt.date(2027, 5, 2), dt.date(2027, 7, 1)))
FIRST = ("2027-01-02", "2027-02-06")
SPRING = ("2027-03-06", "2027-04-03", "2027-05-01")
SUMMER = ("2027-05-02", "2027-06-05", "2027-07-01", "2027-07-03", "2027-08-07",
          "2027-09-04")  # fmt: skip


def coast(each=1, tables=None, **more):
    crags = [f"Crag {i // each}" for i in range(5 * each)]
    teams = [team("A"), team("B", lon=0.3, also=ENDS), team("C", lon=1.4, also=ENDS)]
    return problem(sectors(5 * each, crag=crags, **more), teams, start="2027-01-02", years=0.75,
                   tables=tables)  # fmt: skip


def overdue(task, due, days, until="2040-01-01"):
    return OverdueSpell(task, day_number(due), 0, day_number(until), days)


def told(chooser, rows):
    """Team-days as names of teams and dates, in order."""
    when = chooser.day_of.astype("datetime64[D]")
    return sorted(("ABC"[chooser.team_of[d]], str(when[d])) for d in rows)


def out(names, *dates):
    return sorted((name, date) for name in names for date in dates)


def row(world, name, date):
    days = world.days
    at = np.flatnonzero((days["team_at"] == "ABC".index(name)) & (days["day"] == day_number(date)))
    return int(at.item())


def test_each_sector_has_a_nearest_team_and_each_team_a_neighbour():
    chooser = PartChooser(coast(), 0)
    assert chooser.nearest.tolist() == [0, 1, 1, 2, 2]
    assert chooser.near_teams.tolist() == [[0, 1], [1, 0], [2, 1]]
    begins = chooser.begins.astype("datetime64[D]").astype(str).tolist()
    assert begins == ["2026-11-03", "2027-01-02", "2027-03-03", "2027-05-02", "2027-07-01",
                      "2027-08-30"]  # fmt: skip


def test_the_nearest_team_is_one_that_can_go_on_some_day():
    """C is free only while Crag 4 is shut; for Crag 3, shut for a month, it stays the nearest."""
    shut = sheet(
        closed("Crag 4", "2027-01-01", "2027-03-31"),
        closed("Crag 3", "2027-02-01", "2027-02-28"),
    )
    teams = [team("A"), team("C", lon=1.4, until=dt.date(2027, 3, 31))]
    frame = sectors(5, crag=[f"Crag {i}" for i in range(5)])
    world = problem(frame, teams, tables={"windows": shut})
    assert PartChooser(world, 0).nearest.tolist() == [0, 0, 0, 1, 0]


def test_the_last_chance_is_the_last_open_day_up_to_the_day_it_is_due():
    shut = sheet(closed("Crag 3", "2027-01-01", "2027-04-30"))
    chooser = PartChooser(coast(tables={"windows": shut}), 0)
    chances = [
        chooser.chance(overdue(task, due, 1))
        for task, due in [
            (4, "2027-03-06"), (4, "2027-03-05"), (4, "2020-01-01"),
            (3, "2027-04-30"), (3, "2020-01-01"), (3, "2027-05-01"),
        ]
    ]  # fmt: skip
    # where none is open so far, the day it is due or the first of the plan
    assert chances == [
        day_number(d) for d in ("2027-03-06", "2027-02-06", "2027-01-02",
                                "2027-04-30", "2027-01-02", "2027-05-01")
    ]  # fmt: skip


DEAR = [overdue(4, "2027-02-10", 1000), overdue(4, "2027-04-10", 1)]
"""Chances on 6 February and 3 April: span 1 holds both, and span 0 the dearer."""


def test_a_span_takes_the_days_of_two_neighbours_and_what_is_visited_or_overdue_there():
    world = coast()
    visits = frozenset({
        (2, row(world, "B", "2027-02-06")),
        (1, row(world, "B", "2027-06-05")),
        (0, row(world, "A", "2027-02-06")),
    })  # fmt: skip
    chooser = PartChooser(world, 0)
    rows, tasks, turn = chooser.next_span(DEAR, visits)
    assert told(chooser, rows) == out("BC", *FIRST, *SPRING)
    assert (tasks, turn) == ({2, 4}, 1)


@pytest.mark.parametrize(
    ("task", "due", "until", "taken"),
    [
        (3, "2027-01-02", "2027-01-02", True),  # its chance is the first day of the span
        (3, "2027-05-01", "2027-05-02", True),
        (3, "2027-05-02", "2027-06-01", False),  # both are the day after the last
        (0, "2027-02-10", "2027-06-01", False),  # its nearest team is not here
    ],
)
def test_what_is_overdue_in_the_first_span(task, due, until, taken):
    found = PartChooser(coast(), 0).next_span(
        [*DEAR, overdue(task, due, 1, until)], frozenset()
    )  # fmt: skip
    assert (task in found[1]) is taken


@pytest.mark.parametrize(
    ("due", "until", "taken"),
    [
        ("2027-02-10", "2027-03-03", False),  # visited on the first day of the span
        ("2027-02-10", "2027-03-04", True),
        ("2027-06-30", "2027-07-03", True),
        ("2027-07-01", "2027-07-03", False),
    ],
)
def test_what_is_overdue_in_a_later_span(due, until, taken):
    """Span 2, 3 March to 30 June: its chances are 3 April and 5 June."""
    dear = [overdue(4, "2027-04-10", 1000), overdue(4, "2027-06-10", 1000)]
    found = PartChooser(coast(), 0).next_span([*dear, overdue(3, due, 1, until)], frozenset())
    assert found[1] == ({3, 4} if taken else {4})


def span_of(chooser, rows):
    first = min(date for _, date in told(chooser, rows))
    return {"2027-01-02": "0 or 1", "2027-03-06": "2", "2027-05-02": "3", "2027-07-01": "4",
            "2027-09-04": "5"}[first]  # fmt: skip


@pytest.mark.pinned("worked")
def test_the_dearest_span_first_and_each_less_by_the_square_of_its_turns():
    """1001 1000 300 301 days; then 250 250 75 75, 111 111, 62.6 62.5, 33."""
    spells = [*DEAR, overdue(4, "2027-07-10", 300), overdue(4, "2027-09-10", 1)]
    chooser = PartChooser(coast(), 0)
    found = [chooser.next_span(spells, frozenset()) for _ in range(9)]
    order = ["0 or 1", "0 or 1", "4", "3", *["0 or 1"] * 4, "4"]
    assert [span_of(chooser, rows) for rows, _, _ in found] == order
    assert [turn for *_, turn in found] == [1, 1, 1, 1, 2, 2, 3, 3, 2]


@pytest.mark.pinned("worked")
@pytest.mark.parametrize(
    ("pairs", "sizes"),
    [
        # span 1: 10 visits are possible in all, 5 by C; later half 6 and 3; last quarter 4 and 2
        # span 0: 4 and 2, the same in its later half; 2 and 1
        (600, [10, 4, 10, 4, 10, 4, 10]),
        (10, [10, 4, 10, 4, 10, 4, 10]),
        (9, [5, 4, 10, 4, 10, 4, 10]),
        (3, [3, 2, 5, 4, 5, 4, 5]),  # 3, 6, 9 and no more
        (2, [2, 2, 3, 4, 5, 4, 5]),
        (1, [2, 1, 2, 2, 3, 2, 3]),  # the least is taken though it is more
    ],
)
def test_a_span_of_too_many_visits_is_cut_and_less_so_at_each_turn(monkeypatch, pairs, sizes):
    monkeypatch.setattr(parts, "PART_PAIRS", pairs)
    chooser = PartChooser(coast(), 0)
    found = [chooser.next_span(DEAR, frozenset()) for _ in sizes]
    assert [len(rows) for rows, _, _ in found] == sizes
    assert all(tasks == {4} for _, tasks, _ in found)


@pytest.mark.parametrize(
    ("pairs", "kept"),
    [
        (5, out("C", *FIRST, *SPRING)),
        (3, out("C", *SPRING)),
        (2, out("C", "2027-04-03", "2027-05-01")),
    ],
)
def test_of_a_span_the_chosen_team_and_the_later_days_are_kept(monkeypatch, pairs, kept):
    monkeypatch.setattr(parts, "PART_PAIRS", pairs)
    chooser = PartChooser(coast(), 0)
    rows, _, _ = chooser.next_span(DEAR, frozenset())
    assert told(chooser, rows) == kept


@pytest.mark.pinned("worked")
def test_the_dearest_crag_first_with_its_neighbours_at_any_time():
    """Two sectors each. Crag 4 has 1000 days, Crag 0 300; then 250, 75; 111; 62.5."""
    world = coast(each=2)
    chooser = PartChooser(world, 0)
    spells = [overdue(8, "2027-02-10", 600), overdue(9, "2027-02-10", 400),
              overdue(1, "2027-02-10", 300)]  # fmt: skip
    found = [chooser.next_crags(spells) for _ in range(6)]
    east = (out("BC", *FIRST, *SPRING, *SUMMER), {8, 9, 6, 7, 4, 5, 2, 3})
    west = {0, 1, 2, 3, 4, 5, 6, 7}
    assert (told(chooser, found[0][0]), found[0][1]) == east
    assert found[1][1] == west and {name for name, _ in told(chooser, found[1][0])} == {"A", "B"}
    assert [tasks == west for _, tasks, _ in found] == [False, True, False, False, True, False]
    assert [turn for *_, turn in found] == [1, 1, 2, 3, 2, 4]


def test_no_more_tasks_than_a_part_may_have(monkeypatch):
    monkeypatch.setattr(parts, "PART_TASKS", 3)
    found = PartChooser(coast(each=2), 0).next_crags([overdue(8, "2027-02-10", 1000)])
    assert found[1] == {8, 9, 6}


def test_days_cost_what_the_risk_of_the_sector_says():
    """Ten days of a severe sector are dearer than 20 of a low one (planning/priorities.py)."""
    world = coast(risk_band=["low", "low", "low", "low", "severe"])
    price = PartChooser(world, 0).price
    assert 10 * price[4] > 20 * price[0] > 10 * price[0] > 0
    spells = [overdue(0, "2027-02-10", 20), overdue(4, "2027-02-10", 10)]
    rows, _, _ = PartChooser(world, 0).next_crags(spells)
    assert {PartChooser(world, 0).team_of[d] for d in rows} == {1, 2}
    assert PartChooser(world, 0).next_span(spells, frozenset())[1] == {4}


def test_where_nothing_is_overdue_chance_decides_by_the_seed():
    seeds = range(12)
    world = coast()
    crags = {frozenset(PartChooser(world, seed).next_crags([])[0]) for seed in seeds}
    spans = {frozenset(PartChooser(world, seed).next_span([], frozenset())[0]) for seed in seeds}
    assert len(crags) > 1 and len(spans) > 3
    one, same = (PartChooser(world, 5).next_span([], frozenset()) for _ in range(2))
    assert one == same


class Asked:
    """Stands in for the solver: what it was asked, and a plan that takes so many nodes."""

    def __init__(self, monkeypatch, nodes=1):
        self.calls = []
        self.nodes = nodes
        monkeypatch.setattr(parts, "solve", self)

    def __call__(self, problem, pairs, **given):
        self.calls.append(given)
        return Solved(pairs, None, False, self.nodes)


def test_two_spans_then_crags_each_with_a_seed_of_its_own(monkeypatch):
    asked, chosen = Asked(monkeypatch), []
    for kind in ("next_span", "next_crags"):

        def choose(self, *_, kind=kind):
            chosen.append(kind)
            return {0}, {1}, 1

        monkeypatch.setattr(PartChooser, kind, choose)
    last = frozenset({(0, 0)})
    improve(coast(), frozenset(), nodes=7, last=last, seed=40)
    assert chosen == ["next_span", "next_span", "next_crags"] * 2 + ["next_span"]
    assert [call["seed"] for call in asked.calls] == list(range(41, 48))
    assert all((call["rows"], call["tasks"], call["last"]) == ({0}, {1}, last)
               for call in asked.calls)  # fmt: skip


def turns(monkeypatch, found):
    turn = iter(found)
    for kind in ("next_span", "next_crags"):
        monkeypatch.setattr(PartChooser, kind, lambda *_: next(turn))


def test_a_part_is_searched_longer_at_each_of_three_turns(monkeypatch):
    asked = Asked(monkeypatch, nodes=30)
    turns(monkeypatch, [({0}, {1}, turn) for turn in (1, 2, 3, 4, 1)])
    improve(coast(), frozenset(), nodes=130)
    assert [call["nodes"] for call in asked.calls] == [1, 10, 70, 40, 1]
    assert [call["seconds"] for call in asked.calls] == [0.5, 2.0, 6.0, 6.0, 0.5]


def test_a_part_without_tasks_or_days_is_left_and_counts_as_a_node(monkeypatch):
    asked = Asked(monkeypatch)
    turns(monkeypatch, [(set(), {1}, 1), ({0}, set(), 1), ({0}, {1}, 1), (set(), set(), 1)])
    assert improve(coast(), frozenset({(0, 0)}), nodes=4) == {(0, 0)}
    assert [call["seed"] for call in asked.calls] == [3]


def test_what_is_overdue_at_no_cost_is_no_reason_to_search_there(monkeypatch):
    seen = []
    monkeypatch.setattr(
        PartChooser, "next_span", lambda _, spells, __: seen.append(spells) or (set(), set(), 1)
    )
    for hours in (0.0, 2.0):
        world = problem(overdue_hours=hours)
        improve(world, frozenset(), nodes=1)
    assert seen[0] == [] and len(seen[1]) == 2


@pytest.mark.parametrize(("left", "parts_tried"), [(0.31, 1), (0.3, 0), (6.1, 1)])
def test_the_time_of_a_search_leaves_a_third_of_a_second(monkeypatch, left, parts_tried):
    """The clock stands still, and after the first part at the end."""
    asked = Asked(monkeypatch)
    turns(monkeypatch, [({0}, {1}, 3)])
    monkeypatch.setattr(parts.time, "monotonic", lambda: 1000.0 if asked.calls else 0.0)
    improve(coast(), frozenset(), seconds=left)
    assert len(asked.calls) == parts_tried
    for call in asked.calls:
        assert call["nodes"] is None
        assert call["seconds"] == pytest.approx(min(left, 6.0))


@pytest.fixture
def two_plans():
    """Nobody goes, and the plan of the first round, which is better."""
    world = problem()
    good = greedy_plan(world)
    assert cost_of(world, good).total_min < cost_of(world, frozenset()).total_min
    return world, frozenset(), good


@pytest.mark.parametrize("limit", [{"nodes": 5}, {"seconds": 5.0}])
@pytest.mark.parametrize("whole_is_better", [True, False])
def test_of_the_whole_and_its_parts_the_better_plan(
    monkeypatch, two_plans, limit, whole_is_better
):  # fmt: skip
    world, bad, good = two_plans
    whole, part = (good, bad) if whole_is_better else (bad, good)
    calls = []

    def solve(problem, base, **given):
        calls.append((base, given))
        return Solved(whole, 17, False, 3)

    def by_parts(problem, base, **given):
        given.pop("stop", None)
        calls.append((base, given))
        return part

    monkeypatch.setattr(parts, "solve", solve)
    monkeypatch.setattr(parts, "improve", by_parts)
    found = solve_both_ways(world, bad, **limit)
    assert found == Solved(good, 17, False, 3)
    given = {"seconds": np.inf, "nodes": None, "last": frozenset(), "seed": 0} | limit
    assert calls == [(bad, given)] * 2


def test_a_whole_that_is_solved_needs_no_parts(monkeypatch, two_plans):
    world, bad, good = two_plans
    monkeypatch.setattr(parts, "solve", lambda *_, **__: Solved(bad, 1, True, 2))
    monkeypatch.setattr(parts, "improve", lambda *_, **__: good)
    assert solve_both_ways(world, bad, nodes=5) == Solved(bad, 1, True, 2)


def test_parts_stop_when_the_whole_is_solved(monkeypatch, two_plans):
    world, bad, _ = two_plans
    monkeypatch.setattr(parts, "solve", lambda *_, **__: Solved(bad, 1, True, 2))

    def by_parts(problem, base, *, stop, **_):
        while not stop():
            pass
        return base

    monkeypatch.setattr(parts, "improve", by_parts)
    assert solve_both_ways(world, bad, seconds=5.0).proven
