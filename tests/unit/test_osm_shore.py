"""The coastline of a box, closed: areas by hand, and against two other ways to the same land."""

import numpy as np
import pytest
import shapely
from shapely.ops import polygonize

from saltreach.layers.coast import load_coast
from saltreach.layers.online.overpass import Way
from saltreach.layers.osm_shore import osm_origin, shore_of

BOX = (0.0, 0.0, 4.0, 2.0)
ISLAND = ((1, 0.5), (2, 0.5), (2, 1), (1, 1), (1, 0.5))  # counter-clockwise, area 0.5


def way(way_id, *places, **tags):
    return Way(way_id, np.array(places, float), tags)


def never(lon, lat):
    raise AssertionError("only a box without a coastline is asked for another")


def land(*ways, box=BOX):
    """Areas of the land, least first."""
    shore = shore_of(ways, box, never)
    assert (shore.closed, shore.why, len(shore.lines)) == (True, "", 0)
    assert shapely.is_valid(shore.land).all()
    assert shapely.covered_by(shore.land, shapely.box(*box)).all()
    return sorted(shapely.area(shore.land))


def broken(*ways):
    shore = shore_of(ways, BOX, never)
    assert not shore.closed
    assert len(shore.land) == 0
    assert shapely.covered_by(shore.lines, shapely.box(*BOX)).all()
    return shore.why, pytest.approx(shapely.length(shore.lines).sum())


@pytest.mark.pinned("worked", answers=15)
@pytest.mark.parametrize(
    ("ways", "areas"),
    [
        # a shore northwards has land in the west, 1 wide
        ([way(1, (1, -1), (1, 3))], [2]),
        ([way(1, (1, 3), (1, -1))], [6]),
        # in two ways, whichever comes first; and one of them twice
        ([way(2, (1, 1), (1, 3)), way(1, (1, -1), (1, 1)), way(2, (1, 1), (1, 3))], [2]),
        # a strip of sea between two shores, and a strip of land
        ([way(1, (1, -1), (1, 3)), way(2, (3, 3), (3, -1))], [2, 2]),
        ([way(1, (1, 3), (1, -1)), way(2, (3, -1), (3, 3))], [4]),
        # an island, alone and off a shore; its ring in two ways that begin in the middle
        ([way(1, *ISLAND)], [0.5]),
        ([way(1, (3, 3), (3, -1)), way(2, *ISLAND)], [0.5, 2]),
        ([way(1, *ISLAND[:3]), way(2, *ISLAND[2:])], [0.5]),
        # the same ring round water, alone and in land
        ([way(1, *ISLAND[::-1])], [8 - 0.5]),
        ([way(1, (3, -1), (3, 3)), way(2, *ISLAND[::-1])], [6 - 0.5]),
        # one shore in and out through the same side: a peninsula of 1 by 1 from the south
        ([way(1, (2, -1), (2, 1), (1, 1), (1, -1))], [1]),
        ([way(1, (1, -1), (1, 1), (2, 1), (2, -1))], [8 - 1]),
        # across a corner: a triangle of 1 by 1
        ([way(1, (-1, 2), (2, -1))], [8 - 0.5]),
        ([way(1, (2, -1), (-1, 2))], [0.5]),
        # round the whole box but the north-west corner
        ([way(1, (-1, 1), (0.5, 1), (0.5, 3))], [0.5]),
    ],
)  # fmt: skip
def test_land_lies_to_the_left(ways, areas):
    assert land(*ways) == pytest.approx(areas, abs=1e-9)


@pytest.mark.pinned("worked", answers=6)
def test_shores_that_only_touch_the_box():
    """Its corner, its side from without and from within, and along its side."""
    assert land(way(1, (-1, 1), (1, -1))) == pytest.approx([8], abs=1e-6)
    assert land(way(1, (1, -1), (-1, 1))) == pytest.approx([], abs=1e-6)
    assert land(way(1, (5, 0), (-1, 0))) == []
    assert land(way(1, (-1, 0), (5, 0))) == pytest.approx([8], abs=1e-6)
    # a bay that just reaches the east side: in either half of it half a trapezium, (0.5 + 1) / 2
    bay = ((3, 3), (3, 1.5), (4, 1), (3, 0.5), (3, -1))
    assert land(way(1, *bay)) == pytest.approx([0.75, 0.75], abs=1e-6)
    assert land(way(1, *bay[::-1])) == pytest.approx([8 - 1.5], abs=1e-6)


