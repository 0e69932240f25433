"""Which stretch of sea EN 1993-1-4 counts as mild: the Baltic and Germany's North Sea coast."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from saltreach.layers.layer import Layer, Value, lonlat

_BALTIC = ((14.0, 53.4), (24.5, 53.9), (30.6, 59.4), (30.6, 60.8), (26.0, 66.1), (21.0, 66.1),
           (16.5, 61.5), (16.2, 57.0), (14.0, 55.3))  # fmt: skip
_GERMAN_BIGHT = ((6.9, 53.2), (9.2, 53.3), (9.2, 54.9), (8.0, 55.05), (6.6, 53.8))
"""Rough outlines of our own, drawn inside the sea's limits so that a doubtful place counts as the
harsher coast. The Baltic is taken from Bornholm eastwards."""


def is_mild_sea(lon: ArrayLike, lat: ArrayLike) -> NDArray[np.bool_]:
    """Whether a point lies on the Baltic (east of 14 E) or on Germany's North Sea coast.

    Parameters
    ----------
    lon, lat : array_like, shape (n,)
        Degrees, WGS 84.

    Returns
    -------
    ndarray of bool, shape (n,)

    References
    ----------
    EN 1993-1-4:2006+A1:2015, Table A.1 (which seas); the outlines are our own.
    """
    import shapely

    areas = shapely.multipolygons([shapely.polygons(_BALTIC), shapely.polygons(_GERMAN_BIGHT)])
    shapely.prepare(areas)
    return np.asarray(shapely.contains_xy(areas, np.asarray(lon, float), np.asarray(lat, float)))


def in_europe(lon: ArrayLike, lat: ArrayLike) -> NDArray[np.bool_]:
    """Whether a point lies in the box 25 W to 45 E, 34 N to 72 N, where the annex was made for."""
    lon, lat = np.asarray(lon, float), np.asarray(lat, float)
    return (lon >= -25) & (lon <= 45) & (lat >= 34) & (lat <= 72)


LAYER = Layer(
    name="seas",
    gives=(Value("mild_sea", False), Value("in_europe", False)),
    sample=lambda _, places: {
        "mild_sea": is_mild_sea(*lonlat(places)),
        "in_europe": in_europe(*lonlat(places)),
    },
)
