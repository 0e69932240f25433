"""How far terrain stands between a place and the sea: the steepest view line towards the shore."""

from __future__ import annotations

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike, NDArray

from saltreach.layers.layer import Layer, Value, lonlat
from saltreach.layers.terrain import Heights

FULL_SHELTER_DEG = 15.0
"""Rise towards the sea that counts as wholly hidden: a ridge seen from about four times its
height behind it. Our own judgement, no source."""
REACH_M = 20_000.0
"""Farther from the sea the surf part of the salt is gone, and terrain is not looked at;
judgement."""
STEPS = 24
"""Heights that are read on the way to the sea."""
NEAREST_M = 30.0
"""Nearer to the place than this the raster shows the place's own cell, not terrain before it;
judgement."""

Floats = NDArray[np.float64]


def sea_shielding(
    heights: Heights,
    lon: ArrayLike,
    lat: ArrayLike,
    foot_lon: ArrayLike,
    foot_lat: ArrayLike,
    coast_distance_m: ArrayLike,
) -> Floats:
    """Shielding of places from the sea by the terrain of a height raster.

    Parameters
    ----------
    heights : Heights
        Height rasters, from `open_heights`.
    lon, lat : array_like, shape (n,)
        The places, degrees, WGS 84.
    foot_lon, foot_lat : array_like, shape (n,)
        Nearest point of the shore of each.
    coast_distance_m : array_like, shape (n,)
        Distance to it, m.

    Returns
    -------
    ndarray, shape (n,)
        0 where no terrain rises above the place towards the sea, 1 from `FULL_SHELTER_DEG` on.
        NaN where the raster does not cover the place and at least half of the way, and beyond
        `REACH_M`.
    """
    lon, lat, foot_lon, foot_lat, distance = (
        np.atleast_1d(np.asarray(v, float))
        for v in (lon, lat, foot_lon, foot_lat, coast_distance_m)
    )
    shielding = np.full(len(lon), np.nan)
    near = np.flatnonzero(distance <= REACH_M)
    if not len(near):
        return shielding
    share = np.linspace(0, 1, STEPS + 1)
    east = (foot_lon[near] - lon[near] + 180) % 360 - 180
    way_lon = lon[near, None] + share * east[:, None]
    way_lat = lat[near, None] + share * (foot_lat - lat)[near, None]
    height = heights.at(way_lon.ravel(), way_lat.ravel())["elevation_m"].to_numpy(float)
    height = height.reshape(way_lon.shape)
    away = share * distance[near, None]
    with np.errstate(divide="ignore", invalid="ignore"):
        rise = np.degrees(np.arctan((height - height[:, :1]) / away))
    rise[away < NEAREST_M] = 0.0  # the place itself, and sea cliffs with no ground before them
    covered = np.isfinite(height[:, 0]) & (np.isfinite(height).mean(axis=1) >= 0.5)
    steepest = np.where(np.isfinite(rise), rise, 0.0).max(axis=1)
    shielding[near] = np.where(covered, np.clip(steepest / FULL_SHELTER_DEG, 0, 1), np.nan)
    return shielding


def _sample(heights: Heights, places: pd.DataFrame) -> dict[str, Floats]:
    foot = places["shore_lon"], places["shore_lat"], places["shore_distance_m"]
    return {"sea_shielding": sea_shielding(heights, *lonlat(places), *foot)}


LAYER = Layer(
    name="shielding",
    of="terrain",
    gives=(Value("sea_shielding", source="sea_shielding_source"),),
    needs=("shore_lon", "shore_lat", "shore_distance_m"),
    sample=_sample,
    embedded=False,
)
