"""The grid of a surface: cells of whole steps from 180 W and 90 S, cut into blocks."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from saltreach.errors import OptionError
from saltreach.layers.geodesy import metres_per_degree

Floats = NDArray[np.float64]

FINEST_M, COARSEST_M = 10.0, 50_000.0
"""Resolutions that are made: finer than the shore is known says nothing, coarser is no map; own
choice."""
NORTHMOST_DEG = 85.0
"""Beyond this parallel cells of one grid of degrees are too narrow to be called square;
own choice."""
BLOCK_CELLS = 1024
"""Side of the blocks in which a surface is worked out, kept and sent."""
SPACING_M = 3200.0
"""Widest square that is tried in one piece (`surface_blocks`): a third of a cell of the finest
climate map; own choice."""
MERIDIAN_M = 20_003_931.5
"""From pole to pole along the WGS 84 ellipsoid."""


class Block(NamedTuple):
    """A part of a grid: first row and column, and how many, counted from its north-west corner."""

    row: int
    column: int
    rows: int
    columns: int


@dataclass(frozen=True)
class Grid:
    """Cells in EPSG:4326, rows from north to south.

    `first_row`, `first_column` count whole steps from 90 N and 180 W: a cell of one resolution is
    the same in every box whose middle latitude rounds to the same degree.
    """

    resolution_m: float
    lon_step_deg: float
    lat_step_deg: float
    first_row: int
    first_column: int
    rows: int
    columns: int

    @property
    def cells(self) -> int:
        """How many."""
        return self.rows * self.columns

    @property
    def bounds_deg(self) -> tuple[float, float, float, float]:
        """West, south, east, north edge."""
        west = -180 + self.first_column * self.lon_step_deg
        north = 90 - self.first_row * self.lat_step_deg
        return (
            west,
            north - self.rows * self.lat_step_deg,
            west + self.columns * self.lon_step_deg,
            north,
        )

    def lon_deg(self, first: int = 0, count: int | None = None) -> Floats:
        """Middles of columns."""
        many = self.columns - first if count is None else count
        at = self.first_column + first + np.arange(many, dtype=float)
        return np.asarray(-180 + (at + 0.5) * self.lon_step_deg)

    def lat_deg(self, first: int = 0, count: int | None = None) -> Floats:
        """Middles of rows, the northernmost first."""
        many = self.rows - first if count is None else count
        at = self.first_row + first + np.arange(many, dtype=float)
        return np.asarray(90 - (at + 0.5) * self.lat_step_deg)

    def cell_m(self, lat_deg: float) -> tuple[float, float]:
        """Width and height of a cell at a latitude."""
        east, north = metres_per_degree(lat_deg)
        return float(east * self.lon_step_deg), float(north * self.lat_step_deg)

    @property
    def widest_square(self) -> int:
        """Cells along the side of the squares that are tried first, a power of two from 2."""
        return int(2 ** max(1, math.floor(math.log2(SPACING_M / self.resolution_m))))

    @property
    def blocks(self) -> tuple[Block, ...]:
        """Its parts, row by row from the north-west."""
        return tuple(
            Block(row, column, min(BLOCK_CELLS, self.rows - row),
                  min(BLOCK_CELLS, self.columns - column))
            for row in range(0, self.rows, BLOCK_CELLS)
            for column in range(0, self.columns, BLOCK_CELLS)
        )  # fmt: skip

    def record(self) -> dict[str, Any]:
        """The grid as plain values, with the size of its cells at the top and at the bottom."""
        south, north = self.bounds_deg[1::2]
        return {
            "crs": "EPSG:4326",
            "resolution_m": self.resolution_m,
            "bounds_deg": [round(v, 9) for v in self.bounds_deg],
            "rows": self.rows,
            "columns": self.columns,
            "cell_deg": [round(self.lon_step_deg, 12), round(self.lat_step_deg, 12)],
            "cell_at_top_m": [round(v, 1) for v in self.cell_m(north)],
            "cell_at_bottom_m": [round(v, 1) for v in self.cell_m(south)],
        }


def grid_of(bbox: tuple[float, float, float, float], resolution_m: float) -> Grid:
    """The grid that covers a box, its cells square at the box's middle latitude.

    Parameters
    ----------
    bbox : tuple of float
        West, south, east, north, degrees, WGS 84.
    resolution_m : float
        Side of a cell at the middle latitude, rounded to a whole degree, m.

    Returns
    -------
    Grid

    Raises
    ------
    OptionError
        A box or a resolution that cannot be.

    Examples
    --------
    >>> grid = grid_of((-6, 43, -5, 44), 1000)
    >>> grid.rows, grid.columns, [round(side) for side in grid.cell_m(44.0)]
    (112, 81, [1000, 1000])
    """
    west, south, east, north = (float(v) for v in bbox)
    said = f"bbox {west:g} {south:g} {east:g} {north:g}"
    if not all(map(math.isfinite, (west, south, east, north))):
        raise OptionError(f"{said}: give four numbers, W S E N in degrees")
    if not (-180 <= west <= 180 and -180 <= east <= 180):
        raise OptionError(f"{said}: a longitude lies outside -180 to 180; give W S E N in degrees")
    if west > east:
        raise OptionError(
            f"{said}: W, {west:g}, is more than E, {east:g}; give W S E N, the smaller longitude "
            f"first ({east:g} {south:g} {west:g} {north:g}), or make two surfaces of a box across "
            f"180 degrees ({west:g} {south:g} 180 {north:g} and -180 {south:g} {east:g} {north:g})"
        )
    if south >= north or west == east:
        raise OptionError(f"{said}: it holds nothing; give W S E N in degrees, S below N")
    if max(abs(south), abs(north)) > NORTHMOST_DEG:
        raise OptionError(
            f"{said}: surfaces reach from {NORTHMOST_DEG:g} S to {NORTHMOST_DEG:g} N (cells of "
            "degrees are not square nearer to a pole); give a smaller box"
        )
    if not FINEST_M <= resolution_m <= COARSEST_M:
        raise OptionError(
            f"resolution {resolution_m:g}: give {FINEST_M:g} to {COARSEST_M:g} metres"
        )
    middle = float(round((south + north) / 2))
    lat_step = 180 / round(MERIDIAN_M / resolution_m)
    lon_step = 360 / round(360 * float(metres_per_degree(middle)[0]) / resolution_m)
    close = 1e-9  # of a step: an edge that is a whole number of them but for rounding
    first_column = math.floor((west + 180) / lon_step + close)
    first_row = math.floor((90 - north) / lat_step + close)
    return Grid(
        resolution_m=float(resolution_m),
        lon_step_deg=lon_step,
        lat_step_deg=lat_step,
        first_row=first_row,
        first_column=first_column,
        rows=math.ceil((90 - south) / lat_step - close) - first_row,
        columns=math.ceil((east + 180) / lon_step - close) - first_column,
    )
