"""One band of classes of a surface, small and in web Mercator, to be drawn behind a map."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, NamedTuple
from warnings import catch_warnings

import numpy as np
from numpy.typing import NDArray

from saltreach.assessment.surface_cells import CLASS_BANDS, NUMBERS, SEA_CODE, Band
from saltreach.errors import LayerError

if TYPE_CHECKING:
    import pandas as pd

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
    from rasterio.errors import NotGeoreferencedWarning, RasterioError
    from rasterio.warp import Resampling, calculate_default_transform, reproject, transform_bounds

    path = Path(file)
    try:
        with (
            catch_warnings(action="ignore", category=NotGeoreferencedWarning),
            rasterio.open(path) as found,
        ):
            names = found.descriptions
        if names == tuple(band.name for band in NUMBERS):
            path = path.with_name(f"{path.stem}_{DRAWN}{path.suffix}")
            with rasterio.open(path) as found:
                names = found.descriptions
        band = _BY_NAME.get(names[0] or "") if len(names) == 1 else None
        if band is None:
            raise LayerError(
                f"{path.name} is no surface, or a damaged one: give a .tif that `saltreach "
                "surface` wrote"
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


def coverage_note(picture: Picture, anchors: pd.DataFrame) -> str:
    """What to say where a picture does not reach every sector; empty where it does.

    Parameters
    ----------
    picture : Picture
        From `surface_picture`.
    anchors : DataFrame
        With `crag`, `sector`, `lon` and `lat`, degrees. A sector is covered where one of its
        anchors lies in the picture's box.
    """
    west, south, east, north = picture.bounds_deg
    lon, lat = anchors["lon"], anchors["lat"]
    inside = lon.between(west, east) & lat.between(south, north)
    by_sector = inside.groupby([anchors["crag"], anchors["sector"]], sort=False).any()
    covered, every = int(by_sector.sum()), len(by_sector)
    if covered == every:
        return ""
    if covered:
        return f"it covers {covered} of {every} sectors"
    tenths = [*np.floor([lon.min() * 10, lat.min() * 10]),
              *(np.floor([lon.max() * 10, lat.max() * 10]) + 1)]  # fmt: skip
    box = " ".join(f"{tenth / 10:g}" for tenth in tenths)
    return (
        f"it covers none of the sectors, so nothing of it is seen behind them: it is of the box "
        f"{west:g} {south:g} {east:g} {north:g} (W S E N), and the anchors lie in {box}; make one "
        f"with saltreach surface --bbox {box}"
    )


def _level(path: Path, most_pixels: int) -> dict[str, int]:
    """The coarsest overview that is still finer than the picture."""
    import rasterio

    with rasterio.open(path) as raster:
        longest = max(raster.width, raster.height)
        fine = [i for i, by in enumerate(raster.overviews(1)) if longest / by >= most_pixels]
    return {"overview_level": fine[-1]} if fine else {}
