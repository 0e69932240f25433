"""What a plan cannot meet: which sector, which rule stands against it, what would mend it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd

from saltreach.planning.cost import OverdueSpell, Pairs, overdue_spells
from saltreach.planning.problem import (
    FEW_PEOPLE,
    NO_SKILL,
    NO_TIDE,
    OPEN,
    SHUT,
    TOO_FAR,
    Problem,
)
from saltreach.planning.windows import add_months, day_text, in_window, open_days
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
LONGER_WINDOW = "a team-day on a day with a longer window"


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
    tasks, rows = problem.tasks.to_dict("records"), []
    for spell in overdue_spells(problem, pairs):
        task = tasks[spell.task]
        rule, why, fix = _Case(problem, spell, task).explain()
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


@dataclass(frozen=True)
class _Case:
    """An overdue spell: why, and what would mend it."""

    problem: Problem
    spell: OverdueSpell
    task: dict[str, Any]

    @property
    def backlog(self) -> bool:
        """Whether it was due before the plan begins."""
        return self.spell.due < self.problem.start

    @property
    def stop(self) -> int:
        """End of the days on which a visit would have been in time: up to the due day."""
        return self.spell.until if self.backlog else self.spell.due + 1

    @property
    def days(self) -> np.ndarray:
        """Those days."""
        return np.arange(self.spell.since, self.stop)

    def explain(self) -> tuple[str, str, str]:
        """Rule, reason and remedy."""
        problem, spell = self.problem, self.spell
        begin = ""
        if self.backlog:
            begin = f"It was due on {day_text(spell.due)}, before the plan begins; "
        day_of = problem.days["day"].to_numpy()
        rows = np.flatnonzero((day_of >= spell.since) & (day_of < self.stop))
        codes = problem.blocked_by[spell.task, rows]
        busy = int((codes == OPEN).sum())
        if self.backlog and spell.until < problem.end and not busy:
            _, why, fix = self.blocked(codes)
            return BACKLOG, f"{begin}no team-day before could serve it: {why}", fix
        if not len(rows):
            why = f"no team is free between {day_text(self.days[0])} and {day_text(self.days[-1])}"
            return NO_DAYS, f"{begin}{why}", self.one_more()
        if busy:
            many = f"the {busy} team-days" if busy > 1 else "the one team-day"
            why = f"{begin}{many} that could serve it went to visits that weigh more, or cost more"
            return RULES[OPEN], why, self.one_more()
        rule, why, fix = self.blocked(codes)
        return rule, f"{begin}{why}", fix

    def blocked(self, codes: np.ndarray) -> tuple[str, str, str]:
        """Why none of some team-days can serve the task."""
        task = self.task
        if not len(codes):
            return NO_DAYS, "no team is free in that time", self.one_more()
        able = codes[(codes != NO_SKILL) & (codes != FEW_PEOPLE)]
        code = int(np.bincount(able if len(able) else codes).argmax())
        hours = f"{task['work_min'] / 60:.1f} h"
        if code == NO_SKILL:
            needs = " and ".join(task["needs_skills"])
            owners = [t["team"] for t in self.problem.teams if _skilled(t, task)]
            if not owners:
                why, fix = f"no team can do {needs}", f"a team with {needs}, trained or lent"
            else:
                why = f"only {', '.join(owners)} can do {needs}, and is not free in that time"
                fix = self.one_more()
        elif code == FEW_PEOPLE:
            people = f"{task['needs_people']} people"
            why = f"it needs {people} and no team free then is as large"
            fix = f"two teams together, or {people} on one day"
        elif code == NO_TIDE:
            why = f"no free day has a dry window of {hours} for the work"
            days = ", ".join(day_text(d) for d in self.right_tides()[:3])
            fix = f"{LONGER_WINDOW} ({days})" if days else LONGER_WINDOW
        elif code == TOO_FAR:
            why = f"{hours} of work and the way there do not fit into a day"
            fix = "a longer day, a nearer team, or a night away"
        else:
            why, fix = self.closed()
        return RULES[code], why, fix

    def closed(self) -> tuple[str, str]:
        """A sector shut on every free day: whether there are open days at all, and which."""
        days, shut = self.days, self.problem.closures.get(self.spell.task, ())
        is_open = open_days(shut, days)
        reasons = {w["reason"] or w["access"] for w in shut if in_window(w, days).any()} or {
            w["reason"] or w["access"] for w in shut
        }
        said = ", ".join(sorted(reasons))
        if is_open.any():
            fix = f"one more team-day by {day_text(days[is_open][-1])}{self.by_whom()}"
            return f"closed ({said}) on every day a team is free", fix
        why = f"closed ({said}) all the time from {day_text(days[0])} to {day_text(days[-1])}"
        fix = f"agree one visit within the closure with whoever set it ({said})"
        months = int(self.task["months"])
        interval = np.arange(int(add_months(self.spell.due, -months)), self.spell.due + 1)
        if not months or open_days(shut, interval).any():
            return why, fix
        return (
            f"{why}; the interval of {months} months is shorter than the closure",
            f"{fix}, or bring anchors to a state that allows a longer interval",
        )

    def able(self) -> list[int]:
        """Teams with the skills and people, the nearest first, whose day is long enough."""
        problem, task = self.problem, self.task
        way = problem.home_min[:, task["crag_at"]]
        fits = [
            i for i, t in enumerate(problem.teams)
            if _skilled(t, task) and t["people"] >= task["needs_people"]
            and problem.trip_min + 2 * way[i] + task["work_min"] <= t["hours_per_day"] * 60
        ]  # fmt: skip
        return sorted(fits, key=lambda i: (way[i], i))

    def by_whom(self) -> str:
        """The team that could do it, in words."""
        able = self.able()
        return f", for example of {self.problem.teams[able[0]]['team']}" if able else ""

    def one_more(self) -> str:
        """Another team-day, in the last month in which the sector is open and a tide is right."""
        problem, k, days = self.problem, self.spell.task, self.days
        is_open = open_days(problem.closures.get(k, ()), days)
        if not is_open.any():
            return self.closed()[1]
        if not self.able():
            return "a nearer team or a longer day"
        if problem.tidal[k]:
            is_open &= np.isin(days, self.right_tides())
            if not is_open.any():
                return LONGER_WINDOW
        last = int(days[is_open][-1])
        on = pd.Timestamp(day_text(last))
        cured = f"one more team-day in {on.month_name()} {on.year}{self.by_whom()}"
        again = self.task["months"] and problem.due_after(k, last) < self.spell.until
        if again and problem.closures.get(k):
            cured += "; it shortens the spell, only a visit agreed within the closure ends it"
        return cured

    def right_tides(self) -> list[int]:
        """Days with a window in which a team that can do it could, if it were free."""
        problem, task, found = self.problem, self.task, []
        for (k, day), (opens, shuts) in problem.tides.items():
            if k != self.spell.task or not self.spell.since <= day < self.stop:
                continue
            for i in self.able():
                team, way = problem.teams[i], int(problem.home_min[i, task["crag_at"]])
                begins = max(opens, team["starts"] + problem.trip_min + way)
                ends = min(shuts, team["starts"] + round(60 * team["hours_per_day"]) - way)
                if ends - begins >= task["work_min"]:
                    found.append(day)
                    break
        return sorted(found)


def _skilled(team: Mapping[str, Any], task: Mapping[str, Any]) -> bool:
    return {*task["needs_skills"]} <= {*team["skills"]}


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
