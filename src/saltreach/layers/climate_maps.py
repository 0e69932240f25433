"""The grids behind `climate`: bilinear sampling, and the files of ERA5 and the ITU-R maps.

Maps are read once per process and kept. Their axes are known, not read: the coordinate files
of the package `itur` are larger than the maps they describe. A test compares the two.
"""

from __future__ import annotations

import importlib.util
import zipfile
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path

import numpy as np

from saltreach.errors import LayerError
from saltreach.layers.embedded import embedded_file

ERA5_FILE = "layers/climate_era5.nc"

HUMIDITY_SPREAD = 0.8
"""How far the monthly densities reach into the yearly distribution of single values (1: all of
it). Monthly means spread less than single values. Chosen on remembered normals of 21 cities."""

_DENSITY_LEVELS = (10, 20, 30, 50, 60, 70, 80, 90)  # P.836 files needed, % of time exceeded


@dataclass(frozen=True)
class GlobalGrid:
    """A grid around the whole Earth, regular in longitude and latitude.

    `values` has axes (latitude, longitude) or (latitude, longitude, band). Columns that repeat
    the first ones after 360 degrees are harmless. `lat_step_deg` is negative where rows run
    south. `scale` unpacks integers.
    """

    values: np.ndarray
    lon_first_deg: float
    lon_step_deg: float
    lat_first_deg: float
    lat_step_deg: float
    scale: float = 1.0

    def corners(
        self, lon: np.ndarray, lat: np.ndarray
    ) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
        """Rows, columns and bilinear weights of the four nodes around each point, (4, n)."""
        known = np.isfinite(lon) & np.isfinite(lat) & (np.abs(lat) <= 90)
        around = round(360 / self.lon_step_deg)
        x = np.where(known, (lon - self.lon_first_deg) / self.lon_step_deg, 0.0) % around
        y = np.where(known, (lat - self.lat_first_deg) / self.lat_step_deg, 0.0)
        west = np.minimum(x.astype(int), around - 1)
        upper = np.minimum(y.astype(int), self.values.shape[0] - 2)
        east, right, down = (west + 1) % around, x - west, y - upper
        rows = np.stack([upper, upper, upper + 1, upper + 1])
        columns = np.stack([west, east, west, east])
        weights = np.stack(
            [(1 - right) * (1 - down), right * (1 - down), (1 - right) * down, right * down]
        )
        return rows, columns, np.where(known, weights, np.nan)

    def at(self, lon: np.ndarray, lat: np.ndarray) -> np.ndarray:
        """Bilinear values at points, shape (n,) or (n, band); NaN where a point is unknown."""
        rows, columns, weights = self.corners(lon, lat)
        return self.scale * weighted(self.values[rows, columns], weights)


def weighted(values: np.ndarray, weights: np.ndarray) -> np.ndarray:
    """Sum over the four corners; an unknown node counts only if it carries weight."""
    weights = weights.reshape(weights.shape + (1,) * (values.ndim - 2))
    return np.where(weights == 0, 0.0, values * weights).sum(axis=0)


def itu_folder() -> Path | None:
    """Data folder of the installed `itur`, found without importing it; None if absent."""
    spec = importlib.util.find_spec("itur")
    if spec is None or not spec.submodule_search_locations:
        return None
    return Path(spec.submodule_search_locations[0]) / "data"


def _itu_map(folder: Path, name: str, shape: tuple[int, int]) -> np.ndarray:
    """One map of the package, as float32."""
    path = folder / f"{name}.npz"
    try:
        with path.open("rb") as stream, np.load(stream) as archive:
            values = archive["arr_0"]
    except (OSError, ValueError, KeyError, zipfile.BadZipFile) as error:
        raise LayerError(
            f"ITU-R map {path} cannot be read ({error}); reinstall the package itur 0.4"
        ) from error
    if values.shape != shape:
        raise LayerError(
            f"ITU-R map {path} has shape {values.shape}, not {shape}: saltreach knows the files "
            "of itur 0.4; install that version"
        )
    return values.astype(np.float32)


@lru_cache(maxsize=2)
def topography(folder: Path) -> GlobalGrid:
    """ITU-R P.1511-2 heights, m: 1/12 degree, cell centres, padded past poles and 180."""
    values = _itu_map(folder, "1511/v2_topo", (2164, 4324))
    return GlobalGrid(values, -180.125, 1 / 12, 90.125, -1 / 12)


