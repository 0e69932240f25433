"""The calendar: greedy first, then the solver, then a table of visits, with what cannot be met."""

from __future__ import annotations

import hashlib
import time
from collections import defaultdict
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import pandas as pd

from saltreach.errors import OptionError
from saltreach.planning.bound import least_cost, priced_bound
from saltreach.planning.cost import Cost, Pairs, by_day, cost_of, round_min, timetable
from saltreach.planning.greedy import greedy_plan
from saltreach.planning.parts import improve, solve_both_ways
from saltreach.planning.problem import Problem
from saltreach.planning.solver import ENGINES
from saltreach.planning.unmet import UNMET_COLUMNS, unmet_visits
from saltreach.planning.windows import day_number, day_text

VISIT_COLUMNS = (
    "visit_id", "revision", "kind", "crag", "sector", "part", "team", "date", "begins", "ends",
    "due_on", "days_late", "risk_band", "anchors", "work_hours", "trip", "stop", "trip_leaves",
    "trip_back", "trip_travel_hours", "task",
)  # fmt: skip
"""Columns of the table of visits, in order."""

CHANGE_COLUMNS = (
    "change", "visit_id", "kind", "crag", "sector", "team_before", "date_before", "team", "date",
)  # fmt: skip

WHOLE_MODEL_PAIRS = 40_000
"""Above so many possible pairs of task and team-day the plan is improved part by part only."""


@dataclass(frozen=True)
class Plan:
    """A calendar and how good it is.

    Attributes
    ----------
    visits : DataFrame
        `VISIT_COLUMNS`, in order of date, team and stop.
    unmet : DataFrame
        `UNMET_COLUMNS`: every overdue spell, its rule, and what would mend it.
    changes : DataFrame
        `CHANGE_COLUMNS`: against the last plan; empty without one.
    cost, greedy : Cost
        Of this plan and of the greedy plan of the same run.
    bound_min : int
        Cost below which no plan can be, in minutes of team time.
    forced_min : int
        Price of the overdue days that no plan can avoid, in the same minutes.
    how : str
        Which way the plan was made.
    proven : bool
        Whether no better plan exists in the model.
    seconds : float
        Time it took.
    kept : int
        Visits of the last plan that stayed as they were.
    """

    problem: Problem
    pairs: Pairs
    visits: pd.DataFrame
    unmet: pd.DataFrame
    changes: pd.DataFrame
    cost: Cost
    greedy: Cost
    bound_min: int
    forced_min: int
    how: str
    proven: bool
    seconds: float
    kept: int = 0

    @property
    def gap(self) -> float:
        """Share of the cost that is not proven necessary."""
        return 1 - self.bound_min / self.cost.total_min if self.cost.total_min else 0.0

    @property
    def gap_of_avoidable(self) -> float:
        """The same share, of the cost above the overdue days that no plan can avoid."""
        rest = self.cost.total_min - self.forced_min
        return (self.cost.total_min - self.bound_min) / rest if rest > 0 else 0.0


def make_plan(
    problem: Problem,
    *,
    seconds: float = 20.0,
    solver: str = "highs",
    last: pd.DataFrame | None = None,
    seed: int = 0,
    on_step: Callable[[str], None] = lambda _: None,
) -> Plan:
    """Plan the visits of a problem.

    Parameters
    ----------
    problem : Problem
        From `make_problem`.
    seconds : float
        Time of the solver. When it is up the best plan so far is taken, at worst the greedy.
    solver : {"highs", "cp-sat", "greedy"}
        How the greedy plan is improved.
    last : DataFrame, optional
        Visits of the last plan (its `VISIT_COLUMNS`); changes to it are kept few.
    seed : int
        Of the search. Searches stopped by the clock may differ between runs all the same.
    on_step : callable
        Told the name of each step.

    Returns
    -------
    Plan

    Raises
    ------
    OptionError
        For an unknown solver.
    """
    if solver not in (*ENGINES, "greedy"):
        raise OptionError(f"solver {solver!r}: give one of {', '.join((*ENGINES, 'greedy'))}")
    began = time.monotonic()
    before = pairs_of(problem, last) if last is not None else frozenset()
    on_step("greedy plan")
    pairs = greedy_plan(problem, before)
    greedy = cost_of(problem, pairs, before)
    bound, forced = least_cost(problem)
    how, proven = "greedy", False
    if solver != "greedy":
        size = int(problem.allowed.sum())
        on_step(f"solver ({size} possible visits)")
        given: dict[str, Any] = {
            "seconds": seconds, "engine": solver, "last": before, "seed": seed,
        }  # fmt: skip
        if size <= WHOLE_MODEL_PAIRS:
            found = solve_both_ways(problem, pairs, **given)
            better, proven = found.pairs, found.proven
            bound = max(bound, found.bound_min or 0)
        else:
            better = improve(problem, pairs, **given)
            on_step("bound")
            least = cost_of(problem, better, before).total_min
            bound = max(bound, priced_bound(problem, least, seconds=seconds / 10))
        parts = "whole and in parts" if size <= WHOLE_MODEL_PAIRS else "in parts"
        how = f"{solver}, {parts}" if better != pairs else "greedy (the solver found no better)"
        pairs = better
    cost = cost_of(problem, pairs, before)
    visits = visit_table(problem, pairs, last)
    on_step("what cannot be met")
    return Plan(
        problem=problem,
        pairs=pairs,
        visits=visits,
        unmet=unmet_visits(problem, pairs),
        changes=changes(problem, visits, last),
        cost=cost,
        greedy=greedy,
        bound_min=cost.total_min if proven else min(bound, cost.total_min),
        forced_min=forced,
        how=how,
        proven=proven,
        seconds=time.monotonic() - began,
        kept=len(before & pairs),
    )


