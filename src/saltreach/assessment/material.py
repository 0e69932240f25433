"""Which metal a place needs: the floor of the standard, what cracking and the association add.

Rules, each with its reason and code; a later one can only raise the metal:

1. EN 1993-1-4 Annex A: the class at the best estimate of the distance is the minimum; the
   recommendation asks that the class suffices with `CONFIDENCE`, because a shoreline error
   must not buy the weaker metal.
2. Stress-corrosion hazard of the place (`science.stress_corrosion`), with the same confidence
   over the uncertain salt: our own screening.
3. The association's policy; one word of it decides on duplex everywhere.
4. What can be had: the user's stock list if there is one, else what is commonly made bonded
   (`materials.GRADES`). The least metal that satisfies the rules among these is advised, and
   the least that would suffice is named beside it, where it can be had.
"""

from __future__ import annotations

from collections.abc import Collection
from typing import Any

import numpy as np
import pandas as pd

from saltreach.assessment.corrosivity import CLASS_PROBABILITY_COLUMNS
from saltreach.assessment.reasons import Reasons
from saltreach.intake.distinct import numbers
from saltreach.intake.policy import DEFAULT, Policy
from saltreach.science.air.sunlight import sun_exposure
from saltreach.science.metal import stainless, stress_corrosion
from saltreach.vocabulary.metals import (
    BONDED,
    COMMON,
    GRADE_BY_NAME,
    MATERIAL_BY_NAME,
    MATERIAL_NAMES,
    MATERIALS,
    PLACEABLE,
)
from saltreach.vocabulary.words import BANDS, CLASSES

CLASS_TO_MATERIAL = (
    "",
    *(next(n for n in PLACEABLE if MATERIAL_BY_NAME[n].crc > at) for at in range(len(CLASSES))),
)
"""Least resistant metal of our list that meets class I to V (EN 1993-1-4, Table A.3)."""

CONFIDENCE = 0.84
"""Chance with which class and hazard band must suffice: one standard deviation, judgement."""

CARBONATE = ("limestone", "dolomite", "marble", "chalk", "calcarenite", "carbonate sedimentary")
COMMONLY_MADE = tuple(m.name for m in MATERIALS if m.placeable and m.made_as[BONDED] == COMMON)
"""Metals of bonded anchors that are easily had; duplex joins where the policy accepts it."""
RESISTANT = PLACEABLE[-1]
"""What is advised where no rule of ours reaches."""

SULPHATE_REACH_M = 10_000.0
"""Sulphate seepage this near the sea has the floor `sulphate_coast`; judgement."""
WARM_BRINE_C = 15.0
"""Annual mean above which a magnesium brine is as bad as its floor; colder ones crack less;
judgement."""
HAZARD_FLOORS: tuple[tuple[str, float, str], ...] = (
    ("warm_brine_dry", 0.45, "Shore of a magnesium brine, not washed: its salt stays wet in dry "
     "air (no measured rates exist)."),
    ("warm_brine", 0.25, "Shore of a magnesium brine: its salt stays wet in dry air (no measured "
     "rates exist)."),
    ("sulphate_coast", 0.25, "Sulphate seeps over it near the sea: 304 failed within 10 years on "
     "such cliffs (Reeve, reports 2020 to 2023, not peer reviewed; others blame salt alone)."),
    ("volcanic", 0.10, "Volcanic gas: no formula of ours reaches there."),
    ("cold_brine", 0.03, "Shore of a magnesium brine in a cold climate: wet salt, slow cracks (no "
     "measured rates exist)."),
    ("road_salt", 0.03, "Within 10 m of de-icing salt, which the salt of the sea says nothing of."),
)  # fmt: skip
"""Places whose hazard is no lower than this, whatever the formula says; judgement."""


