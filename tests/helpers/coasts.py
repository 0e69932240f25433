"""Shorelines drawn by hand, for tests whose answer is known by geometry."""

import numpy as np

from saltreach.layers.coast import Coast, block_spheres
from saltreach.layers.layer import Origin

METRES_PER_DEGREE = 111_319.49  # WGS 84 equator: 2 pi a / 360


def coast_of(*rings, sided=True, land=None, sd_m=1.0):
    """Rings of lon/lat, land to the left of the drawing direction."""
    rings = [np.asarray(r, float) for r in rings]
    vertex = np.concatenate(rings)
    start = np.r_[0, np.cumsum([len(r) for r in rings])].astype(np.int64)
    centre, radius = block_spheres(vertex)
    land = np.ones(len(rings), bool) if land is None else np.asarray(land)
    return Coast(vertex, start, land, centre, radius, sided, sd_m, Origin("drawn", "shoreline"))


def box(west, south, east, north):
    """A rectangle of land, counter-clockwise."""
    return np.array([[west, south], [east, south], [east, north], [west, north], [west, south]])
