"""The bound of a large plan by hand: what sectors do at prices of days, and the best prices.

A sector of the world takes 120 minutes of work and costs 120 an overdue day. Of a day of eight
hours 30 are packing and 24 the way to its crag and back, so it takes 120/426 of a day, and pays
for its share of packing and way: `VISIT` minutes. At a price of 355 its share of a day is 100.
"""

import numpy as np
import pandas as pd
import pytest

from helpers.planning_world import problem, sectors, team
from saltreach.planning import master
from saltreach.planning.bound import Sectors
from saltreach.planning.master import Mixture, _known, lower_bound

VISIT = 120 + 54 * 120 / 426
NEVER_DAY = 120


def free_on(*dates, name="A", **more):
    return team(name, days_free=(), also=tuple((d, d) for d in dates), **more)


def world(due, *teams, count=1, months=1, years=2 / 12, **more):
    """Sectors of one crag that are due on a day and again after so many months."""
    frame = sectors(
        count, crag="Crag 0", next_inspection_on=due,
        inspection_interval_months=pd.array([months] * count, dtype="Int64"),
    )  # fmt: skip
    return problem(frame, list(teams), years=years, **more)


def answer(made, *price, last=frozenset()):
    told = Sectors(made, last).answer(np.array(price or [0.0] * len(made.days), float))
    return told, sorted(told.rows.tolist())


@pytest.mark.pinned("worked", answers=21)
@pytest.mark.parametrize(
    ("due", "dates", "price", "rows", "paid", "shares"),
    [
        # The 9th comes due on 9 February, a day before the 10th: 120 more than the dear 10th.
        ("2027-01-15", ("2027-01-09", "2027-01-10", "2027-02-10"), (0, 355, 0), [1, 2],
         2 * VISIT + 100, 100),
        # At 444 a share of the 10th is 125.07: the day overdue is cheaper.
        ("2027-01-15", ("2027-01-09", "2027-01-10", "2027-02-10"), (0, 444, 0), [0, 2],
         2 * VISIT + 120, 0),
        # Both keep the February visit covered: the one that costs nothing.
        ("2027-01-15", ("2027-01-09", "2027-01-10", "2027-02-05"), (355, 0, 0), [1, 2],
         2 * VISIT, 0),
        ("2027-01-15", ("2027-01-09", "2027-01-10", "2027-02-05"), (0, 355, 0), [0, 2],
         2 * VISIT, 0),
        # One day overdue is 120, less than the visit.
        ("2027-02-28", ("2027-02-27",), (0,), [], 120, 0),
        # Two are 240: the visit on the last day that is not late.
        ("2027-02-27", ("2027-01-20", "2027-02-27"), (0, 0), [1], VISIT, 0),
        # Overdue from 3 February until the 10th: 7 days.
        ("2027-01-05", ("2027-01-02", "2027-01-03", "2027-02-10"), (0, 0, 0), [1, 2],
         2 * VISIT + 7 * 120, 0),
    ],
)  # fmt: skip
def test_the_best_days_of_a_sector_at_prices_by_hand(due, dates, price, rows, paid, shares):
    told, found = answer(world(due, free_on(*dates)), *price)
    assert found == rows
    assert told.paid.tolist() == pytest.approx([paid])
    assert told.own.tolist() == pytest.approx([paid - shares])
    assert told.tasks.tolist() == [0] * len(rows)


@pytest.mark.pinned("worked", answers=3)
def test_of_two_teams_the_cheaper_goes_on_each_day():
    """Shares of a day cost 100 at a price of 355, 200 at 710."""
    dates = ("2027-01-10", "2027-02-05")
    both = [free_on(*dates), free_on(*dates, name="B")]
    made = world("2027-01-15", *both)
    assert made.days["team_at"].tolist() == [0, 1, 0, 1]
    assert answer(made, 0, 355, 355, 0)[1] == [0, 3]
    assert answer(made, 355, 0, 0, 355)[1] == [1, 2]
    told, rows = answer(made, 355, 710, 710, 355)
    assert rows == [0, 3] and told.paid.tolist() == pytest.approx([2 * VISIT + 200])


@pytest.mark.pinned("worked", answers=3)
def test_the_days_are_worth_the_dearest_that_a_team_may_go_on():
    """Prices of 10, 50 and 80 in January and of 7 in February, of one team."""
    dates = ("2027-01-09", "2027-01-10", "2027-01-11", "2027-02-05")
    for most, worth in ((None, 147), (1, 87), (2, 137)):
        made = world("2027-02-28", free_on(*dates, days_per_month=most))
        told, rows = answer(made, 10, 50, 80, 7)
        assert rows == [] and told.bound == pytest.approx(120 - worth)


