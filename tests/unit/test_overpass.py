"""What Overpass is asked for the coast, and what is made of its answer.

The shape of an answer, `out geom` and `remark` included, is that of Overpass' documentation and
issue tracker; the ways are invented.
"""

import json

import numpy as np
import pytest

from saltreach.errors import LayerError
from saltreach.layers.online.overpass import coast_query, ways_of

ANSWER = """{
  "version": 0.6, "generator": "Overpass API 0.7.62",
  "osm3s": {"timestamp_osm_base": "2026-01-02T03:04:05Z", "copyright": "..."},
  "elements": [
    {"type": "way", "id": 7, "bounds": {"minlat": 43.1, "minlon": -5.2, "maxlat": 43.2,
     "maxlon": -5.1}, "nodes": [1, 2, 3],
     "geometry": [{"lat": 43.1, "lon": -5.2}, null, {"lat": 43.2, "lon": -5.1}],
     "tags": {"natural": "coastline", "source": "PGS"}},
    {"type": "node", "id": 1, "lat": 43.1, "lon": -5.2},
    {"type": "way", "id": 8, "geometry": [{"lat": 1, "lon": 2}, {"lat": 3, "lon": 4}]}
  ]}"""


def answer(**changed):
    """The answer with its first way changed."""
    whole = json.loads(ANSWER)
    whole["elements"] = [whole["elements"][0] | changed]
    return whole


@pytest.mark.pinned("published")
def test_the_query_asks_south_west_north_east_and_whole_ways():
    """Overpass QL: a box is south, west, north, east; `out geom` without a box gives all nodes."""
    lines = coast_query((-5.9, 43.5, -5.5, 43.7)).splitlines()
    assert lines[0].startswith("[out:json][timeout:60][maxsize:")
    assert lines[1] == ('way["natural"="coastline"](43.5000000,-5.9000000,43.7000000,-5.5000000);')
    assert lines[2:] == ["out body geom;"]


def test_ways_come_with_their_number_their_places_and_their_tags():
    first, second = ways_of(json.loads(ANSWER))
    assert (first.way_id, second.way_id) == (7, 8)
    assert first.lonlat[[0, 2]].tolist() == [[-5.2, 43.1], [-5.1, 43.2]]
    assert np.isnan(first.lonlat[1]).all()
    assert first.tags == {"natural": "coastline", "source": "PGS"}
    assert second.lonlat.tolist() == [[2, 1], [4, 3]]
    assert second.tags == {}
    assert ways_of({"elements": []}) == []
    assert ways_of(answer(tags=None))[0].tags == {}


@pytest.mark.parametrize(
    ("given", "says"),
    [
        ({"elements": [], "remark": 'runtime error: Query timed out in "query" at line 2'},
         r"only a part .*Query timed out.* smaller box"),
        ("<html><body>\n<p>The server is probably too busy</p>", r"str \(<html><body> <p>The ser"),
        (None, "NoneType, and the JSON"),
        ([], "list, and the JSON"),
        ({}, "without a list of elements"),
        ({"elements": {}}, "without a list of elements"),
        ({"elements": [1]}, "element without a type"),
        ({"elements": [{"id": 1}]}, "element without a type"),
        ({"elements": [{"type": 3}]}, "element without a type"),
        (answer(id=None), "way without a number"),
        (answer(id=True), "way without a number"),
        (answer(id="7"), "way without a number"),
        (answer(geometry=None), "way 7 without its positions"),
        (answer(geometry=[{"lat": 1, "lon": 2}]), "way 7 without its positions"),
        (answer(geometry={"lat": 1, "lon": 2}), "way 7 without its positions"),
        (answer(geometry=[{"lat": 1}, {"lat": 1, "lon": 2}]), "a position of way 7 that is none"),
        (answer(geometry=[{"lat": 91, "lon": 2}] * 2), "lat and lon in degrees"),
        (answer(geometry=[{"lat": 1, "lon": -181}] * 2), "lat and lon in degrees"),
        (answer(geometry=[{"lat": "1", "lon": 2}] * 2), "lat and lon in degrees"),
        (answer(geometry=[{"lat": True, "lon": 2}] * 2), "lat and lon in degrees"),
        (answer(geometry=[{"lat": float("nan"), "lon": 2}] * 2), "lat and lon in degrees"),
        (answer(geometry=[[2, 1], [3, 1]]), "lat and lon in degrees"),
    ],
)  # fmt: skip
def test_anything_else_is_refused_in_one_sentence(given, says):
    with pytest.raises(LayerError, match=says) as caught:
        ways_of(given)
    assert "\n" not in str(caught.value)
    assert "ask again later" in str(caught.value)


def test_a_place_at_the_end_of_the_degrees_is_one():
    ends = [{"lat": 90, "lon": 180}, {"lat": -90, "lon": -180}]
    assert ways_of(answer(geometry=ends))[0].lonlat.tolist() == [[180, 90], [-180, -90]]
