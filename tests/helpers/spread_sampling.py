"""The spread of an anchor's air by drawing all inputs: slow, and approximate in nothing else.

The oracle that `saltreach.science.air.uncertainty.spread_by_quadrature` is held to.
"""

from __future__ import annotations

import numpy as np
from scipy.special import ndtri
from scipy.stats import qmc

from saltreach.science.air import atmosphere, uncertainty
from saltreach.science.air.uncertainty import INPUTS, METALS, QUANTILES

DRAWS = 1024


def spread_by_sampling(exposure, chloride, *, draws=DRAWS, seed=0):
    """As `spread_by_quadrature`; `draws` is a power of 2, and the same seed gives the same result.

    All anchors share one set of draws: Sobol' points in six dimensions, shifted by a random
    vector from `seed` (Cranley and Patterson 1976). So an anchor's result does not depend on
    the other rows.
    """
    normal = standard_normal_draws(draws, seed)
    at_once = max(1, uncertainty.SAMPLES_AT_ONCE // draws)
    return uncertainty._in_parts(
        exposure, at_once, lambda air, rows: _sampling(air, chloride, rows, normal)
    )


def standard_normal_draws(draws, seed):
    """Standard normal draws of the six inputs, shape (6, draws): shifted Sobol' points."""
    points = qmc.Sobol(len(INPUTS), scramble=False).random(draws)
    shift = np.random.default_rng(seed).random(len(INPUTS))
    return ndtri(np.clip((points + shift) % 1.0, 1e-12, 1 - 1e-12)).T


def _sampling(air, chloride, rows, normal):
    z = dict(zip(INPUTS, normal, strict=True))
    distance = (
        air.coast_distance_m[:, None] + air.coast_distance_sd_m[:, None] * z["coast_distance"]
    )
    drawn = uncertainty._draw(air, chloride, rows, np.maximum(distance, 0.0), z)
    rates, not_above = {}, []
    for metal in METALS:
        own = np.exp(uncertainty._own_sigma_ln(metal, drawn) * z["function"])
        rate = atmosphere.first_year_loss_um_y(metal, *drawn) * own
        rates[metal] = np.quantile(rate, QUANTILES, axis=1).T
        limits = atmosphere.UPPER_LIMIT_UM_Y[metal][:-1]
        not_above.append([rate <= limit for limit in limits])
    below = np.stack([np.mean(s & z, axis=1) for s, z in zip(*not_above, strict=True)], axis=1)
    salt = np.quantile(np.broadcast_to(drawn[3], rate.shape), QUANTILES, axis=1).T
    return uncertainty._spread(salt, rates, below)
