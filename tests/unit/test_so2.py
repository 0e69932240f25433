"""Sulphur dioxide: the register's figure or the one assumed, and how far each may be off."""

import math

import pandas as pd
import pytest

from saltreach.intake.options import Options
from saltreach.layers import so2


@pytest.mark.pinned("judgement", answers=4)
def test_the_registers_figure_wins_and_is_known_better():
    """A factor of 2 where assumed, 20 % where given; judgement."""
    assumed = so2.LAYER.open(Options(so2_ug_m3=7.5))
    found = so2.LAYER.sample(assumed, pd.DataFrame({"so2_ug_m3": [math.nan, 40.0]}))
    assert found["so2_ug_m3_used"].tolist() == [7.5, 40.0]
    assert found["so2_assumed"].tolist() == [True, False]
    assert found["so2_sigma_ln"].tolist() == pytest.approx([math.log(2), 0.2])
    assert found["so2_source"].tolist() == ["assumed", "register"]
    assert next(v for v in so2.LAYER.gives if v.name == "so2_assumed").unknown is True
