"""Print how the climate layer compares with 270 cities, as the tables of data/README.md.

Reference: the PyPI packages world-rainfall-data and world-temperature-data 0.1.0 (CC BY 4.0,
GeoRank.place; CHELSA v2.1 1981-2010, rain calibrated on GHCN-M stations). Independence is
limited: CHELSA is downscaled from ERA reanalyses, and P.837 and GHCN-M share gauges. So the
table shows agreement with CHELSA, not accuracy. The tables carry no elevation: the cities get
the P.1511 elevation. Humidity: 21 normals from memory, a sanity check.

Run: ``pip install -e .[test] && python data/build/climate_table.py``
"""

from __future__ import annotations

from importlib.resources import as_file, files
from pathlib import Path

import numpy as np
import pandas as pd

from saltreach.layers import climate_maps as maps
from saltreach.layers.climate import monthly_climate, sample_climate

NORMALS = Path(__file__).resolve().parents[2] / "tests/reference/test_climate_humidity.csv"


def cities() -> pd.DataFrame:
    """The 270 cities: monthly temperature and annual rain."""
    tables = []
    for package, name in (
        ("world_temperature_data", "world-temperature.csv"),
        ("world_rainfall_data", "world-rainfall.csv"),
    ):
        with as_file(files(package).joinpath(name)) as path:
            tables.append(pd.read_csv(path))
    temperature, rain = tables
    keys = ["city", "country_iso2", "lat", "lon"]
    # Both list the same cities in the same order; one city (Guadalajara, MX) stands there twice.
    if not temperature[keys].equals(rain[keys]):
        raise SystemExit("the two city tables differ in their cities or order")
    return temperature.assign(annual_mm=rain["annual_mm"])


def monthly_temperature_c(table: pd.DataFrame) -> np.ndarray:
    """The cities' monthly temperatures, shape (cities, 12)."""
    return table[[c for c in table if c.endswith("_c") and c != "annual_c"]].to_numpy()


def rain_row(name: str, computed: np.ndarray, reference: np.ndarray) -> str:
    """One line of the rain table."""
    error = computed - reference
    return (
        f"| rain, {name} | {error.mean():+.0f} | {np.abs(error).mean():.0f} | "
        f"{np.sqrt((error**2).mean()):.0f} | {np.median(np.abs(error) / reference):.1%} | "
        f"{np.corrcoef(computed, reference)[0, 1]:.4f} |"
    )


def temperature_row(name: str, computed: np.ndarray, reference: np.ndarray) -> str:
    """One line of the temperature table, monthly and annual errors."""
    error = computed - reference
    year = error.mean(axis=1)
    return (
        f"| temperature, {name} | {error.mean():+.2f} | {np.abs(error).mean():.2f} | "
        f"{np.sqrt((error**2).mean()):.2f} | {np.abs(year).mean():.2f} | "
        f"{np.sqrt((year**2).mean()):.2f} | {(np.abs(year) > 3).sum()} |"
    )


def cover(error: np.ndarray, sd: np.ndarray) -> str:
    """Share of errors inside one and two standard deviations."""
    return f"{(np.abs(error) < sd).mean():.0%} and {(np.abs(error) < 2 * sd).mean():.0%}"


def main() -> None:
    """Print the tables."""
    table = cities()
    lon, lat = table["lon"].to_numpy(), table["lat"].to_numpy()
    rain = table["annual_mm"].to_numpy(float)
    temperature = monthly_temperature_c(table)
    folder = maps.itu_folder()
    year, months = sample_climate(lon, lat), monthly_climate(lon, lat)

    print(f"{len(table)} cities\n")
    print("| | bias mm/y | mean abs. | rms | median rel. | r |\n|---|---|---|---|---|---|")
    print(rain_row("default", year["rain_mm_y"].to_numpy(), rain))
    if folder is not None:
        print(rain_row("P.837 alone", maps.itu_annual_rain(folder).at(lon, lat), rain))
    print(rain_row("ERA5 alone", maps.era5_annual_rain().at(lon, lat), rain))
    print(
        "\n| | bias degC | monthly mean abs. | monthly rms | annual mean abs. | annual rms | "
        "off > 3 |\n|---|---|---|---|---|---|---|"
    )
    print(temperature_row("default", months["temperature_c"].to_numpy(), temperature))
    raw = maps.era5("temperature_c").at(lon, lat)
    print(temperature_row("ERA5, no lapse rate", raw, temperature))
    print("\ninside one and two standard deviations:")
    print("rain", cover(year["rain_mm_y"] - rain, year["rain_sd_mm_y"]))
    annual = temperature.mean(axis=1)
    print("temperature", cover(year["temperature_c"] - annual, year["temperature_sd_c"]))

    normals = pd.read_csv(NORMALS)
    points = [normals[name] for name in ("lon", "lat", "elevation_m")]
    humid = sample_climate(*points)
    error = humid["relative_humidity_pct"] - normals["relative_humidity_pct"]
    print(
        f"\nrelative humidity, {len(normals)} normals from memory: bias {error.mean():+.1f}, "
        f"mean abs. {error.abs().mean():.1f}, rms {np.sqrt((error**2).mean()):.1f}, worst "
        f"{error.abs().max():.0f} ({normals['city'][error.abs().idxmax()]}), inside "
        f"{cover(error, humid['relative_humidity_sd_pct'])}"
    )
    by_month = monthly_climate(*points)["relative_humidity_pct"].to_numpy()
    error = np.r_[by_month[:, 0] - normals["january_pct"], by_month[:, 6] - normals["july_pct"]]
    print(f"January and July: bias {error.mean():+.1f}, mean abs. {np.abs(error).mean():.1f}")


if __name__ == "__main__":
    main()
