"""What lies around, brought from a server that answers as Overpass documents; content invented.

Shapes of an answer (`elements`, `geometry` with null, `members` with roles, `remark` at status
200) are those of the Overpass documentation and its issue tracker; tags are those of the
OpenStreetMap wiki.
"""

import json

import numpy as np
import pytest
import shapely
from pyproj import Geod
from werkzeug import Response

from helpers.openstreetmap import AS_OF, answer, features, line, node, relation, way
from saltreach import Options
from saltreach.errors import LayerError
from saltreach.intake.services import Services
from saltreach.layers import context
from saltreach.layers.layer import Origin
from saltreach.layers.online import bring_context, osm_objects
from saltreach.layers.online.osm_objects import query, read_objects, request_of
from saltreach.layers.online.part import Brought, Call
from saltreach.layers.online.web import ServiceError, Web
from saltreach.layers.pack import write_part
from saltreach.layers.where import where_of

PATH = "/api/interpreter"
LON, LAT = -4.95, 43.44
ROAD = way(1, {"highway": "trunk", "name": "N 1"}, (-6.0, 43.4404), (-4.0, 43.4404))
TOWN = node(2, {"place": "town", "name": "Velorio"}, LON, LAT)
SQUARE = [(-4.95, 43.44), (-4.94, 43.44), (-4.94, 43.45), (-4.95, 43.45), (-4.95, 43.44)]
PIT = way(3, {"landuse": "quarry"}, *SQUARE)
BRINE = way(4, {"natural": "water", "salt": "yes", "water": "lake", "name": "Brine"}, *SQUARE)
CLIFF = way(5, {"natural": "cliff"}, (-4.95, 43.44), (-4.949, 43.4404), (-4.948, 43.442))


@pytest.fixture
def bring(httpserver, tmp_path):
    """Bring for places; the server answers with what it is told, one after the other."""

    def bring(lon, lat, *answers, told=None):
        left = list(answers)

        def said(request):
            given = left.pop(0) if len(left) > 1 else left[0]
            if told is not None:
                told.append(request.form["data"])
            whole = isinstance(given, Response)
            return given if whole else Response(json.dumps(given), mimetype="application/json")

        httpserver.expect_request(PATH, method="POST").respond_with_handler(said)
        services = Services(overpass=httpserver.url_for(PATH))
        brought = []

        def make(folder):
            with Web(backoff_s=0, pause_s=0) as web:
                brought.append(
                    bring_context.PART.bring(
                        Call(where_of(lon, lat), services, web, folder, folder)
                    )
                )
            return brought[0]

        write_part(tmp_path / "pack", context.NAME, make, now="2026-11-25T00:00:00Z")
        return brought[0], context.context_of(Options(pack_folder=str(tmp_path / "pack")))

    return bring


def test_what_lies_around_is_brought_with_its_source_and_read_offline(bring):
    told = []
    brought, found = bring([LON], [LAT], answer(PIT, TOWN, ROAD, BRINE, CLIFF), told=told)
    assert found.drop(columns="geometry").values.tolist() == [
        ["road", "N 1", 1, "trunk", "way/1"],
        ["salt lake", "Brine", 1, "lake", "way/4"],
        ["place", "Velorio", 1, "town", "node/2"],
        ["cliff", "", 2, "cliff", "way/5"],
        ["quarry", "", 3, "quarry", "way/3"],
    ]
    assert found.crs == "EPSG:4326"
    assert found.geom_type.tolist() == [
        "MultiLineString", "MultiPolygon", "Point", "MultiLineString", "MultiPolygon",
    ]  # fmt: skip
    (origin,), notes = brought.origins, brought.notes
    assert (origin.licence, origin.version, notes) == ("ODbL 1.0", AS_OF, ())
    assert origin.attribution == "© OpenStreetMap contributors, ODbL"
    assert "judgement" in origin.accuracy
    assert "never a value" in origin.note
    (box,) = brought.about["boxes"]
    assert told == [query(box)]
    assert brought.requests[0].endswith(" ".join(told[0].split()))
    # 5 km around and up to the next line of the grid, 1.1 km, by PROJ; the road is cut there
    wide = Geod(ellps="WGS84").inv([LON, LON], [LAT, LAT], [box[0], LON], [LAT, box[3]])[2]
    assert all(5000 <= far < 6112 for far in wide)
    np.testing.assert_allclose(found.geometry[0].bounds[::2], [box[0], box[2]])


