"""A packed shore in its boxes and the embedded one beyond: which counts where, by hand.

Land east of Greenwich; in a box of 0.4 degrees around 0, 0 the packed shore lies 0.01 degrees
(1113.19 m) east of the other. Plain geometry on the equator, as in `test_coast.py`; 0.001 degrees
of latitude there are 110.574 m.
"""

from dataclasses import replace

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
import shapely

from helpers.coasts import METRES_PER_DEGREE, box, coast_of
from helpers.packs import coast_pack
from saltreach.errors import LayerError
from saltreach.intake.options import Options
from saltreach.layers import coast_layer, patched_coast
from saltreach.layers.coast import load_coast
from saltreach.layers.join import sample
from saltreach.layers.layer import Origin
from saltreach.layers.openness import sea_openness
from saltreach.layers.osm_shore import BoxShore, osm_origin
from saltreach.layers.packed_coast import COAST_FILE, read_packed_coast, write_coast
from saltreach.layers.patched_coast import NOTE_NOT_CLOSED, NOTE_OUTSIDE

BOX = (-0.2, -0.2, 0.2, 0.2)
PACKED = Origin("coast-osm", "shoreline")
NONE = np.empty(0, object)
EDGE_LAT = 0.199  # 110.574 m from the box's north side


def beyond():
    return coast_of(box(0, -2, 2, 2), sd_m=250.0)


def closed(*land, where=BOX, sd_m=30.0):
    return BoxShore(where, True, np.array(land, object), NONE, sd_m)


def east_of(lon, where=BOX):
    west, south, east, north = where
    return shapely.box(lon, south, east, north)


def not_closed(*lines, where=BOX):
    return BoxShore(where, False, NONE, np.array(lines, object), 30.0, "a shoreline ends")


@pytest.fixture(autouse=True)
def believed(request, monkeypatch):
    """Shores of these tests lie kilometres apart, so that each can be told: both are believed."""
    if "doubted" not in request.node.name:
        monkeypatch.setattr(patched_coast, "DISAGREE_SDS", np.inf)


@pytest.fixture
def pack(tmp_path):
    """A coast with packed shores, by way of the file."""

    def made(*shores, coast=None):
        path = write_coast(tmp_path / COAST_FILE, shores)
        return read_packed_coast(path, PACKED, coast or beyond())

    return made


def at(coast, metres_east, lat=0.0):
    """What a coast says at places so many metres east of Greenwich: a row each."""
    lon = np.atleast_1d(np.array(metres_east, float)) / METRES_PER_DEGREE
    shore, sd_m, source, _, note = coast.measured(lon, np.full(len(lon), lat))
    return [
        (round(d, 0), side, sd, name, said)
        for d, side, sd, name, said in zip(
            shore.distance_m, shore.on_land, sd_m, source, note, strict=True
        )
    ]


@pytest.mark.pinned("worked", answers=4)
def test_in_the_box_the_packed_shore_counts(pack):
    """3000 - 1113, 1113 - 500 at sea by the pack, and as far at sea for both."""
    found = at(pack(closed(east_of(0.01))), [3000, 500, -800])
    assert found == [
        (1887, 1, 30, "coast-osm", ""),
        (613, 0, 30, "coast-osm", ""),
        (1913, 0, 30, "coast-osm", ""),
    ]
    assert at(beyond(), [500]) == [(500, 1, 250, "drawn", "")]


@pytest.mark.pinned("worked", answers=4)
def test_where_the_edge_is_nearer_than_the_shore_it_is_known_no_better_than_beyond(pack):
    """111 m from the edge. At 3000 m the packed shore (1887) is nearer than the other beyond the
    edge; at 500 m the other is: sqrt(500^2 + 111^2) = 512, against 613, and the packed land still
    tells the side. The edge itself, 111 m off, is sea on one side and land on the other: no
    shore."""
    coast = pack(closed(east_of(0.01)))
    assert coast.closing.sum() == 2
    assert at(coast, [3000, 500, 1150], EDGE_LAT) == [
        (1887, 1, 250, "drawn", ""),
        (512, 0, 250, "drawn", ""),
        (37, 1, 30, "coast-osm", ""),
    ]
    # without the mark the edge would be the nearest shore
    assert at(replace(coast, closing=None), [500], EDGE_LAT)[0][0] == 111


