"""Broken and absurd GIS files, as a register and as layers: one sentence, and what to do."""

import sqlite3
import struct
from pathlib import Path

import geopandas as gpd
import numpy as np
import pandas as pd
import pyogrio
import pytest
import rasterio
import shapely
from affine import Affine

from saltreach.errors import LayerError, RegisterError, SaltreachError
from saltreach.intake import read_register, sizes
from saltreach.layers.coast import read_coast_file
from saltreach.layers.geology import rock_map_at
from saltreach.layers.terrain import dem_origin, read_terrain

LON, LAT = np.array([0.5, 0.6]), np.array([41.2, 41.3])
GOOD = shapely.Point(0.5, 41.2)
BOX = shapely.box(0, 41, 2, 42)


def points(path, shapes, crs=4326, **more):
    n = len(shapes)
    names = {"anchor_id": [str(i + 1) for i in range(n)], "crag": ["P"] * n, "sector": ["N"] * n}
    gpd.GeoDataFrame(names | more, geometry=shapes, crs=crs).to_file(path)
    return path


def changed(path, *statements):
    """A GeoPackage after statements that no GIS would write."""
    with sqlite3.connect(path) as base:
        names = base.execute("select name from sqlite_master where type='trigger'").fetchall()
        for statement in (*(f'drop trigger "{n}"' for (n,) in names), *statements):
            base.execute(statement)
    base.close()
    return path


@pytest.mark.filterwarnings("ignore::UserWarning")
@pytest.mark.parametrize(
    ("shape", "said"),
    [
        (shapely.Point(), [[2, "lon", "(anchor '2')"], [2, "lat", "(anchor '2')"]]),
        (None, [[2, "lon", "(anchor '2')"], [2, "lat", "(anchor '2')"]]),
        (shapely.LineString([(0, 0), (1, 1)]), [[2, "lon, lat", "LineString (anchor '2')"]]),
        (shapely.Point(0.5, 95), [[2, "lon, lat", "0.5, 95 (anchor '2')"]]),
    ],
)
def test_a_bad_point_of_a_geopackage_is_refused_alone(tmp_path, shape, said):
    found = read_register(points(tmp_path / "a.gpkg", [GOOD, shape, shapely.Point(0.6, 41.3)]))
    assert found.anchors["anchor_id"].tolist() == ["1", "3"]
    assert found.rejected[["row", "column", "value"]].values.tolist() == said
    assert found.rows_read == 3


def test_points_with_a_height_or_a_measure_are_points(tmp_path):
    path = points(tmp_path / "a.gpkg", [shapely.Point(0.5, 41.2, 7)])
    assert read_register(path).anchors[["lon", "lat"]].values.tolist() == [[0.5, 41.2]]
    # POINT M, by OGC 12-128r18: "GP", version, flags, srs_id; then ISO WKB of type 2001
    measured = b"GP\0\1" + struct.pack("<iBIddd", 4326, 1, 2001, 0.5, 41.2, 7)
    path = changed(
        points(tmp_path / "m.gpkg", [GOOD]),
        "update gpkg_geometry_columns set m=1",
        f"update m set geom=x'{measured.hex()}'",
    )
    assert read_register(path).anchors[["lon", "lat"]].values.tolist() == [[0.5, 41.2]]


