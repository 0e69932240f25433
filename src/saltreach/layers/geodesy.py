"""The shape of the Earth, once: WGS 84 for lengths, earth-centred coordinates for searches."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray
from pyproj import Geod

GEOD = Geod(ellps="WGS84")
_E2 = GEOD.f * (2 - GEOD.f)  # first eccentricity, squared
MEAN_RADIUS_M = 6371008.8
"""IUGG mean radius, m."""


def ecef_m(lon: ArrayLike, lat: ArrayLike) -> NDArray[np.float64]:
    """Earth-centred coordinates of points on the ellipsoid.

    Parameters
    ----------
    lon, lat : array_like, shape (n,)
        Degrees, WGS 84.

    Returns
    -------
    ndarray, shape (n, 3)
        Metres.
    """
    lam, phi = np.radians(np.asarray(lon, float)), np.radians(np.asarray(lat, float))
    sin, cos = np.sin(phi), np.cos(phi)
    normal = GEOD.a / np.sqrt(1 - _E2 * sin * sin)
    return np.stack(
        [normal * cos * np.cos(lam), normal * cos * np.sin(lam), normal * (1 - _E2) * sin],
        axis=-1,
    )


def lonlat_deg(xyz_m: NDArray[np.float64]) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Longitude and geodetic latitude, degrees, of points on or within metres of the ellipsoid.

    Exact on the ellipsoid; a point `h` metres off it is wrong by less than `0.004 h`.
    """
    x, y, z = np.moveaxis(xyz_m, -1, 0)
    return np.degrees(np.arctan2(y, x)), np.degrees(np.arctan2(z, np.hypot(x, y) * (1 - _E2)))


def metres_per_degree(lat: ArrayLike) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Metres in a degree of longitude and in one of latitude, at a latitude.

    Examples
    --------
    >>> [round(float(m)) for m in metres_per_degree(0.0)]
    [111319, 110574]
    """
    phi = np.radians(np.asarray(lat, float))
    sine2 = np.sin(phi) ** 2
    across = GEOD.a / np.sqrt(1 - _E2 * sine2)
    along = across * (1 - _E2) / (1 - _E2 * sine2)
    return np.radians(across * np.cos(phi)), np.radians(along)
