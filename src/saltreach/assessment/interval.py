"""How long until the next inspection; the rule that governed is named.

The shortest of: half of the remaining life (API 570's rule, coated steel), the time until the
yearly probability of failure reaches the target, caps by class and evidence, a land manager's
own interval, a year where a like anchor failed, and the policy's longest. Rounded down to a
ladder of 6 to 60 months; a manager's shorter one is kept as it is. An anchor
recorded as failed has none: it is out of use until replaced. No due date lies before the day of
the assessment.
"""

from __future__ import annotations

from datetime import date

import numpy as np
import pandas as pd

from saltreach.assessment.findings import flag, months, texts
from saltreach.assessment.material import class_in_place, class_needed
from saltreach.assessment.reasons import Reasons
from saltreach.assessment.risk import cracking
from saltreach.assessment.state import FAILED, is_recorded, metal_in_place
from saltreach.intake.policy import DEFAULT, Policy
from saltreach.science.time.inspection import (
    EXTERNAL,
    NORM_MONTHS,
    cap_months,
    governing,
    half_life_months,
    months_by_probability,
)
from saltreach.vocabulary.metals import COATED, MATERIAL_BY_NAME
from saltreach.vocabulary.words import UNKNOWN

CLASS_OF_THE_CLASSLESS = MATERIAL_BY_NAME["304"].crc
"""Metals without a class (coated steel above all, which has the rule of its remaining life) get no
longer intervals than 304 where the place needs a better class than its; judgement."""


def inspection_interval(
    table: pd.DataFrame, curve: np.ndarray, today: date, policy: Policy = DEFAULT
) -> pd.DataFrame:
    """Interval and due date of each anchor, with reasons.

    Parameters
    ----------
    table : DataFrame
        Register columns, `age_y`, `corrosivity_category`, `crc`, `scc_band`, losses of steel and
        zinc, `metal_probability_y1`, `rock_probability_y1`, `steel_life_left_y`.
    curve : ndarray, shape (n, years)
        Yearly failure probability, from `state_of_anchors`.
    today : date
        Day the assessment speaks for.
    policy : Policy
        Rules of the association.

    Returns
    -------
    DataFrame
        `inspection_interval_months`, `next_inspection_on` (never before `today`), `overdue`,
        `interval_reasons`, `interval_rule`. Empty where neither category nor class is known, and
        for anchors recorded as failed.
    """
    found = governing(_candidates(table, curve, policy), kept=(EXTERNAL, POLICY_RULE))
    failed = is_recorded(table, FAILED)
    out = flag(table, "found_out") & ~failed
    closed = texts(table, "closed_since")
    shut = (closed != "") & ~failed & ~out
    decided = ((table["corrosivity_category"] != "") | (table["crc"] != "")).to_numpy()
    known = decided & ~failed & ~out & ~shut
    interval = np.where(known, found.months, np.nan)
    reasons = Reasons(table.index)
    reasons.add(failed, "Out of use: no inspection until it is replaced.")
    reasons.add(out, "Out of use: no inspection until it is reset or replaced.")
    reasons.add(
        shut,
        np.array("Closed since ", object) + closed + ": no inspection until it is reopened.",
    )
    reasons.add(
        ~decided & ~failed & ~out & ~shut, "Category and class unknown: no interval can be given."
    )
    exact = np.char.mod("%.0f", np.nan_to_num(found.exact_months)).astype(object)
    rounded = np.char.mod("%.0f", np.nan_to_num(interval)).astype(object)
    step = np.array(" months, rounded down to ", object) + rounded
    step = np.where(found.below_ladder, " months; the shortest is " + rounded, step)
    step = np.where(exact == rounded, " months", step)
    reasons.add(known, np.array("Governed by: ", object) + found.rule + " (" + exact + step + ").")
    reasons.add(
        known & found.below_ladder,
        "Even the shortest interval is longer than the rule asks: looking does not mend it, "
        "replace it or keep it out of use.",
    )
    unmended = known & (found.rule == TARGET_RULE) & cracking(metal_in_place(table))
    unmended &= (table["metal_probability_y1"] > table["rock_probability_y1"]).to_numpy()
    unmended &= ~table["scc_band"].isin(["", "low"]).to_numpy()
    reasons.add(
        unmended, "An eye sees next to nothing of stress-corrosion cracks: better metal, not looks."
    )
    due, overdue = _due(table, interval, today, reasons)
    return pd.DataFrame(
        {
            "inspection_interval_months": pd.array(interval, dtype="Int64"),
            "next_inspection_on": due,
            "overdue": overdue,
            "interval_reasons": reasons.text(),
            "interval_rule": np.where(known, found.rule, ""),
        },
        index=table.index,
    )


