"""What the rock bears: resistance as placed, embedment required, and the kind advised.

Everything here is the rock's side: the metal is taken as whole. What the register leaves out is
filled for the calculation alone, on the weaker side of what the register and the trade have
(`filled_sizes`, `filled_strength`); the columns stay empty.

Registers hold many equal anchors, and the science is computed once for each distinct row. To
keep those few, inputs are rounded to the weaker side: strength down in steps of 3 %, its sigma
up in steps of 0.02, distances down to the centimetre (5 cm beyond 20 cm), joint spacing down in
steps of 5 %, GSI down to even numbers, embedment down to the millimetre. So a result is never
higher than the exact one, and lower by a few percent at most.
"""

from __future__ import annotations

from typing import Any

import numpy as np
import pandas as pd

from saltreach.assessment.learned import ROCK
from saltreach.assessment.reasons import SEPARATOR
from saltreach.assessment.region import (
    ROCK_PRIOR_MPA,
    ROCK_PRIOR_SIGMA_LN,
    ROCK_PRIOR_WEIGHT,
    USUAL_AGE_Y,
    USUAL_VISITS,
    Region,
    Rock,
    Sizes,
    kind_mixture,
    median_or_nan,
    rock_of_crags,
    usual_sizes,
)
from saltreach.intake.distinct import numbers
from saltreach.science.rock.bond import NEW_BOND
from saltreach.science.rock.capacity import (
    AnchorResistance,
    anchor_resistance,
    is_mechanical,
)
from saltreach.science.rock.placement import (
    BONDED,
    EN959_RADIAL_KN,
    MECHANICAL_OR_BONDED,
    TOO_WEAK_MEDIAN_MPA,
    advised_kind,
    en959_minimum_mm,
    required_diameter_mm,
    required_embedment_mm,
    too_close,
)
from saltreach.science.rock.resistance import SHEAR_RATIO, STEEL_STRENGTH_MPA
from saltreach.science.rows import distinct_rows
from saltreach.vocabulary.metals import (
    COMMON,
    GRADE_BY_NAME,
    MATERIAL_BY_NAME,
    MATERIALS,
    MECHANICAL,
)
from saltreach.vocabulary.words import DO_NOT_PLACE

STRENGTH_STEP_LN, SIGMA_STEP, SPACING_STEP_LN, GSI_STEP = 0.03, 0.02, 0.05, 2.0
NEAR_STEP_MM, FAR_STEP_MM, FAR_MM = 10.0, 50.0, 200.0
"""Steps to which what is known of a place is rounded, so that like places are computed once."""
CRACK_FAR_MM, EDGE_FAR_MM = 500.0, 1000.0
"""Farther than these a crack or an edge takes nothing from an anchor of 300 mm, the longest."""

CYCLE_STEPS = (0.0, 300.0, 1000.0, 3000.0, 10_000.0, 30_000.0, 100_000.0)
"""Loads borne are rounded up to one of these; judgement."""
AXIAL_SHARE, ROOF_SHARE = 0.6, 1.0
AXIAL_SHARE_UNKNOWN = 0.8
WALL_DEG, ROOF_DEG = 100.0, 130.0
"""Largest axial part of a load on a wall, in a roof, and where the slope is not known: judgement.
On a wall most of a load is across the anchor."""

SPOILT = "Too near its crack or edge for any embedment."
"""Reason of a place that its own crack or edge spoils and not its rock."""
SITE_SIGMA_LN = 0.35
"""Scatter of strength within one crag whose rock has been tested (about a third); judgement."""
UNTESTED = (
    "Only if tests on site show the strength usual for this rock: the weakest it may be would "
    "bear the loads at no embedment."
)
"""Said of a place whose rock is refused only because its strength is in doubt."""
RESIN_ONLY = " anchors are commonly made for resin only."
"""Said where the rock takes either kind and the metal advised does not."""


def _floor_steps(values: Any, step: float) -> np.ndarray:
    return np.floor(np.asarray(values, dtype=float) / step + 1e-9) * step


def _floor_ln(values: Any, step: float) -> np.ndarray:
    with np.errstate(divide="ignore"):
        return np.exp(_floor_steps(np.log(np.asarray(values, dtype=float)), step))


