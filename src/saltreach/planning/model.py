"""The planning problem as a linear model in whole numbers, for any solver of such models.

It is the judge's own cost (`plan_cost`), exactly: a task is on time on a day if some visit
covers that day, so one row per span of days says that either a visit covers it or its price is
paid. A day's round of up to three crags is twice the way to each, less what joining two of them
saves. Days with a tide window are modelled a little tighter than they are: one crag, all
tide-ruled visits inside the common window, the others all before or all after it.
"""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Iterable
from itertools import combinations, pairwise, permutations

import numpy as np

from saltreach.planning.cost import Pairs, by_day, round_min
from saltreach.planning.highs import Row
from saltreach.planning.problem import Problem
from saltreach.planning.windows import add_months

PERCENT = 100
Terms = list[tuple[int, int]]
"""Pairs of variable and coefficient."""


class Model:
    """Variables, rows and costs of a part of the problem, or of all of it.

    Attributes
    ----------
    visit : dict
        Variable of each (task, team-day) that may change.
    upper : list of int
        Upper bound of each variable; the lower is 0 and all are whole.
    rows : list of (terms, low, high)
        Linear rows.
    cost : dict
        Coefficient of each variable in the cost, and `constant` beside them.
    kept : frozenset
        Visits of the base that may not change.
    start : dict
        Values of all variables that reproduce the base plan.
    near_joins : bool
        Whether crags are joined in one day only where the way between them is no longer than
        the way home (and where the base joins them). For parts: much smaller, and the plans
        left out are rarely good ones.
    """

    def __init__(
        self,
        problem: Problem,
        base: Pairs,
        last: Pairs = frozenset(),
        rows: Iterable[int] | None = None,
        tasks: Iterable[int] | None = None,
    ) -> None:
        self.problem = problem
        self.free_rows = sorted(range(len(problem.days)) if rows is None else set(rows))
        self.tasks = sorted(range(len(problem.tasks)) if tasks is None else set(tasks))
        movable, free = set(self.tasks), set(self.free_rows)
        self.kept: Pairs = frozenset((k, d) for k, d in base if k not in movable or d not in free)
        self.day_of = problem.days["day"].to_numpy()
        self.team_of = problem.days["team_at"].to_numpy()
        self.length = problem.days["length_min"].to_numpy()
        self.work = problem.tasks["work_min"].to_numpy()
        self.crag_of = problem.tasks["crag_at"].to_numpy()
        self.upper: list[int] = []
        self.rows: list[Row] = []
        self.cost: dict[int, int] = defaultdict(int)
        self.constant = 0
        self.start: dict[int, int] = {}
        self.near_joins = rows is not None or tasks is not None
        self.visit = {
            (k, d): self.new(start=int((k, d) in base))
            for d in self.free_rows
            for k in self.tasks
            if problem.allowed[k, d]
        }
        self.busy: dict[int, Terms] = defaultdict(list)
        self.busy_before = np.zeros(len(problem.teams), np.int64)
        self._once_a_day()
        trips = self._days()
        self._months(trips)
        self._overdue()
        self._elsewhere(set(trips))
        self._fair()
        self._changes(last)

    def new(self, upper: int = 1, start: int = 0) -> int:
        """One more variable, and its value in the base plan."""
        self.upper.append(upper)
        self.start[len(self.upper) - 1] = start
        return len(self.upper) - 1

    def visited(self, day: int, tasks: list[int], fixed: list[int]) -> list[int]:
        """Tasks that the base plan visits on a team-day."""
        return [*fixed, *(k for k in tasks if self.start[self.visit[k, day]])]

    def row(self, terms: Terms, high: int, low: float = -math.inf) -> None:
        """One more row: low <= sum of the terms <= high."""
        once: dict[int, int] = defaultdict(int)
        for x, c in terms:
            once[x] += int(c)
        self.rows.append((list(once.items()), low, high))

    def pay(self, terms: Terms) -> None:
        """Add terms to the cost."""
        for x, c in terms:
            self.cost[x] += int(c)

    def _once_a_day(self) -> None:
        same: dict[tuple[int, int], list[int]] = defaultdict(list)
        for (k, d), x in self.visit.items():
            same[k, int(self.day_of[d])].append(x)
        taken = {(k, int(self.day_of[d])) for k, d in self.kept}
        for key, group in same.items():
            if key in taken:
                self.row([(x, 1) for x in group], 0)
            elif len(group) > 1:
                self.row([(x, 1) for x in group], 1)

    def _days(self) -> dict[int, int]:
        """Hours, rounds and tides of each free team-day; the variable that says it is used."""
        fixed: dict[int, list[int]] = defaultdict(list)
        for k, d in self.kept:
            fixed[d].append(k)
        here: dict[int, list[int]] = defaultdict(list)
        for k, d in self.visit:
            here[d].append(k)
        return {d: self._day(d, here[d], fixed[d]) for d in self.free_rows if here[d]}

    def _day(self, day: int, tasks: list[int], fixed: list[int]) -> int:
        p, team, length = self.problem, int(self.team_of[day]), int(self.length[day])
        home = p.home_min[team]
        before = {int(self.crag_of[k]) for k in self.visited(day, tasks, fixed)}
        used = self.new(start=int(bool(before)))
        crags = sorted({int(self.crag_of[k]) for k in [*tasks, *fixed]})
        at = {c: self.new(start=int(c in before)) for c in crags}
        stay = {c: int(sum(self.work[k] for k in fixed if self.crag_of[k] == c)) for c in at}
        for crag, y in at.items():
            mine = [k for k in tasks if self.crag_of[k] == crag]
            self.row([(y, 1), (used, -1)], 0)
            for k in mine:
                self.row([(self.visit[k, day], 1), (y, -1)], 0)
            if stay[crag]:
                self.row([(y, -1)], -1)
            else:
                self.row([(y, 1), *((self.visit[k, day], -1) for k in mine)], 0)
            room = length - p.trip_min - 2 * int(home[crag])  # implied; it lifts the bound
            self.row([*((self.visit[k, day], int(self.work[k])) for k in mine), (y, -room)], -stay[crag])  # noqa: E501  # fmt: skip
        self.row([(y, 1) for y in at.values()], p.options.crags_per_day)
        least = {c: min(self.work[k] for k in [*tasks, *fixed] if self.crag_of[k] == c) for c in at}
        ridden = _pairs_of_round(home, p.between_min, before)
        joins: Terms = []
        for a, b in combinations(crags, 2):
            between = int(p.between_min[a, b])
            two = int(home[a] + home[b]) + between + p.trip_min + int(least[a] + least[b])
            far = self.near_joins and between > min(home[a], home[b])
            if (two <= length and not far) or (a, b) in ridden:
                z = self.new(start=int((a, b) in ridden))
                self.row([(z, 1), (at[a], -1)], 0)
                self.row([(z, 1), (at[b], -1)], 0)
                joins.append((z, between - int(home[a] + home[b])))
        one_less = [*((z, 1) for z, _ in joins), *((y, -1) for y in at.values()), (used, 1)]
        self.row(one_less, 0, 0)  # a round joins one pair less than it has crags
        terms = [(used, p.trip_min), *((y, 2 * int(home[c])) for c, y in at.items()), *joins]
        terms += [(self.visit[k, day], int(self.work[k])) for k in tasks]
        standing = sum(stay.values())
        self.row([*terms, (used, -length)], -standing)
        self.pay(terms)
        self.constant += standing
        self.busy[team] += terms
        self.busy_before[team] += standing
        self._tide(day, tasks, fixed, at)
        return used

    def _tide(self, day: int, tasks: list[int], fixed: list[int], at: dict[int, int]) -> None:
        """Tighter than true: one crag; ruled visits in the common window, others on one side."""
        p = self.problem
        ruled = [k for k in [*tasks, *fixed] if p.tidal[k]]
        date, length = int(self.day_of[day]), int(self.length[day])
        starts = int(p.days["starts"].iloc[day])
        for crag in sorted({int(self.crag_of[k]) for k in ruled}):
            mine = [k for k in ruled if self.crag_of[k] == crag]
            there = {*self.visited(day, tasks, fixed)} & {*mine}
            rules = self.new(start=int(bool(there)))
            for k in mine:
                if k in fixed:
                    self.row([(rules, -1)], -1)
                else:
                    self.row([(self.visit[k, day], 1), (rules, -1)], 0)
            for other, y in at.items():
                if other != crag:
                    self.row([(rules, 1), (y, 1)], 1)
            go = int(p.home_min[int(self.team_of[day])][crag])
            arrive, leave = starts + p.trip_min + go, starts + length - go
            opens = [max(p.tides[k, date][0], arrive) for k in mine]
            shuts = [min(p.tides[k, date][1], leave) for k in mine]
            common = min(shuts) - max(opens)
            if common < max(self.work[k] for k in mine):
                self._limit(day, mine, fixed, dict.fromkeys(mine, 1), 1)
            else:
                self._limit(day, mine, fixed, {k: int(self.work[k]) for k in mine}, common)
            gap = max(min(opens) - arrive, leave - max(shuts), 0)
            free = [k for k in [*tasks, *fixed] if self.crag_of[k] == crag and not p.tidal[k]]
            hours = {k: int(self.work[k]) for k in free}
            self._limit(day, free, fixed, hours, length, [(rules, length - gap)])

    def _limit(
        self, day: int, tasks: list[int], fixed: list[int], weight: dict[int, int], most: int,
        more: Terms | None = None,
    ) -> None:  # fmt: skip
        """Limit the sum of weights of the visits of a day; those that are fixed count."""
        standing = sum(weight[k] for k in tasks if k in fixed)
        terms = [(self.visit[k, day], weight[k]) for k in tasks if k not in fixed]
        self.row([*terms, *(more or [])], most - standing)

    def _months(self, trips: dict[int, int]) -> None:
        kept = {d for _, d in self.kept} - set(trips)
        for (team, _), group in self.problem.months_of_teams.items():
            most = self.problem.teams[team]["days_per_month"]
            mine: Terms = [(trips[int(d)], 1) for d in group if int(d) in trips]
            if most is not None and mine:
                self.row(mine, most - sum(int(d) in kept for d in group))

    def _overdue(self) -> None:
        p = self.problem
        price = p.tasks["late_min"].to_numpy()
        months, due = p.tasks["months"].to_numpy(), p.tasks["due"].to_numpy()
        visits: dict[int, list[tuple[int, int]]] = defaultdict(list)
        for (k, d), x in self.visit.items():
            visits[k].append((int(self.day_of[d]), x))
        standing: dict[int, list[int]] = defaultdict(list)
        for k, d in self.kept:
            standing[k].append(int(self.day_of[d]))
        for k in self.tasks:
            begin = max(int(due[k]), p.start)
            if not price[k] or begin >= p.end:
                continue
            mine = visits[k]
            first = np.array([d for d, _ in mine] + standing[k], np.int64)
            last = add_months(first, int(months[k])) if months[k] else np.full(len(first), p.end)
            ends = np.unique(np.clip(np.concatenate([first, last, [begin, p.end]]), begin, p.end))
            for a, b in zip(ends[:-1], ends[1:], strict=True):
                covers = (first <= a) & (a < last)
                if covers[len(mine) :].any():
                    continue
                cost = int(price[k]) * int(b - a)
                cover = [(x, -1) for (_, x), c in zip(mine, covers, strict=False) if c]
                if not cover:
                    self.constant += cost
                    continue
                late = self.new(start=int(not any(self.start[x] for x, _ in cover)))
                self.row([(late, -1), *cover], -1)
                self.pay([(late, cost)])

    def _elsewhere(self, inside: set[int]) -> None:
        """Team time of the kept days that are not in the model."""
        for d, tasks in by_day(self.kept).items():
            if d not in inside:
                team = int(self.team_of[d])
                there = round_min(self.problem, team, sorted({int(self.crag_of[k]) for k in tasks}))
                self.busy_before[team] += there + self.problem.trip_min + self.work[tasks].sum()

    def _fair(self) -> None:
        p = self.problem
        if not p.unfair_min or not p.free_min.any():
            return
        busy = {
            t: int(self.busy_before[t]) + sum(c * self.start[x] for x, c in self.busy[t])
            for t, free in enumerate(p.free_min.tolist())
            if free
        }
        shares = [(PERCENT * v, int(p.free_min[t])) for t, v in busy.items()]
        high = self.new(2 * PERCENT, max(-(-v // free) for v, free in shares))
        low = self.new(2 * PERCENT, min(v // free for v, free in shares))
        for team, free in enumerate(p.free_min.tolist()):
            if free:
                load = [(x, PERCENT * c) for x, c in self.busy[team]]
                before = PERCENT * int(self.busy_before[team])
                self.row([*load, (high, -free)], -before)
                self.row([*((x, -c) for x, c in load), (low, free)], before)
        self.pay([(high, p.unfair_min), (low, -p.unfair_min)])

    def _changes(self, last: Pairs) -> None:
        change = self.problem.change_min
        if not last or not change:
            return
        self.constant += change * len(last ^ self.kept)
        self.pay([(x, -change if pair in last else change) for pair, x in self.visit.items()])


def _pairs_of_round(
    home: np.ndarray, between: np.ndarray, crags: Iterable[int]
) -> set[tuple[int, int]]:
    """Pairs of crags, smaller first, that the shortest round joins."""
    orders = permutations(sorted(crags))
    best = min(
        orders,
        key=lambda p: (
            home[p[0]] + home[p[-1]] + sum(between[a, b] for a, b in pairwise(p)) if p else 0
        ),
        default=(),
    )
    return {(min(a, b), max(a, b)) for a, b in pairwise(best)}
