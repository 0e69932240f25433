"""Which metal a place needs: the floor of the standard, and what we advise above it.

First cut: EN 1993-1-4 Annex A gives the floor; two precautions of our own raise it where the
annex was not made to look (small stressed parts that rain does not wash). They are marked as
our own in every reason.
"""

from __future__ import annotations

import numpy as np
import pandas as pd

from saltreach.decisions.reasons import Reasons
from saltreach.materials import MATERIAL_BY_NAME, MATERIAL_NAMES, ROMAN
from saltreach.science import stainless

_CLASS_TO_MATERIAL = ("", "304", "304", "316", "duplex", "superaustenitic")
"""Least resistant metal of our list that meets class I to V (EN 1993-1-4, Table A.3)."""

PRECAUTION_CHLORIDE_MG_M2_D = 60.0
"""Above this median, an unwashed place of class V is advised titanium. ISO 9223 ends its
moderate salt class S1 here; that we use it as the threshold is our own rule."""


def choose_material(table: pd.DataFrame) -> pd.DataFrame:
    """Factor, class, minimum and recommended metal of each anchor, with reasons.

    Parameters
    ----------
    table : DataFrame
        Columns `coast_distance_m`, `coast_distance_sd_m`, `so2_ug_m3_used`, `mild_sea`,
        `washing`, `chloride_mg_m2_d`.

    Returns
    -------
    DataFrame
        Columns `crf`, `crc`, `crf_washed`, `crf_unwashed`, `material_minimum`,
        `material_recommended`, `material_reasons`; empty where the distance or SO2 is unknown.

    Notes
    -----
    The minimum is taken at the best estimate of the distance. The recommendation is taken one
    standard deviation nearer to the sea, because a shoreline error must not buy the weaker
    metal. Unknown washing counts as unwashed in both.
    """
    distance = table["coast_distance_m"].to_numpy(float)
    nearer = np.maximum(distance - table["coast_distance_sd_m"].to_numpy(float), 0)
    f2 = stainless.so2_factor(table["so2_ug_m3_used"])
    mild = table["mild_sea"].to_numpy(bool)
    washed = (table["washing"] == "yes").to_numpy()
    unknown_washing = (~table["washing"].isin(["yes", "no"])).to_numpy()
    f3 = np.where(washed, stainless.F3_WASHED, stainless.F3_UNWASHED)

    f1 = stainless.sea_factor(distance, mild)
    crf = stainless.resistance_factor(f1, f2, f3)
    needed = stainless.resistance_class(crf)
    f1_near = stainless.sea_factor(nearer, mild)
    advised = stainless.resistance_class(stainless.resistance_factor(f1_near, f2, f3))

    reasons = Reasons(table.index)
    known = ~np.isnan(needed)
    reasons.add(~known, "Distance to the sea or SO2 is unknown, so no class can be given.")
    shown = np.char.mod("%.0f", np.nan_to_num(crf))
    roman = np.array(ROMAN, object)[np.nan_to_num(needed).astype(int)]
    washing = np.where(washed, "washed by rain", "not washed by rain")
    sentence = (
        np.array("EN 1993-1-4 Annex A: factor ", object)
        + shown.astype(object)
        + ", "
        + washing.astype(object)
        + ", class "
        + roman
        + "."
    )
    reasons.add(known, sentence)
    reasons.add(
        known & unknown_washing,
        "Whether rain washes it is unknown: assessed as not washed, the worse of the two.",
    )
    reasons.add(
        known & (advised > needed),
        "One standard deviation of the distance would place it in a nearer band: the "
        "recommendation is for that band.",
    )
    advised = _with_precautions(table, f1_near, washed, advised, reasons)
    return pd.DataFrame(
        {
            "crf": crf,
            "crc": np.where(known, roman, ""),
            "crf_washed": stainless.resistance_factor(f1, f2, stainless.F3_WASHED),
            "crf_unwashed": stainless.resistance_factor(f1, f2, stainless.F3_UNWASHED),
            "material_minimum": _material_of(needed),
            "material_recommended": _material_of(advised),
            "material_reasons": reasons.text(),
        },
        index=table.index,
    )


def _with_precautions(
    table: pd.DataFrame,
    f1: np.ndarray,
    washed: np.ndarray,
    advised: np.ndarray,
    reasons: Reasons,
) -> np.ndarray:
    """Raise the advised class (6 stands for titanium) where unwashed parts may crack."""
    near_sea = f1 <= stainless.F1_SEA[1][1]
    not_washed = (table["washing"] == "no").to_numpy()
    raise_to_v = near_sea & not_washed & (advised < 5)
    reasons.add(
        raise_to_v,
        "Own precaution: within 1 km of the sea and not washed, small stressed parts are "
        "advised class V, as the annex asks of fixings in unwashed chloride (pools).",
    )
    raise_by_one = near_sea & ~washed & ~not_washed & (advised < 5)
    reasons.add(
        raise_by_one,
        "Own precaution: within 1 km of the sea and washing unknown, one class higher is advised.",
    )
    advised = np.where(raise_to_v, 5, advised + raise_by_one)
    salty = (table["chloride_mg_m2_d"] > PRECAUTION_CHLORIDE_MG_M2_D).to_numpy()
    to_titanium = (advised == 5) & salty & not_washed
    reasons.add(
        to_titanium,
        f"Own precaution: above {PRECAUTION_CHLORIDE_MG_M2_D:.0f} mg/(m2 d) of chloride and not "
        "washed, titanium is advised: no stress-corrosion cracking of it is known here.",
    )
    return np.where(to_titanium, 6, advised)


def _material_of(corrosion_class: np.ndarray) -> np.ndarray:
    names = np.array([*_CLASS_TO_MATERIAL, "titanium"], object)
    index = np.nan_to_num(corrosion_class).astype(int)
    return names[index]


def rank_of(material: pd.Series) -> pd.Series:
    """Place of each metal in rising resistance, NaN for `unknown` and empty."""
    return material.map({name: float(i) for i, name in enumerate(MATERIAL_NAMES)})


def resistance_class_of(material: pd.Series) -> pd.Series:
    """Highest class each metal meets (0 for coated steel, 6 for titanium), NaN if unknown."""
    return material.map({name: float(m.crc) for name, m in MATERIAL_BY_NAME.items()})
