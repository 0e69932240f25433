"""What a trip takes along: pieces, bits, adhesive, power and tools."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from saltreach.errors import OptionError
from saltreach.planning.trip import LOOK, Stop
from saltreach.vocabulary.metals import BONDED, MECHANICAL
from saltreach.vocabulary.words import OUT_OF_USE

HOLES_PER_BATTERY = 15.0
BATTERY_HOLE_MM = (12.0, 100.0)
"""Holes of this diameter and depth in hard limestone that one battery drills: common practice, no
source. Other holes count by the rock they take out."""
HOLES_PER_BIT = 20.0
"""Holes of a bit in hard rock before it is slow; judgement."""
FILLED_SHARE = 2 / 3
"""Least of a hole that is filled before the piece goes in; common practice, no source."""
STROKES_ML = 10.0
"""First strokes of each nozzle, thrown away until the colour is even; judgement."""
SETTING_MIN = 3.0
"""Minutes to fill a hole and set its anchor; judgement."""
PER_NOZZLE = 4
"""Anchors of a nozzle where no data sheet says when the adhesive sets; judgement."""
SPARE_BATTERIES = 1
SPARE_BITS = 1
SPARE_CARTRIDGES = 1
SPARE_NOZZLES = 1
SPARE_TAGS = 2
"""Taken besides what the work needs; judgement."""

Row = tuple[str, str, int, str, str]
"""Group, thing, count, unit, detail."""


@dataclass(frozen=True)
class TripOptions:
    """What the user has and how much is lost.

    Attributes
    ----------
    cartridge_ml : float
        Adhesive that one cartridge gives; 300 is common practice, no source.
    waste_share : float
        Adhesive lost around the piece and in brushes, a share of the room around the piece, 0 to
        1; common practice, no source. The first strokes are counted apart.
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
        for name, low, high, why in (
            ("cartridge_ml", 2 * STROKES_ML, 5000, ""),
            ("waste_share", 0, 1, ": a share, 0.25 is a quarter more (priorities: a factor, 1.25)"),
            ("spare_share", 0, 5, ""), ("proof_load_kn", 0.1, 100, ""),
        ):  # fmt: skip
            value = getattr(self, name)
            if value is not None and not low <= value <= high:
                raise OptionError(f"{name} {value!r}: give a value from {low:g} to {high:g}{why}")


def fill_ml(piece: Mapping[str, Any], options: TripOptions) -> float:
    """Adhesive that goes into the holes of one bonded piece, mL.

    Parameters
    ----------
    piece : mapping
        From `pieces.piece_record`.
    options : TripOptions
        Waste.

    Notes
    -----
    The larger of the room around the piece with waste over it, and of `FILLED_SHARE` of the hole,
    which is what the steps on paper ask for.
    """
    hole = math.pi / 4 * piece["hole_diameter_mm"] ** 2 * piece["hole_depth_mm"] / 1000
    beside: float = piece["adhesive_ml"] * (1 + options.waste_share)
    return max(beside, piece["legs"] * FILLED_SHARE * hole)


def anchors_per_nozzle(gel_min: float | None) -> int:
    """Anchors that one nozzle sets before the adhesive sets in it, at least one.

    Parameters
    ----------
    gel_min : float or None
        Setting time at the temperature of the rock, min; None without a data sheet.

    Examples
    --------
    >>> anchors_per_nozzle(20.0), anchors_per_nozzle(2.0), anchors_per_nozzle(None)
    (6, 1, 4)
    """
    return PER_NOZZLE if gel_min is None else max(1, math.floor(gel_min / SETTING_MIN + 1e-9))


def cartridges_needed(in_holes_ml: float, nozzles: int, options: TripOptions) -> tuple[int, int]:
    """Whole cartridges and the nozzles they are used with, without spares.

    Parameters
    ----------
    in_holes_ml : float
        Adhesive of all holes, from `fill_ml`, mL.
    nozzles : int
        Nozzles that time asks for; a cartridge beyond them takes one of its own.
    options : TripOptions
        Cartridge.

    Notes
    -----
    Each nozzle costs `STROKES_ML`, so that more cartridges need more: the least number that holds
    what goes into the holes and what its nozzles throw away.

    Examples
    --------
    >>> cartridges_needed(290.0, 1, TripOptions()), cartridges_needed(290.1, 1, TripOptions())
    ((1, 1), (2, 2))
    """
    whole, size = in_holes_ml + STROKES_ML * nozzles, options.cartridge_ml
    cartridges = math.ceil(whole / size - 1e-9)
    if cartridges > nozzles:
        cartridges = math.ceil(in_holes_ml / (size - STROKES_ML) - 1e-9)
    return cartridges, max(cartridges, nozzles)


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
        With their anchors, and the setting time of the adhesive where one is known.
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
    rows = [
        ("people", "first-aid kit", 1, "set", ""),
        ("people", "climbing and rescue gear", 1, "set",
         "rope; harness and helmet for each"),
        *_pieces(placed, options), *_drilling(placed), *_adhesive(stops, options),
        *_tools(stops, placed, options),
    ]  # fmt: skip
    names = ("group", "thing", "count", "unit", "detail")
    notes = []
    if any(p["length_assumed"] for p in placed):
        notes.append(
            "Lengths marked assumed: the rock is not known well enough to ask for one; take "
            "longer ones as well."
        )
    missing = sum(s.form != LOOK and s.piece is None for s in spots)
    if missing:
        notes.append(f"{missing} anchors to place have no piece that suffices: they are left.")
    return tuple(dict(zip(names, row, strict=True)) for row in rows), tuple(notes)


