"""One block of a surface: exact where it bends, interpolated where that is shown to be enough.

A square of cells is worked out at its corners, the middles of its sides and its own middle. Where
these nine agree (every class the same, every number within `STEP_LN` or `STEP_HAZARD` of what lies
between its corners), and the square is small beside its distance to the sea, the cells between get
what lies between the nearest four of the nine. Else it is cut into four, down to single cells.

The distance is not left to that. To points on a shore the square of a distance less the square of
the place is the least of linear functions, so it is concave: what lies between four nodes is never
above the truth (the bulge of the Earth apart, for which room is left), and the distance to a node's
own nearest shore never below. Where the two differ by more than `DISTANCE_SHARE`, the square is
cut; else the middle of both counts.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from saltreach.assessment.surface_cells import CLASS_BANDS, NUMBERS, SEA_CODE, cells_at, opened
from saltreach.assessment.surface_grid import Block, Grid
from saltreach.intake.options import Options
from saltreach.layers.geodesy import MEAN_RADIUS_M, ecef_m

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

FINE, NONE = "fine", "none"
ROUNDINGS = (FINE, NONE)
"""Whether cells may be interpolated."""
DISTANCE_SHARE = 0.005
"""Widest gap between both bounds of a distance, as a share of it: it is known to half of this; own
choice."""
STEP_LN = 0.02  # of ln(chloride) at the nodes of a square, own choice
STEP_HAZARD = 0.005  # of the hazard there, own choice
"""How far the nodes between the corners of a square may lie from what the corners say: of the
logarithm of chloride, and of the hazard. Interpolation goes on at half that spacing, where the
error is a quarter of it for a smooth value and half for one with a bend."""
SQUARE_SHARE = 0.2
"""A square is no wider than this share of its distance to the sea; own choice."""
LEAST_RADIUS_M = 6_335_000.0
"""No line of the WGS 84 ellipsoid is bent more than a circle of this radius (6,335,439 m, along the
meridian at the equator)."""
MANTISSA_BITS = 12
"""Interpolated numbers are kept to one part in 8,000, so that files are small."""


class Filled(NamedTuple):
    """A block: `numbers` (5, rows, columns) and `classes` (4, rows, columns)."""

    numbers: NDArray[np.float32]
    classes: NDArray[np.uint8]


@dataclass(frozen=True)
class Job:
    """What a worker is told of a block."""

    grid: Grid
    block: Block
    options: Options
    rounding: str = FINE


def fill(job: Job) -> Filled:
    """Work out one block.

    Parameters
    ----------
    job : Job
        Grid, block, options, and `rounding`: "none" for every cell by itself.

    Returns
    -------
    Filled
        NaN and `SEA_CODE` where there is no land.
    """
    grid, block = job.grid, job.block
    widest = grid.widest_square
    if job.rounding == NONE or widest == 2 or not opened(job.options).smooth:
        return _each(job)
    nodes = _Nodes(job, widest)
    corner = np.stack(
        [v.ravel() for v in np.meshgrid(np.arange(0, nodes.rows, widest),
                                        np.arange(0, nodes.columns, widest), indexing="ij")],
        axis=1,
    )  # fmt: skip
    side = widest
    while side > 2 and len(corner):
        half = side // 2
        nine = corner[:, None, :] + half * _NINE
        nodes.ask(nine.reshape(-1, 2))
        done = nodes.agree(nine, side)
        done[done] = nodes.between(nine[done], half)
        corner = (corner[~done][:, None, :] + half * _FOUR).reshape(-1, 2)
        side = half
    nodes.alone((corner[:, None, :] + _FOUR).reshape(-1, 2))
    return nodes.cut(block)


_NINE = np.array([(i, j) for i in range(3) for j in range(3)])
_FOUR = np.array([(i, j) for i in range(2) for j in range(2)])
_CORNERS, _PARTS = np.array([0, 2, 6, 8]), np.array([0, 1, 3, 4])


def _each(job: Job) -> Filled:
    grid, block = job.grid, job.block
    lon, lat = np.meshgrid(
        grid.lon_deg(block.column, block.columns), grid.lat_deg(block.row, block.rows)
    )
    found = cells_at(lon.ravel(), lat.ravel(), job.options)
    shape = (block.rows, block.columns)
    return Filled(
        found.numbers.T.reshape(-1, *shape).astype(np.float32),
        np.ascontiguousarray(found.classes.T.reshape(-1, *shape)),
    )


class _Nodes:
    """Values at the nodes of a block that were asked so far, and the block as it fills."""

    def __init__(self, job: Job, widest: int) -> None:
        block = job.block
        self.options, self.grid = job.options, job.grid
        self.rows = -(-block.rows // widest) * widest
        self.columns = -(-block.columns // widest) * widest
        self.lon = job.grid.lon_deg(block.column, self.columns + 1)
        self.lat = job.grid.lat_deg(block.row, self.rows + 1)
        self.cell_m = max(max(job.grid.cell_m(float(v))) for v in self.lat[[0, -1]])
        shape = (self.rows + 1, self.columns + 1)
        self.row_of = np.full(shape, -1, np.int64)
        """Where the values of a node stand in the lists below."""
        self.land = np.empty(0, bool)
        self.here_m = np.empty((0, 3))
        self.shore_m = np.empty((0, 3))
        self.chord_m = np.empty(0)
        self.number = np.empty((0, len(NUMBERS)))
        self.code = np.empty((0, len(CLASS_BANDS)), np.uint8)
        self.out = np.full((len(NUMBERS), self.rows, self.columns), np.nan, np.float32)
        self.out_code = np.full((len(CLASS_BANDS), self.rows, self.columns), SEA_CODE, np.uint8)
        self.home_m = ecef_m(self.lon.mean(), self.lat.mean())
        on_meridian = ecef_m(np.zeros(len(self.lat)), self.lat)
        self.axis_m, self.up_m = on_meridian[:, 0], on_meridian[:, 2]
        self.turn = np.radians(self.lon)
        bent = np.hypot(2.0, np.tan(np.radians(np.abs(self.lat).max())))
        self.beside_by_m = bent / (8 * LEAST_RADIUS_M)
        """How far a cell may lie beside the plane of nodes around it, by the square of their
        spacing: a line is bent away from its chord by an eighth of its square over its radius; the
        ground is, along both sides, and so is the parallel, towards the pole."""

    def ask(self, at: Ints) -> None:
        """Work out the nodes that are not known yet."""
        flat = np.unique(at[:, 0] * self.row_of.shape[1] + at[:, 1])
        flat = flat[self.row_of.ravel()[flat] < 0]
        row, column = np.divmod(flat, self.row_of.shape[1])
        found = cells_at(self.lon[column], self.lat[row], self.options)
        self.row_of[row, column] = len(self.land) + np.arange(len(flat))
        shore = ecef_m(*found.shore_deg.T) - self.home_m
        here = ecef_m(self.lon[column], self.lat[row]) - self.home_m
        self.land = np.r_[self.land, found.land]
        self.here_m = np.r_[self.here_m, here]
        self.shore_m = np.r_[self.shore_m, shore]
        self.chord_m = np.r_[self.chord_m, np.linalg.norm(here - shore, axis=1)]
        self.number = np.r_[self.number, found.numbers]
        self.code = np.r_[self.code, found.classes]

    def agree(self, nine: Ints, side: int) -> NDArray[np.bool_]:
        """Whether the nodes of squares (n, 9, 2) say that cells between them may be filled."""
        at = self.row_of[nine[..., 0], nine[..., 1]]
        land, chord, number, code = (
            v[at] for v in (self.land, self.chord_m, self.number, self.code)
        )
        nearest = chord.min(axis=1)
        one_side = (land == land[:, :1]).all(axis=1)
        # no place of the square is farther from a node than this: no shore passes unseen
        one_side &= nearest > 0.75 * side / 2 * self.cell_m
        sea = one_side & np.logical_not(land[:, 0])
        fit = one_side & land[:, 0] & (side * self.cell_m <= SQUARE_SHARE * nearest)
        fit &= (code == code[:, :1]).all(axis=(1, 2))
        value = np.concatenate([np.log(number[..., 1:4]), number[..., 4:]], axis=2)
        most = np.array([STEP_LN, STEP_LN, STEP_LN, STEP_HAZARD])
        off = np.abs(value - _expected(value[:, _CORNERS]))
        unknown = np.isnan(value)
        same = (unknown == unknown[:, :1]).all(axis=(1, 2))
        fit &= same & (np.where(unknown, 0.0, off) <= most).all(axis=(1, 2))
        return sea | fit

    def alone(self, at: Ints) -> None:
        """Fill cells by what is worked out for each of them."""
        self.ask(at)
        row, column = at.T
        own = self.row_of[row, column]
        self.out[:, row, column] = self.number[own].T
        self.out_code[:, row, column] = self.code[own].T

    def between(self, nine: Ints, half: int) -> NDArray[np.bool_]:
        """Fill the cells of squares from their nodes; whether every distance in one is sure."""
        sure = np.ones(len(nine), bool)
        land = np.flatnonzero(self.land[self.row_of[nine[:, 0, 0], nine[:, 0, 1]]])
        at_once = max(1, _AT_ONCE // (2 * half) ** 2)
        for first in range(0, len(land), at_once):
            part = land[first : first + at_once]
            four = (nine[part][:, _PARTS][:, :, None, :] + half * _FOUR).reshape(-1, 4, 2)
            sure[part] = self._between(four, half).reshape(-1, 4).all(axis=1)
        return sure

    def _between(self, four: Ints, half: int) -> NDArray[np.bool_]:
        at = self.row_of[four[..., 0], four[..., 1]]
        share = np.arange(half) / half
        weight = np.stack([np.outer(a, b) for a in (1 - share, share) for b in (1 - share, share)])
        step = np.arange(half)
        row = np.broadcast_to(four[:, 0, 0, None, None] + step[:, None], (len(four), half, half))
        column = np.broadcast_to(four[:, 0, 1, None, None] + step, row.shape)
        low, high = self._bounds(at, weight, row, column, half)
        number = self.number[at]
        number[..., 1:4] = np.log(number[..., 1:4])
        value = np.einsum("nkv,kij->vnij", number, weight)
        value[1:4] = np.exp(value[1:4])
        chord = (low + high) / 2
        value[0] = 2 * MEAN_RADIUS_M * np.arcsin(np.minimum(chord / (2 * MEAN_RADIUS_M), 1))
        self.out[:, row, column] = _short(value)
        self.out_code[:, row, column] = self.code[at[:, 0]].T[..., None, None]
        return np.asarray((high - low <= DISTANCE_SHARE * high).all(axis=(1, 2)))

    def _bounds(
        self, at: Ints, weight: Floats, row: Ints, column: Ints, half: int
    ) -> tuple[Floats, Floats]:
        """Least and greatest distance of cells to the shore, as chords, m."""
        turn = self.turn[column]
        here = (
            self.axis_m[row] * np.cos(turn) - self.home_m[0],
            self.axis_m[row] * np.sin(turn) - self.home_m[1],
            self.up_m[row] - self.home_m[2],
        )
        from_home2 = sum(v * v for v in here)
        high2 = np.full(row.shape, np.inf)
        for k in range(4):
            shore = self.shore_m[at[:, k]]
            away = (v - shore[:, i, None, None] for i, v in enumerate(here))
            high2 = np.minimum(high2, sum(v * v for v in away))
        high = np.sqrt(high2)
        node = self.here_m[at]
        concave = self.chord_m[at] ** 2 - np.einsum("nkv,nkv->nk", node, node)
        low2 = np.einsum("nk,kij->nij", concave, weight) + from_home2
        # a linear function changes by no more than its slope, twice the shore's place, times this
        beside_m = self.beside_by_m * (half * self.cell_m) ** 2
        low2 -= 2 * beside_m * (np.sqrt(from_home2) + high)
        return np.sqrt(np.maximum(low2, 0.0)), high

    def cut(self, block: Block) -> Filled:
        """The block without what reaches beyond it."""
        return Filled(
            np.ascontiguousarray(self.out[:, : block.rows, : block.columns]),
            np.ascontiguousarray(self.out_code[:, : block.rows, : block.columns]),
        )


_AT_ONCE = 400_000
"""Cells filled at once, which bounds memory."""


def _expected(corner: Floats) -> Floats:
    """What four corners (n, 4, values) say of the nine nodes of their square."""
    share = np.array([0.0, 0.5, 1.0])
    weight = np.stack([np.outer(a, b).ravel() for a in (1 - share, share)
                       for b in (1 - share, share)])  # fmt: skip
    return np.einsum("nkv,km->nmv", corner, weight)


def _short(value: Floats) -> NDArray[np.float32]:
    """Numbers without the last bits that say nothing."""
    bits = np.ascontiguousarray(value, np.float32).view(np.uint32)
    drop = 23 - MANTISSA_BITS
    kept = (bits + np.uint32(1 << (drop - 1))) & np.uint32(~((1 << drop) - 1) & 0xFFFFFFFF)
    return np.where(np.isnan(value), np.float32(np.nan), kept.view(np.float32))
