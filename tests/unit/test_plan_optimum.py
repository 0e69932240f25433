"""The model against every plan there is: what it may change, what stays, and what both cost.

Small worlds (helpers/planning_world.py) are searched whole: each lawful plan of the part that may
change, by the judge, whose terms and rules are worked by hand in test_plan_judge.py. The model
knows nothing of that search, and the judge nothing of the model.
"""

import datetime as dt

import numpy as np
import pytest

from helpers.planning_world import closed, every_plan, problem, sectors, sheet, team, tide
from saltreach.planning.cost import broken_rules, cost_of
from saltreach.planning.highs import minimise
from saltreach.planning.model import Model

PROVEN = 10_000


def best_of_every_plan(
    world, base=frozenset(), last=frozenset(), rows=None, tasks=None, stricter=lambda plan: True
):
    """The least cost of every lawful plan that differs from the base in the part only."""
    movable = range(len(world.tasks)) if tasks is None else tasks
    free = range(len(world.days)) if rows is None else rows
    kept = {(k, d) for k, d in base if k not in movable or d not in free}
    plans = (kept.union(some) for some in every_plan(world, rows, tasks))
    return min(
        cost_of(world, frozenset(p), last).total_min
        for p in plans
        if not broken_rules(world, p) and stricter(p)
    )


def best_of_the_model(world, base=frozenset(), last=frozenset(), rows=None, tasks=None):
    """What the judge says of it, who finds no rule broken, and the model with him."""
    model = Model(world, base, last, rows, tasks)
    found = minimise(model.cost, model.upper, model.rows, nodes=PROVEN)
    assert found.proven
    pairs = model.kept | {pair for pair, x in model.visit.items() if found.values[x] > 0.5}
    assert broken_rules(world, pairs) == []
    true = cost_of(world, pairs, last).total_min
    began, costs = (
        sum(c * values[x] for x, c in model.cost.items()) + model.constant
        for values in (model.start, found.values.round())
    )
    # a part of a plan does not count what it cannot change
    assert began - costs == cost_of(world, base, last).total_min - true
    assert rows is not None or tasks is not None or costs == true
    return true


def in_a_row(count=3, **more):
    return sectors(count, crag=[f"Crag {i}" for i in range(count)], **more)


def days(first, last):
    return {"from": dt.date.fromisoformat(first), "until": dt.date.fromisoformat(last)}


@pytest.mark.pinned("worked")
@pytest.mark.parametrize("hours", [6.0, 8.0, 9.5, 12.0])
@pytest.mark.parametrize("crags", [1, 2, 3])
def test_three_crags_in_a_row(hours, crags):
    """Days too short for more than one crag, for two that are not neighbours, and for all."""
    world = problem(in_a_row(), [team(hours_per_day=hours, **days("2027-01-01", "2027-03-31"))],
                    crags_per_day=crags)  # fmt: skip
    assert best_of_the_model(world) == best_of_every_plan(world)


@pytest.mark.pinned("worked")
@pytest.mark.parametrize("months", [1, 2, 6])
def test_two_teams_out_on_the_same_days(months):
    interval = np.full(2, months)
    frame = sectors(2).assign(inspection_interval_months=interval)
    teams = [team(n, lon=at, **days("2027-01-01", "2027-02-28")) for n, at in (("A", 0), ("B", 1))]
    world = problem(frame, teams, years=0.3)
    assert best_of_the_model(world) == best_of_every_plan(world)


PARTS = {
    "a day's other sector stays": ({(0, 0)}, None, [1]),
    "a sector of another crag stays": ({(0, 0), (2, 1)}, None, [1]),
    "both stay, one day may change": ({(0, 0), (1, 1), (2, 0)}, [1, 2], [0, 2]),
    "one day stays": ({(0, 0), (1, 0), (2, 1)}, [1, 2], None),
    "nothing stays": ({(0, 0), (2, 1)}, None, None),
}


@pytest.mark.pinned("worked")
@pytest.mark.parametrize("last", [frozenset(), frozenset({(1, 0), (2, 1)})], ids=["new", "again"])
@pytest.mark.parametrize("hours", [7.8, 8.5, 12.0])
@pytest.mark.parametrize("part", PARTS)
def test_a_part_of_a_plan(part, hours, last):
    """Two sectors at one crag and one at the next, nearer to it than home; three days of a team."""
    base, rows, tasks = PARTS[part]
    frame = sectors(3, anchors=[10, 4, 6])
    from_afar = [team(lon=-0.6, hours_per_day=hours, **days("2027-01-01", "2027-03-31"))]
    world = problem(frame, from_afar)
    given = (frozenset(base), last, rows, tasks)
    assert broken_rules(world, given[0]) == []
    assert best_of_the_model(world, *given) == best_of_every_plan(world, *given)


