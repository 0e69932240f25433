"""Quantile of the strength that is left: a mixture over metals, ages and rust, with the rock."""

from __future__ import annotations

import numpy as np

from saltreach.science.normal import Scratch, above_half
from saltreach.science.rock.capacity import STEEL_SIGMA_LN
from saltreach.science.time.anchors import Anchors
from saltreach.science.time.curves import whole_kn
from saltreach.science.time.reliability import (
    Z_95,
    Model,
    rock_quantiles_kn,
    scc_scale_y,
    weibull_probability,
)
from saltreach.science.time.rust import ln_section_left, ln_whole_kn, nodes_of
from saltreach.science.time.updating import odds_ratio, odds_update
from saltreach.science.types import Floats, Places
from saltreach.vocabulary.metals import COATED, MATERIAL_NAMES

_LEAST_KN = 1e-3
_MOST_KN = 1e3
_CLOSE = 1e-7  # of ln(kN); the step after it would be its square
_STEPS = 60  # halvings of the whole range end below the last digit
_SURE = 1 - 1e-12
_STEEP = 1 / np.sqrt(2 * np.pi)


class _Parts:
    """Parts of the metal's mixture, one after the other: row, weight and ln(median strength).

    A row's parts stand in the order of metals, ages and nodes, so that its sum has one order.
    """

    def __init__(self, count: int) -> None:
        self.gone = np.zeros(count)  # weight of what holds nothing
        self._held: list[tuple[Places, Floats, Floats]] = []

    def add(self, rows: Places, weight: Floats, ln_kn: Floats) -> None:
        self._held.append((rows, weight, ln_kn))

    def joined(self) -> tuple[Places, Floats, Floats]:
        if not self._held:
            return np.zeros(0, np.intp), np.zeros(0), np.zeros(0)
        row, weight, ln_kn = (np.concatenate(v) for v in zip(*self._held, strict=True))
        return row, weight, ln_kn


def _metal_parts(
    chance: Floats,
    ages: Floats,
    share: Floats,
    a: Anchors,
    model: Model,
    learned: Floats | None,
) -> _Parts:
    parts = _Parts(len(chance))
    for metal, name in enumerate(MATERIAL_NAMES):
        if name not in COATED:
            _add_stainless(parts, metal, chance, ages, share, a, model, learned)
            continue
        for j in range(ages.shape[1]):
            weight = chance[:, metal] * share[:, j]
            rows = np.flatnonzero(weight != 0)  # NaN counts as held and stays NaN
            if not len(rows):
                continue
            some = Anchors(*(c[rows] for c in a))
            age = np.maximum(ages[rows, j], 0)
            whole, scratch = ln_whole_kn(some, model), Scratch()
            for node in nodes_of(name, some, model):
                left = ln_section_left(age, node, scratch)
                parts.add(rows, weight[rows] * node.weight, whole + left)
    return parts


def _add_stainless(
    parts: _Parts,
    metal: int,
    chance: Floats,
    ages: Floats,
    share: Floats,
    a: Anchors,
    model: Model,
    learned: Floats | None,
) -> None:
    """Cracked it holds nothing; whole, the strength of its bar at any age."""
    name = MATERIAL_NAMES[metal]
    rows = np.flatnonzero(chance[:, metal] != 0)
    if not len(rows):
        return
    some = Anchors(*(c[rows] for c in a))
    scale = scc_scale_y(some.scc_hazard, name, model)
    ratio = odds_ratio(some.condition, "cracking", some.years_since_inspection)
    sound = np.zeros(len(rows))
    for j in range(ages.shape[1]):
        weight = chance[rows, metal] * share[rows, j]
        cracked = weibull_probability(np.maximum(ages[rows, j], 0), scale, model.shape)
        if learned is not None:
            factor = learned[rows, metal]
            cracked = -np.expm1(factor * np.log1p(-np.minimum(cracked, _SURE)))
        cracked = odds_update(cracked, ratio)
        cracked = np.where(weight == 0, 0.0, cracked)  # nor its NaN
        parts.gone[rows] += weight * cracked
        sound += weight * (1 - cracked)
    whole = np.log(whole_kn(name, some, model)) + Z_95 * STEEL_SIGMA_LN
    parts.add(rows, sound, whole)


def strength_quantile_kn(
    chance: Floats,
    ages: Floats,
    share: Floats,
    a: Anchors,
    probability: float,
    model: Model,
    learned: Floats | None,
) -> Floats:
    """Quantile of the lesser of metal and rock; arrays with one row per anchor.

    By Newton's method on the normal score of the probability, halving the bracket where a step
    would leave it. A row is left alone once its step is below 1e-7 of ln(kN).

    References
    ----------
    As `failure.failure_parts`, of which it is a part.
    """
    from scipy.special import ndtri

    parts = _metal_parts(chance, ages, share, a, model, learned)
    row, weight, median = parts.joined()
    p05, p50 = rock_quantiles_kn(a.rock_kn_p05, a.rock_kn_p50, model)
    rock_sigma = np.maximum(np.log(p50 / p05) / Z_95, 1e-9)
    rock_ln = np.log(p50)
    wanted, scratch = float(ndtri(probability)), Scratch()

    def below(
        ln_kn: Floats, rows: Places, row: Places, weight: Floats, median: Floats
    ) -> tuple[Floats, Floats]:
        """Chance to hold less, and its slope."""
        count = len(rows)
        z = (ln_kn[row] - median) / STEEL_SIGMA_LN
        bell = np.empty(len(z))
        above_half(z, z, bell, scratch)
        z += 0.5
        z *= weight
        bell *= weight
        metal = parts.gone[rows] + np.bincount(row, z, minlength=count)
        slope = np.bincount(row, bell, minlength=count) * (_STEEP / STEEL_SIGMA_LN)
        at = np.clip((ln_kn - rock_ln[rows]) / rock_sigma[rows], -1e9, 1e9)
        tall = np.empty(count)
        above_half(at, at, tall, scratch)
        at += 0.5
        slope = slope * (1 - at) + (1 - metal) * tall * (_STEEP / rock_sigma[rows])
        return 1 - (1 - metal) * (1 - at), slope

    every = np.arange(len(p50))
    low = np.full(len(p50), np.log(_LEAST_KN))
    high = np.full(len(p50), np.log(_MOST_KN))
    least, _ = below(low, every, row, weight, median)
    none, unknown = (least >= probability) | (a.condition == 4), np.isnan(least)
    at = np.clip(rock_ln + wanted * rock_sigma, low, high)
    rows = np.flatnonzero(~none & ~unknown)
    place = np.full(len(p50), -1)
    for _ in range(_STEPS):
        if not len(rows):
            break
        place[:] = -1
        place[rows] = np.arange(len(rows))
        mine = place[row] >= 0
        row_of, weight, median = place[row[mine]], weight[mine], median[mine]
        here = at[rows]
        p, slope = below(here, rows, row_of, weight, median)
        up = p >= probability
        high[rows] = np.where(up, here, high[rows])
        low[rows] = np.where(up, low[rows], here)
        with np.errstate(divide="ignore", invalid="ignore", over="ignore"):
            score = ndtri(p)
            step = (score - wanted) * _STEEP * np.exp(-0.5 * score * score) / slope
        middle = (low[rows] + high[rows]) / 2
        inside = (here - step > low[rows]) & (here - step < high[rows])
        new = np.where(inside, here - step, middle)
        at[rows] = new
        going = np.abs(new - here) > _CLOSE
        row = rows[row_of]
        rows = rows[going]
    return np.where(unknown, np.nan, np.where(none, 0.0, np.exp(at)))
