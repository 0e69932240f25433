"""What a trip takes along: pieces, bits, adhesive, power and tools."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from saltreach.errors import OptionError
from saltreach.planning.trip import LOOK, Stop
from saltreach.vocabulary.metals import BONDED, MECHANICAL
from saltreach.vocabulary.words import OUT_OF_USE, REBOLT

HOLES_PER_BATTERY = 15.0
BATTERY_HOLE_MM = (12.0, 100.0)
"""Holes of this diameter and depth in hard limestone that one battery drills: common practice, no
source. Other holes count by the rock they take out."""
HOLES_PER_BIT = 20.0
"""Holes of a bit in hard rock before it is slow; judgement."""
SPARE_BATTERIES = 1
SPARE_BITS = 1
SPARE_TAGS = 2
"""Taken besides what the work needs; judgement."""


@dataclass(frozen=True)
class TripOptions:
    """What the user has and how much is lost.

    Attributes
    ----------
    cartridge_ml : float
        Adhesive that one cartridge gives; 300 is common practice, no source.
    waste_share : float
        Adhesive lost in nozzles, brushes and first strokes, over what goes into the holes;
        common practice, no source.
    spare_share : float
        Spare pieces over those placed, at least one; judgement.
    proof_load_kn : float or None
        Load of the proof test after curing; None: no test is asked for.
    """

    cartridge_ml: float = 300.0
    waste_share: float = 0.25
    spare_share: float = 0.1
    proof_load_kn: float | None = None

    def __post_init__(self) -> None:
        """Refuse impossible values."""
        for name, low, high in (
            ("cartridge_ml", 10, 5000), ("waste_share", 0, 4), ("spare_share", 0, 5),
            ("proof_load_kn", 0.1, 100),
        ):  # fmt: skip
            value = getattr(self, name)
            if value is not None and not low <= value <= high:
                raise OptionError(f"{name} {value!r}: give a value from {low} to {high}")


def adhesive_needed(in_holes_ml: float, options: TripOptions) -> tuple[float, int]:
    """Adhesive with waste, mL, and the whole cartridges that hold it.

    Examples
    --------
    >>> adhesive_needed(240.0, TripOptions())
    (300.0, 1)
    >>> adhesive_needed(240.1, TripOptions())[1]
    2
    """
    wanted = in_holes_ml * (1 + options.waste_share)
    return wanted, math.ceil(wanted / options.cartridge_ml - 1e-9)


def batteries_needed(holes: Sequence[tuple[float, float]]) -> int:
    """Whole batteries that drill some holes (diameter and depth, mm), without spares.

    Examples
    --------
    >>> batteries_needed([(12.0, 100.0)] * 15), batteries_needed([(12.0, 100.0)] * 16)
    (1, 2)
    """
    one = BATTERY_HOLE_MM[0] ** 2 * BATTERY_HOLE_MM[1] * HOLES_PER_BATTERY
    return math.ceil(sum(d * d * depth for d, depth in holes) / one - 1e-9)


def bring_list(
    stops: Sequence[Stop], options: TripOptions
) -> tuple[tuple[dict[str, Any], ...], tuple[str, ...]]:
    """What a trip takes along, and what was assumed.

    Parameters
    ----------
    stops : sequence of Stop
        With their anchors.
    options : TripOptions
        Cartridge, waste, spares, proof load.

    Returns
    -------
    bring : tuple of dict
        `group`, `thing`, `count` (None for what is not counted), `unit`, `detail`.
    notes : tuple of str
    """
    spots = [spot for stop in stops for spot in stop.anchors]
    placed = [spot.piece for spot in spots if spot.piece]
    out: list[dict[str, Any]] = []
    notes = []

    def add(group: str, thing: str, count: int | None, unit: str = "", detail: str = "") -> None:
        out.append({"group": group, "thing": thing, "count": count, "unit": unit, "detail": detail})

    for label, number in sorted(Counter(p["label"] for p in placed).items()):
        spare = max(1, math.ceil(options.spare_share * number - 1e-9))
        add("pieces", label, number + spare, "pieces", f"{number} to place, {spare} spare")
    holes = [(p["hole_diameter_mm"], p["hole_depth_mm"]) for p in placed for _ in range(p["legs"])]
    for wide, number in sorted(Counter(d for d, _ in holes).items()):
        deep = max(depth for d, depth in holes if d == wide)
        bits = math.ceil(number / HOLES_PER_BIT) + SPARE_BITS
        add("drilling", f"drill bit {wide:g} mm", bits, "bits",
            f"{number} holes, the deepest {deep:g} mm; with a spare")  # fmt: skip
    if holes:
        batteries = batteries_needed(holes)
        add("drilling", "batteries", batteries + SPARE_BATTERIES, "batteries",
            f"{batteries} for the holes, {SPARE_BATTERIES} spare; the cold takes some")  # fmt: skip
        add("drilling", "drill, depth mark, hand bellows or pump", 1, "set",
            "goggles, mask, ear plugs")  # fmt: skip
    bonded = [p for p in placed if p["kind"] == BONDED]
    if bonded:
        in_holes = sum(p["adhesive_ml"] for p in bonded)
        wanted, cartridges = adhesive_needed(in_holes, options)
        add("adhesive", f"cartridge of {options.cartridge_ml:g} mL", cartridges, "cartridges",
            f"{in_holes:.0f} mL in the holes, {wanted:.0f} mL with waste; in date?")  # fmt: skip
        pauses = sum(stop.kind == REBOLT for stop in stops)
        add("adhesive", "mixing nozzle", cartridges + pauses, "nozzles",
            "one a cartridge and one for each pause")  # fmt: skip
        add("adhesive", "dispenser, gloves, wipes", 1, "set")
        for wide in sorted({p["hole_diameter_mm"] for p in bonded}):
            add("adhesive", f"hole brush {wide:g} mm", 2, "brushes", "a worn one does not clean")
    if any(p["kind"] == MECHANICAL for p in placed) or _expansion_seen(stops):
        add("tools", "torque wrench and socket", 1, "set", "the torque the maker states")
    if options.proof_load_kn is not None and placed:
        add("tools", "proof test kit", 1, "set", f"{options.proof_load_kn:g} kN after curing")
    if placed:
        add("tools", "tools to take old anchors out", 1, "set", f"{len(placed)} old anchors")
    closing = sum(spot.action == OUT_OF_USE for spot in spots)
    add("tools", "tags or tape to close anchors", closing + SPARE_TAGS, "tags",
        f"{closing} to close by the assessment")  # fmt: skip
    add("tools", "hammer, steel rule, camera, pencils, this sheet in a bag", 1, "set")
    if any(p["length_assumed"] for p in placed):
        notes.append(
            "Lengths marked assumed: the rock is not known well enough to ask for one; take "
            "longer ones as well."
        )
    missing = sum(s.form != LOOK and s.piece is None for s in spots)
    if missing:
        notes.append(f"{missing} anchors to place have no piece that suffices: they are left.")
    return tuple(out), tuple(notes)


def _expansion_seen(stops: Sequence[Stop]) -> bool:
    """Whether an anchor with a nut is looked at."""
    nuts = {"column": "kind", "label": "kind", "value": "expansion"}
    return any(nuts in spot.known for stop in stops for spot in stop.anchors)
