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

from saltreach.assessment.grouping import Groups, quantiles
from saltreach.assessment.learned import learned_factors
from saltreach.assessment.region import (
    FAILED,
    Region,
    Sizes,
    is_recorded,
    metal_in_place,
    metal_shares,
    oldest_y,
    unknown_of,
    years_since,
)
from saltreach.assessment.resistance import filled_sizes, metal_strength
from saltreach.intake.distinct import numbers
from saltreach.science.metal.metal_loss import EXPONENT_MEAN, years_to_loss
from saltreach.science.rock.capacity import kind_shares
from saltreach.science.rock.resistance import SHEAR_RATIO, steel_resistance_kn
from saltreach.science.time.failure import (
    Anchors,
    age_mixture,
    capacity_quantile_kn,
    combined,
    failure_parts,
)
from saltreach.science.time.reliability import (
    MODEL,
    material_weights,
    rock_failure_probability,
    rust_life_y,
)
from saltreach.science.time.updating import batch_factor
from saltreach.vocabulary.metals import MATERIAL_NAMES, ZINC_UM

WORST_FIFTH = 0.8
"""The curve of a sector is that of its worst fifth; judgement."""
SECTION_LEFT = 0.8
"""Coated steel is at the end of its life at this share of its section; judgement."""
RANGE_FACTOR = 5.0
"""A probability may be so many times lower or higher: the one population with figures (tropical
marine stainless, 0.011 to 0.056 a year, derived) spans that much by itself. Judgement."""


class State(NamedTuple):
    """`columns` to join to the table, `curve` (n, 31) of yearly failure probabilities, metal and
    rock together."""

    columns: pd.DataFrame
    curve: np.ndarray


def state_of_anchors(
    table: pd.DataFrame,
    today: date,
    *,
    capacity: bool = True,
    gone: pd.DataFrame | None = None,
    region: Region | None = None,
) -> State:
    """Capacity and failure probabilities of the anchors in place.

    Parameters
    ----------
    table : DataFrame
        Register columns, `age_y`, `scc_hazard`, `steel_rate_um_y` and `zinc_rate_um_y` with
        `_p10` and `_p90`, and the columns of `resistance.rock_resistance`.
    today : date
        Day the assessment speaks for.
    capacity : bool
        Whether to find the capacity too; it takes as long as the rest.
    gone : DataFrame, optional
        Pieces whose metal failed and that are no longer in place (`Register.failed_before`): they
        speak for their like as failed anchors do.
    region : Region, optional
        What the whole register says, where the table is a part of it; a part has whole sectors.

    Returns
    -------
    State
        `columns`: `capacity_kn_p05`, `coating_life_y`, `failure_probability_y1` with `_p10` and
        `_p90`, `metal_probability_y1`, `rock_probability_y1`, `rock_probability_after` (of a
        new anchor as advised), `failure_probability_y10`, `_y30` (within 10 and 30 years).
    """
    metal = metal_in_place(table)
    told = unknown_of(table, today, gone) if region is None else region.unknown
    weights = material_weights(metal.to_numpy(object), metal_shares(table["crag"], told.metals))
    weights = no_better_than(weights, table["hanger_material"])
    age = table["age_y"].to_numpy(float)
    ages, age_weights = age_mixture(age, told.ages_y, told.age_weights)
    sizes = None if region is None else region.sizes_mm
    anchors = anchors_of(table, years_since(table["last_inspected_on"], today), sizes)
    shares = told.conditions
    learned = learned_factors(table)
    metal_part, rock_part = _parts(table, weights, ages, anchors, age_weights, shares, learned)
    years = np.where(np.isnan(age), 0.0, age)
    factor = _batch_factor(table, metal, metal_part[:, 0], years, gone)
    if (factor > 1).any():
        anchors = anchors._replace(batch_factor=factor)
        touched = np.flatnonzero(factor > 1)
        metal_part[touched], _ = _parts(
            table.iloc[touched], weights[touched], ages[touched],
            _some(anchors, touched, len(table)), age_weights[touched], shares,
            None if learned is None else learned[touched],
        )  # fmt: skip
    curve = combined(metal_part, rock_part)
    within = 1 - np.cumprod(1 - curve, axis=1)
    after = rock_failure_probability(table["rock_after_kn_p05"], table["rock_after_kn_p50"])
    columns = pd.DataFrame(
        {
            "capacity_kn_p05": capacity_quantile_kn(
                weights, ages, anchors, age_weights=age_weights, learned=learned
            )
            if capacity
            else np.nan,
            "coating_life_y": coating_life_y(table, metal),
            "steel_life_left_y": remaining_life_of_coated_y(table, told.oldest_y),
            "like_failed_share": like_failed_share(table, metal, gone),
            "failure_probability_y1": curve[:, 0],
            "failure_probability_y1_p10": curve[:, 0] / RANGE_FACTOR,
            "failure_probability_y1_p90": np.minimum(curve[:, 0] * RANGE_FACTOR, 1.0),
            "metal_probability_y1": metal_part[:, 0],
            "rock_probability_y1": rock_part[:, 0],
            "rock_probability_after": np.where(np.isnan(table["rock_after_kn_p05"]), np.nan, after),
            "failure_probability_y10": within[:, 9],
            "failure_probability_y30": within[:, 29],
        },
        index=table.index,
    )
    return State(columns, curve)


