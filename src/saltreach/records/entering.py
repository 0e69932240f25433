"""Rows of a register as events: what is entered when a book is started or another one joins it."""

from __future__ import annotations

import datetime as dt
from typing import Any

import numpy as np
import pandas as pd

from saltreach.errors import RecordError
from saltreach.intake.formats import cell_text
from saltreach.intake.read import Register
from saltreach.records.events import KEY, Event
from saltreach.vocabulary.columns import REGISTER_BY_NAME
from saltreach.vocabulary.words import ENTERED, UNKNOWN

_OF_THE_READING = ["geometry", "source_row"]


def entered(register: Register, *, who: str, on: dt.date) -> list[Event]:
    """One event per good row of a register, which states every cell that is known.

    Parameters
    ----------
    register : Register
        What was read.
    who : str
        Who enters it.
    on : date
        The day.

    Raises
    ------
    RecordError
        Nobody is named.
    """
    if not who.strip():
        raise RecordError("nobody is named: say who enters the register (--who NAME)")
    table = pd.DataFrame(register.anchors).drop(columns=_OF_THE_READING, errors="ignore")
    known = table.notna() & (table != UNKNOWN)
    said: list[dict[str, Any]] = [{} for _ in range(len(table))]
    for name in table.columns.drop(KEY):
        cells = table[name].to_numpy(object)
        for at in np.flatnonzero(known[name].to_numpy(bool)):
            said[at][name] = cells[at] if name in REGISTER_BY_NAME else cell_text(cells[at])
    return [
        Event(
            anchor, ENTERED, on.isoformat(), who.strip(), says,
            source_file=register.file, source_sha256=register.sha256,
        )
        for anchor, says in zip(table[KEY], said, strict=True)
    ]  # fmt: skip