def test_only_what_is_wanted_is_asked_for_and_nothing_that_has_to_do_with_climbing():
    text = query((-4.96, 43.43, -4.94, 43.45))
    assert text.splitlines()[:4] == [
        "[out:json][timeout:60][bbox:43.430000,-4.960000,43.450000,-4.940000];",
        "(",
        'way["highway"~"^(motorway|trunk|primary|secondary)$"][!"climbing"]["sport"!~"climbing"];',
        'way["natural"="water"]["salt"="yes"][!"climbing"]["sport"!~"climbing"];',
    ]
    assert text.splitlines()[-2:] == [");", "out geom;"]
    rows = text.splitlines()[2:-2]
    assert len(rows) == 8
    for row in rows:  # excluded everywhere, wanted nowhere
        assert row.count("climb") == 2
        assert row.endswith('[!"climbing"]["sport"!~"climbing"];')


@pytest.mark.parametrize(
    "tags",
    [{"climbing": "crag"}, {"climbing:grade": "6a"}, {"sport": "climbing"},
     {"sport": "hiking; Climbing"}, {"leisure": "climbing"}, {"sport": "bouldering"}],
)  # fmt: skip
def test_where_people_climb_is_never_kept(tags):
    both = {"natural": "cliff", "name": "Somebody's Wall"} | tags
    assert len(features(way(1, both, (0, 0), (0.01, 0)), CLIFF)) == 1
    assert len(features(node(1, {"place": "locality", "name": "x"} | tags, 0, 0))) == 0


def test_a_name_that_speaks_of_climbing_and_a_lane_for_lorries_are_no_climbing():
    lane = {"highway": "primary", "climbing_lane": "yes", "name": "Climbing Lane"}
    assert features(way(1, lane, (0, 0), (0.01, 0)))["name"].tolist() == ["Climbing Lane"]


@pytest.mark.parametrize(
    ("tags", "detail"),
    [
        ({"highway": "motorway", "tunnel": "yes"}, "motorway, tunnel"),
        ({"highway": "primary", "tunnel": "building_passage"}, "primary"),
        ({"highway": "secondary"}, "secondary"),
        ({"highway": "trunk_link"}, None),
        ({"highway": "residential"}, None),
        ({"natural": "coastline"}, None),
        ({"natural": "water", "salt": "no"}, None),
        ({"natural": "water"}, None),
        ({"place": "town", "name": "a way is no place"}, None),
    ],
)
def test_classes_of_roads_and_what_is_none(tags, detail):
    found = features(way(1, tags, (0, 0), (0.01, 0), (0.01, 0.01), (0, 0)))
    assert found["detail"].tolist() == ([] if detail is None else [detail])


@pytest.mark.parametrize("water", ["river", "canal", "pond"])
def test_salty_rivers_and_pools_are_no_lakes(water):
    assert len(features(way(1, {"natural": "water", "salt": "yes", "water": water}, *SQUARE))) == 0


def test_ranks_and_places():
    kinds = ["city", "town", "village", "hamlet", "locality", "suburb"]
    found = features(
        *(node(at, {"place": kind, "name": kind}, 0, 0) for at, kind in enumerate(kinds)),
        node(7, {"natural": "cape", "name": "Punta"}, 0, 0),
        node(8, {"natural": "bay"}, 0, 0),  # nameless
        *(way(at, {"highway": of}, (0, 0), (1, 1))
          for at, of in enumerate(["motorway", "trunk", "primary", "secondary"], 10)),
    )  # fmt: skip
    assert found["rank"].tolist() == [1, 1, 2, 3, 3, 3, 1, 1, 2, 3]
    assert found["name"].tolist()[5] == "Punta"


def test_a_road_without_a_name_has_its_number():
    found = features(way(1, {"highway": "trunk", "ref": "N-634"}, (0, 0), (1, 1)),
                     way(2, {"natural": "cliff", "ref": "7"}, (0, 0), (1, 1)))  # fmt: skip
    assert found["name"].tolist() == ["N-634", ""]


HOSTILE = '<script>alert("x")</script>', "=cmd|'/c calc'!A1", "a\nb\u202ec\x00 | d", "x" * 10_000


