"""The single dictionary of columns: what a register may hold and what an assessment adds.

Checks, exports and the tables of the documentation are generated from `COLUMNS`.
"""

from __future__ import annotations

from dataclasses import dataclass

from saltreach.vocabulary.metals import GRADES, MATERIAL_NAMES, PLACEABLE
from saltreach.vocabulary.words import (
    ACTIONS,
    ADHESIVES,
    BANDS,
    CATEGORIES,
    CLASSES,
    FAVOURABILITY,
    HOLE_CONDITIONS,
    INFILLING,
    JOINT_WEATHERING,
    KINDS,
    KINDS_ADVISED,
    POSITIONS,
    RISK_SOURCES,
    RMR_CLASSES,
    ROD_SHAPES,
    ROUGHNESS,
    SEEPAGE,
    SIDES,
    STRENGTH_GRADES,
    TAP_RESPONSES,
    UNKNOWN,
    WATER,
    WEATHERING,
    YES_NO,
    YES_NO_UNKNOWN,
)

MATERIAL_CHOICES = (*MATERIAL_NAMES, UNKNOWN)


@dataclass(frozen=True)
class Column:
    """One column: its name, type, unit, range and meaning.

    `kind` is one of text, number, integer, date, choice, json. A `date` is ISO text that may
    stop at the year or the month (`2014`, `2014-06`, `2014-06-12`). `low` and `high` are the
    physically possible range, both ends allowed. `stage` says who fills it: register (the
    user), layers, science or decisions.
    """

    name: str
    kind: str
    meaning: str
    unit: str = ""
    low: float | None = None
    high: float | None = None
    choices: tuple[str, ...] = ()
    required: bool = False
    stage: str = "register"


def _r(name: str, kind: str, meaning: str, **more: object) -> Column:
    return Column(name, kind, meaning, **more)  # type: ignore[arg-type]


