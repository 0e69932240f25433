"""One anchor's chain of values, from what the layers say to the category, for a person to read."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import pandas as pd

from saltreach.assessment.corrosivity import chloride_at, exposure_of
from saltreach.errors import OptionError
from saltreach.science.air.uncertainty import METALS, variance_shares
from saltreach.vocabulary.columns import REGISTER_BY_NAME, RESULTS_BY_NAME
from saltreach.vocabulary.words import CAUTION, SEPARATOR

if TYPE_CHECKING:
    from saltreach.assessment.result import Assessment

STEPS: tuple[tuple[str, tuple[str, ...]], ...] = (
    ("Register", ("crag", "sector", "lon", "lat", "kind", "material", "grade", "hanger_material",
                  "installed_on", "last_inspected_on", "condition", "rain_washed",
                  "face_slope_deg", "height_above_sea_m", "rock_type", "seepage")),
    ("Layers", ("coast_distance_m", "coast_distance_sd_m", "coast_distance_source", "coast_side",
                "sea_openness", "sea_cliff", "sea_cliff_reason", "sea_salinity_g_kg",
                "salt_lake", "salt_lake_m", "sea_shielding", "wind_speed_m_s", "elevation_m",
                "elevation_source", "temperature_c", "temperature_sd_c", "relative_humidity_pct",
                "relative_humidity_sd_pct", "rain_mm_y", "so2_ug_m3_used", "lithology")),
    ("Science", ("washing", "so2_mg_m2_d", "chloride_mg_m2_d", "time_of_wetness_h_y",
                 "liquid_salt_share", "steel_rate_um_y", "zinc_rate_um_y", "corrosivity_category",
                 "category_probabilities", "crf_washed", "crf_unwashed", "crf", "crc",
                 "crc_probabilities", "scc_hazard", "scc_band", "scc_band_confident",
                 "rock_strength_mpa", "rock_strength_source")),
    ("Decisions", ("material_minimum", "material_recommended", "material_alternative",
                   "material_reasons", "metal_probability_y1", "rock_probability_y1",
                   "failure_probability_y1", "metal_band", "rock_band", "risk_band",
                   "risk_governed_by", "action", "action_reasons", "replace_by",
                   "inspection_interval_months", "next_inspection_on", "interval_reasons",
                   "warnings")),
)  # fmt: skip
"""What is shown, in the order the data flows."""

INPUT_WORDS = {
    "coast_distance": "place of the shoreline",
    "chloride": "salt at that distance",
    "temperature": "temperature",
    "relative_humidity": "humidity",
    "so2": "SO2",
    "function": "ISO 9223's function itself",
}


def explain(result: Assessment, anchor_id: str) -> str:
    """The chain of one anchor as text.

    Parameters
    ----------
    result : Assessment
        From `assess`, not read back from files.
    anchor_id : str
        Key of the anchor.

    Raises
    ------
    OptionError
        When no good row has that key.
    """
    working = result.working
    if working is None:
        raise OptionError("only a fresh assessment can explain an anchor; run saltreach assess")
    rows = working[working["anchor_id"] == anchor_id]
    if not len(rows):
        some = ", ".join(working["anchor_id"].head(3))
        raise OptionError(
            f"no assessed anchor has anchor_id {anchor_id!r} (the first are {some}); "
            "if it is in the register, see the refused rows"
        )
    row = rows.iloc[0]
    lines = [f"Anchor {anchor_id}"]
    for title, names in STEPS:
        lines += ["", title]
        for name in names:
            lines += _lines(name, row)
    lines += ["", "Share of each input in the variance of ln(first-year loss)"]
    shares = {m: variance_shares(m, exposure_of(rows), chloride_at(rows)) for m in METALS}
    lines.append(f"  {'':28s}" + "".join(f"{m:>8s}" for m in METALS))
    for name, words in INPUT_WORDS.items():
        found = [float(shares[m][name][0]) for m in METALS]
        lines.append(f"  {words:28s}" + "".join(f"{_share(v):>8s}" for v in found))
    return "\n".join([*lines, "", CAUTION])


def _lines(name: str, row: pd.Series) -> list[str]:
    value = row.get(name)
    if name.endswith("_reasons") or name == "warnings":
        parts = [p for p in str(value or "").split(SEPARATOR) if p]
        return [f"  {name}"] + [f"    - {part}" for part in parts]
    column = REGISTER_BY_NAME.get(name) or RESULTS_BY_NAME.get(name)
    unit = f" {column.unit}" if column is not None and column.unit else ""
    low, high = row.get(f"{name}_p10"), row.get(f"{name}_p90")
    known = value is not None and not pd.isna(value) and value != ""
    spread = f"  (p10 {low:.4g}, p90 {high:.4g})" if known and low is not None else ""
    return [f"  {name:28s}{_shown(value) + unit if known else 'not known'}{spread}"]


def _shown(value: Any) -> str:
    if isinstance(value, float):
        return f"{value:.7g}" if abs(value) >= 100 and value == int(value) else f"{value:.5g}"
    return str(value)


def _share(value: float) -> str:
    return "unknown" if pd.isna(value) else f"{value:.0%}"
