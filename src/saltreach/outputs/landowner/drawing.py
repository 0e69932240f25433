"""The landowner's map as a drawing: coarse areas, the land they lie on, numbers beside them."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from saltreach.assessment.shapes import unwrapped_lon
from saltreach.outputs.landowner.generalise import Areas
from saltreach.outputs.window import window_coast

if TYPE_CHECKING:
    from shapely.geometry.base import BaseGeometry

ASPECT_RANGE = (1.25, 2.0)
MARGIN = 0.18
WIDE = 1000.0
"""Units of the drawing across the map."""
PRECISION_M = 0.1
BADGE = (70.0, 38.0)
"""Width and height of a number's badge, in units of the drawing."""
_ROOM = 1.3  # badges are drawn larger on phones


@dataclass(frozen=True)
class Frame:
    """The map's edges in degrees, and the drawing: `WIDE` units across, from its north-west.

    The drawing is linear in longitude and latitude, true to scale at its middle latitude.
    """

    west: float
    south: float
    east: float
    north: float

    @property
    def metres_per_degree(self) -> tuple[float, float]:
        """Along longitude and latitude at the middle latitude, WGS 84 (series of the arc)."""
        middle = np.radians((self.south + self.north) / 2)
        lon_m = 111412.84 * np.cos(middle) - 93.5 * np.cos(3 * middle)
        return float(lon_m), float(111132.92 - 559.82 * np.cos(2 * middle))

    @property
    def size_m(self) -> tuple[float, float]:
        """Width and height on the ground."""
        lon_m, lat_m = self.metres_per_degree
        return (self.east - self.west) * lon_m, (self.north - self.south) * lat_m

    @property
    def height(self) -> float:
        """Height of the drawing, units."""
        width_m, height_m = self.size_m
        return WIDE * height_m / width_m

    @property
    def digits(self) -> int:
        """Decimals that keep `PRECISION_M` on the ground."""
        return max(int(np.ceil(np.log10(self.size_m[0] / WIDE / PRECISION_M))), 1)

    def drawn(self, lonlat: np.ndarray) -> np.ndarray:
        """Units right of and below the north-west corner, (n, 2)."""
        per_degree = [WIDE / (self.east - self.west), -self.height / (self.north - self.south)]
        return (np.asarray(lonlat) - [self.west, self.north]) * per_degree


def frame_of(areas: Areas, land: BaseGeometry | None, side_m: float) -> Frame:
    """A frame that holds the areas and the land with room around them.

    Parameters
    ----------
    areas : Areas
        From `saltreach.outputs.landowner.generalise.generalised`.
    land : shapely geometry, optional
        Degrees, unwrapped like the areas.
    side_m : float
        The grid's side; the frame is at least 16 of them wide, so that some coast shows.

    Returns
    -------
    Frame
    """
    import shapely

    shapes = [*areas.shapes, *([] if land is None else [land])]
    west, south, east, north = shapely.total_bounds(shapes)
    bare = Frame(west, south, east, north)
    width, height = bare.size_m
    lon_m, lat_m = bare.metres_per_degree
    aspect = float(np.clip(width / max(height, side_m), *ASPECT_RANGE))
    wide = max(width * (1 + 2 * MARGIN), height * (1 + 2 * MARGIN) * aspect, 16 * side_m)
    half = np.array([wide / lon_m, wide / aspect / lat_m]) / 2
    middle = np.array([west + east, south + north]) / 2
    (w, s), (e, n) = middle - half, middle + half
    return Frame(float(w), float(max(s, -89.9)), float(e), float(min(n, 89.9)))


def drawing(
    areas: Areas,
    numbers: list[int],
    bands: list[dict[str, str]],
    land: BaseGeometry | None,
    coast_file: str | None,
    side_m: float,
) -> dict[str, Any]:
    """Everything the map's template needs, as numbers and paths.

    Parameters
    ----------
    areas : Areas
        In the order of the list of places.
    numbers : list of int
        Number written beside each area.
    bands : list of dict
        `word` and `letter` of each area's risk band.
    land : shapely geometry, optional
        The landholding, degrees.
    coast_file : str, optional
        The shoreline the assessment used; None for the embedded one.
    side_m : float
        Side of the grid's cells.

    Returns
    -------
    dict
        Places in units from the north-west corner, to 0.1 m on the ground. Shoreline and land
        boundary are taken out wherever an area lies, so that no point of them is nearer to an
        anchor shown than an area's edge.
    """
    import shapely

    if land is not None:
        land = shapely.transform(
            land, lambda c: np.column_stack([unwrapped_lon(c[:, 0], areas.centre_lon), c[:, 1]])
        )
    frame = frame_of(areas, land, side_m)
    covered = shapely.union_all(areas.shapes)
    placed = _badges([shapely.transform(shape, frame.drawn) for shape in areas.shapes], frame)
    kind, shore = _shore(frame, covered, coast_file)
    outline = None if land is None else shapely.difference(shapely.boundary(land), covered)
    return {
        "frame": {
            name: round(getattr(frame, name), 6) for name in ("west", "south", "east", "north")
        },
        "width": round(WIDE),
        "height": round(frame.height, 1),
        "shore_kind": kind,
        "shore": _path(shore, frame),
        "outline": _path(outline, frame),
        "areas": [
            {
                "number": number,
                "band": band["word"],
                "letter": band["letter"],
                "path": _path(shape, frame),
                **badge,
            }
            for number, band, shape, badge in zip(numbers, bands, areas.shapes, placed, strict=True)
        ],
        "scale": _scale(frame.size_m[0]),
    }


