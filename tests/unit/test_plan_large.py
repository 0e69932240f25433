"""How a search sector by sector begins, ends and is stopped; the days it gives up."""

import signal
import threading

import numpy as np
import pandas as pd
import pytest

from helpers.planning_world import closed, problem, sectors, sheet, team, tide
from saltreach.planning import large, master
from saltreach.planning.bound import shares, shortest_rounds
from saltreach.planning.cost import broken_rules, cost_of
from saltreach.planning.greedy import greedy_plan
from saltreach.planning.large import interrupts, solve_large
from saltreach.planning.master import Mixture, lower_bound
from saltreach.planning.plan import make_plan
from saltreach.planning.reschedule import Calendar, Company, reschedule


def three_crags(**more):
    return problem(sectors(3, crag=[f"Crag {i}" for i in range(3)]), [team()], **more)


@pytest.mark.pinned("worked", answers=4)
def test_a_visit_takes_its_work_of_what_a_day_has_room_for():
    """Eight hours less 30 minutes of packing and 24 there and back leave 426 for 120 of work."""
    size, minutes = shares(problem(sectors(2)))
    assert size == pytest.approx(np.full((2, 1), 120 / 426))
    assert minutes == pytest.approx(np.full((2, 1), 120 + 54 * 120 / 426))


@pytest.mark.pinned("worked", answers=9)
@pytest.mark.parametrize(
    ("minutes", "rounds"),
    [
        # by Crag 1, and on by Crag 0
        ({"10": 5, "21": 10}, [160, 80 + 10 + 46, 80 + 10 + 5 + 12]),
        # by Crag 0, there and back
        ({"20": 5, "21": 5}, [160, 80 + 5 + 12, 2 * (5 + 12)]),
    ],
)  # fmt: skip
def test_the_shortest_round_through_a_crag_may_lead_by_nearer_ones(minutes, rounds):
    """Home is 12, 46 and 80 minutes away; a table says what lies between some crags."""
    table = sheet(
        *({"from": f"Crag {a}", "to": f"Crag {b}", "hours": m / 60, "row": 2}
          for (a, b), m in minutes.items())
    )  # fmt: skip
    found = [
        shortest_rounds(three_crags(tables={"travel": table}, crags_per_day=most))[0, 2]
        for most in (1, 2, 3)
    ]
    home = three_crags().home_min[0].tolist()
    assert home == [12, 46, 80]
    assert found == rounds


def test_all_that_is_never_open_is_never_visited():
    shut = sheet(closed("Crag 0", "01-01", "12-31"))
    world = problem(sectors(2), tables={"windows": shut})
    made = solve_large(world, frozenset(), nodes=2)
    assert made.pairs == frozenset()
    assert made.proven and made.bound_min == cost_of(world, frozenset()).total_min


def test_a_plan_that_meets_its_bound_is_proven(monkeypatch):
    monkeypatch.setattr(large, "lower_bound", lambda *_, **__: 10**9)
    assert solve_large(problem(), frozenset(), nodes=1).proven


def test_a_visit_that_its_tides_spoil_is_tried_elsewhere_and_then_given_up():
    """Both sectors fit the window alone, not together, on the one day there is."""
    tides = sheet(tide("", 582, 720))
    world = problem(sectors(2), [team(until=pd.Timestamp("2027-01-31").date())],
                    tables={"tides": tides})  # fmt: skip
    calendar = Calendar(world, frozenset({(0, 0)}))
    assert calendar.put_back(1)
    assert calendar.pairs == {(0, 0)}


def test_days_that_are_spoilt_again_and_again_are_left_as_they_were(monkeypatch):
    world = problem()
    base = greedy_plan(world)
    calendar = Calendar(world, base)
    monkeypatch.setattr(Calendar, "_fits", lambda *_: False)
    monkeypatch.setattr("saltreach.planning.reschedule.TRIES", 1)
    assert calendar.again([0]) == 0
    assert calendar.pairs == base


