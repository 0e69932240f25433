"""`learned`: what looks, tests and measurements teach."""

from __future__ import annotations

import json
from typing import Annotated

import typer

from saltreach.cli.shared import (
    GOOD,
    ROWS_REFUSED,
    AsJson,
    BesideOthers,
    OptionsFile,
    PlanFolder,
    Today,
    clear_errors,
    held,
    options_of,
    progress,
    tell_reading,
)


def learned(
    context: typer.Context,
    book: Annotated[
        list[str],
        typer.Argument(
            help="Books (.gpkg, or postgresql://...), registers, folders of results; a book holds "
            "the most."
        ),
    ],
    out: PlanFolder,
    options_file: OptionsFile = None,
    today: Today = None,
    beside_other_files: BesideOthers = False,
    as_json: AsJson = False,
) -> None:
    """What looks, tests and measurements teach: before, after, and how much data that is."""
    with clear_errors():
        from datetime import date

        from saltreach.outputs.tables.learned import learned_lines, write_learned
        from saltreach.records.address import is_address
        from saltreach.records.lessons import lessons_of
        from saltreach.records.sources import source_of
        from saltreach.vocabulary.words import CAUTION

        options = options_of(options_file)
        own = [address for address in book if not is_address(address)]
        day = today.date() if today else options.today or date.today()
        with progress() as step, held(context, out, beside_other_files, more=own) as folder:
            sources = [
                source_of(address, options, day, on_step=step, on_register=tell_reading)
                for address in book
            ]
            lessons = lessons_of(sources, day, on_step=step)
            step("files")
            missing = write_learned(lessons, folder)
        lines = [
            *learned_lines(lessons),
            *lessons.cautions,
            *(f"note: {text}" for text in missing),
            CAUTION,
            f"Files: {out / 'learned.json'} (for saltreach assess --learned), learned.csv, "
            "learned.png",
        ]
        record = {
            "learned_for": lessons.learned_for, "events": lessons.events, "told": lessons.told,
            "lines": learned_lines(lessons), "files": str(out), "caution": CAUTION,
        }  # fmt: skip
        typer.echo(
            json.dumps(record, indent=2, ensure_ascii=False) if as_json else "\n".join(lines)
        )
    refused = any(source.refused for source in sources)
    raise typer.Exit(ROWS_REFUSED if refused else GOOD)


def add_to(app: typer.Typer) -> None:
    """Put the command on the program."""
    app.command("learned", epilog="Example: saltreach learned region.gpkg --out learned")(learned)
