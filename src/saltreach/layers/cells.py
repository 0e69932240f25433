"""Values that hold in cells of grids, as a region pack keeps them, and in which cell a place lies.

A table of cells has one row for each cell and source: `source`, the cell's middle `lon` and `lat`
(degrees, WGS 84), its width and height `cell_lon_deg` and `cell_lat_deg`, and columns of values
with their unit in the name; an empty one is unknown. A place has the values of the cell it lies
in and of no other: distances are compared in degrees, so that a cell is what its grid says.
"""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from saltreach.errors import LayerError
from saltreach.layers.pack import PackPart

Floats = NDArray[np.float64]

PLACE = ("source", "lon", "lat", "cell_lon_deg", "cell_lat_deg")
_EDGE = 1e-6  # of half a cell: a place on an edge has a cell in spite of rounding


def write_cells(path: Path, rows: Sequence[dict[str, object]], columns: Sequence[str]) -> None:
    """Write rows of cells as CSV, UTF-8, in the order of `columns`; what a row lacks is empty."""
    table = pd.DataFrame(rows).reindex(columns=[*PLACE, *columns])
    table = table.round({name: 5 if name in PLACE else 4 for name in table})
    table.to_csv(path, index=False, lineterminator="\n")


def read_cells(part: PackPart, file: str, columns: Sequence[str]) -> pd.DataFrame:
    """The cells that `write_cells` wrote into a part of a pack.

    Raises
    ------
    LayerError
        The file cannot be read, or lacks a column.
    """
    path = part.file(file)
    again = f"bring {part.name} again"
    try:
        table = pd.read_csv(path)
        numbers = [*PLACE[1:], *columns]
        table[numbers] = table[numbers].astype(float)
    except (OSError, ValueError, KeyError) as error:
        raise LayerError(f"pack {part.folder}: {file} cannot be read ({error}); {again}") from error
    if not np.isfinite(table[list(PLACE[1:])].to_numpy()).all():
        raise LayerError(f"pack {part.folder}: {file} has a cell without a place; {again}")
    return table


def cell_at(cells: pd.DataFrame, lon: Floats, lat: Floats) -> NDArray[np.intp]:
    """Row of the cell that each place lies in, -1 where it lies in none; cells of one source."""
    from scipy.spatial import cKDTree

    found = np.full(len(lon), -1)
    known = np.isfinite(lon) & np.isfinite(lat)
    if not len(cells) or not known.any():
        return found
    half = cells[["cell_lon_deg", "cell_lat_deg"]].iloc[0].to_numpy(float) / 2

    def scaled(lon: Floats, lat: Floats) -> Floats:
        return np.column_stack([np.mod(lon, 360.0), lat + 90.0]) / half

    tree = cKDTree(
        scaled(cells["lon"].to_numpy(float), cells["lat"].to_numpy(float)),
        boxsize=[360.0 / half[0], 1e9],
    )
    _, row = tree.query(scaled(lon[known], lat[known]), p=np.inf, distance_upper_bound=1.0 + _EDGE)
    found[known] = np.where(row < len(cells), row, -1)
    return found


def taken(values: Floats, row: NDArray[np.intp]) -> Floats:
    """Values of the rows from `cell_at`, NaN where there is none."""
    padded = np.concatenate([values, np.full((1, *values.shape[1:]), np.nan)])
    return np.asarray(padded[row])
