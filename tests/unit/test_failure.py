"""Edges of the failure model: nothing known, nothing there, wrong shapes, many rows."""

import numpy as np
import pytest
from scipy import stats

from saltreach.errors import OptionError
from saltreach.science.metal.stress_corrosion import scc_hazard, scc_minimum_material
from saltreach.science.time.failure import (
    Anchors,
    age_mixture,
    capacity_quantile_kn,
    failure_curve,
    failure_parts,
)
from saltreach.science.time.reliability import (
    material_weights,
    rust_life_y,
    scc_scale_y,
    steel_strength_kn,
)
from saltreach.science.time.updating import odds_ratio, odds_update

NAN = float("nan")
AIR = {"scc_hazard": 0.3, "zinc_rate_um_y": 3.0, "steel_rate_um_y": 60.0}


def first_year(material, age=10.0, **changed):
    return failure_curve(material_weights([material]), [age], Anchors(**(AIR | changed)))[0, 0]


def test_what_carries_no_weight_may_be_unknown():
    assert np.isfinite(first_year("titanium", scc_hazard=NAN, zinc_rate_um_y=NAN))
    assert np.isfinite(first_year("316", zinc_rate_um_y=NAN, steel_rate_um_y=NAN))
    assert np.isfinite(first_year("zinc-plated steel", scc_hazard=NAN))


def test_of_a_metal_without_weight_in_a_row_nothing_need_be_known():
    place = Anchors([0.01, NAN, NAN], [NAN, 3.0, NAN], [NAN, 60.0, NAN])
    metals = material_weights(["304", "zinc-plated steel", "titanium"])
    assert (capacity_quantile_kn(metals, [5.0] * 3, place) > 0).all()
    assert np.isfinite(failure_curve(metals, [5.0] * 3, place)).all()


@pytest.mark.pinned("worked", answers=2)
def test_two_legs_hold_twice_and_a_cracked_share_none():
    """Rock of no account. The 5th percentile of what is whole is its nominal strength; where a
    share c is cracked it is the 5 - 100 c percentile of the whole, scaled to what is whole."""
    rock = {"rock_kn_p05": 1e6, "rock_kn_p50": 1e6, "diameter_mm": 12.0}
    calm = AIR | {"scc_hazard": 0.0} | rock
    for metal in ("316", "zinc-plated steel"):
        one, two = (
            capacity_quantile_kn(material_weights([metal]), [8.0], Anchors(**calm, legs=legs))[0]
            for legs in (1.0, 2.0)
        )
        assert two == pytest.approx(2 * one, rel=1e-6)
    steels = material_weights(["304", "zinc-plated steel"])
    whole, coated = capacity_quantile_kn(steels, [0.0, 0.0], Anchors(**calm))
    assert (whole, coated) == pytest.approx([0.6 * np.pi / 4 * 12**2 * 500 / 1000] * 2, rel=1e-6)
    place = Anchors(**(calm | {"scc_hazard": 0.3}))
    scale = scc_scale_y(0.3, "304")
    age = scale * np.sqrt(-np.log1p(-0.04))  # 4 in 100 are cracked
    found = capacity_quantile_kn(material_weights(["304"]), [age], place)[0]
    left = 0.01 / 0.96
    expected = whole * np.exp(0.05 * (stats.norm.ppf(left) - stats.norm.ppf(0.05)))
    assert found == pytest.approx(expected, rel=1e-5)


@pytest.mark.pinned("worked", answers=3)
def test_a_bar_that_is_too_thin_when_new_has_no_life():
    """A shear of 0.6 x 500 MPa on 10 mm: 23.56 kN."""
    air = (8.0, 4.2, 80.0)
    whole = float(steel_strength_kn(0.0, 10.0, *air))
    assert whole == pytest.approx(0.6 * np.pi / 4 * 10.0**2 * 500 / 1000)
    assert rust_life_y(10.0, [whole * 1.1, whole, whole * 3], *air).tolist() == [0.0] * 3
    assert rust_life_y(10.0, whole * 0.999, *air) > 2


@pytest.mark.pinned("worked", answers=4)
def test_credit_of_a_look_fades_over_the_coming_years():
    """Thick titanium: the metal's part is the constant 1e-5. Looked at two years ago, so that in
    year k its odds are those of a look 2 + k years old. A failed one's rock is as a bad one's."""
    rock = {"rock_kn_p05": 15.0, "rock_kn_p50": 40.0}
    years = 2.0 + np.arange(31)

    def parts_of(grade, since=2.0):
        place = Anchors(**AIR, diameter_mm=40.0, condition=grade, years_since_inspection=since,
                        **rock)  # fmt: skip
        return [p[0] for p in failure_parts(material_weights(["titanium"]), [10.0], place)]

    neutral = parts_of(1.0, NAN)  # what is below 1 earns no credit where it is undated
    assert neutral[0] == pytest.approx(1e-5)
    for grade in (0.0, 3.0):
        metal, rock_part = parts_of(grade)
        for found, base, way in ((metal, 1e-5, "visible"), (rock_part, neutral[1][0], "rock")):
            expected = odds_update(base, odds_ratio(grade, way, years))
            assert found == pytest.approx(expected, rel=1e-6)
    assert np.array_equal(parts_of(4.0)[1], parts_of(3.0)[1])
    assert parts_of(3.0)[1][0] > 1.2 * parts_of(0.0)[1][0]


