"""The judge of every plan: its terms, its days hour by hour, and every rule, by hand.

The small world (helpers/planning_world.py) where nothing else is said: home at 0 E, Crag 0 at 0.1 E
on 43 N, 8.14 km away by the mean radius of the Earth. By road 1.4 times as far at 60 km/h: 12
minutes. Packing takes 30 minutes, setting up at a sector 30, its 10 anchors 90. A day with one
sector is 30 + 12 + 120 + 12 = 174 minutes, with both 294.
"""

import datetime as dt
from dataclasses import replace

import pandas as pd
import pytest

from helpers.planning_world import closed, problem, sectors, sheet, team, tide
from saltreach.planning.cost import (
    OverdueSpell,
    broken_rules,
    by_day,
    cost_of,
    overdue_days,
    overdue_spells,
    round_min,
    timetable,
    unavoidable_min,
)
from saltreach.planning.windows import day_number


def legs(*rows):
    return sheet(*({"from": a, "to": b, "hours": h} for a, b, h in rows))


ROUND = legs(
    ("A", "Crag 0", 1),
    ("A", "Crag 1", 1.5),
    ("A", "Crag 2", 0.5),
    ("Crag 0", "Crag 1", 0.25),
    ("Crag 1", "Crag 2", 1.75),
    ("Crag 0", "Crag 2", 1.25),
)
"""From home 60, 90 and 30 min; between them 15, 105 and 75."""  # fmt: skip


def three_crags(**more):
    frame = sectors(3, crag=["Crag 0", "Crag 1", "Crag 2"], anchors=4)  # 30 + 36 min each
    return problem(frame, [team(hours_per_day=10.0)], tables={"travel": ROUND} | more)


@pytest.mark.pinned("worked", answers=7)
def test_the_shortest_round():
    world = three_crags()
    assert [round_min(world, 0, [c]) for c in (0, 1, 2)] == [120, 180, 60]
    assert [round_min(world, 0, p) for p in ([0, 1], [0, 2], [1, 2])] == [165, 165, 225]
    # 0 1 2: 60 + 15 + 105 + 30 = 210; 1 0 2: 90 + 15 + 75 + 30 = 210; 0 2 1: 60 + 75 + 105 + 90
    assert round_min(world, 0, [0, 1, 2]) == 210
    assert round_min(world, 0, [0, 1, 2]) == 210  # kept from before


@pytest.mark.pinned("worked", answers=9)
def test_a_day_of_three_crags_hour_by_hour():
    """Out 09:00 and packed 09:30. 0, 1, 2: at 10:30 to 11:36; 15 min; 11:51 to 12:57; 105 min;
    14:42 to 15:48; home 16:18. The others are no shorter; of equal ones the first in order."""
    world = three_crags()
    stops = timetable(world, 0, [2, 0, 1])
    assert [(s.task, s.arrives, s.begins, s.ends) for s in stops] == [
        (0, 630, 630, 696), (1, 711, 711, 777), (2, 882, 882, 948),
    ]  # fmt: skip
    day = world.days.iloc[0]
    assert day["starts"] + day["length_min"] == 1140
    # home at 978: a day that ends then is kept, one a minute shorter is not
    for length, kept in ((978 - 540, True), (977 - 540, False)):
        one = problem(
            sectors(3, crag=["Crag 0", "Crag 1", "Crag 2"], anchors=4),
            [team(hours_per_day=length / 60)], tables={"travel": ROUND},
        )  # fmt: skip
        assert (timetable(one, 0, [0, 1, 2]) is not None) == kept
    two = problem(
        sectors(3, crag=["Crag 0", "Crag 1", "Crag 2"], anchors=4), [team(hours_per_day=10.0)],
        tables={"travel": ROUND}, crags_per_day=2,
    )  # fmt: skip
    assert timetable(two, 0, [0, 1, 2]) is None
    assert [s.task for s in timetable(two, 0, [0, 1])] == [0, 1]


def tidal(*windows, anchors=(4, 4, 14, 4), hours=10.0):
    """Four sectors of one crag an hour away, 66, 66, 156 and 66 min; the first ones by tide."""
    rows = [{"crag": "Crag 0", "sector": f"Sector {i}", "date": dt.date(2027, 1, 2), "from": a,
             "until": b} for i, (a, b) in enumerate(windows)]  # fmt: skip
    return problem(
        sectors(4, crag="Crag 0", anchors=list(anchors)), [team(hours_per_day=hours)],
        tables={"travel": legs(("A", "Crag 0", 1)), "tides": sheet(*rows)},
    )  # fmt: skip


