"""What no plan can do better than: each sector planned alone, team time at a price.

Taken alone, a sector's best plan is found exactly by going backwards through the days. Teams'
time is shared, so it gets a price per team and month (Lagrangian relaxation): whatever the
prices, the sum of the sectors' best plans less the value of the time there is stays below every
plan. Raising the price where the sectors ask for more time than there is makes the bound better.
"""

from __future__ import annotations

import time

import numpy as np

from saltreach.planning.problem import Problem
from saltreach.planning.windows import add_months

ROUNDS, VAIN_ROUNDS = 60, 12
"""Most changes of the prices, and most in a row that bring nothing."""


class Alone:
    """Every task planned alone, all at once.

    A trip with travel T has room for at most H - T of work, so visits that each pay the share
    work / (H - way) of a trip, with `way` their own way there and back, pay no more than trips
    cost, and ask for no more than one trip a team-day. Ways are the shortest there are, over
    other crags too.
    """

    def __init__(self, problem: Problem) -> None:
        from scipy.sparse.csgraph import floyd_warshall

        p = self.problem = problem
        count, size = len(p.teams), len(p.teams) + len(p.crags)
        near = np.full((size, size), np.inf)
        near[:count, count:], near[count:, :count] = p.home_min, p.home_min.T
        near[count:, count:] = p.between_min
        np.fill_diagonal(near, 0)
        shortest = floyd_warshall(near)[:count, count:]
        crag = p.tasks["crag_at"].to_numpy()
        work = p.tasks["work_min"].to_numpy(float)
        hours = np.array([round(t["hours_per_day"] * 60) for t in p.teams], float)
        way = 2 * shortest[:, crag] + p.trip_min
        room = hours[:, None] - way
        self.share = work / np.maximum(room, 1.0)
        self.pay = work + way * self.share
        self.days, self.at = np.unique(p.days["day"].to_numpy(), return_inverse=True)
        self.team = p.days["team_at"].to_numpy()
        self.rows = [np.flatnonzero(self.at == i) for i in range(len(self.days))]
        self.price = p.tasks["late_min"].to_numpy(float)
        self.first = np.maximum(p.tasks["due"].to_numpy(), p.start)
        months = p.tasks["months"].to_numpy()
        self.groups = [
            (np.flatnonzero(months == m),
             add_months(self.days, int(m)) if m else np.full(len(self.days), p.end))
            for m in np.unique(months)
        ]  # fmt: skip

    def cheapest(self, price_of_row: np.ndarray | None) -> tuple[np.ndarray, np.ndarray]:
        """Least pay of each task on each day, and the team-day that asks it.

        With None every visit is free, and only the overdue days count.
        """
        shape = len(self.price), len(self.days)
        least, who = np.full(shape, np.inf), np.zeros(shape, np.int32)
        for i, rows in enumerate(self.rows):
            able = self.problem.allowed[:, rows]
            if price_of_row is None:
                cost = np.where(able, 0.0, np.inf)
            else:
                team = self.team[rows]
                asked = self.pay[team] + price_of_row[rows][:, None] * self.share[team]
                cost = np.where(able, asked.T, np.inf)
            best = cost.argmin(axis=1)
            least[:, i] = cost[np.arange(len(cost)), best]
            who[:, i] = rows[best]
        return least, who

    def plans(self, least: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
        """Cost of each task's best plan, its first visit, and the visit after each visit.

        Visits are positions in `days`; -1 means none.
        """
        count = len(self.days)
        total = np.zeros(len(self.price))
        begin = np.full(len(self.price), -1)
        after_it = np.full((len(self.price), count), -1, np.int32)
        for group, again in self.groups:
            price, pay = self.price[group], least[group]
            rest = np.full((len(group), count + 1), np.inf)
            later = np.full((len(group), count + 1), np.inf)  # least price * day + rest from here
            later_at = np.full((len(group), count + 1), -1, np.int32)
            in_time = np.searchsorted(self.days, again, side="right")
            for i in range(count - 1, -1, -1):
                stop = max(int(in_time[i]), i + 1)
                due = int(again[i])
                best = price * max(0, self.problem.end - due)
                where = np.full(len(group), -1)
                if best.any():
                    best, where = self._next(
                        price, rest, later, later_at, i + 1, stop, due, best, where
                    )
                rest[:, i] = pay[:, i] + best
                after_it[group, i] = where
                line = price * self.days[i] + rest[:, i]
                better = line <= later[:, i + 1]
                later[:, i] = np.where(better, line, later[:, i + 1])
                later_at[:, i] = np.where(better, i, later_at[:, i + 1])
            first = self.first[group]
            for due in np.unique(first):
                mine = np.flatnonzero(first == due)
                none = price[mine] * max(0, self.problem.end - int(due))
                stop = int(np.searchsorted(self.days, due, side="right"))
                best, where = self._next(
                    price[mine], rest[mine], later[mine], later_at[mine], 0, stop, int(due),
                    none, np.full(len(mine), -1),
                )  # fmt: skip
                total[group[mine]], begin[group[mine]] = best, where
        return total, begin, after_it

    def _next(
        self, price: np.ndarray, rest: np.ndarray, later: np.ndarray, later_at: np.ndarray,
        start: int, stop: int, due: int, best: np.ndarray, where: np.ndarray,
    ) -> tuple[np.ndarray, np.ndarray]:  # fmt: skip
        """The better of no visit, one in time (before `stop`), and one after the due day."""
        if stop > start:
            at = rest[:, start:stop].argmin(axis=1)
            found = rest[np.arange(len(rest)), start + at]
            where = np.where(found < best, start + at, where)
            best = np.minimum(found, best)
        found = later[:, stop] - price * due
        where = np.where(found < best, later_at[:, stop], where)
        return np.minimum(found, best), where

    def asked(self, begin: np.ndarray, after_it: np.ndarray, who: np.ndarray) -> np.ndarray:
        """Share of each team-day that the tasks' own plans ask for."""
        out = np.zeros(len(self.team))
        task, at = np.flatnonzero(begin >= 0), begin[begin >= 0]
        while len(task):
            rows = who[task, at]
            np.add.at(out, rows, self.share[self.team[rows], task])
            at = after_it[task, at]
            task, at = task[at >= 0], at[at >= 0]
        return out


def least_cost(problem: Problem) -> tuple[int, int]:
    """Cost that no plan can be below, with team time free of price, and what is forced.

    Parameters
    ----------
    problem : Problem
        From `make_problem`.

    Returns
    -------
    bound_min : int
        Overdue days plus the least team time, each task taken alone.
    forced_min : int
        Price of the overdue days that closures, tides, skills and the first days' backlog
        force on any plan.
    """
    alone = Alone(problem)
    bound = alone.plans(alone.cheapest(np.zeros(len(problem.days)))[0])[0]
    forced = alone.plans(alone.cheapest(None)[0])[0]
    return _whole(bound.sum()), _whole(forced.sum())


def priced_bound(problem: Problem, cost_min: int, *, seconds: float) -> int:
    """A better bound, with a price on each team's time in each month.

    Parameters
    ----------
    problem : Problem
        From `make_problem`.
    cost_min : int
        Cost of a plan, for the size of the steps.
    seconds : float
        Time to spend.
    """
    until = time.monotonic() + seconds
    alone = Alone(problem)
    keys = list(problem.months_of_teams)
    month_of = np.zeros(len(problem.days), np.int64)
    there = np.zeros(len(keys))
    for i, key in enumerate(keys):
        rows = problem.months_of_teams[key]
        month_of[rows] = i
        most = problem.teams[key[0]]["days_per_month"]
        there[i] = len(rows) if most is None else min(most, len(rows))
    price = np.zeros(len(keys))
    best, eager, vain = -np.inf, 1.0, 0
    for _ in range(ROUNDS):
        least, who = alone.cheapest(price[month_of])
        total, begin, after_it = alone.plans(least)
        bound = total.sum() - (price * there).sum()
        vain = 0 if bound > best else vain + 1
        best = max(best, bound)
        if vain and vain % 3 == 0:
            eager /= 2
        over = np.bincount(month_of, alone.asked(begin, after_it, who), len(keys)) - there
        over[(price == 0) & (over < 0)] = 0
        size = float((over**2).sum())
        if size == 0 or vain == VAIN_ROUNDS or time.monotonic() > until:
            break
        price = np.maximum(price + eager * max(cost_min - bound, 1.0) / size * over, 0)
    return _whole(best)


def _whole(value: float) -> int:
    """Costs are whole minutes; sums of floats are taken a little down."""
    return int(np.ceil(value - 1e-6 * max(1.0, abs(value))))
