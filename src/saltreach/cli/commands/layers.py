"""`layers`: the data layers, where they come from, and what a region's pack holds."""

from __future__ import annotations

import json
from contextlib import ExitStack
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from saltreach.cli.shared import (
    GOOD,
    ROWS_REFUSED,
    AsJson,
    BesideOthers,
    Columns,
    Crs,
    DateOrder,
    LayerName,
    OptionsFile,
    PackFolder,
    SameCrag,
    Sheet,
    Strict,
    Today,
    Words,
    clear_errors,
    held,
    options_of,
    progress,
    reading_of,
    said_of,
    source_of,
    tell,
    tell_reading,
    words_of,
)

if TYPE_CHECKING:
    from saltreach.intake.services import Services

PartNames = Annotated[
    list[str] | None,
    typer.Argument(
        help="Parts to bring: coast, rock, heights, climate, air, context, or all (default).",
        show_default=False,
    ),
]
ForRegister = Annotated[
    Path,
    typer.Option(
        "--for", parser=source_of, metavar="REGISTER", help="Register whose places are asked about."
    ),
]
IntoFolder = Annotated[Path, typer.Option("--into", help="Folder of the region pack.")]
PackOf = Annotated[Path, typer.Option("--pack", help="Folder of a region pack.")]
ServicesFile = Annotated[
    Path | None,
    typer.Option(
        "--services",
        help="TOML file: other addresses, your survey's geological map, your climate rasters.",
    ),
]
Fine = Annotated[
    bool,
    typer.Option(
        "--fine",
        help="Shore from GSHHG full resolution, installed (saltreach[fine]), in place of "
        "OpenStreetMap.",
    ),
]
DryRun = Annotated[
    bool,
    typer.Option("--dry-run", help="Print what would be asked and how much it is; ask nothing."),
]
Fresh = Annotated[
    bool, typer.Option("--fresh", help="Ask again although the answer of a former run is kept.")
]
SEEN = (
    "The services see where you ask: boxes of kilometres, nodes of grids, and for rock each place "
    "to some 10 m. Leave out what must stay secret."
)
SHOWN = 3
"""Requests of a part that are printed; --json prints all."""


def layers_list(pack: PackFolder = None, as_json: AsJson = False) -> None:
    """List the layers, embedded and of a pack: source, version, licence, accuracy, age."""
    with clear_errors():
        from saltreach.intake.options import Options
        from saltreach.layers.join import LAYERS, open_layers, origins_of
        from saltreach.layers.pack import parts_of

        embedded = [layer for layer in LAYERS if layer.embedded]
        records: list[dict[str, Any]] = [
            {**origin.record(), "where": "embedded"}
            for origin in origins_of(open_layers(Options(), embedded))
        ]
        for part in [] if pack is None else parts_of(pack).values():
            brought = datetime.fromisoformat(part.brought_at)
            more = {
                "where": f"pack, {part.name}", "brought_at": part.brought_at,
                "age_days": (datetime.now(UTC) - brought.astimezone(UTC)).days,
                "notes": " | ".join(part.notes),
            }  # fmt: skip
            records += [{**origin.record(), **more} for origin in part.origins]
    if as_json:
        typer.echo(json.dumps(records, indent=2, ensure_ascii=False))
        return
    for record in records:
        typer.echo(record["name"])
        for key, value in record.items():
            if value not in ("", None) and key != "name":
                typer.echo(f"    {key}: {value}")


