"""Mean wind over the sea near a place, from the COADS ship climatology (embedded, 2 degrees).

It says how hard the wind blows over the water that the salt comes from, not at the crag. Inland
it is unknown. It is information: chloride does not use it unless the user asks (data/README.md).
"""

from __future__ import annotations

from functools import lru_cache
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import ArrayLike

from saltreach.errors import LayerError
from saltreach.layers.catalogue import Layer
from saltreach.layers.embedded import embedded_file, sha256_of

WIND_FILE = "layers/wind_coads.nc"
REACH_M = 150_000.0
"""Farthest a point may lie from the edge of an ocean cell."""

HALF_CELL_DEG = 1.0
EARTH_RADIUS_M = 6_371_008.8
NEIGHBOURS = 6  # nearest centres whose rectangles are compared; more change nothing
BLOCK = 200_000


class _Sea(NamedTuple):
    lon: np.ndarray
    lat: np.ndarray
    speed: np.ndarray
    sd: np.ndarray


def sample_sea_wind(lon: ArrayLike, lat: ArrayLike) -> tuple[np.ndarray, np.ndarray]:
    """Annual mean wind speed of the nearest ocean cell.

    Parameters
    ----------
    lon, lat : array_like, shape (n,)
        WGS 84 degrees. Longitudes may run past 180.

    Returns
    -------
    wind_speed_m_s, wind_speed_sd_m_s : numpy.ndarray, shape (n,)
        m/s; the standard deviation is the spread among the cell and its neighbours with 0.5 m/s
        added in quadrature (judgement). NaN farther than 150 km from every ocean cell, and where
        the position is unknown.

    Raises
    ------
    LayerError
        When the inputs differ in length, or the embedded file is missing or damaged.
    """
    lon, lat = (np.atleast_1d(np.asarray(a, dtype=float)) for a in (lon, lat))
    if lon.ndim != 1 or lon.shape != lat.shape:
        raise LayerError(
            f"wind: lon and lat have shapes {lon.shape} and {lat.shape}; "
            "give one-dimensional columns of one length"
        )
    speed, sd = np.full((2, lon.size), np.nan)
    placed = np.flatnonzero(np.isfinite(lon) & np.isfinite(lat) & (np.abs(lat) <= 90))
    for start in range(0, placed.size, BLOCK):
        rows = placed[start : start + BLOCK]
        cell = _nearest_cell(lon[rows], lat[rows])
        near = rows[cell >= 0]
        speed[near], sd[near] = _sea().speed[cell[cell >= 0]], _sea().sd[cell[cell >= 0]]
    return speed, sd


def _nearest_cell(lon: np.ndarray, lat: np.ndarray) -> np.ndarray:
    """Index of the ocean cell nearest to each point, -1 beyond `REACH_M`."""
    sea = _sea()
    _, near = _tree().query(_unit(lon, lat), k=NEIGHBOURS)
    east = (lon[:, None] - sea.lon[near] + 180) % 360 - 180
    lon_on = sea.lon[near] + np.clip(east, -HALF_CELL_DEG, HALF_CELL_DEG)
    lat_on = np.clip(lat[:, None], sea.lat[near] - HALF_CELL_DEG, sea.lat[near] + HALF_CELL_DEG)
    chord = np.linalg.norm(_unit(lon, lat)[:, None, :] - _unit(lon_on, lat_on), axis=-1)
    distance = 2 * EARTH_RADIUS_M * np.arcsin(np.minimum(chord / 2, 1))
    best = distance.argmin(axis=1)
    rows = np.arange(len(lon))
    return np.where(distance[rows, best] <= REACH_M, near[rows, best], -1)


def _unit(lon: np.ndarray, lat: np.ndarray) -> np.ndarray:
    """Unit vectors on the sphere, last axis x, y, z."""
    a, b = np.radians(lon), np.radians(lat)
    return np.stack([np.cos(b) * np.cos(a), np.cos(b) * np.sin(a), np.sin(b)], axis=-1)


@lru_cache(maxsize=1)
def _sea() -> _Sea:
    import xarray as xr

    path = embedded_file(WIND_FILE)
    try:
        with xr.open_dataset(path, engine="h5netcdf") as data:
            lon, lat = np.meshgrid(data["longitude"].values, data["latitude"].values)
            speed, sd = data["wind_speed_m_s"].values, data["wind_speed_sd_m_s"].values
    except (OSError, KeyError) as error:
        raise LayerError(
            f"embedded wind {path} cannot be read ({error}); reinstall saltreach or run "
            "data/build/build_wind.py"
        ) from error
    known = np.isfinite(speed)
    return _Sea(*(a[known].astype(float) for a in (lon, lat, speed, sd)))


@lru_cache(maxsize=1)
def _tree() -> Any:
    from scipy.spatial import cKDTree

    return cKDTree(_unit(_sea().lon, _sea().lat))


def wind_layer() -> Layer:
    """The record of the embedded wind, for the catalogue and `provenance.json`."""
    return Layer(
        name="wind_coads",
        quantity="annual mean wind speed over the sea",
        unit="m/s",
        source="COADS climatology (NOAA, CIRES, NCAR) through Debian ferret-datasets 7.6.0-5",
        url="https://icoads.noaa.gov",
        version="climatology file of 1997, 2 degree",
        licence="NOAA, United States government; no separate terms for COADS in the package, "
        "upstream files under the Ferret License Agreement (notice in the file)",
        accuracy="not measured here; spread among neighbouring cells is given per point",
        sha256=sha256_of(embedded_file(WIND_FILE)),
        extent="oceans, and land within 150 km of them",
        note="ship observations; not the wind at the crag; chloride leaves it out by default",
    )
