"""The tables a user may hand in beside the register: columns, defaults, rules across columns.

Crag and sector are as the register spells them; an empty sector means the whole crag.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import partial
from typing import Any

import pandas as pd

from saltreach.errors import LayerError, OptionError, SaltreachError
from saltreach.intake.check import RowRule
from saltreach.vocabulary.columns import SURVEY as SURVEY_COLUMNS
from saltreach.vocabulary.columns import Column
from saltreach.vocabulary.metals import BONDED, GRADE_BY_NAME, GRADES, MECHANICAL, PLACEABLE
from saltreach.vocabulary.words import YES_NO

CLOSED, OPEN_ONLY = "closed", "open only"
ACCESS = (CLOSED, OPEN_ONLY)
INSPECT, REBOLT = "inspect", "rebolt"
VISITS = (INSPECT, REBOLT)
KINDS = (BONDED, MECHANICAL)
COSTS = ("resin_per_ml", "work_per_anchor", "extra_per_anchor", "travel_per_sector")


@dataclass(frozen=True, eq=False)
class Table:
    """A table beside the register.

    Attributes
    ----------
    name : str
        What it holds; also the name of its sheet in a workbook.
    columns : tuple of Column
        In order. Besides the kinds of the register there are those of `cells.READERS`.
    defaults : mapping
        What an empty cell means, by column; None where not given.
    unique : tuple of str
        Columns that together must not repeat.
    rules : tuple of RowRule
        Across columns; tried on rows whose cells are all good.
    error : type, optional
        Given for a table of which every row is needed: the first refused one raises it.
    """

    name: str
    columns: tuple[Column, ...]
    defaults: Mapping[str, Any] = field(default_factory=dict)
    unique: tuple[str, ...] = ()
    rules: tuple[RowRule, ...] = ()
    error: type[SaltreachError] | None = None

    def column(self, name: str) -> Column:
        """The column of that name."""
        return next(c for c in self.columns if c.name == name)


def _c(name: str, kind: str, meaning: str, **more: Any) -> Column:
    return Column(name, kind, meaning, stage="intake", **more)


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


_PLACE = (
    _c("crag", "text", "crag, as the register spells it", required=True),
    _c("sector", "text", "sector; empty means the whole crag"),
)
_WHOLE_CRAG = {"sector": ""}

TEAMS = Table(
    "teams",
    (
        _c("team", "text", "name of the team", required=True),
        _c("lon", "number", "home of the team, WGS 84 longitude", unit="degrees", low=-180,
           high=180, required=True),
        _c("lat", "number", "home of the team, WGS 84 latitude", unit="degrees", low=-90, high=90,
           required=True),
        _c("people", "integer", "number of people", low=1, high=50),
        _c("skills", "words", "skills such as rope access; rebolting"),
        _c("days_free", "weekdays", "free weekdays, e.g. SA SU or 1SA 3SA", required=True),
        _c("days_per_month", "integer", "most days in a calendar month", low=0, high=31),
        _c("from", "day", "first day of service"),
        _c("until", "day", "last day of service"),
        _c("away", "days", "dates the team is not there, e.g. 2027-08-01..2027-08-31"),
        _c("also", "days", "further free dates"),
        _c("starts", "time", "time the team leaves home"),
        _c("hours_per_day", "number", "hours from door to door", unit="hours", low=1, high=16),
    ),
    {"people": 2, "skills": (), "away": (), "also": (), "starts": 9 * 60, "hours_per_day": 8.0},
    ("team",),
    (
        RowRule(("from", "until"), "service ends before it begins", "exchange from and until",
                lambda t: _before(t, "until", "from")),
        RowRule(("starts", "hours_per_day"), "the day ends after midnight",
                "start earlier or give fewer hours",
                lambda t: t["starts"] + t["hours_per_day"] * 60 > 24 * 60),
    ),
)  # fmt: skip
WINDOWS = Table(
    "windows",
    (
        *_PLACE,
        _c("access", "choice", "closed, or open only", choices=ACCESS),
        _c("from", "season day", "first day: MM-DD each year, or YYYY-MM-DD", required=True),
        _c("until", "season day", "last day: MM-DD each year, or YYYY-MM-DD", required=True),
        _c("reason", "text", "why, e.g. nesting"),
    ),
    {**_WHOLE_CRAG, "access": CLOSED, "reason": ""},
    rules=(
        RowRule(("from", "until"), "one day repeats and the other is dated",
                "write both as MM-DD or both as YYYY-MM-DD",
                lambda t: t["from"].str.len() != t["until"].str.len()),
        RowRule(("from", "until"), "it ends before it begins", "exchange from and until",
                lambda t: (t["from"].str.len() == 10) & (t["until"].str.len() == 10)
                & _before(t, "until", "from")),
    ),
)  # fmt: skip
"""Closures and seasons. A repeating window may run over the end of the year (11-15 to 02-15), so
both hemispheres are served. Both of its days belong to it."""
TIDES = Table(
    "tides",
    (
        *_PLACE,
        _c("date", "day", "day of the window", required=True),
        _c("from", "time", "begin of the window, local time", required=True),
        _c("until", "time", "end of the window, local time", required=True),
    ),
    _WHOLE_CRAG,
    rules=(
        RowRule(("from", "until"), "it ends before it begins",
                "give two rows for a window over midnight", lambda t: t["until"] <= t["from"]),
    ),
)  # fmt: skip
"""Windows of tide-dependent sectors; a sector in this table is open in its windows only."""
NEEDS = Table(
    "needs",
    (
        *_PLACE,
        _c("skills", "words", "skills a team must have"),
        _c("people", "integer", "least number of people", low=1, high=50),
        _c("access_hours", "number", "walk-in and way back", unit="hours", low=0, high=12),
        _c("hours_per_anchor", "number", "inspection time of one anchor", unit="hours", low=0.01,
           high=8),
    ),
    {**_WHOLE_CRAG, "skills": (), "people": 1, "access_hours": 0.0},
    ("crag", "sector"),
)  # fmt: skip
TRAVEL = Table(
    "travel",
    (
        _c("from", "text", "team or crag", required=True),
        _c("to", "text", "team or crag", required=True),
        _c("hours", "number", "travel time one way", unit="hours", low=0, high=48, required=True),
    ),
    unique=("from", "to"),
)
DONE = Table(
    "done",
    (
        *_PLACE,
        _c("kind", "choice", "what was done", choices=VISITS),
        _c("done_on", "day", "day it was done", required=True),
    ),
    {**_WHOLE_CRAG, "kind": INSPECT},
)
"""Visits that were done since the last plan."""
SURVEY = Table("survey", SURVEY_COLUMNS, unique=("crag", "sector"))
PRICES = Table(
    "prices",
    (
        _c("item", "choice", "an anchor's kind, or what the price is of", choices=(*KINDS, *COSTS),
           required=True),
        _c("metal", "choice", "metal of the anchor", choices=PLACEABLE),
        _c("price", "number", "price of one", low=0, high=1e6, required=True),
        _c("currency", "text", "currency of all prices"),
        _c("example", "choice", "yes: invented, and every output says so", choices=YES_NO),
        _c("diameter_mm", "number", "diameter of a piece of the stock list", unit="mm", low=4,
           high=40),
        _c("length_mm", "number", "its length in the rock", unit="mm", low=20, high=500),
        _c("grade", "choice", "its grade", choices=tuple(g.name for g in GRADES)),
        _c("legs", "integer", "its legs, 1 or 2", low=1, high=2),
        _c("how_many", "integer", "how many there are; empty: no limit", low=0, high=1e6),
    ),
    {"currency": "", "example": "no", "grade": "", "legs": 1},
    ("item", "metal", "grade", "diameter_mm", "length_mm", "legs"),
    (
        RowRule(("item", "metal"), "an anchor without its metal",
                f"give one of {', '.join(PLACEABLE)}",
                lambda t: t["item"].isin(KINDS) & t["metal"].isna()),
        RowRule(("diameter_mm", "length_mm"), "a piece of the stock list needs both",
                "give diameter and length, or leave both empty for a price by metal",
                lambda t: t["diameter_mm"].isna() != t["length_mm"].isna()),
        RowRule(("grade", "metal"), "the grade is of another metal",
                "correct the wrong one of the two, or leave the grade empty",
                lambda t: (t["grade"] != "") & (t["grade"].map(of_metal) != t["metal"])),
    ),
    OptionError,
)  # fmt: skip
DATA_SHEET = Table(
    "data sheet",
    (
        _c("rock_temperature_c", "number", "temperature of the rock; of a band its lower end",
           unit="degrees Celsius", low=-40, high=60, required=True),
        _c("gel_min", "number", "time until it sets, in a dry hole", unit="minutes", low=0.1,
           high=100_000, required=True),
        _c("cure_min", "number", "time until it may be loaded, in a dry hole", unit="minutes",
           low=0.1, high=100_000, required=True),
    ),
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
    "rock mapping",
    (
        _c("code", "code", "entry of the map's legend", required=True),
        _c("lithology", "lithology", "its rock, or unknown", required=True),
    ),
    rules=(
        RowRule(("code", "lithology"), "the code stands for another rock already",
                "keep one row per code",
                lambda t: t["lithology"] != t.groupby("code")["lithology"].transform("first")),
    ),
    error=LayerError,
)  # fmt: skip
TABLES = (SURVEY, TEAMS, WINDOWS, TIDES, NEEDS, TRAVEL, DONE, PRICES, DATA_SHEET, ROCK_MAPPING)
