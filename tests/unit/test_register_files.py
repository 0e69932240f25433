"""Headers, encodings, workbooks and GIS files; each unusable input says what to do."""

import datetime as dt
import json
import warnings

import geopandas as gpd
import numpy as np
import openpyxl
import pandas as pd
import pytest
from geographiclib.geodesic import Geodesic
from shapely.geometry import LineString, MultiPoint, Point

from saltreach.errors import RegisterError
from saltreach.intake import read_register
from saltreach.intake.headers import column_of

HEADER = "anchor_id,crag,sector,lon,lat"
ROW = "007,P,N,0.5,41.2"


def text_file(tmp_path, text, name="a.csv", encoding="utf-8"):
    path = tmp_path / name
    path.write_bytes(text.encode(encoding))
    return path


def book_file(tmp_path, sheets, name="a.xlsx"):
    book = openpyxl.Workbook()
    book.remove(book.active)
    for title, rows in sheets.items():
        sheet = book.create_sheet(title)
        for row in rows:
            sheet.append(row)
    book.save(tmp_path / name)
    book.close()
    return tmp_path / name


def points(crs="EPSG:4326", **columns):
    n = 2
    base = {"anchor_id": ["007", "8"], "crag": ["P"] * n, "sector": ["N"] * n}
    return gpd.GeoDataFrame(base | columns, geometry=[Point(0.5, 41.2), Point(0.6, 41.3)], crs=crs)


@pytest.mark.parametrize("delimiter", [",", ";", "\t"])
@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "cp1252", "utf-16"])
def test_delimiters_and_encodings(tmp_path, delimiter, encoding):
    text = f"{HEADER},notes\n{ROW},Peñón\n".replace(",", delimiter)
    register = read_register(text_file(tmp_path, text, encoding=encoding))
    assert register.anchors["notes"].tolist() == ["Peñón"]
    assert register.anchors["anchor_id"].tolist() == ["007"]
    assert any("Windows-1252" in n for n in register.notes) == (encoding == "cp1252")


def test_text_that_other_readers_take_for_empty_stays(tmp_path):
    register = read_register(text_file(tmp_path, f"{HEADER}\nNA,None,null,0.5,41.2\n"))
    row = register.anchors.iloc[0]
    assert row[["anchor_id", "crag", "sector"]].tolist() == ["NA", "None", "null"]


@pytest.mark.parametrize(
    ("header", "column"),
    [
        ("Anchor ID", "anchor_id"),
        ("ANCHOR-ID", "anchor_id"),
        ("Bolt id", "anchor_id"),
        ("longitud", "lon"),
        ("Längengrad", "lon"),
        ("LATITUDE", "lat"),
        ("Secteur", "sector"),
        ("Última inspección", "last_inspected_on"),
        ("Durchmesser", "diameter_mm"),
        ("diameter (mm)", "diameter_mm"),
        ("matériau", "material"),
        ("x", None),
        ("Y", None),
        ("easting", None),
        ("", None),
    ],
)
def test_headers_are_matched_by_name_spelling_and_synonym(header, column):
    assert column_of(header, grid=False) == column


def test_matched_headers_are_noted_and_id_is_weak(tmp_path):
    text = "ID,Crag,sector,Longitud,lat\n007,P,N,0.5,41.2\n"
    register = read_register(text_file(tmp_path, text))
    assert register.anchors["anchor_id"].tolist() == ["007"]
    assert "header 'Longitud' read as lon" in register.notes
    both = read_register(text_file(tmp_path, f"ID,{HEADER}\n5,{ROW}\n"))
    assert both.anchors["anchor_id"].tolist() == ["007"]
    assert both.anchors["ID"].tolist() == ["5"]


def test_two_headers_for_one_column_name_both(tmp_path):
    path = text_file(tmp_path, f"{HEADER},Longitude\n{ROW},0.5\n")
    with pytest.raises(RegisterError, match=r"'lon' and 'Longitude' both mean lon"):
        read_register(path)
    chosen = read_register(path, columns={"lon": "Longitude"})
    assert chosen.anchors["lon_given"].tolist() == ["0.5"]


