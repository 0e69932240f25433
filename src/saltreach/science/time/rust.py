"""Rust of coated bars at nodes of one score: harsher air, thinner coating."""

from __future__ import annotations

from collections.abc import Iterator
from typing import NamedTuple

import numpy as np

from saltreach.science.metal.metal_loss import EXPONENT_MEAN, LINEAR_AFTER_Y, years_to_loss
from saltreach.science.normal import Scratch, above_half
from saltreach.science.rock.capacity import STEEL_SIGMA_LN
from saltreach.science.rock.resistance import SHEAR_RATIO, steel_resistance_kn
from saltreach.science.rows import few_distinct
from saltreach.science.time.anchors import Anchors
from saltreach.science.time.reliability import Z_95, Model
from saltreach.science.types import Floats
from saltreach.vocabulary.metals import ZINC_UM

SCORES = np.linspace(-5.0, 5.0, 21)
SCORE_WEIGHTS = np.exp(-(SCORES**2) / 2) / np.exp(-(SCORES**2) / 2).sum()
# even steps, not Gauss-Hermite: rusting through is a step that few nodes would miss by a third;
# scores within 3.6 would lose up to a fifth of small probabilities
_RATE_STEP_LN = 0.02
_GONE = 1e-30  # section left where none is: its logarithm stays finite


class Node(NamedTuple):
    """Rust at one score: its weight, years of the coating, and the share of the radius lost for
    each year's loss of 1 by ISO 9224."""

    weight: float
    coated_y: Floats
    rate: Floats


def nodes_of(name: str, a: Anchors, model: Model) -> Iterator[Node]:
    """The nodes of a coated metal; arrays of shape (n,).

    References
    ----------
    As `failure.failure_parts`, of which it is a part.
    """
    low, high = ZINC_UM[name]
    coating = np.sqrt(low * high)
    spread = np.log(high / low) / (2 * 1.2815515655446004)
    zinc_sigma = np.hypot(a.zinc_sigma_ln, spread)
    steel_sigma = np.hypot(a.steel_sigma_ln, model.local_sigma_ln)
    rate = a.steel_rate_um_y * (2 * model.local_factor / 1000) / diameter_mm(a, model)
    for z, weight in zip(SCORES, SCORE_WEIGHTS, strict=True):
        zinc = a.zinc_rate_um_y * np.exp(zinc_sigma * z)
        coated_y = years_to_loss(coating, zinc, EXPONENT_MEAN["zinc"])
        yield Node(weight, coated_y, rate * np.exp(steel_sigma * z))


def diameter_mm(a: Anchors, model: Model) -> Floats:
    """Diameter, the model's where unknown.

    References
    ----------
    As `failure.failure_parts`, of which it is a part.
    """
    return np.where(np.isnan(a.diameter_mm), model.diameter_mm, a.diameter_mm)


def ln_whole_kn(a: Anchors, model: Model) -> Floats:
    """Logarithm of the median strength of a bar that has lost nothing.

    The nominal strength is read as the 5th percentile, as in `capacity`.

    References
    ----------
    As `failure.failure_parts`, of which it is a part.
    """
    whole = a.legs * (SHEAR_RATIO * steel_resistance_kn(diameter_mm(a, model)))
    return np.log(whole) + Z_95 * STEEL_SIGMA_LN


def ln_section_left(age_y: Floats, node: Node, scratch: Scratch) -> Floats:
    """Logarithm of the share of the section left at an age, an array of `scratch`.

    References
    ----------
    As `failure.failure_parts`, of which it is a part.
    """
    power = EXPONENT_MEAN["steel"]
    shape = np.broadcast_shapes(age_y.shape, node.coated_y.shape)
    bare, late = scratch.array("bare", *shape), scratch.array("late", *shape)
    np.subtract(age_y, node.coated_y, out=bare)
    np.maximum(bare, 0.0, out=bare)
    np.subtract(bare, LINEAR_AFTER_Y, out=late)
    np.maximum(late, 0.0, out=late)
    late *= power * LINEAR_AFTER_Y ** (power - 1)
    np.minimum(bare, LINEAR_AFTER_Y, out=bare)
    np.power(bare, power, out=bare)
    bare += late
    bare *= node.rate
    np.subtract(1.0, bare, out=bare)
    np.maximum(bare, _GONE, out=bare)
    np.log(bare, out=bare)
    bare *= 2.0
    return bare


def rust_curve(name: str, time: Floats, a: Anchors, model: Model, scratch: Scratch) -> Floats:
    """Yearly probability that the load exceeds what rust has left, at times of shape (years, n).

    Rates in steps of 2 %, so that like anchors are done once.

    References
    ----------
    As `failure.failure_parts`, of which it is a part.
    """
    rates = (stepped(a.zinc_rate_um_y), stepped(a.steel_rate_um_y))
    a = a._replace(zinc_rate_um_y=rates[0], steel_rate_um_y=rates[1])
    decides = (*rates, time[0], a.zinc_sigma_ln, a.steel_sigma_ln, a.diameter_mm, a.legs)
    like = few_distinct(decides)
    if like is None:
        return _curve(name, time, a, model, scratch)
    first, inverse = like
    some = Anchors(*(c[first] for c in a))
    return _curve(name, np.ascontiguousarray(time[:, first]), some, model, scratch)[:, inverse]


def stepped(rate_um_y: Floats) -> Floats:
    """A rate in steps of 2 %.

    References
    ----------
    As `failure.failure_parts`, of which it is a part.
    """
    return np.exp(np.round(np.log(np.maximum(rate_um_y, 1e-6)) / _RATE_STEP_LN) * _RATE_STEP_LN)


def _curve(name: str, time: Floats, a: Anchors, model: Model, scratch: Scratch) -> Floats:
    over = np.hypot(STEEL_SIGMA_LN, model.load_sigma_ln)
    whole = np.log(model.load_median_kn) - ln_whole_kn(a, model)
    total = np.zeros(time.shape)
    bell = scratch.array("bell", *time.shape)
    for node in nodes_of(name, a, model):
        z = ln_section_left(time, node, scratch)
        np.subtract(whole, z, out=z)
        z *= 1 / over
        above_half(z, z, bell, scratch)
        z *= node.weight
        total += z
    total += 0.5
    return total
