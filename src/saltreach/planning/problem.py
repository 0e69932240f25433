"""What must be visited, by whom it can be, and what a plan costs: the problem of the calendar.

All times are whole minutes and all days whole numbers, so that a plan's cost, and the bound a
solver gives for it, are exact. The weights are judgement of ours, common practice without a
source: each risk band counts twice the one below it.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from functools import cached_property
from typing import Any

import numpy as np
import pandas as pd

from saltreach.assessment.reasons import Listing
from saltreach.errors import OptionError
from saltreach.intake.sheets import NOTHING, Sheet, nearest
from saltreach.planning.options import PlanOptions
from saltreach.planning.travel import middle, travel_minutes
from saltreach.planning.windows import (
    add_months,
    day_number,
    day_text,
    open_days,
    team_days,
    windows_of,
)
from saltreach.vocabulary.synonyms import plain
from saltreach.vocabulary.words import BANDS, INSPECT, REBOLT, UNKNOWN

OPEN, NO_SKILL, FEW_PEOPLE, SHUT, NO_TIDE, TOO_FAR = range(6)
"""Why a team-day cannot serve a visit; the first that applies."""

WEIGHT_PER_BAND = 2.0
"""Weight of an overdue day over that of the band below; judgement."""
UNKNOWN_RISK = "raised"
"""A sector of unknown risk is not taken for a safe one."""


@dataclass(frozen=True)
class Tables:
    """The user's small tables; all but the teams may be absent."""

    teams: Sheet
    windows: Sheet = NOTHING
    tides: Sheet = NOTHING
    needs: Sheet = NOTHING
    travel: Sheet = NOTHING


@dataclass(frozen=True)
class Problem:
    """The visits wanted, the team-days there are, and which can serve which.

    Attributes
    ----------
    tasks : DataFrame
        One row per task: `key`, `kind`, `crag`, `sector`, `part`, `parts`, `anchors`,
        `risk_band`, `crag_at`, `work_min`, `due`, `months` (0: once only), `late_min` (cost of
        one overdue day), `needs_skills`, `needs_people`, `was_due`.
    teams : tuple of dict
        Rows of the teams' table.
    days : DataFrame
        One row per team-day: `team_at`, `day`, `starts`, `length_min`.
    home_min : ndarray, shape (teams, crags)
        Travel from home, minutes; `between_min` (crags, crags) between crags.
    blocked_by : ndarray of int8, shape (tasks, team-days)
        `OPEN` where the team-day can serve the task, else the reason.
    tides : dict
        `(task, day)` to `(from, until)`, the longest window, for tide-dependent tasks.
    start, end : int
        First day, and the day after the last.
    """

    tasks: pd.DataFrame
    teams: tuple[dict[str, Any], ...]
    days: pd.DataFrame
    crags: tuple[str, ...]
    home_min: np.ndarray
    between_min: np.ndarray
    blocked_by: np.ndarray
    tides: dict[tuple[int, int], tuple[int, int]]
    tidal: np.ndarray
    start: int
    end: int
    options: PlanOptions
    notes: tuple[str, ...] = ()
    closures: dict[int, tuple[dict[str, Any], ...]] = field(default_factory=dict)

    @cached_property
    def allowed(self) -> np.ndarray:
        """Whether a team-day can serve a task, shape (tasks, team-days)."""
        return self.blocked_by == OPEN

    @cached_property
    def trip_min(self) -> int:
        """Packing and briefing of one team-day, minutes."""
        return round(self.options.hours_per_trip * 60)

    @cached_property
    def free_min(self) -> np.ndarray:
        """Time each team has over the whole plan, minutes; its monthly limit counted."""
        total = np.zeros(len(self.teams), np.int64)
        team_of, length = self.days["team_at"].to_numpy(), self.days["length_min"].to_numpy()
        for rows, most in self.month_limits:
            total[team_of[rows[0]]] += most * length[rows[0]]
        return total

    @cached_property
    def months_of_teams(self) -> dict[tuple[int, int], np.ndarray]:
        """Team-days of each team and calendar month."""
        month = self.days["day"].to_numpy().astype("datetime64[D]").astype("datetime64[M]")
        table = pd.DataFrame({"team": self.days["team_at"], "month": month.astype(np.int64)})
        groups = table.groupby(["team", "month"]).indices
        return {(int(t), int(m)): rows for (t, m), rows in groups.items()}

    @cached_property
    def month_limits(self) -> list[tuple[np.ndarray, int]]:
        """Team-days of each team and month, and on how many of them it may go."""
        limits = []
        for (team, _), rows in self.months_of_teams.items():
            most = self.teams[team]["days_per_month"]
            limits.append((rows, len(rows) if most is None else min(most, len(rows))))
        return limits

    @cached_property
    def change_min(self) -> int:
        """Cost of one change to the last plan, minutes."""
        return round(self.options.change_hours * 60)

    @cached_property
    def unfair_min(self) -> int:
        """Cost of one percent between the busiest and the idlest team, minutes."""
        return round(self.options.unfair_hours * 60 / 10)

    @cached_property
    def column(self) -> dict[str, list[Any]]:
        """Columns of `tasks` and `days` that are read one by one, as plain lists."""
        names = ("due", "months", "work_min", "crag_at")
        out = {name: self.tasks[name].tolist() for name in names}
        return out | {name: self.days[name].tolist() for name in self.days}

    @cached_property
    def rounds(self) -> dict[tuple[int, tuple[int, ...]], int]:
        """Rounds that were worked out before, by team and crags."""
        return {}

    @cached_property
    def _again(self) -> dict[int, list[int]]:
        """When a visit on each day of the plan makes a task due again, by interval."""
        days = np.arange(self.start, self.end + 1)
        never = [self.end + 1] * len(days)
        return {m: add_months(days, m).tolist() if m else never for m in set(self.column["months"])}

    def due_after(self, task: int, day: int) -> int:
        """When a task is due again after a visit on `day` of the plan; past the end if never."""
        return self._again[self.column["months"][task]][day - self.start]


