"""GPX, KML and GeoJSON point by point: one bad point is refused alone, and the mapping of fields.

Files are written by hand here, as programs and people write them; what is read is what stands
in them.
"""

import json
import zipfile

import pytest

from saltreach.errors import RegisterError
from saltreach.intake import read_register
from saltreach.intake.formats import key_value_pairs
from saltreach.intake.gis_xml import text_of_html

GPX = "http://www.topografix.com/GPX/1/1"
KML = "http://www.opengis.net/kml/2.2"


def gpx(tmp_path, body, encoding="utf-8", head='<?xml version="1.0" encoding="{}"?>'):
    path = tmp_path / "a.gpx"
    text = f'{head.format(encoding)}\n<gpx xmlns="{GPX}" xmlns:o="urn:own">{body}</gpx>'
    path.write_bytes(text.encode(encoding))
    return path


def waypoint(name, lat="41.2", lon="0.5", more="", desc="crag=P; sector=N"):
    return f'<wpt lat="{lat}" lon="{lon}"><name>{name}</name><desc>{desc}</desc>{more}</wpt>\n'


def kml(tmp_path, body, name="a.kml"):
    path = tmp_path / name
    path.write_text(f'<?xml version="1.0"?>\n<kml xmlns="{KML}">{body}</kml>', encoding="utf-8")
    return path


DATA = (
    '<ExtendedData><Data name="crag"><value>P</value></Data>'
    '<Data name="sector"><value>N</value></Data></ExtendedData>'
)


def placemark(name, shape="<Point><coordinates>0.5,41.2</coordinates></Point>", more=DATA):
    return f"<Placemark><name>{name}</name>{more}{shape}</Placemark>\n"


def geojson(tmp_path, features, **more):
    path = tmp_path / "a.geojson"
    path.write_text(json.dumps({"type": "FeatureCollection", "features": features} | more))
    return path


def feature(name, coordinates, kind="Point", **more):
    return {
        "type": "Feature",
        "properties": {"anchor_id": name, "crag": "P", "sector": "N"} | more,
        "geometry": {"type": kind, "coordinates": coordinates},
    }


def told(register):
    return register.rejected[["row", "column", "value", "reason"]].values.tolist()


NO_POSITION = "not a point with a position"


@pytest.mark.parametrize(
    ("lat", "lon", "column", "value", "reason"),
    [
        ("95", "99", "lat", "95 (anchor '2')", "not in -90..90"),
        ("95", "0.5", "lon, lat", "0.5, 95 (anchor '2')", "lat not in -90..90"),
        ("abc", "0.5", "lon, lat", "lat 'abc', lon '0.5' (anchor '2')", NO_POSITION),
        ("", "", "lon, lat", "lat '', lon '' (anchor '2')", NO_POSITION),
        ("nan", "0.5", "lon, lat", "lat 'nan', lon '0.5' (anchor '2')", NO_POSITION),
        ("41.2", "1e999", "lon, lat", "lat '41.2', lon '1e999' (anchor '2')", NO_POSITION),
        ("4_1", "0.5", "lon, lat", "lat '4_1', lon '0.5' (anchor '2')", NO_POSITION),
    ],
)
def test_a_bad_waypoint_is_refused_alone(tmp_path, lat, lon, column, value, reason):
    found = read_register(
        gpx(tmp_path, waypoint(1) + waypoint(2, lat, lon) + waypoint(3, "41.3", "0.6"))
    )
    assert found.anchors["anchor_id"].tolist() == ["1", "3"]
    assert told(found) == [[2, column, value, reason]]
    assert (found.rejected["fix"] != "").all()
    assert found.rows_read == 3


def test_a_waypoint_without_a_coordinate_is_refused_alone(tmp_path):
    bare = '<wpt lat="41"><name>2</name><desc>crag=P; sector=N</desc></wpt>'
    found = read_register(gpx(tmp_path, waypoint(1) + bare))
    assert found.anchors["anchor_id"].tolist() == ["1"]
    assert told(found) == [[2, "lon, lat", "lat '41', lon missing (anchor '2')", NO_POSITION]]


