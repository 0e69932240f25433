"""Stress-corrosion hazard: what papers state of it, and its mathematics against other ways.

The hazard itself is our own screening; no paper gives one to compare with. See
`test_field_observations.py` for the order of places.
"""

import numpy as np
import pytest

from saltreach.science.air.sunlight import sun_exposure
from saltreach.science.air.wetness import deliquescent_share
from saltreach.science.metal import stress_corrosion as scc
from saltreach.science.time.reliability import scc_scale_y
from saltreach.vocabulary.metals import COATED, MATERIAL_BY_NAME, MATERIAL_NAMES, PLACEABLE
from saltreach.vocabulary.words import BANDS

PLACE = {"warm_month_c": 25.0, "sun": 0.5, "humidity_share": 0.4, "carbonate_rock": 0.0}


@pytest.mark.pinned("published")
def test_316_is_two_to_three_times_slower_than_304():
    """Corrosion 75:1371 (2019), abstract: 2 to 3 times."""
    assert scc_scale_y(0.5, "316") / scc_scale_y(0.5, "304") == pytest.approx(2.5, abs=0.5)


def test_alloys_fall_in_the_order_of_their_resistance():
    """304 worst, duplex resistant (Prosek 2009), 6Mo and titanium treated as resistant (memory)."""
    cracking = {name: metal.cracking for name, metal in MATERIAL_BY_NAME.items()}
    assert all(np.isnan(cracking[m]) for m in COATED)  # does not apply
    factors = [cracking[m] for m in PLACEABLE]
    assert (np.diff(factors) < 0).all()
    assert (factors[0], factors[-1]) == (1.0, 0.0)
    others = [m for m in MATERIAL_NAMES if m not in (*COATED, *PLACEABLE)]
    assert all(cracking[m] >= 1.0 for m in others)  # never milder than 304


def test_the_word_washed_never_makes_a_cracking_place_mild():
    """A documented case of 304 on a coast rated 0.27 when washing was unknown; the word yes gave
    0.009 before. Bound: doubt of the word (a quarter) alone keeps a quarter of the hazard."""
    place = dict(PLACE, carbonate_rock=1.0)
    for salt in (5.0, 50.0, 500.0):
        dry, wet = (scc.scc_hazard(salt, 18.0, rain_washed=w, **place).harsh for w in ("no", "yes"))
        assert 0.25 * dry < wet < 0.7 * dry


@pytest.mark.pinned("judgement", answers=3)
def test_the_three_schools_are_three_factors():
    """Rock (UIAA 2015), washing (Corrosion 75:1371), sulphate (Reeve 2020 to 2023), each alone."""
    base = dict(PLACE, rain_washed="no", sulphate=0.0)
    plain = scc.scc_hazard(60.0, 18.0, **base).harsh
    assert scc.scc_hazard(60.0, 18.0, **(base | {"carbonate_rock": 1.0})).harsh == pytest.approx(
        1.15 * plain
    )
    assert scc.scc_hazard(60.0, 18.0, **(base | {"sulphate": 1.0})).harsh == pytest.approx(
        1.5 * plain
    )
    # 60 days of 60 mg/(m2 d), or 20, over 2.4 x 1450: squares of 1.034 and 0.345 in s / (1 + s);
    # three quarters at half of the short stay, a quarter at the long one
    washed = scc.scc_hazard(60.0, 18.0, **(base | {"rain_washed": "yes"})).harsh
    assert washed / plain == pytest.approx((0.375 * 0.1063 + 0.25 * 0.5169) / 0.5169, rel=1e-3)


def unwashed(chloride_mg_m2_d, **place):
    return scc.scc_hazard(chloride_mg_m2_d, 25.0, **(PLACE | {"rain_washed": "no"} | place)).harsh


@pytest.mark.pinned("published")
def test_half_of_the_hazard_is_reached_at_the_measured_deposit():
    """Örnek 2019: cracks at 145 µg/cm² with 0.1 % elastic strain. 1 µg/cm² is 10 mg/m². A candle
    catches 2.4 times a plate, and unwashed salt stays 60 days."""
    assert unwashed(145 * 10 * 2.4 / 60) / unwashed(1e12) == pytest.approx(0.5)


@pytest.mark.pinned("judgement")
def test_a_tenth_of_the_salt_that_cracks_hardly_counts():
    """Materials 13:5640 (2020), abstract: 304L under dried sea water cracked at 1 g/m² of chloride
    within 10,000 h, not at 0.1 g/m². In proportion the tenth would count for 0.16 of the whole. By
    hand with the square of ours: 0.004756 / 1.004756 over 0.4756 / 1.4756."""
    on_a_candle = 2.4 / 60.0  # wet candle over plate, days that it stays
    tenth, whole = (unwashed(g * 1000 * on_a_candle) for g in (0.1, 1))
    assert tenth / whole == pytest.approx(0.01469, rel=1e-3)


