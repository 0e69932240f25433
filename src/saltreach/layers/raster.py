"""Rasters at points: one read for each square of cells that holds any."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from saltreach.errors import LayerError

if TYPE_CHECKING:
    from affine import Affine
    from rasterio.io import DatasetReader

WINDOW_CELLS = 512
"""Side of the windows in which a raster is read, cells (rounded up to whole blocks)."""

Floats = NDArray[np.float64]


def open_raster(path: Path, what: str) -> DatasetReader:
    """A raster that has a CRS; `what` it is stands in the messages.

    Raises
    ------
    LayerError
        When the file is missing, cannot be read or has no CRS.
    """
    import rasterio

    if not path.is_file():
        raise LayerError(f"{what} {path} does not exist")
    try:
        raster = rasterio.open(path)
    except rasterio.errors.RasterioIOError as error:
        raise LayerError(f"{what} {path.name} cannot be read: {error}") from error
    if raster.crs is None:
        raster.close()
        raise LayerError(
            f"{what} {path.name} has no CRS; give it one (for example with gdal_edit -a_srs)"
        )
    return raster


def moved(transform: Affine, across: Floats, down: Floats) -> tuple[Floats, Floats]:
    """Apply an affine transform (written out: its operator changes between versions)."""
    return (
        transform.a * across + transform.b * down + transform.c,
        transform.d * across + transform.e * down + transform.f,
    )


def cell_position(raster: DatasetReader, lon: Floats, lat: Floats) -> tuple[Floats, Floats]:
    """Row and column as fractions, 0 at the outer edge of the first cell; NaN outside."""
    from pyproj import Transformer

    to_raster = Transformer.from_crs(4326, raster.crs.to_wkt(), always_xy=True)
    easting, northing = (np.asarray(v, float) for v in to_raster.transform(lon, lat))
    if raster.crs.is_geographic:  # a raster may count 0..360
        middle = (raster.bounds.left + raster.bounds.right) / 2
        easting = middle + (easting - middle + 180) % 360 - 180
    column, row = moved(~raster.transform, easting, northing)
    inside = (row >= 0) & (row < raster.height) & (column >= 0) & (column < raster.width)
    return np.where(inside, row, np.nan), np.where(inside, column, np.nan)


def windows(
    raster: DatasetReader,
    row: Floats,
    column: Floats,
    *,
    margin: int = 0,
    window_cells: int = WINDOW_CELLS,
) -> Iterator[tuple[NDArray[np.int64], Floats, int, int]]:
    """Points by the window they lie in, each window read once.

    Parameters
    ----------
    raster : DatasetReader
        From `open_raster`.
    row, column : ndarray, shape (n,)
        From `cell_position`.
    margin : int
        Cells to read around those that hold points; beyond the raster they are NaN.
    window_cells : int
        Side of a read, cells. Memory is one window.

    Yields
    ------
    points, cells, top, left
        Which points, the first band as floats (NaN without data), and the row and column of
        its first cell.
    """
    sides = [-(-window_cells // block) * block for block in raster.block_shapes[0]]
    points = np.flatnonzero(np.isfinite(row))
    window = (row[points] // sides[0]).astype(np.int64) * (raster.width // sides[1] + 1)
    window += (column[points] // sides[1]).astype(np.int64)
    order = np.argsort(window, kind="stable")
    points, window = points[order], window[order]
    for part in np.split(points, np.flatnonzero(np.diff(window)) + 1):
        if not len(part):
            continue
        rows, columns = row[part].astype(np.int64), column[part].astype(np.int64)
        top, left = int(rows.min()) - margin, int(columns.min()) - margin
        height, width = int(rows.max()) + margin + 1 - top, int(columns.max()) + margin + 1 - left
        yield part, read_window(raster, top, left, height, width), top, left


def read_window(raster: DatasetReader, top: int, left: int, rows: int, columns: int) -> Floats:
    """A window of the first band; cells outside the raster or without data are NaN."""
    import rasterio
    from rasterio.windows import Window

    cells = np.full((rows, columns), np.nan)
    first, last = max(top, 0), min(top + rows, raster.height)
    west, east = max(left, 0), min(left + columns, raster.width)
    window = Window(west, first, east - west, last - first)
    try:
        read = raster.read(1, window=window, masked=True)
    except rasterio.errors.RasterioIOError as error:
        raise LayerError(f"raster {Path(raster.name).name} cannot be read: {error}") from error
    cells[first - top : last - top, west - left : east - left] = np.ma.filled(
        read.astype(float), np.nan
    )
    return cells