def test_a_decimal_comma_in_a_waypoint_is_read_and_said(tmp_path):
    found = read_register(gpx(tmp_path, waypoint(1, "41,25", "0,5")))
    assert found.anchors[["lon", "lat"]].values.tolist() == [[0.5, 41.25]]
    assert "a comma in lat or lon was read as the decimal point" in found.notes
    assert read_register(gpx(tmp_path, waypoint(1))).notes == ()


def test_points_of_routes_and_tracks_are_no_anchors(tmp_path):
    more = (
        '<rte><rtept lat="1" lon="1"/><rtept lat="1" lon="2"/></rte>'
        '<trk><trkseg><trkpt lat="1" lon="1"/></trkseg></trk>'
    )
    found = read_register(gpx(tmp_path, waypoint(1) + more))
    assert found.rows_read == 1
    said = "2 route points and 1 track points are no anchors"
    assert f"{said} and were left aside" in found.notes
    with pytest.raises(RegisterError, match=rf"no waypoints.*\(its {said}\)"):
        read_register(gpx(tmp_path, more))


@pytest.mark.parametrize(
    ("body", "column", "value"),
    [
        ("<name>007</name>", "anchor_id", "007"),
        ("<ele>120.5</ele>", "elevation_m", 120.5),
        ("<desc>owner=club</desc>", "owner", "club"),
        ("<desc>just words</desc>", "notes", "just words"),
        ("<desc>words; owner=club</desc>", "notes", "words"),
        ("<cmt>material=A4</cmt>", "material", "316"),
        ("<desc>one</desc><cmt>two</cmt>", "notes", "one; two"),
        ("<desc>one</desc><cmt>one</cmt>", "notes", "one"),
        ("<extensions><o:a><o:owner>club</o:owner></o:a></extensions>", "owner", "club"),
        ("<desc>owner=x</desc><extensions><o:owner>club</o:owner></extensions>", "owner", "club"),
        ("<sym>Flag</sym><type>bolt</type><desc>owner=x</desc>", "owner", "x"),
    ],
)
def test_the_mapping_of_gpx(tmp_path, body, column, value):
    """One line of the documented table each; sym and type are left aside."""
    name = "" if "<name>" in body else "<name>1</name>"
    given = "<extensions><o:crag>P</o:crag><o:sector>N</o:sector></extensions>"
    found = read_register(gpx(tmp_path, f'<wpt lat="41.2" lon="0.5">{name}{body}{given}</wpt>'))
    row = found.anchors.iloc[0]
    assert row[column] == value
    assert not {"sym", "type", "Flag"} & set(found.anchors)


def test_a_field_for_the_name_wins_over_the_element(tmp_path):
    more = "<extensions><o:bolt_id>7</o:bolt_id></extensions>"
    found = read_register(gpx(tmp_path, waypoint("WPT001", more=more)))
    assert found.anchors["anchor_id"].tolist() == ["7"]
    mixed = waypoint("a", more="<extensions><o:anchor_id>7</o:anchor_id></extensions>")
    found = read_register(gpx(tmp_path, mixed + waypoint("b")))
    assert found.anchors["anchor_id"].tolist() == ["7", "b"]


