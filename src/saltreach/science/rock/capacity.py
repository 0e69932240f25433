"""Resistance of an anchor as a distribution, with the mode that governs.

Rock strength, bond, cone, steel and edge each vary; their standard scores are one fixed set of
draws, the same for every anchor and every call. So a result never depends on row order, and
whatever raises the resistance of each draw raises the quantiles: stronger rock, a longer
anchor, a crack further away can never come out worse by chance.

The spreads are judgement where marked. The 5th percentile ranks places; it is no
characteristic resistance of a standard and certifies nothing.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from scipy.special import ndtr, ndtri

from saltreach.science.labelled import Axis, labelled
from saltreach.science.lookup import lookup
from saltreach.science.rock import resistance as formulas
from saltreach.science.rock.bond import bond_strength
from saltreach.science.rock.knock_down import boundary_factor, discontinuity_factor
from saltreach.science.rows import in_chunks
from saltreach.science.types import Floats, Texts, Values, Words
from saltreach.vocabulary.words import UNKNOWN

CONE_SIGMA_LN = 0.3
EDGE_SIGMA_LN = 0.3
STEEL_SIGMA_LN = 0.05
"""Scatter of the models about their medians, all judgement. Concrete cones scatter by about
0.15; rock is less even. The steel strength given is read as its 5th percentile, as nominal
values of products are meant."""

KIND_SHARES: dict[str, tuple[float, float, float]] = {
    "bonded": (1.0, 0.0, 1.0),
    "bonded twin-leg": (1.0, 0.0, 2.0),
    "expansion": (0.0, 0.0, 1.0),
    "screw": (0.0, 0.0, 1.0),
    "drive-in": (0.0, 1.0, 1.0),
    "other": (0.0, 1.0, 1.0),
}
"""By kind: share that is bonded, share (of the rest) that is driven in, legs. `other` (pegs and
home-made pieces) counts as driven in."""
UNKNOWN_KIND_BONDED, UNKNOWN_KIND_DRIVEN = 0.4, 0.1
"""An anchor of unknown kind, where a register tells nothing: judgement."""

AXIAL_MODES = ("bond", "pull-through", "cone", "steel")
RADIAL_MODES = ("pry-out", "edge", "steel shear")
ROCK_AXIAL_MODES, ROCK_RADIAL_MODES = AXIAL_MODES[:3], RADIAL_MODES[:2]
"""Modes in which the rock, or what holds in it, gives way and not the metal."""
DRAWS = 256
_VARIABLES = 8


MODES = (*AXIAL_MODES, *RADIAL_MODES)


class AnchorResistance(NamedTuple):
    """5th percentile and median of an anchor's resistance, kN, in the shape of the inputs.

    `axial_*` and `radial_*` are the weakest mode in each draw; `axial_mode` and `radial_mode`
    name the mode with the lowest 5th percentile, `unknown` where one cannot be known.
    `rock_axial_*` and `rock_radial_*` leave the metal out. The last axis of `mode_kn_*` is
    `MODES`; a mode that does not apply is NaN there (bond of a mechanical anchor) or infinite (no
    edge measured).
    """

    axial_kn_p05: Floats
    axial_kn_p50: Floats
    axial_mode: Texts
    radial_kn_p05: Floats
    radial_kn_p50: Floats
    radial_mode: Texts
    rock_axial_kn_p05: Floats
    rock_axial_kn_p50: Floats
    rock_radial_kn_p05: Floats
    rock_radial_kn_p50: Floats
    mode_kn_p05: Floats
    mode_kn_p50: Floats


_UNITS = {n: None if n.endswith("_mode") else "kN" for n in AnchorResistance._fields}
_AXES = dict.fromkeys(AnchorResistance._fields[-2:], Axis("mode", MODES))


def standard_draws(count: int = DRAWS) -> Floats:
    """Standard normal scores of the eight variables, stratified.

    Parameters
    ----------
    count : int
        Number of draws.

    Returns
    -------
    numpy.ndarray
        Shape (count, 8): each column holds the scores of `count` equally likely strata, in a
        fixed even order (additive recurrence): no chance.

    References
    ----------
    Latin hypercube sampling, McKay et al. (1979); order by an additive recurrence (Kronecker
    sequence), from memory.

    Examples
    --------
    >>> standard_draws(8).shape
    (8, 8)
    """
    # powers of the root of x^9 = x + 1 fill eight dimensions evenly
    root = 2.0
    for _ in range(60):
        root = (1.0 + root) ** (1.0 / (_VARIABLES + 1))
    steps = root ** -np.arange(1.0, _VARIABLES + 1)
    points = np.arange(1, count + 1)[:, None] * steps % 1.0
    order = np.argsort(np.argsort(points, axis=0, kind="stable"), axis=0)
    return ndtri((order + 0.5) / count)


def log_quantiles_kn(
    log_values: Floats, probabilities: tuple[float, ...] = (0.05, 0.5)
) -> tuple[Floats, ...]:
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

    References
    ----------
    Quantiles of a stratified sample: each value stands for the middle of its stratum.

    Examples
    --------
    >>> [round(float(q), 3) for q in log_quantiles_kn(standard_draws()[:, 0])]
    [0.193, 1.0]
    """
    places = [p * log_values.shape[-1] - 0.5 for p in probabilities]
    wanted = sorted({int(place) + step for place in places for step in (0, 1)})
    ordered = np.partition(log_values, wanted, axis=-1)
    return tuple(np.exp(_between(ordered, int(place), place % 1)) for place in places)