def make_problem(
    sectors: pd.DataFrame,
    anchors: pd.DataFrame,
    tables: Tables,
    start: Any,
    options: PlanOptions | None = None,
    *,
    rebolt: pd.DataFrame | None = None,
    done: Sequence[Mapping[str, Any]] = (),
) -> Problem:
    """The planning problem of an assessment.

    Parameters
    ----------
    sectors : DataFrame
        `crag`, `sector`, `anchors`, `risk_band`, `inspection_interval_months`,
        `next_inspection_on`, and `priority_rank` where known.
    anchors : DataFrame
        `crag`, `lon`, `lat`, for the middle of each crag.
    tables : Tables
        Teams and what limits them.
    start : date or str
        First day of the plan.
    options : PlanOptions, optional
        Settings.
    rebolt : DataFrame, optional
        `crag`, `sector`, `anchors`: rebolting to be done as well.
    done : sequence of mapping
        Visits done since the assessment: `crag`, `sector`, `kind`, `done_on`.

    Returns
    -------
    Problem

    Raises
    ------
    OptionError
        Without teams, team-days or sectors with a due date.
    """
    options = options or PlanOptions()
    first = day_number(start)
    end = int(add_months(first, round(options.years * 12)))
    every_day = np.arange(first, end)
    teams = tables.teams.rows
    days = _team_days(teams, tables.teams.rejected, every_day)
    if not len(days):
        raise OptionError("no team is free on any day of the plan: see days_free in the teams")
    notes: list[str] = []
    crags = tuple(dict.fromkeys(sectors["crag"]))
    places = [middle(g["lon"], g["lat"]) for _, g in _by_crag(anchors, crags)]
    lon = np.array([t["lon"] for t in teams] + [p[0] for p in places])
    lat = np.array([t["lat"] for t in teams] + [p[1] for p in places])
    minutes, more = travel_minutes(
        [t["team"] for t in teams] + list(crags), lon, lat, tables.travel.rows,
        road_factor=options.road_factor, speed_km_h=options.speed_km_h,
    )  # fmt: skip
    notes += more
    home, between = minutes[: len(teams), len(teams) :], minutes[len(teams) :, len(teams) :]
    longest = {
        c: max(
            round(t["hours_per_day"] * 60) - 2 * int(home[i, c]) for i, t in enumerate(teams)
        ) - round(options.hours_per_trip * 60)
        for c in range(len(crags))
    }  # fmt: skip
    tasks, more = _tasks(sectors, crags, tables, first, end, longest, options, rebolt, done)
    notes += more
    if not len(tasks):
        raise OptionError("no sector has a due date within the plan: assess the register first")
    blocked_by, tides, tidal, closures = _who_can(
        tasks, teams, days, every_day, home, tables, options
    )
    return Problem(
        tasks, teams, days, crags, home, between, blocked_by, tides, tidal, first, end, options,
        tuple(notes), closures,
    )  # fmt: skip


def _by_crag(anchors: pd.DataFrame, crags: tuple[str, ...]) -> list[tuple[str, pd.DataFrame]]:
    groups = dict(list(anchors[["crag", "lon", "lat"]].groupby("crag")))
    return [(crag, groups[crag]) for crag in crags]


