"""Rock strength at the anchors: the prior of the lithology, until tests narrow it."""

from __future__ import annotations

import pandas as pd

from saltreach.science.lithology import strength_prior
from saltreach.science.salt import lognormal_quantile


def rock_strength(table: pd.DataFrame) -> pd.DataFrame:
    """Uniaxial compressive strength of the intact rock, from its lithology alone.

    Parameters
    ----------
    table : DataFrame
        Column `lithology`.

    Returns
    -------
    DataFrame
        `rock_strength_mpa` (median) with `_p10` and `_p90`; empty for unknown rock.
    """
    median, sigma = strength_prior(table["lithology"].to_numpy(object))
    return pd.DataFrame(
        {
            "rock_strength_mpa": median,
            "rock_strength_mpa_p10": lognormal_quantile(median, sigma, 0.1),
            "rock_strength_mpa_p90": lognormal_quantile(median, sigma, 0.9),
        },
        index=table.index,
    )
