"""The commands `plan` and `priorities`: who goes where when, and what the money rebolts."""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import replace
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

if TYPE_CHECKING:
    from saltreach.assessment.assess import Assessment

Results = Annotated[
    Path, typer.Argument(help="Folder that `saltreach assess` wrote, or a register.")
]
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
AsJson = Annotated[bool, typer.Option("--json", help="Print the summary as JSON.")]


def add_commands(app: typer.Typer) -> None:
    """Put the commands of this module on the program."""
    app.command(
        "plan",
        epilog="Example: saltreach plan results --teams teams.csv --windows windows.csv "
        "--out results",
    )(plan)
    app.command(
        "priorities",
        epilog="Example: saltreach priorities results --budget 3000 --prices prices.toml "
        "--out results",
    )(priorities)


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
    from saltreach.cli import GOOD, ROWS_REFUSED, _clear_errors, _progress

    with _clear_errors():
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
        with _progress() as step:
            step("results")
            found = _results(results)
            known = {str(c): set(g) for c, g in found.sectors.groupby("crag")["sector"]}
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
                pd.DataFrame(found.sectors), pd.DataFrame(found.anchors),
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


def _print(
    made: Any, out: Path, rejected: Any, as_json: bool, plan_record: Any, plan_lines: Any
) -> None:
    from saltreach.assessment.assess import CAUTION

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


def _results(path: Path) -> Assessment:
    """The results in a folder, or those of a register assessed on the spot."""
    if path.is_dir():
        from saltreach.outputs.tables.results import read_results

        return read_results(path)
    from saltreach.assessment.assess import assess
    from saltreach.intake import read_register

    return assess(read_register(path))


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


def looser(provenance: Mapping[str, Any]) -> list[str]:
    """What the policy of an assessment loosens, to be said with all that rests on it."""
    return [f"looser policy: {text}" for text in provenance["policy"]["loosened"]]


def priorities(
    results: Results,
    budget: Annotated[float, typer.Option("--budget", help="Money, in the prices' currency.")],
    prices: Annotated[
        Path, typer.Option("--prices", help="Your prices, .toml or .csv; saltreach has none.")
    ],
    out: Out,
    team_days: Annotated[
        float | None, typer.Option("--team-days", help="Days of one team for rebolting.")
    ] = None,
    order: Annotated[
        str, typer.Option("--order", help="sea-cliffs-first or pure-risk.")
    ] = "sea-cliffs-first",
    hours_per_day: Annotated[float, typer.Option(help="Hours at the rock in a day.")] = 7.0,
    rebolt_hours: Annotated[float, typer.Option(help="Replacing one anchor, h.")] = 1.0,
    hours_per_sector: Annotated[float, typer.Option(help="Setting up at a sector, h.")] = 0.5,
    waste: Annotated[float, typer.Option(help="Adhesive bought over adhesive needed.")] = 1.25,
    as_json: AsJson = False,
) -> None:
    """What the money rebolts: sectors, metals, a shopping list, and what more money would do."""
    from saltreach.cli import GOOD, _clear_errors, _progress

    with _clear_errors():
        import pandas as pd

        from saltreach.assessment.assess import CAUTION
        from saltreach.intake.prices import read_prices
        from saltreach.outputs.tables.priorities import EXAMPLE, lines, write_priorities
        from saltreach.planning import budget as deciding

        money = deciding.Money(
            budget=budget, team_days=team_days, hours_per_day=hours_per_day,
            hours_per_anchor=rebolt_hours, hours_per_sector=hours_per_sector, order=order,
            waste_factor=waste,
        )  # fmt: skip
        cost = read_prices(prices)
        with _progress() as step:
            step("results")
            found = _results(results)
            sectors = pd.DataFrame(found.sectors)
            step("choices")
            table, notes = deciding.choices(pd.DataFrame(found.anchors), sectors, cost, money)
            step(f"best of {len(table)} choices, and the budget curve")
            line, taken = deciding.curve(table, money, prices=cost)
            short = deciding.used_up(table, taken, cost)
            if short:
                notes.append("too few left of the stock list for more: " + ", ".join(short))
            notes += looser(found.provenance)
            at = line[line["budget"] == float(money.budget)].iloc[0].to_dict()
            record = {
                **at, "sectors": int(at["sectors"]), "anchors": int(at["anchors"]),
                "order": money.order, "team_days_limit": team_days, "currency": cost.currency,
                "prices": cost.source, "example_prices": cost.example, "notes": notes,
                "solved_to_the_optimum": True, "assessment": found.provenance["time"],
                "caution": CAUTION,
            }  # fmt: skip
            step("files")
            write_priorities(
                out, ranked=deciding.ranked(table, taken, sectors), curve=line,
                shopping=deciding.shopping(table.iloc[taken]), record=record, prices=cost,
                money=money,
            )  # fmt: skip
        if as_json:
            typer.echo(json.dumps(record | {"files": str(out)}, indent=2, ensure_ascii=False))
        else:
            for text in (
                *([EXAMPLE] if cost.example else []), *lines(record, cost),
                *(f"note: {n}" for n in notes), CAUTION,
                f"Files: {out / 'priorities.xlsx'}, priorities.csv, shopping.csv, "
                "budget_curve.csv, budget_curve.png",
            ):  # fmt: skip
                typer.echo(text)
    raise typer.Exit(GOOD)
