"""Failure of each anchor year by year, and the strength left: the parts of `reliability` joined."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import ArrayLike

from saltreach.errors import OptionError
from saltreach.science.labelled import labelled
from saltreach.science.rock.capacity import STEEL_SIGMA_LN
from saltreach.science.rock.resistance import steel_resistance_kn
from saltreach.science.rows import distinct_rows
from saltreach.science.time.reliability import (
    MODEL,
    Z_95,
    Model,
    overload_probability,
    rock_failure_probability,
    rock_quantiles_kn,
    scc_scale_y,
    steel_strength_kn,
    weibull_conditional_probability,
    weibull_probability,
)
from saltreach.science.time.updating import (
    CONDITION_SHARES,
    CONDITIONS,
    odds_ratio,
    odds_update,
    unknown_condition,
)
from saltreach.science.types import Column, Floats, Values, number, numbers
from saltreach.vocabulary.metals import COATED, MATERIAL_BY_NAME, MATERIAL_NAMES, ZINC_UM

YEARS = 31
"""Years of a curve: the coming one and 30 more."""

_CHUNK_ROWS = 32768
_RATE_STEP_LN = 0.02
_SCORES = np.linspace(-5.0, 5.0, 21)
_SCORE_WEIGHTS = np.exp(-(_SCORES**2) / 2) / np.exp(-(_SCORES**2) / 2).sum()
# even steps, not Gauss-Hermite: rusting through is a step that few nodes would miss by a third;
# scores within 3.6 would lose up to a fifth of small probabilities
_LEAST_KN = 1e-3
_MOST_KN = 1e3
_HALVINGS = 30
_SURE = 1 - 1e-12


class Anchors(NamedTuple):
    """What the model needs of each anchor; arrays of shape (n,) or scalars.

    `scc_hazard` 0 to 1; first-year losses in µm/y with the standard deviation of their
    logarithm; `diameter_mm`, NaN: `Model.diameter_mm`; `metal_shear_mpa`, strength in shear,
    NaN: the metal's own least (`materials.MATERIALS`); `legs`, rods of that diameter;
    rock side in kN, NaN: the prior of `Model`; `condition` 0 to 4 or NaN, and the years since it
    was recorded; `batch_factor` from `updating.batch_factor`.
    """

    scc_hazard: Column
    zinc_rate_um_y: Column
    steel_rate_um_y: Column
    zinc_sigma_ln: Column = 0.4
    steel_sigma_ln: Column = 0.4
    """Where no spread is given: about what the functions of ISO 9223 have alone; judgement."""
    diameter_mm: Column = np.nan
    metal_shear_mpa: Column = np.nan
    legs: Column = 1.0
    rock_kn_p05: Column = np.nan
    rock_kn_p50: Column = np.nan
    condition: Column = np.nan
    years_since_inspection: Column = np.nan
    batch_factor: Column = 1.0


def age_mixture(age_y: Values, ages_y: Values, shares: Values) -> tuple[Floats, Floats]:
    """Ages and their weights: one age where known, the given spread where not.

    Parameters
    ----------
    age_y : array_like, shape (n,)
        Years; NaN where the date of placing is unknown.
    ages_y : array_like, shape (k,)
        Ages an undated anchor may have.
    shares : array_like, shape (k,) or (n, k)
        How likely each is; scaled to sum to 1.

    Returns
    -------
    ages, weights : numpy.ndarray, shape (n, k)
        A known age stands in every column with its weight in the first.

    Raises
    ------
    OptionError
        Shares that are negative or all 0.

    References
    ----------
    Law of total probability. The spread of ages is the caller's.

    Examples
    --------
    >>> ages, weights = age_mixture([12.0, np.nan], [5.0, 20.0], [1.0, 3.0])
    >>> ages.tolist(), weights.tolist()
    ([[12.0, 12.0], [5.0, 20.0]], [[1.0, 0.0], [0.25, 0.75]])
    """
    age = number(age_y)[:, None]
    spread = np.broadcast_to(number(ages_y), (len(age), np.size(ages_y)))
    share = np.broadcast_to(number(shares), spread.shape)
    total = share.sum(axis=1, keepdims=True)
    if (share < 0).any() or (total <= 0).any():
        raise OptionError(f"shares of ages {shares!r}: give numbers from 0 up, one above 0")
    first = np.arange(spread.shape[1]) == 0
    known = ~np.isnan(age)
    return np.where(known, age, spread), np.where(known, first, share / total)


def failure_parts(
    weights: Values,
    age_y: Values,
    anchors: Anchors,
    *,
    age_weights: Values | None = None,
    years: int = YEARS,
    model: Model = MODEL,
    keep_rank: bool = True,
    condition_shares: ArrayLike = CONDITION_SHARES,
    learned: Values | None = None,
) -> tuple[Floats, Floats]:
    """Probability that the metal, and that the rock, fails in each coming year.

    Parameters
    ----------
    weights : array_like, shape (n, 12)
        Chance of each metal, from `reliability.material_weights`.
    age_y : array_like, shape (n,) or (n, k)
        Age today, years; k ages for a mixture. Below 0 counts as 0.
    anchors : Anchors
        The place, the bar, the rock, what inspections say.
    age_weights : array_like, shape (n, k), optional
        Chance of each age; needed with k ages.
    years : int
        Years of the curve.
    model : Model
        Numbers of the model.
    keep_rank : bool
        Never show coated steel safer than 304 in the same place.
    condition_shares : array_like, shape (5,)
        What an unrecorded condition may be (`updating.unknown_condition`).
    learned : array_like, shape (n, 12), optional
        Factor on the hazard of each metal (`learning.factor_used`), beside that of the batch.

    Returns
    -------
    metal, rock : numpy.ndarray, shape (n, years)
        Given that the anchor is still in use then; neither falls along a row. The metal's part
        holds the constant rest as well. NaN where an input that carries weight is unknown:
        hazard for stainless, losses for coated steel, age, metal.

    Notes
    -----
    Steel: one normal score, 21 even steps, shared by the losses of zinc and steel (both follow
    the air) and by the coating's thickness. Parts fail independently. That an anchor is recorded
    as failed is taken as the metal's; the rock then counts as in condition 3.

    References
    ----------
    Parts: see `reliability` and `updating`. That the parts fail
    independently is an assumption of ours.
    """
    chance, ages, share, columns = _rows(weights, age_y, age_weights, anchors)
    metal_part, rock_part = np.empty((2, len(chance), years))
    ahead = np.arange(years, dtype=float)
    factors = None if learned is None else number(learned)
    for start in range(0, len(chance), _CHUNK_ROWS):
        rows = slice(start, start + _CHUNK_ROWS)
        total = np.zeros((len(chance[rows]), years))
        part = Anchors(*(c[rows] for c in columns))
        for metal in range(len(MATERIAL_NAMES)):
            for j in range(ages.shape[1]):
                weight = chance[rows, metal] * share[rows, j]
                held = np.flatnonzero(weight != 0)  # NaN counts as held and stays NaN
                if len(held):
                    some = Anchors(*(c[held] for c in part))
                    time = np.maximum(ages[rows][held, j], 0)[:, None] + ahead
                    factor = None if factors is None else factors[rows][held]
                    p = _metal_curve(metal, time, some, model, keep_rank, condition_shares, factor)
                    total[held] += weight[held, None] * p
        metal_part[rows] = total
        age = (ages[rows] * share[rows]).sum(axis=1)
        rock_part[rows] = _rock_curve(part, age, ahead, model, condition_shares)
    return np.minimum(metal_part, 1.0), rock_part  # weights may sum to a digit more than 1


def failure_curve(weights: Values, age_y: Values, anchors: Anchors, **more: Any) -> Floats:
    """Probability of failing in each coming year, given that the anchor is still in use then.

    Parameters
    ----------
    weights, age_y, anchors
        As for `failure_parts`.
    **more
        As for `failure_parts`.

    Returns
    -------
    numpy.ndarray, shape (n, years)
        Metal and rock together, independent of each other.

    References
    ----------
    As `failure_parts`; joined by `combined`.

    Examples
    --------
    >>> from saltreach.science.time.reliability import material_weights
    >>> place = Anchors(scc_hazard=0.5, zinc_rate_um_y=4.0, steel_rate_um_y=80.0,
    ...     rock_kn_p05=25.0, rock_kn_p50=50.0)
    >>> curve = failure_curve(material_weights(["304", "titanium"]), [10.0, 10.0], place)
    >>> curve.shape, bool(curve[0, 0] > 30 * curve[1, 0])
    ((2, 31), True)
    """
    return combined(*failure_parts(weights, age_y, anchors, **more))


@labelled("1")
def combined(metal: Values, rock: Values) -> Floats:
    """Chance that the metal or the rock fails, independent of each other.

    .. math:: p = 1 - (1 - p_m)(1 - p_r)

    Parameters
    ----------
    metal, rock : array_like
        Chance of each, 0 to 1.

    Returns
    -------
    array_like
        0 to 1; NaN stays NaN.

    References
    ----------
    Independent events.

    Examples
    --------
    >>> float(combined(0.5, 0.5))
    0.75
    """
    metal, rock = numbers(metal, rock)
    return 1.0 - (1.0 - metal) * (1.0 - rock)


def capacity_quantile_kn(
    weights: Values,
    age_y: Values,
    anchors: Anchors,
    *,
    age_weights: Values | None = None,
    probability: float = 0.05,
    model: Model = MODEL,
    learned: Values | None = None,
) -> Floats:
    """Quantile of what an anchor holds today: the lesser of metal and rock.

    Parameters
    ----------
    weights, age_y, anchors, age_weights, model
        As for `failure_curve`.
    probability : float
        Between 0 and 1.
    learned : array_like, shape (n, 12), optional
        As for `failure_parts`; counts for what cracks.

    Returns
    -------
    numpy.ndarray, shape (n,)
        kN; 0 where the chance of a cracked or rusted-through metal reaches `probability`, and
        for condition 4. NaN as in `failure_curve`.

    Notes
    -----
    Stainless: whole with the strength of its bar, or cracked with none; the chance of cracked
    is the Weibull's at that age. Found by halving, to 0.1 %.

    References
    ----------
    As `failure_parts`; bisection.

    Examples
    --------
    >>> from saltreach.science.time.reliability import material_weights
    >>> place = Anchors(0.3, 4.0, 80.0, diameter_mm=12.0, rock_kn_p05=20.0, rock_kn_p50=40.0)
    >>> old, new = capacity_quantile_kn(material_weights(["304", "316"]), [20.0, 5.0], place)
    >>> float(old), bool(15 < new < 20)
    (0.0, True)
    """
    chance, ages, share, columns = _rows(weights, age_y, age_weights, anchors)
    out = np.empty(len(chance))
    factors = None if learned is None else number(learned)
    for start in range(0, len(chance), _CHUNK_ROWS):
        rows = slice(start, start + _CHUNK_ROWS)
        part = Anchors(*(c[rows] for c in columns))
        factor = None if factors is None else factors[rows]
        terms = list(_strength_terms(chance[rows], ages[rows], share[rows], part, model, factor))
        out[rows] = _quantile(terms, part, probability, model)
    return out


def _rows(
    weights: Values, age_y: Values, age_weights: Values | None, anchors: Anchors
) -> tuple[Floats, Floats, Floats, list[Floats]]:
    """Everything as float arrays with one row per anchor."""
    chance, ages = numbers(weights, age_y)
    ages = ages[:, None] if ages.ndim == 1 else ages
    if chance.ndim != 2 or chance.shape[1] != len(MATERIAL_NAMES) or len(ages) != len(chance):
        raise OptionError(
            f"weights of shape {chance.shape} and ages of shape {ages.shape}: give one row per "
            f"anchor and one column of weights for each of {list(MATERIAL_NAMES)}"
        )
    if age_weights is None and ages.shape[1] > 1:
        raise OptionError(f"{ages.shape[1]} ages for each anchor: give `age_weights` too")
    share = np.ones_like(ages) if age_weights is None else number(age_weights)
    columns = [np.broadcast_to(number(v), (len(chance),)) for v in anchors]
    return chance, ages, share, columns


def _metal_curve(
    metal: int,
    time: Floats,
    a: Anchors,
    model: Model,
    keep_rank: bool,
    condition_shares: ArrayLike,
    learned: Floats | None = None,
) -> Floats:
    """Yearly probability that a metal (and the constant rest) fails, years on the last axis."""
    name = MATERIAL_NAMES[metal]
    as_304 = _learned(a, learned, MATERIAL_NAMES.index("304"))
    a = _learned(a, learned, metal)
    since = a.years_since_inspection[:, None] + time - time[:, :1]
    seen = _ratio(a.condition[:, None], "visible", since, time[:, :1], condition_shares)
    cracks = _ratio(a.condition[:, None], "cracking", since, time[:, :1], condition_shares)
    rest = _more_often(np.full(time.shape, model.rest_per_y), a)
    rest = odds_update(rest, seen)
    if name in COATED:
        p = odds_update(_more_often(_rust_curve(name, time, a, model), a), seen)
        if keep_rank:
            # what 304 would do here, where its hazard is known
            p = np.fmax(p, _crack_curve("304", time, as_304, cracks, model)) + 0.0 * p
    else:
        p = _crack_curve(name, time, a, cracks, model)
        torn = overload_probability(_median(_whole_kn(name, a, model)), STEEL_SIGMA_LN, model)
        p = combined(p, torn[:, None])
    p = combined(p, rest)
    failed = np.where(
        np.isnan(a.condition), unknown_condition("visible", time[:, 0], condition_shares)[1], 0.0
    )
    return combined(p, failed[:, None])


def _ratio(condition: Floats, way: str, since: Floats, age_y: Floats, shares: ArrayLike) -> Floats:
    """Factor on the odds by what was recorded, or by what usually goes unrecorded."""
    unseen, _ = unknown_condition(way, age_y, shares)
    return np.where(np.isnan(condition), unseen, odds_ratio(condition, way, since))


def _whole_kn(name: str, a: Anchors, model: Model) -> Floats:
    """Nominal shear strength of an uncracked bar."""
    metal = MATERIAL_BY_NAME[name]
    least = metal.shear_ratio * metal.strength_mpa
    shear = np.where(np.isnan(a.metal_shear_mpa), least, a.metal_shear_mpa)
    diameter = np.where(np.isnan(a.diameter_mm), model.diameter_mm, a.diameter_mm)
    return a.legs * steel_resistance_kn(diameter, shear)


def _learned(a: Anchors, factors: Floats | None, metal: int) -> Anchors:
    """Anchors of one metal with what was learned of it."""
    if factors is None:
        return a
    return a._replace(batch_factor=a.batch_factor * factors[:, metal])


def _more_often(p: Floats, a: Anchors) -> Floats:
    return -np.expm1(a.batch_factor[:, None] * np.log1p(-np.minimum(p, 1 - 1e-12)))


def _crack_curve(name: str, time: Floats, a: Anchors, ratio: Floats, model: Model) -> Floats:
    scale = scc_scale_y(a.scc_hazard, name, model)[:, None]
    p = _more_often(weibull_conditional_probability(time, 1.0, scale, model.shape), a)
    return odds_update(p, ratio)


def _rust_nodes(name: str, a: Anchors, model: Model) -> Iterator[tuple[Any, ...]]:
    """Diameter, coating and rates at nodes of one score: harsher air, thinner coating."""
    low, high = ZINC_UM[name]
    coating = np.sqrt(low * high)
    spread = np.log(high / low) / (2 * 1.2815515655446004)
    zinc_sigma = np.hypot(a.zinc_sigma_ln, spread)
    steel_sigma = np.hypot(a.steel_sigma_ln, model.local_sigma_ln)
    diameter = np.where(np.isnan(a.diameter_mm), model.diameter_mm, a.diameter_mm)
    for z, weight in zip(_SCORES, _SCORE_WEIGHTS, strict=True):
        zinc = a.zinc_rate_um_y * np.exp(zinc_sigma * z)
        yield weight, diameter, coating, zinc, a.steel_rate_um_y * np.exp(steel_sigma * z)


def _rust_curve(name: str, time: Floats, a: Anchors, model: Model) -> Floats:
    """Yearly probability by rust; rates in steps of 2 %, so that like anchors are done once."""
    rates = [_stepped(v) for v in (a.zinc_rate_um_y, a.steel_rate_um_y)]
    others = [a.zinc_sigma_ln, a.steel_sigma_ln, a.diameter_mm, a.legs]
    first, inverse = distinct_rows([time[:, 0], *rates, *others])
    some = Anchors(
        *(c[first] for c in a._replace(zinc_rate_um_y=rates[0], steel_rate_um_y=rates[1]))
    )
    ages = time[first]
    total = np.zeros(ages.shape)
    for weight, diameter, coating, zinc, steel in _rust_nodes(name, some, model):
        strength = steel_strength_kn(
            ages, diameter[:, None], coating, zinc[:, None], steel[:, None], model.local_factor
        )
        strength = some.legs[:, None] * strength
        total += weight * overload_probability(_median(strength), STEEL_SIGMA_LN, model)
    return total[inverse]


def _stepped(rate_um_y: Floats) -> Floats:
    return np.exp(np.round(np.log(np.maximum(rate_um_y, 1e-6)) / _RATE_STEP_LN) * _RATE_STEP_LN)


def _median(nominal_kn: Floats) -> Floats:
    """Nominal strength is read as the 5th percentile, as in `capacity`."""
    return nominal_kn * np.exp(Z_95 * STEEL_SIGMA_LN)


def _rock_curve(
    a: Anchors, age_y: Floats, ahead: Floats, model: Model, condition_shares: ArrayLike
) -> Floats:
    p = rock_failure_probability(a.rock_kn_p05, a.rock_kn_p50, model)[:, None]
    since = a.years_since_inspection[:, None] + ahead
    condition = np.minimum(a.condition, CONDITIONS - 2)[:, None]
    return odds_update(p, _ratio(condition, "rock", since, age_y[:, None], condition_shares))


def _strength_terms(
    chance: Floats,
    ages: Floats,
    share: Floats,
    a: Anchors,
    model: Model,
    learned: Floats | None,
) -> Iterator[tuple[Floats, Floats]]:
    """Weight and ln(median strength) of each part of the metal's mixture, shape (n,)."""
    for metal, name in enumerate(MATERIAL_NAMES):
        for j in range(ages.shape[1]):
            weight = chance[:, metal] * share[:, j]
            if not (weight != 0).any():
                continue
            age = np.maximum(ages[:, j], 0)
            with np.errstate(divide="ignore"):
                if name in COATED:
                    for w, bar, coating, zinc, steel in _rust_nodes(name, a, model):
                        left = steel_strength_kn(age, bar, coating, zinc, steel, model.local_factor)
                        yield _held(weight * w, np.log(_median(a.legs * left)))
                    continue
                cracked = weibull_probability(
                    age, scc_scale_y(a.scc_hazard, name, model), model.shape
                )
                if learned is not None:
                    cracked = -np.expm1(learned[:, metal] * np.log1p(-np.minimum(cracked, _SURE)))
                cracked = odds_update(
                    cracked, odds_ratio(a.condition, "cracking", a.years_since_inspection)
                )
                cracked = np.where(weight == 0, 0.0, cracked)  # nor its NaN, see `_held`
                whole = np.log(_median(_whole_kn(name, a, model)))
            yield _held(weight * cracked, np.full(len(age), -np.inf))
            yield _held(weight * (1 - cracked), whole)


