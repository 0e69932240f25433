"""`surface`: a raster of salt, corrosivity and metal over land, where no register is yet."""

from __future__ import annotations

import json
from enum import StrEnum
from pathlib import Path
from typing import Annotated

import typer

from saltreach.cli.layer_options import (
    CoastFile,
    CoastSd,
    Dem,
    Geology,
    LooserPolicy,
    PolicyFile,
    PricesFile,
    RockColumn,
    RockMapping,
    Scheduler,
    So2,
)
from saltreach.cli.shared import (
    GOOD,
    AsJson,
    BesideOthers,
    LeaveOut,
    OptionsFile,
    PackFolder,
    clear_errors,
    held,
    options_of,
    progress,
)

EXAMPLE = "saltreach surface --bbox -6.1 43.4 -5.6 43.7 --resolution 1000 --out asturias.tif"


class Rounding(StrEnum):
    """Words of `surface_blocks.ROUNDINGS`."""

    FINE = "fine"
    NONE = "none"


Box = Annotated[
    tuple[float, float, float, float],
    typer.Option("--bbox", metavar="W S E N", help="Box, degrees: west south east north."),
]
Target = Annotated[
    Path,
    typer.Option("--out", help="FILE.tif (Cloud-Optimized GeoTIFFs) or FOLDER.zarr."),
]


def surface(
    context: typer.Context,
    bbox: Box,
    out: Target,
    resolution: Annotated[
        float, typer.Option(help="Side of a cell at the middle of the box, m.")
    ] = 100.0,
    rounding: Annotated[
        Rounding,
        typer.Option(help="none: every cell by itself. fine: interpolated where that is enough."),
    ] = Rounding.FINE,
    style: Annotated[bool, typer.Option("--style", help="Also write QGIS styles.")] = False,
    scheduler: Scheduler = None,
    processes: Annotated[
        int | None, typer.Option(min=1, help="Processes on this machine (default: one a core).")
    ] = None,
    options_file: OptionsFile = None,
    coast: CoastFile = None,
    coast_sd: CoastSd = None,
    so2: So2 = None,
    dem: Dem = None,
    pack: PackFolder = None,
    policy: PolicyFile = None,
    allow_looser_policy: LooserPolicy = None,
    geology: Geology = None,
    rock_column: RockColumn = None,
    rock_mapping: RockMapping = None,
    prices: PricesFile = None,
    leave_out_refused: LeaveOut = False,
    beside_other_files: BesideOthers = False,
    as_json: AsJson = False,
) -> None:
    """Salt, corrosivity, resistance class and metal of every cell of a box, as rasters."""
    with clear_errors():
        from saltreach.outputs.surface.write import targets, write_surface

        options = options_of(
            options_file,
            coast_file=coast,
            coast_sd_m=coast_sd,
            so2_ug_m3=so2,
            dem_file=dem,
            pack_folder=pack,
            policy_file=policy,
            allow_looser_policy=allow_looser_policy,
            geology_file=geology,
            rock_column=rock_column,
            rock_mapping_file=rock_mapping,
            prices_file=prices,
            leave_out_refused=leave_out_refused or None,
        )
        names = targets(out, style=style)
        with (
            held(context, out.parent, beside_other_files, only=names) as claim,
            progress() as step,
        ):
            done = write_surface(
                bbox, claim, out.name, resolution_m=resolution, options=options,
                rounding=rounding.value, style=style, scheduler=scheduler, processes=processes,
                on_step=step,
            )  # fmt: skip
    grid = done.grid.record()
    if as_json:
        record = {"files": [str(path) for path in done.paths], "land_cells": done.land}
        typer.echo(json.dumps(record | {"blocks_taken_over": done.resumed, "grid": grid}))
    else:
        top, bottom = grid["cell_at_top_m"], grid["cell_at_bottom_m"]
        typer.echo(
            f"{grid['rows']:,} x {grid['columns']:,} cells, {done.land:,} on land; a cell is "
            f"{top[0]:g} x {top[1]:g} m (wide x high) at the top and {bottom[0]:g} x "
            f"{bottom[1]:g} m at the bottom"
        )
        for path in done.paths:
            typer.echo(str(path))
    raise typer.Exit(GOOD)


def add_to(app: typer.Typer) -> None:
    """Put the command on the program."""
    app.command("surface", epilog=f"Example: {EXAMPLE}")(surface)
