"""What the commands share: options, progress, exit codes, one sentence for an error."""

from __future__ import annotations

import json
import sys
from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from datetime import datetime
from enum import StrEnum
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from saltreach.outputs.map.texts import Language

if TYPE_CHECKING:
    from saltreach.assessment.result import Assessment
    from saltreach.folders.claim import Claim
    from saltreach.intake import Register

GOOD, ROWS_REFUSED, UNUSABLE = 0, 1, 2
WRITTEN = ("out", "picture", "clean", "into", "pack", "book")
"""Options that name what is written; every other path is read."""


def source_of(text: str) -> Any:
    """A register as it was given: a path, or the address of a book in a database."""
    from saltreach.errors import SaltreachError
    from saltreach.records.address import is_address

    if not is_address(text):
        return Path(text)
    from saltreach.records.address import address_of

    try:
        return address_of(text)
    except SaltreachError as error:
        raise typer.BadParameter(str(error)) from None


RegisterFile = Annotated[
    Path,
    typer.Argument(
        parser=source_of,
        metavar="REGISTER",
        help="Register: .csv, .xlsx, .geojson, .gpkg, .gpx, .kml, .kmz or .parquet (or a "
        "folder of those); or a book: .gpkg, or "
        "postgresql://user@host/database?schema=name.",
    ),
]
Columns = Annotated[
    list[str] | None,
    typer.Option("--column", help="Header mapping, e.g. lon=Longitude; may be repeated."),
]
Crs = Annotated[
    str | None, typer.Option(help="CRS of the coordinates, e.g. EPSG:25830; default WGS 84.")
]
Sheet = Annotated[str | None, typer.Option(help="Sheet of an .xlsx file.")]
Words = Annotated[
    Path | None,
    typer.Option(
        "--words", help="Your own words for columns and values: list, column, value, words."
    ),
]
LayerName = Annotated[
    str | None, typer.Option("--layer", help="Layer of a .gpkg file, or folder of a .kml.")
]


class DateWords(StrEnum):
    """Orders of day and month, as `dates.ORDERS`."""

    DAY_FIRST = "day-first"
    MONTH_FIRST = "month-first"


