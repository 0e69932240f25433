"""A cost below which no plan can be, for a problem too large to be solved whole.

Each sector is planned for itself, exactly, by a shortest path over its open days, and pays the
teams for its share of the days it takes. Whatever the prices of the days, the sum of what the
sectors pay, less the worth of all days, is no more than any plan costs (Lagrangian relaxation);
`planning.master` looks for the prices at which it is most. Fairness counts as nothing here, and a
tide only as far as it shuts a day.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import inf

import numpy as np

from saltreach.planning.cost import Pairs
from saltreach.planning.problem import Problem

NEVER = 1e13
"""Cost of what cannot be; far above any plan's."""


@dataclass(frozen=True)
class Schedules:
    """What the sectors do at given prices.

    Attributes
    ----------
    bound : float
        Cost below which no plan can be.
    paid : ndarray, shape (tasks,)
        What each task pays: team time, overdue days and its shares of days.
    own : ndarray, shape (tasks,)
        The same without the shares.
    tasks, rows : ndarray
        Task and team-day of each visit.
    """

    bound: float
    paid: np.ndarray
    own: np.ndarray
    tasks: np.ndarray
    rows: np.ndarray


class Sectors:
    """The sectors, each on its own: what they do at the prices of the days.

    Attributes
    ----------
    size : ndarray, shape (tasks, teams)
        Share of a day that a visit takes; `minutes` its team time.
    """

    def __init__(self, problem: Problem, last: Pairs = frozenset()) -> None:
        p = self.problem = problem
        self.team_of = p.days["team_at"].to_numpy()
        self.dates, self.date_of = np.unique(p.days["day"].to_numpy(), return_inverse=True)
        self.rows = [np.flatnonzero(self.team_of == t) for t in range(len(p.teams))]
        self.size, self.minutes = shares(p)
        self.shut = [~p.allowed[:, rows].T for rows in self.rows]
        self.change = p.change_min if last else 0
        self.constant = self.change * len(last)
        self.last = np.array(sorted(last), np.int64).reshape(-1, 2)
        self.late = p.tasks["late_min"].to_numpy(float)
        months = p.tasks["months"].to_numpy()
        self.tasks_of = {m: np.flatnonzero(months == m) for m in np.unique(months).tolist()}

    def share_of(self, price: np.ndarray, tasks: np.ndarray, rows: np.ndarray) -> np.ndarray:
        """What each task pays for its shares, by its visits."""
        each = price[rows] * self.size[tasks, self.team_of[rows]]
        return np.bincount(tasks, each, len(self.late))

    def answer(self, price: np.ndarray) -> Schedules:
        """What the sectors do, and the bound.

        Parameters
        ----------
        price : ndarray, shape (team-days,)
            Of a whole day, minutes; none below 0.
        """
        cost = self._visit_cost(price)
        paid = np.zeros(len(self.late))
        visits = [np.zeros((2, 0), np.int64)]
        for months, tasks in self.tasks_of.items():
            paid[tasks], found = self._best_days(int(months), tasks, cost)
            visits += found
        dates, tasks = np.concatenate(visits, axis=1)
        rows = self._who_goes(price, dates, tasks, cost[dates, tasks])
        bound = self.constant + float(paid.sum()) - self._worth(price)
        return Schedules(bound, paid, paid - self.share_of(price, tasks, rows), tasks, rows)

    def _worth(self, price: np.ndarray) -> float:
        """What all days are worth: of each month the dearest on which a team may go."""
        limits = self.problem.month_limits
        return float(sum(np.sort(price[rows])[::-1][:most].sum() for rows, most in limits))

    def _visit_cost(self, price: np.ndarray) -> np.ndarray:
        """Least cost of a visit on each date, by any team; shape (dates, tasks)."""
        out = np.full((len(self.dates), len(self.late)), NEVER)
        for team, rows in enumerate(self.rows):
            at = self.date_of[rows]
            out[at] = np.minimum(out[at], self._cost_of_team(team, price))
        return out

    def _cost_of_team(self, team: int, price: np.ndarray) -> np.ndarray:
        """Cost of a visit on each day of a team; shape (days, tasks)."""
        rows = self.rows[team]
        cost = np.multiply.outer(price[rows], self.size[:, team]) + (
            self.minutes[:, team] + self.change
        )
        cost[self.shut[team]] = NEVER
        mine = self.last[self.team_of[self.last[:, 1]] == team]
        cost[np.searchsorted(rows, mine[:, 1]), mine[:, 0]] -= 2 * self.change
        return cost

    def _who_goes(
        self, price: np.ndarray, dates: np.ndarray, tasks: np.ndarray, cost: np.ndarray
    ) -> np.ndarray:
        """Team-day of each visit: one that costs the least."""
        out = np.zeros(len(dates), np.int64)
        for team, rows in enumerate(self.rows):
            at = np.full(len(self.dates), -1)
            at[self.date_of[rows]] = np.arange(len(rows))
            mine = np.flatnonzero(at[dates] >= 0)
            here = at[dates[mine]]
            least = self._cost_of_team(team, price)[here, tasks[mine]] == cost[mine]
            out[mine[least]] = rows[here[least]]
        return out

    def _best_days(
        self, months: int, tasks: np.ndarray, cost: np.ndarray
    ) -> tuple[np.ndarray, list[np.ndarray]]:
        """What tasks of one interval pay at least, and their visits as dates and tasks.

        A shortest path: `best[j]` is the least cost up to a visit on date `j`. A visit before it
        either covers that date or leaves the days in between overdue.
        """
        p, dates, price = self.problem, self.dates, self.late[tasks]
        due = np.maximum(p.tasks["due"].to_numpy()[tasks], p.start)
        again = np.array([p.due_after(int(tasks[0]), day) for day in dates.tolist()])
        covers = np.searchsorted(again, dates, side="left")
        best = np.empty((len(dates), len(tasks)))
        late = np.full(len(tasks), 4 * NEVER)
        done = 0
        for j, day in enumerate(dates.tolist()):
            first = min(int(covers[j]), j)
            while done < first:
                np.minimum(late, best[done] - price * again[done], out=late)
                done += 1
            least = np.minimum(price * np.maximum(day - due, 0), late + price * day)
            if first < j:
                np.minimum(least, best[first:j].min(axis=0), out=least)
            best[j] = least + cost[j, tasks]
        over = best + price * np.maximum(p.end - again, 0)[:, None]
        never = price * np.maximum(p.end - due, 0)
        paid = np.minimum(over.min(axis=0), never)
        at = np.where(paid < never, over.argmin(axis=0), -1)
        found = []
        while len(alive := np.flatnonzero(at >= 0)):
            here = at[alive]
            found.append(np.stack([here, tasks[alive]]))
            before = best[:, alive] + price[alive] * np.maximum(dates[here] - again[:, None], 0)
            before[np.arange(len(dates))[:, None] >= here] = inf
            alone = price[alive] * np.maximum(dates[here] - due[alive], 0)
            at[alive] = np.where(before.min(axis=0) < alone, before.argmin(axis=0), -1)
        return paid, found