@pytest.mark.parametrize(
    ("more", "column", "value"),
    [
        ("<name>007</name>", "anchor_id", "007"),
        ("<description>rusty</description>", "notes", "rusty"),
        ("<description>&lt;p&gt;a &amp;amp; b&lt;/p&gt;</description>", "notes", "a & b"),
        ("<description><![CDATA[<b>rusty</b><br>bent]]></description>", "notes", "rusty\nbent"),
        ("<description>owner=club; material=A4</description>", "material", "316"),
        ('<ExtendedData><Data name="owner"><displayName>x</displayName><value>club</value></Data>'
         "</ExtendedData>", "owner", "club"),
        ('<ExtendedData><Data name="id"><value>5</value></Data></ExtendedData>', "id", "5"),
        ('<ExtendedData><SchemaData schemaUrl="#s"><SimpleData name="owner">club</SimpleData>'
         "</SchemaData></ExtendedData>", "owner", "club"),
        ("<description>owner=x</description>"
         '<ExtendedData><Data name="owner"><value>club</value></Data></ExtendedData>',
         "owner", "club"),
        ("<address>here</address><Snippet>look</Snippet><description>x</description>",
         "notes", "x"),
    ],
)  # fmt: skip
def test_the_mapping_of_kml(tmp_path, more, column, value):
    """One line of the documented table each; what else a placemark has is left aside."""
    name = "" if "<name>" in more else "<name>1</name>"
    point = "<Point><coordinates>0.5,41.2,12</coordinates></Point>"
    body = f"<Placemark>{name}{more}{DATA}{point}</Placemark>"
    row = read_register(kml(tmp_path, body)).anchors.iloc[0]
    assert (row[column], row["lon"], row["lat"]) == (value, 0.5, 41.2)
    assert not {"address", "Snippet", "Name", "description"} & set(row.index)
    assert row["elevation_m"] != 12


def test_names_and_descriptions_of_kml_may_be_mapped_by_hand(tmp_path):
    more = f"<description>A4</description>{DATA}"
    mapping = {"anchor_id": "Name", "material": "description"}
    found = read_register(kml(tmp_path, placemark("7", more=more)), columns=mapping)
    assert found.anchors[["anchor_id", "material"]].values.tolist() == [["7", "316"]]


@pytest.mark.parametrize(
    ("shape", "value"),
    [
        ("", None),
        ("<Point><coordinates></coordinates></Point>", None),
        ("<Point/>", None),
        ("<Point><coordinates>0.5</coordinates></Point>", "coordinates '0.5'"),
        ("<Point><coordinates>x,41.2</coordinates></Point>", "coordinates 'x,41.2'"),
        ("<Point><coordinates>0,1 2,3</coordinates></Point>", "coordinates '0,1 2,3'"),
        (f"<Point><coordinates>0,1{'0' * 300}</coordinates></Point>",
         f"coordinates '0,1{'0' * 57}'"),
        ("<LineString><coordinates>0,1 2,3</coordinates></LineString>", "LineString"),
        ("<MultiGeometry><Point/><Point/></MultiGeometry>", "MultiGeometry"),
    ],
)  # fmt: skip
def test_a_bad_placemark_is_refused_alone(tmp_path, shape, value):
    body = placemark("1") + placemark("2", shape) + placemark("3")
    found = read_register(kml(tmp_path, f"<Document>{body}</Document>"))
    assert found.anchors["anchor_id"].tolist() == ["1", "3"]
    missing = [[2, n, "(anchor '2')", "missing"] for n in ("lon", "lat")]
    assert told(found) == (
        [[2, "lon, lat", f"{value} (anchor '2')", NO_POSITION]] if value else missing
    )


@pytest.mark.parametrize(
    "shape",
    [
        "<Point><coordinates> 0.5 , 41.2 , 0 </coordinates></Point>",
        "<MultiGeometry><Point><coordinates>0.5,41.2</coordinates></Point></MultiGeometry>",
    ],
)
def test_a_point_of_kml_may_have_blanks_or_be_the_only_one_of_several(tmp_path, shape):
    found = read_register(kml(tmp_path, placemark("1", shape)))
    assert found.anchors[["lon", "lat"]].values.tolist() == [[0.5, 41.2]]