def geopackages(folder):
    """Broken GeoPackages by name, each with what is said of it."""

    def whole(name):
        return points(folder / f"{name}.gpkg", [GOOD, shapely.Point(0.6, 41.3)])

    pyogrio.write_dataframe(pd.DataFrame({"anchor_id": ["1"]}), folder / "table.gpkg")
    points(folder / "none.gpkg", [GOOD])
    gpd.read_file(folder / "none.gpkg").iloc[:0].to_file(folder / "none.gpkg")
    data = whole("cut").read_bytes()
    (folder / "cut.gpkg").write_bytes(data[: len(data) // 2])
    flipped = bytearray(data)
    flipped[100:8000:7] = bytes(255 - b for b in flipped[100:8000:7])
    (folder / "flipped.gpkg").write_bytes(flipped)
    srs = "update gpkg_geometry_columns set srs_id=99999"
    changed(whole("srs"), srs, "update gpkg_contents set srs_id=99999")
    changed(whole("blob"), "update blob set geom=x'47500001E610000001' where anchor_id='1'")
    changed(whole("text"), "update text set crag=cast(x'ff50' as text) where anchor_id='1'")
    damaged = "not a readable GeoPackage .*; it is damaged, was not copied whole"
    return {
        "table": r"tables without points \('table'\); save them as a layer of points",
        "none": "layer 'none' has no features",
        "cut": damaged,
        "flipped": damaged,
        "srs": "it does not say its CRS",
        "blob": damaged,
        "text": damaged,
    }


@pytest.fixture(scope="module")
def broken(tmp_path_factory):
    folder = tmp_path_factory.mktemp("broken")
    return folder, geopackages(folder)


NAMES = ("table", "none", "cut", "flipped", "srs", "blob", "text")


@pytest.mark.parametrize("name", NAMES)
def test_broken_geopackages(broken, name):
    folder, said = broken
    with pytest.raises(RegisterError, match=said[name]) as error:
        read_register(folder / f"{name}.gpkg")
    assert str(error.value).startswith(f"{name}.gpkg: ")
    assert str(folder) not in str(error.value)


@pytest.mark.parametrize("name", NAMES)
def test_broken_geopackages_as_layers(broken, name):
    folder, _ = broken
    path = folder / f"{name}.gpkg"
    for what, use in (
        ("coast file", lambda: read_coast_file(path)),
        ("geology file", lambda: rock_map_at(LON, LAT, path, column="unit")),
        ("height raster", lambda: read_terrain(path, LON, LAT)),
    ):
        with pytest.raises(LayerError, match=f"^{what} {name}.gpkg") as error:
            use()
        assert str(folder) not in str(error.value)


def test_a_long_text_of_a_geopackage_is_kept(tmp_path):
    path = points(tmp_path / "a.gpkg", [GOOD], notes=["x" * 5_000_000])
    assert len(read_register(path).anchors["notes"].item()) == 5_000_000


@pytest.mark.parametrize(
    ("change", "file", "said"),
    [
        ({"TEXT_BYTES": 100}, "a.geojson", r"[\d,]+ bytes, and at most 100 are read, because the"),
        ({"JSON_PARTS": 6}, "a.geojson", r"\d+ objects and lists, and at most 6"),
        ({"JSON_VALUES": 5}, "a.geojson", r"\d+ values, and at most 5"),
        ({"XML_TAGS": 4}, "a.gpx", r"\d+ tags or characters written as &...;, and at most 4"),
        ({"XML_PAIRS": 4}, "a.gpx", r"8 attributes \(=\), and at most 4"),
        ({"FEATURES": 1}, "a.geojson", "2 features, and at most 1"),
        ({"FEATURES": 1}, "a.gpx", "2 waypoints, and at most 1"),
        ({"FEATURES": 1}, "a.kml", "2 placemarks, and at most 1"),
        ({"FEATURES": 1}, "a.gpkg", "2 features of 3 fields, and at most 1"),
        ({"FIELDS": 2}, "a.geojson", "3 different fields, and at most 2"),
        ({"CELLS": 5}, "a.geojson", "6 cells, and at most 5"),
        ({"CELLS": 5}, "a.gpkg", "2 features of 3 fields, and at most 1"),
    ],
)
def test_files_beyond_the_limits_say_so(tmp_path, monkeypatch, change, file, said):
    shapes = [GOOD, shapely.Point(0.6, 41.3)]
    for name in ("a.geojson", "a.gpkg"):
        points(tmp_path / name, shapes)
    way = '<wpt lat="41" lon="1"><name>{}</name><desc>crag=P; sector=N</desc></wpt>'
    (tmp_path / "a.gpx").write_text(f"<gpx>{way.format(1)}{way.format(2)}</gpx>")
    mark = "<Placemark><name>{}</name></Placemark>"
    (tmp_path / "a.kml").write_text(f"<kml>{mark.format(1)}{mark.format(2)}</kml>")
    for name, value in change.items():
        monkeypatch.setattr(sizes, name, value)
    with pytest.raises(RegisterError, match=f"{file}: {said}"):
        read_register(tmp_path / file)


@pytest.mark.filterwarnings("ignore::UserWarning")
def test_files_at_the_limits_are_read(tmp_path, monkeypatch):
    path = points(tmp_path / "a.geojson", [GOOD, shapely.Point(0.6, 41.3)])
    data = path.read_bytes()
    monkeypatch.setattr(sizes, "TEXT_BYTES", len(data))
    monkeypatch.setattr(sizes, "JSON_PARTS", data.count(b"{") + data.count(b"["))
    monkeypatch.setattr(sizes, "JSON_VALUES", data.count(b","))
    monkeypatch.setattr(sizes, "FEATURES", 2)
    monkeypatch.setattr(sizes, "FIELDS", 3)
    monkeypatch.setattr(sizes, "CELLS", 6)
    assert len(read_register(path).anchors) == 2
    assert len(read_register(points(tmp_path / "a.gpkg", [GOOD, GOOD])).anchors) == 2


def land(path, shapes, crs=4326, **more):
    n = len(shapes)
    gpd.GeoDataFrame({"unit": ["granite"] * n}, geometry=shapes, crs=crs).to_file(path, **more)
    return path


LOCAL = 'LOCAL_CS["x",UNIT["m",1]]'


@pytest.mark.filterwarnings("ignore::RuntimeWarning", "ignore::UserWarning")
@pytest.mark.parametrize(
    ("shapes", "crs", "said"),
    [
        (
            [shapely.box(5e5, 4.5e6, 6e5, 4.6e6)],
            4326,
            r"has a vertex at lon 600000, lat 4.5",
        ),
        (
            [shapely.box(0, 41, 1e308, 42)],
            4326,
            r"has a vertex at lon 1e\+308, lat 41, ",
        ),
        (
            [shapely.Polygon([(0, 41), (np.inf, 41), (1, 42)])],
            4326,
            "has a vertex at lon inf",
        ),
        ([BOX], LOCAL, r"has no CRS; give it one \(for example a .prj\)"),
        ([shapely.Polygon(), None], 4326, "holds nothing; give land as polygons or shorelines"),
    ],
)
def test_coasts_that_lie_nowhere(tmp_path, shapes, crs, said):
    with pytest.raises(LayerError, match=f"^coast file c.gpkg {said}"):
        read_coast_file(land(tmp_path / "c.gpkg", shapes, crs))


def test_a_table_of_anchors_is_no_coast(tmp_path):
    path = tmp_path / "anchors.csv"
    path.write_text("anchor_id,crag,sector,lon,lat\n1,P,N,0.5,41.2\n")
    with pytest.raises(LayerError, match="coast file anchors.csv holds a table without shapes; gi"):
        read_coast_file(path)
    with pytest.raises(LayerError, match="anchors.csv: no layer has a column 'unit'; columns: anc"):
        rock_map_at(LON, LAT, path, column="unit")
    with pytest.raises(LayerError, match="height raster anchors.csv cannot be read .* GeoTIFF"):
        read_terrain(path, LON, LAT)


@pytest.mark.parametrize(("name", "more"), [("c.shp", {}), ("c.fgb", {}), ("c.geojson", {})])
def test_other_formats_are_coasts_and_maps(tmp_path, name, more):
    path = land(tmp_path / name, [BOX], **more)
    assert read_coast_file(path).sided
    assert rock_map_at(LON, LAT, path, column="unit").legend.tolist() == ["granite"] * 2
    with pytest.raises(LayerError, match=f"height raster {name} cannot be read"):
        read_terrain(path, LON, LAT)


@pytest.mark.filterwarnings("ignore::RuntimeWarning", "ignore::UserWarning")
def test_empty_shapes_beside_good_ones_change_nothing(tmp_path):
    plain = read_coast_file(land(tmp_path / "a.gpkg", [BOX]))
    other = read_coast_file(land(tmp_path / "b.gpkg", [shapely.Polygon(), BOX, None]))
    assert other.vertex_deg.tolist() == plain.vertex_deg.tolist()
    assert other.shore(LON, LAT).distance_m.tolist() == plain.shore(LON, LAT).distance_m.tolist()


def test_a_coast_of_several_layers_is_not_chosen_from(tmp_path):
    path = tmp_path / "c.gpkg"
    for layer in ("a", "b"):
        land(path, [BOX], layer=layer)
    with pytest.raises(LayerError, match=r"several layers \('a', 'b'\); keep the shoreline's"):
        read_coast_file(path)
    one = tmp_path / "d.gpkg"
    land(one, [GOOD], layer="places")
    land(one, [BOX], layer="shore")
    assert read_coast_file(one).vertex_deg.max() == 42


def test_coasts_and_maps_beyond_the_limits_say_so(tmp_path, monkeypatch):
    path = land(tmp_path / "c.geojson", [BOX])
    monkeypatch.setattr(sizes, "SHAPE_VERTICES", 4)
    with pytest.raises(LayerError, match="coast file c.geojson: 5 vertices, and at most 4 are rea"):
        read_coast_file(path)
    with pytest.raises(LayerError, match="c.geojson: 5 vertices around the anchors, and at most"):
        rock_map_at(LON, LAT, path, column="unit")
    monkeypatch.setattr(sizes, "SHAPE_VERTICES", 5)
    monkeypatch.setattr(sizes, "SHORE_KM", 665)  # 6 degrees of 111 km
    with pytest.raises(LayerError, match="666 km of shore, and at most 665"):
        read_coast_file(path)
    monkeypatch.setattr(sizes, "SHORE_KM", 666)
    assert read_coast_file(path).sided
    monkeypatch.setattr(sizes, "JSON_PARTS", 3)
    for use in (read_coast_file, lambda p: rock_map_at(LON, LAT, p, column="unit")):
        with pytest.raises(LayerError, match=r"file c.geojson: \d+ objects, and at most 3 are"):
            use(path)


def test_lines_across_oceans_are_refused_at_once(tmp_path):
    """60,000 lines from end to end of the Earth are 600 million pieces of a kilometre."""
    places = np.random.default_rng(1).random((60_000, 2)) * [340, 160] - [170, 80]
    path = land(tmp_path / "c.fgb", [shapely.linestrings(places)], driver="FlatGeobuf")
    with pytest.raises(LayerError, match="km of shore"):
        read_coast_file(path)


def test_the_whole_earth_as_land_has_no_shore(tmp_path):
    coast = read_coast_file(land(tmp_path / "c.gpkg", [shapely.box(-180, -90, 180, 90)]))
    assert np.isnan(coast.shore(LON, LAT).distance_m).all()


def test_a_polygon_of_many_crossings_takes_no_time(tmp_path):
    """20,000 vertices that cross each other two million times: to repair it takes hours."""
    turn = np.linspace(0, 2 * np.pi, 20_000)
    tangle = shapely.polygons(np.c_[np.cos(turn * 1009), np.sin(turn * 1013)])
    path = land(tmp_path / "g.gpkg", [tangle, shapely.box(2, 2, 3, 3)])
    assert rock_map_at([2.5, 5.0], [2.5, 5.0], path, column="unit").legend.tolist() == [
        "granite", "",
    ]  # fmt: skip
    bow = land(tmp_path / "b.gpkg", [shapely.Polygon([(0, 0), (2, 2), (2, 0), (0, 2)])])
    found = rock_map_at([0.2, 1.8, 1.0], [1.0, 1.0, 0.2], bow, column="unit")
    assert found.legend.tolist() == ["granite", "granite", ""]


@pytest.mark.filterwarnings("ignore::RuntimeWarning")
def test_geological_maps_that_lie_nowhere(tmp_path):
    with pytest.raises(LayerError, match=r"geology file g.gpkg has no CRS; give it one"):
        rock_map_at(LON, LAT, land(tmp_path / "g.gpkg", [BOX], LOCAL), column="unit")


PLACE = Affine(0.1, 0, 0, 0, -0.1, 42)


def raster(path, cells, crs="EPSG:4326", transform=PLACE, **more):
    cells = np.atleast_3d(cells.T).T
    with rasterio.open(
        path, "w", driver="GTiff", width=cells.shape[2], height=cells.shape[1],
        count=cells.shape[0], dtype=cells.dtype, crs=crs, transform=transform, **more,
    ) as file:  # fmt: skip
        file.write(cells)
    return path


FLAT = np.full((20, 20), 7, dtype="float32")


@pytest.mark.filterwarnings("ignore::rasterio.errors.NotGeoreferencedWarning")
@pytest.mark.parametrize(
    ("cells", "more", "said"),
    [
        (FLAT, {"crs": None}, "has no CRS; give it one"),
        (FLAT, {"crs": LOCAL}, "has no CRS; give it one"),
        (FLAT, {"transform": Affine.identity()}, "does not say where on the Earth"),
        (FLAT, {"transform": Affine(0.1, 0, 0, 0, 0, 42)}, "does not say where on the Ea"),
        (np.ones((3, 20, 20), "uint8"), {"photometric": "RGB"}, "is a picture in colours; give"),
    ],
)
def test_rasters_that_hold_no_heights(tmp_path, cells, more, said):
    path = raster(tmp_path / "d.tif", cells, **more)
    for use in (lambda: read_terrain(path, LON, LAT), lambda: dem_origin(path)):
        with pytest.raises(LayerError, match=f"^height raster d.tif {said}"):
            use()


def test_a_geological_raster_has_one_band(tmp_path):
    codes = {"7": "granite"}
    one = raster(tmp_path / "g.tif", FLAT)
    assert rock_map_at(LON, LAT, one, mapping=codes).lithology.tolist() == ["granite"] * 2
    path = raster(tmp_path / "g.tif", np.ones((2, 20, 20), "int16"))
    with pytest.raises(LayerError, match="g.tif has 2 bands; give the one with the codes alone"):
        rock_map_at(LON, LAT, path, mapping=codes)


def test_a_raster_stored_as_one_large_block_is_refused(tmp_path, monkeypatch):
    path = raster(tmp_path / "d.tif", FLAT, blockysize=20)
    monkeypatch.setattr(sizes, "BLOCK_CELLS", 399)
    with pytest.raises(LayerError, match="d.tif: 400 cells in one block, and at most 399 are read"):
        read_terrain(path, LON, LAT)
    monkeypatch.setattr(sizes, "BLOCK_CELLS", 400)
    assert read_terrain(path, LON, LAT)["elevation_m"].tolist() == [7, 7]


@pytest.mark.parametrize("nothing", [-9999, np.inf, -3.4e38, 1e30, np.nan, 30_001, -30_001])
def test_what_is_no_height_is_unknown_though_the_file_does_not_say_so(tmp_path, nothing):
    cells = FLAT.copy()
    cells[7, 5] = nothing
    found = read_terrain(raster(tmp_path / "d.tif", cells), [0.55, 1.55], [41.25, 41.25])
    assert found["elevation_m"].isna().tolist() == [True, False]
    cells[7, 5] = -9998
    found = read_terrain(raster(tmp_path / "d.tif", cells), [0.55], [41.25])
    assert found["elevation_m"].tolist() == pytest.approx([-9998], abs=0.001)


def test_folders_and_odd_names_in_place_of_files(tmp_path):
    folder = tmp_path / "x.gpkg"
    folder.mkdir()
    for what, use in (
        ("coast file", read_coast_file),
        ("geology file", lambda p: rock_map_at(LON, LAT, p, column="unit")),
        ("height raster", lambda p: read_terrain(p, LON, LAT)),
    ):
        with pytest.raises(LayerError, match=f"^{what} .*x.gpkg is a folder; give the file in it"):
            use(folder)
        with pytest.raises(LayerError, match=f"^{what} .*does not exist; check the path"):
            use(tmp_path / "none.gpkg")
        with pytest.raises(LayerError, match=f"^{what}"):
            use(tmp_path / ("n" * 300 + ".gpkg"))
        with pytest.raises(LayerError, match="/dev/null is no ordinary file"):
            use(Path("/dev/null"))


def test_a_message_names_the_file_and_not_its_folder(tmp_path, monkeypatch):
    (tmp_path / "odd.toml").write_text("x = 3")
    monkeypatch.chdir(tmp_path)
    for path in (Path("odd.toml"), tmp_path / "odd.toml"):
        with pytest.raises(LayerError, match=r"^coast file odd.toml cannot be read \('odd.toml' "):
            read_coast_file(path)


@pytest.mark.parametrize("seed", range(30))
@pytest.mark.filterwarnings("ignore")
def test_a_damaged_file_ends_in_a_sentence_or_counts_every_row(tmp_path, seed):
    """Bytes changed, cut out and doubled at random; more of it in a script for the whole corpus."""
    rng = np.random.default_rng(seed)
    shapes = [GOOD, shapely.Point(0.6, 41.3), shapely.Point(0.7, 41.4)]
    way = '<wpt lat="41.{0}" lon="1"><name>{0}</name><desc>crag=P; sector=N</desc></wpt>\n'
    mark = (
        '<Placemark><name>{0}</name><ExtendedData><Data name="crag"><value>P</value></Data><Data '
        'name="sector"><value>N</value></Data></ExtendedData><Point><coordinates>1,41.{0}'
        "</coordinates></Point></Placemark>\n"
    )
    (tmp_path / "a.gpx").write_text(f"<gpx>{''.join(map(way.format, range(4)))}</gpx>")
    (tmp_path / "a.kml").write_text(f"<kml>{''.join(map(mark.format, range(4)))}</kml>")
    points(tmp_path / "a.geojson", shapes)
    points(tmp_path / "a.gpkg", shapes)
    for path in sorted(tmp_path.glob("a.*")):
        data = bytearray(path.read_bytes())
        at, length = int(rng.integers(len(data))), int(rng.integers(1, 40))
        kind = int(rng.integers(3))
        if kind == 0:
            data[at] = int(rng.integers(256))
        elif kind == 1:
            del data[at : at + length]
        else:
            data[at:at] = data[at : at + length]
        path.write_bytes(data)
        try:
            found = read_register(path)
        except SaltreachError as error:
            assert str(error).startswith(path.name)
            continue
        assert found.rows_read == len(found.anchors) + found.rejected["row"].nunique()
