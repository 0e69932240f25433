"""Horn's slope and aspect against RichDEM (Barnes 2016; PyPI `py-richdem`, test only)."""

import warnings

import numpy as np
import pytest
import rasterio
from rasterio.transform import from_origin

from helpers.peers import peer
from saltreach.layers.terrain import read_terrain

richdem = peer("richdem")

# rasterio itself multiplies affine transforms in the way that affine 3 announces to drop.
pytestmark = pytest.mark.filterwarnings("ignore:Use `@` matmul:PendingDeprecationWarning")


@pytest.mark.pinned("peer", answers=3)
def test_rough_ground_against_richdem(tmp_path):
    """Cell by cell on a random surface in UTM; its scale of 0.9996 is put into the peer's cells."""
    from pyproj import Transformer

    rng = np.random.default_rng(2)
    heights = np.cumsum(np.cumsum(rng.normal(0, 1.5, (60, 60)), axis=0), axis=1)
    east0, north0 = Transformer.from_crs(4326, 32630, always_xy=True).transform(-3.0, 43.0)
    transform = from_origin(east0 - 300, north0 + 300, 10, 10)
    path = tmp_path / "rough.tif"
    profile = {"driver": "GTiff", "height": 60, "width": 60, "count": 1, "dtype": "float64",
               "crs": "EPSG:32630", "transform": transform}  # fmt: skip
    with rasterio.open(path, "w", **profile) as raster:
        raster.write(heights, 1)
    column, row = (v.ravel() for v in np.meshgrid(np.arange(1, 59), np.arange(1, 59)))
    lon, lat = Transformer.from_crs(32630, 4326, always_xy=True).transform(
        *(transform * (column + 0.5, row + 0.5))
    )
    ours = read_terrain(path, lon, lat)

    ground = richdem.rdarray(heights, no_data=-9999)
    ground.geotransform = (0, 10 / 0.9996, 0, 0, 0, -10 / 0.9996)
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", DeprecationWarning)
        slope = np.asarray(richdem.TerrainAttribute(ground, attrib="slope_degrees"))[row, column]
        aspect = np.asarray(richdem.TerrainAttribute(ground, attrib="aspect"))[row, column]
    assert slope.max() > 60
    assert ours["slope_deg"].to_numpy() == pytest.approx(slope, abs=0.005)
    turn = (ours["aspect_deg"].to_numpy() - aspect + 180) % 360 - 180
    steep = slope > 2
    assert steep.sum() > 2000
    assert np.abs(turn[steep]).max() < 0.02
    assert ours["elevation_m"].to_numpy() == pytest.approx(heights[row, column], abs=1e-4)
