"""Any plane comes back as itself, and compared faces stay in range."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from saltreach.layers.terrain import compare_faces, horn_steps

angle = st.floats(0, 360)


@given(a=st.floats(-50, 50), b=st.floats(-50, 50), c=st.floats(-100, 100))
def test_horn_is_exact_on_planes(a, b, c):
    row, column = np.mgrid[0:5, 0:5]
    across, down = horn_steps(a * column + b * row + c, np.array([2]), np.array([2]))
    assert across == pytest.approx(a, abs=1e-9)
    assert down == pytest.approx(b, abs=1e-9)


@given(azimuth=angle, aspect=angle, turn=angle)
def test_the_difference_of_directions_does_not_depend_on_where_north_is(azimuth, aspect, turn):
    here = compare_faces([azimuth], [90], [aspect], [40])["azimuth_difference_deg"][0]
    there = compare_faces([(azimuth + turn) % 360], [90], [(aspect + turn) % 360], [40])
    assert -180 <= here <= 180
    off = (here - there["azimuth_difference_deg"][0] + 180) % 360 - 180
    assert off == pytest.approx(0, abs=1e-6)
