"""Copernicus DEM GLO-30: heights of one second of arc, a Cloud-Optimized GeoTIFF a degree.

Only the parts of a tile that a box needs travel over the network. Tiles of the open ocean do not
exist (there the height is 0 by the service's own word), nor do those of a few countries; both are
left unknown here.

Documentation: the bucket's readme (names, spacing by latitude, missing tiles) and the Copernicus
DEM Product Handbook.
"""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import ExitStack, contextmanager
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from saltreach.errors import cause_of
from saltreach.layers.online.web import RemoteFile, RemoteReader, Request, ServiceError, Web
from saltreach.layers.where import Box

if TYPE_CHECKING:
    from affine import Affine
    from rasterio.io import DatasetReader

SERVICE = "Copernicus DEM"
CELLS_PER_DEGREE = 3600
"""Rows of a tile; columns are fewer towards the poles."""
NO_TILE = (403, 404)
"""What a bucket answers where there is no such file; 403 where it does not list its files."""
_BLOCK = 1024  # cells; a block of steep ground packs to about 2.5 MB (measured on invented heights)
_BLOCK_BYTES, _HEAD_BYTES = 2_500_000, 65_536


def tile_name(west_deg: int, south_deg: int) -> str:
    """Name of the tile whose south-west corner is at whole degrees.

    Examples
    --------
    >>> tile_name(-6, 43)
    'Copernicus_DSM_COG_10_N43_00_W006_00_DEM'
    >>> tile_name(172, -44)
    'Copernicus_DSM_COG_10_S44_00_E172_00_DEM'
    """
    lat = f"{'N' if south_deg >= 0 else 'S'}{abs(south_deg):02d}"
    lon = f"{'E' if west_deg >= 0 else 'W'}{abs(west_deg):03d}"
    return f"Copernicus_DSM_COG_10_{lat}_00_{lon}_00_DEM"


def requests_of(address: str, box: Box) -> list[Request]:
    """The tiles that a box reaches into, with the size of what is needed of each."""
    west, south, east, north = box
    found = []
    for y in range(int(np.floor(south)), int(np.ceil(north))):
        for x in range(int(np.floor(west)), int(np.ceil(east))):
            across = (min(east, x + 1) - max(west, x)) * CELLS_PER_DEGREE / _BLOCK
            down = (min(north, y + 1) - max(south, y)) * CELLS_PER_DEGREE / _BLOCK
            blocks = (np.ceil(across) + 1) * (np.ceil(down) + 1) / 2  # it seldom meets every edge
            name = tile_name((x + 180) % 360 - 180, y)
            size = int(_HEAD_BYTES + blocks * _BLOCK_BYTES)
            found.append(Request(SERVICE, f"{address}/{name}/{name}.tif", about_bytes=size))
    return found


@contextmanager
def opened_tile(web: Web, request: Request) -> Iterator[DatasetReader]:
    """A tile, read part by part.

    Raises
    ------
    ServiceError
        The server fails; `status` is 403 or 404 where there is no such tile.
    """
    import rasterio

    file = RemoteFile(web, request)
    file.size()  # a missing tile is said by the server, not by GDAL

    def opener(path: str, mode: str = "rb") -> RemoteReader:
        return RemoteReader(file)

    with rasterio.Env(GDAL_DISABLE_READDIR_ON_OPEN="EMPTY_DIR"):
        try:
            with rasterio.open("remote/tile.tif", opener=opener) as tile:
                yield tile
        except rasterio.errors.RasterioError as error:
            if file.failed is not None:
                raise file.failed from error
            raise


def heights_in(
    web: Web, address: str, box: Box
) -> tuple[NDArray[np.float32], Affine, list[str]] | None:
    """Heights of a box as one raster, from the tiles it reaches into.

    Parameters
    ----------
    web : Web
        The session.
    address : str
        Of the bucket.
    box : tuple of float
        West, south, east, north, degrees.

    Returns
    -------
    heights : ndarray, shape (rows, columns)
        Metres, to the decimetre, NaN where there is no tile or no data; rows from the north.
    transform : Affine
        From columns and rows to longitude and latitude.
    missing : list of str
        Names of the tiles that do not exist.
    None where no tile exists.

    Raises
    ------
    ServiceError
        The server fails, or gives something else than heights in degrees.
    """
    import rasterio
    from rasterio.enums import Resampling
    from rasterio.merge import merge

    missing: list[str] = []
    try:
        with ExitStack() as stack:
            tiles = []
            for request in requests_of(address, box):
                try:
                    tile = stack.enter_context(opened_tile(web, request))
                except ServiceError as error:
                    if error.status not in NO_TILE:
                        raise
                    missing.append(request.url.rpartition("/")[2].removesuffix(".tif"))
                    continue
                if tile.crs is None or not tile.crs.is_geographic or tile.count != 1:
                    raise ServiceError(f"{SERVICE} answered with another raster: {request.url}")
                tiles.append(tile)
            if not tiles:
                return None
            finest = min(tiles, key=lambda one: one.res[0])
            cells, transform = merge(
                tiles, bounds=_on_grid(box, finest), res=finest.res, nodata=np.nan,
                dtype="float32", resampling=Resampling.bilinear,
            )  # fmt: skip
    except rasterio.errors.RasterioError as error:
        raise ServiceError(f"{SERVICE} answered with a file that is no raster, or damaged "
                           f"({cause_of(error)})") from error  # fmt: skip
    heights = np.round(cells[0], 1)
    heights[np.abs(heights) > 9000] = np.nan  # fill values that a file does not declare
    return heights, transform, missing


def _on_grid(box: Box, tile: DatasetReader) -> Box:
    """The box widened to whole cells of a tile, so that nothing is resampled."""
    across, down = tile.res
    left, top = tile.bounds.left, tile.bounds.top
    west, south, east, north = box
    return (
        left + np.floor((west - left) / across) * across,
        top - np.ceil((top - south) / down) * down,
        left + np.ceil((east - left) / across) * across,
        top - np.floor((top - north) / down) * down,
    )
