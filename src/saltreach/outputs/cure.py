"""What the adhesive helper tells the installer."""

from __future__ import annotations

import math
from datetime import date
from pathlib import Path
from typing import Any

from saltreach.errors import OptionError
from saltreach.intake.cure import expiry_state, read_cure_table
from saltreach.science.rock.adhesive import WET_HOLE_FACTOR, cure_time_min, gel_time_min
from saltreach.vocabulary.words import CAUTION


def cure_advice(
    table: Path, rock_temperature_c: float, *, wet: bool, expires_on: str, on: date
) -> dict[str, Any]:
    """Gel and cure time from the user's data sheet, as plain values.

    Parameters
    ----------
    table : Path
        CSV for `intake.cure.read_cure_table`.
    rock_temperature_c : float
        Temperature in the hole, degrees Celsius.
    wet : bool
        Whether the hole is wet.
    expires_on : str
        Expiry as printed, ISO; empty when it cannot be read.
    on : date
        Day of use.

    Returns
    -------
    dict

    Raises
    ------
    OptionError
        A table that cannot be used, a temperature outside it, or an expired cartridge.
    """
    state = expiry_state(expires_on, on)
    if state == "expired":
        raise OptionError(
            f"the cartridge expired ({expires_on}, used on {on.isoformat()}): do not use it"
        )
    sheet = read_cure_table(table)
    return {
        "table": sheet.source,
        "rock_temperature_c": rock_temperature_c,
        "wet_hole": wet,
        "gel_min": round(float(gel_time_min(rock_temperature_c, sheet)), 1),
        "cure_min": round(float(cure_time_min(rock_temperature_c, sheet, wet)), 1),
        "expiry": state,
        "caution": CAUTION,
    }


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
