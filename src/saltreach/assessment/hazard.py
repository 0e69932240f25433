"""The model's cumulative hazard of the metal in place, from its placing on, nothing seen of it."""

from __future__ import annotations

import numpy as np
import pandas as pd

from saltreach.assessment.state import anchors_of, metal_in_place
from saltreach.science.time.failure import failure_parts
from saltreach.science.time.reliability import material_weights
from saltreach.vocabulary.words import UNKNOWN

OLDEST_SEEN_Y = 150.0
"""Older than this no anchor is; later years add nothing."""
_SURE = 1 - 1e-12


def cumulative_hazard(table: pd.DataFrame, most_y: float) -> np.ndarray:
    """H(t) of the metal in place at whole years of age, shape (n, years + 1).

    Parameters
    ----------
    table : DataFrame
        As for `state.anchors_of`, `material`, `hanger_material`.
    most_y : float
        Age that must be covered.

    Returns
    -------
    ndarray
        From 0 at age 0, never falling; NaN where metal or place are unknown.
    """
    metal = metal_in_place(table)
    known = (metal != UNKNOWN).to_numpy()
    years = int(np.ceil(np.clip(most_y, 1.0, OLDEST_SEEN_Y))) + 1
    hazard = np.full((len(table), years + 1), np.nan)
    if known.any():
        rows = table[known]
        anchors = anchors_of(table, np.full(len(table), np.nan))
        anchors = type(anchors)(*(np.broadcast_to(v, len(table))[known] for v in anchors))
        yearly, _ = failure_parts(
            material_weights(metal[known].to_numpy(object)),
            np.zeros(len(rows)),
            anchors._replace(condition=np.nan, years_since_inspection=np.nan),
            years=years,
            condition_shares=(1.0, 0.0, 0.0, 0.0, 0.0),  # as if each were recorded sound
        )
        growth = np.cumsum(-np.log1p(-np.minimum(yearly, _SURE)), axis=1)
        hazard[known] = np.concatenate([np.zeros((len(rows), 1)), growth], axis=1)
    return hazard


def hazard_at(hazard: np.ndarray, row: np.ndarray, age_y: np.ndarray) -> np.ndarray:
    """H at an age of the rows of `cumulative_hazard`, linear within a year.

    Examples
    --------
    >>> hazard_at(np.array([[0.0, 1.0, 3.0]]), np.array([0, 0]), np.array([0.5, 9.0])).tolist()
    [0.5, 3.0]
    """
    age = np.clip(age_y, 0.0, hazard.shape[1] - 1.0)
    below = np.minimum(np.nan_to_num(age).astype(int), hazard.shape[1] - 2)
    part = age - below
    return hazard[row, below] * (1.0 - part) + hazard[row, below + 1] * part
