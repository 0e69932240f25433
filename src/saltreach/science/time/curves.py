"""Yearly probability of failure of one metal, and of the rock: years on the first axis.

A column's value never depends on the columns beside it.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from saltreach.science.normal import Scratch
from saltreach.science.rock.capacity import STEEL_SIGMA_LN
from saltreach.science.rock.resistance import steel_resistance_kn
from saltreach.science.rows import on_distinct
from saltreach.science.time.anchors import Anchors
from saltreach.science.time.reliability import (
    Z_95,
    Model,
    overload_probability,
    rock_failure_probability,
    scc_scale_y,
)
from saltreach.science.time.rust import diameter_mm, rust_curve
from saltreach.science.time.updating import (
    CONDITIONS,
    CREDIT_HALF_LIFE_Y,
    odds_ratio,
    odds_update,
    unknown_condition,
)
from saltreach.science.types import Floats
from saltreach.vocabulary.metals import COATED, MATERIAL_BY_NAME, MATERIAL_NAMES

_SURE = 1 - 1e-12


def metal_curve(
    metal: int,
    age_y: Floats,
    ahead: Floats,
    a: Anchors,
    model: Model,
    keep_rank: bool,
    condition_shares: ArrayLike,
    learned: Floats | None,
) -> Floats:
    """Yearly probability that a metal (and the constant rest) fails, shape (years, n).

    References
    ----------
    As `failure.failure_parts`, of which it is a part.
    """
    name = MATERIAL_NAMES[metal]
    as_304 = _learned(a, learned, MATERIAL_NAMES.index("304"))
    a = _learned(a, learned, metal)
    seen, cracks = (
        found_ratio(a.condition, way, a.years_since_inspection, ahead, age_y, condition_shares)
        for way in ("visible", "cracking")
    )
    rest = odds_update(_more_often(np.full((1, len(age_y)), model.rest_per_y), a), seen)
    if name in COATED:
        time = age_y + ahead[:, None]
        p = odds_update(_more_often(rust_curve(name, time, a, model, Scratch()), a), seen)
        if keep_rank:
            # what 304 would do here, where its hazard is known
            p = np.fmax(p, _crack_curve("304", age_y, ahead, as_304, cracks, model)) + 0.0 * p
    else:
        p = _crack_curve(name, age_y, ahead, a, cracks, model)
        (torn,) = on_distinct(
            lambda kn: (overload_probability(kn, STEEL_SIGMA_LN, model),),
            whole_kn(name, a, model) * np.exp(Z_95 * STEEL_SIGMA_LN),
        )
        p = _both(p, torn)
    failed = np.where(
        np.isnan(a.condition), unknown_condition("visible", age_y, condition_shares)[1], 0.0
    )
    return _both(_both(p, rest), failed)


def _both(one: Floats, other: Floats) -> Floats:
    """Chance of one or the other, independent of each other."""
    return 1.0 - (1.0 - one) * (1.0 - other)


def rock_curve(
    a: Anchors, age_y: Floats, ahead: Floats, model: Model, condition_shares: ArrayLike
) -> Floats:
    """Yearly probability that the rock gives way, shape (years, n).

    References
    ----------
    As `failure.failure_parts`, of which it is a part.
    """
    (p,) = on_distinct(
        lambda p05, p50: (rock_failure_probability(p05, p50, model),), a.rock_kn_p05, a.rock_kn_p50
    )
    condition = np.minimum(a.condition, CONDITIONS - 2)
    ratio = found_ratio(condition, "rock", a.years_since_inspection, ahead, age_y, condition_shares)
    return np.broadcast_to(odds_update(p, ratio), (len(ahead), len(age_y)))


def found_ratio(
    condition: Floats,
    way: str,
    since_y: Floats,
    ahead: Floats,
    age_y: Floats,
    shares: ArrayLike,
) -> Floats:
    """Factor on the odds by what was recorded, or by what usually goes unrecorded.

    Of shape (years, n), or (1, n) where no year differs.

    References
    ----------
    As `failure.failure_parts`, of which it is a part.
    """
    unseen, _ = unknown_condition(way, age_y, shares)
    at_once = odds_ratio(condition, way, 0.0)  # what a look of today says
    known = ~np.isnan(condition)
    fades = known & (at_once < 1) & ~np.isnan(since_y)
    ratio = np.where(known, np.where(at_once < 1, 1.0, at_once), unseen)[None]
    if not fades.any():
        return ratio
    some = np.flatnonzero(fades)
    since = np.maximum(since_y[some] + ahead[:, None], 0)
    out = np.repeat(ratio, len(ahead), axis=0)
    credit = np.exp2(since / -CREDIT_HALF_LIFE_Y)
    out[:, some] = np.exp(np.log(at_once[some]) * credit)
    return out


def whole_kn(name: str, a: Anchors, model: Model) -> Floats:
    """Nominal shear strength of an uncracked bar.

    References
    ----------
    As `failure.failure_parts`, of which it is a part.
    """
    metal = MATERIAL_BY_NAME[name]
    least = metal.shear_ratio * metal.strength_mpa
    shear = np.where(np.isnan(a.metal_shear_mpa), least, a.metal_shear_mpa)
    return a.legs * steel_resistance_kn(diameter_mm(a, model), shear)


def _learned(a: Anchors, factors: Floats | None, metal: int) -> Anchors:
    """Anchors of one metal with what was learned of it."""
    if factors is None:
        return a
    return a._replace(batch_factor=a.batch_factor * factors[:, metal])


def _more_often(p: Floats, a: Anchors) -> Floats:
    """A probability with the hazard times the factor of each column."""
    p = np.minimum(p, _SURE)
    some = np.flatnonzero(a.batch_factor != 1)
    if len(some):
        p[:, some] = -np.expm1(a.batch_factor[some] * np.log1p(-p[:, some]))
    return p


def _crack_curve(
    name: str, age_y: Floats, ahead: Floats, a: Anchors, ratio: Floats, model: Model
) -> Floats:
    """Weibull: chance of cracking in the year after each time, given that it has not before."""
    scaled = (age_y + np.append(ahead, ahead[-1] + 1)[:, None]) / scc_scale_y(
        a.scc_hazard, name, model
    )
    scaled **= model.shape
    p = -np.expm1(scaled[:-1] - scaled[1:])
    return odds_update(_more_often(p, a), ratio)