def stress_corrosion_hazard(table: pd.DataFrame) -> pd.DataFrame:
    """Stress-corrosion hazard of each place, unknowns at their harsh end.

    Parameters
    ----------
    table : DataFrame
        Columns `chloride_mg_m2_d` with `_p10` and `_p90`, `temperature_c`, `warm_month_c`,
        `washing`, `liquid_salt_share`, `face_azimuth_deg`, `face_slope_deg`, `lat`, `lithology`,
        `seepage`, and those of `place.place_of`.

    Returns
    -------
    DataFrame
        `scc_hazard`, `scc_hazard_mild` (unknowns at their mild end), `scc_band` (empty where
        unknown), `scc_band_confident`, `scc_floor_reason`.
    """
    spread = np.log(table["chloride_mg_m2_d_p90"] / table["chloride_mg_m2_d_p10"]) / 2.5631
    rock = table["lithology"].to_numpy(object)
    seepage = table["seepage"].to_numpy(object)
    place: dict[str, Any] = {
        "rain_washed": table["washing"].to_numpy(object),
        "warm_month_c": table["warm_month_c"].to_numpy(float),
        "sun": sun_exposure(table["face_azimuth_deg"], table["face_slope_deg"], table["lat"]),
        "humidity_share": table["liquid_salt_share"].to_numpy(float),
        "carbonate_rock": np.where(
            rock == "unknown", np.nan, np.isin(rock, CARBONATE).astype(float)
        ),
        "sulphate": np.where(seepage == "unknown", np.nan, (seepage == "sulphate").astype(float)),
    }
    air = (table["chloride_mg_m2_d"].to_numpy(float), table["temperature_c"].to_numpy(float))
    sigma = spread.to_numpy(float)
    mild, harsh = stress_corrosion.scc_hazard(*air, chloride_sigma_ln=sigma, **place)
    chance = stress_corrosion.scc_band_probabilities(*air, sigma, **place)
    floor, why = _hazard_floor(table)
    harsh, mild = np.maximum(harsh, floor), np.maximum(mild, floor)
    band = stress_corrosion.scc_band(harsh)
    place_at = np.searchsorted(stress_corrosion.SCC_BAND_LIMITS, floor, side="right")
    sure = np.fmax(_first_enough(chance), place_at + 1.0) - 1
    names = np.array([*BANDS, ""], object)
    return pd.DataFrame(
        {
            "scc_hazard": harsh,
            "scc_hazard_mild": mild,
            "scc_band": np.where(band == "unknown", "", band),
            "scc_band_confident": names[
                np.where(np.isnan(harsh), -1, np.nan_to_num(sure)).astype(int)
            ],
            "scc_floor_reason": why,
        },
        index=table.index,
    )


def _hazard_floor(table: pd.DataFrame) -> tuple[np.ndarray, np.ndarray]:
    """Least hazard by `HAZARD_FLOORS`, 0 where none applies, and why."""
    brine = table["by_magnesium"].to_numpy(bool)
    warm = brine & (table["temperature_c"] >= WARM_BRINE_C).to_numpy()
    applies = {
        "warm_brine_dry": warm & (table["washing"] != "yes").to_numpy(),
        "volcanic": (table["volcanic_gas"] == "yes").to_numpy(),
        "warm_brine": warm,
        "cold_brine": brine,
        "road_salt": (table["f1_road"] <= stainless.F1_ROAD[0][1]).to_numpy(),
        "sulphate_coast": (table["seepage"] == "sulphate").to_numpy()
        & (table["salt_distance_m"] <= SULPHATE_REACH_M).to_numpy(),
    }
    cases = [applies[name] for name, *_ in HAZARD_FLOORS]
    floor = np.select(cases, [value for _, value, _ in HAZARD_FLOORS], 0.0)
    return floor, np.select(cases, [why for *_, why in HAZARD_FLOORS], "").astype(object)


def choose_material(
    table: pd.DataFrame, policy: Policy = DEFAULT, stock: Collection[str] | None = None
) -> pd.DataFrame:
    """Factor, class, minimum and recommended metal of each anchor, with reasons.

    Parameters
    ----------
    table : DataFrame
        Columns of `place.place_of`, `so2_ug_m3_used`, `mild_sea`, those of
        `stress_corrosion_hazard`, and the class probabilities of `corrosivity`.
    policy : Policy
        Rules of the association.
    stock : collection of str, optional
        Metals of the user's stock list that may be bonded here; None: what is commonly made.

    Returns
    -------
    DataFrame
        Columns `crf`, `crc`, `crf_washed`, `crf_unwashed`, `material_minimum`,
        `material_recommended`, `material_alternative`, `material_reasons`, `material_codes`.
        Unknown washing counts as unwashed. What lies outside the standard counts as class V.
    """
    reasons, codes = Reasons(table.index), Reasons(table.index)

    def say(where: Any, code: str, sentence: Any) -> None:
        reasons.add(where, sentence)
        codes.add(where, code)

    floor = _floor(table, say)
    known = floor["known"]
    sure = _first_enough(table[list(CLASS_PROBABILITY_COLUMNS)].to_numpy(float))
    advised = np.fmax(floor["class"], sure)
    say(
        known & (advised > floor["class"]),
        "CLASS-CONFIDENCE",
        f"The class must suffice with {CONFIDENCE:.0%} chance over the uncertain distance: "
        "one class higher or more is advised.",
    )
    rank = _rank_of_class(advised)
    if not policy.duplex_allowed:
        duplex = MATERIAL_BY_NAME["duplex"].rank
        no_duplex = known & (rank == duplex)
        say(no_duplex, "NO-DUPLEX", "Duplex is not among the metals the policy accepts.")
        rank = np.where(no_duplex, duplex + 1, rank)
    rank = _raised_by_hazard(table, rank, known, policy, say)
    rank = _raised_by_policy(table, rank, known, policy, say)
    odd = table["outside_standard"].to_numpy(bool)
    rank = np.where(odd, MATERIAL_BY_NAME[RESISTANT].rank, rank)
    recommended, alternative = _available(rank, known, policy, stock, say)
    return pd.DataFrame(
        {
            "crf": floor["crf"],
            "crc": CLASSES.word(floor["class"] - 1),
            "crf_washed": floor["crf_washed"],
            "crf_unwashed": floor["crf_unwashed"],
            "material_minimum": MATERIAL_NAMES.word(
                np.where(known, _rank_of_class(floor["class"]), np.nan)
            ),
            "material_recommended": MATERIAL_NAMES.word(recommended),
            "material_alternative": MATERIAL_NAMES.word(alternative),
            "material_reasons": reasons.text(),
            "material_codes": codes.text(),
        },
        index=table.index,
    )


