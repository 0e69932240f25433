"""What a plan costs and whether a day can be kept: the one judge of every way of planning.

A plan is a set of pairs (task, team-day). A task is overdue on every day from its due date
until a visit; a visit makes it due again after its interval, counted from the visit itself.
"""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Collection, Iterable, Iterator, Sequence
from dataclasses import dataclass
from itertools import pairwise, permutations

import numpy as np

from saltreach.planning.problem import Problem

Pairs = frozenset[tuple[int, int]]


@dataclass(frozen=True)
class Cost:
    """Cost of a plan in minutes of team time, and what it is made of.

    Attributes
    ----------
    total_min : int
        What the solver makes small: the sum of the next four, and of changes to a last plan.
    overdue_min : int
        Overdue days, each at the price of its sector's risk.
    team_min : int
        Work, travel and packing.
    unfair_min : int
        Price of unequal loads.
    change_min : int
        Price of changes to the last plan.
    travel_min, work_min, trips : int
        Of the team time.
    overdue_days : int
        Days by which sectors are overdue within the plan, all together.
    load : tuple of float
        Share of each team's free time that is used.
    """

    total_min: int
    overdue_min: int
    team_min: int
    unfair_min: int
    change_min: int
    travel_min: int
    work_min: int
    trips: int
    overdue_days: int
    load: tuple[float, ...]


@dataclass(frozen=True)
class Stop:
    """One visit of a team-day: minutes after midnight."""

    task: int
    arrives: int
    begins: int
    ends: int


@dataclass(frozen=True)
class OverdueSpell:
    """Days on which a task is overdue: from `due` to before `until`, a visit or the plan's end.

    `since` is the first day on which a visit would have counted for it, `days` those within the
    plan.
    """

    task: int
    due: int
    since: int
    until: int
    days: int


def by_day(pairs: Iterable[tuple[int, int]]) -> dict[int, list[int]]:
    """Tasks of each team-day, in order of the tasks."""
    out: dict[int, list[int]] = {}
    for task, day in sorted(pairs):
        out.setdefault(day, []).append(task)
    return out


def round_min(problem: Problem, team: int, crags: Sequence[int]) -> int:
    """Shortest round from home through up to three crags, minutes."""
    key = team, tuple(crags)
    found = problem.rounds.get(key)
    if found is None:
        home, between = problem.home_min[team], problem.between_min
        found = problem.rounds[key] = min(
            int(home[p[0]] + home[p[-1]] + sum(between[a, b] for a, b in pairwise(p)))
            for p in permutations(crags)
        )
    return found


def overdue_days(problem: Problem, task: int, visits: Sequence[int]) -> int:
    """Days within the plan on which a task is overdue, given the days it is visited.

    Parameters
    ----------
    problem : Problem
        From `make_problem`.
    task : int
        Its number.
    visits : sequence of int
        Day numbers, rising.
    """
    due = problem.column["due"][task]
    late = 0
    for day in visits:
        late += max(0, day - max(due, problem.start))
        due = problem.due_after(task, day)
    return late + max(0, problem.end - max(due, problem.start))


def overdue_spells(problem: Problem, pairs: Pairs) -> Iterator[OverdueSpell]:
    """Every spell of a plan, task by task, in order of time."""
    day_of = problem.column["day"]
    visits: dict[int, list[int]] = defaultdict(list)
    for task, row in pairs:
        visits[task].append(day_of[row])
    for task, first in enumerate(problem.column["due"]):
        due, since = first, problem.start
        for until in [*sorted(visits[task]), problem.end]:
            if (days := until - max(due, problem.start)) > 0:
                yield OverdueSpell(task, due, since, until, days)
            due, since = problem.due_after(task, until), until + 1


def unavoidable_min(problem: Problem) -> int:
    """Price of the overdue days that closures, tides, skills and the backlog force on any plan.

    Those left when a task is visited on every day on which some team could, but for visits so
    early that they would make it due sooner.
    """
    day_of, total = problem.days["day"].to_numpy(), 0
    price = problem.tasks["late_min"].tolist()
    for task, due in enumerate(problem.column["due"]):
        days = np.unique(day_of[problem.allowed[task]]).tolist()
        useful = [day for day in days if problem.due_after(task, day) >= due]
        total += price[task] * overdue_days(problem, task, useful)
    return total


