"""`layers`: the data layers and where they come from."""

from __future__ import annotations

import json

import typer

from saltreach.cli.shared import AsJson, clear_errors


def layers_list(as_json: AsJson = False) -> None:
    """List the layers: source, version, licence, accuracy."""
    with clear_errors():
        from saltreach.intake.options import Options
        from saltreach.layers.join import LAYERS, open_layers, origins_of

        embedded = [layer for layer in LAYERS if layer.embedded]
        records = [origin.record() for origin in origins_of(open_layers(Options(), embedded))]
    if as_json:
        typer.echo(json.dumps(records, indent=2, ensure_ascii=False))
        return
    for record in records:
        typer.echo(record["name"])
        for key, value in record.items():
            if value and key != "name":
                typer.echo(f"    {key}: {value}")


def add_to(app: typer.Typer) -> None:
    """Put the group of commands on the program."""
    group = typer.Typer(no_args_is_help=True, help="The data layers and where they come from.")
    group.command("list", epilog="Example: saltreach layers list --json")(layers_list)
    app.add_typer(group, name="layers")
