"""Distance to the coast for a million points, beside `geopandas.sjoin_nearest` in the same run.

Points: uniform in longitude and latitude over the whole Earth and over Iberia, and anchors on land
in sectors of 25, half of them near a shore. The peer searches the same shoreline on a plane
(ETRS89-LAEA, EPSG:3035, in Iberia; equidistant cylindrical, EPSG:4087, worldwide), left as lines
and cut to segments; it gets a sample of the points, after a first query that builds its index, and
its time is that of the sample times the ratio of the counts. Ours and the peer's turns alternate
and the least of each counts. Memory is what a process of its own takes more at most than after the
coast was loaded, index and all. With the extra `fast` the search is compiled before it is timed.
Run: ``python tests/benchmarks/bench_coast.py``.
"""

import os
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator
from importlib.util import find_spec
from pathlib import Path

import geopandas as gpd
import numpy as np
import shapely

sys.path.insert(0, str(Path(__file__).parents[1]))
from benchmarks.watching import own_peak_mb
from helpers.figures import figure
from saltreach.layers.coast import Coast, load_coast
from saltreach.layers.openness import sea_openness

POINTS = 1_000_000
REPEATS = 3
QUICK = {"count": 20_000}
IBERIA = (-9.3, 36.2, 3.2, 43.6)
WORLD = (-180.0, -90.0, 180.0, 90.0)
SAMPLE = {"lines, worldwide": 300, "segments, worldwide": 5_000, "lines": 5_000, "segments": 20_000}
"""Points that the peer gets."""


def scattered(box, count=POINTS):
    rng = np.random.default_rng(1)
    return rng.uniform(box[0], box[2], count), rng.uniform(box[1], box[3], count)