def cost_of(problem: Problem, pairs: Pairs, last: Pairs = frozenset()) -> Cost:
    """Judge a plan.

    Parameters
    ----------
    problem : Problem
        From `make_problem`.
    pairs : frozenset of (task, team-day)
        The plan; that it keeps the rules is checked by `broken_rules`.
    last : frozenset of (task, team-day)
        The last plan, in this problem's numbers.
    """
    team_of, day_of = problem.column["team_at"], problem.column["day"]
    work, crag_of = problem.column["work_min"], problem.column["crag_at"]
    used = [0] * len(problem.teams)
    travel = 0
    days = by_day(pairs)
    for day, tasks in days.items():
        team = team_of[day]
        there = round_min(problem, team, sorted({crag_of[k] for k in tasks}))
        travel += there
        used[team] += there + problem.trip_min + sum(work[k] for k in tasks)
    visits: dict[int, list[int]] = {}
    for task, day in pairs:
        visits.setdefault(task, []).append(day_of[day])
    late = np.array(
        [overdue_days(problem, k, sorted(visits.get(k, ()))) for k in range(len(problem.tasks))]
    )
    price = problem.tasks["late_min"].to_numpy()
    overdue = int((late * price).sum())
    unfair = problem.unfair_min * _spread(problem, used)
    change = problem.change_min * len(last ^ pairs) if last else 0
    team_min = sum(used)
    return Cost(
        total_min=overdue + team_min + unfair + change,
        overdue_min=overdue,
        team_min=team_min,
        unfair_min=unfair,
        change_min=change,
        travel_min=travel,
        work_min=sum(work[k] for k, _ in pairs),
        trips=len(days),
        overdue_days=int(late.sum()),
        load=tuple(float(u / f) if f else 0.0 for u, f in zip(used, problem.free_min, strict=True)),
    )


def _spread(problem: Problem, used: Sequence[int]) -> int:
    """Percent between the busiest team (rounded up) and the idlest (rounded down)."""
    free = problem.free_min
    shares = [(-(-100 * int(u) // int(f)), 100 * int(u) // int(f))
              for u, f in zip(used, free, strict=True) if f]  # fmt: skip
    return max(s[0] for s in shares) - min(s[1] for s in shares) if shares else 0


def timetable(problem: Problem, day: int, tasks: Sequence[int]) -> list[Stop] | None:
    """Stops of a team-day in order of time, or None where the day cannot be kept.

    Every order of the crags is tried, the shortest round first. At a crag, visits that the
    tide does not rule fill the time before its window as far as they fit, the longest first.
    """
    crag_of = problem.column["crag_at"]
    names = ("team_at", "day", "starts", "length_min")
    team, date, starts, length = (problem.column[name][day] for name in names)
    crags = sorted({int(crag_of[k]) for k in tasks})
    if len(crags) > problem.options.crags_per_day:
        return None
    home, between = problem.home_min[team], problem.between_min
    found = []
    for order in permutations(crags):
        clock, stops = starts + problem.trip_min, []
        for i, crag in enumerate(order):
            clock += int(home[crag] if i == 0 else between[order[i - 1], crag])
            here = [k for k in tasks if crag_of[k] == crag]
            done = _at_crag(problem, date, here, clock)
            if done is None:
                break
            stops += done
            clock = stops[-1].ends
        else:
            back = clock + int(home[order[-1]])
            if back <= starts + length:
                found.append((back, order, stops))
    return min(found, key=lambda f: f[:2])[2] if found else None


def _at_crag(problem: Problem, date: int, tasks: Sequence[int], clock: int) -> list[Stop] | None:
    """Stops at one crag from `clock` on."""
    work = problem.column["work_min"]
    arrives = clock
    ruled = sorted(
        (problem.tides[k, date] + (k,) for k in tasks if problem.tidal[k]),
        key=lambda t: (t[1], t[0], t[2]),
    )
    free = sorted((k for k in tasks if not problem.tidal[k]), key=lambda k: (-work[k], k))
    stops: list[Stop] = []

    def stay(task: int, begins: int) -> None:
        nonlocal clock
        clock = begins + work[task]
        stops.append(Stop(task, arrives, begins, clock))

    for opens, shuts, task in ruled:
        for other in [k for k in free if clock + work[k] <= opens]:
            if clock + work[other] <= opens:
                free.remove(other)
                stay(other, clock)
        stay(task, max(clock, opens))
        if clock > shuts:
            return None
    for other in free:
        stay(other, clock)
    return stops


def broken_rules(problem: Problem, pairs: Pairs, days: Collection[int] | None = None) -> list[str]:
    """Every rule a plan breaks, in words; none for a plan that can be kept.

    Parameters
    ----------
    problem : Problem
        From `make_problem`.
    pairs : frozenset of (task, team-day)
        The plan.
    days : collection of int, optional
        Team-days to look at, where the others are known to be good.
    """
    team_of, day_of = problem.column["team_at"], problem.column["day"]
    all_trips = by_day(pairs)
    trips = {d: t for d, t in all_trips.items() if days is None or d in days}
    found = [
        f"task {k} on team-day {d}: reason {int(problem.blocked_by[k, d])}"
        for d, tasks in trips.items()
        for k in tasks
        if not problem.allowed[k, d]
    ]
    for (task, date), count in Counter((k, day_of[d]) for k, d in pairs).items():
        if count > 1:
            found.append(f"task {task}: visited twice on day {date}")
    for d, tasks in trips.items():
        if all(problem.allowed[k, d] for k in tasks) and timetable(problem, d, tasks) is None:
            found.append(f"team-day {d}: too much for one day")
    for (team, month), rows in problem.months_of_teams.items():
        most = problem.teams[team]["days_per_month"]
        used = sum(d in all_trips for d in rows.tolist()) if most is not None else 0
        if most is not None and used > most:
            found.append(f"team {team}, month {month}: {used} days, at most {most}")
    if len({(team_of[d], day_of[d]) for d in all_trips}) != len(all_trips):
        found.append("a team goes out twice on one day")
    return found
