"""The calendar: greedy first, then the solver, then a table of visits, with what cannot be met."""

from __future__ import annotations

import math
import time
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, replace
from datetime import date
from functools import cached_property
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pandas as pd

from saltreach.assessment.files import assessment_in
from saltreach.errors import OptionError, SaltreachError
from saltreach.intake import teams as sheets
from saltreach.intake.plan_file import read_plan, read_rebolting
from saltreach.intake.sheets import (
    NOTHING,
    Sheet,
    refuse_ahead,
    refuse_exchanged_homes,
    refuse_unknown,
    refuse_unknown_ends,
    settled,
)
from saltreach.planning.cost import Cost, Pairs, cost_of, unavoidable_min
from saltreach.planning.greedy import greedy_plan
from saltreach.planning.idle import idle_limits
from saltreach.planning.large import solve_large
from saltreach.planning.options import PlanOptions
from saltreach.planning.parts import improve, solve_both_ways
from saltreach.planning.priorities import Priorities
from saltreach.planning.problem import Problem, Tables, make_problem
from saltreach.planning.tables import frame_or_file, left_out_before, looser, typed
from saltreach.planning.unmet import unmet_summary, unmet_visits
from saltreach.planning.visits import (
    MONTH_FIGURES,
    changes,
    months_of,
    pairs_of,
    still_ahead,
    visit_table,
)
from saltreach.planning.windows import day_number, day_text
from saltreach.vocabulary.words import CAUTION

if TYPE_CHECKING:
    from saltreach.assessment.result import Assessment

WHOLE_MODEL_PAIRS = 40_000
"""Above so many possible pairs of task and team-day no model is made of the whole."""
WHOLE_BY_NODES_PAIRS = 1_000
"""The same where nodes are counted: the first node of a larger model may take minutes."""
SECONDS = 20.0
"""Time of the solver."""


@dataclass(frozen=True)
class FlatPlan:
    """Tables of a plan as the files hold them: days and times of day as text.

    `visits` in order of date, team and stop. `unmet`: every overdue spell, its rule, and what
    would mend it. `changes`: `CHANGE_COLUMNS`, against the last
    plan; empty without one. `months`: from `months_of`. `last`: visits of the last plan that were
    still ahead, None without.
    """

    visits: pd.DataFrame
    unmet: pd.DataFrame
    changes: pd.DataFrame
    months: pd.DataFrame
    last: pd.DataFrame | None = None


