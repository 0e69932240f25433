"""`returns`: what people bring back from the cliff, into the book."""

from __future__ import annotations

import datetime as dt
import json
from pathlib import Path
from typing import Annotated

import typer

from saltreach.cli.commands.book import BookOption
from saltreach.cli.shared import (
    GOOD,
    ROWS_REFUSED,
    AsJson,
    Today,
    Words,
    clear_errors,
    progress,
    tell,
    words_of,
)

Files = Annotated[
    list[Path] | None,
    typer.Argument(
        help="What came back: return files of the phone page (.zip), filled sheets and lists "
        "(.xlsx, .csv: anchor, date, who, and what there is)."
    ),
]
Apply = Annotated[
    bool, typer.Option("--apply", help="Write it into the book; without it, it is only shown.")
]
DataSheet = Annotated[
    Path | None,
    typer.Option("--data-sheet", help="Of the adhesive: cure times where a record has none."),
]
SettleFile = Annotated[
    Path | None,
    typer.Option(
        "--settle",
        help="Sheet of what records say differently: written where it is not there yet, read "
        "with your answers where it is.",
    ),
]


def returns(
    book: BookOption,
    files: Files = None,
    apply: Apply = False,
    data_sheet: DataSheet = None,
    settle: SettleFile = None,
    today: Today = None,
    words: Words = None,
    as_json: AsJson = False,
) -> None:
    """Merge what came back from the cliff: show what would change, and write it with --apply.

    Good rows are kept, refused ones listed. Where two people say different things of one anchor
    on one day both are kept, and the more cautious holds until somebody settles it.
    """
    with clear_errors(), words_of(words):
        from rich.console import Console

        from saltreach.outputs.returns import (
            changes_table,
            returns_lines,
            returns_record,
            settle_csv,
            written_line,
        )
        from saltreach.records.book import open_book
        from saltreach.records.returns import apply_returns as write
        from saltreach.records.returns import read_returns, refuse_nothing_given

        now = dt.datetime.now(dt.UTC)
        answers = settle if settle is not None and settle.exists() else None
        refuse_nothing_given(files or [], answers)
        with progress() as step:
            step("book")
            region = open_book(book)
            step("returns")
            found = read_returns(
                files or [],
                region,
                today=now.date() if today is None else today.date(),
                data_sheet=data_sheet,
                answers=answers,
            )
            if apply:
                step("writing")
                done = write(found, region, book, now=now)
                tell(written_line(done.new, done.known, len(found.photos), region.name))
        if settle is not None and answers is None and found.open:
            from saltreach.folders.files import atomic_write, refuse_present
            from saltreach.folders.trouble import told

            refuse_present(settle, ".csv", "the sheet of differences is a table")
            with told(settle, "--settle"):
                atomic_write(settle, settle_csv(found.open))
            tell(f"differences to settle: fill in answer and who in {settle}, and give it again")
        if settle is not None and answers is None and not found.open:
            tell(f"nothing to settle: {settle} was not written")
        if as_json:
            record = returns_record(found, applied=apply)
            typer.echo(json.dumps(record, indent=2, ensure_ascii=False, default=str))
        else:
            console = Console()
            if console.is_terminal and len(found.changes):
                console.print(changes_table(found, applied=apply))
            lines = returns_lines(found, region.name, applied=apply, table=not console.is_terminal)
            typer.echo("\n".join(lines))
    raise typer.Exit(ROWS_REFUSED if len(found.rejected) else GOOD)


def add_to(app: typer.Typer) -> None:
    """Put the command on the program."""
    app.command(
        "returns", epilog="Example: saltreach returns phone.zip sheet.xlsx --book region.gpkg"
    )(returns)
