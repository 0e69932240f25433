"""Spread and variances where they have a closed form, and the second order by differences.

Without SO2 the loss of ISO 9223 is a product of powers, so ln(loss) is normal and its variance a
sum: coefficients from memory of equation 1, ln 1.5 from Annex A.
"""

import numpy as np
import pytest
from hand_air import FITTED, _outside, loss

from saltreach.science.air import uncertainty
from saltreach.science.air.uncertainty import Exposure, input_variances, spread_by_quadrature

OWN = 0.164402  # ln(1.5) squared


def exposure(**known):
    """500 m from the sea, 18 degC, 70 %, no SO2, all known exactly but for what is given."""
    return Exposure(**(dict(zip(Exposure._fields, (500.0, 0, 18.0, 0, 70.0, 0, 0, 0), strict=False))
                       | known))  # fmt: skip


def salt_of(median, sigma_ln):
    return lambda distance_m, rows: (median + 0 * distance_m, sigma_ln)


DOUBTS = [
    ({"temperature_sd_c": 2.0}, 1e-9, {"temperature": 0.0064}),  # (0.040 x 2)^2
    ({"temperature_sd_c": 2.0}, 0.5, {"temperature": 0.0064, "chloride": 0.0961}),  # (0.62 x 0.5)^2
    ({"relative_humidity_sd_pct": 5.0}, 0.8, {"relative_humidity": 0.027225, "chloride": 0.246016}),
    ({}, 0.2, {"chloride": 0.015376}),
]  # (0.033 x 5)^2


@pytest.mark.pinned("memory", answers=9)
@pytest.mark.parametrize(("known", "sigma_ln", "expected"), DOUBTS)
def test_without_so2_the_loss_is_lognormal(known, sigma_ln, expected):
    air, salt = exposure(**known), salt_of(60.0, sigma_ln)
    found = input_variances("steel", air, salt)
    whole = dict.fromkeys(found, 0.0) | {"function": OWN} | expected
    for name, value in whole.items():
        assert found[name] == pytest.approx([value], rel=2e-3, abs=1e-9), name
    # 0.102 x 60^0.62 e^(0.033 x 70 + 0.040 x 18) = 26.7280
    sd = np.sqrt(sum(whole.values()))
    expected = 26.7280 * np.exp(sd * np.array([-1.281552, 0, 1.281552]))
    rates = spread_by_quadrature(air, salt).steel_rate_um_y[0]
    assert rates == pytest.approx(expected, rel=4e-3)
    salts = spread_by_quadrature(air, salt).chloride_mg_m2_d[0]
    assert salts == pytest.approx(60 * np.exp(sigma_ln * np.array([-1.281552, 0, 1.281552])))


@pytest.mark.pinned("memory", answers=8)
def test_with_hardly_any_salt_so2_is_all():
    """ln(loss) = 0.52 ln P + 0.020 H + 0.150 (T - 10) below 10 degC: (0.52 x 0.7)^2 = 0.132496,
    (0.020 x 4)^2, (0.150 x 1.5)^2; 1.77 x 4^0.52 e^(1.4 - 0.9) = 6.00056."""
    air = exposure(so2_ug_m3=5.0, so2_sigma_ln=0.7, relative_humidity_sd_pct=4.0,
                   temperature_c=4.0, temperature_sd_c=1.5)  # fmt: skip
    found = input_variances("steel", air, salt_of(1e-12, 1e-9))
    expected = {"so2": 0.132496, "relative_humidity": 0.0064, "temperature": 0.050625}
    for name, value in (dict.fromkeys(found, 0.0) | {"function": OWN} | expected).items():
        assert found[name] == pytest.approx([value], rel=2e-3, abs=1e-6), name
    rates = spread_by_quadrature(air, salt_of(1e-12, 1e-9)).steel_rate_um_y[0]
    sd = np.sqrt(OWN + sum(expected.values()))
    expected = 6.00056 * np.exp(sd * np.array([-1.281552, 0, 1.281552]))
    assert rates == pytest.approx(expected, rel=4e-3)


