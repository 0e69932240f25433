"""The plan by hand's rule: which sector sets a day, and what joins it, by hand.

Sectors of 120 min, crags an hour from home unless said otherwise, first Saturdays: 2 January,
6 February, 6 March, 3 April, 1 May, 5 June.
"""

import datetime as dt

import pandas as pd
import pytest

from helpers.planning_world import closed, problem, sectors, sheet, team
from saltreach.planning.greedy import greedy_plan
from saltreach.planning.windows import day_text

pytestmark = pytest.mark.pinned("worked")


def legs(*rows):
    return sheet(*({"from": a, "to": b, "hours": h} for a, b, h in rows))


def plan(frame, teams=None, ways=None, kept=frozenset(), **more):
    """Sectors by number, by team and date."""
    teams = teams or [team()]
    crags = list(dict.fromkeys(frame["crag"]))
    own = (ways or legs()).rows
    known = {(leg["from"], leg["to"]) for leg in own}
    near = [(t["team"], c, 1.0) for t in teams for c in crags if (t["team"], c) not in known]
    tables = {"travel": sheet(*legs(*near).rows, *own)} | more.pop("tables", {})
    world = problem(frame, teams, tables=tables, **more)
    found = {}
    for k, d in sorted(greedy_plan(world, kept)):
        day = world.days.iloc[d]
        found.setdefault((teams[day["team_at"]]["team"], day_text(day["day"])[5:]), []).append(k)
    return found


def year(count, crag="Crag 0", **more):
    months = pd.array([12] * count, dtype="Int64")
    return sectors(count, crag=crag, inspection_interval_months=months, **more)


ONE = {"until": dt.date(2027, 1, 31)}
"""A team of one day, 2 January."""


@pytest.mark.parametrize(
    ("months", "due", "visited"),
    [
        # a third of the interval, a month as ten days: 30 days before 2 February is 3 January
        (3, "2027-02-01", "01-02"), (3, "2027-02-02", "02-06"),
        # 45 days at most: 16 February less 45 days is 2 January
        (12, "2027-02-16", "01-02"), (12, "2027-02-17", "02-06"), (4, "2027-02-11", "01-02"),
        (4, "2027-02-12", "02-06"),
        (1, "2027-01-12", "01-02"), (1, "2027-01-13", "02-06"),
    ],
)  # fmt: skip
def test_how_long_before_its_due_day_a_sector_is_taken(months, due, visited):
    frame = sectors(1, next_inspection_on=due)
    frame["inspection_interval_months"] = pd.array([months], dtype="Int64")
    assert next(iter(plan(frame))) == ("A", visited)


def test_what_is_done_once_is_done_as_soon_as_can_be():
    frame = year(1, next_inspection_on="2027-06-29", replace_by="2027-05-15")
    bolts = frame[["crag", "sector"]].assign(anchors=2)
    able = [team(skills=("rebolting",))]
    assert plan(frame, able, rebolt=bolts) == {("A", "01-02"): [1], ("A", "06-05"): [0]}


def test_the_dearest_sets_the_day_and_its_crag_is_filled_first():
    """0 (high) sets it, 1 (low) is at the same crag; 2 (raised) would make it 540 min."""
    frame = year(3, crag=["Crag 0", "Crag 0", "Crag 1"], risk_band=["high", "low", "raised"])
    ways = legs(("Crag 0", "Crag 1", 0.5))
    assert plan(frame, [team(**ONE)], ways) == {("A", "01-02"): [0, 1]}
    assert plan(frame, [team(hours_per_day=9.0, **ONE)], ways) == {("A", "01-02"): [0, 1, 2]}
    assert plan(frame, [team(hours_per_day=8.9, **ONE)], ways) == {("A", "01-02"): [0, 1]}


@pytest.mark.parametrize(("hours", "first"), [(3.0, 1), (3.5, 0)])
def test_what_presses_is_price_by_the_time_it_takes(hours, first):
    """Near: 120 over 2 x 60 + 120 + 30 = 270, 0.444. Far, severe: 240 over 510, 0.471, or 570."""
    frame = year(2, crag=["Crag 0", "Crag 1"], risk_band=["high", "severe"])
    ways = legs(("A", "Crag 1", hours), ("Crag 0", "Crag 1", 4.0))
    assert plan(frame, [team(hours_per_day=10.0, **ONE)], ways) == {("A", "01-02"): [first]}


