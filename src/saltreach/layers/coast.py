"""Shorelines: the embedded one, and any file of the user's, ready to be measured against.

Embedded: GSHHG 2.3.7 high resolution, the ocean's shore with the Antarctic ice front. The
Caspian counts as sea, because its water is salt; every other lake counts as land. Estuaries,
rias and fjords are sea as far up as the layer draws them, though their water may be fresher.
Any other line or polygon file serves instead (`read_coast_file`).
"""

from __future__ import annotations

from dataclasses import dataclass, field
from functools import cached_property, lru_cache
from pathlib import Path
from typing import TYPE_CHECKING, NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.spatial import cKDTree

from saltreach.errors import LayerError
from saltreach.intake import sizes
from saltreach.intake.gdal import about_layers, existing, layer_read, readable
from saltreach.intake.positions import is_usable
from saltreach.layers.coast_index import CoastIndex, NearestShore, build_index, chord_play_m
from saltreach.layers.coast_search import Floats, Ints, cube_numbers
from saltreach.layers.embedded import embedded_file, sha256_of
from saltreach.layers.geodesy import ecef_m
from saltreach.layers.layer import Origin

if TYPE_CHECKING:
    from geopandas import GeoSeries

BLOCK = 64
"""Segments in a block; blocks are what a region loads."""
EMBEDDED_SD_M = 250.0
"""Standard deviation of the embedded shoreline's position, m.

Median disagreement with an OpenStreetMap-derived coast, 144 to 192 m over six samples
(GSHHG full resolution, 400 points each, 58 S to 70 N; high resolution adds 22 to 26 m), over
0.6745 as for a normal error. The tail is heavier than normal (90th percentile 1.0 to 1.7 km:
estuaries, deltas, lagoons)."""
FILE_SD_M = 50.0
"""Assumed for a coast file of the user's unless they say otherwise, m; judgement."""
_COAST_FIX = "give land as polygons or shorelines as lines (GeoPackage, GeoJSON, shapefile ...)"
_KM_PER_DEGREE = 111
_CELL_M = 20_000.0  # points closer than this are served by one look-up of blocks
_MOST_CELLS = 4_000  # more of them, and cells twice as wide are looked up
_ALL_FROM = 0.5  # share of the blocks from which all are loaded, which serves the next points
_CUBES = (1 << 21) - 1


class Measured(NamedTuple):
    """The nearest shore of each point, and how well it is known there.

    `sd_m`: standard deviation of the shoreline's position. `source`, `side_source`: names of the
    origins of the distance and of the side. `note`: what a reader must know here, or empty.
    """

    shore: NearestShore
    sd_m: Floats
    source: NDArray[np.object_]
    side_source: NDArray[np.object_]
    note: NDArray[np.object_]


