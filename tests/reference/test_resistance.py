"""Resistance against published formulas and worked examples; `resistance.csv` names each source.

The distribution is checked against quantiles found by another way: closed forms where there
is one mode, root finding on the survival function where there are two.
"""

from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from scipy.optimize import brentq
from scipy.stats import norm

from saltreach.science import capacity, knock_down, placement, resistance

CASES = pd.read_csv(Path(__file__).with_name("resistance.csv"))


@pytest.mark.parametrize(
    "case",
    CASES.to_dict("records"),
    ids=lambda c: f"{c['function']} {c['arguments']} {c['status']}: {c['source'][:50]}",
)
def test_formula(case):
    arguments = [float(a) for a in str(case["arguments"]).split(";")]
    computed = getattr(resistance, case["function"])(*arguments)
    assert computed == pytest.approx(case["expected"], rel=case["rel"])


def test_both_edge_factors_together():
    """Arithmetic: 0.75 x 0.85 at c = 60, hef = 80 (EN 1992-4, from memory)."""
    both = resistance.cone_area_ratio(60.0, 80.0) * resistance.edge_psi(60.0, 80.0)
    assert both == pytest.approx(0.6375)


def test_breaking_an_edge_away_by_hand():
    """EN 1992-4 equations 7.40 to 7.43 (from memory), worked by hand for d 12, hef 80, f 25,
    c 100: alpha 0.0894, beta 0.0654, 12^alpha 1.249, 80^beta 1.332, 14.1 kN. Arithmetic."""
    computed = resistance.edge_shear_resistance_kn(12.0, 80.0, 25.0, 100.0)
    assert computed == pytest.approx(1.7 * 1.2489 * 1.3321 * 5 * 1000 / 1000, rel=1e-3)


def test_resin_alone_has_the_quantiles_of_its_lognormal():
    """Rock so strong that its wall never fails: closed form from 5 to 15 MPa (10th, 90th)."""
    found = capacity.anchor_resistance("bonded", 12.0, 80.0, 1e6, 0.1, gsi=100.0)
    sigma = np.log(3.0) / (2 * norm.ppf(0.9))
    area_kn = np.pi * 12 * 80 / 1000
    for quantile, p in ((found.mode_kn_p05, 0.05), (found.mode_kn_p50, 0.5)):
        expected = area_kn * np.sqrt(75.0) * np.exp(norm.ppf(p) * sigma)
        assert quantile["bond"] == pytest.approx(expected, rel=0.01)


def test_weaker_of_resin_and_wall_by_root_finding():
    """Two independent lognormals: the least exceeds r with the product of the two chances."""
    median, sigma = 60.0, 0.5
    surface = np.pi * 80 / 1000
    resin = (np.log(12 * surface * np.sqrt(75.0)), np.log(3.0) / (2 * norm.ppf(0.9)))
    wall = (
        np.log(14 * surface * np.sqrt(0.1 * 0.3) * median),
        np.hypot(sigma, np.log(3.0) / (2 * norm.ppf(0.9))),
    )

    def exceeded(x, p):
        return norm.sf(x, *resin) * norm.sf(x, *wall) - (1 - p)

    found = capacity.anchor_resistance("bonded", 12.0, 80.0, median, sigma)
    for quantile, p in ((found.mode_kn_p05, 0.05), (found.mode_kn_p50, 0.5)):
        expected = np.exp(brentq(exceeded, -5, 6, args=(p,)))
        assert quantile["bond"] == pytest.approx(expected, rel=0.04)


def test_random_draws_agree_with_the_fixed_ones():
    """A Latin hypercube of 20,000 from a seeded generator, against the 256 fixed draws."""
    inputs = ("bonded", 12.0, 100.0, 80.0, 0.5)
    places = {"edge_distance_mm": 120.0, "crack_distance_mm": 90.0, "gsi": 60.0}
    fixed = capacity.anchor_resistance(*inputs, **places)
    many = capacity.anchor_resistance(*inputs, **places, draws=20_000, rng=np.random.default_rng(4))
    for name in ("axial_kn_p05", "axial_kn_p50", "radial_kn_p05", "radial_kn_p50"):
        assert getattr(fixed, name) == pytest.approx(getattr(many, name), rel=0.05), name
    assert fixed.axial_mode == many.axial_mode


def test_cone_of_sound_strong_rock_is_the_uncracked_formula_at_the_cap():
    """EN 1992-4 k 11.0 with f capped at 60 MPa, hef 80: 60.97 kN (arithmetic)."""
    found = capacity.anchor_resistance("expansion", 12.0, 80.0, 1000.0, 0.1, gsi=100.0)
    assert found.mode_kn_p50["cone"] == pytest.approx(60.97, rel=0.01)
    assert found.mode_kn_p05["cone"] == pytest.approx(60.97 * np.exp(-1.645 * 0.3), rel=0.02)


def test_steel_is_nominal_at_the_fifth_percentile():
    """As fu for 12 mm and 600 MPa is 67.9 kN; shear 0.6 of it (EN 1992-4, from memory)."""
    found = capacity.anchor_resistance("bonded", 12.0, 80.0, 100.0, 0.3)
    assert found.mode_kn_p05["steel"] == pytest.approx(67.9, abs=0.05)
    assert found.mode_kn_p05["steel shear"] == pytest.approx(0.6 * 67.86, abs=0.05)
    assert found.mode_kn_p50["steel"] == pytest.approx(67.86 * np.exp(1.645 * 0.05), rel=1e-3)


@pytest.mark.parametrize(
    ("kind", "hole_mm", "minimum_mm"),
    [("bonded", 14, 70), ("expansion", 12, 60), ("screw", 10, 50), ("other", 16, 80)],
)
def test_least_lengths_of_en_959(kind, hole_mm, minimum_mm):
    """EN 959:2018, 4.2.6: glued 70 mm, mechanical 5 hole diameters."""
    assert placement.en959_minimum_mm(kind, float(hole_mm)) == minimum_mm


def test_loads_of_en_959_and_uiaa():
    """EN 959:2018, 4.3.1 and 4.3.2: 15 kN axial, 25 kN radial. UIAA 123: 20 kN (from memory)."""
    assert (placement.EN959_AXIAL_KN, placement.EN959_RADIAL_KN) == (15.0, 25.0)
    assert placement.UIAA_AXIAL_KN == 20.0


def test_diameter_for_25_kn_in_shear_by_hand():
    """d = sqrt(4 x 25000 / (0.6 x 600 pi)) = 9.40 mm, so 10 mm; at 500 MPa 10.3, so 12."""
    assert placement.required_diameter_mm() == 10.0
    assert placement.required_diameter_mm(steel_strength_mpa=500.0) == 12.0


def test_knock_down_constants_are_as_documented():
    """Our own judgement, no source: arithmetic of 0.7 (c / hef)^0.7, (s / 3 hef)^0.7, 0.2 to 1."""
    crack = knock_down.crack_factor(np.array([0.0, 40.0, 80.0, 160.0]), 80.0)
    assert crack == pytest.approx([0.2, 0.4309, 0.7, 1.0], abs=1e-4)
    block = knock_down.block_factor(np.array([10.0, 120.0, 240.0, 500.0]), 80.0)
    assert block == pytest.approx([0.2, 0.6156, 1.0, 1.0], abs=1e-4)
    gsi = knock_down.gsi_factor(np.array([10.0, 20.0, 50.0, 80.0, 95.0]))
    assert gsi == pytest.approx([0.2, 0.2, 0.6, 1.0, 1.0])
    unknown = knock_down.discontinuity_factor(80.0)
    assert unknown == pytest.approx(7.7 / 11.0)
