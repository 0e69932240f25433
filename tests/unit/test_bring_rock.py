"""Geological units from Macrostrat and from a survey's own service, against a local server."""

import geopandas as gpd
import numpy as np
import pytest
import shapely

from helpers.open_services import MAPS, collection, in_parts, respond, square, unit, units
from saltreach.errors import LayerError, OptionError
from saltreach.intake.options import Options
from saltreach.intake.services import Services, Survey, read_services
from saltreach.layers.geology import LAYER
from saltreach.layers.online import bring_rock, geology_service, macrostrat
from saltreach.layers.online.part import Call
from saltreach.layers.online.web import ServiceError, Web
from saltreach.layers.pack import write_part
from saltreach.layers.where import where_of

PLACES = where_of([5.0, 5.01, 5.5], [43.0, 43.0, 43.0])


@pytest.fixture
def web():
    with Web(None, backoff_s=0, pause_s=0) as session:
        yield session


def bring(web, services, folder, where=PLACES):
    folder.mkdir(exist_ok=True)
    brought = bring_rock.PART.bring(Call(where, services, web, folder, folder / "downloads"))
    return brought, gpd.read_file(folder / "rock.gpkg", layer="rock")


def macro(httpserver, answer, maps=MAPS):
    """A server that answers as Macrostrat; `answer` from the request to JSON or a response."""
    httpserver.expect_request("/m/geologic_units/map").respond_with_handler(
        lambda sent: found if hasattr(found := answer(sent), "status_code") else respond(found)
    )
    httpserver.expect_request("/m/defs/sources").respond_with_json(maps)
    return Services(macrostrat=httpserver.url_for("/m"))


def test_one_polygon_serves_every_place_inside_it(web, httpserver, tmp_path):
    def answer(sent):
        assert sent.args["format"] == "geojson"
        if float(sent.args["lng"]) < 5.2:
            return units(unit("Major:{limestone}, Minor:{shale}", 2, square(4.9, 42.9, 5.1, 43.1)))
        return units(unit("Granite", 1, square(5.4, 42.9, 5.6, 43.1)))

    brought, rows = bring(web, macro(httpserver, answer), tmp_path)
    asked = [sent for sent, _ in httpserver.log if sent.path.endswith("map")]
    assert len(asked) == 2 == len(brought.requests)
    assert rows["rock"].tolist() == ["Major:{limestone}, Minor:{shale}", "Granite"]
    assert rows["scale"].tolist() == ["large", "small"]
    assert rows["unit"].tolist() == ["Example beds"] * 2
    assert rows["age"].tolist() == ["Aptian to Albian"] * 2
    assert rows["map"][0] == "Example Survey 2011 Sheet 7"
    assert "Example Survey 2011 Sheet 7" in brought.origins[0].source
    assert brought.origins[0].licence.startswith("CC BY 4.0") and not brought.notes


def test_the_most_detailed_map_that_names_a_rock_counts(web, httpserver, tmp_path):
    box = square(4.5, 42.5, 6, 43.5)
    brought, rows = bring(web, macro(httpserver, lambda _: units(
        unit("Shale", 1, box), unit("Sandstone", 2, box), unit("", 2, box, name="", descrip="")
    )), tmp_path)  # fmt: skip
    assert rows["rock"].tolist() == ["Sandstone"]


def test_an_answer_without_a_shape_serves_the_place_alone(web, httpserver, tmp_path):
    plain = {"success": {"data": [unit("Basalt")["properties"]]}}
    brought, rows = bring(web, macro(httpserver, lambda _: plain), tmp_path)
    assert len(rows) == 3
    at = shapely.points(PLACES.lon, PLACES.lat)
    assert shapely.contains(rows.geometry.to_numpy(), at).all()
    assert shapely.area(rows.geometry.to_numpy()) == pytest.approx(1e-6)  # 0.001 by 0.001 degrees


def test_words_come_from_the_description_where_the_lithology_is_empty():
    found = macrostrat.units_of(units(unit("", descrip="Grey limestone, bedded", source_id=None)))
    assert found[0].lith == "Grey limestone, bedded" and found[0].source_id == 0
    assert macrostrat.units_of(collection(unit("Chalk")))[0].lith == "Chalk"


