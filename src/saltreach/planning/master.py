"""The prices of the days at which the bound is most: Dantzig-Wolfe decomposition with HiGHS.

The schedules known so far of all sectors are mixed at least cost, so that no day holds too much;
the prices of that mixture ask the sectors for better schedules, until there are none. Every
answer of the sectors is a bound, so the search may be stopped at any time.
"""

from __future__ import annotations

from collections.abc import Callable
from math import ceil, inf

import numpy as np

from saltreach.planning.bound import Schedules, Sectors
from saltreach.planning.cost import Pairs, overdue_days
from saltreach.planning.highs import quiet_solver, solved
from saltreach.planning.problem import Problem

SLACK_MIN = 0.01
"""Taken off for rounding, before the bound is rounded up to whole minutes."""
TOWARDS_BEST = 0.8
"""How far prices are drawn to the best so far: those of a mixture of few schedules jump."""
CLOSE = 0.0005
"""Share of the mixture's cost above the bound at which the search ends."""
CHEAPER_MIN = 1e-3
"""By how much a schedule must be better to be taken in."""


class Mixture:
    """The schedules known so far, mixed at least cost so that no day holds too much."""

    def __init__(self, sectors: Sectors) -> None:
        self.sectors, self.solver = sectors, quiet_solver()
        tasks, days = len(sectors.late), len(sectors.team_of)
        self.month_of = np.zeros(days, np.int64)
        limits = sectors.problem.month_limits
        for i, (rows, _) in enumerate(limits):
            self.month_of[rows] = i
        self.tasks, self.days = tasks, days
        most = np.array([m for _, m in limits], float)
        high = np.concatenate([np.ones(tasks + days), most])
        low = np.concatenate([np.ones(tasks), np.full(len(high) - tasks, -inf)])
        self.width = len(high)
        none = np.zeros(0, np.int32)
        self.solver.addRows(
            len(low), low, high, 0, np.zeros(len(low), np.int32), none, np.zeros(0)
        )  # fmt: skip

    def add(self, cost: np.ndarray, tasks: np.ndarray, at: np.ndarray, rows: np.ndarray) -> None:
        """More schedules: cost and task of each, and by visit which schedule it is of and when."""
        count = len(cost)
        size = self.sectors.size[tasks[at], self.sectors.team_of[rows]]
        month = self.tasks + self.days + self.month_of[rows]
        column = np.concatenate([np.arange(count), at, at])
        index = np.concatenate([tasks, self.tasks + rows, month])
        key, place = np.unique(column * self.width + index, return_inverse=True)
        # two visits in a month are one entry
        value = np.bincount(place, np.concatenate([np.ones(count), size, size])).astype(float)
        begins = np.searchsorted(key, np.arange(count) * self.width).astype(np.int32)
        self.solver.addCols(
            count, cost, np.zeros(count), np.full(count, inf), len(key), begins,
            (key % self.width).astype(np.int32), value,
        )  # fmt: skip

    def solve(self, seconds: float) -> tuple[float, np.ndarray, np.ndarray] | None:
        """Cost of the mixture, what each task may pay at most, and prices; None out of time."""
        if seconds < inf:
            limit = self.solver.getRunTime() + max(seconds, 0.0)
            self.solver.setOptionValue("time_limit", limit)
        self.solver.run()
        if not solved(self.solver):
            return None
        dual = np.array(self.solver.getSolution().row_dual)
        price = np.maximum(-dual[self.tasks :], 0.0)
        price = price[: self.days] + price[self.days :][self.month_of]
        cost = self.solver.getInfo().objective_function_value + self.sectors.constant
        return float(cost), dual[: self.tasks], price


def _known(sectors: Sectors, base: Pairs, last: Pairs) -> Schedules:
    """The schedules of a plan, as the mixture counts them, after those of never going."""
    p, count = sectors.problem, len(sectors.late)
    pairs = np.array(sorted(base), np.int64).reshape(-1, 2)
    tasks, rows = pairs[:, 0], pairs[:, 1]
    paid = sectors.minutes[tasks, sectors.team_of[rows]] + sectors.change
    paid -= (
        2 * sectors.change * np.array([pair in last for pair in map(tuple, pairs.tolist())], int)
    )
    days: list[list[int]] = [[] for _ in range(count)]
    for k, d in pairs.tolist():
        days[k].append(p.column["day"][d])
    never = sectors.late * [overdue_days(p, k, ()) for k in range(count)]
    late = sectors.late * [overdue_days(p, k, sorted(mine)) for k, mine in enumerate(days)]
    return Schedules(0.0, never, late + np.bincount(tasks, paid, count), tasks, rows)


def lower_bound(
    problem: Problem,
    base: Pairs,
    *,
    rounds: int | None = None,
    last: Pairs = frozenset(),
    left: Callable[[], float] = lambda: inf,
    on_round: Callable[[int], None] = lambda _: None,
) -> int:
    """A cost below which no plan is, minutes of team time.

    Parameters
    ----------
    problem : Problem
        From `make_problem`.
    base : frozenset of (task, team-day)
        A plan that keeps the rules, to begin from.
    rounds : int, optional
        How often the sectors are asked at most; until there is no better bound by default.
    last : frozenset of (task, team-day)
        The last plan; every difference from it is paid.
    left : callable
        Seconds left; asked in each round.
    on_round : callable
        Told the best bound so far.

    Returns
    -------
    int
        At least 0.
    """
    sectors = Sectors(problem, last)
    mixture = Mixture(sectors)
    known, count = _known(sectors, base, last), len(sectors.late)
    every = np.arange(count)
    mixture.add(
        np.concatenate([known.paid, known.own]), np.tile(every, 2), count + known.tasks, known.rows
    )
    centre = np.zeros(mixture.days)
    best = max(0.0, sectors.answer(centre).bound)
    on_round(ceil(best - SLACK_MIN))
    number = 0
    while (rounds is None or number < rounds) and left() > 0:
        found = mixture.solve(left())
        if found is None:
            break
        number += 1
        cost, most, price = found
        for towards in (TOWARDS_BEST, 0.0):
            here = towards * centre + (1 - towards) * price
            told = sectors.answer(here)
            if told.bound > best:
                best, centre = told.bound, here
            at_price = told.own + sectors.share_of(price, told.tasks, told.rows)
            new = np.flatnonzero(at_price < most - CHEAPER_MIN)
            if len(new):
                break
        on_round(ceil(best - SLACK_MIN))
        if not len(new) or cost - best < CLOSE * cost:
            break
        place = np.full(count, -1)
        place[new] = np.arange(len(new))
        kept = place[told.tasks] >= 0
        mixture.add(told.own[new], new, place[told.tasks[kept]], told.rows[kept])
    return max(0, ceil(best - SLACK_MIN))