TARGET_RULE = "yearly failure probability"
POLICY_RULE = "longest of the policy"
FOUND_RULE, DOUBT_RULE = "findings", "doubts about its placing"


def _candidates(table: pd.DataFrame, curve: np.ndarray, policy: Policy) -> dict[str, np.ndarray]:
    """Months by rule, NaN where a rule has nothing to say."""
    held = class_in_place(table).replace(0.0, CLASS_OF_THE_CLASSLESS)
    metal = metal_in_place(table)
    cracks = cracking(metal)
    # looking again helps against rust: where it governs, or alone would pass the target
    rust = table["metal_probability_y1"]
    rusts = metal.isin(COATED) & (
        (rust > table["rock_probability_y1"]) | (rust >= policy.failure_target_per_y)
    )
    caps = cap_months(
        corrosivity_category=table["corrosivity_category"].to_numpy(object),
        scc_band=table["scc_band"].to_numpy(object),
        cracks=cracks,
        condition=table["condition"].to_numpy(float, na_value=np.nan),
        metal_known=(table["material"] != UNKNOWN).to_numpy(),
        date_known=table["installed_on"].notna().to_numpy(),
        hollow=(table["tap_response"] == "hollow").to_numpy(bool),
        volcanic=table["outside_standard"].to_numpy(bool),
        below_class=(held < class_needed(table)).to_numpy(),
        external_months=table["interval_set_months"].to_numpy(float),
    )
    return {
        "half of remaining life": half_life_months(table["steel_life_left_y"].to_numpy(float)),
        TARGET_RULE: months_by_probability(curve, rusts, policy.failure_target_per_y),
        **caps,
        FOUND_RULE: months(table, "found_months"),
        DOUBT_RULE: months(table, "doubt_months"),
        "failure of a like anchor (same sector, metal and year)": np.where(
            table["like_failed_share"] > 0, NORM_MONTHS, np.nan
        ),
        POLICY_RULE: np.full(len(table), float(policy.longest_interval_months)),
    }


def _due(
    table: pd.DataFrame, interval: np.ndarray, today: date, reasons: Reasons
) -> tuple[np.ndarray, np.ndarray]:
    """Due date as ISO text, no earlier than today, and whether it has passed.

    A year or month alone counts from its first day: the earlier reading comes due sooner.
    """
    seen = _earliest(table["last_inspected_on"])
    start = seen.where(seen.notna(), _earliest(table["installed_on"]))
    known = ~np.isnan(interval)
    no_start = start.isna().to_numpy()
    begin = start.to_numpy().astype("datetime64[M]")
    day = start.to_numpy().astype("datetime64[D]") - begin.astype("datetime64[D]")
    later = begin + np.nan_to_num(interval).astype(int).astype("timedelta64[M]")
    last_day = (later + 1).astype("datetime64[D]") - np.timedelta64(1, "D")
    due = np.minimum(later.astype("datetime64[D]") + day, last_day)
    now = np.datetime64(today)
    due = np.where(no_start, now, due)
    overdue = known & (due < now)
    never = seen.isna().to_numpy() & ~no_start
    year = start.dt.year.fillna(0).astype(int).astype("str").to_numpy(object)
    said = np.datetime_as_string(due, unit="D").astype(object)
    reasons.add(known & no_start, "Due now: neither inspection nor placement is dated.")
    reasons.add(
        known & never & overdue, np.array("Due now: never inspected since ", object) + year + "."
    )
    reasons.add(known & never & ~overdue, "Never inspected on record: from placement.")
    reasons.add(known & ~never & overdue, np.array("Due now: it was due on ", object) + said + ".")
    text = np.where(known, np.datetime_as_string(np.maximum(due, now), unit="D"), "")
    return text.astype(object), np.where(known, np.where(overdue, "yes", "no"), "").astype(object)


def _earliest(dates: pd.Series) -> pd.Series:
    """First day a partial ISO date can mean."""
    text = dates.fillna("").astype("str")
    full = (text + "-01-01").where(text.str.len() == 4, text)
    full = (full + "-01").where(full.str.len() == 7, full)
    return pd.to_datetime(full.where(text != "", None), format="%Y-%m-%d").astype("datetime64[s]")
