"""Plans of small worlds whose optimum is found by trying every plan."""

import datetime as dt
import math
from dataclasses import replace
from functools import cache

import numpy as np
import pandas as pd
import pytest
from geographiclib.geodesic import Geodesic

from helpers.planning_world import closed, every_plan, problem, sectors, sheet, team
from saltreach.errors import OptionError
from saltreach.intake.teams import read_teams
from saltreach.outputs.tables.plan import plan_lines
from saltreach.planning.cost import (
    Cost,
    broken_rules,
    cost_of,
    round_min,
    timetable,
    unavoidable_min,
)
from saltreach.planning.greedy import greedy_plan
from saltreach.planning.model import Model
from saltreach.planning.parts import improve
from saltreach.planning.plan import make_plan, workload
from saltreach.planning.solver import Solved, solve
from saltreach.planning.travel import great_circle_km, middle
from saltreach.planning.visits import visit_table
from saltreach.planning.windows import day_number, day_text


def overdue_by_counting(world, task, days):
    """Overdue days counted one by one: due from the due date, or the last visit's next one."""
    row = world.tasks.iloc[task]
    due, late = dt.date.fromisoformat(day_text(row["due"])), 0
    for day in range(world.start, world.end):
        today = dt.date.fromisoformat(day_text(day))
        if day in days:
            again = pd.Timestamp(today) + pd.DateOffset(months=int(row["months"]))
            due = again.date() if row["months"] else dt.date(9999, 1, 1)
        late += today >= due
    return late


def cost_by_hand(world, pairs):
    """Cost without fairness, added up from the tables alone."""
    total = 0
    day_of, team_of = world.days["day"].to_numpy(), world.days["team_at"].to_numpy()
    for k in range(len(world.tasks)):
        visits = {int(day_of[d]) for t, d in pairs if t == k}
        total += overdue_by_counting(world, k, visits) * int(world.tasks["late_min"].iloc[k])
    for d in {d for _, d in pairs}:
        mine = [k for k, day in pairs if day == d]
        crags = {int(world.tasks["crag_at"].iloc[k]) for k in mine}
        home = world.home_min[team_of[d]]
        way = 2 * sum(int(home[c]) for c in crags)
        if len(crags) == 2:
            a, b = crags
            way = int(home[a] + home[b] + world.between_min[a, b])
        total += way + 30 + sum(int(world.tasks["work_min"].iloc[k]) for k in mine)
    return total


WORLDS = {
    "two crags, one team": {
        "frame": sectors(2, crag=["Crag 0", "Crag 1"]), "teams": [team(days_free=("2SA",))],
    },
    "closure": {
        "frame": sectors(2), "teams": [team(days_free=("2SA",))],
        "tables": {"windows": sheet(closed("Crag 0", "03-01", "04-30"))},
    },
    "two teams, skill": {
        "frame": sectors(2, crag=["Crag 0", "Crag 1"], risk_band=["severe", "low"]),
        "teams": [team("A", days_free=("3SA",), until=None, **{"from": dt.date(2027, 4, 1)}),
                  team("B", lon=0.6, skills=("rope access",), days_free=("1SU",),
                       away=((dt.date(2027, 3, 1), dt.date(2027, 6, 30)),))],
        "tables": {"needs": sheet({"crag": "Crag 1", "sector": "", "skills": ("rope access",),
                                   "people": 1, "access_hours": 0.0, "hours_per_anchor": None})},
    },
    "one day a month": {
        "frame": sectors(2, crag=["Crag 0", "Crag 1"]),
        "teams": [team(days_free=("1SA", "1SU"), days_per_month=1,
                       **{"until": dt.date(2027, 2, 28)})],
    },
}  # fmt: skip


YEARS = 0.42
"""Until June: five team-days of two tasks are a thousand plans."""
PROVEN = 10_000
"""Nodes of the search: enough to prove these optima; the solver stops when it has."""


@cache
def lawful_plans(name):
    """Every plan of a world that keeps all rules: the same whatever unfairness costs."""
    world = problem(**WORLDS[name], years=YEARS)
    return [p for p in map(frozenset, every_plan(world)) if not broken_rules(world, p)]


