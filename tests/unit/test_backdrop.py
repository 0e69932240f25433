"""What lies behind the sectors: light on hills, kept with the results, little enough on a page."""

import base64
import io
import re
import warnings
from dataclasses import replace

import geopandas as gpd
import numpy as np
import pytest
import rasterio
import shapely
from PIL import Image
from rasterio import Affine

from helpers.behind import behind
from helpers.holding_region import anchors, assessment, holding, landowner_data
from helpers.peers import peer
from saltreach.assessment.backdrop import Backdrop, hillshade, read_backdrop, shade_of
from saltreach.errors import LayerError
from saltreach.outputs.landowner.page import landowner_page
from saltreach.outputs.map.behind import backdrop_data

EAST, NORTH = np.meshgrid(np.arange(5.0) * 10, -np.arange(5.0) * 10)  # cells of 10 m


@pytest.mark.pinned("worked", answers=6)
@pytest.mark.parametrize(
    ("heights", "light"),
    [
        # sun from the north-west at 45 degrees: sin 45 = 0.7071 on the level, 1 + 254 x 0.7071
        (0 * EAST, 181),
        # falls to the west by 45 degrees: a normal (-1, 0, 1) / 1.4142 with the sun's (-0.5, 0.5,
        # 0.7071) gives 1.2071 / 1.4142 = 0.8536
        (EAST, 218),
        # falls to the east: 0.2071 / 1.4142 = 0.1464
        (-EAST, 38),
        # falls to the north-west by 45 degrees: the sun stands upright over it
        ((EAST - NORTH) / np.sqrt(2), 255),
        # falls to the south-east by 45 degrees: the sun grazes it
        ((NORTH - EAST) / np.sqrt(2), 1),
        # and steeper than that lies in its own shade
        ((NORTH - EAST) * 3, 1),
    ],
)
def test_light_on_planes(heights, light):
    shade = hillshade(heights, 10.0)
    assert (shade[1:-1, 1:-1] == light).all()
    assert (shade[[0, -1]] == 0).all() and (shade[:, [0, -1]] == 0).all()


@pytest.mark.pinned("peer")
def test_light_on_hills_against_slopes_and_aspects_of_another_library():
    """richdem's slope and aspect, Horn's too; light by the sphere's law of cosines."""
    richdem = peer("richdem")
    rng = np.random.default_rng(5)
    heights = rng.normal(0, 12, (40, 50)).cumsum(axis=0).cumsum(axis=1) / 8
    dem = richdem.rdarray(heights, no_data=-9999)
    dem.geotransform = (0, 25, 0, 0, 0, -25)
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # it renames its functions
        slope, aspect = (
            np.radians(np.asarray(richdem.TerrainAttribute(dem, attrib=name)))
            for name in ("slope_degrees", "aspect")
        )
    sun, height = np.radians([300.0, 35.0])
    cosine = np.sin(height) * np.cos(slope) + np.cos(height) * np.sin(slope) * np.cos(sun - aspect)
    want = 1 + 254 * np.clip(cosine, 0, 1)
    got = hillshade(heights, 25.0, azimuth_deg=300.0, height_deg=35.0)
    assert got[1:-1, 1:-1].std() > 30
    assert np.abs(got - want)[1:-1, 1:-1].max() < 0.52  # rounded


def test_unknown_heights_and_too_few_cells_stay_unknown():
    heights = EAST.copy()
    heights[2, 2] = np.nan
    assert (hillshade(heights, 10.0) == 0).all()
    assert hillshade(np.zeros((2, 9)), 10.0).tolist() == np.zeros((2, 9)).tolist()
    # a cell of each row has its own size
    sizes = hillshade(EAST, np.array([1, 10, 20, 40, 1.0]))[1:-1, 2]
    assert sizes.tolist() == [hillshade(EAST, side)[2, 2] for side in (10.0, 20.0, 40.0)]


