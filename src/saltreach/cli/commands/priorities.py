"""`priorities`: what the money rebolts."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Annotated

import typer

from saltreach.cli.shared import (
    GOOD,
    ROWS_REFUSED,
    AsJson,
    BesideOthers,
    Columns,
    Crs,
    DateOrder,
    LayerName,
    LeaveOut,
    PlanFolder,
    Results,
    SameCrag,
    Sheet,
    Strict,
    Words,
    clear_errors,
    held,
    progress,
    reading_of,
    results_of,
    words_of,
)
from saltreach.planning.options import BudgetLimits


def priorities(
    context: typer.Context,
    results: Results,
    budget: Annotated[float, typer.Option("--budget", help="Money, in the prices' currency.")],
    prices: Annotated[
        Path, typer.Option("--prices", help="Your prices, .toml or .csv; saltreach has none.")
    ],
    out: PlanFolder,
    team_days: Annotated[
        float | None, typer.Option("--team-days", help="Days of one team for rebolting.")
    ] = BudgetLimits.team_days,
    order: Annotated[
        str, typer.Option("--order", help="sea-cliffs-first or pure-risk.")
    ] = BudgetLimits.order,
    hours_per_day: Annotated[
        float, typer.Option(help="Hours at the rock in a day.")
    ] = BudgetLimits.hours_per_day,
    rebolt_hours: Annotated[
        float, typer.Option(help="Replacing one anchor, h.")
    ] = BudgetLimits.hours_per_anchor,
    hours_per_sector: Annotated[
        float, typer.Option(help="Setting up at a sector, h.")
    ] = BudgetLimits.hours_per_sector,
    waste: Annotated[
        float,
        typer.Option(
            help="Adhesive bought over adhesive needed, a factor from 1 up; the one of "
            "`saltreach sheets` is a share."
        ),
    ] = BudgetLimits.waste_factor,
    column: Columns = None,
    crs: Crs = None,
    sheet: Sheet = None,
    layer: LayerName = None,
    date_order: DateOrder = None,
    strict: Strict = False,
    same_crag: SameCrag = None,
    words: Words = None,
    beside_other_files: BesideOthers = False,
    leave_out_refused: LeaveOut = False,
    as_json: AsJson = False,
) -> None:
    """What the money rebolts: sectors, metals, a shopping list, and what more money would do."""
    with clear_errors(), words_of(words):
        from saltreach.assessment.reasons import short
        from saltreach.outputs.tables.priorities import priorities_lines, write_priorities
        from saltreach.planning.priorities import priorities as choose
        from saltreach.vocabulary.words import CAUTION

        with progress() as step, held(context, out, beside_other_files) as folder:
            step("results")
            reading = reading_of(column, crs, sheet, layer, date_order, strict, same_crag)
            made = choose(
                results_of(results, leave_out_refused=leave_out_refused, **reading), budget, prices,
                leave_out_refused=leave_out_refused, on_step=step, team_days=team_days,
                order=order, hours_per_day=hours_per_day, hours_per_anchor=rebolt_hours,
                hours_per_sector=hours_per_sector, waste_factor=waste,
            )  # fmt: skip
            step("files")
            missing = write_priorities(made, folder)
        lines = [
            *priorities_lines(made),
            *(
                f"note: {short(n, out / 'priorities.json')}"
                for n in (*made.notes[len(made.left_out) :], *missing)
            ),
            CAUTION,
            f"Files: {out / 'priorities.xlsx'}, priorities.csv, shopping.csv, "
            "budget_curve.csv, budget_curve.png",
        ]  # fmt: skip
        record = json.dumps(made.figures | {"files": str(out)}, indent=2, ensure_ascii=False)
        typer.echo(record if as_json else "\n".join(lines))
    raise typer.Exit(ROWS_REFUSED if made.prices.left_out else GOOD)


def add_to(app: typer.Typer) -> None:
    """Put the command on the program."""
    app.command(
        "priorities",
        epilog="Example: saltreach priorities results --budget 3000 --prices prices.toml "
        "--out results",
    )(priorities)
