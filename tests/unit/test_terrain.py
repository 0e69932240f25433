"""Rasters of planes and steps, whose heights, slopes and aspects are known by geometry."""

import numpy as np
import pytest
import rasterio
from rasterio.transform import Affine, from_origin

from saltreach.errors import LayerError
from saltreach.intake.options import Options
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


@pytest.mark.pinned("worked")
def test_horn_by_hand():
    """Horn (1981): weights 1 2 1 of the columns beside and of the rows above and below, over 8."""
    heights = np.array([[1.0, 2, 4], [8, 16, 32], [64, 128, 256]])
    across, down = terrain.horn_steps(heights, np.array([1]), np.array([1]))
    assert across == pytest.approx([((4 + 64 + 256) - (1 + 16 + 64)) / 8])
    assert down == pytest.approx([((64 + 256 + 256) - (1 + 4 + 4)) / 8])
    heights[1, 1] = np.nan
    assert np.isnan(terrain.horn_steps(heights, np.array([1]), np.array([1]))).all()


@pytest.mark.pinned("memory")
@pytest.mark.parametrize(
    ("unit", "metres"),
    [
        *((name, 1.0) for name in ("m", "metre", "meter", "Metres", "meters", None)),
        *((name, 0.3048) for name in ("ft", "foot", "feet", "international foot")),
        *((name, 0.3048006096) for name in ("US survey foot", "us-ft", "ftUS")),
        ("cm", 0.01), ("dm", 0.1),
    ],
)  # fmt: skip
def test_heights_in_other_units(tmp_path, unit, metres):
    """From memory: the international foot is 0.3048 m exactly, the US survey foot 0.3048006096 m.
    The ground rises 1 unit each metre eastwards."""
    heights, transform = utm_plane(45, 270)
    path = write(tmp_path / "unit.tif", heights, transform, UTM30, unit=unit)
    table = read_terrain(path, [LON0], [LAT0])
    assert table.loc[0, "elevation_m"] == pytest.approx(500 * metres, rel=1e-9)
    slope = np.degrees(np.arctan(metres * 0.9996))
    assert table.loc[0, "slope_deg"] == pytest.approx(slope, abs=1e-3)


@pytest.mark.pinned("worked", answers=2)
def test_heights_packed_with_a_scale_and_an_offset(tmp_path):
    heights, transform = utm_plane(45, 90)
    path = write(tmp_path / "packed.tif", (heights * 10).astype("int32"), transform, UTM30)
    with rasterio.open(path, "r+") as raster:
        raster.scales, raster.offsets = (0.1,), (-40.0,)
    table = read_terrain(path, [LON0], [LAT0])
    assert table.loc[0, "elevation_m"] == pytest.approx(460, abs=0.1)
    assert table.loc[0, "slope_deg"] == pytest.approx(44.99, abs=0.02)


@pytest.mark.pinned("judgement", answers=2)
@pytest.mark.parametrize(("slope", "aspect"), [(0.95, None), (1.05, 77)])
def test_below_one_degree_the_ground_is_flat(tmp_path, slope, aspect):
    heights, transform = utm_plane(slope, 77)
    table = read_terrain(write(tmp_path / "p.tif", heights, transform, UTM30), [LON0], [LAT0])
    assert table.loc[0, "slope_deg"] == pytest.approx(slope, abs=0.001)
    assert table.loc[0, "aspect_deg"] == pytest.approx(aspect or np.nan, abs=0.1, nan_ok=True)
    assert table.loc[0, "terrain_notes"] == ("" if aspect else terrain.FLAT)


@pytest.mark.pinned("peer", answers=2)
@pytest.mark.parametrize(("across", "down"), [(1000.0, 0.0), (0.0, 1000.0), (300.0, -700.0)])
def test_cells_of_a_degree_are_measured_at_their_middle(tmp_path, across, down):
    """At 80.5 N, where a degree of longitude shrinks by 1 % in a tenth of latitude (GeographicLib).
    From its middle a cell is half a degree to each side, as its neighbours are a whole one."""
    from geographiclib.geodesic import Geodesic

    column, row = np.meshgrid(np.arange(5) - 2, np.arange(5) - 2)
    heights = 500 + across * column + down * row
    path = write(tmp_path / "wide.tif", heights, from_origin(8, 83, 1, 1), 4326)
    table = read_terrain(path, [10.3], [80.7])
    small = 1e-3
    east_m = Geodesic.WGS84.Inverse(80.5, 0, 80.5, small)["s12"] / small
    north_m = Geodesic.WGS84.Inverse(80.5 - small / 2, 0, 80.5 + small / 2, 0)["s12"] / small
    to_east, to_north = across / east_m, -down / north_m
    slope = np.degrees(np.arctan(np.hypot(to_east, to_north)))
    assert table.loc[0, "slope_deg"] == pytest.approx(slope, rel=1e-5)
    if slope >= 1:
        assert table.loc[0, "aspect_deg"] == pytest.approx(
            np.degrees(np.arctan2(-to_east, -to_north)) % 360, abs=1e-4
        )


