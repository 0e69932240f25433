"""The coastline of OpenStreetMap in a box: from ways to land, or to loose lines where they fail.

OpenStreetMap draws its coastline as ways with land on the left and water on the right, end to
end. Here they are cut at the box, joined, and closed along the box's edge so that land stays on
the left. What comes out is land only where nothing contradicts: every end meets one beginning,
land and sea take turns along the edge, and the area that the rings go round (with its sign) is
the area that they fence in, which no crossing survives, and none is drawn along another.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable, Iterable
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from saltreach.layers.coast_index import Floats
from saltreach.layers.layer import Origin
from saltreach.layers.online.overpass import OSM_CREDIT, Box, Way

if TYPE_CHECKING:
    import shapely

OSM_SD_M = 30.0
"""Standard deviation of a coastline of OpenStreetMap's position, m.

Judgement: aerial images lie 10 to 15 m off, mappers take different lines of high water and the
foot or the top of a cliff (20 m), and draw corners off (15 m)."""
PGS_SD_M = 100.0
"""The same in a box with ways from the Prototype Global Shoreline (`source=PGS`), which was
traced by machine on satellite images of 30 m; judgement, the source from memory."""
PROBES = 15
"""A box without any coastline is asked at so many places along each side what it is; judgement."""
_MARGIN_DEG = 3.3e-8
"""Ways are cut this far outside the box (3 mm), between the 1e-7 degrees that OpenStreetMap
knows: no node lies on the cut. What is closed there is cut at the box itself."""
_AREA_SHARE = 1e-9
"""Of the box: areas that differ by less are equal."""

OnLand = Callable[[Floats, Floats], NDArray[np.float64]]
"""Longitudes and latitudes to 1 on land, 0 at sea, NaN where that is not known."""


@dataclass(frozen=True)
class BoxShore:
    """The shore of one box.

    `box`: west, south, east, north, degrees. `closed`: whether land and sea are told apart.
    `land`: polygons cut to the box, empty where not `closed`. `lines`: the shoreline as brought,
    where not `closed`. `sd_m`: standard deviation of its position. `why`: why it is not closed.
    """

    box: Box
    closed: bool
    land: NDArray[np.object_] = field(repr=False)
    lines: NDArray[np.object_] = field(repr=False)
    sd_m: float
    why: str = ""


@dataclass
class _Piece:
    """A line cut to a box; `from_edge`, `to_edge`: whether the cut made its ends."""

    lonlat: Floats
    from_edge: bool
    to_edge: bool


class _BrokenError(Exception):
    """Why a shore does not close."""


def osm_origin(version: str = "", licence: str = "ODbL-1.0") -> Origin:
    """Where a coastline from OpenStreetMap comes from; `version` says of when."""
    return Origin(
        name="coast-osm",
        quantity="shoreline",
        unit="m",
        source="OpenStreetMap, ways with natural=coastline, by Overpass",
        url="https://www.openstreetmap.org/copyright",
        version=version,
        licence=licence,
        accuracy=f"{OSM_SD_M:.0f} m standard deviation: judgement (aerial images 10 to 15 m off; "
        "which line of high water, foot or top of a cliff: 20 m; corners drawn off: 15 m); "
        f"{PGS_SD_M:.0f} m in boxes with ways from the satellite-derived Prototype Global "
        "Shoreline",
        extent="boxes around the anchors it was brought for",
        note="The line of high water as mappers drew it. Where the ways of a box do not close, "
        "the distance is to the lines and the side is the embedded shoreline's.",
        attribution=OSM_CREDIT,
    )


def shore_of(ways: Iterable[Way], box: Box, on_land_at: OnLand) -> BoxShore:
    """Land in a box from the coastline that runs through it.

    Parameters
    ----------
    ways : iterable of Way
        Whole ways, of this box and of others; one that comes twice counts once.
    box : tuple of float
        West, south, east, north, degrees, not across 180.
    on_land_at : callable
        What another shoreline says of places. It is asked of a box without any way only, at
        `PROBES` times `PROBES` places that must all agree: a coast that was not brought is no
        inland.

    Returns
    -------
    BoxShore
        Closed polygons, or the lines with the reason why they do not close.

    References
    ----------
    OpenStreetMap wiki, "Tag:natural=coastline": land on the left, water on the right (from
    memory).
    """
    import shapely

    west, south, east, north = box
    wide = (west - _MARGIN_DEG, south - _MARGIN_DEG, east + _MARGIN_DEG, north + _MARGIN_DEG)
    own = {way.way_id: way for way in ways}
    here = {k: cut for k, way in own.items() if (cut := _cut(way.lonlat, wide))}
    sd_m = max((shore_sd_m(own[k].tags) for k in here), default=OSM_SD_M)
    whole = shapely.box(*box)
    try:
        gap = next((k for k, way in own.items() if np.isnan(way.lonlat).any()), None)
        if gap is not None:
            raise _BrokenError(f"way {gap} has nodes without a position")
        if here:
            _refuse_along_each_other({k: own[k].lonlat for k in here}, wide)
            area = _area([piece for cut in here.values() for piece in cut], wide)
        else:
            area = _all_or_nothing(wide, on_land_at)
    except _BrokenError as broken:
        cuts = [shapely.linestrings(p.lonlat) for cut in here.values() for p in cut]
        lines = shapely.get_parts(shapely.clip_by_rect(np.array(cuts, object), *box))
        return BoxShore(box, False, _none(), lines[~shapely.is_empty(lines)], sd_m, str(broken))
    return BoxShore(box, True, polygons_in(shapely.intersection(area, whole)), _none(), sd_m)


def shore_sd_m(tags: dict[str, str]) -> float:
    """Standard deviation of the position of a way by its tags, m."""
    return PGS_SD_M if "PGS" in tags.get("source", "").upper() else OSM_SD_M


def polygons_in(shape: shapely.Geometry) -> NDArray[np.object_]:
    """The polygons of a shape, without the lines and points in which areas only touch."""
    import shapely

    parts = shapely.get_parts(np.atleast_1d(shapely.get_parts(shape)))
    return parts[(shapely.get_type_id(parts) == 3) & ~shapely.is_empty(parts)]


def _none() -> NDArray[np.object_]:
    return np.empty(0, object)


def _refuse_along_each_other(ways: dict[int, Floats], box: Box) -> None:
    """Raise where two ways have a segment in or near the box in common: which has the land?"""
    many = [len(lonlat) - 1 for lonlat in ways.values()]
    way = np.repeat(list(ways), many)
    a = np.concatenate([lonlat[:-1] for lonlat in ways.values()])
    b = np.concatenate([lonlat[1:] for lonlat in ways.values()])
    near = (np.minimum(a, b) <= box[2:]).all(axis=1) & (np.maximum(a, b) >= box[:2]).all(axis=1)
    way, a, b = way[near], a[near], b[near]
    back = (a[:, 0] > b[:, 0]) | ((a[:, 0] == b[:, 0]) & (a[:, 1] > b[:, 1]))
    ends = np.where(back[:, None], np.hstack([b, a]), np.hstack([a, b]))
    order = np.lexsort(ends.T)
    same = (np.diff(ends[order], axis=0) == 0).all(axis=1)
    one, other = way[order[:-1]], way[order[1:]]
    shared = np.flatnonzero(same & (one != other))
    if len(shared):
        at = shared[0]
        raise _BrokenError(f"way {one[at]} and way {other[at]} run along each other")


def _cut(lonlat: Floats, box: Box) -> list[_Piece]:
    """The parts of a line inside a box, in their order and direction.

    Each segment is cut by the share of it at which it enters and leaves (Liang and Barsky 1984);
    a node without a position ends the line and begins another.
    """
    a, b = lonlat[:-1], lonlat[1:]
    low, high = np.array(box[:2]), np.array(box[2:])
    step = b - a
    with np.errstate(divide="ignore", invalid="ignore"):
        first, last = (low - a) / step, (high - a) / step
    level = step == 0
    between = (a > low) & (a < high)
    enter = np.where(level, np.where(between, -np.inf, np.inf), np.minimum(first, last))
    leave = np.where(level, np.where(between, np.inf, -np.inf), np.maximum(first, last))
    begin, end = np.maximum(enter.max(axis=1), 0.0), np.minimum(leave.min(axis=1), 1.0)
    through = np.flatnonzero(begin < end)
    if not len(through):
        return []
    parted = (np.diff(through) > 1) | (end[through[:-1]] < 1) | (begin[through[1:]] > 0)
    pieces = []
    for run in np.split(through, np.flatnonzero(parted) + 1):
        one, other = run[0], run[-1]
        start = a[one] + begin[one] * step[one] if begin[one] > 0 else a[one]
        stop = a[other] + end[other] * step[other] if end[other] < 1 else b[other]
        path = np.vstack([start, b[run[:-1]], stop])
        pieces.append(_Piece(path, bool(begin[one] > 0), bool(end[other] < 1)))
    return pieces


def _all_or_nothing(box: Box, on_land_at: OnLand) -> shapely.Geometry:
    """The whole box or nothing, as another shoreline says of places all over it."""
    import shapely

    west, south, east, north = box
    lon, lat = np.meshgrid(np.linspace(west, east, PROBES), np.linspace(south, north, PROBES))
    said = np.asarray(on_land_at(lon.ravel(), lat.ravel()), float)
    if (said == 1).all():
        return shapely.box(*box)
    if (said == 0).all():
        return shapely.Polygon()
    raise _BrokenError("no coastline was brought, and the embedded shoreline runs through the box")


def _area(pieces: list[_Piece], box: Box) -> shapely.Geometry:
    """Land that pieces of coastline fence in, with the edge of the box."""
    import shapely

    west, south, east, north = box
    rings, crossings = _along_the_edge(_joined(pieces), box)
    turned = sum(_signed_area(ring) for ring in rings)
    tolerance = _AREA_SHARE * (east - west) * (north - south)
    frame = np.array([[west, south], [east, south], [east, north], [west, north], [west, south]])
    # where no shore reaches the edge, the edge is sea, or else land: the box is one more ring
    for more in ([],) if crossings else ([], [frame]):
        lines = shapely.multilinestrings([shapely.linestrings(ring) for ring in [*rings, *more]])
        land = shapely.build_area(shapely.unary_union(lines))
        goal = turned + sum(_signed_area(ring) for ring in more)
        if abs(shapely.area(land) - goal) <= tolerance:
            return land
    raise _BrokenError("shorelines cross each other, or put land on both sides")


def _joined(pieces: list[_Piece]) -> list[_Piece]:
    """Pieces joined end to end: rings, and lines from edge to edge."""
    begins: dict[tuple[float, float], list[int]] = defaultdict(list)
    ends: dict[tuple[float, float], list[int]] = defaultdict(list)
    for k, piece in enumerate(pieces):
        if not piece.from_edge:
            begins[_key(piece.lonlat[0])].append(k)
        if not piece.to_edge:
            ends[_key(piece.lonlat[-1])].append(k)
    following: dict[int, int] = {}
    for at in {**begins, **ends}:
        leaving, coming = begins.get(at, []), ends.get(at, [])
        if len(leaving) != len(coming):
            where = f"at lat {at[1]:.5f}, lon {at[0]:.5f}"
            if len(leaving) + len(coming) == 1:
                raise _BrokenError(f"a shoreline ends inside the box {where}")
            raise _BrokenError(f"shorelines meet head to head {where}")
        following |= dict(zip(coming, leaving, strict=True))
    done: list[_Piece] = []
    left = dict.fromkeys(range(len(pieces)))
    first = [k for k, piece in enumerate(pieces) if piece.from_edge]
    for k in (*first, *range(len(pieces))):
        if k not in left:
            continue
        run = []
        while k in left:
            del left[k]
            run.append(pieces[k])
            k = following.get(k, -1)
        path = np.vstack([run[0].lonlat, *(piece.lonlat[1:] for piece in run[1:])])
        done.append(_Piece(path, run[0].from_edge, run[-1].to_edge))
    return done


def _key(place: Floats) -> tuple[float, float]:
    return float(place[0]), float(place[1])


def _along_the_edge(lines: list[_Piece], box: Box) -> tuple[list[Floats], int]:
    """Rings, with lines from edge to edge closed along it, and how many such lines there were.

    From where a line leaves the box the edge is followed with the box to the left (as the land
    is), to where the next line enters: that must be a line that enters, for what lies between
    is land.
    """
    rings = [line.lonlat for line in lines if not line.from_edge]
    cut = [line.lonlat for line in lines if line.from_edge]
    if not cut:
        return rings, 0
    enters = _round_the_box(np.array([line[0] for line in cut]), box)
    leaves = _round_the_box(np.array([line[-1] for line in cut]), box)
    place = np.concatenate([enters, leaves])
    order = np.argsort(place, kind="stable")
    next_of = dict(zip(order.tolist(), np.roll(order, -1).tolist(), strict=True))
    left = set(range(len(cut)))
    while left:
        k = first = min(left)
        path = []
        while k in left:
            left.remove(k)
            path.append(cut[k])
            after = next_of[len(cut) + k]
            if after >= len(cut):
                raise _BrokenError("land and sea contradict each other along the box's edge")
            path.append(_corners(float(leaves[k]), float(enters[after]), box))
            k = after
        rings.append(np.vstack([*path, cut[first][:1]]))
    return rings, len(cut)


def _round_the_box(places: Floats, box: Box) -> Floats:
    """How far along the edge from the south-west corner counter-clockwise, 0 to 4 sides."""
    low, high = np.array(box[:2]), np.array(box[2:])
    x, y = np.clip((places - low) / (high - low), 0, 1).T
    gaps = np.stack([y, 1 - x, 1 - y, x])
    return np.choose(gaps.argmin(axis=0), [x, 1 + y, 3 - x, 4 - y])


def _corners(start: float, end: float, box: Box) -> Floats:
    """Corners of the box between two places of its edge, counter-clockwise."""
    west, south, east, north = box
    end = end if end > start else end + 4
    corners = np.array([[west, south], [east, south], [east, north], [west, north]])
    return corners[np.arange(int(start) + 1, int(np.ceil(end))) % 4]


def _signed_area(ring: Floats) -> float:
    """Area of a ring in square degrees, below 0 where it is drawn clockwise."""
    x, y = (ring - ring[0]).T  # keeps the digits of a tiny island's
    return float(np.sum(x[:-1] * y[1:] - x[1:] * y[:-1]) / 2)
