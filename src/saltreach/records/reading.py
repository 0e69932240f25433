"""A register from wherever it is kept: a file, a frame, or a book in a database."""

from __future__ import annotations

from dataclasses import replace
from functools import wraps
from typing import Any

from saltreach.intake.read import Register
from saltreach.intake.read import read_register as read_file
from saltreach.records.address import Address, address_of
from saltreach.records.book import open_book


@wraps(read_file)
def read_register(source: Any, **reading: Any) -> Register:
    """As `intake.read_register`; the source may be the address of a book in a database too."""
    database: Address | None = address_of(source)
    if database is None:
        return read_file(source, **reading)
    book = open_book(database)
    found = read_file(book.anchors(), name=database.short, **reading)
    return replace(found, format=book.format)
