"""A synthetic coast: the sea to the west, a ridge or nothing between it and the place."""

import numpy as np
import pytest
import rasterio
from affine import Affine

from saltreach.layers.shielding import sea_shielding
from saltreach.layers.terrain import Heights, dem_origin

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
    return sea_shielding(one_file(path), lon, zero, zero, zero, np.atleast_1d(distance_m))


def one_file(path):
    return Heights((path,), dem_origin(path))


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


def ground(path, west, heights, cell_deg=0.00005):
    """Cells of 5.6 m along the equator from a longitude on."""
    heights = np.tile(np.asarray(heights, "float32"), (8, 1))
    with rasterio.open(
        path, "w", driver="GTiff", width=heights.shape[1], height=8, count=1, dtype="float32",
        crs="EPSG:4326", transform=Affine(cell_deg, 0, west, 0, -cell_deg, 4 * cell_deg),
        nodata=-9999,
    ) as out:  # fmt: skip
        out.write(heights, 1)
    return path


@pytest.mark.pinned("judgement")
@pytest.mark.parametrize(
    ("distance_m", "wall_m", "hidden"),
    # 24 heights are read on the way: the first at a 24th of it. Nearer than 30 m none counts.
    [(696, 29, 0.0), (720, 30, 1.0), (744, 31, 1.0), (696, 58, 1.0), (696, 43.5, 0.0)],
)
def test_terrain_counts_from_30_m_on(tmp_path, distance_m, wall_m, hidden):
    """A wall of 20 m, 12 m wide, so near that it hides all: atan(20/58) is 19 degrees."""
    away = distance_m - (np.arange(200) + 0.5) * 0.00005 * DEGREE_M
    path = ground(tmp_path / "wall.tif", 0.0, np.where(np.abs(away - wall_m) < 9, 20.0, 0.0))
    assert shielding(path, float(distance_m)).tolist() == [hidden]


@pytest.mark.pinned("judgement")
@pytest.mark.parametrize(("covered", "known"), [(11, False), (12, False), (13, True), (15, True)])
def test_half_of_the_way_must_be_covered(tmp_path, covered, known):
    """Of the 25 heights on a way of 720 m, 30 m apart; the rest has no data."""
    away = 720 - (np.arange(160) + 0.5) * 0.00005 * DEGREE_M
    heights = np.where(away < (covered - 0.5) * 30, 5.0, -9999)
    path = ground(tmp_path / "part.tif", 0.0, heights)
    assert np.isnan(shielding(path, 720.0)[0]) != known
    other = np.where(np.abs(away) < 15, -9999, 5.0)  # all but the place itself
    assert np.isnan(shielding(ground(tmp_path / "but.tif", 0.0, other), 720.0)[0])


@pytest.mark.pinned("judgement", answers=3)
def test_terrain_is_looked_at_up_to_20_km_from_the_sea(tmp_path):
    """Three places of one call, the middle one beyond."""
    lon = (np.arange(500) + 0.5) * 0.0005
    heights = np.where(np.abs(lon * DEGREE_M - 19_000) < 800, 250.0, 0.0)
    path = ground(tmp_path / "far.tif", 0.0, heights, 0.0005)
    found = shielding(path, [20_000.0, 20_001.0, 10_000.0])
    assert found[0] == 1
    assert np.isnan(found[1])
    assert found[2] == 0


@pytest.mark.pinned("worked", answers=2)
def test_the_way_to_the_sea_across_the_antimeridian_and_northwards(tmp_path):
    """A ridge 400 m before a place at 179.995 W whose shore is at 179.995 E; the same ridge to the
    north of a place, whose shore is there; none to its south."""
    lon = 179.98 + (np.arange(800) + 0.5) * 0.00005
    away = (180.005 - lon) * DEGREE_M
    path = ground(tmp_path / "date.tif", 179.98, np.where(np.abs(away - 400) < 40, 90.0, 10.0))
    distance = [0.01 * DEGREE_M]
    found = sea_shielding(one_file(path), [-179.995], [0.0], [179.995], [0.0], distance)
    slope = np.degrees(np.arctan(80 / np.array([440, 360])))
    assert slope[0] / 15 <= found[0] <= slope[1] / 15
    assert sea_shielding(one_file(path), [179.995], [0.0], [-179.995], [0.0], distance)[
        0
    ] == pytest.approx(np.degrees(np.arctan(80 / 712)) / 15, rel=0.07)
    heights = np.full((400, 40), 10.0, "float32")
    heights[100:114] = 90.0  # 0.0063 to 0.007 N, from 365 m on: the tenth height, at 369 m
    with rasterio.open(
        tmp_path / "north.tif", "w", driver="GTiff", width=40, height=400, count=1,
        dtype="float32", crs="EPSG:4326", transform=Affine(0.0005, 0, 30, 0, -0.00005, 0.012),
    ) as out:  # fmt: skip
        out.write(heights, 1)
    place = [30.01, 30.01], [0.003, 0.003]
    shore = [30.01, 30.01], [0.011, -0.006]
    found = sea_shielding(one_file(tmp_path / "north.tif"), *place, *shore, [885.0, 995.0])
    assert found[0] == pytest.approx(np.degrees(np.arctan(80 / 368)) / 15, rel=0.12)
    assert found[1] == 0


def test_places_below_their_surroundings_are_never_less_than_open(tmp_path):
    """A slope that falls all the way to the sea, from a place 200 m up."""
    heights = 200 * (np.arange(200) + 0.5) / 200
    path = ground(tmp_path / "fall.tif", 0.0, heights, 0.00005)
    assert shielding(path, 1000.0).tolist() == [0.0]
    assert sea_shielding(one_file(path), [], [], [], [], []).tolist() == []
