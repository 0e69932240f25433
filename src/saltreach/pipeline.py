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
    from saltreach.layers.geology import RockMap
    from saltreach.register import Register
    from saltreach.register.survey import Survey

CAUTION = (
    "Advice only, never a certificate that an anchor is safe. Local code, the land manager and "
    "a competent person decide."
)


@dataclass(frozen=True)
class Assessment:
    """What an assessment found.

    `anchors`: GeoDataFrame, one row per good anchor. `sectors`, `crags`: one row each, with
    shapes. `rejected`: refused rows. `provenance`: where every value came from. `working`: the
    anchors with every value met on the way, for explanations; None when read back from files.
    """

    anchors: gpd.GeoDataFrame
    sectors: gpd.GeoDataFrame
    crags: gpd.GeoDataFrame
    rejected: pd.DataFrame
    provenance: dict[str, Any]
    working: pd.DataFrame | None = None


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
        CLASS_PROBABILITY_COLUMNS,
        PROBABILITY_COLUMNS,
        corrosivity,
        probabilities_json,
        wet_and_liquid,
    )
    from saltreach.decisions.interval import inspection_interval
    from saltreach.decisions.material import choose_material
    from saltreach.decisions.resistance import rock_resistance
    from saltreach.decisions.rock import rock_mass, rock_strength
    from saltreach.decisions.sectors import aggregate
    from saltreach.decisions.warnings import warnings_of
    from saltreach.layers.coast_index import Shore
    from saltreach.layers.join import layer_values, months_of, shore_of
    from saltreach.layers.rock_types import rock_record, rock_values
    from saltreach.register import refuse_far_at_sea
    from saltreach.register.survey import survey_at
    from saltreach.views.frames import anchor_frame, with_shapes

    options = options or Options()
    today = options.today or date.today()
    on_step("coast")
    coast = open_coast(options)
    shore, index = shore_of(register.anchors, coast)
    placed = register.anchors["source_row"]
    register = refuse_far_at_sea(
        register, shore.distance_m, shore.on_land != 0, limit_m=options.offshore_limit_m
    )
    kept = placed.isin(register.anchors["source_row"]).to_numpy()
    shore = Shore(shore.distance_m[kept], shore.on_land[kept])
    on_step("climate, openness and terrain")
    layers = layer_values(
        register.anchors,
        shore,
        coast,
        index,
        so2_ug_m3=options.so2_ug_m3,
        dem_file=None if options.dem_file is None else Path(options.dem_file),
        use_wind=options.wind,
    )
    on_step("rock type and survey")
    rock_map, words = open_rock_map(options, register.anchors)
    rocks = rock_values(register.anchors, rock_map, words)
    layers = layers.drop(columns=[c for c in rocks if c in layers]).join(rocks)
    surveyed, survey = survey_at(open_survey(options), register.anchors)
    months = months_of(register.anchors, layers["elevation_m"].to_numpy(float))
    given = register.anchors.drop(columns=[c for c in layers if c in register.anchors])
    table = pd.concat([pd.DataFrame(given), layers], axis=1)
    on_step("corrosivity")
    table = table.join(corrosivity(table, spread=options.spread, seed=options.seed))
    table = table.join(wet_and_liquid(*months)).join(rock_strength(table))
    on_step("rock")
    table = table.join(rock_mass(table, surveyed))
    table = table.join(rock_resistance(table, options.axial_kn))
    on_step("decisions")
    table = table.join(choose_material(table))
    table = table.join(inspection_interval(table, today))
    table["warnings"] = warnings_of(table)
    table["category_probabilities"] = probabilities_json(table, PROBABILITY_COLUMNS)
    table["crc_probabilities"] = probabilities_json(table, CLASS_PROBABILITY_COLUMNS)
    on_step("sectors and crags")
    anchors = anchor_frame(table, register.anchors)
    working = anchors.join(table[list(PROBABILITY_COLUMNS)])
    sectors = with_shapes(aggregate(working, ["crag", "sector"]), register.anchors)
    crags = with_shapes(aggregate(working, ["crag"]), register.anchors)
    record = provenance(register, options, coast, today)
    record["layers"] += [] if rock_map is None else [rock_map.layer.record()]
    record["rock"] = rock_record(rocks, rock_map)
    record["survey"] = None if survey is None else survey.record()
    return Assessment(
        anchors=anchors,
        sectors=sectors,
        crags=crags,
        rejected=register.rejected
        if survey is None
        else pd.concat([register.rejected, survey.rejected], ignore_index=True),
        provenance=record,
        working=table,
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


def open_rock_map(options: Options, anchors: pd.DataFrame) -> tuple[RockMap | None, dict[str, str]]:
    """What the geological map of the options says at the anchors, and the user's mapping."""
    from saltreach.layers.geology import rock_map_at
    from saltreach.layers.rock_types import read_rock_mapping

    file = options.rock_mapping_file
    words = {} if file is None else read_rock_mapping(file)
    if options.geology_file is None:
        return None, words
    column = options.rock_column
    place = (anchors["lon"], anchors["lat"])
    return rock_map_at(*place, options.geology_file, column=column, mapping=words), words


def open_survey(options: Options) -> Survey | None:
    """The survey of sectors the options name."""
    from saltreach.register.survey import read_survey

    return None if options.survey_file is None else read_survey(options.survey_file)


def provenance(register: Register, options: Options, coast: Coast, today: date) -> dict[str, Any]:
    """Inputs, layers, options, versions and assumptions of an assessment."""
    from importlib.metadata import version

    from saltreach.layers.climate import climate_layers
    from saltreach.layers.terrain import dem_layer
    from saltreach.layers.wind import wind_layer

    layers = [coast.layer, *climate_layers()]
    if options.dem_file is not None:
        layers.append(dem_layer(options.dem_file))
    if options.wind:
        layers.append(wind_layer())
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
        "layers": [layer.record() for layer in layers],
        "options": options.record(),
        "seed": options.seed if options.spread == "sampling" else None,
        "versions": {name: version(name) for name in packages},
        "assumptions": assumptions(options),
        "caution": CAUTION,
    }