def test_repeated_and_unnamed_extra_headers_are_kept_apart(tmp_path):
    path = text_file(tmp_path, f"{HEADER},foo,,Foo,foo,\n{ROW},1,2,3,4,\n")
    row = read_register(path).anchors.iloc[0]
    assert (row["foo"], row["column_7"], row["Foo_2"], row["foo_3"]) == ("1", "2", "3", "4")


def test_missing_columns_list_the_headers_and_how_to_map(tmp_path):
    path = text_file(tmp_path, "anchor_id,crag,sector,X,Y\n1,P,N,0.5,41.2\n")
    with pytest.raises(RegisterError, match=r"no column for lon, lat.*'X', 'Y'.*--column lon="):
        read_register(path)
    mapped = read_register(path, columns={"lon": "X", "lat": "Y"})
    assert mapped.anchors[["lon", "lat"]].values.tolist() == [[0.5, 41.2]]


@pytest.mark.parametrize(
    ("columns", "message"),
    [
        ({"lonn": "X"}, "did you mean lon"),
        ({"lon": "Z"}, "no header 'Z'"),
        ({"lon": "lon", "lat": "lon"}, "mapped to two columns"),
    ],
)
def test_wrong_mappings_are_refused(tmp_path, columns, message):
    with pytest.raises(RegisterError, match=message):
        read_register(text_file(tmp_path, f"{HEADER}\n{ROW}\n"), columns=columns)


def utm_of_the_central_meridian(lat):
    """Easting and northing of UTM zone 30 at 3 W: the meridian arc times the scale 0.9996.

    From the definition of UTM, with the arc from geographiclib (an independent library).
    """
    arc = Geodesic(6378137.0, 1 / 298.257222101).Inverse(0.0, -3.0, lat, -3.0)["s12"]
    return 500_000.0, 0.9996 * arc


@pytest.mark.pinned("peer", answers=2)
@pytest.mark.parametrize("mapped", [True, False])
def test_eastings_and_northings_with_a_crs(tmp_path, mapped):
    east, north = utm_of_the_central_meridian(43.4)
    text = f"anchor_id,crag,sector,Easting,Northing\n1,P,N,{east},{north}\n"
    register = read_register(
        text_file(tmp_path, text),
        crs="EPSG:25830",
        columns={"lon": "Easting", "lat": "Northing"} if mapped else None,
    )
    assert register.anchors.loc[0, "lon"] == pytest.approx(-3.0, abs=1e-9)
    assert register.anchors.loc[0, "lat"] == pytest.approx(43.4, abs=1e-9)
    assert "positions converted from EPSG:25830 to WGS 84" in register.notes


def test_eastings_without_crs_say_so(tmp_path):
    path = text_file(tmp_path, "anchor_id,crag,sector,Easting,Northing\n1,P,N,5e5,4.8e6\n")
    with pytest.raises(RegisterError, match="need --crs too"):
        read_register(path)


def test_positions_impossible_in_the_crs_are_refused(tmp_path):
    text = f"{HEADER}\na,P,N,500000,4800000\nb,P,N,-3,43.4\nc,P,N,1e30,5\nd,P,N,5e5,-9.5e6\n"
    register = read_register(text_file(tmp_path, text), crs="EPSG:25830")
    assert register.anchors["anchor_id"].tolist() == ["a"]
    assert register.rejected["row"].tolist() == [3, 4, 5]
    assert set(register.rejected["reason"]) == {"no position of EPSG:25830"}


def test_swapped_eastings_and_northings_are_found(tmp_path):
    rows = [f"{i},P,N,{500000 + i},{4800000 + i}" for i in range(4)] + ["s,P,N,4800001,500001"]
    text = "\n".join([HEADER, *rows])
    rejected = read_register(text_file(tmp_path, text), crs="EPSG:25830").rejected
    assert rejected["row"].tolist() == [6]
    assert "looks like easting and northing are swapped" in rejected["fix"].item()


@pytest.mark.parametrize("crs", ["EPSG:999999", "nowhere"])
def test_unknown_crs(tmp_path, crs):
    with pytest.raises(RegisterError, match=r"unknown CRS .*--crs EPSG:25830"):
        read_register(text_file(tmp_path, f"{HEADER}\n{ROW}\n"), crs=crs)


