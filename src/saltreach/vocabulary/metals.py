"""The metals of an anchor, their grades, and what of them is commonly made.

Order of resistance: `MATERIALS`, from least to most. Numbers of a grade: `GRADES`, one row
each. A family whose grade is not known takes the worst number of its commonly made grades, so
that not knowing never looks better than knowing.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import NamedTuple

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
    strength in shear over tension; `crc` the EN 1993-1-4:2006+A1:2015 Table A.3 resistance class
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


_EN10088 = "EN 10088-3 bar, annealed, from memory"
_ISO3506 = "ISO 3506-1 property class, from memory"
_TI = "ASTM B348, repeated by a data sheet"
_K6 = 0.5
"""Shear ratio of steels above 500 MPa: EN 1992-4 7.2.2.3.1, k6, from memory; 0.6 up to there."""

GRADES: tuple[Grade, ...] = (
    Grade("6082-T6", "aluminium", 290, 290, 0.6, 0, 1.0, NOT_MADE, RARE,
          "EN 755-2, from memory; never milder than 304 by our rule"),
    Grade("CuZn39Pb3", "brass", 360, 360, 0.6, 0, 1.0, RARE, RARE,
          "EN 12164, from memory; never milder than 304 by our rule"),
    Grade("property class 5.8 plated", "zinc-plated steel", 500, 500, 0.6, 0, float("nan"),
          NOT_MADE, COMMON, "ISO 898-1, from memory; it rusts instead of cracking"),
    Grade("property class 5.8 galvanised", "galvanised steel", 500, 500, 0.6, 0, float("nan"),
          RARE, COMMON, "ISO 898-1, from memory; it rusts instead of cracking"),
    Grade("1.4016", "430", 400, 400, 0.6, 1, 1.0, RARE, RARE,
          f"{_EN10088}; it pits where 304 does not; never milder than 304 by our rule"),
    Grade("1.4305", "303", 500, 500, 0.6, 1, 1.2, RARE, RARE,
          f"{_EN10088}; its sulphides start pits and cracks: factor judgement; not in Table A.3"),
    Grade("stainless, grade unknown", "stainless", 500, 500, 0.6, 2, 1.0, COMMON, COMMON,
          "as 304, the least grade commonly made"),
    Grade("1.4301", "304", 500, 500, 0.6, 2, 1.0, COMMON, COMMON,
          f"{_EN10088}; reference of cracking: most field failures are 304 (Lieberzeit 2019)"),
    Grade("A2-70", "304", 700, 700, _K6, 2, 1.0, RARE, COMMON, _ISO3506),
    Grade("1.4404", "316", 500, 500, 0.6, 3, 0.4, COMMON, COMMON,
          f"{_EN10088}; cracks 2 to 3 times slower than 304 (Corrosion 75:1371, 2019)"),
    Grade("A4-70", "316", 700, 700, _K6, 3, 0.4, COMMON, COMMON, _ISO3506),
    Grade("A4-80", "316", 800, 800, _K6, 3, 0.4, RARE, COMMON, _ISO3506),
    Grade("1.4362", "316", 600, 600, _K6, 3, 0.4, RARE, RARE,
          f"{_EN10088}; lean duplex of class III, cracking taken as 316's (judgement)"),
    Grade("1.4439", "316", 580, 580, _K6, 4, 0.4, RARE, RARE,
          f"{_EN10088}; class IV, cracking as its neighbours'"),
    Grade("1.4462", "duplex", 650, 650, _K6, 4, 0.05, RARE, RARE,
          f"{_EN10088}; resistant in Prosek 2009, 22Cr cracks from 70 to 80 degC (Corrosion 64(2), "
          "2008); the factor is ours"),
    Grade("1.4539", "duplex", 530, 530, _K6, 4, 0.05, RARE, RARE,
          f"{_EN10088}; 904L, class IV; the factor is ours"),
    Grade("1.4410", "duplex", 730, 730, _K6, 5, 0.05, RARE, RARE,
          f"{_EN10088}; super duplex, class V of Table A.3, which its note on unwashed fixings "
          "(swimming pools) leaves out; the factor is ours"),
    Grade("1.4547", "superaustenitic", 650, 650, _K6, 5, 0.01, RARE, RARE,
          f"{_EN10088}; cracked only at 110 degC (NACE 97194); the factor is ours"),
    Grade("1.4529", "superaustenitic", 650, 650, _K6, 5, 0.01, RARE, RARE,
          f"{_EN10088}; treated as 1.4547; the factor is ours"),
    Grade("titanium grade 1", "titanium", 240, 240, 0.6, 6, 0.0, RARE, NOT_MADE,
          f"{_TI}, from memory; no cracking known in such air"),
    Grade("titanium grade 2", "titanium", 345, 400, 0.6, 6, 0.0, COMMON, NOT_MADE,
          f"{_TI}; more than 99 % of over 5,200 mill reports met 58 ksi (400 MPa; note in ASME "
          "SB-348)"),
    Grade("titanium grade 5", "titanium", 895, 895, 0.6, 6, 0.0, COMMON, RARE, _TI),
)  # fmt: skip
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

    `spellings` are what registers call it, in four languages and by standards' numbers.
    `trade_share` is its share of what is in place where nobody wrote it down (judgement),
    `example_price` that of one anchor relative to 304 (an EXAMPLE of ours, not a quotation),
    `zinc_um` the usual range of a coating, read as its 10th and 90th percentile (common practice).
    """

    what: str
    spellings: tuple[str, ...]
    trade_share: float = 0.0
    example_price: float | None = None
    zinc_um: tuple[float, float] | None = None


