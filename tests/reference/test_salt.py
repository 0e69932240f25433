"""Chloride deposition against the figures it was fitted on, and against figures it was not."""

from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from saltreach.science.air import atmosphere, calibration, salt
from saltreach.science.air.uncertainty import Exposure, spread_by_quadrature

DATA = Path(__file__).parents[2] / "data" / "calibration"
BINS = pd.read_csv(DATA / "chloride_bins.csv")
PROGRAMMES = pd.read_csv(DATA / "programme_power_laws.csv")
STATIONS = pd.read_csv(DATA / "validation_stations.csv")
STEEL = pd.read_csv(DATA / "steel_losses.csv")
SURF = STEEL[STEEL["setting"] == "surf beach"]


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
    assert np.sqrt(np.mean(fit.residual_ln**2)) == pytest.approx(0.108, abs=0.005)
    assert np.abs(fit.residual_ln).max() < 0.3


def test_constants_follow_the_power_law_fitted_to_the_same_stations():
    # 95 (d/100 m)^-0.55 within 20 km, residual factor 2.5 (same compilation). From 50 m on; the
    # two forms differ most at 2 km, where the bins lie below the power law.
    distance = np.geomspace(50, 20_000, 60)
    power_law = 95 * (distance / 100) ** -0.55
    error = np.log(calibration.candle_mg_m2_d(distance) / power_law)
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
        predicted = calibration.candle_mg_m2_d(distance, fitted.curve)
        error = np.log(predicted / curve)
        assert np.sqrt(np.mean(error**2)) < 0.5, name


def test_left_out_bins_are_covered(fit):
    # Near 80 % of a bin's stations lie in the 10 to 90 % band of a fit that has not seen the bin.
    # The medians left out come within 0.23 ln (rms); without the slow decrease of the floor it
    # was 0.40, by the bin beyond 100 km (0.86).
    sigma = calibration.median_sigma_ln(BINS["stations"], BINS["gsd"])
    covered, errors = [], []
    for i, row in BINS.iterrows():
        kept = BINS.index != i
        rest = BINS[kept]
        refit = calibration.fit_bins(
            rest["low_m"], rest["high_m"], rest["median_mg_m2_d"], sigma[kept]
        )
        predicted = calibration.bin_ln_median(refit.curve, row["low_m"], row["high_m"])
        errors.append(predicted[0] - np.log(row["median_mg_m2_d"]))
        covered.append(
            calibration.band_coverage(
                predicted, salt.SIGMA_LN, np.log(row["median_mg_m2_d"]), np.log(row["gsd"])
            )[0]
        )
    assert min(covered) > 0.65
    assert np.sqrt(np.mean(np.square(errors))) == pytest.approx(0.225, abs=0.01)
    assert np.average(covered, weights=BINS["stations"]) == pytest.approx(0.8, abs=0.05)


def test_extremes_on_norfolk_island_are_no_surprise():
    # Teixeira and others, Hydrological Processes, doi:10.1002/hyp.15052 (abstract): lowest and
    # highest of 15 sites, not used in the fit. The extreme of 15 draws stays inside the quantile
    # 0.95^(1/15) = 0.9966 in 95 of 100 cases. Collectors stood in the open, so they caught the
    # spray: the highest near the shore (1023) lies below the 90th percentile, where a curve without
    # spray had it at the 96th.
    sites = 15
    high = 0.95 ** (1 / sites)
    for _, row in STATIONS[STATIONS["place"].str.startswith("Norfolk")].iterrows():
        near, far = (salt.chloride(row[f"distance_{e}_m"]) for e in ("low", "high"))
        lowest = salt.lognormal_quantile(*far, 1 - high)
        highest = salt.lognormal_quantile(*near, high)
        assert lowest < row["chloride_low_mg_m2_d"] < row["chloride_high_mg_m2_d"] < highest
    assert salt.lognormal_quantile(*salt.chloride(50.0), 0.9) > 1022.7