def layers_bring(
    context: typer.Context,
    register: ForRegister,
    into: IntoFolder,
    parts: PartNames = None,
    services: ServicesFile = None,
    fine: Fine = False,
    dry_run: DryRun = False,
    fresh: Fresh = False,
    column: Columns = None,
    crs: Crs = None,
    sheet: Sheet = None,
    layer: LayerName = None,
    date_order: DateOrder = None,
    strict: Strict = False,
    same_crag: SameCrag = None,
    words: Words = None,
    beside_other_files: BesideOthers = False,
    as_json: AsJson = False,
) -> None:
    """Bring open data for the places of a register into a folder, for use without a network."""
    with clear_errors(), said_of("--into"), words_of(words):
        from saltreach.layers.online.bring import bring, chosen, plans, refuse_too_much
        from saltreach.layers.where import where_of
        from saltreach.records.reading import read_register

        asked = _services(services, fine)
        found = chosen(parts or [])
        read = read_register(
            register, **reading_of(column, crs, sheet, layer, date_order, strict, same_crag)
        )
        tell_reading(read)
        where = where_of(read.anchors["lon"], read.anchors["lat"])
        takes = plans(found, where, asked)
        if not as_json or not dry_run:
            _tell_plans(takes, len(where.lon), to_stdout=dry_run)
        refuse_too_much(takes)
        if dry_run:
            if as_json:
                typer.echo(json.dumps([_plan_record(one) for one in takes], indent=2))
            raise typer.Exit(ROWS_REFUSED if len(read.rejected) else GOOD)
        with progress() as step, held(context, into, beside_other_files) as claim:
            step("services")
            with _web(fresh, asked) as web:
                outcomes = bring(takes, where, asked, web, claim, _downloads(), tell=step)
        for one in outcomes:
            for note in one.notes:
                tell(f"note: {one.part}: {note}")
            if one.failed:
                tell(f"{one.part} was not brought: {one.failed}")
        done = [one.part for one in outcomes if not one.failed]
        if as_json:
            record = {
                "pack": str(into), "brought": done, "requests": web.asked,
                "answers_kept_before": web.kept, "bytes": web.received_bytes,
                "failed": {one.part: one.failed for one in outcomes if one.failed},
            }  # fmt: skip
            typer.echo(json.dumps(record, indent=2, ensure_ascii=False))
        elif done:
            typer.echo(
                f"{into}: {', '.join(done)} ({web.asked} requests, {web.kept} answers kept from "
                f"before, {web.received_bytes / 1e6:.1f} MB)"
            )
            typer.echo(f"Use it: saltreach assess {register} --pack {into} --out results")
    raise typer.Exit(
        GOOD if len(done) == len(outcomes) and not len(read.rejected) else ROWS_REFUSED
    )


def layers_verify(pack: PackOf, as_json: AsJson = False) -> None:
    """Check every file of a pack against the sum taken when it was brought."""
    with clear_errors():
        from saltreach.layers.pack import GOOD as UNCHANGED
        from saltreach.layers.pack import files_of, verified

        found = {name: verified(pack, files) for name, files in files_of(pack).items()}
    if as_json:
        typer.echo(json.dumps(found, indent=2))
    else:
        for name, files in found.items():
            for file, state in files.items():
                typer.echo(f"{name}: {file}: {state}")
    bad = any(state != UNCHANGED for files in found.values() for state in files.values())
    raise typer.Exit(ROWS_REFUSED if bad else GOOD)


def layers_forget(
    context: typer.Context,
    parts: Annotated[list[str], typer.Argument(help="Parts to remove, or all.")],
    pack: PackOf,
    beside_other_files: BesideOthers = False,
) -> None:
    """Remove parts of a pack with their files."""
    with clear_errors(), said_of("--pack"):
        from saltreach.errors import LayerError
        from saltreach.layers.pack import files_of, forget

        there = files_of(pack)
        names = list(there) if "all" in parts else parts
        for name in names:
            if name not in there:
                raise LayerError(f"{pack} has no part {name!r}; it has: {', '.join(there)}")
        with held(context, pack, beside_other_files) as claim:
            for name in names:
                forget(claim, name)
        typer.echo(f"{pack}: {', '.join(names)} removed")


