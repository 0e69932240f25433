"""What was learned from looks and tests, put to use: groups of anchors, and factors on the model.

Factors travel as working columns of the table (`PREFIX`), so that every step that is computed
again counts with the same ones. Without a file of lessons there is no such column, and nothing
changes.
"""

from __future__ import annotations

from typing import Any

import numpy as np
import pandas as pd

from saltreach.intake.lessons import Lessons, SaltLesson
from saltreach.science.rock.capacity import kind_shares
from saltreach.science.time import learning_salt
from saltreach.science.time.learning import factor_used
from saltreach.science.time.learning_rock import rock_factor_used
from saltreach.science.time.reliability import MODEL
from saltreach.vocabulary.metals import COATED, MATERIAL_BY_NAME, MATERIAL_NAMES
from saltreach.vocabulary.words import (
    BANDS,
    CATEGORIES,
    LEARNED_AIR,
    LEARNED_KINDS,
    LEARNED_METALS,
    LEARNED_TAPS,
    TAP_RESPONSES,
    UNKNOWN,
)

PREFIX = "_learned "
SALT_SHIFT, SALT_SPREAD, ROCK = f"{PREFIX}salt shift", f"{PREFIX}salt spread", f"{PREFIX}rock"
SAID = f"{PREFIX}said"
HARSH_CATEGORY, HARSH_SCC_BAND = "C4", "raised"
"""From these on the air is harsh: to coated steel by its category, to other metals by the hazard of
cracking. Two classes, for no region counts enough failures for more. Judgement."""
SAID_FROM = 0.05
"""A factor is told of an anchor where it is this far from 1."""
_COATED_GROUP, _LESSER, *_OTHERS = LEARNED_METALS
_MILD, _HARSH = LEARNED_AIR


def metal_group(name: str) -> str:
    """Group of metals that a metal is learned of with; empty where it is unknown.

    Examples
    --------
    >>> [metal_group(n) for n in ("galvanised steel", "303", "316", "titanium", "unknown")]
    ['coated steel', '304 or less', '316', 'superaustenitic or titanium', '']
    """
    if name not in MATERIAL_BY_NAME:
        return ""
    if name in COATED:
        return _COATED_GROUP
    if MATERIAL_BY_NAME[name].rank <= MATERIAL_BY_NAME["304"].rank:
        return _LESSER
    own = [group for group in _OTHERS if group == name]
    return own[0] if own else _OTHERS[-1]


def kind_group(kind: pd.Series) -> np.ndarray:
    """How each anchor holds, of `LEARNED_KINDS`."""
    words = kind.fillna("").astype("str").to_numpy(object)
    share = np.where(words == "", np.nan, kind_shares(words)[0])
    bonded, mechanical, unknown = LEARNED_KINDS
    return np.select([share == 1.0, share == 0.0], [bonded, mechanical], unknown).astype(object)


def air_group(table: pd.DataFrame, metal: str) -> np.ndarray:
    """Air of each place to a group of metals; what is unknown counts as harsh."""
    if metal == _COATED_GROUP:
        mild = CATEGORIES.rank(table["corrosivity_category"]) < CATEGORIES.index(HARSH_CATEGORY)
    else:
        mild = BANDS.rank(table["scc_band"]) < BANDS.index(HARSH_SCC_BAND)
    return np.where(mild.to_numpy(bool), _MILD, _HARSH).astype(object)


def tap_group(tap: pd.Series) -> np.ndarray:
    """Group of the sound of a tap, of `LEARNED_TAPS`."""
    ringing, other = LEARNED_TAPS
    return np.where(tap.fillna("") == TAP_RESPONSES[0], ringing, other).astype(object)


def with_learned_place(table: pd.DataFrame, lessons: Lessons | None) -> pd.DataFrame:
    """The table with what was learned of salt and rock.

    Parameters
    ----------
    table : DataFrame
        `crag`, `lithology`, `tap_response`.
    lessons : Lessons or None
        None: without any column of ours.

    Returns
    -------
    DataFrame
        A crag where nothing was measured is not made milder or surer by its neighbours.
    """
    table = table.drop(columns=[name for name in table if name.startswith(PREFIX)])
    if lessons is None:
        return table
    shift = {one.crag: salt_used(one)[0] for one in lessons.salt}
    spread = {one.crag: salt_used(one)[1] for one in lessons.salt}
    told = np.array([one.to_failure + one.held + one.moved > 0 for one in lessons.rock])
    p10, p50 = (np.array([getattr(one.after, q) for one in lessons.rock]) for q in ("p10", "p50"))
    factor = rock_factor_used(p10, p50, told)
    of_rock = dict(zip([(o.lithology, o.tap) for o in lessons.rock], factor, strict=True))
    keys = zip(table["lithology"], tap_group(table["tap_response"]), strict=True)
    return table.assign(
        **{
            SALT_SHIFT: table["crag"].map(shift).fillna(0.0).to_numpy(float),
            SALT_SPREAD: table["crag"].map(spread).fillna(1.0).to_numpy(float),
            ROCK: np.array([of_rock.get(key, 1.0) for key in keys], float),
        }
    )