@pytest.mark.parametrize(
    ("name", "content", "message"),
    [
        ("a.doc", b"x", r"give one of \.csv"),
        ("a", b"x", "file without suffix"),
        ("a.csv", b"", "the file is empty"),
        ("a.csv", b" \n \n", "the file is empty"),
        ("a.csv", b"PK\x03\x04\x00\x00", "not a text table"),
        ("a.csv", b"\x81\x8d\x8f,\n", "no column for anchor_id"),
        ("a.csv", b'anchor_id,crag,sector,lon,lat\n"1,P,N,0.5,41\n', "never closed"),
        ("a.csv", b"nothing here\n", "no column for anchor_id"),
        ("a.xlsx", b"no zip at all", "not a readable XLSX"),
        ("a.xlsx", b"PK\x03\x04 broken", "not a readable XLSX"),
        ("a.geojson", b"{", "not readable as GeoJSON"),
        ("a.geojson", b"[" * 100_000, "not readable as GeoJSON"),
        ("a.json", b'{"a": 1}', "not a GeoJSON FeatureCollection"),
        ("a.json", b'{"type": "FeatureCollection", "features": []}', "no features"),
        ("a.gpkg", b"not sqlite", "not a GeoPackage"),
        ("a.gpkg", b"SQLite format 3\x00 broken", "not a readable GeoPackage"),
        ("a.gpx", b"<gpx><wpt", "not a readable GPX"),
        ("a.gpx", b'<gpx version="1.1"></gpx>', "no waypoints"),
        ("a.kml", b"<html/>", "not a KML file"),
        ("a.kml", b"<kml><Document><Placemark>", "not a readable KML|no placemarks"),
    ],
)
def test_unusable_files_say_why(tmp_path, name, content, message):
    path = tmp_path / name
    path.write_bytes(content)
    with pytest.raises(RegisterError, match=message):
        read_register(path)


def test_sheet_and_layer_only_where_they_mean_something(tmp_path):
    path = text_file(tmp_path, f"{HEADER}\n{ROW}\n")
    with pytest.raises(RegisterError, match="only a workbook"):
        read_register(path, sheet="A")
    with pytest.raises(RegisterError, match="have layers"):
        read_register(path, layer="A")


def test_missing_file(tmp_path):
    with pytest.raises(RegisterError, match="no such file"):
        read_register(tmp_path / "none.csv")


def test_checksum_is_that_of_the_bytes(tmp_path):
    import hashlib

    path = text_file(tmp_path, f"{HEADER}\n{ROW}\n")
    assert read_register(path).sha256 == hashlib.sha256(path.read_bytes()).hexdigest()


def test_workbook_cells_of_every_type(tmp_path):
    header = [*HEADER.split(","), "installed_on", "last_inspected_on", "material", "condition"]
    header += ["rain_washed", "owner"]
    row = ["007", "P", "N", 0.5, 41.2, dt.datetime(2014, 6, 12), 2020.0, 304, 2.0, True, "007"]
    late = [8, "P", "N", "0,6", 41.3, 2014, dt.date(2021, 1, 2), 1.4404, None, "no", 7]
    path = book_file(tmp_path, {"Sheet": [header, row, [None] * 11, late]})
    register = read_register(path)
    assert register.rejected.empty, register.rejected.to_string()
    first, second = register.anchors.to_dict("records")
    assert (first["anchor_id"], second["anchor_id"]) == ("007", "8")
    assert (first["installed_on"], first["last_inspected_on"]) == ("2014-06-12", "2020")
    assert (second["installed_on"], second["last_inspected_on"]) == ("2014", "2021-01-02")
    assert (first["material"], second["material"]) == ("304", "316")
    assert (first["rain_washed"], second["rain_washed"]) == ("yes", "no")
    assert (first["owner"], second["owner"]) == ("007", "7")
    assert (first["source_row"], second["source_row"]) == (2, 4)