def test_a_month_with_room_for_one_trip_takes_no_two():
    """Due again each month, the sector is seen on the first and the last Saturday of January."""
    frame = sectors(1, inspection_interval_months=pd.array([1], dtype="Int64"),
                    next_inspection_on="2026-06-01", risk_band="severe")  # fmt: skip
    one = team(days_free=("1SA", "-1SA"), days_per_month=1)
    world = problem(frame, [one], years=0.5)
    found = reschedule(world, frozenset(), turns=5)
    assert broken_rules(world, found) == []
    calendar = Calendar(world, frozenset())
    calendar._best_days = lambda *_: [0, 1]
    assert not calendar.put_back(0)


def test_where_nothing_is_overdue_neighbours_are_taken_out():
    world = problem(overdue_hours=0.0)
    base = greedy_plan(world)
    company = Company(Calendar(world, base), np.random.default_rng(0))
    assert all(price == 0 for price in company.calendar.price)
    assert set(company.around_a_spell()) <= {0, 1}


def test_an_overdue_sector_goes_first_and_trips_near_it_with_it():
    world = problem(sectors(4), [team(days_per_month=1, hours_per_day=6.0)])
    calendar = Calendar(world, greedy_plan(world))
    company = Company(calendar, np.random.default_rng(0))
    out = company.around_a_spell()
    assert company.tried[out[0]] == 1
    assert len(set(out)) == len(out)


def test_a_search_that_is_over_keeps_the_plan_it_has():
    world = problem()
    base = greedy_plan(world)
    assert reschedule(world, base, over=lambda: True) == base
    assert lower_bound(world, base, left=lambda: 0.0) >= 0
    asked = iter([False, True])
    assert reschedule(world, frozenset(), over=lambda: next(asked)) != frozenset()


def test_a_mixture_out_of_time_leaves_the_bound_so_far(monkeypatch):
    world = problem()
    first = lower_bound(world, frozenset(), rounds=0)
    monkeypatch.setattr(Mixture, "solve", lambda *_: None)
    assert lower_bound(world, frozenset()) == first > 0


def test_a_mixture_without_time_gives_none():
    world = problem()
    mixture = Mixture(master.Sectors(world))
    assert mixture.solve(10.0) is None  # of no schedules there is no mixture


def test_the_keyboard_stops_the_search_and_keeps_what_it_found(monkeypatch):
    """The signal comes while neighbours are taken out."""
    world = problem(sectors(4))
    monkeypatch.setattr(large, "SAY_TURNS", 1)
    said = []

    def say(far):
        said.append(far)
        signal.raise_signal(signal.SIGINT)

    before = signal.getsignal(signal.SIGINT)
    found = solve_large(world, frozenset(), seconds=60.0, on_step=say)
    assert len(said) == 1 and "team hours so far, no plan below" in said[0]
    assert broken_rules(world, found.pairs) == []
    assert 0 < found.bound_min <= cost_of(world, found.pairs).total_min
    assert signal.getsignal(signal.SIGINT) is before


def test_an_error_of_one_search_ends_the_other(monkeypatch):
    def fails(*_, turns, **__):
        if turns == 0:
            return frozenset()
        raise RuntimeError

    monkeypatch.setattr(large, "reschedule", fails)
    with pytest.raises(RuntimeError):
        solve_large(problem(), frozenset(), seconds=60.0)


def test_beside_the_main_thread_the_keyboard_is_left_alone():
    told = []

    def ask():
        with interrupts() as asked:
            told.append((asked(), signal.getsignal(signal.SIGINT)))

    before = signal.getsignal(signal.SIGINT)
    thread = threading.Thread(target=ask)
    thread.start()
    thread.join()
    assert told == [(False, before)]


def test_a_large_plan_says_its_gap(monkeypatch):
    monkeypatch.setattr("saltreach.planning.plan.WHOLE_MODEL_PAIRS", 0)
    made = make_plan(three_crags(), nodes=2)
    assert made.how == "sector by sector, the bound by highs"
    assert 0 < made.bound_min <= made.cost.total_min <= made.greedy.total_min
    assert made.figures["gap"] is not None


def test_what_is_worse_is_undone_at_once():
    """More to do than the one day a month holds: many orders of putting back are worse."""
    crags = ["Crag 0", "Crag 0", "Crag 1", "Crag 1", "Crag 2", "Crag 2"]
    world = problem(sectors(6, crag=crags), [team(days_per_month=1)])
    saved = []
    reschedule(world, greedy_plan(world), turns=60, on_turn=lambda _, so_far: saved.append(so_far))
    assert saved == sorted(saved)
