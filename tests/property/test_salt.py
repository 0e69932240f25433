"""Chloride deposition: monotone, finite at the shore, never negative."""

import numpy as np
import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from saltreach.science.air import salt
from saltreach.science.distributions import lognormal_quantile

distances = st.one_of(st.floats(0, 1e3), st.floats(1, 6.5).map(lambda power: 10.0**power))
"""Near the shore, and even in the logarithm up to 3,000 km."""
nan = st.just(np.nan)
surroundings = st.fixed_dictionaries(
    {
        "sea_openness": st.one_of(nan, st.floats(0, 1)),
        "wind_speed_m_s": st.one_of(nan, st.floats(0, 30)),
        "height_above_sea_m": st.one_of(nan, st.floats(-5, 1500)),
        "shielding": st.one_of(nan, st.floats(0, 1)),
        "elevation_m": st.one_of(nan, st.floats(-400, 6000)),
    }
)
PROBABILITIES = (0.1, 0.5, 0.9)


def quantiles(distance, **around):
    median, sigma_ln = salt.chloride(distance, **around)
    return [lognormal_quantile(median, sigma_ln, p) for p in PROBABILITIES]


def no_more(less, more):
    return all(a <= b * (1 + 1e-12) for a, b in zip(less, more, strict=True))


@given(distances, surroundings)
def test_positive_and_finite_everywhere(distance, around):
    median, sigma_ln = salt.chloride(distance, **around)
    assert 0 < median < 15_000  # in spray, on the most open shore in the strongest wind
    assert 0 < sigma_ln < 10
    assert all(0 < q < np.inf for q in quantiles(distance, **around))


NOTHING_KNOWN = dict.fromkeys(
    ("sea_openness", "wind_speed_m_s", "height_above_sea_m", "shielding", "elevation_m"), np.nan
)


@example(1e5, 5e5, NOTHING_KNOWN)
@example(5e5, 3e6, NOTHING_KNOWN)
@given(distances, distances, surroundings)
def test_never_more_salt_farther_from_the_sea(one, other, around):
    near, far = sorted((one, other))
    assert no_more(quantiles(far, **around), quantiles(near, **around))


@given(distances, surroundings, st.floats(0, 1), st.floats(0, 1))
def test_never_less_salt_on_a_more_open_site(distance, around, one, other):
    closed, open_ = sorted((one, other))
    assert no_more(
        quantiles(distance, **around | {"sea_openness": closed}),
        quantiles(distance, **around | {"sea_openness": open_}),
    )


@given(distances, surroundings, st.floats(0, 30), st.floats(0, 30))
def test_never_less_salt_with_more_wind(distance, around, one, other):
    calm, windy = sorted((one, other))
    # The median only where height widens the spread of the surf part, whose share wind moves.
    flat = around | {"height_above_sea_m": np.nan}
    assert no_more(
        quantiles(distance, **flat | {"wind_speed_m_s": calm}),
        quantiles(distance, **flat | {"wind_speed_m_s": windy}),
    )
    lower, upper = (
        salt.chloride(distance, **around | {"wind_speed_m_s": u})[0] for u in (calm, windy)
    )
    assert lower <= upper


@given(distances, surroundings, st.floats(-5, 1500), st.floats(-5, 1500))
def test_median_never_rises_with_height(distance, around, one, other):
    low, high = sorted((one, other))
    below, above = (
        salt.chloride(distance, **around | {"height_above_sea_m": h})[0] for h in (low, high)
    )
    assert above <= below


@given(distances, surroundings, st.floats(-400, 6000), st.floats(-400, 6000))
def test_median_never_rises_with_elevation(distance, around, one, other):
    low, high = sorted((one, other))
    below, above = (salt.chloride(distance, **around | {"elevation_m": z})[0] for z in (low, high))
    assert above <= below


@given(distances, surroundings, st.floats(0, 1), st.floats(0, 1))
def test_median_never_rises_with_shielding(distance, around, one, other):
    less, more = sorted((one, other))
    open_, hidden = (salt.chloride(distance, **around | {"shielding": s})[0] for s in (less, more))
    assert hidden <= open_


@given(distances, surroundings, st.floats(0, 1))
def test_unknown_openness_is_never_surer_than_known(distance, around, openness):
    known = salt.chloride(distance, **around | {"sea_openness": openness})[1]
    # Same median: a straight coast. Elsewhere the share of the surf part differs, too.
    unknown = salt.chloride(distance, **around | {"sea_openness": np.nan})
    straight = salt.chloride(distance, **around | {"sea_openness": 0.5})
    assert straight[0] == pytest.approx(unknown[0])
    assert straight[1] <= unknown[1]
    flat = around["height_above_sea_m"]
    if np.isnan(flat) or flat <= salt.HEIGHT_WITHOUT_GRADIENT_M:
        assert known <= unknown[1]