@dataclass(frozen=True, repr=False, eq=False)
class Plan:
    """A calendar and how good it is.

    Attributes
    ----------
    visits, unmet, changes, months : DataFrame
        The visits in order, every overdue spell with its rule and remedy, what differs from the
        last plan, and the trips of each month; with real types.
    figures : dict
        The plan in figures, as plain values.
    notes : tuple of str
        What was assumed or left out.
    flat : FlatPlan
        The same tables as the files hold them.
    problem : Problem
        What was to be planned.
    pairs : frozenset of (task, team-day)
        The plan, in the problem's numbers.
    cost, greedy : Cost
        Of this plan and of the greedy plan of the same run.
    bound_min : int or None
        Cost below which no plan of the model can be, in minutes of team time; None where the
        time was too short to find one, or nodes are counted and the plan is neither small nor so
        large that it is planned sector by sector.
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
    rejected : DataFrame
        Refused rows of the user's tables, left out because the user said so.
    left_out : tuple of str
        Sentences on what was left out of them, and of the assessment's own: said first by every
        file of the plan.
    sources : dict
        Records of those tables, and of the assessment.
    """

    problem: Problem
    pairs: Pairs
    flat: FlatPlan
    cost: Cost
    greedy: Cost
    bound_min: int | None
    forced_min: int
    how: str
    proven: bool
    seconds: float
    kept: int = 0
    rejected: pd.DataFrame = field(default_factory=NOTHING.rejected.copy)
    left_out: tuple[str, ...] = ()
    sources: dict[str, Any] = field(default_factory=dict)

    def __repr__(self) -> str:
        """One line."""
        return (
            f"<Plan: {len(self.flat.visits)} visits on {self.cost.trips} trips from "
            f"{self.figures['from']} to {self.figures['until']}, {len(self.flat.unmet)} overdue "
            f"spells. {CAUTION}>"
        )

    @cached_property
    def visits(self) -> pd.DataFrame:
        """The visits, typed."""
        return typed(self.flat.visits, "plan")

    @cached_property
    def unmet(self) -> pd.DataFrame:
        """What cannot be met, typed."""
        return typed(self.flat.unmet, "unmet")

    @cached_property
    def changes(self) -> pd.DataFrame:
        """Changes to the last plan, typed."""
        table = typed(self.flat.changes, "plan")
        return table.assign(date_before=pd.to_datetime(table["date_before"].replace("", None)))

    @cached_property
    def months(self) -> pd.DataFrame:
        """Trips, visits, team hours and visits after their due date, by month."""
        table = self.flat.months
        return table.set_axis(pd.PeriodIndex(table.index, freq="M", name=table.index.name))

    @property
    def notes(self) -> tuple[str, ...]:
        """What was assumed or left out."""
        return (*self.left_out, *self.problem.notes)

    @property
    def gap(self) -> float | None:
        """Share of the cost that is not proven necessary; None without a bound."""
        return None if self.bound_min is None else _share(self._above_bound, self.cost.total_min)

    @property
    def gap_of_avoidable(self) -> float | None:
        """The same share, of the cost above the overdue days that no plan can avoid."""
        rest = self.cost.total_min - self.forced_min
        return None if self.bound_min is None else _share(self._above_bound, rest)

    @property
    def _above_bound(self) -> int:
        return self.cost.total_min - (self.bound_min or 0)

    @cached_property
    def figures(self) -> dict[str, Any]:
        """The plan in figures, as plain values; `trips` by month."""
        bound, gap, avoidable = self.bound_min, self.gap, self.gap_of_avoidable
        return {
            "from": day_text(self.problem.start),
            "until": day_text(self.problem.end - 1),
            "how": self.how,
            "solved_to_the_optimum": self.proven,
            "workload": workload(self.problem),
            "cost": _in_hours(self.cost),
            "greedy": _in_hours(self.greedy),
            "bound_team_hours": None if bound is None else round(bound / 60, 1),
            "forced_overdue_team_hours": round(self.forced_min / 60, 1),
            "gap": None if gap is None else round(gap, 4),
            "gap_of_avoidable": None if avoidable is None else round(avoidable, 4),
            "visits": len(self.flat.visits),
            "overdue_spells": len(self.flat.unmet),
            "visits_kept": self.kept,
            "visits_changed": len(self.flat.changes),
            "not_met": unmet_summary(self.flat.unmet),
            "trips": self._trips(),
            "left_out": list(self.left_out),
            "notes": list(self.notes),
            "caution": CAUTION,
        }

    def _trips(self) -> list[dict[str, Any]]:
        """The months as plain values."""
        months = self.flat.months.rename(columns={"visits_after_due": "overdue"})
        whole, teams = months.iloc[:, :MONTH_FIGURES], months.iloc[:, MONTH_FIGURES:]
        return [
            {"month": month, **figures, "teams": trips}
            for month, figures, trips in zip(
                months.index, whole.to_dict("records"), teams.to_dict("records"), strict=True
            )
        ]


def _share(part: int, whole: int) -> float:
    return part / whole if whole > 0 else 0.0


def _in_hours(cost: Cost) -> dict[str, Any]:
    return {
        "total_team_hours": round(cost.total_min / 60, 1),
        "overdue_team_hours": round(cost.overdue_min / 60, 1),
        "overdue_days": cost.overdue_days,
        "travel_hours": round(cost.travel_min / 60, 1),
        "work_hours": round(cost.work_min / 60, 1),
        "trips": cost.trips,
        "load": [round(share, 3) for share in cost.load],
    }