def _between(ordered: Floats, place: int, share: float) -> Floats:
    """Interpolate; no zero times infinity where a quantile falls on a draw."""
    if share == 0.0:
        return ordered[..., place]
    return (1.0 - share) * ordered[..., place] + share * ordered[..., place + 1]


def _log(value: Floats) -> Floats:
    """Logarithm; that of 0 is minus infinity, without a warning."""
    with np.errstate(divide="ignore"):
        return np.log(value)


def log_draws(
    scores: Floats,
    *,
    bonded: Floats,
    driven: Floats,
    legs: Floats,
    diameter_mm: Floats,
    embedment_mm: Floats,
    strength_median_mpa: Floats,
    strength_sigma_ln: Floats,
    edge_distance_mm: Floats,
    crack_distance_mm: Floats,
    anchor_spacing_mm: Floats,
    joint_spacing_mm: Floats,
    gsi: Floats,
    steel_strength_mpa: Floats,
    shear_ratio: Floats,
    bond_median_mpa: Floats,
    bond_sigma_ln: Floats,
    load_cycles: Floats,
) -> dict[str, Floats]:
    """Logarithm of the resistance of each mode in each draw.

    Parameters
    ----------
    scores : numpy.ndarray
        From `standard_draws`, shape (draws, 8).
    bonded, driven, legs : numpy.ndarray
        From `kind_shares`, shape (n,).
    diameter_mm, embedment_mm, strength_median_mpa, strength_sigma_ln : numpy.ndarray
        As for `anchor_resistance`, shape (n,).
    edge_distance_mm, crack_distance_mm, anchor_spacing_mm, joint_spacing_mm, gsi : numpy.ndarray
        As for `anchor_resistance`, shape (n,).
    steel_strength_mpa, shear_ratio, bond_median_mpa, bond_sigma_ln, load_cycles : numpy.ndarray
        As for `anchor_resistance`, shape (n,).

    Returns
    -------
    dict
        Natural logarithm of kN, shape (n, draws), by mode.

    References
    ----------
    Formulas: see `resistance`, `bond` and `knock_down`; spreads of the models: judgement.
    """
    rock, resin, wall, cone_model, steel_model, edge_model, grip, kind = scores.T
    column = (..., None)
    strength = _log(strength_median_mpa)[column] + strength_sigma_ln[column] * rock
    capped = np.minimum(strength, np.log(formulas.CONE_STRENGTH_CAP_MPA)) / 2.0
    # an anchor of unknown kind is each kind in its share of the draws
    place = ndtr(kind)
    is_bonded = place < bonded[column]
    is_driven = ~is_bonded & (place >= 1.0 - (1.0 - bonded)[column] * driven[column])

    resin_bond = _log(bond_median_mpa)[column] + bond_sigma_ln[column] * resin
    ratio, ratio_sigma = formulas.wall_bond_ratio(np.exp(strength))
    wall_bond = np.log(ratio) + strength + ratio_sigma * wall
    hole_mm = diameter_mm + formulas.HOLE_OVERSIZE_MM
    rod_ln = _log(legs * formulas.bond_resistance_kn(diameter_mm, embedment_mm, 1.0))
    hole_ln = _log(legs * formulas.bond_resistance_kn(hole_mm, embedment_mm, 1.0))
    bond = np.minimum(rod_ln[column] + resin_bond, hole_ln[column] + wall_bond)
    bond = np.where(is_bonded, bond, np.inf)

    weak = np.maximum(1.0 - np.exp(strength) / formulas.PULL_THROUGH_AT_MPA, 0.0)
    grip_sigma = formulas.PULL_THROUGH_SIGMA_LN + weak * (
        formulas.PULL_THROUGH_WEAK_SIGMA_LN - formulas.PULL_THROUGH_SIGMA_LN
    )
    through = formulas.pull_through_kn(diameter_mm[column], np.exp(strength), load_cycles[column])
    through = _log(through) + grip_sigma * grip
    size_ln = 2.0 * _log(diameter_mm / formulas.DRIVE_IN_DIAMETER_MM)[column]
    out_of_hole = np.log(formulas.DRIVE_IN_AXIAL_KN) + size_ln
    out_of_hole = out_of_hole + formulas.DRIVE_IN_AXIAL_SIGMA_LN * grip
    # in rock too weak for an expansion anchor a driven one is no better
    through = np.where(is_driven, np.minimum(out_of_hole, through), through)
    through = np.where(is_bonded, np.inf, through)

    parted = discontinuity_factor(
        embedment_mm,
        crack_distance_mm=crack_distance_mm,
        joint_spacing_mm=joint_spacing_mm,
        gsi=gsi,
    )
    bounded = boundary_factor(
        embedment_mm, edge_distance_mm=edge_distance_mm, anchor_spacing_mm=anchor_spacing_mm
    )
    whole = formulas.cone_resistance_kn(formulas.CONE_K_MEAN, 1.0, embedment_mm)
    twin = formulas.pair_ratio(formulas.TWIN_LEG_SPACING_MM, embedment_mm)
    whole = whole * np.where(legs > 1, twin, 1.0)
    cone = _log(whole * parted * bounded)[column] + capped + CONE_SIGMA_LN * cone_model

    nominal = _log(legs * formulas.steel_resistance_kn(diameter_mm, steel_strength_mpa))
    steel = nominal[column] + STEEL_SIGMA_LN * (steel_model - ndtri(0.05))

    to_edge = np.where(np.isnan(edge_distance_mm), np.inf, edge_distance_mm)
    torn = formulas.edge_shear_resistance_kn(diameter_mm, embedment_mm, 1.0, to_edge)
    mass = discontinuity_factor(1.0, gsi=gsi)
    edge = _log(torn * mass)[column] + capped + EDGE_SIGMA_LN * edge_model
    pried = _log(formulas.pry_out_factor(embedment_mm))[column] + np.minimum(cone, bond)
    driven_out = np.log(formulas.DRIVE_IN_RADIAL_KN) + size_ln
    driven_out = driven_out + formulas.DRIVE_IN_RADIAL_SIGMA_LN * grip
    return {
        "bond": bond,
        "pull-through": through,
        "cone": cone,
        "steel": steel,
        "pry-out": np.where(is_driven, np.minimum(pried, driven_out), pried),
        "edge": edge,
        "steel shear": steel + np.log(shear_ratio)[column],
    }


