"""Strength of the rock at the anchors, and the rock mass of their sectors.

The lithology gives the strength to expect; the tests of the register narrow it. Rebound numbers
and hammer grades speak for a sector and are combined over the anchors of one sector and one
lithology; tap and weathering speak for the anchor they were noted at.
"""

from __future__ import annotations

import numpy as np
import pandas as pd

from saltreach.assessment.reasons import Reasons
from saltreach.science.distributions import lognormal_quantile
from saltreach.science.rock import rmr
from saltreach.science.rock.lithology import strength_prior, strength_qualifier, unit_weight_kn_m3
from saltreach.science.rock.rebound import sector_mean_rebound
from saltreach.science.rock.strength import (
    evidence_conflict,
    evidence_veto,
    strength_posterior,
)
from saltreach.science.rows import few_distinct
from saltreach.vocabulary.words import STRENGTH_GRADES

GROUP = ("crag", "sector", "lithology")
"""Tests are combined within these: a hammer on the slate says nothing of the granite beside."""
WORDS = ("weathering_grade", "tap_response")


def group_key(table: pd.DataFrame, by: tuple[str, ...] = GROUP) -> np.ndarray:
    """Number of each row's group; equal numbers, equal group."""
    return table.groupby(list(by), dropna=False).ngroup().to_numpy()


def combined_grade(table: pd.DataFrame) -> pd.Series:
    """Hammer grade that holds at each anchor: its own, or its sector's if that is lower.

    Parameters
    ----------
    table : DataFrame
        Columns `strength_grade` and those of `GROUP`.

    Returns
    -------
    Series of str
        R0 to R6; empty where no anchor of the sector was graded. The sector's grade is the
        median of its grades, the lower of two in the middle.
    """
    rank = STRENGTH_GRADES.rank(table["strength_grade"])
    of_sector = np.floor(rank.groupby(group_key(table)).transform("median"))
    return STRENGTH_GRADES.word(np.fmin(rank, of_sector)).astype("str")


def rock_strength(table: pd.DataFrame) -> pd.DataFrame:
    """Uniaxial compressive strength of the intact rock after all evidence.

    Parameters
    ----------
    table : DataFrame
        Columns `crag`, `sector`, `lithology`, `lithology_source`, `rock_type`, `rebound_number`,
        `strength_grade`, `weathering_grade`, `tap_response`.

    Returns
    -------
    DataFrame
        `rock_strength_mpa` (median) with `_p10` and `_p90`, NaN where neither lithology nor a
        test is known, and the working columns `rock_sigma_ln`, `rock_veto` (why no anchor
        should stand here, or empty) and `rock_conflict` (which evidence disagrees, or empty).
    """
    named = table["rock_type"].where(table["lithology_source"] == "register").fillna("")
    mean_rebound, tests = sector_mean_rebound(table["rebound_number"], group_key(table))
    evidence = {
        "lithology": table["lithology"],
        "named": named,
        "isrm_grade": combined_grade(table),
        **{name: table[name].fillna("").astype("str") for name in WORDS},
        "rebound_number": mean_rebound,
        "rebound_tests": tests,
    }
    numbers = ("rebound_number", "rebound_tests")
    found = few_distinct(
        [np.asarray(v, float) if n in numbers else pd.factorize(v)[0] for n, v in evidence.items()]
    )
    if found is None:
        return _strength(pd.DataFrame(evidence, index=table.index))
    first, inverse = found
    known = pd.DataFrame({name: np.asarray(v)[first] for name, v in evidence.items()})
    return _strength(known).iloc[inverse].set_axis(table.index)


