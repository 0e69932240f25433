"""The fit of the salt curve against statsmodels' weighted least squares.

At the best fit one more step of Gauss and Newton goes nowhere: the residuals of the bins, regressed
on the slopes of the curve, give no coefficient. The same regression gives the errors.
"""

from pathlib import Path

import numpy as np
import pandas as pd
import pytest
import statsmodels.api as sm

from saltreach.science.air import salt

BINS = pd.read_csv(Path(__file__).parents[2] / "data" / "calibration" / "chloride_bins.csv")
FITTED, POINTS, STEP = 4, 64, 1e-4


@pytest.fixture(scope="module")
def step():
    low, high = (BINS[name].to_numpy(float)[:, None] for name in ("low_m", "high_m"))
    distance_m = low * (high / low) ** ((np.arange(POINTS) + 0.5) / POINTS)

    def ln_median(ln_parameters):
        curve = salt.Curve(*np.exp(ln_parameters))
        on_a_candle = sum(salt.distance_curve(distance_m, curve)[1:])  # its roof keeps spray off
        return np.log(on_a_candle).mean(axis=1)

    at = np.log(salt.CURVE[:FITTED])
    slopes = [
        (ln_median(at + STEP * one) - ln_median(at - STEP * one)) / (2 * STEP)
        for one in np.eye(FITTED)
    ]
    # Standard error of a sample median: sqrt(pi / 2) sigma / sqrt(n) (Kendall and Stuart, memory).
    sigma = np.sqrt(np.pi / 2) * np.log(BINS["gsd"]) / np.sqrt(BINS["stations"])
    left = np.log(BINS["median_mg_m2_d"]) - ln_median(at)
    slopes = np.column_stack(slopes)
    return sm.WLS(left, slopes, weights=sigma**-2).fit(cov_type="fixed scale"), slopes


@pytest.mark.pinned("peer", answers=FITTED)
def test_constants_are_the_best_fit(step):
    """To the three digits that the module gives."""
    assert step[0].params.to_numpy() == pytest.approx(np.zeros(FITTED), abs=0.005)


@pytest.mark.pinned("peer", answers=2)
def test_error_of_the_curve_and_spread_of_the_stations(step):
    found, slopes = step
    error = found.get_prediction(slopes).se_mean
    assert np.sqrt(np.mean(error**2)) == pytest.approx(salt.CURVE_SIGMA_LN, abs=0.005)
    pooled = sm.stats.DescrStatsW(np.log(BINS["gsd"]) ** 2, weights=BINS["stations"]).mean
    assert np.sqrt(pooled) == pytest.approx(salt.SPREAD_SIGMA_LN, abs=0.005)
