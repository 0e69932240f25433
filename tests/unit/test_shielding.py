"""A synthetic coast: the sea to the west, a ridge or nothing between it and the place."""

import numpy as np
import pytest
import rasterio
from affine import Affine

from saltreach.layers.shielding import sea_shielding

DEGREE_M = 111_319.49  # along the equator, WGS 84


def raster(path, ridge_m):
    """Cells of 0.0005 degrees on the equator; a ridge 1 km east of the shore at longitude 0."""
    lon = (np.arange(200) + 0.5) * 0.0005
    heights = np.where(np.abs(lon * DEGREE_M - 1000) < 60, ridge_m, 10.0)
    heights = np.tile(heights.astype("float32"), (40, 1))
    with rasterio.open(
        path, "w", driver="GTiff", width=200, height=40, count=1, dtype="float32",
        crs="EPSG:4326", transform=Affine(0.0005, 0, 0, 0, -0.0005, 0.01), nodata=-9999,
    ) as out:  # fmt: skip
        out.write(heights, 1)
    return path


def shielding(path, distance_m):
    lon = np.atleast_1d(distance_m) / DEGREE_M
    zero = np.zeros(len(lon))
    return sea_shielding(path, lon, zero, zero, zero, np.atleast_1d(distance_m))


def test_a_ridge_hides_the_sea_from_behind_and_not_from_before(tmp_path):
    path = raster(tmp_path / "ridge.tif", 300.0)
    assert shielding(path, [500.0, 1500.0]).tolist() == [0.0, 1.0]


@pytest.mark.pinned("judgement")
def test_the_rise_is_the_ridges_angle(tmp_path):
    """A ridge 290 m above the place, 3 km before it: atan(290/3000) = 5.52 degrees, of the 15 that
    shelter wholly (judgement)."""
    path = raster(tmp_path / "ridge.tif", 300.0)
    assert shielding(path, 4000.0)[0] == pytest.approx(5.52 / 15, rel=0.06)


def test_higher_ground_never_shields_less(tmp_path):
    found = [shielding(raster(tmp_path / f"{h}.tif", h), 4000.0)[0] for h in (10, 60, 200, 900)]
    assert found == sorted(found)
    assert found[0] == 0


def test_unknown_outside_the_raster_and_far_from_the_sea(tmp_path):
    path = raster(tmp_path / "ridge.tif", 300.0)
    assert np.isnan(shielding(path, [15_000.0, 30_000.0])).all()
