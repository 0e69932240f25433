"""Solving the model: HiGHS by default, OR-Tools CP-SAT by choice, and large plans in parts.

The two were compared with PyVRP on the demo (`tests/benchmarks/bench_plan.py`); the first
closes the gap soonest, so it is the default.
"""

from __future__ import annotations

import os
from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np

from saltreach.errors import OptionError
from saltreach.planning.cost import Pairs, broken_rules, cost_of, overdue_days
from saltreach.planning.highs import Answer, minimise
from saltreach.planning.model import Model
from saltreach.planning.problem import Problem

ENGINES = ("highs", "cp-sat")


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
        found = without_useless(problem, frozenset(found), last, set(model.tasks))
        cheaper = cost_of(problem, found, last).total_min < cost_of(problem, base, last).total_min
        # a solver keeps rows to a tolerance; the judge keeps them to the minute
        if cheaper and not broken_rules(problem, found, set(model.free_rows)):
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


def without_useless(
    problem: Problem, pairs: Pairs, last: Pairs = frozenset(), tasks: Iterable[int] | None = None
) -> Pairs:
    """The plan without visits that no due date needs (each costs more than it saves).

    Parameters
    ----------
    problem : Problem
        From `make_problem`.
    pairs, last : frozenset of (task, team-day)
        The plan, and the last plan.
    tasks : iterable of int, optional
        Tasks to look at; all by default.
    """
    day_of, work = problem.column["day"], problem.column["work_min"]
    visits: dict[int, list[int]] = defaultdict(list)
    for k, d in pairs:
        visits[k].append(d)
    price = problem.tasks["late_min"].to_numpy()
    change = round(60 * problem.options.change_hours) if last else 0
    out = set(pairs)
    for k in visits if tasks is None else tasks:
        mine = sorted(visits.get(k, ()), key=day_of.__getitem__)
        now = overdue_days(problem, k, [day_of[x] for x in mine])
        for d in list(mine):
            fewer = [x for x in mine if x != d]
            then = overdue_days(problem, k, [day_of[x] for x in fewer])
            paid = change if (k, d) in last else -change
            if (then - now) * int(price[k]) + paid < work[k]:
                mine, now = fewer, then
                out.discard((k, d))
    return frozenset(out)