@pytest.mark.pinned("peer")
@pytest.mark.parametrize("name", WORLDS)
def test_the_solver_finds_the_optimum_of_trying_every_plan(name):
    world = problem(**WORLDS[name], unfair_hours=0, years=YEARS)
    plans = lawful_plans(name)
    assert len(plans) > 20
    best = min(cost_by_hand(world, p) for p in plans)
    found = solve(world, greedy_plan(world), nodes=PROVEN)
    assert found.proven
    assert cost_by_hand(world, found.pairs) == best
    assert found.bound_min == best


@pytest.mark.pinned("peer")
@pytest.mark.parametrize("name", WORLDS)
def test_fairness_is_part_of_the_proven_optimum(name):
    world = problem(**WORLDS[name], years=YEARS)
    best = min(cost_of(world, p).total_min for p in lawful_plans(name))
    assert solve(world, frozenset(), nodes=PROVEN).bound_min == best


@pytest.mark.pinned("peer")
def test_the_judge_adds_up_as_by_hand():
    world = problem(**WORLDS["two crags, one team"], unfair_hours=0, years=YEARS)
    for pairs in list(every_plan(world))[::7]:
        assert cost_of(world, frozenset(pairs)).total_min == cost_by_hand(world, pairs)


def test_solving_from_nothing_and_in_parts_keeps_every_rule():
    world = problem(sectors(6), [team("A"), team("B", lon=1.0, days_free=("3SA",))], years=0.35)
    made = make_plan(world, nodes=10)
    assert not broken_rules(world, made.pairs)
    assert made.bound_min <= made.cost.total_min <= made.greedy.total_min
    assert make_plan(world, nodes=10).pairs == made.pairs


@pytest.mark.pinned("worked")
def test_a_tide_window_is_kept_to_the_minute():
    tide = {"crag": "Crag 0", "sector": "Sector 0", "date": dt.date(2027, 2, 6),
            "from": 720, "until": 850}  # fmt: skip
    world = problem(sectors(2), [team(days_free=("1SA", "2SA"))], tables={"tides": sheet(tide)})
    made = make_plan(world, nodes=PROVEN)
    ruled = made.flat.visits[made.flat.visits["sector"] == "Sector 0"]
    assert ruled["date"].tolist() == ["2027-02-06"]
    assert ruled["begins"].iloc[0] >= "12:00" and ruled["ends"].iloc[0] <= "14:10"
    assert set(made.flat.unmet.loc[made.flat.unmet["sector"] == "Sector 0", "rule"]) == {"tide"}


@pytest.mark.pinned("worked", answers=2)
def test_other_visits_fill_the_time_before_the_tide():
    tide = {"crag": "Crag 0", "sector": "Sector 0", "date": dt.date(2027, 1, 2),
            "from": 780, "until": 900}  # fmt: skip
    world = problem(sectors(2), tables={"tides": sheet(tide)})
    stops = timetable(world, 0, [0, 1])
    assert [s.task for s in stops] == [1, 0]
    assert stops[1].begins == 780
    # a window too short for the work
    short = problem(sectors(2), tables={"tides": sheet(tide | {"until": 890})})
    assert not short.allowed[0, 0]


