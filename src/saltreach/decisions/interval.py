"""How long until the next inspection, and the risk in words; the rule that governed is named.

The shortest of: half of the remaining life (API 570's rule, coated steel), the time until the
yearly probability of failure reaches the target, caps by class and evidence, a land manager's
own interval, and the policy's longest. Rounded down to a ladder of 3 to 60 months.
"""

from __future__ import annotations

from datetime import date

import numpy as np
import pandas as pd

from saltreach.decisions.material import rank_of, resistance_class_of
from saltreach.decisions.reasons import Reasons
from saltreach.decisions.state import metal_in_place
from saltreach.materials import MATERIAL_BY_NAME
from saltreach.policy import DEFAULT, Policy
from saltreach.science.inspection import (
    LADDER_MONTHS,
    cap_months,
    governing,
    half_life_months,
    months_to_target,
)
from saltreach.science.reliability import MODEL, ZINC_UM, rust_life_y
from saltreach.science.resistance import SHEAR_RATIO, steel_resistance_kn

SECTION_LEFT = 0.8
"""Coated steel is at the end of its life at this share of its section; judgement."""
OLDEST_Y = 35.0
"""Age of an undated anchor in a register that dates none; judgement."""

BAND_LIMITS_PER_Y = (1e-4, 1e-3, 1e-2, 5e-2)
"""Lower limits of moderate to severe, yearly probability of failure of one anchor; judgement."""
BANDS = np.array(["low", "moderate", "raised", "high", "severe"], object)
BAND_MEANINGS = {
    "low": "Less than 1 in 10,000 a year that an anchor fails, as far as the model can tell.",
    "moderate": "Between 1 in 10,000 and 1 in 1,000 a year.",
    "raised": "Between 1 in 1,000 and 1 in 100 a year: above the default target.",
    "high": "Between 1 in 100 and 1 in 20 a year: plan better metal.",
    "severe": "More than 1 in 20 a year, or failed, or hollow rock: act first.",
}
"""What each band says, for legends."""


def inspection_interval(
    table: pd.DataFrame, curve: np.ndarray, age_y: np.ndarray, today: date, policy: Policy = DEFAULT
) -> pd.DataFrame:
    """Interval, due date and risk band of each anchor, with reasons.

    Parameters
    ----------
    table : DataFrame
        Register columns, `corrosivity_category`, `crc`, `scc_band`, losses of steel and zinc.
    curve : ndarray, shape (n, years)
        Yearly failure probability, from `state_of_anchors`.
    age_y : ndarray, shape (n,)
        Age, years; NaN unknown.
    today : date
        Day the assessment speaks for.
    policy : Policy
        Rules of the association.

    Returns
    -------
    DataFrame
        `risk_band`, `inspection_interval_months`, `next_inspection_on`, `overdue`,
        `interval_reasons`, `interval_rule`. Empty where neither category nor class is known.
    """
    candidates = _candidates(table, curve, age_y, policy)
    found = governing(candidates)
    known = ((table["corrosivity_category"] != "") & (table["crc"] != "")).to_numpy()
    months = np.where(known, found.months, np.nan)
    reasons = Reasons(table.index)
    reasons.add(~known, "Category or class unknown: no interval can be given.")
    exact = np.char.mod("%.0f", np.nan_to_num(found.exact_months, posinf=999)).astype(object)
    rounded = np.char.mod("%.0f", np.nan_to_num(months)).astype(object)
    reasons.add(
        known,
        np.array("Governed by: ", object)
        + found.rule
        + " ("
        + exact
        + " months, rounded down to "
        + rounded
        + ").",
    )
    reasons.add(
        known & found.below_ladder,
        "Even the shortest interval is longer than the rule asks: looking does not mend it, "
        "replace it or keep it out of use.",
    )
    unmended = known & (found.rule == TARGET_RULE) & _cracks(table)
    reasons.add(
        unmended, "An eye sees next to nothing of stress-corrosion cracks: better metal, not looks."
    )
    due, overdue = _due(table, months, today, reasons)
    return pd.DataFrame(
        {
            "risk_band": risk_band(table, curve[:, 0]),
            "inspection_interval_months": pd.array(months, dtype="Int64"),
            "next_inspection_on": due,
            "overdue": overdue,
            "interval_reasons": reasons.text(),
            "interval_rule": np.where(known, found.rule, ""),
        },
        index=table.index,
    )


TARGET_RULE = "yearly failure probability"


def _candidates(
    table: pd.DataFrame, curve: np.ndarray, age_y: np.ndarray, policy: Policy
) -> dict[str, np.ndarray]:
    """Months by rule, NaN where a rule has nothing to say."""
    caps = cap_months(
        corrosivity_category=table["corrosivity_category"].to_numpy(object),
        scc_band=table["scc_band"].to_numpy(object),
        cracks=_cracks(table),
        condition=table["condition"].to_numpy(float, na_value=np.nan),
        metal_known=(table["material"] != "unknown").to_numpy(),
        date_known=~np.isnan(age_y),
        hollow=(table["tap_response"] == "hollow").to_numpy(bool, na_value=False),
        external_months=table["interval_set_months"].to_numpy(float),
    )
    below = (
        np.fmin(
            resistance_class_of(table["material"]), resistance_class_of(table["hanger_material"])
        )
        < table["crc"].map({"I": 1.0, "II": 2.0, "III": 3.0, "IV": 4.0, "V": 5.0})
    ).to_numpy()
    return {
        "half of remaining life": half_life_months(remaining_life_of_coated_y(table, age_y)),
        TARGET_RULE: _months_by_failure(curve, policy.failure_target_per_y),
        "metal below its class": np.where(below, BELOW_CLASS_CAP_MONTHS, np.nan),
        **caps,
        "longest of the policy": np.full(len(table), float(policy.longest_interval_months)),
    }


