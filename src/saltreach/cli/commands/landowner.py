"""`landowner`: the landowner's map and statement."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from saltreach.assessment.landowner import COARSENESS_M
from saltreach.cli.shared import BesideOthers, clear_errors, held, progress, show, tell


def landowner(
    context: typer.Context,
    results: Annotated[Path, typer.Argument(help="Folder that `saltreach assess` wrote.")],
    holding: Annotated[
        Path,
        typer.Option(
            "--holding",
            help="The land: polygons (.geojson, .gpkg), or TOML that names the land or the crags.",
        ),
    ],
    out: Annotated[Path, typer.Option("--out", help="Folder for the two files.")],
    contact: Annotated[
        Path | None,
        typer.Option("--contact", help="TOML that says who to call, what is planned and when."),
    ] = None,
    coarseness_m: Annotated[
        float, typer.Option("--coarseness-m", help="Side of the grid that hides positions, m.")
    ] = COARSENESS_M,
    beside_other_files: BesideOthers = False,
    open_it: Annotated[bool, typer.Option("--open", help="Open the map when written.")] = False,
) -> None:
    """Map and one-page statement for a landowner, in plain words and without any position.

    Anchors whose grid cell touches the land are counted as on it. The files hold no anchor, no
    route and no note: give them away, keep the results folder.
    """
    with clear_errors():
        from saltreach.assessment.files import read_results
        from saltreach.intake.holding import read_holding
        from saltreach.outputs.landowner.page import landowner as for_landowner

        with progress() as step, held(context, out, beside_other_files) as folder:
            step("holding")
            land = read_holding(holding, contact)
            step("results")
            result = read_results(results)
            step("landowner's map and statement")
            made = for_landowner(result, land, folder, coarseness_m=coarseness_m)
        page, statement = made.files
        for note in (*result.provenance.get("left_out", ()), *made.notes):
            tell(f"note: {note}")
        typer.echo(page)
        typer.echo(statement)
        if open_it:
            show(page)


def add_to(app: typer.Typer) -> None:
    """Put the command on the program."""
    app.command(
        "landowner",
        epilog="Example: saltreach landowner results --holding land.geojson --contact us.toml "
        "--out for-the-owner",
    )(landowner)
