"""The metals of an anchor, their grades, and what of them is commonly made.

Order of resistance: `MATERIALS`, from least to most. Numbers of a grade: `GRADES`, one row
each. A family whose grade is not known takes the worst number of its commonly made grades, so
that not knowing never looks better than knowing.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import NamedTuple

from saltreach.vocabulary.tables import rows_of
from saltreach.vocabulary.words import UNKNOWN, Scale

COMMON, RARE, NOT_MADE = "common", "rare", "not made"
BONDED, MECHANICAL = "bonded", "mechanical"
COSTS = ("resin_per_ml", "work_per_anchor", "extra_per_anchor", "travel_per_sector")
"""What a list of prices may price besides anchors."""
PRICE_ITEMS = (BONDED, MECHANICAL, *COSTS)


class Grade(NamedTuple):
    """One grade of a metal.

    `minimum_mpa` is the least tensile strength its standard allows, `strength_mpa` the one to
    calculate with (5th percentile, the same where nothing better is published); `shear_ratio`
    strength in shear over tension (0.6, and 0.5 for steels above 500 MPa: EN 1992-4 7.2.2.3.1, k6,
    from memory); `crc` the EN 1993-1-4:2006+A1:2015 Table A.3 resistance class
    as a number (0 none, 6 for titanium: outside the standard, above V by our own judgement);
    `cracking` the rate of stress-corrosion cracking relative to 304; `bonded` and `mechanical`
    whether anchors of it are made (common practice, no source).
    """

    name: str
    material: str
    minimum_mpa: float
    strength_mpa: float
    shear_ratio: float
    crc: int
    cracking: float
    bonded: str
    mechanical: str
    source: str


def _grade(row: dict[str, str]) -> Grade:
    numbers = {
        n: float(row[n] or "nan")
        for n in ("minimum_mpa", "strength_mpa", "shear_ratio", "cracking")
    }
    return Grade(**row | numbers | {"crc": int(row["crc"])})  # type: ignore[arg-type]


GRADES: tuple[Grade, ...] = tuple(map(_grade, rows_of("grades.csv")))
"""Grades, families in rising resistance. Prices, stock and brands are the user's business."""

GRADE_BY_NAME: dict[str, Grade] = {g.name: g for g in GRADES}


@dataclass(frozen=True)
class Material:
    """One metal as registers, rules and reports name it: the worst of its common grades.

    `placeable` says whether new anchors may be of it at all.
    """

    name: str
    rank: int
    family: str
    crc: int
    cracking: float
    strength_mpa: float
    shear_ratio: float
    made_as: dict[str, str]
    placeable: bool


class Family(NamedTuple):
    """What is known of a metal besides its grades.

    `trade_share` is its share of what is in place where nobody wrote it down (judgement),
    `example_price` that of one anchor relative to 304 (an EXAMPLE of ours, not a quotation),
    `zinc_um` the usual range of a coating, read as its 10th and 90th percentile (common practice).
    """

    what: str
    trade_share: float = 0.0
    example_price: float | None = None
    zinc_um: tuple[float, float] | None = None


def _family(row: dict[str, str]) -> Family:
    coating = float(row["zinc_low_um"] or "nan"), float(row["zinc_high_um"] or "nan")
    return Family(
        what=row["what"],
        trade_share=float(row["trade_share"] or 0),
        example_price=float(row["example_price"]) if row["example_price"] else None,
        zinc_um=coating if row["zinc_low_um"] else None,
    )


FAMILIES: dict[str, Family] = {row["name"]: _family(row) for row in rows_of("metals.csv")}
"""Metals in rising resistance, one row each."""

_LEAST_PLACED = "304"
_MADE = (NOT_MADE, RARE, COMMON)


def _material(name: str, rank: int) -> Material:
    own = [g for g in GRADES if g.material == name]
    common = [g for g in own if COMMON in (g.bonded, g.mechanical)] or own

    def worst(pick: Callable[[Grade], float], choose: Callable[..., float]) -> float:
        return choose(pick(g) for g in common)

    weakest = min(common, key=lambda g: g.strength_mpa * g.shear_ratio)
    return Material(
        name=name,
        rank=rank,
        family=FAMILIES[name].what,
        crc=int(min(own[0].crc, worst(lambda g: g.crc, min))),
        cracking=worst(lambda g: g.cracking, max),
        strength_mpa=weakest.strength_mpa,
        shear_ratio=weakest.shear_ratio,
        made_as={
            how: max((getattr(g, how) for g in own), key=_MADE.index)
            for how in (BONDED, MECHANICAL)
        },
        placeable=rank >= list(FAMILIES).index(_LEAST_PLACED),
    )


MATERIALS: tuple[Material, ...] = tuple(_material(name, i) for i, name in enumerate(FAMILIES))
MATERIAL_NAMES = Scale(m.name for m in MATERIALS)
"""Names in rising resistance; `unknown` is not among them."""
MATERIAL_CHOICES: tuple[str, ...] = (*MATERIAL_NAMES, UNKNOWN)
GRADE_NAMES: tuple[str, ...] = tuple(g.name for g in GRADES)
MATERIAL_BY_NAME: dict[str, Material] = {m.name: m for m in MATERIALS}
PLACEABLE = Scale(m.name for m in MATERIALS if m.placeable)
"""Metals a new anchor may have, in rising resistance."""
STAINLESS = "stainless"
STAINLESS_METALS: tuple[str, ...] = tuple(n for n, f in FAMILIES.items() if STAINLESS in f.what)
"""What a stainless steel of a grade nobody noted may be."""
ZINC_UM = {name: f.zinc_um for name, f in FAMILIES.items() if f.zinc_um is not None}
"""Usual range of the coating of the coated metals, µm, read as its 10th and 90th percentile (common
practice)."""
COATED: tuple[str, ...] = tuple(ZINC_UM)
