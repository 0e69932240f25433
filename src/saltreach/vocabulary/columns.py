"""Every column of every table, from one list: `columns.csv`.

Checks of a register, aggregation to sectors, the order of the tables, the figures of the map's
card, the chain that `--explain` prints, typed tables and the documentation derive from it. A new
column is its computation, one row there, and its labels where the map shows it.
"""

from __future__ import annotations

from dataclasses import dataclass

from saltreach.vocabulary import metals, words
from saltreach.vocabulary.tables import rows_of


@dataclass(frozen=True)
class Column:
    """One column: its name, kind, unit, range and meaning.

    `kind` is one of

    * text, number, integer, choice (one of `choices`), several (some of `choices`, between
      semicolons);
    * date: ISO text that may stop at the year or the month (`2014`, `2014-06`, `2014-06-12`);
    * day: a whole ISO date;
    * sentences: sentences joined by `words.SEPARATOR`;
    * probabilities: JSON, the chance of each of `choices`;
    * curve: JSON, a list of yearly probabilities;
    * in tables a user hands in (`saltreach.intake.cells` reads them): days (dates and spans of
      dates), season day (MM-DD of each year, or a day), time (HH:MM), weekdays, words (a list),
      skills (such a list), code (of a map's legend), lithology.

    `low` and `high` are the physically possible range, both ends allowed. `tables` names the
    tables that hold it. `stage` says who fills it: register, survey or user (what is handed in),
    layers, science, decisions or planning. `sector` is how a sector or a crag carries it
    (`saltreach.assessment.sectors`): key, median, min, max, worst (the last of `choices` that
    any anchor has), shared (the worst, or one below where few anchors have it), first (the
    earliest day), most common, counts of, number of, texts of another column, or own (worked out
    there). `decimals` and `shown` say where a reader meets it: on the map's page (`map`), among
    the figures of a sector's card (`card`), of an anchor (`anchor`), in a few words (`brief`), on
    the form of a look (`look`) and of a placing (`place`), among what is known before (`known`).
    `event` is the kind of event in a book that states it.
    `chain` is its place in the chain of values that `--explain` prints.
    """

    name: str
    kind: str
    meaning: str
    unit: str = ""
    low: float | None = None
    high: float | None = None
    choices: tuple[str, ...] = ()
    required: bool = False
    stage: str = "register"
    tables: tuple[str, ...] = ()
    sector: str = ""
    decimals: int | None = None
    chain: int | None = None
    shown: frozenset[str] = frozenset()
    event: str = ""


def _column(row: dict[str, str]) -> Column:
    def number(text: str) -> float | None:
        return float(text) if text else None

    choices = row["words"]
    return Column(
        name=row["name"],
        kind=row["kind"],
        meaning=row["meaning"],
        unit=row["unit"],
        low=number(row["low"]),
        high=number(row["high"]),
        choices=getattr(words, choices, None) or getattr(metals, choices) if choices else (),
        required=row["required"] == "yes",
        stage=row["stage"],
        tables=tuple(row["tables"].split()),
        sector=row["sector"],
        decimals=int(row["decimals"]) if row["decimals"] else None,
        chain=int(row["chain"]) if row["chain"] else None,
        shown=frozenset(row["shown"].split()),
        event=row["event"],
    )


COLUMNS: tuple[Column, ...] = tuple(map(_column, rows_of("columns.csv")))


def chance_of(column: Column, word: str) -> str:
    """Name of the typed column with the chance of one word of a column of probabilities.

    Examples
    --------
    >>> chance_of(columns_of("anchors")["category_probabilities"], "C3")
    'category_probability_C3'
    """
    return f"{column.name.removesuffix('probabilities')}probability_{word}"


def columns_of(table: str, *, shown: str = "") -> dict[str, Column]:
    """Columns of a table by name, in order.

    Parameters
    ----------
    table : str
        A name among `Column.tables`, e.g. ``"register"`` or ``"sectors"``.
    shown : str
        Only those a reader meets there, e.g. ``"card"``.

    Examples
    --------
    >>> columns_of("anchors")["steel_rate_um_y"].unit
    'µm/y'
    """
    found = [c for c in COLUMNS if table in c.tables and (not shown or shown in c.shown)]
    if table == "anchors":  # what the user gave comes first
        found.sort(key=lambda c: "register" not in c.tables)
    return {c.name: c for c in found}


CHAIN = sorted((c for c in COLUMNS if c.chain is not None), key=lambda c: c.chain or 0)
"""What explains an anchor, in the order the data flows."""
REGISTER_BY_NAME = columns_of("register")
ANCHORS_BY_NAME = columns_of("anchors")
SECTORS_BY_NAME = columns_of("sectors")
REGISTER: tuple[Column, ...] = tuple(REGISTER_BY_NAME.values())
"""Columns a register may hold, in the order they are written."""
SURVEY: tuple[Column, ...] = tuple(columns_of("survey").values())
"""Columns of a sector survey (rock mass), one row per sector; words and limits of RMR89."""
REQUIRED: tuple[str, ...] = tuple(c.name for c in REGISTER if c.required)
REJECTED_COLUMNS: tuple[str, ...] = tuple(columns_of("rejected"))
"""Columns of the table of refused rows."""
