"""Make the demo's region pack: INVENTED rock, heights, roads and villages for the invented region.

No rock lies and no ground stands where these files say so: polygons around the invented crags, and
a smooth surface through the heights that the demo register gives, with the embedded shoreline at
the level of the sea. The folder has the form that `saltreach layers bring` writes. Run:
``python data/build/build_demo_pack.py`` (seeded; the same content each time).
"""

from __future__ import annotations

from pathlib import Path

import geopandas as gpd
import numpy as np
import rasterio
import shapely
from rasterio.transform import from_origin
from scipy.interpolate import RBFInterpolator
from scipy.spatial import cKDTree

from saltreach.folders.claim import LOCK
from saltreach.intake import read_register
from saltreach.layers.coast import load_coast
from saltreach.layers.context import REACH_M, write_features
from saltreach.layers.layer import Origin
from saltreach.layers.online.bring_heights import boxes_of
from saltreach.layers.online.part import Brought
from saltreach.layers.pack import write_part
from saltreach.layers.rock_units import LEGEND, write_units
from saltreach.layers.where import Box, where_of

DEMO = Path(__file__).resolve().parents[1] / "demo"
PACK = DEMO / "pack"
NOW = "2026-11-25T00:00:00+00:00"
SEED = 20260
CELLS_PER_DEGREE = 1200
REGION: Box = (-7.4, 42.8, -2.9, 43.8)
INVENTED = "invented for the demo; no such thing lies there"

UNITS = {
    "granite": ("biotite granite, coarse-grained", "Vellorio granite", "Carboniferous"),
    "quartzite": ("quartzite with beds of shale", "Trisca quartzite", "Ordovician"),
    "limestone": ("grey limestone, massive, in places dolomitic", "Alzoro limestone", "Permian"),
    "sandstone": ("red sandstone with conglomerate at the base", "Tasuri beds", "Triassic"),
    "slate": ("dark slate, cleaved", "Tormal slate", "Silurian"),
}
"""What the invented map says of each rock: its words, the unit and its age."""
CRAG_ROCKS = {
    "Punta Vellorio": "granite", "Ensenada Trisca": "quartzite", "Peña Oscalda": "quartzite",
    "Peña Tasuri": "sandstone", "Risco Ambueno": "sandstone", "Vega Tormal": "slate",
}  # fmt: skip
"""Rock of a crag on the invented map where it is not limestone."""
OTHER_THAN_THE_REGISTER = ("Ensenada Trisca", "Left wing", "sandstone")
"""Here the invented map names another rock than the register, as maps do."""
RIDGE_M, RIDGE_WIDE_DEG = 180.0, 0.006
"""A ridge between the sandstone crag of the east and the sea, and half its width."""
RIDGE = (-3.2235, 43.375)


def waves(lon: np.ndarray, lat: np.ndarray, size_deg: float, seed: int) -> np.ndarray:
    """A smooth field of waves around 0, about -1 to 1."""
    rng = np.random.default_rng(seed)
    total = np.zeros(np.broadcast(lon, lat).shape)
    for _ in range(8):
        turn, phase = rng.uniform(0, 2 * np.pi, 2)
        length = size_deg * rng.uniform(0.6, 1.6)
        total += np.sin(2 * np.pi * (lon * np.cos(turn) + lat * np.sin(turn)) / length + phase)
    return total / 4


def rock(anchors: gpd.GeoDataFrame) -> gpd.GeoDataFrame:
    """Units around the crags, their borders bent."""
    crags = anchors.groupby("crag", sort=True)[["lon", "lat"]].median()
    cells = shapely.get_parts(shapely.voronoi_polygons(
        shapely.multipoints(crags.to_numpy()), extend_to=shapely.box(*REGION)
    ))  # fmt: skip
    owner = [int(np.flatnonzero(shapely.contains_xy(cell, *crags.to_numpy().T))[0])
             for cell in cells]  # fmt: skip
    rocks = np.array([CRAG_ROCKS.get(crags.index[i], "limestone") for i in owner])
    rows = []
    for name in sorted(set(rocks)):
        whole = shapely.segmentize(shapely.union_all(cells[rocks == name]), 0.02)
        rows.append((name, shapely.intersection(_bent(whole), shapely.box(*REGION))))
    crag, sector, other = OTHER_THAN_THE_REGISTER
    at = anchors[(anchors["crag"] == crag) & (anchors["sector"] == sector)][["lon", "lat"]].median()
    lens = shapely.affinity.scale(shapely.Point(at["lon"], at["lat"]).buffer(0.002), 1.5, 0.8)
    rows.append((other, lens))
    return gpd.GeoDataFrame(
        {
            LEGEND: [UNITS[name][0] for name, _ in rows],
            "unit": [UNITS[name][1] for name, _ in rows],
            "age": [UNITS[name][2] for name, _ in rows],
            "scale": "1:50 000",
            "map": INVENTED,
        },
        geometry=shapely.set_precision([shape for _, shape in rows], 1e-5),
        crs=4326,
    )


