"""A surface as a Zarr store by the CF conventions."""

from __future__ import annotations

from collections.abc import Iterable
from pathlib import Path
from typing import TYPE_CHECKING

from saltreach.assessment.surface_blocks import Filled
from saltreach.assessment.surface_cells import CLASS_BANDS, NUMBERS, SEA_CODE
from saltreach.assessment.surface_grid import Block
from saltreach.errors import OptionError
from saltreach.workers import INSTALL

if TYPE_CHECKING:
    import xarray as xr


def write_zarr(store: Path, cells: xr.Dataset, blocks: Iterable[tuple[Block, Filled]]) -> None:
    """Write a store, one chunk a block.

    Parameters
    ----------
    store : pathlib.Path
        A folder that is not there yet.
    cells : Dataset
        From `surface`: names, sizes, chunks and attributes; it is not worked out.
    blocks : iterable
        Blocks with land; the rest is sea.

    Raises
    ------
    OptionError
        The package zarr is not installed.
    """
    require_zarr()
    import zarr

    missing = {band.name: {"_FillValue": float("nan")} for band in NUMBERS}
    missing |= {band.name: {"_FillValue": SEA_CODE} for band in CLASS_BANDS}  # type: ignore[dict-item]
    cells.to_zarr(store, compute=False, zarr_format=2, consolidated=True, encoding=missing)
    group = zarr.open_group(store, mode="r+", zarr_format=2)
    for block, filled in blocks:
        rows = slice(block.row, block.row + block.rows)
        columns = slice(block.column, block.column + block.columns)
        for band, values in zip(
            (*NUMBERS, *CLASS_BANDS), (*filled.numbers, *filled.classes), strict=True
        ):
            group[band.name][rows, columns] = values


def require_zarr() -> None:
    """Raise where the package zarr is not installed.

    Raises
    ------
    OptionError
        With how to install it.
    """
    try:
        import zarr  # noqa: F401
    except ImportError as error:
        raise OptionError(f"a .zarr folder needs the package zarr; {INSTALL}") from error