@pytest.mark.pinned("worked", answers=8)
def test_every_difference_from_the_last_plan_is_paid():
    """A change is two hours. Kept, a visit costs a change less; what is new costs one more."""
    dates = ("2027-01-09", "2027-01-10", "2027-02-05")
    made = world("2027-01-15", free_on(*dates), free_on("2027-01-11", name="B"))
    assert made.days["team_at"].tolist() == [0, 0, 1, 0]
    told, rows = answer(made, last=frozenset({(0, 1)}))
    assert rows == [1, 3]
    # one change in all: the visit of February
    assert told.paid.tolist() == pytest.approx([2 * VISIT - 120 + 120])
    assert told.bound == pytest.approx(2 * VISIT + 120)
    told, rows = answer(made, last=frozenset({(0, 2)}))
    assert rows == [2, 3] and told.bound == pytest.approx(2 * VISIT + 120)
    told, rows = answer(made, last=frozenset({(0, 2), (0, 3)}))
    assert rows == [2, 3] and told.bound == pytest.approx(2 * VISIT)
    # a visit of the last plan that no due date needs is given up, though it costs 15 minutes only
    made = world("2027-02-10", free_on(*dates))
    told, rows = answer(made, last=frozenset({(0, 0)}))
    assert rows == [2] and told.bound == pytest.approx(VISIT + 240)


DAY = "2027-01-09"


@pytest.mark.pinned("worked", answers=4)
@pytest.mark.parametrize(
    ("dates", "most", "last", "bound"),
    [
        # A day has room for 426 / 120 = 3.55 of the four; 0.45 are overdue for 23 days. Those
        # that are seen pay for a whole trip: 3.55 * 120 + 54 + 0.45 * 23 * 120.
        ((DAY,), None, frozenset(), 1722),
        # A second day in the month is of no use where the team may go on one ...
        ((DAY, "2027-01-08"), 1, frozenset(), 1722),
        # ... and room for all where it may go on both: 4 visits, 540.8.
        ((DAY, "2027-01-08"), 2, frozenset(), 541),
        # The first was planned there before: 2.55 changes of 120 more.
        ((DAY,), None, frozenset({(0, 0)}), 2028),
    ],
)  # fmt: skip
def test_the_best_bound_by_hand_where_a_day_is_full(dates, most, last, bound):
    made = world(DAY, free_on(*dates, days_per_month=most), count=4, months=12, years=0.1)
    told = []
    assert lower_bound(made, frozenset(), last=last, rounds=50, on_round=told.append) == bound
    assert told == sorted(told) and told[-1] == bound
    at_no_price = []
    lower_bound(made, frozenset(), last=last, rounds=0, on_round=at_no_price.append)
    # 4 VISIT, and three changes
    assert at_no_price == [901 if last else 541] == told[:1]


@pytest.mark.pinned("worked")
def test_two_visits_of_a_sector_in_a_month_both_take_of_it():
    """Due on the 2nd of January, seen on the 2nd and on the 30th, overdue on the last of February:
    twice `VISIT` and 120. The month has room for 3.55 of the four visits: 0.45 of one sector's
    second visit is not made, which costs 26 days more and saves the visit:
    4 VISIT + 240 + 0.45 (26 * 120 - VISIT) = 3.55 * 120 + 54 + 240 + 0.45 * 3120 = 2124.
    """
    made = world("2027-01-02", free_on("2027-01-02", "2027-01-30", days_per_month=1), count=2)
    assert lower_bound(made, frozenset(), rounds=50) == 2124


@pytest.mark.pinned("worked", answers=2)
def test_a_plan_to_begin_from_does_not_move_the_bound():
    """Three of the four on the one day: 174 + 2 * 120, and 23 days of the fourth."""
    made = world(DAY, free_on(DAY), count=4, months=12, years=0.1)
    base = frozenset({(0, 0), (1, 0), (2, 0)})
    assert lower_bound(made, base, rounds=50) == 1722
    # kept they change nothing, and 0.55 of the fourth is a change
    assert lower_bound(made, base, last=base, rounds=50) == 1722 + 0.55 * 120


@pytest.mark.pinned("worked")
def test_each_team_has_its_own_months():
    """The first team's hour is too short for any visit; the second may go on one of its two."""
    short = free_on(DAY, hours_per_day=1.0)
    one = free_on(DAY, "2027-01-08", name="B", days_per_month=1)
    made = world(DAY, short, one, count=4, months=12, years=0.1)
    assert lower_bound(made, frozenset(), rounds=50) == 1722


