"""A surface as a Zarr store by the CF conventions."""

from __future__ import annotations

import warnings
from collections.abc import Iterable
from pathlib import Path
from typing import TYPE_CHECKING, Any

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

    missing: dict[str, dict[str, float]] = {b.name: {"fill_value": float("nan")} for b in NUMBERS}
    missing |= {band.name: {"fill_value": SEA_CODE} for band in CLASS_BANDS}
    with warnings.catch_warnings():
        # a program that does not know the list of all metadata reads that of each array
        warnings.filterwarnings("ignore", "Consolidated metadata is currently not part")
        cells.to_zarr(store, compute=False, zarr_format=3, consolidated=True, encoding=missing)
    arrays: Any = zarr.open_group(store, mode="r+")
    for block, filled in blocks:
        rows = slice(block.row, block.row + block.rows)
        columns = slice(block.column, block.column + block.columns)
        for band, values in zip(
            (*NUMBERS, *CLASS_BANDS), (*filled.numbers, *filled.classes), strict=True
        ):
            arrays[band.name][rows, columns] = values


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