def plan(
    result: Assessment | Path | str,
    teams: Any,
    *,
    windows: Any = None,
    tides: Any = None,
    needs: Any = None,
    travel: Any = None,
    rebolt: Any = None,
    done: Any = None,
    last_plan: Any = None,
    start: Any = None,
    leave_out_refused: bool = False,
    options: PlanOptions | None = None,
    seconds: float = SECONDS,
    nodes: int | None = None,
    on_step: Callable[[str], None] = lambda _: None,
    **settings: Any,
) -> Plan:
    """Who inspects what when: a calendar for the teams, and what it cannot meet.

    Parameters
    ----------
    result : Assessment, or path
        From `assess`, or the folder of its results.
    teams, windows, tides, needs, travel, done : path, DataFrame or Sheet
        The user's tables, as `saltreach.intake.teams` describes them; all but the teams may be
        absent.
    rebolt : path, DataFrame or Priorities, optional
        What `priorities` gave or wrote: its chosen rebolting is planned as well.
    last_plan : path, DataFrame or Plan, optional
        A plan to change as little as possible.
    start : date or str, optional
        First day; by default the day of the assessment.
    leave_out_refused : bool
        Whether to go on without refused rows of the tables. A row that is lost may be a closure or
        a team's holiday that is then planned through: without this such a row stops the plan, and
        with it every file of the plan says first what was left out.
    options : PlanOptions, optional
        How long things take, and what is traded for what.
    seconds : float
        Time of the solver. When it is up the best plan so far is taken, at worst the greedy.
    nodes : int, optional
        Nodes of its search, in place of the time: the same plan on every machine.
    on_step : callable
        Told the name of each step.
    **settings
        Settings of `PlanOptions` by name, over `options`.

    Returns
    -------
    Plan

    Raises
    ------
    RegisterError, OptionError
        A table or a setting that cannot be used, or a refused row; all tables are read and
        checked before anything is planned, and their problems said together.

    Examples
    --------
    >>> plan(result, "teams.csv", years=1).visits  # doctest: +SKIP
    """
    options = replace(options or PlanOptions(), **settings)
    result = assessment_in(result)
    flat = result.flat
    assessed_for = result.provenance["assessed_for"]
    start = assessed_for if start is None else start
    if isinstance(rebolt, Priorities):
        rebolt = rebolt.flat.sectors
    if isinstance(last_plan, Plan):
        last_plan = last_plan.flat.visits
    given, left_out, (chosen, last) = _tables_of(
        flat.sectors,
        pd.DataFrame(flat.anchors),
        {"teams": teams, "windows": windows, "tides": tides, "needs": needs, "done": done,
         "travel": travel},
        {"rebolting": (rebolt, read_rebolting), "plan": (last_plan, read_plan)},
        leave_out_refused,
        # a plan of next year, tried today, may know what will have been done by then
        max(date.today(), date.fromisoformat(day_text(day_number(start)))),
    )  # fmt: skip
    on_step("who can go where")
    problem = make_problem(
        pd.DataFrame(flat.sectors), pd.DataFrame(flat.anchors),
        Tables(**{name: sheet for name, sheet in given.items() if name != "done"}), start, options,
        rebolt=chosen, done=given["done"].rows,
    )  # fmt: skip
    notes = [note for sheet in given.values() for note in sheet.said]
    notes += idle_limits(problem, given)
    if problem.start < day_number(assessed_for):
        notes.append(
            f"the plan begins on {day_text(problem.start)}, before the day of the assessment "
            f"({assessed_for}): it knows no visit and no risk of that time"
        )
    notes = [*problem.notes, *notes, *looser(result.provenance)]
    problem = replace(problem, notes=tuple(notes))
    last = None if last is None else still_ahead(last, start)
    made = make_plan(problem, seconds=seconds, nodes=nodes, last=last, on_step=on_step)
    return replace(
        made,
        rejected=pd.concat([s.rejected for s in given.values()], ignore_index=True),
        left_out=(*left_out_before(result.provenance), *left_out),
        sources={
            "tables": {name: sheet.record() for name, sheet in given.items() if sheet.file},
            "assessment": result.provenance["time"],
        },
    )


READERS: dict[str, Callable[[Any], Sheet]] = {
    "teams": sheets.read_teams,
    "windows": sheets.read_windows,
    "tides": sheets.read_tides,
    "needs": sheets.read_needs,
    "done": sheets.read_done,
    "travel": sheets.read_travel,
}
"""Reader of each table of a plan."""


