"""How near the layers come to what they are compared with, and the time each takes.

Run: ``python tests/benchmarks/bench_layers.py``. The distance to the drawn shore against
GeographicLib by brute force, and the climate against 270 cities of world-rainfall-data and
world-temperature-data (agreement with a data set that shares sources with ours: data/README.md).
"""

import sys
import time
from pathlib import Path
from typing import Any

import numpy as np

sys.path.insert(0, str(Path(__file__).parents[1]))
sys.path.insert(0, str(Path(__file__).parents[2] / "data" / "build"))
from climate_table import cities, monthly_temperature_c

from helpers.figures import figure
from reference.test_coast import brute_force_m, places
from saltreach.layers.climate import monthly_climate, sample_climate
from saltreach.layers.coast import load_coast


def measures() -> list[dict[str, Any]]:
    """What each layer takes and how near it comes: what, count, seconds, note; one has a peer."""
    points, coast = places(), load_coast()
    start = time.perf_counter()
    found = coast.shore(*points.T).distance_m
    seconds, start = time.perf_counter() - start, time.perf_counter()
    exact = np.array(list(brute_force_m(points, coast)))
    peer_seconds = time.perf_counter() - start
    worst = f"worst {np.abs(found - exact).max():.2f} m"
    figure("layers / coast", f"{len(points):,} points, {worst}")

    table = cities()
    lonlat = table["lon"].to_numpy(), table["lat"].to_numpy()
    start = time.perf_counter()
    rain = sample_climate(*lonlat)["rain_mm_y"].to_numpy()
    rain_seconds, known = time.perf_counter() - start, table["annual_mm"].to_numpy()
    rain_near = (
        f"r {np.corrcoef(rain, known)[0, 1]:.3f}, median error "
        f"{np.median(np.abs(rain - known) / known):.1%}"
    )
    figure("layers / rain", f"{len(table)} cities, {rain_near}")
    start = time.perf_counter()
    months = monthly_climate(*lonlat)["temperature_c"].to_numpy()
    temperature_seconds = time.perf_counter() - start
    off_c = np.abs(months - monthly_temperature_c(table))
    temperature_near = f"monthly, mean error {off_c.mean():.2f} °C"
    figure("layers / temperature", f"{len(table)} cities, {temperature_near}")
    return [
        {"what": "distance to the coast, index and all", "count": len(points), "seconds": seconds,
         "peer": "GeographicLib by brute force", "peer_seconds": peer_seconds, "note": worst},
        {"what": "rain at cities", "count": len(table), "seconds": rain_seconds,
         "note": f"beside world-rainfall-data: {rain_near}"},
        {"what": "temperature at cities", "count": len(table), "seconds": temperature_seconds,
         "note": f"beside world-temperature-data: {temperature_near}"},
    ]  # fmt: skip


if __name__ == "__main__":
    measures()
