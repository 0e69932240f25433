"""Each rule that a plan may break is found and named, with limits worked out by hand.

The world (helpers/planning_world.py): home at 0 E, Crag 0 at 0.1 E on 43 N, 8.14 km away by the
mean radius of the Earth. By road 1.4 times as far at 60 km/h: 12 minutes. Packing takes 30 minutes,
setting up at a sector 30, its 10 anchors 90. A day with one sector is 30 + 12 + 120 + 12 = 174
minutes, with both 294.
"""

import datetime as dt

import pytest

from helpers.planning_world import closed, problem, sectors, sheet, team
from saltreach.planning.cost import broken_rules, timetable
from saltreach.planning.greedy import greedy_plan
from saltreach.planning.windows import day_number

DAY = day_number("2027-01-02")


def test_two_visits_of_a_task_on_one_day():
    world = problem(teams=[team("A"), team("B")])
    assert world.days["day"].tolist()[:2] == [DAY, DAY]
    assert broken_rules(world, frozenset({(0, 0), (1, 1)})) == []
    assert broken_rules(world, frozenset({(0, 0), (0, 1)})) == [
        f"task 0: visited twice on day {DAY}"
    ]


def test_a_closed_sector_is_not_visited():
    world = problem(tables={"windows": sheet(closed("Crag 0", "2027-01-01", "2027-01-31"))})
    assert broken_rules(world, frozenset({(0, 0)})) == ["task 0 on team-day 0: reason 3"]
    assert broken_rules(world, frozenset({(0, 1)})) == []


@pytest.mark.parametrize(("minutes", "kept"), [(293, False), (294, True)])
def test_a_day_holds_what_fits_to_the_minute(minutes, kept):
    world = problem(teams=[team(hours_per_day=minutes / 60)])
    assert broken_rules(world, frozenset({(0, 0)})) == []
    found = broken_rules(world, frozenset({(0, 0), (1, 0)}))
    assert found == ([] if kept else ["team-day 0: too much for one day"])


def test_a_month_has_so_many_days_of_a_team():
    world = problem(teams=[team(days_free=("SA",), days_per_month=2)])
    three = frozenset({(0, 0), (1, 1), (0, 2)})
    (said,) = broken_rules(world, three)
    assert said.startswith("team 0, month ") and said.endswith(": 3 days, at most 2")
    assert broken_rules(world, three - {(1, 1)}) == []


def test_a_day_has_so_many_crags():
    frame = sectors(4)
    assert timetable(problem(frame, crags_per_day=2), 0, [0, 2]) is not None
    assert timetable(problem(frame, crags_per_day=1), 0, [0, 2]) is None


@pytest.mark.parametrize(("until", "kept"), [(961, True), (959, False)])
def test_two_sectors_of_one_tide_need_a_window_for_both(until, kept):
    """Two hours each from 12:00 on: 16:00 is just enough."""
    tide = {
        "crag": "Crag 0",
        "sector": "",
        "date": dt.date(2027, 1, 2),
        "from": 720,
        "until": until,
    }
    world = problem(tables={"tides": sheet(tide)})
    assert world.allowed[:, 0].all()
    assert (timetable(world, 0, [0, 1]) is not None) is kept


def test_a_kept_visit_that_its_sector_no_longer_allows_is_dropped():
    world = problem(tables={"windows": sheet(closed("Crag 0", "2027-01-01", "2027-01-31"))})
    assert greedy_plan(world, frozenset({(0, 0)})) == greedy_plan(world)


def test_a_kept_day_that_no_longer_fits_is_planned_anew():
    world = problem(teams=[team(hours_per_day=293 / 60)])
    found = greedy_plan(world, frozenset({(0, 0), (1, 0)}))
    assert broken_rules(world, found) == []
    assert found == greedy_plan(world)