@pytest.mark.parametrize(
    ("teams", "tables", "frame", "rule", "says"),
    [
        ([team()], {"needs": sheet({"crag": "Crag 0", "sector": "", "skills": ("rope access",),
          "people": 1, "access_hours": 0.0, "hours_per_anchor": None})}, {}, "skills",
         "a team with rope access"),
        ([team(people=1)], {"needs": sheet({"crag": "Crag 0", "sector": "", "skills": (),
          "people": 3, "access_hours": 0.0, "hours_per_anchor": None})}, {}, "people",
         "3 people on one day"),
        ([team()], {"windows": sheet(closed("Crag 0", "2027-01-01", "2027-07-31"))}, {}, "closure",
         "agree one visit"),
        ([team(lon=9.0)], {}, {}, "length of day", "nearer team"),
        ([team(days_free=("2SA",), **{"from": dt.date(2027, 6, 1)})], {}, {}, "team-days",
         "one more team-day in January 2027, for example of A"),
        ([team(days_free=("2SA",), days_per_month=0)], {}, {}, "team time",
         "one more team-day in January 2027, for example of A"),
    ],
)  # fmt: skip
def test_what_cannot_be_met_names_the_rule_and_the_remedy(teams, tables, frame, rule, says):
    made = make_plan(problem(sectors(1, **frame), teams, tables=tables), seconds=0)
    assert made.flat.unmet["rule"].iloc[0] == rule
    assert says in made.flat.unmet["fix"].iloc[0]
    assert made.cost.overdue_days == made.flat.unmet["days_overdue"].sum()


def test_the_remedy_of_another_team_day_works():
    frame = sectors(1, inspection_interval_months=pd.array([12], dtype="Int64"))
    before = make_plan(problem(frame, [team(days_free=("2SA",), days_per_month=0)]), nodes=PROVEN)
    assert "January 2027" in before.flat.unmet["fix"].iloc[0]
    after = problem(frame, [team(days_free=("2SA",), until=dt.date(2027, 1, 31))])
    assert make_plan(after, nodes=PROVEN).flat.unmet.empty


def test_rebolting_needs_its_skill_and_is_split_into_days():
    frame = sectors(1, anchors=20)
    chosen = frame[["crag", "sector", "anchors"]]
    teams = [team("A", days_free=("SA",)), team("B", days_free=("SU",), skills=("rebolting",))]
    made = make_plan(problem(frame, teams, rebolt=chosen), nodes=PROVEN)
    work = made.flat.visits[made.flat.visits["kind"] == "rebolt"]
    assert set(work["team"]) == {"B"}
    assert work["part"].nunique() == len(work) == 4  # 20 h in days of 8 h less travel
    assert work["date"].is_unique
    assert work["anchors"].tolist() == [5, 5, 5, 5]
    odd = problem(sectors(1, anchors=23), teams, rebolt=chosen.assign(anchors=23)).tasks
    assert odd.loc[odd["kind"] == "rebolt", "anchors"].sum() == 23


@pytest.mark.pinned("worked", answers=3)
def test_rebolting_is_due_by_the_day_the_assessment_gives():
    """2027-01-01 and half a year: without a day, or a late one, three quarters of the plan."""
    frame = sectors(3, replace_by=["2027-03-10", "2029-01-01", ""])
    world = problem(
        frame, [team(skills=("rebolting",))], rebolt=frame[["crag", "sector", "anchors"]]
    )
    due = world.tasks.loc[world.tasks["kind"] == "rebolt"].groupby("sector")["due"].first()
    assert [day_text(d) for d in due] == ["2027-03-10", "2027-05-16", "2027-05-16"]


@pytest.mark.pinned("worked", answers=2)
def test_what_was_done_moves_the_due_date():
    done = [{"crag": "Crag 0", "sector": "", "kind": "inspect", "done_on": dt.date(2026, 12, 1)}]
    world = problem(sectors(2), done=done)
    assert [day_text(d) for d in world.tasks["due"]] == ["2027-03-01"] * 2


def test_the_next_plan_keeps_names_and_says_what_changed():
    frame = sectors(4)
    teams = [team("A", days_free=("1SA", "3SA"))]
    first = make_plan(problem(frame, teams), nodes=PROVEN)
    assert first.flat.visits["visit_id"].is_unique
    same = make_plan(problem(frame, teams), nodes=PROVEN, last=first.flat.visits)
    assert same.flat.changes.empty and same.kept == len(first.flat.visits)
    assert same.flat.visits["visit_id"].tolist() == first.flat.visits["visit_id"].tolist()
    gone = dt.date.fromisoformat(first.flat.visits["date"].iloc[0])
    away = make_plan(
        problem(frame, [teams[0] | {"away": ((gone, gone),)}]), nodes=PROVEN, last=first.flat.visits
    )
    lost = set(first.flat.visits.loc[first.flat.visits["date"] == gone.isoformat(), "visit_id"])
    assert lost <= set(away.flat.changes["visit_id"])
    moved = away.flat.changes.set_index("visit_id")["change"]
    assert set(moved[list(lost)]) <= {"moved", "dropped"}
    still = first.flat.visits[first.flat.visits["date"] != gone.isoformat()]
    as_before = away.flat.visits.merge(still, on=["visit_id", "date", "team"])
    assert len(as_before) == away.kept
    revision = away.flat.visits.set_index("visit_id")["revision"]
    assert all(revision[i] == 1 for i in moved.index[moved == "moved"])