def test_hostile_names_are_kept_as_plain_text_on_one_line_and_cut(bring):
    roads = [way(at, ROAD["tags"] | {"name": name}, (-4.96, 43.44), (-4.94, 43.44))
             for at, name in enumerate(HOSTILE)]  # fmt: skip
    _, found = bring([LON], [LAT], answer(*roads))
    script, formula, lines, long = found["name"]
    assert script == HOSTILE[0]
    assert formula == "=cmd/'/c calc'!A1"  # a bar parts the sentences of a cell
    assert lines == "a bc / d"
    assert long == "x" * 77 + "..."


def test_a_relation_is_put_together_with_its_holes_whatever_way_its_members_run():
    outer = (SQUARE[:3], [*reversed(SQUARE[2:])])
    hole = [(-4.948, 43.442), (-4.946, 43.442), (-4.946, 43.444), (-4.948, 43.442)]
    other = [(-4.93, 43.44), (-4.92, 43.44), (-4.92, 43.45), (-4.93, 43.44)]
    found = features(relation(9, {"landuse": "quarry"}, ("outer", outer[0]), ("", outer[1]),
                              ("inner", hole), ("outer", other)))  # fmt: skip
    expected = shapely.MultiPolygon([shapely.Polygon(SQUARE, [hole]), shapely.Polygon(other)])
    assert found["osm_id"].tolist() == ["relation/9"]
    assert shapely.equals(found.geometry[0], expected)
    assert found.geometry[0].area == pytest.approx(1e-4 - 2e-6 + 5e-5)


BROKEN = [
    {}, {"type": "way"}, {"type": "way", "id": "5", "tags": {"highway": "trunk"}}, None, 7, "way",
    {"type": "way", "id": 5, "tags": ["highway"]},
    {"type": "way", "id": True, "tags": {"highway": "trunk"}, "geometry": line((0, 0), (1, 1))},
    {"type": "way", "id": 5, "tags": {"highway": 1}, "geometry": line((0, 0), (1, 1))},
]  # fmt: skip
SHAPELESS = [
    {"type": "way", "id": 5, "tags": {"highway": "trunk"}},
    {"type": "way", "id": 5, "tags": {"highway": "trunk"}, "geometry": {"lat": 1}},
    way(5, {"highway": "trunk"}, (0, 0)),
    way(5, {"highway": "trunk"}, (0, 0), None, (1, 1), None),
    way(5, {"highway": "trunk"}, (0, 91), (0, 90.5)),
    way(5, {"highway": "trunk"}, ("0", "1"), ("1", "1")),
    way(5, {"highway": "trunk"}, (True, False), (False, True)),
    way(5, {"highway": "trunk"}, (float("nan"), 1.0), (float("inf"), 1.0)),
    way(5, {"highway": "trunk"}, (179.9, 0), (-179.9, 0)),
    way(5, {"landuse": "quarry"}, *SQUARE[:4]),  # not closed
    way(5, {"landuse": "quarry"}, *SQUARE[:2], None, *SQUARE[3:]),
    way(5, {"landuse": "quarry"}, (0, 0), (1, 1), (1, 0), (0, 1), (0, 0)),  # crosses itself
    relation(5, {"landuse": "quarry"}, ("outer", SQUARE[:3]), ("outer", [None, SQUARE[3]])),
    {"type": "relation", "id": 5, "tags": {"landuse": "quarry"}, "members": [None, {"role": 1}]},
    {"type": "node", "id": 5, "tags": {"place": "town", "name": "x"}, "lat": 1},
]


@pytest.mark.parametrize("element", BROKEN)
def test_what_is_no_object_is_passed_over(element):
    found = read_objects(answer(element, ROAD))
    assert (found.features["osm_id"].tolist(), found.shapeless) == (["way/1"], 0)


@pytest.mark.parametrize("element", SHAPELESS)
def test_what_has_no_usable_shape_is_counted(element):
    found = read_objects(answer(element, ROAD))
    assert (found.features["osm_id"].tolist(), found.shapeless) == (["way/1"], 1)


def test_a_line_is_parted_where_a_node_is_missing():
    (shape,) = features(
        way(1, {"natural": "cliff"}, (0, 0), (1, 0), None, (2, 0), (3, 0), None, (4, 0))
    ).geometry
    assert [list(part.coords) for part in shape.geoms] == [[(0, 0), (1, 0)], [(2, 0), (3, 0)]]


@pytest.mark.parametrize("given", [[], "x", {"elements": {}}, {"osm3s": {}}, None])
def test_what_is_no_answer_is_refused(given):
    with pytest.raises(ServiceError, match="without a list of elements"):
        read_objects(given)