def _floor_distance(values: Any, far: float) -> np.ndarray:
    distance = np.minimum(np.asarray(values, dtype=float), far)
    near = _floor_steps(distance, NEAR_STEP_MM)
    return np.where(distance >= FAR_MM, _floor_steps(distance, FAR_STEP_MM), near)


def rounded_rock(table: pd.DataFrame) -> dict[str, Any]:
    """The rock's inputs of the resistance, rounded to the weaker side (see the module).

    Parameters
    ----------
    table : DataFrame
        Columns `rock_strength_mpa`, `rock_sigma_ln`, `crack_distance_mm`, `edge_distance_mm`,
        `joint_spacing_mm`, `gsi`.

    Returns
    -------
    dict
        Arguments of `capacity.anchor_resistance` and `placement.required_embedment_mm`.
    """
    sigma = table["rock_sigma_ln"].to_numpy(float)
    return {
        "strength_median_mpa": _floor_ln(table["rock_strength_mpa"], STRENGTH_STEP_LN),
        "strength_sigma_ln": np.ceil(sigma / SIGMA_STEP - 1e-9) * SIGMA_STEP,
        "crack_distance_mm": _floor_distance(table["crack_distance_mm"], CRACK_FAR_MM),
        "edge_distance_mm": _floor_distance(table["edge_distance_mm"], EDGE_FAR_MM),
        "joint_spacing_mm": _floor_ln(table["joint_spacing_mm"], SPACING_STEP_LN),
        "gsi": _floor_steps(table["gsi"], GSI_STEP),
    }


def filled_sizes(
    table: pd.DataFrame, sizes_mm: Sizes | None = None
) -> tuple[np.ndarray, np.ndarray]:
    """Diameter and embedment to calculate with, mm.

    Parameters
    ----------
    table : DataFrame
        Columns `kind`, `diameter_mm`, `embedment_mm`.
    sizes_mm : Sizes, optional
        From `region.usual_sizes`, where the table is a part of a register.

    Returns
    -------
    diameter_mm, embedment_mm : ndarray, shape (n,)
        Those of the register; where it has none, the usual ones of that kind.
    """
    mechanical = is_mechanical(table["kind"].fillna("").astype("str").to_numpy(object)) > 0
    out = []
    for name, (bonded, driven) in zip(
        ("diameter_mm", "embedment_mm"), sizes_mm or usual_sizes(table), strict=True
    ):
        size = table[name].to_numpy(float)
        out.append(np.where(np.isnan(size), np.where(mechanical, driven, bonded), size))
    return out[0], out[1]


def filled_strength(table: pd.DataFrame, rock: Rock | None = None) -> tuple[np.ndarray, np.ndarray]:
    """Median strength (MPa) and spread to calculate with.

    Parameters
    ----------
    table : DataFrame
        Columns `crag`, `rock_strength_mpa`, `rock_sigma_ln`.
    rock : Rock, optional
        From `region.rock_of_crags`, where the table is a part of a register.

    Returns
    -------
    median_mpa, sigma_ln : ndarray, shape (n,)
        Those of the anchor; where its rock is unknown, the mixture of the known anchors of its
        crag (else of the register) and `ROCK_PRIOR_MPA`, as the lognormal with its moments.
    """
    median, sigma = (table[n].to_numpy(float) for n in ("rock_strength_mpa", "rock_sigma_ln"))
    unknown = np.isnan(median)
    if not unknown.any():
        return median, sigma
    rock = rock_of_crags(table) if rock is None else rock
    place, crags = pd.factorize(table["crag"])
    at = np.append(rock.by_crag.index.get_indexer(crags), -1)[place]
    here = np.concatenate([rock.by_crag.to_numpy(float), rock.whole[None]])[at]
    prior = np.log(ROCK_PRIOR_MPA)
    total = here[:, 2] + ROCK_PRIOR_WEIGHT
    mean = (here[:, 0] + ROCK_PRIOR_WEIGHT * prior) / total
    square = here[:, 1] + ROCK_PRIOR_WEIGHT * (prior**2 + ROCK_PRIOR_SIGMA_LN**2)
    spread = np.sqrt(square / total - mean**2)  # the prior's own spread is in it
    return np.where(unknown, np.exp(mean), median), np.where(unknown, spread, sigma)