def test_maps_that_cannot_be_had_are_said_and_the_rest_is_kept(web, httpserver, tmp_path):
    services = macro(httpserver, lambda _: units(unit("Gneiss")), maps={"error": {"message": "no"}})
    brought, rows = bring(web, services, tmp_path)
    assert len(rows) == 3 and "scales of the maps are not known" in brought.notes[0]


def test_places_that_fail_are_counted_and_all_failing_is_no_part(web, httpserver, tmp_path):
    def answer(sent):
        if float(sent.args["lng"]) < 5.2:
            return units()  # no unit there, as at sea
        return {"error": {"message": "database is down"}}

    with pytest.raises(ServiceError, match="reports an error: database is down"):
        bring(web, macro(httpserver, answer), tmp_path)
    httpserver.clear()

    def other(sent):
        there = float(sent.args["lng"]) < 5.005
        return units(unit("Tuff")) if there else {"success": {"data": "no"}}

    brought, rows = bring(web, macro(httpserver, other), tmp_path)
    assert len(rows) == 1 and brought.notes[0].startswith("2 places could not be asked about")
    httpserver.clear()
    with pytest.raises(ServiceError, match="has no unit at any of the places"):
        bring(web, macro(httpserver, lambda _: units()), tmp_path)


@pytest.mark.parametrize(
    "answer",
    [
        [1, 2],
        {"success": {}},
        {"success": {"data": None}},
        {"success": {"data": [{"properties": [1]}]}},
        {"success": {"data": [unit("x", shape={"type": "Polygon"})]}},
        {"success": {"data": [unit("x", shape={"type": "Nonsense", "coordinates": 1})]}},
        {"success": {"data": [unit("x", shape=square(500, 1, 501, 2))]}},
        {"success": {"data": [unit("x", source_id="many")]}},
    ],
)
def test_answers_in_another_form_are_refused(web, httpserver, tmp_path, answer):
    with pytest.raises(ServiceError, match="Macrostrat"):
        bring(web, macro(httpserver, lambda _: answer), tmp_path)


def survey(httpserver, **more):
    own = {"kind": "features", "address": httpserver.url_for("/geo"), "layer": "units",
           "column": "LITHO", "name_column": "NAME", "scale": "1:50 000", "licence": "CC BY",
           "source": "Example Survey", "attribution": "(c) Example Survey"}  # fmt: skip
    return Services(rock=Survey(**{**own, **more}))


def area(rock, *box, **more):
    own = {"LITHO": rock, "NAME": "Unit", **more}
    return {"type": "Feature", "properties": own, "geometry": square(*box)}


def test_a_surveys_features_come_page_after_page(web, httpserver, tmp_path):
    items = "/geo/collections/units/items"
    onward = httpserver.url_for(items) + "?offset=1&limit=1000"
    httpserver.expect_request(
        items, query_string={"offset": "1", "limit": "1000"}
    ).respond_with_json(collection(area("Marble", 5.4, 42.9, 5.6, 43.1)))
    httpserver.expect_request(items).respond_with_json(
        collection(area("Caliza", 4.9, 42.9, 5.1, 43.1), links=[{"rel": "next", "href": onward}])
    )
    brought, rows = bring(web, survey(httpserver), tmp_path)
    first = httpserver.log[0][0]
    assert first.args["f"] == "json" and len(first.args["bbox"].split(",")) == 4
    assert sorted(set(rows["rock"])) == ["Caliza", "Marble"]
    origin = brought.origins[0]
    assert (origin.source, origin.licence, origin.attribution) == (
        "Example Survey", "CC BY", "(c) Example Survey"
    )  # fmt: skip
    assert set(rows["scale"]) == {"1:50 000"}


def test_pages_that_lead_away_or_in_a_circle_end(web, httpserver, tmp_path):
    items = "/geo/collections/units/items"
    ring = httpserver.url_for(items) + "?page=1"
    for href, said in (("http://elsewhere.example/x", "another host"), (ring, "the same page")):
        httpserver.clear()
        httpserver.expect_request(items).respond_with_json(
            collection(area("Marble", 4, 42, 6, 44), links=[{"rel": "next", "href": href}])
        )
        with pytest.raises(ServiceError, match=said):
            bring(web, survey(httpserver), tmp_path)