DateOrder = Annotated[
    DateWords | None,
    typer.Option("--date-order", help="Order of day and month where a date can be read both ways."),
]
Strict = Annotated[
    bool,
    typer.Option(
        "--strict", help="Refuse a row for any cell that cannot be used, not that cell alone."
    ),
]
SameCrag = Annotated[
    list[str] | None,
    typer.Option(
        "--same-crag",
        metavar="OTHER=NAME",
        help="Crag that is another, written differently, e.g. 'Rote Buchd=Rote Bucht'; may be "
        "repeated.",
    ),
]
OptionsFile = Annotated[
    Path | None, typer.Option("--options", help="TOML file of options; flags given here win.")
]
PackFolder = Annotated[
    Path | None,
    typer.Option("--pack", help="Region pack that `saltreach layers bring` wrote."),
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
BesideOthers = Annotated[
    bool,
    typer.Option(
        "--beside-other-files",
        help="Write although others' files, or changed ones, are there: they stay, or are kept "
        "under another name.",
    ),
]
LeaveOut = Annotated[
    bool,
    typer.Option(
        "--leave-out-refused",
        help="Go on without refused rows of the tables; every output then says so first.",
    ),
]
AsJson = Annotated[bool, typer.Option("--json", help="Print the summary as JSON.")]
Results = Annotated[
    Path,
    typer.Argument(
        parser=source_of,
        metavar="RESULTS",
        help="Folder that `saltreach assess` wrote, or a register.",
    ),
]


def tell(sentence: str) -> None:
    """One line on stderr."""
    from saltreach.errors import without_passwords

    typer.secho(f"saltreach: {without_passwords(sentence)}", err=True, fg="red")


@contextmanager
def clear_errors() -> Iterator[None]:
    """Our own errors end in one sentence on stderr and exit code 2."""
    from saltreach.errors import SaltreachError, settings_by_flags

    try:
        with settings_by_flags():
            yield
    except SaltreachError as error:
        tell(str(error))
        raise typer.Exit(UNUSABLE) from None
    except OSError as error:
        from saltreach.folders.trouble import cannot_read

        said = cannot_read(error)
        if said is None:
            raise
        tell(said)
        raise typer.Exit(UNUSABLE) from None


@contextmanager
def said_of(option: str) -> Iterator[None]:
    """What is refused of a folder to write to names the option of the command that says which."""
    from saltreach.errors import OutputError

    try:
        yield
    except OutputError as error:
        raise OutputError(str(error).replace("another --out", f"another {option}")) from error


@contextmanager
def words_of(file: Path | None) -> Iterator[None]:
    """Every table inside is read with the user's own words before ours."""
    if file is None:
        yield
        return
    from saltreach.intake.own_words import own_words

    with own_words(file):
        yield


@contextmanager
def held(
    context: typer.Context,
    out: Path,
    beside: bool,
    *,
    more: Iterable[str | Path] = (),
    only: Iterable[str] | None = None,
) -> Iterator[Claim]:
    """A folder to write into, refused before anything is computed where a file could be lost.

    Every file that the command was given counts as the user's own, with those in `more`.
    """
    from saltreach.folders.claim import claimed

    given = [
        value
        for name, value in context.params.items()
        if isinstance(value, Path) and name not in WRITTEN
    ]
    with claimed(out, inputs=[*given, *more], beside_other_files=beside, only=only) as claim:
        try:
            yield claim
        finally:
            for sentence in claim.kept:
                tell(sentence)


@contextmanager
def progress() -> Iterator[Any]:
    """A spinner on stderr that names the step; one plain line a step where no one watches.

    What stands after a colon tells how far a step is, and is told to a terminal alone.
    """
    from rich.console import Console

    console = Console(stderr=True)
    if not console.is_terminal:
        told = set[str]()

        def line(name: str) -> None:
            name = name.partition(":")[0]
            if name not in told:
                print(f"saltreach: {name} ...", file=sys.stderr)  # noqa: T201
            told.add(name)

        yield line
        return
    with console.status("starting") as status:
        yield lambda name: status.update(f"{name} ...")


def _mapping(pairs: list[str] | None, option: str, form: str) -> dict[str, str] | None:
    from saltreach.errors import OptionError

    if not pairs:
        return None
    mapping = {}
    for pair in pairs:
        left, equals, right = pair.partition("=")
        if not equals or not left.strip() or not right.strip():
            raise OptionError(f"{option} {pair!r}: write it as {form}")
        mapping[left.strip()] = right.strip()
    return mapping


def reading_of(
    column: list[str] | None,
    crs: str | None,
    sheet: str | None,
    layer: str | None,
    date_order: DateWords | None,
    strict: bool,
    same_crag: list[str] | None,
) -> dict[str, Any]:
    """What `read_register` is told, from the flags of a command."""
    return {
        "columns": _mapping(column, "--column", "ours=theirs, e.g. lon=Longitude"),
        "crs": crs,
        "sheet": sheet,
        "layer": layer,
        "date_order": None if date_order is None else date_order.value,
        "strict": strict,
        "same_crag": _mapping(same_crag, "--same-crag", "other=name, e.g. 'Rote Buchd=Rote Bucht'"),
    }


def options_of(file: Path | None, **flags: Any) -> Any:
    """Options of a TOML file, with the flags that were given over them."""
    from saltreach.intake.options import Options, read_options

    given = {name: value for name, value in flags.items() if value is not None}
    return Options(**given) if file is None else read_options(file, **given)


def assess_file(
    file: Path,
    out: Path,
    *,
    options: Any,
    title: str,
    tiles: str | None = None,
    plots: bool = False,
    language: str = "en",
    context: typer.Context,
    beside: bool = False,
    draw_map: bool = True,
    scheduler: str | None = None,
    part_rows: int | None = None,
    keep_working: bool | None = None,
    **reading: Any,
) -> Assessment:
    """Read a register, assess it and write every result file."""
    import gc
    from contextlib import nullcontext

    from saltreach.assessment.assess import assess as assess_register
    from saltreach.assessment.part import crew
    from saltreach.errors import NoGoodRowsError
    from saltreach.folders.manifest import MANIFEST
    from saltreach.intake.parquet_file import rows_of
    from saltreach.outputs.tables.results import write_rejected, write_results
    from saltreach.records.reading import read_register

    files = [v for n, v in vars(options).items() if n.endswith("_file") and v is not None]
    if options.pack_folder is not None:
        files.append(Path(options.pack_folder) / MANIFEST)
    count = rows_of(file) if isinstance(file, Path) else 0  # a book has an address
    early = nullcontext() if count == 0 else crew(
        count, options, scheduler=scheduler, processes=None, at_most=part_rows
    )  # fmt: skip
    gc.freeze()  # what is loaded stays: looking through it for garbage is a waste
    with progress() as step, held(context, out, beside, more=files) as folder, early as pool:
        step("register")
        found = read_register(file, today=options.today, **reading)
        tell_reading(found)
        gc.freeze()
        try:
            result = assess_register(
                found, options, on_step=step, scheduler=scheduler, processes=None,
                part_rows=part_rows, keep_working=keep_working, pool=pool,
            )  # fmt: skip
        except NoGoodRowsError as error:
            tell(f"refused rows: {write_rejected(error.rejected, folder)}")
            raise
        for note in result.provenance["register"]["notes"][len(found.notes) :]:
            tell(f"note: {note}")
        for part, said in result.provenance["pack"].items():
            tell(f"pack, {part}: {said['used']}")
        step("files and map")
        missing = write_results(
            result, folder, title=title, tiles=tiles, plots=plots, language=language,
            draw_map=draw_map,
        )  # fmt: skip
        for note in missing:
            tell(f"note: {note}")
    return result


def print_summary(result: Assessment, out: Path, as_json: bool) -> None:
    """The summary, as text or as JSON."""
    from saltreach.outputs.summary import summary, summary_text

    typer.echo(
        json.dumps(summary(result, out), indent=2, ensure_ascii=False)
        if as_json
        else summary_text(result, out)
    )


def table_of(source: Any) -> tuple[Any, dict[str, str]]:
    """What can be read as a table, and what it is called: of a database its anchors."""
    if isinstance(source, Path):
        return source, {}
    from saltreach.records.book import open_book

    return open_book(source).anchors(), {"name": source.short}


def tell_reading(found: Register) -> None:
    """Say how a register was read, before anything is computed from it."""
    from saltreach.assessment.provenance import register_record
    from saltreach.outputs.summary import reading_lines

    for line in reading_lines(register_record(found), "all of it: saltreach check"):
        typer.echo(line, err=True)


def results_of(path: Path, *, leave_out_refused: bool, **reading: Any) -> Assessment:
    """The results in a folder, or those of a register assessed on the spot."""
    from saltreach.errors import OptionError

    if isinstance(path, Path) and path.is_dir():
        from saltreach.assessment.files import read_results

        given = [name for name, value in reading.items() if value]
        if given:
            raise OptionError(
                f"{path} is a folder of results, which is read as it is: options for reading a "
                "register are for a register alone"
            )
        return read_results(path)
    from saltreach.assessment.assess import assess
    from saltreach.intake.options import Options
    from saltreach.records.reading import read_register

    found = read_register(path, **reading)
    tell_reading(found)
    return assess(found, Options(leave_out_refused=leave_out_refused))


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
