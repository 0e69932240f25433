"""How near the layers come to what they are compared with; not timed.

Run: ``python tests/benchmarks/bench_layers.py``. The distance to the drawn shore against
GeographicLib by brute force, and the climate against 270 cities of world-rainfall-data and
world-temperature-data (agreement with a data set that shares sources with ours: data/README.md).
"""

import sys
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).parents[1]))
sys.path.insert(0, str(Path(__file__).parents[2] / "data" / "build"))
from climate_table import cities, monthly_temperature_c

from helpers.figures import figure
from reference.test_coast import brute_force_m, places
from saltreach.layers.climate import monthly_climate, sample_climate
from saltreach.layers.coast import load_coast


def main() -> None:
    points, coast = places(), load_coast()
    exact = np.array(list(brute_force_m(points, coast)))
    off_m = np.abs(coast.shore(*points.T).distance_m - exact)
    figure("layers / coast", f"{len(points):,} points, worst {off_m.max():.2f} m")

    table = cities()
    lonlat = table["lon"].to_numpy(), table["lat"].to_numpy()
    rain, known = sample_climate(*lonlat)["rain_mm_y"].to_numpy(), table["annual_mm"].to_numpy()
    figure(
        "layers / rain",
        f"{len(table)} cities, r {np.corrcoef(rain, known)[0, 1]:.3f}, median error "
        f"{np.median(np.abs(rain - known) / known):.1%}",
    )
    off_c = np.abs(
        monthly_climate(*lonlat)["temperature_c"].to_numpy() - monthly_temperature_c(table)
    )
    figure(
        "layers / temperature", f"{len(table)} cities, monthly, mean error {off_c.mean():.2f} °C"
    )


if __name__ == "__main__":
    main()
