"""What anchors cost: price classes from the user's own file, TOML or CSV.

saltreach holds no prices. The demo's are invented and marked as examples.
"""

from __future__ import annotations

import tomllib
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from saltreach.errors import OptionError
from saltreach.materials import MATERIAL_NAMES
from saltreach.register.sheets import Field, Refused, number, read_sheet, text_of

KINDS = ("bonded", "mechanical")
STAINLESS = MATERIAL_NAMES[2:]
EXTRAS = ("resin_per_ml", "work_per_anchor", "extra_per_anchor", "travel_per_sector")
_AMOUNT = number(0, 1e6)


@dataclass(frozen=True)
class Prices:
    """Prices of one currency.

    Attributes
    ----------
    anchors : dict
        Price of one anchor by (kind, metal); what is not in it cannot be chosen.
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
    resin_per_ml: float = 0.0
    work_per_anchor: float = 0.0
    extra_per_anchor: float = 0.0
    travel_per_sector: float = 0.0
    currency: str = ""
    example: bool = False
    source: str = ""


def read_prices(path: str | Path) -> Prices:
    """Prices of a TOML or CSV file.

    TOML: tables ``[bonded]`` and ``[mechanical]`` of price by metal, and the single values
    `currency`, `example`, `resin_per_ml`, `work_per_anchor`, `extra_per_anchor`,
    `travel_per_sector`. CSV: columns `item`, `metal`, `price`; an item is bonded, mechanical
    or one of the single values; `currency` in its own column.

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
    if not given["anchors"]:
        raise OptionError(
            f"prices {file.name}: no anchor has a price; give [bonded] or [mechanical] by metal"
        )
    return Prices(**given, source=file.name)


def _toml(file: Path) -> dict[str, Any]:
    try:
        given = tomllib.loads(file.read_text(encoding="utf-8"))
    except OSError as error:
        raise OptionError(f"prices {file}: cannot be read ({error.strerror})") from error
    except (tomllib.TOMLDecodeError, UnicodeDecodeError) as error:
        raise OptionError(f"prices {file.name}: not valid TOML ({error})") from error
    out: dict[str, Any] = {"anchors": {}}
    for name, value in given.items():
        if name in KINDS and isinstance(value, dict):
            for metal, price in value.items():
                _put(out, file.name, name, metal, price)
        elif name in EXTRAS:
            _put(out, file.name, name, "", value)
        elif name == "currency" and isinstance(value, str):
            out["currency"] = value
        elif name == "example" and isinstance(value, bool):
            out["example"] = value
        else:
            known = ", ".join((*KINDS, *EXTRAS, "currency", "example"))
            raise OptionError(f"prices {file.name}: cannot use {name} = {value!r}; known: {known}")
    return out


def _put(out: dict[str, Any], where: str, item: str, metal: str, price: Any) -> None:
    good = isinstance(price, int | float) and not isinstance(price, bool) and 0 <= price <= 1e6
    if not good:
        raise OptionError(f"prices {where}: {item} {metal}: {price!r} is no price from 0 up")
    if item in EXTRAS:
        out[item] = float(price)
    elif metal not in STAINLESS:
        raise OptionError(
            f"prices {where}: {item} {metal!r}: no metal to rebolt with; give one of "
            f"{', '.join(STAINLESS)}"
        )
    else:
        out["anchors"][item, metal] = float(price)


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
    )
    sheet = read_sheet(file, "prices", fields, unique=("item", "metal"))
    if len(sheet.rejected):
        bad = sheet.rejected.iloc[0]
        raise OptionError(
            f"prices {file.name}: row {bad['row']}, {bad['column']} = {bad['value']!r}: "
            f"{bad['reason']}; {bad['fix']}"
        )
    out: dict[str, Any] = {"anchors": {}, "currency": ""}
    for row in sheet.rows:
        _put(out, file.name, row["item"], row["metal"], row["price"])
        out["currency"] = out["currency"] or row["currency"]
    return out