@labelled("1")
def is_mechanical(kind: Words) -> Floats:
    """Tell mechanical anchors (1) from all others (0).

    Parameters
    ----------
    kind : array_like of str
        Of `KIND_SHARES`, or empty.

    Returns
    -------
    numpy.ndarray
        1.0 or 0.0; a kind that is not known is not counted among them.

    References
    ----------
    Words of the trade.

    Examples
    --------
    >>> is_mechanical(["expansion", "bonded", ""]).tolist()
    [1.0, 0.0, 0.0]
    """
    mechanical = {name for name, (bonded, *_) in KIND_SHARES.items() if bonded == 0.0}
    words = np.asarray(kind, dtype=object)
    return np.array([word in mechanical for word in words.ravel()], float).reshape(words.shape)


@labelled({"bonded": "1", "driven": "1", "legs": "1"})
def kind_shares(
    kind: Words,
    unknown_bonded: Values = UNKNOWN_KIND_BONDED,
    unknown_driven: Values = UNKNOWN_KIND_DRIVEN,
) -> tuple[Floats, Floats, Floats]:
    """What an anchor of each kind may be: share bonded, share of the rest driven in, legs.

    Parameters
    ----------
    kind : array_like of str
        Of `KIND_SHARES`, or empty.
    unknown_bonded, unknown_driven : array_like
        Shares of an unknown kind.

    Returns
    -------
    tuple of numpy.ndarray
        `bonded`, `driven`, `legs`.

    Raises
    ------
    OptionError
        A kind that is not listed.

    References
    ----------
    Judgement, see `KIND_SHARES`.

    Examples
    --------
    >>> [v.tolist() for v in kind_shares(["bonded twin-leg", "drive-in", ""])]
    [[1.0, 0.0, 0.4], [0.0, 1.0, 0.1], [2.0, 1.0, 1.0]]
    """
    bonded, driven, legs = (
        lookup(kind, {k: v[i] for k, v in KIND_SHARES.items()}, "kind") for i in range(3)
    )
    return (
        np.where(np.isnan(bonded), unknown_bonded, bonded),
        np.where(np.isnan(driven), unknown_driven, driven),
        np.where(np.isnan(legs), 1.0, legs),
    )


