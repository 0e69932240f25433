"""Rasters of planes and steps, whose heights, slopes and aspects are known by geometry."""

import numpy as np
import pytest
import rasterio
from rasterio.transform import Affine, from_origin

from saltreach.errors import LayerError
from saltreach.layers import raster, terrain
from saltreach.layers.terrain import compare_faces, dem_origin, read_terrain

UTM30 = "EPSG:32630"
LON0, LAT0 = -3.0, 43.0  # on the central meridian of UTM 30: grid north is true north


# rasterio itself multiplies affine transforms in the way that affine 3 announces to drop.
pytestmark = pytest.mark.filterwarnings("ignore:Use `@` matmul:PendingDeprecationWarning")


def write(path, heights, transform, crs, *, nodata=None, unit=None, **more):
    profile = {"driver": "GTiff", "height": heights.shape[0], "width": heights.shape[1],
               "count": 1, "dtype": heights.dtype, "transform": transform, "nodata": nodata,
               **more}  # fmt: skip
    if crs is not None:
        profile["crs"] = crs
    with rasterio.open(path, "w", **profile) as raster:
        raster.write(heights, 1)
        if unit:
            raster.units = (unit,)
    return path


def utm(lon, lat):
    from pyproj import Transformer

    return Transformer.from_crs(4326, UTM30, always_xy=True).transform(lon, lat)


def utm_plane(slope_deg, aspect_deg, cells=61, cell_m=10.0):
    """Heights of a plane around (LON0, LAT0) and its transform."""
    east0, north0 = utm(LON0, LAT0)
    transform = from_origin(east0 - cells * cell_m / 2, north0 + cells * cell_m / 2, cell_m, cell_m)
    column, row = np.meshgrid(np.arange(cells) + 0.5, np.arange(cells) + 0.5)
    east, north = transform * (column, row)
    fall = np.tan(np.radians(slope_deg))
    down = (east - east0) * np.sin(np.radians(aspect_deg))
    down = down + (north - north0) * np.cos(np.radians(aspect_deg))
    return (500 - fall * down).astype("float64"), transform


def around(count=200, reach_deg=0.002, seed=1):
    rng = np.random.default_rng(seed)
    return LON0 + rng.uniform(-1, 1, count) * reach_deg, LAT0 + rng.uniform(
        -1, 1, count
    ) * reach_deg


@pytest.mark.pinned("worked", answers=3)
@pytest.mark.parametrize(("slope", "aspect"), [(5, 0), (30, 77), (45, 180), (70, 301)])
def test_a_plane_in_utm(tmp_path, slope, aspect):
    heights, transform = utm_plane(slope, aspect)
    path = write(tmp_path / "plane.tif", heights, transform, UTM30)
    lon, lat = around()
    table = read_terrain(path, lon, lat)
    east, north = utm(lon, lat)
    east0, north0 = utm(LON0, LAT0)
    down = (east - east0) * np.sin(np.radians(aspect)) + (north - north0) * np.cos(
        np.radians(aspect)
    )
    plane = 500 - np.tan(np.radians(slope)) * down
    assert table["elevation_m"].to_numpy() == pytest.approx(plane, abs=1e-3)
    # The scale of UTM on its central meridian is 0.9996, so the ground is that much gentler.
    true_slope = np.degrees(np.arctan(np.tan(np.radians(slope)) * 0.9996))
    assert table["slope_deg"].to_numpy() == pytest.approx(true_slope, abs=1e-3)
    turn = (table["aspect_deg"] - aspect + 180) % 360 - 180
    assert np.abs(turn).max() < 0.02
    assert (table["terrain_notes"] == "").all()


@pytest.mark.pinned("peer", answers=3)
@pytest.mark.parametrize("lat0", [0.0, 43.0, 70.0])
def test_a_plane_in_degrees_is_measured_in_metres(tmp_path, lat0):
    """Metres per degree on WGS 84 from pyproj's geodesics, not from our own formula."""
    from pyproj import Geod

    step = 1 / 3600
    east_m = Geod(ellps="WGS84").inv(10, lat0, 10 + step, lat0)[2]
    north_m = Geod(ellps="WGS84").inv(10, lat0 - step / 2, 10, lat0 + step / 2)[2]
    slope, aspect = 35.0, 130.0
    column, row = np.meshgrid(np.arange(41) - 20, np.arange(41) - 20)
    fall = np.tan(np.radians(slope))
    down = column * east_m * np.sin(np.radians(aspect)) - row * north_m * np.cos(np.radians(aspect))
    transform = from_origin(10 - 20.5 * step, lat0 + 20.5 * step, step, step)
    path = write(tmp_path / "deg.tif", (100 - fall * down).astype("float32"), transform, 4326)
    table = read_terrain(path, [10.0], [lat0])
    assert table.loc[0, "elevation_m"] == pytest.approx(100, abs=1e-3)
    assert table.loc[0, "slope_deg"] == pytest.approx(slope, abs=0.02)
    assert table.loc[0, "aspect_deg"] == pytest.approx(aspect, abs=0.02)


