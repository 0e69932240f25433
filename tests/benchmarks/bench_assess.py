"""`saltreach assess` as a whole command: the demo, and 100,000 anchors spread over Europe.

Run: ``python tests/benchmarks/bench_assess.py [number of anchors]``. The region is synthetic:
sectors of 25 anchors at seeded places on land, named by number.
"""

import os
import resource
import subprocess
import sys
import tempfile
import time
from pathlib import Path

import numpy as np
import pandas as pd

sys.path.insert(0, str(Path(__file__).parents[1]))
from helpers.figures import figure
from saltreach.layers.coast import load_coast

EUROPE = (-10.0, 36.0, 24.0, 68.0)
WORLD = (-180.0, -55.0, 180.0, 70.0)
"""West, south, east, north."""


def europe(count: int) -> pd.DataFrame:
    """A synthetic register of Europe."""
    return region(count, EUROPE)


def region(count: int, box: tuple[float, float, float, float]) -> pd.DataFrame:
    """A synthetic register: half of the sectors near a shore, half anywhere on land."""
    rng = np.random.default_rng(4)
    sectors = -(-count // 25)
    west, south, east, north = box
    vertex = load_coast().vertex_deg
    inside = (np.abs(vertex - [(west + east) / 2, (south + north) / 2])
              < [(east - west) / 2, (north - south) / 2]).all(axis=1)  # fmt: skip
    vertex = vertex[inside]
    near = vertex[rng.integers(0, len(vertex), sectors * 2)] + rng.normal(0, 0.02, (sectors * 2, 2))
    many = sectors * 6
    inland = np.column_stack([rng.uniform(west, east, many), rng.uniform(south, north, many)])
    parts = [part[load_coast().shore(*part.T).on_land == 1] for part in (near, inland)]
    places = np.concatenate([part[: -(-sectors // 2)] for part in parts])
    places = rng.permutation(places)[:sectors]
    assert len(places) == sectors
    centre = np.repeat(places, 25, axis=0)[:count]
    lonlat = centre + rng.normal(0, 0.0004, (count, 2))
    number = np.arange(count) // 25
    metals = ["316", "304", "zinc-plated", "galvanised", "A4", "Ti", ""]
    return pd.DataFrame(
        {
            "anchor_id": [f"E{i}" for i in range(count)],
            "crag": [f"Crag {n // 3}" for n in number],
            "sector": [f"Sector {n}" for n in number],
            "lon": lonlat[:, 0].round(6),
            "lat": lonlat[:, 1].round(6),
            "material": rng.choice(metals, count),
            "installed_on": rng.integers(1990, 2024, count),
            "condition": rng.choice([0, 1, 2, 3], count, p=[0.6, 0.25, 0.1, 0.05]),
            "rain_washed": rng.choice(["yes", "no", "unknown"], count),
            "rock_type": rng.choice(["limestone", "granite", "sandstone", ""], count),
        }
    )


def timed(*command: str) -> float:
    start = time.perf_counter()
    done = subprocess.run(command, capture_output=True, text=True, check=False)
    seconds = time.perf_counter() - start
    if done.returncode not in (0, 1):
        raise SystemExit(done.stderr)
    return seconds


def main() -> None:
    count = int(sys.argv[1]) if len(sys.argv) > 1 else 100_000
    command = str(Path(sys.executable).with_name("saltreach"))
    with tempfile.TemporaryDirectory() as folder:
        register = Path(folder) / "europe.csv"
        europe(count).to_csv(register, index=False)
        print(f"{os.cpu_count()} cores")
        runs = [timed(command, "demo", "--out", f"{folder}/demo") for _ in range(3)]
        figure("assess / demo", f"{min(runs):.1f} to {max(runs):.1f} s, 3 runs")
        seconds = timed(command, "assess", str(register), "--out", f"{folder}/europe")
        peak = resource.getrusage(resource.RUSAGE_CHILDREN).ru_maxrss / 1e6
        size = (Path(folder) / "europe" / "map.html").stat().st_size / 1e6
        figure(
            "assess / Europe",
            f"{count:,} anchors, {seconds:.1f} s, peak {peak:.1f} GB, map {size:.1f} MB",
        )


if __name__ == "__main__":
    main()
