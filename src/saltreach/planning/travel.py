"""How long teams travel: the user's own times, else great-circle distance and a road factor."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np
from pyproj import Geod

from saltreach.assessment.reasons import Listing
from saltreach.layers.geodesy import ecef_m, lonlat_deg
from saltreach.vocabulary.synonyms import plain


def great_circle_km(
    lon: np.ndarray, lat: np.ndarray, other_lon: np.ndarray, other_lat: np.ndarray
) -> np.ndarray:
    """Great-circle distance on a sphere, km; within 0.6 % of the ellipsoid.

    Parameters
    ----------
    lon, lat, other_lon, other_lat : array_like
        Degrees; broadcast together.
    """
    lon, lat, other_lon, other_lat = np.broadcast_arrays(lon, lat, other_lon, other_lat)
    return np.asarray(Geod(ellps="sphere").inv(lon, lat, other_lon, other_lat)[2]) / 1000


def middle(lon: np.ndarray, lat: np.ndarray) -> tuple[float, float]:
    """Mean position on the ellipsoid, right across the antimeridian too, degrees."""
    lon_deg, lat_deg = lonlat_deg(ecef_m(lon, lat).mean(axis=0))
    return float(lon_deg), float(lat_deg)


def travel_minutes(
    names: Sequence[str],
    lon: np.ndarray,
    lat: np.ndarray,
    legs: Sequence[Mapping[str, Any]],
    *,
    road_factor: float,
    speed_km_h: float,
) -> tuple[np.ndarray, list[str]]:
    """Travel time between all places, whole minutes, the same both ways.

    Parameters
    ----------
    names : sequence of str
        Teams, then crags.
    lon, lat : ndarray
        Their positions, degrees.
    legs : sequence of mapping
        The user's `from`, `to`, `hours`. Where both ways are given the longer counts.
    road_factor, speed_km_h : float
        Road length over great-circle distance, and mean speed, for pairs not given.

    Returns
    -------
    minutes : ndarray of int, shape (n, n)
    notes : list of str
        Names in the legs that are no team and no crag; how many pairs were estimated.
    """
    km = great_circle_km(lon[:, None], lat[:, None], lon[None, :], lat[None, :])
    minutes = np.ceil(km * road_factor / speed_km_h * 60 - 1e-9)
    place = {plain(name): i for i, name in enumerate(names)}
    given = np.full(minutes.shape, -1.0)
    lost = set()
    for leg in legs:
        ends = [place.get(plain(leg[end])) for end in ("from", "to")]
        lost |= {leg[e] for e, i in zip(("from", "to"), ends, strict=True) if i is None}
        if None not in ends:
            given[ends[0], ends[1]] = max(given[ends[0], ends[1]], np.ceil(leg["hours"] * 60))
    given = np.maximum(given, given.T)
    minutes = np.where(given >= 0, given, minutes).astype(np.int64)
    np.fill_diagonal(minutes, 0)
    notes: list[str] = []
    if lost:
        notes.append(Listing("travel: neither team nor crag, not used", sorted(lost)))
    count = len(names) * (len(names) - 1) // 2
    estimated = count - int((given >= 0)[np.triu_indices(len(names), 1)].sum())
    if estimated:
        notes.append(
            f"{estimated} of {count} travel times estimated: great-circle distance x "
            f"{road_factor:g} at {speed_km_h:g} km/h; bays and passes can double them"
        )
    return minutes, notes
