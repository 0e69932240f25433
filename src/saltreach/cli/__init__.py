"""The `saltreach` command: parse, call, print, exit code. Data to stdout, the rest to stderr."""

from __future__ import annotations

import json
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import date, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from saltreach import __version__
from saltreach.cli.landowner import landowner, show
from saltreach.cli.plan import add_commands as add_plan_commands
from saltreach.outputs.map.texts import Language

if TYPE_CHECKING:
    from saltreach.assessment.assess import Assessment
    from saltreach.intake import Register

GOOD, ROWS_REFUSED, UNUSABLE = 0, 1, 2
DEMO_DAY = date(2026, 11, 25)
"""Day the demo speaks for, so that its invented register does not grow overdue by itself."""

app = typer.Typer(
    name="saltreach",
    no_args_is_help=True,
    add_completion=False,
    pretty_exceptions_enable=False,
    help="Which metal, which rock and when to look again, for the anchors of a whole region.\n\n"
    "Advice only, never a certificate that an anchor is safe: local code, the land manager and "
    "a competent person decide.",
    epilog="Exit codes: 0 good, 1 rows refused (results still written), 2 unusable input.",
)
layers_app = typer.Typer(no_args_is_help=True, help="The data layers and where they come from.")
app.add_typer(layers_app, name="layers")

RegisterFile = Annotated[
    Path, typer.Argument(help="Register: .csv, .xlsx, .geojson, .gpkg, .gpx or .kml.")
]
Columns = Annotated[
    list[str] | None,
    typer.Option("--column", help="Header mapping, e.g. lon=Longitude; may be repeated."),
]
Crs = Annotated[
    str | None, typer.Option(help="CRS of the coordinates, e.g. EPSG:25830; default WGS 84.")
]
Sheet = Annotated[str | None, typer.Option(help="Sheet of an .xlsx file.")]
LayerName = Annotated[str | None, typer.Option("--layer", help="Layer of a .gpkg file.")]
OutFolder = Annotated[Path, typer.Option("--out", help="Folder for the results.")]
OptionsFile = Annotated[
    Path | None, typer.Option("--options", help="TOML file of options; flags given here win.")
]
CoastFile = Annotated[
    Path | None,
    typer.Option("--coast", help="Shoreline (lines) or land (polygons) to use instead."),
]
CoastSd = Annotated[
    float | None, typer.Option("--coast-sd", help="Standard deviation of its position, m.")
]
So2 = Annotated[
    float | None, typer.Option("--so2", help="Background SO2 assumed, ug/m3 (default 2).")
]
Dem = Annotated[
    Path | None,
    typer.Option("--dem", help="Height raster: elevation, slope, aspect, shielding from the sea."),
]
Wind = Annotated[bool | None, typer.Option("--wind", help="Use the mean wind over the sea nearby.")]
Spread = Annotated[
    str | None, typer.Option(help="How errors are carried on: quadrature (default) or sampling.")
]
Seed = Annotated[int | None, typer.Option(help="Seed of the sampling (default 0).")]
PolicyFile = Annotated[
    Path | None, typer.Option("--policy", help="TOML file of an association's own rules.")
]
LooserPolicy = Annotated[
    bool | None,
    typer.Option("--allow-looser-policy", help="Accept rules looser than the defaults, aloud."),
]
Explain = Annotated[
    str | None,
    typer.Option("--explain", metavar="ANCHOR_ID", help="Print one anchor's chain of values."),
]
Geology = Annotated[
    Path | None,
    typer.Option("--geology", help="Geological map: polygons, or a raster of codes."),
]
RockColumn = Annotated[
    str | None, typer.Option("--rock-column", help="Column of its polygons that names the rock.")
]
RockMapping = Annotated[
    Path | None,
    typer.Option("--rock-mapping", help="CSV code,lithology: what the map's entries mean."),
]
SurveyFile = Annotated[
    Path | None,
    typer.Option(
        "--survey",
        help="Survey of the sectors' rock mass, .csv or .xlsx; a sheet named survey of the "
        "register's workbook is read without it.",
    ),
]
PricesFile = Annotated[
    Path | None,
    typer.Option(
        "--prices", help="Your prices, .toml or .csv: its stock list limits the metals advised."
    ),
]
AxialLoad = Annotated[
    float | None,
    typer.Option("--axial-kn", help="Axial load to bear, kN: 15 (EN 959, default) or 20."),
]
Plots = Annotated[
    bool, typer.Option("--plots", help="Also draw resistance against embedment per sector.")
]
Today = Annotated[
    datetime | None,
    typer.Option("--today", formats=["%Y-%m-%d"], help="Day the assessment speaks for."),
]
Title = Annotated[str | None, typer.Option(help="Heading of the map.")]
Tiles = Annotated[
    str | None, typer.Option(help="Address template of an online tile base to offer as well.")
]
MapLanguage = Annotated[
    Language, typer.Option("--language", help="Language the map opens in; it can be changed there.")
]
AsJson = Annotated[bool, typer.Option("--json", help="Print the summary as JSON.")]


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


