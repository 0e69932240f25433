"""`templates`: an example and an empty sheet of every file a user may hand in."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from saltreach.cli.shared import BesideOthers, clear_errors


def templates(
    out: Annotated[Path, typer.Option("--out", help="Folder for the files.")],
    beside_other_files: BesideOthers = False,
) -> None:
    """Write a filled example and an empty sheet of every table and settings file.

    The examples are of an invented region. Nothing that is there already is overwritten.
    """
    with clear_errors():
        from saltreach.layers.embedded import embedded_file
        from saltreach.outputs.tables.templates import write_templates

        demo = embedded_file("demo/anchors.csv").parent
        for path in write_templates(out, demo, beside_other_files=beside_other_files):
            typer.echo(path)


def add_to(app: typer.Typer) -> None:
    """Put the command on the program."""
    app.command("templates", epilog="Example: saltreach templates --out templates")(templates)
