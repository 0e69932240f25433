"""The tables a user may hand in beside the register: defaults and rules across columns.

Their columns are in `vocabulary/columns.csv`. Crag and sector are as the register spells them; an
empty sector means the whole crag.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import partial
from typing import Any

import pandas as pd

from saltreach.errors import LayerError, OptionError, RegisterError, SaltreachError
from saltreach.intake.check import RowRule
from saltreach.vocabulary.columns import Column, columns_of
from saltreach.vocabulary.metals import COSTS, GRADE_BY_NAME, PLACEABLE
from saltreach.vocabulary.words import CLOSED, INSPECT, NOT_REACHED, NOTE, PHOTO, UNKNOWN


@dataclass(frozen=True, eq=False)
class Table:
    """A table beside the register.

    Attributes
    ----------
    name : str
        Its name in the list of columns, and that of its sheet in a workbook.
    defaults : mapping
        What an empty cell means, by column; None where not given.
    unique : tuple of str
        Columns that together must not repeat.
    rules : tuple of RowRule
        Across columns; tried on rows whose cells are all good.
    limits : bool
        Whether it limits, forbids or promises: a row that is lost would be planned or advised
        through, so a refused one stops the work unless the user says to leave it out.
    no_strays : bool
        Whether a column that is not used, and holds numbers, days or words of a column, stops the
        work as a refused row does: a limit may stand in it. Of a table that keeps its good rows
        the file is refused as a whole, the others go on.
    filled_in : str
        Column whose empty cell says, in a plan's own sheet, that the visit is not done yet.
    error : type of error
        Raised where the table cannot be used. Where the table does not limit, every row of it is
        needed, and a refused one is never left out.
    unknown_is_empty : bool
        Whether `?`, `unknown` and the like are read as an empty cell: only where empty means
        unknown, never where it means a default.
    keeps_good : bool
        Whether its good rows are of use without the refused ones, which are listed; a table that
        limits lists them too.
    named_by : tuple of str
        Columns that only say what a row is about: one that fills in no other is not filled in yet.
    """

    name: str
    defaults: Mapping[str, Any] = field(default_factory=dict)
    unique: tuple[str, ...] = ()
    rules: tuple[RowRule, ...] = ()
    limits: bool = False
    no_strays: bool = False
    filled_in: str = ""
    error: type[SaltreachError] = RegisterError
    unknown_is_empty: bool = False
    keeps_good: bool = False
    named_by: tuple[str, ...] = ()

    @property
    def title(self) -> str:
        """The name in words."""
        return self.name.replace("_", " ")

    @property
    def columns(self) -> dict[str, Column]:
        """Its columns by name, in order."""
        return columns_of(self.name)


def _before(table: pd.DataFrame, last: str, first: str) -> pd.Series:
    """Where the last of two values that may be missing lies before the first."""
    both = table[first].notna() & table[last].notna()
    return both & (table[last].where(both, 0) < table[first].where(both, 0))


def of_metal(grade: str) -> str:
    """The metal of a grade; empty for no grade."""
    return GRADE_BY_NAME[grade].material if grade in GRADE_BY_NAME else ""


def _rises(table: pd.DataFrame, name: str) -> pd.Series:
    """Where a time is longer than in the next colder rock."""
    warming = table.sort_values("rock_temperature_c")[name]
    return (warming.diff() > 0).reindex(table.index)


_WHOLE_CRAG = {"sector": ""}

TEAMS = Table(
    "teams",
    {"people": 2, "skills": (), "away": (), "also": (), "starts": 9 * 60, "hours_per_day": 8.0},
    ("team",),
    (
        RowRule(("from", "until"), "service ends before it begins", "exchange from and until",
                lambda t: _before(t, "until", "from")),
        RowRule(("starts", "hours_per_day"), "the day ends after midnight",
                "start earlier or give fewer hours",
                lambda t: t["starts"] + t["hours_per_day"] * 60 > 24 * 60),
    ),
    limits=True,
    no_strays=True,
)  # fmt: skip
WINDOWS = Table(
    "windows",
    {**_WHOLE_CRAG, "access": CLOSED, "reason": ""},
    rules=(
        RowRule(("from", "until"), "one day repeats and the other is dated",
                "write both as MM-DD or both as YYYY-MM-DD",
                lambda t: t["from"].str.len() != t["until"].str.len()),
        RowRule(("from", "until"), "it ends before it begins", "exchange from and until",
                lambda t: (t["from"].str.len() == 10) & (t["until"].str.len() == 10)
                & _before(t, "until", "from")),
    ),
    limits=True,
    no_strays=True,
)  # fmt: skip
"""Closures and seasons. A repeating window may run over the end of the year (11-15 to 02-15), so
both hemispheres are served. Both of its days belong to it."""
TIDES = Table(
    "tides",
    _WHOLE_CRAG,
    rules=(
        RowRule(("from", "until"), "it ends before it begins",
                "give two rows for a window over midnight", lambda t: t["until"] <= t["from"]),
    ),
    limits=True,
    no_strays=True,
)  # fmt: skip
"""Windows of tide-dependent sectors; a sector in this table is open in its windows only."""
NEEDS = Table(
    "needs",
    {**_WHOLE_CRAG, "skills": (), "people": 1, "access_hours": 0.0},
    ("crag", "sector"),
    limits=True,
    no_strays=True,
)  # fmt: skip
TRAVEL = Table(
    "travel",
    unique=("from", "to"),
    limits=True,
)
DONE = Table(
    "done",
    {**_WHOLE_CRAG, "kind": INSPECT},
    limits=True,
    filled_in="done_on",
)
"""Visits that were done since the last plan."""
SURVEY = Table("survey", unique=("crag", "sector"), limits=True, unknown_is_empty=True)
PRICES = Table(
    "prices",
    {"currency": "", "example": "no", "grade": "", "legs": 1},
    tuple(n for n in columns_of("prices") if n not in ("price", "currency", "example", "how_many")),
    (
        RowRule(("item", "metal"), "an anchor without its metal",
                f"give one of {', '.join(PLACEABLE)}",
                lambda t: ~t["item"].isin(COSTS) & t["metal"].isna()),
        RowRule(("diameter_mm", "length_mm"), "a piece of the stock list needs both",
                "give diameter and length, or leave both empty for a price by metal",
                lambda t: t["diameter_mm"].isna() != t["length_mm"].isna()),
        RowRule(("grade", "metal"), "the grade is of another metal",
                "correct the wrong one of the two, or leave the grade empty",
                lambda t: (t["grade"] != "") & (t["grade"].map(of_metal) != t["metal"])),
    ),
    limits=True,
    no_strays=True,
    error=OptionError,
)  # fmt: skip
DATA_SHEET = Table(
    "data_sheet",
    unique=("rock_temperature_c",),
    rules=(
        RowRule(("gel_min", "cure_min"), "it sets after it may be loaded",
                "are the two swapped?", lambda t: t["gel_min"] > t["cure_min"]),
        *(
            RowRule((name, "rock_temperature_c"), "longer than in colder rock",
                    "check the data sheet", partial(_rises, name=name))
            for name in ("gel_min", "cure_min")
        ),
    ),
    error=OptionError,
)  # fmt: skip
"""Times of an adhesive by the temperature of the rock, from its own data sheet."""
ROCK_MAPPING = Table(
    "rock_mapping",
    rules=(
        RowRule(("code", "lithology"), "the code stands for another rock already",
                "keep one row per code",
                lambda t: t["lithology"] != t.groupby("code")["lithology"].transform("first")),
    ),
    error=LayerError,
)  # fmt: skip
SETTLE = Table(
    "settle",
    {"said": "", "proposed": "", "answer": "", "who": ""},
    rules=(
        RowRule(("answer", "who"), "an answer without who gives it", "write who settles it",
                lambda t: t["answer"].ne("") & t["who"].eq("")),
    ),
    keeps_good=True,
)  # fmt: skip
"""Answers to what two records say differently; written by `returns`, filled in, read again."""
WORDS = Table("words", error=OptionError)
"""Words of your own, which come before ours: `--words FILE` of every command that reads a table."""


def _stated(table: pd.DataFrame) -> pd.Series:
    """Whether a row states anything of an anchor or its place."""
    said = [n for n, c in columns_of("returns").items() if c.event and c.event not in (NOTE, PHOTO)]
    known = table[said].notna() & ~table[said].isin(["", UNKNOWN, ()])
    return known.any(axis=1)


_PLACE = ("sector", "lon", "lat")
RETURNS = Table(
    "returns",
    rules=(
        RowRule(("done",), "it was not reached, and yet the row states something of it",
                "say what was done, or leave the rest empty",
                lambda t: t["done"].eq(NOT_REACHED) & _stated(t)),
        RowRule(("replaces", "takes_back"), "it corrects one record and takes one back",
                "write two rows", lambda t: t["replaces"].notna() & t["takes_back"].notna()),
        RowRule(("embedment_mm", "diameter_mm"), "embedment shorter than the diameter",
                "give both in millimetres (not cm), and check that they are not exchanged",
                lambda t: _before(t, "embedment_mm", "diameter_mm")),
        RowRule(("piece_length_mm", "diameter_mm"), "the piece is shorter than its diameter",
                "give both in millimetres (not cm), and check that they are not exchanged",
                lambda t: _before(t, "piece_length_mm", "diameter_mm")),
        RowRule(("hole_diameter_mm", "diameter_mm"), "the hole is narrower than the piece",
                "are the two exchanged?", lambda t: _before(t, "hole_diameter_mm", "diameter_mm")),
        RowRule(("grade", "material"), "the grade is of another metal",
                "correct the wrong one of the two, or leave one empty",
                lambda t: t["grade"].notna() & t["material"].notna() & (t["material"] != UNKNOWN)
                & (t["grade"].fillna("").map(of_metal) != t["material"])),
        RowRule(("loaded_on", "done_on"), "loaded before it was set",
                "correct the wrong one of the two days",
                lambda t: _before(t, "loaded_on", "done_on")),
        RowRule(("loaded_at", "set_at"), "loaded before it was set",
                "correct the wrong one of the two times, or give loaded_on",
                lambda t: t["loaded_on"].isna() & _before(t, "loaded_at", "set_at")),
    ),
    no_strays=True,
    unknown_is_empty=True,
    keeps_good=True,
    named_by=("record_id", "trip", "anchor_id", "crag", *_PLACE),
)  # fmt: skip
"""What people bring back: one row for each visit to one anchor."""
TABLES = (SURVEY, TEAMS, WINDOWS, TIDES, NEEDS, TRAVEL, DONE, PRICES, DATA_SHEET, ROCK_MAPPING,
          RETURNS, WORDS)  # fmt: skip