@app.command(epilog="Example: saltreach check anchors.xlsx --column lon=Longitude")
def check(
    register: RegisterFile,
    column: Columns = None,
    crs: Crs = None,
    sheet: Sheet = None,
    layer: LayerName = None,
    as_json: AsJson = False,
) -> None:
    """Read a register and list every row that would be refused, with the fix."""
    with _clear_errors():
        from saltreach.intake import read_register

        with _progress() as step:
            step("register")
            found = read_register(
                register, columns=_mapping(column), crs=crs, sheet=sheet, layer=layer
            )
        _print_check(found, as_json)
    raise typer.Exit(ROWS_REFUSED if len(found.rejected) else GOOD)


@app.command(epilog="Example: saltreach assess anchors.csv --out results")
def assess(
    register: RegisterFile,
    out: OutFolder,
    column: Columns = None,
    crs: Crs = None,
    sheet: Sheet = None,
    layer: LayerName = None,
    options_file: OptionsFile = None,
    coast: CoastFile = None,
    coast_sd: CoastSd = None,
    so2: So2 = None,
    dem: Dem = None,
    wind: Wind = None,
    spread: Spread = None,
    seed: Seed = None,
    policy: PolicyFile = None,
    allow_looser_policy: LooserPolicy = None,
    explain: Explain = None,
    geology: Geology = None,
    rock_column: RockColumn = None,
    rock_mapping: RockMapping = None,
    survey: SurveyFile = None,
    axial_kn: AxialLoad = None,
    prices: PricesFile = None,
    plots: Plots = False,
    today: Today = None,
    title: Title = None,
    tiles: Tiles = None,
    language: MapLanguage = Language.EN,
    as_json: AsJson = False,
) -> None:
    """Assess every anchor of a register: tables, GIS files and an offline map in one folder."""
    with _clear_errors():
        options = _options(
            options_file,
            coast_file=None if coast is None else str(coast),
            coast_sd_m=coast_sd,
            so2_ug_m3=so2,
            dem_file=None if dem is None else str(dem),
            wind=wind,
            policy_file=None if policy is None else str(policy),
            allow_looser_policy=allow_looser_policy,
            spread=spread,
            seed=seed,
            geology_file=None if geology is None else str(geology),
            rock_column=rock_column,
            rock_mapping_file=None if rock_mapping is None else str(rock_mapping),
            survey_file=None if survey is None else str(survey),
            axial_kn=axial_kn,
            prices_file=None if prices is None else str(prices),
            today=None if today is None else today.date(),
        )
        result = _assess_file(
            register,
            out,
            options=options,
            title=title or register.stem,
            tiles=tiles,
            language=language,
            columns=_mapping(column),
            crs=crs,
            sheet=sheet,
            layer=layer,
            plots=plots,
        )
        if explain is None:
            _print_summary(result, out, as_json)
        else:
            from saltreach.outputs.explain import explain as explain_anchor

            typer.echo(explain_anchor(result, explain))
    raise typer.Exit(ROWS_REFUSED if len(result.rejected) else GOOD)


@app.command(epilog="Example: saltreach demo --out maps/demo")
def demo(
    out: OutFolder = Path("maps/demo"),
    today: Today = None,
    language: MapLanguage = Language.EN,
    as_json: AsJson = False,
) -> None:
    """Assess the embedded demo register: an invented region on real coordinates, no network.

    Some of its rows are bad on purpose; refusing them is part of the demo, so it exits with 0.
    It speaks for a fixed day (25 November 2026) unless --today says another.
    """
    with _clear_errors():
        from saltreach.layers.embedded import embedded_file

        result = _assess_file(
            embedded_file("demo/anchors.csv"),
            out,
            options=_options(
                None,
                survey_file=str(embedded_file("demo/sectors_survey.csv")),
                today=DEMO_DAY if today is None else today.date(),
            ),
            title="Demo: an invented region",
            language=language,
        )
        _print_summary(result, out, as_json)


@app.command("map", epilog="Example: saltreach map results --out results/map.html")
def draw_map(
    results: Annotated[Path, typer.Argument(help="Folder that `saltreach assess` wrote.")],
    out: Annotated[
        Path | None, typer.Option("--out", help="File to write; default map.html in that folder.")
    ] = None,
    title: Title = None,
    tiles: Tiles = None,
    language: MapLanguage = Language.EN,
    picture: Annotated[
        Path | None,
        typer.Option("--picture", help="Also draw an overview picture, .png or .svg."),
    ] = None,
    plan: Annotated[
        Path | None, typer.Option("--plan", help="plan.csv of `saltreach plan`: trips by month.")
    ] = None,
    open_it: Annotated[bool, typer.Option("--open", help="Open the map when drawn.")] = False,
) -> None:
    """Draw the map again from the results in a folder."""
    with _clear_errors():
        from saltreach.outputs.tables.results import read_plan, read_results, write_map_file

        target = out or results / "map.html"
        with _progress() as step:
            step("results")
            result = read_results(results)
            step("map")
            write_map_file(
                result,
                target,
                title=title or results.name,
                tiles=tiles,
                language=language,
                trips=None if plan is None else read_plan(plan),
            )
            if picture is not None:
                from saltreach.outputs.pictures.overview import write_overview

                step("picture")
                write_overview(result, picture, title=title or results.name)
        typer.echo(target)
        if picture is not None:
            typer.echo(picture)
        if open_it:
            show(target)