@dataclass(frozen=True, eq=False)
class Coast:
    """A shoreline: lines or closed rings of vertices, and the blocks a region loads.

    `vertex_deg` (n, 2) lon/lat; `line_start` (m + 1,) offsets into it; `line_is_land` whether
    a ring encloses land. Land lies to the left of the drawing direction where `sided`.
    A block is `BLOCK` consecutive segments inside a sphere. `closing` (n,): whether the segment
    that starts at a vertex is no shore and only closes a ring; nothing is where none is.
    """

    vertex_deg: Floats = field(repr=False)
    line_start: Ints = field(repr=False)
    line_is_land: NDArray[np.bool_] = field(repr=False)
    block_centre_m: Floats = field(repr=False)
    block_radius_m: Floats = field(repr=False)
    sided: bool
    position_sd_m: float
    origin: Origin
    closing: NDArray[np.bool_] | None = field(default=None, repr=False)

    @property
    def origins(self) -> tuple[Origin, ...]:
        """Where it comes from, the best known first."""
        return (self.origin,)

    @cached_property
    def bounds_deg(self) -> tuple[Floats, Floats]:
        """South-west and north-east corner (m, 2) around each line."""
        starts = self.line_start[:-1]
        return (
            np.minimum.reduceat(self.vertex_deg, starts),
            np.maximum.reduceat(self.vertex_deg, starts),
        )

    def near(self, lon: ArrayLike, lat: ArrayLike) -> CoastIndex:
        """The part of the coast that can hold the nearest piece of any given point."""
        points = ecef_m(np.atleast_1d(lon), np.atleast_1d(lat))
        blocks = _blocks_needed(self, points[np.isfinite(points).all(axis=1)])
        return self.index_of(blocks, closing=False)

    def index_of(self, blocks: Ints, *, closing: bool = True) -> CoastIndex:
        """Index of some blocks (sorted) at least; `closing`: with what only closes rings.

        The last one is kept for as long as it holds what is asked: more of the coast changes no
        answer.
        """
        for with_closing, (loaded, index) in self._loaded.items():
            same = self.closing is None or closing == with_closing
            if same and np.isin(blocks, loaded, assume_unique=True).all():
                return index
        if len(blocks) > _ALL_FROM * len(self.block_radius_m):
            blocks = np.arange(len(self.block_radius_m))
        first = (blocks[:, None] * BLOCK + np.arange(BLOCK)).ravel()
        first = first[first < len(self.vertex_deg) - 1]
        if self.closing is not None and not closing:
            first = first[~self.closing[first]]
        index = build_index(self.vertex_deg, self.line_start, first, sided=self.sided)
        self._loaded[closing] = blocks, index
        return index

    def forget(self) -> None:
        """Let go of the blocks loaded last: half a gigabyte, where they are the world's."""
        self._loaded.clear()

    @cached_property
    def _loaded(self) -> dict[bool, tuple[Ints, CoastIndex]]:
        """The blocks loaded last and their index, with what only closes rings and without."""
        return {}

    def shore(self, lon: ArrayLike, lat: ArrayLike) -> NearestShore:
        """Distance to the nearest shoreline, the side of it, and the nearest place on it.

        Parameters
        ----------
        lon, lat : array_like, shape (n,)
            Degrees, WGS 84; NaN gives NaN.
        """
        return self.measured(lon, lat).shore

    def measured(self, lon: ArrayLike, lat: ArrayLike) -> Measured:
        """The nearest shore, and how well it is known; points as in `shore`."""
        shore = self.near(lon, lat).shore(lon, lat)
        many = len(shore.distance_m)
        sd_m, note = np.full(many, self.position_sd_m), np.full(many, "", object)
        source = np.full(many, self.origin.name, object)
        return Measured(shore, sd_m, source, source.copy(), note)

    def land_shapes(self, west: float, south: float, east: float, north: float) -> GeoSeries:
        """Land inside a box as polygons (lines where the layer has no sides), WGS 84.

        `west` may lie below -180 or `east` above 180 for a box across the antimeridian.
        """
        import geopandas as gpd
        import shapely

        found = [
            (lines, self._inside(lines, shift, west, south, east, north))
            for shift in (-360.0, 0.0, 360.0)
            for lines in [_lines_touching(self, west - shift, south, east - shift, north)]
        ]
        lines = np.concatenate([lines for lines, _ in found])
        inside, size_deg2 = (np.concatenate(v) for v in zip(*(x for _, x in found), strict=True))
        is_land = self.line_is_land[lines] | (not self.sided)
        kept = is_land & ~shapely.is_empty(inside)
        shapes, around_deg2 = inside[kept], size_deg2[kept]
        for lake, of_deg2 in zip(inside[~is_land], size_deg2[~is_land], strict=True):
            shapely.prepare(lake)
            # land that is smaller is an island in it
            wet = shapely.intersects(lake, shapes) & (around_deg2 > of_deg2)
            shapes[wet] = shapely.difference(shapes[wet], lake)
        return gpd.GeoSeries(shapes, crs=4326)

    def drawn(self, lines: Ints, turn_deg: float = 0.0) -> NDArray[np.object_]:
        """Some lines moved east by whole turns: polygons where `sided`, valid or not."""
        import shapely

        start, count = self.line_start[lines], np.diff(self.line_start)[lines]
        of_line = np.repeat(np.arange(len(lines)), count)
        first = np.cumsum(count) - count
        vertices = np.repeat(start - first, count) + np.arange(count.sum())
        places = self.vertex_deg[vertices] + [turn_deg, 0.0]
        if not self.sided:
            return np.asarray(shapely.linestrings(places, indices=of_line), object)
        return shapely.polygons(shapely.linearrings(places, indices=of_line))

    def _inside(
        self, lines: Ints, turn_deg: float, west: float, south: float, east: float, north: float
    ) -> tuple[NDArray[np.object_], Floats]:
        """The parts of some lines in a box, and the area that each whole line encloses."""
        import shapely

        shapes = self.drawn(lines, turn_deg)
        valid = shapely.make_valid(shapes) if self.sided else shapes
        return shapely.clip_by_rect(valid, west, south, east, north), shapely.area(shapes)


