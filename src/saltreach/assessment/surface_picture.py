"""One band of classes of a surface, small and in web Mercator, to be drawn behind a map."""

from __future__ import annotations

from pathlib import Path
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from saltreach.assessment.surface_cells import CLASS_BANDS, NUMBERS, SEA_CODE, Band
from saltreach.errors import LayerError

MOST_PIXELS = 1500
"""Longest side of the picture."""
_BY_NAME = {band.name: band for band in CLASS_BANDS}
DRAWN = "corrosivity_category"
"""Band that is drawn where the file of the numbers is given."""


class Picture(NamedTuple):
    """Codes of a band, rows from north, at even steps of web Mercator.

    `bounds_deg`: west, south, east and north edge.
    """

    band: Band
    codes: NDArray[np.uint8]
    bounds_deg: tuple[float, float, float, float]


def surface_picture(file: Path | str, most_pixels: int = MOST_PIXELS) -> Picture:
    """Read a band of classes that `saltreach surface` wrote.

    Parameters
    ----------
    file : path
        GeoTIFF of a class, or of the numbers: then the category beside it.
    most_pixels : int
        Longest side of the picture.

    Returns
    -------
    Picture

    Raises
    ------
    LayerError
        The file cannot be read, or is no surface.
    """
    import rasterio
    from rasterio.crs import CRS
    from rasterio.errors import RasterioError
    from rasterio.warp import Resampling, calculate_default_transform, reproject, transform_bounds

    path = Path(file)
    try:
        with rasterio.open(path) as found:
            names = found.descriptions
        if names == tuple(band.name for band in NUMBERS):
            path = path.with_name(f"{path.stem}_{DRAWN}{path.suffix}")
            with rasterio.open(path) as found:
                names = found.descriptions
        band = _BY_NAME.get(names[0] or "") if len(names) == 1 else None
        if band is None:
            raise LayerError(
                f"{path.name} is no surface: give a .tif that `saltreach surface` wrote"
            )
        with rasterio.open(path, **_level(path, most_pixels)) as raster:
            mercator = CRS.from_epsg(3857)
            transform, wide, high = calculate_default_transform(
                raster.crs, mercator, raster.width, raster.height, *raster.bounds
            )
            by = max(1.0, max(wide, high) / most_pixels)
            wide, high = max(1, int(wide / by)), max(1, int(high / by))
            west, south, east, north = transform_bounds(raster.crs, mercator, *raster.bounds)
            transform = rasterio.transform.from_bounds(west, south, east, north, wide, high)
            codes = np.full((high, wide), SEA_CODE, np.uint8)
            reproject(
                rasterio.band(raster, 1), codes, dst_transform=transform, dst_crs=mercator,
                src_nodata=SEA_CODE, dst_nodata=SEA_CODE, resampling=Resampling.nearest,
            )  # fmt: skip
            bounds = tuple(raster.bounds)
    except (RasterioError, OSError) as error:
        said = " ".join(str(error).split())
        raise LayerError(
            f"surface {path.name} cannot be read ({said}): give a .tif that `saltreach surface` "
            "wrote, with the files beside it"
        ) from error
    return Picture(band, codes, bounds)


def _level(path: Path, most_pixels: int) -> dict[str, int]:
    """The coarsest overview that is still finer than the picture."""
    import rasterio

    with rasterio.open(path) as raster:
        longest = max(raster.width, raster.height)
        fine = [i for i, by in enumerate(raster.overviews(1)) if longest / by >= most_pixels]
    return {"overview_level": fine[-1]} if fine else {}
