"""What must hold for any air."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from helpers.spread_sampling import spread_by_sampling
from saltreach.science.air.uncertainty import (
    Exposure,
    spread_by_quadrature,
    variance_shares,
)
from saltreach.science.metal import stainless
from saltreach.science.metal.stainless import crc_probabilities

air = st.fixed_dictionaries(
    {
        "coast_distance_m": st.floats(0, 3e5),
        "coast_distance_sd_m": st.floats(0, 2e3),
        "temperature_c": st.floats(-17, 29),
        "temperature_sd_c": st.floats(0, 3),
        "relative_humidity_pct": st.floats(34, 95),
        "relative_humidity_sd_pct": st.floats(0, 10),
        "so2_ug_m3": st.floats(0.1, 150),
        "so2_sigma_ln": st.floats(0, 1),
    }
)
WAYS = st.sampled_from([spread_by_quadrature, lambda e, c: spread_by_sampling(e, c, draws=64)])


def chloride(distance_m, rows):
    return 270 / (1 + distance_m / 260) + 3, 0.95


@given(air=air, spread=WAYS)
def test_quantiles_rise_and_probabilities_are_probabilities(air, spread):
    out = spread(Exposure(**air), chloride)
    for quantiles in out[:3]:
        assert (quantiles > 0).all()
        assert (np.diff(quantiles) > 0).all()
    assert out.category_probabilities.sum() == pytest.approx(1)
    assert out.category_probabilities.min() > -1e-9
    assert out.category_probabilities.max() < 1 + 1e-9


@given(air=air, more=st.floats(1.5, 5), spread=WAYS)
def test_more_salt_never_means_less_loss_or_a_better_category(air, more, spread):
    e = Exposure(**air)
    plain = spread(e, chloride)
    salty = spread(e, lambda d, rows: (chloride(d, rows)[0] * more, chloride(d, rows)[1]))
    assert (salty.steel_rate_um_y >= plain.steel_rate_um_y * 0.999).all()
    assert (salty.zinc_rate_um_y >= plain.zinc_rate_um_y * 0.999).all()
    worse = np.cumsum(plain.category_probabilities) - np.cumsum(salty.category_probabilities)
    assert worse.min() > -1e-3


@given(air=air, nearer=st.floats(0, 1), mild=st.booleans())
def test_nearer_the_sea_or_unwashed_never_needs_a_lower_class(air, nearer, mild):
    def at_least(distance, f3):
        chances = crc_probabilities(
            distance, air["coast_distance_sd_m"], air["so2_ug_m3"], air["so2_sigma_ln"], f3, mild
        )
        assert chances.min() > -1e-12
        assert chances.sum() <= 1 + 1e-9
        return np.cumsum(chances[::-1])

    far = at_least(air["coast_distance_m"], stainless.F3_WASHED)
    assert (at_least(air["coast_distance_m"] * nearer, stainless.F3_WASHED) >= far - 1e-9).all()
    assert (at_least(air["coast_distance_m"], stainless.F3_UNWASHED) >= far - 1e-9).all()


@given(air=air, metal=st.sampled_from(["steel", "zinc"]))
def test_shares_sum_to_one(air, metal):
    shares = variance_shares(metal, Exposure(**air), chloride)
    assert sum(shares.values()) == pytest.approx(1)
    assert min(v.min() for v in shares.values()) >= 0
