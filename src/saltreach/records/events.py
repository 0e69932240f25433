"""One event of an anchor: who saw or did what, when. Events are added, never changed."""

from __future__ import annotations

import datetime as dt
import hashlib
import json
import math
import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from functools import lru_cache
from typing import Any

import numpy as np
import pandas as pd

from saltreach.errors import RecordError
from saltreach.intake.names import whole
from saltreach.vocabulary.columns import REGISTER_BY_NAME, columns_of
from saltreach.vocabulary.words import EVENT_KINDS, JOIN

COLUMNS = tuple(columns_of("events"))
"""Columns of a frame of events, in order."""
KEY = "anchor_id"
FACT = COLUMNS[1 : COLUMNS.index("source_file")]
"""What makes the key of an event: all of it but where and when it came in."""
_ID_DIGITS = 32
_DATE = re.compile(r"\d{4}(-\d\d(-\d\d)?)?")


def plain_value(value: Any) -> Any:
    """A value as JSON holds it: whole floats as whole numbers, NaN as nothing.

    Examples
    --------
    >>> plain_value(12.0), plain_value(0.5), plain_value(float("nan")), plain_value("W2")
    (12, 0.5, None, 'W2')
    """
    if hasattr(value, "item"):  # of numpy
        value = value.item()
    if value is pd.NA or value is pd.NaT:
        return None
    if isinstance(value, float):
        if math.isnan(value):
            return None
        if math.isinf(value):
            raise RecordError(f"an event states {value}: no value can be infinite; leave it out")
        return int(value) if value.is_integer() and abs(value) < 1e15 else value
    if isinstance(value, str):
        return whole(value)
    if isinstance(value, list | tuple):
        return [plain_value(one) for one in value]
    return value


def canonical(says: Mapping[str, Any]) -> str:
    """What an event states as one JSON text, whatever the order it was given in.

    Examples
    --------
    >>> canonical({"tap_response": "hollow", "condition": 3.0})
    '{"condition":3,"tap_response":"hollow"}'
    """
    plain = {str(name): plain_value(value) for name, value in says.items()}
    try:
        return _json(plain)
    except (TypeError, ValueError) as error:
        raise RecordError(
            f"an event states what JSON cannot hold ({error}); give texts, numbers and lists"
        ) from error


_json = json.JSONEncoder(
    sort_keys=True, ensure_ascii=False, separators=(",", ":"), allow_nan=False
).encode


def event_id(
    anchor_id: str, kind: str, happened_on: str, who: str, says: str, record_id: str, replaces: str
) -> str:
    """The key of an event: the same fact has the same key, whatever file brought it.

    Parameters
    ----------
    anchor_id, kind, happened_on, who, record_id, replaces : str
        As of `Event`.
    says : str
        What it states, as `canonical` writes it.

    Returns
    -------
    str
        The first 32 hexadecimal digits of SHA-256 (FIPS 180-4) over these as a JSON list.
    """
    fact = _json([anchor_id, kind, happened_on, who, says, record_id, replaces])
    return hashlib.sha256(fact.encode("utf-8", "surrogatepass")).hexdigest()[:_ID_DIGITS]


@lru_cache(maxsize=50_000)
def is_date(text: str) -> bool:
    """Whether a text is an ISO day, month or year.

    Examples
    --------
    >>> is_date("2026"), is_date("2024-02-29"), is_date("2026-02-29"), is_date("12.5.2026")
    (True, True, False, False)
    """
    if not _DATE.fullmatch(text):
        return False
    try:
        dt.date.fromisoformat((text + "-01-01")[:10])
    except ValueError:
        return False
    return True


