"""Major roads beside an anchor, from a pack: a question whether they are salted, never a value.

Whether a road is salted is written in no map. Where a large one passes within the distance that
EN 1993-1-4 counts, winters are cold and the register is silent, the reader is asked.
"""

from __future__ import annotations

from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from saltreach.layers.context import MAJOR_RANK, ROAD, TUNNEL, Context, nearest_line, open_context
from saltreach.layers.layer import Layer, Value, joined, lonlat
from saltreach.science.metal import stainless

NEAR_M = stainless.F1_ROAD[-1][0]
"""Beyond this the standard gives a salted road no risk."""
COLD_MONTH_C = 3.0
"""Roads are salted where frost is regular: where the coldest month's mean is below this, or is
not known; judgement."""
ROUND_M = 10.0
"""Distances are said in steps of this: a road is drawn by its middle; judgement."""
ABSENT = "Roads near here are not in the pack: bring its context again."


def _sample(context: Context, places: pd.DataFrame) -> dict[str, Any]:
    lon, lat = lonlat(places)
    cold = np.stack(places["temperature_c_by_month"].to_list()).min(axis=1)
    frost = ~(cold >= COLD_MONTH_C)  # an unknown temperature may be cold
    tunnel_said = places["salted_tunnel"].isin(["yes", "no"]).to_numpy()
    silent = places["salted_road_m"].isna().to_numpy() & frost
    silent &= (places["salted_tunnel"] != "yes").to_numpy()
    roads = context.features[context.features["kind"] == ROAD]
    roads = roads[roads["rank"] <= MAJOR_RANK]
    inside = np.array([TUNNEL in detail.split(", ") for detail in roads["detail"]], bool)
    winter = _winter(cold)
    open_m, open_says = _beside(roads[~inside], lon, lat)
    tunnel_m, tunnel_says = _beside(roads[inside], lon, lat)
    asked = silent & np.isfinite(open_m)
    notes = np.where(
        asked, "A major road" + open_says + winter + ": if it is salted in winter, give "
        "salted_road_m (corrosion there can be C4).", ""
    )  # fmt: skip
    in_tunnel = np.where(
        frost & ~tunnel_said & np.isfinite(tunnel_m),
        "A tunnel of a major road" + tunnel_says + winter + ": if the anchor is in it or within "
        "10 m of its mouth and it is salted in winter, give salted_tunnel (corrosion there can "
        "be C4).", ""
    )  # fmt: skip
    unseen = silent & np.isfinite(lon) & np.isfinite(lat) & ~context.holds(lon, lat)
    return {
        "major_road_m": open_m,
        "road_asked": asked,
        "roads_notes": joined(notes, in_tunnel, np.where(unseen, ABSENT, "")),
    }


def _beside(
    roads: pd.DataFrame, lon: NDArray[np.float64], lat: NDArray[np.float64]
) -> tuple[NDArray[np.float64], NDArray[np.object_]]:
    """Distance to the nearest road, NaN beyond `NEAR_M`, and its name and distance in words."""
    distance, which = nearest_line(roads["geometry"].to_numpy(), lon, lat, NEAR_M)
    classes = [detail.partition(",")[0] for detail in roads["detail"]]
    said = [
        f"{name}, {of}" if name else of for name, of in zip(roads["name"], classes, strict=True)
    ]
    road = np.array([*said, ""], dtype=object)[which]  # the last where there is none
    steps = np.nan_to_num(np.round(distance / ROUND_M) * ROUND_M).astype(int).astype(str)
    about = np.where(
        distance < ROUND_M, f"less than {ROUND_M:g} m", "about " + steps.astype(object) + " m"
    )
    return distance, " (" + road + ") runs " + about.astype(object) + " away"


def _winter(cold_month_c: NDArray[np.float64]) -> NDArray[np.object_]:
    degrees = np.char.mod("%.1f", cold_month_c).astype(object)
    return np.where(
        np.isnan(cold_month_c), " and the coldest month's mean is unknown",
        " and the coldest month's mean is " + degrees + " degC",
    )  # fmt: skip


LAYER = Layer(
    name="roads",
    gives=(Value("major_road_m", source="major_road_source"), Value("road_asked", False)),
    passes=(Value("roads_notes", ""),),
    takes=("salted_road_m", "salted_tunnel"),
    needs=("temperature_c_by_month",),
    open=open_context,
    sample=_sample,
    origins=lambda context: context.origins,
    embedded=False,
)