@pytest.fixture
def dem(tmp_path):
    """A plane that falls to the east by 45 degrees at 60 north, 0.001 degrees a cell."""
    metres = 0.001 * 111_319.5 * np.cos(np.radians(60.0))
    heights = np.tile(np.arange(400, 0, -1) * metres, (300, 1)).astype("float32")
    heights[:, :40] = -9999  # without data, and the file says nothing of it

    def made(name="dem.tif", **more):
        with rasterio.open(
            tmp_path / name, "w", driver="GTiff", height=300, width=400, count=1, dtype="float32",
            crs=4326, transform=Affine(0.001, 0, 10.0, 0, -0.001, 60.15), **more,
        ) as file:  # fmt: skip
            file.write(heights, 1)
        return tmp_path / name

    return made


@pytest.mark.pinned("worked")
def test_shade_of_a_raster_at_60_north(dem):
    (shade,) = shade_of(dem(), [(10.1, 59.95, 10.2, 60.05)])
    # 38: as for the plane that falls to the east; 100 columns, twice as many rows (1 / cos 60)
    assert np.abs(shade.light.astype(int) - 38).max() <= 2
    assert shade.light.shape[1] == pytest.approx(100, abs=3)
    assert shade.light.shape[0] == pytest.approx(100 / np.cos(np.radians(60)) / 1, abs=110)
    assert shade.bounds == pytest.approx((10.1, 59.95, 10.2, 60.05), abs=0.003)


def test_shades_do_not_overlap_stay_small_and_leave_out_what_is_unknown(dem):
    file = dem()
    boxes = [(10.1, 60.0, 10.2, 60.05), (10.15, 60.02, 10.25, 60.1), (20.0, 60.0, 20.1, 60.1),
             (10.0, 59.9, 10.02, 59.95)]  # fmt: skip
    (shade,) = shade_of(file, boxes)
    assert shade.bounds == pytest.approx((10.1, 60.0, 10.25, 60.1), abs=0.003)
    (small,) = shade_of(file, boxes[:1], most_cells=200)
    assert 100 < small.light.size < 300
    assert np.abs(small.light.astype(int) - 38).max() <= 2
    (edge,) = shade_of(file, [(10.0, 60.0, 10.1, 60.05)])
    assert (edge.light[:, :38] == 0).all() and (edge.light[2:-2, 44:-2] > 0).all()
    assert np.abs(edge.light[edge.light > 0].astype(int) - 38).max() <= 2
    (turned,) = shade_of(file, [(370.1, 60.0, 370.2, 60.05)])
    assert turned.bounds[0] == pytest.approx(10.1, abs=0.003)
    assert shade_of(file, []) == ()
    with pytest.raises(LayerError, match="nowhere.tif"):
        shade_of(file.with_name("nowhere.tif"), boxes)


def test_a_backdrop_is_kept_with_the_results_and_drawn_again(tmp_path):
    from saltreach.assessment.files import read_results
    from saltreach.outputs.map.page import map_of
    from saltreach.outputs.tables.results import write_results

    result = replace(assessment(anchors()), backdrop=behind((-5.0, 43.4)))
    write_results(result, tmp_path, title="T")
    again = read_results(tmp_path)
    for ours, theirs in zip(result.backdrop.shades, again.backdrop.shades, strict=True):
        assert ours.bounds == theirs.bounds
        np.testing.assert_array_equal(ours.light, theirs.light)
    assert again.backdrop.attributions == result.backdrop.attributions
    assert again.backdrop.features.equals(result.backdrop.features)
    written = (tmp_path / "map.html").read_text(encoding="utf-8")
    kept = re.compile(r'"backdrop":\{.*?\]\]\},"sectors"')
    assert kept.findall(map_of(again, title="T")) == kept.findall(written) != []
    write_results(replace(result, backdrop=None), tmp_path)
    assert read_backdrop(tmp_path) is None and not list(tmp_path.glob("backdrop*"))


def test_a_landowner_sees_nothing_of_it():
    plain = assessment(anchors())
    drawn = replace(plain, backdrop=behind((-5.0, 43.4)))
    page = landowner_page(landowner_data(drawn, holding(anchors())))
    assert page == landowner_page(landowner_data(plain, holding(anchors())))
    assert "Shoreline: GSHHG (LGPL)" in page


