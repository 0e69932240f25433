"""What is left of the anchors that are there: capacity, and probability of failure in time.

Unknown metal or date is a mixture over what the register's region used, else over a stated
prior; never one silent value.
"""

from __future__ import annotations

import json
from datetime import date
from typing import NamedTuple

import numpy as np
import pandas as pd

from saltreach.decisions.material import rank_of
from saltreach.materials import MATERIAL_NAMES
from saltreach.register.dates import year_fraction
from saltreach.science.failure import Anchors, age_mixture, capacity_quantile_kn, failure_curve
from saltreach.science.metal_loss import EXPONENT_MEAN, years_to_loss
from saltreach.science.reliability import ZINC_UM, material_weights
from saltreach.science.updating import batch_factor

METAL_PRIOR = (0.30, 0.10, 0.30, 0.27, 0.01, 0.01, 0.01)
"""Shares of the metals where a register knows none, in the order of `MATERIAL_NAMES`: judgement."""
PRIOR_WEIGHT = 1.0
"""The region's shares count as this many anchors beside a crag's own counts."""
AGE_PRIOR_Y = (5.0, 12.0, 20.0, 28.0, 35.0)
"""Ages of undated anchors where a register dates none: judgement."""
AGE_QUANTILES = (0.1, 0.3, 0.5, 0.7, 0.9)
FAILED = 4
WORST_FIFTH = 0.8


class State(NamedTuple):
    """`columns` to join to the table, `curve` (n, 31) of yearly failure probabilities, and the
    `age_y` of each anchor (NaN unknown)."""

    columns: pd.DataFrame
    curve: np.ndarray
    age_y: np.ndarray


def state_of_anchors(table: pd.DataFrame, today: date, *, capacity: bool = True) -> State:
    """Capacity and failure probabilities of the anchors in place.

    Parameters
    ----------
    table : DataFrame
        Register columns, `scc_hazard`, `steel_rate_um_y` and `zinc_rate_um_y` with `_p10` and
        `_p90`, and, where the rock is assessed, `rock_kn_p05` and `rock_kn_p50`.
    today : date
        Day the assessment speaks for.
    capacity : bool
        Whether to find the capacity too; it takes as long as the rest.

    Returns
    -------
    State
        `columns`: `capacity_kn_p05`, `coating_life_y`, `failure_probability_y1`, `_y10`, `_y30`
        (within 1, 10 and 30 years).
    """
    metal = metal_in_place(table)
    weights = material_weights(metal.to_numpy(object), metal_shares(table["crag"], metal))
    now = today.year + (today.timetuple().tm_yday - 0.5) / 365.25
    age = now - year_fraction(table["installed_on"])[0]
    age = np.maximum(np.asarray(age, float), 0.0)
    known = np.sort(age[~np.isnan(age)])
    spread = np.quantile(known, AGE_QUANTILES) if len(known) else np.array(AGE_PRIOR_Y)
    ages, age_weights = age_mixture(age, spread, np.ones(len(spread)))
    since = now - np.asarray(year_fraction(table["last_inspected_on"])[0], float)
    anchors = Anchors(
        scc_hazard=table["scc_hazard"].to_numpy(float),
        zinc_rate_um_y=table["zinc_rate_um_y"].to_numpy(float),
        steel_rate_um_y=table["steel_rate_um_y"].to_numpy(float),
        zinc_sigma_ln=_sigma_ln(table, "zinc_rate_um_y"),
        steel_sigma_ln=_sigma_ln(table, "steel_rate_um_y"),
        diameter_mm=table["diameter_mm"].to_numpy(float),
        rock_kn_p05=_column(table, "rock_kn_p05"),
        rock_kn_p50=_column(table, "rock_kn_p50"),
        condition=table["condition"].to_numpy(float, na_value=np.nan),
        years_since_inspection=np.maximum(since, 0.0),
    )
    curve = failure_curve(weights, ages, anchors, age_weights=age_weights)
    factor = _batch_factor(table, metal, curve[:, 0], np.where(np.isnan(age), 0.0, age))
    if (factor > 1).any():
        anchors = anchors._replace(batch_factor=factor)
        touched = np.flatnonzero(factor > 1)
        some = Anchors(*(np.broadcast_to(v, len(table))[touched] for v in anchors))
        curve[touched] = failure_curve(
            weights[touched], ages[touched], some, age_weights=age_weights[touched]
        )
    within = 1 - np.cumprod(1 - curve, axis=1)
    columns = pd.DataFrame(
        {
            "capacity_kn_p05": capacity_quantile_kn(weights, ages, anchors, age_weights=age_weights)
            if capacity
            else np.nan,
            "coating_life_y": coating_life_y(table, metal),
            "failure_probability_y1": curve[:, 0],
            "failure_probability_y10": within[:, 9],
            "failure_probability_y30": within[:, 29],
        },
        index=table.index,
    )
    return State(columns, curve, age)


