"""Chloride deposition by hand: each factor and each term of the spread, off its neutral value.

The numbers are worked out apart from the code, in plain arithmetic from the equations at the top
of the module and in its formulas' own notes; the judgement is the module's.
"""

import numpy as np
import pytest

from saltreach.science.air import salt

PARTS = {
    0.0: (1000.0, 214.855, 1.49, 6.74, 0.2),
    40.0: (263.597, 189.748, 1.4894, 6.73946, 0.2),
    300.0: (0.0453999, 61.4296, 1.48554, 6.73596, 0.2),
    5e3: (0.0, 0.749622, 1.41733, 6.67294, 0.2),
    60e3: (0.0, 0.00575544, 0.817729, 5.97784, 0.2),
    400e3: (0.0, 0.000130533, 0.0272903, 3.02848, 0.2),
}
"""Distance, m, and 1000 e^(-d/30), 263 (1 + D/282)^-2, 1.49 e^(-d/100 km), 6.74 e^(-d/500 km),
0.2."""


@pytest.mark.pinned("judgement", answers=30)
def test_five_parts_of_the_curve():
    found = np.array(salt.distance_curve(list(PARTS)))
    assert found == pytest.approx(np.array(list(PARTS.values())).T, rel=1e-5, abs=1e-9)
    assert salt.distance_curve(-5.0).spray == 1000.0
    assert np.isnan(salt.distance_curve(np.nan)).all()


CASES = [
    ({"coast_distance_m": 40.0, "sea_openness": 0.8, "wind_speed_m_s": 9.0,
      "height_above_sea_m": 60.0, "shielding": 0.3, "elevation_m": 500.0, "salt_share": 0.7},
     118.378, 1.00767),
    ({"coast_distance_m": 40.0, "sea_openness": 0.35, "wind_speed_m_s": 9.0,
      "height_above_sea_m": 60.0, "shielding": 0.3, "elevation_m": 500.0, "salt_share": 0.7},
     53.424, 0.991769),
    ({"coast_distance_m": 20.0}, 728.598, 1.43354),
    ({"coast_distance_m": 150.0, "sea_openness": 0.3, "height_above_sea_m": 115.0,
      "wind_speed_m_s": 5.0}, 29.5594, 0.990337),
    ({"coast_distance_m": 30e3, "elevation_m": 700.0, "wind_speed_m_s": 5.0, "salt_share": 0.5},
     4.52347, 0.992111),
    ({"coast_distance_m": 400e3, "elevation_m": 900.0, "wind_speed_m_s": 9.0, "sea_openness": 0.6},
     0.957271, 1.11544),
    ({"coast_distance_m": 100.0, "sea_openness": 0.1, "shielding": 0.5}, 17.6341, 0.944445),
    ({"coast_distance_m": 60.0, "sea_openness": 1.0, "height_above_sea_m": 45.0},
     370.061, 0.974567),
    ({"coast_distance_m": 0.0, "sea_openness": 0.5, "height_above_sea_m": 215.0,
      "elevation_m": 300.0}, 38.7801, 1.18656),
]  # fmt: skip


@pytest.mark.pinned("judgement", answers=2)
@pytest.mark.parametrize(("place", "median", "sigma_ln"), CASES)
def test_median_and_spread_of_a_place(place, median, sigma_ln):
    assert salt.chloride(**place) == pytest.approx((median, sigma_ln), rel=1e-5)


@pytest.mark.pinned("judgement", answers=17)
def test_each_factor():
    """0.2 + 0.8 o / 0.5; (o - 0.2) / 0.3; e^(-(h - 15)/100), /30; 30^-s;
    exp(-(z - 200)/500 (1 - e^(-d/50 km)))."""
    assert salt.openness_factor([0.0, 0.25, 0.9, np.nan]) == pytest.approx([0.2, 0.6, 1.64, 1])
    assert salt.spray_openness_factor([0.0, 0.29, 0.8, np.nan]) == pytest.approx([0, 0.3, 2, 1])
    assert salt.height_factor([-3.0, 14.0, 95.0]) == pytest.approx([1, 1, 0.449329])
    assert salt.spray_height_factor([14.0, 45.0]) == pytest.approx([1, 0.367879], rel=1e-5)
    assert salt.shielding_factor([0.5, np.nan]) == pytest.approx([0.182574, 1], rel=1e-5)
    far = salt.elevation_factor([700.0, 700.0, 1200.0], [400e3, 1e3, 50e3])
    assert far == pytest.approx([0.3680029, 0.9803934, 0.2824536], rel=1e-6)
    assert salt.elevation_factor(900.0, [-1e3, 0.0]).tolist() == [1.0, 1.0]