def _floor(table: pd.DataFrame, say: Any) -> dict[str, np.ndarray]:
    """EN 1993-1-4 at the best estimate of the distance."""
    sea = stainless.sea_factor(table["class_distance_m"], table["mild_sea"])
    road = table["f1_road"].to_numpy(float)
    f1 = np.minimum(sea, road)
    f2 = stainless.so2_factor(table["so2_ug_m3_used"])
    washing = table["washing"].to_numpy(object)
    washed = washing == "yes"
    f3 = np.where(washed, stainless.F3_WASHED, stainless.F3_UNWASHED)
    crf = stainless.resistance_factor(f1, f2, f3)
    odd = table["outside_standard"].to_numpy(bool)
    crf = np.where(odd, np.nan, crf)
    needed = np.where(odd, float(len(CLASSES)), stainless.resistance_class(crf))
    known = ~np.isnan(needed)
    say(
        odd,
        "OUTSIDE-STANDARD",
        "Outside the standard (volcanic gas, or SO2 beyond its table): treat as class V, expose "
        "samples of the metals on site before buying, and look often.",
    )
    say(~known, "UNKNOWN", "Distance to the sea is unknown, so no class can be given.")
    shown = np.char.mod("%.0f", np.nan_to_num(crf)).astype(object)
    words = np.where(washed, "washed by rain", "not washed by rain").astype(object)
    roman = CLASSES.word(needed - 1)
    start = np.array("EN 1993-1-4 Annex A: factor ", object)
    say(known & ~odd, "EN-1993-1-4", start + shown + ", " + words + ", class " + roman + ".")
    say(
        known & (table["class_distance_m"] < table["salt_distance_m"]).to_numpy(),
        "SEA-CLIFF",
        "A sea cliff counts with the nearest band (250 m), wherever the layer draws the shore.",
    )
    lake = "Salt lake taken as a sea: " + table["salt_lake"].astype("str") + "."
    reached = table["by_salt_lake"].to_numpy(bool) & (sea < 0)
    say(known & reached, "SALT-LAKE", lake.to_numpy(object))
    say(known & (road < sea), "ROAD-SALT", "Road with de-icing salt governs the factor.")
    say(
        known & ~washed & (washing != "no"),
        "WASHING-UNKNOWN",
        "Whether rain washes it is unknown: assessed as not washed, the worse of the two.",
    )
    say(
        known & (table["salt_crust"] == "yes").to_numpy(),
        "CRUST",
        "A crust covers it: counted as not washed. Calcite can be harmless, salt beneath it is "
        "not, and it hides the metal.",
    )
    return {
        "crf": crf,
        "class": needed,
        "known": known,
        "crf_washed": stainless.resistance_factor(f1, f2, stainless.F3_WASHED),
        "crf_unwashed": stainless.resistance_factor(f1, f2, stainless.F3_UNWASHED),
    }


def _first_enough(chance: np.ndarray) -> np.ndarray:
    """Least step, from 1, that is not exceeded with `CONFIDENCE`; NaN where unknown."""
    enough = np.cumsum(chance, axis=1) >= CONFIDENCE - 1e-9
    first = np.where(enough.any(axis=1), np.argmax(enough, axis=1), chance.shape[1] - 1)
    return np.where(np.isnan(chance).any(axis=1), np.nan, first + 1.0)