def _held(weight: Floats, ln_kn: Floats) -> tuple[Floats, Floats]:
    """Parts without weight must not spread their NaN."""
    none = weight == 0
    return weight, np.where(none, 0.0, ln_kn)


def _quantile(
    terms: list[tuple[Floats, Floats]], a: Anchors, probability: float, model: Model
) -> Floats:
    from scipy.special import ndtr

    p05, p50 = rock_quantiles_kn(a.rock_kn_p05, a.rock_kn_p50, model)
    rock_sigma = np.maximum(np.log(p50 / p05) / Z_95, 1e-9)

    def below(ln_kn: Floats) -> Floats:
        metal = sum(w * ndtr((ln_kn - median) / STEEL_SIGMA_LN) for w, median in terms)
        return 1 - (1 - metal) * (1 - ndtr((ln_kn - np.log(p50)) / rock_sigma))

    low = np.full(len(p50), np.log(_LEAST_KN))
    high = np.full(len(p50), np.log(_MOST_KN))
    none = (below(low) >= probability) | (a.condition == 4)
    unknown = np.isnan(below(low))
    for _ in range(_HALVINGS):
        middle = (low + high) / 2
        above = below(middle) >= probability
        low, high = np.where(above, low, middle), np.where(above, middle, high)
    return np.where(unknown, np.nan, np.where(none, 0.0, np.exp(low)))
