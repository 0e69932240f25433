"""What must hold of the stress-corrosion hazard anywhere."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from saltreach.science.air.sunlight import sun_exposure
from saltreach.science.metal import stress_corrosion as scc
from saltreach.vocabulary.metals import MATERIAL_BY_NAME
from saltreach.vocabulary.words import BANDS

UNSURE = st.just(float("nan"))
places = st.fixed_dictionaries(
    {
        "chloride_mg_m2_d": st.floats(0.1, 2000),
        "temperature_c": st.floats(-10, 32),
        "chloride_sigma_ln": st.floats(0, 1.5),
        "warm_month_c": st.floats(-5, 42) | UNSURE,
        "sun": st.floats(0, 1) | UNSURE,
        "humidity_share": st.floats(0, 1) | UNSURE,
        "carbonate_rock": st.sampled_from([0.0, 1.0]) | UNSURE,
        "rain_washed": st.sampled_from(["yes", "no", "unknown"]),
    }
)
SLACK = 1e-12


def worse_or_equal(harsh, mild):
    a, b = (float(scc.scc_hazard(**p).harsh) for p in (harsh, mild))
    assert a >= b - SLACK
    order = list(BANDS)
    rank = {name: m.rank for name, m in MATERIAL_BY_NAME.items()}
    bands = [str(scc.scc_band(v + SLACK)) for v in (a, b - SLACK)]
    assert order.index(bands[0]) >= order.index(bands[1])
    metals = [rank[str(scc.scc_minimum_material(band))] for band in bands]
    assert metals[0] >= metals[1]


@given(place=places, more=st.floats(1, 20))
def test_more_chloride_is_never_lower(place, more):
    worse_or_equal(place | {"chloride_mg_m2_d": place["chloride_mg_m2_d"] * more}, place)


@given(place=places, by=st.floats(0, 15))
def test_warmer_is_never_lower(place, by):
    warmer = place | {
        "temperature_c": place["temperature_c"] + by,
        "warm_month_c": place["warm_month_c"] + by,
    }
    worse_or_equal(warmer, place)
    worse_or_equal(place | {"temperature_c": place["temperature_c"] + by}, place)


@given(place=places)
def test_less_washed_is_never_lower_and_unknown_counts_as_the_worse(place):
    by = {w: place | {"rain_washed": w} for w in ("yes", "no", "unknown")}
    worse_or_equal(by["no"], by["yes"])
    assert scc.scc_hazard(**by["unknown"]).harsh == scc.scc_hazard(**by["no"]).harsh


@given(place=places, name=st.sampled_from(["sun", "humidity_share"]), part=st.floats(0, 1))
def test_less_sun_or_less_brine_is_never_higher(place, name, part):
    worse_or_equal(place, place | {name: place[name] * part})


@given(place=places)
def test_range_holds_what_any_finding_can_give(place):
    mild, harsh = scc.scc_hazard(**place)
    assert 0 <= mild <= harsh <= 1
    found = place | {"sun": 0.4, "rain_washed": "yes", "carbonate_rock": 0.0}
    for name in ("sun", "rain_washed", "carbonate_rock"):
        if place[name] not in ("yes", "no") and place[name] != place[name]:
            assert scc.scc_hazard(**(place | {name: found[name]})).harsh <= harsh + SLACK


@given(place=places)
def test_rock_moves_at_most_one_band(place):
    bands = [
        BANDS.index(str(scc.scc_band(scc.scc_hazard(**(place | {"carbonate_rock": k})).harsh)))
        for k in (0.0, 1.0)
    ]
    assert 0 <= bands[1] - bands[0] <= 1


@given(place=places, more=st.floats(1, 20))
def test_band_probabilities_are_probabilities_and_move_up_with_chloride(place, more):
    place = place | {"chloride_sigma_ln": max(place["chloride_sigma_ln"], 0.1)}
    salty = place | {"chloride_mg_m2_d": place["chloride_mg_m2_d"] * more}
    plain, worse = (scc.scc_band_probabilities(**p) for p in (place, salty))
    assert plain.sum() == pytest.approx(1)
    assert plain.min() >= -SLACK
    assert (np.cumsum(worse) <= np.cumsum(plain) + 1e-9).all()


@given(rows=st.lists(places, min_size=2, max_size=6))
def test_row_by_row_is_the_same_as_at_once(rows):
    at_once = scc.scc_hazard(**{k: np.array([r[k] for r in rows]) for k in rows[0]}).harsh
    assert at_once.tolist() == pytest.approx([float(scc.scc_hazard(**r).harsh) for r in rows])


@given(place=places, lost=st.sampled_from(["chloride_mg_m2_d", "temperature_c"]))
def test_unknown_stays_unknown(place, lost):
    hazard = scc.scc_hazard(**(place | {lost: float("nan")})).harsh
    assert np.isnan(hazard)
    assert str(scc.scc_band(hazard)) == "unknown"


@given(
    band=st.sampled_from([*BANDS, "unknown"]),
    duplex=st.booleans(),
)
def test_high_hazard_never_ends_at_316(band, duplex):
    least = str(scc.scc_minimum_material(band, duplex_allowed=duplex))
    if band in ("high", "severe"):
        assert MATERIAL_BY_NAME[least].rank > MATERIAL_BY_NAME["duplex"].rank
    if not duplex:
        assert least != "duplex"


@given(azimuth=st.floats(0, 360), slope=st.floats(0, 180), lat=st.floats(-85, 85))
def test_sun_is_a_share_and_mirrors_across_the_equator(azimuth, slope, lat):
    sun = float(sun_exposure(azimuth, slope, lat))
    assert 0 <= sun <= 1
    assert sun == pytest.approx(float(sun_exposure(180 - azimuth, slope, -lat)), abs=1e-9)