def test_spray_by_hand():
    # 1000 exp(-d/30): 513.4 at 20 m, 188.9 at 50 m, 0.05 at 300 m (arithmetic on the module's own
    # judgement); times (o - 0.2)/0.3 and exp(-(h - 15)/30).
    for distance, spray in ((20.0, 513.417), (50.0, 188.876), (300.0, 0.0454)):
        assert salt.distance_curve(distance).spray == pytest.approx(spray, rel=1e-3)
    for openness, factor in ((0.0, 0.0), (0.2, 0.0), (0.35, 0.5), (0.8, 2.0)):
        assert salt.spray_openness_factor(openness) == pytest.approx(factor)
    with_spray, without = (
        salt.chloride(20.0, sea_openness=o, height_above_sea_m=45.0)[0] for o in (0.5, 0.2)
    )
    surf = 262.75 * (1 + np.hypot(20, 30) / 282.49) ** -2 * np.exp(-0.3)
    # f_o is 0.2 + 0.8 x 0.2 / 0.5 = 0.52 at 0.2 and 1 at 0.5.
    assert with_spray - without == pytest.approx(513.417 / np.e + 0.48 * surf, rel=0.005)


def loss_band(places: pd.DataFrame) -> np.ndarray:
    """10th, 50th and 90th percentile of first-year steel loss; distance known to 5 m, SO2 2."""
    d = np.sqrt(places["distance_low_m"] * places["distance_high_m"]).to_numpy()
    known = {n: places[n].to_numpy(float)[:, None] for n in ("sea_openness", "elevation_m")}
    air = Exposure(
        d, 5.0, places["temperature_c"], 1.0, places["relative_humidity_pct"], 5.0, 2.0, 0.7
    )

    def at(distance, rows):
        return salt.chloride(distance, **{n: v[rows] for n, v in known.items()})

    return spread_by_quadrature(air, at).steel_rate_um_y


def test_published_losses_on_surf_beaches_lie_high_in_the_band():
    # steel_losses.csv: 295 to 1070 um/y, mostly from memory. The known extremes among shores
    # that openness cannot tell apart: between the 80th and the 99th percentile each. Without
    # spray all lay above the 97th.
    p10, p50, p90 = loss_band(SURF).T
    z = np.log(SURF["steel_low_um_y"] / p50) / (np.log(p90 / p50) / 1.2816)
    assert len(z) == 5
    assert z.min() > 0.84  # 80th percentile of a normal
    assert z.max() < 2.33  # 99th
    assert (p10 > 25).all()  # a straight shore need not have surf: the band reaches down to C3


def test_only_open_shores_get_the_spray():
    # Open warm and cool shores, 27 and 15 degC at 80 %: p90 of several hundred um at 20 and 50 m.
    # A bay (0.1) stays below 180 um, as it was without spray.
    open_, bay = (
        loss_band(
            pd.DataFrame(
                [
                    {"distance_low_m": d, "distance_high_m": d, "sea_openness": o,
                     "elevation_m": np.nan, "temperature_c": t, "relative_humidity_pct": 80.0}
                    for t in (27.0, 15.0) for d in (20.0, 50.0)
                ]
            )
        )[:, 2]
        for o in (0.5, 0.1)
    )  # fmt: skip
    assert open_ == pytest.approx([1006, 523, 630, 332], rel=0.02)
    assert (bay < 180).all()