FAMILIES: dict[str, Family] = {
    "aluminium": Family(
        "light alloy",
        ("aluminum", "alu", "al", "aluminio", "6082", "6061", "7075",),
    ),
    "brass": Family(
        "copper alloy",
        ("latón", "laiton", "messing", "cuzn39pb3",),
    ),
    "zinc-plated steel": Family(
        "coated carbon steel, electroplated",
        ("zinc plated", "electroplated", "electrogalvanised", "electrogalvanized",
         "bright zinc plated", "bzp", "zincado", "acero zincado", "cincado", "acero cincado",
         "electrozincado", "zingué", "acier zingué", "electrozingué", "verzinkt",
         "galvanisch verzinkt",),
        trade_share=0.29,
        zinc_um=(5.0, 12.0),
    ),
    "galvanised steel": Family(
        "coated carbon steel, hot dip",
        ("galvanised", "galvanized", "galvanized steel", "hot dip", "hot dipped",
         "hot dip galvanised", "hot dip galvanized", "hot dipped galvanised",
         "hot dipped galvanized", "hdg", "galvanizado", "acero galvanizado",
         "galvanizado en caliente", "galvanisé", "acier galvanisé", "galvanisé à chaud",
         "feuerverzinkt",),
        trade_share=0.1,
        zinc_um=(45.0, 85.0),
    ),
    "430": Family(
        "ferritic stainless",
        ("1.4016", "s43000",),
    ),
    "303": Family(
        "free-cutting stainless",
        ("1.4305", "a1", "s30300",),
        trade_share=0.01,
    ),
    "stainless": Family(
        "stainless of a grade nobody noted",
        (),
    ),
    "304": Family(
        "austenitic stainless",
        ("304l", "a2", "a2-50", "a2-70", "a2-80", "1.4301", "1.4307", "1.4306", "1.4311",
         "1.4318", "1.4567", "1.4541", "321", "18/8", "18/10", "v2a", "s30400", "s30403",),
        trade_share=0.3,
        example_price=1.0,
    ),
    "316": Family(
        "austenitic stainless with molybdenum",
        ("316l", "316ti", "a4", "a4-50", "a4-70", "a4-80", "a4-100", "a5", "1.4401", "1.4404",
         "1.4435", "1.4571", "1.4429", "1.4432", "1.4578", "v4a", "s31600", "s31603",
         "marine grade",),
        trade_share=0.27,
        example_price=1.3,
    ),
    "duplex": Family(
        "duplex stainless",
        ("1.4462", "2205", "duplex 2205", "d6", "s31803", "s32205",),
        trade_share=0.01,
        example_price=2.0,
    ),
    "superaustenitic": Family(
        "high-alloy stainless",
        ("super austenitic", "1.4529", "1.4547", "1.4565", "hcr", "a8", "6mo", "6 mo",
         "6% mo", "254 smo", "254smo", "alloy 926", "s31254", "n08926", "s34565",),
        trade_share=0.01,
        example_price=4.0,
    ),
    "titanium": Family(
        "titanium",
        ("ti", "titanio", "titane", "titan", "ti gr 2", "ti gr2", "ti grade 2",
         "titanium gr 2", "titanium grade 2", "grade 2 titanium", "ti gr 5", "ti grade 5",
         "titanium gr 5", "titanium grade 5", "grade 5 titanium", "titanium grade 1",
         "ti grade 1", "ti gr 1", "grade 1 titanium", "ti6al4v", "ti 6al 4v",
         "titanio grado 2", "titanio grado 5", "titane grade 2", "titan grad 2", "3.7035",
         "3.7165",),
        trade_share=0.01,
        example_price=4.5,
    ),
}  # fmt: skip
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
"""Usual range of the coating of the coated metals, µm."""
COATED: tuple[str, ...] = tuple(ZINC_UM)