def pairs_of(problem: Problem, last: pd.DataFrame) -> Pairs:
    """Visits of a last plan that still have a task and a team-day, as pairs."""
    task = {key: k for k, key in enumerate(problem.tasks["key"])}
    names = [t["team"] for t in problem.teams]
    rows = {
        (names[team], day): d
        for d, (team, day) in enumerate(
            problem.days[["team_at", "day"]].itertuples(index=False, name=None)
        )
    }
    pairs = (
        (task.get(v.task), rows.get((v.team, day_number(v.date))))
        for v in last.itertuples(index=False)
    )
    return frozenset((k, d) for k, d in pairs if k is not None and d is not None)


def visit_table(problem: Problem, pairs: Pairs, last: pd.DataFrame | None = None) -> pd.DataFrame:
    """The visits in order, with times, due dates and stable names.

    A name is made of the sector, the kind and a running number. With a last plan the names of
    its visits are carried on: same day and team first, then in order of time.
    """
    rows: list[dict[str, Any]] = []
    tasks = problem.tasks.to_dict("records")
    for d, mine in by_day(pairs).items():
        team_at, day, starts, _ = (int(v) for v in problem.days.iloc[d])
        stops = timetable(problem, d, mine) or []
        order = list(dict.fromkeys(tasks[s.task]["crag_at"] for s in stops))
        way = problem.home_min[team_at], problem.between_min
        ridden = int(way[0][order[0]] + way[0][order[-1]])
        ridden += sum(int(way[1][a, b]) for a, b in zip(order, order[1:], strict=False))
        team = problem.teams[team_at]["team"]
        for i, stop in enumerate(stops, 1):
            t = tasks[stop.task]
            rows.append(
                {
                    "k": stop.task, "day": day, "kind": t["kind"], "crag": t["crag"],
                    "sector": t["sector"], "part": f"{t['part']} of {t['parts']}", "team": team,
                    "date": day_text(day), "begins": clock_text(stop.begins),
                    "ends": clock_text(stop.ends), "risk_band": t["risk_band"],
                    "anchors": t["anchors"], "work_hours": round(t["work_min"] / 60, 2),
                    "trip": f"{day_text(day)} {team}", "stop": i,
                    "trip_leaves": clock_text(starts),
                    "trip_back": clock_text(stops[-1].ends + int(way[0][order[-1]])),
                    "trip_travel_hours": round(ridden / 60, 2), "task": t["key"],
                }
            )  # fmt: skip
    table = pd.DataFrame(rows, columns=["k", "day", *VISIT_COLUMNS])
    table = table.sort_values(["day", "team", "stop"], kind="stable", ignore_index=True)
    due = dict(enumerate(problem.tasks["due"]))
    on, late = [], []
    for k, day in zip(table["k"], table["day"], strict=True):
        on.append(day_text(due[k]))
        late.append(max(0, int(day) - int(due[k])))
        due[k] = problem.due_after(k, int(day))
    table["due_on"], table["days_late"] = on, late
    table["visit_id"], table["revision"] = _names(table, last)
    return table[list(VISIT_COLUMNS)]


def clock_text(minutes: int) -> str:
    """HH:MM of minutes after midnight."""
    return f"{minutes // 60:02d}:{minutes % 60:02d}"


