"""Resistance: sounder rock, a longer anchor, more room never make it weaker; NaN passes."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from saltreach.science.rock import knock_down, resistance
from saltreach.science.rock.bond import NEW_BOND
from saltreach.science.rock.capacity import MODES, anchor_resistance
from saltreach.science.rock.placement import ADVICE, advised_kind, required_embedment_mm, too_close
from saltreach.science.rock.strength import strength_posterior

lengths = st.floats(30, 250)
distances = st.one_of(st.just(np.nan), st.floats(1, 800))
anchors = st.fixed_dictionaries(
    {
        "kind": st.sampled_from(
            ["bonded", "bonded twin-leg", "expansion", "screw", "drive-in", "other", ""]
        ),
        "diameter_mm": st.sampled_from([8.0, 10.0, 12.0, 16.0]),
        "embedment_mm": lengths,
        "strength_median_mpa": st.floats(2, 300),
        "strength_sigma_ln": st.floats(0.1, 1.0),
        "edge_distance_mm": distances,
        "crack_distance_mm": distances,
        "anchor_spacing_mm": distances,
        "joint_spacing_mm": distances,
        "gsi": st.one_of(st.just(np.nan), st.floats(10, 100)),
    }
)
QUANTILES = ("axial_kn_p05", "axial_kn_p50", "radial_kn_p05", "radial_kn_p50")


def _never_weaker(better, worse):
    for name in QUANTILES:
        assert getattr(better, name) >= getattr(worse, name) * (1 - 1e-9), name


@pytest.mark.parametrize(
    ("name", "most"),
    [
        ("embedment_mm", 100),
        ("strength_median_mpa", 200),
        ("crack_distance_mm", 500),
        ("edge_distance_mm", 500),
        ("anchor_spacing_mm", 500),
        ("joint_spacing_mm", 1000),
        ("gsi", 60),
        ("diameter_mm", 10),
    ],
)
@given(anchor=anchors, share=st.floats(0.001, 1), start=st.floats(5, 100))
def test_more_is_never_weaker(name, most, anchor, share, start):
    less = anchor | {name: start}
    more = anchor | {name: start + share * most}
    _never_weaker(anchor_resistance(**more), anchor_resistance(**less))


@pytest.mark.parametrize("distance", [20.0, 60.0, 100.0, 200.0, 400.0])
def test_a_longer_anchor_is_never_weaker_however_close_things_are(distance):
    """Every distance is the same, so that all knock-downs bite at once, on a 1 mm grid."""
    depth = np.arange(20.0, 301.0)
    for kind in ("bonded", "expansion"):
        found = anchor_resistance(
            kind,
            12.0,
            depth,
            80.0,
            0.4,
            edge_distance_mm=distance,
            crack_distance_mm=distance,
            anchor_spacing_mm=2 * distance,
            joint_spacing_mm=2 * distance,
        )
        for name in QUANTILES:
            assert (np.diff(getattr(found, name)) >= -1e-9).all(), name
        assert (np.diff(found.mode_kn_p50[:, MODES.index("cone")]) >= -1e-9).all()


@given(anchors, st.sampled_from(["ringing", "W1"]))
def test_evidence_of_soundness_never_lowers_resistance(anchor, word):
    name = "tap_response" if word == "ringing" else "weathering_grade"
    median, sigma = strength_posterior(
        anchor["strength_median_mpa"], anchor["strength_sigma_ln"], **{name: word}
    )
    sounder = anchor | {"strength_median_mpa": median, "strength_sigma_ln": sigma}
    _never_weaker(anchor_resistance(**sounder), anchor_resistance(**anchor))


@given(anchors, st.floats(10, 70), st.floats(0.1, 10))
def test_higher_rebound_never_lowers_resistance(anchor, number, more):
    prior = (anchor["strength_median_mpa"], anchor["strength_sigma_ln"])
    found = [
        anchor_resistance(
            **anchor
            | dict(
                zip(
                    ("strength_median_mpa", "strength_sigma_ln"),
                    strength_posterior(*prior, rebound_number=n, unit_weight_kn_m3=25.0),
                    strict=True,
                )
            )
        )
        for n in (number, number + more)
    ]
    _never_weaker(found[1], found[0])


@given(anchors)
def test_no_mode_is_weaker_than_the_whole(anchor):
    found = anchor_resistance(**anchor)
    for mode in ("bond", "pull-through", "cone", "steel"):
        assert not found.mode_kn_p05[MODES.index(mode)] < found.axial_kn_p05 * (1 - 1e-2)
    for mode in ("pry-out", "edge", "steel shear"):
        assert not found.mode_kn_p05[MODES.index(mode)] < found.radial_kn_p05 * (1 - 1e-2)
    assert found.axial_kn_p05 <= found.axial_kn_p50


@given(st.lists(anchors, min_size=2, max_size=5), st.randoms())
def test_each_row_stands_alone(rows, random):
    table = {k: np.array([r[k] for r in rows]) for k in rows[0]}
    together = anchor_resistance(**table)
    order = list(range(len(rows)))
    random.shuffle(order)
    shuffled = anchor_resistance(**{k: v[order] for k, v in table.items()})
    for name in QUANTILES:
        alone = [float(getattr(anchor_resistance(**r), name)) for r in rows]
        np.testing.assert_allclose(getattr(together, name), alone)
        np.testing.assert_allclose(getattr(shuffled, name), np.array(alone)[order])


@pytest.mark.parametrize(
    "name", ["diameter_mm", "embedment_mm", "strength_median_mpa", "strength_sigma_ln"]
)
def test_unknown_in_unknown_out(name):
    anchor = {
        "kind": "bonded",
        "diameter_mm": 12.0,
        "embedment_mm": 80.0,
        "strength_median_mpa": 100.0,
        "strength_sigma_ln": 0.3,
    }
    found = anchor_resistance(**anchor | {name: np.nan})
    assert np.isnan(found.axial_kn_p05)
    assert np.isnan(found.radial_kn_p50)
    assert (found.axial_mode, found.radial_mode) == ("unknown", "unknown")


@given(st.floats(6, 250), st.sampled_from(["bonded", "expansion"]), st.floats(0.1, 0.8), distances)
def test_required_embedment_bears_the_loads_and_less_does_not(median, kind, sigma, crack):
    rock = (median, sigma)
    length, reason = required_embedment_mm(kind, 12.0, *rock, crack_distance_mm=crack)
    new = {"crack_distance_mm": crack} | NEW_BOND
    if np.isnan(length):
        longest = anchor_resistance(kind, 12.0, 300.0, *rock, **new)
        assert longest.axial_kn_p05 < 15 or longest.radial_kn_p05 < 25
        assert str(reason) == "not reached by 300 mm"
        return
    found = anchor_resistance(kind, 12.0, length, *rock, **new)
    assert found.axial_kn_p05 >= 15
    assert found.radial_kn_p05 >= 25
    assert length >= (70 if kind == "bonded" else 60)
    if str(reason) != "EN 959 minimum length":
        less = anchor_resistance(kind, 12.0, length - 5, *rock, **new)
        assert less.axial_kn_p05 < 15 or less.radial_kn_p05 < 25


@given(st.floats(6, 250), st.floats(0.1, 50), st.floats(0.1, 0.8))
def test_stronger_rock_never_needs_more_nor_gets_worse_advice(median, more, sigma):
    weak, _ = required_embedment_mm("bonded", 12.0, median, sigma)
    strong, _ = required_embedment_mm("bonded", 12.0, median + more, sigma)
    assert np.isnan(weak) or strong <= weak
    ranks = [ADVICE.index(str(advised_kind(m, sigma)[0])) for m in (median, median + more)]
    assert ranks[1] >= ranks[0]


@given(lengths, st.floats(1, 900), st.floats(0, 300))
def test_more_room_never_breaks_a_rule(depth, distance, more):
    for name in ("edge_distance_mm", "crack_distance_mm", "anchor_spacing_mm"):
        near, _ = too_close(depth, **{name: distance})
        far, _ = too_close(depth, **{name: distance + more})
        assert not (str(far) and not str(near))


FORMULAS = {
    "bond": lambda x: resistance.bond_resistance_kn(12.0, x, 8.0),
    "cone": lambda x: resistance.cone_resistance_kn(7.7, 30.0, x),
    "area": lambda x: resistance.cone_area_ratio(x, 80.0),
    "psi": lambda x: resistance.edge_psi(x, 80.0),
    "pair": lambda x: resistance.pair_ratio(x, 80.0),
    "steel": resistance.steel_resistance_kn,
    "pry-out": resistance.pry_out_factor,
    "edge": lambda x: resistance.edge_shear_resistance_kn(12.0, 80.0, 30.0, x),
    "crack": lambda x: knock_down.crack_factor(x, 80.0),
    "block": lambda x: knock_down.block_factor(x, 80.0),
    "gsi": knock_down.gsi_factor,
}


@pytest.mark.parametrize("name", FORMULAS)
@given(values=st.lists(st.floats(5, 300), min_size=2, max_size=4))
def test_formulas_rise(name, values):
    formula = FORMULAS[name]
    array = np.array([*sorted(values), np.nan])
    result = formula(array)
    assert np.isnan(result[-1])
    assert (np.diff(result[:-1]) >= -1e-12).all()