def test_stability_is_worth_what_it_is_said_to_be():
    frame = sectors(4)
    teams = [team("A", days_free=("SA",))]
    world = problem(frame, teams, change_hours=0.0)
    best = make_plan(world, nodes=PROVEN)
    worse = greedy_plan(world)
    assert cost_of(world, worse).total_min > best.cost.total_min
    last = visit_table(world, worse)
    free = make_plan(world, nodes=PROVEN, last=last)
    tied = make_plan(problem(frame, teams, change_hours=1000.0), nodes=PROVEN, last=last)
    assert free.cost.total_min == best.cost.total_min
    assert tied.pairs == worse and tied.flat.changes.empty


def test_travel_is_the_users_own_where_given():
    legs = sheet(
        {"from": "A", "to": "crag 0", "hours": 1.5}, {"from": "Crag 0", "to": "A", "hours": 2.0},
        {"from": "A", "to": "Nowhere", "hours": 1.0},
    )  # fmt: skip
    world = problem(tables={"travel": legs})
    assert world.home_min.tolist() == [[120]]  # the longer way counts
    assert any("Nowhere" in note for note in world.notes)


@pytest.mark.pinned("peer")
def test_great_circle_agrees_with_the_geodesic():
    # geographiclib on WGS 84; a sphere is within 0.6 %
    rng = np.random.default_rng(1)
    for lon, lat, lon2, lat2 in rng.uniform([-180, -90] * 2, [180, 90] * 2, (50, 4)):
        exact = Geodesic.WGS84.Inverse(lat, lon, lat2, lon2)["s12"] / 1000
        assert float(great_circle_km(lon, lat, lon2, lat2)) == pytest.approx(exact, rel=0.006)


def test_the_middle_of_a_crag_holds_across_the_antimeridian():
    lon, lat = middle([179.9, -179.9], [10.0, 10.0])
    assert abs(lon) == pytest.approx(180) and lat == pytest.approx(10, abs=0.01)


def test_a_round_of_three_crags_is_the_shortest():
    world = problem(sectors(6), crags_per_day=3)
    a, b, c = (int(v) for v in world.home_min[0])
    far = world.between_min
    orders = [a + far[0, 1] + far[1, 2] + c, a + far[0, 2] + far[2, 1] + b,
              b + far[1, 0] + far[0, 2] + c]  # fmt: skip
    assert round_min(world, 0, [0, 1, 2]) == min(orders)


@pytest.mark.parametrize(
    ("change", "says"),
    [
        ({"seconds": -1}, "greedy plan"),
        ({"nodes": 0}, "nodes = 0"),
        ({"years": 9}, "years"),
        ({"crags_per_day": 4}, "crags"),
    ],
)
def test_impossible_settings_are_refused(change, says):
    with pytest.raises(OptionError, match=says):
        if {"seconds", "nodes"} & set(change):
            make_plan(problem(), **change)
        else:
            problem(**change)


def test_a_table_of_refused_teams_says_why(tmp_path):
    path = tmp_path / "teams.csv"
    path.write_text("team,lon,lat,days_free\nA,-4.9,43.4,2026-12-05\n")
    says = "row 2, days_free = '2026-12-05': .* write for example SA SU"
    with pytest.raises(OptionError, match=says):
        problem(tables={"teams": read_teams(path)})