def _shore(frame: Frame, covered: BaseGeometry, coast_file: str | None) -> tuple[str, Any]:
    """Land (or shoreline) of the frame, with the areas cut out of its lines."""
    import geopandas as gpd
    import shapely

    from saltreach.intake.options import Options
    from saltreach.layers.coast import open_coast

    edges = (frame.west, frame.south, frame.east, frame.north)
    coast = open_coast(Options(coast_file=coast_file))
    # A wider box than the frame, so that the cut edge of the land is not drawn as a shore.
    spare = 0.05 * (frame.east - frame.west)
    box = (edges[0] - spare, edges[1] - spare, edges[2] + spare, edges[3] + spare)
    shapes = gpd.GeoDataFrame(geometry=coast.land_shapes(*box))
    kind, parts = window_coast(shapes, box, max_vertices=6000)
    lines = shapely.MultiLineString([part for part in parts if len(part) > 1])
    if kind == "land" or coast.sided:  # a layer with sides and no land here means open sea
        # The areas become part of the land: what lies under them is no longer in the drawing.
        # Drawn coarser, a shore may cross itself: its crossings become nodes.
        return "land", shapely.union(shapely.build_area(shapely.node(lines)), covered)
    return kind, shapely.difference(lines, covered)


def _path(shape: BaseGeometry | None, frame: Frame) -> str:
    """SVG path of polygons or lines, absolute coordinates."""
    import shapely

    if shape is None or shapely.is_empty(shape):
        return ""
    areal = shapely.get_parts(shape)
    rings = [
        ring
        for part in areal
        for ring in (
            shapely.get_rings(part)
            if shapely.get_type_id(part) == 3
            else [part]
            if shapely.get_type_id(part) in (1, 2)
            else []
        )
    ]
    pieces = []
    for ring in rings:
        closed = shapely.get_type_id(ring) == 2 or shapely.is_closed(ring)
        points = frame.drawn(shapely.get_coordinates(ring))[: -1 if closed else None].tolist()
        text = " ".join(f"{x:.{frame.digits}f},{y:.{frame.digits}f}" for x, y in points)
        pieces.append(f"M{text}{'Z' if closed else ''}")
    return "".join(pieces)


def _badges(shapes: list[BaseGeometry], frame: Frame) -> list[dict[str, float]]:
    """A place for each area's number: beside it, free of other numbers and of every area."""
    import shapely

    half = np.array(BADGE) * _ROOM / 2
    inside = shapely.box(*half, WIDE - half[0], frame.height - half[1] - 60)
    taken: list[BaseGeometry] = list(shapes)
    placed = []
    around = [(0, -1), (1, 0), (-1, 0), (0, 1), (1, -1), (-1, -1), (1, 1), (-1, 1)]
    for shape in shapes:
        west, top, east, bottom = shapely.bounds(shape)
        middle = np.array([west + east, top + bottom]) / 2
        reach = np.array([east - west, bottom - top]) / 2 + half
        candidates = [
            middle + np.array(step) * (reach + 12 * far)
            for far in (1, 2.5, 4, 6, 9, 13)
            for step in around
        ]
        free = (
            at
            for at in candidates
            if shapely.intersects_xy(inside, *at)
            and not shapely.intersects(taken, shapely.box(*(at - half), *(at + half))).any()
        )
        # The map's upper margin never holds an area.
        at = next(free, np.array([np.clip(middle[0], half[0], WIDE - half[0]), half[1]]))
        taken.append(shapely.box(*(at - half), *(at + half)))
        line = shapely.get_coordinates(shapely.shortest_line(shape, shapely.Point(at)))
        placed.append(
            {
                "x": round(float(at[0]), frame.digits),
                "y": round(float(at[1]), frame.digits),
                "edge_x": round(float(line[0, 0]), frame.digits),
                "edge_y": round(float(line[0, 1]), frame.digits),
            }
        )
    return placed


def _scale(width_m: float) -> dict[str, Any]:
    """A round length of about a fifth of the map."""
    rough = width_m / 5
    power = 10 ** np.floor(np.log10(rough))
    length = max(step * power for step in (1, 2, 5) if step * power <= rough)
    label = f"{length / 1000:g} km" if length >= 1000 else f"{length:g} m"
    return {"length": round(float(length / width_m * WIDE), 2), "label": label}


def coast_source(provenance: Mapping[str, Any]) -> str:
    """Name of the shoreline in the provenance."""
    layer: Mapping[str, Any] = next(
        (x for x in provenance["layers"] if x.get("quantity") == "shoreline"), {}
    )
    name = str(layer.get("source") or layer.get("name") or "").split(",")[0]
    return Path(name).name
