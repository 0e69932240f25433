"""The `saltreach` command: parse, call, print, exit code. Data to stdout, the rest to stderr."""

from __future__ import annotations

from importlib import import_module
from pkgutil import iter_modules
from typing import Annotated

import typer

from saltreach import __version__
from saltreach.cli import commands
from saltreach.cli.failures import Program

app = typer.Typer(
    name="saltreach",
    no_args_is_help=True,
    add_completion=False,
    pretty_exceptions_enable=False,
    help="Which metal, which rock and when to look again, for the anchors of a whole region.\n\n"
    "Advice only, never a certificate that an anchor is safe: local code, the land manager and "
    "a competent person decide.",
    cls=Program,
    epilog="Exit codes: 0 good, 1 rows refused (results still written), 2 unusable input or place "
    "to write to, 3 unexpected failure (a log file is named), 130 interrupted.",
)


def _version(wanted: bool) -> None:
    if wanted:
        typer.echo(f"saltreach {__version__}")
        raise typer.Exit


@app.callback()
def main(
    version: Annotated[
        bool, typer.Option("--version", callback=_version, is_eager=True, help="Print the version.")
    ] = False,
) -> None:
    """Which metal, which rock and when to look again, for the anchors of a whole region."""


for _module in iter_modules(commands.__path__, f"{commands.__name__}."):
    import_module(_module.name).add_to(app)