REGISTER: tuple[Column, ...] = (
    _r("anchor_id", "text", "key of the anchor, its own in the register", required=True),
    _r("crag", "text", "crag the anchor belongs to", required=True),
    _r("sector", "text", "sector of the crag", required=True),
    _r("lon", "number", "longitude, WGS 84", unit="deg", low=-180, high=180, required=True),
    _r("lat", "number", "latitude, WGS 84", unit="deg", low=-90, high=90, required=True),
    _r("route", "text", "route the anchor belongs to"),
    _r("position", "choice", "where on the route", choices=POSITIONS),
    _r("kind", "choice", "how the anchor holds", choices=KINDS),
    _r("material", "choice", "metal of the part in the rock", choices=MATERIAL_CHOICES),
    _r("hanger_material", "choice", "metal of the hanger or ring", choices=MATERIAL_CHOICES),
    _r(
        "grade",
        "choice",
        "grade of the part in the rock; taken from the word for its metal where that names one",
        choices=tuple(g.name for g in GRADES),
    ),
    _r("adhesive", "choice", "resin of a bonded anchor", choices=ADHESIVES),
    _r("rod_shape", "choice", "surface of a bonded anchor's rod", choices=ROD_SHAPES),
    _r(
        "hole_condition",
        "choice",
        "state of the hole when it was filled",
        choices=HOLE_CONDITIONS,
    ),
    _r("diameter_mm", "number", "diameter of the shank", unit="mm", low=4, high=40),
    _r("embedment_mm", "number", "installed length in the rock", unit="mm", low=10, high=500),
    _r("installed_on", "date", "when it was placed: year, year-month or date"),
    _r("last_inspected_on", "date", "when it was last inspected"),
    _r("condition", "integer", "0 sound, 1 marked, 2 worn, 3 poor, 4 failed", low=0, high=4),
    _r(
        "height_above_sea_m",
        "number",
        "height above mean sea level of a sea-cliff anchor",
        unit="m",
        low=-5,
        high=1500,
    ),
    _r(
        "elevation_m",
        "number",
        "elevation; the register's value wins over any layer",
        unit="m",
        low=-430,
        high=9000,
    ),
    _r(
        "face_azimuth_deg",
        "number",
        "direction the face looks to, clockwise from north",
        unit="deg",
        low=0,
        high=360,
    ),
    _r(
        "face_slope_deg",
        "number",
        "slope of the face: 90 vertical, more is overhanging",
        unit="deg",
        low=0,
        high=180,
    ),
    _r("rain_washed", "choice", "whether rain washes the anchor", choices=YES_NO_UNKNOWN),
    _r("rock_type", "text", "rock at the anchor, trade name or GLiM code"),
    _r("tap_response", "choice", "sound of a hammer tap beside the anchor", choices=TAP_RESPONSES),
    _r("rebound_number", "number", "L-type rebound hammer number", low=5, high=90),
    _r(
        "strength_grade",
        "choice",
        "ISRM grade of strength by hammer and knife",
        choices=STRENGTH_GRADES,
    ),
    _r("weathering_grade", "choice", "ISRM weathering grade", choices=WEATHERING),
    _r(
        "crack_distance_mm",
        "number",
        "distance to the nearest crack",
        unit="mm",
        low=0,
        high=100_000,
    ),
    _r(
        "edge_distance_mm", "number", "distance to the nearest edge", unit="mm", low=0, high=100_000
    ),
    _r("visits_per_year", "number", "people who use the route in a year", low=0, high=1_000_000),
    _r(
        "sea_cliff",
        "choice",
        "whether the anchor stands on a sea cliff; given here it overrides distance and height",
        choices=YES_NO_UNKNOWN,
    ),
    _r(
        "salted_road_m",
        "number",
        "distance to a road with de-icing salt",
        unit="m",
        low=0,
        high=100_000,
    ),
    _r(
        "salted_tunnel",
        "choice",
        "whether it is in a salted road tunnel or within 10 m of its mouth",
        choices=YES_NO_UNKNOWN,
    ),
    _r(
        "sea_salinity_g_kg",
        "number",
        "salinity of the sea nearby; given here it overrides the table of seas",
        unit="g/kg",
        low=0,
        high=400,
    ),
    _r(
        "volcanic_gas",
        "choice",
        "whether fumaroles or geothermal gas reach the anchor",
        choices=YES_NO_UNKNOWN,
    ),
    _r("seepage", "choice", "water that seeps over the anchor", choices=SEEPAGE),
    _r(
        "salt_crust",
        "choice",
        "whether a crust of salt or calcite covers it",
        choices=YES_NO_UNKNOWN,
    ),
    _r("vegetation", "choice", "whether plants or soil cover the anchor", choices=YES_NO_UNKNOWN),
    _r("notes", "text", "free text"),
    _r(
        "coast_distance_m",
        "number",
        "distance to the sea; given here it overrides the layer",
        unit="m",
        low=0,
        high=3_000_000,
    ),
    _r(
        "interval_set_months",
        "number",
        "longest interval that the land manager sets",
        unit="months",
        low=1,
        high=240,
    ),
    _r(
        "so2_ug_m3",
        "number",
        "mean SO2 concentration; given here it overrides the assumption",
        unit="ug/m3",
        low=0,
        high=1000,
    ),
)
"""Columns a register may hold, in the order they are written."""

SURVEY: tuple[Column, ...] = (
    _r("crag", "text", "crag, as the register spells it", required=True),
    _r("sector", "text", "sector, as the register spells it", required=True),
    _r(
        "joint_spacing_mm",
        "number",
        "mean spacing of the joints",
        unit="mm",
        low=1,
        high=100_000,
    ),
    _r("persistence_m", "number", "length of the joints", unit="m", low=0, high=1000),
    _r("aperture_mm", "number", "opening of the joints; 0 closed", unit="mm", low=0, high=1000),
    _r(
        "roughness",
        "choice",
        "roughness of the joints",
        choices=ROUGHNESS,
    ),
    _r(
        "infilling",
        "choice",
        "filling of the joints",
        choices=INFILLING,
    ),
    _r(
        "joint_weathering",
        "choice",
        "weathering of the joints' walls",
        choices=JOINT_WEATHERING,
    ),
    _r(
        "water",
        "choice",
        "water in the rock",
        choices=WATER,
    ),
    _r(
        "rqd_pct",
        "number",
        "rock quality designation; taken from the spacing where empty",
        unit="%",
        low=0,
        high=100,
    ),
    _r(
        "favourability",
        "choice",
        "orientation of the joints for the stability of the face",
        choices=FAVOURABILITY,
    ),
)
"""Columns of a sector survey (rock mass), one row per sector; words and limits of RMR89."""


