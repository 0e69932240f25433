"""`cure`: how long a resin needs at the temperature of the rock."""

from __future__ import annotations

import json
from datetime import datetime
from pathlib import Path
from typing import Annotated

import typer

from saltreach.cli.shared import AsJson, Today, Words, clear_errors, words_of


def cure(
    table: Annotated[
        Path,
        typer.Argument(
            help="Your product's own data sheet, .csv or .xlsx: rock_temperature_c, gel_min, "
            "cure_min."
        ),
    ],
    rock_temperature: Annotated[
        float,
        typer.Option(
            "--rock-temperature", help="Temperature in the hole, the lowest until cured, degC."
        ),
    ],
    wet: Annotated[bool, typer.Option("--wet", help="The hole is wet.")] = False,
    expires: Annotated[
        str, typer.Option("--expires", help="Expiry printed on the cartridge: 2027-03 or a date.")
    ] = "",
    today: Today = None,
    words: Words = None,
    as_json: AsJson = False,
) -> None:
    """How long an adhesive needs at the temperature of the rock, from its own data sheet.

    Between the rows of the sheet only, never beyond them. An expired cartridge is refused.
    """
    with clear_errors(), words_of(words):
        from saltreach.assessment.cure import cure_advice
        from saltreach.intake.datasheet import read_cure_table
        from saltreach.outputs.cure import cure_text

        on = (today or datetime.now()).date()
        sheet = read_cure_table(table)
        advice = cure_advice(sheet, rock_temperature, wet=wet, expires_on=expires, on=on)
        typer.echo(
            json.dumps(advice, indent=2, ensure_ascii=False) if as_json else cure_text(advice)
        )


def add_to(app: typer.Typer) -> None:
    """Put the command on the program."""
    app.command("cure", epilog="Example: saltreach cure datasheet.csv --rock-temperature 8 --wet")(
        cure
    )
