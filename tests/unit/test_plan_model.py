"""The model that HiGHS solves, the parts it is cut into, and what a plan refuses or explains.

Times of the small world are worked out in test_plan_judge.py: two hours of work at a sector, 42
minutes from the start of the day (9:00) to its rock.
"""

import datetime as dt

import pandas as pd
import pytest

from helpers.planning_world import closed, problem, sectors, sheet, team, tide
from saltreach.errors import OptionError
from saltreach.planning.cost import Stop, broken_rules, cost_of, timetable
from saltreach.planning.greedy import greedy_plan
from saltreach.planning.highs import Answer
from saltreach.planning.model import Model
from saltreach.planning.parts import improve
from saltreach.planning.plan import make_plan
from saltreach.planning.solver import Solved, drop_redundant_visits, solve

PROVEN = 10_000


def test_before_the_tide_goes_what_fits_and_the_rest_after():
    """9:42 to 11:42 one, from 12:00 the tide's own; the other would end at 13:42, so it waits."""
    frame = sectors(3, crag="Crag 0")
    world = problem(frame, tables={"tides": sheet(tide("Sector 0", 720, 850))})
    assert timetable(world, 0, [0, 1, 2]) == [
        Stop(1, 582, 582, 702), Stop(0, 582, 720, 840), Stop(2, 582, 840, 960)
    ]  # fmt: skip


@pytest.mark.parametrize(("until", "joined"), [(961, True), (959, False)])
def test_a_visit_that_stays_takes_its_time_of_the_tide(until, joined):
    """Four hours from 12:00 hold both sectors; task 0 stays there, task 1 may join it."""
    world = problem(tables={"tides": sheet(tide("", 720, until))}, years=0.1)
    base = frozenset({(0, 0)})
    found = solve(world, base, nodes=PROVEN, rows=[0], tasks=[1])
    assert ((1, 0) in found.pairs) is joined
    assert base <= found.pairs and broken_rules(world, found.pairs) == []


def test_two_tides_that_hardly_meet_are_not_tried_on_one_day():
    """10:00 to 12:10 and 11:50 to 14:10: both would do, but the model is tighter."""
    tides = sheet(tide("Sector 0", 600, 730), tide("Sector 1", 710, 850))
    world = problem(tables={"tides": tides}, years=0.1)
    assert timetable(world, 0, [0, 1]) is not None
    found = solve(world, frozenset(), nodes=PROVEN)
    assert found.proven and len(found.pairs) == 1


def test_of_two_windows_of_a_day_the_longer_counts():
    short, long = tide("Sector 0", 600, 700), tide("Sector 0", 780, 910)
    for both in ((short, long), (long, short)):
        world = problem(tables={"tides": sheet(*both)})
        assert world.tides[0, world.days["day"].iloc[0]] == (780, 910)


def test_where_overdue_days_cost_nothing_nobody_goes():
    world = problem(overdue_hours=0)
    found = solve(world, frozenset({(0, 0)}), nodes=PROVEN)
    assert (found.proven, found.pairs) == (True, frozenset())


def test_a_search_that_ends_before_it_has_a_plan_leaves_the_one_it_was_given(monkeypatch):
    """Nobody going is the base; the solver's bound, without what is always paid, is 1.2 min."""
    world, base = problem(), frozenset()
    nothing = Answer(values=None, bound=1.2, proven=False, nodes=7)
    monkeypatch.setattr("saltreach.planning.solver.minimise", lambda *_, **__: nothing)
    always = Model(world, base).constant
    assert solve(world, base, nodes=PROVEN) == Solved(base, always + 2, False, 7)
    assert solve(world, base, rows=[0], nodes=PROVEN).bound_min is None


@pytest.mark.pinned("worked")
@pytest.mark.parametrize(
    ("change_hours", "last", "stays"),
    [(2.0, False, False), (2.0, True, True), (1.9, True, False), (0.0, True, False)],
)
def test_a_visit_that_no_due_date_needs_goes_unless_the_change_costs_as_much(
    change_hours, last, stays
):
    """Due once, on 20 January: the visit of 6 February saves nothing and takes two hours."""
    frame = sectors(1, inspection_interval_months=pd.array([60], dtype="Int64"))
    world = problem(frame, change_hours=change_hours)
    first, second = (0, 0), (0, 1)
    both = frozenset({first, second})
    kept = drop_redundant_visits(world, both, both if last else frozenset())
    assert kept == (both if stays else {first})