def features(*rows):
    kind, name, rank, shape = zip(*rows, strict=True)
    table = {"kind": list(kind), "name": list(name), "rank": list(rank)}
    return gpd.GeoDataFrame(table, geometry=list(shape), crs=4326)


WINDOW = (-1.0, -1.0, 3.0, 3.0)
HERE = np.array([[0.0, 0.0]])


def test_what_matters_least_is_drawn_beside_the_anchors_only():
    def line(lat):
        return shapely.LineString([(-0.5, lat), (0.5, lat + 0.01)])

    table = features(
        ("road", "", 1, line(2.0)), ("road", "", 3, line(2.0)), ("road", "", 3, line(0.0)),
        ("cliff", "", 1, line(2.0)), ("cliff", "", 1, line(0.01)), ("place", "Far", 3,
        shapely.Point(2, 2)), ("place", "Near", 3, shapely.Point(0.1, 0)), ("place", "Town", 1,
        shapely.Point(2, 2)), ("place", "", 1, shapely.Point(1, 1)), ("place", "Away", 1,
        shapely.Point(50, 1)), ("castle", "No", 1, shapely.Point(0, 0)),
    )  # fmt: skip
    data = backdrop_data(Backdrop(table), WINDOW, HERE)
    assert [(kind, rank, len(parts)) for kind, rank, parts in data["lines"]] == [
        ("road", 3, 1), ("cliff", 1, 1), ("road", 1, 1)
    ]  # fmt: skip
    assert data["names"] == [["Town", 1, 2.0, 2.0], ["Near", 3, 0.1, 0.0]]
    assert data["areas"] == data["shades"] == []


def test_everything_lies_in_the_window_across_180():
    west, east = shapely.box(179.5, 0, 180, 1), shapely.box(-180, 0, -179.8, 1)
    table = features(
        ("salt lake", "", 1, west), ("salt lake", "", 1, east), ("place", "Isle", 1,
        shapely.Point(-179.9, 0.5)), ("road", "", 1, shapely.LineString([(-179.9, 0), (-179, 0)])),
    )  # fmt: skip
    light = np.full((4, 4), 200, np.uint8)
    data = backdrop_data(
        Backdrop(table, (_shade(light),)),
        (178.0, -1.0, 182.0, 2.0), np.array([[180.0, 0.0]]),
    )  # fmt: skip
    ((kind, _, rings),) = data["areas"]
    assert kind == "salt lake" and len(rings) == 1  # the two halves are one
    assert data["names"][0][2] == 180.1
    assert data["lines"][0][2][0][0] == 18010000
    assert data["shades"][0][0].tolist() == [180.0, 0.0, 181.0, 1.0]


def _shade(light):
    from saltreach.assessment.backdrop import Shade

    return Shade((-180.0, 0.0, -179.0, 1.0), light)


def test_a_shade_is_a_small_picture_of_its_light():
    light = np.arange(256, dtype=np.uint8).reshape(16, 16)
    backdrop = Backdrop(features(("place", "A", 1, shapely.Point(0, 0))), (_shade(light),))
    ((_, url),) = backdrop_data(backdrop, (-180.5, -1, -178, 2), HERE)["shades"]
    kind, content = url.split(",")
    assert kind == "data:image/png;base64"
    seen = np.asarray(Image.open(io.BytesIO(base64.b64decode(content))))
    assert seen.shape == (16, 16)
    assert (seen == 0).sum() == 1 and seen[0, 0] == 0 and seen[0, 1] == 8
    assert np.abs(seen.astype(int) - light)[light > 0].max() <= 8
    assert backdrop_data(backdrop, WINDOW, HERE)["shades"] == []


def test_a_dense_net_of_roads_stays_small():
    rng = np.random.default_rng(1)
    walks = rng.normal(0, 1e-4, (300, 400, 2)).cumsum(axis=1) + rng.uniform(-0.9, 2.9, (300, 1, 2))
    table = features(*(("road", "", 2, shapely.LineString(walk)) for walk in walks))
    ((_, _, parts),) = backdrop_data(Backdrop(table), WINDOW, HERE)["lines"]
    assert len(parts) == 300
    assert sum(map(len, parts)) / 2 < 17_000 < 120_000