def times(world, tasks):
    stops = timetable(world, 0, tasks)
    return None if stops is None else [(s.task, s.begins, s.ends) for s in stops]


@pytest.mark.pinned("worked", answers=8)
def test_the_tide_and_what_fills_the_time_before_it():
    """There at 10:30 (630). The window of 0 opens at 13:30 (810): before it 180 min, for 2 (156)
    and nothing more; 3 comes after."""
    world = tidal((810, 900))
    assert times(world, [0, 2, 3]) == [(2, 630, 786), (0, 810, 876), (3, 876, 942)]
    # at 852 both fit, to the minute; at 851 only the longer
    assert times(tidal((852, 930)), [0, 2, 3]) == [(2, 630, 786), (3, 786, 852), (0, 852, 918)]
    assert times(tidal((851, 930)), [0, 2, 3])[1] == (0, 851, 917)
    assert times(tidal((786, 930)), [0, 2, 3]) == [(2, 630, 786), (0, 786, 852), (3, 852, 918)]
    # longer than the time before the tide: the shorter one fills it
    assert times(tidal((780, 900)), [0, 2, 3]) == [(3, 630, 696), (0, 780, 846), (2, 846, 1002)]
    # two windows: the one that shuts first comes first; a minute too late is too late
    both = tidal((700, 900), (640, 800))
    assert times(both, [0, 1]) == [(1, 640, 706), (0, 706, 772)]
    assert times(tidal((700, 772), (640, 720)), [0, 1]) == [(1, 640, 706), (0, 706, 772)]
    assert times(tidal((700, 771), (640, 720)), [0, 1]) is None
    # of two that shut together the one that opens first
    assert times(tidal((700, 900), (640, 900)), [0, 1]) == [(1, 640, 706), (0, 706, 772)]


@pytest.mark.pinned("worked", answers=6)
def test_overdue_days_and_spells():
    """Due 20 January, every month, plan of half a year (to 30 June): 162 days without a visit.

    Seen on 6 February (17 days late), due again on 6 March and seen on 3 April (28), due on 3 May:
    59 to the end. On the due day it is in time; before it, it is due sooner.
    """
    frame = sectors(1, inspection_interval_months=pd.array([1], dtype="Int64"))
    world = problem(frame)
    day = [day_number(d) for d in ("2027-02-06", "2027-04-03", "2027-01-20", "2027-01-02")]
    assert overdue_days(world, 0, []) == 162
    assert overdue_days(world, 0, day[:2]) == 17 + 28 + 59
    assert overdue_days(world, 0, [day[2]]) == 131  # from 20 February
    assert overdue_days(world, 0, [day[3]]) == 149  # from 2 February
    rows = {int(d): i for i, d in enumerate(world.days["day"])}
    plan = frozenset({(0, rows[day[0]]), (0, rows[day[1]])})
    start, end = day_number("2027-01-01"), day_number("2027-07-01")
    on_the_day = frozenset({(0, rows[day[0]]), (0, rows[day_number("2027-03-06")])})
    assert [s.days for s in overdue_spells(world, on_the_day)] == [17, 86]  # from 6 April on
    assert list(overdue_spells(world, plan)) == [
        OverdueSpell(0, day_number("2027-01-20"), start, day[0], 17),
        OverdueSpell(0, day_number("2027-03-06"), day[0] + 1, day[1], 28),
        OverdueSpell(0, day_number("2027-05-03"), day[1] + 1, end, 59),
    ]
    before = problem(frame.assign(next_inspection_on="2026-06-01"))
    assert overdue_days(before, 0, []) == 181  # of the plan only
    assert next(overdue_spells(before, frozenset())).days == 181
    # every first Saturday: due on 2 February and seen on the 6th; on 1 June and seen on the 5th
    assert unavoidable_min(world) == 120 * (4 + 4)


