"""Chloride deposition against figures it was not fitted on.

notebooks/salt_calibration.ipynb fits it, and asserts that the constants are the fit.
"""

from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from scipy import stats

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
    assert abs(error.mean()) < 0.1
    assert np.sqrt(np.mean(error**2)) < 0.35
    assert np.abs(error).max() < 0.5


# What the model says over what was measured, both in the middle (geometric): rows that fail.
# README, "What it does not promise", states both; bulk collectors catch less than a candle (ISO
# 9225, from memory: a dry plate 2.4 times less), and the candles of the fit hold the model up.
TOO_HIGH_INLAND = {
    "Centre of the Iberian Peninsula": 1.858 / 0.868,
    "Interior of Western Australia": 0.963 / 0.117,
}
WITHIN = np.sqrt(3)
"""Either way: so a model that is off by a factor of three fails, wherever it started from."""


@pytest.mark.parametrize("row", STATIONS.to_dict("records"), ids=lambda r: r["place"])
def test_every_published_range_not_used_in_the_fit(row):
    """`validation_stations.csv`: abstracts, each with its address. The median is the mean of ln S
    over the row's range of distance, as in the fit. Open collectors catch the spray."""
    distance = np.geomspace(row["distance_low_m"], row["distance_high_m"], 101)
    median = salt.chloride(distance, elevation_m=row["elevation_m"]).median
    caught = candle_mg_m2_d(distance) if row["method"] == "wet candle" else median
    given = np.sqrt(row["chloride_low_mg_m2_d"] * row["chloride_high_mg_m2_d"])
    ratio = np.exp(np.log(caught).mean()) / given
    failing = TOO_HIGH_INLAND.get(row["place"])
    if failing is None:
        assert 1 / WITHIN < ratio < WITHIN
    else:
        assert ratio == pytest.approx(failing, rel=0.01)
        assert ratio > WITHIN


def test_the_band_holds_most_published_extremes():
    """Of 14 ends two lie above the 90th and one below the 10th percentile of the middle of its row:
    the sites of Norfolk Island and of coastal Spain are extremes of many, inner Australia's is the
    failure above. Wider or narrower bands hold more or fewer."""
    middle_m = np.sqrt(STATIONS["distance_low_m"] * STATIONS["distance_high_m"]).to_numpy()
    found = salt.chloride(middle_m, elevation_m=STATIONS["elevation_m"].to_numpy())
    share = [
        stats.norm.cdf(np.log(STATIONS[f"chloride_{end}_mg_m2_d"] / found.median) / found.sigma_ln)
        for end in ("low", "high")
    ]
    assert (np.greater(share, 0.9).sum(), np.less(share, 0.1).sum()) == (2, 1)


def test_the_highest_of_norfolk_island_is_no_surprise():
    """Teixeira and others, doi:10.1002/hyp.15052 (abstract): 1023 near the shore, in the open. It
    lay at the 96th percentile of a curve without spray."""
    median, sigma_ln = salt.chloride(50.0)
    assert stats.norm.cdf(np.log(1022.7 / median) / sigma_ln) == pytest.approx(0.79, abs=0.02)


@pytest.mark.pinned("judgement", answers=8)
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


@pytest.mark.pinned("peer", answers=4)
@pytest.mark.parametrize("openness", [0.5, 0.1])
def test_only_open_shores_get_the_spray(openness):
    """90th percentile of steel's loss at 20 and 50 m, 27 and 15 degC, 80 %, against plain draws of
    the chloride and of ISO 9223's equation 1 (written here, from memory). An open shore reaches
    several hundred um/y, a bay stays below 180, as it was without spray. In the spray, where
    ln(chloride) spreads by 1.3 and more, the nodes lie up to 7 % above the draws."""
    warm, far = (v.ravel() for v in np.meshgrid([27.0, 15.0], [20.0, 50.0], indexing="ij"))
    rows = pd.DataFrame({"distance_low_m": far, "distance_high_m": far, "sea_openness": openness,
                         "elevation_m": np.nan, "temperature_c": warm,
                         "relative_humidity_pct": 80.0})  # fmt: skip
    z = np.random.default_rng(3).standard_normal((6, 200_000))
    drawn = []
    for t, d in zip(warm, far, strict=True):
        median, sigma_ln = salt.chloride(np.maximum(d + 5 * z[0], 0), sea_openness=openness)
        cl, so2 = median * np.exp(sigma_ln * z[1]), 1.6 * np.exp(0.7 * z[2])
        t, h = t + z[3], np.minimum(80 + 5 * z[4], 100)
        f_st = np.where(t <= 10, 0.150, -0.054) * (t - 10)
        by_so2 = 1.77 * so2**0.52 * np.exp(0.020 * h + f_st)
        rate = by_so2 + 0.102 * cl**0.62 * np.exp(0.033 * h + 0.040 * t)
        own = atmosphere.error_sigma_ln("steel", t, h, so2, cl, by_so2 / rate)
        drawn.append(np.quantile(rate * np.exp(own * z[5]), 0.9))
    found = loss_band(rows)[:, 2]
    assert found == pytest.approx(drawn, rel=0.07 if openness == 0.5 else 0.02)
    assert (found > 300).all() if openness == 0.5 else (found < 180).all()


