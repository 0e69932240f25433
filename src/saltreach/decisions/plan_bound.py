"""What no plan can do better than: each visit taken alone, with every team-day to itself."""

from __future__ import annotations

import numpy as np

from saltreach.decisions.visits import Problem
from saltreach.decisions.windows import add_months


def least_cost(problem: Problem) -> tuple[int, int]:
    """Cost that no plan can be below, each task taken alone with every team-day to itself.

    Returns
    -------
    bound_min : int
        Overdue days plus the least team time: each visit pays its work and the share of a
        trip that it fills on the best team-day it could have.
    overdue_min : int
        Price of the overdue days that closures, tides, skills and the first days' backlog
        force on any plan.

    Notes
    -----
    A trip of travel T has room for at most H - trip - T of work, so visits that pay
    (trip + t) work / (H - trip - t), with t the way there and back, pay no more than the trip.
    """
    from scipy.sparse.csgraph import floyd_warshall

    p = problem
    count = len(p.teams)
    size = count + len(p.crags)
    near = np.zeros((size, size))
    near[:count, :count] = np.inf  # nobody changes homes
    np.fill_diagonal(near, 0)
    near[:count, count:], near[count:, :count] = p.home_min, p.home_min.T
    near[count:, count:] = p.between_min
    shortest = floyd_warshall(near)[:count, count:]
    team_of, day_of = p.days["team_at"].to_numpy(), p.days["day"].to_numpy()
    length = p.days["length_min"].to_numpy()
    bound = forced = 0
    for k, task in enumerate(p.tasks.itertuples(index=False)):
        rows = np.flatnonzero(p.allowed[k])
        way = 2 * shortest[team_of[rows], task.crag_at] + p.trip_min
        pay = task.work_min * (1 + way / np.maximum(length[rows] - way, 1))
        days, inverse = np.unique(day_of[rows], return_inverse=True)
        least = np.full(len(days), np.inf)
        np.minimum.at(least, inverse, pay)
        bound += _alone(p, k, days, least)
        forced += _alone(p, k, days, np.zeros(len(days)))
    return bound, forced


def _alone(problem: Problem, task: int, days: np.ndarray, pay: np.ndarray) -> int:
    """Least cost of one task visited on any of `days` at the price of each, by recursion."""
    price = int(problem.tasks["late_min"].iloc[task])
    months, due = int(problem.tasks["months"].iloc[task]), int(problem.tasks["due"].iloc[task])
    first = max(due, problem.start)
    after = add_months(days, months) if months else np.full(len(days), problem.end)
    rest = np.zeros(len(days))
    for i in range(len(days) - 1, -1, -1):
        best = price * max(0, problem.end - int(after[i]))
        if best:
            later = price * np.maximum(days[i + 1 :] - after[i], 0) + rest[i + 1 :]
            best = min(best, later.min(initial=np.inf))
        rest[i] = pay[i] + best
    start = price * np.maximum(days - first, 0) + rest
    return int(np.floor(min(price * max(0, problem.end - first), start.min(initial=np.inf)) + 1e-6))