def nested(tmp_path):
    def folder(name, inside):
        return f"<Folder><name>{name}</name>{inside}</Folder>"

    def mark(name):
        return placemark(name, more="")

    inside = folder("Norte", mark("1") + mark("2")) + folder("Sur", mark("3"))
    body = folder("Punta", inside) + folder("Cala", folder("Este", mark("4")))
    return kml(tmp_path, f"<Document><name>mine</name>{body}</Document>")


def test_names_of_folders_are_columns_only_where_asked_for(tmp_path):
    path = nested(tmp_path)
    said = (
        r"no column for crag, sector; where the names of folders say it, write for example "
        r"--column crag='Folder 1' --column sector='Folder 2' \(Folder 1: \['Punta'.*"
        r"Folder 2: \['Norte'"
    )
    with pytest.raises(RegisterError, match=said):
        read_register(path)
    found = read_register(path, columns={"crag": "Folder 1", "sector": "Folder 2"})
    assert found.anchors[["anchor_id", "crag", "sector"]].values.tolist() == [
        ["1", "Punta", "Norte"], ["2", "Punta", "Norte"], ["3", "Punta", "Sur"],
        ["4", "Cala", "Este"],
    ]  # fmt: skip
    assert "placemarks of 3 folders read, in the order of the file" in found.notes
    columns = {"crag": "Folder 1", "sector": "Folder 2"}
    assert len(read_register(path, columns=columns, layer="Punta").anchors) == 3
    assert len(read_register(path, columns=columns, layer="mine").anchors) == 4
    with pytest.raises(RegisterError, match="no layer 'x'; layers: 'mine', 'Punta', 'Norte'"):
        read_register(path, columns=columns, layer="x")


def test_a_folder_without_a_document_is_a_folder(tmp_path):
    body = f"<Folder><name>P</name>{placemark('1', more='')}</Folder>"
    columns = {"crag": "Folder 1", "sector": "Folder 1"}
    with pytest.raises(RegisterError, match="mapped to two columns"):
        read_register(kml(tmp_path, body), columns=columns)
    more = '<ExtendedData><Data name="sector"><value>N</value></Data></ExtendedData>'
    body = f"<Folder><name>P</name>{placemark('1', more=more)}</Folder>"
    found = read_register(kml(tmp_path, body), columns={"crag": "Folder 1"})
    assert found.anchors["crag"].tolist() == ["P"]


def test_a_document_inside_another_is_a_folder(tmp_path):
    inside = f"<Document><name>P</name>{placemark('1', more='')}</Document>"
    path = kml(tmp_path, f"<Document><name>file</name>{inside}</Document>")
    with pytest.raises(RegisterError, match=r"\(Folder 1: \['P'\]\)"):
        read_register(path)


def test_folders_too_deep_and_links_are_refused(tmp_path):
    deep = kml(tmp_path, "<Folder>" * 21 + placemark("1") + "</Folder>" * 21)
    with pytest.raises(RegisterError, match="21 folders inside each other, and at most 20"):
        read_register(deep)
    link = kml(tmp_path, "<NetworkLink><Link><href>http://x</href></Link></NetworkLink>")
    with pytest.raises(RegisterError, match="no placemarks.*links to another file"):
        read_register(link)


@pytest.mark.parametrize(
    ("html", "text"),
    [
        ("plain", "plain"),
        ("3 < 4 & 5 > 2", "3 < 4 & 5 > 2"),
        ("<p>a</p><p>b</p>", "a\nb"),
        ("a<br/>b<BR>c", "a\nb\nc"),
        ("<table><tr><td>crag</td><td>P</td></tr></table>", "crag P"),
        ("<script>x < 1; y > 2</script>a<style>p {}</style>b", "ab"),
        ("a<!-- <b> x > y -->c", "ac"),
        ("a<!-- never closed <b>", "a"),
        ("a &lt;b&gt; &amp; c", "a <b> & c"),
        ('<img src="x.jpg" alt="y">z', "z"),
        ("a <never closed", "a <never closed"),
        ("  a \t b  ", "a b"),
    ],
)
def test_text_of_html(html, text):
    assert text_of_html(html) == text


