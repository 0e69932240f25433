"""`plan`: who inspects what when."""

from __future__ import annotations

import json
from datetime import datetime
from pathlib import Path
from typing import Annotated

import typer

from saltreach.cli.shared import (
    GOOD,
    ROWS_REFUSED,
    AsJson,
    BesideOthers,
    LeaveOut,
    PlanFolder,
    Results,
    Words,
    clear_errors,
    held,
    progress,
    results_of,
    words_of,
)
from saltreach.planning.options import PlanOptions

Teams = Annotated[Path, typer.Option("--teams", help="Teams: home, people, skills, days free.")]
Windows = Annotated[
    Path | None, typer.Option("--windows", help="Closures and seasons per crag or sector.")
]
Tides = Annotated[
    Path | None, typer.Option("--tides", help="Dry windows of tide-dependent sectors.")
]
Needs = Annotated[
    Path | None, typer.Option("--needs", help="Skills, people and time that sectors need.")
]
Travel = Annotated[Path | None, typer.Option("--travel", help="Travel times: from, to, hours.")]
Rebolt = Annotated[
    Path | None,
    typer.Option("--rebolt", help="priorities.csv of `saltreach priorities`: rebolting as well."),
]
First = Annotated[
    datetime | None,
    typer.Option("--from", formats=["%Y-%m-%d"], help="First day; default the assessment's."),
]
Years = Annotated[float, typer.Option("--years", help="Length of the plan, up to 5.")]
LastPlan = Annotated[
    Path | None, typer.Option("--last-plan", help="plan.csv to change as little as possible.")
]
Done = Annotated[
    Path | None, typer.Option("--done", help="What was done: crag, sector, done_on, kind.")
]
Seconds = Annotated[
    float, typer.Option("--seconds", help="Time of the solver; 0: the plan a person would make.")
]

Nodes = Annotated[
    int | None,
    typer.Option("--nodes", help="Nodes of the search, not its time: the same on any machine."),
]


def plan(
    context: typer.Context,
    results: Results,
    teams: Teams,
    out: PlanFolder,
    windows: Windows = None,
    tides: Tides = None,
    needs: Needs = None,
    travel: Travel = None,
    rebolt: Rebolt = None,
    first: First = None,
    years: Years = PlanOptions.years,
    hours_per_anchor: Annotated[
        float, typer.Option(help="Inspection of one anchor, h.")
    ] = PlanOptions.hours_per_anchor,
    hours_per_sector: Annotated[
        float, typer.Option(help="Setting up at a sector, h.")
    ] = PlanOptions.hours_per_sector,
    hours_per_trip: Annotated[
        float, typer.Option(help="Packing, once a team-day, h.")
    ] = PlanOptions.hours_per_trip,
    rebolt_hours: Annotated[
        float, typer.Option(help="Replacing one anchor, h.")
    ] = PlanOptions.rebolt_hours_per_anchor,
    road_factor: Annotated[
        float, typer.Option(help="Road over great-circle length.")
    ] = PlanOptions.road_factor,
    speed: Annotated[
        float, typer.Option(help="Mean speed on the road, km/h.")
    ] = PlanOptions.speed_km_h,
    overdue_hours: Annotated[
        float, typer.Option(help="Team hours worth one overdue day of a low-risk sector.")
    ] = PlanOptions.overdue_hours,
    change_hours: Annotated[
        float, typer.Option(help="Team hours worth keeping one visit of the last plan.")
    ] = PlanOptions.change_hours,
    last_plan: LastPlan = None,
    done: Done = None,
    seconds: Seconds = 20.0,
    nodes: Nodes = None,
    words: Words = None,
    beside_other_files: BesideOthers = False,
    leave_out_refused: LeaveOut = False,
    as_json: AsJson = False,
) -> None:
    """Who inspects what when: a calendar for the teams, and what it cannot meet."""
    with clear_errors(), words_of(words):
        from saltreach.assessment.reasons import short
        from saltreach.outputs.tables.plan import plan_lines, write_plan
        from saltreach.planning.plan import plan as make
        from saltreach.vocabulary.words import CAUTION

        options = PlanOptions(
            years=years, hours_per_anchor=hours_per_anchor, hours_per_sector=hours_per_sector,
            hours_per_trip=hours_per_trip, rebolt_hours_per_anchor=rebolt_hours,
            road_factor=road_factor, speed_km_h=speed, overdue_hours=overdue_hours,
            change_hours=change_hours,
        )  # fmt: skip
        with progress() as step, held(context, out, beside_other_files) as folder:
            step("results")
            result = results_of(results, leave_out_refused=leave_out_refused)
            made = make(
                result, teams, windows=windows, tides=tides, needs=needs,
                travel=travel, rebolt=rebolt, done=done, last_plan=last_plan, start=first,
                options=options, seconds=seconds, nodes=nodes, on_step=step,
                leave_out_refused=leave_out_refused,
            )  # fmt: skip
            step("files")
            write_plan(made, folder)
    refused = len(made.rejected.drop_duplicates(["file", "row"]))
    lines = [
        *plan_lines(made), *(f"note: {short(n, out / 'plan.json')}" for n in made.problem.notes),
        *([f"{refused} rows of the tables refused: {out / 'plan_rejected.csv'}"] * bool(refused)),
        CAUTION, f"Files: {out / 'plan.xlsx'}, inspections.ics, plan.csv, unmet.csv, plan.json",
    ]  # fmt: skip
    run = {"rows_refused": refused, "files": str(out), "seconds": round(made.seconds, 1)}
    record = json.dumps(made.figures | run, indent=2, ensure_ascii=False)
    typer.echo(record if as_json else "\n".join(lines))
    raise typer.Exit(ROWS_REFUSED if refused or made.left_out else GOOD)


def add_to(app: typer.Typer) -> None:
    """Put the command on the program."""
    app.command(
        "plan",
        epilog="Example: saltreach plan results --teams teams.csv --windows windows.csv "
        "--out results",
    )(plan)