@pytest.mark.pinned("worked")
@pytest.mark.parametrize(("hours", "joined"), [(8.5, False), (8.6, True)])
def test_what_stays_leaves_the_rest_of_the_day_to_another_crag(hours, joined):
    """Packed, there and back by both crags and 186 minutes of what stays: 66 more make 511."""
    frame = sectors(3, anchors=[10, 4, 4])
    world = problem(frame, [team(lon=-0.6, hours_per_day=hours,
                                 **days("2027-01-01", "2027-01-31"))])  # fmt: skip
    given = (frozenset({(0, 0), (1, 0)}), frozenset(), None, [2])
    assert best_of_the_model(world, *given) == best_of_every_plan(world, *given)
    assert (broken_rules(world, frozenset({(0, 0), (1, 0), (2, 0)})) == []) is joined


@pytest.mark.pinned("worked")
@pytest.mark.parametrize(("rows", "tasks"), [([0], None), (None, [0, 1]), ([0], [0, 1])])
def test_in_a_part_crags_farther_apart_than_home_share_no_day(rows, tasks):
    """Crag 0 is 12 minutes from home, Crag 1 46, and 34 lie between: fewer pairs to search."""
    world = problem(in_a_row(2), [team(**days("2027-01-01", "2027-01-31"))])
    assert best_of_every_plan(world) == best_of_the_model(world)
    apart = best_of_every_plan(world, stricter=lambda p: len(p) < 2)
    assert best_of_the_model(world, rows=rows, tasks=tasks) == apart > best_of_the_model(world)


def test_in_a_part_crags_as_far_apart_as_home_may_share_a_day():
    world = problem(in_a_row(2), [team(lon=-0.2, hours_per_day=9.5,
                                       **days("2027-01-01", "2027-01-31"))])  # fmt: skip
    assert world.home_min[0, 0] == world.between_min[0, 1]
    best = best_of_every_plan(world)
    assert best < best_of_every_plan(world, stricter=lambda p: len({d for _, d in p}) == len(p))
    assert best_of_the_model(world, rows=[0]) == best


@pytest.mark.pinned("worked")
@pytest.mark.parametrize("per_month", [None, 1])
@pytest.mark.parametrize("unfair_hours", [0.0, 50.0])
@pytest.mark.parametrize(("rows", "tasks"), [([0, 1], [0]), ([2, 3], None), (None, [0, 1])])
def test_a_part_beside_days_of_two_teams_that_stay(per_month, unfair_hours, rows, tasks):
    """What stays is work that counts for fairness, and takes days of a month."""
    teams = [team(n, lon=at, days_free=free, days_per_month=per_month,
                  **days("2027-01-01", "2027-02-28"))
             for n, at, free in (("A", -0.6, ("1SA",)), ("B", 1.4, ("1SU",)))]  # fmt: skip
    world = problem(in_a_row(), teams, unfair_hours=unfair_hours, years=0.3)
    base = frozenset({(0, 0), (1, 1), (2, 3)})
    assert broken_rules(world, base) == []
    given = (base, frozenset(), rows, tasks)
    assert best_of_the_model(world, *given) == best_of_every_plan(world, *given)


ARRIVE, LEAVE = 582, 1008
"""Out 9:00, packed 9:30, 12 minutes on the road; home at 17:00."""


def as_the_model(ruled, work, day=0):
    """What the model asks of a day of tides beyond the judge: its ruled sectors, all that are
    visited, within what is common to every window of the day, and the others before or after
    all of them. `ruled`: from and until by task; `work`: minutes by task."""
    opens = [max(first, ARRIVE) for first, _ in ruled.values()]
    shuts = [min(last, LEAVE) for _, last in ruled.values()]
    common, longest = min(shuts) - max(opens), max(work[k] for k in ruled)
    aside = max(min(opens) - ARRIVE, LEAVE - max(shuts), 0)

    def kept(plan):
        there = {k for k, d in plan if d == day}
        within = sum(work[k] for k in there & set(ruled))
        if len(there & set(ruled)) > 1 and (common < longest or within > common):
            return False
        return not there & set(ruled) or sum(work[k] for k in there - set(ruled)) <= aside

    return kept