@app.command(epilog="Example: saltreach cure datasheet.csv --rock-temperature 8 --wet")
def cure(
    table: Annotated[
        Path,
        typer.Argument(
            help="Your product's own data sheet as CSV: rock_temperature_c, gel_min, cure_min."
        ),
    ],
    rock_temperature: Annotated[
        float,
        typer.Option(
            "--rock-temperature", help="Temperature in the hole, the lowest until cured, degC."
        ),
    ],
    wet: Annotated[bool, typer.Option("--wet", help="The hole is wet.")] = False,
    expires: Annotated[
        str, typer.Option("--expires", help="Expiry printed on the cartridge: 2027-03 or a date.")
    ] = "",
    today: Today = None,
    as_json: AsJson = False,
) -> None:
    """How long an adhesive needs at the temperature of the rock, from its own data sheet.

    Between the rows of the sheet only, never beyond them. An expired cartridge is refused.
    """
    with _clear_errors():
        from saltreach.outputs.cure import cure_advice, cure_text

        on = (today or datetime.now()).date()
        advice = cure_advice(table, rock_temperature, wet=wet, expires_on=expires, on=on)
        typer.echo(
            json.dumps(advice, indent=2, ensure_ascii=False) if as_json else cure_text(advice)
        )


app.command(
    epilog="Example: saltreach landowner results --holding land.geojson --contact us.toml --out "
    "for-the-owner"
)(landowner)


add_plan_commands(app)


@layers_app.command("list", epilog="Example: saltreach layers list --json")
def layers_list(as_json: AsJson = False) -> None:
    """List the layers: source, version, licence, accuracy."""
    with _clear_errors():
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


def _assess_file(
    file: Path,
    out: Path,
    *,
    options: Any,
    title: str,
    tiles: str | None = None,
    plots: bool = False,
    language: str = "en",
    **reading: Any,
) -> Assessment:
    from dataclasses import replace

    from saltreach.assessment.assess import assess as assess_register
    from saltreach.errors import NoGoodRowsError
    from saltreach.intake import read_register
    from saltreach.intake.survey import survey_sheet
    from saltreach.outputs.tables.results import write_rejected, write_results

    with _progress() as step:
        step("register")
        found = read_register(file, today=options.today, **reading)
        if options.survey_file is None and survey_sheet(file) is not None:
            options = replace(options, survey_file=str(file))
        try:
            result = assess_register(found, options, on_step=step)
        except NoGoodRowsError as error:
            write_rejected(error.rejected, out)
            raise
        step("files and map")
        write_results(result, out, title=title, tiles=tiles, plots=plots, language=language)
    return result


def _options(file: Path | None, **flags: Any) -> Any:
    from dataclasses import replace

    from saltreach.intake.options import Options, read_options

    options = Options() if file is None else read_options(file)
    return replace(options, **{k: v for k, v in flags.items() if v is not None})


def _mapping(pairs: list[str] | None) -> dict[str, str] | None:
    from saltreach.errors import OptionError

    if not pairs:
        return None
    mapping = {}
    for pair in pairs:
        ours, equals, theirs = pair.partition("=")
        if not equals or not ours.strip() or not theirs.strip():
            raise OptionError(f"--column {pair!r}: write it as ours=theirs, e.g. lon=Longitude")
        mapping[ours.strip()] = theirs.strip()
    return mapping


@contextmanager
def _clear_errors() -> Iterator[None]:
    """Our own errors end in one sentence on stderr and exit code 2."""
    from saltreach.errors import SaltreachError

    try:
        yield
    except (FileExistsError, IsADirectoryError, NotADirectoryError) as error:
        kind = "is a folder" if isinstance(error, IsADirectoryError) else "is a file"
        where = error.filename2 or error.filename
        typer.secho(f"saltreach: {where} {kind}: give another --out", err=True, fg="red")
        raise typer.Exit(UNUSABLE) from None
    except (SaltreachError, PermissionError) as error:
        typer.secho(f"saltreach: {error}", err=True, fg="red")
        raise typer.Exit(UNUSABLE) from None


@contextmanager
def _progress() -> Iterator[Any]:
    """A spinner on stderr that names the step; one plain line a step where no one watches."""
    from rich.console import Console

    console = Console(stderr=True)
    if not console.is_terminal:
        yield lambda name: print(f"saltreach: {name} ...", file=sys.stderr)  # noqa: T201
        return
    with console.status("starting") as status:
        yield lambda name: status.update(f"{name} ...")


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


def _print_summary(result: Assessment, out: Path, as_json: bool) -> None:
    from saltreach.outputs.summary import summary, summary_text

    typer.echo(
        json.dumps(summary(result, out), indent=2, ensure_ascii=False)
        if as_json
        else summary_text(result, out)
    )
