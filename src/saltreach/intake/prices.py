"""What anchors cost: price classes from the user's own file, TOML, CSV or XLSX.

saltreach holds no prices. The demo's are invented and marked as examples.
"""

from __future__ import annotations

from dataclasses import fields
from pathlib import Path
from typing import Annotated, Any

from pydantic import Field

from saltreach.errors import OptionError
from saltreach.intake.settings import NOT_SET, OneOf, Several, checked, read_toml, record
from saltreach.intake.sheets import NOTHING, Sheet, read_table, settled
from saltreach.intake.table_files import READERS
from saltreach.intake.tables import PRICES, of_metal
from saltreach.vocabulary.metals import BONDED, COSTS, GRADE_NAMES, MECHANICAL, PLACEABLE


def _as(name: str) -> Any:
    """Range and meaning that the table of prices gives a column."""
    column = PRICES.columns[name]
    return Field(ge=column.low, le=column.high, description=column.meaning)


KINDS = (BONDED, MECHANICAL)
Kind = Annotated[str, OneOf(KINDS)]
Metal = Annotated[str, OneOf(PLACEABLE)]
Price = Annotated[float, Field(ge=PRICES.columns["price"].low, le=PRICES.columns["price"].high)]


@record
class Piece:
    """One line of a stock list: what can be had, in whole pieces."""

    kind: Kind
    """How it is anchored."""
    metal: Metal
    """Metal of the anchor."""
    diameter_mm: Annotated[float, _as("diameter_mm")]
    length_mm: Annotated[float, _as("length_mm")]
    price: Annotated[float, _as("price")]
    grade: Annotated[str, OneOf(("", *GRADE_NAMES)), _as("grade")] = ""
    legs: Annotated[int, _as("legs")] = 1
    how_many: Annotated[int, _as("how_many")] | None = None

    def __post_init__(self) -> None:
        """Refuse a grade of another metal."""
        if self.grade and of_metal(self.grade) != self.metal:
            own = ", ".join(g for g in GRADE_NAMES if of_metal(g) == self.metal)
            raise OptionError(
                f"grade {self.grade!r} is none of {self.metal}; give one of {own}, or leave it out"
            )

    @property
    def label(self) -> str:
        """The piece in words, for lists."""
        legs = f"{self.legs} legs of " if self.legs > 1 else ""
        return (
            f"{self.kind} {self.grade or self.metal}, {legs}{self.diameter_mm:g} x "
            f"{self.length_mm:g} mm"
        )


@record
class Costs:
    """Prices of one currency besides those by metal."""

    stock: Several[Piece] = ()
    """Pieces that can be had; where there are any, nothing else is advised or bought."""
    resin_per_ml: Price = 0.0
    """Adhesive, by the millilitre."""
    work_per_anchor: Price = 0.0
    """Paid work, if any."""
    extra_per_anchor: Price = 0.0
    """Drill bits, nozzles, brushes."""
    travel_per_sector: Price = 0.0
    """Once for each sector rebolted."""
    currency: str = ""
    """Its name, for the tables."""
    example: bool = False
    """Invented prices: every output says so."""


@record
class PriceFile(Costs):
    """Prices as the TOML file says them."""

    bonded: dict[Metal, Price] = Field(default_factory=dict)
    """Price of one bonded anchor by metal; what is not given cannot be chosen."""
    mechanical: dict[Metal, Price] = Field(default_factory=dict)
    """Price of one mechanical anchor by metal."""


@record
class Prices(Costs):
    """Prices of one currency."""

    anchors: dict[tuple[Kind, Metal], Price] = Field(default_factory=dict)
    """Price of one anchor by kind and metal; what is not in it cannot be chosen."""
    source: Annotated[str, NOT_SET] = ""
    """Name of the file."""
    notes: Annotated[tuple[str, ...], NOT_SET] = ()
    """What was ignored or assumed in a table."""
    left_out: Annotated[tuple[str, ...], NOT_SET] = ()
    """Sentences on what was refused of a table and left out."""

    def limited(self) -> dict[str, int]:
        """How many there are of each piece that may run out; two lots of one piece are one."""
        lots: dict[str, list[int | None]] = {}
        for piece in self.stock:
            lots.setdefault(piece.label, []).append(piece.how_many)
        return {
            label: sum(n for n in numbers if n is not None)
            for label, numbers in lots.items()
            if None not in numbers
        }

    def stock_metals(self) -> frozenset[str] | None:
        """Metals of the pieces that are bonded; None without a stock list."""
        if not self.stock:
            return None
        return frozenset(piece.metal for piece in self.stock if piece.kind == BONDED)


def read_prices(path: str | Path, *, leave_out_refused: bool = False) -> Prices:
    """Prices of a file.

    TOML has the names of `PriceFile`. CSV and XLSX have the columns of `tables.PRICES`: an item
    is bonded, mechanical or one of the single prices; a row with a diameter and a length is a
    piece of the stock list.

    Parameters
    ----------
    path : path
        The file.
    leave_out_refused : bool
        Whether to go on without the refused rows of a table; `Prices.left_out` then names them.

    Raises
    ------
    OptionError
        When the file cannot be read, a name is unknown or a price is impossible.
    """
    file = Path(path)
    where = f"prices file {file.name}"
    toml = file.suffix.lower() == ".toml"
    if not toml and file.suffix.lower() not in READERS:
        raise OptionError(f"{where}: give a .toml, {' or '.join(READERS)} file")
    sheet = NOTHING if toml else read_table(file, PRICES)
    left_out = settled([sheet], leave_out=leave_out_refused)
    found = checked(PriceFile, read_toml(file, "prices") if toml else _rows(sheet), where)
    anchors = {(k, metal): price for k in KINDS for metal, price in getattr(found, k).items()}
    if not anchors and not found.stock:
        raise OptionError(
            f"{where}: no anchor has a price; give [bonded] or [mechanical] by metal, or a stock "
            "list [[stock]]"
        )
    shared = {f.name: getattr(found, f.name) for f in fields(Costs)}
    return Prices(
        **shared, anchors=anchors, source=file.name, notes=tuple(sheet.said), left_out=left_out
    )


def _rows(sheet: Sheet) -> dict[str, Any]:
    """The rows of a table of prices as a TOML file would have them."""
    rows = sheet.rows
    out: dict[str, Any] = {"stock": [], **{kind: {} for kind in KINDS}}
    currencies = list(dict.fromkeys(row["currency"] for row in rows if row["currency"]))
    if len(currencies) > 1:
        raise OptionError(
            f"prices file {sheet.file}: prices in {' and '.join(currencies)}; give all in one "
            "currency: they are added up"
        )
    out["currency"] = "".join(currencies)
    out["example"] = "yes" in {row["example"] for row in rows}
    for row in rows:
        if row["diameter_mm"] is not None:
            own = {f.name: row[f.name] for f in fields(Piece) if f.name in row}
            out["stock"].append(own | {"kind": row["item"]})
        elif row["item"] in COSTS:
            out[row["item"]] = row["price"]
        else:
            out[row["item"]][row["metal"]] = row["price"]
    return out
