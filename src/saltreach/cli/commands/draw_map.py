"""`map`: the map again, from results."""

from __future__ import annotations

from contextlib import ExitStack
from pathlib import Path
from typing import Annotated, Any

import typer

from saltreach.cli.shared import (
    BesideOthers,
    MapLanguage,
    Tiles,
    Title,
    clear_errors,
    held,
    progress,
    show,
    tell,
)
from saltreach.outputs.map.texts import Language

EXAMPLE = "saltreach map results --out results/map.html"


def draw_map(
    context: typer.Context,
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
    surface: Annotated[
        Path | None,
        typer.Option("--surface", help="A .tif of `saltreach surface` to lay behind the sectors."),
    ] = None,
    beside_other_files: BesideOthers = False,
    open_it: Annotated[bool, typer.Option("--open", help="Open the map when drawn.")] = False,
) -> None:
    """Draw the map again from the results in a folder."""
    with clear_errors():
        from saltreach.assessment.files import read_results
        from saltreach.errors import OutputError
        from saltreach.folders.claim import result_set
        from saltreach.folders.manifest import rests_on
        from saltreach.intake.plan_file import TRIP_COLUMNS, left_out_in, read_plan
        from saltreach.outputs.map.page import write_map
        from saltreach.outputs.pictures.overview import write_overview
        from saltreach.planning.visits import trips_by_month

        target, heading = out or results / "map.html", title or results.name
        if not target.is_dir() and target.suffix.lower() not in (".html", ".htm"):
            raise OutputError(f"{target}: the map is a page; name it .html")
        if not results.is_dir():
            read_results(results)  # refuses it
        names: dict[Path, list[str]] = {}
        for one in (target, picture):
            if one is not None:
                names.setdefault(one.parent, []).append(one.name)
        with progress() as step, ExitStack() as stack:
            folders = {
                place: stack.enter_context(held(context, place, beside_other_files, only=own))
                for place, own in names.items()
            }
            step("results")
            result = read_results(results)
            made_from = {"command": "saltreach map", "assessment": result.provenance["time"]}
            visits = None if plan is None else read_plan(plan, TRIP_COLUMNS)
            if plan is not None:
                other = rests_on(plan, "plan")
                if other is not None and other != result.provenance["time"]:
                    tell(
                        f"note: {plan} rests on the assessment of {other}, and these results are "
                        f"of {result.provenance['time']}: plan again"
                    )
            step("map")
            behind = None
            if surface is not None:
                from saltreach.assessment.surface_picture import coverage_note, surface_picture

                behind = surface_picture(surface)
                if said := coverage_note(behind, result.flat.anchors):
                    tell(f"note: surface {surface}: {said}")
            how: dict[str, Any] = {
                "tiles": tiles,
                "language": language,
                "trips": None if visits is None else trips_by_month(visits),
                "left_out": "" if plan is None else left_out_in(plan),
                "surface": behind,
            }
            with result_set(folders[target.parent], f"map {target.name}", **made_from) as work:
                write_map(result, work / target.name, title=heading, **how)
            if picture is not None:
                step("picture")
                own = f"picture {picture.name}"
                with result_set(folders[picture.parent], own, **made_from) as work:
                    write_overview(result, work / picture.name, title=heading)
        typer.echo(target)
        if picture is not None:
            typer.echo(picture)
        if open_it:
            show(target)


def add_to(app: typer.Typer) -> None:
    """Put the command on the program."""
    app.command("map", epilog=f"Example: {EXAMPLE}")(draw_map)
