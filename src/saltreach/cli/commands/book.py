"""`book`: a register that lives: started, added to, exported, checked, taken back from."""

from __future__ import annotations

import datetime as dt
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from saltreach.cli.shared import (
    GOOD,
    ROWS_REFUSED,
    Columns,
    Crs,
    DateOrder,
    LayerName,
    RegisterFile,
    SameCrag,
    Sheet,
    Strict,
    Today,
    Words,
    clear_errors,
    progress,
    reading_of,
    source_of,
    tell,
    tell_reading,
    words_of,
)
from saltreach.vocabulary.words import counted

if TYPE_CHECKING:
    import pandas as pd

    from saltreach.intake import Register

_A_BOOK = "A .gpkg file, or postgresql://user@host/database?schema=name."
BookArgument = Annotated[
    Path, typer.Argument(parser=source_of, metavar="BOOK", help=f"The book. {_A_BOOK}")
]
BookOption = Annotated[
    Path, typer.Option("--book", parser=source_of, metavar="BOOK", help=f"The book. {_A_BOOK}")
]
Who = Annotated[str, typer.Option("--who", help="Who says so: stands with every event.")]
OutFile = Annotated[
    Path, typer.Option("--out", help="A new .csv, .xlsx, .geojson, .gpkg or .parquet file.")
]
Partitions = Annotated[
    int | None,
    typer.Option(
        "--partitions", metavar="N", min=1,
        help="Write a folder of N GeoParquet files, near anchors together.",
    ),
]  # fmt: skip
OnDay = Annotated[
    dt.datetime | None,
    typer.Option("--on", formats=["%Y-%m-%d"], help="As it stood on that day, as known now."),
]
KnownOn = Annotated[
    str | None,
    typer.Option(
        "--as-known-on", metavar="DATETIME",
        help="As it was known then: a day, or 2026-05-31T18:00 (UTC).",
    ),
]  # fmt: skip
Mend = Annotated[
    bool, typer.Option("--mend", help="Write the layer of anchors anew from the events.")
]
Key = Annotated[
    str, typer.Argument(metavar="RECORD", help="A record_id or an event_id of its history.")
]


def _now(today: dt.datetime | None) -> dt.datetime:
    """When something is entered: now, or the day that was given."""
    return today or dt.datetime.now(dt.UTC).replace(tzinfo=None)


def _listed(rejected: pd.DataFrame, whole: str) -> None:
    """All refused rows of a register on stderr, and how many they are."""
    from saltreach.intake.parts import row_named, rows_in

    for row in rejected.itertuples(index=False):
        at = row_named(row, whole)
        tell(f"refused: {at}, {row.column} = {row.value!r}: {row.reason}; {row.fix}")
    count = rows_in(rejected)
    if count:
        tell(f"{counted(count, 'row')} refused: not in the book")


def _read(register: Path, now: dt.datetime, **reading: Any) -> Register:
    """A register, and on stderr how it was read."""
    from saltreach.records.reading import read_register

    found = read_register(register, today=now.date(), **reading)
    tell_reading(found)
    return found


def book_start(
    register: RegisterFile,
    book: BookOption,
    who: Who,
    column: Columns = None,
    crs: Crs = None,
    sheet: Sheet = None,
    layer: LayerName = None,
    date_order: DateOrder = None,
    strict: Strict = False,
    same_crag: SameCrag = None,
    words: Words = None,
    today: Today = None,
) -> None:
    """Start a book with the anchors of a register: from then on events are added to it."""
    with clear_errors(), words_of(words), progress() as step:
        from saltreach.errors import NoGoodRowsError, RecordError
        from saltreach.records.book import is_book, start_book
        from saltreach.vocabulary.words import CAUTION

        now = _now(today)
        step("register")
        if is_book(register):
            raise RecordError(
                f"{register} is a book already, and its history would be lost: copy the file, or "
                "write its anchors first (saltreach book export) and start from those"
            )
        reading = reading_of(column, crs, sheet, layer, date_order, strict, same_crag)
        found = _read(register, now, **reading)
        _listed(found.rejected, found.file)
        if not len(found.anchors):
            raise NoGoodRowsError(f"{found.file}: no row can be entered", found.rejected)
        step("book")
        made = start_book(book, found, who=who, now=now)
        typer.echo(f"{made.name}: {len(found.anchors)} anchors entered by {who.strip()}")
        typer.echo(CAUTION)
    raise typer.Exit(ROWS_REFUSED if len(found.rejected) else GOOD)