def test_inland_spain_and_inner_australia():
    # Alcalá and Custodio 2008 (abstract): 0.2 to 0.5 g/(m2 y) in the centre of the Peninsula, 0.55
    # to 1.37 mg/(m2 d). Keywood and others 1997 (abstract): below 1 kg/(ha y), 0.274 mg/(m2 d), in
    # the interior. Bulk collectors, not candles (which catch more: 2.4 times a dry plate, ISO 9225,
    # from memory), so a median above them is no fault; a factor of 2.5 over their middle is.
    spain = STATIONS[STATIONS["place"].str.startswith("Centre of the Iberian")].iloc[0]
    middle = np.sqrt(spain["distance_low_m"] * spain["distance_high_m"])
    median, sigma_ln = salt.chloride(middle, elevation_m=spain["elevation_m"])
    given = np.sqrt(spain["chloride_low_mg_m2_d"] * spain["chloride_high_mg_m2_d"])
    assert given == pytest.approx(0.868, abs=0.001)
    assert 1 < median / given < 2.5
    assert salt.lognormal_quantile(median, sigma_ln, 0.1) < spain["chloride_low_mg_m2_d"]
    assert salt.lognormal_quantile(median, sigma_ln, 0.9) > spain["chloride_high_mg_m2_d"]
    inner = STATIONS[STATIONS["place"].str.startswith("Interior of")].iloc[0]
    middle = np.sqrt(inner["distance_low_m"] * inner["distance_high_m"])
    median, sigma_ln = salt.chloride(middle, elevation_m=inner["elevation_m"])
    assert median < 2.87  # the floor it had
    assert salt.lognormal_quantile(median, sigma_ln, 0.1) < inner["chloride_high_mg_m2_d"]


def test_dry_and_cold_inland_steel():
    # steel_losses.csv (from memory and one abstract): 0.8 to 4.6 um/y. With 2 ug/m3 of SO2 the
    # model says 2.7 to 4.3 there: still high where the air is clean.
    inland = STEEL[STEEL["setting"].str.endswith("inland")]
    p10, p50, _ = loss_band(inland).T
    assert p50 == pytest.approx([4.3, 2.7, 4.0], rel=0.02)
    assert (p10 < 2.3).all()


def test_a_candle_near_the_antarctic_shore():
    # Rivero and others 2007 (abstract): 125 to 225 mg/(m2 d) at Artigas; a candle, so no spray.
    row = STATIONS[STATIONS["place"].str.startswith("Artigas")].iloc[0]
    middle = np.sqrt(row["distance_low_m"] * row["distance_high_m"])
    candle = calibration.candle_mg_m2_d(middle)
    assert row["chloride_low_mg_m2_d"] < candle < row["chloride_high_mg_m2_d"]


def test_error_of_the_function_beyond_its_range_by_hand():
    # Steel, Annex A: ln 1.5 = 0.4055 inside. Chloride of e x 760.5 with all the rate from salt:
    # sqrt(0.4055^2 + 0.4^2) = 0.5696; half the rate: sqrt(0.4055^2 + 0.2^2) = 0.4521; 38.7 degC:
    # 0.5696; all the rate from SO2: nothing changes. All arithmetic on the module's own judgement.
    def own(temperature_c, chloride, so2_share, so2=2.0):
        return atmosphere.error_sigma_ln("steel", temperature_c, 80.0, so2, chloride, so2_share)

    assert own(20.0, 300.0, 0.0) == pytest.approx(0.4055, abs=1e-4)
    assert own(20.0, 760.5 * np.e, 0.0) == pytest.approx(0.5696, abs=1e-4)
    assert own(20.0, 760.5 * np.e, 0.5) == pytest.approx(0.4521, abs=1e-4)
    assert own(38.7, 300.0, 0.0) == pytest.approx(0.5696, abs=1e-4)
    assert own(20.0, 0.4 / np.e, 1.0) == pytest.approx(0.4055, abs=1e-4)
    assert own(20.0, 0.4 / np.e, 0.0) == pytest.approx(0.5696, abs=1e-4)
    assert np.isfinite(own(20.0, 300.0, 0.1, so2=0.0))


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
        ours = calibration.candle_mg_m2_d(distance) / calibration.candle_mg_m2_d(1000)
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
    drawn = salt.lognormal_draws(calibration.candle_mg_m2_d(distance, truth), 0.9, rng, 1)[0]
    medians = np.exp(np.log(drawn).reshape(7, 400).mean(axis=1))
    fitted = calibration.fit_bins(
        BINS["low_m"], BINS["high_m"], medians, np.full(7, 0.9 / np.sqrt(400))
    )
    for d in (30.0, 300.0, 3000.0, 30e3):
        ratio = calibration.candle_mg_m2_d(d, fitted.curve) / calibration.candle_mg_m2_d(d, truth)
        assert ratio == pytest.approx(1, abs=0.2)
