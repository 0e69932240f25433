"""ISO 9224:2012 long-term loss.

The factors in `iso9224_factor.csv` are arithmetic from the exponents (from memory of tables 2
and 3), done apart from this code. The maximum losses of steel are recalled from Annex A and
agree with that arithmetic.
"""

from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from saltreach.science.air.atmosphere import UPPER_LIMIT_UM_Y
from saltreach.science.metal.metal_loss import (
    EXPONENT_MEAN,
    EXPONENT_UPPER,
    loss_um,
    section_ratio,
    years_to_loss,
)

FACTORS = pd.read_csv(Path(__file__).with_name("iso9224_factor.csv")).set_index("exponent")
YEARS = np.array([float(c[1:]) for c in FACTORS.columns])


@pytest.mark.pinned("memory", answers=len(YEARS))
@pytest.mark.parametrize("exponent", FACTORS.index)
def test_factor_iso_9224(exponent):
    assert loss_um(1.0, YEARS, exponent) == pytest.approx(FACTORS.loc[exponent], abs=6e-4)


@pytest.mark.pinned("memory")
@pytest.mark.parametrize(
    ("exponents", "metal", "exponent"),
    [(EXPONENT_MEAN, "steel", 0.523), (EXPONENT_MEAN, "zinc", 0.813),
     (EXPONENT_UPPER, "steel", 0.575), (EXPONENT_UPPER, "zinc", 0.873)],
)  # fmt: skip
def test_ten_years_of_each_metal_iso_9224(exponents, metal, exponent):
    """Tables 2 and 3, from memory: t = 10 is 10 ** B."""
    expected = FACTORS.loc[exponent, "t10"]
    assert loss_um(1.0, 10.0, exponents[metal]) == pytest.approx(expected, abs=6e-4)


@pytest.mark.pinned("memory")
@pytest.mark.parametrize(
    ("exponents", "metal", "factor"),
    [(EXPONENT_MEAN, "copper", 4.6452), (EXPONENT_MEAN, "aluminium", 5.3456),
     (EXPONENT_UPPER, "copper", 5.3211), (EXPONENT_UPPER, "aluminium", 6.4121)],
)  # fmt: skip
def test_ten_years_of_copper_and_aluminium_iso_9224(exponents, metal, factor):
    """Tables 2 and 3, from memory: 10 ** 0.667, 0.728, 0.726 and 0.807."""
    assert loss_um(1.0, 10.0, exponents[metal]) == pytest.approx(factor, abs=5e-5)


@pytest.mark.pinned("memory")
def test_slope_after_20_years_iso_9224():
    slope = loss_um(1, 31.0, 0.523) - loss_um(1, 30.0, 0.523)
    assert slope == pytest.approx(0.1253, abs=5e-5)


# ISO 9224:2012 Annex A, greatest loss of steel and zinc by category after 1, 2, 5, 10, 15, 20
# years, um; recalled, and equal to the category's upper limit times t^B1.
ANNEX_A = {
    ("steel", 1): (25, 36, 58, 83, 103, 120),
    ("steel", 2): (50, 72, 116, 167, 206, 240),
    ("steel", 3): (80, 115, 186, 267, 330, 383),
    ("steel", 4): (200, 287, 464, 667, 824, 958),
    ("steel", 5): (700, 1006, 1624, 2334, 2885, 3354),
    ("zinc", 2): (2.1, 3.7, 7.8, 13.7, 19.0, 24.0),
    ("zinc", 4): (8.4, 14.8, 31.1, 54.6, 75.9, 95.9),
}


@pytest.mark.pinned("memory", answers=6)
@pytest.mark.parametrize(("metal", "category"), ANNEX_A)
def test_greatest_loss_iso_9224_annex_a(metal, category):
    first_year = UPPER_LIMIT_UM_Y[metal][category]
    computed = loss_um(first_year, np.array([1.0, 2, 5, 10, 15, 20]), EXPONENT_MEAN[metal])
    assert computed == pytest.approx(ANNEX_A[metal, category], rel=0.006, abs=0.06)


@pytest.mark.pinned("memory")
@pytest.mark.parametrize(
    ("coating_um", "first_year_um", "years"),
    [(55, 4.2, 23.60), (8, 4.2, 2.209), (8, 8.4, 0.942)],
)
def test_life_of_a_zinc_coating(coating_um, first_year_um, years):
    """Galvanised 55 um and plated 8 um in C4 and C5, exponent 0.813: 13.095 units are 11.422 by
    year 20 and 0.4643 a year after; exp(ln(8 / 4.2) / 0.813) and exp(ln(8 / 8.4) / 0.813)."""
    computed = years_to_loss(coating_um, first_year_um, EXPONENT_MEAN["zinc"])
    assert computed == pytest.approx(years, abs=0.005)


@pytest.mark.pinned("worked")
@pytest.mark.parametrize(
    ("diameter_mm", "loss_mm", "ratio"), [(12, 0.5, 0.840), (12, 1, 0.694), (10, 1, 0.640)]
)
def test_section_left(diameter_mm, loss_mm, ratio):
    """Geometry of a circle, no other source."""
    assert section_ratio(diameter_mm, loss_mm) == pytest.approx(ratio, abs=5e-4)


def test_no_section_is_left_once_the_loss_has_met_itself():
    """6 mm per side of a bar of 12 mm; more cannot be lost."""
    assert section_ratio(12.0, [0.0, 6.0, 7.0]).tolist() == [1.0, 0.0, 0.0]


@pytest.mark.pinned("memory", answers=4)
def test_loss_and_its_time_by_hand_iso_9224():
    """Exponent 0.5: 3 um a year are 9 after 9 years and 3 (4.4721 + 0.1118 x 10) = 16.7705 after
    30; back again; nothing lost takes no time."""
    assert loss_um(3.0, [9.0, 30.0], 0.5) == pytest.approx([9.0, 16.7705], abs=5e-5)
    assert years_to_loss([9.0, 16.7705], 3.0, 0.5) == pytest.approx([9.0, 30.0], abs=5e-4)
    assert loss_um(3.0, 0.0, 0.5) == years_to_loss(0.0, 3.0, 0.5) == 0.0
