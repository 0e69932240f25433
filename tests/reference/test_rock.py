"""Strength of rock against published relations and tables; `rock.csv` names source and status.

The strength update itself has no published example for anchors: it is checked against normal
updating done by multiplying scipy's densities.
"""

from pathlib import Path

import numpy as np
import pytest
from scipy.stats import norm

from helpers.cases import pinned_cases
from saltreach.science.rock import lithology, rebound
from saltreach.science.rock import strength as rock
from saltreach.vocabulary.rocks import lithology_of


def _arguments(text):
    return [float(a) for a in str(text).split(";")]


@pytest.mark.parametrize(
    "case",
    pinned_cases(Path(__file__).with_name("rock.csv")),
    ids=lambda c: f"{c['status']}: {c['source'][:60]}",
)
def test_rebound_relation(case):
    computed = getattr(rebound, case["function"])(*_arguments(case["arguments"]))
    assert computed == pytest.approx(case["expected"], rel=case["rel"])


@pytest.mark.pinned("published", answers=9)
def test_the_two_forms_of_deere_and_miller_agree_within_five_percent():
    """g in kN/m3 and g in g/cm3 are one fit: two transcriptions of it, from memory and a scan
    (6.9 x 10^(0.0087 g N + 0.16), table 3 of is.muni.cz Z7051 Priloha9, digits garbled)."""
    number, density = np.meshgrid([25.0, 40.0, 55.0], [2.3, 2.65, 2.8])
    listed = 6.9 * 10 ** (0.0087 * density * number + 0.16)
    ours = rebound.rebound_strength_mpa(number, 9.81 * density)
    assert np.allclose(ours, listed, rtol=0.05)


@pytest.mark.pinned("published")
def test_spread_between_lithologies_is_that_of_the_published_relations_at_40():
    """MPa at a rebound of 40: Deere and Miller (26 kN/m3) 84; and as table 3 of is.muni.cz Z7051
    Priloha9 lists them, arithmetic: Singh et al. 1983, sandstone and siltstone, 2 R = 80; Yilmaz
    and Sendir 2002, gypsum, exp(0.818 + 0.059 R) = 24; Dincer et al. 2004, andesite, basalt, tuff,
    2.75 R - 36.83 = 73; Aggistalis et al. 1996, gabbro and basalt, 2.22 R - 47.67 = 41. The spread
    of their ln is that of a reading, however often repeated, of rock nothing else is known of."""
    spread = np.std(np.log([84, 80, 24, 73, 41]), ddof=1)
    vague = 1e6  # so wide a prior that one test of exact hammers is all there is
    _, sigma = rock.strength_posterior(
        77.5, vague, rebound_number=40.0, unit_weight_kn_m3=26.0, rebound_tests=10**9
    )
    assert sigma == pytest.approx(spread, abs=0.03)


# Wide ranges of rock-mechanics textbooks (from memory): UCS MPa, middle density t/m3.
RANGES = {
    "granite": (100, 250, 2.65),
    "basalt": (100, 300, 2.9),
    "gneiss": (80, 200, 2.7),
    "quartzite": (150, 300, 2.65),
    "limestone": (30, 200, 2.55),
    "dolomite": (60, 200, 2.775),
    "sandstone": (20, 170, 2.35),
    "conglomerate": (30, 150, 2.5),
    "slate": (60, 180, 2.75),
    "schist": (30, 120, 2.7),
    "marble": (60, 160, 2.675),
    "chalk": (1, 15, 1.85),
    "tuff": (3, 50, 1.8),
    "gypsum": (10, 40, 2.25),
}


@pytest.mark.pinned("memory", answers=3)
@pytest.mark.parametrize("name", RANGES)
def test_lithology_range_is_the_10th_to_90th_percentile(name):
    low, high, density = RANGES[name]
    median, sigma = lithology.strength_prior(name)
    assert median * np.exp(norm.ppf(0.1) * sigma) == pytest.approx(low)
    assert median * np.exp(norm.ppf(0.9) * sigma) == pytest.approx(high)
    assert lithology.unit_weight_kn_m3(name) == pytest.approx(9.81 * density)


# Hartmann & Moosdorf 2012, first level, as public code tables list it.
GLIM = {
    "su": "unconsolidated sediments",
    "ss": "siliciclastic sedimentary",
    "py": "pyroclastic",
    "sm": "mixed sedimentary",
    "sc": "carbonate sedimentary",
    "ev": "evaporite",
    "va": "acid volcanic",
    "vi": "intermediate volcanic",
    "vb": "basic volcanic",
    "pa": "acid plutonic",
    "pi": "intermediate plutonic",
    "pb": "basic plutonic",
    "mt": "metamorphic",
    "wb": "unknown",
    "ig": "unknown",
    "nd": "unknown",
}


@pytest.mark.pinned("published")
@pytest.mark.parametrize("code", GLIM)
def test_glim_codes_of_hartmann_and_moosdorf_2012(code):
    assert lithology_of([code, code.upper(), code + "____"]).tolist() == [GLIM[code]] * 3


@pytest.mark.pinned("published", answers=7)
def test_isrm_intervals_match_the_grades_of_the_published_field_table():
    """Hoek et al. in doi 10.1155/2022/4798523, table 2: limits 0.25, 1, 5, 25, 50, 100, 250."""
    highs = [high for _, high in rock.ISRM_LIMITS_MPA.values()]
    limits = [low for low, _ in rock.ISRM_LIMITS_MPA.values()]
    assert limits == [0.25, 1, 5, 25, 50, 100, 250]
    assert highs[:-1] == limits[1:]


@pytest.mark.pinned("peer", answers=2)
def test_posterior_is_the_product_of_normal_densities():
    """Normal updating, here by multiplying scipy's densities on a fine grid."""
    x = np.linspace(-2, 10, 200_001)
    rebound_sigma = np.sqrt(0.53**2 + 0.5409**2 / 3)  # judgement
    density = (
        norm.pdf(x, np.log(77.5 * 0.8), 0.74)
        * norm.pdf(x, np.log(10) * (0.00088 * 26 * 40 + 1.01), rebound_sigma)
        * norm.pdf(x, np.log(np.sqrt(50 * 100)), 0.4646)
        * np.exp(0.5 * x)
    )
    weight = density / density.sum()
    mean = (weight * x).sum()
    sigma = np.sqrt((weight * (x - mean) ** 2).sum())
    median_mpa, sigma_ln = rock.strength_posterior(
        77.5,
        0.74,
        rebound_number=40,
        unit_weight_kn_m3=26,
        rebound_tests=3,
        weathering_grade="W2",
        tap_response="ringing",
        isrm_grade="R4",
    )
    assert median_mpa == pytest.approx(np.exp(mean), rel=1e-4)
    assert sigma_ln == pytest.approx(sigma, rel=1e-4)


@pytest.mark.pinned("published")
def test_weathered_granite_gneiss_of_saliu_and_lawal_is_near_our_w2():
    """Saliu & Lawal 2014 (Mining World Express 3): 128 MPa weathered, 166 MPa fresh."""
    weathered, _ = rock.strength_posterior(166.0, 0.3, weathering_grade="W2")
    assert weathered == pytest.approx(128.0, rel=0.05)
