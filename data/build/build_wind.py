"""Build `data/layers/wind_coads.nc`, the embedded mean wind over the sea.

Source: `coads_climatology.cdf` (variable WSPD, 2 degree, twelve months, ocean only) as shipped in
the Debian package `ferret-datasets`, which holds data of NOAA/PMEL's program Ferret. The annual
mean takes cells with nine months or more; fewer would lean to one season. Cells without any sea
(North American lakes, Ladoga, the Amazon, misplaced ships) are left out by the 1 km mask of
`global-land-mask`; the Caspian stays, as it does in the coast layer.

Run (Debian)::

    pip install 'saltreach[test]'
    apt-get download ferret-datasets && dpkg-deb -x ferret-datasets_*.deb unpacked
    python data/build/build_wind.py unpacked/usr/share/ferret-vis/data/coads_climatology.cdf
"""

from __future__ import annotations

import sys
from pathlib import Path

import numpy as np
import xarray as xr

TARGET = Path(__file__).resolve().parents[1] / "layers" / "wind_coads.nc"
MONTHS_NEEDED = 9
SD_FLOOR_M_S = 0.5  # judgement: ships estimate wind by eye, and 2 degree cells blur the coast
CASPIAN = (46.0, 56.0, 36.0, 48.0)  # west, east, south, north
SCALE = 0.01
MISSING = -32768

LICENCE = (
    "COADS is a work of NOAA (United States government) with CIRES and NCAR. The package's "
    "copyright file names no terms for COADS separately and puts all upstream files under the "
    "Ferret License Agreement, copyright 2010 NOAA: redistribution and use in source and binary "
    "forms, with or without modification, are permitted provided that this notice, the conditions "
    "and the disclaimer are retained, and that modifications are documented. THIS SOFTWARE AND "
    'ITS DOCUMENTATION ARE IN THE PUBLIC DOMAIN AND ARE FURNISHED "AS IS." THE AUTHORS, THE '
    "UNITED STATES GOVERNMENT, ITS INSTRUMENTALITIES, OFFICERS, EMPLOYEES, AND AGENTS MAKE NO "
    "WARRANTY, EXPRESS OR IMPLIED, AS TO THE USEFULNESS OF THE SOFTWARE AND DOCUMENTATION FOR ANY "
    "PURPOSE. THEY ASSUME NO RESPONSIBILITY (1) FOR THE USE OF THE SOFTWARE AND DOCUMENTATION; OR "
    "(2) TO PROVIDE TECHNICAL SUPPORT TO USERS."
)


def annual_mean(monthly: np.ndarray) -> np.ndarray:
    """Mean of the months, NaN where fewer than `MONTHS_NEEDED` are known; months first."""
    known = np.isfinite(monthly).sum(axis=0)
    total = np.nansum(monthly, axis=0)
    return np.where(known >= MONTHS_NEEDED, total / np.maximum(known, 1), np.nan)


def has_sea(lon: np.ndarray, lat: np.ndarray) -> np.ndarray:
    """Whether any of 11 by 11 points of each 2 degree cell is sea, (lat, lon)."""
    from global_land_mask import globe

    step = np.linspace(-0.95, 0.95, 11)
    found = np.zeros((lat.size, lon.size), dtype=bool)
    for north in step:
        for east in step:
            at = np.meshgrid((lon + east + 180) % 360 - 180, lat + north)
            found |= globe.is_ocean(at[1], at[0])
    west, last, south, north = CASPIAN
    caspian = ((lon > west) & (lon < last))[None, :] & ((lat > south) & (lat < north))[:, None]
    return found | caspian


def neighbourhood_sd(mean: np.ndarray) -> np.ndarray:
    """Standard deviation over each cell and its eight neighbours, in quadrature with the floor."""
    padded = np.pad(np.pad(mean, ((0, 0), (1, 1)), mode="wrap"), ((1, 1), (0, 0)), mode="edge")
    rows, columns = mean.shape
    around = np.stack([padded[i : i + rows, j : j + columns] for i in range(3) for j in range(3)])
    known = np.isfinite(around).sum(axis=0)
    centre = np.nansum(around, axis=0) / np.maximum(known, 1)
    variance = np.nansum((around - centre) ** 2, axis=0) / np.maximum(known, 1)
    return np.where(np.isfinite(mean), np.sqrt(variance + SD_FLOOR_M_S**2), np.nan)


def wind(source: xr.Dataset) -> xr.Dataset:
    """The data set to embed, longitudes -179 to 179."""
    monthly = source["WSPD"].values.astype(float)
    if monthly.shape != (12, 90, 180) or not 0 <= np.nanmin(monthly) <= np.nanmax(monthly) < 40:
        raise SystemExit(f"WSPD has shape {monthly.shape}: not the COADS climatology in m/s")
    lon = (source["COADSX"].values + 180) % 360 - 180
    order = np.argsort(lon)
    lon, lat = lon[order], source["COADSY"].values
    mean = annual_mean(monthly)[:, order]
    mean = np.where(has_sea(lon, lat), mean, np.nan)
    dims = ("latitude", "longitude")
    return xr.Dataset(
        {
            "wind_speed_m_s": (
                dims,
                mean,
                {
                    "standard_name": "wind_speed",
                    "long_name": "annual mean wind speed over the sea",
                    "units": "m s-1",
                },
            ),
            "wind_speed_sd_m_s": (
                dims,
                neighbourhood_sd(mean),
                {
                    "long_name": "standard deviation: spread over the cell and its neighbours, "
                    f"and {SD_FLOOR_M_S} m/s",
                    "units": "m s-1",
                },
            ),
        },
        coords={
            "latitude": ("latitude", lat, {"units": "degrees_north"}),
            "longitude": ("longitude", lon, {"units": "degrees_east"}),
        },
        attrs={
            "Conventions": "CF-1.10",
            "title": "COADS climatology, annual mean wind speed over the sea, 2 degree",
            "institution": "NOAA with CIRES and NCAR (COADS); NOAA/PMEL/TMAP (climatology file)",
            "source": "coads_climatology.cdf in Debian package ferret-datasets 7.6.0-5",
            "references": "Woodruff et al. 1987, A Comprehensive Ocean-Atmosphere Data Set, "
            "Bull. Amer. Meteor. Soc. 68",
            "license": LICENCE,
            "comment": "Modified: mean of the months, cells with fewer than "
            f"{MONTHS_NEEDED} months and cells without sea left out, standard deviation added, "
            "packed to 0.01 m/s.",
        },
    )


def main(path: str) -> None:
    """Write the file beside the other layers, temporary first, then renamed."""
    with xr.open_dataset(path, decode_times=False, engine="scipy") as source:
        out = wind(source.load())
    packing = {
        "dtype": "int16",
        "scale_factor": SCALE,
        "_FillValue": MISSING,
        "zlib": True,
        "complevel": 9,
        "shuffle": True,
    }
    encoding: dict[str, dict] = {name: dict(packing) for name in out.data_vars}
    encoding |= {name: {"dtype": "float32", "_FillValue": None} for name in out.coords}
    TARGET.parent.mkdir(parents=True, exist_ok=True)
    temporary = TARGET.with_suffix(".part")
    out.to_netcdf(temporary, engine="h5netcdf", encoding=encoding)
    temporary.replace(TARGET)
    print(f"{TARGET.name}: {TARGET.stat().st_size / 1e3:.0f} kB")


if __name__ == "__main__":
    if len(sys.argv) != 2:
        raise SystemExit(__doc__)
    main(sys.argv[1])