@pytest.mark.pinned("worked", answers=2)
def test_outside_the_boxes_the_other_shore_counts_and_that_is_said(pack):
    found = at(pack(closed(east_of(0.01))), [500, -500], 0.201)
    assert found == [(500, 1, 250, "drawn", NOTE_OUTSIDE), (500, 0, 250, "drawn", NOTE_OUTSIDE)]


def test_an_unknown_position_stays_unknown(pack):
    coast = pack(closed(east_of(0.01)))
    shore, _, _, _, note = coast.measured([np.nan, 0.0], [0.0, np.nan])
    assert np.isnan(shore.distance_m).all()
    assert note.tolist() == ["", ""]


@pytest.mark.pinned("worked", answers=3)
def test_packed_inland_is_inland_though_the_other_draws_a_creek(pack):
    """A creek of 0.02 degrees in the box, which is all land by the pack: no shore but beyond the
    box's edge, 0.2 degrees west or, by the creek's mouth, nearer: none."""
    creek = coast_of([[-0.3, -2], [2, -2], [2, 2], [-0.3, 2], [-0.3, 0.01], [0.1, 0.0],
                      [-0.3, -0.01], [-0.3, -2]], sd_m=250.0)  # fmt: skip
    coast = pack(closed(shapely.box(*BOX)), coast=creek)
    (distance, side, sd, name, _) = at(coast, [0])[0]
    # to the mouth at the box's west side
    assert distance == pytest.approx(0.2 * METRES_PER_DEGREE, rel=0.001)
    assert (side, sd, name) == (1, 250, "drawn")
    assert at(creek, [0])[0][0] < 400
    assert at(creek, [0])[0][1] == 0


@pytest.mark.pinned("worked", answers=3)
def test_openness_and_maps_see_one_shore(pack):
    """Against the same shore drawn as one ring, and its area by hand."""
    coast = pack(closed(east_of(0.01)))
    ring = [[0, -2], [2, -2], [2, 2], [0, 2], [0, 0.2], [0.01, 0.2], [0.01, -0.2], [0, -0.2],
            [0, -2]]  # fmt: skip
    lon, lat = np.array([0.011, 0.011, 0.2, 0.001]), np.array([0.0, 0.19, 0.1, 0.25])
    assert np.array_equal(sea_openness(lon, lat, coast), sea_openness(lon, lat, coast_of(ring)))
    shapes = coast.land_shapes(-1, -1, 1, 1)
    assert shapely.area(shapes.to_numpy()).sum() == pytest.approx(1 * 2 - 0.01 * 0.4)
    assert coast.sided


@pytest.mark.pinned("worked", answers=4)
def test_boxes_that_meet_and_overlap_have_one_edge(pack):
    """Three boxes in a row northwards, the second over the first and beside the third: the edge
    between them, 111 m off, counts for nothing, and where two overlap the worse known counts."""
    boxes = [BOX, (-0.2, 0.15, 0.2, 0.4), (-0.2, 0.4, 0.2, 0.8)]
    shores = [closed(east_of(0.01, b), where=b, sd_m=sd) for b, sd in
              zip(boxes, (30.0, 100.0, 50.0), strict=True)]  # fmt: skip
    coast = pack(*shores)
    assert coast.closing.sum() == 2
    assert [at(coast, [3000], lat)[0][2] for lat in (0.1, 0.18, 0.399, 0.45)] == [30, 100, 100, 50]
    assert at(coast, [3000], 0.399)[0][0] == 1887


@pytest.mark.pinned("worked", answers=4)
def test_an_island_and_a_lagoon_of_the_pack(pack):
    """An island in the sea; in the land a lagoon with an island in it. Square degrees."""
    lagoon = shapely.Polygon(box(0.05, -0.05, 0.15, 0.05)[::-1])
    inner, outer = shapely.box(0.09, -0.01, 0.11, 0.01), shapely.box(-0.15, -0.01, -0.13, 0.01)
    coast = pack(closed(shapely.difference(east_of(0.0), lagoon), inner, outer))
    area = shapely.area(coast.land_shapes(-0.2, -0.2, 0.2, 0.2).to_numpy())
    assert sorted(area) == pytest.approx([0.0004, 0.0004, 0.08 - 0.01])
    sides = coast.shore([0.1, 0.06, 0.03, -0.14, -0.1], np.zeros(5)).on_land
    assert sides.tolist() == [1, 0, 1, 1, 0]
    assert coast.closing.sum() == 0


