"""What anchors cost: price classes from the user's own file, TOML or CSV.

saltreach holds no prices. The demo's are invented and marked as examples.
"""

from __future__ import annotations

import tomllib
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from saltreach.errors import OptionError
from saltreach.intake.sheets import Field, Refused, number, read_sheet, text_of
from saltreach.vocabulary.metals import BONDED, GRADE_BY_NAME, MECHANICAL, PLACEABLE

KINDS = (BONDED, MECHANICAL)
EXTRAS = ("resin_per_ml", "work_per_anchor", "extra_per_anchor", "travel_per_sector")
_AMOUNT = number(0, 1e6)


@dataclass(frozen=True)
class Piece:
    """One line of a stock list: what can be had, in whole pieces.

    `kind` bonded or mechanical, `metal` with its `grade` where given, `diameter_mm` of each of
    `legs` rods, `length_mm` in the rock, `price` of one, `how_many` there are (None: no limit).
    """

    kind: str
    metal: str
    diameter_mm: float
    length_mm: float
    price: float
    grade: str = ""
    legs: int = 1
    how_many: int | None = None

    @property
    def label(self) -> str:
        """The piece in words, for lists."""
        legs = f"{self.legs} legs of " if self.legs > 1 else ""
        return (
            f"{self.kind} {self.grade or self.metal}, {legs}{self.diameter_mm:g} x "
            f"{self.length_mm:g} mm"
        )


@dataclass(frozen=True)
class Prices:
    """Prices of one currency.

    Attributes
    ----------
    anchors : dict
        Price of one anchor by (kind, metal); what is not in it cannot be chosen.
    stock : tuple of Piece
        Pieces that can be had; where there are any, nothing else is advised or bought.
    resin_per_ml : float
        Adhesive, by the millilitre.
    work_per_anchor : float
        Paid work, if any.
    extra_per_anchor : float
        Drill bits, nozzles, brushes.
    travel_per_sector : float
        Once for each sector rebolted.
    currency : str
        Its name, for the tables.
    example : bool
        Invented prices: every output says so.
    source : str
        Name of the file.
    """

    anchors: dict[tuple[str, str], float] = field(default_factory=dict)
    stock: tuple[Piece, ...] = ()
    resin_per_ml: float = 0.0
    work_per_anchor: float = 0.0
    extra_per_anchor: float = 0.0
    travel_per_sector: float = 0.0
    currency: str = ""
    example: bool = False
    source: str = ""

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


def read_prices(path: str | Path) -> Prices:
    """Prices of a TOML or CSV file.

    TOML: tables ``[bonded]`` and ``[mechanical]`` of price by metal, and the single values
    `currency`, `example`, `resin_per_ml`, `work_per_anchor`, `extra_per_anchor`,
    `travel_per_sector`. A stock list is an array of tables ``[[stock]]`` with `kind`, `metal`,
    `diameter_mm`, `length_mm`, `price` and, where they apply, `grade`, `legs`, `how_many`. CSV:
    columns `item`, `metal`, `price`; an item is bonded, mechanical or one of the single values;
    `currency` in its own column; a bonded or mechanical row with `diameter_mm` and `length_mm` is
    a piece of the stock list.

    Raises
    ------
    OptionError
        When the file cannot be read, a name is unknown or a price is impossible.
    """
    file = Path(path)
    if file.suffix.lower() == ".toml":
        given = _toml(file)
    elif file.suffix.lower() == ".csv":
        given = _csv(file)
    else:
        raise OptionError(f"prices {file.name}: give a .toml or .csv file")
    given["stock"] = tuple(given["stock"])
    if not given["anchors"] and not given["stock"]:
        raise OptionError(
            f"prices {file.name}: no anchor has a price; give [bonded] or [mechanical] by "
            "metal, or a stock list [[stock]]"
        )
    return Prices(**given, source=file.name)


def _toml(file: Path) -> dict[str, Any]:
    try:
        given = tomllib.loads(file.read_text(encoding="utf-8"))
    except OSError as error:
        raise OptionError(f"prices {file}: cannot be read ({error.strerror})") from error
    except (tomllib.TOMLDecodeError, UnicodeDecodeError) as error:
        raise OptionError(f"prices {file.name}: not valid TOML ({error})") from error
    out: dict[str, Any] = {"anchors": {}, "stock": []}
    for name, value in given.items():
        if name == "stock" and isinstance(value, list):
            for at, piece in enumerate(value, start=1):
                if not isinstance(piece, dict):
                    raise OptionError(f"prices {file.name}: stock piece {at}: give a table")
                out["stock"].append(_piece(f"{file.name}: stock piece {at}", piece))
        elif name in KINDS and isinstance(value, dict):
            for metal, price in value.items():
                _put(out, file.name, name, metal, price)
        elif name in EXTRAS:
            _put(out, file.name, name, "", value)
        elif name == "currency" and isinstance(value, str):
            out["currency"] = value
        elif name == "example" and isinstance(value, bool):
            out["example"] = value
        else:
            known = ", ".join((*KINDS, "stock", *EXTRAS, "currency", "example"))
            raise OptionError(f"prices {file.name}: cannot use {name} = {value!r}; known: {known}")
    return out