@pytest.mark.pinned("worked", answers=10)
def test_the_terms_of_a_plan():
    """A on 2 January at crags 0 and 1, B on 3 January at crag 0 again (60 min from home).

    A: 165 + 30 + 2 x 66 = 327 of 6 x 600; B: 120 + 30 + 66 = 216 of 6 x 480: 9.08 % and 7.5 %, so
    10 less 7 at 12 min. Of the last plan one visit is kept, one gone, and two are new: 3 x 120.
    Sector 0, due 20 January, every 3 months, seen on 2 and 3 January: due 3 April, 89 days; Sector
    1: from 2 April, 90 days; Sector 2 from 20 January, 162. 341 x 120.
    """
    frame = sectors(3, crag=["Crag 0", "Crag 1", "Crag 2"], anchors=4)
    ways = sheet(*ROUND.rows, *legs(("B", "Crag 0", 1)).rows)
    world = problem(frame, [team(hours_per_day=10.0), team("B", days_free=("1SU",))],
                    tables={"travel": ways})  # fmt: skip
    plan, last = frozenset({(0, 0), (1, 0), (0, 1)}), frozenset({(0, 0), (2, 0)})
    cost = cost_of(world, plan, last)
    assert (cost.travel_min, cost.work_min, cost.team_min, cost.trips) == (285, 198, 543, 2)
    assert (cost.overdue_days, cost.overdue_min) == (341, 40_920)
    assert (cost.unfair_min, cost.change_min) == (36, 360)
    assert cost.load == pytest.approx((327 / 3600, 216 / 2880))
    assert cost.total_min == 40_920 + 543 + 36 + 360
    assert cost_of(world, plan).change_min == 0
    assert by_day(plan) == {0: [0, 1], 1: [0]}
    # a team without a free hour counts for no load
    none = problem(frame, [team(), team("B", days_free=("1SU",), days_per_month=0)],
                   tables={"travel": ROUND})  # fmt: skip
    alone = cost_of(none, frozenset({(0, 0)}))
    assert (alone.load, alone.unfair_min) == ((216 / 2880, 0.0), 12)
    idle = problem(frame, [team(days_per_month=0)], tables={"travel": ROUND})
    assert cost_of(idle, frozenset()).unfair_min == 0


@pytest.mark.pinned("worked", answers=6)
def test_every_broken_rule_is_named():
    frame = sectors(4, crag="Crag 0", anchors=20)  # 210 min each
    ways = legs(("A", "Crag 0", 1), ("B", "Crag 0", 1))
    world = problem(
        frame,
        [team(days_free=("1SA", "2SA"), days_per_month=1), team("B", lon=1.0, skills=("x",))],
        tables={
            "travel": ways,
            "needs": sheet({"crag": "Crag 0", "sector": "Sector 3", "skills": ("x",), "people": 1,
                            "access_hours": 0.0, "hours_per_anchor": None}),
        },
    )  # fmt: skip
    assert world.days["team_at"].tolist()[:3] == [0, 1, 0]
    day = day_number("2027-01-02")
    month = (2027 - 1970) * 12
    assert broken_rules(world, frozenset({(0, 0)})) == []
    assert broken_rules(world, frozenset({(3, 0)})) == ["task 3 on team-day 0: reason 1"]
    assert broken_rules(world, frozenset({(0, 0), (1, 0), (3, 0)})) == [
        "task 3 on team-day 0: reason 1"
    ]
    assert broken_rules(world, frozenset({(0, 0), (0, 1)})) == [
        f"task 0: visited twice on day {day}"
    ]
    assert broken_rules(world, frozenset({(0, 0), (1, 0)})) == ["team-day 0: too much for one day"]
    assert broken_rules(world, frozenset({(0, 0), (1, 2)})) == [
        f"team 0, month {month}: 2 days, at most 1"
    ]
    assert broken_rules(world, frozenset({(0, 1), (1, 3), (0, 4)}), days=[1]) == []
    # of the days asked for only
    assert broken_rules(world, frozenset({(3, 0), (0, 1)}), days=[1]) == []
    twice = problem(frame.iloc[:2], [team(days_free=("1SA",))], tables={"travel": ways})
    doubled = pd.concat([twice.days.iloc[:1], twice.days], ignore_index=True)
    both = replace(twice, days=doubled, blocked_by=twice.blocked_by[:, [0, *range(6)]])
    assert broken_rules(both, frozenset({(0, 0), (1, 1)})) == ["a team goes out twice on one day"]


def test_two_visits_of_a_task_on_one_day():
    world, day = problem(teams=[team("A"), team("B")]), day_number("2027-01-02")
    assert world.days["day"].tolist()[:2] == [day, day]
    assert broken_rules(world, frozenset({(0, 0), (1, 1)})) == []
    assert broken_rules(world, frozenset({(0, 0), (0, 1)})) == [
        f"task 0: visited twice on day {day}"
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
    world = problem(tables={"tides": sheet(tide("", 720, until))})
    assert world.allowed[:, 0].all()
    assert (timetable(world, 0, [0, 1]) is not None) is kept
