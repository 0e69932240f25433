"""Positions made coarse: areas of a fixed grid that no anchor can be read out of.

The method, and what it keeps from a reader who has the file and knows the method:

1. The grid is fixed on the globe. Its nodes depend on the cell's side alone, never on an anchor.
2. Only the cell of an anchor is used. Moving an anchor inside its cell changes no byte of what
   is published, so nothing published can tell where in the cell it is (a test does that).
3. A cell with fewer than `FEWEST_TOGETHER` anchors is replaced by the square of twice its side
   around it, and that by the next: a lone anchor is known to four sides, not to one.
4. Each cell is drawn with a ring of one side around it, and cells that touch are one area. So
   every corner and edge drawn lies at least one side from every anchor shown, and there is no
   hull, middle or mean of positions to work back from.
5. Anchors are counted in ranges, not exactly.

What it cannot keep: two files of one region with different sides narrow a position down to where
their cells overlap. Keep to one side.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from saltreach.assessment.shapes import centre_lon_deg, unwrapped_lon
from saltreach.errors import OptionError, RegisterError

if TYPE_CHECKING:
    from shapely.geometry.base import BaseGeometry

COARSENESS_RANGE_M = (100.0, 10_000.0)
"""Sides of the grid that may be asked for: own choice."""
FEWEST_TOGETHER = 6
"""Own choice: more than the lowest range of counts, so `1 to 5` never stands in a single cell."""
LEVELS = 3
"""Sides in use: one, two and four times the coarseness."""
COUNT_RANGES = ((1, 5), (6, 20), (21, 50), (51, 100), (101, 200), (201, 500), (501, None))
"""Ranges that stand for a number of anchors: own choice."""

# Shortest lengths of a degree on WGS 84: of latitude at the equator, of longitude there times
# cos(latitude). Cells are at least as large as asked for, everywhere.
_LAT_DEGREE_M = 110_574.0
_LON_DEGREE_M = 111_319.0
_SLACK = 1.001
_POLAR_LIMIT_DEG = 89.0


@dataclass(frozen=True)
class Grid:
    """Cells of at least `side_m` by `side_m` metres, fixed on the globe.

    Rows divide each degree of latitude evenly; within one degree all rows have the same columns.
    Rows and columns come in fours, so that cells join into squares of two and four sides.
    """

    side_m: float

    def __post_init__(self) -> None:
        low, high = COARSENESS_RANGE_M
        if not low <= self.side_m <= high:
            raise OptionError(
                f"coarseness_m = {self.side_m:g}: give metres from {low:g} to {high:g}"
            )

    @property
    def rows_per_degree(self) -> int:
        """Rows in one degree of latitude."""
        return int(_LAT_DEGREE_M / (_SLACK * self.side_m)) // 4 * 4

    def columns(self, row: np.ndarray) -> np.ndarray:
        """Columns around the whole Earth in the degree of latitude that holds a row."""
        degree = np.floor_divide(row, self.rows_per_degree)
        # The narrow edge, and a row and a half beyond it for the ring.
        edge = np.maximum(np.abs(degree), np.abs(degree + 1)) + 1.5 / self.rows_per_degree
        around_m = 360.0 * _LON_DEGREE_M * np.cos(np.radians(np.minimum(edge, _POLAR_LIMIT_DEG)))
        return (around_m / (_SLACK * self.side_m)).astype(int) // 4 * 4

    def cell_of(self, lon: np.ndarray, lat: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """Row and column of each position.

        Parameters
        ----------
        lon, lat : array_like
            Degrees, WGS 84.

        Returns
        -------
        row, column : numpy.ndarray of int
        """
        lon, lat = np.asarray(lon, dtype=float), np.asarray(lat, dtype=float)
        if not (np.isfinite(lon) & (np.abs(lat) < _POLAR_LIMIT_DEG)).all():
            raise RegisterError(
                f"landowner map: a position is missing or beyond {_POLAR_LIMIT_DEG:g} degrees of "
                "latitude; leave those rows out"
            )
        row = np.floor(lat * self.rows_per_degree).astype(int)
        columns = self.columns(row)
        return row, np.floor((lon + 180.0) / 360.0 * columns).astype(int) % columns

    def boxes(
        self, row: np.ndarray, column: np.ndarray, level: np.ndarray, *, ring: int = 0
    ) -> np.ndarray:
        """West, south, east, north of cells, degrees, with a ring of whole cells around them.

        Parameters
        ----------
        row, column, level : array_like of int
            The lowest row and column of each square, and the power of two of its side.
        ring : int
            Cells added on every side.

        Returns
        -------
        numpy.ndarray
            (n, 4); may reach beyond +-180.
        """
        width = 360.0 / self.columns(row)
        height = 1.0 / self.rows_per_degree
        side = 2**level
        return np.column_stack(
            [
                -180.0 + (column - ring) * width,
                (row - ring) * height,
                -180.0 + (column + side + ring) * width,
                (row + side + ring) * height,
            ]
        )


@dataclass(frozen=True)
class Areas:
    """What may be published of a set of positions.

    `shapes`: polygons in degrees, longitudes unwrapped around `centre_lon`. `area_of_group`:
    index of each group's area.
    """

    shapes: tuple[BaseGeometry, ...]
    area_of_group: np.ndarray
    centre_lon: float


def generalised(lon: np.ndarray, lat: np.ndarray, group: np.ndarray, grid: Grid) -> Areas:
    """Areas that hold the positions; see the module's text for the method.

    Parameters
    ----------
    lon, lat : array_like
        Degrees, WGS 84, at least one.
    group : array_like of int
        Number of the group (the crag) of each position, 0 to n - 1, each used. Groups whose
        areas touch become one area.
    grid : Grid
        The cells that hide positions.

    Returns
    -------
    Areas
        A function of the cells alone: independent of where in its cell a position lies and of
        the order of the positions.
    """
    import shapely
    from scipy.sparse import coo_array
    from scipy.sparse.csgraph import connected_components

    squares = np.unique(np.column_stack([*_squares(lon, lat, grid), group]), axis=0)
    row, column, level, owner = squares.T
    boxes = grid.boxes(row, column, level, ring=1)
    centre_lon = centre_lon_deg((boxes[:, 0] + boxes[:, 2]) / 2)
    shift = unwrapped_lon(boxes[:, 0], centre_lon) - boxes[:, 0]
    boxes[:, [0, 2]] += shift[:, None]
    drawn = shapely.box(*boxes.T)

    parts = shapely.get_parts(shapely.union_all(drawn))
    inside = shapely.STRtree(parts).query(drawn, predicate="within")
    groups = int(owner.max()) + 1
    links = coo_array(
        (np.ones(inside.shape[1]), (owner[inside[0]], groups + inside[1])),
        shape=(groups + len(parts),) * 2,
    )
    _, label = connected_components(links, directed=False)
    _, area_of_group = np.unique(label[:groups], return_inverse=True)
    area_of_part = {int(mark): at for at, mark in enumerate(np.unique(label[:groups]))}
    owners = np.array([area_of_part[int(mark)] for mark in label[groups:]])
    shapes = tuple(
        shapely.normalize(shapely.union_all(parts[owners == at])) for at in range(owners.max() + 1)
    )
    return Areas(shapes, area_of_group, centre_lon)


def _squares(
    lon: np.ndarray, lat: np.ndarray, grid: Grid
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Square of each position: its cell, or the next larger one that holds enough positions."""
    row, column = grid.cell_of(lon, lat)
    level = np.full(len(row), LEVELS - 1)
    for step in range(LEVELS - 2, -1, -1):
        square = np.column_stack([row >> step, column >> step])
        _, which, count = np.unique(square, axis=0, return_inverse=True, return_counts=True)
        level[count[which] >= FEWEST_TOGETHER] = step
    return row >> level << level, column >> level << level, level


def count_range(count: int) -> tuple[int, int | None]:
    """Lowest and highest count of the range that holds one; None where there is no highest.

    Examples
    --------
    >>> count_range(17), count_range(900)
    ((6, 20), (501, None))
    """
    return next(r for r in COUNT_RANGES if r[1] is None or count <= r[1])
