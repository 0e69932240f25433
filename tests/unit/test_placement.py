"""Advice, rules of thumb and reasons in words."""

import numpy as np
import pytest

from saltreach.errors import OptionError
from saltreach.science.rock import placement
from saltreach.science.rock.bond import NEW_BOND
from saltreach.science.rock.capacity import anchor_resistance
from saltreach.science.rock.resistance import steel_resistance_kn
from saltreach.science.rock.strength import evidence_veto


@pytest.mark.pinned("judgement", answers=2)
def test_hollow_turns_any_rock_to_do_not_place():
    advice, reason = placement.advised_kind(
        [200.0, np.nan], 0.2, veto=evidence_veto(["hollow", "hollow"])
    )
    assert advice.tolist() == ["do not place here"] * 2
    assert reason.tolist() == ["hollow sound under the hammer"] * 2


@pytest.mark.pinned("judgement", answers=5)
def test_advice_by_strength():
    advice, reason = placement.advised_kind([160.0, 60.0, 15.0, 4.0, np.nan], 0.3)
    assert advice.tolist() == [
        "mechanical or bonded",
        "bonded",
        "bonded, longer",
        "do not place here",
        "unknown",
    ]
    assert "R2" in reason[2]
    assert "not known" in reason[4]


def test_no_embedment_long_enough_forbids_the_place():
    length, why = placement.required_embedment_mm("bonded", 12.0, 6.0, 0.8)
    advice, reason = placement.advised_kind(6.0, 0.8, required_mm=length)
    assert str(why) == "not reached by 300 mm"
    assert (str(advice), str(reason)) == (
        "do not place here",
        "no embedment up to 300 mm bears the loads",
    )


def test_reasons_of_the_embedment():
    cases = {
        ("expansion", 12.0, 200.0): "EN 959 minimum length",
        ("bonded", 12.0, 30.0): "axial 15 kN (bond)",
        ("bonded", 8.0, 200.0): "steel too thin for the loads",
        ("bonded", 12.0, np.nan): "strength of the rock or diameter not known",
        ("bonded", np.nan, 100.0): "strength of the rock or diameter not known",
    }
    kind, diameter, strength = zip(*cases, strict=True)
    length, reason = placement.required_embedment_mm(
        np.array(kind), np.array(diameter), np.array(strength), 0.3
    )
    assert reason.tolist() == list(cases.values())
    assert np.isnan(length).tolist() == [False, False, True, True, True]
    assert length[0] == 60.0


@pytest.mark.pinned("worked", answers=2)
@pytest.mark.parametrize(
    ("kind", "diameter_mm", "strength_mpa", "more", "loads_kn", "expected_mm", "governs"),
    [
        ("bonded", 12.0, 6.7, {}, (15.0, 25.0), 300.0, "axial 15 kN (bond)"),
        ("bonded", 12.0, 20.0, {}, (15.0, 25.0), 130.0, "axial 15 kN (bond)"),
        ("bonded", 12.0, 100.0, {"gsi": 30.0}, (15.0, 25.0), 85.0, "axial 15 kN (cone)"),
        ("expansion", 12.0, 40.0, {"crack_distance_mm": 40.0}, (15.0, 25.0), 80.0,
         "axial 15 kN (cone)"),
        ("bonded twin-leg", 12.0, 25.0, {"gsi": 30.0}, (15.0, 25.0), 100.0, "axial 15 kN (cone)"),
        ("bonded", 16.0, 40.0, {}, (15.0, 48.0), 115.0, "radial 48 kN (pry-out)"),
        ("bonded", 16.0, 60.0, {"edge_distance_mm": 230.0}, (15.0, 30.0), 150.0,
         "radial 30 kN (edge)"),
        ("bonded", 16.0, 60.0, {"edge_distance_mm": 170.0, "gsi": 90.0}, (15.0, 30.0), 185.0,
         "radial 30 kN (edge)"),
    ],
)  # fmt: skip
def test_the_least_of_every_length_that_bears_both_loads(
    kind, diameter_mm, strength_mpa, more, loads_kn, expected_mm, governs
):
    """Each length from 5 to 300 mm by itself; what fails one step shorter governs."""
    axial_kn, radial_kn = loads_kn
    tried = {}
    for length_mm in np.arange(5.0, 301.0, 5.0):
        found = anchor_resistance(kind, diameter_mm, length_mm, strength_mpa, 0.3, **more,
                                  **NEW_BOND)  # fmt: skip
        tried[length_mm] = (
            f"axial {axial_kn:g} kN ({found.axial_mode})" if found.axial_kn_p05 < axial_kn
            else f"radial {radial_kn:g} kN ({found.radial_mode})" if found.radial_kn_p05 < radial_kn
            else ""
        )  # fmt: skip
    assert next(length for length, fails in tried.items() if not fails) == expected_mm
    assert tried[expected_mm - 5] == governs
    length, reason = placement.required_embedment_mm(
        kind, diameter_mm, strength_mpa, 0.3, axial_kn=axial_kn, radial_kn=radial_kn, **more
    )
    assert (float(length), str(reason)) == (expected_mm, governs)