def assumptions(options: Options) -> list[str]:
    """What the results rest on besides the register and the layers, in sentences."""
    return [
        f"SO2 is taken as {options.so2_ug_m3:g} ug/m3 where the register gives none; no layer "
        "of it is embedded.",
        "Chloride comes from the distance to the sea, the openness of the shore and the height "
        "above the sea; where nothing but the distance is known it varies by a factor of 2.6 up "
        "or down (one standard deviation). Openness, height and shielding are judgement.",
        "The errors of ISO 9223's functions for steel and zinc are taken to move together.",
        "Washing comes from the register, else from the slope of the face (below 85 degrees "
        "washed, above 100 not).",
        "Unknown washing is assessed as not washed; unknown metal as two classes short.",
        "Coefficients and limits of ISO 9223, ISO 9224 and EN 1993-1-4 are from memory in "
        "part; the documentation of each formula says which.",
        "Inspection intervals and risk bands follow a table of our own, common practice "
        "without a source.",
        "Rock type comes from the register, else from the geology file given; no rock layer is "
        "embedded.",
        "Rock strength starts from wide textbook ranges per lithology and is narrowed by the "
        "register's tests; what a tap says of strength is judgement, and hollow always vetoes.",
        f"Resistance in rock ({options.axial_kn:g} kN axial, 25 kN radial required at the 5th "
        "percentile) comes from bond and concrete-cone formulas with a knock-down of our own; "
        "crack and edge distances that are not given are taken as kept clear.",
        "Wind is left out unless asked for: it was not shown to improve the estimate.",
        "Stress-corrosion hazard, anchor capacity and priority are not assessed yet: their "
        "columns are empty.",
    ]
