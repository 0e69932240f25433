"""Layer values at the anchors: one row per anchor, in the register's order."""

from __future__ import annotations

import numpy as np
import pandas as pd

from saltreach.layers.climate import sample_climate
from saltreach.layers.coast import Coast
from saltreach.layers.coast_index import Shore
from saltreach.layers.seas import in_europe, is_mild_sea
from saltreach.science.lithology import lithology_of

GIVEN_DISTANCE_SD_M = 10.0
GIVEN_DISTANCE_SD_SHARE = 0.05
"""A distance that the register gives is taken as known to 10 m or 5 %, whichever is more."""


def shore_of(anchors: pd.DataFrame, coast: Coast) -> Shore:
    """What the coast layer says of the anchors' positions."""
    return coast.shore(anchors["lon"], anchors["lat"])


def layer_values(
    anchors: pd.DataFrame, shore: Shore, coast: Coast, so2_ug_m3: float
) -> pd.DataFrame:
    """Everything the layers know of the anchors.

    Parameters
    ----------
    anchors : DataFrame
        Register columns; its own `coast_distance_m`, `elevation_m` and `so2_ug_m3` win.
    shore : Shore
        What `shore_of` returned for these anchors.
    coast : Coast
        Layer that was asked.
    so2_ug_m3 : float
        SO2 assumed where the register gives none.

    Returns
    -------
    DataFrame
        The result columns of stage "layers", plus `so2_ug_m3_used`, `so2_assumed`, `mild_sea`,
        `in_europe`, `seaward_m` (distance of a position that falls into the sea, else 0),
        `elevation_source` and `climate_notes`. Same index as the anchors.
    """
    lon, lat = anchors["lon"].to_numpy(float), anchors["lat"].to_numpy(float)
    given = anchors["coast_distance_m"].to_numpy(float)
    at_sea = shore.on_land == 0
    distance = np.where(at_sea, 0.0, shore.distance_m)
    given_sd = np.maximum(GIVEN_DISTANCE_SD_M, GIVEN_DISTANCE_SD_SHARE * given)
    use_given = ~np.isnan(given)
    climate = sample_climate(lon, lat, anchors["elevation_m"].to_numpy(float))
    climate.index = anchors.index
    so2 = anchors["so2_ug_m3"].to_numpy(float)
    side = np.where(np.isnan(shore.on_land), "", np.where(at_sea, "sea", "land"))
    return pd.DataFrame(
        {
            "coast_distance_m": np.where(use_given, given, distance),
            "coast_distance_sd_m": np.where(use_given, given_sd, coast.position_sd_m),
            "coast_distance_source": np.where(use_given, "register", coast.layer.name),
            "coast_side": side,
            "sea_openness": np.nan,
            "elevation_m": climate["elevation_m"],
            "temperature_c": climate["temperature_c"],
            "temperature_sd_c": climate["temperature_sd_c"],
            "relative_humidity_pct": climate["relative_humidity_pct"],
            "relative_humidity_sd_pct": climate["relative_humidity_sd_pct"],
            "rain_mm_y": climate["rain_mm_y"],
            "wind_speed_m_s": np.nan,
            "lithology": lithology_of(anchors["rock_type"].fillna("").astype("str")),
            "so2_ug_m3_used": np.where(np.isnan(so2), so2_ug_m3, so2),
            "so2_assumed": np.isnan(so2),
            "mild_sea": is_mild_sea(lon, lat),
            "in_europe": in_europe(lon, lat),
            "seaward_m": np.where(at_sea & ~use_given, shore.distance_m, 0.0),
            "elevation_source": climate["elevation_source"],
            "climate_notes": climate["climate_notes"],
        },
        index=anchors.index,
    )