@pytest.mark.pinned("judgement", answers=12)
def test_each_limit_of_the_advice_and_of_the_metal_from_both_sides():
    """The 10th percentile is the median times exp(-1.2816 sigma): 0.6808 at a spread of 0.3, so
    50 MPa are 73.44; without spread the median itself."""
    cases = {(73.5, 0.3): "mechanical or bonded", (73.3, 0.3): "bonded",
             (50.0, 0.0): "mechanical or bonded", (49.9, 0.0): "bonded", (25.0, 0.3): "bonded",
             (24.9, 0.3): "bonded, longer", (5.1, 0.3): "bonded, longer",
             (5.0, 0.3): "do not place here"}  # fmt: skip
    median, sigma = np.array(list(cases)).T
    assert placement.advised_kind(median, sigma)[0].tolist() == list(cases.values())
    # of an unknown kind both rules of EN 959: five holes of 12 are 60, glued is 70
    assert placement.en959_minimum_mm("", [12.0, 16.0]).tolist() == [70.0, 80.0]
    # pi / 4 x 144 x 0.5 is borne by 12 mm exactly, and not called too thin
    full = float(steel_resistance_kn(12.0, 500.0))
    for loads in ({"axial_kn": full, "radial_kn": 1.0}, {"axial_kn": 1.0, "radial_kn": 0.6 * full}):
        assert placement.required_diameter_mm(**loads) == 12.0
        _, reason = placement.required_embedment_mm("bonded", 12.0, 200.0, 0.3, **loads)
        assert str(reason) != "steel too thin for the loads"


def test_softer_rock_and_the_uiaa_load_ask_for_more():
    soft, _ = placement.required_embedment_mm("bonded", 12.0, 20.0, 0.3)
    hard, _ = placement.required_embedment_mm("bonded", 12.0, 150.0, 0.3)
    uiaa, reason = placement.required_embedment_mm("bonded", 12.0, 150.0, 0.3, axial_kn=20.0)
    assert soft > hard
    assert uiaa > hard
    assert str(reason).startswith("axial 20 kN")


@pytest.mark.parametrize("load", [0.0, -1.0, float("nan")])
def test_impossible_loads_are_refused(load):
    with pytest.raises(OptionError, match="axial_kn"):
        placement.required_embedment_mm("bonded", 12.0, 100.0, 0.3, axial_kn=load)


@pytest.mark.pinned("judgement", answers=5)
def test_rules_of_thumb_at_their_limits():
    broken, unmeasured = placement.too_close(
        [80.0, 80.0, 120.0, 80.0, np.nan],
        edge_distance_mm=[150.0, 149.9, 179.9, 500.0, 500.0],
        crack_distance_mm=[80.0, 80.0, np.nan, 79.9, 500.0],
        anchor_spacing_mm=[240.0, 240.0, 400.0, 239.9, 500.0],
    )
    edge = "edge closer than 1.5 embedments or 150 mm"
    assert broken.tolist() == [
        "",
        edge,
        edge,
        "crack closer than 1 embedment; neighbour closer than 3 embedments",
        "",
    ]
    assert unmeasured.tolist() == ["", "", "crack", "", "edge, crack, neighbour"]


def test_governing_modes():
    """A thin rod fails by steel, a short one by the cone, soft rock by the bond."""
    found = anchor_resistance(
        ["bonded", "expansion", "bonded", "bonded"],
        [6.0, 16.0, 12.0, 16.0],
        [250.0, 40.0, 100.0, 120.0],
        [250.0, 100.0, 15.0, 150.0],
        0.1,
        gsi=90.0,
        edge_distance_mm=[np.nan, np.nan, np.nan, 40.0],
    )
    assert found.axial_mode.tolist()[:3] == ["steel", "cone", "bond"]
    assert found.radial_mode.tolist() == ["steel shear", "pry-out", "pry-out", "edge"]


def test_empty_and_shapes():
    empty = anchor_resistance(np.array([]), np.array([]), np.array([]), np.array([]), np.array([]))
    assert empty.axial_kn_p05.shape == (0,)
    grid = anchor_resistance("bonded", 12.0, np.ones((2, 3)) * 80, 100.0, 0.3)
    assert grid.axial_mode.shape == (2, 3)
    length, reason = placement.required_embedment_mm(
        np.array([]), np.array([]), np.array([]), np.array([])
    )
    assert length.shape == reason.shape == (0,)


def test_an_anchor_in_a_crack_or_at_an_edge_is_computed():
    found = anchor_resistance(
        "bonded", 12.0, 80.0, 100.0, 0.3, crack_distance_mm=0.0, edge_distance_mm=[0.0, 300.0]
    )
    assert found.radial_kn_p05[0] == pytest.approx(0.0, abs=1e-6)
    assert 0 < found.axial_kn_p05[0] < found.axial_kn_p05[1]
