"""The risk of an anchor in words, from its metal and from its rock, and what to do about it.

One scale for both: the yearly probability of failure of one anchor. The limits are judgement,
set with what little is published: nobody has counted failures per anchor and year, so every
probability is a prior with a wide range, and it ranks.
"""

from __future__ import annotations

from datetime import date

import numpy as np
import pandas as pd

from saltreach.assessment.findings import flag, months, texts
from saltreach.assessment.material import class_in_place, class_needed
from saltreach.assessment.reasons import Reasons
from saltreach.assessment.resistance import UNTESTED
from saltreach.assessment.state import FAILED, is_recorded, metal_in_place
from saltreach.intake.distinct import numbers
from saltreach.science.rock.capacity import is_mechanical
from saltreach.science.rock.placement import SOFT_ROCK_MEDIAN_MPA, TOO_WEAK_MEDIAN_MPA
from saltreach.science.time.inspection import TARGET_PER_Y
from saltreach.vocabulary.metals import MATERIAL_BY_NAME, MATERIAL_NAMES
from saltreach.vocabulary.words import BANDS, DO_NOT_PLACE, OUT_OF_USE, UNKNOWN

BAND_LIMITS_PER_Y = (5e-4, TARGET_PER_Y, 2e-2, 1e-1)
"""Lower limits of moderate to severe; raised begins at the default target. Judgement: sound 316
inland lies below the first (failures there are called extremely rare), sampled tropical marine
stainless (derived 0.011 to 0.056 a year) between the target and the last, 304 under sulphate
(about 0.1 a year after onset) at the last."""
BAND_MEANINGS = {
    "low": "Less than 1 in 2,000 a year that an anchor fails, as far as the model can tell.",
    "moderate": "Between 1 in 2,000 and 1 in 200 a year: below the default target.",
    "raised": "Between 1 in 200 and 1 in 50 a year: above the default target.",
    "high": "Between 1 in 50 and 1 in 10 a year: plan its replacement.",
    "severe": "More than 1 in 10 a year, or failed, or hollow rock: act first.",
}
"""What each band says, for legends. Priors, not counted rates."""

ROCK_FLOORS: tuple[tuple[str, str], ...] = (
    ("veto", "severe"),
    ("weak", "severe"),
    ("soft", "moderate"),
)
"""Least rock band where a veto holds (hollow sound, W5, W6), where the median strength is 5 MPa
or less, and where it is below 25 MPa; judgement."""
UNKNOWN_ROCK_FLOOR = "moderate"
"""Least rock band where neither rock nor test is known."""

POOR = 3
POOR_METAL_FLOOR = "raised"
"""Least metal band of an anchor recorded as poor: somebody saw it. Judgement."""
LIKE_FAILED_FLOOR, MANY_FAILED, MANY_FAILED_FLOOR = "moderate", 0.2, "raised"
"""Least metal band where an anchor of the same sector, metal and year failed, and where a share of
them did. Judgement."""
FAULT_FLOOR = "raised"
"""Least band of the risk of an anchor placed with a known fault and not yet tested: its rock and
its metal are what they are, its hold is in doubt. Judgement."""
LOOK_AHEAD_PROBABILITY = 10 * TARGET_PER_Y
"""Metal below its class is replaced now where, within 10 years, it fails more often than ten
times the yearly target; else it stays until its time, and the next one is of the better metal."""

REPLACE_WITHIN_MONTHS = {"severe": 12, "high": 24, "raised": 36, "moderate": 60, "low": 60}
"""Replace, move or close within so many months, by the band of the risk; judgement."""


