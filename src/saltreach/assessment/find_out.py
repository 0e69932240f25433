"""What is worth finding out next: which unknown, once known, would change the most decisions.

For every sector and every kind of unknown (metal, date, washing, tap test, place of the
shoreline, salt on a road) the decisions are made again for each value it may turn out to have; the
chance that the recommended metal or the inspection interval changes is summed over the sector's
anchors. No spreadsheet answers this, because every value has to go through the whole chain.
"""

from __future__ import annotations

from collections.abc import Collection
from datetime import date
from typing import Any, NamedTuple

import numpy as np
import pandas as pd

from saltreach.assessment.corrosivity import corrosivity
from saltreach.assessment.interval import inspection_interval
from saltreach.assessment.material import choose_material, stress_corrosion_hazard
from saltreach.assessment.region import AGE_PRIOR_Y, age_of_anchors, metal_shares
from saltreach.assessment.resistance import rock_resistance
from saltreach.assessment.rock import rock_strength
from saltreach.assessment.state import state_of_anchors
from saltreach.intake.policy import DEFAULT, Policy
from saltreach.vocabulary.columns import columns_of
from saltreach.vocabulary.metals import MATERIAL_NAMES
from saltreach.vocabulary.words import TAP_RESPONSES

TAP_PRIOR = (0.70, 0.15, 0.12, 0.03)
"""What an untried place sounds like, in the order of `TAP_RESPONSES`: judgement."""
MOST_ANCHORS = 5_000
"""More anchors than this are sampled evenly along the register; counts are scaled up."""
FAR_M = 20_000.0
"""Farther from the sea than this no shoreline error moves a class: twice the standard's
last limit (10 km, EN 1993-1-4 Table A.1); judgement."""
WASHING_PRIOR = 1.0
"""Washed and unwashed count as this many anchors each beside a crag's own counts: judgement."""
DATE_QUANTILES = (0.15, 0.5, 0.85)
"""Dates that an undated anchor may turn out to have, of the register's own: judgement."""
NODES = len(DATE_QUANTILES)
SALTED_PRIOR = 0.5
"""Chance that a major road is salted where winters are cold and nobody said: judgement."""

COLUMNS = [name for name in columns_of("find_out") if name != "caution"]
DECISIONS = ["rank", "months"]
WORDS = {
    "material": "the metal",
    "installed_on": "the date of placing",
    "washing": "whether rain washes it",
    "tap_response": "the sound of a hammer tap",
    "coast_distance_m": "the measured distance to the sea",
    "salted_road_m": "whether the road beside it is salted",
}
"""What can be found out, in words."""
DISTANCES = ("coast_distance_m", "salted_road_m")


class Candidates(NamedTuple):
    """What an unknown input may turn out to be: values, and their chance for each anchor.

    `values` has shape (m,) (numbers or words) or (n, m), `chance` shape (m,) or (n, m) with
    rows that sum to 1; `unknown` is true for the anchors on which the input is unknown.
    """

    values: Any
    chance: Any
    unknown: Any


def worth_finding_out(
    table: pd.DataFrame,
    today: date,
    axial_kn: float,
    policy: Policy = DEFAULT,
    stock: Collection[str] | None = None,
    *,
    count: int | None = None,
) -> pd.DataFrame:
    """Unknowns by sector and the number of anchors whose decision they would likely change.

    Parameters
    ----------
    table : DataFrame
        The assessed anchors with every working column of the pipeline.
    today : date
        Day the assessment speaks for.
    axial_kn : float
        Axial load of the rock's resistance.
    policy : Policy
        Rules of the association.
    stock : collection of str, optional
        As for `material.choose_material`.
    count : int, optional
        Anchors of the region, where `table` holds those of them that `sampled` names.

    Returns
    -------
    DataFrame
        `crag`, `sector`, `find_out`, `anchors_unknown`, `decisions_changed` (expected number),
        most valuable first within each crag. Rows that would change nothing are left out.
    """
    rows = table.iloc[sampled(len(table))] if count is None else table
    scale = _scale(len(table) if count is None else count)
    candidates = _candidates(rows, today)
    cases = [
        _case(rows, name, value, j) for name, value in candidates.items() for j in _cases(value)
    ]
    if not cases:
        return pd.DataFrame(columns=COLUMNS)
    decided = _decide(pd.concat(cases, ignore_index=True), today, axial_kn, policy, stock)
    found = []
    for name, value in candidates.items():
        unknown = np.flatnonzero(value.unknown)
        if not len(unknown):
            continue
        chance = np.broadcast_to(value.chance, (len(rows), np.shape(value.chance)[-1]))[unknown]
        own = decided[decided["find_out"] == name]
        now, *then = (own.loc[own["case"] == j, DECISIONS].to_numpy() for j in _cases(value))
        differs = [~((t == now) | (np.isnan(t) & np.isnan(now))).all(axis=1) for t in then]
        changed = (chance * np.stack(differs, axis=1)).sum(axis=1)
        part = rows.iloc[unknown][["crag", "sector"]]
        found.append(part.assign(find_out=name, anchors_unknown=1.0, decisions_changed=changed))
    total = pd.concat(found).groupby(COLUMNS[:3], dropna=False).sum().mul(scale).reset_index()
    total["anchors_unknown"] = total["anchors_unknown"].round().astype(int)
    total = total[total["decisions_changed"] >= 0.05]
    total = total.sort_values(
        ["crag", "decisions_changed", "sector", "find_out"], ascending=[True, False, True, True]
    )
    return total[COLUMNS].round({"decisions_changed": 1}).reset_index(drop=True)


