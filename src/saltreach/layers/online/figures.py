"""Numbers of services' answers: only what is a number and can be is taken, the rest is unknown."""

from __future__ import annotations

import unicodedata
from collections.abc import Sequence
from typing import Any

import numpy as np
from numpy.typing import NDArray

from saltreach.layers.online.part import NOT_EXPECTED

Floats = NDArray[np.float64]

POSSIBLE = {
    "temperature_c": (-90.0, 60.0),
    "relative_humidity_pct": (0.0, 100.0),
    "rain_mm": (0.0, 1e4),
    "wind_speed_m_s": (0.0, 120.0),
    "so2_ug_m3": (0.0, 1e4),
    "elevation_m": (-450.0, 9000.0),
}
"""Least and most a value may be, in its unit; what lies outside is unknown. Temperature: a little
beyond the records of the WMO (-89.2 and 56.7 degC, from memory); elevation: the Dead Sea and
Everest; rain, wind and SO2: far beyond any month or hour, common practice."""

TRIED_AT = -5.85, 43.65
"""Longitude and latitude at which a service is tried: Cabo de Penas, northern Spain; own choice."""
EXPECTED = {
    "temperature_c": (9.0, 18.0),
    "relative_humidity_pct": (60.0, 95.0),
    "rain_mm_y": (500.0, 2000.0),
    "wind_speed_m_s": (1.0, 12.0),
    "time_of_wetness_h_y": (2000.0, 8000.0),
    "so2_ug_m3": (0.05, 30.0),
}
"""What is expected there, wide: judgement, around normals of the airport nearby (from memory)."""


def numbers_of(values: Sequence[Any], quantity: str, *, fill: float | None = None) -> Floats:
    """Numbers of a list as floats, NaN for null, words, the fill value and what cannot be.

    Parameters
    ----------
    values : sequence
        As JSON gives them.
    quantity : str
        A name in `POSSIBLE`.
    fill : float, optional
        Value that stands for none.

    Examples
    --------
    >>> numbers_of([71, None, "71", -999.0, 101], "relative_humidity_pct", fill=-999.0).tolist()
    [71.0, nan, nan, nan, nan]
    """
    low, high = POSSIBLE[quantity]
    found = np.array([v if type(v) in (int, float) else np.nan for v in values], float)
    with np.errstate(invalid="ignore"):
        return np.where((found >= low) & (found <= high) & (found != fill), found, np.nan)


def compared(what: str, value: float, unit: str, quantity: str) -> str:
    """A value beside what is expected where services are tried, for a reader.

    Examples
    --------
    >>> compared("RH2M", 77.0, "%", "relative_humidity_pct")
    'RH2M 77 %, expected 60 to 95'
    >>> compared("RH2M", 7.0, "%", "relative_humidity_pct")
    'RH2M 7 %, NOT AS EXPECTED (60 to 95)'
    """
    low, high = EXPECTED[quantity]
    shown = f"{what} {value:.4g} {unit}" if np.isfinite(value) else f"{what} unknown"
    if low <= value <= high:
        return f"{shown}, expected {low:g} to {high:g}"
    return f"{shown}, {NOT_EXPECTED} ({low:g} to {high:g})"


def plain_unit(unit: object) -> str:
    """A unit in one spelling: micro and mu, superscripts.

    Examples
    --------
    >>> plain_unit("\u00b5g/m\u00b3") == plain_unit("\u03bcg/m3")
    True
    """
    return unicodedata.normalize("NFKC", str(unit))


def place(lon: float, lat: float) -> str:
    """A place in words, e.g. 43.5 N 5.625 W.

    Examples
    --------
    >>> place(-5.625, 43.5)
    '43.5 N 5.625 W'
    """
    return f"{abs(lat):g} {'S' if lat < 0 else 'N'} {abs(lon):g} {'W' if lon < 0 else 'E'}"