def _raised_by_hazard(
    table: pd.DataFrame, rank: np.ndarray, known: np.ndarray, policy: Policy, say: Any
) -> np.ndarray:
    band = table["scc_band_confident"].replace("", "unknown").to_numpy(object)
    least = stress_corrosion.scc_minimum_material(band, duplex_allowed=policy.duplex_allowed)
    least_rank = MATERIAL_NAMES.rank(least)
    raised = known & (least_rank > rank)
    say(
        raised,
        "SCC-HAZARD",
        np.array(f"Stress-corrosion hazard, with {CONFIDENCE:.0%} chance no more than ", object)
        + band
        + " (own screening: salt, warmth, sun, humidity, washing, seepage): beyond the standard's "
        "least metal, at least " + least.astype(object) + " is advised.",
    )
    floor = table["scc_floor_reason"].to_numpy(object)
    say(known & (floor != ""), "SCC-FLOOR", floor)
    return np.fmax(rank, least_rank)


def _raised_by_policy(
    table: pd.DataFrame, rank: np.ndarray, known: np.ndarray, policy: Policy, say: Any
) -> np.ndarray:
    where = {
        "least_metal": np.ones(len(table), bool),
        "least_metal_sea_cliff": (table["sea_cliff"] == "yes").to_numpy(),
        "least_metal_unwashed": (table["washing"] != "yes").to_numpy(),
    }
    for name, applies in where.items():
        metal = getattr(policy, name)
        raised = known & applies & (MATERIAL_BY_NAME[metal].rank > rank)
        say(raised, "POLICY", f"Policy of the association ({name}): at least {metal}.")
        rank = np.where(raised, MATERIAL_BY_NAME[metal].rank, rank)
    return rank


def _available(
    rank: np.ndarray, known: np.ndarray, policy: Policy, stock: Collection[str] | None, say: Any
) -> tuple[np.ndarray, np.ndarray]:
    """Least metal of at least a rank that can be had, and the least that would suffice."""
    can = set(COMMONLY_MADE if stock is None else stock)
    if policy.duplex_allowed and stock is None:
        can.add("duplex")
    if not policy.duplex_allowed:
        can.discard("duplex")
    ladder = np.array(sorted(MATERIAL_BY_NAME[name].rank for name in can), float)
    at = np.searchsorted(ladder, np.nan_to_num(rank))
    best = np.append(ladder, np.nan)[at]
    best = np.where(known, best, np.nan)
    none = known & np.isnan(best)
    say(
        none,
        "STOCK-SHORT",
        np.array("Nothing in the stock list suffices here: it needs at least ", object)
        + MATERIAL_NAMES.word(rank)
        + ".",
    )
    better = known & (best > rank)
    source = "in the stock list" if stock is not None else "commonly made as bonded anchors"
    say(
        better,
        "AVAILABLE",
        pd.Series(MATERIAL_NAMES.word(best)).str.capitalize().to_numpy(object)
        + np.array(f" is the least resistant metal that suffices and is {source}; ", object)
        + MATERIAL_NAMES.word(rank)
        + np.array(" suffices too, where it can be had.", object),
    )
    return best, np.where(better | none, rank, np.nan)


def _rank_of_class(corrosion_class: np.ndarray) -> np.ndarray:
    ranks = np.array([np.nan, *(MATERIAL_BY_NAME[m].rank for m in CLASS_TO_MATERIAL[1:])])
    return ranks[np.nan_to_num(corrosion_class).astype(int)]


def resistance_class_of(material: pd.Series, grade: pd.Series | None = None) -> pd.Series:
    """Highest class each metal meets (0 for coated steel, 6 for titanium), NaN if unknown.

    A grade that is known counts in place of its family.
    """
    own = numbers(material, {name: float(m.crc) for name, m in MATERIAL_BY_NAME.items()})
    if grade is not None:
        of_grade = numbers(grade, {name: float(g.crc) for name, g in GRADE_BY_NAME.items()})
        own = np.where(np.isnan(of_grade), own, of_grade)
    return pd.Series(own, material.index)


def class_in_place(table: pd.DataFrame) -> pd.Series:
    """Class that the weaker of bolt and hanger meets (0 for coated steel), NaN if unknown."""
    bolt = resistance_class_of(table["material"], table["grade"])
    return np.fmin(bolt, resistance_class_of(table["hanger_material"]))


def class_needed(table: pd.DataFrame) -> pd.Series:
    """Class the place needs as a number, NaN if unknown."""
    return CLASSES.rank(table["crc"]) + 1.0
