"""Where an assessment came from: inputs, layers, options, versions, assumptions."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import UTC, date, datetime
from importlib.metadata import version
from pathlib import Path
from typing import TYPE_CHECKING, Any

from saltreach.intake.parts import rows_in
from saltreach.layers.geology import rock_record
from saltreach.layers.join import origins_of
from saltreach.layers.pack import PackPart, parts_of
from saltreach.layers.patched_coast import NOTE_DISAGREE
from saltreach.vocabulary.words import CAUTION

if TYPE_CHECKING:
    import pandas as pd

    from saltreach.intake import Register
    from saltreach.intake.options import Options
    from saltreach.intake.policy import Policy
    from saltreach.intake.sheets import Sheet
    from saltreach.layers.geology import RockMap

DISAGREE = NOTE_DISAGREE.partition("(")[0]
PACKAGES = ("numpy", "pandas", "geopandas", "shapely", "pyproj", "scipy", "xarray", "folium")


def provenance(
    register: Register,
    options: Options,
    today: date,
    policy: Policy,
    *,
    sources: Mapping[str, Any],
    rock_map: RockMap | None,
    table: pd.DataFrame,
    survey: Sheet | None,
    left_out: Sequence[str] = (),
    notes: Sequence[str] = (),
    learned_from: str = "",
) -> dict[str, Any]:
    """The record of an assessment, as `provenance.json` holds it.

    Parameters
    ----------
    register, options, today, policy
        What was assessed, how, and for which day.
    sources : mapping
        The layers as opened.
    rock_map : RockMap or None
        What a geological map says.
    table : DataFrame
        Anchors with the columns of the layers.
    survey : Sheet or None
        The survey of sectors, where there is one.
    left_out : sequence of str
        Sentences on what was refused and left out of the tables beside the register.
    notes : sequence of str
        What was ignored or assumed in those tables.
    learned_from : str
        What looks and tests changed of the model; empty without lessons.
    """
    return {
        "left_out": list(left_out),
        "software": f"saltreach {version('saltreach')}",
        "time": datetime.now(UTC).isoformat(timespec="seconds"),
        "assessed_for": today.isoformat(),
        "register": register_record(register),
        "layers": [origin.record() for origin in origins_of(sources)],
        "options": options.record(),
        "versions": {name: version(name) for name in PACKAGES},
        "policy": policy.record(),
        "table_notes": list(notes),
        "assumptions": [
            *left_out,
            *assumptions(options),
            *(f"LOOSER POLICY: {t}." for t in policy.loosened),
            *([learned_from] if learned_from else []),
        ],  # fmt: skip
        "caution": CAUTION,
        "rock": rock_record(table, rock_map),
        "survey": None if survey is None else survey.record(),
        "pack": _pack_record(options, table),
        "drawings_left_out": [],
    }


USED = {
    "coast": ("coast_distance_source", "coast_file"),
    "rock": ("lithology_source", "geology_file"),
    "heights": ("slope_deg", "dem_file"),
    "climate": ("humidity_source", None),
    "air": ("so2_source", None),
}
"""Column that shows whether an anchor has a part's value, and the option of a file that goes before
the part."""


def _pack_record(options: Options, table: pd.DataFrame) -> dict[str, Any]:
    """Parts of the region pack: when each was brought, for how many anchors it counts, notes."""
    if options.pack_folder is None:
        return {}
    parts = parts_of(options.pack_folder)
    return {
        name: {"brought_at": part.brought_at, "used": _used(name, part, options, table),
               "notes": list(part.notes)}
        for name, part in parts.items()
        if name in (options.pack_parts or parts)
    }  # fmt: skip


def _used(name: str, part: PackPart, options: Options, table: pd.DataFrame) -> str:
    """For how many anchors a part counts, in a sentence."""
    if name not in USED:
        return "drawn behind the map, and asked about"
    column, file = USED[name]
    if file is not None and getattr(options, file) is not None:
        return f"set aside: your own file ({Path(getattr(options, file)).name}) counts"
    values = table[column]
    names = [origin.name for origin in part.origins]
    own = values.notna() if column.endswith("_deg") else values.isin(names)
    said = f"used for {int(own.sum())} of {len(table)} anchors, as of {part.brought_at[:10]}"
    doubted = int(table["layer_notes"].str.contains(DISAGREE, regex=False).sum())
    if name == "coast" and doubted:
        said += f"; at {doubted} of them it and the embedded shore disagree: see their warnings"
    return said if own.any() else f"{said}: it was brought for other places, or the register knows"


def register_record(register: Register) -> dict[str, Any]:
    """What was read of a register, as plain values."""
    return {
        "file": register.file,
        "format": register.format,
        "sha256": register.sha256,
        "rows": register.rows_read,
        "accepted": len(register.anchors),
        "rejected": rows_in(register.rejected),
        "cells_in_doubt": len(register.doubts),
        "columns_read_as": dict(register.renamed),
        "columns_not_used": list(register.unused),
        "notes": list(register.notes),
    }


def assumptions(options: Options) -> list[str]:
    """What the results rest on besides the register and the layers, in sentences."""
    return [
        f"SO2 is taken as {options.so2_ug_m3:g} ug/m3 where neither the register nor a region "
        "pack gives it; no layer of it is embedded, and a pack's is a model's mean over a cell or "
        "the user's raster, hardly surer (so2_source says which).",
        "Time of wetness and the hours of liquid salt are counted where a region pack counted them "
        "(wetness_source), else estimated from monthly means with an assumed day-night wave.",
        "Chloride comes from the distance to the sea, the openness of the shore and the height "
        "above the sea; where nothing but the distance is known it varies by a factor of 2.6 up "
        "or down (one standard deviation). Openness, height and shielding are judgement.",
        "The errors of ISO 9223's functions for steel and zinc are taken to move together.",
        "Washing comes from the register, else from the slope of the face (below 85 degrees "
        "washed, above 100 not).",
        "Unknown washing is assessed as not washed; unknown metal, date, condition, kind or rock "
        "as a mixture of what the register and the trade have, unknown sizes as their lower "
        "quartile.",
        "Salt is taken in proportion to the salinity of the sea (no law was found); a salt lake as "
        "a sea at half strength, without any measurement.",
        "Coefficients and limits of ISO 9223, ISO 9224 and EN 1993-1-4 are from memory in "
        "part; the documentation of each formula says which.",
        "Every probability of failure is a prior, not a counted rate: nobody has counted failures "
        "per anchor and year. It may be five times lower or higher. Risk bands, intervals and "
        "priorities rest on it: they rank, they do not certify.",
        "Prices are those of the policy; without one they are examples.",
        "Rock type comes from the register, else from the geology file given; no rock layer is "
        "embedded.",
        "Rock strength starts from wide textbook ranges per lithology and is narrowed by the "
        "register's tests; what a tap says of strength is judgement, and hollow always vetoes.",
        f"Resistance in rock ({options.axial_kn:g} kN axial, 25 kN radial required at the 5th "
        "percentile) comes from formulas of bond, pull-through and concrete cones with a "
        "knock-down of our own; crack and edge distances that are not given are taken as kept "
        "clear.",
        "Wind is left out: it was not shown to improve the estimate.",
    ]