def test_kmz_is_a_zipped_kml(tmp_path):
    first = kml(tmp_path, placemark("1")).read_bytes()
    other = kml(tmp_path, placemark("2")).read_bytes()
    path = tmp_path / "a.kmz"

    def pack(**files):
        with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as packed:
            for name, data in files.items():
                packed.writestr(name, data)
        return read_register(path)

    assert pack(**{"x.kml": first, "pic.png": b"x"}).anchors["anchor_id"].tolist() == ["1"]
    several = pack(**{"x.kml": first, "doc.kml": other})
    assert several.anchors["anchor_id"].tolist() == ["2"]
    assert "'doc.kml' of 2 KML files in it read" in several.notes
    assert several.format == "KML"
    with pytest.raises(RegisterError, match="no .kml in this KMZ"):
        pack(**{"pic.png": b"x"})
    path.write_bytes(b"PK\x03\x04 broken")
    with pytest.raises(RegisterError, match="a.kmz: not a readable KMZ"):
        read_register(path)
    (tmp_path / "a.kml").write_bytes(zipped(first))
    assert len(read_register(tmp_path / "a.kml").anchors) == 1


def zipped(data):
    import io

    stream = io.BytesIO()
    with zipfile.ZipFile(stream, "w") as packed:
        packed.writestr("doc.kml", data)
    return stream.getvalue()


def test_a_kmz_of_any_size_is_unpacked_no_farther_than_the_limit(tmp_path, monkeypatch):
    monkeypatch.setattr("saltreach.intake.sizes.TEXT_BYTES", 2000)
    path = tmp_path / "a.kmz"
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as packed:
        packed.writestr("doc.kml", b" " * 1_000_000)
    with pytest.raises(RegisterError, match="2,001 bytes, and at most 2,000 are read, because"):
        read_register(path)


@pytest.mark.parametrize("encoding", ["windows-1252", "utf-16", "iso-8859-1", "utf-8"])
def test_the_declared_encoding_of_xml_is_honoured(tmp_path, encoding):
    path = gpx(tmp_path, waypoint(1, desc="crag=Peña; sector=N"), encoding)
    found = read_register(path)
    assert found.anchors["crag"].tolist() == ["Peña"]
    assert found.notes == ()


@pytest.mark.parametrize("head", ['<?xml version="1.0" encoding="UTF-8"?>', ""])
def test_xml_that_is_not_the_utf_8_it_says_is_read_as_windows_1252(tmp_path, head):
    path = gpx(tmp_path, waypoint(1, desc="crag=Peña; sector=N"), "cp1252", head)
    found = read_register(path)
    assert found.anchors["crag"].tolist() == ["Peña"]
    assert "text is not UTF-8 and was read as Windows-1252: check accents" in found.notes


def test_an_encoding_that_is_not_read_is_said(tmp_path):
    with pytest.raises(RegisterError, match=r"a.gpx: not a readable GPX file .*save it in UTF-8"):
        read_register(gpx(tmp_path, waypoint(1), "shift_jis"))


@pytest.mark.parametrize("encoding", ["utf-8-sig", "utf-16", "utf-32", "cp1252"])
def test_encodings_of_geojson(tmp_path, encoding):
    path = tmp_path / "a.geojson"
    document = {"type": "FeatureCollection", "features": [feature("1", [0.5, 41.2], owner="Peña")]}
    path.write_bytes(json.dumps(document, ensure_ascii=False).encode(encoding))
    found = read_register(path)
    assert found.anchors["owner"].tolist() == ["Peña"]
    assert any("Windows-1252" in note for note in found.notes) == (encoding == "cp1252")