@lru_cache(maxsize=1)
def load_coast() -> Coast:
    """The embedded shoreline (read once)."""
    path = embedded_file("layers/coast_gshhg_h.npz")
    with np.load(path) as packed:
        vertex = np.stack(
            [
                packed["origin"][axis] + np.cumsum(packed[name], dtype=np.int64)
                for axis, name in enumerate(("lon_step", "lat_step"))
            ],
            axis=1,
        )
        return Coast(
            vertex_deg=vertex / 1e6,
            line_start=packed["ring_start"].astype(np.int64),
            line_is_land=packed["ring_is_land"],
            block_centre_m=packed["block_centre_m"].astype(float),
            block_radius_m=packed["block_radius_m"].astype(float),
            sided=True,
            position_sd_m=EMBEDDED_SD_M,
            origin=embedded_origin(),
        )


def embedded_origin() -> Origin:
    """Where the embedded shoreline comes from."""
    path = embedded_file("layers/coast_gshhg_h.npz")
    return Origin(
        name="coast-gshhg-h",
        quantity="shoreline",
        unit="m",
        source="GSHHG, Global Self-consistent Hierarchical High-resolution Geography "
        "(Wessel & Smith 1996, J. Geophys. Res. 101:8741-8743)",
        url="https://www.soest.hawaii.edu/pwessel/gshhg/",
        version="2.3.7, high resolution, levels 1 and 5, Caspian as sea",
        licence="LGPL-3.0",
        accuracy=f"{EMBEDDED_SD_M:.0f} m standard deviation, from a median disagreement of 144 "
        "to 192 m with an OpenStreetMap-derived coast; 90th percentile 1.0 to 1.7 km",
        sha256=sha256_of(path),
        extent="global",
        note="Estuaries are sea as far up as drawn; islets smaller than the layer resolves are "
        "absent.",
        attribution="Shoreline: GSHHG (Wessel & Smith 1996), LGPL-3.0",
    )


def read_coast_file(path: Path, *, position_sd_m: float = FILE_SD_M) -> Coast:
    """A shoreline from any line or polygon file that GDAL reads.

    Polygons are land. Lines tell no side, so `on_land` is unknown then.

    Raises
    ------
    LayerError
        When the file cannot be read, has no CRS, holds neither lines nor polygons or both, or
        more vertices than `sizes.SHAPE_VERTICES`.
    """
    import shapely

    path = Path(path)
    what = f"coast file {path.name}"
    existing(path, "coast file", LayerError)
    with readable(path, f"{what} cannot be read", _COAST_FIX, LayerError):
        parts = _shapes(path, what)
        kinds = set(parts.geom_type.dropna())
        if kinds and kinds <= {"Polygon"}:
            sided = True
            # Land to the left: shells counter-clockwise, holes clockwise.
            lines = shapely.get_rings(shapely.orient_polygons(parts.to_numpy(), exterior_cw=False))
        elif kinds and kinds <= {"LineString", "LinearRing"}:
            sided, lines = False, parts.to_numpy()
        else:
            found = ", ".join(sorted(kinds)) or "nothing"
            raise LayerError(
                f"{what} holds {found}; give land as polygons or shorelines as lines, one kind "
                "in a file"
            )
        vertex = shapely.get_coordinates(lines)
    wrong = ~(np.abs(vertex) <= (360, 90)).all(axis=1)  # a layer may count 0..360
    if wrong.any():
        lon, lat = vertex[wrong.argmax()]
        raise LayerError(
            f"{what} has a vertex at lon {lon:g}, lat {lat:g}, which is no place on the Earth; "
            "give it the CRS its numbers are in, or remove the vertex"
        )
    line_start = np.r_[0, np.cumsum(shapely.get_num_coordinates(lines))].astype(np.int64)
    # lines across oceans have few vertices, and would be cut into pieces without end
    length_km = int(np.nansum(shapely.length(lines)) * _KM_PER_DEGREE)
    fix = "is it a shore? Cut it to the region of the register, with some 50 km around"
    sizes.within(length_km, sizes.SHORE_KM, what, "km of shore", fix, LayerError)
    centre, radius = block_spheres(vertex)
    ccw = shapely.is_ccw(lines) if sided else np.ones(len(lines), bool)
    return Coast(
        vertex_deg=vertex,
        line_start=line_start,
        line_is_land=np.asarray(ccw, bool),
        block_centre_m=centre,
        block_radius_m=radius,
        sided=sided,
        position_sd_m=position_sd_m,
        origin=Origin(
            name=f"coast-file-{path.name}",
            quantity="shoreline",
            unit="m",
            source=path.name,
            licence="the user's",
            accuracy=f"{position_sd_m:g} m standard deviation, as given or assumed",
            sha256=sha256_of(path),
            note="" if sided else "Lines tell no side: land and sea are not told apart.",
        ),
    )