def _bent(shape: shapely.Geometry) -> shapely.Geometry:
    return shapely.make_valid(shapely.transform(shape, lambda c: c + 0.02 * np.column_stack(
        [waves(*c.T, 0.3, SEED), waves(*c.T, 0.3, SEED + 1)]
    )))  # fmt: skip


def ground(anchors: gpd.GeoDataFrame, box: Box, surface: RBFInterpolator) -> tuple:
    """Heights of a box in whole metres, and where its cells lie."""
    west, south, east, north = box
    step = 1 / CELLS_PER_DEGREE
    left, top = np.floor(west / step) * step, np.ceil(north / step) * step
    columns, rows = (int(np.ceil(size / step)) + 1 for size in (east - left, top - south))
    lon = left + (np.arange(columns) + 0.5) * step
    lat = top - (np.arange(rows) + 0.5) * step
    x, y = np.meshgrid(lon, lat)
    shore = load_coast().shore(x.ravel(), y.ravel())
    inland = np.where(shore.on_land == 0, 0.0, shore.distance_m).reshape(x.shape)
    height = surface(np.column_stack([x.ravel(), y.ravel()])).reshape(x.shape)
    nearest = cKDTree(surface.y * [0.73, 1]).query(np.stack([x * 0.73, y], axis=-1))[0]
    near = np.exp(-((nearest / 0.008) ** 2))  # beside a crag the register's height holds
    rough = waves(x, y, 0.03, SEED + 2) * 40 + waves(x, y, 0.008, SEED + 3) * 12
    cliff = 18 * (1 - np.exp(-inland / 40))  # steep at the shore, then a terrace
    away = np.hypot((x - RIDGE[0]) * 0.73 / 3, y - RIDGE[1])
    ridge = RIDGE_M * np.exp(-((away / RIDGE_WIDE_DEG) ** 2))
    rise = np.maximum(np.clip((inland - 150) / 1500, 0, 1), near)
    height = cliff * (1 - near) + np.maximum(height + rough, 0) * rise + ridge
    height[inland <= 0] = 0
    return np.round(np.maximum(height, 0)).astype("int16"), from_origin(left, top, step, step)


def heights(anchors: gpd.GeoDataFrame, folder: Path) -> None:
    """One raster a box of heights, as `saltreach layers bring heights` makes them."""
    known = anchors[anchors["elevation_m"].notna()]
    points = known.groupby(["crag", "sector"], sort=True)[["lon", "lat", "elevation_m"]].median()
    surface = RBFInterpolator(points[["lon", "lat"]], points["elevation_m"], kernel="linear",
                              smoothing=1e-6)  # fmt: skip
    for number, box in enumerate(boxes_of(where_of(anchors["lon"], anchors["lat"])), 1):
        cells, transform = ground(anchors, box, surface)
        with rasterio.open(
            folder / f"heights-{number:03d}.tif", "w", driver="GTiff", dtype="int16", count=1,
            height=cells.shape[0], width=cells.shape[1], crs="EPSG:4326", transform=transform,
            compress="deflate", predictor=2, zlevel=9, tiled=True,
        ) as raster:  # fmt: skip
            raster.write(cells, 1)


