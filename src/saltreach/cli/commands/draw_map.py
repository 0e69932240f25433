"""`map`: the map again, from results."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from saltreach.cli.shared import MapLanguage, Tiles, Title, clear_errors, progress, show
from saltreach.outputs.map.texts import Language

EXAMPLE = "saltreach map results --out results/map.html"


def draw_map(
    results: Annotated[Path, typer.Argument(help="Folder that `saltreach assess` wrote.")],
    out: Annotated[
        Path | None, typer.Option("--out", help="File to write; default map.html in that folder.")
    ] = None,
    title: Title = None,
    tiles: Tiles = None,
    language: MapLanguage = Language.EN,
    picture: Annotated[
        Path | None,
        typer.Option("--picture", help="Also draw an overview picture, .png or .svg."),
    ] = None,
    plan: Annotated[
        Path | None, typer.Option("--plan", help="plan.csv of `saltreach plan`: trips by month.")
    ] = None,
    open_it: Annotated[bool, typer.Option("--open", help="Open the map when drawn.")] = False,
) -> None:
    """Draw the map again from the results in a folder."""
    with clear_errors():
        from saltreach.assessment.files import read_results
        from saltreach.intake.plan_file import TRIP_COLUMNS, left_out_in, read_plan
        from saltreach.outputs.map.page import write_map
        from saltreach.planning.visits import trips_by_month

        target = out or results / "map.html"
        with progress() as step:
            step("results")
            result = read_results(results)
            visits = None if plan is None else read_plan(plan, TRIP_COLUMNS)
            step("map")
            write_map(
                result,
                target,
                title=title or results.name,
                tiles=tiles,
                language=language,
                trips=None if visits is None else trips_by_month(visits),
                left_out="" if plan is None else left_out_in(plan),
            )
            if picture is not None:
                from saltreach.outputs.pictures.overview import write_overview

                step("picture")
                write_overview(result, picture, title=title or results.name)
        typer.echo(target)
        if picture is not None:
            typer.echo(picture)
        if open_it:
            show(target)


def add_to(app: typer.Typer) -> None:
    """Put the command on the program."""
    app.command("map", epilog=f"Example: {EXAMPLE}")(draw_map)
