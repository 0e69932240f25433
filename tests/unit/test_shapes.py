"""Sector shapes and the coast of the map: small worlds whose answer is known by geometry."""

import geopandas as gpd
import numpy as np
import pytest
import shapely
from pyproj import Geod

from saltreach.assessment.shapes import centre_lon_deg, sector_shapes, unwrapped_lon
from saltreach.errors import LayerError, RegisterError
from saltreach.outputs.shore import window_coast
from saltreach.outputs.window import label_points, map_window

GEOD = Geod(ellps="WGS84")


def points(rows):
    crag, sector, lon, lat = zip(*rows, strict=True)
    return gpd.GeoDataFrame(
        {"crag": list(crag), "sector": list(sector)},
        geometry=gpd.points_from_xy(lon, lat),
        crs="EPSG:4326",
    )


def rim_distances_m(shape, lon, lat):
    rim = shapely.get_coordinates(shape)
    ones = np.ones(len(rim))
    return GEOD.inv(lon * ones, lat * ones, rim[:, 0], rim[:, 1])[2]


@pytest.mark.pinned("worked")
@pytest.mark.parametrize("lat", [0.0, 43.4, -60.0, 84.0])
@pytest.mark.parametrize("lon", [-5.0, 180.0, -180.0, 179.9999])
def test_a_lone_anchor_becomes_a_disc_of_the_buffer(lon, lat):
    # Geometry: every rim point of a 60 m disc lies 60 m away; the antimeridian's cut adds
    # points nearer than that, none farther. 2 m for the simplified rim.
    shape = sector_shapes(points([("a", "b", lon, lat)])).geometry.iloc[0]
    away = rim_distances_m(shape, lon, lat)
    assert away.max() == pytest.approx(60.0, abs=2.0)
    area_m2 = abs(GEOD.geometry_area_perimeter(shapely.segmentize(shape, 1e-4))[0])
    assert area_m2 == pytest.approx(np.pi * 60.0**2, rel=0.06)


def test_one_shape_per_sector_whatever_the_row_order():
    rng = np.random.default_rng(3)
    rows = [
        (f"crag {c}", f"sector {s}", -5 + c * 0.1 + dx, 43.4 + s * 0.02 + dy)
        for c in range(3)
        for s in range(2)
        for dx, dy in rng.uniform(-0.002, 0.002, (25, 2))
    ]
    frame = points(rows)
    shapes = sector_shapes(frame)
    assert list(zip(shapes["crag"], shapes["sector"], strict=True)) == sorted(
        {row[:2] for row in rows}
    )
    mixed = sector_shapes(frame.sample(frac=1, random_state=1))
    assert shapes.geometry.geom_equals_exact(mixed.geometry, 1e-7).all()
    assert shapes.geometry.is_valid.all()
    owner = frame.merge(shapes, on=["crag", "sector"], suffixes=("", "_shape"))
    assert shapely.contains(owner["geometry_shape"].values, owner.geometry.values).all()


def test_anchors_keep_their_distance_from_the_edge():
    rng = np.random.default_rng(5)
    rows = [("a", "b", -5 + dx, 43.4 + dy) for dx, dy in rng.uniform(-0.001, 0.001, (40, 2))]
    frame = points(rows)
    shape = sector_shapes(frame, buffer_m=80).geometry.iloc[0]
    edge = shapely.segmentize(shape.exterior, 1e-5)
    for point in frame.geometry:
        # 5 % below the buffer is the simplified rim and the chords of rounded corners.
        assert rim_distances_m(edge, point.x, point.y).min() > 80 * 0.95


def test_a_sector_across_the_antimeridian_is_cut_there():
    frame = points([("a", "b", 179.999, 0.0), ("a", "b", -179.999, 0.0)])
    shape = sector_shapes(frame).geometry.iloc[0]
    assert shape.geom_type == "MultiPolygon"
    assert len(shape.geoms) == 2
    west, _, east, _ = shape.bounds
    assert (west, east) == (-180.0, 180.0)
    # Each half is narrower than a hundredth of a degree: nothing runs around the world.
    assert all(part.bounds[2] - part.bounds[0] < 0.01 for part in shape.geoms)
    label = label_points(gpd.GeoSeries([shape]), 180.0)
    assert label[0, 0] == pytest.approx(180.0, abs=0.003)


