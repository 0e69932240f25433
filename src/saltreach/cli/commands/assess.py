"""`assess`: the main job, from a register to a folder of results."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from saltreach.cli.layer_options import (
    CoastFile,
    CoastSd,
    Dem,
    Geology,
    LooserPolicy,
    PolicyFile,
    PricesFile,
    RockColumn,
    RockMapping,
    Scheduler,
    So2,
)
from saltreach.cli.shared import (
    GOOD,
    ROWS_REFUSED,
    AsJson,
    BesideOthers,
    Columns,
    Crs,
    DateOrder,
    LayerName,
    LeaveOut,
    MapLanguage,
    OptionsFile,
    OutFolder,
    PackFolder,
    RegisterFile,
    SameCrag,
    Sheet,
    Strict,
    Tiles,
    Title,
    Today,
    Words,
    assess_file,
    clear_errors,
    options_of,
    print_summary,
    reading_of,
    words_of,
)
from saltreach.outputs.map.texts import Language

Explain = Annotated[
    str | None,
    typer.Option("--explain", metavar="ANCHOR_ID", help="Print one anchor's chain of values."),
]
SurveyFile = Annotated[
    Path | None,
    typer.Option(
        "--survey",
        help="Survey of the sectors' rock mass, .csv or .xlsx; a sheet named survey of the "
        "register's workbook is read without it.",
    ),
]
LearnedFile = Annotated[
    Path | None,
    typer.Option(
        "--learned", help="learned.json of `saltreach learned`: what looks and tests taught."
    ),
]
AxialLoad = Annotated[
    float | None,
    typer.Option("--axial-kn", help="Axial load to bear, kN: 15 (EN 959, default) or 20."),
]
Plots = Annotated[
    bool, typer.Option("--plots", help="Also draw resistance against embedment per sector.")
]
PartRows = Annotated[
    int | None,
    typer.Option(
        "--part-rows", min=1,
        help="Anchors worked out at once: fewer take less memory, the results are the same.",
    ),
]  # fmt: skip
DrawMap = Annotated[bool, typer.Option("--map/--no-map", help="Whether to write map.html too.")]
EXAMPLE = "saltreach assess anchors.csv --out results"


def assess(
    context: typer.Context,
    register: RegisterFile,
    out: OutFolder,
    column: Columns = None,
    crs: Crs = None,
    sheet: Sheet = None,
    layer: LayerName = None,
    date_order: DateOrder = None,
    strict: Strict = False,
    same_crag: SameCrag = None,
    words: Words = None,
    options_file: OptionsFile = None,
    coast: CoastFile = None,
    coast_sd: CoastSd = None,
    so2: So2 = None,
    dem: Dem = None,
    pack: PackFolder = None,
    policy: PolicyFile = None,
    allow_looser_policy: LooserPolicy = None,
    explain: Explain = None,
    geology: Geology = None,
    rock_column: RockColumn = None,
    rock_mapping: RockMapping = None,
    survey: SurveyFile = None,
    axial_kn: AxialLoad = None,
    prices: PricesFile = None,
    learned: LearnedFile = None,
    leave_out_refused: LeaveOut = False,
    plots: Plots = False,
    draw_map: DrawMap = True,
    scheduler: Scheduler = None,
    part_rows: PartRows = None,
    today: Today = None,
    title: Title = None,
    tiles: Tiles = None,
    language: MapLanguage = Language.EN,
    beside_other_files: BesideOthers = False,
    as_json: AsJson = False,
) -> None:
    """Assess every anchor of a register: tables, GIS files and an offline map in one folder."""
    with clear_errors(), words_of(words):
        options = options_of(
            options_file,
            coast_file=coast,
            coast_sd_m=coast_sd,
            so2_ug_m3=so2,
            dem_file=dem,
            pack_folder=pack,
            policy_file=policy,
            allow_looser_policy=allow_looser_policy,
            geology_file=geology,
            rock_column=rock_column,
            rock_mapping_file=rock_mapping,
            survey_file=survey,
            axial_kn=axial_kn,
            prices_file=prices,
            learned_file=learned,
            leave_out_refused=leave_out_refused or None,
            today=None if today is None else today.date(),
        )
        result = assess_file(
            register,
            out,
            options=options,
            title=title or register.stem,
            tiles=tiles,
            language=language,
            **reading_of(column, crs, sheet, layer, date_order, strict, same_crag),
            plots=plots,
            context=context,
            beside=beside_other_files,
            draw_map=draw_map,
            scheduler=scheduler,
            part_rows=part_rows,
            keep_working=None if explain is None else True,
        )
        if explain is None:
            print_summary(result, out, as_json)
        else:
            from saltreach.outputs.explain import explain as explain_anchor

            typer.echo(explain_anchor(result, explain))
    incomplete = len(result.flat.rejected) or result.provenance["left_out"]
    raise typer.Exit(ROWS_REFUSED if incomplete else GOOD)


def add_to(app: typer.Typer) -> None:
    """Put the command on the program."""
    app.command("assess", epilog=f"Example: {EXAMPLE}")(assess)