@lru_cache(maxsize=2)
def era5_height(folder: Path) -> GlobalGrid:
    """Mean P.1511 height of each 0.25 degree cell of ERA5.

    A cell spans three map cells; its edges fall on cell centres, so the outer ones count half.
    """
    share = np.array([0.5, 1, 1, 0.5], dtype=np.float32) / 3
    height = topography(folder).values
    rows = 3 * np.arange(721)[:, None] + np.arange(4)
    columns = (3 * np.arange(1440)[:, None] + np.arange(4)) % 4320
    by_row = sum(height[rows[:, k]] * share[k] for k in range(4))
    values = sum(by_row[:, columns[:, k]] * share[k] for k in range(4))
    return GlobalGrid(np.asarray(values), -180, 0.25, 90, -0.25)


@lru_cache(maxsize=2)
def vapour_density(folder: Path) -> tuple[GlobalGrid, np.ndarray, np.ndarray]:
    """P.836-6 water vapour density, g/m3, by rank of month (driest first); km heights.

    Second and third: the vapour's scale height, by rank too, and the height of the surface.
    """
    shape = (161, 321)
    below_pct = (np.arange(12) + 0.5) / 12 * 100
    exceeded_pct = 50 - HUMIDITY_SPREAD * (below_pct - 50)
    # Between two levels P.836 interpolates in the logarithm of the probability.
    share = np.stack(
        [
            np.interp(np.log(exceeded_pct), np.log(_DENSITY_LEVELS), unit)
            for unit in np.eye(len(_DENSITY_LEVELS))
        ]
    )
    density, scale_height_km = (
        np.einsum(
            "lyx,lk->yxk",
            np.stack([_itu_map(folder, f"836/v6_{name}_{p}", shape) for p in _DENSITY_LEVELS]),
            share.astype(np.float32),
        )
        for name in ("rho", "vsch")
    )
    surface = GlobalGrid(_itu_map(folder, "836/v6_topo_0dot5", (363, 723)), -0.5, 0.5, 90.5, -0.5)
    lon, lat = np.meshgrid(1.125 * np.arange(shape[1]), 90 - 1.125 * np.arange(shape[0]))
    surface_km = surface.at(lon.ravel(), lat.ravel()).reshape(shape)
    return GlobalGrid(density, 0, 1.125, 90, -1.125), scale_height_km, surface_km


@lru_cache(maxsize=24)
def itu_rain(folder: Path, month: int) -> GlobalGrid:
    """ITU-R P.837-7 rain of one month, mm: 0.25 degree, padded past poles and 180."""
    return GlobalGrid(_itu_rain(folder, month), -180.125, 0.25, -90.125, 0.25)


def _itu_rain(folder: Path, month: int) -> np.ndarray:
    return _itu_map(folder, f"837/v7_mt_month{month:02d}", (722, 1442))


@lru_cache(maxsize=2)
def itu_annual_rain(folder: Path) -> GlobalGrid:
    """The sum of the twelve maps, which are not kept; the package has no annual one."""
    with ThreadPoolExecutor() as pool:  # unpacking lets other threads run
        maps = pool.map(lambda month: _itu_rain(folder, month), range(1, 13))
        values = np.sum(list(maps), axis=0)
    return GlobalGrid(values, -180.125, 0.25, -90.125, 0.25)


@lru_cache(maxsize=2)
def era5(name: str) -> GlobalGrid:
    """One embedded ERA5 variable, months last, left packed to keep memory low."""
    return _era5(name)


def _era5(name: str) -> GlobalGrid:
    import h5py

    path = embedded_file(ERA5_FILE)
    try:
        with h5py.File(path) as data:
            packed = np.moveaxis(data[name][:], 0, -1)
            scale = float(data[name].attrs["scale_factor"].item())
    except (OSError, KeyError) as error:
        raise LayerError(
            f"embedded climate {path} cannot be read ({error}); reinstall saltreach or run "
            "data/build/build_climate.py"
        ) from error
    return GlobalGrid(np.ascontiguousarray(packed), 0, 0.25, 90, -0.25, scale)


@lru_cache(maxsize=1)
def era5_annual_rain() -> GlobalGrid:
    """The sum of the twelve ERA5 months, mm, which are not kept."""
    monthly = _era5("rain_mm")
    return GlobalGrid(monthly.values.sum(axis=2, dtype=np.int32), 0, 0.25, 90, -0.25, monthly.scale)