def test_no_team_and_no_free_day_are_refused():
    with pytest.raises(OptionError, match="no teams"):
        problem(tables={"teams": sheet()})
    with pytest.raises(OptionError, match="free on any day"):
        problem(teams=[team(until=dt.date(2020, 1, 1))])


def test_first_day_counts_and_a_visit_on_the_due_day_is_in_time():
    frame = sectors(1, next_inspection_on="2027-01-02")
    world = problem(frame, [team()], years=0.2)
    day = day_number("2027-01-02")
    assert cost_of(world, frozenset({(0, 0)})).overdue_days == 0
    assert int(world.days["day"].iloc[0]) == day


@pytest.mark.parametrize("name", WORLDS)
def test_the_model_of_a_plan_costs_what_the_judge_says(name):
    # two independent counts of the same plan: rows of the model, and the judge's loops
    world = problem(**WORLDS[name], years=YEARS)
    for pairs in lawful_plans(name)[::9]:
        for part in ({}, {"rows": [0, 2], "tasks": [0]}):
            model = Model(world, pairs, **part)
            held = [sum(c * model.start[x] for x, c in terms) for terms, _, _ in model.rows]
            limits = [(low, high) for _, low, high in model.rows]
            assert all(low <= v <= high for v, (low, high) in zip(held, limits, strict=True))
            if not part:
                cost = model.constant + sum(c * model.start[x] for x, c in model.cost.items())
                assert cost == cost_of(world, pairs).total_min


@pytest.mark.pinned("peer", answers=4)
def test_what_no_plan_can_avoid_is_the_least_of_trying_every_plan():
    for months in (1, 3, 6, 12):
        frame = sectors(1, inspection_interval_months=pd.array([months], dtype="Int64"))
        world = problem(frame, [team(days_free=("1SA",))])
        plans = (frozenset(p) for p in every_plan(world))
        assert unavoidable_min(world) == min(cost_of(world, p).overdue_min for p in plans)


@pytest.mark.pinned("worked", answers=2)
def test_a_visit_so_early_that_it_is_due_sooner_is_not_forced():
    """Due on 1 June, every month: the one free day in January would only bring it forward."""
    frame = sectors(
        1, inspection_interval_months=pd.array([1], dtype="Int64"), next_inspection_on="2027-06-01"
    )
    world = problem(frame, [team(until=dt.date(2027, 1, 31))])
    assert len(world.days) == 1
    assert unavoidable_min(world) == 30 * int(world.tasks["late_min"].iloc[0])  # all of June
    assert cost_of(world, frozenset({(0, 0)})).overdue_days == 149  # 2 February to 30 June


@pytest.mark.pinned("peer")
@pytest.mark.parametrize("name", WORLDS)
def test_where_nothing_else_stands_against_it_all_that_can_be_avoided_is(name):
    world = problem(**WORLDS[name], years=YEARS)
    least = min(cost_of(world, plan).overdue_min for plan in lawful_plans(name))
    assert unavoidable_min(world) == least


def test_the_gap_is_said_of_a_plan_that_is_solved_whole():
    made = make_plan(problem(**WORLDS["closure"], years=YEARS), nodes=PROVEN)
    assert (made.bound_min, made.gap, made.proven) == (made.cost.total_min, 0.0, True)
    assert plan_lines(made)[3].endswith(
        "Gap to the bound: 0.0 % of the cost, 0.0 % of what a plan can change (proven: no better "
        "plan in the model)."
    )


def test_a_plan_too_large_to_be_solved_whole_has_no_bound(monkeypatch):
    monkeypatch.setattr("saltreach.planning.plan.WHOLE_BY_NODES_PAIRS", 0)
    made = make_plan(problem(), nodes=5)
    assert (made.bound_min, made.gap, made.figures["gap"], made.proven) == (None, None, None, False)
    assert "How far it is from the best plan is not known." in plan_lines(made)[3]


