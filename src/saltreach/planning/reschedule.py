"""Improving a plan some sectors at a time: their visits are taken out and put back at their best.

For one sector the best days are known exactly while the rest of the plan stands: a shortest path
over the days on which some team could come, each at the least time that a visit adds to a trip
there or to a new one. Neighbouring sectors are taken out together and put back one by one.
"""

from __future__ import annotations

import time
from collections import deque
from collections.abc import Callable, Iterable
from math import inf

import numpy as np

from saltreach.planning.cost import Pairs, by_day, cost_of, round_min, timetable
from saltreach.planning.problem import Problem

NEVER = 1 << 40
"""Cost of what cannot be."""
TRIES = 4
"""How often a sector's days are chosen again where a tide spoils one."""
NEIGHBOURS = 12
"""Crags among which the company of a crag is drawn."""
WARMTH = 0.004
"""A change for the worse is kept at first up to this share of what the part costs."""


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
        self.paths: dict[int, tuple[list[int], list[int]]] = {}
        for rows in self.able:
            at = self.date_of[rows]
            begin = np.flatnonzero(np.diff(at, prepend=-1))
            self.begins.append(begin)
            self.open_on.append(self.dates[at[begin]] if len(rows) else self.dates[:0])
        self.group = np.zeros(len(days), np.int64)
        limit = []
        for i, ((team, _), rows) in enumerate(p.months_of_teams.items()):
            self.group[rows] = i
            most = p.teams[team]["days_per_month"]
            limit.append(len(rows) if most is None else most)
        self.left = np.array(limit, np.int64)
        self.alone = p.trip_min + 2 * p.home_min
        self.more = self.alone[self.team_of].astype(np.int32)
        self.used = np.zeros(len(days), np.int64)
        self.held: dict[int, list[int]] = {}
        self.rows_of: list[list[int]] = [[] for _ in p.column["due"]]
        self.change = round(60 * p.options.change_hours) if last else 0
        self.last: dict[int, list[int]] = {}
        for k, d in last:
            self.last.setdefault(k, []).append(d)
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
        if not tasks:
            self.used[row] = 0
            self.more[row] = self.alone[team]
            return
        home, between = p.home_min[team], p.between_min
        crags = sorted({self.crag_of[k] for k in tasks})
        there = round_min(p, int(team), crags)
        self.used[row] = p.trip_min + there + sum(self.work[k] for k in tasks)
        if len(crags) >= p.options.crags_per_day:
            self.more[row] = NEVER >> 12
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

    def cost_around(self, tasks: Iterable[int], rows: Iterable[int]) -> int:
        """Time of some trips, and the overdue days and changes of some tasks."""
        total = int(self.used[list(rows)].sum())
        for k in tasks:
            mine = self.rows_of[k]
            total += self.price[k] * self._late(k, sorted(self.date_of[d] for d in mine))
            if self.change:
                kept = self.last.get(k, ())
                total += self.change * len({*mine} ^ {*kept})
        return total

    def _late(self, task: int, dates: list[int]) -> int:
        p, due, late = self.problem, self.problem.column["due"][task], 0
        for at in dates:
            day = int(self.dates[at])
            late += max(0, day - max(due, p.start))
            due = p.due_after(task, day)
        return late + max(0, p.end - max(due, p.start))

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
            cost += np.where(np.isin(rows, self.last.get(task, [])), -self.change, self.change)
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
        months = p.column["months"][task]
        nxt = [p.due_after(task, d) for d in days.tolist()]
        free_from = np.searchsorted(np.array(nxt), days, side="left").tolist()
        due = max(p.column["due"][task], p.start)
        best: list[int] = []
        came: list[int] = []
        early: deque[int] = deque()
        late, late_at, done = NEVER * 4, -1, 0
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

    def again(self, tasks: list[int], worse: float = 0.0) -> int:
        """Take tasks out and put them back in this order; what that saved, 0 where undone."""
        before = {k: list(self.rows_of[k]) for k in tasks}
        rows = {d for mine in before.values() for d in mine}
        was = self.cost_around(tasks, rows)
        total = int(self.used.sum())
        late = was - int(self.used[list(rows)].sum())
        for k in tasks:
            self.take(k)
        good = all(self.put_back(k) for k in tasks)
        saved = 0
        if good:
            saved = late - self.cost_around(tasks, ()) + total - int(self.used.sum())
        if not good or saved < -worse:
            for k in tasks:
                self.take(k)
            for k, mine in before.items():
                for d in mine:
                    self.add(k, d)
            return 0
        return saved