@pytest.mark.parametrize(
    ("due", "first"),
    [
        (["2027-01-12", "2027-01-11"], 1),  # the sooner due
        (["2027-01-01", "2026-12-31"], 1),
        (["2026-11-03", "2026-11-02"], 0),  # 60 days past and more press alike: the first in order
        (["2026-11-04", "2026-11-03"], 1),
    ],
)
def test_the_nearer_its_day_the_more_a_sector_presses(due, first):
    frame = year(2, next_inspection_on=due)
    one = team(hours_per_day=4.5, **ONE)  # 30 + 120 + 120: room for one
    assert plan(frame, [one]) == {("A", "01-02"): [first]}


def test_the_idlest_team_goes_first_and_the_first_of_equals():
    """Both could on either day; A goes on 2 January, so B on 6 February."""
    frame = year(2, crag=["Crag 0", "Crag 1"], next_inspection_on=["2027-01-20", "2027-03-20"])
    ways = legs(("Crag 0", "Crag 1", 3.0))
    both = [team("A"), team("B")]
    assert plan(frame, both, ways) == {("A", "01-02"): [0], ("B", "02-06"): [1]}
    # by share of its time: A has ten days, of which two are used, B three, of which one is
    due = ["2027-01-05", "2027-01-05", "2027-01-20", "2027-03-20"]
    frame = year(4, crag=[f"Crag {i}" for i in range(4)], next_inspection_on=due)
    far = legs(*((f"Crag {a}", f"Crag {b}", 5.0) for b in range(4) for a in range(b)))
    both = [team("A", days_free=("SA",)), team("B", days_free=("2SA",))]
    found = plan(frame, both, far, years=0.25)
    assert found == {("A", "01-02"): [0], ("A", "01-09"): [2], ("B", "01-09"): [1],
                     ("A", "02-06"): [3]}  # fmt: skip


def test_a_limit_of_days_a_month_is_kept():
    frame = year(2, crag=["Crag 0", "Crag 1"])
    ways = legs(("Crag 0", "Crag 1", 3.0))
    days = {"days_free": ("1SA", "2SA")}
    assert plan(frame, [team(days_per_month=1, **days)], ways) == {
        ("A", "01-02"): [0], ("A", "02-06"): [1],
    }  # fmt: skip
    assert plan(frame, [team(days_per_month=2, **days)], ways) == {
        ("A", "01-02"): [0], ("A", "01-09"): [1],
    }  # fmt: skip
    assert plan(frame, [team(days_per_month=0, **days)], ways) == {}


def test_a_detour_longer_than_the_way_from_home_is_a_trip_of_its_own():
    frame = year(2, crag=["Crag 0", "Crag 1"])
    long = [team(hours_per_day=12.0, **ONE)]
    for between, found in ((1.0, [0, 1]), (61 / 60, [0])):
        assert plan(frame, long, legs(("Crag 0", "Crag 1", between))) == {("A", "01-02"): found}
    # what is overdue is taken along all the same; on its due day it is not overdue
    for due, found in (("2027-01-01", [0, 1]), ("2027-01-02", [0])):
        late = frame.assign(next_inspection_on=["2026-12-20", due])
        assert plan(late, long, legs(("Crag 0", "Crag 1", 1.5))) == {("A", "01-02"): found}


def test_the_shortest_detour_joins_first_and_is_measured_from_the_nearest_crag():
    """0 sets the day. 2 is 30 min from it, 1 is 45; there is room for one more."""
    frame = year(3, crag=["Crag 0", "Crag 1", "Crag 2"], risk_band=["severe", "high", "low"])
    ways = legs(("Crag 0", "Crag 1", 0.75), ("Crag 0", "Crag 2", 0.5), ("Crag 1", "Crag 2", 0.25))
    assert plan(frame, [team(**ONE)], ways) == {("A", "01-02"): [0, 2]}
    # as far: the more pressing
    ways = legs(("Crag 0", "Crag 1", 0.5), ("Crag 0", "Crag 2", 0.5), ("Crag 1", "Crag 2", 0.25))
    assert plan(frame, [team(**ONE)], ways) == {("A", "01-02"): [0, 1]}
    # Crag 2 is too far from Crag 0, and not looked at again when Crag 1 has joined
    ways = legs(("Crag 0", "Crag 1", 0.5), ("Crag 0", "Crag 2", 1.25), ("Crag 1", "Crag 2", 0.75))
    all_three = plan(frame, [team(hours_per_day=12.0, **ONE)], ways)
    assert all_three == {("A", "01-02"): [0, 1]}