def anchors_of(
    table: pd.DataFrame, years_since_inspection: np.ndarray, sizes_mm: Sizes | None = None
) -> Anchors:
    """What the failure model needs of each anchor."""
    return Anchors(
        scc_hazard=table["scc_hazard"].to_numpy(float),
        zinc_rate_um_y=table["zinc_rate_um_y"].to_numpy(float),
        steel_rate_um_y=table["steel_rate_um_y"].to_numpy(float),
        zinc_sigma_ln=sigma_ln(table, "zinc_rate_um_y"),
        steel_sigma_ln=sigma_ln(table, "steel_rate_um_y"),
        diameter_mm=filled_sizes(table, sizes_mm)[0],
        metal_shear_mpa=np.multiply(*metal_strength(table)),
        legs=kind_shares(table["kind"].fillna("").astype("str").to_numpy(object))[2],
        rock_kn_p05=table["rock_kn_p05"].to_numpy(float),
        rock_kn_p50=table["rock_kn_p50"].to_numpy(float),
        condition=table["condition"].to_numpy(float, na_value=np.nan),
        years_since_inspection=years_since_inspection,
    )


def _some(anchors: Anchors, rows: np.ndarray, count: int) -> Anchors:
    return Anchors(*(np.broadcast_to(v, count)[rows] for v in anchors))


def _parts(
    table: pd.DataFrame,
    weights: np.ndarray,
    ages: np.ndarray,
    anchors: Anchors,
    age_weights: np.ndarray,
    shares: np.ndarray,
    learned: np.ndarray | None,
) -> tuple[np.ndarray, np.ndarray]:
    """Parts of metal and rock; where findings count, the worse of with them and without."""
    metal, rock = failure_parts(
        weights, ages, anchors, age_weights=age_weights, condition_shares=shares, learned=learned
    )
    if "condition_recorded" not in table:
        return metal, rock
    given, of_rock = (table[n].to_numpy(float) for n in ("condition_recorded", "condition_rock"))
    seen = np.stack([table["condition"].to_numpy(float), given, of_rock])
    rows = np.flatnonzero((np.nan_to_num(seen, nan=-1.0) != np.nan_to_num(given, nan=-1.0)).any(0))
    if len(rows):
        some = _some(anchors, rows, len(table))
        (bare_metal, bare_rock), (_, found_rock) = (
            failure_parts(
                weights[rows], ages[rows], some._replace(condition=condition[rows]),
                age_weights=age_weights[rows], condition_shares=shares,
                learned=None if learned is None else learned[rows],
            ) for condition in (given, of_rock)
        )  # fmt: skip
        metal[rows] = np.fmax(metal[rows], bare_metal)
        rock[rows] = np.fmax(found_rock, bare_rock)
    return metal, rock


def coating_life_y(table: pd.DataFrame, metal: pd.Series) -> np.ndarray:
    """Years from placing until the zinc of coated steel is used up; NaN for other metals.

    The thin end of the usual coating (`ZINC_UM`) and ISO 9224's mean exponent.
    """
    thin = numbers(metal, {name: low for name, (low, _) in ZINC_UM.items()})
    return years_to_loss(thin, table["zinc_rate_um_y"].to_numpy(float), EXPONENT_MEAN["zinc"])


def remaining_life_of_coated_y(table: pd.DataFrame, oldest: float | None = None) -> np.ndarray:
    """Years until coated steel has lost a fifth of its section; NaN for other metals.

    The thin end of the usual coating, ISO 9224, and rust that is `Model.local_factor` times
    deeper than the mean at its worst place. An unknown date counts as the oldest dated anchor
    (of the table, where no age is given).
    """
    age_y = table["age_y"].to_numpy(float)
    metal = metal_in_place(table)
    coating = numbers(metal, {name: low for name, (low, _) in ZINC_UM.items()})
    diameter = table["diameter_mm"].fillna(MODEL.diameter_mm).to_numpy(float)
    required = SECTION_LEFT * SHEAR_RATIO * steel_resistance_kn(diameter)
    life = rust_life_y(
        diameter,
        required,
        coating,
        table["zinc_rate_um_y"].to_numpy(float),
        table["steel_rate_um_y"].to_numpy(float),
    )
    oldest = oldest_y(age_y) if oldest is None else oldest
    return np.maximum(life - np.where(np.isnan(age_y), oldest, age_y), 0.0)