@pytest.mark.parametrize("form", ["gpx", "kml", "geojson"])
def test_a_truncated_file_is_refused_whole_with_its_line(tmp_path, form):
    """Rows after the cut would be lost unseen."""
    path = {
        "gpx": lambda: gpx(tmp_path, waypoint(1) + waypoint(2) + waypoint(3)),
        "kml": lambda: kml(tmp_path, placemark("1") + placemark("2")),
        "geojson": lambda: geojson(tmp_path, [feature("1", [0.5, 41.2])] * 2),
    }[form]()
    whole = path.read_bytes()
    for share in (0.5, 0.8, 0.95):
        path.write_bytes(whole[: int(len(whole) * share)])
        with pytest.raises(RegisterError, match=r"a\.\w+: not readable|line \d.*\(cut off\?\)"):
            read_register(path)
    path.write_bytes(whole[:-30])
    line = whole[:-30].count(b"\n") + 1
    with pytest.raises(RegisterError, match=rf"line {line}.*\(cut off\?\)"):
        read_register(path)


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("<gpx><wpt></gpx>", "line 1: mismatched tag"),
        ("<gpx>\n<o:a/></gpx>", "line 2: unbound prefix"),
        ("<html/>", r"not a GPX file \(it begins with <html>, not with <gpx>\)"),
    ],
)
def test_xml_that_is_no_gpx_says_where(tmp_path, text, said):
    path = tmp_path / "a.gpx"
    path.write_text(text)
    with pytest.raises(RegisterError, match=said):
        read_register(path)


@pytest.mark.parametrize("encoding", ["utf-8", "utf-16"])
@pytest.mark.parametrize(
    "entity",
    [
        '<!ENTITY x SYSTEM "file:///etc/hostname">',
        '<!ENTITY a "aaaaaaaaaa"><!ENTITY x "&a;&a;&a;">',
        '<!ENTITY % p SYSTEM "file:///etc/hostname"> %p;',
    ],
)
def test_a_document_type_is_refused_before_its_entities_are_read(tmp_path, entity, encoding):
    path = tmp_path / "a.gpx"
    text = (
        f'<?xml version="1.0" encoding="{encoding}"?><!DOCTYPE gpx [{entity}]>'
        f"<gpx>{waypoint('&x;')}</gpx>"
    )
    path.write_bytes(text.encode(encoding))
    with pytest.raises(RegisterError, match="it has a document type"):
        read_register(path)


@pytest.mark.parametrize(
    ("broken", "said"),
    [
        (None, [2, "", "null", "not a feature"]),
        ([1], [2, "", "[1]", "not a feature"]),
        (feature("2", [0.5, 41.2], "LineString"),
         [2, "lon, lat", "LineString (anchor '2')", NO_POSITION]),
        (feature("2", ["0.5", "41"]),
         [2, "lon, lat", "coordinates ['0.5', '41'] (anchor '2')", NO_POSITION]),
        (feature("2", [float("nan"), 41]),
         [2, "lon, lat", "coordinates [nan, 41] (anchor '2')", NO_POSITION]),
        (feature("2", [float("inf"), 41]),
         [2, "lon, lat", "coordinates [inf, 41] (anchor '2')", NO_POSITION]),
        (feature("2", [10**400, 41]),
         [2, "lon, lat", "coordinates [inf, 41] (anchor '2')", NO_POSITION]),
        (feature("2", [1e308, 41]), [2, "lon", "1e+308 (anchor '2')", "not in -180..180"]),
        (feature("2", 95), [2, "lon, lat", "coordinates 95 (anchor '2')", NO_POSITION]),
        (feature("2", 0) | {"geometry": [1]}, [2, "lon, lat", "[1] (anchor '2')", NO_POSITION]),
        (feature("2", [1, 2], ["Point"]),
         [2, "lon, lat", "['Point'] (anchor '2')", NO_POSITION]),
    ],
)  # fmt: skip
def test_a_bad_feature_is_refused_alone(tmp_path, broken, said):
    good = feature("1", [0.5, 41.2]), feature("3", [0.6, 41.3])
    found = read_register(geojson(tmp_path, [good[0], broken, good[1]]))
    assert found.anchors["anchor_id"].tolist() == ["1", "3"]
    assert found.anchors["source_row"].tolist() == [1, 3]
    assert told(found) == [said]
    assert found.rows_read == 3


