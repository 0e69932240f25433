"""Options of the commands that work places out: layers, rules, prices, and who works."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

CoastFile = Annotated[
    Path | None,
    typer.Option("--coast", help="Shoreline (lines) or land (polygons) to use instead."),
]
CoastSd = Annotated[
    float | None, typer.Option("--coast-sd", help="Standard deviation of its position, m.")
]
So2 = Annotated[
    float | None, typer.Option("--so2", help="Background SO2 assumed, ug/m3 (default 2).")
]
Dem = Annotated[
    Path | None,
    typer.Option("--dem", help="Height raster: elevation, slope, aspect, shielding from the sea."),
]
PolicyFile = Annotated[
    Path | None, typer.Option("--policy", help="TOML file of an association's own rules.")
]
LooserPolicy = Annotated[
    bool | None,
    typer.Option("--allow-looser-policy", help="Accept rules looser than the defaults, aloud."),
]
Geology = Annotated[
    Path | None,
    typer.Option("--geology", help="Geological map: polygons, or a raster of codes."),
]
RockColumn = Annotated[
    str | None, typer.Option("--rock-column", help="Column of its polygons that names the rock.")
]
RockMapping = Annotated[
    Path | None,
    typer.Option("--rock-mapping", help="CSV code,lithology: what the map's entries mean."),
]
PricesFile = Annotated[
    Path | None,
    typer.Option(
        "--prices", help="Your prices, .toml or .csv: its stock list limits the metals advised."
    ),
]
Scheduler = Annotated[
    str | None,
    typer.Option(metavar="ADDRESS", help="Scheduler of a dask.distributed cluster to use."),
]
