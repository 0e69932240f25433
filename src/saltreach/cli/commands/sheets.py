"""`sheets`: what a team takes to the rock, a PDF for each trip."""

from __future__ import annotations

from datetime import datetime
from enum import StrEnum
from pathlib import Path
from typing import Annotated

import typer

from saltreach.cli.shared import (
    GOOD,
    ROWS_REFUSED,
    BesideOthers,
    LeaveOut,
    PlanFolder,
    Words,
    clear_errors,
    held,
    progress,
    tell,
    words_of,
)
from saltreach.planning.bring import TripOptions
from saltreach.vocabulary.words import INSPECT, REBOLT


class KindWords(StrEnum):
    """Kinds of visit, as `words.VISITS`."""

    INSPECT = INSPECT
    REBOLT = REBOLT


Plan = Annotated[
    Path | None, typer.Option("--plan", help="plan.csv of `saltreach plan`; else one per sector.")
]
Trip = Annotated[
    list[str] | None, typer.Option("--trip", help="Only this trip of the plan; may be repeated.")
]
Sector = Annotated[
    list[str] | None,
    typer.Option("--sector", help="Only this one, as 'Crag / Sector'; may be repeated."),
]
Kind = Annotated[KindWords | None, typer.Option("--kind", help="Only visits of this kind.")]
Day = Annotated[
    datetime | None,
    typer.Option("--day", formats=["%Y-%m-%d"], help="Day of the trips where there is no plan."),
]
Prices = Annotated[
    Path | None, typer.Option("--prices", help="Prices with a stock list: pieces you can get.")
]
Rebolt = Annotated[
    Path | None,
    typer.Option("--rebolt", help="priorities.csv of `saltreach priorities`: pieces you bought."),
]
DataSheet = Annotated[
    Path | None, typer.Option("--data-sheet", help="Times of your adhesive by temperature.")
]
RockTemperature = Annotated[
    float | None,
    typer.Option(
        help="Temperature of the rock, °C; default the month's mean air at the place.",
    ),
]
Windows = Annotated[Path | None, typer.Option("--windows", help="Closures and seasons.")]
Tides = Annotated[Path | None, typer.Option("--tides", help="Dry windows of tidal sectors.")]
Contact = Annotated[Path | None, typer.Option("--contact", help="TOML that says who to call.")]
CartridgeMl = Annotated[float, typer.Option("--cartridge-ml", help="One cartridge, mL.")]
Waste = Annotated[
    float,
    typer.Option(
        "--waste",
        help="Adhesive lost, a share from 0 to 1 of the room around the pieces; the one of "
        "`saltreach priorities` is a factor from 1 up.",
    ),
]
ProofKn = Annotated[
    float | None, typer.Option("--proof-kn", help="Load of a proof test, kN; default no test.")
]
Blank = Annotated[
    bool, typer.Option("--blank-sheet", help="Also a workbook to type the returns into.")
]
Phone = Annotated[bool, typer.Option("--phone", help="Also the page for the phone.")]


def sheets(
    context: typer.Context,
    results: Annotated[Path, typer.Argument(help="Folder that `saltreach assess` wrote.")],
    out: PlanFolder,
    plan: Plan = None,
    trip: Trip = None,
    sector: Sector = None,
    kind: Kind = None,
    day: Day = None,
    prices: Prices = None,
    rebolt: Rebolt = None,
    data_sheet: DataSheet = None,
    rock_temperature_c: RockTemperature = None,
    windows: Windows = None,
    tides: Tides = None,
    contact: Contact = None,
    cartridge_ml: CartridgeMl = TripOptions.cartridge_ml,
    waste: Waste = TripOptions.waste_share,
    proof_kn: ProofKn = TripOptions.proof_load_kn,
    phone: Phone = False,
    blank_sheet: Blank = False,
    words: Words = None,
    beside_other_files: BesideOthers = False,
    leave_out_refused: LeaveOut = False,
) -> None:
    """What to bring, what to do at each anchor, and boxes for the pencil: a PDF for each trip."""
    with clear_errors(), words_of(words):
        from saltreach.outputs.sheets.page import write_sheets
        from saltreach.planning.trip_files import trips_from
        from saltreach.vocabulary.words import CAUTION

        options = TripOptions(cartridge_ml=cartridge_ml, waste_share=waste, proof_load_kn=proof_kn)
        with progress() as step, held(context, out, beside_other_files) as folder:
            step("results")
            trips = trips_from(
                results, plan=plan, trips=trip or (), sectors=sector or (),
                kind="" if kind is None else kind.value,
                date="" if day is None else day.date().isoformat(), prices=prices, rebolt=rebolt,
                data_sheet=data_sheet, rock_temperature_c=rock_temperature_c, windows=windows,
                tides=tides, contact=contact, leave_out_refused=leave_out_refused,
                options=options,
            )  # fmt: skip
            step("sheets")
            files = write_sheets(trips, folder, blank_sheet=blank_sheet, phone=phone, on_step=step)
        left_out = trips[0].left_out
        for note in dict.fromkeys([*left_out, *(n for one in trips for n in one.notes)]):
            tell(f"note: {note}")
        for line in dict.fromkeys(
            ": ".join(dict.fromkeys([one.trip, f"{stop.crag} / {stop.sector}", stop.access[0]]))
            for one in trips
            for stop in one.stops
            if stop.closed
        ):
            tell(line)
        for file in files:
            typer.echo(file)
        typer.echo(CAUTION)
    raise typer.Exit(ROWS_REFUSED if left_out else GOOD)


def add_to(app: typer.Typer) -> None:
    """Put the command on the program."""
    app.command(
        "sheets",
        epilog="Example: saltreach sheets results --plan plan/plan.csv --data-sheet sheet.csv "
        "--out sheets",
    )(sheets)