def metal_strength(table: pd.DataFrame) -> tuple[np.ndarray, np.ndarray]:
    """Tensile strength (MPa) and shear ratio of the part in the rock: by grade, else by metal.

    NaN where neither is known.
    """
    out = []
    for name in ("strength_mpa", "shear_ratio"):
        of_metal, of_grade = (
            numbers(table[column], {word: float(getattr(v, name)) for word, v in known.items()})
            for column, known in (("material", MATERIAL_BY_NAME), ("grade", GRADE_BY_NAME))
        )
        out.append(np.where(np.isnan(of_grade), of_metal, of_grade))
    return out[0], out[1]


def load_cycles(table: pd.DataFrame, region: Region | None = None) -> np.ndarray:
    """Loads each anchor has borne, by age and visits, rounded up to `CYCLE_STEPS`.

    Unknown visits and age count as the medians of the region, or of the table.
    """
    visits, age = (table[name].to_numpy(float) for name in ("visits_per_year", "age_y"))
    told = (
        (median_or_nan(visits), median_or_nan(age))
        if region is None
        else (region.visits_per_year, region.age_y)
    )
    usual, old = (
        default if np.isnan(found) else found
        for found, default in zip(told, (USUAL_VISITS, USUAL_AGE_Y), strict=True)
    )
    cycles = np.where(np.isnan(visits), usual, visits) * np.where(np.isnan(age), old, age)
    steps = np.array(CYCLE_STEPS)
    return steps[np.minimum(np.searchsorted(steps, cycles), len(steps) - 1)]


def axial_share(face_slope_deg: Any) -> np.ndarray:
    """Largest share of a load that pulls an anchor outwards, by the slope of its face."""
    slope = np.asarray(face_slope_deg, float)
    part = np.interp(slope, [WALL_DEG, ROOF_DEG], [AXIAL_SHARE, ROOF_SHARE])
    return np.where(np.isnan(slope), AXIAL_SHARE_UNKNOWN, part)


