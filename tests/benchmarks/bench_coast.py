"""Coast distance for 10,000 points in Iberia: saltreach beside two geopandas peers, one run.

Peers: `geopandas.sjoin_nearest` in a projected CRS (ETRS89-LAEA, EPSG:3035) on the same
shoreline, left as lines and cut to segments. Loading and indexing are timed apart; the peers'
index is built by a first small query. Run: ``python tests/benchmarks/bench_coast.py``.
"""

import os
import sys
import time
from pathlib import Path

import geopandas as gpd
import numpy as np
import shapely

sys.path.insert(0, str(Path(__file__).parents[1]))
from helpers.figures import figure
from saltreach.layers.coast import load_coast

POINTS = 10_000
REPEATS = 5
BOX = (-9.3, 36.2, 3.2, 43.6)


def best_of(work) -> tuple[float, object]:
    times = []
    for _ in range(REPEATS):
        start = time.perf_counter()
        result = work()
        times.append(time.perf_counter() - start)
    return min(times), result


def main() -> None:
    rng = np.random.default_rng(1)
    lon, lat = rng.uniform(BOX[0], BOX[2], POINTS), rng.uniform(BOX[1], BOX[3], POINTS)
    start = time.perf_counter()
    coast = load_coast()
    loaded = time.perf_counter() - start
    start = time.perf_counter()
    index = coast.near(lon, lat)
    indexed = time.perf_counter() - start
    ours, shore = best_of(lambda: index.shore(lon, lat))

    points = gpd.GeoDataFrame(geometry=gpd.points_from_xy(lon, lat), crs=4326).to_crs(3035)
    begin, end = coast.line_start[:-1], coast.line_start[1:]
    low = np.minimum.reduceat(coast.vertex_deg, begin)
    high = np.maximum.reduceat(coast.vertex_deg, begin)
    near = (low <= [BOX[2] + 4, BOX[3] + 4]).all(1) & (high >= [BOX[0] - 4, BOX[1] - 4]).all(1)
    rings = [coast.vertex_deg[a:b] for a, b in zip(begin[near], end[near], strict=True)]
    window = shapely.box(BOX[0] - 4, BOX[1] - 4, BOX[2] + 4, BOX[3] + 4)
    lines = gpd.GeoSeries([shapely.linestrings(r) for r in rings], crs=4326).clip(window)
    lines = gpd.GeoDataFrame(geometry=lines.explode(ignore_index=True).to_crs(3035))
    coords, owner = shapely.get_coordinates(lines.geometry.to_numpy(), return_index=True)
    same = owner[:-1] == owner[1:]
    pieces = shapely.linestrings(np.stack([coords[:-1][same], coords[1:][same]], axis=1))
    segments = gpd.GeoDataFrame(geometry=pieces, crs=3035)

    def peers(peer):
        gpd.sjoin_nearest(points.iloc[:2], peer, distance_col="d")
        return best_of(lambda: gpd.sjoin_nearest(points, peer, distance_col="d"))

    by_line, _ = peers(lines)
    by_segment, joined = peers(segments)
    planar = joined[~joined.index.duplicated()].sort_index()["d"].to_numpy()
    off = np.abs(planar / shore.distance_m - 1)
    print(f"{os.cpu_count()} cores; {POINTS:,} points; best of {REPEATS}")
    figure("coast / load", f"{loaded:.2f} s, and {indexed:.2f} s to index the region")
    figure("coast / search", f"{POINTS / ours:,.0f} points/s, geodesic, to segments")
    figure("coast / peer, lines", f"{POINTS / by_line:,.0f} points/s, sjoin_nearest")
    figure("coast / peer, segments", f"{POINTS / by_segment:,.0f} points/s, sjoin_nearest")
    figure("coast / peer against ours", f"median {np.median(off):.2%}, worst {off.max():.2%}")


if __name__ == "__main__":
    main()
