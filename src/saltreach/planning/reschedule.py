"""Improving a plan some sectors at a time: their visits are taken out and put back at their best.

For one sector the best days are known exactly while the rest of the plan stands: a shortest path
over the days on which some team could come, each at the least time that a visit adds to a trip
there or to a new one. Neighbouring sectors are taken out together and put back one by one.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Callable, Iterable

import numpy as np

from saltreach.planning.cost import (
    OverdueSpell,
    Pairs,
    by_day,
    cost_of,
    overdue_days,
    overdue_spells,
    round_min,
    timetable,
)
from saltreach.planning.problem import Problem

NEVER = 1 << 40
"""Cost of what cannot be; far above any plan's."""
TOO_LONG_MIN = 1 << 20
"""What a further crag adds to a trip that holds no more of them."""
TRIES = 4
"""How often a sector's days are chosen again where a tide spoils one."""
SWEEPS = 4
"""How often every sector is taken out alone."""
NEIGHBOURS = 8
"""Crags, itself among them, of which the company of a crag is drawn."""
COMPANY = 4
"""Most crags taken out together."""
MOST_OUT = 24
"""Most tasks taken out together."""
TRIPS_NEAR = 24
"""Trips that pass nearest to an overdue sector, of which some are taken out."""
BEFORE_DAYS = 60
"""How long before its due date a visit may prevent a spell."""
SPELLS_STAND = 100
"""Turns after which the overdue spells are counted again."""


