"""Where data are needed: the places of a register, and the boxes and grid nodes around them."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from saltreach.errors import LayerError
from saltreach.layers.geodesy import metres_per_degree

Floats = NDArray[np.float64]
Box = tuple[float, float, float, float]
"""West, south, east, north, degrees, within -180 to 180."""

SAME_DEG = 0.001
"""Places closer than this, about 100 m, are asked for once; own choice."""


STEP_DEG = 0.01
"""Boxes end on lines of this grid, some 1 km apart: so their edges tell of no anchor where it is,
and an anchor more asks for the same boxes again; own choice."""


@dataclass(frozen=True)
class Where:
    """Distinct places, degrees, WGS 84; `lon` and `lat` have shape (n,)."""

    lon: Floats
    lat: Floats

    def boxes(self, margin_m: float | ArrayLike, widest_deg: float) -> list[Box]:
        """Boxes that hold every place with a margin, overlapping ones joined.

        Parameters
        ----------
        margin_m : float or array_like, shape (n,)
            Distance from a place to the edge of its box, m.
        widest_deg : float
            Larger boxes are cut into equal parts, of which those without a place's own box are
            left out.
        """
        own = _around(self.lon, self.lat, margin_m)
        joined = _joined(own)
        parts = [part for box in joined for part in _cut(box, widest_deg)]
        return [part for part in parts if _touched(part, own)]

    def nodes(self, step_deg: float, lon_step_deg: float | None = None) -> Where:
        """The nearest nodes of a regular grid, each once, from north-west to south-east.

        Its steps of longitude are those of latitude where not given.
        """
        aside = step_deg if lon_step_deg is None else lon_step_deg
        lon = (np.round(self.lon / aside) * aside + 180) % 360 - 180
        found = np.unique(np.column_stack([-np.round(self.lat / step_deg) * step_deg, lon]), axis=0)
        return Where(found[:, 1], -found[:, 0])


def where_of(lon: ArrayLike, lat: ArrayLike) -> Where:
    """Distinct places of a register.

    Raises
    ------
    LayerError
        There is none.
    """
    at = np.column_stack([np.asarray(lon, float), np.asarray(lat, float)])
    at = at[np.isfinite(at).all(axis=1)]
    if not len(at):
        raise LayerError("no row of the register has a position; nothing can be brought for it")
    at[:, 0] = (at[:, 0] + 180) % 360 - 180
    _, first = np.unique(np.round(at / SAME_DEG), axis=0, return_index=True)
    return Where(*at[np.sort(first)].T)


def _around(lon: Floats, lat: Floats, margin_m: float | ArrayLike) -> Floats:
    """A box around each place, widened to `STEP_DEG`, cut at 180 degrees; (k, 4)."""
    per_lon, per_lat = metres_per_degree(np.clip(lat, -85, 85))
    aside, up = np.asarray(margin_m, float) / per_lon, np.asarray(margin_m, float) / per_lat
    box = np.column_stack([lon - aside, np.maximum(lat - up, -90), lon + aside,
                           np.minimum(lat + up, 90)])  # fmt: skip
    west, east = box[box[:, 0] < -180].copy(), box[box[:, 2] > 180].copy()
    beyond = np.vstack([west + [360, 0, 360, 0], east - [360, 0, 360, 0]])
    both = np.vstack([box, beyond])
    both[:, [0, 2]] = np.clip(both[:, [0, 2]], -180, 180)
    steps = np.round(both / STEP_DEG, 6)  # a box on a line of the grid stays
    outward = np.hstack([np.floor(steps[:, :2]), np.ceil(steps[:, 2:])]) * STEP_DEG
    ends = np.clip(outward, [-180, -90, -180, -90], [180, 90, 180, 90])
    return np.asarray(np.round(ends, 6), float)


def _joined(boxes: Floats) -> list[Box]:
    """Boxes around those that overlap, until none overlaps another."""
    import shapely
    from scipy.sparse import coo_matrix
    from scipy.sparse.csgraph import connected_components

    while True:
        shapes = shapely.box(*boxes.T)
        a, b = shapely.STRtree(shapes).query(shapes, predicate="intersects")
        count, group = connected_components(
            coo_matrix((np.ones(len(a)), (a, b)), shape=(len(boxes), len(boxes))), directed=False
        )
        if count == len(boxes):
            return [tuple(float(v) for v in box) for box in boxes]  # type: ignore[misc]
        low, high = np.full((count, 2), np.inf), np.full((count, 2), -np.inf)
        np.minimum.at(low, group, boxes[:, :2])
        np.maximum.at(high, group, boxes[:, 2:])
        boxes = np.hstack([low, high])


def _cut(box: Box, widest_deg: float) -> list[Box]:
    west, south, east, north = box
    across, down = (max(1, int(np.ceil(size / widest_deg - 1e-9)))
                    for size in (east - west, north - south))  # fmt: skip
    x, y = np.linspace(west, east, across + 1), np.linspace(south, north, down + 1)
    return [
        (float(x[i]), float(y[j]), float(x[i + 1]), float(y[j + 1]))
        for j in range(down)
        for i in range(across)
    ]


def _touched(part: Box, own: Floats) -> bool:
    west, south, east, north = part
    return bool(((own[:, 0] < east) & (own[:, 2] > west) & (own[:, 1] < north)
                 & (own[:, 3] > south)).any())  # fmt: skip
