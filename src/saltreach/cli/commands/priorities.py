"""`priorities`: what the money rebolts."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Annotated

import typer

from saltreach.cli.shared import GOOD, AsJson, Results, clear_errors, looser, progress, results_of

Out = Annotated[Path, typer.Option("--out", help="Folder for the files.")]


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
    with clear_errors():
        import pandas as pd

        from saltreach.intake.prices import read_prices
        from saltreach.outputs.tables.priorities import EXAMPLE, lines, write_priorities
        from saltreach.planning import budget as deciding
        from saltreach.vocabulary.words import CAUTION

        money = deciding.Money(
            budget=budget, team_days=team_days, hours_per_day=hours_per_day,
            hours_per_anchor=rebolt_hours, hours_per_sector=hours_per_sector, order=order,
            waste_factor=waste,
        )  # fmt: skip
        cost = read_prices(prices)
        with progress() as step:
            step("results")
            found = results_of(results)
            sectors = pd.DataFrame(found.flat.sectors)
            step("choices")
            table, notes = deciding.choices(pd.DataFrame(found.flat.anchors), sectors, cost, money)
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


def add_to(app: typer.Typer) -> None:
    """Put the command on the program."""
    app.command(
        "priorities",
        epilog="Example: saltreach priorities results --budget 3000 --prices prices.toml "
        "--out results",
    )(priorities)
