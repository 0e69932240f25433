"""What must hold for any coast: range, more land is never more open, weights average."""

import numpy as np
import pytest
import shapely
from hypothesis import assume, example, given
from hypothesis import strategies as st

from saltreach.layers.coast import Coast, block_spheres
from saltreach.layers.layer import Origin
from saltreach.layers.openness import sea_fetch, sea_openness


def coast_of(rings):
    vertex = np.concatenate(rings)
    start = np.r_[0, np.cumsum([len(r) for r in rings])].astype(np.int64)
    centre, radius = block_spheres(vertex)
    land = np.ones(len(rings), bool)
    return Coast(vertex, start, land, centre, radius, True, 1.0, Origin("drawn", "shoreline"))


def blob(lon, lat, radii_deg):
    """A star-shaped island drawn counter-clockwise."""
    turn = np.linspace(0, 2 * np.pi, len(radii_deg), endpoint=False)
    reach = np.asarray(radii_deg)
    wide = reach / np.cos(np.radians(lat))
    ring = np.column_stack([lon + wide * np.cos(turn), lat + reach * np.sin(turn)])
    return np.vstack([ring, ring[:1]])


shapes = st.lists(st.floats(0.02, 0.2), min_size=5, max_size=20)
places = st.tuples(st.floats(-170, 170), st.floats(-75, 75))


@example(at=(10.0, 40.0), shape=[0.05] * 8, other=[0.03] * 8, gap=0.05, hidden=True)
@example(at=(-120.0, -60.0), shape=[0.1, 0.12] * 4, other=[0.05] * 6, gap=0.03, hidden=True)
@given(at=places, shape=shapes, other=shapes, gap=st.floats(0.03, 0.1), hidden=st.just(False))
def test_land_in_front_never_opens_the_sea(at, shape, other, gap, hidden):
    """The second island lies off the place of the shore where the rays start, within their 20 km;
    in the two fixed cases it must hide some sea."""
    lon, lat = at
    island = blob(lon, lat, shape)
    single = coast_of([island])
    alone = sea_openness([lon], [lat], single)[0]
    assert 0 <= alone <= 1
    foot = np.array([shore[0] for shore in single.shore([lon], [lat])[2:]])
    wide = np.array([1 / np.cos(np.radians(lat)), 1.0])
    out = (foot - at) / wide
    beside = blob(*(foot + (max(other) + gap) * out / np.hypot(*out) * wide), other)
    assume(not shapely.Polygon(island).intersects(shapely.Polygon(beside)))
    both = coast_of([island, beside])
    # The nearest shore must still be the first island's.
    assume(both.shore([lon], [lat]).distance_m[0] == single.shore([lon], [lat]).distance_m[0])
    # Half a cell of drawing may move the start by a cell: 1 % of room.
    found = sea_openness([lon], [lat], both)[0]
    assert found <= alone + 0.01
    assert not hidden or found < alone - 0.05


@given(at=places, shape=shapes)
def test_openness_is_the_mean_of_fetches_within_their_bounds(at, shape):
    coast = coast_of([blob(*at, shape)])
    rays = sea_fetch([at[0]], [at[1]], coast)
    assert rays.fetch_m.min() >= 0
    assert rays.fetch_m.max() <= 20_000
    openness = sea_openness([at[0]], [at[1]], coast)[0]
    assert openness == pytest.approx(rays.fetch_m[rays.place[0]].mean() / 20_000, abs=1e-6)