def _tables_of(
    sectors: pd.DataFrame,
    anchors: pd.DataFrame,
    tables: Mapping[str, Any],
    written: Mapping[str, tuple[Any, Callable[[Any], pd.DataFrame]]],
    leave_out: bool,
    past_until: date,
) -> tuple[dict[str, Sheet], tuple[str, ...], list[pd.DataFrame | None]]:
    """Every table of a plan, what is left out of them, and what was planned or chosen before.

    All are read before the first problem is said, so that all can be mended at once.
    """
    errors: list[SaltreachError] = []

    def opened(table: Any, name: str, read: Callable[[Any], Any]) -> Any:
        try:
            return None if table is None else frame_or_file(table, name, read)
        except SaltreachError as error:
            errors.append(error)
            return None

    known = {str(crag): set(rows) for crag, rows in sectors.groupby("crag")["sector"]}
    given = {n: opened(table, n, READERS[n]) or NOTHING for n, table in tables.items()}
    for name in ("windows", "tides", "needs", "done"):
        given[name] = refuse_unknown(given[name], known)
    given["teams"] = refuse_exchanged_homes(given["teams"], anchors["lon"], anchors["lat"])
    given["done"] = refuse_ahead(given["done"], "done_on", past_until)
    if not len(given["teams"].rejected) and not errors:  # else a team may be unknown for that
        ends = [team["team"] for team in given["teams"].rows]
        given["travel"] = refuse_unknown_ends(given["travel"], [*ends, *known])
    before = [opened(table, name, read) for name, (table, read) in written.items()]
    left_out = settled(given.values(), leave_out=leave_out, errors=errors)
    return given, left_out, before


def make_plan(
    problem: Problem,
    *,
    seconds: float = SECONDS,
    nodes: int | None = None,
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
        Time of the solver; with none the greedy plan is taken.
    nodes : int, optional
        Nodes of its search, in place of the time.
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
        For a time below 0 or without end, less than one node, or a seed that is none.
    """
    if not 0 <= seconds < math.inf:
        raise OptionError(f"seconds = {seconds:g}: give 0 (the greedy plan) or more")
    if nodes is not None and not 1 <= nodes < 2**31:
        raise OptionError(f"nodes = {nodes}: give a whole number from 1 to {2**31 - 1}")
    if not 0 <= seed < 2**31:
        raise OptionError(f"seed = {seed}: give a whole number from 0 to {2**31 - 1}")
    began = time.monotonic()
    before = pairs_of(problem, last) if last is not None else frozenset()
    on_step("greedy plan")
    pairs = base = greedy_plan(problem, before)
    how, proven, bound = "greedy", False, None
    given: dict[str, Any] = {"seconds": seconds, "nodes": nodes, "last": before, "seed": seed}
    if seconds:
        size = int(problem.allowed.sum())
        on_step(f"solver ({size} possible visits)")
        if size > WHOLE_MODEL_PAIRS:
            way = "sector by sector, the bound by highs"
            found = solve_large(
                problem, base, **given,
                on_step=lambda far: on_step(f"solver ({size} possible visits): {far}"),
            )  # fmt: skip
            pairs, bound, proven = found.pairs, found.bound_min, found.proven
        elif nodes is None or size <= WHOLE_BY_NODES_PAIRS:
            way = "highs, whole and in parts"
            found = solve_both_ways(problem, base, **given)
            pairs, bound, proven = found.pairs, found.bound_min, found.proven
        else:
            way = "highs, in parts"
            pairs = improve(problem, base, **given)
        how = way if pairs != base else "greedy (the solver found no better)"
    cost = cost_of(problem, pairs, before)
    if bound is not None:
        bound = cost.total_min if proven else min(bound, cost.total_min)
    visits = visit_table(problem, pairs, last)
    on_step("what cannot be met")
    return Plan(
        problem=problem,
        pairs=pairs,
        flat=FlatPlan(
            visits,
            unmet_visits(problem, pairs),
            changes(problem, visits, last),
            months_of(problem, visits),
            last,
        ),
        cost=cost,
        greedy=cost_of(problem, base, before),
        bound_min=bound,
        forced_min=unavoidable_min(problem),
        how=how,
        proven=proven,
        seconds=time.monotonic() - began,
        kept=len(before & pairs),
    )


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