def test_one_key_with_two_values_refuses_the_feature(tmp_path):
    text = json.dumps(
        {"type": "FeatureCollection", "features": [feature(n, [0.5, 41.2]) for n in "123"]}
    )
    twice = text.replace('"anchor_id": "2"', '"anchor_id": "2", "crag": "A"', 1)
    path = tmp_path / "a.geojson"
    path.write_text(twice)
    found = read_register(path)
    assert found.anchors["anchor_id"].tolist() == ["1", "3"]
    assert told(found) == [[2, "", "crag", "this key stands twice, with different values"]]
    path.write_text(text.replace('"crag": "P"', '"crag": "P", "crag": "P"'))
    assert len(read_register(path).anchors) == 3
    path.write_text(text.replace('"crag": "P"', '"crag": ["P"], "crag": ["P"]'))
    with pytest.raises(RegisterError, match="the first, crag: this key stands twice"):
        read_register(path)  # lists are not compared
    path.write_text(text.replace('"features": [', '"features": [], "features": [', 1))
    with pytest.raises(RegisterError, match="the key 'features' of the collection stands twice"):
        read_register(path)


def test_no_feature_at_all_says_the_first(tmp_path):
    with pytest.raises(RegisterError, match="no feature can be read; the first, null: not a feat"):
        read_register(geojson(tmp_path, [None, None]))


def test_lists_nothing_and_half_characters_in_properties(tmp_path):
    more = {"list": [1, {"a": "ü"}], "number": float("inf"), "none": None, "half": "\ud800x"}
    path = geojson(tmp_path, [feature("1", [0.5, 41.2], **more, **{"k\udc00": 1})])
    row = read_register(path).anchors.iloc[0]
    assert (row["list"], row["number"], row["half"]) == ('[1, {"a": "ü"}]', "inf", "\ufffdx")
    assert row["k\ufffd"] == "1"


@pytest.mark.parametrize("depth", [200, 950, 100_000])
def test_lists_inside_lists_do_no_harm(tmp_path, depth):
    path = geojson(tmp_path, [feature("1", [0.5, 41.2], deep="@")])
    path.write_text(path.read_text().replace('"@"', "[" * depth + "]" * depth))
    if depth < 900:
        assert read_register(path).anchors["deep"].tolist() == ["[" * depth + "]" * depth]
        return
    try:  # how deep Python goes depends on where it is called from
        assert len(read_register(path).anchors) == 1
    except RegisterError as error:
        assert "too deep inside each other" in str(error)


@pytest.mark.parametrize(
    "crs", [{"type": "link", "properties": {"href": "x"}}, {"properties": {"name": {}}}, 5]
)
def test_a_crs_that_cannot_be_read_is_not_taken_for_wgs_84(tmp_path, crs):
    path = geojson(tmp_path, [feature("1", [0.5, 41.2])], crs=crs)
    with pytest.raises(RegisterError, match="does not say its CRS"):
        read_register(path)
    assert len(read_register(path, crs="EPSG:4326").anchors) == 1
    assert len(read_register(geojson(tmp_path, [feature("1", [0.5, 41.2])], crs=None)).anchors) == 1


def test_key_value_text_takes_no_time_on_blank_lines():
    import time

    begin = time.perf_counter()
    assert key_value_pairs("a\n" + "\n" * 200_000 + " " * 200_000 + "x") == (
        {}, "a\n" + "\n" * 200_000 + " " * 200_000 + "x"
    )  # fmt: skip
    assert time.perf_counter() - begin < 5
    assert key_value_pairs("look; crag = P;; q; sector=N\n\nowner=a") == (
        {"crag": "P;; q", "sector": "N", "owner": "a"}, "look",
    )  # fmt: skip