def _put(out: dict[str, Any], where: str, item: str, metal: str, price: Any) -> None:
    good = isinstance(price, int | float) and not isinstance(price, bool) and 0 <= price <= 1e6
    if not good:
        raise OptionError(f"prices {where}: {item} {metal}: {price!r} is no price from 0 up")
    if item in EXTRAS:
        out[item] = float(price)
    elif metal not in PLACEABLE:
        raise OptionError(
            f"prices {where}: {item} {metal!r}: no metal to rebolt with; give one of "
            f"{', '.join(PLACEABLE)}"
        )
    else:
        out["anchors"][item, metal] = float(price)


_NEEDED = ("kind", "metal", "diameter_mm", "length_mm", "price")
_LIMITS = {"diameter_mm": (4, 40), "length_mm": (20, 500), "price": (0, 1e6), "legs": (1, 2),
           "how_many": (0, 1e6)}  # fmt: skip


def _piece(where: str, given: dict[str, Any]) -> Piece:
    """One piece, checked; the message names the piece, the value and the fix."""
    known = [*_NEEDED, "grade", "legs", "how_many"]
    for name in given:
        if name not in known:
            raise OptionError(f"prices {where}: cannot use {name!r}; known: {', '.join(known)}")
    missing = [name for name in _NEEDED if name not in given]
    if missing:
        raise OptionError(f"prices {where}: {', '.join(missing)} missing; give all of {_NEEDED}")
    if given["kind"] not in KINDS:
        raise OptionError(f"prices {where}: kind {given['kind']!r}; give {' or '.join(KINDS)}")
    if given["metal"] not in PLACEABLE:
        raise OptionError(
            f"prices {where}: metal {given['metal']!r}; give one of {', '.join(PLACEABLE)}"
        )
    grade = given.get("grade", "")
    of_metal = [g for g, row in GRADE_BY_NAME.items() if row.material == given["metal"]]
    if grade and grade not in of_metal:
        raise OptionError(
            f"prices {where}: grade {grade!r} is none of {given['metal']}; give one of "
            f"{', '.join(of_metal)}, or leave it out"
        )
    for name, (low, high) in _LIMITS.items():
        value = given.get(name)
        number_ = isinstance(value, int | float) and not isinstance(value, bool)
        if value is not None and not (number_ and low <= value <= high):
            raise OptionError(
                f"prices {where}: {name} = {value!r}; give a number from {low} to {high:g}"
            )
    many = given.get("how_many")
    return Piece(
        kind=given["kind"],
        metal=given["metal"],
        diameter_mm=float(given["diameter_mm"]),
        length_mm=float(given["length_mm"]),
        price=float(given["price"]),
        grade=grade,
        legs=int(given.get("legs") or 1),
        how_many=None if many is None else int(many),
    )


def _csv(file: Path) -> dict[str, Any]:
    def item(text: str) -> str:
        word = "_".join(text.split()).casefold()
        if word not in (*KINDS, *EXTRAS):
            raise Refused("not an item", f"use one of {', '.join((*KINDS, *EXTRAS))}")
        return word

    fields = (
        Field("item", item, "bonded, mechanical or a single value", required=True),
        Field("metal", text_of, "metal of the anchor", default=""),
        Field("price", _AMOUNT, "price of one", required=True),
        Field("currency", text_of, "currency", default=""),
        Field("diameter_mm", number(4, 40), "diameter of a piece of the stock list"),
        Field("length_mm", number(20, 500), "its length in the rock"),
        Field("grade", text_of, "its grade", default=""),
        Field("legs", number(1, 2), "its legs"),
        Field("how_many", number(0, 1e6), "how many there are"),
    )
    unique = ("item", "metal", "grade", "diameter_mm", "length_mm", "legs")
    sheet = read_sheet(file, "prices", fields, unique=unique)
    if len(sheet.rejected):
        bad = sheet.rejected.iloc[0]
        raise OptionError(
            f"prices {file.name}: row {bad['row']}, {bad['column']} = {bad['value']!r}: "
            f"{bad['reason']}; {bad['fix']}"
        )
    out: dict[str, Any] = {"anchors": {}, "stock": [], "currency": ""}
    for row in sheet.rows:
        if row["diameter_mm"] is not None or row["length_mm"] is not None:
            named = {k: row[k] for k in (*_NEEDED[1:], "grade", "legs", "how_many")}
            piece = {k: v for k, v in named.items() if v is not None and v != ""}
            out["stock"].append(
                _piece(f"{file.name}: row {row['row']}", piece | {"kind": row["item"]})
            )
            continue
        _put(out, file.name, row["item"], row["metal"], row["price"])
        out["currency"] = out["currency"] or row["currency"]
    out["currency"] = out["currency"] or next(
        (row["currency"] for row in sheet.rows if row["currency"]), ""
    )
    return out
