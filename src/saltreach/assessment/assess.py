"""The main job: register, layers, science, decisions, one after the other."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from datetime import UTC, date, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any

from saltreach.assessment.result import Assessment, Flat
from saltreach.errors import NoGoodRowsError
from saltreach.intake.options import Options
from saltreach.vocabulary.words import CAUTION

if TYPE_CHECKING:
    import pandas as pd

    from saltreach.intake import Register
    from saltreach.intake.policy import Policy
    from saltreach.intake.survey import Survey
    from saltreach.layers.coast import Coast
    from saltreach.layers.geology import RockMap


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
    NoGoodRowsError
        When no row is left to assess.
    """
    import pandas as pd

    from saltreach.assessment.corrosivity import (
        CLASS_PROBABILITY_COLUMNS,
        PROBABILITY_COLUMNS,
        corrosivity,
        probabilities_json,
        wet_and_liquid,
    )
    from saltreach.assessment.find_out import worth_finding_out
    from saltreach.assessment.frames import anchor_frame, with_shapes
    from saltreach.assessment.interval import inspection_interval
    from saltreach.assessment.material import choose_material, stress_corrosion_hazard
    from saltreach.assessment.priority import (
        PRIORITY_WORK,
        anchor_priority,
        rank_of_sector,
        sector_priority,
    )
    from saltreach.assessment.resistance import rock_resistance
    from saltreach.assessment.risk import action_of, bands_of
    from saltreach.assessment.rock import rock_mass, rock_strength
    from saltreach.assessment.sectors import aggregate
    from saltreach.assessment.state import age_of_anchors, sector_curves, state_of_anchors
    from saltreach.assessment.warnings import warnings_of
    from saltreach.intake import refuse_far_at_sea
    from saltreach.intake.survey import survey_at
    from saltreach.layers.coast_index import Shore
    from saltreach.layers.join import layer_values, months_of, shore_of
    from saltreach.layers.rock_types import rock_record, rock_values

    options = options or Options()
    policy = open_policy(options)
    stock = open_stock(options)
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
    if not len(register.anchors):
        raise NoGoodRowsError(
            f"{register.file}: it has no row below its header; give one row for each anchor"
            if register.rows_read == 0
            else f"{register.file}: none of its {register.rows_read} rows can be used; correct the "
            "refused rows (saltreach check lists them)",
            register.rejected,
        )
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
    found = corrosivity(table)
    table = table.drop(columns=[c for c in found if c in table]).join(found)
    table = table.join(wet_and_liquid(*months)).join(rock_strength(table))
    on_step("metal")
    table["warm_month_c"] = months[0].max(axis=1)
    table = table.join(stress_corrosion_hazard(table))
    table = table.join(choose_material(table, policy, stock))
    on_step("rock")
    table["age_y"] = age_of_anchors(table, today)
    table = table.join(rock_mass(table, surveyed))
    table = table.join(rock_resistance(table, options.axial_kn))
    on_step("decisions")
    state = state_of_anchors(table, today)
    table = table.join(state.columns)
    table = table.join(bands_of(table))
    table = table.join(action_of(table, today))
    table = table.join(inspection_interval(table, state.curve, today, policy))
    table = table.join(anchor_priority(table, policy))
    table["warnings"] = warnings_of(table, policy)
    table["category_probabilities"] = probabilities_json(table, PROBABILITY_COLUMNS)
    table["crc_probabilities"] = probabilities_json(table, CLASS_PROBABILITY_COLUMNS)
    on_step("sectors and crags")
    anchors = anchor_frame(table, register.anchors)
    extra = [*PROBABILITY_COLUMNS, *PRIORITY_WORK]
    working = anchors.join(table[[c for c in extra if c not in anchors]])
    sectors = aggregate(working, ["crag", "sector"])
    sectors = sectors.join(sector_priority(sectors, working, policy))
    sectors["failure_curve"] = sector_curves(working, state.curve, ["crag", "sector"])
    anchors["priority_rank"] = rank_of_sector(anchors, sectors)
    sectors = with_shapes(sectors, register.anchors)
    crags = aggregate(working, ["crag"])
    best = sectors.groupby("crag")[["priority_score", "priority_rank"]]
    crags = crags.join(best.agg({"priority_score": "max", "priority_rank": "min"}), on="crag")
    crags = with_shapes(crags, register.anchors)
    record = provenance(register, options, coast, today, policy)
    record["layers"] += [] if rock_map is None else [rock_map.layer.record()]
    record["rock"] = rock_record(rocks, rock_map)
    record["survey"] = None if survey is None else survey.record()
    flat = Flat(
        anchors=anchors,
        sectors=sectors,
        crags=crags,
        rejected=register.rejected
        if survey is None
        else pd.concat([register.rejected, survey.rejected], ignore_index=True),
        find_out=worth_finding_out(table, today, options.axial_kn, policy, stock),
    )
    return Assessment(flat, record, table)


def open_policy(options: Options) -> Policy:
    """The association's rules, or saltreach's own."""
    from saltreach.intake.policy import DEFAULT, read_policy

    if options.policy_file is None:
        return DEFAULT
    return read_policy(Path(options.policy_file), allow_looser=options.allow_looser_policy)


def open_stock(options: Options) -> frozenset[str] | None:
    """Metals that the stock list of the prices file can place bonded; None without a list."""
    from saltreach.intake.prices import read_prices

    return None if options.prices_file is None else read_prices(options.prices_file).stock_metals()


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
    from saltreach.intake.survey import read_survey

    return None if options.survey_file is None else read_survey(options.survey_file)


def provenance(
    register: Register, options: Options, coast: Coast, today: date, policy: Policy
) -> dict[str, Any]:
    """Inputs, layers, options, versions and assumptions of an assessment."""
    from importlib.metadata import version

    from saltreach.layers.climate import climate_layers
    from saltreach.layers.salinity import salinity_layer
    from saltreach.layers.salt_lakes import salt_lakes_layer
    from saltreach.layers.terrain import dem_layer
    from saltreach.layers.wind import wind_layer

    layers = [coast.layer, *climate_layers(), salinity_layer(), salt_lakes_layer()]
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
        "versions": {name: version(name) for name in packages},
        "policy": policy.record(),
        "assumptions": assumptions(options) + [f"LOOSER POLICY: {t}." for t in policy.loosened],
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
        "Wind is left out unless asked for: it was not shown to improve the estimate.",
    ]