@pytest.mark.pinned("worked", answers=2)
def test_a_node_drawn_twice_changes_nothing():
    doubled = [p for place in ((1, -1), (1, 0.5), (1, 1.5), (1, 3)) for p in (place, place)]
    assert land(way(1, *doubled)) == pytest.approx([2])
    assert land(way(1, *(p for place in ISLAND for p in (place, place)))) == pytest.approx([0.5])


@pytest.mark.pinned("worked", answers=3)
def test_rings_that_touch_at_a_node_are_in_order():
    """Two islands that share a node, each in two ways that end there; one ring like an eight."""
    one = ((2, 1), (3, 0.5), (3, 1.5), (2, 1))
    other = ((2, 1), (1, 1.5), (1, 0.5), (2, 1))
    ways = [way(1, *one[:2]), way(2, *one[1:]), way(3, *other[:2]), way(4, *other[1:])]
    assert land(*ways) == pytest.approx([0.5, 0.5])
    assert land(way(1, *one, *other[1:])) == pytest.approx([0.5, 0.5])
    assert land(way(1, *one), way(2, *other)) == pytest.approx([0.5, 0.5])


@pytest.mark.pinned("worked", answers=11)
def test_what_does_not_close_is_kept_as_lines():
    says, length = broken(way(1, (1, -1), (1, 1)))
    assert says == "a shoreline ends inside the box at lat 1.00000, lon 1.00000"
    assert length == 1
    says, length = broken(way(1, (1, -1), (1, 1)), way(2, (1, 3), (1, 1)))
    assert says == "shorelines meet head to head at lat 1.00000, lon 1.00000"
    assert length == 2
    assert "head to head" in broken(way(1, (1, 1), (1, -1)), way(2, (1, 1), (1, 3)))[0]
    fork = (way(1, (1, -1), (1, 1)), way(2, (1, 1), (1, 3)), way(3, (1, 1), (5, 1)))
    assert "head to head" in broken(*fork)[0]
    # two shores side by side that both put land in the west
    says, length = broken(way(1, (1, -1), (1, 3)), way(2, (3, -1), (3, 3)))
    assert "contradict each other" in says
    assert length == 4
    crossing = (way(1, (1, -1), (1, 3)), way(2, (2, 3), (2, 1.5), (0.5, 1), (2, 0.5), (2, -1)))
    assert "cross each other" in broken(*crossing)[0]
    # there and back on one line
    assert (
        "way 1 and way 2 run along each other"
        in broken(way(1, (1, -1), (3, 3)), way(2, (3, 3), (1, -1)))[0]
    )
    bow = ((1, 0.5), (2, 0.5), (1, 1.5), (2, 1.5), (1, 0.5))
    assert "cross each other" in broken(way(1, *bow))[0]
    # land in land, sea in sea, and one ring drawn twice
    assert "cross each other" in broken(way(1, (3, -1), (3, 3)), way(2, *ISLAND))[0]
    assert "cross each other" in broken(way(1, (3, 3), (3, -1)), way(2, *ISLAND[::-1]))[0]
    assert "along each other" in broken(way(1, *ISLAND), way(2, *ISLAND))[0]
    # far from the box it is nobody's business
    tails = ((9, 8), (9, 9))
    assert land(way(1, (1, -1), (1, 3), *tails), way(2, *tails, (3, 3), (3, -1))) == [2, 2]


def test_a_node_without_a_position_leaves_the_lines():
    gap = way(5, (1, -1), (1, 0.5), (np.nan, np.nan), (1, 1.5), (1, 3))
    says, length = broken(gap)
    assert says == "way 5 has nodes without a position"
    assert length == 1


def test_a_box_without_a_coastline_is_what_the_other_shoreline_says_everywhere():
    def shore(on_land_at):
        return shore_of([way(1, (9, 9), (9, 8))], BOX, on_land_at)

    asked = []
    whole = shore(lambda lon, lat: asked.append((lon, lat)) or np.ones(len(lon)))
    assert shapely.area(whole.land).tolist() == [8]
    (lon, lat) = asked[0]
    assert (lon.min(), lat.min(), lon.max(), lat.max()) == pytest.approx(BOX, abs=1e-6)
    assert len(lon) == 225
    none = shore(lambda lon, lat: lon * 0)
    assert (none.closed, len(none.land)) == (True, 0)
    for unsure in (lambda lon, lat: (lon > 0.01).astype(float), lambda lon, lat: lon * np.nan):
        shore_of_both = shore(unsure)
        assert not shore_of_both.closed
        assert "no coastline was brought" in shore_of_both.why


