"""`check`: what of a register can be used."""

from __future__ import annotations

import json
from typing import TYPE_CHECKING

import typer

if TYPE_CHECKING:
    from saltreach.intake import Register

from saltreach.cli.shared import (
    GOOD,
    ROWS_REFUSED,
    AsJson,
    Columns,
    Crs,
    LayerName,
    RegisterFile,
    SameCrag,
    Sheet,
    Words,
    clear_errors,
    column_mapping,
    progress,
    same_crags,
    words_of,
)


def check(
    register: RegisterFile,
    column: Columns = None,
    crs: Crs = None,
    sheet: Sheet = None,
    layer: LayerName = None,
    same_crag: SameCrag = None,
    words: Words = None,
    as_json: AsJson = False,
) -> None:
    """Read a register and list every row that would be refused, with the fix."""
    with clear_errors(), words_of(words):
        from saltreach.intake import read_register

        with progress() as step:
            step("register")
            found = read_register(
                register,
                columns=column_mapping(column),
                crs=crs,
                sheet=sheet,
                layer=layer,
                same_crag=same_crags(same_crag),
            )
        _print_check(found, as_json)
    raise typer.Exit(ROWS_REFUSED if len(found.rejected) else GOOD)


def add_to(app: typer.Typer) -> None:
    """Put the command on the program."""
    app.command("check", epilog="Example: saltreach check anchors.xlsx --column lon=Longitude")(
        check
    )


def _print_check(found: Register, as_json: bool) -> None:
    if as_json:
        rejected = json.loads(found.rejected.to_json(orient="records"))
        counts = {"rows": found.rows_read, "accepted": len(found.anchors), "rejected": rejected}
        typer.echo(json.dumps(counts, indent=2, ensure_ascii=False))
        return
    refused = found.rejected["row"].nunique()
    typer.echo(
        f"{found.file}: {found.rows_read} rows, {len(found.anchors)} good, {refused} refused"
    )
    for note in found.notes:
        typer.echo(f"  note: {note}")
    for row in found.rejected.itertuples(index=False):
        typer.echo(f"  row {row.row}, {row.column} = {row.value!r}: {row.reason}; {row.fix}")