@pytest.mark.pinned("worked", answers=5)
def test_a_salt_lake_of_the_other_shoreline_stays_water_beyond_the_box(pack):
    """Land of 16 square degrees with a lake of 4, as the Caspian is drawn; the box of 0.16 lies
    over the lake's west shore, and by the pack that shore is 0.01 degrees farther west."""
    lake = coast_of(box(-2, -2, 2, 2), box(-1, -1, 1, 1)[::-1], land=[True, False],
                    sd_m=250.0)  # fmt: skip
    where = (-1.2, -0.2, -0.8, 0.2)
    coast = pack(closed(shapely.box(-1.2, -0.2, -1.01, 0.2), where=where), coast=lake)
    shapes = coast.land_shapes(-4, -3, 2, 3)
    assert shapely.area(shapes.to_numpy()).sum() == pytest.approx(16 - 4 - 0.01 * 0.4)
    found = coast.measured([-1.02, -1.005, 0.5], [0.0, 0.0, 0.0])
    assert found.shore.on_land.tolist() == [1, 0, 0]
    assert found.shore.distance_m[:2] == pytest.approx([1113.2, 556.6], abs=0.1)


@pytest.mark.pinned("worked", answers=5)
def test_a_box_that_does_not_close_gives_distances_to_its_lines_and_no_side(pack):
    coast = pack(not_closed(shapely.LineString([[0.01, -0.2], [0.01, 0.2]])))
    found = at(coast, [3000, 500, -800])
    assert [row[:2] for row in found] == [(1887, 1), (613, 1), (1913, 0)]
    assert [row[2:] for row in found] == [(250, "coast-osm", NOTE_NOT_CLOSED)] * 3
    # the edge is nearer than the line
    assert at(coast, [3000], EDGE_LAT) == [(3000, 1, 250, "drawn", NOTE_NOT_CLOSED)]
    assert at(coast, [3000], 0.3)[0][4] == NOTE_OUTSIDE
    # land is the other shore's
    assert shapely.area(coast.land_shapes(-1, -1, 1, 1).to_numpy()).sum() == pytest.approx(2)
    bare = pack(not_closed())
    assert at(bare, [3000]) == [(3000, 1, 250, "drawn", NOTE_NOT_CLOSED)]


def test_a_closed_box_goes_before_one_that_does_not(pack):
    line = shapely.LineString([[0.02, -0.2], [0.02, 0.2]])
    coast = pack(closed(east_of(0.01)), not_closed(line))
    assert at(coast, [3000]) == [(1887, 1, 30, "coast-osm", "")]


@pytest.mark.pinned("worked", answers=3)
def test_where_boxes_meet_across_180_degrees_is_no_edge(pack):
    """Land south of the equator on both sides; the packed shore 0.01 degrees (1106 m) north."""
    coast = coast_of(box(178, -2, 180, 0), box(-180, -2, -178, 0), sd_m=250.0)
    sides = [(179.8, -0.2, 180.0, 0.2), (-180.0, -0.2, -179.8, 0.2)]
    shores = [closed(shapely.box(w, s, e, 0.01), where=(w, s, e, n)) for w, s, e, n in sides]
    both, one = pack(*shores, coast=coast), pack(shores[0], coast=coast)
    for lon in (179.999, -179.999, 180.0, -180.0):
        found = both.measured([lon], [0.0])
        assert found.shore.distance_m == pytest.approx([1105.7], abs=0.5)
        assert (found.sd_m[0], found.shore.on_land[0]) == (30, 1)
    # with the box of one side alone the edge is at 180 degrees, 111 m off, and so is the end of
    # the other shore
    assert one.measured([179.999], [0.0]).sd_m.tolist() == [250]
    assert one.measured([179.9], [0.0]).sd_m.tolist() == [30]


def test_the_embedded_shore_packed_is_the_embedded_shore(tmp_path):
    """Its own land in two boxes of a rugged coast: nothing moves, and no edge is left."""
    coast = load_coast()
    boxes = [(-5.9, 43.45, -5.5, 43.9), (-5.6, 43.4, -5.2, 43.8)]
    shores = [closed(*shapely.get_parts(coast.land_shapes(*b).to_numpy()), where=b) for b in boxes]
    packed = read_packed_coast(write_coast(tmp_path / COAST_FILE, shores), PACKED, coast)
    rng = np.random.default_rng(1)
    lon, lat = rng.uniform(-5.8, -5.3, 400), rng.uniform(43.5, 43.75, 400)
    one, other = coast.shore(lon, lat), packed.measured(lon, lat)
    assert other.shore.distance_m == pytest.approx(one.distance_m, abs=0.05)
    assert np.array_equal(other.shore.on_land, one.on_land)
    assert set(other.sd_m) == {30, 250}
    assert np.array_equal(sea_openness(lon, lat, packed), sea_openness(lon, lat, coast))