def rock_resistance(
    table: pd.DataFrame,
    axial_kn: float,
    radial_kn: float = EN959_RADIAL_KN,
    *,
    region: Region | None = None,
) -> pd.DataFrame:
    """Resistance as placed, and what to place instead.

    Parameters
    ----------
    table : DataFrame
        Columns `kind`, `material`, `grade`, `adhesive`, `rod_shape`, `hole_condition`,
        `diameter_mm`, `embedment_mm`, `age_y`, `visits_per_year`, `face_slope_deg`, those of
        `rounded_rock`, `material_recommended` and `rock_veto`.
    axial_kn, radial_kn : float
        Required loads, kN.
    region : Region, optional
        What the whole register says, `rock` too, where the table is a part of it.

    Returns
    -------
    DataFrame
        The result columns from `rock_axial_kn_p05` to `kind_reasons`, and the working columns
        `rock_kn_p05`, `rock_kn_p50` (what the rock side bears, the axial one over the share of
        a load that pulls outwards), `rock_outwards_kn_p05`, `rock_outwards_kn_p50` (the rock side
        alone, pulled straight out), `rock_after_kn_p05`, `rock_after_kn_p50` (the same of a new
        anchor as advised; NaN where none should be placed), `rock_too_close` (distances that
        break the rule of thumb), `embedment_short` (below EN 959's length), `resistance_short`
        (5th percentile below a required load).

    Notes
    -----
    The embedment required is that of a new anchor in this place: bonded, or mechanical where
    the rock allows it and a mechanical one stands there now. Its diameter is what the metal
    advised needs (`diameter_required_mm`), or that of the anchor in place if it is thicker.
    """
    kind = table["kind"].fillna("").astype("str").to_numpy(object)
    diameter, embedment = (table[n].to_numpy(float) for n in ("diameter_mm", "embedment_mm"))
    sizes, known = (None, None) if region is None else (region.sizes_mm, region.rock)
    used_diameter, used_embedment = filled_sizes(table, sizes)
    median, sigma = filled_strength(table, known)
    rock = rounded_rock(table.assign(rock_strength_mpa=median, rock_sigma_ln=sigma))
    strength, shear = metal_strength(table)
    glued, driven = kind_mixture(kind) if region is None else region.kinds
    found = anchor_resistance(
        kind,
        used_diameter,
        _floor_steps(used_embedment, 1.0),
        **rock,
        steel_strength_mpa=np.where(np.isnan(strength), STEEL_STRENGTH_MPA, strength),
        shear_ratio=np.where(np.isnan(shear), SHEAR_RATIO, shear),
        **{n: table[n].to_numpy(object) for n in NEW_BOND},
        load_cycles=load_cycles(table, region) * (is_mechanical(kind) > 0),
        unknown_bonded=glued,
        unknown_driven=driven,
    )
    least = metal_diameter_mm(table["material_recommended"], axial_kn, radial_kn)
    new_diameter = np.fmax(diameter, least)
    known_rock = rounded_rock(table)
    advice, why, needed = _advice(kind, new_diameter, known_rock, table, axial_kn, radial_kn)
    after = anchor_resistance(
        "bonded",
        new_diameter,
        np.where(np.isnan(needed), USUAL_NEW_MM, needed),
        **rock,
        **NEW_BOND,
    )
    factor = table[ROCK].to_numpy(float) if ROCK in table else 1.0
    found = _times(found, factor)
    after = _times(after, np.minimum(factor, 1.0))  # the new one stands in the same rock
    share = axial_share(table["face_slope_deg"])
    refused = advice == DO_NOT_PLACE
    too_near, _ = too_close(
        embedment,
        edge_distance_mm=table["edge_distance_mm"].to_numpy(float),
        crack_distance_mm=table["crack_distance_mm"].to_numpy(float),
    )
    axial, radial = found.axial_kn_p05 / axial_kn, found.radial_kn_p05 / radial_kn
    complete = ~np.isnan(table["rock_strength_mpa"].to_numpy(float) + diameter + embedment)
    ratio = np.where(complete, np.minimum(axial, radial), np.nan)
    mode = np.where(axial <= radial, found.axial_mode + ", axial", found.radial_mode + ", radial")

    def held(one: Any, quantile: str) -> np.ndarray:
        outwards = getattr(one, f"rock_axial_kn_{quantile}") / share
        return np.minimum(outwards, getattr(one, f"rock_radial_kn_{quantile}"))

    return pd.DataFrame(
        {
            "rock_kn_p05": held(found, "p05"),
            "rock_kn_p50": held(found, "p50"),
            "rock_outwards_kn_p05": found.rock_axial_kn_p05,
            "rock_outwards_kn_p50": found.rock_axial_kn_p50,
            "rock_after_kn_p05": np.where(refused, np.nan, held(after, "p05")),
            "rock_after_kn_p50": np.where(refused, np.nan, held(after, "p50")),
            "rock_axial_kn_p05": np.where(complete, found.axial_kn_p05, np.nan),
            "rock_radial_kn_p05": np.where(complete, found.radial_kn_p05, np.nan),
            "rock_strength_source": np.where(
                np.isnan(table["rock_strength_mpa"]), "mixture of the register", "rock and tests"
            ),
            "resistance_mode": np.where(complete, mode, ""),
            "embedment_required_mm": needed,
            "diameter_required_mm": least,
            "kind_advised": advice,
            "kind_reasons": why,
            "rock_too_close": too_near,
            "embedment_short": embedment < en959_minimum_mm(kind, diameter),
            "resistance_short": ratio < 1.0,
        },
        index=table.index,
    )


def _times(found: AnchorResistance, factor: Any) -> AnchorResistance:
    """A resistance with what was learned of its rock side; with the metal it is never more."""
    if np.ndim(factor) == 0:
        return found
    least = np.minimum(factor, 1.0)
    loads = {
        name: load * (factor if name.startswith("rock_") else least)
        for name, load in found._asdict().items()
        if name.partition("rock_")[2].startswith(PULLS) or name.startswith(PULLS)
    }
    return found._replace(**loads)


PULLS = ("axial_kn", "radial_kn")
USUAL_NEW_MM = 100.0
"""Embedment of a new anchor where the rock asked for none (common practice, no source)."""


MADE_MECHANICAL = {m.name: m.made_as[MECHANICAL] == COMMON for m in MATERIALS}
"""Whether mechanical anchors of a metal are commonly made."""


def metal_diameter_mm(
    metal: pd.Series, axial_kn: float, radial_kn: float, legs: float = 1.0
) -> np.ndarray:
    """Least usual diameter at which each metal bears both loads; an unknown one as the weakest."""
    strength, shear = (
        numbers(metal, {m: float(getattr(v, name)) for m, v in MATERIAL_BY_NAME.items()})
        for name in ("strength_mpa", "shear_ratio")
    )
    return np.asarray(
        required_diameter_mm(
            axial_kn,
            radial_kn,
            np.where(np.isnan(strength), STEEL_STRENGTH_MPA, strength),
            np.where(np.isnan(shear), SHEAR_RATIO, shear),
            legs,
        )
    )


