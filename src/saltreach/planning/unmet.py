"""What a plan cannot meet: which sector, which rule stands against it, what would mend it."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np
import pandas as pd

from saltreach.planning.cost import Pairs, overdue_spells
from saltreach.planning.problem import (
    FEW_PEOPLE,
    NO_SKILL,
    NO_TIDE,
    OPEN,
    SHUT,
    TOO_FAR,
    Problem,
)
from saltreach.planning.windows import day_text, in_window, open_days
from saltreach.vocabulary.columns import columns_of

RULES = {
    NO_SKILL: "skills",
    FEW_PEOPLE: "people",
    SHUT: "closure",
    NO_TIDE: "tide",
    TOO_FAR: "length of day",
    OPEN: "team time",
}
NO_DAYS, BACKLOG = "team-days", "already overdue"
MONTHS = ("January", "February", "March", "April", "May", "June", "July", "August", "September",
          "October", "November", "December")  # fmt: skip


def unmet_visits(problem: Problem, pairs: Pairs) -> pd.DataFrame:
    """Every spell in which a task is overdue within the plan.

    Parameters
    ----------
    problem : Problem
        From `make_problem`.
    pairs : frozenset of (task, team-day)
        The plan.

    Returns
    -------
    DataFrame
        The worst risk and the longest spell first. `days_overdue` counts days within the plan
        only.
    """
    rows = []
    tasks = problem.tasks.to_dict("records")
    for spell in overdue_spells(problem, pairs):
        task = tasks[spell.task]
        rule, why, fix = _explain(problem, spell.task, task, spell.due, spell.since, spell.until)
        rows.append(
            {
                "crag": task["crag"], "sector": task["sector"], "kind": task["kind"],
                "risk_band": task["risk_band"], "due_on": day_text(spell.due),
                "visited_on": day_text(spell.until) if spell.until < problem.end else "",
                "days_overdue": spell.days, "rule": rule, "why": why, "fix": fix,
                "price": task["late_min"] * spell.days,
            }
        )  # fmt: skip
    if not rows:
        return pd.DataFrame(columns=[n for n in columns_of("unmet") if n != "caution"])
    table = pd.DataFrame(rows).sort_values("price", ascending=False, kind="stable")
    return table.drop(columns="price").reset_index(drop=True)


def _explain(
    problem: Problem, k: int, task: dict[str, Any], due: int, since: int, until: int
) -> tuple[str, str, str]:
    """Rule, reason and remedy of one spell."""
    backlog = due < problem.start
    stop = until if backlog else due + 1  # in time means up to the due day
    day_of = problem.days["day"].to_numpy()
    rows = np.flatnonzero((day_of >= since) & (day_of < stop))
    begin = f"It was due on {day_text(due)}, before the plan begins; " if backlog else ""
    if backlog and until < problem.end and not (problem.blocked_by[k, rows] == OPEN).any():
        first = "no team-day before could serve it"
        rule, why, fix = _blocked(problem, k, task, rows, since, until, until)
        return (BACKLOG, f"{begin}{first}: {why}", fix)
    if not len(rows):
        span = f"between {day_text(since)} and {day_text(max(stop - 1, since))}"
        return (
            NO_DAYS,
            f"{begin}no team is free {span}",
            _one_more(problem, k, task, since, stop, until),
        )
    if (problem.blocked_by[k, rows] == OPEN).any():
        busy = int((problem.blocked_by[k, rows] == OPEN).sum())
        many = f"the {busy} team-days" if busy > 1 else "the one team-day"
        why = f"{begin}{many} that could serve it went to visits that weigh more, or cost more"
        return RULES[OPEN], why, _one_more(problem, k, task, since, stop, until)
    rule, why, fix = _blocked(problem, k, task, rows, since, stop, until)
    return rule, f"{begin}{why}", fix


def _blocked(
    problem: Problem, k: int, task: dict[str, Any], rows: np.ndarray, since: int, stop: int,
    until: int,
) -> tuple[str, str, str]:  # fmt: skip
    """Why none of some team-days can serve a task."""
    codes = problem.blocked_by[k, rows]
    if not len(rows):
        return (
            NO_DAYS,
            "no team is free in that time",
            _one_more(problem, k, task, since, stop, until),
        )
    able = codes[(codes != NO_SKILL) & (codes != FEW_PEOPLE)]
    code = int(np.bincount(able if len(able) else codes).argmax())
    needs = " and ".join(task["needs_skills"])
    if code == NO_SKILL:
        owners = [t["team"] for t in problem.teams if {*task["needs_skills"]} <= {*t["skills"]}]
        if owners:
            why = f"only {', '.join(owners)} can do {needs}, and is not free in that time"
            return RULES[code], why, _one_more(problem, k, task, since, stop, until)
        return RULES[code], f"no team can do {needs}", f"a team with {needs}, trained or lent"
    if code == FEW_PEOPLE:
        return (
            RULES[code],
            f"it needs {task['needs_people']} people and no team free then is as large",
            f"two teams together, or {task['needs_people']} people on one day",
        )
    if code == NO_TIDE:
        return (
            RULES[code],
            f"no free day has a dry window of {task['work_min'] / 60:.1f} h for the work",
            f"a team-day on a day with a longer window{_tide_days(problem, k, task, since, stop)}",
        )
    if code == TOO_FAR:
        return (
            RULES[code],
            f"{task['work_min'] / 60:.1f} h of work and the way there do not fit into a day",
            "a longer day, a nearer team, or a night away",
        )
    return _closed(problem, k, task, since, stop)


def _closed(
    problem: Problem, k: int, task: dict[str, Any], since: int, stop: int
) -> tuple[str, str, str]:
    """A sector shut on every free day: whether there are open days at all, and which."""
    days = np.arange(since, max(stop, since + 1))
    shut = problem.closures.get(k, ())
    is_open = open_days(shut, days)
    reasons = {w["reason"] or w["access"] for w in shut if in_window(w, days).any()} or {
        w["reason"] or w["access"] for w in shut
    }
    said = ", ".join(sorted(reasons))
    if is_open.any():
        last = int(days[is_open][-1])
        return (
            RULES[SHUT],
            f"closed ({said}) on every day a team is free",
            f"one more team-day by {day_text(last)}{_by_whom(problem, task)}",
        )
    months = int(task["months"])
    shorter = f"; the interval of {months} months is shorter than the closure" if months else ""
    return (
        RULES[SHUT],
        f"closed ({said}) all the time from {day_text(since)} to {day_text(max(stop - 1, since))}"
        f"{shorter}",
        f"agree one visit within the closure with whoever set it ({said}), or bring anchors to "
        "a state that allows a longer interval",
    )


def _able(problem: Problem, task: dict[str, Any]) -> list[int]:
    """Teams with the skills and people, the nearest first, whose day is long enough."""
    teams = [
        i for i, t in enumerate(problem.teams)
        if {*task["needs_skills"]} <= {*t["skills"]} and t["people"] >= task["needs_people"]
    ]  # fmt: skip
    way = problem.home_min[:, task["crag_at"]]
    fits = [
        i for i in teams
        if problem.trip_min + 2 * way[i] + task["work_min"]
        <= problem.teams[i]["hours_per_day"] * 60
    ]  # fmt: skip
    return sorted(fits, key=lambda i: (way[i], i))


def _by_whom(problem: Problem, task: dict[str, Any]) -> str:
    """The team that could do it, in words."""
    able = _able(problem, task)
    return f", for example of {problem.teams[able[0]]['team']}" if able else ""


def _one_more(
    problem: Problem, k: int, task: dict[str, Any], since: int, stop: int, until: int
) -> str:
    """Another team-day, in the last month in which the sector is open and a tide is right."""
    days = np.arange(since, max(stop, since + 1))
    is_open = open_days(problem.closures.get(k, ()), days)
    if problem.tidal[k]:
        is_open &= np.array([(k, int(d)) in problem.tides for d in days])
    if not is_open.any():
        return _closed(problem, k, task, since, stop)[2]
    last = int(days[is_open][-1])
    at = day_text(last)
    month = f"{MONTHS[int(at[5:7]) - 1]} {at[:4]}"
    able = _able(problem, task)
    if not able:
        return "a nearer team or a longer day"
    cured = f"one more team-day in {month}{_by_whom(problem, task)}"
    if task["months"] and problem.due_after(k, last) < until and problem.closures.get(k):
        cured += "; it shortens the spell, only a visit agreed within the closure ends it"
    return cured


def _tide_days(problem: Problem, k: int, task: dict[str, Any], since: int, stop: int) -> str:
    """Up to three days with a window long enough, in words."""
    days: Sequence[int] = sorted(
        day for (task_at, day), (a, b) in problem.tides.items()
        if task_at == k and since <= day < stop and b - a >= task["work_min"]
    )  # fmt: skip
    return f" ({', '.join(day_text(d) for d in days[:3])})" if days else ""


def unmet_summary(unmet: pd.DataFrame, most: int = 8) -> list[dict[str, Any]]:
    """Overdue spells of one rule and remedy taken together, the most overdue days first."""
    if not len(unmet):
        return []
    groups = unmet.groupby(["rule", "fix"], sort=False)
    rows = [
        {
            "rule": rule,
            "fix": fix,
            "days_overdue": int(g["days_overdue"].sum()),
            "sectors": sorted(set(g["crag"] + " / " + g["sector"])),
        }
        for (rule, fix), g in groups
    ]
    return sorted(rows, key=lambda r: -r["days_overdue"])[:most]