def test_the_rank_below_304_changes_nothing_where_nothing_cracks():
    calm = Anchors(**(AIR | {"scc_hazard": 0.0}))
    steel = material_weights(["zinc-plated steel"])
    kept, free = (
        failure_parts(steel, [10.0], calm, keep_rank=keep_rank)[0] for keep_rank in (True, False)
    )
    assert np.array_equal(kept, free)


def test_an_age_in_two_halves_is_that_age():
    place = Anchors(**AIR)
    for metal in ("304", "zinc-plated steel"):
        chance = material_weights([metal])
        halves = {"age_weights": [[0.25, 0.75]]}
        whole = failure_parts(chance, [8.0], place)
        split = failure_parts(chance, [[8.0, 8.0]], place, **halves)
        assert np.allclose(whole, split, rtol=1e-12)
        assert capacity_quantile_kn(chance, [[8.0, 8.0]], place, **halves) == pytest.approx(
            capacity_quantile_kn(chance, [8.0], place), rel=1e-6
        )


def test_an_age_before_the_placing_counts_as_new():
    place = Anchors(**AIR)
    for metal in ("304", "zinc-plated steel"):
        chance = material_weights([metal])
        late, new, old = (capacity_quantile_kn(chance, [age], place) for age in (-3.0, 0.0, 1.0))
        assert late == new
        assert new > old


def test_no_chance_is_above_one_whatever_the_weights_sum_to():
    shares = [2.0, 5.0, 6.0, 3.0, 4.0, 8.0, 7.0, 8.0, 3.0, 6.0, 8.0, 5.0]
    weights = material_weights(["unknown"], shares)
    assert sum(weights[0]) > 1.0
    metal, _ = failure_parts(weights, [5.0], Anchors(**AIR, condition=4.0))
    assert (metal == 1.0).all()


def test_what_is_certain_stays_certain_in_a_batch():
    worst = {"scc_hazard": 1.0, "age": 4000.0, "batch_factor": 3.0, "condition": 1.0}
    assert first_year("303", **worst) == pytest.approx(1.0, abs=1e-9)


@pytest.mark.pinned("worked", answers=2)
def test_ages_of_two_anchors_have_shares_of_their_own():
    ages, weights = age_mixture([NAN, NAN, 3.0], [5.0, 20.0], [[1.0, 1.0], [1.0, 3.0], [2.0, 2.0]])
    assert ages.tolist() == [[5.0, 20.0], [5.0, 20.0], [3.0, 3.0]]
    assert weights.tolist() == [[0.5, 0.5], [0.25, 0.75], [1.0, 0.0]]
    assert age_mixture([NAN], [5.0, 20.0], [0.0, 2.0])[1].tolist() == [[0.0, 1.0]]
    for bad in ([[1.0, 1.0], [-1.0, 3.0]], [[1.0, 1.0], [0.0, 0.0]]):
        with pytest.raises(OptionError, match="shares of ages"):
            age_mixture([NAN, NAN], [5.0, 20.0], bad)


def test_what_carries_weight_stays_unknown():
    assert np.isnan(first_year("304", scc_hazard=NAN))
    assert np.isnan(first_year("zinc-plated steel", steel_rate_um_y=NAN))
    assert np.isnan(first_year("316", age=NAN))
    assert np.isnan(first_year("unknown"))
    weights = material_weights(["unknown", "304"])
    held = capacity_quantile_kn(weights, [5.0, NAN], Anchors(**AIR))
    assert np.isnan(held).all()


def test_recorded_as_failed_is_certain_and_holds_nothing():
    assert first_year("titanium", condition=4.0) == 1.0
    place = Anchors(**AIR, condition=4.0)
    metals = material_weights(["titanium", "304", "zinc-plated steel"])
    assert capacity_quantile_kn(metals, [1.0] * 3, place).tolist() == [0.0] * 3


def test_looking_earns_credit_on_rust_and_next_to_none_on_cracks():
    seen = {"condition": 0.0, "years_since_inspection": 0.0, "rock_kn_p05": 1e6, "rock_kn_p50": 1e6}
    blind = {"rock_kn_p05": 1e6, "rock_kn_p50": 1e6}
    rusty = {"scc_hazard": 0.0, "zinc_rate_um_y": 8.0, "steel_rate_um_y": 200.0}
    steel = [first_year("zinc-plated steel", **(rusty | s)) for s in (seen, blind)]
    crack = [first_year("304", **s) for s in (seen, seen | {"condition": 1.0}, blind)]
    assert steel[0] < 0.2 * steel[1]
    # a spotless look earns next to nothing over a neutral one; not looking may hide the worst
    assert 0.9 * crack[1] < crack[0] < crack[1] < crack[2]
    assert odds_ratio(0, "visible", NAN) == 1.0


