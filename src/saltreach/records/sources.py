"""What a person learns from: books, registers, and folders of results."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace
from datetime import date
from pathlib import Path

import pandas as pd

from saltreach.assessment.assess import assess
from saltreach.assessment.files import read_results
from saltreach.errors import OptionError
from saltreach.intake import Register, read_register
from saltreach.intake.lessons import Lessons
from saltreach.intake.options import Options
from saltreach.intake.parts import rows_in
from saltreach.records.book import is_book, open_book
from saltreach.records.lessons import lessons_of
from saltreach.records.state import state_of
from saltreach.records.watched import Source, seen_in, seen_of
from saltreach.vocabulary.words import PULLED, REMOVED


def learned(
    addresses: Sequence[str | Path],
    options: Options | None = None,
    *,
    today: date | None = None,
) -> Lessons:
    """What looks, tests and measurements teach.

    Parameters
    ----------
    addresses : sequence of str or Path
        Books, registers, folders of results; a book holds the most.
    options : Options, optional
        How books and registers are assessed.
    today : date, optional
        What happened later is left out; that of `options` by default, else the current day.

    Raises
    ------
    OptionError
        Results that were made with lessons.
    SaltreachError
        What cannot be read or assessed.
    """
    options = options or Options()
    day = today or options.today or date.today()
    return lessons_of([source_of(address, options, day) for address in addresses], day)


def source_of(
    address: str | Path,
    options: Options,
    today: date,
    *,
    on_step: Callable[[str], None] = lambda _: None,
    on_register: Callable[[Register], None] = lambda _: None,
) -> Source:
    """A book, a register or a folder of results as something to learn from.

    Parameters
    ----------
    address : str or Path
        Of a book (a file, or an address of a database): all its events. Of a register, or
        of results: each anchor's last look.
    options : Options
        How books and registers are assessed; what was learned before is never counted twice.
    today : date
        Day that the assessment speaks for.
    on_step : callable, optional
        Told the name of each step as it begins.
    on_register : callable, optional
        Shown a register as it was read.

    Raises
    ------
    OptionError
        Results that were made with lessons.
    SaltreachError
        What cannot be read or assessed.
    """
    options = replace(options, learned_file=None, today=today)
    path = Path(str(address))
    if not is_book(address):
        if path.is_dir():
            return _of_results(path)
        register = read_register(path, today=today)
        on_register(register)
        result = assess(register, options, on_step=on_step)
        return Source(_working(result.working), seen_in(result.working), register.file,
                      str(register.sha256), rows_in(register.rejected))  # fmt: skip
    book = open_book(address)
    events = book.events()
    # what was removed or pulled out had a place too
    ever = state_of(events[~events["kind"].isin([REMOVED, PULLED])])
    result = assess(read_register(ever, today=today), options, on_step=on_step)
    return Source(_working(result.working), seen_of(events), Path(book.name).name, book.checksum)


def _working(table: pd.DataFrame | None) -> pd.DataFrame:
    if table is None:
        raise OptionError("only a fresh assessment can be learned from")
    return table


def _of_results(folder: Path) -> Source:
    """Results as they were written: hazards from their columns, no rock."""
    result = read_results(folder)
    if result.provenance["options"].get("learned_file"):
        raise OptionError(
            f"{folder}: these results were made with --learned, and nothing is learned twice: "
            "give results made without it"
        )
    table = pd.DataFrame(result.flat.anchors.drop(columns="geometry"))
    text = table.select_dtypes(include=["object", "string"]).columns
    table[text] = table[text].where(table[text] != "")
    table = table.assign(rock_kn_p05=float("nan"), rock_kn_p50=float("nan"))
    table["material"] = table["material"].fillna("unknown")
    table["hanger_material"] = table["hanger_material"].fillna("unknown")
    register = result.provenance["register"]
    return Source(table, seen_in(table), str(register["file"]), str(register["sha256"]))
