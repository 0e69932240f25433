"""How long until the next inspection, and the risk in words: a table of our own.

OUR OWN RULE, common practice without a source, until the reliability model replaces it. It is
one table: corrosivity category by how far the metal falls short of the class the place needs.
"""

from __future__ import annotations

from datetime import date

import numpy as np
import pandas as pd

from saltreach.decisions.material import resistance_class_of
from saltreach.decisions.reasons import Reasons
from saltreach.materials import ROMAN, UNKNOWN
from saltreach.register.columns import CATEGORIES

LADDER_MONTHS = (3, 6, 12, 24, 36, 48, 60)
"""Intervals in use; every step down moves to the shorter neighbour."""

BASE_MONTHS: dict[str, tuple[int, int, int, int]] = {
    # metal meets the class; one class short; two or more short; coated steel
    "C1": (60, 60, 48, 48),
    "C2": (60, 48, 36, 36),
    "C3": (48, 36, 24, 24),
    "C4": (48, 24, 12, 12),
    "C5": (36, 12, 12, 6),
    "CX": (24, 12, 6, 3),
}
SHORTFALL_WORDS = ("meets", "is one class short of", "is two or more classes short of", "is below")

CONDITION_CAP_MONTHS = {2: 24, 3: 6, 4: 3}
"""Longest interval by recorded condition (2 worn, 3 poor, 4 failed)."""

BAND_OF_MONTHS = {60: "low", 48: "low", 36: "moderate", 24: "raised", 12: "high", 6: "severe",
                  3: "severe"}  # fmt: skip
"""Risk in words: how soon someone must look again."""

BAND_MEANINGS = {
    "low": "Metal and place suit each other: look again within 4 to 5 years.",
    "moderate": "Wear to be expected: look again within 3 years.",
    "raised": "Harsh place or weaker metal: look again within 2 years.",
    "high": "Metal well below what the place needs: look again within a year.",
    "severe": "Look again within 3 to 6 months, and plan better metal.",
}
"""What each band says, for legends."""


def inspection_interval(table: pd.DataFrame, today: date) -> pd.DataFrame:
    """Interval, due date and risk band of each anchor, with reasons.

    Parameters
    ----------
    table : DataFrame
        Columns `corrosivity_category`, `crc`, `washing`, `material`, `hanger_material`,
        `condition`, `tap_response`, `last_inspected_on`, `installed_on`.
    today : date
        Day the assessment speaks for.

    Returns
    -------
    DataFrame
        Columns `risk_band`, `inspection_interval_months`, `next_inspection_on`, `overdue`,
        `interval_reasons`. Empty interval and band where the category or class is unknown.
    """
    category = table["corrosivity_category"].map({c: i for i, c in enumerate(CATEGORIES)})
    needed = table["crc"].map({r: float(i) for i, r in enumerate(ROMAN) if r})
    known = (category.notna() & needed.notna()).to_numpy()
    reasons = Reasons(table.index)

    held = resistance_class_of(table["material"])
    hanger = resistance_class_of(table["hanger_material"])
    weakest = np.fmin(held, hanger)  # the weaker part governs; an unknown part is handled below
    short = np.clip(needed - weakest, 0, 2)
    column = np.where(weakest == 0, 3, np.nan_to_num(short)).astype(int)
    unknown_metal = weakest.isna().to_numpy()
    column[unknown_metal] = 2
    months_table = np.array([BASE_MONTHS[c] for c in CATEGORIES])
    months = months_table[category.fillna(0).astype(int), column].astype(float)
    rung = np.searchsorted(LADDER_MONTHS, months)

    words = np.array(SHORTFALL_WORDS, object)[column]
    base = (
        table["corrosivity_category"].astype(object)
        + ": the metal "
        + words
        + " class "
        + table["crc"].astype(object)
        + ", "
        + pd.Series(months, index=table.index).astype(int).astype(str)
        + " months."
    )
    reasons.add(known & ~unknown_metal, base)
    reasons.add(
        known & unknown_metal,
        "Metal unknown: treated as two classes short until someone finds out.",
    )

    unwashed = (table["washing"] != "yes").to_numpy() & (category >= 2).to_numpy()
    rung = rung - unwashed
    reasons.add(known & unwashed, "Not known to be washed by rain: one step shorter.")
    half_known = (
        (table["hanger_material"] != UNKNOWN) & (table["hanger_material"] != table["material"])
    ).to_numpy() & ~unknown_metal
    rung = rung - half_known
    reasons.add(known & half_known, "Bolt and hanger differ in metal: one step shorter.")

    rung = np.clip(rung, 0, len(LADDER_MONTHS) - 1)
    result = np.array(LADDER_MONTHS, float)[rung]
    for grade, cap in CONDITION_CAP_MONTHS.items():
        capped = (table["condition"] == grade).to_numpy() & (result > cap)
        result = np.where(capped, cap, result)
        reasons.add(known & capped, f"Condition {grade}: at most {cap} months.")
    hollow = (table["tap_response"] == "hollow").to_numpy()
    result = np.where(hollow, np.minimum(result, LADDER_MONTHS[0]), result)
    reasons.add(known & hollow, "Hollow sound beside the anchor: the shortest interval.")

    result = np.where(known, result, np.nan)
    reasons.add(~known, "Category or class unknown: no interval can be given.")
    band = pd.Series(result, index=table.index).map(BAND_OF_MONTHS)
    due, overdue = _due(table, result, today, reasons)
    return pd.DataFrame(
        {
            "risk_band": band.fillna(""),
            "inspection_interval_months": pd.array(result, dtype="Int64"),
            "next_inspection_on": due,
            "overdue": overdue,
            "interval_reasons": reasons.text(),
        },
        index=table.index,
    )


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