def test_workbook_sheets(tmp_path):
    register_rows = [HEADER.split(","), ROW.split(",")]
    path = book_file(tmp_path, {"Notes": [["hello"]], "Anchors": register_rows, "Empty": []})
    register = read_register(path)
    assert len(register.anchors) == 1
    assert any("'Anchors'" in note for note in register.notes)
    with pytest.raises(RegisterError, match=r"no sheet 'X'; sheets: 'Notes', 'Anchors', 'Empty'"):
        read_register(path, sheet="X")
    with pytest.raises(RegisterError, match="no column for"):
        read_register(path, sheet="Notes")
    two = book_file(tmp_path, {"A": register_rows, "B": register_rows})
    with pytest.raises(RegisterError, match=r"several sheets hold a register \('A', 'B'\)"):
        read_register(two)
    assert len(read_register(two, sheet="B").anchors) == 1
    none = book_file(tmp_path, {"A": [["one"]], "B": [["two"]]})
    with pytest.raises(RegisterError, match="no sheet has the required columns.*'one'.*'two'"):
        read_register(none)
    blank = book_file(tmp_path, {"A": []})
    with pytest.raises(RegisterError, match="it is empty; put headers and rows there"):
        read_register(blank)


def test_geopackage_layers_and_crs(tmp_path):
    path = tmp_path / "a.gpkg"
    points().to_crs("EPSG:25831").to_file(path, layer="anchors", driver="GPKG")
    lines = gpd.GeoDataFrame(geometry=[LineString([(0, 0), (1, 1)])], crs="EPSG:4326")
    lines.to_file(path, layer="paths", driver="GPKG")
    register = read_register(path)
    assert register.anchors["lon"].to_numpy() == pytest.approx([0.5, 0.6], abs=1e-9)
    assert register.anchors["lat"].to_numpy() == pytest.approx([41.2, 41.3], abs=1e-9)
    assert register.anchors["source_row"].tolist() == [1, 2]
    assert "positions converted from EPSG:25831 to WGS 84" in register.notes
    assert read_register(path, crs="EPSG:25831").rejected.empty
    with pytest.raises(RegisterError, match="own CRS is EPSG:25831, but EPSG:25830"):
        read_register(path, crs="EPSG:25830")
    with pytest.raises(RegisterError, match=r"no layer 'x'; layers: 'anchors', 'paths'"):
        read_register(path, layer="x")
    points().to_file(path, layer="more", driver="GPKG")
    with pytest.raises(RegisterError, match=r"2 point layers.*--layer.*'more'"):
        read_register(path)
    assert len(read_register(path, layer="more").anchors) == 2


def test_geopackage_without_crs(tmp_path):
    path = tmp_path / "a.gpkg"
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        points(crs=None).to_file(path, driver="GPKG")
    with pytest.raises(RegisterError, match="does not say its CRS"):
        read_register(path)
    assert read_register(path, crs="EPSG:4326").anchors["lon"].tolist() == [0.5, 0.6]


def test_geometries_that_are_no_points_are_refused(tmp_path):
    shapes = [Point(0.5, 41.2), LineString([(0, 0), (1, 1)]), None, MultiPoint([(0.7, 41.4)])]
    base = {"anchor_id": list("abcd"), "crag": "P", "sector": "N"}
    frame = gpd.GeoDataFrame(base, geometry=shapes, crs="EPSG:4326")
    for name in ("a.gpkg", "a.geojson"):
        frame.to_file(tmp_path / name)
        register = read_register(tmp_path / name, layer=None)
        assert register.anchors["anchor_id"].tolist() == ["a", "d"]
        assert register.anchors.loc[1, "lon"] == 0.7
        found = register.rejected[["row", "column", "value"]].values.tolist()
        assert found == [
            [2, "lon, lat", "LineString (anchor 'b')"],
            [3, "lon", "(anchor 'c')"],
            [3, "lat", "(anchor 'c')"],
        ]


def test_lon_lat_columns_must_agree_with_the_geometry(tmp_path):
    path = tmp_path / "a.geojson"
    points(lon=[0.5, 0.7], lat=[41.2, 41.3]).to_file(path)
    register = read_register(path)
    assert register.anchors["anchor_id"].tolist() == ["007"]
    assert "another place than the geometry" in register.rejected["reason"].item()
    by_hand = read_register(path, columns={"lon": "lon", "lat": "lat"})
    assert by_hand.anchors["lon"].tolist() == [0.5, 0.7]
    assert "positions taken from the mapped columns, not from the geometry" in by_hand.notes


