"""What must hold of the failure model for any anchor."""

import numpy as np
import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from saltreach.science.air.atmosphere import first_year_loss_um_y
from saltreach.science.metal.stress_corrosion import scc_band, scc_hazard
from saltreach.science.time import updating
from saltreach.science.time.failure import (
    Anchors,
    age_mixture,
    capacity_quantile_kn,
    failure_curve,
)
from saltreach.science.time.inspection import LADDER_MONTHS, cap_months, governing, months_to_target
from saltreach.science.time.reliability import (
    material_weights,
    rust_life_y,
    steel_strength_kn,
)
from saltreach.vocabulary.metals import COATED, MATERIAL_NAMES, PLACEABLE

NAN = float("nan")
states = st.fixed_dictionaries(
    {
        "scc_hazard": st.floats(0, 1),
        "zinc_rate_um_y": st.floats(0.05, 25),
        "steel_rate_um_y": st.floats(0.5, 700),
        "zinc_sigma_ln": st.floats(0, 1.2),
        "steel_sigma_ln": st.floats(0, 1.2),
        "diameter_mm": st.floats(6, 20) | st.just(NAN),
        "rock_kn_p50": st.floats(5, 100) | st.just(NAN),
        "condition": st.sampled_from([0.0, 1.0, 2.0, 3.0, 4.0, NAN]),
        "years_since_inspection": st.floats(0, 30) | st.just(NAN),
        "batch_factor": st.floats(0.2, 20),
    }
)
ages = st.floats(0, 60)
metals = st.sampled_from(MATERIAL_NAMES)
LADDER = (*COATED, *PLACEABLE)
SLACK = 1e-9
STRENGTH_SLACK = 1e-2
"""Titanium of grade 2 is less strong than steel: a thin bar of it tears more easily."""


def anchors(state):
    return Anchors(**state, rock_kn_p05=0.5 * state["rock_kn_p50"])


def curve(metal, age, state):
    return failure_curve(material_weights([metal]), [age], anchors(state))[0]


def months(yearly):
    return float(governing({"target": months_to_target(yearly[None, :])}).months[0])


def never_safer(worse, better):
    assert (worse >= better - SLACK).all()
    assert months(worse) <= months(better - np.minimum(better, 2 * SLACK))


@given(metal=metals, age=ages, state=states)
def test_curve_is_a_probability_that_never_falls(metal, age, state):
    yearly = curve(metal, age, state)
    assert yearly.min() >= 0
    assert yearly.max() <= 1
    assert (np.diff(yearly) >= -SLACK).all()


@given(metal=metals, age=ages, state=states, by=st.floats(0, 30))
def test_older_is_never_safer(metal, age, state, by):
    never_safer(curve(metal, age + by, state), curve(metal, age, state))


@given(metal=metals, age=ages, state=states, salt=st.floats(1, 10), hazard=st.floats(0, 1))
def test_harsher_air_is_never_safer(metal, age, state, salt, hazard):
    """More chloride, warmer or less washed all act through these three."""
    harsher = state | {
        "scc_hazard": max(state["scc_hazard"], hazard),
        "zinc_rate_um_y": state["zinc_rate_um_y"] * salt,
        "steel_rate_um_y": state["steel_rate_um_y"] * salt,
    }
    never_safer(curve(metal, age, harsher), curve(metal, age, state))


@given(age=ages, state=states)
def test_better_metal_is_never_worse(age, state):
    thick = state | {"diameter_mm": 20.0}  # so that strength plays no part
    by_rank = [curve(metal, age, thick) for metal in LADDER]
    for worse, better in zip(by_rank, by_rank[1:], strict=False):
        never_safer(worse, better)


@given(metal=metals, age=ages, state=states, grade=st.integers(0, 3))
def test_worse_condition_or_batch_is_never_safer(metal, age, state, grade):
    # failed is the metal's: the rock then counts as poor
    by_grade = [curve(metal, age, state | {"condition": float(g)}) for g in (grade, grade + 1)]
    never_safer(by_grade[1], by_grade[0])
    more = state | {"batch_factor": state["batch_factor"] * 3}
    never_safer(curve(metal, age, more), curve(metal, age, state))


@given(age=ages, state=states, shares=st.lists(st.floats(0.01, 1), min_size=12, max_size=12))
def test_unknown_metal_lies_between_its_candidates(age, state, shares):
    mixed = failure_curve(material_weights(["unknown"], shares), [age], anchors(state))[0]
    each = np.array([curve(metal, age, state) for metal in MATERIAL_NAMES])
    assert (mixed >= each.min(axis=0) - SLACK).all()
    assert (mixed <= each.max(axis=0) + SLACK).all()


@given(metal=metals, state=states, young=ages, old=ages, share=st.floats(0.01, 0.99))
def test_unknown_age_lies_between_its_candidates(metal, state, young, old, share):
    spread, weights = age_mixture([NAN], [young, old], [share, 1 - share])
    mixed = failure_curve(material_weights([metal]), spread, anchors(state), age_weights=weights)
    both = [curve(metal, a, state) for a in (young, old)]
    assert (mixed[0] >= np.minimum(*both) - SLACK).all()
    assert (mixed[0] <= np.maximum(*both) + SLACK).all()


