"""`saltreach assess` as a whole command: the demo, 100,000 anchors over Europe, up to a million.

Run: ``python tests/benchmarks/bench_assess.py [numbers of anchors]``: registers of the world with
those numbers (10,000, 100,000 and 1,000,000 else), without a map and with one. The registers are
synthetic: crags at seeded places on land, three sectors of 25 anchors each, named by number. The
peer does one step only of what `assess` does, the distance to the shore as it would be put together
by hand, on a plane, for some of the anchors: its time is theirs times the ratio of the numbers.
"""

import os
import sys
import tempfile
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd

sys.path.insert(0, str(Path(__file__).parents[1]))
from benchmarks import bench_coast
from benchmarks.watching import run
from helpers.figures import figure
from saltreach.layers.coast import load_coast

EUROPE = (-10.0, 36.0, 24.0, 68.0)
WORLD = (-180.0, -55.0, 180.0, 70.0)
"""West, south, east, north."""
EUROPE_COUNT, WORLD_COUNTS = 100_000, (10_000, 100_000, 1_000_000)
QUICK = {"counts": (500, 1000), "europe_count": 1000, "demos": 1}
PEER_ANCHORS = 300


def europe(count: int) -> pd.DataFrame:
    """A synthetic register of Europe."""
    return region(count, EUROPE)


def region(count: int, box: tuple[float, float, float, float]) -> pd.DataFrame:
    """A synthetic register: half of the crags near a shore, half anywhere on land.

    A crag has three sectors within some 300 m of each other.
    """
    rng = np.random.default_rng(4)
    sectors = -(-count // 25)
    crags = -(-sectors // 3)
    west, south, east, north = box
    vertex = load_coast().vertex_deg
    inside = (np.abs(vertex - [(west + east) / 2, (south + north) / 2])
              < [(east - west) / 2, (north - south) / 2]).all(axis=1)  # fmt: skip
    vertex = vertex[inside]
    near = vertex[rng.integers(0, len(vertex), crags * 2)] + rng.normal(0, 0.02, (crags * 2, 2))
    many = crags * 6
    inland = np.column_stack([rng.uniform(west, east, many), rng.uniform(south, north, many)])
    parts = [part[load_coast().shore(*part.T).on_land == 1] for part in (near, inland)]
    places = np.concatenate([part[: -(-crags // 2)] for part in parts])
    places = rng.permutation(places)[:crags]
    assert len(places) == crags
    places = np.repeat(places, 3, axis=0)[:sectors] + rng.normal(0, 0.002, (sectors, 2))
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


def shore_alone(table: pd.DataFrame, lines: gpd.GeoDataFrame) -> float:
    """Seconds of the peer for as many anchors as the register has."""
    places = gpd.GeoDataFrame(geometry=gpd.points_from_xy(table["lon"], table["lat"]), crs=4326)
    some = places.sample(min(PEER_ANCHORS, len(places)), random_state=2).to_crs(lines.crs)
    gpd.sjoin_nearest(some.iloc[:2], lines, distance_col="d")  # builds its index
    start = time.perf_counter()
    gpd.sjoin_nearest(some, lines, distance_col="d")
    return (time.perf_counter() - start) * len(table) / len(some)


def measures(
    counts: tuple[int, ...] = WORLD_COUNTS, *, europe_count: int = EUROPE_COUNT, demos: int = 3
) -> Iterator[dict[str, Any]]:
    """The demo, Europe, and the world without a map and with one.

    Parameters
    ----------
    counts : tuple of int
        Numbers of anchors of the registers of the world.
    europe_count : int
        Number of anchors of the register of Europe.
    demos : int
        How often the demo is run.

    Yields
    ------
    dict
        what, count, seconds, peer, peer_seconds, peak_mb (workers included), note.
    """
    command = str(Path(sys.executable).with_name("saltreach"))
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        runs = [run(command, "demo", "--out", f"{folder}/demo") for _ in range(demos)]
        seconds = [took for took, _ in runs]
        figure("assess / demo", f"{min(seconds):.1f} to {max(seconds):.1f} s, {demos} runs")
        yield {"what": "demo, whole command", "seconds": min(seconds),
               "peak_mb": max(peak for _, peak in runs), "note": f"least of {demos}"}  # fmt: skip
        register = folder / "europe.csv"
        europe(europe_count).to_csv(register, index=False)
        took, peak = run(command, "assess", str(register), "--out", f"{folder}/europe")
        size = (folder / "europe" / "map.html").stat().st_size / 1e6
        figure("assess / Europe", f"{europe_count:,} anchors, {took:.1f} s, peak {peak / 1e3:.1f} "
               f"GB, map {size:.1f} MB")  # fmt: skip
        yield {"what": "assess, Europe, CSV, with map", "count": europe_count, "seconds": took,
               "peak_mb": peak, "note": f"map {size:.1f} MB"}  # fmt: skip
        lines = bench_coast.shoreline(load_coast(), bench_coast.WORLD, 4087)["lines"]
        for count in counts:
            yield from _world(command, count, folder, lines)


def _world(
    command: str, count: int, folder: Path, lines: gpd.GeoDataFrame
) -> Iterator[dict[str, Any]]:
    table = region(count, WORLD)
    register = folder / f"world-{count}.parquet"
    table.to_parquet(register, index=False)
    peer_seconds = shore_alone(table, lines)
    del table
    for what, flag in (("without map", "--no-map"), ("with map", "--map")):
        with tempfile.TemporaryDirectory(dir=folder) as out:
            took, peak = run(command, "assess", str(register), flag, "--out", f"{out}/world")
            size = sum(file.stat().st_size for file in Path(out, "world").rglob("*")) / 1e6
        figure("assess / world", f"{what}, {count:,} anchors, {took:.1f} s, peak {peak / 1e3:.1f} "
               "GB")  # fmt: skip
        yield {
            "what": f"assess, world, Parquet, {what}",
            "count": count,
            "seconds": took,
            "peer": f"geopandas.sjoin_nearest, lines, {PEER_ANCHORS} of the anchors",
            "peer_seconds": peer_seconds,
            "peak_mb": peak,
            "note": f"files of {size:,.0f} MB; the peer finds the distance to the shore alone",
        }


def main() -> None:
    print(f"{os.cpu_count()} cores")
    for _ in measures(tuple(map(int, sys.argv[1:])) or WORLD_COUNTS):
        pass


if __name__ == "__main__":
    main()