def test_a_team_without_a_free_day_takes_no_part_in_fairness():
    teams = [team("A"), team("B", lon=0.5)]
    idle = team("C", **{"from": dt.date(2040, 1, 1)})
    alone = solve(problem(teams=teams, years=0.3), frozenset(), nodes=PROVEN)
    beside = solve(problem(teams=[*teams, idle], years=0.3), frozenset(), nodes=PROVEN)
    assert alone.proven and alone.bound_min == beside.bound_min


def test_parts_too_large_are_cut_to_the_least_and_tried_all_the_same(monkeypatch):
    monkeypatch.setattr("saltreach.planning.parts.PART_PAIRS", 1)
    world = problem(sectors(8), [team("A"), team("B", lon=1.0), team("C", lon=0.5)], years=1)
    base, parts = greedy_plan(world), iter(range(8))
    found = improve(world, base, stop=lambda: next(parts, None) is None)
    assert broken_rules(world, found) == []
    assert cost_of(world, found).total_min <= cost_of(world, base).total_min


def test_a_plan_of_nothing_due_is_refused():
    with pytest.raises(OptionError, match="no sector has a due date within the plan"):
        problem(sectors(next_inspection_on="2040-01-01"))


def test_rebolting_of_a_sector_nobody_assessed_is_refused():
    chosen = pd.DataFrame({"crag": ["Crag 0"], "sector": ["Roof"], "anchors": [3]})
    with pytest.raises(OptionError, match="Crag 0 / Roof is not among the sectors assessed"):
        problem(rebolt=chosen)


def test_rebolting_that_is_done_is_not_planned_again():
    frame = sectors(2)
    done = {
        "crag": "Crag 0",
        "sector": "Sector 0",
        "kind": "rebolt",
        "done_on": dt.date(2026, 12, 9),
    }
    world = problem(frame, rebolt=frame[["crag", "sector"]].assign(anchors=3), done=[done])
    assert world.tasks.loc[world.tasks["kind"] == "rebolt", "sector"].tolist() == ["Sector 1"]


def needs(*skills):
    return sheet({"crag": "Crag 0", "sector": "", "skills": skills, "people": 1,
                  "access_hours": 0.0, "hours_per_anchor": None})  # fmt: skip


def test_the_only_team_with_the_skill_is_named_where_it_is_not_free():
    able = team("Ropes", skills=("rope access",), **{"from": dt.date(2027, 5, 1)})
    made = make_plan(problem(sectors(1), [team(), able], tables={"needs": needs("rope access")}))
    first = made.flat.unmet.iloc[0]
    assert first["rule"] == "skills"
    assert first["why"] == "only Ropes can do rope access, and is not free in that time"
    assert first["fix"] == "one more team-day in January 2027, for example of Ropes"


def test_where_no_team_comes_so_far_a_nearer_one_is_the_remedy():
    """9 degrees are 732 km; nobody is free before June."""
    far = team("Far", lon=9.0, **{"from": dt.date(2027, 6, 1)})
    made = make_plan(problem(sectors(1), [far]))
    first = made.flat.unmet.iloc[0]
    assert (first["rule"], first["fix"]) == ("team-days", "a nearer team or a longer day")


def test_a_sector_that_falls_due_within_a_closure_is_visited_before_it():
    """Due on 20 January; of the first Saturdays only that of January is open."""
    shut = {"windows": sheet(closed("Crag 0", "2027-02-01", "2027-05-31"))}
    made = make_plan(problem(sectors(1), tables=shut), seconds=0)
    assert made.flat.visits["date"].iloc[0] == "2027-01-02"


def test_a_kept_visit_that_its_sector_no_longer_allows_is_dropped():
    world = problem(tables={"windows": sheet(closed("Crag 0", "2027-01-01", "2027-01-31"))})
    assert greedy_plan(world, frozenset({(0, 0)})) == greedy_plan(world)


def test_a_kept_day_that_no_longer_fits_is_planned_anew():
    world = problem(teams=[team(hours_per_day=293 / 60)])
    found = greedy_plan(world, frozenset({(0, 0), (1, 0)}))
    assert broken_rules(world, found) == []
    assert found == greedy_plan(world)
