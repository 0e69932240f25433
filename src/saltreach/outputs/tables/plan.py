"""The files of a plan: plan.csv, plan.xlsx, inspections.ics, unmet.csv, changes.csv, plan.json."""

from __future__ import annotations

import datetime as dt
import json
from pathlib import Path
from typing import Any

import pandas as pd

from saltreach.assessment.reasons import some
from saltreach.errors import RegisterError
from saltreach.outputs.files import atomic_folder
from saltreach.outputs.tables.calendar import write_calendar
from saltreach.outputs.tables.results import spreadsheet_safe
from saltreach.outputs.tables.sheets_xlsx import write_workbook
from saltreach.planning.cost import Cost
from saltreach.planning.plan import VISIT_COLUMNS, Plan, trips_by_month, workload
from saltreach.planning.unmet import unmet_summary
from saltreach.planning.windows import day_number, day_text
from saltreach.vocabulary.words import CAUTION

SHEET_COLUMNS = (
    "date", "team", "stop", "begins", "ends", "kind", "crag", "sector", "part", "anchors",
    "risk_band", "due_on", "days_late", "trip_leaves", "trip_back",
)  # fmt: skip
"""Columns of the printed plan; a last one is left empty for the team's pen."""


def write_plan(
    plan: Plan,
    out: Path,
    *,
    provenance: dict[str, Any],
    tables: dict[str, Any],
    rejected: pd.DataFrame,
    last: pd.DataFrame | None = None,
) -> None:
    """Write every file of a plan into a folder, all or none.

    Parameters
    ----------
    plan : Plan
        From `make_plan`.
    out : Path
        Folder; made if absent.
    provenance : dict
        Of the assessment the plan is made from.
    tables : dict
        Records of the user's tables, for `plan.json`.
    rejected : DataFrame
        Rows of those tables that were refused.
    last : DataFrame, optional
        Visits of the last plan.
    """
    stamp = dt.datetime.fromisoformat(provenance["time"])
    dropped = None
    if last is not None:
        gone = plan.changes.loc[plan.changes["change"] == "dropped", "visit_id"]
        dropped = last[last["visit_id"].isin(gone)]
    months = trips_by_month(plan)
    with atomic_folder(out) as work:
        safe = spreadsheet_safe(plan.visits).assign(caution=CAUTION)
        safe.to_csv(work / "plan.csv", index=False)
        spreadsheet_safe(plan.unmet).assign(caution=CAUTION).to_csv(work / "unmet.csv", index=False)
        if last is not None:
            spreadsheet_safe(plan.changes).assign(caution=CAUTION).to_csv(
                work / "changes.csv", index=False
            )
        if len(rejected):
            spreadsheet_safe(rejected).to_csv(work / "plan_rejected.csv", index=False)
        write_calendar(plan.visits, work / "inspections.ics", stamp=stamp, dropped=dropped)
        sheets = {
            "Plan": plan.visits[list(SHEET_COLUMNS)].assign(done_on="", remarks=""),
            "Months": month_table(months),
            "Not met": plan.unmet,
        }
        if last is not None:
            sheets["Changes"] = plan.changes
        about = [*plan_lines(plan), *plan.problem.notes]
        write_workbook(work / "plan.xlsx", sheets, about, title="Inspection plan (advice)")
        text = json.dumps(
            plan_record(plan, months) | {"tables": tables, "assessment": provenance["time"]},
            indent=2,
            ensure_ascii=False,
        )
        (work / "plan.json").write_text(text + "\n", encoding="utf-8")
    for name, absent in (("changes.csv", last is None), ("plan_rejected.csv", not len(rejected))):
        if absent:
            (out / name).unlink(missing_ok=True)


def month_table(months: list[dict[str, Any]]) -> pd.DataFrame:
    """Workload of each month, one column per team."""
    return pd.DataFrame(
        [{k: v for k, v in m.items() if k != "teams"} | m["teams"] for m in months]
    ).rename(columns={"overdue": "visits_after_due"})


def plan_record(plan: Plan, months: list[dict[str, Any]] | None = None) -> dict[str, Any]:
    """The plan in figures, as plain values; `trips` is what a map shows month by month."""
    months = trips_by_month(plan) if months is None else months
    return {
        "from": day_text(plan.problem.start),
        "until": day_text(plan.problem.end - 1),
        "how": plan.how,
        "solved_to_the_optimum": plan.proven,
        "workload": workload(plan.problem),
        "cost": cost_record(plan.cost),
        "greedy": cost_record(plan.greedy),
        "bound_team_hours": round(plan.bound_min / 60, 1),
        "forced_overdue_team_hours": round(plan.forced_min / 60, 1),
        "gap": round(plan.gap, 4),
        "gap_of_avoidable": round(plan.gap_of_avoidable, 4),
        "visits": len(plan.visits),
        "overdue_spells": len(plan.unmet),
        "visits_kept": plan.kept,
        "visits_changed": len(plan.changes),
        "not_met": unmet_summary(plan.unmet),
        "trips": months,
        "notes": list(plan.problem.notes),
        "caution": CAUTION,
    }


