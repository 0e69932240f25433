"""Cure times against the Arrhenius law; `adhesive.csv` names source and status of each value."""

from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from saltreach.science.rock import adhesive

CASES = pd.read_csv(Path(__file__).with_name("adhesive.csv"))


@pytest.mark.parametrize(
    "case", CASES.to_dict("records"), ids=lambda c: f"{c['arguments']} {c['status']}"
)
def test_ratio(case):
    arguments = [float(a) for a in str(case["arguments"]).split(";")]
    computed = getattr(adhesive, case["function"])(*arguments)
    assert computed == pytest.approx(case["expected"], rel=case["rel"])


def test_twenty_hours_at_20_degrees():
    """Common practice: 20 h at 20 degC are 40 h at 10 degC and 10 h at 30 degC."""
    assert [20 * adhesive.doubling_rule_ratio(t) for t in (20.0, 10.0, 30.0)] == [20, 40, 10]


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