def _c(stage: str, name: str, kind: str, meaning: str, **more: object) -> Column:
    return Column(name, kind, meaning, stage=stage, **more)  # type: ignore[arg-type]


_RATE = {"unit": "um/y"}
_SALT = {"unit": "mg/(m2 d)"}

RESULTS: tuple[Column, ...] = (
    _c(
        "layers",
        "coast_distance_m",
        "number",
        "geodesic distance to the sea, WGS 84; 0 when the "
        "position falls seaward of the layer's shoreline",
        unit="m",
    ),
    _c("layers", "coast_distance_sd_m", "number", "standard deviation of that distance", unit="m"),
    _c("layers", "coast_distance_source", "text", "register, or the layer's name"),
    _c("layers", "coast_side", "choice", "side of the layer's shoreline", choices=SIDES),
    _c(
        "layers",
        "sea_openness",
        "number",
        "share of directions with open sea, 0 to 1; a straight coast has 0.5",
    ),
    _c("layers", "elevation_m", "number", "elevation used", unit="m"),
    _c("layers", "elevation_source", "text", "register, the layer's name, or unknown"),
    _c(
        "layers",
        "temperature_c",
        "number",
        "annual mean air temperature at the anchor's elevation",
        unit="degC",
    ),
    _c("layers", "temperature_sd_c", "number", "standard deviation of it", unit="degC"),
    _c("layers", "relative_humidity_pct", "number", "annual mean relative humidity", unit="%"),
    _c("layers", "relative_humidity_sd_pct", "number", "standard deviation of it", unit="%"),
    _c("layers", "rain_mm_y", "number", "annual precipitation", unit="mm/y"),
    _c(
        "layers",
        "wind_speed_m_s",
        "number",
        "annual mean wind speed over the sea nearby",
        unit="m/s",
    ),
    _c("layers", "slope_deg", "number", "slope of the ground in the height raster", unit="deg"),
    _c("layers", "aspect_deg", "number", "where that ground falls to", unit="deg"),
    _c("layers", "sea_shielding", "number", "terrain towards the sea, 0 open to 1 hidden"),
    _c("layers", "so2_mg_m2_d", "number", "SO2 deposition", **_SALT),
    _c("layers", "sea_cliff", "choice", "whether it counts as a sea cliff", choices=YES_NO),
    _c("layers", "sea_cliff_reason", "text", "what made it one, or not"),
    _c("layers", "sea_salinity_g_kg", "number", "salinity of the sea nearby", unit="g/kg"),
    _c("layers", "salt_lake", "text", "salt lake within 50 km"),
    _c("layers", "salt_lake_m", "number", "distance to its shore", unit="m"),
    _c("layers", "lithology", "text", "rock class of the lithology table, or unknown"),
    _c("layers", "lithology_source", "text", "register, the layer's name, or unknown"),
    _c("science", "chloride_mg_m2_d", "number", "chloride deposition, median", **_SALT),
    _c("science", "chloride_mg_m2_d_p10", "number", "its 10th percentile", **_SALT),
    _c("science", "chloride_mg_m2_d_p90", "number", "its 90th percentile", **_SALT),
    _c("science", "steel_rate_um_y", "number", "first-year loss of carbon steel, median", **_RATE),
    _c("science", "steel_rate_um_y_p10", "number", "its 10th percentile", **_RATE),
    _c("science", "steel_rate_um_y_p90", "number", "its 90th percentile", **_RATE),
    _c("science", "zinc_rate_um_y", "number", "first-year loss of zinc, median", **_RATE),
    _c("science", "zinc_rate_um_y_p10", "number", "its 10th percentile", **_RATE),
    _c("science", "zinc_rate_um_y_p90", "number", "its 90th percentile", **_RATE),
    _c(
        "science",
        "corrosivity_category",
        "choice",
        "ISO 9223 category, the worse of steel and zinc",
        choices=CATEGORIES,
    ),
    _c("science", "category_probabilities", "json", "probability of each ISO 9223 category"),
    _c(
        "science",
        "time_of_wetness_h_y",
        "number",
        "hours above 80 % humidity and 0 degC in a year, estimated",
        unit="h/y",
    ),
    _c(
        "science",
        "liquid_salt_share",
        "number",
        "share of the year in which MgCl2 and CaCl2 deposits are liquid but NaCl is not",
    ),
    _c(
        "science",
        "washing",
        "choice",
        "whether rain washes it: the register's word, else from the slope of the face",
        choices=YES_NO_UNKNOWN,
    ),
    _c("science", "crf", "integer", "EN 1993-1-4 corrosion resistance factor that governs"),
    _c(
        "science",
        "crc",
        "choice",
        "EN 1993-1-4 corrosion resistance class that governs",
        choices=CLASSES,
    ),
    _c("science", "crc_probabilities", "json", "probability of each resistance class"),
    _c("science", "crf_washed", "integer", "the factor if rain washes the anchor"),
    _c("science", "crf_unwashed", "integer", "the factor if rain does not"),
    _c("science", "scc_hazard", "number", "stress-corrosion hazard, 0 to 1"),
    _c("science", "scc_hazard_mild", "number", "that hazard with unknowns at their mild end"),
    _c("science", "scc_band", "choice", "that hazard in words", choices=BANDS),
    _c(
        "science",
        "scc_band_confident",
        "choice",
        "band that is not exceeded with 84 % chance over the uncertain salt",
        choices=BANDS,
    ),
    _c(
        "science",
        "rock_strength_mpa",
        "number",
        "uniaxial compressive strength of intact rock, median",
        unit="MPa",
    ),
    _c("science", "rock_strength_mpa_p10", "number", "its 10th percentile", unit="MPa"),
    _c("science", "rock_strength_mpa_p90", "number", "its 90th percentile", unit="MPa"),
    _c(
        "science",
        "joint_spacing_mm",
        "number",
        "spacing of the discontinuities, from the survey",
        unit="mm",
    ),
    _c(
        "science",
        "rmr89",
        "number",
        "rock mass rating RMR89 of the sector, with the orientation adjustment where surveyed",
    ),
    _c("science", "rmr_class", "choice", "class of that rating", choices=RMR_CLASSES),
    _c("science", "gsi", "number", "geological strength index, RMR89 dry and unadjusted less 5"),
    _c(
        "science",
        "rock_axial_kn_p05",
        "number",
        "axial resistance in this rock as placed and without corrosion, 5th percentile",
        unit="kN",
    ),
    _c(
        "science",
        "rock_radial_kn_p05",
        "number",
        "radial resistance in this rock as placed and without corrosion, 5th percentile",
        unit="kN",
    ),
    _c("science", "resistance_mode", "text", "how the anchor would fail first, and in which pull"),
    _c(
        "science",
        "rock_strength_source",
        "text",
        "lithology and tests, or the mixture of the register where the rock is unknown",
    ),
    _c(
        "decisions",
        "embedment_required_mm",
        "number",
        "least embedment of a new anchor here for the required loads",
        unit="mm",
    ),
    _c(
        "decisions",
        "diameter_required_mm",
        "number",
        "least usual diameter whose steel bears the required loads",
        unit="mm",
    ),
    _c("decisions", "kind_advised", "choice", "what to place here", choices=KINDS_ADVISED),
    _c("decisions", "kind_reasons", "text", "why that kind and that embedment"),
    _c("decisions", "material_recommended", "choice", "metal we advise", choices=PLACEABLE),
    _c(
        "decisions",
        "material_minimum",
        "choice",
        "least metal the standard allows",
        choices=PLACEABLE,
    ),
    _c(
        "decisions",
        "material_alternative",
        "choice",
        "other metal that suffices, where it can be had",
        choices=PLACEABLE,
    ),
    _c("decisions", "material_reasons", "text", "why, and the rule that governed"),
    _c("decisions", "material_codes", "text", "codes of the rules in the reasons"),
    _c("decisions", "capacity_kn_p05", "number", "capacity, 5th percentile", unit="kN"),
    _c(
        "decisions",
        "coating_life_y",
        "number",
        "years from placing until the zinc of coated steel is used up",
        unit="y",
    ),
    _c("decisions", "failure_probability_y1", "number", "probability of failure in a year"),
    _c(
        "decisions",
        "failure_probability_y1_p10",
        "number",
        "low end of its range: a prior, not a counted rate",
    ),
    _c("decisions", "failure_probability_y1_p90", "number", "high end of its range"),
    _c("decisions", "metal_probability_y1", "number", "its part from the metal"),
    _c("decisions", "rock_probability_y1", "number", "its part from the rock"),
    _c(
        "decisions",
        "rock_probability_after",
        "number",
        "part from the rock of a new anchor placed as advised; empty where none should be placed",
    ),
    _c("decisions", "failure_probability_y10", "number", "probability of failure in 10 years"),
    _c("decisions", "failure_probability_y30", "number", "probability of failure in 30 years"),
    _c("decisions", "metal_band", "choice", "risk of the metal in words", choices=BANDS),
    _c("decisions", "rock_band", "choice", "risk of the rock in words", choices=BANDS),
    _c("decisions", "risk_band", "choice", "metal and rock together, in words", choices=BANDS),
    _c(
        "decisions",
        "risk_governed_by",
        "choice",
        "which of the two sets the risk band",
        choices=RISK_SOURCES,
    ),
    _c("decisions", "action", "choice", "what to do with the anchor in place", choices=ACTIONS),
    _c("decisions", "action_reasons", "text", "why, and how"),
    _c(
        "decisions",
        "replace_by",
        "date",
        "replace, move, remove, find out or close by this day",
    ),
    _c(
        "decisions",
        "inspection_interval_months",
        "integer",
        "longest time between inspections",
        unit="months",
    ),
    _c("decisions", "next_inspection_on", "date", "when the next inspection is due"),
    _c("decisions", "overdue", "choice", "whether that day has passed", choices=YES_NO),
    _c("decisions", "interval_reasons", "text", "why, and the rule that governed"),
    _c("decisions", "interval_rule", "text", "rule that governed the interval"),
    _c(
        "decisions",
        "risk_band_after",
        "choice",
        "risk in words once replaced as advised, in the same rock",
        choices=BANDS,
    ),
    _c("decisions", "yearly_loss", "number", "relative expected loss of a year"),
    _c("decisions", "replacement_cost", "number", "cost of replacing it, 0 where nothing is due"),
    _c("decisions", "priority_score", "number", "loss avoided per unit cost"),
    _c("decisions", "priority_rank", "integer", "place in the order of rebolting"),
    _c("decisions", "warnings", "text", "what a reader must know before using the row"),
)
"""Columns an assessment adds, in the order they are written."""

REGISTER_BY_NAME: dict[str, Column] = {c.name: c for c in REGISTER}
RESULTS_BY_NAME: dict[str, Column] = {c.name: c for c in RESULTS}
REQUIRED: tuple[str, ...] = tuple(c.name for c in REGISTER if c.required)
REJECTED_COLUMNS: tuple[str, ...] = ("file", "row", "column", "value", "reason", "fix")
"""Columns of the table of refused rows."""