def _team_days(
    teams: Sequence[Mapping[str, Any]], refused: pd.DataFrame, every_day: np.ndarray
) -> pd.DataFrame:
    """Every free day of every team, in order of day and team."""
    parts = [
        pd.DataFrame(
            {
                "team_at": i,
                "day": team_days(team, every_day),
                "starts": team["starts"],
                "length_min": round(team["hours_per_day"] * 60),
            }
        )
        for i, team in enumerate(teams)
    ]
    if not parts:
        if len(refused):
            one = refused.iloc[0]
            raise OptionError(
                f"no teams: every row of the table is refused; row {one['row']}, {one['column']} = "
                f"{one['value']!r}: {one['reason']}; {one['fix']}"
            )
        raise OptionError("no teams: give at least one row in the teams table")
    return pd.concat(parts).sort_values(["day", "team_at"], kind="stable", ignore_index=True)


def _tasks(
    sectors: pd.DataFrame,
    crags: tuple[str, ...],
    tables: Tables,
    first: int,
    end: int,
    longest: dict[int, int],
    options: PlanOptions,
    rebolt: pd.DataFrame | None,
    done: Sequence[Mapping[str, Any]],
) -> tuple[pd.DataFrame, list[str]]:
    """One row per sector and part to be visited."""
    weight = risk_weight(sectors)
    at = {crag: i for i, crag in enumerate(crags)}
    rows: list[dict[str, Any]] = []
    undated: list[str] = []
    later: list[str] = []
    table = sectors.assign(weight=weight).to_dict("records")
    known = {(s["crag"], s["sector"]): s for s in table}

    def add(kind: str, s: Mapping[str, Any], count: int, per: float, due: int, months: int) -> None:
        needs = _needs(tables.needs.rows, s["crag"], s["sector"])
        per = needs["hours_per_anchor"] or per if kind == INSPECT else per
        setting_up = round((options.hours_per_sector + needs["access_hours"]) * 60)
        work = count * per * 60
        room = max(longest[at[s["crag"]]] - setting_up, 30)
        parts = max(1, math.ceil(work / room - 1e-9))
        skills = {*needs["skills"], *([options.rebolt_skill] if kind == REBOLT else [])}
        cost = round(60 * options.overdue_hours * s["weight"] / parts)
        for part in range(1, parts + 1):
            share = count * part // parts - count * (part - 1) // parts
            rows.append(
                {
                    "key": "/".join((kind, s["crag"], s["sector"], f"{part} of {parts}")),
                    "kind": kind, "crag": s["crag"], "sector": s["sector"], "part": part,
                    "parts": parts, "anchors": share, "risk_band": s["risk_band"] or UNKNOWN,
                    "crag_at": at[s["crag"]], "work_min": setting_up + math.ceil(work / parts),
                    "due": due, "months": months, "late_min": cost,
                    "needs_skills": tuple(sorted(skills)), "needs_people": needs["people"],
                    "was_due": due < first,
                }
            )  # fmt: skip

    for s in table:
        months, due_on = s["inspection_interval_months"], s["next_inspection_on"]
        if pd.isna(months) or not isinstance(due_on, str) or not due_on:
            undated.append(f"{s['crag']} / {s['sector']}")
            continue
        due = day_number(due_on)
        seen = _last_done(done, INSPECT, s["crag"], s["sector"])
        if seen is not None:
            due = int(add_months(seen, int(months)))
        if due < end:
            add(INSPECT, s, int(s["anchors"]), options.hours_per_anchor, due, int(months))
        else:
            later.append(f"{s['crag']} / {s['sector']} ({day_text(due)})")
    for r in () if rebolt is None else rebolt.to_dict("records"):
        s = known.get((r["crag"], r["sector"]))
        if s is None:
            names = [" / ".join(place) for place in known]
            raise OptionError(
                f"rebolting list: {r['crag']} / {r['sector']} is not among the sectors assessed"
                + nearest(f"{r['crag']} / {r['sector']}", {plain(n): n for n in names})
            )
        if _last_done(done, REBOLT, r["crag"], r["sector"]) is None:
            by = s.get("replace_by") or ""
            due = day_number(by) if by else int(add_months(first, options.rebolt_months))
            # a plan that ends soon after would have no reason to do it at all
            due = min(due, first + 3 * (end - first) // 4)
            add(REBOLT, s, int(r["anchors"]), options.rebolt_hours_per_anchor, due, 0)
    notes: list[str] = [
        Listing(why, names)
        for why, names in (
            ("without a due date, so not planned (category or class unknown; or every anchor "
             "out of use, to be closed today)", undated),
            ("first due after the plan, so not in it", later),
        )
        if names
    ]  # fmt: skip
    return pd.DataFrame(rows), notes


def _last_done(done: Sequence[Mapping[str, Any]], kind: str, crag: str, sector: str) -> int | None:
    """Day a sector was last seen to, by the table of what was done."""
    days = [day_number(r["done_on"]) for r in windows_of(done, crag, sector) if r["kind"] == kind]
    return max(days, default=None)


def risk_weight(sectors: pd.DataFrame) -> np.ndarray:
    """Weight of one overdue day of each sector.

    Each band weighs `WEIGHT_PER_BAND` times the one below it, and where priority ranks are known
    up to as much again within the band, so that no rank lifts a sector above the next band.
    """
    band = BANDS.rank(sectors["risk_band"]).fillna(BANDS.index(UNKNOWN_RISK))
    weight = WEIGHT_PER_BAND ** band.to_numpy(float)
    if "priority_rank" not in sectors or not len(sectors):
        return weight
    rank = pd.to_numeric(sectors["priority_rank"], errors="coerce").to_numpy(float, na_value=np.nan)
    share = np.nan_to_num((len(sectors) - rank) / len(sectors))
    return weight * (1 + np.clip(share, 0, 1))


def _needs(rows: Sequence[Mapping[str, Any]], crag: str, sector: str) -> dict[str, Any]:
    """What a sector needs; a row of the sector itself wins over one of the crag."""
    out: dict[str, Any] = {
        "skills": (), "people": 1, "access_hours": 0.0, "hours_per_anchor": None,
    }  # fmt: skip
    for row in sorted(windows_of(rows, crag, sector), key=lambda r: r["sector"] != ""):
        out |= {name: row[name] for name in out if row[name] is not None}
    return out


def _who_can(
    tasks: pd.DataFrame,
    teams: Sequence[Mapping[str, Any]],
    days: pd.DataFrame,
    every_day: np.ndarray,
    home: np.ndarray,
    tables: Tables,
    options: PlanOptions,
) -> tuple[np.ndarray, dict, np.ndarray, dict]:
    """The reason matrix, the tide windows, which tasks the tide rules, and their closures."""
    team, day = days["team_at"].to_numpy(), days["day"].to_numpy()
    blocked_by = np.full((len(tasks), len(days)), OPEN, np.int8)
    tidal = np.zeros(len(tasks), bool)
    tides: dict[tuple[int, int], tuple[int, int]] = {}
    closures: dict[int, tuple[dict[str, Any], ...]] = {}
    people = np.array([t["people"] for t in teams])
    room = days["length_min"].to_numpy() - round(options.hours_per_trip * 60)
    cache: dict[tuple[str, str], tuple[Any, ...]] = {}
    for k, task in enumerate(tasks.itertuples(index=False)):
        place = (task.crag, task.sector)
        if place not in cache:
            shut = tuple(windows_of(tables.windows.rows, *place))
            is_open = open_days(shut, every_day)[day - every_day[0]] if shut else None
            cache[place] = (shut, is_open, windows_of(tables.tides.rows, *place))
        shut, is_open, tide = cache[place]
        row = blocked_by[k]
        fits = 2 * home[team, task.crag_at] + task.work_min <= room
        row[~fits] = TOO_FAR
        if tide:
            tidal[k] = True
            _tide(k, task, tide, days, home, tides, row, options)
        if is_open is not None:
            row[~is_open] = SHUT
            closures[k] = shut
        row[(people < task.needs_people)[team]] = FEW_PEOPLE
        able = np.array([set(task.needs_skills) <= set(t["skills"]) for t in teams])
        row[~able[team]] = NO_SKILL
    return blocked_by, tides, tidal, closures


def _tide(
    k: int,
    task: Any,
    windows: Sequence[Mapping[str, Any]],
    days: pd.DataFrame,
    home: np.ndarray,
    tides: dict[tuple[int, int], tuple[int, int]],
    row: np.ndarray,
    options: PlanOptions,
) -> None:
    """Mark team-days without a dry window long enough; keep the longest window of every day."""
    longest: dict[int, tuple[int, int]] = {}
    for w in windows:
        day = day_number(w["date"])
        held = longest.get(day, (0, 0))
        if w["until"] - w["from"] > held[1] - held[0]:
            longest[day] = (w["from"], w["until"])
    tides |= {(k, day): window for day, window in longest.items()}
    ready = round(options.hours_per_trip * 60)
    for d, (team, day, starts, length) in enumerate(
        days[["team_at", "day", "starts", "length_min"]].itertuples(index=False)
    ):
        window = longest.get(day)
        go = int(home[team, task.crag_at])
        if window is not None:
            begin = max(window[0], starts + ready + go)
            stop = min(window[1], starts + length - go)
        if row[d] == OPEN and (window is None or stop - begin < task.work_min):
            row[d] = NO_TIDE
