"""A shoreline with better ones in some boxes: one coast, that says which of them it measured by.

In a closed box the packed land stands in place of the land beyond. For the rays of openness and
for maps both are one set of rings, whose stretches along a box's edge, where the two disagree,
are marked as no shore: no distance is measured to them. A place in a closed box is measured by
the packed shore where that is nearer than the edge of the boxes, for then no other shore can be
nearer. Where the edge is nearer, the nearest of both shores counts, the packed one inside and the
other beyond, and it counts as known no better than the other.

In a box that does not close, the distance is to the packed lines where they are nearer than the
edge; the side is always that of the land beyond. Outside the boxes nothing changes.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

from saltreach.layers.coast import Coast, Measured, block_spheres
from saltreach.layers.coast_index import Floats, Ints, NearestShore
from saltreach.layers.layer import Origin, joined
from saltreach.layers.osm_shore import polygons_in

if TYPE_CHECKING:
    import shapely

SEAM_DEG = 180.0
_SEEN_DEG = np.nextafter(SEAM_DEG, 0.0)
_ON_EDGE_DEG = 1e-9
"""A tenth of a millimetre: this near the edge of a box a vertex lies on it."""
_EDGE_M = 1.0
"""A shore no nearer than the edge less this may be the one that begins there."""
NEAR_SEA_M = 25_000.0
"""Places farther from the embedded shore need no finer one, and none is brought for them; own
choice."""
NOTE_OUTSIDE = (
    "Outside the packed shoreline's boxes: distance by the embedded one; bring the pack again."
)
DISAGREE_SDS = 4.0
"""Shores farther apart than this many standard deviations of the one beyond (1 km, embedded) cannot
both be right; judgement, as for a distance that the register gives."""
NOTE_DISAGREE = (
    "The pack's shore and the embedded one disagree here ({:.0f} m and {:.0f} m away, or on which "
    "side the sea is): the nearer counts, and is known no better than the embedded; look which is "
    "right, and give coast_distance_m."
)
NOTE_NOT_CLOSED = (
    "Packed shoreline does not close here: distance to its lines, side by the embedded one."
)


class Boxes(NamedTuple):
    """Boxes of a pack.

    `shapes` (k,): each box. `sd_m` (k,): standard deviation of the shore in it. `area`: all of
    them in one. `edge`: what surrounds them.
    """

    shapes: NDArray[np.object_]
    sd_m: Floats
    area: shapely.Geometry
    edge: Coast

    def hold(self, lon: Floats, lat: Floats) -> NDArray[np.bool_]:
        """Which places lie in a box; an unknown position does not."""
        import shapely

        return np.asarray(shapely.intersects_xy(self.area, lon, lat))

    def sd_at(self, lon: Floats, lat: Floats) -> Floats:
        """Standard deviation of the shore at places in a box; where boxes overlap, the greatest."""
        import shapely

        at = shapely.points(lon, lat)
        near = shapely.STRtree(self.shapes).query(at, predicate="dwithin", distance=_ON_EDGE_DEG)
        place, box = near
        sd = np.full(len(lon), -1.0)
        np.maximum.at(sd, place, self.sd_m[box])
        return np.where(sd < 0, self.sd_m.max(), sd)


@dataclass(frozen=True, eq=False, kw_only=True)
class PatchedCoast(Coast):
    """A coast with packed shores in some boxes.

    `beyond`: the coast without them. `closed`, `broken`: boxes whose shore closes, and does not.
    `land`: packed land of the closed ones. `lines`: packed shore of the others.
    """

    beyond: Coast = field(repr=False)
    closed: Boxes | None = field(repr=False)
    broken: Boxes | None = field(repr=False)
    land: shapely.Geometry = field(repr=False)
    lines: Coast | None = field(repr=False)

    @property
    def origins(self) -> tuple[Origin, ...]:
        """Where it comes from: the packed shore, then the one beyond."""
        return (self.origin, *self.beyond.origins)

    def measured(self, lon: ArrayLike, lat: ArrayLike) -> Measured:
        """The nearest shore, and by which of both; points as in `shore`."""
        lon, lat = (np.atleast_1d(np.asarray(v, float)) for v in (lon, lat))
        shore = NearestShore(*np.full((4, len(lon)), np.nan))
        sd_m = np.full(len(lon), np.nan)
        source, side_source, note = np.full((3, len(lon)), "", object)
        for which, found in self._parts(lon, lat):
            for whole, part in zip((*shore, sd_m, source, side_source, note),
                                   (*found.shore, *found[1:]), strict=True):  # fmt: skip
                whole[which] = part
        return Measured(shore, sd_m, source, side_source, note)

    def _parts(self, lon: Floats, lat: Floats) -> Iterator[tuple[NDArray[np.bool_], Measured]]:
        """Which places lie in closed boxes, in others and in none, and what is measured there."""
        left = np.ones(len(lon), bool)
        for boxes, measure in ((self.closed, self._in_closed), (self.broken, self._in_broken)):
            if boxes is not None:
                which = left & boxes.hold(lon, lat)
                left &= ~which
                yield which, measure(boxes, lon[which], lat[which])
        yield left, self._outside(lon[left], lat[left])

    def _in_closed(self, boxes: Boxes, lon: Floats, lat: Floats) -> Measured:
        import shapely

        found = self.near(lon, lat).shore(lon, lat)
        sure = found.distance_m < boxes.edge.shore(lon, lat).distance_m - _EDGE_M
        by_land = np.asarray(shapely.contains_xy(self.land, lon, lat), float)
        found = found._replace(on_land=np.where(sure, found.on_land, by_land))
        side, note = np.full(len(lon), self.origin.name, object), np.full(len(lon), "", object)
        measured = Measured(found, *self._known(sure, boxes, found), side, note)
        return self._doubted(measured, self.beyond.measured(lon, lat))

    def _in_broken(self, boxes: Boxes, lon: Floats, lat: Floats) -> Measured:
        beyond = self.beyond.measured(lon, lat)
        note = np.full(len(lon), NOTE_NOT_CLOSED, object)
        if self.lines is None:
            return beyond._replace(note=note)
        lines = self.lines.shore(lon, lat)
        near = lines.distance_m < boxes.edge.shore(lon, lat).distance_m - _EDGE_M
        found = NearestShore(*np.where(near, lines, beyond.shore))
        found = found._replace(on_land=beyond.shore.on_land)
        _, source = self._known(near, boxes, found)
        # a shore with gaps may lack the very piece that is nearest
        measured = Measured(found, beyond.sd_m, source, beyond.side_source, note)
        return self._doubted(measured, beyond)

    def _doubted(self, found: Measured, beyond: Measured) -> Measured:
        """Of two shores that cannot both be right the nearer, known no better than the one beyond.

        The side is that of the shore beyond: a line that was drawn or answered wrongly must make
        no land of the sea, nor a crag at the shore of one far inland.
        """
        most = DISAGREE_SDS * beyond.sd_m
        apart = np.abs(found.shore.distance_m - beyond.shore.distance_m) > most
        sides = (found.shore.on_land != beyond.shore.on_land) & (beyond.shore.distance_m > most)
        odd = apart | sides
        if not odd.any():
            return found
        nearer = odd & (beyond.shore.distance_m < found.shore.distance_m)
        distance, _, lon, lat = (
            np.where(nearer, other, own)
            for other, own in zip(beyond.shore, found.shore, strict=True)
        )
        on_land = np.where(odd, beyond.shore.on_land, found.shore.on_land)
        said = np.array(
            [NOTE_DISAGREE.format(a, b) for a, b in
             zip(found.shore.distance_m[odd], beyond.shore.distance_m[odd], strict=True)], object
        )  # fmt: skip
        note = found.note.copy()
        note[odd] = joined(note[odd], said)
        return Measured(
            NearestShore(distance, on_land, lon, lat),
            np.where(odd, beyond.sd_m, found.sd_m),
            np.where(nearer, beyond.source, found.source).astype(object),
            np.where(odd, beyond.side_source, found.side_source).astype(object),
            note,
        )

    def _outside(self, lon: Floats, lat: Floats) -> Measured:
        found = self.beyond.measured(lon, lat)
        wanted = found.shore.distance_m <= NEAR_SEA_M
        return found._replace(note=np.where(wanted, NOTE_OUTSIDE, "").astype(object))

    def _known(
        self, packed: NDArray[np.bool_], boxes: Boxes, shore: NearestShore
    ) -> tuple[Floats, NDArray[np.object_]]:
        """Standard deviation and name, of the packed shore or of the one beyond."""
        return (
            np.where(packed, boxes.sd_at(shore.lon, shore.lat), self.beyond.position_sd_m),
            np.where(packed, self.origin.name, self.beyond.origin.name).astype(object),
        )


def patched(
    beyond: Coast,
    boxes: NDArray[np.object_],
    closed: NDArray[np.bool_],
    sd_m: Floats,
    land: NDArray[np.object_],
    lines: NDArray[np.object_],
    origin: Origin,
) -> PatchedCoast:
    """A coast with other shores in some boxes.

    Parameters
    ----------
    beyond : Coast
        The shore outside them; it knows land from sea.
    boxes : ndarray of Polygon, shape (k,)
        Boxes in degrees, not across 180.
    closed : ndarray of bool, shape (k,)
        Whether the packed shore of a box closes.
    sd_m : ndarray, shape (k,)
        Standard deviation of the packed shore's position, m.
    land : ndarray of Polygon
        Packed land of the closed boxes.
    lines : ndarray of LineString
        Packed shore of the others.
    origin : Origin
        Where the packed shore comes from.

    Returns
    -------
    PatchedCoast
    """
    import shapely

    made, broken = (
        _boxes(boxes[which], sd_m[which], beyond) if which.any() else None
        for which in (closed, ~closed)
    )
    own = shapely.union_all(land)
    shapely.prepare(own)
    vertex, start, is_land = beyond.vertex_deg, beyond.line_start, beyond.line_is_land
    closing = None
    if made is not None:
        rings, touched = _rings(beyond, made, own)
        kept = np.ones(len(is_land), bool)
        kept[touched] = False
        count = np.r_[np.diff(start)[kept], shapely.get_num_coordinates(rings)]
        new = shapely.get_coordinates(rings)
        vertex = np.concatenate([vertex[np.repeat(kept, np.diff(start))], new])
        start = np.r_[0, np.cumsum(count)].astype(np.int64)
        is_land = np.r_[is_land[kept], shapely.is_ccw(rings)]
        closing = np.zeros(len(vertex), bool)
        closing[len(vertex) - len(new) :] = _along(new, made.shapes)
    centre, radius = block_spheres(vertex)
    return PatchedCoast(
        vertex_deg=vertex,
        line_start=start,
        line_is_land=is_land,
        block_centre_m=centre,
        block_radius_m=radius,
        sided=True,
        position_sd_m=beyond.position_sd_m,
        origin=origin,
        closing=closing,
        beyond=beyond,
        closed=made,
        broken=broken,
        land=own,
        lines=_unsided(lines, beyond) if len(lines) else None,
    )


def _boxes(shapes: NDArray[np.object_], sd_m: Floats, like: Coast) -> Boxes:
    import shapely

    area = shapely.union_all(shapes)
    shapely.prepare(area)
    return Boxes(shapes, sd_m, area, _unsided(_edge(area), like))


def _edge(area: shapely.Geometry) -> NDArray[np.object_]:
    """The edge of boxes as lines; where boxes meet across 180 degrees there is none."""
    import shapely

    edge = shapely.boundary(area)
    west, east = (
        shapely.intersection(edge, shapely.LineString([[side, -90], [side, 90]]))
        for side in (-SEAM_DEG, SEAM_DEG)
    )
    meet = shapely.intersection(_moved(west, 2 * SEAM_DEG), east)
    if shapely.length(meet) > 0:
        edge = shapely.difference(edge, shapely.union(meet, _moved(meet, -2 * SEAM_DEG)))
    # what is left at 180 degrees is an edge, and the search takes a line right on it for none
    return shapely.get_parts(shapely.transform(edge, lambda at: np.clip(at, -_SEEN_DEG, _SEEN_DEG)))


def _moved(shape: shapely.Geometry, east_deg: float) -> shapely.Geometry:
    import shapely

    return shapely.transform(shape, lambda at: at + [east_deg, 0.0])


def _unsided(lines: NDArray[np.object_], like: Coast) -> Coast:
    """Lines to measure distances to."""
    import shapely

    vertex = shapely.get_coordinates(lines)
    centre, radius = block_spheres(vertex)
    return Coast(
        vertex_deg=vertex,
        line_start=np.r_[0, np.cumsum(shapely.get_num_coordinates(lines))].astype(np.int64),
        line_is_land=np.ones(len(lines), bool),
        block_centre_m=centre,
        block_radius_m=radius,
        sided=False,
        position_sd_m=like.position_sd_m,
        origin=like.origin,
    )


def _rings(beyond: Coast, boxes: Boxes, land: shapely.Geometry) -> tuple[NDArray[np.object_], Ints]:
    """Rings of land with the packed land in the boxes, and which rings of the coast they replace.

    Land lies to the left: around land counter-clockwise, around water in it clockwise.
    """
    import shapely

    low, high = beyond.bounds_deg
    near = np.zeros(len(low), bool)
    for west, south, east, north in shapely.bounds(boxes.shapes):
        near |= (low <= [east, north]).all(axis=1) & (high >= [west, south]).all(axis=1)
    at = np.flatnonzero(near)
    shapes = shapely.make_valid(beyond.drawn(at))
    met = shapely.intersects(boxes.area, shapes)
    at, shapes = at[met], shapes[met]
    is_land = beyond.line_is_land[at]
    left = shapely.difference(shapes[is_land], boxes.area)
    for lake in shapes[~is_land]:
        left = shapely.difference(left, lake)
    parts = polygons_in(left)
    # continents last: each union with one takes a tenth of a second
    parts = parts[np.argsort(shapely.get_num_coordinates(parts))]
    whole = shapely.union_all(np.r_[land, parts[:-1]])
    for continent in parts[-1:]:
        whole = shapely.union(whole, continent)
    return shapely.get_rings(shapely.orient_polygons(polygons_in(whole), exterior_cw=False)), at


def _along(vertex_deg: Floats, boxes: NDArray[np.object_]) -> NDArray[np.bool_]:
    """Whether the segment that starts at each vertex runs along the edge of a box."""
    import shapely

    edges = shapely.buffer(shapely.union_all(shapely.boundary(boxes)), _ON_EDGE_DEG)
    shapely.prepare(edges)
    step = np.diff(vertex_deg, axis=0, append=np.nan)
    found = np.asarray((np.abs(step) <= _ON_EDGE_DEG).any(axis=1))
    at = np.flatnonzero(found)
    lines = shapely.linestrings(np.stack([vertex_deg[at], vertex_deg[at] + step[at]], axis=1))
    found[at] = shapely.covers(edges, lines)
    return found
