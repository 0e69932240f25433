"""ISO 9223:2012 against its own tables.

Status of the sources: the coefficients, limits and uncertainties are from memory of
ISO 9223:2012 (equations 1 to 4, table 2, Annex A); the losses in
`iso9223_first_year_loss.csv` are arithmetic from those coefficients, done apart from this code,
so they check the arithmetic, not the coefficients. Steel limits were seen on a stored page.
"""

from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from saltreach.science.air import atmosphere

CASES = pd.read_csv(Path(__file__).with_name("iso9223_first_year_loss.csv"))
METALS = ("steel", "zinc", "copper", "aluminium")


@pytest.mark.pinned("memory")
@pytest.mark.parametrize("metal", METALS)
@pytest.mark.parametrize("case", CASES.to_dict("records"), ids=str)
def test_first_year_loss_iso_9223_equations_1_to_4(case, metal):
    inputs = [case[n] for n in atmosphere.CALIBRATION_RANGE]
    assert atmosphere.first_year_loss_um_y(metal, *inputs) == pytest.approx(case[metal], abs=6e-5)


# ISO 9223:2012 table 2, upper limits of C1 to CX, um/y (from memory; steel also on a stored page).
LIMITS = {
    "steel": (1.3, 25, 50, 80, 200, 700),
    "zinc": (0.1, 0.7, 2.1, 4.2, 8.4, 25),
    "copper": (0.1, 0.6, 1.3, 2.8, 5.6, 10),
}


@pytest.mark.pinned("memory", answers=12)
@pytest.mark.parametrize("metal", LIMITS)
def test_a_limit_belongs_to_the_lower_category_iso_9223_table_2(metal):
    limits = np.array(LIMITS[metal], float)
    at, above = (atmosphere.category_index(metal, limits * f) for f in (1, 1 + 1e-9))
    assert at.tolist() == [0, 1, 2, 3, 4, 5]
    assert above.tolist() == [1, 2, 3, 4, 5, 5]


@pytest.mark.pinned("memory", answers=8)
def test_aluminium_is_classed_by_mass_iso_9223_table_2():
    # 0.6, 2, 5, 10 g/(m2 y) over 2.7 g/cm3; the function's um must be turned into mass first.
    limits_um = np.array([0.6, 2, 5, 10]) / 2.7
    assert atmosphere.category_index("aluminium", limits_um * 0.999).tolist() == [1, 2, 3, 4]
    assert atmosphere.category_index("aluminium", limits_um * 1.001).tolist() == [2, 3, 4, 5]


# ISO 9223:2012 table 2 in mass, g/(m2 y), from memory, with textbook densities, g/cm3.
MASS = {
    "steel": ((10, 200, 400, 650, 1500, 5500), 7.86),
    "zinc": ((0.7, 5, 15, 30, 60, 180), 7.14),
    "copper": ((0.9, 5, 12, 25, 50, 90), 8.96),
}


@pytest.mark.parametrize("metal", MASS)
def test_limits_in_thickness_and_in_mass_are_one_table(metal):
    mass, density = MASS[metal]
    thickness = np.array(mass) / density
    assert np.array(atmosphere.UPPER_LIMIT_UM_Y[metal]) == pytest.approx(thickness, rel=0.11)


@pytest.mark.pinned("memory", answers=2)
@pytest.mark.parametrize(
    ("metal", "low", "high"),
    [("steel", -0.33, 0.50), ("zinc", -0.33, 0.50), ("copper", -0.33, 0.50),
     ("aluminium", -0.50, 1.00)],
)  # fmt: skip
def test_estimation_uncertainty_iso_9223_annex_a(metal, low, high):
    """From memory of Annex A; one standard deviation of a lognormal error."""
    sigma = atmosphere.DOSE_RESPONSE[metal].error_sigma_ln
    assert np.exp(sigma) - 1 == pytest.approx(high, abs=0.005)
    assert np.exp(-sigma) - 1 == pytest.approx(low, abs=0.005)


@pytest.mark.pinned("memory")
def test_so2_deposition_iso_9223_p0_limit():
    """P0 ends at 4 mg/(m2 d) or 5 ug/m3 (ISO 9223:2012, pollution classes, from memory)."""
    assert atmosphere.so2_deposition_mg_m2_d(5.0) == pytest.approx(4.0)