def failure_curves(curve: np.ndarray, groups: Groups) -> list[str]:
    """For each group, the yearly failure probability of its worst fifth, as JSON of 31 values.

    The 80th percentile of the group's anchors in each year: one anchor does not colour a
    sector for thirty years, a fifth of them does. In the order of the groups.
    """
    worst = quantiles(groups, curve, WORST_FIFTH)
    form = "%.2g " * worst.shape[1]
    written = _Written()
    return [
        "" if np.isnan(row).any()
        else "[" + ", ".join([written[p] for p in (form % tuple(row)).split()]) + "]"
        for row in worst
    ]  # fmt: skip


class _Written(dict[str, str]):
    """Numbers of two digits as JSON has them; few, so that each is worked out once."""

    def __missing__(self, text: str) -> str:
        self[text] = found = json.dumps(float(text))
        return found


def no_better_than(weights: np.ndarray, hanger: pd.Series) -> np.ndarray:
    """Shares of the metals, (n, 12), with what is better than a known hanger counted as it."""
    rank = MATERIAL_NAMES.rank(hanger).to_numpy(float)
    at = np.arange(len(MATERIAL_NAMES))
    above = np.where(at > rank[:, None], weights, 0.0)  # nothing is above NaN
    return weights - above + np.where(at == rank[:, None], above.sum(axis=1)[:, None], 0.0)


def _batch(table: pd.DataFrame, metal: pd.Series, gone: pd.DataFrame | None) -> pd.DataFrame:
    """What anchors of one batch share (sector, metal and year of placing), and `failed`.

    The anchors first, in their order, then what failed and is gone.
    """

    def shared(rows: pd.DataFrame, metal: pd.Series, failed: np.ndarray) -> pd.DataFrame:
        year = rows["installed_on"].fillna("").str[:4]
        place = rows[["crag", "sector"]].assign(metal=metal, year=year, failed=failed)
        return place.assign(undated=rows["installed_on"].isna())

    batch = shared(table, metal, is_recorded(table, FAILED))
    if gone is None or not len(gone):
        return batch
    lost = shared(gone, metal_in_place(gone), np.ones(len(gone), bool))
    return pd.concat([batch, lost], ignore_index=True)


_PLACE = ["crag", "sector", "metal"]
_LIKE = [*_PLACE, "year"]


def like_failed_share(
    table: pd.DataFrame, metal: pd.Series, gone: pd.DataFrame | None = None
) -> np.ndarray:
    """Share of the like anchors (same sector, metal and year) that failed.

    An anchor without a date is like all of its sector and metal, and they are like it.

    Parameters
    ----------
    table : DataFrame
        Columns `crag`, `sector`, `installed_on`, `condition`.
    metal : Series
        From `metal_in_place`.
    gone : DataFrame, optional
        What failed and is no longer in place, as of `state_of_anchors`.

    Returns
    -------
    ndarray, shape (n,)
        0 to 1; the anchor itself counts, and what is gone.
    """
    batch = _batch(table, metal, gone).assign(n=1)
    own = batch[["failed", "n"]]
    keys, places = ([batch[name] for name in names] for names in (_LIKE, _PLACE))
    like = own.groupby(keys, dropna=False).transform("sum")
    all_years = own.groupby(places, dropna=False).transform("sum")
    of_none = own.where(batch["undated"], 0).groupby(places, dropna=False).transform("sum")
    counts = like + of_none
    counts = counts.where(~batch["undated"], all_years)
    return (counts["failed"] / counts["n"]).to_numpy(float)[: len(table)]


def _batch_factor(
    table: pd.DataFrame,
    metal: pd.Series,
    yearly: np.ndarray,
    age_y: np.ndarray,
    gone: pd.DataFrame | None,
) -> np.ndarray:
    """How much a failure in a batch (sector, metal, year) raises its other anchors.

    Only upwards: that nothing failed is weak evidence where nobody pulled hard.
    """
    batch = _batch(table, metal, gone)
    expected = np.zeros(len(batch))
    expected[: len(table)] = np.minimum(np.nan_to_num(yearly) * age_y / 2, 1.0)
    expected = np.where(batch["failed"], 0.0, expected)
    own = batch[["failed"]].assign(expected=expected)
    sums = own.groupby([batch[name] for name in _LIKE], dropna=False).transform("sum")
    factor = batch_factor(sums["failed"].to_numpy(float), sums["expected"].to_numpy(float))
    return np.where(sums["failed"] > 0, np.maximum(factor, 1.0), 1.0)[: len(table)]


def sigma_ln(table: pd.DataFrame, name: str) -> np.ndarray:
    """Standard deviation of the logarithm of a column, from its `_p10` and `_p90`."""
    ratio = table[f"{name}_p90"].to_numpy(float) / table[f"{name}_p10"].to_numpy(float)
    return np.log(ratio) / 2.5631
