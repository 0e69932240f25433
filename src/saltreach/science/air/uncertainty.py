"""How far the inputs' errors reach: spread of chloride, first-year loss, category and class.

Uncertain are the place of the shoreline (normal error of the distance, never below 0), chloride
at a given distance (lognormal), temperature (normal), relative humidity (normal, cut off at 1
and 100 %), SO2 (lognormal), and the ISO 9223 functions themselves (lognormal, Annex A; wider
where an input is beyond the range they were fitted on, `atmosphere.error_sigma_ln`). The
inputs' errors are independent of each other; the functions' own errors for steel and zinc are
taken as one, because what the functions leave out (shelter, rain, splash) acts on both metals.

`spread_by_quadrature` sums over nodes of distance, chloride and temperature and closes the rest to
second order, without random numbers. A test draws everything at random and holds it to that.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from typing import NamedTuple

import numpy as np

from saltreach.science.air import atmosphere
from saltreach.science.distributions import (
    even_nodes,
    non_negative_nodes,
    normal_nodes,
    truncated_normal,
    truncated_normal_moments,
)
from saltreach.science.normal import Scratch, above_half, mixture_quantiles_of, total
from saltreach.science.types import Column, Floats, Values, numbers

Chloride = Callable[[Floats, slice], tuple[Values, Values]]
"""Median (mg/(m² d)) and standard deviation of ln(chloride) at distances (m) of shape (rows, k),
for the anchors of a slice; both broadcast to that shape. The deviation is above 0."""

Drawn = tuple[Floats, Floats, Floats, Floats]
"""Temperature, humidity, SO2 and chloride deposition."""

METALS = ("steel", "zinc")
QUANTILES = (0.1, 0.5, 0.9)
"""What is told of a spread: our choice."""
HUMIDITY_LOW_PCT, HUMIDITY_HIGH_PCT = 1.0, 100.0
"""Ends of a humidity that is not known exactly; the low one is judgement."""
INPUTS = ("coast_distance", "chloride", "temperature", "relative_humidity", "so2", "function")
"""Sources of uncertainty, in the order of `variance_shares`."""
SAMPLES_AT_ONCE = 200_000
"""Anchors times nodes in memory at once."""
_DISTANCE_NODES, _CHLORIDE_NODES, _TEMPERATURE_NODES, _SHARE_NODES = 8, 13, 4, 16
_CHLORIDE_END = 3.6


class Exposure(NamedTuple):
    """What is known of the anchors' air, each of shape (n,).

    Standard deviations have the unit of their quantity; `so2_sigma_ln` is that of the natural
    logarithm. `mild_sea` as in `stainless.sea_factor`.
    """

    coast_distance_m: Column
    coast_distance_sd_m: Column
    temperature_c: Column
    temperature_sd_c: Column
    relative_humidity_pct: Column
    relative_humidity_sd_pct: Column
    so2_ug_m3: Column
    so2_sigma_ln: Column
    mild_sea: Column = False


class Spread(NamedTuple):
    """What the anchors' air does, as distributions; NaN rows where an input is unknown.

    `chloride_mg_m2_d`, `steel_rate_um_y`, `zinc_rate_um_y` (n, 3): the quantiles `QUANTILES`.
    `category_probabilities` (n, 6): C1 to CX, the worse of steel and zinc; rows sum to 1.
    """

    chloride_mg_m2_d: Floats
    steel_rate_um_y: Floats
    zinc_rate_um_y: Floats
    category_probabilities: Floats


def spread_by_quadrature(exposure: Exposure, chloride: Chloride) -> Spread:
    """Spread of chloride, losses and category, by sums over nodes.

    Parameters
    ----------
    exposure : Exposure
        Arrays of shape (n,) or scalars.
    chloride : callable
        See `Chloride`.

    Returns
    -------
    Spread

    Notes
    -----
    Chloride is a mixture of lognormals over nodes of the distance (8 and one at the shore).
    Its quantiles at even nodes (13: beside spray its upper tail is too long for Gauss-Hermite)
    and nodes of temperature (4, because the functions bend at 10 degC) carry on; at each pair
    ln(loss) is normal, with the function's own error and, to second order, those of humidity and
    SO2. Humidity has the mean and standard deviation of the cut-off normal. Quantiles are the
    mixture's (`normal.mixture_quantiles_of`).

    References
    ----------
    Gauss-Hermite and trapezoidal quadrature and the normal mixture: textbook. Numbers of nodes:
    held to random draws in the tests, within 2 % of a loss.
    """
    at_once = SAMPLES_AT_ONCE // (_CHLORIDE_NODES * _TEMPERATURE_NODES)
    scratch = Scratch()
    return _in_parts(exposure, at_once, lambda air, rows: _quadrature(air, chloride, rows, scratch))


def variance_shares(metal: str, exposure: Exposure, chloride: Chloride) -> dict[str, Floats]:
    """Share of each input in the variance of ln(first-year loss).

    Parameters
    ----------
    metal : {"steel", "zinc"}
        Metal the loss belongs to.
    exposure : Exposure
        Arrays of shape (n,) or scalars.
    chloride : callable
        See `Chloride`.

    Returns
    -------
    dict of ndarray, shape (n,)
        By `INPUTS`, summing to 1; NaN where an input is unknown.

    Notes
    -----
    Sums over nodes of each input's whole distribution, so that bends are seen. Place of the
    shoreline and chloride are averaged over, because near the shore one decides how much the
    other matters, and salt how sure the function is; of temperature, humidity and SO2 one moves
    at a time, the others at their central values. What inputs do only together is left out.

    References
    ----------
    First-order sensitivity indices in the sense of Sobol (1993), from memory; scaled to sum to 1
    by our own rule.
    """
    variances = input_variances(metal, exposure, chloride)
    total = np.sum(list(variances.values()), axis=0)
    return {name: value / total for name, value in variances.items()}


def input_variances(metal: str, exposure: Exposure, chloride: Chloride) -> dict[str, Floats]:
    """Variance of the mean ln(first-year loss) at each value of one input, by `INPUTS`.

    Parameters
    ----------
    metal, exposure, chloride
        As in `variance_shares`.

    Returns
    -------
    dict of ndarray, shape (n,)
        No unit.

    References
    ----------
    As `variance_shares`.
    """
    air = _columns(exposure)
    rows = slice(0, len(air.coast_distance_m))
    mean, sd = air.coast_distance_m, air.coast_distance_sd_m
    places, by_place = non_negative_nodes(mean, sd, _SHARE_NODES)
    node, by_node = normal_nodes(_SHARE_NODES)
    weights = [by_place, by_node[None], by_node[None]]
    shape = (len(mean), *(w.shape[1] for w in weights))
    out = {}
    for third in INPUTS[2:-1]:
        z = {name: np.zeros(1) for name in INPUTS[1:]}
        z["chloride"] = np.tile(np.repeat(node, _SHARE_NODES), shape[1])
        z[third] = np.tile(node, shape[1] * _SHARE_NODES)
        drawn = _draw(air, chloride, rows, np.repeat(places, _SHARE_NODES**2, axis=1), z)
        with np.errstate(divide="ignore"):
            ln_rate = np.log(atmosphere.first_year_loss_um_y(metal, *drawn)).reshape(shape)
        for axis, name in enumerate((*INPUTS[:2], third)):
            by_value, weight = _means_along(axis, ln_rate, weights), weights[axis]
            average = (by_value * weight).sum(axis=1, keepdims=True)
            out[name] = ((by_value - average) ** 2 * weight).sum(axis=1)
        own = _own_sigma_ln(metal, drawn).reshape(shape)
        out["function"] = (_means_along(0, own, weights) * by_place).sum(axis=1) ** 2
    return {name: out[name] for name in INPUTS}


def _means_along(axis: int, value: Floats, weights: list[Floats]) -> Floats:
    """Means over all axes but one, shape (n, size of that axis).

    `value` has a row per anchor and an axis per item of `weights`, each (n or 1, size).
    """
    value = np.moveaxis(value, axis + 1, 1)
    for weight in weights[:axis:-1] + weights[:axis][::-1]:
        value = (value * weight.reshape(len(weight), *[1] * (value.ndim - 2), -1)).sum(axis=-1)
    return value


def _columns(exposure: Exposure) -> Exposure:
    """All of shape (n,)."""
    return Exposure(*np.broadcast_arrays(*(np.atleast_1d(np.asarray(v, float)) for v in exposure)))


def _in_parts(
    exposure: Exposure, at_once: int, work: Callable[[Exposure, slice], Spread]
) -> Spread:
    air = _columns(exposure)
    count = len(air.coast_distance_m)
    parts = [
        work(Exposure(*(v[rows] for v in air)), rows) for rows in _slices(count, max(1, at_once))
    ]
    if not parts:
        return Spread(*(np.empty((0, k)) for k in (3, 3, 3, 6)))
    return Spread(*(np.concatenate(v) for v in zip(*parts, strict=True)))


def _slices(count: int, at_once: int) -> Iterator[slice]:
    for begin in range(0, count, at_once):
        yield slice(begin, min(begin + at_once, count))


def _draw(
    air: Exposure, chloride: Chloride, rows: slice, distance: Floats, z: dict[str, Floats]
) -> Drawn:
    """Temperature, humidity, SO2 and chloride deposition at distances and standard draws."""
    column = Exposure(*(v[:, None] for v in air))
    median, sigma_ln = numbers(*chloride(distance, rows))
    return (
        column.temperature_c + column.temperature_sd_c * z["temperature"],
        truncated_normal(
            column.relative_humidity_pct,
            column.relative_humidity_sd_pct,
            HUMIDITY_LOW_PCT,
            HUMIDITY_HIGH_PCT,
            z["relative_humidity"],
        ),
        atmosphere.so2_deposition_mg_m2_d(
            column.so2_ug_m3 * np.exp(column.so2_sigma_ln * z["so2"])
        ),
        median * np.exp(sigma_ln * z["chloride"]),
    )


def _quadrature(air: Exposure, chloride: Chloride, rows: slice, scratch: Scratch) -> Spread:
    """An axis for each kind of node, the anchors on the last one."""
    from scipy.special import ndtr

    distance, by_distance = non_negative_nodes(
        air.coast_distance_m, air.coast_distance_sd_m, _DISTANCE_NODES
    )
    median, sigma_ln = np.broadcast_arrays(*chloride(distance, rows))
    salt_z, by_salt = even_nodes(_CHLORIDE_NODES, _CHLORIDE_END)
    warmth_z, by_warmth = normal_nodes(_TEMPERATURE_NODES)
    wanted = np.concatenate([QUANTILES, ndtr(salt_z)])
    centre, sigma, share = (
        np.ascontiguousarray(v.T) for v in (np.log(median), sigma_ln, by_distance)
    )
    salt = np.exp(mixture_quantiles_of(centre, sigma, share, wanted, scratch))
    humidity, humidity_sd = truncated_normal_moments(
        air.relative_humidity_pct, air.relative_humidity_sd_pct, HUMIDITY_LOW_PCT, HUMIDITY_HIGH_PCT
    )
    weight = np.outer(by_salt, by_warmth).reshape(-1, 1)
    nodes = (
        air.temperature_c + air.temperature_sd_c * warmth_z[:, None],
        humidity,
        atmosphere.so2_deposition_mg_m2_d(air.so2_ug_m3),
        salt[len(QUANTILES) :, None],
    )
    rates, losses = {}, []
    for metal in METALS:
        loss = _ln_loss(metal, nodes, humidity_sd, air.so2_sigma_ln)
        centre, sigma = (np.ascontiguousarray(v).reshape(len(weight), -1) for v in loss)
        rates[metal] = np.exp(mixture_quantiles_of(centre, sigma, weight, QUANTILES, scratch)).T
        losses.append((centre, 1.0 / sigma, np.log(atmosphere.UPPER_LIMIT_UM_Y[metal][:-1])))
    return _spread(salt[: len(QUANTILES)].T, rates, _not_above(losses, weight, scratch))


def _not_above(
    losses: list[tuple[Floats, Floats, Floats]], weight: Floats, scratch: Scratch
) -> Floats:
    """Chance that no metal's loss exceeds its limit, by limit, (n, number of limits).

    For each metal the mean of ln(loss) at the nodes, one over its deviation, and the limits.
    """
    shape = losses[0][0].shape
    least, other, bell = (scratch.array(name, *shape) for name in ("z", "cdf", "bell"))
    found = []
    for limits in zip(*(limits for _, _, limits in losses), strict=True):
        for at, (limit, (centre, inverse, _)) in enumerate(zip(limits, losses, strict=True)):
            z = other if at else least
            np.subtract(limit, centre, out=z)
            z *= inverse
            np.minimum(least, z, out=least)
        above_half(least, least, bell, scratch)
        least *= weight
        found.append(total(least) + 0.5)
    return np.stack(found, axis=1)


def _ln_loss(
    metal: str, air: Drawn, humidity_sd: Floats, so2_sigma_ln: Floats
) -> tuple[Floats, Floats]:
    """Mean and standard deviation of ln(loss) over humidity, SO2 and the function's own error.

    The loss is a sum of an SO2 and a salt part whose logarithms are linear in both inputs. To
    second order its ln rises by half the variance of the parts' difference times the product
    of their shares.
    """
    k = atmosphere.DOSE_RESPONSE[metal]
    by_so2, by_salt = atmosphere.loss_parts_um_y(metal, *air)
    whole = by_so2 + by_salt
    share = by_so2 / whole
    sigma_so2 = k.so2_power * so2_sigma_ln
    apart = (sigma_so2**2 + ((k.so2_humidity - k.salt_humidity) * humidity_sd) ** 2) / 2
    by_humidity = share * ((k.so2_humidity - k.salt_humidity) * humidity_sd)
    by_humidity += k.salt_humidity * humidity_sd
    variance = atmosphere.error_variance(metal, *air, share)
    variance += by_humidity * by_humidity
    variance += (share * sigma_so2) ** 2
    with np.errstate(divide="ignore"):
        return np.log(whole) + apart * (share * (1.0 - share)), np.sqrt(variance)


def _own_sigma_ln(metal: str, air: Drawn) -> Floats:
    """The function's own error at inputs known exactly."""
    so2, salt = atmosphere.loss_parts_um_y(metal, *air)
    return np.asarray(atmosphere.error_sigma_ln(metal, *air, so2 / (so2 + salt)))


def _spread(salt: Floats, rates: dict[str, Floats], not_above: Floats) -> Spread:
    """Spread from quantiles and from the chance that the worse category is C1, ... C5 or less."""
    below = np.column_stack([not_above, np.ones(len(not_above))])
    unknown = np.isnan(np.sum([rates[m][:, 0] for m in METALS], axis=0))
    below[unknown] = np.nan
    return Spread(salt, rates["steel"], rates["zinc"], np.diff(below, axis=1, prepend=0.0))