VILLAGES = (
    ("Vellorio", -7.035, 43.512, 1),
    ("Trisca de Mar", -6.205, 43.566, 2),
    ("Morceda", -5.535, 43.538, 2),
    ("Alzoro", -4.955, 43.448, 1),
    ("Brenza", -4.452, 43.381, 2),
    ("Corbaya", -3.715, 43.462, 2),
    ("Tasuri", -3.235, 43.345, 1),
    ("Garbina", -5.140, 43.345, 3),
    ("Lumiera", -4.612, 43.258, 2),
    ("Quemil de Arriba", -4.790, 43.178, 3),
    ("Ambueno", -5.865, 43.170, 3),
    ("Oscalda", -6.390, 43.070, 3),
    ("Reboria", -3.890, 43.140, 2),
    ("Tormal", -5.385, 42.972, 2),
)
"""Invented villages beside the invented crags: name, place, rank."""
ROADS = (
    ("N-I1", "trunk", 1, [(-7.06, 43.505), (-7.02, 43.515)]),
    ("N-I1", "trunk", 1, [(-5.60, 43.535), (-5.52, 43.533)]),
    ("N-I1", "trunk", 1, [(-5.02, 43.443), (-4.90, 43.445)]),
    ("N-I1", "trunk", 1, [(-3.26, 43.335), (-3.20, 43.345)]),
    ("I-12", "secondary", 3, [(-4.68, 43.262), (-4.58, 43.266)]),
    (
        "N-I7",
        "primary",
        2,
        [(-3.930, 43.1500), (-3.9062, 43.1495), (-3.9000, 43.1495), (-3.880, 43.1420)],
    ),
)
"""Invented roads; the last one passes some 60 m from a cold crag, so that salt is asked about."""


def surroundings(anchors: gpd.GeoDataFrame, folder: Path) -> dict:
    """Villages, roads, a quarry and the cliffs of the shore, as `layers bring context` has them."""
    rows = [("place", name, rank, "village", shapely.Point(lon, lat))
            for name, lon, lat, rank in VILLAGES]  # fmt: skip
    rows += [("road", name, rank, word, shapely.LineString(line))
             for name, word, rank, line in ROADS]  # fmt: skip
    rows.append(
        ("quarry", "Cantera inventada", 2, "quarry", shapely.box(-4.47, 43.372, -4.46, 43.378))
    )
    boxes = where_of(anchors["lon"], anchors["lat"]).boxes(REACH_M, 1.0)
    near = shapely.union_all(
        shapely.points(anchors[anchors["height_above_sea_m"].notna()][["lon", "lat"]])
    ).buffer(0.012)
    shores = load_coast().land_shapes(*REGION)
    cliffs = shapely.intersection(shapely.union_all(shores.boundary.to_numpy()), near)
    rows += [
        ("cliff", "", 3, "cliff", line) for line in shapely.get_parts(shapely.line_merge(cliffs))
    ]
    table = gpd.GeoDataFrame(
        [
            dict(zip(("kind", "name", "rank", "detail", "geometry"), row, strict=True))
            for row in rows
        ],
        crs=4326,
    )
    write_features(table.assign(osm_id=[f"demo/{n}" for n in range(len(table))]), folder)
    return {"boxes": [list(box) for box in boxes]}


def origin(name: str, quantity: str, unit: str, note: str) -> Origin:
    """The record of an invented source."""
    return Origin(
        name=name, quantity=quantity, unit=unit, source=f"saltreach demo: {INVENTED}",
        version="demo", licence="MIT", accuracy="none: invented", note=note,
        attribution="Rock, heights, roads and villages of the demo are invented",
    )  # fmt: skip


def main() -> None:
    """Write both parts."""
    anchors = read_register(DEMO / "anchors.csv").anchors

    def make_rock(folder: Path) -> Brought:
        write_units(rock(anchors), folder)
        note = "the first rock the map's words name counts; the register's own is never overruled"
        return Brought((origin("rock-demo", "lithology", "", note),), ())

    def make_heights(folder: Path) -> Brought:
        heights(anchors, folder)
        quantity = "elevation, slope, aspect, shielding from the sea"
        note = "a smooth surface through the register's heights; cells of 3 seconds of arc"
        return Brought((origin("heights-demo", quantity, "m, deg, deg", note),), ())

    def make_context(folder: Path) -> Brought:
        about = surroundings(anchors, folder)
        note = "drawn as background and asked about; never a value"
        return Brought(
            (origin("context-demo", "roads, villages, cliffs", "", note),), (), (), about
        )

    parts = {"rock": make_rock, "heights": make_heights, "context": make_context}
    for name, make in parts.items():
        write_part(PACK, name, make, now=NOW)
    (PACK / LOCK).unlink(missing_ok=True)
    size = sum(one.stat().st_size for one in PACK.iterdir())
    print(f"{PACK}: {size / 1e3:.0f} kB")


if __name__ == "__main__":
    main()