def test_geojson_of_an_older_kind_may_name_its_crs(tmp_path):
    east, north = utm_of_the_central_meridian(43.4)
    properties = {"anchor_id": 7, "crag": "P", "sector": "N", "installed_on": 2014}
    document = {
        "type": "FeatureCollection",
        "crs": {"type": "name", "properties": {"name": "urn:ogc:def:crs:EPSG::25830"}},
        "features": [
            {
                "type": "Feature",
                "geometry": {"type": "Point", "coordinates": [east, north, 5]},
                "properties": properties,
            }
        ],
    }
    path = tmp_path / "a.geojson"
    path.write_text(json.dumps(document))
    row = read_register(path).anchors.iloc[0]
    assert (row["lon"], row["lat"]) == pytest.approx((-3.0, 43.4), abs=1e-9)
    assert (row["anchor_id"], row["installed_on"]) == ("7", "2014")
    del document["crs"]
    path.write_text(json.dumps(document))
    assert len(read_register(path, crs="EPSG:25830").anchors) == 1
    assert len(read_register(path).rejected)


def test_gpx_waypoints(tmp_path):
    path = tmp_path / "a.gpx"
    path.write_text(
        '<?xml version="1.0"?><gpx version="1.1" creator="t" '
        'xmlns="http://www.topografix.com/GPX/1/1" xmlns:o="https://example.org/o">'
        '<wpt lat="41.2" lon="0.5"><ele>120.5</ele><name>007</name>'
        "<cmt>material=A4</cmt>"
        "<desc>crag=Punta Roja; sector=Norte; notes=rusty; look again</desc>"
        "<extensions><o:anchor><o:installed_on>2014</o:installed_on></o:anchor>"
        "<o:owner>club</o:owner></extensions></wpt>"
        '<wpt lat="41.3" lon="0.5"><name>8</name><desc>just words</desc></wpt></gpx>'
    )
    register = read_register(path)
    row = register.anchors.iloc[0]
    assert (row["anchor_id"], row["crag"], row["sector"]) == ("007", "Punta Roja", "Norte")
    assert (row["material"], row["notes"]) == ("316", "rusty; look again")
    assert (row["elevation_m"], row["installed_on"], row["owner"]) == (120.5, "2014", "club")
    assert register.rejected[["row", "column"]].values.tolist() == [[2, "crag"], [2, "sector"]]


def test_kml_folders_names_and_descriptions(tmp_path):
    def placemark(name, lon):
        return (
            f"<Placemark><name>{name}</name><description>say &lt;b&gt;</description>"
            '<ExtendedData><Data name="crag"><value>P</value></Data>'
            '<Data name="sector"><value>N</value></Data></ExtendedData>'
            f"<Point><coordinates>{lon},41.2</coordinates></Point></Placemark>"
        )

    path = tmp_path / "a.kml"
    path.write_text(
        '<?xml version="1.0"?><kml xmlns="http://www.opengis.net/kml/2.2"><Document>'
        f"<Folder><name>one</name>{placemark('007', 0.5)}</Folder>"
        f"<Folder><name>two</name>{placemark('8', 0.6)}</Folder></Document></kml>"
    )
    register = read_register(path)
    assert register.anchors["anchor_id"].tolist() == ["007", "8"]
    assert register.anchors["notes"].tolist() == ["say"] * 2
    assert register.anchors["source_row"].tolist() == [1, 2]
    assert any("2 folders" in note for note in register.notes)
    assert read_register(path, layer="two").anchors["anchor_id"].tolist() == ["8"]
    with pytest.raises(RegisterError, match="no layer 'three'"):
        read_register(path, layer="three")


def test_columns_hold_the_types_they_promise(tmp_path):
    register = read_register(text_file(tmp_path, f"{HEADER},condition\n{ROW},3\n"))
    assert register.anchors["condition"].dtype == np.float64
    assert register.anchors["source_row"].dtype == np.int64
    assert isinstance(register.anchors["notes"].dtype, pd.StringDtype)


def test_import_is_light():
    """Plain import of the register loads no GIS reader and no schema library."""
    import subprocess
    import sys

    heavy = "{'geopandas', 'pandera', 'openpyxl', 'pyogrio', 'pyproj', 'folium'}"
    code = f"import sys, saltreach.intake; print(sorted({heavy} & set(sys.modules)))"
    out = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert out.stdout.strip() == "[]"
