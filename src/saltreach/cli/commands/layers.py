"""`layers`: the data layers and where they come from."""

from __future__ import annotations

import json

import typer

from saltreach.cli.shared import AsJson, clear_errors


def layers_list(as_json: AsJson = False) -> None:
    """List the layers: source, version, licence, accuracy."""
    with clear_errors():
        from saltreach.layers.climate import climate_layers
        from saltreach.layers.coast import embedded_layer
        from saltreach.layers.salinity import salinity_layer
        from saltreach.layers.salt_lakes import salt_lakes_layer

        found = (embedded_layer(), *climate_layers(), salinity_layer(), salt_lakes_layer())
        records = [layer.record() for layer in found]
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
