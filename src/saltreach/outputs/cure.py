"""What the adhesive helper tells the installer."""

from __future__ import annotations

import math
from typing import Any

from saltreach.science.rock.adhesive import WET_HOLE_FACTOR


def cure_text(advice: dict[str, Any]) -> str:
    """The advice for a person: setting rounded down, curing up, to the minute."""
    wet = f" (wet hole: {WET_HOLE_FACTOR:g} times the dry time)" if advice["wet_hole"] else ""
    sets, loaded = math.floor(advice["gel_min"]), math.ceil(advice["cure_min"])
    expiry = {
        "in date": "Cartridge: in date.",
        "unknown": "Cartridge: expiry not given. One whose date cannot be read is not used.",
    }[advice["expiry"]]
    return "\n".join(
        [
            *(f"note: {note}" for note in advice["notes"]),
            f"At {advice['rock_temperature_c']:g} degC in the rock, by {advice['table']}:",
            f"  sets after {_hours(sets)}: do not move the anchor after it",
            f"  may be loaded after {_hours(loaded)}{wet}",
            expiry,
            "Interpolated between rows of the data sheet, which wins over anything said here.",
            advice["caution"],
        ]
    )


def _hours(minutes: int) -> str:
    hours, rest = divmod(minutes, 60)
    return f"{hours} h {rest:02d} min" if hours else f"{rest} min"
