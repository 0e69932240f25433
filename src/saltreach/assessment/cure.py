"""How long the user's adhesive needs in rock of a temperature."""

from __future__ import annotations

from datetime import date
from pathlib import Path
from typing import Any

from saltreach.errors import OptionError
from saltreach.intake.cure import expiry_state, read_cure_table
from saltreach.science.rock.adhesive import cure_time_min, gel_time_min
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