def in_sectors(box, count=POINTS):
    """Anchors on land in sectors of 25, some 40 m wide."""
    rng, coast = np.random.default_rng(4), load_coast()
    sectors = -(-count // 25)
    inside = (coast.vertex_deg > box[:2]).all(axis=1) & (coast.vertex_deg < box[2:]).all(axis=1)
    vertex = coast.vertex_deg[inside & (np.abs(coast.vertex_deg[:, 1]) < 80)]
    near = vertex[rng.integers(0, len(vertex), sectors * 2)] + rng.normal(0, 0.02, (sectors * 2, 2))
    west, south, east, north = box
    inland = np.column_stack(
        [rng.uniform(west, east, sectors * 4), rng.uniform(max(south, -80), min(north, 80),
                                                           sectors * 4)]
    )  # fmt: skip
    near, inland = (
        places[coast.shore(*places.T).on_land == 1][: -(-sectors // 2)] for places in (near, inland)
    )
    centre = np.repeat(rng.permutation(np.concatenate([near, inland])), 25, axis=0)[:count]
    lon, lat = (centre + rng.normal(0, 0.0004, centre.shape)).T
    return lon, lat


SETS = {
    "worldwide, scattered": (WORLD, scattered),
    "worldwide, in sectors": (WORLD, in_sectors),
    "Iberia, scattered": (IBERIA, scattered),
    "Iberia, in sectors": (IBERIA, in_sectors),
}


def turns(*works) -> list[float]:
    """Seconds of each, the least of some turns that alternate."""
    times = np.empty((REPEATS, len(works)))
    for turn in times:
        for k, work in enumerate(works):
            start = time.perf_counter()
            work()
            turn[k] = time.perf_counter() - start
    return times.min(axis=0).tolist()


def shoreline(coast: Coast, box, crs: int) -> dict[str, gpd.GeoDataFrame]:
    """The peer's shoreline, as lines and cut to segments."""
    begin, end = coast.line_start[:-1], coast.line_start[1:]
    low, high = coast.bounds_deg
    room = [box[0] - 4, box[1] - 4, box[2] + 4, box[3] + 4]
    near = (low <= room[2:]).all(1) & (high >= room[:2]).all(1)
    lines = gpd.GeoSeries(
        [shapely.linestrings(coast.vertex_deg[a:b])
         for a, b in zip(begin[near], end[near], strict=True)], crs=4326
    )  # fmt: skip
    if box != WORLD:
        lines = lines.clip(shapely.box(*room)).explode(ignore_index=True)
    lines = gpd.GeoDataFrame(geometry=lines.to_crs(crs))
    coords, owner = shapely.get_coordinates(lines.geometry.to_numpy(), return_index=True)
    same = owner[:-1] == owner[1:]
    pieces = shapely.linestrings(np.stack([coords[:-1][same], coords[1:][same]], axis=1))
    return {"lines": lines, "segments": gpd.GeoDataFrame(geometry=pieces, crs=crs)}


def search(which: str, peer: str, shores: dict[str, gpd.GeoDataFrame], count: int = POINTS) -> dict:
    """One set of points, searched by saltreach and by one peer."""
    box, points_of = SETS[which]
    lon, lat = points_of(box, count)
    coast = load_coast()
    index = coast.near(lon, lat)
    index.shore(lon[:30_000], lat[:30_000])  # trees and what is compiled
    shore = shores[peer]
    sample = SAMPLE[f"{peer}, worldwide" if box == WORLD else peer]
    some = np.random.default_rng(2).choice(len(lon), sample, replace=False)
    asked = gpd.GeoDataFrame(geometry=gpd.points_from_xy(lon[some], lat[some]), crs=4326)
    asked = asked.to_crs(shore.crs)
    gpd.sjoin_nearest(asked.iloc[:2], shore, distance_col="d")
    seconds, of_sample = turns(
        lambda: index.shore(lon, lat), lambda: gpd.sjoin_nearest(asked, shore, distance_col="d")
    )
    peer_seconds = of_sample * len(lon) / sample
    return {
        "what": f"distance to the coast, {which}",
        "count": len(lon),
        "seconds": seconds,
        "peer": f"geopandas.sjoin_nearest, {peer}, {sample:,} of the points",
        "peer_seconds": peer_seconds,
        "ratio": peer_seconds / seconds,
        "peak_mb": peak_mb(lon, lat),
    }


def openness(which: str, count: int = POINTS) -> dict:
    """Openness of the shore of anchors, and of the cells of a raster; without a peer."""
    coast = load_coast()
    if which == "cells of a raster":
        lon, lat = (v.ravel() for v in np.meshgrid(np.arange(-9.6, -7.6, 1 / 480),
                                                   np.arange(42, 44, 1 / 480)))  # fmt: skip
    else:
        lon, lat = in_sectors(IBERIA, 100_000)
    lon, lat = lon[:count], lat[:count]
    feet = coast.shore(lon, lat)[2:]
    sea_openness(lon[:30_000], lat[:30_000], coast, shore=tuple(v[:30_000] for v in feet))
    (seconds,) = turns(lambda: sea_openness(lon, lat, coast, shore=feet))
    return {
        "what": f"openness of the shore, {which}",
        "count": len(lon),
        "seconds": seconds,
        "peer": None,
        "peer_seconds": None,
        "ratio": None,
        "peak_mb": None,
    }


def peak_mb(lon: np.ndarray, lat: np.ndarray) -> float:
    """What loading the index and searching takes at most over the loaded coast, MB."""
    with tempfile.TemporaryDirectory() as folder:
        file = Path(folder) / "points.npy"
        np.save(file, [lon, lat])
        command = [sys.executable, __file__, "--peak", str(file)]
        done = subprocess.run(command, capture_output=True, text=True, check=True)
    return float(done.stdout)


def _own_peak_mb(file: str) -> float:
    lon, lat = np.load(file)
    coast = load_coast()
    before = own_peak_mb()
    coast.shore(lon, lat)
    return own_peak_mb() - before


def measures(count: int = POINTS) -> Iterator[dict]:
    """Each measurement: what, count, seconds, peer, peer_seconds, ratio, peak_mb."""
    start = time.perf_counter()
    coast = load_coast()
    loaded = time.perf_counter() - start
    start = time.perf_counter()
    coast.near(*scattered(IBERIA, 10_000))
    region = time.perf_counter() - start
    start = time.perf_counter()
    coast.near(*scattered(WORLD, 10_000))
    world = time.perf_counter() - start
    compiled = "compiled" if find_spec("numba") else "not compiled: without the extra fast"
    print(f"{os.cpu_count()} cores; {count:,} points; {compiled}; least of {REPEATS}")
    figure("coast / load", f"{loaded:.2f} s; index of Iberia {region:.2f} s, of all {world:.2f} s")
    for what, seconds in (("coast loaded", loaded), ("index of Iberia", region),
                          ("index of the Earth", world)):  # fmt: skip
        yield {"what": what, "seconds": seconds, "note": compiled}
    found = []
    for one in _one_by_one(count):
        print(f"  {one['what']}: {said(one)}", flush=True)
        found.append(one)
        yield one
    lines = {m["what"]: said(m) for m in found if "segments" not in (m["peer"] or "")}
    figure("coast / search", lines["distance to the coast, worldwide, scattered"])
    figure("coast / sectors", lines["distance to the coast, worldwide, in sectors"])
    figure("coast / region", lines["distance to the coast, Iberia, scattered"])
    figure("coast / openness", lines["openness of the shore, cells of a raster"])


def _one_by_one(count: int) -> Iterator[dict]:
    for box, crs in ((IBERIA, 3035), (WORLD, 4087)):
        shores = shoreline(load_coast(), box, crs)
        for which in (name for name, (own, _) in SETS.items() if own == box):
            for peer in shores:
                yield search(which, peer, shores, count)
    for which in ("anchors in sectors", "cells of a raster"):
        yield openness(which, count)


def said(one: dict) -> str:
    """A measurement in words."""
    text = f"{one['count']:,}: {one['count'] / one['seconds']:,.0f}/s"
    if one["peer"]:
        text += f", {one['ratio']:,.1f} times {one['peer']}; {one['peak_mb']:,.0f} MB"
    return text


def main() -> None:
    for _ in measures():
        pass


if __name__ == "__main__":
    if sys.argv[1:2] == ["--peak"]:
        print(_own_peak_mb(sys.argv[2]))
    else:
        main()