def salt_used(lesson: SaltLesson) -> tuple[float, float]:
    """Shift of ln(chloride) and share of its spread that an assessment counts with."""
    told = lesson.measurements > 0
    sigma = lesson.model_sigma_ln * lesson.spread
    shift = float(learning_salt.shift_used(lesson.shift_ln, sigma, told))
    return shift, lesson.spread if told else 1.0


def with_learned_metal(table: pd.DataFrame, lessons: Lessons | None, name: str) -> pd.DataFrame:
    """The table with a factor on the hazard of each metal, and a sentence on what counts.

    Parameters
    ----------
    table : DataFrame
        From `with_learned_place`, with `material`, `hanger_material`, `kind`,
        `corrosivity_category`, `scc_band`.
    lessons : Lessons or None
        None: as it is.
    name : str
        Of the file of lessons.
    """
    if lessons is None:
        return table
    factors = metal_factors(table, lessons)
    bolt, hanger = (MATERIAL_NAMES.rank(table[n]) for n in ("material", "hanger_material"))
    at = np.minimum(bolt, hanger).fillna(bolt).to_numpy(float)
    own = factors[np.arange(len(table)), np.nan_to_num(at).astype(int)]
    own = np.where(np.isnan(at), 1.0, own)
    columns = {f"{PREFIX}{m}": factors[:, i] for i, m in enumerate(MATERIAL_NAMES)}
    columns[SAID] = _said(own, table[ROCK], np.exp(table[SALT_SHIFT]), name)
    return table.assign(**columns)


def metal_factors(table: pd.DataFrame, lessons: Lessons) -> np.ndarray:
    """Factor on the hazard of each metal at each anchor, shape (n, 12).

    A metal that nobody noted is never counted with less than 1. A lesser metal that cracks is never
    made safer than a better one in the same place: its hazard stays at least the better one's.
    """
    kinds = kind_group(table["kind"])
    region = float(factor_used(lessons.region.p50, lessons.region.p90, told=False))
    of_group = {
        (one.metal, one.kind, one.air): float(
            factor_used(one.after.p50, one.after.p90, one.anchors > 0)
        )
        for one in lessons.failure
    }
    groups = {
        group: np.array(
            [of_group.get((group, *key), region)
             for key in zip(kinds, air_group(table, group), strict=True)]
        )
        for group in LEARNED_METALS
    }  # fmt: skip
    factors = np.stack([groups[metal_group(m)] for m in MATERIAL_NAMES], axis=1)
    unknown = (table["material"] == UNKNOWN).to_numpy() | (kinds == UNKNOWN)
    factors = np.where(unknown[:, None], np.maximum(factors, 1.0), factors)
    cracking = np.array([MATERIAL_BY_NAME[m].cracking for m in MATERIAL_NAMES])
    worst, most = np.zeros((2, len(table)))
    for i in reversed(range(len(cracking))):
        rate = cracking[i] ** MODEL.shape
        if rate > 0:  # neither NaN nor immune
            factors[:, i] = np.maximum(factors[:, i], np.minimum(worst / rate, most))
            worst = np.maximum(worst, factors[:, i] * rate)
            most = np.maximum(most, factors[:, i])
    return factors


def learned_factors(table: pd.DataFrame) -> np.ndarray | None:
    """The factors that `with_learned_metal` put into a table; None where it did not."""
    names = [f"{PREFIX}{m}" for m in MATERIAL_NAMES]
    return table[names].to_numpy(float) if names[0] in table else None


def learned_sentences(table: pd.DataFrame) -> np.ndarray | None:
    """What is told of each anchor, empty where nothing changed; None without lessons."""
    return table[SAID].to_numpy(object) if SAID in table else None


def _said(metal: np.ndarray, rock: Any, salt: Any, name: str) -> np.ndarray:
    parts = (
        ("its metal counts as failing {} times as often as the model says", metal),
        ("its rock side as bearing {} times as much", np.asarray(rock)),
        ("its salt as {} times the model's", np.asarray(salt)),
    )
    said = np.full(len(metal), "", object)
    for words, values in parts:
        differs = np.abs(values - 1.0) >= SAID_FROM
        text = np.array([words.format(f"{value:.2g}") for value in values], object)
        said = np.where(differs, said + np.where(said == "", "", "; ") + text, said)
    return np.where(said == "", "", f"Learned from looks and tests ({name}): " + said + ".")