class Calendar:
    """A plan that changes: what each team-day holds, and what one more visit would add to it."""

    def __init__(self, problem: Problem, pairs: Pairs, last: Pairs = frozenset()) -> None:
        p = self.problem = problem
        days = p.days
        self.team_of = days["team_at"].to_numpy()
        self.length = days["length_min"].to_numpy()
        self.work, self.crag_of = p.column["work_min"], p.column["crag_at"]
        self.price = p.tasks["late_min"].tolist()
        self.dates, self.date_of = np.unique(days["day"].to_numpy(), return_inverse=True)
        self.able = [np.flatnonzero(row) for row in p.allowed]
        self.begins = []
        self.open_on = []
        for rows in self.able:
            at = self.date_of[rows]
            begin = np.flatnonzero(np.diff(at, prepend=-1))
            self.begins.append(begin)
            self.open_on.append(self.dates[at[begin]] if len(rows) else self.dates[:0])
        self.group = np.zeros(len(days), np.int64)
        for i, (rows, _) in enumerate(p.month_limits):
            self.group[rows] = i
        self.left = np.array([most for _, most in p.month_limits], np.int64)
        self.alone = p.trip_min + 2 * p.home_min
        self.more = self.alone[self.team_of].astype(np.int32)
        self.used = np.zeros(len(days), np.int64)
        self.busy = 0
        self.day_of = p.column["day"]
        self.held: dict[int, list[int]] = {}
        self.rows_of: list[list[int]] = [[] for _ in p.column["due"]]
        self.change = p.change_min if last else 0
        self.last: dict[int, set[int]] = {}
        for k, d in last:
            self.last.setdefault(k, set()).add(d)
        for d, tasks in by_day(pairs).items():
            self.held[d] = list(tasks)
            self.left[self.group[d]] -= 1
            self._refresh(d)
            for k in tasks:
                self.rows_of[k].append(d)

    @property
    def pairs(self) -> Pairs:
        """The plan."""
        return frozenset((k, d) for k, rows in enumerate(self.rows_of) for d in rows)

    def _refresh(self, row: int) -> None:
        """What the trip takes, and what each crag would add to it."""
        p, tasks = self.problem, self.held.get(row)
        team = self.team_of[row]
        self.busy -= int(self.used[row])
        if not tasks:
            self.used[row] = 0
            self.more[row] = self.alone[team]
            return
        home, between = p.home_min[team], p.between_min
        crags = sorted({self.crag_of[k] for k in tasks})
        there = round_min(p, int(team), crags)
        self.used[row] = p.trip_min + there + sum(self.work[k] for k in tasks)
        self.busy += int(self.used[row])
        if len(crags) >= p.options.crags_per_day:
            self.more[row] = TOO_LONG_MIN
        elif len(crags) == 1:
            a = crags[0]
            self.more[row] = home[a] + between[a] + home - there
        else:
            a, b = crags
            ways = np.minimum(home[a] + between[b] + home, home[b] + between[a] + home)
            ways = np.minimum(ways + between[a, b], home[a] + home[b] + between[a] + between[b])
            self.more[row] = ways - there
        self.more[row, crags] = 0

    def add(self, task: int, row: int) -> None:
        """One more visit."""
        if row not in self.held:
            self.held[row] = []
            self.left[self.group[row]] -= 1
        self.held[row].append(task)
        self.rows_of[task].append(row)
        self._refresh(row)

    def take(self, task: int) -> list[int]:
        """Take out all visits of a task."""
        rows, self.rows_of[task] = self.rows_of[task], []
        for row in rows:
            self.held[row].remove(task)
            if not self.held[row]:
                del self.held[row]
                self.left[self.group[row]] += 1
            self._refresh(row)
        return rows

    def _cost_of(self, tasks: Iterable[int]) -> int:
        """Time of all trips, and the overdue days and changes of some tasks, minutes."""
        total = self.busy
        for k in tasks:
            rows = self.rows_of[k]
            days = sorted(self.day_of[d] for d in rows)
            total += self.price[k] * overdue_days(self.problem, k, days)
            if self.change:
                total += self.change * len({*rows} ^ self.last.get(k, set()))
        return total

    def put_back(self, task: int) -> bool:
        """Visit a task, of which no visit stands, on its best days; false where that failed."""
        rows = self.able[task]
        if not len(rows):
            return True
        crag, work = self.crag_of[task], self.work[task]
        cost = self.more[rows, crag] + work
        bad = self.used[rows] + cost > self.length[rows]
        bad |= (self.used[rows] == 0) & (self.left[self.group[rows]] <= 0)
        cost = cost.astype(np.int64)
        cost[bad] = NEVER
        if self.change:
            kept = np.isin(rows, [*self.last.get(task, ())])
            cost += np.where(kept, -self.change, self.change)
        begin = self.begins[task]
        for _ in range(TRIES):
            least = np.minimum.reduceat(cost, begin)
            chosen = self._best_days(task, least.tolist())
            picked = []
            for i in chosen:
                stop = begin[i + 1] if i + 1 < len(begin) else len(rows)
                picked.append(int(begin[i] + cost[begin[i] : stop].argmin()))
            spoilt = [at for at in picked if not self._fits(task, int(rows[at]))]
            if not spoilt:
                break
            cost[spoilt] = NEVER
        else:
            return False
        for at in picked:
            row = int(rows[at])
            if row not in self.held and self.left[self.group[row]] <= 0:
                return False  # two new trips in a month that had room for one
            self.add(task, row)
        return True

    def _fits(self, task: int, row: int) -> bool:
        tidal, there = self.problem.tidal, self.held.get(row, [])
        if not any(tidal[k] for k in (task, *there)):
            return True
        return timetable(self.problem, row, [*there, task]) is not None

    def _best_days(self, task: int, cost: list[int]) -> list[int]:
        """Shortest path over the open days: indices of the days to visit."""
        p, price = self.problem, self.price[task]
        days = self.open_on[task]
        nxt = [p.due_after(task, d) for d in days.tolist()]
        free_from = np.searchsorted(np.array(nxt), days, side="left").tolist()
        due = max(p.column["due"][task], p.start)
        best: list[int] = []
        came: list[int] = []
        early: deque[int] = deque()
        late, late_at, done = 4 * NEVER, -1, 0
        final, last = price * max(0, p.end - due), -1
        end = p.end
        for j, day in enumerate(days.tolist()):
            first = free_from[j]
            while done < first and done < j:
                value = best[done] - price * nxt[done]
                if value < late:
                    late, late_at = value, done
                done += 1
            while early and early[0] < first:
                early.popleft()
            value, at = price * max(0, day - due), -1
            if early and best[early[0]] < value:
                value, at = best[early[0]], early[0]
            if late + price * day < value:
                value, at = late + price * day, late_at
            value += cost[j]
            best.append(value)
            came.append(at)
            while early and best[early[-1]] >= value:
                early.pop()
            early.append(j)
            over = value + price * max(0, end - nxt[j])
            if over < final:
                final, last = over, j
        out = []
        while last >= 0:
            out.append(last)
            last = came[last]
        return out[::-1]

    def again(self, tasks: list[int]) -> int:
        """Take tasks out and put them back in this order; what that saved, 0 where undone."""
        before = {k: list(self.rows_of[k]) for k in tasks}
        was = self._cost_of(tasks)
        for k in tasks:
            self.take(k)
        if all(self.put_back(k) for k in tasks):
            saved = was - self._cost_of(tasks)
            if saved >= 0:
                return saved
        for k in tasks:
            self.take(k)
        for k, rows in before.items():
            for d in rows:
                self.add(k, d)
        return 0