def test_wfs_asks_in_the_axes_of_the_standard_and_mends_exchanged_answers(
    web, httpserver, tmp_path
):
    """EPSG:4326 counts latitude first; RFC 7946 longitude first. Some servers mix them up."""
    httpserver.expect_request("/geo").respond_with_json(
        collection(area("Marble", 42.9, 4.9, 43.1, 5.6))  # latitude first
    )
    brought, rows = bring(web, survey(httpserver, kind="wfs"), tmp_path)
    sent = httpserver.log[0][0].args
    south, west = (float(v) for v in sent["bbox"].split(",")[:2])
    assert 42.9 < south < 43 and 4.9 < west < 5
    assert (sent["version"], sent["typeNames"], sent["request"]) == ("2.0.0", "units", "GetFeature")
    assert rows.total_bounds.tolist() == pytest.approx([4.9, 42.9, 5.6, 43.1])
    assert brought.notes == ("the server gave latitude before longitude; they were exchanged",)
    httpserver.clear()
    httpserver.expect_request("/geo").respond_with_json(collection(area("Marble", 100, 0, 101, 1)))
    with pytest.raises(ServiceError, match="do not lie where they were asked for"):
        bring(web, survey(httpserver, kind="wfs"), tmp_path)


def test_wms_is_asked_about_the_middle_pixel_of_each_place(web, httpserver, tmp_path):
    httpserver.expect_request("/geo").respond_with_handler(lambda sent: respond(collection(
        {"type": "Feature", "geometry": None, "properties": {"LITHO": "Schist", "NAME": "S"}}
    )))  # fmt: skip
    brought, rows = bring(web, survey(httpserver, kind="wms", address=httpserver.url_for("/geo")
                                      + "?map=a.map"), tmp_path)  # fmt: skip
    assert len(rows) == 3 == len(httpserver.log)
    sent = httpserver.log[0][0].args
    west, south, east, north = (float(v) for v in sent["bbox"].split(","))
    assert ((west + east) / 2, (south + north) / 2) == pytest.approx((5.0, 43.0))
    assert (sent["i"], sent["j"], sent["width"], sent["crs"]) == ("50", "50", "101", "CRS:84")
    assert sent["map"] == "a.map"  # the user's own parameters stay


@pytest.mark.parametrize(
    ("answer", "said"),
    [
        (collection(), "has no unit in the region"),
        ({"title": "No such collection"}, "answered without features: No such collection"),
        ([], "answered without features"),
        (collection({"type": "Feature", "geometry": square(4, 42, 6, 44), "properties": {"A": 1}}),
         "has no column 'LITHO'; columns: A"),
        (collection({"type": "Feature", "geometry": {"type": "Point", "coordinates": [5, 43]},
                     "properties": {"LITHO": "x"}}), "gave no polygons"),
        (collection(area("x", 4, 42, 6, 44), crs={"properties": {"name": "EPSG:25830"}}),
         "answered in EPSG:25830, not in WGS 84"),
    ],
)  # fmt: skip
def test_what_a_survey_gives_wrongly_is_said(web, httpserver, tmp_path, answer, said):
    httpserver.expect_request("/geo/collections/units/items").respond_with_json(answer)
    with pytest.raises(ServiceError, match=said):
        bring(web, survey(httpserver), tmp_path)


def a_map(path, crs=25830):
    rows = [("Dolomia", 4.9, 42.9, 5.1, 43.1), ("Granito", 5.4, 42.9, 5.6, 43.1),
            ("Yeso", 20, 10, 21, 11)]  # fmt: skip
    gpd.GeoDataFrame(
        {"LITHO": [one[0] for one in rows], "NAME": ["U"] * 3},
        geometry=[shapely.box(*one[1:]) for one in rows], crs=4326,
    ).to_crs(crs).to_file(path, layer="x")  # fmt: skip
    return path.read_bytes()