@given(rows=st.lists(st.tuples(metals, ages, states), min_size=2, max_size=5))
def test_row_by_row_is_the_same_as_at_once(rows):
    columns = {k: np.array([r[2][k] for r in rows]) for k in rows[0][2]}
    weights = material_weights([r[0] for r in rows])
    at_once = failure_curve(weights, [r[1] for r in rows], anchors(columns))
    alone = np.array([curve(*r) for r in rows])
    assert at_once == pytest.approx(alone, rel=1e-9, abs=1e-15)


@given(metal=metals, age=ages, state=states, by=st.floats(0, 30), more=st.floats(1, 5))
def test_capacity_falls_with_age_and_salt(metal, age, state, by, more):
    def held(years, s):
        return float(capacity_quantile_kn(material_weights([metal]), [years], anchors(s))[0])

    harsher = state | {
        "scc_hazard": min(state["scc_hazard"] * more, 1.0),
        "zinc_rate_um_y": state["zinc_rate_um_y"] * more,
        "steel_rate_um_y": state["steel_rate_um_y"] * more,
    }
    now = held(age, state)
    assert now >= 0
    assert held(age + by, state) <= now * 1.001
    assert held(age, harsher) <= now * 1.001


@given(
    diameter=st.floats(6, 20),
    share=st.floats(0.1, 0.95),
    zinc=st.floats(0.1, 20),
    steel=st.floats(1, 500),
)
def test_rust_life_is_the_inverse_of_strength(diameter, share, zinc, steel):
    whole = float(steel_strength_kn(0.0, diameter, 8.0, zinc, steel))
    life = rust_life_y(diameter, share * whole, 8.0, zinc, steel)
    assert steel_strength_kn(life, diameter, 8.0, zinc, steel) == pytest.approx(share * whole)


def months_of_place(metal, age, chloride, temperature, washed):
    """From the air to the interval, as the decisions chain it."""
    hazard = scc_hazard(
        chloride, temperature, rain_washed=washed, sun=0.5, humidity_share=0.4
    ).harsh
    rates = {
        f"{m}_rate_um_y": first_year_loss_um_y(m, temperature, 75.0, 5.0, chloride)
        for m in ("zinc", "steel")
    }
    # firm rock and a look today: else every place would be at the shortest interval
    firm = {
        "rock_kn_p50": 1e6,
        "diameter_mm": 20.0,
        "condition": 1.0,
        "years_since_inspection": 0.0,
    }
    state = {"scc_hazard": hazard, **firm, **rates}
    yearly = curve(metal, age, state)
    cap = cap_months(scc_band=scc_band(hazard), cracks=metal not in ("superaustenitic", "titanium"))
    return float(governing({"target": months_to_target(yearly[None, :])[0], **cap}).months)


def test_the_intervals_of_places_differ():
    """What the next test compares: of duplex, from a cold inland place to a hot shore."""
    places = ((1.0, 5.0, "yes"), (60.0, 22.0, "yes"), (300.0, 28.0, "no"))
    assert [months_of_place("duplex", 0.0, *place) for place in places] == [60, 24, 12]


@example("duplex", 0.0, 60.0, 22.0, 2.5, 1.0, 0.0)
@example("316", 0.0, 5.0, 12.0, 4.0, 5.0, 20.0)
@example("zinc-plated steel", 2.0, 3.0, 10.0, 5.0, 0.0, 10.0)
@given(
    metal=st.sampled_from(LADDER),
    age=st.floats(0, 30),
    chloride=st.floats(0, 2.7).map(lambda power: 10.0**power),
    temperature=st.floats(0, 28),
    more=st.floats(1, 5),
    by=st.floats(0, 5),
    later=st.floats(0, 20),
)
def test_saltier_less_washed_warmer_older_is_never_a_longer_interval(
    metal, age, chloride, temperature, more, by, later
):
    """Warmer holds for metals that crack; ISO 9223 itself lets steel rust less when it dries."""
    place = (metal, age, chloride, temperature, "yes")
    now = months_of_place(*place)
    assert months_of_place(metal, age, chloride * more, temperature, "yes") <= now
    assert months_of_place(metal, age, chloride, temperature, "no") <= now
    assert months_of_place(metal, age + later, chloride, temperature, "yes") <= now
    if metal not in ("zinc-plated steel", "galvanised steel"):
        assert months_of_place(metal, age, chloride, temperature + by, "yes") <= now
    better = LADDER[min(LADDER.index(metal) + 1, len(LADDER) - 1)]
    assert months_of_place(better, *place[1:]) >= now


@given(p=st.floats(0, 1), ratio=st.floats(0.01, 100), more=st.floats(1, 10))
def test_bayes_on_odds(p, ratio, more):
    after = float(updating.odds_update(p, ratio))
    assert 0 <= after <= 1
    assert updating.odds_update(p, ratio * more) >= after - SLACK
    assert updating.odds_update(after, 1 / ratio) == pytest.approx(p, abs=1e-9)


@given(since=st.floats(0, 50), way=st.sampled_from(sorted(updating.LIKELIHOODS)))
def test_good_findings_fade_and_bad_ones_stay(since, way):
    grades = np.arange(4.0)
    now, later = (updating.odds_ratio(grades, way, s) for s in (0.0, since))
    assert (later >= now - SLACK).all()
    assert (later[now >= 1] == now[now >= 1]).all()
    assert (np.diff(later) >= -SLACK).all()


@given(metal=metals, age=ages, state=states)
def test_intervals_lie_on_the_ladder(metal, age, state):
    assert months(curve(metal, age, state)) in LADDER_MONTHS
