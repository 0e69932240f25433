"""What stands in for an anchor's own figures where it has none: those of the whole region."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from saltreach.assessment.state import OLDEST_Y
from saltreach.science.time.consequence import UNKNOWN_VISITS_PER_YEAR


class Usual(NamedTuple):
    """Median of the counted visits a year, and age of the oldest dated anchor."""

    visits_per_year: float
    oldest_y: float


def usual_of(visits_per_year: np.ndarray, age_y: np.ndarray) -> Usual:
    """What is usual among the anchors of a region.

    Parameters
    ----------
    visits_per_year, age_y : ndarray, shape (n,)
        Of every anchor of the region; NaN where unknown.

    Examples
    --------
    >>> usual_of(np.array([100.0, np.nan, 300.0]), np.array([np.nan, 12.0, 7.0]))
    Usual(visits_per_year=200.0, oldest_y=12.0)
    """
    visits, age = visits_per_year, age_y
    return Usual(
        float(np.nanmedian(visits)) if (~np.isnan(visits)).any() else UNKNOWN_VISITS_PER_YEAR,
        float(np.nanmax(age)) if (~np.isnan(age)).any() else OLDEST_Y,
    )
