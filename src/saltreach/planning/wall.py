"""The order in which anchors are met on the wall, and where they are drawn."""

from __future__ import annotations

import re
from typing import Any

import numpy as np
import pandas as pd

from saltreach.layers.geodesy import MEAN_RADIUS_M
from saltreach.planning.travel import middle

FACES_AGREE = 0.5
"""Least mean resultant length of the azimuths of a sector for one left and one right; judgement."""
SPREAD_LEAST_M = 3.0
"""Positions that lie closer together than this are no map, but one point; judgement."""
UPWARDS = {"runner": 0, "belay": 1, "lower-off": 2}
"""Positions from the ground up, where no heights are known; common practice, no source."""

BY_FACE = (
    "Routes from left to right as seen from in front of the face, from the positions and the "
    "azimuth of the face; on a route from the ground up."
)
BY_NAME = (
    "Which side is left is not known (no azimuth of the face, or one point for all): routes in "
    "order of their names; on a route from the ground up."
)


def natural_key(text: str) -> tuple[tuple[int, int, str], ...]:
    """A key that sorts 1.2 before 1.10.

    Examples
    --------
    >>> sorted(["R 10", "R 2", "R"], key=natural_key)
    ['R', 'R 2', 'R 10']
    """
    parts = re.findall(r"[0-9]+|[^0-9]+", str(text))
    return tuple((0, int(p), "") if p.isdecimal() else (1, 0, p) for p in parts)


def east_north_m(lon: Any, lat: Any) -> np.ndarray:
    """Metres east and north of the middle of some places, (n, 2).

    Parameters
    ----------
    lon, lat : array_like
        Degrees, WGS 84; within a few kilometres of each other, over the antimeridian too.
    """
    lon, lat = np.asarray(lon, float), np.asarray(lat, float)
    if not len(lon):
        return np.zeros((0, 2))
    lon0, lat0 = middle(lon, lat)
    turned = (lon - lon0 + 180.0) % 360.0 - 180.0
    return np.column_stack([
        np.radians(turned) * np.cos(np.radians(lat0)) * MEAN_RADIUS_M,
        np.radians(lat - lat0) * MEAN_RADIUS_M,
    ])  # fmt: skip


def face_azimuth_deg(azimuths: Any) -> float:
    """The way a sector faces: the circular mean of its known azimuths; NaN where they disagree.

    Examples
    --------
    >>> round(face_azimuth_deg([350.0, 10.0, float("nan")]), 6) % 360
    0.0
    >>> face_azimuth_deg([0.0, 180.0])
    nan
    """
    known = np.radians(np.asarray(azimuths, float))
    known = known[np.isfinite(known)]
    if not len(known):
        return float("nan")
    mean = np.exp(1j * known).mean()
    return float(np.degrees(np.angle(mean)) % 360) if abs(mean) >= FACES_AGREE else float("nan")


def along_face_m(east_north: np.ndarray, azimuth_deg: float) -> np.ndarray:
    """How far right of the middle each place is, seen from in front of the face, m.

    Who looks at a face that looks to `azimuth_deg` has its quarter turn to the left on the right.

    Examples
    --------
    >>> along_face_m(np.array([[5.0, 0.0]]), 180.0).round(6).tolist()  # a south face: east is right
    [5.0]
    """
    right = np.radians(azimuth_deg - 90.0)
    return np.asarray(east_north @ np.array([np.sin(right), np.cos(right)]))


def on_the_wall(anchors: pd.DataFrame) -> tuple[pd.DataFrame, str]:
    """Anchors of one sector in the order they are met: by route, left to right, bottom to top.

    Parameters
    ----------
    anchors : DataFrame
        `anchor_id`, `route`, `position`, `lon`, `lat`, `face_azimuth_deg`,
        `height_above_sea_m`, `elevation_m`, `elevation_source`.

    Returns
    -------
    anchors : DataFrame
        In order, with `east_m` and `north_m` of the middle.
    rule : str
        How they were ordered. A route stands where the median of its anchors does; an anchor
        without a route stands for itself. Within a route height above the sea decides where all
        its anchors have it, else the register's elevation, else the position on the route.

    References
    ----------
    Common practice, no source.
    """
    table = anchors.reset_index(drop=True)
    where = east_north_m(table["lon"], table["lat"])
    table[["east_m", "north_m"]] = where.round(2)
    route = table["route"].fillna("").astype(str)
    group = np.where(route == "", "\0" + table["anchor_id"].astype(str), route)
    azimuth = face_azimuth_deg(table["face_azimuth_deg"])
    across = along_face_m(where, azimuth) if np.isfinite(azimuth) else np.zeros(len(table))
    sided = len(table) > 1 and bool(np.ptp(across) >= SPREAD_LEAST_M)
    at = pd.Series(across).groupby(group).transform("median") if sided else pd.Series(across) * 0
    keys = pd.DataFrame(
        {
            "at": at.to_numpy(),
            "route": _ranks(route),
            "group": _ranks(pd.Series(group)),
            "height": _height(table, group),
            "position": table["position"].map(UPWARDS).fillna(len(UPWARDS)).to_numpy(),
            "name": _ranks(table["anchor_id"].astype(str)),
        }
    )
    order = keys.sort_values([*keys.columns], kind="stable").index
    return table.loc[order].reset_index(drop=True), BY_FACE if sided else BY_NAME


def _ranks(texts: pd.Series) -> np.ndarray:
    """Place of each text in natural order."""
    place = {text: i for i, text in enumerate(sorted(set(texts), key=natural_key))}
    return texts.map(place).to_numpy()


def _height(table: pd.DataFrame, group: np.ndarray) -> np.ndarray:
    """Height that orders a route; 0 on routes where not all anchors have one."""
    sea = pd.to_numeric(table["height_above_sea_m"])
    ours = table["elevation_source"] == "register"
    elevation = pd.to_numeric(table["elevation_m"]).where(ours)
    whole = [h.notna().groupby(group).transform("all") for h in (sea, elevation)]
    return np.select([whole[0], whole[1]], [sea, elevation], 0.0)
