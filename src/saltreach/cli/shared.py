"""What the commands share: options, progress, exit codes, one sentence for an error."""

from __future__ import annotations

import json
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from saltreach.outputs.map.texts import Language

if TYPE_CHECKING:
    from saltreach.assessment.result import Assessment

GOOD, ROWS_REFUSED, UNUSABLE = 0, 1, 2
RegisterFile = Annotated[
    Path, typer.Argument(help="Register: .csv, .xlsx, .geojson, .gpkg, .gpx, .kml or .kmz.")
]
Columns = Annotated[
    list[str] | None,
    typer.Option("--column", help="Header mapping, e.g. lon=Longitude; may be repeated."),
]
Crs = Annotated[
    str | None, typer.Option(help="CRS of the coordinates, e.g. EPSG:25830; default WGS 84.")
]
Sheet = Annotated[str | None, typer.Option(help="Sheet of an .xlsx file.")]
LayerName = Annotated[
    str | None, typer.Option("--layer", help="Layer of a .gpkg file, or folder of a .kml.")
]
OutFolder = Annotated[Path, typer.Option("--out", help="Folder for the results.")]
PlanFolder = Annotated[Path, typer.Option("--out", help="Folder for the files.")]
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
Results = Annotated[
    Path, typer.Argument(help="Folder that `saltreach assess` wrote, or a register.")
]


@contextmanager
def clear_errors() -> Iterator[None]:
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
def progress() -> Iterator[Any]:
    """A spinner on stderr that names the step; one plain line a step where no one watches."""
    from rich.console import Console

    console = Console(stderr=True)
    if not console.is_terminal:
        yield lambda name: print(f"saltreach: {name} ...", file=sys.stderr)  # noqa: T201
        return
    with console.status("starting") as status:
        yield lambda name: status.update(f"{name} ...")


def column_mapping(pairs: list[str] | None) -> dict[str, str] | None:
    """Headers by our name, from `--column ours=theirs`."""
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


def options_of(file: Path | None, **flags: Any) -> Any:
    """Options of a TOML file, with the flags that were given over them."""
    from dataclasses import replace

    from saltreach.intake.options import Options, read_options

    options = Options() if file is None else read_options(file)
    return replace(options, **{k: v for k, v in flags.items() if v is not None})


def assess_file(
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
    """Read a register, assess it and write every result file."""
    from saltreach.assessment.assess import assess as assess_register
    from saltreach.errors import NoGoodRowsError
    from saltreach.intake import read_register
    from saltreach.outputs.tables.results import write_rejected, write_results

    with progress() as step:
        step("register")
        found = read_register(file, today=options.today, **reading)
        try:
            result = assess_register(found, options, on_step=step)
        except NoGoodRowsError as error:
            write_rejected(error.rejected, out)
            raise
        step("files and map")
        write_results(result, out, title=title, tiles=tiles, plots=plots, language=language)
    return result


def print_summary(result: Assessment, out: Path, as_json: bool) -> None:
    """The summary, as text or as JSON."""
    from saltreach.outputs.summary import summary, summary_text

    typer.echo(
        json.dumps(summary(result, out), indent=2, ensure_ascii=False)
        if as_json
        else summary_text(result, out)
    )


def results_of(path: Path) -> Assessment:
    """The results in a folder, or those of a register assessed on the spot."""
    if path.is_dir():
        from saltreach.assessment.files import read_results

        return read_results(path)
    from saltreach.assessment.assess import assess
    from saltreach.intake import read_register

    return assess(read_register(path))


def show(path: Path) -> None:
    """Open a written file in the user's browser; say where it is when there is none.

    Parameters
    ----------
    path : pathlib.Path
        The file.
    """
    import webbrowser

    if not webbrowser.open(path.resolve().as_uri()):
        typer.echo(f"saltreach: no browser found; open {path} yourself", err=True)