def bands_of(table: pd.DataFrame) -> pd.DataFrame:
    """Bands of metal, rock and both, and which of the two governs.

    Parameters
    ----------
    table : DataFrame
        Columns `metal_probability_y1`, `rock_probability_y1`, `failure_probability_y1`,
        `condition`, `like_failed_share`, `rock_veto`, `rock_strength_mpa`.

    Returns
    -------
    DataFrame
        `metal_band`, `rock_band`, `risk_band` (empty where the probability is unknown),
        `risk_governed_by`.
    """
    metal, rock, both = (
        _place(table[f"{name}_probability_y1"]) for name in ("metal", "rock", "failure")
    )
    like = (table["like_failed_share"] > 0).to_numpy()
    many = (table["like_failed_share"] >= MANY_FAILED).to_numpy()
    failed, poor = is_recorded(table, FAILED), is_recorded(table, POOR)
    loose = flag(table, "found_loose")
    metal = np.where(failed, len(BANDS) - 1.0, metal)
    for where, floor in (
        (poor, POOR_METAL_FLOOR), (like, LIKE_FAILED_FLOOR), (many, MANY_FAILED_FLOOR),
    ):  # fmt: skip
        metal = np.where(where & ~np.isnan(metal), np.fmax(metal, BANDS.index(floor)), metal)
    median = table["rock_strength_mpa"].to_numpy(float)
    applies = {
        "veto": (table["rock_veto"] != "").to_numpy(),
        "weak": median <= TOO_WEAK_MEDIAN_MPA,
        "soft": median < SOFT_ROCK_MEDIAN_MPA,
    }
    for name, band in ROCK_FLOORS:
        rock = np.where(applies[name], np.fmax(rock, BANDS.index(band)), rock)
    rock = np.where(np.isnan(median), np.fmax(rock, BANDS.index(UNKNOWN_ROCK_FLOOR)), rock)
    rock = np.where(loose, len(BANDS) - 1.0, rock)
    # an unknown metal leaves the whole unknown, unless the rock or a finding says the worst
    known = ~np.isnan(both) | failed | loose | applies["veto"]
    risk = np.where(known, np.fmax(np.fmax(metal, rock), both), np.nan)
    doubt = flag(table, "doubt_test") & ~(risk >= BANDS.index(FAULT_FLOOR))
    risk = np.where(doubt, BANDS.index(FAULT_FLOOR), risk)
    known |= doubt
    metal_p, rock_p = (table[f"{n}_probability_y1"].to_numpy(float) for n in ("metal", "rock"))
    governs = np.select(
        [~known, doubt, metal > rock, rock > metal, metal_p > 3 * rock_p, rock_p > 3 * metal_p],
        ["", "rock", "metal", "rock", "metal", "rock"],
        "metal and rock",
    )
    return pd.DataFrame(
        {
            "metal_band": BANDS.word(metal),
            "rock_band": BANDS.word(rock),
            "risk_band": BANDS.word(risk),
            "risk_governed_by": governs.astype(object),
        },
        index=table.index,
    )


def band_of(yearly_probability: object) -> np.ndarray:
    """Band of a yearly probability; empty where it is unknown.

    Examples
    --------
    >>> band_of([1e-4, 5e-3, 0.5, float("nan")]).tolist()
    ['low', 'raised', 'severe', '']
    """
    return BANDS.word(_place(yearly_probability))


def _place(probability: object) -> np.ndarray:
    p = np.asarray(probability, float)
    place = np.searchsorted(BAND_LIMITS_PER_Y, np.nan_to_num(p), side="right").astype(float)
    return np.where(np.isnan(p), np.nan, place)


def least_of(band: pd.Series) -> np.ndarray:
    """Least yearly probability of each band; NaN where the band is unknown."""
    least = dict(zip(BANDS, (0.0, *BAND_LIMITS_PER_Y), strict=True))
    return numbers(band, least)


