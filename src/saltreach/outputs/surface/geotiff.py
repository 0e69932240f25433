"""A surface as Cloud-Optimized GeoTIFFs: one of numbers, and one for each band of classes.

A GeoTIFF has one type and one colour table for all its bands, and one way to make its overviews:
numbers are averaged, a class never is (the most frequent one stands). So each class is a file.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from pathlib import Path
from typing import Any
from xml.etree import ElementTree as ET

import numpy as np

from saltreach.assessment.surface import codes_of
from saltreach.assessment.surface_blocks import Filled
from saltreach.assessment.surface_cells import CLASS_BANDS, NUMBERS, SEA_CODE, Band
from saltreach.assessment.surface_grid import Block, Grid
from saltreach.outputs.surface.colours import colours_of, rgb_of

TILE = 512
_CACHE_BYTES = 128 << 20


def names_of(name: str) -> dict[str, Band | None]:
    """Files of a surface by the name of the first: None for that of the numbers."""
    stem, _, end = name.rpartition(".")
    return {name: None} | {f"{stem}_{band.name}.{end}": band for band in CLASS_BANDS}


def write_geotiffs(
    folder: Path,
    name: str,
    grid: Grid,
    blocks: Iterable[tuple[Block, Filled]],
    about: Mapping[str, str],
) -> None:
    """Write the files of a surface into a folder.

    Parameters
    ----------
    folder : pathlib.Path
        A folder of our own; what passes is removed from it.
    name : str
        Of the file of numbers.
    grid : Grid
        Where the cells are.
    blocks : iterable
        Blocks with land; the rest is sea.
    about : mapping
        Attributes of the surface.
    """
    import rasterio
    from rasterio.shutil import copy
    from rasterio.windows import Window

    files = names_of(name)
    passing = {file: folder / f"{file}.passing" for file in files}
    with rasterio.Env(GDAL_CACHEMAX=_CACHE_BYTES):
        opened = {file: rasterio.open(path, "w", **_profile(grid, files[file]))
                  for file, path in passing.items()}  # fmt: skip
        try:
            for file, band in files.items():
                _describe(opened[file], band, about)
            for block, filled in blocks:
                window = Window(block.column, block.row, block.columns, block.rows)
                for number, (file, band) in enumerate(files.items(), -1):
                    values = filled.numbers if band is None else filled.classes[number][None]
                    opened[file].write(values, window=window)
        finally:
            for one in opened.values():
                one.close()
        for file, path in passing.items():
            band = files[file]
            copy(
                path, folder / file, driver="COG", compress="DEFLATE", level=6,
                predictor="FLOATING_POINT" if band is None else "STANDARD", blocksize=TILE,
                overview_resampling="AVERAGE" if band is None else "MODE",
                num_threads="ALL_CPUS", bigtiff="IF_SAFER", statistics="NO",
            )  # fmt: skip
            path.unlink()
            (folder / f"{path.name}.aux.xml").unlink(missing_ok=True)
            if band is not None:
                (folder / f"{file}.aux.xml").write_text(_names(band), encoding="utf-8")


def _profile(grid: Grid, band: Band | None) -> dict[str, Any]:
    from rasterio.transform import Affine

    west, _, _, north = grid.bounds_deg
    number = band is None
    return {
        "driver": "GTiff", "crs": "EPSG:4326", "width": grid.columns, "height": grid.rows,
        "transform": Affine(grid.lon_step_deg, 0, west, 0, -grid.lat_step_deg, north),
        "count": len(NUMBERS) if number else 1, "dtype": "float32" if number else "uint8",
        "nodata": np.nan if number else SEA_CODE, "tiled": True, "blockxsize": TILE,
        "blockysize": TILE, "sparse_ok": True, "bigtiff": "IF_SAFER", "interleave": "band",
    }  # fmt: skip


def _describe(to: Any, band: Band | None, about: Mapping[str, str]) -> None:
    to.update_tags(**about)
    bands = NUMBERS if band is None else (band,)
    to.descriptions = [one.name for one in bands]
    to.units = [one.unit for one in bands]
    to.scales, to.offsets = [1.0] * len(bands), [0.0] * len(bands)
    for i, one in enumerate(bands, 1):
        to.update_tags(i, long_name=one.says)
    if band is not None:
        codes = {f"CLASS_{code}": word for code, word in codes_of(band).items()}
        to.update_tags(1, **codes, **{f"CLASS_{SEA_CODE}": "no land"})
        to.write_colormap(1, {code: (*rgb_of(c), 255) for code, c in colours_of(band).items()})


def _names(band: Band) -> str:
    """Names of the classes as GDAL keeps them beside a raster."""
    root = ET.Element("PAMDataset")
    names = ET.SubElement(ET.SubElement(root, "PAMRasterBand", band="1"), "CategoryNames")
    for word in codes_of(band).values():
        ET.SubElement(names, "Category").text = word
    return ET.tostring(root, encoding="unicode") + "\n"
