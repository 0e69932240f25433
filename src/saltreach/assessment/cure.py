"""How long an adhesive needs at the temperature of the rock, and whether it may be used."""

from __future__ import annotations

import math
from datetime import date
from typing import Any

from saltreach.errors import OptionError
from saltreach.intake.datasheet import expiry_state
from saltreach.science.rock.adhesive import CureTable, cure_time_min, gel_time_min
from saltreach.vocabulary.words import CAUTION


def cure_advice(
    sheet: CureTable, rock_temperature_c: float, *, wet: bool, expires_on: str, on: date
) -> dict[str, Any]:
    """Gel and cure time by the data sheet, as plain values.

    Parameters
    ----------
    sheet : CureTable
        From `intake.datasheet.read_cure_table`.
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
        A temperature outside the sheet, or an expired cartridge.
    """
    if not math.isfinite(rock_temperature_c):
        raise OptionError(f"rock temperature {rock_temperature_c}: give degrees Celsius")
    state = expiry_state(expires_on, on)
    if state == "expired":
        raise OptionError(
            f"the cartridge expired ({expires_on}, used on {on.isoformat()}): do not use it"
        )
    return {
        "table": sheet.source,
        "rock_temperature_c": rock_temperature_c,
        "wet_hole": wet,
        "gel_min": round(float(gel_time_min(rock_temperature_c, sheet)), 1),
        "cure_min": round(float(cure_time_min(rock_temperature_c, sheet, wet)), 1),
        "expiry": state,
        "notes": list(sheet.notes),
        "caution": CAUTION,
    }
