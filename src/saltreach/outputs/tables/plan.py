"""The files of a plan: plan.csv, plan.xlsx, inspections.ics, unmet.csv, changes.csv, plan.json."""

from __future__ import annotations

import datetime as dt
import json
from itertools import chain
from pathlib import Path

from saltreach.assessment.reasons import Listing, short, some
from saltreach.folders.claim import Claim, result_set
from saltreach.outputs.tables.calendar import write_calendar
from saltreach.outputs.tables.results import spreadsheet_safe
from saltreach.outputs.tables.sheets_xlsx import write_workbook
from saltreach.planning.plan import Plan
from saltreach.planning.unmet import unmet_summary
from saltreach.vocabulary.words import CAUTION

SHEET_GROUPS = (
    ("date", "team", "stop"),
    ("begins", "ends"),
    ("kind", "crag", "sector", "part"),
    ("anchors", "risk_band", "due_on", "days_late"),
    ("trip_leaves", "trip_back"),
)
"""Columns of the printed plan, who and when first; the last two are left for the team's pen."""


def write_plan(plan: Plan, out: Path | str | Claim, *, beside_other_files: bool = False) -> None:
    """Write every file of a plan into a folder, all or none.

    Parameters
    ----------
    plan : Plan
        From `saltreach.plan`.
    out : path
        Folder; made if absent.
    beside_other_files : bool
        As for `write_results`.
    """
    flat, rests_on = plan.flat, plan.sources["assessment"]
    gone = flat.changes.loc[flat.changes["change"] == "dropped", "visit_id"]
    dropped = None if flat.last is None else flat.last[flat.last["visit_id"].isin(gone)]
    said = " ".join([*plan.left_out, CAUTION])
    tables = {"plan": flat.visits, "unmet": flat.unmet}
    sheets = {
        "Plan": flat.visits[list(chain(*SHEET_GROUPS))].assign(done_on="", remarks=""),
        "Months": flat.months.reset_index(),
        "Not met": flat.unmet,
    }
    if flat.last is not None:
        tables["changes"] = sheets["Changes"] = flat.changes
    with result_set(
        out, "plan", assessment=rests_on, beside_other_files=beside_other_files
    ) as work:
        for name, table in tables.items():
            safe = spreadsheet_safe(table).assign(caution=said)
            safe.to_csv(work / f"{name}.csv", index=False)
        if len(plan.rejected):
            spreadsheet_safe(plan.rejected).to_csv(work / "plan_rejected.csv", index=False)
        stamp = dt.datetime.fromisoformat(rests_on)
        write_calendar(
            flat.visits, work / "inspections.ics", stamp=stamp, dropped=dropped,
            left_out=plan.left_out,
        )  # fmt: skip
        about = [*plan_lines(plan), *(short(note, "plan.json") for note in plan.problem.notes)]
        write_workbook(work / "plan.xlsx", sheets, about, title="Inspection plan (advice)")
        text = json.dumps(plan.figures | plan.sources, indent=2, ensure_ascii=False)
        (work / "plan.json").write_text(text + "\n", encoding="utf-8")


def plan_lines(plan: Plan) -> list[str]:
    """The plan in sentences, for the screen and the workbook."""
    cost, greedy, figures = plan.cost, plan.greedy, plan.figures
    load, changes = figures["workload"], plan.flat.changes
    used = [
        f"{t['team']} {100 * share:.0f} %"
        for t, share in zip(plan.problem.teams, cost.load, strict=True)
    ]
    lines = [
        *plan.left_out,
        f"{len(plan.flat.visits)} visits on {cost.trips} trips from {figures['from']} to "
        f"{figures['until']}, {cost.travel_min / 60:.0f} h of travel, "
        f"{cost.work_min / 60:.0f} h at the crags.",
        "To keep the interval of every sector in the plan takes "
        f"{load['visits_per_year']:.0f} visits a year and "
        f"{load['crag_hours_per_year']:.0f} h at the crags; the teams have "
        f"{load['team_hours_per_year']:.0f} h a year, travel included. Where time is short these "
        f"give way first: {', '.join(load['dropped_first'])}.",
        f"{Listing('Free time used', used).short('plan.json')}.",
        f"Made by: {plan.how}, in {plan.seconds:.0f} s. {_gap(plan)}",
        "Against the greedy plan of the same run: travel "
        f"{_ratio(cost.travel_min, greedy.travel_min)}, overdue risk "
        f"{_ratio(cost.overdue_min, greedy.overdue_min)}, of it the avoidable part "
        f"{_ratio(cost.overdue_min - plan.forced_min, greedy.overdue_min - plan.forced_min)}.",
    ]
    if len(changes):
        counts = changes["change"].value_counts()
        said = ", ".join(f"{n} {word}" for word, n in counts.items())
        lines.append(f"Changes to the last plan: {said}; {plan.kept} visits stay as they were.")
    elif plan.kept:
        lines.append(f"No change to the last plan: {plan.kept} visits stay as they were.")
    if not len(plan.flat.unmet):
        return [*lines, "Every due date is met."]
    lines.append(
        f"{len(plan.flat.unmet)} times a sector is overdue within the plan ({cost.overdue_days} "
        "days together). By rule, and what would mend it:"
    )
    lines += [
        f"  {part['rule']}: {some(part['sectors'])} ({part['days_overdue']} days). {part['fix']}."
        for part in unmet_summary(plan.flat.unmet, most=5)
    ]
    return lines


def _gap(plan: Plan) -> str:
    if plan.gap is None or plan.gap_of_avoidable is None:
        return "How far it is from the best plan is not known."
    proven = " (proven: no better plan in the model)" if plan.proven else ""
    return (
        f"Gap to the bound: {100 * plan.gap:.1f} % of the cost, "
        f"{100 * plan.gap_of_avoidable:.1f} % of what a plan can change{proven}."
    )


def _ratio(ours: float, theirs: float) -> str:
    return f"{100 * ours / theirs:.0f} %" if theirs else "none in either"
