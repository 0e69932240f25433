"""The metals of an anchor, in rising resistance, and how each relates to EN 1993-1-4's classes."""

from __future__ import annotations

from dataclasses import dataclass

UNKNOWN = "unknown"


@dataclass(frozen=True)
class Material:
    """One metal as registers, rules and reports name it.

    `crc` is the highest EN 1993-1-4:2006+A1:2015 Table A.3 corrosion resistance class that
    the family meets (0: not a stainless steel, so no class; titanium is outside the standard
    and stands above V by our own judgement, written 6 for ordering only).
    """

    name: str
    rank: int
    crc: int
    family: str
    typical_grades: str


MATERIALS: tuple[Material, ...] = (
    Material("zinc-plated steel", 0, 0, "coated carbon steel", "electroplated, about 5-12 um zinc"),
    Material("galvanised steel", 1, 0, "coated carbon steel", "hot dip, about 45-85 um zinc"),
    Material("304", 2, 2, "austenitic stainless", "1.4301, 1.4307"),
    Material("316", 3, 3, "austenitic stainless", "1.4401, 1.4404, 1.4571"),
    Material("duplex", 4, 4, "duplex stainless", "1.4462"),
    Material("superaustenitic", 5, 5, "high-alloy stainless", "1.4529, 1.4547, 1.4565"),
    Material("titanium", 6, 6, "titanium", "grade 2"),
)
MATERIAL_NAMES: tuple[str, ...] = tuple(m.name for m in MATERIALS)
"""Names in rising resistance; `unknown` is not among them."""

MATERIAL_BY_NAME: dict[str, Material] = {m.name: m for m in MATERIALS}

ROMAN: tuple[str, ...] = ("", "I", "II", "III", "IV", "V")
"""EN 1993-1-4 writes its resistance classes in Roman numerals: ROMAN[4] is `IV`."""