@pytest.mark.pinned("judgement", answers=2)
def test_a_satellite_derived_way_in_the_box_makes_it_less_well_known():
    """30 m: 12 m of image, 20 m of which line, 15 m of corners, by quadrature 28 m."""
    far = way(9, (9, 9), (9, 8), source="PGS")
    near = way(1, (1, -1), (1, 3))
    assert shore_of([near, far], BOX, never).sd_m == 30
    assert shore_of([near, far], BOX, never).sd_m == pytest.approx(
        np.sqrt(12**2 + 20**2 + 15**2), abs=3
    )
    drawn = near._replace(tags={"source": "PGS(could be inacurately)"})
    assert shore_of([drawn, far], BOX, never).sd_m == 100
    assert "30 m standard deviation" in osm_origin().accuracy
    assert "100 m in boxes" in osm_origin().accuracy
    assert osm_origin("2026-01-02").version == "2026-01-02"


# against other ways to the same land


def random_ways(rng, rings):
    """Rings cut anywhere into ways, shuffled, some twice."""
    ways = []
    for ring in rings:
        many = len(ring) - 1
        cuts = np.sort(rng.choice(many, min(many, rng.integers(1, 40)), replace=False))
        twice = np.vstack([ring[:-1], ring])
        ways += [twice[a : b + 1] for a, b in zip(cuts, [*cuts[1:], cuts[0] + many], strict=True)]
    order = [*rng.permutation(len(ways)), *rng.integers(0, len(ways), 3)]
    return [Way(int(k), ways[k], {}) for k in order]


def by_polygonize(ways, box):
    """Land of a box by shapely alone: faces of all lines, each by the line it lies left of."""
    frame = shapely.box(*box)
    lines = shapely.linestrings
    cut = [shapely.intersection(lines(w.lonlat), frame) for w in ways]
    faces = list(polygonize(shapely.union_all([*cut, frame.exterior])))
    tree = shapely.STRtree(faces)
    mark = np.zeros(len(faces), int)
    for w in ways:
        a, b = w.lonlat[:-1], w.lonlat[1:]
        step = b - a
        left = (a + b) / 2 + 1e-6 * np.column_stack([-step[:, 1], step[:, 0]])
        _, face = tree.query(shapely.points(left), predicate="intersects")
        mark[face] = 1
    return sum(f.area for f, m in zip(faces, mark, strict=True) if m)


@pytest.mark.pinned("peer", answers=12)
@pytest.mark.parametrize("seed", range(12))
def test_real_shores_cut_into_ways_give_the_land_that_shapely_clips(seed):
    """Rings of the embedded coast as ways in any order, against the clipped polygons."""
    coast, rng = load_coast(), np.random.default_rng(seed)
    count = np.diff(coast.line_start)
    ring = rng.choice(np.argsort(-count)[6:60])  # continents take long to clip
    lon, lat = coast.vertex_deg[rng.integers(coast.line_start[ring], coast.line_start[ring + 1])]
    west, south, east, north = lon - 0.31, lat - 0.2, lon + 0.17, lat + rng.uniform(0.01, 0.3)
    box = (west, south, east, north)
    low, high = coast.bounds_deg
    touching = ((low <= [east, north]) & (high >= [west, south])).all(axis=1)
    touching &= coast.line_is_land & (count < 60_000)
    rings = [
        coast.vertex_deg[coast.line_start[k] : coast.line_start[k + 1]]
        for k in np.flatnonzero(touching)
    ]
    whole = shapely.make_valid(np.array([shapely.Polygon(r) for r in rings], object))
    wanted = shapely.intersection(shapely.union_all(whole), shapely.box(*box))
    ways = random_ways(rng, rings)
    shore = shore_of(ways, box, never)
    assert shore.closed, shore.why
    assert shapely.symmetric_difference(shapely.union_all(shore.land), wanted).area < 1e-9
    if seed < 4:
        assert by_polygonize(ways, box) == pytest.approx(wanted.area, abs=1e-9)