@pytest.mark.parametrize(
    ("given", "said"),
    [
        (answer(ROAD, remark='runtime error: Query timed out in "query" at line 3 after 60 s'),
         r"only a part of what was asked \(runtime error: Query timed out"),
        (Response("<!DOCTYPE html><html>busy</html>", mimetype="text/html"), "a web page"),
        (Response(json.dumps(answer(ROAD))[:-9], mimetype="application/json"), "cut off"),
        (Response("rate_limited", status=403), r"refuses the request \(403\)"),
    ],
)  # fmt: skip
def test_a_fault_of_the_server_is_said_and_nothing_is_written(bring, tmp_path, given, said):
    with pytest.raises(ServiceError, match=said):
        bring([LON], [LAT], given)
    assert not [file.name for file in (tmp_path / "pack").glob("*context*")]


def test_of_two_regions_one_may_fail(bring):
    part = answer(remark="runtime error")
    brought, found = bring([LON, 10.0], [LAT, 60.0], part, answer(ROAD, TOWN))
    assert len(brought.requests) == 2
    assert len(brought.about["boxes"]) == 1
    (note,) = brought.notes
    assert note.startswith("1 of 2 boxes could not be brought, and nothing is known of roads")
    # the road lies in the region that failed: it is not half known
    assert brought.about["boxes"][0][0] > 9
    assert len(found) == 0


def test_a_server_that_keeps_failing_is_asked_three_times(bring):
    told = []
    lon, lat = np.linspace(0, 40, 5), np.full(5, 50.0)
    with pytest.raises(ServiceError, match="only a part"):
        bring(lon, lat, answer(remark="x"), told=told)
    assert len(told) == 3


def test_after_a_good_answer_failures_count_anew(bring):
    told = []
    lon, lat = np.linspace(0, 60, 7), np.full(7, 50.0)
    bad, good = answer(remark="x"), answer()
    brought, _ = bring(lon, lat, bad, bad, good, bad, bad, good, bad, told=told)
    assert len(told) == 7
    assert brought.notes[-1].startswith("5 of 7 boxes")


def test_an_object_of_two_boxes_is_kept_once_and_whole(bring):
    """A region of 1.6 degrees is asked for in two boxes, whose edge the road crosses."""
    lon = np.linspace(-5.8, -4.2, 40)
    brought, found = bring(lon, np.full(40, LAT), answer(ROAD))
    (west, _, middle, _), (again, _, east, _) = brought.about["boxes"]
    assert middle == again
    assert found["osm_id"].tolist() == ["way/1"]
    np.testing.assert_allclose(found.geometry[0].bounds[::2], [west, east])


def test_lines_are_drawn_lightly_and_no_more_than_said(bring):
    """A zigzag of 4 m goes, one of 8 m stays, at 43 and at 69 degrees north, by GeographicLib."""
    geod = Geod(ellps="WGS84")
    for lat in (43.44, 69.0):
        for aside, kept in ((4.0, False), (8.0, True)):
            ends = [geod.fwd(20, lat, 90, 50 * n)[:2] for n in range(21)]
            moved = [geod.fwd(*at, 0, aside * (n % 2))[:2] for n, at in enumerate(ends)]
            shapes = features(way(1, ROAD["tags"], *moved)).geometry.to_numpy()
            drawn = bring_context._simplified(shapes)[0]
            count = int(shapely.get_num_coordinates(drawn))
            assert count >= 19 if kept else count == 2


def test_points_and_edges_of_contact_are_no_part_of_a_line_or_an_area():
    box = shapely.box(0, 0, 1, 1)
    shapes = np.array([
        shapely.LineString([(-1, 0.5), (0, 0.5), (-1, 1)]), shapely.box(1, 0, 2, 1),
        shapely.Point(1, 1), shapely.Point(2, 2),
        shapely.LineString([(0.5, -1), (0.5, 2), (0.7, 2), (0.7, -1)]), shapely.box(0.5, 0, 2, 1),
    ], dtype=object)  # fmt: skip
    cut = bring_context._cut(shapes, box)
    assert shapely.is_empty(cut).tolist() == [True, True, False, True, False, False]
    assert [shape.geom_type for shape in cut[[2, 4, 5]]] == [
        "Point", "MultiLineString", "MultiPolygon",
    ]  # fmt: skip
    assert (cut[4].length, cut[5].area) == (2, 0.5)