def _wrong(name: str, value: Any) -> str:
    """Why a column of the register cannot hold a value; empty where it can."""
    column = REGISTER_BY_NAME.get(name)
    if column is None or value is None or value is pd.NA or value != value:
        return ""
    if name == KEY:
        return "of another anchor: it is the key; write a new event for the other"
    if column.kind in ("number", "integer"):
        if isinstance(value, bool) or not isinstance(value, int | float | np.integer | np.floating):
            return "is no number; give one"
        low, high = column.low, column.high
        if (low is not None and value < low) or (high is not None and value > high):
            return f"is not in {low:g}..{high:g}"
        return ""
    if not isinstance(value, str):
        return "is no text; give one"
    if column.kind == "date":
        return "" if is_date(value) else "is no date; give it as 2026-05-31, 2026-05 or 2026"
    words = value.split(JOIN) if column.kind == "several" and value else [value]
    if column.choices and not set(words) <= set(column.choices):
        return f"is not one of the words of {name}: {', '.join(column.choices)}"
    return ""


@dataclass(frozen=True)
class Event:
    """What happened to one anchor, or was seen there.

    Attributes
    ----------
    anchor_id : str
        The anchor.
    kind : str
        One of `words.EVENT_KINDS`.
    happened_on : str
        ISO day, or month or year where no more is known.
    who : str
        Who did it or says so.
    says : mapping
        Column -> value of the columns it states; None states that a value is not known.
    record_id : str
        Record of a return that it is part of.
    replaces : str
        Key of the event that it corrects or takes back.
    source_file, source_sha256 : str
        Where it came from; no part of its key.
    """

    anchor_id: str
    kind: str
    happened_on: str
    who: str
    says: Mapping[str, Any] = field(default_factory=dict)
    record_id: str = ""
    replaces: str = ""
    source_file: str = ""
    source_sha256: str = ""

    def __post_init__(self) -> None:
        """Refuse what no book can hold.

        Raises
        ------
        RecordError
            The kind is none of ours; anchor, day or person is missing; or a column of the
            register is given what it cannot hold.
        """
        if self.kind not in EVENT_KINDS:
            raise RecordError(
                f"no event is of the kind {self.kind!r}; give one of {', '.join(EVENT_KINDS)}"
            )
        where = f"an event ({self.kind}, anchor {self.anchor_id!r})"
        for name in ("anchor_id", "happened_on", "who"):
            if not getattr(self, name).strip():
                raise RecordError(f"{where} has no {name}; give it")
        if not is_date(self.happened_on):
            raise RecordError(
                f"{where} is of {self.happened_on!r}, no day, month or year of that form; give it "
                "as 2026-05-31, 2026-05 or 2026"
            )
        for name, value in self.says.items():
            wrong = _wrong(name, value)
            if wrong:
                raise RecordError(f"{where} states {name} {value!r} {wrong}")

    @property
    def says_json(self) -> str:
        """What it states as JSON."""
        return canonical(self.says)

    @property
    def event_id(self) -> str:
        """Its key."""
        return event_id(
            self.anchor_id, self.kind, self.happened_on, self.who, self.says_json,
            self.record_id, self.replaces,
        )  # fmt: skip


def frame_of(events: Iterable[Event], *, entered_at: str = "", first_seq: int = 1) -> pd.DataFrame:
    """Events as a frame, in the order given.

    Parameters
    ----------
    events : iterable of Event
        The events.
    entered_at : str
        When they were written into a book, ISO in UTC.
    first_seq : int
        Place of the first in the order of entry.

    Returns
    -------
    DataFrame
        Columns `COLUMNS`; all text but `seq`.
    """
    rows = []
    for at, event in enumerate(events):
        says = event.says_json
        key = event_id(
            event.anchor_id, event.kind, event.happened_on, event.who, says, event.record_id,
            event.replaces,
        )  # fmt: skip
        rows.append(
            (
                key, event.anchor_id, event.kind, event.happened_on, event.who, says,
                event.record_id, event.replaces, event.source_file, event.source_sha256,
                entered_at, first_seq + at,
            )
        )  # fmt: skip
    return frame_of_rows(rows)


def frame_of_rows(rows: list[tuple[Any, ...]]) -> pd.DataFrame:
    """A frame of events from rows with the values of `COLUMNS` in order."""
    columns = list(zip(*rows, strict=True)) if rows else [()] * len(COLUMNS)
    return pd.DataFrame(
        {
            name: pd.Series(list(values), dtype="int64" if name == "seq" else "str")
            for name, values in zip(COLUMNS, columns, strict=True)
        }
    )