@pytest.mark.pinned("worked")
@pytest.mark.parametrize("opens", [500, 582, 600, 640, 702, 720, 800])
@pytest.mark.parametrize("minutes", [119, 120, 180, 239, 240, 300])
@pytest.mark.parametrize("both", [False, True])
def test_a_tide_of_one_sector_or_of_both(opens, minutes, both):
    """Two hours at each sector."""
    table = sheet(tide("" if both else "Sector 0", opens, opens + minutes))
    world = problem(sectors(2), [team(**days("2027-01-01", "2027-01-31"))], years=0.3,
                    tables={"tides": table})  # fmt: skip
    window = (opens, opens + minutes)
    rule = as_the_model({0: window, 1: window} if both else {0: window}, {0: 120, 1: 120})
    assert best_of_the_model(world) == best_of_every_plan(world, stricter=rule)


@pytest.mark.pinned("worked")
@pytest.mark.parametrize("second", [(582, 702), (700, 900), (750, 870), (560, 960), (800, 1020)])
@pytest.mark.parametrize("first", [(582, 702), (640, 880), (582, 960), (700, 1020)])
def test_two_sectors_of_tides_of_their_own_and_a_third_of_none(first, second):
    """120 minutes at each of the two, 66 at the third."""
    table = sheet(tide("Sector 0", *first), tide("Sector 1", *second))
    frame = sectors(3, crag="Crag 0", anchors=[10, 10, 4])
    world = problem(frame, [team(**days("2027-01-01", "2027-01-31"))], years=0.2,
                    tables={"tides": table})  # fmt: skip
    rule = as_the_model({0: first, 1: second}, {0: 120, 1: 120, 2: 66})
    assert best_of_the_model(world) == best_of_every_plan(world, stricter=rule)


@pytest.mark.pinned("worked")
@pytest.mark.parametrize(("base", "tasks"), [({(0, 0)}, [1]), ({(1, 0)}, [0, 2]),
                                             ({(0, 0)}, [2]), ({(2, 0)}, [0, 1])])  # fmt: skip
@pytest.mark.parametrize("until", [702, 822, 930, 960])
def test_a_tide_beside_a_visit_that_stays(base, tasks, until):
    """The third sector is of no tide."""
    table = sheet(tide("Sector 0", 582, until), tide("Sector 1", 582, until))
    frame = sectors(3, crag="Crag 0", anchors=[10, 10, 4])
    world = problem(frame, [team(**days("2027-01-01", "2027-02-28"))], years=0.2,
                    tables={"tides": table})  # fmt: skip
    given = (frozenset(base), frozenset(), None, tasks)
    assert broken_rules(world, given[0]) == []
    rule = as_the_model({0: (582, until), 1: (582, until)}, {0: 120, 1: 120, 2: 66})
    assert best_of_the_model(world, *given) == best_of_every_plan(world, *given, stricter=rule)


@pytest.mark.pinned("worked")
@pytest.mark.parametrize("bands", [("severe", "low"), ("low", "severe"), ("high", "high")])
def test_a_day_of_a_tide_goes_to_one_crag_in_the_model(bands):
    """The judge would allow the other crag after it: the model is stricter, and says so."""
    table = sheet(tide("", ARRIVE, ARRIVE + 120))
    one_day = [team(hours_per_day=12.0, **days("2027-01-01", "2027-01-31"))]
    frame = in_a_row(2, risk_band=list(bands))
    free = problem(frame, one_day, years=0.2)
    assert best_of_the_model(free) == best_of_every_plan(free)
    ruled = problem(frame, one_day, years=0.2, tables={"tides": table})
    assert best_of_every_plan(ruled) == best_of_every_plan(free)
    assert best_of_the_model(ruled) == best_of_every_plan(ruled, stricter=lambda p: len(p) < 2)


@pytest.mark.pinned("worked")
@pytest.mark.parametrize("second", [(700, 765), (700, 770), (700, 819), (700, 890)])
def test_a_long_visit_may_have_the_day_where_both_do_not_fit(second):
    """120 minutes from 9:42 on, and 66 within a window of their own."""
    table = sheet(tide("Sector 0", ARRIVE, 1000), tide("Sector 1", *second))
    frame = sectors(2, anchors=[10, 4], risk_band=["severe", "low"])
    world = problem(frame, [team(**days("2027-01-01", "2027-01-31"))], years=0.2,
                    tables={"tides": table})  # fmt: skip
    rule = as_the_model({0: (ARRIVE, 1000), 1: second}, {0: 120, 1: 66})
    assert best_of_the_model(world) == best_of_every_plan(world, stricter=rule)


@pytest.mark.pinned("worked")
def test_a_closure_between_two_days_that_are_free():
    table = sheet(closed("Crag 0", "02-01", "02-28"))
    world = problem(in_a_row(2), [team(**days("2027-01-01", "2027-03-31"))],
                    tables={"windows": table})  # fmt: skip
    assert best_of_the_model(world) == best_of_every_plan(world)