@pytest.mark.pinned("peer")
def test_aspect_counts_from_true_north_off_the_central_meridian(tmp_path):
    """Ground that falls to true north: heights fall with latitude. pyproj gives the latitudes."""
    from pyproj import Transformer

    to_utm = Transformer.from_crs(4326, UTM30, always_xy=True)
    east, north = to_utm.transform(-0.2, 60.0)
    transform = from_origin(east - 300, north + 300, 10, 10)
    column, row = np.meshgrid(np.arange(60) + 0.5, np.arange(60) + 0.5)
    _, lat = Transformer.from_crs(UTM30, 4326, always_xy=True).transform(
        *(transform * (column, row))
    )
    path = write(tmp_path / "north.tif", 1e5 * (60.1 - lat), transform, UTM30)
    aspect = read_terrain(path, [-0.2], [60.0])["aspect_deg"].to_numpy()
    assert (aspect + 180) % 360 - 180 == pytest.approx(0, abs=0.05)  # convergence is 2.4 deg


@pytest.mark.pinned("worked", answers=2)
def test_a_turned_raster_gives_the_same_ground(tmp_path):
    heights, _ = utm_plane(40, 90)
    east0, north0 = utm(LON0, LAT0)
    turned = (
        Affine.translation(east0, north0) * Affine.rotation(30) * Affine.scale(10, -10)
        * Affine.translation(-30.5, -30.5)
    )  # fmt: skip
    column, row = np.meshgrid(np.arange(61) + 0.5, np.arange(61) + 0.5)
    east, _ = turned * (column, row)
    plane = 500 - np.tan(np.radians(40)) * (east - east0)
    table = read_terrain(write(tmp_path / "t.tif", plane, turned, UTM30), *around())
    assert table["slope_deg"].to_numpy() == pytest.approx(39.989, abs=0.002)
    assert table["aspect_deg"].to_numpy() == pytest.approx(90, abs=0.02)


def test_nothing_is_made_up_outside_or_without_data(tmp_path):
    heights, transform = utm_plane(30, 90)
    heights = heights.astype("float32")
    heights[30:35, 30:35] = -9999
    path = write(tmp_path / "hole.tif", heights, transform, UTM30, nodata=-9999)
    from pyproj import Transformer

    back = Transformer.from_crs(UTM30, 4326, always_xy=True)
    spots = {  # column, row in cells
        "hole": (32.5, 32.5), "beside": (29.4, 32.5), "beside, towards": (29.9, 32.5),
        "rim": (0.2, 20.5), "outside": (-0.1, 20.5), "far": (9000, 20.5),
    }  # fmt: skip
    at = np.array([transform * spot for spot in spots.values()])
    lon, lat = back.transform(*at.T)
    table = read_terrain(path, [*lon, np.nan], [*lat, 43.0])
    table.index = [*spots, "unknown"]
    nan = table["elevation_m"].isna()
    assert nan.tolist() == [True, False, False, False, True, True, True]
    assert table.loc["hole", "terrain_notes"] == terrain.NO_DATA
    for place in ("outside", "far", "unknown"):
        assert table.loc[place, "terrain_notes"] == terrain.OUTSIDE
    assert terrain.NEAREST not in table.loc["beside", "terrain_notes"]
    assert terrain.NEAREST in table.loc["beside, towards", "terrain_notes"]
    assert table.loc["beside, towards", "elevation_m"] == pytest.approx(heights[32, 29])
    assert table["slope_deg"].isna().all()  # each 3 x 3 meets the hole or the rim
    assert terrain.NO_SLOPE in table.loc["beside", "terrain_notes"]


def test_flat_ground_has_no_aspect(tmp_path):
    heights, transform = utm_plane(0, 0)
    table = read_terrain(write(tmp_path / "flat.tif", heights, transform, UTM30), *around(20))
    assert (table["slope_deg"] == 0).all()
    assert table["aspect_deg"].isna().all()
    assert (table["terrain_notes"] == terrain.FLAT).all()


