"""The landowner's map as a drawing: coarse areas, the land they lie on, numbers beside them."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from saltreach.assessment.land import land_in
from saltreach.assessment.shapes import unwrapped_lon
from saltreach.outputs.html import render_template
from saltreach.outputs.map.colourings import STYLE_OF
from saltreach.outputs.shore import window_coast
from saltreach.outputs.window import length_text, round_length_m

if TYPE_CHECKING:
    from shapely.geometry.base import BaseGeometry

    from saltreach.assessment.landowner import Places
    from saltreach.assessment.result import Assessment

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
        """Along longitude and latitude at the middle latitude, WGS 84."""
        from pyproj import Geod

        middle = (self.south + self.north) / 2
        step = 0.01  # degrees; short enough that the parallel is straight
        _, _, metres = Geod(ellps="WGS84").inv(
            [0, 0], [middle, middle - step / 2], [step, 0], [middle, middle + step / 2]
        )
        return metres[0] / step, metres[1] / step

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


def frame_of(shapes: list[BaseGeometry], land: BaseGeometry | None, side_m: float) -> Frame:
    """A frame that holds the areas and the land with room around them.

    Parameters
    ----------
    shapes : list of shapely geometry
        The areas, degrees.
    land : shapely geometry, optional
        Degrees, unwrapped like the areas.
    side_m : float
        The grid's side; the frame is at least 16 of them wide, so that some coast shows.

    Returns
    -------
    Frame
    """
    import shapely

    west, south, east, north = shapely.total_bounds([*shapes, *([] if land is None else [land])])
    bare = Frame(west, south, east, north)
    width, height = bare.size_m
    lon_m, lat_m = bare.metres_per_degree
    aspect = float(np.clip(width / max(height, side_m), *ASPECT_RANGE))
    wide = max(width * (1 + 2 * MARGIN), height * (1 + 2 * MARGIN) * aspect, 16 * side_m)
    half = np.array([wide / lon_m, wide / aspect / lat_m]) / 2
    middle = np.array([west + east, south + north]) / 2
    (w, s), (e, n) = middle - half, middle + half
    return Frame(float(w), float(max(s, -89.9)), float(e), float(min(n, 89.9)))


NO_SHORE = "left out"
"""Kind of a shore that could not be cut out; the map then says so."""


def drawing(found: Places, land: BaseGeometry | None, result: Assessment) -> dict[str, Any]:
    """Everything the map's template needs, as numbers and paths.

    Parameters
    ----------
    found : Places
        From `saltreach.assessment.landowner.places_on`; numbered in its order.
    land : shapely geometry, optional
        The landholding, degrees.
    result : Assessment
        The shoreline it used is drawn.

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
            land, lambda c: np.column_stack([unwrapped_lon(c[:, 0], found.centre_lon), c[:, 1]])
        )
    shapes = list(found.table.geometry)
    frame = frame_of(shapes, land, found.coarseness_m)
    covered = shapely.union_all(shapes)
    placed = _badges([shapely.transform(shape, frame.drawn) for shape in shapes], frame)
    try:
        kind, shore = _shore(frame, covered, result)
    except shapely.errors.GEOSException:  # the areas are what the map is for
        kind, shore = NO_SHORE, None
    width_m, _ = frame.size_m
    length_m = round_length_m(width_m / 5)
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
                "band": band,
                "letter": STYLE_OF[band].letter,
                "path": _path(shape, frame),
                **badge,
            }
            for number, (band, shape, badge) in enumerate(
                zip(found.table["risk_band"], shapes, placed, strict=True), start=1
            )
        ],
        "scale": {"length": round(length_m / width_m * WIDE, 2), "label": length_text(length_m)},
    }


def _shore(frame: Frame, covered: BaseGeometry, result: Assessment) -> tuple[str, Any]:
    """Land (or shoreline) of the frame, with the areas cut out of its lines."""
    import shapely

    edges = (frame.west, frame.south, frame.east, frame.north)
    # A wider box than the frame, so that the cut edge of the land is not drawn as a shore.
    spare = 0.05 * (frame.east - frame.west)
    box = (edges[0] - spare, edges[1] - spare, edges[2] + spare, edges[3] + spare)
    found = land_in(result, box)
    kind, parts = window_coast(found.shapes, box, max_vertices=6000)
    lines = shapely.MultiLineString([part for part in parts if len(part) > 1])
    if kind == "land" or found.sided:  # a layer with sides and no land here means open sea
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


def map_svg(data: Mapping[str, Any], *, standalone: bool) -> str:
    """The map as SVG, for the page or as a picture of its own with its colours.

    Parameters
    ----------
    data : mapping
        From `saltreach.outputs.landowner.words.landowner_words`.
    standalone : bool
        Carry the colours in the file instead of taking them from the page.

    Returns
    -------
    str
        SVG; lengths in metres on the ground.
    """
    return render_template(
        "landowner/landowner_map.svg",
        map=data["map"],
        texts=data["texts"],
        bands=data["bands"],
        badge=BADGE,
        standalone=standalone,
    )