@labelled(_UNITS, returns=AnchorResistance, gives=_AXES)
def anchor_resistance(
    kind: Words,
    diameter_mm: Values,
    embedment_mm: Values,
    strength_median_mpa: Values,
    strength_sigma_ln: Values,
    *,
    edge_distance_mm: Values = np.nan,
    crack_distance_mm: Values = np.nan,
    anchor_spacing_mm: Values = np.nan,
    joint_spacing_mm: Values = np.nan,
    gsi: Values = np.nan,
    steel_strength_mpa: Values = formulas.STEEL_STRENGTH_MPA,
    shear_ratio: Values = formulas.SHEAR_RATIO,
    adhesive: Words = UNKNOWN,
    rod_shape: Words = UNKNOWN,
    hole_condition: Words = UNKNOWN,
    load_cycles: Values = 0.0,
    unknown_bonded: Values = UNKNOWN_KIND_BONDED,
    unknown_driven: Values = UNKNOWN_KIND_DRIVEN,
) -> AnchorResistance:
    """Axial and radial resistance of anchors in rock.

    Axial modes: bond (the weaker of resin and wall of the hole), pull-through of mechanical
    anchors, cone of rock, steel. Radial modes: pry-out, breaking the edge away, steel in shear.
    A twin-leg piece has two rods of the diameter given.

    Parameters
    ----------
    kind : array_like of str
        Of `KIND_SHARES`; an unknown one is each kind in its share.
    diameter_mm, embedment_mm : array_like
        Diameter of the rod and installed length.
    strength_median_mpa, strength_sigma_ln : array_like
        Strength of the rock, from `rock.strength_posterior`.
    edge_distance_mm, crack_distance_mm, anchor_spacing_mm : array_like
        Distances; NaN, not measured, is taken as kept clear.
    joint_spacing_mm, gsi : array_like
        Rock mass; NaN where not surveyed (see `resistance.discontinuity_factor`).
    steel_strength_mpa, shear_ratio : array_like
        Nominal tensile strength, read as 5th percentile, and shear over tension.
    adhesive, rod_shape, hole_condition : array_like of str
        As for `bond.bond_strength`.
    load_cycles : array_like
        Loads a mechanical anchor has borne.
    unknown_bonded, unknown_driven : array_like
        What an unknown kind may be.

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
    scores = standard_draws()
    bond = bond_strength(adhesive, rod_shape, hole_condition)
    bonded, driven, legs = kind_shares(kind, unknown_bonded, unknown_driven)

    def quantiles(**columns: Floats) -> tuple[Floats, ...]:
        modes = log_draws(scores, **columns)
        joined = [
            log_quantiles_kn(np.minimum.reduce([modes[m] for m in some]))
            for some in (AXIAL_MODES, RADIAL_MODES, ROCK_AXIAL_MODES, ROCK_RADIAL_MODES)
        ]
        # steel does not vary with the rock: its quantiles are known without draws
        nominal = columns["legs"] * formulas.steel_resistance_kn(
            columns["diameter_mm"], columns["steel_strength_mpa"]
        )
        steel = (nominal, nominal * np.exp(-STEEL_SIGMA_LN * ndtri(0.05)))
        shear = tuple(columns["shear_ratio"] * q for q in steel)
        each = {m: log_quantiles_kn(modes[m]) for m in modes if not m.startswith("steel")}
        each |= {"steel": steel, "steel shear": shear}
        pairs = (*joined, *(each[m] for m in (*AXIAL_MODES, *RADIAL_MODES)))
        return tuple(q for pair in pairs for q in pair)

    found = in_chunks(
        quantiles,
        {
            "bonded": bonded,
            "driven": driven,
            "legs": legs,
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
            "shear_ratio": shear_ratio,
            "bond_median_mpa": bond.median,
            "bond_sigma_ln": bond.sigma_ln,
            "load_cycles": load_cycles,
        },
    )
    p05, p50 = dict(zip(MODES, found[8::2], strict=True)), found[9::2]
    axial, radial = (_weakest(p05, modes) for modes in (AXIAL_MODES, RADIAL_MODES))
    by_mode = [np.stack(each, axis=-1) for each in (list(p05.values()), p50)]
    for each in by_mode:
        each[np.isinf(each) & np.isin(MODES, ("bond", "pull-through"))] = np.nan
    ordered = (*found[:2], axial, *found[2:4], radial, *found[4:8], *by_mode)
    return AnchorResistance._make(ordered)


def _weakest(p05: dict[str, Floats], modes: tuple[str, ...]) -> Texts:
    stacked = np.stack([p05[m] for m in modes])
    known = ~np.isnan(stacked).any(axis=0)
    names = np.asarray((*modes, UNKNOWN), dtype=object)
    place = np.argmin(np.where(np.isnan(stacked), np.inf, stacked), axis=0)
    return names[np.where(known, place, len(modes))]
