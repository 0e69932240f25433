"""Salt lakes that OpenStreetMap marks and the embedded list does not know: a question to answer.

Nothing is known of their brine, so none of them enters a figure (`layers.salt_lakes`).
"""

from __future__ import annotations

from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from saltreach.layers.context import REACH_M, SALT_LAKE, Context, nearest_line
from saltreach.layers.geodesy import metres_per_degree
from saltreach.layers.layer import Layer, Value, lonlat
from saltreach.layers.salt_lakes import salt_lake_at

SAME_LAKE_SD = 2.0
"""A lake within so many standard deviations of a listed shore is the listed one; judgement."""
LEAST_M2 = 10_000.0
"""Smaller waters raise no spray worth a question; judgement."""


def _sample(context: Context, places: pd.DataFrame) -> dict[str, Any]:
    marked = context.features[context.features["kind"] == SALT_LAKE]
    marked = marked[_worth_asking(marked["geometry"].to_numpy())]
    distance, which = nearest_line(marked["geometry"].to_numpy(), *lonlat(places), REACH_M)
    name = np.array([*marked["name"], ""], dtype=object)[which]  # the last where there is none
    known = np.fmin(places["coast_distance_m"].to_numpy(float),
                    places["salt_lake_m"].to_numpy(float))  # fmt: skip
    # the nearest shore counts alone: a lake behind the sea, or behind a listed lake, adds nothing
    asked = distance < np.where(np.isnan(known), np.inf, known)
    asked &= places["sea_salinity_g_kg"].isna().to_numpy()
    called = np.where(name == "", "", " (" + name + ")")
    away = np.char.mod("%.1f", np.maximum(distance / 1000, 0.1)).astype(object)
    return {
        "marked_lake_m": distance,
        "marked_lake": name,
        "marked_lakes_notes": np.where(
            asked,
            "A lake marked salty in OpenStreetMap" + called + " lies about " + away + " km away "
            "and is not in the list of salt lakes: if its spray reaches the crag, give its "
            "salinity as sea_salinity_g_kg and the way to its shore as coast_distance_m.",
            "",
        ),
    }


def _worth_asking(lakes: NDArray[np.object_]) -> NDArray[np.bool_]:
    """Lakes large enough, and not the listed ones."""
    import shapely

    across, up = metres_per_degree(shapely.get_y(shapely.centroid(lakes)))
    large = shapely.area(lakes) * across * up >= LEAST_M2
    vertices, of = shapely.get_coordinates(lakes, return_index=True)
    near = salt_lake_at(*vertices.T)
    listed = np.zeros(len(lakes), bool)
    listed[of[near.salt_lake_m <= SAME_LAKE_SD * near.salt_lake_sd_m]] = True
    return np.asarray(large & ~listed)


LAYER = Layer(
    name="marked_lakes",
    gives=(
        Value("marked_lake_m", source="marked_lake_source"),
        Value("marked_lake", "", source="marked_lake_source"),
    ),
    passes=(Value("marked_lakes_notes", ""),),
    takes=("sea_salinity_g_kg",),
    needs=("coast_distance_m", "salt_lake_m"),
    of="roads",
    sample=_sample,
    embedded=False,
)
