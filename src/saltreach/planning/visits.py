"""The visits of a plan as a table: times, due dates, names that last, and what changed."""

from __future__ import annotations

import datetime as dt
import hashlib
from collections import defaultdict
from itertools import pairwise
from typing import Any

import pandas as pd

from saltreach.intake.cells import clock_text
from saltreach.intake.plan_file import VISIT_COLUMNS
from saltreach.planning.cost import Pairs, by_day, timetable
from saltreach.planning.problem import Problem
from saltreach.planning.windows import day_number, day_text

CHANGE_COLUMNS = (
    "change", "visit_id", "kind", "crag", "sector", "team_before", "date_before", "team", "date",
)  # fmt: skip


def visit_table(problem: Problem, pairs: Pairs, last: pd.DataFrame | None = None) -> pd.DataFrame:
    """The visits in order of date, team and stop, with times, due dates and stable names.

    A name is made of the sector, the kind and a running number. With a last plan the names of
    its visits are carried on: same day and team first, then in order of time.
    """
    rows: list[dict[str, Any]] = []
    tasks = problem.tasks.to_dict("records")
    due = list(problem.column["due"])
    for d, mine in sorted(by_day(pairs).items()):
        team_at, day, starts, _ = (int(v) for v in problem.days.iloc[d])
        stops = timetable(problem, d, mine) or []
        order = list(dict.fromkeys(tasks[s.task]["crag_at"] for s in stops))
        home, between = problem.home_min[team_at], problem.between_min
        ridden = int(home[order[0]] + home[order[-1]])
        ridden += sum(int(between[a, b]) for a, b in pairwise(order))
        team = problem.teams[team_at]["team"]
        for i, stop in enumerate(stops, 1):
            t = tasks[stop.task]
            rows.append(
                {
                    "kind": t["kind"], "crag": t["crag"], "sector": t["sector"],
                    "part": f"{t['part']} of {t['parts']}", "team": team, "date": day_text(day),
                    "begins": clock_text(stop.begins), "ends": clock_text(stop.ends),
                    "due_on": day_text(due[stop.task]),
                    "days_late": max(0, day - due[stop.task]), "risk_band": t["risk_band"],
                    "anchors": t["anchors"], "work_hours": round(t["work_min"] / 60, 2),
                    "trip": f"{day_text(day)} {team}", "stop": i,
                    "trip_leaves": clock_text(starts),
                    "trip_back": clock_text(stops[-1].ends + int(home[order[-1]])),
                    "trip_travel_hours": round(ridden / 60, 2), "task": t["key"],
                }
            )  # fmt: skip
            due[stop.task] = problem.due_after(stop.task, day)
    unnamed = [name for name in VISIT_COLUMNS if name not in ("visit_id", "revision")]
    table = pd.DataFrame(rows, columns=None if rows else unnamed)
    table = table.sort_values(["date", "team", "stop"], kind="stable", ignore_index=True)
    names, revision = _names(table, last)
    table.insert(0, "visit_id", names)
    table.insert(1, "revision", revision)
    return table


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


def still_ahead(last: pd.DataFrame, start: dt.date | str) -> pd.DataFrame:
    """Visits of a last plan from the first day of the new one on."""
    days = last["date"].map(day_number).astype("int64")
    return last[days >= day_number(start)].reset_index(drop=True)


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


def trips_by_month(visits: pd.DataFrame, first: str = "", last: str = "") -> pd.DataFrame:
    """Trips and visits of each calendar month, months without any among them.

    Parameters
    ----------
    visits : DataFrame
        `date` (ISO), `trip` (its name), `crag`, `sector` of each visit.
    first, last : str
        First and last day; by default those of the visits.

    Returns
    -------
    DataFrame
        By month (YYYY-MM): `trips`, `visits`, and `sectors`, a list of (crag, sector).
    """
    date = visits["date"]
    days = [first or date.min(), last or date.max()]
    every = pd.period_range(*days, freq="M").astype(str) if first or len(visits) else []
    groups = dict(tuple(visits.groupby(date.str[:7])))
    rows = [groups.get(month, visits.iloc[:0]) for month in every]
    return pd.DataFrame(
        {
            "trips": [g["trip"].nunique() for g in rows],
            "visits": [len(g) for g in rows],
            "sectors": [sorted({*zip(g["crag"], g["sector"], strict=True)}) for g in rows],
        },
        index=pd.Index(every, name="month", dtype=object),
    )


MONTH_FIGURES = 4
"""Columns of `months_of` before those of the teams."""


def months_of(problem: Problem, visits: pd.DataFrame) -> pd.DataFrame:
    """Workload of each month of a plan.

    Parameters
    ----------
    problem : Problem
        From `make_problem`.
    visits : DataFrame
        From `visit_table`.

    Returns
    -------
    DataFrame
        By month (YYYY-MM): `trips`, `visits`, `team_hours`, `visits_after_due`, and the trips of
        each team under its name.
    """
    table = trips_by_month(visits, day_text(problem.start), day_text(problem.end - 1))
    table = table[["trips", "visits"]]
    month, setting_out = visits["date"].str[:7], ~visits.duplicated("trip")
    minutes = (60 * visits["work_hours"].astype(float)).round()
    way = (60 * visits["trip_travel_hours"].astype(float)).round() + problem.trip_min
    hours = minutes.add(way.where(setting_out, 0)).groupby(month).sum() / 60
    late = (visits["days_late"] > 0).groupby(month).sum()
    table["team_hours"] = hours.reindex(table.index, fill_value=0.0).round(2)
    table["visits_after_due"] = late.reindex(table.index, fill_value=0).astype(int)
    teams = [team["team"] for team in problem.teams]
    trips = pd.crosstab(month[setting_out], visits["team"][setting_out])
    trips = trips.reindex(index=table.index, columns=teams, fill_value=0)
    return pd.concat([table, trips], axis=1)
