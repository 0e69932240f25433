"""The plan a careful coordinator makes by hand: day by day, the most pressing sector first.

The measured peer of the solver, its first hint, and what is used when its time is up.
"""

from __future__ import annotations

import numpy as np

from saltreach.planning.cost import Pairs, timetable
from saltreach.planning.problem import Problem

LOOK_AHEAD_DAYS = 45
"""A sector is taken along from this many days before it is due, or a third of its interval;
judgement."""

LONG_GAP_DAYS = 60  # judgement: a sector presses before it is out of reach for so long
MOST_PRESSING_DAYS = 60
"""Days past due beyond which a sector presses no more: its risk decides; judgement."""

NEVER = np.iinfo(np.int32).max


def greedy_plan(problem: Problem, kept: Pairs = frozenset()) -> Pairs:
    """A plan by hand's rule.

    Going through the team-days in order, the idlest team first on each day: the most pressing
    sector in reach sets the day (risk weight times how near or past its last open day it is),
    then whatever else is due soon joins, the same crag first, then the shortest detour, while
    the day can be kept.

    Parameters
    ----------
    problem : Problem
        From `make_problem`.
    kept : frozenset of (task, team-day)
        Visits to keep where they can be.

    Returns
    -------
    frozenset of (task, team-day)
    """
    tasks, days = problem.tasks, problem.days
    day_of, team_of = days["day"].to_numpy(), days["team_at"].to_numpy()
    crag_of, work = tasks["crag_at"].to_numpy(), tasks["work_min"].to_numpy()
    price, months = tasks["late_min"].to_numpy(float), tasks["months"].to_numpy()
    due = tasks["due"].to_numpy(np.int64).copy()
    last_open, reopens = _next_gap(problem)
    ahead = np.where(months > 0, np.minimum(LOOK_AHEAD_DAYS, months * 10), LOOK_AHEAD_DAYS * 20)
    load = np.zeros(len(problem.teams))
    month_of = day_of.astype("datetime64[D]").astype("datetime64[M]").astype(np.int64)
    trips: dict[tuple[int, int], int] = {}
    held: dict[int, list[int]] = {}
    for task, day in sorted(kept):
        if problem.allowed[task, day]:
            held.setdefault(day, []).append(task)
    pairs: set[tuple[int, int]] = set()
    for date in np.unique(day_of):
        here = np.flatnonzero(day_of == date)
        today = np.zeros(len(tasks), bool)
        for row in sorted(here, key=lambda r: (load[team_of[r]], team_of[r])):
            team = int(team_of[row])
            most = problem.teams[team]["days_per_month"]
            key = (team, int(month_of[row]))
            if most is not None and trips.get(key, 0) >= most:
                continue
            shut_then = (due > last_open[:, row]) & (due < reopens[:, row])
            wanted = np.where(shut_then, np.maximum(last_open[:, row], date), due)
            slack = wanted - date
            ready = problem.allowed[:, row] & (slack <= ahead) & ~today
            chosen = [k for k in held.get(int(row), []) if not today[k] and due[k] < problem.end]
            if chosen and timetable(problem, int(row), chosen) is None:
                chosen = []
            nearness = 2 * problem.home_min[team][crag_of] + work + problem.trip_min
            late = ahead + 1 - np.maximum(slack, -MOST_PRESSING_DAYS)
            pressing = price * late / nearness
            chosen = _fill(problem, int(row), chosen, ready & (due < problem.end), pressing, slack)
            if not chosen:
                continue
            trips[key] = trips.get(key, 0) + 1
            there = problem.home_min[team][crag_of[chosen]].max() * 2
            load[team] += (there + problem.trip_min + work[chosen].sum()) / max(
                problem.free_min[team], 1
            )
            for k in chosen:
                pairs.add((k, int(row)))
                today[k] = True
                due[k] = problem.due_after(k, int(date))
    return frozenset(pairs)


def _next_gap(problem: Problem) -> tuple[np.ndarray, np.ndarray]:
    """Last day before each task's next long gap, and the first day after it; as `allowed`.

    A sector that falls due within a closure presses before the closure begins. A gap is more
    than `LONG_GAP_DAYS` without a team-day that can serve the task.
    """
    day_of = problem.days["day"].to_numpy()
    last = np.full(problem.allowed.shape, NEVER, np.int32)
    first = np.full(problem.allowed.shape, NEVER, np.int32)
    for k, row in enumerate(problem.allowed):
        able = np.flatnonzero(row)
        days = day_of[able]
        at = np.flatnonzero(days[1:] - days[:-1] > LONG_GAP_DAYS)
        if len(at):
            nearest = np.searchsorted(at, np.arange(len(able)))
            inside = nearest < len(at)
            last[k, able[inside]] = days[at[nearest[inside]]]
            first[k, able[inside]] = days[at[nearest[inside]] + 1]
    return last, first


def _fill(
    problem: Problem,
    row: int,
    chosen: list[int],
    ready: np.ndarray,
    pressing: np.ndarray,
    slack: np.ndarray,
) -> list[int]:
    """Tasks of one team-day: those given, then the most pressing, then those on the way."""
    crag_of = problem.tasks["crag_at"].to_numpy()
    work = problem.tasks["work_min"].to_numpy()
    team = int(problem.days["team_at"].iloc[row])
    length = int(problem.days["length_min"].iloc[row])
    left = {int(k) for k in np.flatnonzero(ready)} - set(chosen)
    while left:
        if not chosen:
            order = sorted(left, key=lambda k: (-pressing[k], k))[:1]
        else:
            at = [crag_of[k] for k in chosen]
            spare = length - problem.trip_min - int(work[chosen].sum())
            spare -= 2 * int(problem.home_min[team, at].max())
            near = {k: int(problem.between_min[at, crag_of[k]].min()) for k in left}
            # a detour longer than the trip from home is a trip of its own
            left = {
                k for k in left
                if work[k] <= spare
                and (near[k] <= problem.home_min[team, crag_of[k]] or slack[k] < 0)
            }  # fmt: skip
            order = sorted(left, key=lambda k: (near[k], -pressing[k], k))[:1]
        for k in order:
            left.discard(k)
            if timetable(problem, row, [*chosen, k]) is not None:
                chosen = [*chosen, k]
    return chosen