@pytest.mark.pinned("judgement")
def test_unknown_diameter_counts_as_the_thinnest_in_use():
    """Where nothing cracks: else 304 would, and coated steel is never shown safer than that."""
    calm = {"age": 40.0, "scc_hazard": 0.0, "steel_rate_um_y": 100.0}
    unknown, thin, thick = (
        first_year("galvanised steel", diameter_mm=d, **calm) for d in (NAN, 8.0, 10.0)
    )
    assert unknown == thin > 1.5 * thick


def test_no_rows():
    empty = failure_curve(np.empty((0, 12)), np.empty(0), Anchors(0.1, 1.0, 1.0))
    assert empty.shape == (0, 31)
    assert capacity_quantile_kn(np.empty((0, 12)), np.empty(0), Anchors(0.1, 1.0, 1.0)).size == 0


def test_many_rows_are_the_same_as_few():
    rng = np.random.default_rng(0)
    n = 70_000  # more than two chunks
    place = Anchors(rng.uniform(0, 1, n), rng.uniform(0.1, 9, n), rng.uniform(2, 200, n))
    names = rng.choice(np.array(["zinc-plated steel", "304", "titanium"], object), n)
    age = rng.uniform(0, 40, n)
    whole = failure_curve(material_weights(names), age, place)
    some = slice(32_700, 32_900)
    part = failure_curve(
        material_weights(names[some]), age[some], Anchors(*(c[some] for c in place[:3]))
    )
    assert np.array_equal(whole[some], part)


@pytest.mark.parametrize(
    ("call", "word"),
    [
        (lambda: failure_curve(np.ones((2, 3)), [1.0, 1.0], Anchors(0, 1, 1)), "weights of shape"),
        (
            lambda: failure_curve(np.ones((1, 12)) / 12, [[1.0, 2.0]], Anchors(0, 1, 1)),
            "age_weights",
        ),
        (lambda: material_weights(["bronze"]), "bronze"),
        (lambda: material_weights(["unknown"], [0] * 12), "shares"),
        (lambda: material_weights(["unknown"], [-1, 2, *[0] * 10]), "shares"),
        (lambda: age_mixture([NAN], [1.0], [0.0]), "ages"),
        (lambda: odds_ratio(1, "smell"), "smell"),
        (lambda: scc_hazard(1.0, 1.0, rain_washed="sometimes").harsh, "sometimes"),
        (lambda: scc_hazard(1.0, 1.0, weights={"moon": 1.0}).harsh, "moon"),
        (lambda: scc_minimum_material("low", table={"low": "304"}), "give one of"),
    ],
)
def test_refuses_what_cannot_be_and_names_it(call, word):
    with pytest.raises(OptionError, match=word):
        call()


def test_a_table_may_not_leave_high_hazard_to_316_nor_fall():
    table = dict.fromkeys(("low", "moderate", "raised", "high", "severe"), "316")
    with pytest.raises(OptionError, match="never end at 304 or 316"):
        scc_minimum_material("high", table=table)
    with pytest.raises(OptionError, match="reorder"):
        scc_minimum_material("high", table=table | {"low": "titanium"})


@pytest.mark.pinned("judgement")
def test_a_changed_weight_changes_the_hazard():
    plain = scc_hazard(100.0, 17.0, rain_washed="no", sun=0.5, carbonate_rock=1).harsh
    without = scc_hazard(
        100.0, 17.0, rain_washed="no", sun=0.5, carbonate_rock=1, weights={"carbonate": 1.0}
    ).harsh
    assert plain == pytest.approx(1.15 * without)


@pytest.mark.pinned("judgement", answers=2)
def test_nothing_cracks_without_hazard():
    assert np.isinf(scc_scale_y(0.0, "304"))
    assert np.isinf(scc_scale_y(1.0, "titanium"))
    thick = {"diameter_mm": 40.0, "condition": 1.0, "rock_kn_p05": 1e6, "rock_kn_p50": 1e6}
    # condition 1 multiplies the odds of the visible rest by 0.10 / 0.20, undated: no credit
    assert first_year("titanium", **thick) == pytest.approx(1e-5, rel=1e-6)
    # nobody looked, 10 years: two thirds of 2.49 - 1 more odds, and of 0.003 / 0.993 failed
    failed = 2 / 3 * 0.003 / 0.993
    blind = first_year("titanium", **(thick | {"condition": NAN}))
    assert blind == pytest.approx(failed + 1e-5 * 1.99, rel=1e-2)