@pytest.mark.pinned("worked", answers=2)
def test_whole_bounds_are_not_rounded_up_and_none_is_below_0():
    """A day overdue costs a quarter of an hour, eight times for the band; or nothing."""
    for hours, bound in ((0.25, 120), (0.0, 0)):
        made = world("2027-02-28", free_on("2027-02-27"), overdue_hours=hours)
        told = []
        assert lower_bound(made, frozenset(), rounds=9, on_round=told.append) == bound
        assert set(told) == {bound}


def full_day():
    return world(DAY, free_on(DAY), count=4, months=12, years=0.1)


@pytest.mark.pinned("worked", answers=12)
def test_what_a_plan_costs_its_sectors_before_any_prices():
    """Three of four are seen; never seen each is overdue for 23 days: 2760."""
    base = frozenset({(0, 0), (1, 0), (2, 0)})
    told = _known(Sectors(full_day()), base, frozenset())
    assert told.paid.tolist() == [2760.0] * 4
    assert told.own.tolist() == pytest.approx([VISIT] * 3 + [2760])
    assert (told.tasks.tolist(), told.rows.tolist()) == ([0, 1, 2], [0, 0, 0])
    last = frozenset({(1, 0)})
    told = _known(Sectors(full_day(), last), base, last)
    assert told.own.tolist() == pytest.approx([VISIT + 120, VISIT - 120, VISIT + 120, 2760])


@pytest.mark.pinned("worked", answers=10)
@pytest.mark.parametrize("last", [frozenset(), frozenset({(0, 0), (1, 0), (2, 0)})])
def test_a_mixture_of_one_plan_costs_what_its_sectors_pay(last):
    """Kept as it was, or without a plan before it: three visits and the fourth never."""
    base = frozenset({(0, 0), (1, 0), (2, 0)})
    sectors = Sectors(full_day(), last)
    mixture, known = Mixture(sectors), _known(sectors, base, last)
    mixture.add(known.paid, np.arange(4), np.zeros(0, np.int64), np.zeros(0, np.int64))
    mixture.add(known.own, np.arange(4), known.tasks, known.rows)
    cost, most, price = mixture.solve(60.0)
    assert cost == pytest.approx(3 * VISIT + 2760)
    assert most.tolist() == pytest.approx([VISIT - (120 if last else 0)] * 3 + [2760])
    assert price.tolist() == [0.0]


class Stopped:
    """A solver that has run for five seconds and remembers its limit."""

    def __init__(self):
        self.limits = []

    def getRunTime(self):
        return 5.0

    def setOptionValue(self, name, value):
        self.limits.append((name, value))

    def run(self):
        pass

    def getModelStatus(self):
        return None


def test_the_time_left_counts_from_where_the_solver_is():
    mixture = Mixture(Sectors(full_day()))
    mixture.solver = Stopped()
    for seconds in (3.0, 0.25, -1.0, float("inf")):
        assert mixture.solve(seconds) is None
    assert mixture.solver.limits == [("time_limit", t) for t in (8.0, 5.25, 5.0)]


@pytest.fixture
def asked(monkeypatch):
    """The prices at which the sectors are asked, and how often the mixture is solved."""
    prices, solved = [], []
    answer, solve = Sectors.answer, Mixture.solve
    monkeypatch.setattr(
        Sectors, "answer", lambda self, price: prices.append(float(price[0])) or answer(self, price)
    )
    monkeypatch.setattr(
        Mixture, "solve", lambda self, left: solved.append(left) or solve(self, left)
    )
    return prices, solved


@pytest.mark.pinned("worked", answers=4)
def test_prices_are_drawn_to_the_best_so_far_and_then_taken_as_they_are(asked):
    """Of schedules never to go no day has a price. Then the four share the day: at a price of
    (2760 - VISIT) * 426 / 120 to go or never to go is the same; a fifth of the way is tried first.
    """
    assert lower_bound(full_day(), frozenset(), rounds=2) == 1722
    price = (2760 - VISIT) * 426 / 120
    assert asked[0] == pytest.approx([0, 0, 0.2 * price, price])


def test_a_search_has_as_many_rounds_as_it_is_given(asked):
    for rounds in (0, 1, 2):
        asked[1].clear()
        lower_bound(full_day(), frozenset(), rounds=rounds)
        assert len(asked[1]) == rounds


def test_a_search_ends_without_time_left(asked):
    lower_bound(full_day(), frozenset(), left=lambda: 0.0)
    assert asked[1] == []
    lower_bound(full_day(), frozenset(), rounds=1, left=lambda: 0.5)
    assert asked[1] == [0.5]


def test_a_search_ends_near_the_cost_of_the_mixture(asked, monkeypatch):
    """Never to go costs 4 * 2760; the bound is near enough where it may lie that far below."""
    monkeypatch.setattr(master, "CLOSE", 1.0)
    assert lower_bound(full_day(), frozenset(), rounds=9) == 541
    assert len(asked[1]) == 1