def book_add(
    register: RegisterFile,
    book: BookOption,
    who: Who,
    column: Columns = None,
    crs: Crs = None,
    sheet: Sheet = None,
    layer: LayerName = None,
    date_order: DateOrder = None,
    strict: Strict = False,
    same_crag: SameCrag = None,
    words: Words = None,
    today: Today = None,
) -> None:
    """Enter the anchors of a second register: those whose key is another's are refused."""
    with clear_errors(), words_of(words), progress() as step:
        from saltreach.records.book import open_book
        from saltreach.records.entering import joining
        from saltreach.vocabulary.words import CAUTION

        now = _now(today)
        step("register")
        reading = reading_of(column, crs, sheet, layer, date_order, strict, same_crag)
        found = _read(register, now, **reading)
        step("book")
        into = open_book(book)
        joined = joining(found, into.anchors(), into.events()["anchor_id"], who=who, on=now.date())
        into.append(joined.events, now=now)
        _listed(found.rejected, found.file)
        _listed(joined.rejected, found.file)
        typer.echo(
            f"{into.name}: {len(joined.events)} anchors entered by {who.strip()}, "
            f"{joined.known} known already, {len(joined.rejected)} refused"
        )
        typer.echo(CAUTION)
    raise typer.Exit(ROWS_REFUSED if len(found.rejected) + len(joined.rejected) else GOOD)


def book_export(
    book: BookArgument,
    out: OutFile,
    on: OnDay = None,
    as_known_on: KnownOn = None,
    partitions: Partitions = None,
) -> None:
    """Write the register of a book as a file: as it stands, as it stood, or as it was known."""
    with clear_errors(), progress() as step:
        from saltreach.errors import RecordError
        from saltreach.outputs.tables.register_files import write_register
        from saltreach.records.book import open_book
        from saltreach.vocabulary.words import CAUTION

        step("book")
        given = open_book(book)
        anchors = given.anchors(on=None if on is None else on.date(), known_on=_moment(as_known_on))
        if not len(anchors):
            raise RecordError(f"{given.name}: {_nothing(given, on, as_known_on)}")
        step("file")
        write_register(anchors, out, partitions=partitions)
        typer.echo(f"{out}: {len(anchors)} anchors")
        typer.echo(CAUTION)


def _nothing(given: Any, on: dt.datetime | None, known: str | None) -> str:
    """Why there is nothing to export."""
    start = given.about()["started_at"][:10]
    day = (known or "")[:10] or ("" if on is None else on.date().isoformat())
    if day and day < start:
        return f"the book was started on {start} and knows the region only from then on"
    return "no anchor is in place; nothing to export"


def _moment(text: str | None) -> dt.datetime | None:
    """A time as the user writes it, in UTC; a day alone is its end."""
    from saltreach.errors import OptionError

    if text is None:
        return None
    try:
        found = dt.datetime.fromisoformat(text.strip())
    except ValueError as error:
        raise OptionError(
            f"--as-known-on {text!r}: give a day or a time, 2026-05-31 or 2026-05-31T18:00"
        ) from error
    return found if len(text.strip()) > 10 else found + dt.timedelta(days=1, milliseconds=-1)


def book_check(book: BookArgument, mend: Mend = False) -> None:
    """Say whether a book is whole: its events as written, its layer of anchors what they say."""
    with clear_errors(), progress() as step:
        from saltreach.records.book import open_book
        from saltreach.records.book_check import check_book

        step("book")
        given = open_book(book)
        found = check_book(given)
        for sentence in (*found.events, *found.layer):
            typer.echo(sentence)
        if mend and found.layer and not found.events:
            given.rebuild()
            found = check_book(given)
            typer.echo(f"{given.name}: the layer of anchors was written anew")
        if found.events:
            tell(
                f"{given.name}: events were changed by another program; take the book from your "
                "backup, or hand the lost ones in again"
            )
        elif found.layer:
            tell(f"{given.name}: --mend writes the layer of anchors anew from the events")
        else:
            typer.echo(f"{given.name}: whole, {given.about()['events']} events")
    raise typer.Exit(GOOD if found.whole else ROWS_REFUSED)


def book_take_back(book: BookArgument, record: Key, who: Who, today: Today = None) -> None:
    """Take back what a record says; it stays in the history, and can be taken back again."""
    with clear_errors():
        from saltreach.records.book import open_book
        from saltreach.records.taking_back import taking_back

        now = _now(today)
        given = open_book(book)
        given.verify()
        events = taking_back(given.events(), record, who=who, on=now.date())
        done: Any = given.append(events, now=now)
        anchors = sorted({event.anchor_id for event in events})
        taken = counted(done.new, "event")
        typer.echo(f"{given.name}: {taken} taken back, of {', '.join(anchors)}")


def add_to(app: typer.Typer) -> None:
    """Put the group of commands on the program."""
    group = typer.Typer(
        no_args_is_help=True, help="A register that lives: every event of every anchor, kept."
    )
    group.command(
        "start", epilog="Example: saltreach book start anchors.csv --book region.gpkg --who Ana"
    )(book_start)
    group.command(
        "add", epilog="Example: saltreach book add north.csv --book region.gpkg --who Ana"
    )(book_add)
    group.command("export", epilog="Example: saltreach book export region.gpkg --out anchors.csv")(
        book_export
    )
    group.command("check", epilog="Example: saltreach book check region.gpkg")(book_check)
    group.command(
        "take-back",
        epilog="Example: saltreach book take-back region.gpkg trip-4-a7 --who Ana",
    )(book_take_back)
    app.add_typer(group, name="book")