@pytest.mark.pinned("worked", answers=2)
@pytest.mark.parametrize("turn", [0, 90])
def test_cells_across_the_antimeridian(tmp_path, turn):
    """Zone 1 of UTM reaches to 180 degrees, where its scale is 1.00098 (from memory: about 1.001)
    and north is north on the equator."""
    from pyproj import Transformer

    to_grid = Transformer.from_crs(4326, 32601, always_xy=True)
    east0, north0 = to_grid.transform(180.0, 0.0)
    transform = (
        Affine.translation(east0, north0) * Affine.rotation(turn) * Affine.scale(100, -100)
        * Affine.translation(-10.5, -10.5)
    )  # fmt: skip
    column, row = np.meshgrid(np.arange(21) + 0.5, np.arange(21) + 0.5)
    east, north = transform * (column, row)
    heights = 5000 - 0.6 * (east - east0) - 0.3 * (north - north0)
    path = write(tmp_path / "date.tif", heights, transform, 32601)
    lon = np.array([180.0, -179.9999, 179.9999, -179.998, 179.998])
    table = read_terrain(path, lon, np.full(5, 0.0001))
    slope = np.degrees(np.arctan(np.hypot(0.6, 0.3)))
    assert table["slope_deg"].to_numpy() == pytest.approx(slope, abs=0.05)
    aspect = np.degrees(np.arctan2(0.6, 0.3))
    assert table["aspect_deg"].to_numpy() == pytest.approx(aspect, abs=0.1)


@pytest.mark.pinned("judgement", answers=8)
def test_what_is_listed_between_a_register_and_a_raster():
    """Azimuths more than 45 degrees apart on ground of 15 degrees and more, and ground more than 20
    degrees steeper than said (common practice, no source)."""
    azimuth = [100, 100, 100, 100, 350, 100, 100, 100]
    aspect = [145, 146, 146, 146, 36, 54, 100, 146]
    said = [80, 80, 80, 80, 80, 80, 40, 39]
    ground = [40, 40, 15, 14.9, 40, 40, 60, 60]
    faces = "The register's face looks to {} deg, the height raster's ground to {} deg."
    slopes = "The register's slope is 39 deg, the height raster's 60 deg."
    assert compare_faces(azimuth, said, aspect, ground)["face_notes"].tolist() == [
        "", faces.format(100, 146), faces.format(100, 146), "", faces.format(350, 36),
        faces.format(100, 54), "", faces.format(100, 146) + " " + slopes,
    ]  # fmt: skip
    alone = compare_faces([100], [39], [100], [60])["face_notes"]
    assert alone.tolist() == [slopes]


def test_a_raster_of_heights_in_furlongs_has_no_record(tmp_path):
    path = write(tmp_path / "f.tif", np.zeros((4, 6)), from_origin(-4, 44, 0.5, 0.25), 4326,
                 unit="furlong")  # fmt: skip
    with pytest.raises(LayerError, match="furlong"):
        dem_origin(path)
    path = write(tmp_path / "d.tif", np.zeros((4, 6)), from_origin(-4, 44, 0.5, 0.25), 4326)
    assert dem_origin(path).note.startswith("6 x 4 cells of 0.5 x 0.25 CRS units, EPSG:4326.")


def test_the_layer_hands_on_the_raster(tmp_path):
    import pandas as pd

    heights, transform = utm_plane(40, 200)
    path = write(tmp_path / "plane.tif", heights, transform, UTM30)
    places = pd.DataFrame({"lon": [LON0, 9.0], "lat": [LAT0, 9.0],
                           "face_azimuth_deg": [90.0, np.nan], "face_slope_deg": 80.0})  # fmt: skip
    opened = terrain.LAYER.open(Options(dem_file=str(path)))
    found = terrain.LAYER.sample(opened, places)
    assert found["raster_elevation_m"][0] == pytest.approx(500, abs=1e-3)
    assert found["raster_name"].tolist() == ["dem-file-plane.tif"] * 2
    assert "face looks to 90 deg" in found["terrain_notes"][0]
    assert found["terrain_notes"][1] == terrain.OUTSIDE
    assert terrain.LAYER.open(Options()) is None
    assert opened == terrain.Heights((path,), dem_origin(path))


