"""Solving the model: HiGHS by default, OR-Tools CP-SAT by choice, and large plans in parts.

The two were compared with PyVRP on the demo (`tests/benchmarks/bench_plan.py`); the first
closes the gap soonest, so it is the default.
"""

from __future__ import annotations

import os
import time
from collections import defaultdict
from collections.abc import Callable, Iterable, Iterator
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from typing import Any

import numpy as np

from saltreach.decisions.highs import Answer, minimise
from saltreach.decisions.plan_cost import Pairs, broken_rules, cost_of, overdue_days
from saltreach.decisions.plan_model import Model
from saltreach.decisions.visits import Problem
from saltreach.errors import OptionError

ENGINES = ("highs", "cp-sat")
PART_DAYS, PART_TEAMS, PART_SECONDS = 120, 3, (0.5, 2.0, 6.0)
PART_TASKS = 12
"""Size of a part of a large plan: days, neighbouring teams, longest searches; tasks."""


@dataclass(frozen=True)
class Solved:
    """A plan, and the cost below which no plan of the model can be (None where not proven)."""

    pairs: Pairs
    bound_min: int | None
    proven: bool


def solve(
    problem: Problem,
    base: Pairs,
    *,
    seconds: float,
    engine: str = "highs",
    last: Pairs = frozenset(),
    rows: Iterable[int] | None = None,
    tasks: Iterable[int] | None = None,
    seed: int = 0,
) -> Solved:
    """Improve a plan on some team-days and for some tasks; on all of them by default.

    Parameters
    ----------
    problem : Problem
        From `make_problem`.
    base : frozenset of (task, team-day)
        A plan that keeps the rules; what it has outside `rows` and `tasks` stays.
    seconds : float
        Time of the search.
    engine : {"highs", "cp-sat"}
        Solver of the model.
    last : frozenset of (task, team-day)
        The last plan; every difference from it is paid.
    rows, tasks : iterable of int, optional
        Team-days and tasks that may change.
    seed : int
        Of the search.

    Returns
    -------
    Solved
        Never worse than `base`. The bound is given only where everything may change.

    Raises
    ------
    OptionError
        For an engine that is not known or not installed.
    """
    if engine not in ENGINES:
        raise OptionError(f"solver {engine!r}: give one of {', '.join(ENGINES)}")
    whole = rows is None and tasks is None
    model = Model(problem, base, last, rows, tasks)
    run = _highs if engine == "highs" else _cp_sat
    answer = run(model, max(seconds, 0.1), seed)
    better = base
    if (values := answer.values) is not None:
        found = model.kept | {pair for pair, x in model.visit.items() if values[x] > 0.5}
        found = without_useless(problem, frozenset(found), last)
        cheaper = cost_of(problem, found, last).total_min < cost_of(problem, base, last).total_min
        # a solver keeps rows to a tolerance; the judge keeps them to the minute
        if cheaper and not broken_rules(problem, found):
            better = found
    if not whole or answer.bound is None:
        return Solved(better, None, False)
    return Solved(better, int(np.ceil(answer.bound - 1e-6)) + model.constant, answer.proven)


def _highs(model: Model, seconds: float, seed: int) -> Answer:
    return minimise(
        model.cost, model.upper, model.rows, start=model.start, seconds=seconds, seed=seed
    )


def _cp_sat(model: Model, seconds: float, seed: int) -> Answer:
    try:
        from ortools.sat.python import cp_model
    except ImportError:
        raise OptionError("solver cp-sat needs the package ortools; use highs") from None

    cp = cp_model.CpModel()
    x = [cp.new_int_var(0, upper, "") for upper in model.upper]
    for terms, low, high in model.rows:
        cp.add_linear_constraint(sum(x[i] * c for i, c in terms), low, high)
    cp.minimize(sum(x[i] * c for i, c in model.cost.items()))
    for i, value in model.start.items():
        cp.add_hint(x[i], value)
    solver = cp_model.CpSolver()
    solver.parameters.max_time_in_seconds = seconds
    solver.parameters.num_workers = max(8, os.cpu_count() or 1)  # fewer leave out its bounders
    solver.parameters.linearization_level = 2
    solver.parameters.random_seed = seed % (1 << 30)
    status = solver.solve(cp)
    if status not in (cp_model.OPTIMAL, cp_model.FEASIBLE):
        return Answer(None, None, False)
    values = np.array([solver.value(v) for v in x], float)
    return Answer(values, float(solver.best_objective_bound), status == cp_model.OPTIMAL)


def without_useless(problem: Problem, pairs: Pairs, last: Pairs = frozenset()) -> Pairs:
    """The plan without visits that no due date needs (each costs more than it saves)."""
    day_of = problem.days["day"].to_numpy()
    visits: dict[int, list[int]] = defaultdict(list)
    for k, d in pairs:
        visits[k].append(d)
    price = problem.tasks["late_min"].to_numpy()
    work = problem.tasks["work_min"].to_numpy()
    change = round(60 * problem.options.change_hours) if last else 0
    out = set(pairs)
    for k, mine in visits.items():
        mine = sorted(mine, key=lambda d: day_of[d])
        for d in list(mine):
            fewer = [x for x in mine if x != d]
            more = overdue_days(problem, k, [int(day_of[x]) for x in fewer]) - overdue_days(
                problem, k, [int(day_of[x]) for x in mine]
            )
            paid = change if (k, d) in last else -change
            if more * int(price[k]) + paid < int(work[k]):
                mine = fewer
                out.discard((k, d))
    return frozenset(out)


