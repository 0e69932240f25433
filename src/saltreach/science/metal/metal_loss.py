"""Long-term loss of coated and carbon steel after ISO 9224:2012.

Exponents are from memory of ISO 9224:2012, tables 2 and 3.
"""

from __future__ import annotations

import numpy as np

from saltreach.science.labelled import labelled
from saltreach.science.types import Floats, Values, numbers

EXPONENT_MEAN: dict[str, float] = {
    "steel": 0.523, "zinc": 0.813, "copper": 0.667, "aluminium": 0.728,
}  # fmt: skip
"""B1: exponent of an average alloy of the metal (ISO 9224:2012, from memory)."""

EXPONENT_UPPER: dict[str, float] = {
    "steel": 0.575, "zinc": 0.873, "copper": 0.726, "aluminium": 0.807,
}  # fmt: skip
"""B2: B1 plus two standard deviations, for a conservative answer (ISO 9224:2012, from memory)."""

LINEAR_AFTER_Y = 20.0
"""From here on the loss goes on along its tangent."""


@labelled("um")
def loss_um(first_year_um: Values, years: Values, exponent: Values) -> Floats:
    r"""Metal lost after some years, from the first year's loss.

    .. math:: D(t) = r\,t^b \; (t \le 20), \qquad
              D(t) = r\,[20^b + b\,20^{b-1}(t - 20)] \; (t > 20)

    Parameters
    ----------
    first_year_um : array_like
        First-year loss r, µm.
    years : array_like
        Time t, years, not negative.
    exponent : array_like
        b, from `EXPONENT_MEAN` or `EXPONENT_UPPER`.

    Returns
    -------
    array_like
        Loss in µm, broadcast shape. NaN stays NaN.

    References
    ----------
    ISO 9224:2012, equations (1) and (3), from memory.

    Examples
    --------
    >>> round(float(loss_um(80, 20, EXPONENT_MEAN["steel"])), 0)
    383.0
    """
    first_year_um, years, exponent = numbers(first_year_um, years, exponent)
    early = np.minimum(years, LINEAR_AFTER_Y) ** exponent
    late = np.maximum(years - LINEAR_AFTER_Y, 0)
    return first_year_um * (early + exponent * LINEAR_AFTER_Y ** (exponent - 1) * late)


@labelled("year")
def years_to_loss(loss: Values, first_year_um: Values, exponent: Values) -> Floats:
    """Time until a loss is reached; the inverse of `loss_um`.

    Parameters
    ----------
    loss : array_like
        Loss, µm, not negative.
    first_year_um : array_like
        First-year loss, µm, above zero.
    exponent : array_like
        b, from `EXPONENT_MEAN` or `EXPONENT_UPPER`.

    Returns
    -------
    array_like
        Years, broadcast shape.

    References
    ----------
    ISO 9224:2012, equations (1) and (3), from memory, solved for the time.

    Examples
    --------
    >>> round(float(years_to_loss(55, 4.2, EXPONENT_MEAN["zinc"])), 1)
    23.6
    """
    loss, first_year_um, exponent = numbers(loss, first_year_um, exponent)
    ratio = loss / first_year_um
    at_20 = LINEAR_AFTER_Y**exponent
    slope = exponent * LINEAR_AFTER_Y ** (exponent - 1)
    early = np.minimum(ratio, at_20) ** (1 / exponent)
    return early + np.maximum(ratio - at_20, 0) / slope


@labelled("1")
def section_ratio(diameter_mm: Values, loss_mm: Values) -> Floats:
    """Share of a round bar's cross-section left after a uniform loss from its surface.

    .. math:: A/A_0 = (1 - 2 x / d)^2

    Parameters
    ----------
    diameter_mm, loss_mm : array_like
        Original diameter, and loss per side.

    Returns
    -------
    array_like
        0 to 1. Holds for uniform loss only: a crack takes no section and gives no warning.

    References
    ----------
    Geometry of a circle.

    Examples
    --------
    >>> round(float(section_ratio(12, 0.5)), 3)
    0.84
    """
    diameter_mm, loss_mm = numbers(diameter_mm, loss_mm)
    return np.maximum(1 - 2 * loss_mm / diameter_mm, 0) ** 2
