"""Wetness: bounded, monotone, NaN passes."""

import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from saltreach.science.air import wetness

temperatures = st.floats(-40, 45)
humidities = st.floats(0, 105)
amplitudes = st.floats(0, 40)
spreads = st.floats(0.5, 20)


@given(temperatures, humidities, amplitudes, spreads, st.floats(0, 40))
def test_shares_lie_between_0_and_1_and_do_not_overlap(t, h, amplitude, spread, excess):
    stated = {"humidity_amplitude_pct": amplitude, "humidity_spread_pct": spread}
    wet = wetness.wet_share(t, h, **stated)
    band = wetness.deliquescent_share(t, h, metal_excess_c=excess, **stated)
    in_shade = wetness.deliquescent_share(t, h, **stated)
    assert 0 <= wet <= 1
    assert -1e-12 <= band <= 1 + 1e-12
    # In the shade above 80 % and between 33 and 75 % exclude each other.
    assert wet + in_shade <= 1 + 1e-9


@given(temperatures, temperatures, humidities)
def test_warmer_months_are_wet_no_less(one, other, h):
    cold, warm = sorted((one, other))
    assert wetness.wet_share(cold, h) <= wetness.wet_share(warm, h) + 1e-12


@given(temperatures, st.floats(40, 85), st.floats(40, 85))
def test_damper_months_are_wet_no_less(t, one, other):
    # Up to 85 %, where the wave of 15 % still fits below 100 %.
    dry, damp = sorted((one, other))
    assert wetness.wet_share(t, dry) <= wetness.wet_share(t, damp) + 1e-12


@given(temperatures, humidities, st.floats(1, 40))
def test_unknown_stays_unknown(t, h, excess):
    """The share of brine in the shade does not depend on the temperature, in the sun it does."""
    assert np.isnan(wetness.wet_share(np.nan, h))
    assert np.isnan(wetness.deliquescent_share(np.nan, h, metal_excess_c=excess))
    for function in (wetness.wet_share, wetness.deliquescent_share):
        assert np.isnan(function(t, np.nan))


@given(st.lists(st.one_of(st.just(np.nan), st.floats(0, 180)), max_size=6))
def test_slope_rule_does_not_depend_on_the_order(slopes):
    forward = wetness.rain_washed_from_face(slopes).tolist()
    assert wetness.rain_washed_from_face(slopes[::-1]).tolist() == forward[::-1]
    assert set(forward) <= {"yes", "no", "unknown"}
