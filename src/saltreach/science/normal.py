"""The normal distribution function and mixtures of normals, over long arrays.

Written for speed, with arrays that are used again. A column's value never depends, to the last bit,
on the columns beside it: every step is one operation on each number, and sums run over the parts
of a mixture in their order.
"""

from __future__ import annotations

import math

import numpy as np

from saltreach.science.types import Floats, Values, number

_ABOVE = (
    3.52624965998911e-02, 0.700383064443688, 6.37396220353165, 33.912866078383,
    112.079291497871, 221.213596169931, 220.206867912376,
)  # fmt: skip
_BELOW = (
    8.83883476483184e-02, 1.75566716318264, 16.064177579207, 86.7807322029461,
    296.564248779674, 637.333633378831, 793.826512519948, 440.413735824752,
)  # fmt: skip
_FARTHEST = 40.0  # beyond it a double holds no chance, and the powers stay finite
_BLOCK = 16384  # numbers at once: they stay near the processor
_STEPS = 60  # two or three are the rule
_CLOSE = 2e-3  # of the spread; the step after it would be about its cube
_MOST_BENT = 2.0  # the bend of the curve makes a step so many times shorter or longer at most


class Scratch:
    """Arrays that are used again; each name gives the same memory."""

    def __init__(self) -> None:
        self._held: dict[str, Floats] = {}

    def array(self, name: str, *shape: int) -> Floats:
        """An array of that shape, its values whatever was left."""
        size = math.prod(shape)
        held = self._held.get(name)
        if held is None or held.size < size:
            held = self._held[name] = np.empty(size)
        return held[:size].reshape(shape)


def normal_cdf(z: Values) -> Floats:
    """Chance that a standard normal value does not exceed z.

    Parameters
    ----------
    z : array_like
        Any numbers; NaN stays NaN.

    Returns
    -------
    ndarray
        0 to 1, within 3e-16 of the exact one.

    References
    ----------
    Hart and others (1968), Computer Approximations, 5666, as given by West (2005), Better
    approximations to cumulative normal functions; from memory. A test compares with scipy.

    Examples
    --------
    >>> normal_cdf([0.0, 1.6448536269514722]).round(12).tolist()
    [0.5, 0.95]
    """
    given = number(z)
    out = np.empty(given.shape)
    np.clip(given, -_FARTHEST, _FARTHEST, out=out)
    above_half(out, out, np.empty(out.shape), Scratch())
    out += 0.5
    return out


def above_half(z: Floats, out: Floats, bell: Floats, scratch: Scratch) -> None:
    """Put the chance not to exceed z, less a half, into `out`, and exp(-z²/2) into `bell`.

    All three of one shape, contiguous; `out` may be z itself. z within 1e38.
    """
    z, out, bell = (v.reshape(-1) for v in (z, out, bell))
    for begin in range(0, len(z), _BLOCK):
        part = slice(begin, begin + _BLOCK)
        at, tail, tall = z[part], scratch.array("tail", len(z[part])), bell[part]
        size, below = (scratch.array(name, len(at)) for name in ("size", "below"))
        np.abs(at, out=size)
        np.multiply(size, size, out=tall)
        tall *= -0.5
        np.exp(tall, out=tall)
        _powers(_ABOVE, size, tail)
        tail /= _powers(_BELOW, size, below)
        tail *= tall
        np.subtract(0.5, tail, out=tail)
        np.copysign(tail, at, out=out[part])


def _powers(factors: tuple[float, ...], size: Floats, out: Floats) -> Floats:
    np.multiply(size, factors[0], out=out)
    for factor in factors[1:-1]:
        out += factor
        out *= size
    out += factors[-1]
    return out