def improve(
    problem: Problem,
    base: Pairs,
    *,
    seconds: float,
    engine: str = "highs",
    last: Pairs = frozenset(),
    seed: int = 0,
    stop: Callable[[], bool] = lambda: False,
) -> Pairs:
    """Improve a plan too large for one model part by part: some neighbouring teams, some months.

    Parameters
    ----------
    problem : Problem
        From `make_problem`.
    base : frozenset of (task, team-day)
        A plan that keeps the rules.
    seconds : float
        Time for all parts.
    engine, last, seed
        As in `solve`.
    stop : callable
        Asked between parts; true ends the search before its time.
    """
    until = time.monotonic() + seconds
    team_of, day_of = problem.days["team_at"].to_numpy(), problem.days["day"].to_numpy()
    crag_of, due = problem.tasks["crag_at"].to_numpy(), problem.tasks["due"].to_numpy()
    price = problem.tasks["late_min"].to_numpy()
    home = problem.home_min[:, crag_of]
    pairs = base
    for number, part in enumerate(_parts(problem, seed)):
        left = until - time.monotonic()
        if left < 0.5 or stop():
            break
        visits: dict[int, list[int]] = defaultdict(list)
        for k, d in pairs:
            visits[k].append(int(day_of[d]))
        rows = (day_of >= part.begin) & (day_of < part.stop) & np.isin(team_of, part.teams)
        inside = set(np.flatnonzero(rows).tolist())
        if part.tasks is None:
            moved = {k for k, d in pairs if d in inside}
            # overdue sectors to which no other team is nearer
            own = home[part.teams].min(axis=0) <= home.min(axis=0)
            wanted = np.flatnonzero(own & (due < part.stop) & (price > 0)).tolist()
            late = {
                k for k in wanted
                if _late_within(problem, k, sorted(visits[k]), part.begin, part.stop)
            }  # fmt: skip
            tasks = moved | late
        else:
            tasks = set(part.tasks)
        if inside and tasks:
            pairs = solve(
                problem, pairs, seconds=min(part.seconds, left), engine=engine, last=last,
                rows=inside, tasks=tasks, seed=number,
            ).pairs  # fmt: skip
    return pairs


@dataclass(frozen=True)
class _Part:
    """What may change at once: team-days of some teams in a span, and which tasks.

    `tasks` None: those visited there and those overdue there.
    """

    teams: np.ndarray
    begin: int
    stop: int
    seconds: float
    tasks: tuple[int, ...] | None = None


def _parts(problem: Problem, seed: int) -> Iterator[_Part]:
    """Parts without end.

    The first round goes through the time of the plan in halved steps, briefly. After it parts
    are drawn by chance and searched longer and longer: a span of time with all its sectors, or
    neighbouring crags over the whole time. Teams are neighbours when their ways to the crags
    are alike.
    """
    rng = np.random.default_rng(seed)
    groups = []
    rest = list(range(len(problem.teams)))
    while rest:
        groups.append(np.array(rest)[_alike(problem.home_min[rest], 0)[:PART_TEAMS]])
        rest = [t for t in rest if t not in groups[-1]]
    for begin in range(problem.start, problem.end, PART_DAYS // 2):
        for some in groups:
            yield _Part(some, begin, begin + PART_DAYS, PART_SECONDS[0])
    crag_of = problem.tasks["crag_at"].to_numpy()
    number = 0
    while True:
        number += 1
        cap = PART_SECONDS[min(1 + number // (20 * len(groups)), len(PART_SECONDS) - 1)]
        if number % 2:
            team = int(rng.integers(len(problem.teams)))
            length = int(PART_DAYS * rng.choice([0.5, 1, 1.5]))
            begin = int(rng.integers(problem.start - length // 2, problem.end - length // 4))
            some = _alike(problem.home_min, team)[:PART_TEAMS]
            yield _Part(some, begin, begin + length, cap)
        else:
            near = np.argsort(problem.between_min[rng.integers(len(problem.crags))], kind="stable")
            order = [int(k) for c in near[:PART_TASKS] for k in np.flatnonzero(crag_of == c)]
            teams = np.argsort(problem.home_min[:, near[0]], kind="stable")[:PART_TEAMS]
            yield _Part(teams, problem.start, problem.end, cap, tuple(order[:PART_TASKS]))


def _alike(home_min: np.ndarray, team: int) -> np.ndarray:
    """Teams in order of how alike their ways to the crags are to one team's."""
    return np.argsort(np.abs(home_min - home_min[team]).mean(axis=1), kind="stable")


def solve_both_ways(
    problem: Problem,
    base: Pairs,
    *,
    seconds: float,
    engine: str = "highs",
    last: Pairs = frozenset(),
    seed: int = 0,
) -> Solved:
    """The whole model and its parts at the same time, one thread each; the better plan.

    The whole gives the bound and may find the optimum; the parts find a good plan sooner.
    Parameters as in `solve`.
    """
    given: dict[str, Any] = {"seconds": seconds, "engine": engine, "last": last, "seed": seed}
    with ThreadPoolExecutor(1) as thread:
        whole = thread.submit(solve, problem, base, **given)
        parts = improve(problem, base, **given, stop=whole.done)
        found = whole.result()
    both = sorted((found.pairs, parts), key=lambda p: cost_of(problem, p, last).total_min)
    return Solved(both[0], found.bound_min, found.proven)


def _late_within(problem: Problem, task: int, visits: list[int], begin: int, stop: int) -> bool:
    """Whether a task is overdue on some day of a span."""
    due = int(problem.tasks["due"].iloc[task])
    for day in [*visits, problem.end]:
        if max(due, begin) < min(day, stop):
            return True
        due = problem.due_after(task, day)
    return False
