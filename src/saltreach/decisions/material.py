"""Which metal a place needs: the floor of the standard, what cracking and the association add.

Three rules, each with its reason and code; a later one can only raise the metal:

1. EN 1993-1-4 Annex A: the class at the best estimate of the distance is the minimum; the
   recommendation asks that the class suffices with `CONFIDENCE`, because a shoreline error
   must not buy the weaker metal.
2. Stress-corrosion hazard of the place (`science.stress_corrosion`): our own screening.
3. The association's policy.

Among the metals that satisfy all three the cheapest is recommended, at the policy's prices.
"""

from __future__ import annotations

from typing import Any

import numpy as np
import pandas as pd

from saltreach.decisions.corrosivity import CLASS_PROBABILITY_COLUMNS
from saltreach.decisions.reasons import Reasons
from saltreach.materials import MATERIAL_BY_NAME, MATERIAL_NAMES, ROMAN
from saltreach.policy import DEFAULT, Policy
from saltreach.science import stainless, stress_corrosion
from saltreach.science.sunlight import sun_exposure

CLASS_TO_MATERIAL = ("", "304", "304", "316", "duplex", "superaustenitic")
"""Least resistant metal of our list that meets class I to V (EN 1993-1-4, Table A.3)."""

CONFIDENCE = 0.84
"""Chance with which the recommended class must suffice: one standard deviation, judgement."""

CARBONATE = ("limestone", "dolomite", "marble", "chalk")
SEA_CLIFF_M = 500.0
"""A place this near the sea counts as a sea cliff: EN 1993-1-4's nearest band (250 m) and one
standard deviation of the embedded shoreline."""


def stress_corrosion_hazard(table: pd.DataFrame) -> pd.DataFrame:
    """Stress-corrosion hazard of each place, unknowns at their harsh end.

    Parameters
    ----------
    table : DataFrame
        Columns `chloride_mg_m2_d` with `_p10` and `_p90`, `temperature_c`, `warm_month_c`,
        `washing`, `liquid_salt_share`, `face_azimuth_deg`, `face_slope_deg`, `lat`, `lithology`.

    Returns
    -------
    DataFrame
        `scc_hazard`, `scc_hazard_mild` (unknowns at their mild end), `scc_band` (empty where
        unknown).
    """
    spread = np.log(table["chloride_mg_m2_d_p90"] / table["chloride_mg_m2_d_p10"]) / 2.5631
    rock = table["lithology"].to_numpy(object)
    carbonate = np.where(rock == "unknown", np.nan, np.isin(rock, CARBONATE).astype(float))
    mild, harsh = stress_corrosion.scc_hazard_range(
        table["chloride_mg_m2_d"].to_numpy(float),
        table["temperature_c"].to_numpy(float),
        chloride_sigma_ln=spread.to_numpy(float),
        rain_washed=table["washing"].to_numpy(object),
        warm_month_c=table["warm_month_c"].to_numpy(float),
        sun=sun_exposure(table["face_azimuth_deg"], table["face_slope_deg"], table["lat"]),
        humidity_share=table["liquid_salt_share"].to_numpy(float),
        carbonate_rock=carbonate,
    )
    band = stress_corrosion.scc_band(harsh)
    return pd.DataFrame(
        {
            "scc_hazard": harsh,
            "scc_hazard_mild": mild,
            "scc_band": np.where(band == "unknown", "", band),
        },
        index=table.index,
    )


def choose_material(table: pd.DataFrame, policy: Policy = DEFAULT) -> pd.DataFrame:
    """Factor, class, minimum and recommended metal of each anchor, with reasons.

    Parameters
    ----------
    table : DataFrame
        Columns `coast_distance_m`, `so2_ug_m3_used`, `mild_sea`, `washing`, `scc_band`,
        `scc_hazard`, and the class probabilities of `corrosivity`.
    policy : Policy
        Rules of the association.

    Returns
    -------
    DataFrame
        Columns `crf`, `crc`, `crf_washed`, `crf_unwashed`, `material_minimum`,
        `material_recommended`, `material_reasons`, `material_codes`; empty where the distance
        or SO2 is unknown. Unknown washing counts as unwashed.
    """
    reasons, codes = Reasons(table.index), Reasons(table.index)

    def say(where: Any, code: str, sentence: Any) -> None:
        reasons.add(where, sentence)
        codes.add(where, code)

    floor = _floor(table, say)
    known = floor["known"]
    advised = np.maximum(floor["class"], _confident_class(table))
    say(
        known & (advised > floor["class"]),
        "CLASS-CONFIDENCE",
        f"The class must suffice with {CONFIDENCE:.0%} chance over the uncertain distance: "
        "one class higher or more is advised.",
    )
    rank = _rank_of_class(advised)
    rank = _raised_by_hazard(table, rank, known, policy, say)
    rank = _raised_by_policy(table, rank, known, policy, say)
    band = table["scc_band"].to_numpy(object)
    recommended = _cheapest(rank, ~np.isin(band, ("", "low", "moderate")), known, policy, say)
    return pd.DataFrame(
        {
            "crf": floor["crf"],
            "crc": np.array(ROMAN, object)[np.nan_to_num(floor["class"]).astype(int)],
            "crf_washed": floor["crf_washed"],
            "crf_unwashed": floor["crf_unwashed"],
            "material_minimum": _names(np.where(known, _rank_of_class(floor["class"]), np.nan)),
            "material_recommended": _names(recommended),
            "material_reasons": reasons.text(),
            "material_codes": codes.text(),
        },
        index=table.index,
    )