@pytest.mark.pinned("judgement", answers=3)
def test_variance_of_the_place_and_of_a_function_beyond_its_range():
    """ln(salt) falls by 1 each 1000 m: (0.62 x 0.5)^2. At 48.7 degC the function's own variance is
    ln(1.5)^2 + 0.4^2 x 2^2."""
    found = input_variances(
        "steel",
        exposure(coast_distance_m=5000.0, coast_distance_sd_m=500.0, temperature_c=48.7),
        lambda distance_m, rows: (60 * np.exp((5000 - distance_m) / 1000), 0.3),
    )
    assert found["coast_distance"] == pytest.approx([0.0961], rel=0.04)
    assert found["chloride"] == pytest.approx([0.034596], rel=1e-3)
    assert found["function"] == pytest.approx([0.804402], rel=1e-3)


@pytest.mark.pinned("memory", answers=3)
def test_each_anchor_has_its_own_salt():
    """(0.62 x 0.2)^2, (0.62 x 0.5)^2, (0.62 x 0.8)^2."""
    sigma_ln = np.array([0.2, 0.5, 0.8])
    found = input_variances(
        "steel",
        exposure(coast_distance_m=np.full(3, 500.0)),
        lambda distance_m, rows: (60.0 + 0 * distance_m, sigma_ln[rows, None]),
    )
    assert found["chloride"] == pytest.approx([0.015376, 0.0961, 0.246016], rel=1e-3)


AIRS = [(18.0, 70.0, 6.0, 20.0), (4.0, 85.0, 30.0, 90.0), (48.7, 60.0, 0.1, 2000.0)]


@pytest.mark.pinned("peer", answers=4)
@pytest.mark.parametrize("metal", ["steel", "zinc"])
@pytest.mark.parametrize("air", AIRS)
def test_mean_and_deviation_of_a_log_loss_to_second_order(metal, air):
    """Taylor's series in humidity and ln(SO2), its derivatives by differences of the loss that the
    worked places' own script has."""
    sd, sigma, step = 9.0, 0.8, 1e-3
    t, h, p, s = air

    def ln_loss(humidity=0.0, so2=0.0):
        return float(np.log(sum(loss(metal, t, h + humidity, p * np.exp(so2), s))))

    mean, variance = ln_loss(), 0.0
    for name, spread in (("humidity", sd), ("so2", sigma)):
        up, down = ln_loss(**{name: step}), ln_loss(**{name: -step})
        variance += ((up - down) / (2 * step) * spread) ** 2
        mean += (up - 2 * ln_loss() + down) / step**2 * spread**2 / 2
    acid, saline = loss(metal, t, h, p, s)
    share = acid / (acid + saline)
    off = [_outside(n, v, u) for n, v, u in zip(FITTED, air, (10, 10, 0, 0), strict=True)]
    own = np.log(1.5) ** 2 + 0.16 * (
        off[0] ** 2 + off[1] ** 2 + (share * off[2]) ** 2 + ((1 - share) * off[3]) ** 2
    )
    columns = tuple(np.array([[v]]) for v in air)
    found = uncertainty._ln_loss(metal, columns, np.array([[sd]]), np.array([[sigma]]))
    assert float(found[0][0, 0]) == pytest.approx(mean, abs=1e-5)
    assert float(found[1][0, 0]) == pytest.approx(np.sqrt(own + variance), abs=1e-5)
    assert float(uncertainty._own_sigma_ln(metal, columns)[0, 0]) == pytest.approx(np.sqrt(own))


def test_anchors_in_parts(monkeypatch):
    """Never fewer than one anchor at a time, and never more than the memory is for."""
    sizes = []

    def salt(distance_m, rows):
        sizes.append(len(distance_m))
        return 60.0 + 0 * distance_m, 0.5

    air = exposure(coast_distance_m=np.full(5, 500.0))
    for at_once, expected in ((10, [1] * 5), (2 * 13 * 4, [2, 2, 1]), (400_000, [5])):
        monkeypatch.setattr(uncertainty, "SAMPLES_AT_ONCE", at_once)
        sizes.clear()
        spread_by_quadrature(air, salt)
        assert sizes == expected