def cost_record(cost: Cost) -> dict[str, Any]:
    """A cost in hours."""
    return {
        "total_team_hours": round(cost.total_min / 60, 1),
        "overdue_team_hours": round(cost.overdue_min / 60, 1),
        "overdue_days": cost.overdue_days,
        "travel_hours": round(cost.travel_min / 60, 1),
        "work_hours": round(cost.work_min / 60, 1),
        "trips": cost.trips,
        "load": [round(share, 3) for share in cost.load],
    }


def plan_lines(plan: Plan) -> list[str]:
    """The plan in sentences, for the screen and the workbook."""
    cost, greedy, problem = plan.cost, plan.greedy, plan.problem
    load = workload(problem)
    teams = ", ".join(
        f"{t['team']} {100 * share:.0f} %"
        for t, share in zip(problem.teams, cost.load, strict=True)
    )
    lines = [
        f"{len(plan.visits)} visits on {cost.trips} trips from {day_text(problem.start)} to "
        f"{day_text(problem.end - 1)}, {cost.travel_min / 60:.0f} h of travel, "
        f"{cost.work_min / 60:.0f} h at the crags.",
        "To keep the interval of every sector in the plan takes "
        f"{load['visits_per_year']:.0f} visits a year and "
        f"{load['crag_hours_per_year']:.0f} h at the crags; the teams have "
        f"{load['team_hours_per_year']:.0f} h a year, travel included. Where time is short these "
        f"give way first: {', '.join(load['dropped_first'])}.",
        f"Free time used: {teams}.",
        f"Made by: {plan.how}, in {plan.seconds:.0f} s. Gap to the bound: {100 * plan.gap:.1f} % "
        f"of the cost, {100 * plan.gap_of_avoidable:.1f} % of what a plan can change"
        + (" (proven: no better plan in the model)." if plan.proven else "."),
        "Against the greedy plan of the same run: travel "
        f"{_ratio(cost.travel_min, greedy.travel_min)}, overdue risk "
        f"{_ratio(cost.overdue_min, greedy.overdue_min)}, of it the avoidable part "
        f"{_ratio(cost.overdue_min - plan.forced_min, greedy.overdue_min - plan.forced_min)}.",
    ]
    if len(plan.changes):
        counts = plan.changes["change"].value_counts()
        said = ", ".join(f"{n} {word}" for word, n in counts.items())
        lines.append(f"Changes to the last plan: {said}; {plan.kept} visits stay as they were.")
    elif plan.kept:
        lines.append(f"No change to the last plan: {plan.kept} visits stay as they were.")
    if len(plan.unmet):
        lines.append(
            f"{len(plan.unmet)} times a sector is overdue within the plan ({cost.overdue_days} "
            "days together). By rule, and what would mend it:"
        )
        for part in unmet_summary(plan.unmet, most=5):
            lines.append(
                f"  {part['rule']}: {some(part['sectors'])} ({part['days_overdue']} days). "
                f"{part['fix']}."
            )
    else:
        lines.append("Every due date is met.")
    return lines


def _ratio(ours: float, theirs: float) -> str:
    return f"{100 * ours / theirs:.0f} %" if theirs else "none in either"


def read_plan(path: Path) -> pd.DataFrame:
    """Visits of a plan.csv that was written before.

    Raises
    ------
    RegisterError
        The file is missing, or is not a plan.
    """
    try:
        table = pd.read_csv(path, dtype=str, keep_default_na=False)
    except OSError as error:
        raise RegisterError(f"plan {path}: cannot be read ({error.strerror})") from error
    except (pd.errors.ParserError, pd.errors.EmptyDataError, UnicodeDecodeError) as error:
        raise RegisterError(f"plan {path}: not a CSV table ({error})") from error
    missing = [c for c in VISIT_COLUMNS if c not in table]
    if missing:
        raise RegisterError(
            f"plan {path}: no column {', '.join(missing)}; give the plan.csv that saltreach plan "
            "wrote"
        )
    table = table[list(VISIT_COLUMNS)]
    for name in ("kind", "crag", "sector", "team", "task", "risk_band"):
        # the apostrophe that plan.csv puts before text a spreadsheet would run
        table[name] = table[name].str.replace(r"^'(?=[=+\-@\t\r])", "", regex=True)
    bad = ~(
        table["date"].str.fullmatch(r"[0-9]{4}-[0-9]{2}-[0-9]{2}")
        & table["visit_id"].str.fullmatch(r"[0-9a-f]{16}-[0-9]+")
        & table["revision"].str.fullmatch(r"[0-9]+")
    )
    if bad.any():
        row = int(bad.to_numpy().argmax())
        raise RegisterError(
            f"plan {path}: row {row + 2} has date {table['date'].iloc[row]!r} and visit_id "
            f"{table['visit_id'].iloc[row]!r}; leave these columns as saltreach plan wrote them"
        )
    whole = ["revision", "days_late", "anchors", "stop"]
    table[whole] = table[whole].astype(int)
    return table.reset_index(drop=True)


def still_ahead(last: pd.DataFrame, start: dt.date | str) -> pd.DataFrame:
    """Visits of a last plan from the first day of the new one on."""
    days = last["date"].map(day_number).astype("int64")
    return last[days >= day_number(start)].reset_index(drop=True)
