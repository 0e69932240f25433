"""The shore of a region from Overpass: a real place, answers of an invented server about it."""

import json

import numpy as np
import pytest
from werkzeug import Response

from helpers.openstreetmap import answer, way
from saltreach.intake.options import Options
from saltreach.intake.services import Services
from saltreach.layers.coast import load_coast
from saltreach.layers.coast_layer import open_coast
from saltreach.layers.online import bring_coast
from saltreach.layers.online.part import Call
from saltreach.layers.online.web import ServiceError, Web
from saltreach.layers.pack import parts_of, write_part
from saltreach.layers.where import where_of

LON, LAT = -5.2, 43.466
"""The embedded shore lies some 1,100 m north of it, and 2.5 km north of the second place."""
PLACES = where_of([LON, LON], [LAT, 43.453])
WESTWARDS = np.round(np.arange(-4.5, -6.01, -0.25), 2).tolist()


def shore(lat, *, eastwards=False):
    line = [(lon, lat) for lon in WESTWARDS]
    return way(1, {"natural": "coastline"}, *(line[::-1] if eastwards else line))


@pytest.fixture
def bring(httpserver, tmp_path):
    """Bring the shore of elements, or of a response, and open the coast of that pack."""

    def run(*elements):
        found = elements[0]
        if not isinstance(found, Response):
            found = Response(json.dumps(answer(*elements)), 200, content_type="application/json")
        httpserver.clear()
        httpserver.expect_request("/overpass").respond_with_response(found)
        services = Services(overpass=httpserver.url_for("/overpass"))
        pack = tmp_path / "pack"
        with Web(None, backoff_s=0, pause_s=0) as web:

            def make(folder):
                return bring_coast.PART.bring(Call(PLACES, services, web, folder, folder))

            write_part(pack, "coast", make, now="2026-01-01T00:00:00+00:00")
        coast = open_coast(Options(pack_folder=str(pack)))
        return coast.measured(PLACES.lon, PLACES.lat), parts_of(pack)["coast"].notes

    return run


def embedded():
    return load_coast().measured(PLACES.lon, PLACES.lat)


def test_a_sound_shore_is_used_as_well_as_it_is_known(bring):
    """43.470 - 43.466 degrees are 444 m (111,105 m a degree there), and 0.017 are 1,889 m."""
    found, notes = bring(shore(43.470))
    assert found.shore.distance_m == pytest.approx([444.4, 1888.8], rel=2e-3)
    assert found.sd_m.tolist() == [30, 30] and notes == ()
    assert found.shore.on_land.tolist() == [1, 1] and found.note.tolist() == ["", ""]


@pytest.mark.parametrize(
    "elements",
    [
        (shore(43.61),),  # far out at sea: much of the sea would be land
        (shore(43.470, eastwards=True),),  # drawn against the rule: land and sea exchanged
        (way(2, {"natural": "coastline"}, (-5.3, 43.6), (-5.29, 43.6), (-5.29, 43.61),
             (-5.3, 43.6)),),  # an islet alone: the land behind it would be sea
    ],
)  # fmt: skip
def test_a_shore_whose_land_cannot_be_right_makes_no_place_milder(bring, elements):
    found, notes = bring(*elements)
    known = embedded()
    assert "land and sea are other than the embedded shore's at" in notes[0]
    assert (found.shore.distance_m <= known.shore.distance_m + 1).all()
    assert found.shore.on_land.tolist() == [1, 1]
    assert found.sd_m.tolist() == [250, 250]


def test_a_gap_at_the_crag_is_no_far_shore(bring):
    """Ways to the west and the east, none at the crag: its lines lie 8 km away."""
    west = way(1, {"natural": "coastline"}, (-5.3, 43.470), (-5.6, 43.470), (-6.0, 43.470))
    east = way(2, {"natural": "coastline"}, (-4.5, 43.470), (-4.8, 43.470), (-5.1, 43.470))
    found, notes = bring(east, west)
    assert "does not close" in notes[0]
    known = embedded()
    assert found.shore.distance_m == pytest.approx(known.shore.distance_m)
    assert found.sd_m.tolist() == [250, 250]
    assert all("disagree here" in note for note in found.note)


def test_what_overpass_refuses_is_said(bring):
    with pytest.raises(ServiceError, match="a web page in place of data"):
        bring(Response("<html>busy</html>", 200))
    cut = json.dumps(answer(remark="runtime error: Query timed out"))
    with pytest.raises(ServiceError, match="only a part of what was asked"):
        bring(Response(cut, 200))


def test_places_far_from_the_sea_ask_nobody():
    inland = where_of([-4.0], [41.5])
    assert bring_coast.PART.plan(inland, Services()) == []
    with pytest.raises(ServiceError, match="no place lies within 25 km of the sea"):
        bring_coast.PART.bring(Call(inland, Services(), None, None, None))