# the file


@pytest.mark.pinned("worked")
def test_what_is_written_is_read(tmp_path):
    path = write_coast(tmp_path / COAST_FILE, [closed(east_of(0.01)), not_closed(
        shapely.LineString([[1, 0], [1, 1]]), where=(0.5, 0.0, 1.5, 1.0))])  # fmt: skip
    assert [p.name for p in tmp_path.iterdir()] == [COAST_FILE]
    boxes = gpd.read_file(path, layer="boxes")
    assert boxes["closed"].tolist() == [True, False]
    assert boxes["sd_m"].tolist() == [30, 30]
    assert boxes["why"].tolist() == ["", "a shoreline ends"]
    assert shapely.area(
        gpd.read_file(path, layer="land").to_numpy()[:, -1]
    ).tolist() == pytest.approx([0.19 * 0.4])
    assert shapely.length(gpd.read_file(path, layer="lines").to_numpy()[:, -1]).tolist() == [1]
    coast = read_packed_coast(path, PACKED, beyond())
    assert [o.name for o in coast.origins] == ["coast-osm", "drawn"]
    assert len(coast.origin.sha256) == 64


def test_the_same_file_is_read_once_and_another_in_its_place_anew(tmp_path):
    other, path = beyond(), tmp_path / COAST_FILE
    write_coast(path, [closed(east_of(0.01))])
    first = read_packed_coast(path, PACKED, other)
    assert read_packed_coast(path, PACKED, other) is first
    write_coast(path, [closed(east_of(0.02))])
    again = read_packed_coast(path, PACKED, other)
    assert at(again, [3000])[0][0] == round(3000 - 0.02 * METRES_PER_DEGREE)


@pytest.mark.filterwarnings("ignore:'crs' was not provided")
def test_a_file_that_is_no_packed_shore_is_refused(tmp_path):
    path = tmp_path / COAST_FILE
    with pytest.raises(LayerError, match="no box to keep"):
        write_coast(path, [])
    with pytest.raises(LayerError, match=r"packed shoreline .* does not exist"):
        read_packed_coast(path, PACKED, beyond())
    path.write_text("no map")
    with pytest.raises(LayerError, match="cannot be read.*bring the pack again"):
        read_packed_coast(path, PACKED, beyond())
    path.unlink()
    gpd.GeoDataFrame(geometry=[shapely.box(*BOX)], crs=4326).to_file(path, layer="land")
    with pytest.raises(LayerError, match="has no layer 'boxes'"):
        read_packed_coast(path, PACKED, beyond())
    gpd.GeoDataFrame({"sd_m": [1.0]}, geometry=[shapely.box(*BOX)], crs=4326).to_file(
        path, layer="boxes"
    )
    with pytest.raises(LayerError, match="boxes without closed, why"):
        read_packed_coast(path, PACKED, beyond())


@pytest.mark.pinned("worked", answers=10)
@pytest.mark.parametrize(
    ("shore_lon", "place_m", "distance", "side", "sd", "name"),
    [
        # the other shore lies at longitude 0, land east of it; the place so far inland of that
        (-0.008, 500, 1390.6, 1, 30, "coast-osm"),  # 891 m apart: within four times 250 m
        (-0.010, 500, 500.0, 1, 250, "drawn"),  # 1,113 m apart: the nearer, as well as it is known
        (0.015, 3000, 1330.2, 1, 250, "coast-osm"),  # 1,670 m apart, the packed one nearer
        (0.030, 3000, 339.6, 1, 250, "coast-osm"),  # in the packed sea, 3 km inland: on land
        (0.006, 400, 267.9, 0, 30, "coast-osm"),  # sides differ where both may be right
    ],
)  # fmt: skip
def test_a_shore_that_is_doubted_makes_no_place_milder(
    pack, shore_lon, place_m, distance, side, sd, name
):
    """A degree is 111,319.5 m at the equator (WGS 84)."""
    coast = pack(closed(east_of(shore_lon)), coast=coast_of(box(0, -2, 2, 2), sd_m=250.0))
    found = at(coast, [place_m])[0]
    assert found[0] == pytest.approx(distance, abs=0.6)
    assert found[1:4] == (side, sd, name)
    assert ("disagree here" in found[4]) == (sd == 250)


