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

from saltreach.errors import OptionError
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


@pytest.mark.pinned("judgement", answers=6)
def test_every_overshoot_widens_the_error_by_hand():
    """Zinc, ln 1.5 = 0.405465 inside. 48.7 degC is 2 of its units over, 13 % 2.1 below, SO2 of
    e^2 x 150.4 is 2 over, chloride of 0.4 / e^3 is 3 below; a third of the rate from SO2:
    sqrt(0.405465^2 + 0.16 (4 + 4.41 + (2/3)^2 + 2^2)) = 1.490340."""
    far = (48.7, 13.0, 150.4 * np.exp(2), 0.4 * np.exp(-3))
    assert atmosphere.error_sigma_ln("zinc", *far, 1 / 3) == pytest.approx(1.490340, abs=1e-6)
    assert atmosphere.error_sigma_ln("zinc", 20, 80, 2, 60, 0.5) == pytest.approx(0.405465)
    # cold and damp: -27.1 degC is 1 below, 98 % 0.5 over: sqrt(0.164402 + 0.16 x 1.25)
    cold = atmosphere.error_sigma_ln("zinc", -27.1, 98.0, 2, 60, 0.5)
    assert cold == pytest.approx(0.603657, abs=1e-6)
    # aluminium: ln 2; no deposition counts as a hundredth of the lowest, ln 100 = 4.605170 below:
    # sqrt(0.480453 + 0.16 x 21.207592), all of the rate from it
    none = atmosphere.error_sigma_ln("aluminium", 20, 80, 0.0, 60, 1.0)
    assert none == pytest.approx(1.968164, abs=1e-6)
    # at the lowest and at the highest of every range nothing is beyond
    ends = [(-17.1, 28.7), (34.0, 93.0), (0.7, 150.4), (0.4, 760.5)]
    assert atmosphere.error_sigma_ln("steel", *ends, 0.5) == pytest.approx([0.405465] * 2)


@pytest.mark.pinned("memory", answers=16)
def test_calibration_range_iso_9223_table_3():
    """Ends belong to the range (from memory); unknown is not extreme."""
    ends = {
        "temperature_c": (-17.1, 28.7),
        "relative_humidity_pct": (34.0, 93.0),
        "so2_mg_m2_d": (0.7, 150.4),
        "chloride_mg_m2_d": (0.4, 760.5),
    }
    for name, (low, high) in ends.items():
        asked = {name: [low - 0.01, low, high, high + 0.01, np.nan]}
        assert atmosphere.beyond_calibration(**asked).tolist() == [True, False, False, True, False]
    both = atmosphere.beyond_calibration(
        temperature_c=[40.0, 10.0, 40.0, 10.0], relative_humidity_pct=[50.0, 99.0, 99.0, 50.0]
    )
    assert both.tolist() == [True, True, True, False]
    assert not atmosphere.beyond_calibration()


@pytest.mark.pinned("memory", answers=9)
def test_losses_of_a_category_iso_9223_table_2():
    """Lower limit, geometric mean, upper limit (from memory; the mean is arithmetic)."""
    assert atmosphere.category_rates_um_y("steel", 1) == pytest.approx((1.3, 5.70088, 25.0))
    assert atmosphere.category_rates_um_y("zinc", 4) == pytest.approx((4.2, 5.93970, 8.4))
    assert atmosphere.category_rates_um_y("copper", 5) == pytest.approx((5.6, 7.48331, 10.0))


def test_a_metal_that_the_standard_has_not():
    for ask in (
        lambda: atmosphere.category_index("brass", 3.0),
        lambda: atmosphere.first_year_loss_um_y("brass", 10, 75, 10, 10),
        lambda: atmosphere.error_sigma_ln("brass", 10, 75, 10, 10, 0.5),
    ):
        with pytest.raises(OptionError, match="'brass': give one of steel, zinc, copper"):
            ask()
    assert np.isnan(atmosphere.category_index("steel", [np.nan, 30.0])).tolist() == [True, False]


@pytest.mark.pinned("memory", answers=8)
@pytest.mark.parametrize("metal", METALS)
def test_bend_at_10_degrees_iso_9223_equations_1_to_4(metal):
    """Where no salt falls the rate goes by exp(k (T - 10)), k from memory of the equations."""
    cold, warm = {"steel": (0.150, -0.054), "zinc": (0.038, -0.071), "copper": (0.126, -0.080),
                  "aluminium": (0.009, -0.043)}[metal]  # fmt: skip
    at = atmosphere.first_year_loss_um_y(metal, [4.0, 10.0, 10.5, 25.0], 70.0, 8.0, 0.0)
    assert at / at[1] == pytest.approx(np.exp([-6 * cold, 0.0, 0.5 * warm, 15 * warm]))