def _shapes(path: Path, what: str) -> GeoSeries:
    """Single lines and polygons of a coast file in WGS 84; those without a vertex left out."""
    import geopandas as gpd
    import shapely

    kinds = {
        name: str(one["geometry_type"])
        for name, one in about_layers(path, what, LayerError).items() if one["geometry_type"]
    }  # fmt: skip
    shaped = list(kinds)
    fitting = [name for name, kind in kinds.items() if "Point" not in kind]
    chosen = fitting or shaped
    if not chosen:
        raise LayerError(f"{what} holds a table without shapes; {_COAST_FIX}")
    if len(chosen) > 1:
        raise LayerError(
            f"{what} has several layers ({', '.join(map(repr, chosen))}); "
            "keep the shoreline's alone"
        )
    frame, _ = layer_read(path, chosen[0], columns=[])
    if not isinstance(frame, gpd.GeoDataFrame):
        raise LayerError(f"{what} holds a table without shapes; {_COAST_FIX}")
    if not is_usable(frame.crs):
        raise LayerError(f"{what} has no CRS; give it one (for example a .prj)")
    shapes = frame.geometry
    count = int(shapely.get_num_coordinates(shapes.to_numpy()).sum())
    fix = "cut it to the region of the register, with some 50 km around, or use a coarser coast"
    sizes.within(count, sizes.SHAPE_VERTICES, what, "vertices", fix, LayerError)
    parts = shapes.to_crs(4326).explode(ignore_index=True)
    return parts[~(parts.isna() | parts.is_empty)].reset_index(drop=True)


def block_spheres(vertex_deg: Floats) -> tuple[Floats, Floats]:
    """Centre (k, 3) and radius (k,) in metres of a sphere around each block of segments."""
    xyz = ecef_m(*vertex_deg.T)
    begin = np.arange(0, max(len(xyz) - 1, 1), BLOCK)
    # A block's last segment ends on the next block's first vertex.
    following = xyz[np.minimum(begin + BLOCK, len(xyz) - 1)]
    low = np.minimum(np.minimum.reduceat(xyz, begin), following)
    high = np.maximum(np.maximum.reduceat(xyz, begin), following)
    centre = np.round((low + high) / 2)
    block = np.arange(len(xyz)) // BLOCK
    block = np.minimum(block, len(begin) - 1)
    reach = np.linalg.norm(xyz - centre[block], axis=1)
    radius = np.maximum.reduceat(reach, begin)
    radius = np.maximum(radius, np.linalg.norm(following - centre, axis=1))
    return centre, np.ceil(radius) + 1.0


def _blocks_needed(coast: Coast, points: Floats) -> Ints:
    if not len(points):
        return np.empty(0, np.int64)
    size = _CELL_M
    cells, cell_radius = _cells(points, size), size * np.sqrt(3) / 2
    while len(cells) > _MOST_CELLS:
        size *= 2
        cells, cell_radius = _cells(cells, size), cell_radius + size * np.sqrt(3) / 2
    # Any vertex is on the shore, so the nearest block's own vertex bounds the distance above.
    sample = ecef_m(*coast.vertex_deg[::BLOCK].T)
    bound = cKDTree(sample).query(cells, workers=-1)[0] + 2 * cell_radius
    bound += chord_play_m(bound)
    needed: list[Ints] = []
    limits = (0.0, 1e4, 3e4, 1e5, 4e5, np.inf)
    for low, high in zip(limits[:-1], limits[1:], strict=True):
        members = np.flatnonzero((coast.block_radius_m > low) & (coast.block_radius_m <= high))
        if not len(members):
            continue
        widest = coast.block_radius_m[members].max()
        lists = cKDTree(coast.block_centre_m[members]).query_ball_point(
            cells, bound + widest, workers=-1, return_sorted=False
        )
        cell = np.repeat(np.arange(len(cells)), [len(hit) for hit in lists])
        block = members[np.fromiter((i for hit in lists for i in hit), np.int64, len(cell))]
        gap = np.linalg.norm(coast.block_centre_m[block] - cells[cell], axis=1)
        needed.append(block[gap - coast.block_radius_m[block] <= bound[cell]])
    return np.unique(np.concatenate(needed))


def _cells(points: Floats, size_m: float) -> Floats:
    """Centres of the cubes of space that hold some points."""
    number = np.unique(cube_numbers(points, size_m))
    at = np.stack([number >> 42, (number >> 21) & _CUBES, number & _CUBES], axis=1)
    return (at - (1 << 20)) * size_m


def _lines_touching(coast: Coast, west: float, south: float, east: float, north: float) -> Ints:
    low, high = coast.bounds_deg
    touches = (low <= [east, north]).all(axis=1) & (high >= [west, south]).all(axis=1)
    return np.flatnonzero(touches)
