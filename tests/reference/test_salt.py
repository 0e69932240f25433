"""Chloride deposition against figures it was not fitted on.

notebooks/salt_calibration.ipynb fits it, and asserts that the constants are the fit.
"""

from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from saltreach.science.air import atmosphere, salt
from saltreach.science.air.uncertainty import Exposure, spread_by_quadrature
from saltreach.science.distributions import lognormal_quantile

DATA = Path(__file__).parents[2] / "data" / "calibration"
STATIONS = pd.read_csv(DATA / "validation_stations.csv")
STEEL = pd.read_csv(DATA / "steel_losses.csv")
SURF = STEEL[STEEL["setting"] == "surf beach"]


def candle_mg_m2_d(distance_m):
    """What a wet candle catches: it stands under a roof and misses the spray."""
    return sum(salt.distance_curve(distance_m)[1:])


def test_constants_follow_the_power_law_fitted_to_the_same_stations():
    # 95 (d/100 m)^-0.55 within 20 km, residual factor 2.5 (same compilation). From 50 m on; the
    # two forms differ most at 2 km, where the bins lie below the power law.
    distance = np.geomspace(50, 20_000, 60)
    power_law = 95 * (distance / 100) ** -0.55
    error = np.log(candle_mg_m2_d(distance) / power_law)
    assert np.sqrt(np.mean(error**2)) < 0.4
    assert np.abs(error).max() < np.log(2.5)


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
        lowest = lognormal_quantile(*far, 1 - high)
        highest = lognormal_quantile(*near, high)
        assert lowest < row["chloride_low_mg_m2_d"] < row["chloride_high_mg_m2_d"] < highest
    assert lognormal_quantile(*salt.chloride(50.0), 0.9) > 1022.7


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
    assert lognormal_quantile(median, sigma_ln, 0.1) < spain["chloride_low_mg_m2_d"]
    assert lognormal_quantile(median, sigma_ln, 0.9) > spain["chloride_high_mg_m2_d"]
    inner = STATIONS[STATIONS["place"].str.startswith("Interior of")].iloc[0]
    middle = np.sqrt(inner["distance_low_m"] * inner["distance_high_m"])
    median, sigma_ln = salt.chloride(middle, elevation_m=inner["elevation_m"])
    assert median < 2.87  # the floor it had
    assert lognormal_quantile(median, sigma_ln, 0.1) < inner["chloride_high_mg_m2_d"]


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
    candle = candle_mg_m2_d(middle)
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
    ratio = salt.chloride(300.0)[0] / salt.chloride(90.0)[0]
    assert ratio == pytest.approx(1 / 3, rel=0.5)


def test_decrease_beside_the_japanese_rule():
    # C = C1 d^-0.6, d in km (JIS/PWRI, from memory): 6.034 at 50 m, 3.981 at 100 m, 0.660 at 2 km
    # relative to 1 km (arithmetic). Same side and within a factor of 2.5, no more is claimed.
    rule = {50: 6.034, 100: 3.981, 250: 2.297, 500: 1.516, 2000: 0.660}
    for distance, factor in rule.items():
        assert factor == pytest.approx((distance / 1000) ** -0.6, abs=6e-4)
        ours = candle_mg_m2_d(distance) / candle_mg_m2_d(1000)
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
    station = median * np.exp(sigma_ln * rng.standard_normal(median.shape))
    low, high = (lognormal_quantile(median, sigma_ln, p) for p in (0.1, 0.9))
    assert np.mean((low < station) & (station < high)) == pytest.approx(0.8, abs=0.01)