def mixture_quantiles_of(
    centre: Floats, sigma: Floats, weight: Floats, probability: Values, scratch: Scratch
) -> Floats:
    """Quantiles of mixtures of normals, a mixture in each column.

    Parameters
    ----------
    centre, sigma : ndarray, shape (k, n)
        Mean and standard deviation (above 0) of each part.
    weight : ndarray, shape (k, 1) or (k, n)
        Weights of the parts, summing to 1.
    probability : array_like, shape (q,)
        Between 0 and 1.
    scratch : Scratch
        Its arrays are used.

    Returns
    -------
    ndarray, shape (q, n)
        By Halley's method from the Cornish-Fisher guess, halving the bracket where a step would
        leave it. A mixture is left alone once a step is below 0.2 % of its spread.

    References
    ----------
    Halley's method on the distribution function; Cornish and Fisher's expansion: textbook.
    """
    from scipy.special import ndtri

    wanted = number(probability)
    normal = ndtri(wanted)
    shape = centre.shape
    each, all_parts = scratch.array("each", *shape), np.broadcast_to(weight, shape)
    inverse = np.divide(1.0, sigma, out=scratch.array("inverse", *shape))
    height = np.multiply(inverse, weight, out=scratch.array("height", *shape))
    height *= 1 / np.sqrt(2 * np.pi)
    mean = total(np.multiply(centre, weight, out=each))
    apart = np.subtract(centre, mean, out=scratch.array("apart", *shape))
    square = np.multiply(apart, apart, out=scratch.array("z", *shape))
    own = np.multiply(sigma, sigma, out=scratch.array("cdf", *shape))
    variance = _sum(np.add(square, own, out=each), weight)
    own *= 3.0
    square += own
    spread = np.sqrt(variance)
    bent = _sum(np.multiply(square, apart, out=each), weight) / (variance * spread)
    bent = np.clip(bent, -1.0, 1.0) / 6
    far = np.abs(normal).max()
    np.multiply(sigma, far, out=each)
    low = np.subtract(centre, each, out=square).min(axis=0)
    high = np.add(centre, each, out=square).max(axis=0)
    guess = normal[:, None] + bent * (normal[:, None] ** 2 - 1)
    at = np.clip(mean + guess * spread, low, high)
    low, high = (np.broadcast_to(v, at.shape).copy() for v in (low, high))
    close = _CLOSE * spread
    left = []
    for place_of_p, p in enumerate(wanted):
        step = _step(
            centre,
            inverse,
            all_parts,
            height,
            p,
            at[place_of_p],
            low[place_of_p],
            high[place_of_p],
            scratch,
        )
        at[place_of_p] -= step
        left.append(np.abs(step) > close)
    rows, columns = (np.asarray(v) for v in np.nonzero(np.array(left)))
    for _ in range(_STEPS):
        if not len(rows):
            break
        going = np.zeros(len(rows), bool)
        most = max(_BLOCK // len(centre), 1)
        for begin in range(0, len(rows), most):
            part = slice(begin, begin + most)
            row, column = rows[part], columns[part]
            mean, over, share, tall = (
                np.take(v, column, axis=1, out=scratch.array(name, len(v), len(column)),
                        mode="clip")
                for name, v in zip("cowh", (centre, inverse, all_parts, height), strict=True)
            )  # fmt: skip
            place, down, up = at[row, column], low[row, column], high[row, column]
            step = _step(mean, over, share, tall, wanted[row], place, down, up, scratch)
            at[row, column], low[row, column], high[row, column] = place - step, down, up
            going[part] = np.abs(step) > close[column]
        rows, columns = rows[going], columns[going]
    return at


def _sum(values: Floats, weight: Floats) -> Floats:
    """Sum over the parts of each column; `values` is spoilt."""
    values *= weight
    return total(values)


def total(values: Floats) -> Floats:
    """Sum of each column, (k, n) to (n,), in the order of the rows.

    numpy would add a single column in pairs, and end with another last bit than beside others.
    """
    if values.shape[1] == 1:
        return np.asarray(np.add.accumulate(values, axis=0)[-1])
    return np.asarray(values.sum(axis=0))


def _step(
    centre: Floats,
    inverse: Floats,
    weight: Floats,
    height: Floats,
    wanted: Floats | float,
    at: Floats,
    low: Floats,
    high: Floats,
    scratch: Scratch,
) -> Floats:
    """How much too high each place is; `low` and `high` are drawn in."""
    shape = centre.shape
    z, cdf, bell = (scratch.array(name, *shape) for name in ("z", "cdf", "bell"))
    np.subtract(at, centre, out=z)
    z *= inverse
    above_half(z, cdf, bell, scratch)
    excess = _sum(cdf, weight) + (0.5 - wanted)
    bell *= height
    density = np.maximum(total(bell), 1e-300)
    z *= inverse
    z *= bell
    bend = total(z) / (2 * density)  # minus the slope of the density over twice itself
    np.copyto(low, at, where=excess < 0)
    np.copyto(high, at, where=excess > 0)
    step = excess / density
    step /= np.clip(1.0 + step * bend, 1 / _MOST_BENT, _MOST_BENT)
    inside = (at - step >= low) & (at - step <= high)
    return np.where(inside, step, at - (low + high) / 2)
