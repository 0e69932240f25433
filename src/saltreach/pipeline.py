"""The main job: register, layers, science, decisions, one after the other."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from datetime import UTC, date, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any

from saltreach.options import Options

if TYPE_CHECKING:
    import geopandas as gpd
    import pandas as pd

    from saltreach.layers.coast import Coast
    from saltreach.register import Register

CAUTION = (
    "Advice only, never a certificate that an anchor is safe. Local code, the land manager and "
    "a competent person decide."
)


@dataclass(frozen=True)
class Assessment:
    """What an assessment found.

    `anchors`: GeoDataFrame, one row per good anchor. `sectors`, `crags`: one row each, with
    shapes. `rejected`: refused rows. `provenance`: where every value came from.
    """

    anchors: gpd.GeoDataFrame
    sectors: gpd.GeoDataFrame
    crags: gpd.GeoDataFrame
    rejected: pd.DataFrame
    provenance: dict[str, Any]


def assess(
    register: Register,
    options: Options | None = None,
    *,
    on_step: Callable[[str], None] = lambda _: None,
) -> Assessment:
    """Assess every anchor of a register.

    Parameters
    ----------
    register : Register
        From `read_register`.
    options : Options, optional
        Settings; the defaults are stated in the provenance.
    on_step : callable, optional
        Told the name of each step as it begins.

    Returns
    -------
    Assessment

    Raises
    ------
    LayerError
        When a layer file cannot be used.
    """
    import pandas as pd

    from saltreach.decisions.corrosivity import (
        PROBABILITY_COLUMNS,
        corrosivity,
        probabilities_json,
    )
    from saltreach.decisions.interval import inspection_interval
    from saltreach.decisions.material import choose_material
    from saltreach.decisions.rock import rock_strength
    from saltreach.decisions.sectors import aggregate
    from saltreach.decisions.warnings import warnings_of
    from saltreach.layers.coast_index import Shore
    from saltreach.layers.join import layer_values, shore_of
    from saltreach.register import refuse_far_at_sea
    from saltreach.views.frames import anchor_frame, with_shapes

    options = options or Options()
    today = options.today or date.today()
    on_step("coast")
    coast = open_coast(options)
    shore = shore_of(register.anchors, coast)
    placed = register.anchors["source_row"]
    register = refuse_far_at_sea(
        register, shore.distance_m, shore.on_land != 0, limit_m=options.offshore_limit_m
    )
    kept = placed.isin(register.anchors["source_row"]).to_numpy()
    shore = Shore(shore.distance_m[kept], shore.on_land[kept])
    on_step("climate and rock")
    layers = layer_values(register.anchors, shore, coast, options.so2_ug_m3)
    given = register.anchors.drop(columns=[c for c in layers if c in register.anchors])
    table = pd.concat([pd.DataFrame(given), layers], axis=1)
    on_step("corrosivity")
    table = table.join(corrosivity(table)).join(rock_strength(table))
    on_step("decisions")
    table = table.join(choose_material(table))
    table = table.join(inspection_interval(table, today))
    table["warnings"] = warnings_of(table)
    table["category_probabilities"] = probabilities_json(table)
    on_step("sectors and crags")
    anchors = anchor_frame(table, register.anchors)
    working = anchors.join(table[list(PROBABILITY_COLUMNS)])
    sectors = with_shapes(aggregate(working, ["crag", "sector"]), register.anchors)
    crags = with_shapes(aggregate(working, ["crag"]), register.anchors)
    return Assessment(
        anchors=anchors,
        sectors=sectors,
        crags=crags,
        rejected=register.rejected,
        provenance=provenance(register, options, coast, today),
    )


def open_coast(options: Options) -> Coast:
    """The shoreline the options ask for."""
    from saltreach.layers.coast import FILE_SD_M, load_coast, read_coast_file

    if options.coast_file is None:
        coast = load_coast()
        if options.coast_sd_m is None:
            return coast
        return replace(coast, position_sd_m=options.coast_sd_m)
    sd = FILE_SD_M if options.coast_sd_m is None else options.coast_sd_m
    return read_coast_file(Path(options.coast_file), position_sd_m=sd)


def provenance(register: Register, options: Options, coast: Coast, today: date) -> dict[str, Any]:
    """Inputs, layers, options, versions and assumptions of an assessment."""
    from importlib.metadata import version

    from saltreach.layers.climate import climate_layers

    packages = ("numpy", "pandas", "geopandas", "shapely", "pyproj", "scipy", "xarray", "folium")
    return {
        "software": f"saltreach {version('saltreach')}",
        "time": datetime.now(UTC).isoformat(timespec="seconds"),
        "assessed_for": today.isoformat(),
        "register": {
            "file": register.file,
            "format": register.format,
            "sha256": register.sha256,
            "rows": register.rows_read,
            "accepted": len(register.anchors),
            "rejected": int(register.rejected["row"].nunique()),
            "notes": list(register.notes),
        },
        "layers": [layer.record() for layer in (coast.layer, *climate_layers())],
        "options": options.record(),
        "seed": None,
        "versions": {name: version(name) for name in packages},
        "assumptions": assumptions(options),
        "caution": CAUTION,
    }


def assumptions(options: Options) -> list[str]:
    """What the results rest on besides the register and the layers, in sentences."""
    return [
        f"SO2 is taken as {options.so2_ug_m3:g} ug/m3 where the register gives none; no layer "
        "of it is embedded.",
        "Chloride comes from the distance to the sea alone; at one distance it varies by a "
        "factor of 2.5 up or down (one standard deviation).",
        "Unknown washing is assessed as not washed; unknown metal as two classes short.",
        "Coefficients and limits of ISO 9223, ISO 9224 and EN 1993-1-4 are from memory in "
        "part; the documentation of each formula says which.",
        "Inspection intervals and risk bands follow a table of our own, common practice "
        "without a source.",
        "Rock type comes from the register; no rock layer is embedded.",
        "Wind, openness to the sea, stress-corrosion hazard, anchor capacity and priority are "
        "not assessed yet: their columns are empty.",
    ]