@pytest.mark.parametrize(
    ("first", "last", "visited"),
    [
        # due on 15 April, shut from 1 March to 30 June: the last day open before is 6 February,
        # 35 days from 2 January, and a third of three months is 30; later on 29 and 28 days ahead
        ("03-01", "06-30", ["02-06", "07-03", "09-04", "11-06"]),
        # the days on either side of the gap are 6 March and 1 May, 56 apart: no long gap
        ("03-10", "04-20", ["05-01", "07-03", "09-04", "11-06"]),
    ],
)
def test_a_sector_due_within_a_long_closure_is_seen_before_it(first, last, visited):
    frame = sectors(1, next_inspection_on="2027-04-15")
    shut = {"windows": sheet(closed("Crag 0", first, last))}
    assert [day for _, day in plan(frame, tables=shut, years=1)] == visited


def test_a_visit_that_is_kept_stays_where_it_can():
    frame = year(2, next_inspection_on=["2027-05-20", "2027-01-20"])
    assert plan(frame, kept=frozenset({(0, 0)})) == {("A", "01-02"): [0, 1]}
    # without it 0 would wait
    assert plan(frame) == {("A", "01-02"): [1], ("A", "05-01"): [0]}
    # on a day that both would overfill neither is kept; what presses more is taken
    short = [team(hours_per_day=6.0)]
    both = frozenset({(0, 0), (1, 0)})
    assert plan(frame, short, kept=both) == {("A", "01-02"): [1], ("A", "05-01"): [0]}
    # a closed day is no place for it
    shut = {"windows": sheet(closed("Crag 0", "2027-01-01", "2027-01-10"))}
    found = plan(frame, kept=frozenset({(0, 0)}), tables=shut)
    assert found == {("A", "02-06"): [1], ("A", "05-01"): [0]}
    # a second visit of the last plan, for which it is no longer due in the plan
    twice = plan(frame, kept=frozenset({(1, 0), (1, 1)}))
    assert twice == {("A", "01-02"): [1], ("A", "05-01"): [0]}


def test_two_teams_on_one_day_do_not_see_one_sector_twice():
    frame = year(1)
    assert plan(frame, [team("A"), team("B")]) == {("A", "01-02"): [0]}
    monthly = sectors(1, inspection_interval_months=pd.array([1], dtype="Int64"))
    kept = frozenset({(0, 0), (0, 1)})
    found = plan(monthly, [team("A", **ONE), team("B", **ONE)], kept=kept)
    assert found == {("A", "01-02"): [0]}


def test_a_gap_is_long_beyond_sixty_days():
    """Due on 15 March; free on 6 February and then on 7 April, 60 days later, or on the 8th."""
    frame = sectors(1, next_inspection_on="2027-03-15")
    off = ((dt.date(2027, 3, 1), dt.date(2027, 4, 6)),)
    for day, visited in (("2027-04-07", "04-07"), ("2027-04-08", "02-06")):
        back = ((dt.date.fromisoformat(day),) * 2,)
        found = plan(frame, [team(away=off, also=back, until=dt.date(2027, 4, 8))])
        assert next(iter(found)) == ("A", visited)
    # due on the day it opens again, it is not pressed before
    due = frame.assign(next_inspection_on="2027-04-08")
    assert next(iter(plan(due, [team(away=off, also=back)]))) == ("A", "04-08")


@pytest.mark.parametrize(
    ("due", "first"),
    [
        # 46 days less those to the due day: raised 60 x 4 is high 120 x 2; raised 60 x 3 is less
        (["2027-02-13", "2027-02-15"], 0), (["2027-02-14", "2027-02-15"], 1),
    ],
)  # fmt: skip
def test_a_day_nearer_weighs_against_a_worse_band(due, first):
    frame = year(2, risk_band=["raised", "high"], next_inspection_on=due)
    one = team(hours_per_day=4.5, **ONE)
    assert plan(frame, [one]) == {("A", "01-02"): [first]}


def test_what_is_done_once_may_wait_nine_hundred_days():
    """20 June 2029 is 900 days after 2 January 2027; three quarters of five years are later."""
    frame = year(1, next_inspection_on="2031-12-01")
    bolts = frame[["crag", "sector"]].assign(anchors=2)
    able = [team(skills=("rebolting",))]
    for due, visited in (("2029-06-20", "01-02"), ("2029-06-21", "02-06")):
        found = plan(frame.assign(replace_by=due), able, rebolt=bolts, years=5)
        assert found["A", visited] == [1]


