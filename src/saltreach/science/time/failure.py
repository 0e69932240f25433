"""Failure of each anchor year by year, and the strength left: the parts of `reliability` joined."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import ArrayLike

from saltreach.errors import OptionError
from saltreach.science.labelled import labelled
from saltreach.science.time.anchors import Anchors
from saltreach.science.time.curves import metal_curve, rock_curve
from saltreach.science.time.reliability import MODEL, Model
from saltreach.science.time.strength_left import strength_quantile_kn
from saltreach.science.time.updating import CONDITION_SHARES
from saltreach.science.types import Floats, Values, number, numbers
from saltreach.vocabulary.metals import MATERIAL_NAMES

__all__ = [
    "YEARS", "Anchors", "age_mixture", "capacity_quantile_kn", "combined", "failure_curve",
    "failure_parts",
]  # fmt: skip

YEARS = 31
"""Years of a curve: the coming one and 30 more."""

_CHUNK_ROWS = 8192
_COLUMNS = 512  # of a curve at once: they stay near the processor


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
        total = np.zeros((years, len(chance[rows])))
        part = Anchors(*(c[rows] for c in columns))
        for metal in range(len(MATERIAL_NAMES)):
            for j in range(ages.shape[1]):
                weight = chance[rows, metal] * share[rows, j]
                every = np.flatnonzero(weight != 0)  # NaN counts as held and stays NaN
                for begin in range(0, len(every), _COLUMNS):
                    held = every[begin : begin + _COLUMNS]
                    some = Anchors(*(c[held] for c in part))
                    age = np.maximum(ages[rows][held, j], 0)
                    factor = None if factors is None else factors[rows][held]
                    p = metal_curve(
                        metal, age, ahead, some, model, keep_rank, condition_shares, factor
                    )
                    p *= weight[held]
                    total[:, held] += p
        metal_part[rows] = total.T
        age = _weighted(ages[rows], share[rows])
        rock_part[rows] = rock_curve(part, age, ahead, model, condition_shares).T
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
        out[rows] = strength_quantile_kn(
            chance[rows], ages[rows], share[rows], part, probability, model, factor
        )
    return out


def _weighted(values: Floats, share: Floats) -> Floats:
    """Sum along each row in its order, whatever the number of rows."""
    total = values[:, 0] * share[:, 0]
    for j in range(1, values.shape[1]):
        total += values[:, j] * share[:, j]
    return total


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