def test_a_crag_whose_name_spans_the_globe_still_has_a_shape():
    """Spain, Thailand, Oahu and the Alps under one name: a mistake to be seen, not a crash."""
    points = gpd.GeoDataFrame(
        {"crag": "C", "sector": ["S0", "S1", "S2", "S3"]},
        geometry=gpd.points_from_xy([-3.5, 98.83, -157.65, 7.0], [43.4, 8.0, 21.3, 46.0]),
        crs=4326,
    )
    one = sector_shapes(points.assign(sector="S"))
    assert len(one) == 1
    assert one.geometry.is_valid.all() and not one.geometry.is_empty.any()


@pytest.mark.pinned("worked", answers=2)
@pytest.mark.parametrize(("away_m", "parts"), [(99_999.5, 1), (100_000.5, 2)])
def test_anchors_more_than_100_km_from_their_middle_are_in_parts(away_m, parts):
    """Along the equator a distance is 6,378,137 m times the angle; the straight line through the
    Earth is 1.03 m shorter at 100 km, so that it is below 100 km in both cases."""
    lon = np.degrees(away_m / 6_378_137.0)
    shape = sector_shapes(points([("A", "N", -lon, 0.0), ("A", "N", lon, 0.0)])).geometry[0]
    assert shapely.get_num_geometries(shape) == parts
    assert shape.contains(shapely.Point(0, 0)) == (parts == 1)


def test_empty_and_unusable_anchors():
    assert len(sector_shapes(points([("a", "b", 0, 0)]).iloc[:0])) == 0
    with pytest.raises(RegisterError, match="coordinate system"):
        sector_shapes(points([("a", "b", 0, 0)]).set_crs(None, allow_override=True))
    frame = points([("a", "b", 0, 0), ("a", "b", 1, 1)])
    frame.geometry = [None, shapely.Point(1, 1)]
    with pytest.raises(RegisterError) as caught:
        sector_shapes(frame)
    assert str(caught.value) == (
        "anchors: 1 rows have no position, the first at index 0; give lon and lat or leave the "
        "rows out"
    )


def test_other_coordinate_systems_are_understood():
    frame = points([("a", "b", -5.0, 43.4), ("a", "b", -5.001, 43.401)])
    plain = sector_shapes(frame)
    utm = sector_shapes(frame.to_crs("EPSG:32630"))
    assert plain.geometry.geom_equals_exact(utm.geometry, 1e-7).all()


@pytest.mark.parametrize(
    ("lon", "centre"),
    [([0, 10], 5), ([170, -170], -180), ([-10, 350], -10), ([100], 100), ([-1, 1, 359], 0)],
)
def test_centre_of_longitudes(lon, centre):
    assert centre_lon_deg(np.array(lon, dtype=float)) == pytest.approx(centre)


def test_land_is_found_on_both_sides_of_the_antimeridian():
    land = gpd.GeoDataFrame(
        geometry=[shapely.box(178, -1, 180, 1), shapely.box(-180, -1, -178, 1)], crs="EPSG:4326"
    )
    frame = points([("a", "b", 179.9, 0.0), ("a", "b", -179.9, 0.0)])
    centre, region, window = map_window(sector_shapes(frame), frame)
    assert region[2] - region[0] < 0.3
    assert window[0] < region[0] < region[2] < window[2]
    kind, parts = window_coast(land, window)
    assert kind == "land"
    every = np.vstack(parts)
    # Both boxes are wider than the window, so land fills it from edge to edge.
    assert every[:, 0].min() == pytest.approx(window[0])
    assert every[:, 0].max() == pytest.approx(window[2])
    assert centre == pytest.approx(-180.0)


def test_coast_is_cut_and_kept_small():
    angle = np.linspace(0, 2 * np.pi, 40_001)
    rough = 1 + 0.01 * np.sin(angle * 1000)
    island = shapely.Polygon(np.column_stack([np.cos(angle) * rough, np.sin(angle) * rough]))
    land = gpd.GeoDataFrame(geometry=[island], crs="EPSG:4326")
    _, parts = window_coast(land, (-2, -2, 2, 2), max_vertices=5000)
    assert 8 < sum(len(part) for part in parts) <= 5000
    _, parts = window_coast(land, (0, 0, 0.5, 0.5))
    west, south = np.vstack(parts).min(axis=0)
    east, north = np.vstack(parts).max(axis=0)
    assert (west, south, east, north) == (0, 0, 0.5, 0.5)


