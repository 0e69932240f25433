"""`plan`: who inspects what when."""

from __future__ import annotations

import json
from dataclasses import replace
from datetime import datetime
from pathlib import Path
from typing import Annotated, Any

import typer

from saltreach.cli.shared import (
    GOOD,
    ROWS_REFUSED,
    AsJson,
    Results,
    clear_errors,
    looser,
    progress,
    results_of,
)

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
Seconds = Annotated[float, typer.Option("--seconds", help="Time of the solver.")]
Solver = Annotated[str, typer.Option("--solver", help="highs, cp-sat or greedy.")]
Out = Annotated[Path, typer.Option("--out", help="Folder for the files.")]


def plan(
    results: Results,
    teams: Teams,
    out: Out,
    windows: Windows = None,
    tides: Tides = None,
    needs: Needs = None,
    travel: Travel = None,
    rebolt: Rebolt = None,
    first: First = None,
    years: Years = 2.0,
    hours_per_anchor: Annotated[float, typer.Option(help="Inspection of one anchor, h.")] = 0.15,
    hours_per_sector: Annotated[float, typer.Option(help="Setting up at a sector, h.")] = 0.5,
    hours_per_trip: Annotated[float, typer.Option(help="Packing, once a team-day, h.")] = 0.5,
    rebolt_hours: Annotated[float, typer.Option(help="Replacing one anchor, h.")] = 1.0,
    road_factor: Annotated[float, typer.Option(help="Road over great-circle length.")] = 1.4,
    speed: Annotated[float, typer.Option(help="Mean speed on the road, km/h.")] = 60.0,
    overdue_hours: Annotated[
        float, typer.Option(help="Team hours worth one overdue day of a low-risk sector.")
    ] = 0.25,
    change_hours: Annotated[
        float, typer.Option(help="Team hours worth keeping one visit of the last plan.")
    ] = 2.0,
    last_plan: LastPlan = None,
    done: Done = None,
    seconds: Seconds = 20.0,
    solver: Solver = "highs",
    as_json: AsJson = False,
) -> None:
    """Who inspects what when: a calendar for the teams, and what it cannot meet."""
    with clear_errors():
        import pandas as pd

        from saltreach.intake import teams as sheets
        from saltreach.intake.sheets import NOTHING, refuse_unknown
        from saltreach.outputs.tables.plan import (
            plan_lines,
            plan_record,
            read_plan,
            still_ahead,
            write_plan,
        )
        from saltreach.planning.options import PlanOptions
        from saltreach.planning.plan import make_plan
        from saltreach.planning.problem import Tables, make_problem

        options = PlanOptions(
            years=years, hours_per_anchor=hours_per_anchor, hours_per_sector=hours_per_sector,
            hours_per_trip=hours_per_trip, rebolt_hours_per_anchor=rebolt_hours,
            road_factor=road_factor, speed_km_h=speed, overdue_hours=overdue_hours,
            change_hours=change_hours,
        )  # fmt: skip
        with progress() as step:
            step("results")
            found = results_of(results)
            known = {str(c): set(g) for c, g in found.flat.sectors.groupby("crag")["sector"]}
            given: dict[str, Any] = {"teams": sheets.read_teams(teams)}
            for name, file, read in (
                ("windows", windows, sheets.read_windows),
                ("tides", tides, sheets.read_tides),
                ("needs", needs, sheets.read_needs),
                ("done", done, sheets.read_done),
            ):
                given[name] = refuse_unknown(read(file), known) if file else NOTHING
            given["travel"] = sheets.read_travel(travel) if travel else NOTHING
            start = first.date() if first else found.provenance["assessed_for"]
            last = still_ahead(read_plan(last_plan), start) if last_plan else None
            step("who can go where")
            problem = make_problem(
                pd.DataFrame(found.flat.sectors), pd.DataFrame(found.flat.anchors),
                Tables(**{n: s for n, s in given.items() if n != "done"}), start, options,
                rebolt=_rebolting(rebolt) if rebolt else None, done=given["done"].rows,
            )  # fmt: skip
            problem = replace(problem, notes=(*problem.notes, *looser(found.provenance)))
            made = make_plan(problem, seconds=seconds, solver=solver, last=last, on_step=step)
            step("files")
            rejected = pd.concat([s.rejected for s in given.values()], ignore_index=True)
            records = {n: s.record() for n, s in given.items() if s.file}
            write_plan(
                made, out, provenance=found.provenance, tables=records, rejected=rejected,
                last=last,
            )  # fmt: skip
        _print(made, out, rejected, as_json, plan_record, plan_lines)
    raise typer.Exit(ROWS_REFUSED if len(rejected) else GOOD)


def add_to(app: typer.Typer) -> None:
    """Put the command on the program."""
    app.command(
        "plan",
        epilog="Example: saltreach plan results --teams teams.csv --windows windows.csv "
        "--out results",
    )(plan)


def _print(
    made: Any, out: Path, rejected: Any, as_json: bool, plan_record: Any, plan_lines: Any
) -> None:
    from saltreach.vocabulary.words import CAUTION

    if as_json:
        record = plan_record(made) | {
            "rows_refused": len(rejected), "files": str(out), "seconds": round(made.seconds, 1),
        }  # fmt: skip
        typer.echo(json.dumps(record, indent=2, ensure_ascii=False))
        return
    for line in (*plan_lines(made), *(f"note: {n}" for n in made.problem.notes)):
        typer.echo(line)
    if len(rejected):
        typer.echo(f"{len(rejected)} rows of the tables refused: {out / 'plan_rejected.csv'}")
    typer.echo(CAUTION)
    typer.echo(f"Files: {out / 'plan.xlsx'}, inspections.ics, plan.csv, unmet.csv, plan.json")


def _rebolting(path: Path) -> Any:
    """Chosen rows of a priorities.csv."""
    import pandas as pd

    from saltreach.errors import RegisterError

    try:
        table = pd.read_csv(path, keep_default_na=False)
    except OSError as error:
        raise RegisterError(f"rebolting {path}: cannot be read ({error.strerror})") from error
    except (pd.errors.ParserError, pd.errors.EmptyDataError, UnicodeDecodeError) as error:
        raise RegisterError(f"rebolting {path}: not a CSV table ({error})") from error
    missing = [c for c in ("crag", "sector", "chosen", "anchors_to_replace") if c not in table]
    if missing:
        raise RegisterError(
            f"rebolting {path}: no column {', '.join(missing)}; give the priorities.csv that "
            "saltreach priorities wrote"
        )
    chosen = table[table["chosen"] == "yes"].rename(columns={"anchors_to_replace": "anchors"})
    for name in ("crag", "sector"):
        chosen[name] = chosen[name].astype("str").str.replace(r"^'(?=[=+\-@])", "", regex=True)
    return chosen[["crag", "sector", "anchors"]]