def coating_life_y(table: pd.DataFrame, metal: pd.Series) -> np.ndarray:
    """Years from placing until the zinc of coated steel is used up; NaN for other metals.

    The thin end of the usual coating (`ZINC_UM`) and ISO 9224's mean exponent.
    """
    thin = metal.map({name: low for name, (low, _) in ZINC_UM.items()}).to_numpy(float)
    return years_to_loss(thin, table["zinc_rate_um_y"].to_numpy(float), EXPONENT_MEAN["zinc"])


def sector_curves(anchors: pd.DataFrame, curve: np.ndarray, by: list[str]) -> list[str]:
    """For each group, the yearly failure probability of its worst fifth, as JSON of 31 values.

    The 80th percentile of the group's anchors in each year: one anchor does not colour a
    sector for thirty years, a fifth of them does. Rows in the order of a sorted group-by.
    """
    years = pd.DataFrame(curve, index=anchors.index)
    keys = [anchors[name] for name in by]
    worst = years.groupby(keys, sort=True, dropna=False).quantile(WORST_FIFTH)
    return [
        "" if np.isnan(row).any() else json.dumps([float(f"{p:.2g}") for p in row])
        for row in worst.to_numpy()
    ]


def metal_in_place(table: pd.DataFrame) -> pd.Series:
    """The weaker of bolt and hanger where both are known; the bolt's metal otherwise."""
    bolt, hanger = rank_of(table["material"]), rank_of(table["hanger_material"])
    weaker = np.minimum(bolt, hanger).fillna(bolt)
    return weaker.map(dict(enumerate(MATERIAL_NAMES))).fillna("unknown")


def metal_shares(crag: pd.Series, metal: pd.Series) -> np.ndarray:
    """Shares of the metals an unknown anchor of each crag may have, (n, 7).

    Counts of the crag's known anchors, with the whole register's shares (else `METAL_PRIOR`)
    worth `PRIOR_WEIGHT` anchors.
    """
    known = metal[metal != "unknown"]
    order = list(MATERIAL_NAMES)
    total = known.value_counts().reindex(order, fill_value=0).to_numpy(float)
    region = total / total.sum() if total.sum() else np.array(METAL_PRIOR)
    counts = pd.crosstab(crag[known.index], known).reindex(columns=order, fill_value=0)
    own = counts.reindex(crag.to_numpy(), fill_value=0).to_numpy(float)
    return own + PRIOR_WEIGHT * region


def _batch_factor(
    table: pd.DataFrame, metal: pd.Series, yearly: np.ndarray, age_y: np.ndarray
) -> np.ndarray:
    """How much a failure in a batch (sector, metal, year) raises its other anchors.

    Only upwards: that nothing failed is weak evidence where nobody pulled hard.
    """
    failed = (table["condition"] == FAILED).to_numpy(bool, na_value=False)
    keys = [table["crag"], table["sector"], metal, table["installed_on"].fillna("").str[:4]]
    expected = np.minimum(np.nan_to_num(yearly) * age_y / 2, 1.0)
    expected = np.where(failed, 0.0, expected)
    batch = pd.DataFrame({"failed": failed, "expected": expected}, index=table.index)
    sums = batch.groupby(keys, dropna=False).transform("sum")
    factor = batch_factor(sums["failed"].to_numpy(float), sums["expected"].to_numpy(float))
    return np.where(sums["failed"] > 0, np.maximum(factor, 1.0), 1.0)


def _sigma_ln(table: pd.DataFrame, name: str) -> np.ndarray:
    ratio = table[f"{name}_p90"].to_numpy(float) / table[f"{name}_p10"].to_numpy(float)
    return np.log(ratio) / 2.5631


def _column(table: pd.DataFrame, name: str) -> np.ndarray:
    return table[name].to_numpy(float) if name in table else np.full(len(table), np.nan)
