"""Sulphur dioxide: the register's figure, else the one assumed for all; no layer is embedded."""

from __future__ import annotations

from typing import Any

import numpy as np
import pandas as pd

from saltreach.layers.layer import Layer, Value

ASSUMED_SIGMA_LN = float(np.log(2.0))
GIVEN_SIGMA_LN = 0.2
"""Standard deviation of ln(SO2): a factor of 2 where assumed, 20 % where given; judgement."""


def _sample(assumed_ug_m3: float, places: pd.DataFrame) -> dict[str, Any]:
    given = places["so2_ug_m3"].to_numpy(float)
    unknown = np.isnan(given)
    return {
        "so2_ug_m3_used": np.where(unknown, assumed_ug_m3, given),
        "so2_assumed": unknown,
        "so2_sigma_ln": np.where(unknown, ASSUMED_SIGMA_LN, GIVEN_SIGMA_LN),
        "so2_source": np.where(unknown, "assumed", "register"),
    }


LAYER = Layer(
    name="so2",
    gives=(
        Value("so2_ug_m3_used", source="so2_source"),
        Value("so2_assumed", True),
        Value("so2_sigma_ln"),
    ),
    passes=(Value("so2_source", ""),),
    takes=("so2_ug_m3",),
    open=lambda options: options.so2_ug_m3,
    sample=_sample,
)
