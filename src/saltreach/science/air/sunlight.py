"""Sun on a rock face: how hard it strikes at the sunniest hour, mean over the year."""

from __future__ import annotations

import numpy as np

from saltreach.science.labelled import labelled
from saltreach.science.types import Floats, Values, numbers

DECLINATIONS_DEG = (-23.45, -11.5, 0.0, 11.5, 23.45)
DAY_WEIGHTS = (1.0, 2.0, 2.0, 2.0, 1.0)
"""Days of the year that stand for all: solstices once, the days between twice."""
HOURS = 24
_ROWS_AT_ONCE = 4096
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
    given = np.broadcast_arrays(*map(np.radians, numbers(face_azimuth_deg, face_slope_deg, lat)))
    shape = given[0].shape
    columns = [np.ascontiguousarray(v).reshape(-1) for v in given]
    out = np.empty(columns[0].shape)
    for begin in range(0, len(out), _ROWS_AT_ONCE):
        rows = slice(begin, begin + _ROWS_AT_ONCE)
        out[rows] = _mean_of_peaks(*(v[rows] for v in columns))
    return out.reshape(shape)


def _mean_of_peaks(azimuth: Floats, slope: Floats, latitude: Floats) -> Floats:
    """Morning and afternoon have the sun at one height: the side the face looks to decides."""
    across = np.abs(np.sin(slope) * np.sin(azimuth))
    north, up = np.sin(slope) * np.cos(azimuth), np.cos(slope)
    sine, cosine_lat = np.sin(latitude), np.cos(latitude)
    hour = 2 * np.pi * (np.arange(HOURS // 2) + 0.5) / HOURS
    total = np.zeros(azimuth.shape)
    for declination, weight in zip(np.radians(DECLINATIONS_DEG), DAY_WEIGHTS, strict=True):
        peak = np.zeros(azimuth.shape)
        for angle in hour:
            cosine = np.cos(declination) * np.cos(angle)
            s_up = sine * np.sin(declination) + cosine_lat * cosine
            s_north = cosine_lat * np.sin(declination) - sine * cosine
            on_face = across * (np.cos(declination) * np.sin(angle)) + north * s_north + up * s_up
            air_mass = (1 / np.maximum(s_up, 0.02)) ** AIR_POWER
            on_face *= np.exp(np.log(BEAM) * (air_mass - 1.0))
            np.maximum(peak, np.where(s_up > 0, on_face, 0.0), out=peak)
        total += weight * peak
    return total / sum(DAY_WEIGHTS) + 0.0 * (azimuth + slope + latitude)