# rasters at points


@pytest.fixture
def counted(tmp_path):
    """Cells of a degree from 0 to 3 E and 0 to 2 N, numbered; none is 12."""
    cells = np.array([[0.0, 1, 2], [10, 11, 12]])
    path = write(tmp_path / "counted.tif", cells, from_origin(0, 2, 1, 1), 4326, nodata=12.0)
    with rasterio.open(path) as opened:
        yield opened


@pytest.mark.pinned("worked", answers=8)
def test_the_first_edges_are_inside_and_the_last_outside(counted):
    lon = np.array([0.0, 2.999, 3.0, 1.5, 1.5, 1.5, -0.001, 1.5])
    lat = np.array([1.5, 1.5, 1.5, 2.0, 0.001, 0.0, 1.5, 2.001])
    row, column = raster.cell_position(counted, lon, lat)
    nan = np.nan
    wanted = [0.5, 0.5, nan, 0, 1.999, nan, nan, nan], [0, 2.999, nan, 1.5, 1.5, nan, nan, nan]
    assert row == pytest.approx(wanted[0], nan_ok=True)
    assert column == pytest.approx(wanted[1], nan_ok=True)


@pytest.mark.pinned("worked", answers=4)
@pytest.mark.parametrize("west", [0, -180, 90])
def test_whichever_way_a_raster_counts_longitude(tmp_path, west):
    cells = np.zeros((4, 360))
    path = write(tmp_path / "globe.tif", cells, from_origin(west, 2, 1, 1), 4326)
    lon = np.array([-170.5, -10.25, 0.25, 179.5, 349.75, -370.25])
    with rasterio.open(path) as opened:
        _, column = raster.cell_position(opened, lon, np.zeros(6))
    assert column == pytest.approx((lon - west) % 360)


@pytest.mark.pinned("worked", answers=3)
def test_a_window_beyond_the_raster_is_unknown_there(counted):
    nan = np.nan
    whole = raster.read_window(counted, -1, -2, 4, 6)
    np.testing.assert_array_equal(whole, [
        [nan] * 6, [nan, nan, 0, 1, 2, nan], [nan, nan, 10, 11, nan, nan], [nan] * 6,
    ])  # fmt: skip
    np.testing.assert_array_equal(raster.read_window(counted, 1, 1, 1, 1), [[11]])
    np.testing.assert_array_equal(raster.read_window(counted, 0, 2, 3, 2),
                                  [[2, nan], [nan, nan], [nan, nan]])  # fmt: skip


@pytest.mark.parametrize("margin", [0, 2])
def test_points_come_by_window_each_with_its_own_cells(tmp_path, margin):
    """Blocks of 64 cells, windows of 100: rounded up to 128, so 3 x 2 windows of 300 x 200."""
    cells = np.arange(300 * 200.0).reshape(300, 200)
    layout = {"tiled": True, "blockxsize": 64, "blockysize": 64}
    path = write(tmp_path / "w.tif", cells, from_origin(0, 3, 0.01, 0.01), 4326, **layout)
    rng = np.random.default_rng(6)
    row, column = rng.uniform(0, 300, 2000), rng.uniform(0, 200, 2000)
    row[::50] = np.nan
    seen, homes = [], []
    with rasterio.open(path) as opened:
        for points, read, top, left in raster.windows(
            opened, row, column, margin=margin, window_cells=100
        ):
            seen += points.tolist()
            at = row[points].astype(int), column[points].astype(int)
            homes.append({(int(r) // 128, int(c) // 128) for r, c in zip(*at, strict=True)})
            assert read.shape == (
                np.ptp(at[0]) + 1 + 2 * margin, np.ptp(at[1]) + 1 + 2 * margin
            )  # fmt: skip
            assert (top, left) == (at[0].min() - margin, at[1].min() - margin)
            np.testing.assert_array_equal(read[at[0] - top, at[1] - left], cells[at])
        assert list(raster.windows(opened, row[:1], column[:1])) == []
    assert sorted(seen) == np.flatnonzero(np.isfinite(row)).tolist()
    assert sorted(min(h) for h in homes) == [(r, c) for r in range(3) for c in range(2)]
    assert all(len(h) == 1 for h in homes)
