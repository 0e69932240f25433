"""A cost below which no plan can be, for a problem too large to be solved whole.

Each sector is planned for itself, exactly, by a shortest path over its open days, and pays the
teams for its share of the days it takes. A day's price rises while more is asked of it than it
holds and falls while it stands empty; whatever the prices, the sum of what the sectors pay, less
the worth of all days, is no more than any plan costs.
"""

from __future__ import annotations

import time
from collections.abc import Callable
from dataclasses import dataclass
from math import ceil, inf

import numpy as np

from saltreach.planning.cost import Pairs
from saltreach.planning.problem import Problem

NEVER = 1e13
"""Cost of what cannot be; far above any plan's."""
SLACK_MIN = 0.01
"""Taken off for rounding, before the bound is rounded up to whole minutes."""
PATIENCE = 8
"""Rounds without a better bound after which the step is halved."""
SMALLEST_STEP = 1e-3
KEEP = 0.7
"""Share of the last direction that the next one keeps."""


class Prices:
    """What a day of each team is worth, and what the sectors do at that price."""

    def __init__(self, problem: Problem, last: Pairs = frozenset()) -> None:
        p = self.problem = problem
        self.team_of = p.days["team_at"].to_numpy()
        self.length = p.days["length_min"].to_numpy()
        self.dates, self.date_of = np.unique(p.days["day"].to_numpy(), return_inverse=True)
        self.rows = [np.flatnonzero(self.team_of == t) for t in range(len(p.teams))]
        self.size, self.time = shares(p)
        self.shut = [~p.allowed[:, rows].T for rows in self.rows]
        change = round(60 * p.options.change_hours) if last else 0
        self.change, self.constant = change, change * len(last)
        self.last = np.array(sorted(last), np.int64).reshape(-1, 2)
        self.groups = list(p.months_of_teams.items())
        self.most = [p.teams[team]["days_per_month"] for (team, _), _ in self.groups]
        self.tasks_of = {
            m: np.flatnonzero(p.tasks["months"].to_numpy() == m)
            for m in np.unique(p.tasks["months"].to_numpy()).tolist()
        }

    def _visit_cost(self, price: np.ndarray) -> np.ndarray:
        """Least cost of a visit on each date, by any team; shape (dates, tasks)."""
        out = np.full((len(self.dates), len(self.problem.tasks)), NEVER)
        for t, rows in enumerate(self.rows):
            if not len(rows):
                continue
            one = self._cost_of_team(t, price)
            at = self.date_of[rows]
            out[at] = np.minimum(out[at], one)
        return out

    def _cost_of_team(self, team: int, price: np.ndarray) -> np.ndarray:
        rows = self.rows[team]
        one = price[rows][:, None] * self.size[:, team] + (self.time[:, team] + self.change)
        one[self.shut[team]] = NEVER
        if len(self.last):
            for k, d in self.last[self.team_of[self.last[:, 1]] == team].tolist():
                one[np.searchsorted(rows, d), k] -= 2 * self.change
        return one

    def answer(self, price: np.ndarray) -> tuple[float, np.ndarray]:
        """The bound at these prices, and by how much each day is asked for above what it holds."""
        cost = self._visit_cost(price)
        least = np.zeros(len(self.problem.tasks))
        visits = [np.zeros((2, 0), np.int64)]
        for months, tasks in self.tasks_of.items():
            least[tasks], found = self._best_days(int(months), tasks, cost)
            visits += found
        dates, tasks = np.concatenate(visits, axis=1)
        taken = cost[dates, tasks]
        row_of = np.zeros(len(dates), np.int64)
        for t, rows in enumerate(self.rows):
            at = np.full(len(self.dates), -1)
            at[self.date_of[rows]] = np.arange(len(rows))
            here = at[dates]
            mine = np.flatnonzero(here >= 0)
            if len(mine):
                one = self._cost_of_team(t, price)
                same = mine[one[here[mine], tasks[mine]] == taken[mine]]
                row_of[same] = rows[here[same]]
        total = self.constant + float(least.sum()) - self.worth(price)
        return total, least, tasks, row_of

    def worth(self, price: np.ndarray) -> float:
        """What all days hold at these prices: of each month the dearest that a team may go."""
        total = 0.0
        for (_, rows), most in zip(self.groups, self.most, strict=True):
            mine = price[rows]
            total += float(mine.sum() if most is None else np.sort(mine)[::-1][:most].sum())
        return total

    def _best_days(
        self, months: int, tasks: np.ndarray, cost: np.ndarray
    ) -> tuple[float, list[np.ndarray]]:
        """What tasks of one interval pay at least, and the days they choose."""
        p, dates = self.problem, self.dates
        price = p.tasks["late_min"].to_numpy(float)[tasks]
        due = np.maximum(p.tasks["due"].to_numpy()[tasks], p.start)
        again = np.array([p.due_after(int(tasks[0]), day) for day in dates.tolist()])
        on_time = np.searchsorted(again, dates, side="left")
        best = np.empty((len(dates), len(tasks)))
        late = np.full(len(tasks), 4 * NEVER)
        done = 0
        for j, day in enumerate(dates.tolist()):
            first = min(int(on_time[j]), j)
            while done < first:
                np.minimum(late, best[done] - price * again[done], out=late)
                done += 1
            value = np.minimum(price * np.maximum(day - due, 0), late + price * day)
            if first < j:
                np.minimum(value, best[first:j].min(axis=0), out=value)
            best[j] = value + cost[j][tasks]
        end = best + price * np.maximum(p.end - again, 0)[:, None]
        never = price * np.maximum(p.end - due, 0)
        least = end.min(axis=0)
        at = np.where(least < never, end.argmin(axis=0), -1)
        found = []
        alive = np.flatnonzero(at >= 0)
        while len(alive):
            found.append(np.stack([at[alive], tasks[alive]]))
            j = at[alive]
            reach = np.where(
                np.arange(len(dates))[:, None] < j,
                best[:, alive] + price[alive] * np.maximum(dates[j] - again[:, None], 0), inf,
            )  # fmt: skip
            before = reach.argmin(axis=0)
            first = price[alive] * np.maximum(dates[j] - due[alive], 0)
            at[alive] = np.where(reach.min(axis=0) < first, before, -1)
            alive = alive[at[alive] >= 0]
        return np.minimum(least, never), found