def _advice(
    kind: np.ndarray,
    diameter_mm: np.ndarray,
    rock: dict[str, Any],
    table: pd.DataFrame,
    axial_kn: float,
    radial_kn: float,
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Kind advised, the sentences why, and the embedment it needs."""
    loads: dict[str, Any] = {"axial_kn": axial_kn, "radial_kn": radial_kn}
    veto = table["rock_veto"].to_numpy(object)
    needed, governs = required_embedment_mm("bonded", diameter_mm, **rock, **loads)
    doubtful = np.isnan(needed) & (veto == "")
    doubtful &= rock["strength_median_mpa"] > TOO_WEAK_MEDIAN_MPA
    if doubtful.any():
        usual = {name: values[doubtful] for name, values in rock.items()}
        usual["strength_sigma_ln"] = np.minimum(usual["strength_sigma_ln"], SITE_SIGMA_LN)
        needed[doubtful], governs[doubtful] = required_embedment_mm(
            "bonded", diameter_mm[doubtful], **usual, **loads
        )
        doubtful &= ~np.isnan(needed)
    advice, reason = advised_kind(
        table["rock_strength_mpa"], table["rock_sigma_ln"], veto=veto, required_mm=needed
    )
    # the rock would take either, but the metal advised is to be had for resin only
    resin_only = numbers(table["material_recommended"], MADE_MECHANICAL) == 0
    swap = (advice == MECHANICAL_OR_BONDED) & resin_only
    advice = np.where(swap, BONDED, advice)
    as_now = (advice == MECHANICAL_OR_BONDED) & (is_mechanical(kind) > 0)
    if as_now.any():
        some = {name: values[as_now] for name, values in rock.items()}
        needed[as_now], governs[as_now] = required_embedment_mm(
            kind[as_now], diameter_mm[as_now], **some, **loads
        )
    refused = (advice == DO_NOT_PLACE) | np.isnan(needed)
    needed = np.where(advice == DO_NOT_PLACE, np.nan, needed)
    what = np.where(as_now, "mechanical", "bonded").astype(object)
    first, inverse = distinct_rows(
        [np.round(needed), as_now, diameter_mm, pd.factorize(governs)[0]]
    )
    said = zip(*(v[first] for v in (needed, what, diameter_mm, governs)), strict=True)
    depth = np.array(
        [f"{mm:.0f} mm {of} at {at_mm:g} mm diameter: {by} governs." for mm, of, at_mm, by in said],
        dtype=object,
    )[inverse]
    reason = pd.Series(reason).map({r: f"{r[:1].upper()}{r[1:]}." for r in set(reason)})
    reason = reason.mask(_spoilt(advice, veto, diameter_mm, rock, loads), SPOILT)
    reason = reason.mask(doubtful, reason + SEPARATOR + UNTESTED)
    metal = table["material_recommended"].astype("str").str.capitalize()
    reason = reason.mask(swap, reason + SEPARATOR + metal.to_numpy(object) + RESIN_ONLY)
    why = reason.to_numpy(object) + np.where(refused, "", SEPARATOR + depth)
    return advice, why, needed


def _spoilt(
    advice: np.ndarray,
    veto: np.ndarray,
    diameter_mm: np.ndarray,
    rock: dict[str, Any],
    loads: dict[str, Any],
) -> np.ndarray:
    """Refused places whose rock would bear the loads farther from the crack or edge."""
    out = np.zeros(len(advice), dtype=bool)
    near = ~np.isnan(rock["crack_distance_mm"]) | ~np.isnan(rock["edge_distance_mm"])
    asked = np.flatnonzero((advice == DO_NOT_PLACE) & (veto == "") & near)
    if len(asked):
        clear = {name: values[asked] for name, values in rock.items() if "distance" not in name}
        needed, _ = required_embedment_mm("bonded", diameter_mm[asked], **clear, **loads)
        strong = rock["strength_median_mpa"][asked] > TOO_WEAK_MEDIAN_MPA
        out[asked] = ~np.isnan(needed) & strong
    return out
