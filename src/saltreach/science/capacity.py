"""Resistance of an anchor as a distribution, with the mode that governs.

Rock strength, bond, cone, steel and edge each vary; their standard scores are one fixed set of
draws, the same for every anchor and every call. So a result never depends on row order, and
whatever raises the resistance of each draw raises the quantiles: stronger rock, a longer
anchor, a crack further away can never come out worse by chance.

The spreads are judgement where marked. The 5th percentile ranks places; it is no
characteristic resistance of a standard and certifies nothing.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from scipy.special import ndtri

from saltreach.materials import UNKNOWN
from saltreach.science import resistance as formulas
from saltreach.science.knock_down import boundary_factor, discontinuity_factor
from saltreach.science.rows import in_chunks

CONE_SIGMA_LN = 0.3
EDGE_SIGMA_LN = 0.3
STEEL_SIGMA_LN = 0.05
"""Scatter of the models about their medians, all judgement. Concrete cones scatter by about
0.15; rock is less even. The steel strength given is read as its 5th percentile, as nominal
values of products are meant."""

MECHANICAL_KINDS = ("expansion", "screw")
AXIAL_MODES = ("bond", "cone", "steel")
RADIAL_MODES = ("pry-out", "edge", "steel shear")
DRAWS = 256
_VARIABLES = 6


@dataclass(frozen=True)
class AnchorResistance:
    """5th percentile and median of an anchor's resistance, kN, in the shape of the inputs.

    `axial_*` and `radial_*` are the weakest mode in each draw; `axial_mode` and `radial_mode`
    name the mode with the lowest 5th percentile, `unknown` where one cannot be known.
    `mode_kn_p05` and `mode_kn_p50` hold each of `AXIAL_MODES` and `RADIAL_MODES`; a mode that
    does not apply is NaN there (bond of a mechanical anchor) or infinite (no edge measured).
    """

    axial_kn_p05: np.ndarray
    axial_kn_p50: np.ndarray
    axial_mode: np.ndarray
    radial_kn_p05: np.ndarray
    radial_kn_p50: np.ndarray
    radial_mode: np.ndarray
    mode_kn_p05: dict[str, np.ndarray]
    mode_kn_p50: dict[str, np.ndarray]


def standard_draws(count: int = DRAWS, rng: np.random.Generator | None = None) -> np.ndarray:
    """Standard normal scores of the six variables, stratified.

    Parameters
    ----------
    count : int
        Number of draws.
    rng : numpy.random.Generator, optional
        Shuffles the strata. Default: a fixed even order (additive recurrence), no chance.

    Returns
    -------
    numpy.ndarray
        Shape (count, 6): each column holds the scores of `count` equally likely strata.

    Examples
    --------
    >>> standard_draws(8).shape
    (8, 6)
    """
    if rng is None:
        # powers of the root of x^7 = x + 1 fill six dimensions evenly
        root = 2.0
        for _ in range(60):
            root = (1.0 + root) ** (1.0 / (_VARIABLES + 1))
        steps = root ** -np.arange(1.0, _VARIABLES + 1)
        points = np.arange(1, count + 1)[:, None] * steps % 1.0
        order = np.argsort(np.argsort(points, axis=0, kind="stable"), axis=0)
    else:
        order = rng.permuted(np.tile(np.arange(count)[:, None], (1, _VARIABLES)), axis=0)
    return ndtri((order + 0.5) / count)


def log_quantiles_kn(
    log_values: np.ndarray, probabilities: tuple[float, ...] = (0.05, 0.5)
) -> tuple[np.ndarray, ...]:
    """Quantiles of stratified draws along the last axis.

    Parameters
    ----------
    log_values : numpy.ndarray
        Natural logarithms of kN, shape (..., draws).
    probabilities : tuple of float
        Each at least half a stratum away from 0 and 1.

    Returns
    -------
    tuple of numpy.ndarray
        Quantiles, kN, shape (...); NaN where the draws are.

    Examples
    --------
    >>> [round(float(q), 3) for q in log_quantiles_kn(standard_draws()[:, 0])]
    [0.193, 1.0]
    """
    places = [p * log_values.shape[-1] - 0.5 for p in probabilities]
    wanted = sorted({int(place) + step for place in places for step in (0, 1)})
    ordered = np.partition(log_values, wanted, axis=-1)
    return tuple(np.exp(_between(ordered, int(place), place % 1)) for place in places)


def _between(ordered: np.ndarray, place: int, share: float) -> np.ndarray:
    """Interpolate; no zero times infinity where a quantile falls on a draw."""
    if share == 0.0:
        return ordered[..., place]
    return (1.0 - share) * ordered[..., place] + share * ordered[..., place + 1]


def _log(value: Any) -> Any:
    """Logarithm; that of 0 is minus infinity, without a warning."""
    with np.errstate(divide="ignore"):
        return np.log(value)


def _ln_range(low: Any, high: Any) -> tuple[Any, Any]:
    """Mean and standard deviation of the logarithm from 10th and 90th percentile."""
    return _log(low * high) / 2.0, _log(high / low) / (2.0 * ndtri(0.9))


def log_draws(
    scores: np.ndarray,
    *,
    mechanical: np.ndarray,
    diameter_mm: np.ndarray,
    embedment_mm: np.ndarray,
    strength_median_mpa: np.ndarray,
    strength_sigma_ln: np.ndarray,
    edge_distance_mm: np.ndarray,
    crack_distance_mm: np.ndarray,
    anchor_spacing_mm: np.ndarray,
    joint_spacing_mm: np.ndarray,
    gsi: np.ndarray,
    steel_strength_mpa: np.ndarray,
    bond_low_mpa: np.ndarray,
    bond_high_mpa: np.ndarray,
) -> dict[str, np.ndarray]:
    """Logarithm of the resistance of each mode in each draw.

    Parameters
    ----------
    scores : numpy.ndarray
        From `standard_draws`, shape (draws, 6).
    mechanical : numpy.ndarray
        1 for mechanical anchors, 0 for bonded, shape (n,).
    diameter_mm, embedment_mm, strength_median_mpa, strength_sigma_ln : numpy.ndarray
        As for `anchor_resistance`, shape (n,).
    edge_distance_mm, crack_distance_mm, anchor_spacing_mm, joint_spacing_mm, gsi : numpy.ndarray
        As for `anchor_resistance`, shape (n,).
    steel_strength_mpa, bond_low_mpa, bond_high_mpa : numpy.ndarray
        As for `anchor_resistance`, shape (n,).

    Returns
    -------
    dict
        Natural logarithm of kN, shape (n, draws), by mode.
    """
    rock, resin, wall, cone_model, steel_model, edge_model = scores.T
    column = (..., None)
    strength = _log(strength_median_mpa)[column] + strength_sigma_ln[column] * rock
    capped = np.minimum(strength, np.log(formulas.CONE_STRENGTH_CAP_MPA)) / 2.0

    resin_ln, resin_sigma_ln = _ln_range(bond_low_mpa, bond_high_mpa)
    resin_bond = resin_ln[column] + resin_sigma_ln[column] * resin
    ratio_ln, ratio_sigma_ln = _ln_range(
        formulas.ROCK_BOND_RATIO_LOW, formulas.ROCK_BOND_RATIO_HIGH
    )
    wall_bond = ratio_ln + strength + ratio_sigma_ln * wall
    hole_mm = diameter_mm + formulas.HOLE_OVERSIZE_MM
    rod_ln = _log(formulas.bond_resistance_kn(diameter_mm, embedment_mm, 1.0))
    hole_ln = _log(formulas.bond_resistance_kn(hole_mm, embedment_mm, 1.0))
    bond = np.minimum(rod_ln[column] + resin_bond, hole_ln[column] + wall_bond)
    bond = np.where(mechanical[column] > 0, np.inf, bond)

    parted = discontinuity_factor(
        embedment_mm,
        crack_distance_mm=crack_distance_mm,
        joint_spacing_mm=joint_spacing_mm,
        gsi=gsi,
    )
    bounded = boundary_factor(
        embedment_mm, edge_distance_mm=edge_distance_mm, anchor_spacing_mm=anchor_spacing_mm
    )
    whole = formulas.cone_resistance_kn(formulas.CONE_K_UNCRACKED, 1.0, embedment_mm)
    cone = _log(whole * parted * bounded)[column] + capped + CONE_SIGMA_LN * cone_model

    nominal = _log(formulas.steel_resistance_kn(diameter_mm, steel_strength_mpa))
    steel = nominal[column] + STEEL_SIGMA_LN * (steel_model - ndtri(0.05))

    to_edge = np.where(np.isnan(edge_distance_mm), np.inf, edge_distance_mm)
    torn = formulas.edge_shear_resistance_kn(diameter_mm, embedment_mm, 1.0, to_edge)
    mass = discontinuity_factor(1.0, gsi=gsi)
    edge = _log(torn * mass)[column] + capped + EDGE_SIGMA_LN * edge_model
    return {
        "bond": bond,
        "cone": cone,
        "steel": steel,
        "pry-out": _log(formulas.pry_out_factor(embedment_mm))[column] + np.minimum(cone, bond),
        "edge": edge,
        "steel shear": steel + np.log(formulas.SHEAR_RATIO),
    }


def is_mechanical(kind: Any) -> np.ndarray:
    """Tell mechanical anchors (1) from all others (0).

    Parameters
    ----------
    kind : array_like of str
        bonded, expansion, screw, other, or empty.

    Returns
    -------
    numpy.ndarray
        1.0 or 0.0. A kind that is not known counts as bonded: it has one mode more to fail by.

    Examples
    --------
    >>> is_mechanical(["expansion", "bonded", ""]).tolist()
    [1.0, 0.0, 0.0]
    """
    return np.isin(np.asarray(kind, dtype=object).astype(str), MECHANICAL_KINDS).astype(float)


def anchor_resistance(
    kind: Any,
    diameter_mm: Any,
    embedment_mm: Any,
    strength_median_mpa: Any,
    strength_sigma_ln: Any,
    *,
    edge_distance_mm: Any = np.nan,
    crack_distance_mm: Any = np.nan,
    anchor_spacing_mm: Any = np.nan,
    joint_spacing_mm: Any = np.nan,
    gsi: Any = np.nan,
    steel_strength_mpa: Any = formulas.STEEL_STRENGTH_MPA,
    bond_low_mpa: Any = formulas.ADHESIVE_BOND_LOW_MPA,
    bond_high_mpa: Any = formulas.ADHESIVE_BOND_HIGH_MPA,
    draws: int = DRAWS,
    rng: np.random.Generator | None = None,
) -> AnchorResistance:
    """Axial and radial resistance of anchors in rock.

    Axial modes: bond (the weaker of resin and wall of the hole), cone of rock, steel. Radial
    modes: pry-out, breaking the edge away, steel in shear. A mechanical anchor has no bond;
    its pull-through in soft rock is not modelled, `placement.advised_kind` keeps it out there.

    Parameters
    ----------
    kind : array_like of str
        bonded, expansion or screw; anything else counts as bonded, the lower of the two.
    diameter_mm, embedment_mm : array_like
        Diameter of the rod and installed length.
    strength_median_mpa, strength_sigma_ln : array_like
        Strength of the rock, from `rock.strength_posterior`.
    edge_distance_mm, crack_distance_mm, anchor_spacing_mm : array_like
        Distances; NaN, not measured, is taken as kept clear.
    joint_spacing_mm, gsi : array_like
        Rock mass; NaN where not surveyed (see `resistance.discontinuity_factor`).
    steel_strength_mpa : array_like
        Nominal tensile strength, read as 5th percentile.
    bond_low_mpa, bond_high_mpa : array_like
        10th and 90th percentile of the resin's bond in sound rock.
    draws : int
        Number of draws.
    rng : numpy.random.Generator, optional
        Random strata in place of the fixed ones.

    Returns
    -------
    AnchorResistance
        Quantiles, kN, and governing modes, in the broadcast shape of the inputs; NaN where the
        strength of the rock, the diameter or the embedment is unknown.

    References
    ----------
    Formulas: see `resistance`. Quantiles: Latin hypercube sampling, McKay et al. (1979).

    Examples
    --------
    >>> found = anchor_resistance("bonded", 12, 90, 158.0, 0.36, gsi=85)
    >>> str(found.axial_mode), bool(found.axial_kn_p05 < found.axial_kn_p50)
    ('bond', True)
    """
    scores = standard_draws(draws, rng)

    def quantiles(**columns: np.ndarray) -> tuple[np.ndarray, ...]:
        modes = log_draws(scores, **columns)
        axial = np.minimum.reduce([modes[m] for m in AXIAL_MODES])
        radial = np.minimum.reduce([modes[m] for m in RADIAL_MODES])
        # steel does not vary with the rock: its quantiles are known without draws
        nominal = formulas.steel_resistance_kn(
            columns["diameter_mm"], columns["steel_strength_mpa"]
        )
        steel = (nominal, nominal * np.exp(-STEEL_SIGMA_LN * ndtri(0.05)))
        shear = tuple(formulas.SHEAR_RATIO * q for q in steel)
        drawn = [log_quantiles_kn(modes[m]) for m in ("bond", "cone", "pry-out", "edge")]
        pairs = (
            log_quantiles_kn(axial),
            log_quantiles_kn(radial),
            *drawn[:2],
            steel,
            *drawn[2:],
            shear,
        )
        return tuple(q for pair in pairs for q in pair)

    found = in_chunks(
        quantiles,
        {
            "mechanical": is_mechanical(kind),
            "diameter_mm": diameter_mm,
            "embedment_mm": embedment_mm,
            "strength_median_mpa": strength_median_mpa,
            "strength_sigma_ln": strength_sigma_ln,
            "edge_distance_mm": edge_distance_mm,
            "crack_distance_mm": crack_distance_mm,
            "anchor_spacing_mm": anchor_spacing_mm,
            "joint_spacing_mm": joint_spacing_mm,
            "gsi": gsi,
            "steel_strength_mpa": steel_strength_mpa,
            "bond_low_mpa": bond_low_mpa,
            "bond_high_mpa": bond_high_mpa,
        },
    )
    names = (*AXIAL_MODES, *RADIAL_MODES)
    p05 = dict(zip(names, found[4::2], strict=True))
    p50 = dict(zip(names, found[5::2], strict=True))
    axial_mode, radial_mode = _weakest(p05, AXIAL_MODES), _weakest(p05, RADIAL_MODES)
    for quantile in (p05, p50):
        quantile["bond"] = np.where(np.isinf(quantile["bond"]), np.nan, quantile["bond"])
    return AnchorResistance(
        axial_kn_p05=found[0],
        axial_kn_p50=found[1],
        axial_mode=axial_mode,
        radial_kn_p05=found[2],
        radial_kn_p50=found[3],
        radial_mode=radial_mode,
        mode_kn_p05=p05,
        mode_kn_p50=p50,
    )


def _weakest(p05: dict[str, np.ndarray], modes: tuple[str, ...]) -> np.ndarray:
    stacked = np.stack([p05[m] for m in modes])
    known = ~np.isnan(stacked).any(axis=0)
    names = np.asarray((*modes, UNKNOWN), dtype=object)
    place = np.argmin(np.where(np.isnan(stacked), np.inf, stacked), axis=0)
    return names[np.where(known, place, len(modes))]
