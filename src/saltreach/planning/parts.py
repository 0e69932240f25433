"""Improving a plan part by part: some neighbouring teams and months, or some crags, at a time.

A large plan has no model that a solver could take whole; its parts have. Each part is a model of
its own with the rest of the plan fixed, so a plan only ever gets better. Parts with the dearest
overdue days come first, and are searched longer each time they are tried.
"""

from __future__ import annotations

import time
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace
from math import inf
from typing import Any

import numpy as np

from saltreach.planning.cost import OverdueSpell, Pairs, cost_of, overdue_spells
from saltreach.planning.problem import Problem
from saltreach.planning.solver import Solved, solve

PART_DAYS = 120
PART_TEAMS = 2
PART_TASKS = 8
"""Size of a part: days and neighbouring teams, or tasks of neighbouring crags."""

PART_PAIRS = 600
"""Most possible visits of a span the first time it is tried; twice and three times later."""

PART_SECONDS = (0.5, 2.0, 6.0)
PART_NODES = (1, 10, 100)
"""Longest search of a part, the first, second and later times it is tried."""


class PartChooser:
    """Which part of a plan to improve next: where its overdue days are dearest."""

    def __init__(self, problem: Problem, seed: int) -> None:
        self.problem = problem
        self.rng = np.random.default_rng(seed)
        p = problem
        self.team_of, self.day_of = p.days["team_at"].to_numpy(), p.days["day"].to_numpy()
        self.crag_of = p.tasks["crag_at"].to_numpy()
        self.price = p.tasks["late_min"].tolist()
        count = len(p.teams)
        able = np.stack([p.allowed[:, self.team_of == t].any(axis=1) for t in range(count)])
        way = np.where(able, p.home_min[:, self.crag_of], np.iinfo(np.int64).max)
        self.nearest = way.argmin(axis=0)
        apart = np.abs(p.home_min[:, None, :] - p.home_min[None, :, :]).mean(axis=2)
        self.near_teams = np.argsort(apart, axis=1, kind="stable")[:, :PART_TEAMS]
        half = PART_DAYS // 2
        self.begins = np.arange(p.start - half, p.end, half)
        self.tried = np.zeros((count, len(self.begins)), int)
        self.tried_crag = np.zeros(len(p.crags), int)
        self.open_on = [np.unique(self.day_of[row]) for row in p.allowed]

    def chance(self, spell: OverdueSpell) -> int:
        """The last day on which a visit could prevent a spell."""
        first = max(spell.due, self.problem.start)
        at = int(np.searchsorted(self.open_on[spell.task], first, side="right"))
        return int(self.open_on[spell.task][at - 1]) if at else first

    def next_span(self, spells: list[OverdueSpell], pairs: Pairs) -> tuple[set[int], set[int], int]:
        """Team-days and tasks of the most promising span of time, and how often it was tried.

        Fewer teams and days are taken where there would be too many possible visits.
        """
        half = PART_DAYS // 2
        cost = np.zeros((len(self.tried), len(self.begins) + 1))
        for s in spells:
            step = (self.chance(s) - int(self.begins[0])) // half
            cost[self.nearest[s.task], step] += self.price[s.task] * s.days
        around = cost[:, :-1] + cost[:, 1:]
        score = around[self.near_teams].sum(axis=1) / (1 + self.tried) ** 2
        score = score + self.rng.uniform(0, 1, score.shape)
        team, at = np.unravel_index(int(score.argmax()), score.shape)
        self.tried[team, at] += 1
        turn = int(self.tried[team, at])
        begin = int(self.begins[at])
        sizes = [(PART_DAYS // cut, n) for cut in (1, 2, 4) for n in range(PART_TEAMS, 0, -1)]
        for days, count in sizes:
            end = begin + PART_DAYS  # the later days: their visits decide what comes after
            rows, tasks = self._span(self.near_teams[team][:count], end - days, end, spells, pairs)
            size = self.problem.allowed[np.ix_(sorted(tasks), sorted(rows))].sum()
            if size <= PART_PAIRS * min(turn, len(PART_SECONDS)):
                break
        return rows, tasks, turn

    def _span(
        self, teams: np.ndarray, begin: int, end: int, spells: list[OverdueSpell], pairs: Pairs
    ) -> tuple[set[int], set[int]]:
        """Team-days of some teams in a span, and the tasks visited there or overdue near them."""
        inside = (self.day_of >= begin) & (self.day_of < end) & np.isin(self.team_of, teams)
        rows = set(np.flatnonzero(inside).tolist())
        late = {
            s.task
            for s in spells
            if self.nearest[s.task] in teams
            and (begin <= self.chance(s) < end or (s.due < end and begin < s.until))
        }
        return rows, {k for k, d in pairs if d in rows} | late

    def next_crags(self, spells: list[OverdueSpell]) -> tuple[set[int], set[int], int]:
        """The same of a promising crag and its neighbours, at any time."""
        p = self.problem
        cost = np.zeros(len(p.crags))
        for s in spells:
            cost[self.crag_of[s.task]] += self.price[s.task] * s.days
        score = cost / (1 + self.tried_crag) ** 2 + self.rng.uniform(0, 1, len(cost))
        crag = int(score.argmax())
        self.tried_crag[crag] += 1
        near = np.argsort(p.between_min[crag], kind="stable")
        tasks = [int(k) for c in near[:PART_TASKS] for k in np.flatnonzero(self.crag_of == c)]
        teams = np.argsort(p.home_min[:, crag], kind="stable")[:PART_TEAMS]
        rows = set(np.flatnonzero(np.isin(self.team_of, teams)).tolist())
        return rows, set(tasks[:PART_TASKS]), int(self.tried_crag[crag])


def improve(
    problem: Problem,
    base: Pairs,
    *,
    seconds: float = inf,
    nodes: int | None = None,
    last: Pairs = frozenset(),
    seed: int = 0,
    stop: Callable[[], bool] = lambda: False,
) -> Pairs:
    """Improve a plan part by part.

    Parameters
    ----------
    problem : Problem
        From `make_problem`.
    base : frozenset of (task, team-day)
        A plan that keeps the rules.
    seconds : float
        Time for all parts.
    nodes : int, optional
        Nodes for all parts, in place of the time; each part takes one at least.
    last, seed
        As in `solve`.
    stop : callable
        Asked between parts; true ends the search before its time.

    Returns
    -------
    frozenset of (task, team-day)
        Never worse than `base`.
    """
    until = time.monotonic() + seconds
    chooser = PartChooser(problem, seed)
    pairs = base
    number = used = 0

    def over() -> bool:
        return until - time.monotonic() <= 0.3 if nodes is None else used >= nodes

    while not over() and not stop():
        spells = [s for s in overdue_spells(problem, pairs) if chooser.price[s.task]]
        if number % 3 < 2:
            rows, tasks, tried = chooser.next_span(spells, pairs)
        else:
            rows, tasks, tried = chooser.next_crags(spells)
        number += 1
        used += not (rows and tasks)
        if rows and tasks:
            turn = min(tried, len(PART_SECONDS)) - 1
            found = solve(
                problem, pairs, seconds=min(PART_SECONDS[turn], until - time.monotonic()),
                nodes=None if nodes is None else min(PART_NODES[turn], nodes - used),
                last=last, rows=rows, tasks=tasks, seed=seed + number,
            )  # fmt: skip
            pairs, used = found.pairs, used + found.nodes
    return pairs


def solve_both_ways(
    problem: Problem,
    base: Pairs,
    *,
    seconds: float = inf,
    nodes: int | None = None,
    last: Pairs = frozenset(),
    seed: int = 0,
) -> Solved:
    """The whole model and its parts at the same time, one thread each; the better plan.

    The whole gives the bound and may find the optimum; the parts find a good plan sooner. With
    `nodes` the parts come after the whole, if that was not solved to its end: what they do must
    not depend on which thread is faster. Parameters as in `solve`.
    """
    given: dict[str, Any] = {"seconds": seconds, "nodes": nodes, "last": last, "seed": seed}
    if nodes is not None:
        found = solve(problem, base, **given)
        parts = base if found.proven else improve(problem, base, **given)
    else:
        with ThreadPoolExecutor(1) as thread:
            whole = thread.submit(solve, problem, base, **given)
            parts = improve(problem, base, **given, stop=whole.done)
            found = whole.result()
    both = sorted((found.pairs, parts), key=lambda p: cost_of(problem, p, last).total_min)
    return replace(found, pairs=both[0])
