"""What must hold for any coast: range, more land is never more open, weights average."""

import numpy as np
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from helpers.coasts import coast_of
from saltreach.layers.openness import sea_fetch, sea_openness


def blob(lon, lat, radii_deg):
    """A star-shaped island drawn counter-clockwise."""
    turn = np.linspace(0, 2 * np.pi, len(radii_deg), endpoint=False)
    reach = np.asarray(radii_deg)
    wide = reach / np.cos(np.radians(lat))
    ring = np.column_stack([lon + wide * np.cos(turn), lat + reach * np.sin(turn)])
    return np.vstack([ring, ring[:1]])


shapes = st.lists(st.floats(0.02, 0.2), min_size=5, max_size=20)
places = st.tuples(st.floats(-170, 170), st.floats(-75, 75))


@given(at=places, shape=shapes, other=shapes, turn=st.floats(0, 6.28), gap=st.floats(0.02, 0.1))
def test_land_in_front_never_opens_the_sea(at, shape, other, turn, gap):
    """The second island lies within the 20 km that a ray looks, 2 to 11 km off the first."""
    lon, lat = at
    island = blob(lon, lat, shape)
    alone = sea_openness([lon], [lat], coast_of(island))[0]
    assert 0 <= alone <= 1
    away = max(shape) + max(other) + gap
    beside = blob(lon + away * np.cos(turn) / np.cos(np.radians(lat)), lat + away * np.sin(turn),
                  other)  # fmt: skip
    single, both = coast_of(island), coast_of(island, beside)
    # The nearest shore must still be the first island's.
    assume(both.shore([lon], [lat]).distance_m[0] == single.shore([lon], [lat]).distance_m[0])
    # Half a cell of drawing may move the start by a cell: 1 % of room.
    assert sea_openness([lon], [lat], both)[0] <= alone + 0.01


@given(at=places, shape=shapes)
def test_openness_is_the_mean_of_fetches_within_their_bounds(at, shape):
    coast = coast_of(blob(*at, shape))
    rays = sea_fetch([at[0]], [at[1]], coast)
    assert rays.fetch_m.min() >= 0
    assert rays.fetch_m.max() <= 20_000
    openness = sea_openness([at[0]], [at[1]], coast)[0]
    assert openness == pytest.approx(rays.fetch_m[rays.place[0]].mean() / 20_000, abs=1e-6)