def shares(problem: Problem) -> tuple[np.ndarray, np.ndarray]:
    """The shares of a day that a visit takes, and the team time it costs at least.

    Parameters
    ----------
    problem : Problem
        From `make_problem`.

    Returns
    -------
    size : ndarray, shape (tasks, teams)
        Work of the visit over the work for which a day with this visit has room. The shares of
        one day never add up to more than one.
    minutes : ndarray, shape (tasks, teams)
        Work, and the same share of packing and of the way. On one day they never add up to more
        than the time it takes.
    """
    work = problem.tasks["work_min"].to_numpy(float)[:, None]
    length = np.zeros(len(problem.teams))
    length[problem.days["team_at"]] = problem.days["length_min"]
    around = problem.trip_min + shortest_rounds(problem).T[problem.tasks["crag_at"].to_numpy()]
    size = work / np.maximum(length - around, work)
    return size, work + around * size


def shortest_rounds(problem: Problem) -> np.ndarray:
    """Least way of any round through a crag, shape (teams, crags); no triangle need hold."""
    home = problem.home_min.astype(float)
    between = problem.between_min.astype(float)
    np.fill_diagonal(between, inf)
    least = 2 * home
    if problem.options.crags_per_day > 1:
        by_one = np.stack([(between + h).min(axis=1) for h in home])
        least = np.minimum(least, home + by_one)
    if problem.options.crags_per_day > 2:
        by_two = np.stack([(between + way).min(axis=1) for way in by_one])
        least = np.minimum(least, np.minimum(2 * by_one, home + by_two))
    return least
