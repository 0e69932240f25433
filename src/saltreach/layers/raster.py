"""Rasters at points: one read for each square of cells that holds any."""

from __future__ import annotations

import warnings
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from saltreach.errors import LayerError
from saltreach.intake import sizes
from saltreach.intake.gdal import existing, readable
from saltreach.intake.positions import is_usable

if TYPE_CHECKING:
    from affine import Affine
    from rasterio.io import DatasetReader

WINDOW_CELLS = 512
"""Side of the windows in which a raster is read, cells (rounded up to whole blocks)."""
_WIDEST = 8
"""Times that side at most, where blocks are wider (strips of a whole raster)."""

Floats = NDArray[np.float64]


@contextmanager
def open_raster(path: Path, what: str) -> Iterator[DatasetReader]:
    """A raster that has a CRS, open for a while; `what` it is stands in the messages.

    Raises
    ------
    LayerError
        When the file is missing, cannot be read, has no CRS or no place on the Earth, is a
        picture, or is stored in blocks of more than `sizes.BLOCK_CELLS`; and when reading it
        fails later, inside the `with`.
    """
    existing(path, what, LayerError)
    fix = "it is damaged or no raster; give a GeoTIFF, or another raster that a GIS opens"
    said = f"{what} {path.name} cannot be read"
    with readable(path, said, fix, LayerError):
        raster = _opened(path)
    with raster, readable(path, said, fix, LayerError, ours=True):
        _usable(raster, f"{what} {path.name}")
        yield raster


def _usable(raster: DatasetReader, what: str) -> None:
    """Raise where cells are no numbers, lie nowhere or cannot be read part by part."""
    from pyproj import CRS
    from rasterio.enums import ColorInterp

    if not raster.count:
        raise LayerError(f"{what} has no bands of its own; give one of its parts")
    if raster.crs is None or not is_usable(CRS.from_user_input(raster.crs.to_wkt())):
        raise LayerError(f"{what} has no CRS; give it one (for example with gdal_edit -a_srs)")
    if raster.transform.is_identity or not raster.transform.determinant:
        raise LayerError(
            f"{what} does not say where on the Earth its cells lie; give a GeoTIFF, or the "
            "raster with its world file beside it"
        )
    if raster.colorinterp[0] == ColorInterp.red:
        raise LayerError(f"{what} is a picture in colours; give a raster of numbers")
    high, wide = raster.block_shapes[0]
    fix = "store it in tiles (for example gdal_translate -co TILED=YES)"
    sizes.within(high * wide, sizes.BLOCK_CELLS, what, "cells in one block", fix, LayerError)


def _opened(path: Path) -> DatasetReader:
    import rasterio

    with warnings.catch_warnings():
        # a raster without a place is refused with our own words
        warnings.simplefilter("ignore", rasterio.errors.NotGeoreferencedWarning)
        return rasterio.open(path)


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
    most = _WIDEST * window_cells
    sides = [min(-(-window_cells // block) * block, most) for block in raster.block_shapes[0]]
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
    from rasterio.windows import Window

    cells = np.full((rows, columns), np.nan)
    first, last = max(top, 0), min(top + rows, raster.height)
    west, east = max(left, 0), min(left + columns, raster.width)
    window = Window(west, first, east - west, last - first)
    read = raster.read(1, window=window, masked=True)
    cells[first - top : last - top, west - left : east - left] = np.ma.filled(
        read.astype(float), np.nan
    )
    return cells