def shares(problem: Problem) -> tuple[np.ndarray, np.ndarray]:
    """The share of a day that a visit takes at least, and the team time it costs at least.

    Parameters
    ----------
    problem : Problem
        From `make_problem`.

    Returns
    -------
    size : ndarray, shape (tasks, teams)
        Work of the visit over the work that a day with this visit has room for. The shares of
        what is visited on one day never add up to more than one.
    minutes : ndarray, shape (tasks, teams)
        Work and a share of packing and of the way. They never add up to more than the day takes.
    """
    work = problem.tasks["work_min"].to_numpy(float)
    crag = problem.tasks["crag_at"].to_numpy()
    length = np.zeros(len(problem.teams))
    length[problem.days["team_at"]] = problem.days["length_min"]
    around = problem.trip_min + shortest_rounds(problem)[:, crag]
    room = np.maximum(length[:, None] - around, work)
    size = (work / room).T
    return size, work[:, None] + (around.T * size)


def shortest_rounds(problem: Problem) -> np.ndarray:
    """Least way of any round through a crag, shape (teams, crags); no triangle need hold."""
    home = problem.home_min.astype(float)
    between = problem.between_min.astype(float)
    np.fill_diagonal(between, inf)
    most = problem.options.crags_per_day
    least = 2 * home
    if most > 1 and len(between) > 1:
        by_one = np.stack([(between + h).min(axis=1) for h in home])
        least = np.minimum(least, home + by_one)
        if most > 2:
            by_two = np.stack([(between + w).min(axis=1) for w in by_one])
            least = np.minimum(least, np.minimum(2 * by_one, home + by_two))
    return least