def _floor(table: pd.DataFrame, say: Any) -> dict[str, np.ndarray]:
    """EN 1993-1-4 at the best estimate of the distance."""
    f1 = stainless.sea_factor(table["coast_distance_m"], table["mild_sea"])
    f2 = stainless.so2_factor(table["so2_ug_m3_used"])
    washing = table["washing"].to_numpy(object)
    washed = washing == "yes"
    f3 = np.where(washed, stainless.F3_WASHED, stainless.F3_UNWASHED)
    crf = stainless.resistance_factor(f1, f2, f3)
    needed = stainless.resistance_class(crf)
    known = ~np.isnan(needed)
    say(~known, "UNKNOWN", "Distance to the sea or SO2 is unknown, so no class can be given.")
    shown = np.char.mod("%.0f", np.nan_to_num(crf)).astype(object)
    words = np.where(washed, "washed by rain", "not washed by rain").astype(object)
    roman = np.array(ROMAN, object)[np.nan_to_num(needed).astype(int)]
    start = np.array("EN 1993-1-4 Annex A: factor ", object)
    say(known, "EN-1993-1-4", start + shown + ", " + words + ", class " + roman + ".")
    say(
        known & ~washed & (washing != "no"),
        "WASHING-UNKNOWN",
        "Whether rain washes it is unknown: assessed as not washed, the worse of the two.",
    )
    return {
        "crf": crf,
        "class": needed,
        "known": known,
        "crf_washed": stainless.resistance_factor(f1, f2, stainless.F3_WASHED),
        "crf_unwashed": stainless.resistance_factor(f1, f2, stainless.F3_UNWASHED),
    }


def _confident_class(table: pd.DataFrame) -> np.ndarray:
    """Least class that suffices with `CONFIDENCE`."""
    chance = table[list(CLASS_PROBABILITY_COLUMNS)].to_numpy(float)
    enough = np.cumsum(chance, axis=1) >= CONFIDENCE - 1e-9
    first = np.where(enough.any(axis=1), np.argmax(enough, axis=1), chance.shape[1] - 1)
    return np.where(np.isnan(chance).any(axis=1), np.nan, first + 1.0)


def _raised_by_hazard(
    table: pd.DataFrame, rank: np.ndarray, known: np.ndarray, policy: Policy, say: Any
) -> np.ndarray:
    band = table["scc_band"].replace("", "unknown").to_numpy(object)
    least = stress_corrosion.scc_minimum_material(band, duplex_allowed=policy.duplex_allowed)
    least_rank = _ranks(least)
    raised = known & (least_rank > rank)
    say(
        raised,
        "SCC-HAZARD",
        np.array("Stress-corrosion hazard ", object)
        + band
        + " (own screening: salt, warmth, sun, humidity, washing): at least "
        + least.astype(object)
        + ".",
    )
    return np.fmax(rank, least_rank)


def _raised_by_policy(
    table: pd.DataFrame, rank: np.ndarray, known: np.ndarray, policy: Policy, say: Any
) -> np.ndarray:
    where = {
        "least_metal": np.ones(len(table), bool),
        "least_metal_sea_cliff": (table["coast_distance_m"] <= SEA_CLIFF_M).to_numpy(),
        "least_metal_unwashed": (table["washing"] != "yes").to_numpy(),
    }
    for name, applies in where.items():
        metal = getattr(policy, name)
        raised = known & applies & (MATERIAL_BY_NAME[metal].rank > rank)
        say(raised, "POLICY", f"Policy of the association ({name}): at least {metal}.")
        rank = np.where(raised, MATERIAL_BY_NAME[metal].rank, rank)
    return rank


def _cheapest(
    rank: np.ndarray, hazardous: np.ndarray, known: np.ndarray, policy: Policy, say: Any
) -> np.ndarray:
    """The cheapest metal of at least a rank; duplex only where the hazard leaves it open."""
    prices = np.array([policy.prices.get(name, np.inf) for name in MATERIAL_NAMES])
    allowed = np.arange(len(prices)) >= rank[:, None]
    duplex = MATERIAL_BY_NAME["duplex"].rank
    if not policy.duplex_allowed:
        allowed[:, duplex] &= ~hazardous | (rank == duplex)
    cost = np.where(allowed, prices, np.inf)
    best = np.argmin(cost, axis=1).astype(float)
    best = np.where(np.isfinite(cost.min(axis=1)), best, rank)
    best = np.where(known, best, np.nan)
    better = known & (best > rank)
    say(
        better,
        "PRICE",
        np.array("At the prices of the policy ", object)
        + _names(best)
        + " costs less than the least metal needed.",
    )
    return best


def _rank_of_class(corrosion_class: np.ndarray) -> np.ndarray:
    ranks = np.array([np.nan, *(MATERIAL_BY_NAME[m].rank for m in CLASS_TO_MATERIAL[1:])])
    return ranks[np.nan_to_num(corrosion_class).astype(int)]


def _ranks(names: np.ndarray) -> np.ndarray:
    return rank_of(pd.Series(names)).to_numpy(float)


def _names(rank: np.ndarray) -> np.ndarray:
    names = np.array([*MATERIAL_NAMES, ""], object)
    return names[np.where(np.isnan(rank), len(MATERIAL_NAMES), rank).astype(int)]


def rank_of(material: pd.Series) -> pd.Series:
    """Place of each metal in rising resistance, NaN for `unknown` and empty."""
    return material.map({name: float(i) for i, name in enumerate(MATERIAL_NAMES)})


def resistance_class_of(material: pd.Series) -> pd.Series:
    """Highest class each metal meets (0 for coated steel, 6 for titanium), NaN if unknown."""
    return material.map({name: float(m.crc) for name, m in MATERIAL_BY_NAME.items()})