def action_of(table: pd.DataFrame, today: date) -> pd.DataFrame:
    """What to do with each anchor, why, and by when.

    Parameters
    ----------
    table : DataFrame
        Register columns, those of `bands_of`, `failure_probability_y10`, `diameter_required_mm`,
        `rock_probability_after`, `rock_strength_mpa`, `material_recommended`, `crc`,
        `outside_standard`, `kind_advised`, `kind_reasons`, `scc_band`, `steel_life_left_y`.
    today : date
        Day the assessment speaks for.

    Returns
    -------
    DataFrame
        `action`, `action_reasons`, `replace_by` (ISO date of what is to be replaced, moved or
        removed, or to be found out where the risk passes the target; else empty).

    Notes
    -----
    In this order: failed anchors are taken out of use; nothing is bought for a spot whose rock
    is hollow or rotten, or where no new anchor would be placed and the one there is to go or
    holds badly; replaced is metal that is poor or risky, or below its class and soon to be
    risky, coated steel at the end of its life, and a weak hold that a new anchor mends where
    rock and kind are known; what is unknown is found out first.
    """
    held = metal_in_place(table)
    band = BANDS.rank(table["metal_band"]).to_numpy()
    failed, poor = is_recorded(table, FAILED), is_recorded(table, POOR)
    out, seen, doubted = (flag(table, n) for n in ("found_out", "found_replace", "doubt_test"))
    veto = (table["rock_veto"] != "").to_numpy()
    no_new = (table["kind_advised"] == DO_NOT_PLACE).to_numpy()
    below = (class_in_place(table) < class_needed(table)).to_numpy()
    soon = table["failure_probability_y10"].to_numpy(float) > LOOK_AHEAD_PROBABILITY
    fading = below & soon & (table["risk_governed_by"] != "rock").to_numpy()
    odd = below & table["outside_standard"].to_numpy(bool)
    rock_band = BANDS.rank(table["rock_band"]).to_numpy()
    loose = rock_band >= BANDS.index("raised")
    holds = _place(table["rock_probability_after"]) < rock_band
    rank = MATERIAL_NAMES.rank
    better = (rank(table["material_recommended"]) > rank(held)).to_numpy()
    spent = (table["steel_life_left_y"] <= 0).to_numpy()  # NaN for other metals
    above = band >= BANDS.index("raised")
    unknown = (held == UNKNOWN).to_numpy()
    risky = above & better & ~unknown
    thin = above & ~unknown & (table["diameter_mm"] < table["diameter_required_mm"]).to_numpy()
    driven = is_mechanical(table["kind"].fillna("").astype("str").to_numpy(object)) > 0
    untested = np.isnan(table["rock_strength_mpa"].to_numpy(float)) | (_untested(table) & ~driven)
    which = loose & table["kind"].isna().to_numpy()
    mends = loose & holds & ~untested & ~which
    going = poor | fading | odd | risky | thin | spent | seen
    refused = veto | (no_new & (going | loose))
    # above the target by metal that no better one mends: most of it is what nobody looked at
    unseen = _recorded(table).isna().to_numpy() & above
    action = np.select(
        [failed | out, refused, going | mends, unknown | loose | unseen | doubted],
        [OUT_OF_USE, "move or remove", "replace", "find out"],
        "keep",
    ).astype(object)
    stays = (action != OUT_OF_USE) & no_new & ~refused
    reasons = Reasons(table.index)
    reasons.add(
        texts(table, "closed_since") != "",
        np.array("Closed since ", object)
        + texts(table, "closed_since")
        + ": it stays out of use until it is reopened.",
    )
    reasons.add(texts(table, "found_says") != "", texts(table, "found_says"))
    reasons.add(doubted, texts(table, "doubt_says"))
    reasons.add(failed & (_recorded(table) == FAILED).to_numpy(bool, na_value=False),
                "Recorded as failed: take it out of use today, and look again only once "
                "it is replaced.")  # fmt: skip
    reasons.add(
        refused,
        "The rock of this spot refuses an anchor: move it to sound rock, or remove it and close "
        "what hangs on it. Nothing is bought for this spot.",
    )
    spot = table["kind_reasons"].to_numpy(object)
    reasons.add(refused & (spot != ""), spot)
    replace = action == "replace"
    reasons.add(replace & (_recorded(table) == POOR).to_numpy(bool, na_value=False),
                "Recorded as poor.")  # fmt: skip
    reasons.add(
        replace & spent,
        "By the rates of its air its zinc and a fifth of its section are used up where it rusts "
        "most.",
    )
    reasons.add(replace & below, "Its metal is below the class the place needs.")
    reasons.add(
        (action == "keep") & below,
        "Its metal is below the class the place needs: it may serve its time, the next one is of "
        "the metal advised.",
    )
    reasons.add(replace & (risky | thin), "The risk of its metal is above the default target.")
    reasons.add(replace & thin, "It is thinner than the loads ask of the metal advised.")
    reasons.add(
        replace & mends,
        "Its hold in the rock is weak; a new anchor as advised holds better in the same rock.",
    )
    reasons.add(
        (action == "find out") & unknown,
        "Its metal is unknown: find it out before anything is bought.",
    )
    reasons.add(
        (action == "keep") & above,
        "The risk of its metal is above the default target and no better metal is advised: keep "
        "to the interval, and replace it when a look finds it worse.",
    )
    find_out = action == "find out"
    reasons.add(
        find_out & which,
        "Its kind is not recorded, and its hold in the rock is in doubt: look what it is.",
    )
    reasons.add(
        find_out & loose & untested,
        "Its hold in the rock is in doubt and the strength of the rock is not sure: test the rock "
        "on site before anything is bought.",
    )
    reasons.add(
        find_out & loose & ~untested & ~which,
        "Its hold in the rock is in doubt and a new anchor would not be surer: test the rock on "
        "site before anything is bought.",
    )
    reasons.add(
        find_out & unseen,
        "Its condition is not recorded, and its risk is above the default target: look at it "
        "before anything is bought.",
    )
    reasons.add(
        stays,
        "No new anchor would be placed in this spot; what is there holds, as far as the model can "
        "tell.",
    )
    reasons.add(stays & (spot != ""), spot)
    by = _by(table, action, today)
    cracks = cracking(held) & table["scc_band"].isin(["high", "severe"]).to_numpy()
    reasons.add(
        (by != "") & cracks & replace,
        np.array("Looking does not mend it (an eye sees next to nothing of stress-corrosion "
                 "cracks): replace or close by ", object) + by + ".",
    )  # fmt: skip
    reasons.add((by != "") & ~cracks & replace, np.array("Replace or close by ", object) + by + ".")
    asked = np.where(doubted, "Test it", "Know it").astype(object)
    reasons.add((by != "") & find_out, asked + ", or close by " + by + ".")
    reasons.add(
        (by != "") & (action == "move or remove"),
        np.array("Move, remove or close by ", object) + by + ".",
    )
    return pd.DataFrame(
        {"action": action, "action_reasons": reasons.text(), "replace_by": by}, index=table.index
    )


