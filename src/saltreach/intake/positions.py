"""Coordinates of a register: CRS, conversion to WGS 84, swapped axes."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from saltreach.errors import RegisterError

if TYPE_CHECKING:
    from pyproj import CRS

LEAST_EXTENT = {"degree": 0.5, "metre": 50_000.0}
"""Half width below which the bulk of a register is never taken to lie (own choice)."""
_BULK_SPREADS = 4.0
_FAR = 2.0
_AREA_MARGIN_DEG = 20.0


def named_crs(crs: object, where: str) -> CRS:
    """Return the CRS of a user's text, or raise RegisterError that says how to write it."""
    from pyproj import CRS
    from pyproj.exceptions import CRSError

    try:
        return CRS.from_user_input(crs)
    except CRSError as error:
        raise RegisterError(
            f"{where}: unknown CRS {crs!r}; give a code like EPSG:25830 (--crs EPSG:25830)"
        ) from error


def crs_name(crs: CRS) -> str:
    """Return `EPSG:25830`, or the CRS's own name where it has no code."""
    authority = crs.to_authority(min_confidence=70)
    return ":".join(authority) if authority else crs.name


def is_usable(crs: CRS | None) -> bool:
    """Whether a file's CRS says where on the Earth it is (`Undefined ...` does not)."""
    return (
        crs is not None
        and (crs.is_geographic or crs.is_projected)
        and not (crs.name.casefold().startswith("undefined"))
    )


def is_wgs84(crs: CRS) -> bool:
    """Whether positions are WGS 84 longitudes and latitudes already, whatever their order."""
    return crs.is_geographic and (
        crs.to_authority(min_confidence=70) in (("EPSG", "4326"), ("OGC", "CRS84"))
        or crs.equals(named_crs("EPSG:4326", "WGS 84"), ignore_axis_order=True)
    )


def to_lon_lat(
    first: np.ndarray, second: np.ndarray, crs: CRS
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Convert positions to WGS 84.

    Parameters
    ----------
    first, second : ndarray of float
        Easting and northing, or longitude and latitude, in `crs`; NaN where unknown.
    crs : pyproj.CRS
        Where they come from.

    Returns
    -------
    lon, lat : ndarray of float
        Degrees; NaN where unknown or impossible.
    impossible : ndarray of bool
        True where the position has no counterpart, lies far outside the area the CRS is
        made for, or is written in degrees although the CRS is in metres.
    """
    from pyproj import Transformer

    known = np.isfinite(first) & np.isfinite(second)
    if is_wgs84(crs):
        return first.copy(), second.copy(), np.zeros(first.shape, dtype=bool)
    lon, lat = Transformer.from_crs(crs, "EPSG:4326", always_xy=True).transform(first, second)
    lon, lat = np.asarray(lon, dtype=float), np.asarray(lat, dtype=float)
    impossible = known & ~(np.isfinite(lon) & np.isfinite(lat))
    if crs.is_projected:
        impossible |= known & (np.abs(first) <= 180) & (np.abs(second) <= 90)
    area = crs.area_of_use
    if area is not None and area.west <= area.east:
        with np.errstate(invalid="ignore"):
            impossible |= known & (
                (lon < area.west - _AREA_MARGIN_DEG)
                | (lon > area.east + _AREA_MARGIN_DEG)
                | (lat < area.south - _AREA_MARGIN_DEG)
                | (lat > area.north + _AREA_MARGIN_DEG)
            )
    good = known & ~impossible
    return np.where(good, lon, np.nan), np.where(good, lat, np.nan), impossible


def _offset(values: np.ndarray, centre: float, turn: float | None) -> np.ndarray:
    away = values - centre
    return np.abs(away if turn is None else (away + turn / 2) % turn - turn / 2)


def looks_swapped(first: np.ndarray, second: np.ndarray, *, degrees: bool) -> np.ndarray:
    """Positions whose two numbers seem to have changed places.

    A position is marked when it lies far from the bulk of the register (median and median
    absolute deviation, so up to half may be wrong) while the exchanged one lies inside it; or,
    in degrees, when the latitude is above 90 and exchanging makes it valid and no farther from the
    bulk than others may be. Without a bulk (fewer than three positions) only the second rule
    works, with validity alone. Own rule, no published source.

    Parameters
    ----------
    first, second : ndarray of float
        Longitude and latitude in degrees, or easting and northing in metres.
    degrees : bool
        Which of the two.

    Returns
    -------
    ndarray of bool

    Examples
    --------
    >>> lon, lat = np.array([0.1, 0.2, 41.3, 0.3]), np.array([41.1, 41.2, 0.2, 41.3])
    >>> looks_swapped(lon, lat, degrees=True).tolist()
    [False, False, True, False]
    """
    known = np.isfinite(first) & np.isfinite(second)
    swapped = np.zeros(first.shape, dtype=bool)
    bulk = known & ~((first == 0) & (second == 0))
    turn = None
    if degrees:
        valid = (np.abs(first) <= 180) & (np.abs(second) <= 90)
        swapped = known & ~valid & (np.abs(second) <= 180) & (np.abs(first) <= 90)
        bulk &= valid
        turn = 360.0
    if bulk.sum() < 3:
        return swapped
    least = LEAST_EXTENT["degree" if degrees else "metre"]
    centre = np.median(first[bulk]), np.median(second[bulk])
    spread = (
        np.median(_offset(first[bulk], centre[0], turn)),
        np.median(_offset(second[bulk], centre[1], None)),
    )
    half = [max(least, _BULK_SPREADS * 1.4826 * float(s)) for s in spread]

    def away(easts: np.ndarray, norths: np.ndarray) -> np.ndarray:
        return np.maximum(
            _offset(easts, centre[0], turn) / half[0], _offset(norths, centre[1], None) / half[1]
        )

    with np.errstate(invalid="ignore", over="ignore"):  # a number too large lies far from all
        swapped &= away(second, first) <= _FAR
        swapped |= bulk & (away(first, second) > _FAR) & (away(second, first) <= 1.0)
    return swapped
