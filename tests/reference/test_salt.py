"""Chloride deposition against the figures it was fitted on, and against figures it was not."""

from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from saltreach.science import calibration, salt

DATA = Path(__file__).parents[2] / "data" / "calibration"
BINS = pd.read_csv(DATA / "chloride_bins.csv")
PROGRAMMES = pd.read_csv(DATA / "programme_power_laws.csv")
STATIONS = pd.read_csv(DATA / "validation_stations.csv")


@pytest.fixture(scope="module")
def fit():
    sigma = calibration.median_sigma_ln(BINS["stations"], BINS["gsd"])
    return calibration.fit_bins(BINS["low_m"], BINS["high_m"], BINS["median_mg_m2_d"], sigma)


def test_constants_are_the_fit_to_the_bins(fit):
    # Arithmetic only: the constants in the module are what the stated fit gives.
    np.testing.assert_allclose(salt.CURVE, fit.curve, rtol=0.005)
    error = calibration.curve_sigma_ln(fit, BINS["low_m"], BINS["high_m"])
    assert np.sqrt(np.mean(error**2)) == pytest.approx(salt.CURVE_SIGMA_LN, abs=0.01)
    pooled = calibration.pooled_sigma_ln(BINS["stations"], BINS["gsd"])
    assert pooled == pytest.approx(salt.SPREAD_SIGMA_LN, abs=0.005)


def test_fit_agrees_with_the_bins_within_their_errors(fit):
    # ISOCORRAG, MICAT and Cole, 86 stations in seven bins. Chi-square with 7 - 4 = 3 degrees of
    # freedom stays below 7.8 in 95 of 100 cases if the form is right.
    assert fit.chi2 < 7.8
    assert np.abs(fit.residual_ln).max() < 0.3


def test_constants_follow_the_power_law_fitted_to_the_same_stations():
    # 95 (d/100 m)^-0.55 within 20 km, residual factor 2.5 (same compilation). From 50 m on; the
    # two forms differ most at 2 km, where the bins lie below the power law.
    distance = np.geomspace(50, 20_000, 60)
    power_law = 95 * (distance / 100) ** -0.55
    error = np.log(salt.chloride_mg_m2_d(distance) / power_law)
    assert np.sqrt(np.mean(error**2)) < 0.4
    assert np.abs(error).max() < np.log(2.5)


def test_left_out_programmes_are_predicted():
    # Each curve from the two other programmes; 30 m to 100 km.
    distance = np.geomspace(30, 100e3, 40)
    law = {
        p.programme: p.at_100_m_mg_m2_d * (distance / 100) ** p.power
        for p in PROGRAMMES.itertuples()
    }
    for name, curve in law.items():
        others = np.concatenate([v for k, v in law.items() if k != name])
        points = np.tile(distance, len(law) - 1)
        fitted = calibration.fit_bins(points, points, others, np.full(points.size, 0.2))
        predicted = sum(salt.distance_curve(distance, fitted.curve))
        error = np.log(predicted / curve)
        assert np.sqrt(np.mean(error**2)) < 0.5, name


def test_left_out_bins_are_covered(fit):
    # Near 80 % of a bin's stations lie in the 10 to 90 % band of a fit that has not seen the bin.
    # Beyond 100 km the fit extrapolates, so that bin is asked for less.
    sigma = calibration.median_sigma_ln(BINS["stations"], BINS["gsd"])
    covered = []
    for i, row in BINS.iterrows():
        kept = BINS.index != i
        rest = BINS[kept]
        refit = calibration.fit_bins(
            rest["low_m"], rest["high_m"], rest["median_mg_m2_d"], sigma[kept]
        )
        predicted = calibration.bin_ln_median(refit.curve, row["low_m"], row["high_m"])
        covered.append(
            calibration.band_coverage(
                predicted, salt.SIGMA_LN, np.log(row["median_mg_m2_d"]), np.log(row["gsd"])
            )[0]
        )
    assert min(covered) > 0.55
    assert np.average(covered, weights=BINS["stations"]) == pytest.approx(0.8, abs=0.05)