def _names(table: pd.DataFrame, last: pd.DataFrame | None) -> tuple[list[str], list[int]]:
    """Name and revision of each visit; a visit that moved is one revision later."""
    old: dict[str, list[Any]] = defaultdict(list)
    for v in () if last is None else last.sort_values("date").itertuples(index=False):
        old[v.task].append(v)
    names, revision = [""] * len(table), [0] * len(table)
    for key, rows in table.groupby("task", sort=False).indices.items():
        stem = hashlib.sha256(str(key).encode()).hexdigest()[:16]
        rest = list(old[str(key)])
        used = max((int(v.visit_id.rsplit("-", 1)[1]) for v in rest), default=0)
        at = {(v.date, v.team): v for v in rest}
        moved = []
        for i in rows:
            same = at.get((table["date"].iloc[i], table["team"].iloc[i]))
            if same is None:
                moved.append(i)
                continue
            names[i], revision[i] = same.visit_id, int(same.revision)
            rest.remove(same)
        for i in moved:
            if rest:
                v = rest.pop(0)
                names[i], revision[i] = v.visit_id, int(v.revision) + 1
            else:
                used += 1
                names[i] = f"{stem}-{used}"
    return names, revision


def changes(problem: Problem, visits: pd.DataFrame, last: pd.DataFrame | None) -> pd.DataFrame:
    """What differs from the last plan: visits moved, added and dropped."""
    if last is None:
        return pd.DataFrame(columns=list(CHANGE_COLUMNS))
    old = {v.visit_id: v for v in last.itertuples(index=False)}
    rows = []
    for v in visits.itertuples(index=False):
        was = old.pop(v.visit_id, None)
        if was is None:
            word, before = "added", ("", "")
        elif (was.team, was.date) == (v.team, v.date):
            continue
        else:
            word, before = "moved", (was.team, was.date)
        rows.append((word, v.visit_id, v.kind, v.crag, v.sector, *before, v.team, v.date))
    rows += [
        ("dropped", v.visit_id, v.kind, v.crag, v.sector, v.team, v.date, "", "")
        for v in old.values()
        if day_number(v.date) >= problem.start
    ]
    return pd.DataFrame(rows, columns=list(CHANGE_COLUMNS))


def workload(problem: Problem, most: int = 3) -> dict[str, Any]:
    """What keeping every interval takes in a year, what the teams have, and what gives way first.

    Parameters
    ----------
    problem : Problem
        From `make_problem`.
    most : int
        Sectors named of those that give way first.

    Returns
    -------
    dict
        `visits_per_year`, `crag_hours_per_year` (work at the crags, no travel),
        `team_hours_per_year` (whole days, travel included), `dropped_first` (names; least cost of
        an overdue day).
    """
    tasks = problem.tasks[problem.tasks["months"] > 0]
    per_year = 12.0 / tasks["months"].to_numpy(float)
    first = tasks.sort_values(["late_min", "crag", "sector"], kind="stable")
    names = (first["crag"] + " / " + first["sector"]).drop_duplicates().head(most)
    return {
        "visits_per_year": round(float(per_year.sum()), 1),
        "crag_hours_per_year": round(float((per_year * tasks["work_min"]).sum()) / 60, 1),
        "team_hours_per_year": round(float(problem.free_min.sum()) / 60 / problem.options.years, 1),
        "dropped_first": names.tolist(),
    }


def trips_by_month(plan: Plan) -> list[dict[str, Any]]:
    """Trips of each calendar month of the plan, months without any among them.

    Returns
    -------
    list of dict
        `month` (YYYY-MM), `trips`, `visits`, `team_hours`, `overdue` (visits made after their
        due date), and `teams`: trips of each team.
    """
    problem = plan.problem
    first, last = (day_text(d)[:7] for d in (problem.start, problem.end - 1))
    months = pd.period_range(first, last, freq="M").astype(str)
    names = [t["team"] for t in problem.teams]
    out = {
        m: {"month": m, "trips": 0, "visits": 0, "team_hours": 0.0, "overdue": 0,
            "teams": dict.fromkeys(names, 0)}
        for m in months
    }  # fmt: skip
    for d, tasks in by_day(plan.pairs).items():
        team, day = (int(v) for v in problem.days[["team_at", "day"]].iloc[d])
        month = out[day_text(day)[:7]]
        crags = sorted({int(c) for c in problem.tasks["crag_at"].iloc[tasks]})
        minutes = round_min(problem, team, crags) + problem.trip_min
        minutes += int(problem.tasks["work_min"].iloc[tasks].sum())
        month["trips"] += 1
        month["visits"] += len(tasks)
        month["team_hours"] = round(month["team_hours"] + minutes / 60, 2)
        month["teams"][names[team]] += 1
    for date, late in zip(plan.visits["date"], plan.visits["days_late"], strict=True):
        out[date[:7]]["overdue"] += int(late > 0)
    return list(out.values())


__all__ = ["UNMET_COLUMNS", "VISIT_COLUMNS", "Plan", "make_plan", "trips_by_month"]
