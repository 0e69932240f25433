"""Wetness against closed forms and published constants."""

import numpy as np
import pytest

from saltreach.science.air import wetness


@pytest.mark.pinned("published", answers=2)
def test_humidity_at_metal_temperature():
    # Magnus, WMO-No. 8: 25 degC and 70 % on metal of 40 degC give 30.0 % (arithmetic).
    assert wetness.humidity_at_surface_pct(70.0, 25.0, 40.0) == pytest.approx(30.0, abs=0.05)
    assert wetness.humidity_at_surface_pct(70.0, 25.0, 25.0) == pytest.approx(70.0)


@pytest.mark.pinned("memory")
@pytest.mark.parametrize(
    ("temperature_c", "hpa"),
    # Saturation over water, International Meteorological Tables (WMO-No. 188), from memory.
    [(0, 6.107), (10, 12.27), (20, 23.37), (30, 42.43), (40, 73.78)],
)
def test_saturation_pressure(temperature_c, hpa):
    assert wetness.saturation_pressure_hpa(temperature_c) == pytest.approx(hpa, rel=0.003)


@pytest.mark.pinned("worked")
@pytest.mark.parametrize("mean", [68.0, 75.0, 80.0, 86.0])
def test_sinusoid_alone_has_a_closed_form(mean):
    # A wave of amplitude A is above a limit L for arccos((L - mean) / A) / pi of the time.
    amplitude = 13.0
    share = wetness.wet_share(
        30.0, mean, humidity_amplitude_pct=amplitude, humidity_spread_pct=0.01
    )
    assert share == pytest.approx(np.arccos((80 - mean) / amplitude) / np.pi, abs=0.02)


@pytest.mark.pinned("worked", answers=2)
def test_spread_alone_has_a_closed_form():
    # Without a wave: the normal tail; P(Z > 1) = 0.1587 (table of the normal distribution).
    share = wetness.wet_share(40.0, 70.0, humidity_amplitude_pct=0.0, humidity_spread_pct=10.0)
    assert share == pytest.approx(0.1587, abs=1e-4)
    band = wetness.deliquescent_share(
        20.0, 54.0, humidity_amplitude_pct=0.0, humidity_spread_pct=21.0
    )
    assert band == pytest.approx(0.6827, abs=1e-4)  # plus and minus one: 33 to 75 %


@pytest.mark.pinned("peer", answers=2)
def test_share_agrees_with_brute_force():
    # Arithmetic: a million draws of the stated process, seeded.
    rng = np.random.default_rng(11)
    phase = rng.uniform(0, 2 * np.pi, 1_000_000)
    z = rng.standard_normal((2, phase.size))
    humidity = 72 + 12 * np.cos(phase) + 9 * z[0]
    air = 6 - 5 * np.cos(phase) + 3 * z[1]
    stated = {"humidity_amplitude_pct": 12.0, "humidity_spread_pct": 9.0}
    wet = wetness.wet_share(
        6.0, 72.0, temperature_amplitude_c=5.0, temperature_spread_c=3.0, **stated
    )
    assert wet == pytest.approx(np.mean((humidity > 80) & (air > 0)), abs=0.003)
    day = 6 - 5 * np.cos(phase)
    metal = day + 18 * np.maximum(-np.cos(phase), 0)
    felt = np.minimum(humidity, 100) * (
        wetness.saturation_pressure_hpa(day) / wetness.saturation_pressure_hpa(metal)
    )
    band = wetness.deliquescent_share(
        6.0, 72.0, temperature_amplitude_c=5.0, metal_excess_c=18.0, **stated
    )
    assert band == pytest.approx(np.mean((felt > 33) & (felt < 75)), abs=0.003)
