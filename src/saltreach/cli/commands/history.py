"""`history`: the life of an anchor, a sector, a crag or a batch."""

from __future__ import annotations

import json
from datetime import datetime
from typing import Annotated

import typer

from saltreach.cli.commands.book import BookOption
from saltreach.cli.shared import AsJson, clear_errors

Place = Annotated[
    str, typer.Argument(help="An anchor's id, 'Crag / Sector', or a crag; not needed with --batch.")
]
OnDay = Annotated[
    datetime | None,
    typer.Option("--on", formats=["%Y-%m-%d"], help="As it stood on that day."),
]
Batch = Annotated[
    str,
    typer.Option("--batch", help="Only anchors with this batch of the piece or of the adhesive."),
]


def history(
    book: BookOption,
    place: Place = "",
    on: OnDay = None,
    batch: Batch = "",
    as_json: AsJson = False,
) -> None:
    """What is known of a place, who was there last, what was decided and why; batches to recall."""
    with clear_errors():
        from saltreach.outputs.history import history_lines, history_record
        from saltreach.records.book import open_book
        from saltreach.records.history import history_of

        day = None if on is None else on.date()
        found = history_of(open_book(book).events(), place, on=day, batch=batch)
        if as_json:
            record = history_record(found)
            typer.echo(json.dumps(record, indent=2, ensure_ascii=False, default=str))
        else:
            typer.echo("\n".join(history_lines(found)))


def add_to(app: typer.Typer) -> None:
    """Put the command on the program."""
    app.command("history", epilog="Example: saltreach history DEMO-0001 --book region.gpkg")(
        history
    )