def layers_compare(
    register: ForRegister,
    pack: PackOf,
    out: Annotated[
        Path | None, typer.Option("--out", help="Also write every difference, a new .csv file.")
    ] = None,
    options_file: OptionsFile = None,
    column: Columns = None,
    crs: Crs = None,
    sheet: Sheet = None,
    layer: LayerName = None,
    date_order: DateOrder = None,
    strict: Strict = False,
    same_crag: SameCrag = None,
    words: Words = None,
    today: Today = None,
    as_json: AsJson = False,
) -> None:
    """Say what a pack changes in values, classes and metals, part by part."""
    with clear_errors(), words_of(words), ExitStack() as stack:
        from saltreach.assessment.compare import compare_pack
        from saltreach.folders.files import refuse_present
        from saltreach.outputs.compare import compare_lines, write_comparison
        from saltreach.records.reading import read_register

        if out is not None:
            refuse_present(out, ".csv", "the differences are a table")
        step = stack.enter_context(progress())
        day = None if today is None else today.date()
        options = options_of(options_file, pack_folder=str(pack), today=day)
        step("register")
        read = read_register(
            register,
            today=options.today,
            **reading_of(column, crs, sheet, layer, date_order, strict, same_crag),
        )
        tell_reading(read)
        found = compare_pack(read, options, on_step=step)
        if out is not None:
            write_comparison(found, out)
        if as_json:
            record = {name: json.loads(table.to_json(orient="records"))
                      for name, table in found._asdict().items() if name != "anchors"}  # fmt: skip
            typer.echo(json.dumps(record, indent=2, ensure_ascii=False))
        else:
            typer.echo("\n".join(compare_lines(found)))
        if out is not None:
            tell(f"every difference: {out}")
    raise typer.Exit(ROWS_REFUSED if len(read.rejected) else GOOD)


def layers_try(services: ServicesFile = None, as_json: AsJson = False) -> None:
    """Ask each service once for one point, and print what came beside what is expected."""
    with clear_errors():
        from saltreach.layers.online.bring import tried

        asked = _services(services, fine=False)
        with progress() as step, _web(True, asked) as web:
            step("services")
            rows = tried(asked, web)
    if as_json:
        typer.echo(json.dumps(rows, indent=2, ensure_ascii=False))
    else:
        for row in rows:
            typer.echo(f"{row['part']}: {row['service']}: {row['said']}")
            typer.echo(f"    {row['request']}")
    raise typer.Exit(GOOD if all(row["good"] for row in rows) else ROWS_REFUSED)


def _services(file: Path | None, fine: bool) -> Services:
    from dataclasses import replace

    from saltreach.intake.services import Services, read_services

    found = Services() if file is None else read_services(file)
    return replace(found, gshhg_full=True) if fine else found


def _cache() -> Path:
    from platformdirs import user_cache_path

    return user_cache_path("saltreach", appauthor=False, ensure_exists=True)


def _downloads() -> Path:
    return _cache() / "downloads"


def _web(fresh: bool, services: Services) -> Any:
    from saltreach.layers.online.web import Web

    return Web(_cache(), fresh=fresh, pause_s=services.pause_s)


def _plan_record(plan: Any) -> dict[str, Any]:
    return {
        "part": plan.part.name, "requests": [one.shown for one in plan.requests],
        "about_bytes": plan.about_bytes,
    }  # fmt: skip


def _tell_plans(plans: list[Any], places: int, *, to_stdout: bool) -> None:
    for plan in plans:
        lines = [
            f"{plan.part.name}: at most {len(plan.requests)} requests, about "
            f"{plan.about_bytes / 1e6:.1f} MB, for {places} places ({plan.part.gives})"
        ]
        lines += [f"    {one.shown}" for one in plan.requests[:SHOWN]] if to_stdout else []
        for line in lines:
            typer.echo(line, err=not to_stdout)
    typer.echo(SEEN, err=not to_stdout)


def add_to(app: typer.Typer) -> None:
    """Put the group of commands on the program."""
    group = typer.Typer(no_args_is_help=True, help="The data layers and where they come from.")
    group.command("list", epilog="Example: saltreach layers list --json")(layers_list)
    group.command(
        "bring", epilog="Example: saltreach layers bring all --for anchors.csv --into pack"
    )(layers_bring)
    group.command("verify", epilog="Example: saltreach layers verify --pack pack")(layers_verify)
    group.command("forget", epilog="Example: saltreach layers forget rock --pack pack")(
        layers_forget
    )
    group.command(
        "compare", epilog="Example: saltreach layers compare --for anchors.csv --pack pack"
    )(layers_compare)
    group.command("try", epilog="Example: saltreach layers try")(layers_try)
    app.add_typer(group, name="layers")