def test_shorelines_nothing_and_no_crs():
    line = gpd.GeoDataFrame(geometry=[shapely.LineString([(-5, 0), (5, 0)])], crs="EPSG:4326")
    kind, parts = window_coast(line, (-1, -1, 1, 1))
    assert kind == "shoreline"
    assert parts[0].tolist() == [[-1, 0], [1, 0]]
    assert window_coast(line.iloc[:0], (-1, -1, 1, 1)) == ("none", [])
    with pytest.raises(LayerError, match="coordinate system"):
        window_coast(line.set_crs(None, allow_override=True), (-1, -1, 1, 1))


BAY = [(0, 0), (1000, 0), (1000, 150), (150, 150), (150, 1000), (0, 1000), (500, 60), (60, 500)]
"""Anchors along an L, metres east and north: the hull must follow the bay, not bridge it."""
FEW = [(440, 910), (230, 480), (360, 690), (850, 50), (180, 330), (90, 920), (600, 550),
       (860, 850), (590, 600)]  # fmt: skip
"""Anchors whose hull is another at a ratio of 0.45 or 0.55."""


@pytest.mark.parametrize("buffer_m", [60.0, 120.0])
@pytest.mark.parametrize("xy", [[(0, 0), (1000, 0)], BAY, FEW])
@pytest.mark.pinned("peer")
def test_the_shape_is_a_concave_hull_widened_by_the_buffer(xy, buffer_m):
    """Against shapely in UTM (zone 30, scale 0.9996 at its middle): concave hull of ratio 0.5,
    our own choice, and a true round buffer."""
    east, north = np.array(xy, float).T
    plane = gpd.GeoSeries(gpd.points_from_xy(500_000 + east, 4_800_000 + north), crs="EPSG:32630")
    frame = gpd.GeoDataFrame({"crag": "a", "sector": "b"}, index=plane.index, geometry=plane)
    shape = sector_shapes(frame, buffer_m=buffer_m).to_crs("EPSG:32630").geometry.iloc[0]
    hull = shapely.concave_hull(shapely.MultiPoint(plane.values), ratio=0.5)
    want = shapely.buffer(hull, buffer_m, quad_segs=64)
    assert shapely.area(shapely.symmetric_difference(shape, want)) < 0.03 * shapely.area(want)
    convex = shapely.buffer(shapely.convex_hull(hull), buffer_m)
    if xy is BAY:  # the check can fail: the convex hull is another shape
        apart = shapely.area(shapely.symmetric_difference(convex, want))
        assert apart > 0.1 * shapely.area(want)


@pytest.mark.pinned("judgement")
def test_the_edge_is_60_metres_from_the_anchors_unless_asked():
    shape = sector_shapes(points([("a", "b", -5.0, 43.4)])).geometry.iloc[0]
    assert rim_distances_m(shape, -5.0, 43.4).max() == pytest.approx(60.0, abs=0.5)


@pytest.mark.pinned("worked", answers=8)
def test_longitudes_lie_within_half_a_turn_of_the_centre():
    found = unwrapped_lon(np.array([179.0, -179.0, 180.0, -180.0, 541.0]), 0.0)
    assert found.tolist() == [179.0, -179.0, -180.0, -180.0, -179.0]
    assert unwrapped_lon(np.array([-170.0, 9.0, 11.0]), 190.0).tolist() == [190.0, 369.0, 11.0]


def test_sectors_of_one_name_in_two_crags_are_two():
    frame = points([("b", "x", -5.0, 43.4), ("a", "x", -5.2, 43.4), ("a", "x", -5.2001, 43.4)])
    shapes = sector_shapes(frame)
    assert shapes[["crag", "sector"]].to_numpy().tolist() == [["a", "x"], ["b", "x"]]
    assert shapes.geometry.iloc[0].bounds[0] < -5.19 < -5.01 < shapes.geometry.iloc[1].bounds[0]


@pytest.mark.parametrize("east", [-0.0005, 0.0, 0.0005])
def test_a_shape_across_180_holds_its_anchors_on_both_sides(east):
    """Whether its middle lies west of the antimeridian, on it or east of it."""
    west, other = 179.999 + east, -179.999 + east
    frame = points([("a", "b", west, 10.0), ("a", "b", other, 10.0)])
    shape = sector_shapes(frame).geometry.iloc[0]
    assert (shape.bounds[0], shape.bounds[2]) == (-180.0, 180.0)
    for lon in (west, other, 179.99999, -179.99999):
        assert shape.contains(shapely.Point(lon, 10.0))
    # 223 m apart at this latitude less the cut: the area of the whole is that of a shape elsewhere
    away = points([("a", "b", 19.999, 10.0), ("a", "b", 20.001, 10.0)])
    assert shape.area == pytest.approx(sector_shapes(away).geometry.iloc[0].area, rel=0.01)
