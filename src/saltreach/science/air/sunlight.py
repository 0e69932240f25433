"""Sun on a rock face: how hard it strikes at the sunniest hour, mean over the year."""

from __future__ import annotations

import numpy as np

from saltreach.science.labelled import labelled
from saltreach.science.types import Floats, Values, numbers

DECLINATIONS_DEG = (-23.45, -11.5, 0.0, 11.5, 23.45)
DAY_WEIGHTS = (1.0, 2.0, 2.0, 2.0, 1.0)
"""Days of the year that stand for all: solstices once, the days between twice."""
HOURS = 24
BEAM, AIR_POWER = 0.7, 0.678
"""Clear-sky beam 0.7 ** (air mass ** 0.678): Meinel and Meinel (1976), from memory."""


@labelled("1")
def sun_exposure(face_azimuth_deg: Values, face_slope_deg: Values, lat: Values) -> Floats:
    """How much sun a face gets at its sunniest hour, mean over the year, under a clear sky.

    Parameters
    ----------
    face_azimuth_deg : array_like
        Direction the face looks to, degrees clockwise from north.
    face_slope_deg : array_like
        90 vertical, 0 level, more than 90 overhanging.
    lat : array_like
        Latitude, degrees.

    Returns
    -------
    numpy.ndarray
        0 (never) to 1 (square to an overhead sun); NaN where any input is unknown. No shade of
        other cliffs, no clouds.

    References
    ----------
    Angle of incidence: solar geometry. Beam through the air: Meinel and Meinel (1976), from
    memory. That the mean of daily peaks is what counts is our judgement.

    Examples
    --------
    >>> south, north = sun_exposure([180.0, 0.0], 90.0, 43.0)
    >>> bool(south > 4 * north)
    True
    """
    azimuth, slope, latitude = np.broadcast_arrays(
        *map(np.radians, numbers(face_azimuth_deg, face_slope_deg, lat))
    )
    east, north, up = (
        np.sin(slope) * np.sin(azimuth),
        np.sin(slope) * np.cos(azimuth),
        np.cos(slope),
    )
    hour = 2 * np.pi * (np.arange(HOURS) + 0.5 - HOURS / 2) / HOURS
    total = np.zeros(azimuth.shape)
    for declination, weight in zip(np.radians(DECLINATIONS_DEG), DAY_WEIGHTS, strict=True):
        peak = np.zeros(azimuth.shape)
        for angle in hour:
            cosine = np.cos(declination) * np.cos(angle)
            s_up = np.sin(latitude) * np.sin(declination) + np.cos(latitude) * cosine
            s_north = np.cos(latitude) * np.sin(declination) - np.sin(latitude) * cosine
            s_east = -np.cos(declination) * np.sin(angle)
            on_face = east * s_east + north * s_north + up * s_up
            beam = BEAM ** (1 / np.maximum(s_up, 0.02)) ** AIR_POWER / BEAM
            peak = np.maximum(peak, np.where(s_up > 0, np.maximum(on_face, 0) * beam, 0.0))
        total += weight * peak
    return total / sum(DAY_WEIGHTS) + 0.0 * (azimuth + slope + latitude)