@pytest.mark.pinned("memory", answers=3)
def test_dry_and_cold_inland_steel():
    """`steel_losses.csv` (from memory and one abstract): 4.6, 0.8 and 1 to 2 um/y; the model is
    high at the last two, where the air is clean. By hand, equation 1 of ISO 9223 (from memory) at
    the median inputs, SO2 1.6 mg/(m2 d): 2.22 + 1.87, 1.01 + 1.57, 2.49 + 1.27; the median of the
    spread lies a few per cent above, since a sum of lognormals is skew."""
    inland = STEEL[STEEL["setting"].str.endswith("inland")]
    p10, p50, _ = loss_band(inland).T
    assert p50 == pytest.approx(1.05 * np.array([4.10, 2.58, 3.76]), rel=0.03)
    assert p50 / [4.6, 0.8, np.sqrt(2)] == pytest.approx([0.93, 3.4, 2.8], rel=0.05)
    assert (p10 < 2.3).all()


@pytest.mark.pinned("judgement", answers=6)
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


@pytest.mark.pinned("published")
def test_decrease_on_one_hainan_shore():
    """Equipment Environmental Engineering 2023, no. 2 (abstract): deposition at 300 m is about a
    third of that at 90 m. Not used in the fit."""
    ratio = salt.chloride(300.0).median / salt.chloride(90.0).median
    assert ratio == pytest.approx(1 / 3, rel=0.1)


def test_decrease_beside_the_japanese_rule():
    """C = C1 d^-0.6, d in km (JIS/PWRI, from memory): 6.034 at 50 m, 3.981 at 100 m, 0.660 at 2 km
    relative to 1 km (arithmetic). Within a factor of 1.8, no more is claimed: ours falls faster
    from the shore to a kilometre."""
    rule = {50: 6.034, 100: 3.981, 250: 2.297, 500: 1.516, 2000: 0.660}
    ours = candle_mg_m2_d(np.array(list(rule), float)) / candle_mg_m2_d(1000.0)
    assert np.abs(np.log(ours / list(rule.values()))).max() < np.log(1.8)


@pytest.mark.pinned("published", answers=3)
def test_wind_law():
    """ln(conc, ug/m3) = 0.16 u + 1.45 (N Atlantic ships 1974/75, Tellus 1978); 9.49, 21.1 and 47.0
    at 5, 10 and 15 m/s (arithmetic), doubling per 4.33 m/s."""
    at_5, at_10, at_15 = (salt.wind_factor(u) for u in (5.0, 10.0, 15.0))
    assert at_10 / at_5 == pytest.approx(21.1 / 9.49, rel=2e-3)
    assert at_15 / at_5 == pytest.approx(47.0 / 9.49, rel=2e-3)
    assert salt.wind_factor(10.0) / salt.wind_factor(10.0 - 4.33) == pytest.approx(2, rel=2e-3)


@pytest.mark.pinned("peer", answers=3)
def test_quantiles_of_a_lognormal_are_scipys():
    for p in (0.05, 0.5, 0.9):
        expected = stats.lognorm(0.97, scale=80.0).ppf(p)
        assert lognormal_quantile(80.0, 0.97, p) == pytest.approx(expected)