@pytest.mark.pinned("published")
def test_half_of_the_heat_counts_at_the_temperature_tested():
    """Prosek 2009: 304 and 316L susceptible at 30 °C and above: metal of 26 °C air in the warmest
    month and 4 °C more at its warmest hour. A mean far below leaves the hot hours alone."""
    at, hot = (
        scc.scc_hazard(60.0, -99.0, **(PLACE | {"sun": 0.0, "warm_month_c": t})).harsh
        for t in (26.0, 999.0)
    )
    assert at / hot == pytest.approx(0.5)


@pytest.mark.pinned("memory", answers=2)
def test_humidity_band_is_that_of_the_salts():
    """Deliquescence of MgCl2 and NaCl near 25 °C, from memory: 33 and 75 %."""
    steady = {"humidity_amplitude_pct": 0.0, "humidity_spread_pct": 1e-3}
    found = deliquescent_share(25.0, np.array([32.9, 33.1, 74.9, 75.1]), **steady)
    assert found == pytest.approx([0, 1, 1, 0])


def test_every_weight_says_whence_it_comes():
    for name, weight in scc.WEIGHTS.items():
        assert weight.source, name
        assert weight.status in ("published", "judgement"), name


@pytest.mark.pinned("peer")
def test_mean_over_uncertain_chloride_against_monte_carlo():
    rng = np.random.default_rng(4)
    drawn = 80.0 * np.exp(0.97 * rng.standard_normal(200_000))
    point = scc.scc_hazard(drawn, 17.0, rain_washed="no", **PLACE).harsh
    mean = scc.scc_hazard(80.0, 17.0, rain_washed="no", chloride_sigma_ln=0.97, **PLACE).harsh
    assert mean == pytest.approx(point.mean(), rel=0.005)


@pytest.mark.pinned("peer", answers=10)
def test_band_probabilities_against_monte_carlo():
    rng = np.random.default_rng(5)
    drawn = 30.0 * np.exp(0.97 * rng.standard_normal(200_000))
    for washed in ("yes", "no"):
        bands = scc.scc_band(scc.scc_hazard(drawn, 19.0, rain_washed=washed, **PLACE).harsh)
        counted = [(bands == b).mean() for b in BANDS]
        exact = scc.scc_band_probabilities(30.0, 19.0, 0.97, rain_washed=washed, **PLACE)
        assert exact == pytest.approx(counted, abs=0.005)


@pytest.mark.pinned("memory")
@pytest.mark.parametrize("slope", [0, 40, 90, 115])
@pytest.mark.parametrize("azimuth", [0, 75, 180, 300])
@pytest.mark.parametrize("lat", [-43, 0, 28, 60])
def test_sun_against_the_textbook_angle_of_incidence(slope, azimuth, lat):
    """Duffie and Beckman, Solar Engineering, equation (1.6.2), from memory: azimuth from south,
    west positive; beam of Meinel and Meinel (1976), 0.7 ** (mass ** 0.678), over that of one air
    mass. Solstices once, the days between and the equinox twice."""
    beta, gamma, phi = np.radians([slope, azimuth - 180.0, lat])
    omega = np.radians((np.arange(24) + 0.5 - 12) * 15)
    peaks = []
    for delta in np.radians([-23.45, -11.5, 0.0, 11.5, 23.45]):
        theta = (
            np.sin(delta) * np.sin(phi) * np.cos(beta)
            - np.sin(delta) * np.cos(phi) * np.sin(beta) * np.cos(gamma)
            + np.cos(delta) * np.cos(phi) * np.cos(beta) * np.cos(omega)
            + np.cos(delta) * np.sin(phi) * np.sin(beta) * np.cos(gamma) * np.cos(omega)
            + np.cos(delta) * np.sin(beta) * np.sin(gamma) * np.sin(omega)
        )
        zenith = np.cos(phi) * np.cos(delta) * np.cos(omega) + np.sin(phi) * np.sin(delta)
        mass = 1 / np.maximum(zenith, 0.02)
        beam = np.where(zenith > 0, np.maximum(theta, 0) * 0.7 ** (mass**0.678 - 1), 0)
        peaks.append(beam.max())
    expected = np.average(peaks, weights=[1, 2, 2, 2, 1])
    assert sun_exposure(azimuth, slope, lat) == pytest.approx(expected, abs=1e-12)