ABOVE_TARGET = ((2.0, 12.0), (10.0, 6.0), (np.inf, 3.0))
"""Months while today's yearly probability is below so many times the target: once it is passed
looking more often mends little, so the interval shortens in steps; judgement. 12 months is what
EN 365 asks of personal fall-protection equipment (from memory)."""


def _months_by_failure(curve: np.ndarray, target_per_y: float) -> np.ndarray:
    """Time until the target is reached, or the step of today's probability if that is longer."""
    ratio = curve[:, 0] / target_per_y
    limits, months = (np.array(v) for v in zip(*ABOVE_TARGET, strict=True))
    step = months[np.searchsorted(limits[:-1], np.nan_to_num(ratio), side="right")]
    return np.maximum(months_to_target(curve, target_per_y), step)


BELOW_CLASS_CAP_MONTHS = 24.0
"""Longest interval of a metal below the class of its place; judgement."""


def _cracks(table: pd.DataFrame) -> np.ndarray:
    """Whether the metal in place may crack by stress corrosion, unknown metal included."""
    free = rank_of(metal_in_place(table)) >= MATERIAL_BY_NAME["superaustenitic"].rank
    coated = resistance_class_of(metal_in_place(table)) == 0
    return ~(free | coated).to_numpy()


def remaining_life_of_coated_y(table: pd.DataFrame, age_y: np.ndarray) -> np.ndarray:
    """Years until coated steel has lost a fifth of its section; NaN for other metals.

    The thin end of the usual coating, ISO 9224, and rust that is `Model.local_factor` times
    deeper than the mean at its worst place. An unknown date counts as the oldest dated anchor.
    """
    metal = metal_in_place(table)
    coating = metal.map({name: low for name, (low, _) in ZINC_UM.items()}).to_numpy(float)
    diameter = table["diameter_mm"].fillna(MODEL.diameter_mm).to_numpy(float)
    required = SECTION_LEFT * SHEAR_RATIO * steel_resistance_kn(diameter)
    life = rust_life_y(
        diameter,
        required,
        coating,
        table["zinc_rate_um_y"].to_numpy(float),
        table["steel_rate_um_y"].to_numpy(float),
    )
    oldest = np.nanmax(age_y) if (~np.isnan(age_y)).any() else OLDEST_Y
    return np.maximum(life - np.where(np.isnan(age_y), oldest, age_y), 0.0)


def risk_band(table: pd.DataFrame, yearly_probability: np.ndarray) -> np.ndarray:
    """Risk in words by the yearly probability; failed or hollow is severe; empty if unknown."""
    p = np.asarray(yearly_probability, float)
    index = np.searchsorted(BAND_LIMITS_PER_Y, np.nan_to_num(p), side="right")
    band = np.where(np.isnan(p), "", BANDS[index])
    act = (table["condition"] == 4).to_numpy(bool, na_value=False)
    act = act | (table["tap_response"] == "hollow").to_numpy(bool, na_value=False)
    return np.where(act, "severe", band)


def _due(
    table: pd.DataFrame, months: np.ndarray, today: date, reasons: Reasons
) -> tuple[np.ndarray, np.ndarray]:
    """Due date as ISO text, and whether it has passed.

    A year or month alone counts from its first day: the earlier reading comes due sooner.
    """
    seen = _earliest(table["last_inspected_on"])
    start = seen.where(seen.notna(), _earliest(table["installed_on"]))
    known = ~np.isnan(months)
    no_start = start.isna().to_numpy()
    reasons.add(known & no_start, "Neither inspection nor placement is dated: due now.")
    reasons.add(
        known & seen.isna().to_numpy() & ~no_start, "Never inspected on record: from placement."
    )
    begin = start.to_numpy().astype("datetime64[M]")
    day = start.to_numpy().astype("datetime64[D]") - begin.astype("datetime64[D]")
    later = begin + np.nan_to_num(months).astype(int).astype("timedelta64[M]")
    last_day = (later + 1).astype("datetime64[D]") - np.timedelta64(1, "D")
    due = np.minimum(later.astype("datetime64[D]") + day, last_day)
    due = np.where(no_start, np.datetime64(today), due)
    overdue = known & (due < np.datetime64(today))
    text = np.where(known, np.datetime_as_string(due, unit="D"), "")
    return text.astype(object), np.where(known, np.where(overdue, "yes", "no"), "").astype(object)


def _earliest(dates: pd.Series) -> pd.Series:
    """First day a partial ISO date can mean."""
    text = dates.fillna("").astype("str")
    full = (text + "-01-01").str.slice(0, 10).where(text.str.len() == 4, text)
    full = (full + "-01").where(full.str.len() == 7, full)
    return pd.to_datetime(full.where(text != "", None), format="%Y-%m-%d").astype("datetime64[s]")


__all__ = ["BAND_MEANINGS", "LADDER_MONTHS", "inspection_interval", "risk_band"]
