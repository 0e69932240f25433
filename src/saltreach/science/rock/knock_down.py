"""Knock-down of a rock cone by what parts the rock or bounds it: cracks, joints, edges, neighbours.

The factors for edges and neighbours are those of concrete; all the others are our own judgement,
gathered here to be edited. Each is 1 for sound, unbounded rock.
"""

from __future__ import annotations

import numpy as np

from saltreach.science.labelled import labelled
from saltreach.science.rock.resistance import (
    CONE_K_CRACKED,
    CONE_K_UNCRACKED,
    cone_area_ratio,
    edge_psi,
    pair_ratio,
)
from saltreach.science.types import Floats, Values, number, numbers

CRACK_POWER = 0.7
CRACK_FACTOR_AT_EMBEDMENT = CONE_K_CRACKED / CONE_K_UNCRACKED
DISCONTINUITY_FLOOR = 0.2
GSI_POOR, GSI_SOUND = 20.0, 80.0
ROCK_MASS_UNKNOWN = CRACK_FACTOR_AT_EMBEDMENT
"""Knock-down of the cone by cracks, blocks and GSI: all judgement.

The power 0.7 of a crack's or joint's distance, with the edge's own power of at most 0.8, stays
below the 1.5 of the embedment: a longer anchor is never weaker in the same place."""


@labelled("1")
def crack_factor(crack_distance_mm: Values, embedment_mm: Values) -> Floats:
    r"""Knock-down of the cone by the nearest crack.

    .. math:: f = 0.7\,(c/h_{ef})^{0.7}, \quad 0.2 \le f \le 1

    Parameters
    ----------
    crack_distance_mm : array_like
        Distance c from the hole to the crack.
    embedment_mm : array_like
        Effective embedment.

    Returns
    -------
    array_like
        Factor; NaN stays NaN. A closer crack never raises it.

    Notes
    -----
    Judgement. At one embedment it equals cracked over uncracked concrete, 7.7 / 11; from 1.7
    embedments on there is none left.

    References
    ----------
    Judgement; at one embedment EN 1992-4:2018, 7.2.1.4, cracked over uncracked.

    Examples
    --------
    >>> round(float(crack_factor(80.0, 80.0)), 2)
    0.7
    """
    crack_distance_mm, embedment_mm = numbers(crack_distance_mm, embedment_mm)
    near = CRACK_FACTOR_AT_EMBEDMENT * (crack_distance_mm / embedment_mm) ** CRACK_POWER
    return np.minimum(np.maximum(near, DISCONTINUITY_FLOOR), 1.0)


@labelled("1")
def block_factor(joint_spacing_mm: Values, embedment_mm: Values) -> Floats:
    r"""Knock-down of the cone where the blocks are smaller than the cone.

    .. math:: f = (s / 3 h_{ef})^{0.7}, \quad 0.2 \le f \le 1

    Parameters
    ----------
    joint_spacing_mm : array_like
        Mean spacing s of the discontinuities.
    embedment_mm : array_like
        Effective embedment.

    Returns
    -------
    array_like
        Factor; NaN stays NaN.

    Notes
    -----
    Judgement: a cone of 3 embedments across needs a block as wide.

    References
    ----------
    Judgement, see Notes.

    Examples
    --------
    >>> float(block_factor(240.0, 80.0))
    1.0
    """
    joint_spacing_mm, embedment_mm = numbers(joint_spacing_mm, embedment_mm)
    near = (joint_spacing_mm / (3.0 * embedment_mm)) ** CRACK_POWER
    return np.minimum(np.maximum(near, DISCONTINUITY_FLOOR), 1.0)


@labelled("1")
def gsi_factor(gsi: Values) -> Floats:
    r"""Knock-down by the geological strength index: straight from 0.2 at 20 to 1 at 80.

    .. math:: f = 0.2 + 0.8\,\frac{GSI - 20}{60}, \quad 0.2 \le f \le 1

    Parameters
    ----------
    gsi : array_like
        Geological strength index, 0 to 100.

    Returns
    -------
    array_like
        Factor, 0.2 to 1; NaN stays NaN.

    Notes
    -----
    Judgement. The Hoek-Brown knock-down of a whole slope is harsher (s^a is 0.25 at GSI 75)
    and does not suit a hand's depth inside one block.

    References
    ----------
    Judgement, see Notes.

    Examples
    --------
    >>> round(float(gsi_factor(50.0)), 3)
    0.6
    """
    gsi = number(gsi)
    share = np.minimum(np.maximum((gsi - GSI_POOR) / (GSI_SOUND - GSI_POOR), 0.0), 1.0)
    return DISCONTINUITY_FLOOR + (1.0 - DISCONTINUITY_FLOOR) * share


@labelled("1")
def discontinuity_factor(
    embedment_mm: Values,
    *,
    crack_distance_mm: Values = np.nan,
    joint_spacing_mm: Values = np.nan,
    gsi: Values = np.nan,
) -> Floats:
    """Knock-down of the cone by everything that parts the rock: the worst of what is known.

    Parameters
    ----------
    embedment_mm : array_like
        Effective embedment, mm.
    crack_distance_mm, joint_spacing_mm, gsi : array_like
        As for `crack_factor`, `block_factor`, `gsi_factor`; NaN where not surveyed.

    Returns
    -------
    array_like
        Factor. Where neither spacing nor GSI is known, `ROCK_MASS_UNKNOWN` stands for them.

    Notes
    -----
    Judgement. The worst governs and not the product: the three describe the same planes.

    References
    ----------
    Judgement, see Notes.

    Examples
    --------
    >>> round(float(discontinuity_factor(80.0)), 3), float(discontinuity_factor(80.0, gsi=90.0))
    (0.7, 1.0)
    """
    mass = np.fmin(block_factor(joint_spacing_mm, embedment_mm), gsi_factor(gsi))
    mass = np.where(np.isnan(mass), ROCK_MASS_UNKNOWN, mass)
    return np.fmin(crack_factor(crack_distance_mm, embedment_mm), mass)


@labelled("1")
def boundary_factor(
    embedment_mm: Values, *, edge_distance_mm: Values = np.nan, anchor_spacing_mm: Values = np.nan
) -> Floats:
    """Knock-down of the cone by the nearest edge or the nearest loaded anchor, the worse.

    Parameters
    ----------
    embedment_mm : array_like
        Effective embedment, mm.
    edge_distance_mm, anchor_spacing_mm : array_like
        Distances, mm. NaN, not measured, is taken as kept clear; `placement.too_close` says
        where that was assumed.

    Returns
    -------
    array_like
        Factor, 0.35 to 1.

    References
    ----------
    EN 1992-4:2018, 7.2.1.4, from memory; that the worse governs is judgement.

    Examples
    --------
    >>> round(float(boundary_factor(80.0, edge_distance_mm=60.0)), 4)
    0.6375
    """
    edge = cone_area_ratio(edge_distance_mm, embedment_mm) * edge_psi(
        edge_distance_mm, embedment_mm
    )
    share = pair_ratio(anchor_spacing_mm, embedment_mm) / 2.0
    return np.fmin(np.fmin(edge, share), 1.0)
