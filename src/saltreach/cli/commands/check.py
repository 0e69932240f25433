"""`check`: what of a file can be used, and how it was understood."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Annotated

import typer

from saltreach.cli.shared import (
    GOOD,
    ROWS_REFUSED,
    AsJson,
    Columns,
    Crs,
    DateOrder,
    LayerName,
    SameCrag,
    Sheet,
    Strict,
    Words,
    clear_errors,
    progress,
    reading_of,
    source_of,
    table_of,
    tell,
    words_of,
)

AnyFile = Annotated[
    Path,
    typer.Argument(
        parser=source_of,
        metavar="FILE",
        help="A register, a book, a table beside it, or a TOML file of settings.",
    ),
]
KindOption = Annotated[
    str | None,
    typer.Option(
        "--as",
        metavar="KIND",
        help="What the file is, where its columns do not tell: register, survey, teams ...",
    ),
]
Clean = Annotated[
    Path | None,
    typer.Option("--clean", help="Write the good rows in our own form: a new .xlsx file."),
]


def check(
    file: AnyFile,
    kind: KindOption = None,
    clean: Clean = None,
    column: Columns = None,
    crs: Crs = None,
    sheet: Sheet = None,
    layer: LayerName = None,
    date_order: DateOrder = None,
    strict: Strict = False,
    same_crag: SameCrag = None,
    words: Words = None,
    as_json: AsJson = False,
) -> None:
    """Read any file you hand in: how each column was understood, what is refused or in doubt."""
    with clear_errors(), words_of(words):
        from saltreach.intake.checked import checked
        from saltreach.intake.kinds import kinds_in
        from saltreach.outputs.check import check_lines, write_clean

        reading = reading_of(column, crs, sheet, layer, date_order, strict, same_crag)
        with progress() as step:
            step("file")
            source, named = table_of(file)
            kinds = kinds_in(file, kind) if isinstance(file, Path) else ["register"]
            found = [checked(source, one, **named, **reading) for one in kinds]
            left = [] if clean is None else write_clean(found, clean)
        if as_json:
            records = [one.record() for one in found]
            whole = records[0] if len(records) == 1 else records
            typer.echo(json.dumps(whole, indent=2, ensure_ascii=False, default=str))
        else:
            typer.echo("\n".join(line for one in found for line in check_lines(one)))
        if clean is not None:
            tell(f"clean copy: {clean}")
            for sentence in left:
                tell(f"note: {sentence}")
    bad = any(len(one.rejected) or one.stops for one in found)
    raise typer.Exit(ROWS_REFUSED if bad else GOOD)


def add_to(app: typer.Typer) -> None:
    """Put the command on the program."""
    app.command("check", epilog="Example: saltreach check anchors.xlsx --clean anchors_clean.xlsx")(
        check
    )
