"""A register from wherever it is kept: a file, a frame, or a book in a database."""

from __future__ import annotations

from dataclasses import replace
from functools import wraps
from os import PathLike
from pathlib import Path
from typing import Any

from saltreach.assessment.assess import assess as assess_register
from saltreach.assessment.result import Assessment
from saltreach.intake.options import Options
from saltreach.intake.read import Register
from saltreach.intake.read import read_register as read_file
from saltreach.records.address import Address, address_of
from saltreach.records.book import is_book, open_book
from saltreach.records.failed import failed_before
from saltreach.records.history import last_events


@wraps(read_file)
def read_register(source: Any, **reading: Any) -> Register:
    """As `intake.read_register`; the source may be the address of a book in a database too.

    Of a book, what failed and is no longer in place goes along: it speaks for its like. So does
    what happened last at each anchor.
    """
    database: Address | None = address_of(source)
    if database is None:
        found = read_file(source, **reading)
        is_path = isinstance(source, str | PathLike)
        book = open_book(Path(source)) if is_path and is_book(Path(source)) else None
    else:
        book = open_book(database)
        found = read_file(book.anchors(), name=database.short, **reading)
        found = replace(found, format=book.format)
    if book is None:
        return found
    book.verify()
    events = book.events()
    gone, notes = failed_before(events), found.notes
    if gone is not None:
        notes = (*notes, f"{len(gone)} that failed and are gone still count for their like")
    return replace(found, failed_before=gone, last_events=last_events(events), notes=notes)


@wraps(assess_register)
def assess(register: Any, options: Options | None = None, **more: Any) -> Assessment:
    """As `assessment.assess`; what it reads may be a book."""
    if not isinstance(register, Register):
        today = options.today if isinstance(options, Options) else None
        register = read_register(register, today=today)
    return assess_register(register, options, **more)
