"""How fast a surface is made, how much memory it takes, and its distances beside a raster's.

Run: ``python tests/benchmarks/bench_surface.py``. The distance to the sea of the same cells
against scipy's Euclidean distance transform of the mask of land: what a raster's proximity does,
planar, to the middles of cells of the sea and within the box only.
"""

import sys
import time
from pathlib import Path
from typing import Any

import numpy as np
from scipy.ndimage import distance_transform_edt

sys.path.insert(0, str(Path(__file__).parents[1]))

from benchmarks.watching import own_peak_mb
from helpers.figures import figure
from saltreach.assessment import surface_blocks
from saltreach.assessment.surface_blocks import Job, fill
from saltreach.assessment.surface_cells import SEA_CODE, Cells, cells_at, opened, unknown_places
from saltreach.assessment.surface_grid import Grid, grid_of
from saltreach.intake.options import Options
from saltreach.layers.join import sample_layers

COAST, INLAND = (-6.2, 42.9, -4.9, 43.7), (-4.6, 39.6, -3.4, 40.5)
RESOLUTION_M = 100.0
QUICK = {"resolution_m": 2000.0}


def distances_alone(lon: np.ndarray, lat: np.ndarray, options: Options) -> Cells:
    """As `cells_at`, with nothing worked out but the shore."""
    found = sample_layers(unknown_places(lon, lat), opened(options).sources, ["coast"])
    numbers, classes = np.ones((len(lon), 5)), np.ones((len(lon), 4), np.uint8)
    land = found["coast_side"] != "sea"
    numbers[:, 0], numbers[~land], classes[~land] = found["coast_distance_m"], np.nan, SEA_CODE
    shore = np.column_stack([found["shore_lon"], found["shore_lat"]])
    return Cells(land, np.asarray(found["shore_distance_m"]), shore, numbers, classes)


def filled(grid: Grid, options: Options) -> tuple[int, float, list[Any]]:
    """Cells of land, seconds of one core, and the blocks."""
    begin = time.process_time()
    blocks = [fill(Job(grid, block, options)) for block in grid.blocks]
    took = time.process_time() - begin
    return sum(int((b.classes[0] != SEA_CODE).sum()) for b in blocks), took, blocks


def measures(resolution_m: float = RESOLUTION_M) -> list[dict[str, Any]]:
    """What was measured: counts, seconds of one core, and the peer's where there is one."""
    options = Options()
    cells_at(np.array([-5.0]), np.array([43.0]), options)  # what is read once
    rows = []
    for name, box in (("coast", COAST), ("inland", INLAND)):
        land, seconds, _ = filled(grid_of(box, resolution_m), options)
        rows.append({
            "what": f"surface, {name}", "count": land, "seconds": seconds, "peer": "",
            "peer_seconds": None, "ratio": None, "peak_mb": own_peak_mb(),
            "note": f"cells of land at {resolution_m:g} m, all bands, "
            "processor seconds of one core",
        })  # fmt: skip
    grid = grid_of(COAST, resolution_m)
    own = surface_blocks.cells_at
    surface_blocks.cells_at = distances_alone
    try:
        land, seconds, blocks = filled(grid, options)
    finally:
        surface_blocks.cells_at = own
    mask = np.empty((grid.rows, grid.columns), bool)
    mine = np.empty(mask.shape, np.float32)
    for block, found in zip(grid.blocks, blocks, strict=True):
        at = (slice(block.row, block.row + block.rows),
              slice(block.column, block.column + block.columns))  # fmt: skip
        mask[at], mine[at] = found.classes[0] != SEA_CODE, found.numbers[0]
    begin = time.process_time()
    wide, high = grid.cell_m(43.3)
    theirs = distance_transform_edt(mask, sampling=(high, wide))
    peer = time.process_time() - begin
    inner = mask & (mine < 15_000)
    off = np.abs(theirs[inner] - mine[inner])
    rows.append({
        "what": "distance to the sea", "count": land, "seconds": seconds,
        "peer": "scipy.ndimage.distance_transform_edt", "peer_seconds": peer,
        "ratio": seconds / peer, "peak_mb": own_peak_mb(),
        "note": f"theirs is planar, of a mask that is given; apart by {np.median(off):.0f} m in "
        f"the middle and {np.quantile(off, 0.99):.0f} m at the 99th percentile",
    })  # fmt: skip
    coast, inland, distance = rows
    figure("surface / coast", _said(coast))
    figure("surface / inland", _said(inland))
    figure(
        "surface / distance",
        f"{_said(distance)}; {distance['peer']} {distance['peer_seconds']:.2f} s, "
        f"{distance['note']}",
    )
    return rows


def main() -> None:
    measures()


def _said(row: dict[str, Any]) -> str:
    return (
        f"{row['count']:,} cells, {row['seconds']:.1f} s of one core "
        f"({row['seconds'] / row['count'] * 1e6:.1f} us a cell), {row['peak_mb']:,.0f} MB at most"
    )


if __name__ == "__main__":
    main()