def test_parts_of_a_plan_only_ever_make_it_better():
    frame = sectors(12, inspection_interval_months=pd.array([2, 3] * 6, dtype="Int64"))
    world = problem(frame, [team("A"), team("B", lon=1.5), team("C", lon=0.7)], years=1)
    base = greedy_plan(world)
    found = improve(world, base, nodes=6)
    assert not broken_rules(world, found)
    assert cost_of(world, found).total_min < cost_of(world, base).total_min


@pytest.mark.pinned("worked", answers=4)
def test_the_work_of_a_year_and_the_sectors_that_are_not_in_the_plan():
    """Every 3 and every 12 months, 10 anchors at 0.15 h and 0.5 h to set up: 5 visits, 10 h.

    The team has the first Saturdays of six months, 8 h each, so 96 h a year.
    """
    due = ["2027-01-20", "2027-06-30", "2027-07-01", "2028-01-01", "2029-02-03", "2029-02-04", ""]
    months = pd.array([3, 12, 12, 12, 12, 12, None], dtype="Int64")
    bands = ["high", "low", *["high"] * 4, ""]
    frame = sectors(7, inspection_interval_months=months, next_inspection_on=due, risk_band=bands)
    found = problem(frame)
    assert workload(found) == {
        "visits_per_year": 5.0, "crag_hours_per_year": 10.0, "team_hours_per_year": 96.0,
        "dropped_first": ["Crag 0 / Sector 1", "Crag 0 / Sector 0"],
    }  # fmt: skip
    assert found.notes[1:] == (
        "without a due date, so not planned (category or class unknown; or every anchor out of "
        "use, to be closed today): Crag 3 / Sector 6",
        "first due after the plan, so not in it: Crag 1 / Sector 2 (2027-07-01), Crag 1 / "
        "Sector 3 (2028-01-01), Crag 2 / Sector 4 (2029-02-03), Crag 2 / Sector 5 (2029-02-04)",
    )


@pytest.mark.pinned("worked", answers=2)
def test_the_work_of_a_year_is_told_to_a_tenth():
    """Monthly 12 visits and every 7 months 1.7, of 2 h each; what is done once is none of them."""
    months = pd.array([1, 7], dtype="Int64")
    frame = sectors(2, inspection_interval_months=months)
    chosen = frame[["crag", "sector"]].iloc[:1].assign(anchors=3)
    told = workload(problem(frame, rebolt=chosen))
    assert (told["visits_per_year"], told["crag_hours_per_year"]) == (13.7, 27.4)


@pytest.mark.pinned("worked", answers=6)
def test_the_gap_is_the_share_above_the_bound():
    made = make_plan(problem(years=0.3), seconds=0)
    cost = replace(made.cost, total_min=1000)
    some = replace(made, cost=cost, bound_min=900, forced_min=500)
    assert (some.gap, some.gap_of_avoidable) == (0.1, 0.2)
    third = replace(some, bound_min=667, forced_min=333)
    assert (third.figures["gap"], third.figures["gap_of_avoidable"]) == (0.333, 0.4993)
    assert replace(third, bound_min=665, forced_min=334).figures["gap_of_avoidable"] == 0.503
    assert replace(some, cost=replace(cost, total_min=3), bound_min=2).figures["gap"] == 0.3333
    assert replace(some, cost=replace(cost, total_min=1), bound_min=0).gap == 1.0
    # all of it forced, or none of it there: nothing could be better
    assert replace(some, bound_min=1000, forced_min=1000).gap_of_avoidable == 0.0
    assert replace(some, cost=replace(cost, total_min=0), bound_min=0).gap == 0.0
    assert (replace(some, bound_min=None).gap, replace(some, bound_min=None).gap_of_avoidable) == (
        None, None,
    )  # fmt: skip


def way_of_search(monkeypatch, found, **given):
    """How a plan says that it was made and how good it is, whatever was searched, and the steps."""
    by = []

    def whole(name):
        def search(problem, base, **given):
            by.append(name)
            if "on_step" in given:
                given["on_step"]("so far")
            return found(base)

        return search

    def in_parts(problem, base, **_):
        by.append("parts")
        return found(base).pairs

    monkeypatch.setattr("saltreach.planning.plan.solve_both_ways", whole("both"))
    monkeypatch.setattr("saltreach.planning.plan.solve_large", whole("large"))
    monkeypatch.setattr("saltreach.planning.plan.improve", in_parts)
    steps = []
    made = make_plan(problem(years=0.3), on_step=steps.append, **given)
    return made, by, steps


