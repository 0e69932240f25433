"""The parts of openness on cells: which are land (GEOS), where rays start, what they cross.

A cell is 125 m, a ray 160 cells of them; land of 500 m in all ends it (judgement).
"""

import numpy as np
import pytest
import shapely
from scipy.ndimage import convolve

from helpers.coasts import METRES_PER_DEGREE, box, coast_of
from saltreach.layers import openness
from saltreach.layers.coast_search import cube_numbers
from saltreach.layers.geodesy import ecef_m
from saltreach.layers.openness import _cast, _Grid, _land_cells, _plane, _start_cells

CELL_M = 125.0


def pieces_of(polygon):
    """Starts and ends of the shore, land to the left."""
    rings = shapely.get_rings(shapely.orient_polygons(polygon, exterior_cw=False))
    ends = [shapely.get_coordinates(ring) for ring in rings]
    return np.vstack([r[:-1] for r in ends]), np.vstack([r[1:] for r in ends])


def blob(rng, east, north, reach, whole=False):
    """A star of corners, in metres; on lines of centres where `whole`."""
    turn = np.linspace(0, 2 * np.pi, 14, endpoint=False)
    away = rng.uniform(0.5, 1, 14) * reach
    corners = np.column_stack([east + away * np.cos(turn), north + away * np.sin(turn)])
    if whole:  # north on the lines of centres, east halfway between
        corners = (np.round(corners / CELL_M) + [0.5, 0]) * CELL_M
    return shapely.make_valid(shapely.Polygon(corners))


@pytest.mark.pinned("peer")
@pytest.mark.parametrize("whole", [False, True])
@pytest.mark.parametrize("seed", range(6))
def test_cells_are_land_where_geos_has_it(seed, whole):
    """Islands, a lake, and land that reaches over every side of the grid."""
    rng = np.random.default_rng(seed)
    grid = _Grid(-2510.0, 1250.0, 60, 44)  # to 4865 m east, 6625 m north
    spots = [(-2500, 1250), (4900, 6600), (-2500, 4000), (1000, 1200), (1500, 4000), (4875, 3000)]
    land = shapely.union_all(
        [blob(rng, *spots[k], 1800, whole) for k in rng.choice(6, 4, replace=False)]
    )
    land = shapely.difference(land, blob(rng, 1500, 4000, 600, whole))
    parts = [p for p in shapely.get_parts(land) if p.geom_type == "Polygon"]
    ends = [pieces_of(p) for p in parts]
    start, end = (np.vstack(v) for v in zip(*ends, strict=True))
    found = _land_cells(start, end, grid)
    east, north = np.meshgrid(-2510 + CELL_M * np.arange(60), 1250 + CELL_M * np.arange(44))
    wanted = shapely.contains_xy(shapely.union_all(parts), east, north)
    on_line = shapely.dwithin(shapely.boundary(land), shapely.points(east, north), 1e-6)
    assert wanted.any()
    assert not wanted.all()
    assert on_line.sum() < 150
    np.testing.assert_array_equal(found[~on_line], wanted[~on_line])


def test_without_a_piece_all_is_sea():
    none = np.empty((0, 2))
    assert not _land_cells(none, none, _Grid(0.0, 0.0, 5, 4)).any()


@pytest.mark.pinned("peer")
def test_rays_start_where_most_sea_is_and_no_farther_than_they_must():
    """Sea around each cell counted by scipy's convolution."""
    rng = np.random.default_rng(4)
    land = convolve(rng.random((60, 50)), np.ones((3, 3)) / 9) > 0.5
    rows, columns = (v.ravel() for v in np.mgrid[3:57, 3:47])
    found = _start_cells(land, rows * 50 + columns)
    sea = convolve((~land).astype(int), np.ones((3, 3), int), mode="constant")
    up, on = (v.ravel() for v in np.mgrid[-1:2, -1:2])
    around = sea[rows[:, None] + up, columns[:, None] + on]
    chosen = sea.ravel()[found]
    np.testing.assert_array_equal(chosen, around.max(axis=1))
    step = np.hypot(up, on)
    nearest = np.where(around == chosen[:, None], step, 9.0).min(axis=1)
    row, column = found // 50, found % 50
    np.testing.assert_array_equal(np.hypot(row - rows, column - columns), nearest)