@pytest.mark.pinned("worked", answers=2)
def test_a_doubted_shore_with_gaps_is_known_no_better_than_the_other(pack):
    """Its nearest piece may be the one that is missing: 1,887 m to the line, the other is 1,000 m
    away: the line counts, with 250 m; at 4 km from the line the other counts."""
    lines = shapely.linestrings([[[0.03, -1], [0.03, 1]]])
    coast = pack(not_closed(*lines), coast=coast_of(box(0, -2, 2, 2), sd_m=250.0))
    near, far = at(coast, [1887])[0], at(coast, [7340])[0]
    assert (round(near[0]), near[2], near[3]) == (1453, 250, "coast-osm")
    assert (round(far[0]), far[2]) == (4000, 250) and "disagree" in far[4]


# the layer


@pytest.mark.pinned("worked", answers=4)
def test_the_side_is_said_by_the_packed_land_or_by_the_other(tmp_path, monkeypatch):
    """In a closed box, near its edge, outside, and in a box that does not close."""
    line = shapely.LineString([[0.01, 0.5], [0.01, 0.9]])
    shores = [closed(east_of(0.01)), not_closed(line, where=(-0.2, 0.5, 0.2, 0.9))]
    pack = coast_pack(tmp_path / "pack", shores, PACKED)
    monkeypatch.setattr(coast_layer, "load_coast", beyond)
    lon, lat = np.full(4, 500 / METRES_PER_DEGREE), [0.0, EDGE_LAT, 0.3, 0.7]
    options = Options(pack_folder=pack)
    table = sample(lon, lat, ["coast_distance_m", "coast_side"], options=options)
    assert table["coast_side"].tolist() == ["sea", "sea", "land", "land"]
    assert table["coast_side_source"].tolist() == ["coast-osm", "coast-osm", "drawn", "drawn"]
    sources = table["coast_distance_source"].tolist()
    assert sources == ["coast-osm", "drawn", "drawn", "coast-osm"]


def test_a_file_of_the_users_goes_before_the_pack_and_the_pack_before_the_embedded(
    tmp_path,
):
    pack = coast_pack(tmp_path / "pack", [closed(east_of(0.01))], osm_origin())
    own = tmp_path / "own.gpkg"
    gpd.GeoDataFrame(geometry=[shapely.box(0, 0, 1, 1)], crs=4326).to_file(own)
    packed = coast_layer.open_coast(Options(pack_folder=pack))
    assert [o.name for o in packed.origins] == ["coast-osm", "coast-gshhg-h"]
    both = Options(pack_folder=pack, coast_file=str(own))
    assert coast_layer.open_coast(both).origin.name == "coast-file-own.gpkg"
    assert coast_layer.open_coast(Options()) is load_coast()


def test_the_layer_says_of_each_place_how_well_its_shore_is_known(pack):
    """In the box, outside, and where the register gives the distance itself."""
    places = pd.DataFrame({
        "lon": np.array([3000, 3000, 3000]) / METRES_PER_DEGREE, "lat": [0.0, 0.3, 0.3],
        "coast_distance_m": [np.nan, np.nan, 700.0], "sea_cliff": "",
    })  # fmt: skip
    found = coast_layer.LAYER.sample(pack(closed(east_of(0.01))), places)
    assert found["coast_distance_sd_m"].tolist() == [30, 250, 35]
    assert found["coast_distance_source"].tolist() == ["coast-osm", "drawn", "register"]
    assert found["shore_sd_m"].tolist() == [30, 250, 250]
    notes = found["coast_notes"].tolist()
    assert notes[:2] == ["", NOTE_OUTSIDE]
    # 2300 m apart, less 5 % of 3000, is more than four times 250 m
    assert notes[2] == "Distance to the sea given as 700 m, the layer's is 3000 m: check both."
    # the packed shore is 1887 m off: 600 m are 1287 apart, less 94 more than four times 30 m
    near = places.assign(coast_distance_m=[1700.0, 600.0, np.nan], lat=0.0)
    notes = coast_layer.LAYER.sample(pack(closed(east_of(0.01))), near)["coast_notes"].tolist()
    assert notes[1].startswith("Distance to the sea given as 600 m")
    assert notes[0] == ""
