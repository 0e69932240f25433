"""Cure times against the Arrhenius law."""

import numpy as np
import pytest

from saltreach.science.rock import adhesive


@pytest.mark.pinned("worked", answers=3)
def test_one_activation_energy_is_recovered_between_two_rows():
    """Rows at 0 and 30 degC of a 50 kJ/mol resin: 10 over 20 degC is 2.064, 20 over 30 is 1.967.

    Arithmetic from the Arrhenius law, done apart from this code.
    """
    times = {0.0: 60 * 1.967 * 2.064 * 2.176, 30.0: 60.0}
    celsius, minutes = (np.array(list(v)) for v in (times, times.values()))
    table = adhesive.CureTable(celsius, minutes / 10, minutes, "made-up sheet")
    ten, twenty, thirty = adhesive.cure_time_min([10.0, 20.0, 30.0], table)
    assert ten / twenty == pytest.approx(2.064, rel=1e-3)
    assert twenty / thirty == pytest.approx(1.967, rel=1e-3)
    assert adhesive.gel_time_min(20.0, table) == pytest.approx(twenty / 10)