NOBODY = lambda base: Solved(frozenset(), 60, False, 1)  # noqa: E731
SAME = lambda base: Solved(base, 60, False, 1)  # noqa: E731


WHOLE = "highs, whole and in parts"
SECTOR_BY_SECTOR = "sector by sector, the bound by highs"


@pytest.mark.parametrize(
    ("given", "name", "above"),
    [
        ({}, "WHOLE_MODEL_PAIRS", (SECTOR_BY_SECTOR, "large")),
        ({"nodes": 5}, "WHOLE_MODEL_PAIRS", (SECTOR_BY_SECTOR, "large")),
        ({"nodes": 5}, "WHOLE_BY_NODES_PAIRS", ("highs, in parts", "parts")),
    ],
)
def test_a_model_up_to_the_largest_is_searched_whole(monkeypatch, given, name, above):
    size = int(problem(years=0.3).allowed.sum())
    for most, (how, by) in ((size, (WHOLE, "both")), (size - 1, above)):
        monkeypatch.setattr(f"saltreach.planning.plan.{name}", most)
        made, tried, steps = way_of_search(monkeypatch, NOBODY, **given)
        assert (made.how, tried) == (how, [by])
        far = [f"solver ({size} possible visits): so far"] if by == "large" else []
        assert steps == [
            "greedy plan", f"solver ({size} possible visits)", *far, "what cannot be met"
        ]  # fmt: skip


def test_a_search_that_finds_no_better_says_so_and_the_bound_is_never_above_the_plan(monkeypatch):
    made, _, _ = way_of_search(monkeypatch, SAME)
    assert 0 <= made.seconds < 600
    assert (made.how, made.proven) == ("greedy (the solver found no better)", False)
    assert made.bound_min == 60 < made.cost.total_min
    made, _, _ = way_of_search(monkeypatch, lambda base: Solved(base, 10**9, False, 1))
    assert made.bound_min == made.cost.total_min
    made, _, _ = way_of_search(monkeypatch, lambda base: Solved(base, 60, True, 1))
    assert made.proven and made.bound_min == made.cost.total_min
    made, _, _ = way_of_search(monkeypatch, SAME, seconds=0)
    assert (made.how, made.bound_min, made.gap) == ("greedy", None, None)


@pytest.mark.pinned("worked", answers=10)
def test_figures_are_hours_to_a_tenth():
    """Minutes of the judge, over 60; the load and the gaps are shares."""
    world = problem(**WORLDS["closure"], years=YEARS)
    made = make_plan(world, seconds=0)
    made = replace(made, bound_min=1001, forced_min=7777)
    told = made.figures
    assert (told["bound_team_hours"], told["forced_overdue_team_hours"]) == (16.7, 129.6)
    cost = Cost(total_min=1001, overdue_min=77, team_min=0, unfair_min=0, change_min=0,
                travel_min=100, work_min=124, trips=3, overdue_days=5, load=(0.12345,))  # fmt: skip
    told = replace(made, cost=cost).figures["cost"]
    assert told == {
        "total_team_hours": 16.7, "overdue_team_hours": 1.3, "overdue_days": 5,
        "travel_hours": 1.7, "work_hours": 2.1, "trips": 3, "load": [0.123],
    }  # fmt: skip
    assert replace(made, bound_min=None).figures["bound_team_hours"] is None


@pytest.mark.parametrize(("seconds", "nodes"), [(math.inf, None), (-1.0, None), (5.0, 0)])
def test_a_search_without_an_end_or_a_beginning_is_refused(seconds, nodes):
    with pytest.raises(OptionError):
        make_plan(problem(years=0.3), seconds=seconds, nodes=nodes)


def test_one_node_is_a_search():
    assert make_plan(problem(years=0.3), nodes=1).cost.total_min > 0