class Master:
    """The schedules known so far, mixed at least cost so that no day holds too much."""

    def __init__(self, prices: Prices) -> None:
        import highspy

        class Quiet(highspy.Highs):
            def enableCallbacks(self) -> None:
                self.silent()

        p = prices.problem
        self.prices = prices
        self.solver = solver = Quiet()
        solver.silent()
        solver.setOptionValue("threads", 1)
        self.tasks, self.days = len(p.tasks), len(p.days)
        self.month = np.zeros(self.days, np.int64)
        caps = []
        for i, ((_, rows), most) in enumerate(zip(prices.groups, prices.most, strict=True)):
            self.month[rows] = self.tasks + self.days + i
            caps.append(len(rows) if most is None else most)
        low = np.concatenate([np.ones(self.tasks), np.full(self.days + len(caps), -inf)])
        high = np.concatenate([np.ones(self.tasks + self.days), np.array(caps, float)])
        empty = np.zeros(0, np.int32)
        solver.addRows(len(low), low, high, 0, np.zeros(len(low), np.int32), empty, np.zeros(0))

    def add(self, cost, tasks, of_column, rows) -> None:
        """Schedules of some tasks; the visits of column i are those where `of_column` is i."""
        count = len(cost)
        size = self.prices.size[tasks[of_column], self.prices.team_of[rows]]
        column = np.concatenate([np.arange(count), of_column, of_column])
        index = np.concatenate([tasks, self.tasks + rows, self.month[rows]])
        value = np.concatenate([np.ones(count), size, size])
        order = np.lexsort((index, column))
        column, index, value = column[order], index[order], value[order]
        first = np.flatnonzero(np.diff(column, prepend=-1) | np.diff(index, prepend=-1))
        value = np.add.reduceat(value, first)
        column, index = column[first], index[first]
        starts = np.searchsorted(column, np.arange(count)).astype(np.int32)
        self.solver.addCols(count, np.asarray(cost, float), np.zeros(count), np.full(count, inf),
                            len(index), starts, index.astype(np.int32), value)  # fmt: skip

    def solve(self, seconds):
        self.solver.setOptionValue("time_limit", self.solver.getRunTime() + seconds)
        self.solver.run()
        import highspy
        if self.solver.getModelStatus() != highspy.HighsModelStatus.kOptimal:
            return None
        dual = np.array(self.solver.getSolution().row_dual)
        day = -dual[self.tasks : self.tasks + self.days]
        month = -dual[self.month]
        return (
            float(self.solver.getInfo().objective_function_value),
            dual[: self.tasks],
            np.maximum(day + month, 0),
        )


def lower_bound(
    problem: Problem,
    base: Pairs,
    *,
    seconds: float = inf,
    rounds: int | None = None,
    last: Pairs = frozenset(),
    on_step=lambda _: None,
) -> int:
    from saltreach.planning.cost import overdue_days
    began = time.monotonic()
    until = began + seconds
    prices = Prices(problem, last)
    master = Master(prices)
    K = len(problem.tasks)
    team_of, day_of = prices.team_of, problem.days["day"].to_numpy()
    late = problem.tasks["late_min"].to_numpy(float)
    pairs = np.array(sorted(base), np.int64).reshape(-1, 2)
    cost = np.zeros(2 * K)
    for k in range(K):
        mine = pairs[pairs[:, 0] == k, 1]
        cost[k] = late[k] * overdue_days(problem, k, [])
        cost[K + k] = (
            late[k] * overdue_days(problem, k, sorted(day_of[mine].tolist()))
            + prices.time[k, team_of[mine]].sum() + prices.change * len(mine)
        )
    for k, d in last & base:
        cost[K + k] -= 2 * prices.change
    master.add(cost, np.tile(np.arange(K), 2), K + pairs[:, 0], pairs[:, 1])
    best, center = -inf, np.zeros(len(problem.days))
    number = 0
    alpha = 0.5
    while rounds is None or number < rounds:
        found = master.solve(max(until - time.monotonic(), 0.1))
        if found is None:
            break
        top, dual, price = found
        top += prices.constant
        for a in (alpha, 0.0):
            here = a * center + (1 - a) * price
            value, least, tasks, rows = prices.answer(here)
            if value > best:
                best, center = value, here
            spent = np.bincount(tasks, here[rows] * prices.size[tasks, team_of[rows]], K)
            own = least - spent
            true = own + np.bincount(tasks, price[rows] * prices.size[tasks, team_of[rows]], K)
            new = np.flatnonzero(true < dual - 1e-3)
            if len(new):
                break
        number += 1
        on_step((number, top, value, best, len(new), time.monotonic() - began))
        if not len(new) or top - best < 1e-4 * top or time.monotonic() > until:
            break
        at = np.full(K, -1)
        at[new] = np.arange(len(new))
        keep = at[tasks] >= 0
        master.add(own[new], new, at[tasks[keep]], rows[keep])
    return max(0, ceil(best - SLACK_MIN))