def test_a_day_is_filled_to_the_minute():
    """30 + 120 + 3 x 120 = 510."""
    for hours, found in ((8.5, [0, 1, 2]), (8.4, [0, 1])):
        assert plan(year(3), [team(hours_per_day=hours, **ONE)]) == {("A", "01-02"): found}


def test_each_that_joins_is_the_nearest_to_those_before():
    """From 0: 1 is 30 min, 2 is 45, 3 is 50; from 1: 2 is 40, 3 is 5. Three crags a day."""
    frame = year(4, crag=[f"Crag {i}" for i in range(4)], risk_band=["severe", *["high"] * 3])
    minutes = {(0, 1): 30, (0, 2): 45, (0, 3): 50, (1, 2): 40, (1, 3): 5, (2, 3): 55}
    ways = legs(*((f"Crag {a}", f"Crag {b}", m / 60) for (a, b), m in minutes.items()))
    found = plan(frame, [team(hours_per_day=12.0, **ONE)], ways)
    assert found == {("A", "01-02"): [0, 1, 3]}


def test_what_is_due_again_on_the_day_after_the_plan_is_not_in_it():
    """First Thursdays. Seen on 1 April, due again on 1 July, 28 days after 3 June."""
    frame = sectors(1, next_inspection_on="2027-04-05")
    days = [team(days_free=("1TH",))]
    assert plan(frame, days) == {("A", "04-01"): [0]}
    assert plan(frame, days, kept=frozenset({(0, 5)})) == {("A", "04-01"): [0]}


@pytest.mark.parametrize(
    ("ways", "anchors", "crags", "idlest"),
    [
        # A 2 x 120 + 30 + 120 = 390; B 2 x 30 + 30 + 3 x 120 = 450
        ((2.0, 2.0, 0.5), (10, 0, 10, 10, 10), "00111", "A"),
        # A the same; B with two, 330
        ((2.0, 2.0, 0.5), (10, 0, 10, 10, 0), "00111", "B"),
        # A at two crags, of which the farther counts: 240 + 30 + 240 = 510; B 450
        ((2.0, 0.5, 0.5), (10, 10, 10, 10, 10), "01222", "B"),
    ],
)
def test_the_load_of_a_team_is_its_way_its_packing_and_its_work(ways, anchors, crags, idlest):
    """On 2 January A goes to the first sectors, B to the next; the last is an hour from both."""
    keep = [i for i, n in enumerate(anchors) if n]
    names = [f"Crag {c}" for c in crags] + ["Crag 9"]
    skills = [("a",), ("a",), ("b",), ("b",), ("b",), ()]
    frame = year(
        6, crag=names, next_inspection_on=["2027-01-10"] * 5 + ["2027-03-15"]
    ).iloc[[*keep, 5]]  # fmt: skip
    needs = [{"crag": names[i], "sector": f"Sector {i}", "skills": skills[i], "people": 1,
              "access_hours": 0.0, "hours_per_anchor": None} for i in keep]  # fmt: skip
    there = {names[0]: ways[0], names[1]: ways[1], names[2]: ways[2], "Crag 9": 1.0}
    legs_ = [(t, c, h) for t in "AB" for c, h in there.items()]
    legs_ += [(a, b, 0.25 if "9" not in a + b else 3.0) for a in there for b in there if a < b]
    teams = [team(n, hours_per_day=12.0, skills=(n.lower(),)) for n in "AB"]
    found = plan(frame, teams, legs(*legs_), tables={"needs": sheet(*needs)})
    last = len(keep)
    assert [who for who, tasks in found.items() if last in tasks][0][0] == idlest


def test_the_load_is_a_share_of_the_teams_own_time():
    """270 min of B's every Saturday are less than 270 of A's first Saturdays."""
    frame = year(3, crag=[f"Crag {i}" for i in range(3)],
                 next_inspection_on=["2027-01-05", "2027-01-05", "2027-03-20"])  # fmt: skip
    far = legs(*((f"Crag {a}", f"Crag {b}", 5.0) for b in range(3) for a in range(b)))
    sheet_b = team("B", days_free=("SA",), away=((dt.date(2027, 1, 3), dt.date(2027, 2, 5)),))
    assert plan(frame, [team("A"), sheet_b], far)["B", "02-06"] == [2]
