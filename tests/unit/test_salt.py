"""Chloride deposition at its limits, and its random draws."""

import numpy as np
import pytest

from saltreach.science.air import salt


def test_curve_is_flat_at_the_shore():
    at_shore = salt.chloride(0.0)[0]
    assert salt.chloride(1.0)[0] == pytest.approx(at_shore, rel=0.03)
    assert salt.chloride(-10.0)[0] == at_shore
    assert salt.distance_curve(1.0).surf == pytest.approx(salt.distance_curve(0.0).surf, rel=1e-3)


@pytest.mark.pinned("judgement", answers=2)
def test_far_inland_only_the_residue_remains():
    assert salt.chloride(6e6)[0] == pytest.approx(0.2, rel=0.02)
    # Surroundings act on what the sea sends, not on the residue.
    median, _ = salt.chloride(6e6, sea_openness=1.0, wind_speed_m_s=12.0, elevation_m=2000.0)
    assert median == pytest.approx(0.2, rel=0.02)


@pytest.mark.pinned("judgement")
def test_elevation_acts_inland_above_200_m_and_not_at_the_coast():
    low, at_200, high = (salt.chloride(300e3, elevation_m=z) for z in (0.0, 200.0, 900.0))
    assert low == at_200 == salt.chloride(300e3)
    # exp(-(900 - 200) / 500 x (1 - exp(-300 / 50)))
    assert salt.elevation_factor(900.0, 300e3) == pytest.approx(0.2475, abs=1e-4)
    assert high[0] < at_200[0]
    assert high[1] > at_200[1]
    assert salt.chloride(0.0, elevation_m=900.0)[0] == salt.chloride(0.0)[0]


@pytest.mark.pinned("published")
def test_unknown_surroundings_change_nothing_but_the_spread():
    median, sigma_ln = salt.chloride(200.0)
    known = salt.chloride(
        200.0, sea_openness=0.5, wind_speed_m_s=6.6, height_above_sea_m=10.0, shielding=0.0
    )
    assert known[0] == pytest.approx(median)
    assert known[1] < sigma_ln == pytest.approx(np.hypot(0.93, 0.27), rel=1e-3)


@pytest.mark.pinned("worked")
def test_unknown_openness_keeps_the_calibrated_spread_over_a_mix_of_sites():
    # Law of total variance: known openness over a mix of sites adds up to unknown openness.
    openness = np.random.default_rng(7).uniform(0.1, 0.9, 200_000)
    between = np.log(salt.openness_factor(openness)).var()
    sigma = [salt.chloride(9e3, sea_openness=o).sigma_ln for o in (np.nan, 0.5)]
    share = salt.distance_curve(9e3).surf / salt.chloride(9e3).median
    assert np.sqrt(sigma[0] ** 2 - sigma[1] ** 2) / share == pytest.approx(
        np.sqrt(between), abs=0.01
    )


@pytest.mark.pinned("judgement")
def test_height_changes_nothing_up_to_15_m_and_doubts_above():
    at_5, at_15, at_60 = (salt.chloride(150.0, height_above_sea_m=h) for h in (5, 15, 60))
    assert at_5 == at_15
    assert at_60[0] < at_15[0]
    assert at_60[1] > at_15[1]
    assert salt.height_factor(60.0) == pytest.approx(0.6376, abs=1e-4)  # exp(-45 / 100)


@pytest.mark.pinned("judgement")
def test_spray_makes_less_sure_only_where_it_reaches():
    sigma = [salt.chloride(d, sea_openness=0.5)[1] for d in (10.0, 50.0, 100.0)]
    assert sigma[0] > sigma[1] > sigma[2]
    bay = [salt.chloride(d, sea_openness=0.1)[1] for d in (10.0, 50.0, 100.0)]
    assert max(bay) < 0.968
    # Spray falls off faster with height than the rest of the surf: exp(-45 / 30).
    assert salt.spray_height_factor(60.0) == pytest.approx(0.2231, abs=1e-4)


@pytest.mark.pinned("published", answers=4)
def test_wind_is_held_between_onset_and_limit():
    """exp(0.16 (3 - 6.6)) and exp(0.16 (15 - 6.6))."""
    found = salt.wind_factor(np.array([0.0, 3.0, 15.0, 40.0]))
    assert found == pytest.approx([0.5621, 0.5621, 3.834, 3.834], rel=1e-3)
    assert salt.wind_factor(14.9) < found[2]


@pytest.mark.pinned("judgement")
@pytest.mark.parametrize("distance_m", [5.0, 100.0, 2_000.0, 50_000.0])
@pytest.mark.parametrize("share", [0.2, 0.5])
def test_what_comes_from_the_water_scales_with_its_salt_and_what_the_land_has_does_not(
    distance_m, share
):
    """Linear in the salinity (assumption): the brackish sea lies between none and the ocean."""
    none, brackish, ocean = (
        salt.chloride(distance_m, sea_openness=0.5, salt_share=s)[0] for s in (0.0, share, 1.0)
    )
    assert none < brackish < ocean
    assert brackish == pytest.approx(none + share * (ocean - none))
