"""What kind of place each anchor stands in: sea cliff or not, which salt reaches it, what is odd.

Everything here turns what the register and the layers say into the inputs of the formulas. The
limits are judgement of ours unless a source is named.
"""

from __future__ import annotations

import numpy as np
import pandas as pd

from saltreach.layers.salinity import OPEN_SEA_G_KG
from saltreach.layers.salt_lakes import MAGNESIUM
from saltreach.science.air import wetness
from saltreach.science.metal import stainless

SEA_CLIFF_M = 500.0
"""A place this near the sea counts as a sea cliff: EN 1993-1-4's nearest band (250 m) and one
standard deviation of the embedded shoreline."""
CLIFF_HEIGHT_M = 60.0
CLIFF_HEIGHT_REACH_M = 1000.0
"""An anchor no higher than this above the sea is on a sea cliff even where the layer draws the
shore this far away: four standard deviations of the embedded shoreline."""
STEEP_DEG = 60.0
"""A face this steep near the sea is a cliff; judgement."""

SALTIEST_SEA_G_KG = 45.0
"""Water saltier than this is a salt lake, whatever it is called: the northern Red Sea has 41."""
LAKE_SHARE = 0.5
"""Salt thrown up by a salt lake over that of a sea at the same distance: small waves, no
measurements; saturated brine counts no more than sea water."""
MAGNESIUM_REACH_M = 2000.0
"""This near a magnesium brine salt stays wet at 33 % humidity: dry air is no help; judgement."""
SO2_TABLE_END_UG_M3 = stainless.F2_SO2[-1][0]


def place_of(table: pd.DataFrame) -> pd.DataFrame:
    """Sea cliff, washing, and what the formulas for salt and class are to be asked.

    Parameters
    ----------
    table : DataFrame
        Register columns and those of `layers.join.with_layers`.

    Returns
    -------
    DataFrame
        `sea_cliff` (yes, no, empty), `sea_cliff_reason`, `washing`; working columns
        `salt_distance_m` and `_sd_m` (to the nearest shore that throws salt), `salt_share` (of
        an ocean's), `by_salt_lake`, `by_magnesium`, `class_distance_m` and `_sd_m` (for EN
        1993-1-4; the nearest band on a sea cliff), `f1_road`, `outside_standard` (treat as
        class V).
    """
    distance = table["coast_distance_m"].to_numpy(float)
    measured = (table["coast_distance_source"] == "register").to_numpy()
    cliff, reason, sure = _sea_cliff(table, distance, measured)
    nearest = sure & ~measured & (distance > stainless.F1_SEA[0][0])
    lake = table["salt_lake_m"].to_numpy(float)
    by_lake = lake < np.where(np.isnan(distance), np.inf, distance)
    reach = np.where(by_lake, lake, distance)
    sd = table["coast_distance_sd_m"].to_numpy(float)
    sd = np.where(by_lake, table["salt_lake_sd_m"].to_numpy(float), sd)
    # in proportion to the salinity of the sea: an assumption, no law was found
    salinity = np.minimum(table["sea_salinity_g_kg"].to_numpy(float), OPEN_SEA_G_KG)
    odd = (table["volcanic_gas"] == "yes").to_numpy()
    odd = odd | (table["so2_ug_m3_used"] > SO2_TABLE_END_UG_M3).to_numpy()
    return pd.DataFrame(
        {
            "sea_cliff": cliff,
            "sea_cliff_reason": reason,
            "washing": _washing(table),
            "salt_distance_m": reach,
            "salt_distance_sd_m": sd,
            "salt_share": np.where(by_lake, LAKE_SHARE, salinity / OPEN_SEA_G_KG),
            "by_salt_lake": by_lake,
            "by_magnesium": by_lake
            & (lake <= MAGNESIUM_REACH_M)
            & (table["salt_lake_brine"] == MAGNESIUM).to_numpy(),
            "class_distance_m": np.where(nearest, 0.0, reach),
            "class_distance_sd_m": np.where(nearest, 0.0, sd),
            "f1_road": stainless.road_factor(
                table["salted_road_m"], (table["salted_tunnel"] == "yes").to_numpy()
            ),
            "outside_standard": odd,
        },
        index=table.index,
    )


def _washing(table: pd.DataFrame) -> np.ndarray:
    """The register's word or the face's slope; what covers an anchor keeps the rain off."""
    washing = wetness.rain_washed_from_face(table["face_slope_deg"], table["rain_washed"])
    covered = (table["vegetation"] == "yes") | (table["salt_crust"] == "yes")
    return np.where(covered, "no", washing).astype(object)


def _sea_cliff(
    table: pd.DataFrame, distance: np.ndarray, measured: np.ndarray
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """The word, why, and whether it is sure enough to count with the nearest band."""
    said = table["sea_cliff_said"].to_numpy(object)
    height = table["height_above_sea_m"].to_numpy(float)
    own = (table["elevation_source"] == "register").to_numpy()
    height = np.where(np.isnan(height) & own, table["elevation_m"].to_numpy(float), height)
    near = distance <= SEA_CLIFF_M
    low = (height <= CLIFF_HEIGHT_M) & (distance <= CLIFF_HEIGHT_REACH_M) & ~measured
    steep = near & (table["face_slope_deg"].to_numpy(float) >= STEEP_DEG)
    at_shore = distance <= stainless.F1_SEA[0][0]
    cases = [
        said == "yes",
        said == "no",
        table["sea_salinity_g_kg"].to_numpy(float) > SALTIEST_SEA_G_KG,
        np.isnan(distance),
        measured & at_shore,
        measured,
        low,
        steep,
        near,
    ]
    words = ["yes", "no", "no", "", "yes", "no", "yes", "yes", "yes"]
    why = [
        "The register says so.",
        "The register says not.",
        f"Saltier than {SALTIEST_SEA_G_KG:g} g/kg: a salt lake, no sea.",
        "Distance to the sea unknown.",
        "Measured: within 250 m of the sea.",
        "Measured: farther than 250 m from the sea.",
        f"No more than {CLIFF_HEIGHT_M:g} m above the sea, and the shore is near.",
        f"Steep face within {SEA_CLIFF_M:g} m of the layer's shore.",
        f"Within {SEA_CLIFF_M:g} m of the layer's shore.",
    ]
    word = np.select(cases, words, "no")
    reason = np.select(cases, why, f"Farther than {SEA_CLIFF_M:g} m from the sea.")
    sure = (word == "yes") & ((said == "yes") | low | steep)
    return word.astype(object), reason.astype(object), sure