def reschedule(
    problem: Problem,
    base: Pairs,
    *,
    sweeps: int = SWEEPS,
    turns: int | None = None,
    last: Pairs = frozenset(),
    seed: int = 0,
    over: Callable[[], bool] = lambda: False,
    on_turn: Callable[[int, int], None] = lambda *_: None,
) -> Pairs:
    """Improve a plan: every sector alone in some sweeps, the dearest first, then neighbours.

    Parameters
    ----------
    problem : Problem
        From `make_problem`.
    base : frozenset of (task, team-day)
        A plan that keeps the rules.
    sweeps : int
        How often every sector is taken out alone.
    turns : int, optional
        How often neighbours are taken out after the sweeps; without end by default.
    last : frozenset of (task, team-day)
        The last plan; every difference from it is paid.
    seed : int
        Of the choice of neighbours.
    over : callable
        Asked before every step; true ends the search.
    on_turn : callable
        Told the number of each turn, and what is saved so far, in minutes.

    Returns
    -------
    frozenset of (task, team-day)
        Never worse than `base`.
    """
    calendar = Calendar(problem, base, last)
    rng = np.random.default_rng(seed)
    saved = 0
    order = np.argsort(-problem.tasks["late_min"].to_numpy(), kind="stable").tolist()
    for _ in range(sweeps):
        for k in order:
            if over():
                return _better(problem, base, calendar.pairs, last)
            saved += calendar.again([k])
    chooser = Company(calendar, rng)
    number = 0
    while (turns is None or number < turns) and not over():
        out = chooser.neighbours() if number % 2 else chooser.around_a_spell()
        saved += calendar.again(out)
        number += 1
        on_turn(number, saved)
    return _better(problem, base, calendar.pairs, last)


class Company:
    """Which sectors are taken out together: of crags that lie together, or around a dear spell."""

    def __init__(self, calendar: Calendar, rng: np.random.Generator) -> None:
        p = calendar.problem
        self.calendar, self.rng = calendar, rng
        crag_of = p.tasks["crag_at"].to_numpy()
        self.tasks_of = [np.flatnonzero(crag_of == c) for c in range(len(p.crags))]
        self.near = np.argsort(p.between_min, axis=1, kind="stable")[:, :NEIGHBOURS]
        self.tried = np.zeros(len(p.tasks))
        self.spells: list[OverdueSpell] = []
        self.age = SPELLS_STAND

    def neighbours(self) -> list[int]:
        """All tasks of a few crags that lie together, in any order."""
        some = self.near[self.rng.integers(len(self.near))]
        crags = np.unique(self.rng.choice(some, size=int(self.rng.integers(1, COMPANY + 1))))
        out = np.concatenate([self.tasks_of[c] for c in crags])
        return self.rng.permutation(out)[:MOST_OUT].tolist()

    def around_a_spell(self) -> list[int]:
        """An overdue task, then those of some trips that could have taken it along."""
        calendar, p = self.calendar, self.calendar.problem
        self.age += 1
        if self.age > SPELLS_STAND:
            found = overdue_spells(p, calendar.pairs)
            self.spells, self.age = [s for s in found if calendar.price[s.task]], 0
        if not self.spells:
            return self.neighbours()
        weight = np.array([calendar.price[s.task] * s.days for s in self.spells], float)
        weight /= 1 + self.tried[[s.task for s in self.spells]]
        spell = self.spells[int(self.rng.choice(len(weight), p=weight / weight.sum()))]
        self.tried[spell.task] += 1
        rows = calendar.able[spell.task]
        day = calendar.dates[calendar.date_of[rows]]
        rows = rows[(day >= spell.due - BEFORE_DAYS) & (day < spell.until)]
        rows = rows[calendar.used[rows] > 0]
        more = calendar.more[rows, calendar.crag_of[spell.task]]
        rows = rows[np.argsort(more, kind="stable")[:TRIPS_NEAR]]
        out = self.rng.permutation(rows)[: int(self.rng.integers(1, COMPANY + 1))]
        with_it = {k for d in out.tolist() for k in calendar.held[d]} - {spell.task}
        return [spell.task, *self.rng.permutation(sorted(with_it)).astype(int).tolist()]


def _better(problem: Problem, base: Pairs, found: Pairs, last: Pairs) -> Pairs:
    """The cheaper of both by the judge, who counts fairness as well."""
    return min((base, found), key=lambda p: cost_of(problem, p, last).total_min)