def _untested(table: pd.DataFrame) -> np.ndarray:
    """Whether the embedment advised counts only once tests on site show the usual strength."""
    return table["kind_reasons"].str.contains(UNTESTED, regex=False).to_numpy(bool)


def _recorded(table: pd.DataFrame) -> pd.Series:
    """The condition as it was handed in, whatever findings imply."""
    return table["condition_recorded" if "condition_recorded" in table else "condition"]


def _by(table: pd.DataFrame, action: np.ndarray, today: date) -> np.ndarray:
    within = numbers(table["risk_band"], REPLACE_WITHIN_MONTHS)
    pressing = within < REPLACE_WITHIN_MONTHS["moderate"]  # the risk passes the target
    doubt = months(table, "doubt_by_months")
    within = np.fmin(np.fmin(within, months(table, "found_by_months")), doubt)
    wanted = np.isin(action, ("replace", "move or remove")) & ~np.isnan(within)
    wanted |= (action == "find out") & (pressing | ~np.isnan(doubt))
    wanted &= texts(table, "closed_since") == ""
    first = np.datetime64(today, "M")
    month = first + np.nan_to_num(within).astype(int)
    day = np.datetime64(today) - first.astype("datetime64[D]")
    last = (month + 1).astype("datetime64[D]") - np.timedelta64(1, "D")
    due = np.minimum(month.astype("datetime64[D]") + day, last)
    return np.where(wanted, np.datetime_as_string(due, unit="D"), "").astype(object)


def cracking(metal: pd.Series) -> np.ndarray:
    """Whether each metal may crack by stress corrosion in such air, unknown metal included."""
    free = MATERIAL_NAMES.rank(metal) >= MATERIAL_BY_NAME["superaustenitic"].rank
    coated = metal.isin([n for n, m in MATERIAL_BY_NAME.items() if np.isnan(m.cracking)])
    return ~(free | coated).to_numpy(bool)
