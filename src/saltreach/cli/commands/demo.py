"""`demo`: the main job on the embedded register."""

from __future__ import annotations

from datetime import date
from pathlib import Path

import typer

from saltreach.cli.shared import (
    AsJson,
    BesideOthers,
    MapLanguage,
    OutFolder,
    Today,
    assess_file,
    clear_errors,
    options_of,
    print_summary,
)
from saltreach.outputs.map.texts import Language

DEMO_DAY = date(2026, 11, 25)
EXAMPLE = "saltreach demo --out maps/demo"


def demo(
    context: typer.Context,
    out: OutFolder = Path("maps/demo"),
    today: Today = None,
    language: MapLanguage = Language.EN,
    beside_other_files: BesideOthers = False,
    as_json: AsJson = False,
) -> None:
    """Assess the embedded demo register: an invented region on real coordinates, no network.

    Some of its rows are bad on purpose; refusing them is part of the demo, so it exits with 0.
    It speaks for a fixed day (25 November 2026) unless --today says another.
    """
    with clear_errors():
        from saltreach.folders.manifest import MANIFEST
        from saltreach.layers.embedded import embedded_file

        result = assess_file(
            embedded_file("demo/anchors.csv"),
            out,
            options=options_of(
                None,
                survey_file=str(embedded_file("demo/sectors_survey.csv")),
                pack_folder=str(embedded_file(f"demo/pack/{MANIFEST}").parent),
                today=DEMO_DAY if today is None else today.date(),
            ),
            title="Demo: an invented region",
            language=language,
            context=context,
            beside=beside_other_files,
        )
        print_summary(result, out, as_json)


def add_to(app: typer.Typer) -> None:
    """Put the command on the program."""
    app.command("demo", epilog=f"Example: {EXAMPLE}")(demo)
