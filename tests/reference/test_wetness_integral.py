"""Shares of a month against scipy's integral over the day-night wave; every month by its days."""

import numpy as np
import pytest
from scipy.integrate import quad
from scipy.stats import norm

from saltreach.science.air import wetness


def over_the_wave(value):
    """Mean over the phase of a day; it is even, so half of the wave is enough."""
    return (
        quad(lambda phase: value(np.cos(phase)), 0, np.pi, points=[np.pi / 2], limit=400)[0] / np.pi
    )


# Mean temperature and humidity, amplitude and spread of humidity, those of temperature, and the
# wave that the humidity has room for.
MONTHS = [
    (15.0, 72.0, 12.0, 9.0, 5.0, 3.0, 12.0),
    (1.0, 84.0, 15.0, 8.0, 4.0, 4.0, 15.0),
    (-3.0, 90.0, 20.0, 6.0, 6.0, 2.0, 10.0),  # 20 % would pass 100 %
    (5.0, 12.0, 30.0, 25.0, 4.0, 4.0, 12.0),  # 30 % would pass 0 %
    (9.0, 101.0, 15.0, 8.0, 4.0, 4.0, 0.0),
]


@pytest.mark.pinned("peer")
@pytest.mark.parametrize("month", MONTHS)
def test_wet_share(month):
    t, h, amplitude, spread, t_amplitude, t_spread, wave = month
    expected = over_the_wave(
        lambda c: norm.sf(80.0, h + wave * c, spread) * norm.sf(0.0, t - t_amplitude * c, t_spread)
    )
    found = wetness.wet_share(
        t, h, humidity_amplitude_pct=amplitude, humidity_spread_pct=spread,
        temperature_amplitude_c=t_amplitude, temperature_spread_c=t_spread,
    )  # fmt: skip
    assert found == pytest.approx(expected, abs=2e-5)


def magnus_hpa(t):
    """WMO-No. 8, annex 4.B."""
    return 6.112 * np.exp(17.62 * t / (243.12 + t))


@pytest.mark.pinned("published", answers=3)
def test_magnus_by_hand():
    """6.112 exp(17.62 x 25 / 268.12) = 6.112 exp(1.642921), and at -10 and 40 degC."""
    found = wetness.saturation_pressure_hpa([25.0, -10.0, 40.0])
    assert found == pytest.approx([31.600569, 2.870310, 73.674581], rel=1e-6)


@pytest.mark.pinned("peer", answers=2)
@pytest.mark.parametrize("excess_c", [0.0, 9.0, 25.0])
@pytest.mark.parametrize("month", MONTHS[:-1])
def test_share_of_the_brines(month, excess_c):
    """Metal warmer by day by the excess times the wave; air holds 100 % at most, so that a limit
    beyond it is never reached."""
    t, h, amplitude, spread, t_amplitude, _, wave = month
    for low, high in ((33.0, 75.0), (20.0, 95.0)):

        def inside(c, low=low, high=high):
            air = t - t_amplitude * c
            metal = air + excess_c * max(-c, 0.0)
            ends = np.array([low, high]) * magnus_hpa(metal) / magnus_hpa(air)
            return np.diff(np.where(ends < 100, norm.cdf(ends, h + wave * c, spread), 1.0))[0]

        found = wetness.deliquescent_share(
            t, h, humidity_amplitude_pct=amplitude, humidity_spread_pct=spread,
            temperature_amplitude_c=t_amplitude, metal_excess_c=excess_c, low_pct=low,
            high_pct=high,
        )  # fmt: skip
        assert found == pytest.approx(over_the_wave(inside), abs=4e-3 if excess_c else 2e-5)


@pytest.mark.pinned("worked", answers=5)
def test_a_limit_of_100_is_never_passed():
    """Without a wave and at 90 % +- 10 %: from 80 % up, P(Z > -1) = 0.841345; above 100 nothing."""
    still = {"humidity_amplitude_pct": 0.0, "humidity_spread_pct": 10.0}
    low = [80.0, 80.0, 80.0, 100.0, 100.5]
    high = [100.0, 100.5, 130.0, 130.0, 130.0]
    found = wetness.deliquescent_share(20.0, 90.0, low_pct=low, high_pct=high, **still)
    assert found == pytest.approx([0.841345, 0.841345, 0.841345, 0, 0], abs=1e-6)
    # 99.5 % is still reached: less the 0.171056 above it (table of the normal distribution, 0.95)
    short = wetness.deliquescent_share(20.0, 90.0, low_pct=80.0, high_pct=99.5, **still)
    assert short == pytest.approx(0.841345 - 0.171056, abs=1e-6)


@pytest.mark.pinned("worked", answers=24)
def test_every_month_counts_by_its_days():
    days = [31, 28.25, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31]
    calm = {"humidity_spread_pct": 1e-3}
    wet = np.full((12, 12), 30.0) + 69.9 * np.eye(12)
    hours = wetness.time_of_wetness_h_y(np.full((12, 12), 20.0), wet, **calm)
    assert hours == pytest.approx(24 * np.array(days), rel=1e-4)
    brine = np.full((12, 12), 10.0) + 44.0 * np.eye(12)
    share = wetness.deliquescent_share_of_year(
        np.full((12, 12), 20.0), brine, humidity_amplitude_pct=5.0, **calm
    )
    assert share == pytest.approx(np.array(days) / 365.25, rel=1e-4)