def test_a_map_is_downloaded_whole_checked_and_cut_to_the_region(web, httpserver, tmp_path):
    import hashlib

    content = a_map(tmp_path / "source.gpkg")
    httpserver.expect_request("/geo.gpkg").respond_with_handler(in_parts(content))
    address, found = httpserver.url_for("/geo.gpkg"), hashlib.sha256(content).hexdigest()
    services = survey(httpserver, kind="file", address=address, layer="", sha256=found)
    brought, rows = bring(web, services, tmp_path / "pack")
    assert sorted(rows["rock"]) == ["Dolomia", "Granito"]
    assert rows.crs.to_epsg() == 4326 and brought.about["sha256"] == found
    wrong = survey(httpserver, kind="file", address=address, layer="", sha256="0" * 64)
    with pytest.raises(ServiceError, match=f"SHA-256 {found}, and 0000"):
        bring(web, wrong, tmp_path / "pack")
    assert not (tmp_path / "pack" / "downloads" / "geo.gpkg").exists()
    with pytest.raises(LayerError, match="no layer has a column 'ROCK'"):
        bring(web, survey(httpserver, kind="file", address=address, layer="", column="ROCK"),
              tmp_path / "pack")  # fmt: skip


def test_a_key_stands_in_the_environment_alone(httpserver, monkeypatch):
    services = survey(httpserver, key_parameter="token", key_environment="EXAMPLE_KEY")
    with pytest.raises(LayerError, match="set the environment variable EXAMPLE_KEY"):
        bring_rock.PART.plan(PLACES, services)
    monkeypatch.setenv("EXAMPLE_KEY", "s3cret")
    request = bring_rock.PART.plan(PLACES, services)[0]
    assert request.secret == {"token": "s3cret"} and "s3cret" not in request.shown


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ('[rock]\nkind = "wcs"\naddress = "https://a.example"\ncolumn = "x"', "kind"),
        ('[rock]\nkind = "wfs"\naddress = "https://a.example"\ncolumn = "x"', "say which layer"),
        ('[rock]\nkind = "file"\naddress = "https://a.example"', "which column"),
        ('[rock]\nkind = "file"\naddress = "a.example"\ncolumn = "x"', "whole address"),
        ('overpas = "https://a.example"', "overpas"),
        ('[rock]\nkind = "file"\naddress = "https://a.example/x"\ncolumn = "x"\n'
         'key_parameter = "k"', "go together"),
    ],
)  # fmt: skip
def test_a_file_of_services_is_checked(tmp_path, text, said):
    file = tmp_path / "services.toml"
    file.write_text(text)
    with pytest.raises(OptionError, match=said):
        read_services(file)


def test_the_pack_gives_rock_and_never_overrules_the_register(web, httpserver, tmp_path):
    """Rock unknown in the register comes from the map; where both speak and differ it is said."""
    import pandas as pd

    def answer(sent):
        return units(unit("Major:{sandstone}", 2, square(4.9, 42.9, 5.6, 43.1)))

    services = macro(httpserver, answer)
    write_part(
        tmp_path / "pack", "rock", now="2026-01-01T00:00:00+00:00",
        make=lambda folder: bring_rock.PART.bring(Call(PLACES, services, web, folder, folder)),
    )  # fmt: skip
    source = LAYER.open(Options(pack_folder=str(tmp_path / "pack")))
    places = pd.DataFrame({"lon": [5.0, 5.01, 5.5, 9.0], "lat": 43.0,
                           "rock_type": ["", "granite", "arenisca", ""]})  # fmt: skip
    found = LAYER.sample(source, places)
    assert found["lithology"].tolist() == ["sandstone", "granite", "sandstone", "unknown"]
    assert found["lithology_source"].tolist() == [
        "rock-macrostrat", "register", "register", "unknown"
    ]  # fmt: skip
    assert found["rock_disagreement"].tolist() == [
        "", "Rock: the register says granite, the map sandstone; the register's is used.", "", ""
    ]  # fmt: skip
    assert found["rock_unit"][0] == (
        "Major:{sandstone} | Example beds | Aptian to Albian | large | Example Survey 2011 Sheet 7"
    )
    assert LAYER.origins(source)[0].name == "rock-macrostrat"
    assert np.array(found["rock_unit"])[3] == ""


def test_more_units_than_are_taken_are_refused(web, httpserver, tmp_path, monkeypatch):
    monkeypatch.setattr(geology_service, "MOST_UNITS", 2)
    httpserver.expect_request("/geo/collections/units/items").respond_with_json(
        collection(*[area("Marble", 4, 42, 6, 44)] * 3)
    )
    with pytest.raises(ServiceError, match="more than 2 units in one box"):
        bring(web, survey(httpserver), tmp_path)