def test_only_so_much_is_kept_the_most_prominent_first_and_all_that_is_asked_about(
    bring, monkeypatch
):
    lanes = [way(at, {"highway": "secondary"}, (LON, LAT), (LON + 0.01, LAT)) for at in range(9)]
    last = [way(70, {"highway": "primary"}, (LON, LAT), (LON, LAT + 0.01)), BRINE | {"id": 80}]
    monkeypatch.setattr(bring_context, "MOST_FEATURES", 5)
    given = answer(*lanes, TOWN, PIT | {"id": 50}, ROAD | {"id": 60}, *last)
    brought, found = bring([LON], [LAT], given)
    assert found["osm_id"].tolist() == ["way/60", "way/80", "node/2", "way/70", "way/0"]
    assert brought.notes == (
        "of 14 roads, cliffs, quarries, salt lakes and names the 5 most prominent are kept; all "
        "major roads and salt lakes are",
    )
    for few in ("MOST_FEATURES", "MOST_VERTICES"):
        monkeypatch.setattr(bring_context, few, 1)
        _, found = bring([LON], [LAT], given)
        assert found["osm_id"].tolist() == ["way/60", "way/80", "node/2", "way/70"]
        monkeypatch.setattr(bring_context, few, 10_000)


def test_shapeless_objects_are_said(bring):
    brought, _ = bring([LON], [LAT], answer(ROAD, SHAPELESS[0]))
    assert brought.notes == ("1 objects without a usable shape were left out",)


def test_where_there_is_nothing_an_empty_file_says_so(bring):
    brought, found = bring([LON], [LAT], answer(osm3s={"timestamp_osm_base": "<b>yesterday</b>"}))
    assert len(found) == 0
    assert found.columns.tolist() == [*context.COLUMNS, "geometry"]
    assert brought.origins[0].version == ""


def test_the_plan_says_which_boxes_and_how_much():
    where, services = where_of([LON, 10.0], [LAT, 60.0]), Services()
    requests = bring_context.PART.plan(where, services)
    assert [r.data for r in requests] == [query(box) for box in where.boxes(5000.0, 1.0)]
    # 10 km by 10 km and some, 5,000 bytes a square kilometre
    assert all(500_000 <= r.about_bytes < 5000 * 12.23**2 for r in requests)
    assert {r.url for r in requests} == {services.overpass}


def test_the_trial_compares_what_came_with_what_is_expected():
    ((request, said),) = bring_context.PART.tries(Services())
    assert request == request_of(Services().overpass, (1.30, 51.12, 1.36, 51.14))
    expected = "expected: road, cliff and place (Dover, from memory)"
    assert said(answer(ROAD, CLIFF)) == f"NOT AS EXPECTED: 1 of road, 1 of cliff; {expected}"
    village = node(9, {"place": "village", "name": "Aldea"}, LON, LAT)
    assert said(answer(ROAD, CLIFF, village)) == f"1 of road, 1 of cliff, 1 of place; {expected}"
    assert said(answer()).startswith("NOT AS EXPECTED: nothing; expected")


def test_without_a_pack_or_without_the_part_there_is_nothing_to_draw(tmp_path):
    assert context.context_of(Options()) is None
    origin = Origin("other", "nothing")
    write_part(tmp_path / "pack", "other", lambda _: Brought((origin,), ()), now="2026-11-25")
    assert context.context_of(Options(pack_folder=str(tmp_path / "pack"))) is None


def test_a_record_without_its_boxes_is_refused(bring, tmp_path):
    bring([LON], [LAT], answer(ROAD))
    pack = tmp_path / "pack"

    def make(folder):
        context.write_features(features(ROAD), folder)
        return Brought((), (), (), {})

    write_part(pack, context.NAME, make, now="2026-11-25T00:00:00Z")
    with pytest.raises(LayerError, match="which boxes were asked for; bring context again"):
        context.context_of(Options(pack_folder=str(pack)))


def test_a_file_that_is_none_is_named(tmp_path):
    file = tmp_path / context.FILE
    file.write_bytes(b"no database")
    with pytest.raises(LayerError, match="context of the pack cannot be read.*bring context again"):
        context.read_features(file)


def test_every_kind_of_object_is_a_word_of_the_context():
    words = {context.ROAD, context.CLIFF, context.QUARRY, context.SALT_LAKE, context.PLACE}
    assert {one.kind for one in osm_objects.WANTED} == words
