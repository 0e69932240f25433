"""Write a surface: block by block, kept on the way, in its place when all of it is there."""

from __future__ import annotations

import shutil
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, NamedTuple

from saltreach.assessment.surface import attributes, checked, surface
from saltreach.assessment.surface_blocks import FINE, Job, fill
from saltreach.assessment.surface_cells import SEA_CODE, opened
from saltreach.assessment.surface_grid import Grid, grid_of
from saltreach.errors import OptionError, OutputError, setting
from saltreach.folders.claim import Claim, claimed, result_set
from saltreach.folders.trouble import told
from saltreach.outputs.surface.geotiff import names_of, write_geotiffs
from saltreach.outputs.surface.parts import Parts
from saltreach.outputs.surface.style import styles_of
from saltreach.outputs.surface.zarr_store import require_zarr, write_zarr
from saltreach.vocabulary.words import counted
from saltreach.workers import workers

if TYPE_CHECKING:
    from saltreach.intake.options import Options

TIFF, ZARR = (".tif", ".tiff"), ".zarr"
BYTES_A_CELL = 60
"""Of disk while a surface is made, at most: its blocks, a file on the way, and the target."""


class Written(NamedTuple):
    """What was written: files or the folder, and the grid; `land` cells; blocks taken over."""

    paths: tuple[Path, ...]
    grid: Grid
    land: int
    resumed: int


def targets(out: Path, *, style: bool = False) -> tuple[str, ...]:
    """Names of all that a surface is, beside each other.

    Raises
    ------
    OutputError
        A name that says no format.
    OptionError
        A style of what is no GeoTIFF.
    """
    kind = out.suffix.lower()
    if kind == ZARR:
        if style:
            raise OptionError(
                f"{out}: a QGIS style is of a GeoTIFF; name it .tif, or leave {setting('style')} "
                "out"
            )
        return (f"{out.name}/zarr.json",)
    if kind not in TIFF:
        raise OutputError(f"{out}: name it .tif (GeoTIFF) or .zarr (a Zarr folder)")
    files = names_of(out.name)
    beside = [f"{name}.aux.xml" for name, band in files.items() if band is not None]
    return (*files, *beside, *(styles_of(out.name) if style else ()))


def write_surface(
    bbox: tuple[float, float, float, float],
    out: Path | str | Claim,
    name: str = "",
    *,
    resolution_m: float = 100.0,
    options: Options | None = None,
    rounding: str = FINE,
    style: bool = False,
    scheduler: str | None = None,
    processes: int | None = None,
    on_step: Callable[[str], None] = lambda _: None,
) -> Written:
    """Work out a surface and write it as GeoTIFFs or as a Zarr folder.

    What is done is kept beside the target until it stands: the same request goes on where an
    earlier one was cut off, and comes to the same bytes.

    Parameters
    ----------
    bbox, resolution_m, options, rounding
        As for `surface`.
    out : path or Claim
        `FILE.tif`: numbers, and `FILE_<class>.tif` beside it for each class. `FOLDER.zarr`: all in
        one. Of a folder that is held already, `name` says which file in it.
    name : str
        Name of the file where `out` is held.
    style : bool
        Also write a QGIS style beside each GeoTIFF.
    scheduler, processes
        As for `workers.workers`.
    on_step : callable
        Told the name of each step as it begins, and how far it is.

    Returns
    -------
    Written

    Raises
    ------
    OptionError
        As `surface`; or the box holds no land, or a Zarr folder is asked for styles.
    OutputError
        The target cannot be written, the disk is too small, or another run writes there.
    """
    held = isinstance(out, Claim)
    target = out.shown / name if isinstance(out, Claim) else Path(out)
    names = targets(target, style=style)
    grid, options = grid_of(bbox, resolution_m), checked(options, rounding)
    zarr = target.suffix.lower() == ZARR
    if zarr:
        require_zarr()
    with claimed(out if held else target.parent, only=names) as claim:
        _refuse_too_large(grid, claim)
        if zarr:
            _refuse_other_folder(claim, target.name)
        on_step("layers")
        opened(options)
        about = attributes(grid, options, rounding)
        with told(target):
            parts = Parts(claim.folder, target.name, about)
        left = [block for block in grid.blocks if not parts.has(block)]
        resumed = len(grid.blocks) - len(left)
        jobs = [Job(grid, block, options, rounding) for block in left]
        done = f"of {counted(len(grid.blocks), 'block')}"
        on_step(f"cells: {resumed} {done}")
        with workers(scheduler, count=processes or (1 if len(jobs) < 2 else None)) as by:
            for number, (block, filled) in enumerate(
                zip(left, by.map(fill, jobs), strict=True), resumed + 1
            ):
                with told(target):
                    parts.keep(block, filled)
                on_step(f"cells: {number} {done}")
        land = sum(
            int((filled.classes[0] != SEA_CODE).sum()) for _, filled in parts.filled(grid.blocks)
        )
        if not land:
            parts.remove()
            west, south, east, north = bbox
            raise OptionError(
                f"bbox {west:g} {south:g} {east:g} {north:g}: no cell of it has its middle on "
                "land; give a box that holds some, or smaller cells"
            )
        on_step("file")
        with told(target), result_set(claim, f"surface {target.name}",
                                      command="saltreach surface") as work:  # fmt: skip
            blocks = parts.filled(grid.blocks)
            if zarr:
                cells = surface(bbox, resolution_m, options, rounding=rounding)
                write_zarr(work / target.name, cells, blocks)
            else:
                write_geotiffs(work, target.name, grid, blocks, about)
                for file, text in (styles_of(target.name) if style else {}).items():
                    (work / file).write_text(text, encoding="utf-8")
        parts.remove()
    shown = (target.name,) if zarr else names
    return Written(tuple(target.parent / one for one in shown), grid, land, resumed)


def _refuse_too_large(grid: Grid, claim: Claim) -> None:
    """Before the work, what would not fit after it."""
    need = grid.cells * BYTES_A_CELL
    with told(claim.shown):
        free = shutil.disk_usage(claim.folder).free
    if need > free:
        raise OutputError(
            f"{claim.shown}: {grid.rows:,} x {grid.columns:,} cells of {grid.resolution_m:g} m may "
            f"need {need / 1e9:,.1f} GB while they are made, and {free / 1e9:,.1f} GB are free: "
            "give a smaller box, larger cells, or another --out"
        )


def _refuse_other_folder(claim: Claim, name: str) -> None:
    """A folder that is there and holds no surface of ours is somebody's."""
    ours = any(file.startswith(f"{name}/") for file in claim.manifest.files)
    if (claim.folder / name).exists() and not ours:
        raise OutputError(
            f"{claim.shown / name} is there already and saltreach did not write it: give another "
            "--out"
        )
