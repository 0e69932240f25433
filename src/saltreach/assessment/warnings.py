"""What a reader must know before using a row."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import pandas as pd

from saltreach.assessment.findings import texts
from saltreach.assessment.learned import learned_sentences
from saltreach.assessment.material import class_in_place, class_needed, resistance_class_of
from saltreach.assessment.reasons import Reasons
from saltreach.assessment.rock import rock_notes
from saltreach.assessment.state import FAILED, is_recorded
from saltreach.intake.policy import DEFAULT, Policy
from saltreach.science.metal import stainless
from saltreach.vocabulary.metals import MATERIAL_NAMES
from saltreach.vocabulary.words import UNKNOWN

LAKE_SHORE_M = stainless.F1_SEA[-1][0]
"""Beyond this the standard gives a shore no risk."""

SENTENCES = {
    "failed": "Recorded as failed: take it out of use today.",
    "like_failed": "An anchor of the same sector, metal and year failed: counted as likelier to "
    "fail.",
    "hollow": "Hollow sound: do not trust or place an anchor here.",
    "weathered": "Rock completely weathered (W5, W6): do not trust or place an anchor here.",
    "outside_standard": "Outside the standard (volcanic gas or SO2 beyond its table): treated as "
    "class V; expose samples on site.",
    "salt_lake": "Shore of a salt lake: no measured rates exist, the salt is an assumption.",
    "covered": "Covered by plants, soil or a crust: nobody sees the metal, counted as not washed.",
    "sulphate": "Sulphate seepage: other attack than by chloride alone is reported; test on site.",
    "coated_mixed": "Mixed metals: coated steel against stainless or titanium loses its zinc fast.",
    "coated": "Coated steel: below every class of the standard.",
    "below": "The metal in place is below the class the place needs.",
    "mixed": "Mixed metals: EN 959 asks for one metal in linked parts.",
    "resistance_short": "Resistance in this rock (5th percentile) below the required loads.",
    "near_crack": "Crack closer than 1 embedment.",
    "near_edge": "Edge closer than 1.5 embedments or 150 mm.",
    "embedment_short": "Shorter in the rock than EN 959 asks for.",
    "metal_unknown": "Metal unknown.",
    "condition_unknown": "Condition not recorded: counted as the mixture of the register and the "
    "trade.",
    "kind_unknown": "Kind not recorded: counted as the mixture of the register and the trade.",
    "size_unknown": "Diameter or depth not recorded: taken as the lower quartile of the register "
    "and the trade.",
    "rock_unknown": "Rock unknown: its risk is that of the mixture of rocks of the register.",
    "rock_mapped": "Rock type is a map's word, not seen at the anchor, and a map's borders may be "
    "far off: look and tap before it is relied on.",
    "road": "Road salt: its class is counted and a least corrosivity; its chloride is not in the "
    "salt figure.",
    "seaward": "Position falls seaward of the layer's shoreline: taken as at the shore.",
    "no_climate": "Climate unknown here: no category is given.",
    "no_humidity": "Humidity unknown here: no category is given.",
    "beyond": "An input lies outside the range ISO 9223's functions were fitted on.",
    "outside_europe": "Outside Europe: EN 1993-1-4 Annex A was not made for this climate.",
}
"""Warnings by their key, most pressing first; notes of the climate layer and assumed values
come after them."""


def warnings_of(
    table: pd.DataFrame, policy: Policy = DEFAULT, left_out: Sequence[str] = ()
) -> pd.Series:
    """Warnings of each anchor as one text, most pressing first.

    Parameters
    ----------
    table : DataFrame
        Register, layer and science columns of the anchors.
    policy : Policy
        Rules of the association; what they loosen is said on every row.
    left_out : sequence of str
        Sentences on what was left out of the tables beside the register; first on every row.
    """
    held, hanger = table["material"], table["hanger_material"]
    weakest, needed = class_in_place(table), class_needed(table)
    coated = [resistance_class_of(*metal) == 0 for metal in ((held, table["grade"]), (hanger,))]
    mixed = (held != UNKNOWN) & (hanger != UNKNOWN) & (held != hanger)
    with_coated = coated[0] != coated[1]
    failed = is_recorded(table, FAILED)  # by a finding too
    applies = {
        "failed": failed,
        "like_failed": (table["like_failed_share"] > 0) & ~failed,
        "hollow": table["tap_response"] == "hollow",
        "weathered": table["weathering_grade"].isin(["W5", "W6"]),
        "coated_mixed": mixed & with_coated,
        "coated": weakest == 0,
        "below": (weakest > 0) & (weakest < needed),
        "mixed": mixed & ~with_coated,
        "resistance_short": table["resistance_short"],
        "near_crack": table["rock_too_close"].str.contains("crack", regex=False),
        "near_edge": table["rock_too_close"].str.contains("edge closer", regex=False),
        "embedment_short": table["embedment_short"],
        "metal_unknown": MATERIAL_NAMES.rank(held).isna(),
        "condition_unknown": table["condition"].isna(),
        "kind_unknown": table["kind"].isna(),
        "size_unknown": table["diameter_mm"].isna() | table["embedment_mm"].isna(),
        "rock_unknown": table["rock_strength_mpa"].isna(),
        "rock_mapped": ~table["lithology_source"].isin(["register", UNKNOWN]),
        "road": table["f1_road"] < 0,
        "outside_standard": table["outside_standard"],
        "salt_lake": table["by_salt_lake"] & (table["salt_distance_m"] <= LAKE_SHORE_M),
        "covered": (table["vegetation"] == "yes") | (table["salt_crust"] == "yes"),
        "sulphate": table["seepage"] == "sulphate",
        "seaward": table["seaward_m"] > 0,
        "no_climate": table["temperature_c"].isna(),
        "no_humidity": table["relative_humidity_pct"].isna() & table["temperature_c"].notna(),
        "beyond": table["beyond_calibration"],
        "outside_europe": ~table["in_europe"].astype(bool),
    }
    reasons = Reasons(table.index)
    for sentence in left_out:
        reasons.add(np.ones(len(table), bool), sentence)
    found = texts(table, "found_warnings")
    reasons.add(found != "", found)
    for key, sentence in SENTENCES.items():
        reasons.add(applies[key], sentence)
    on_rock = rock_notes(table).to_numpy(object)
    reasons.add(on_rock != "", on_rock)
    learned = learned_sentences(table)
    if learned is not None:
        reasons.add(learned != "", learned)
    notes = table["layer_notes"].fillna("").astype("str").to_numpy(object)
    reasons.add(notes != "", notes)
    assumed = np.char.mod("%g", table["so2_ug_m3_used"].to_numpy(float)).astype(object)
    reasons.add(
        table["so2_assumed"], np.array("SO2 assumed, not measured: ", object) + assumed + " ug/m3."
    )
    for loosened in policy.loosened:
        reasons.add(np.ones(len(table), bool), f"Looser policy: {loosened}.")
    return reasons.text()