def _strength(known: pd.DataFrame) -> pd.DataFrame:
    """Strength of each row from its evidence alone."""
    rock, weathering, tap = (known[n].to_numpy(object) for n in ("lithology", *WORDS))
    median_mpa, prior_sigma_ln = strength_prior(rock)
    factor = strength_qualifier(known["named"], rock, weathering_known=weathering != "")
    prior = (median_mpa * factor, prior_sigma_ln)
    evidence = {
        "rebound_number": known["rebound_number"].to_numpy(float),
        "unit_weight_kn_m3": unit_weight_kn_m3(rock),
        "rebound_tests": known["rebound_tests"].to_numpy(float),
        "weathering_grade": weathering,
        "isrm_grade": known["isrm_grade"].to_numpy(object),
    }
    median, sigma_ln = strength_posterior(*prior, **evidence, tap_response=tap)
    _, conflict = evidence_conflict(*prior, **evidence)
    return pd.DataFrame(
        {
            "rock_strength_mpa": median,
            "rock_strength_mpa_p10": lognormal_quantile(median, sigma_ln, 0.1),
            "rock_strength_mpa_p90": lognormal_quantile(median, sigma_ln, 0.9),
            "rock_sigma_ln": sigma_ln,
            "rock_veto": evidence_veto(tap, weathering),
            "rock_conflict": conflict,
        },
        index=known.index,
    )


def rock_mass(table: pd.DataFrame, surveyed: pd.DataFrame) -> pd.DataFrame:
    """Rating of the rock mass of each anchor's sector.

    Parameters
    ----------
    table : DataFrame
        Columns `crag`, `sector`, `rock_strength_mpa`.
    surveyed : DataFrame
        What the survey says of each anchor's sector, from `survey_at`, same index.

    Returns
    -------
    DataFrame
        `joint_spacing_mm`, `rmr89`, `rmr_class`, `gsi`; empty where a part is not surveyed.
        The median strength of the sector's anchors is rated. RQD is taken from the spacing
        where it is empty. The orientation adjustment (slopes) is made where the orientation
        is given; GSI never has it.
    """
    sector = group_key(table, ("crag", "sector"))
    strength = table["rock_strength_mpa"].groupby(sector).transform("median")
    spacing = surveyed["joint_spacing_mm"]
    rqd = surveyed["rqd_pct"].fillna(rmr.rqd_from_spacing_pct(spacing))
    solid = (
        rmr.rmr_strength_rating(strength)
        + rmr.rmr_rqd_rating(rqd)
        + rmr.rmr_spacing_rating(spacing)
        + rmr.rmr_detailed_condition_rating(
            surveyed["persistence_m"],
            surveyed["aperture_mm"],
            surveyed["roughness"],
            surveyed["infilling"],
            surveyed["joint_weathering"],
        )
    )
    turned = np.nan_to_num(rmr.rmr_orientation_adjustment(surveyed["favourability"]))
    rating = np.maximum(solid + rmr.rmr_water_rating(surveyed["water"]) + turned, 0.0)
    return pd.DataFrame(
        {
            "joint_spacing_mm": spacing,
            "rmr89": rating,
            "rmr_class": rmr_class_or_empty(rating),
            "gsi": rmr.gsi_from_rmr89(solid + rmr.WATER["dry"]),
        },
        index=table.index,
    )


def rmr_class_or_empty(rmr89: pd.Series) -> np.ndarray:
    """Class of a rating, empty where it is unknown."""
    return np.where(np.isnan(rmr89), "", rmr.rmr_class(rmr89)).astype(object)


def rock_notes(table: pd.DataFrame) -> pd.Series:
    """Sentences on the evidence a reader must weigh: disagreements and what could not be read.

    Parameters
    ----------
    table : DataFrame
        Columns `rock_conflict`, `rock_disagreement`, `rock_unread`.
    """
    notes = Reasons(table.index)
    conflict, differ, unread = (
        table[name].to_numpy(object)
        for name in ("rock_conflict", "rock_disagreement", "rock_unread")
    )
    notes.add(conflict != "", "Tests of the rock's strength disagree: " + conflict + ".")
    notes.add(differ != "", differ)
    notes.add(unread != "", "Rock not in the lithology table, taken as unknown: " + unread + ".")
    return notes.text()