def sampled(count: int) -> np.ndarray:
    """Places of the anchors that stand for all of a region, evenly along its register.

    Examples
    --------
    >>> sampled(10_000)[:4].tolist(), len(sampled(10_000)), len(sampled(600))
    ([0, 2, 4, 6], 5000, 600)
    """
    return np.unique(np.floor(np.arange(0, count, _scale(count))).astype(int))


def _scale(count: int) -> float:
    return max(1.0, count / MOST_ANCHORS)


def _candidates(rows: pd.DataFrame, today: date) -> dict[str, Candidates]:
    """What each unknown may turn out to be, and how likely."""
    shares = metal_shares(rows["crag"], rows["material"])
    shares = shares / shares.sum(axis=1, keepdims=True)
    likely = np.sort(np.argsort(-shares.sum(axis=0), kind="stable")[:4])
    metals = shares[:, likely]
    known = rows["installed_on"].dropna()
    years = known.str[:4].astype(float)
    usual = today.year - np.array(AGE_PRIOR_Y)[::2]
    spread = np.quantile(years, DATE_QUANTILES) if len(years) else usual
    dry = (rows["washing"] == "no").groupby(rows["crag"]).transform("sum") + WASHING_PRIOR
    wet = (rows["washing"] == "yes").groupby(rows["crag"]).transform("sum") + WASHING_PRIOR
    washed = (wet / (wet + dry)).to_numpy(float)
    distance = rows["coast_distance_m"].to_numpy(float)
    sd = rows["coast_distance_sd_m"].to_numpy(float)
    return {
        "material": Candidates(
            np.array(MATERIAL_NAMES, object)[likely],
            metals / metals.sum(axis=1, keepdims=True),
            (rows["material"] == "unknown").to_numpy(),
        ),
        "installed_on": Candidates(
            np.array([str(int(y)) for y in spread], object),
            np.full(NODES, 1 / NODES),
            rows["installed_on"].isna().to_numpy(),
        ),
        "washing": Candidates(
            np.array(["yes", "no"], object),
            np.stack([washed, 1 - washed], axis=1),
            (rows["washing"] == "unknown").to_numpy(),
        ),
        "tap_response": Candidates(
            np.array(TAP_RESPONSES, object),
            np.array(TAP_PRIOR),
            rows["tap_response"].isna().to_numpy(),
        ),
        "coast_distance_m": Candidates(
            np.stack([np.maximum(distance - sd, 0.0), distance + sd], axis=1).astype(object),
            np.full(2, 0.5),
            (rows["coast_distance_source"] != "register").to_numpy() & (distance < FAR_M),
        ),
        # not salted: as now, where none is known
        "salted_road_m": Candidates(
            np.stack([rows["major_road_m"].to_numpy(float), np.full(len(rows), np.nan)], axis=1),
            np.array([SALTED_PRIOR, 1 - SALTED_PRIOR]),
            rows["road_asked"].to_numpy(bool),
        ),
    }


def _cases(candidates: Candidates) -> range:
    """-1 for things as known now, then each value an unknown may have."""
    return range(-1, np.shape(candidates.chance)[-1]) if candidates.unknown.any() else range(0)


def _case(rows: pd.DataFrame, name: str, candidates: Candidates, case: int) -> pd.DataFrame:
    """The anchors that do not know one input, with it set to one value it may have."""
    unknown = np.flatnonzero(candidates.unknown)
    part = rows.iloc[unknown]
    if case >= 0:
        shape = (len(rows), np.shape(candidates.chance)[-1])
        values = np.broadcast_to(candidates.values, shape)[unknown, case]
        kind = "float64" if name in DISTANCES else "str"
        part = part.assign(**{name: pd.Series(values, index=part.index).astype(kind)})
        if name == "washing":
            part = part.assign(rain_washed=part["washing"])
    # A case is a region of its own: its crags share nothing with those of another case.
    return part.assign(crag=f"{name} {case} " + part["crag"], find_out=name, case=case)


def _decide(
    table: pd.DataFrame,
    today: date,
    axial_kn: float,
    policy: Policy,
    stock: Collection[str] | None,
) -> pd.DataFrame:
    """Rank of the metal and months of the interval, all cases in one go."""
    by_place = (corrosivity, stress_corrosion_hazard, lambda t: choose_material(t, policy, stock))
    by_rock = (rock_strength, lambda t: rock_resistance(t, axial_kn))
    parts = []
    for inputs, steps in (
        ((*DISTANCES, "washing"), by_place),
        (("tap_response",), by_rock),
        (("material", "installed_on"), ()),
    ):  # only what an input reaches is computed again
        part = table[table["find_out"].isin(inputs)]
        for step in steps if len(part) else ():
            computed = step(part)
            part = part.assign(**{name: computed[name] for name in computed})
        parts.append(part)
    table = pd.concat(parts).sort_index()
    table = table.assign(age_y=age_of_anchors(table, today))
    state = state_of_anchors(table, today, capacity=False)
    table = table.assign(steel_life_left_y=state.columns["steel_life_left_y"])
    interval = inspection_interval(table, state.curve, today, policy)
    months = interval["inspection_interval_months"].to_numpy(float, na_value=np.nan)
    return table[["find_out", "case"]].assign(
        rank=MATERIAL_NAMES.rank(table["material_recommended"]).to_numpy(), months=months
    )