@pytest.mark.pinned("worked", answers=6)
@pytest.mark.parametrize(
    ("strips", "fetch_m"),
    # cells of land on the way, rows counted from the ray's start
    [
        ([], 20_000),
        ([range(10, 14)], (160 - 4) * 125),  # 500 m of land: let pass
        ([range(10, 15)], 10 * 125),  # 625 m: the ray ends with the sea before it
        ([range(10, 12), range(30, 32)], (160 - 4) * 125),
        ([range(10, 12), range(30, 33)], (10 + 18) * 125),
        ([range(159, 161)], 159 * 125),
    ],
)
@pytest.mark.parametrize("bearing_deg", [1.0, 91.0, 181.0, 271.0])
def test_a_ray_ends_once_it_has_crossed_more_than_500_m_of_land(strips, fetch_m, bearing_deg):
    land = np.zeros((400, 400), bool)
    for strip in strips:
        land[[200 + r for r in strip]] = True
    land = np.rot90(land, round(bearing_deg // 90))  # row 0 is the south
    at = {0: (200, 200), 1: (199, 200), 2: (199, 199), 3: (200, 199)}[round(bearing_deg // 90)]
    found = _cast(land, np.array([at[0] * 400 + at[1]]), np.array([bearing_deg]))
    assert found.tolist() == [[pytest.approx(fetch_m, abs=0.5)]]


@pytest.mark.pinned("worked")
def test_fetch_to_a_straight_wall_is_right_on_average():
    """The wall's edge lies half a cell south of its first row; counting cells must not bias it.

    Aslant to the rows: along them, every ray ends at the same place of a cell.
    """
    land = np.zeros((700, 700), bool)
    land[360:] = True
    rows = np.arange(290, 350)
    bearing = np.r_[-55:-20:0.37, 20:55:0.37]
    found = _cast(land, rows * 700 + 350, bearing)
    wanted = (359.5 - rows[:, None]) * CELL_M / np.cos(np.radians(bearing))
    assert np.abs(found - wanted).max() < 2 * CELL_M
    assert (found - wanted).mean() == pytest.approx(0, abs=3)


def test_how_many_rays_are_cast_at_once_changes_nothing(monkeypatch):
    land = np.random.default_rng(2).random((500, 500)) < 0.02
    cell = np.arange(220, 240) * 500 + 250
    bearing = np.arange(5.0, 365, 30)
    whole = _cast(land, cell, bearing)
    for at_once in (1, 30):
        monkeypatch.setattr(openness, "_RAYS_AT_ONCE", at_once)
        np.testing.assert_array_equal(_cast(land, cell, bearing), whole)


@pytest.mark.parametrize("side_m", [7.0, 10_000.0, 80_000.0])
def test_every_cube_has_a_number_of_its_own(side_m):
    reach = int(6.4e6 / side_m)
    steps = np.unique([-reach, -reach + 1, -2, -1, 0, 1, 2, 3, reach - 1, reach])
    lattice = np.array(np.meshgrid(steps, steps, steps)).reshape(3, -1).T
    numbers = cube_numbers(lattice * side_m, side_m)
    assert len(np.unique(numbers)) == len(lattice)
    inside = lattice * side_m + np.array([0.4, -0.4, 0.3]) * side_m
    np.testing.assert_array_equal(cube_numbers(inside, side_m), numbers)


@pytest.mark.pinned("worked", answers=6)
@pytest.mark.parametrize(
    ("origin", "east", "north"),
    [
        ([6.4e6, 0, 0], [0, 1, 0], [0, 0, 1]),  # Gulf of Guinea
        ([0, 6.4e6, 0], [-1, 0, 0], [0, 0, 1]),  # 90 E
        ([0, 3e6, 4e6], [-1, 0, 0], [0, -0.8, 0.6]),
        ([-4e6, 0, -3e6], [0, -1, 0], [-0.6, 0, 0.8]),
    ],
)
def test_the_plane_is_spanned_by_east_and_north(origin, east, north):
    assert _plane(np.array(origin)) == pytest.approx(np.array([east, north]), abs=1e-12)


@pytest.mark.parametrize("z", [6.4e6, -6.4e6])
def test_at_a_pole_any_two_directions_at_right_angles_do(z):
    axes = _plane(np.array([0.0, 0.0, z]))
    assert axes @ axes.T == pytest.approx(np.eye(2))
    assert axes[:, 2] == pytest.approx([0, 0])


@pytest.mark.pinned("worked", answers=4)
@pytest.mark.parametrize("seaward_deg", [90, 270, 0, 180])
def test_straight_out_to_sea_nothing_is_crossed(seaward_deg):
    """Rays within 60 degrees of seaward, from a coast that faces each way."""
    land = {90: box(-2, -2, 0, 2), 270: box(0, -2, 2, 2), 0: box(-2, -2, 2, 0),
            180: box(-2, 0, 2, 2)}[seaward_deg]  # fmt: skip
    rays = openness.sea_fetch([0.0], [0.0], coast_of(land))
    off = np.abs((rays.bearing_deg - seaward_deg + 180) % 360 - 180)
    assert (off < 60).sum() == 12
    assert (rays.fetch_m[0, off < 60] == 20_000).all()
    assert (rays.fetch_m[0, off > 120] < 500).all()
    assert rays.bearing_deg.tolist() == list(range(5, 360, 10))
    start_m = np.hypot(rays.lon, rays.lat) * METRES_PER_DEGREE
    assert start_m[0] < 300
    out = np.sin(np.radians(seaward_deg)), np.cos(np.radians(seaward_deg))
    assert rays.lon[0] * out[0] + rays.lat[0] * out[1] > 0


def test_company_far_off_changes_nothing():
    """An islet 70 km north-east of a long shore, whose rays pass rows that begin at that shore."""
    km = 1000 / METRES_PER_DEGREE
    lon = lat = -36 * km
    there = lon + 70 * km
    islet = box(there, there, there + 0.3 * km, there + 0.3 * km)
    north = np.linspace(lat - 2, lat + 2, 8001)  # so fine that a block of it is 3.6 km
    shore = np.column_stack([np.full(8001, lon), north])
    coast = coast_of(np.vstack([[lon - 2, lat - 2], shore, [lon - 2, lat + 2], [lon - 2, lat - 2]]),
                     islet)  # fmt: skip
    feet = np.array([[lon, lat], [there, there]]).T
    both = openness.sea_openness(*feet, coast)
    alone = []
    for x, y in feet.T:
        openness._KEPT.clear()  # a tile that is kept would hide how it was drawn
        alone.append(openness.sea_openness(x[None], y[None], coast)[0])
    assert both.tolist() == alone
    assert both[1] == pytest.approx(1.0, abs=0.01)


def test_a_coast_without_sides_or_feet_gives_no_rays():
    land = box(0, -2, 2, 2)
    for coast, foot in (
        (coast_of(land, sided=False), ([0.0], [0.0])),
        (coast_of(land), ([np.nan], [0.0])),
    ):
        rays = openness.sea_fetch([0.1], [0.0], coast, directions=12, shore=foot)
        assert rays.fetch_m.shape == (0, 12)
        assert len(rays.lon) == len(rays.lat) == 0
        assert rays.place.tolist() == [-1]
    assert np.isnan(openness.sea_openness([0.1], [0.0], coast, shore=foot)).all()


@pytest.mark.pinned("worked")
def test_the_feet_that_are_given_are_used():
    """Both feet on the western shore, though the places lie nearer the eastern one."""
    coast = coast_of(box(0, -2, 0.5, 2), box(0.55, -2, 2, 2))
    rays = openness.sea_fetch([0.45, 0.45], [0.0, 0.0], coast, shore=([0.0, 0.0], [0.0, 0.0]))
    assert rays.place.tolist() == [0, 0]
    assert rays.lon == pytest.approx([0], abs=0.003)
    here = openness.sea_openness([0.45], [0.0], coast)
    assert here[0] < 0.4 < openness.sea_openness([0.45], [0.0], coast, shore=([0.0], [0.0]))[0]


@pytest.mark.pinned("judgement", answers=6)
def test_what_the_layer_is_set_to():
    """Judgements: 20 km of fetch, 36 rays, cells of 125 m, 500 m of land (twice the shoreline's
    spread of 250 m). Tiles of 20 km and 20,000 rays at once only bound memory."""
    assert (openness.FETCH_M, openness.DIRECTIONS, openness.CELL_M) == (20_000, 36, 125)
    assert openness.LAND_TOLERANCE_M == 500


def test_tiles_are_kept_and_not_without_end(monkeypatch):
    monkeypatch.setattr(openness, "_TILES_KEPT", 2)
    drawn = []
    real = openness._draw
    monkeypatch.setattr(openness, "_draw", lambda *of: drawn.append(1) or real(*of))
    coast = coast_of(box(0, -2, 2, 2))
    for lat in (0.1, 0.3, 0.1):
        openness.sea_openness([0.0], [lat], coast)
    assert len(drawn) == 2
    for lat in (0.5, 0.7, 0.1):
        openness.sea_openness([0.0], [lat], coast)
    assert len(drawn) == 5
    assert len(openness._KEPT[coast]) == 2


@pytest.mark.pinned("worked")
def test_a_tile_holds_what_its_middle_is_near_and_none_is_wide():
    rng = np.random.default_rng(8)
    lon = np.r_[rng.uniform(-180, 180, 3000), 180.0, -180.0, 0.0, 77.0]
    lat = np.r_[np.degrees(np.arcsin(rng.uniform(-1, 1, 3000))), 0.05, 0.05, 90.0, -90.0]
    number = openness.tile_numbers(lon, lat)
    off = np.linalg.norm(openness.tile_middles(number) - ecef_m(lon, lat), axis=1)
    assert off.max() < 10_100 * np.sqrt(2)
    assert number[-4] == number[-3]
    # the southernmost row is 126 km round where it is widest: seven tiles, the fourth at Greenwich
    assert openness.tile_numbers(np.zeros(1), np.array([-90.0])).tolist() == [3]
