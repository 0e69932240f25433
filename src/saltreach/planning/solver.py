"""Solving the model with HiGHS; the judge looks at what comes back."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass
from math import inf

import numpy as np

from saltreach.planning.cost import Pairs, broken_rules, cost_of, overdue_days
from saltreach.planning.highs import minimise
from saltreach.planning.model import Model
from saltreach.planning.problem import Problem


@dataclass(frozen=True)
class Solved:
    """A plan, the cost below which no plan of the model can be (None where not proven), and the
    nodes of the solver's tree that it took."""

    pairs: Pairs
    bound_min: int | None
    proven: bool
    nodes: int


def solve(
    problem: Problem,
    base: Pairs,
    *,
    seconds: float = inf,
    nodes: int | None = None,
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
    nodes : int, optional
        Its nodes, in place of the time.
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
    """
    whole = rows is None and tasks is None
    model = Model(problem, base, last, rows, tasks)
    answer = minimise(
        model.cost, model.upper, model.rows, start=model.start, seconds=max(seconds, 0.1),
        nodes=nodes, seed=seed,
    )  # fmt: skip
    better = base
    if (values := answer.values) is not None:
        found = model.kept | {pair for pair, x in model.visit.items() if values[x] > 0.5}
        found = drop_redundant_visits(problem, frozenset(found), last, set(model.tasks))
        cheaper = cost_of(problem, found, last).total_min < cost_of(problem, base, last).total_min
        # a solver keeps rows to a tolerance; the judge keeps them to the minute
        if cheaper and not broken_rules(problem, found, set(model.free_rows)):
            better = found
    if not whole or answer.bound is None:
        return Solved(better, None, False, answer.nodes)
    bound = int(np.ceil(answer.bound - 1e-6)) + model.constant
    return Solved(better, bound, answer.proven, answer.nodes)


def drop_redundant_visits(
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
    change = problem.change_min if last else 0
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
