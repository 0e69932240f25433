"""Advice, rules of thumb and reasons in words."""

import numpy as np
import pytest

from saltreach.errors import OptionError
from saltreach.science.rock import placement
from saltreach.science.rock.capacity import anchor_resistance
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