@pytest.mark.parametrize("tiled", [True, False])
def test_windows_do_not_change_values_and_each_is_read_once(tmp_path, monkeypatch, tiled):
    rng = np.random.default_rng(4)
    heights = rng.normal(500, 50, (700, 700))
    east0, north0 = utm(LON0, LAT0)
    transform = from_origin(east0 - 3500, north0 + 3500, 10, 10)
    layout = {"tiled": True, "blockxsize": 64, "blockysize": 64} if tiled else {}
    path = write(tmp_path / "rough.tif", heights, transform, UTM30, **layout)
    lon, lat = around(3000, reach_deg=0.028)
    reads = []
    real = raster.read_window
    monkeypatch.setattr(raster, "read_window", lambda *a: reads.append(a[1:]) or real(*a))
    whole = read_terrain(path, lon, lat, window_cells=4096)
    assert len(reads) == 1
    parts = read_terrain(path, lon, lat, window_cells=128)
    windows = len(reads) - 1
    assert windows <= 36
    assert windows > 1
    assert whole.equals(parts)
    order = rng.permutation(3000)
    shuffled = read_terrain(path, lon[order], lat[order], window_cells=128)
    assert np.array_equal(
        shuffled["slope_deg"], parts["slope_deg"].to_numpy()[order], equal_nan=True
    )


@pytest.mark.pinned("worked")
def test_bilinear_between_four_cells_is_hand_arithmetic(tmp_path):
    heights = np.array([[10.0, 20.0], [30.0, 60.0]])
    transform = from_origin(0, 2, 1, 1)
    table = read_terrain(write(tmp_path / "four.tif", heights, transform, 4326), [1.25], [0.75])
    # Column 1.25 and row 1.25 lie 0.75 of the way between the centres at 0.5 and 1.5.
    expected = 0.25 * (0.25 * 10 + 0.75 * 20) + 0.75 * (0.25 * 30 + 0.75 * 60)
    assert table.loc[0, "elevation_m"] == pytest.approx(expected)


@pytest.mark.pinned("worked")
def test_a_raster_that_counts_0_to_360_and_one_in_feet(tmp_path):
    heights = np.full((10, 10), 1000.0)
    path = write(tmp_path / "east.tif", heights, from_origin(350, 50, 0.5, 0.5), 4326, unit="ft")
    assert read_terrain(path, [-8.0], [48.0])["elevation_m"].tolist() == [pytest.approx(304.8)]


def test_errors_name_the_file_and_the_fix(tmp_path):
    heights = np.zeros((4, 4))
    bare = write(tmp_path / "bare.tif", heights, from_origin(0, 4, 1, 1), None)
    odd = write(tmp_path / "odd.tif", heights, from_origin(0, 4, 1, 1), 4326, unit="furlong")
    text = tmp_path / "text.tif"
    text.write_text("no raster", encoding="utf-8")
    for path, said in (
        (bare, "bare.tif has no CRS; give it one"),
        (odd, "'furlong'; convert"),
        (text, "text.tif cannot be read"),
        (tmp_path / "none.tif", "does not exist"),
    ):
        with pytest.raises(LayerError, match=said):
            read_terrain(path, [1.0], [1.0])


def test_the_layer_says_what_it_is(tmp_path):
    path = write(tmp_path / "d.tif", np.zeros((4, 6)), from_origin(-4, 44, 0.5, 0.5), 4326)
    layer = dem_origin(path)
    assert layer.name == "dem-file-d.tif"
    assert layer.extent == "-4.0000 42.0000 -1.0000 44.0000"
    assert len(layer.sha256) == 64
    assert "6 x 4 cells" in layer.note


@pytest.mark.pinned("worked", answers=10)
def test_faces_are_compared_across_north_and_overhangs_are_not_blamed():
    table = compare_faces(
        [350, 90, 90, 10, np.nan, 200], [85, 80, 120, 10, 30, 20], [20, 200, 95, 190, 30, 210],
        [40, 40, 35, 10, 35, 60],
    )  # fmt: skip
    assert table["azimuth_difference_deg"].tolist()[:4] == [30, 110, 5, -180]
    assert table["slope_difference_deg"].tolist() == [-45, -40, -85, 0, 5, 40]
    listed = (table["face_notes"] != "").tolist()
    # 4th: the raster is too gentle for its aspect to mean much.
    assert listed == [False, True, False, False, False, True]
    assert "90 deg" in table.loc[1, "face_notes"]
    assert "200 deg" in table.loc[1, "face_notes"]