def _pieces(placed: Sequence[Mapping[str, Any]], options: TripOptions) -> Iterator[Row]:
    for label, number in sorted(Counter(p["label"] for p in placed).items()):
        spare = max(1, math.ceil(options.spare_share * number - 1e-9))
        yield "pieces", label, number + spare, "pieces", f"{number} to place, {spare} spare"


def _drilling(placed: Sequence[Mapping[str, Any]]) -> Iterator[Row]:
    holes = [(p["hole_diameter_mm"], p["hole_depth_mm"]) for p in placed for _ in range(p["legs"])]
    for wide, number in sorted(Counter(d for d, _ in holes).items()):
        deep = max(depth for d, depth in holes if d == wide)
        bits = math.ceil(number / HOLES_PER_BIT) + SPARE_BITS
        yield ("drilling", f"drill bit {wide:g} mm", bits, "bits",
               f"{number} holes, the deepest {deep:g} mm; with a spare")  # fmt: skip
    if holes:
        batteries = batteries_needed(holes)
        wide, deep = BATTERY_HOLE_MM
        yield (
            "drilling", "batteries", batteries + SPARE_BATTERIES, "batteries",
            f"{batteries} for the holes, {SPARE_BATTERIES} spare; one that drills "
            f"{HOLES_PER_BATTERY:g} holes of {wide:g} x {deep:g} mm in hard limestone; common "
            "practice",
        )  # fmt: skip
        yield ("drilling", "drill, depth mark, hand bellows or pump", 1, "set",
               "goggles, mask, ear plugs")  # fmt: skip


def _adhesive(stops: Sequence[Stop], options: TripOptions) -> Iterator[Row]:
    bonded = [
        [s.piece for s in stop.anchors if s.piece and s.piece["kind"] == BONDED] for stop in stops
    ]
    pieces = [piece for each in bonded for piece in each]
    if not pieces:
        return
    work = [(stop.cure or {}, len(each)) for stop, each in zip(stops, bonded, strict=True) if each]
    sets = [(cure.get("gel_min"), count) for cure, count in work]
    in_time = sum(math.ceil(count / anchors_per_nozzle(gel)) for gel, count in sets)
    inside = sum(fill_ml(piece, options) for piece in pieces)
    cartridges, nozzles = cartridges_needed(inside, in_time, options)
    holes = sum(piece["legs"] for piece in pieces)
    yield (
        "adhesive", f"cartridge of {options.cartridge_ml:g} mL", cartridges + SPARE_CARTRIDGES,
        "cartridges",
        f"{math.ceil(inside - 1e-9)} mL into {holes} holes (two thirds of each, or the gap and "
        f"{options.waste_share:.0%} if more), {STROKES_ML * nozzles:.0f} mL of first strokes; "
        f"{SPARE_CARTRIDGES} spare; in date?",
    )  # fmt: skip
    each = " or ".join(map(str, sorted({anchors_per_nozzle(gel) for gel, _ in sets})))
    known = all(gel is not None for gel, _ in sets)
    why = "before it sets" if known else "where no setting time is known"
    yield (
        "adhesive", "mixing nozzle", nozzles + SPARE_NOZZLES, "nozzles",
        f"{nozzles} and {SPARE_NOZZLES} spare: one a cartridge, and one for {each} anchors {why}",
    )  # fmt: skip
    yield "adhesive", "thermometer for the rock", 1, "set", "the times depend on it"
    yield "adhesive", "dispenser, gloves, wipes", 1, "set", ""
    for wide in sorted({p["hole_diameter_mm"] for p in pieces}):
        yield "adhesive", f"hole brush {wide:g} mm", 2, "brushes", "a worn one does not clean"


def _tools(
    stops: Sequence[Stop], placed: Sequence[Mapping[str, Any]], options: TripOptions
) -> Iterator[Row]:
    if any(p["kind"] == MECHANICAL for p in placed) or _expansion_seen(stops):
        yield "tools", "torque wrench and socket", 1, "set", "the torque the maker states"
    if any(p["kind"] == BONDED for p in placed):
        yield ("tools", "chisel or grinder for the slot", 1, "set",
               "where the eye or the bend must bear on the rock")  # fmt: skip
    if options.proof_load_kn is not None and placed:
        yield "tools", "proof test kit", 1, "set", f"{options.proof_load_kn:g} kN after curing"
    if placed:
        yield ("tools", "tools to take old anchors out, filler for their holes", 1, "set",
               f"{len(placed)} old anchors")  # fmt: skip
    closing = sum(spot.action == OUT_OF_USE for stop in stops for spot in stop.anchors)
    yield ("tools", "tags or tape to close anchors", closing + SPARE_TAGS, "tags",
           f"{closing} to close by the assessment")  # fmt: skip
    yield "tools", "hammer, steel rule, camera, pencils, this sheet in a bag", 1, "set", ""


def _expansion_seen(stops: Sequence[Stop]) -> bool:
    """Whether an anchor with a nut is looked at."""
    nuts = {"column": "kind", "label": "kind", "value": "expansion"}
    return any(nuts in spot.known for stop in stops for spot in stop.anchors)
