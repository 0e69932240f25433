"""What the failure model needs of anchors."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from saltreach.science.types import Column


class Anchors(NamedTuple):
    """What the model needs of each anchor; arrays of shape (n,) or scalars.

    `scc_hazard` 0 to 1; first-year losses in µm/y with the standard deviation of their
    logarithm; `diameter_mm`, NaN: `Model.diameter_mm`; `metal_shear_mpa`, strength in shear,
    NaN: the metal's own least (`materials.MATERIALS`); `legs`, rods of that diameter;
    rock side in kN, NaN: the prior of `Model`; `condition` 0 to 4 or NaN, and the years since it
    was recorded; `batch_factor` from `updating.batch_factor`.
    """

    scc_hazard: Column
    zinc_rate_um_y: Column
    steel_rate_um_y: Column
    zinc_sigma_ln: Column = 0.4
    steel_sigma_ln: Column = 0.4
    """Where no spread is given: about what the functions of ISO 9223 have alone; judgement."""
    diameter_mm: Column = np.nan
    metal_shear_mpa: Column = np.nan
    legs: Column = 1.0
    rock_kn_p05: Column = np.nan
    rock_kn_p50: Column = np.nan
    condition: Column = np.nan
    years_since_inspection: Column = np.nan
    batch_factor: Column = 1.0