def test_extremes_on_norfolk_island_are_no_surprise():
    # Teixeira and others, Hydrological Processes, doi:10.1002/hyp.15052 (abstract): lowest and
    # highest of 15 sites, not used in the fit. The extreme of 15 draws stays inside the quantile
    # 0.95^(1/15) = 0.9966 in 95 of 100 cases. The highest near the shore (1023) is above the 90th
    # percentile; the notebook says so.
    sites = 15
    high = 0.95 ** (1 / sites)
    for _, row in STATIONS[STATIONS["place"].str.startswith("Norfolk")].iterrows():
        near, far = (salt.chloride_mg_m2_d(row[f"distance_{e}_m"]) for e in ("low", "high"))
        lowest = salt.lognormal_quantile(far, salt.SIGMA_LN, 1 - high)
        highest = salt.lognormal_quantile(near, salt.SIGMA_LN, high)
        assert lowest < row["chloride_low_mg_m2_d"] < row["chloride_high_mg_m2_d"] < highest


def test_decrease_on_one_hainan_shore():
    # Equipment Environmental Engineering 2023, no. 2 (abstract): deposition at 300 m is about a
    # third of that at 90 m. Not used in the fit; within a factor of 1.5.
    ratio = salt.chloride_mg_m2_d(300.0) / salt.chloride_mg_m2_d(90.0)
    assert ratio == pytest.approx(1 / 3, rel=0.5)


def test_decrease_beside_the_japanese_rule():
    # C = C1 d^-0.6, d in km (JIS/PWRI, from memory): 6.034 at 50 m, 3.981 at 100 m, 0.660 at 2 km
    # relative to 1 km (arithmetic). Same side and within a factor of 2.5, no more is claimed.
    rule = {50: 6.034, 100: 3.981, 250: 2.297, 500: 1.516, 2000: 0.660}
    for distance, factor in rule.items():
        assert factor == pytest.approx((distance / 1000) ** -0.6, abs=6e-4)
        ours = salt.chloride_mg_m2_d(distance) / salt.chloride_mg_m2_d(1000)
        assert abs(np.log(ours / factor)) < np.log(2.5)


def test_wind_law():
    # ln(conc, ug/m3) = 0.16 u + 1.45 (N Atlantic ships 1974/75, Tellus 1978); 9.49, 21.1 and 47.0
    # at 5, 10 and 15 m/s (arithmetic), doubling per 4.33 m/s.
    concentration = {5: 9.49, 10: 21.1, 15: 47.0}
    at_5 = salt.wind_factor(5.0)
    for speed, ug_m3 in concentration.items():
        assert salt.wind_factor(float(speed)) / at_5 == pytest.approx(ug_m3 / 9.49, rel=2e-3)
    assert salt.wind_factor(10.0) / salt.wind_factor(10.0 - 4.33) == pytest.approx(2, rel=2e-3)


def test_band_holds_80_pct_of_synthetic_stations():
    # Synthetic: stations drawn from the model itself. Shows the percentiles are what they say,
    # says nothing about the real world.
    rng = np.random.default_rng(2026)
    distance = 10 ** rng.uniform(1, 5.5, 20_000)
    openness = np.where(rng.random(20_000) < 0.5, np.nan, rng.uniform(0, 1, 20_000))
    median, sigma_ln = salt.chloride(distance, sea_openness=openness)
    station = salt.lognormal_draws(median, sigma_ln, rng, 1)[0]
    low, high = (salt.lognormal_quantile(median, sigma_ln, p) for p in (0.1, 0.9))
    assert np.mean((low < station) & (station < high)) == pytest.approx(0.8, abs=0.01)


def test_fit_recovers_a_known_curve_from_synthetic_stations():
    truth = salt.Curve(500.0, 150.0, 8.0, 2.0)
    rng = np.random.default_rng(5)
    low, high = (np.repeat(BINS[c].to_numpy(float), 400) for c in ("low_m", "high_m"))
    distance = low * (high / low) ** rng.random(low.size)
    drawn = salt.lognormal_draws(sum(salt.distance_curve(distance, truth)), 0.9, rng, 1)[0]
    medians = np.exp(np.log(drawn).reshape(7, 400).mean(axis=1))
    fitted = calibration.fit_bins(
        BINS["low_m"], BINS["high_m"], medians, np.full(7, 0.9 / np.sqrt(400))
    )
    for d in (30.0, 300.0, 3000.0, 30e3):
        ratio = sum(salt.distance_curve(d, fitted.curve)) / sum(salt.distance_curve(d, truth))
        assert ratio == pytest.approx(1, abs=0.2)
