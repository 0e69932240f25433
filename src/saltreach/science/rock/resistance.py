r"""Resistance of one anchor in rock, mode by mode: published formulas and their corrections.

Units: N in kN, lengths in mm, stresses in MPa. The formulas for concrete are used with the
strength of intact rock in place of concrete's. **Concrete is not rock**: it has no bedding, no
joints and no blocks that come out whole; no standard covers small anchors in rock (Lamplmair et
al. 2021, 2024). So strength is capped at what the formula was fitted for, the rock mass
knocks the result down, and everything marked `judgement` is ours, in one place, to be edited.
The result ranks places and depths; it certifies nothing and replaces no pull test.
"""

from __future__ import annotations

import numpy as np

from saltreach.science.distributions import Lognormal
from saltreach.science.labelled import labelled
from saltreach.science.types import Floats, Values, number, numbers

CONE_K_CRACKED = 7.7
CONE_K_UNCRACKED = 11.0
"""EN 1992-4 k1 for post-installed fasteners (cracked, uncracked), cylinder strength, from memory.
They give characteristic values in concrete."""
CONE_K_MEAN = 13.5
"""Mean of uncracked concrete, post-installed: Fuchs, Eligehausen and Breen, ACI Structural
Journal 92(1), 1995 (from memory), there with the strength of cubes; used here as the median with
the rock's own strength (judgement)."""

CONE_STRENGTH_CAP_MPA = 60.0
"""Strength put into concrete formulas is capped here: EN 1992-4 stops at C50/60 (judgement)."""

WALL_WEAK_MPA, WALL_STRONG_MPA = 7.0, 50.0
WALL_RATIO_WEAK, WALL_RATIO_STRONG = (0.25, 0.35), (0.1, 0.3)
"""Shear the wall of the hole can bear over the strength of the rock, 10th and 90th percentile, in
rock up to 7 MPa (Littlejohn and Bruce 1977 for weak rock, from memory) and from 50 MPa on (their
tenth as the low end, judgement as the high one); between them along the logarithm. Their cap of
4.2 MPa is cement grout's and not the rock's, so it is not used for resin."""

PULL_THROUGH_KN_PER_MM2 = 0.20
PULL_THROUGH_AT_MPA = 25.0
PULL_THROUGH_WEAK_POWER = 2.0
PULL_THROUGH_SIGMA_LN = 0.25
PULL_THROUGH_WEAK_SIGMA_LN = 0.55
"""Mechanical anchors are pulled through their hole: about 20 kN mean for 10 mm in concrete of
25 MPa (published assessments, from memory), with the square root of the strength above, and with
its square below, because the wall crushes under the cone (judgement: no numbers for rock are
published; advice is to use them in medium and hard rock only). Scatter: judgement."""
USE_HALF_CYCLES, USE_LEFT = 20_000.0, 0.5
"""Loads that take half of what repeated loading can take from a mechanical anchor, and the share
it keeps in the end: judgement ("any movement is suspect", common practice)."""

DRIVE_IN_AXIAL_KN, DRIVE_IN_AXIAL_SIGMA_LN = 3.0, 1.1
DRIVE_IN_RADIAL_KN, DRIVE_IN_RADIAL_SIGMA_LN = 13.0, 0.2
DRIVE_IN_DIAMETER_MM = 10.0
"""Drive-in bolts in sandstone: axial mean 5 kN, worst 0.3 (0.06 of it); shear mean 13, worst 9
(Law 2011, read as a snippet). The lognormal has that mean, and the worst of about 20."""

TWIN_LEG_SPACING_MM = 50.0
"""Distance of the two legs of a twin-leg piece, the least in use (common practice, no source)."""
HOLE_OVERSIZE_MM = 2.0
"""Hole less rod, the least of common practice (2 to 4 mm; no source)."""

EDGE_LEAST_MM = 10.0
"""Nearer to the edge than this the formula turns up again, far outside its tests: the resistance
is taken to fall straight to 0 at the edge (judgement)."""
EDGE_FACTOR_CRACKED = 1.7
"""EN 1992-4 k9 for shear towards an edge, cracked, from memory. Rock at an edge is taken as
cracked always (judgement)."""

PRY_OUT_DEPTH_MM = 60.0
"""EN 1992-4: pry-out factor k8 is 1 for shallower fasteners and 2 from here on, from memory."""

SHEAR_RATIO = 0.6
STEEL_STRENGTH_MPA = 500.0
"""Tensile strength where neither metal nor grade is known: the least of the stainless grades
commonly made (`materials.GRADES`). Shear of steel is 0.6 of tension up to 500 MPa."""


@labelled("kN")
def bond_resistance_kn(
    diameter_mm: Values, embedment_mm: Values, bond_strength_mpa: Values
) -> Floats:
    r"""Pull-out resistance of a bonded anchor with uniform bond.

    .. math:: N = \pi d L \tau

    Parameters
    ----------
    diameter_mm : array_like
        Diameter d of the surface that fails: the rod for the resin, the hole for the rock.
    embedment_mm : array_like
        Bonded length L.
    bond_strength_mpa : array_like
        Bond strength tau.

    Returns
    -------
    array_like
        Resistance, kN; NaN stays NaN.

    References
    ----------
    Uniform bond model, as in EAD 330499 and ACI 318-19 17.6.5.

    Examples
    --------
    >>> round(float(bond_resistance_kn(12, 80, 10)), 2)
    30.16
    """
    diameter_mm, embedment_mm, bond_strength_mpa = numbers(
        diameter_mm, embedment_mm, bond_strength_mpa
    )
    return np.pi * diameter_mm * embedment_mm * bond_strength_mpa / 1000.0


@labelled({"median": "1", "sigma_ln": "1"}, returns=Lognormal)
def wall_bond_ratio(strength_mpa: Values) -> Lognormal:
    """Shear of the hole's wall over the strength of the rock: median and spread.

    Parameters
    ----------
    strength_mpa : array_like
        Uniaxial compressive strength, MPa, above 0.

    Returns
    -------
    median, sigma_ln : numpy.ndarray
        Of the ratio; see `WALL_RATIO_WEAK`.

    References
    ----------
    Littlejohn and Bruce (1977), from memory; the upper end in strong rock is judgement.

    Examples
    --------
    >>> median, _ = wall_bond_ratio([5.0, 100.0])
    >>> median.round(3).tolist()
    [0.296, 0.173]
    """
    ends = np.log([WALL_RATIO_WEAK, WALL_RATIO_STRONG])
    where = np.log([WALL_WEAK_MPA, WALL_STRONG_MPA])
    ln_strength = np.log(number(strength_mpa))
    ln_median = np.interp(ln_strength, where, ends.mean(axis=1))
    sigma = np.interp(ln_strength, where, np.diff(ends, axis=1)[:, 0] / 2.5631)
    return Lognormal(np.exp(ln_median), sigma)


@labelled("kN")
def pull_through_kn(diameter_mm: Values, strength_mpa: Values, load_cycles: Values = 0.0) -> Floats:
    r"""Median axial resistance of a mechanical anchor against being pulled through its hole.

    .. math:: N = 0.20\, d^2\, g(f)\, u, \quad g = \sqrt{f/25}\ (f \ge 25),\ (f/25)^2\ (f < 25)

    with f no more than `CONE_STRENGTH_CAP_MPA` and u what use has left:
    :math:`u = 0.5 + 0.5/(1 + n/20000)`.

    Parameters
    ----------
    diameter_mm : array_like
        Diameter d.
    strength_mpa : array_like
        Strength of the rock f, MPa.
    load_cycles : array_like
        Loads n it has borne.

    Returns
    -------
    array_like
        Resistance, kN; NaN stays NaN.

    References
    ----------
    Judgement, see `PULL_THROUGH_KN_PER_MM2`.

    Examples
    --------
    >>> round(float(pull_through_kn(10.0, 25.0)), 1), round(float(pull_through_kn(10.0, 12.5)), 1)
    (20.0, 5.0)
    """
    diameter_mm, strength_mpa, load_cycles = numbers(diameter_mm, strength_mpa, load_cycles)
    strength = np.minimum(strength_mpa, CONE_STRENGTH_CAP_MPA) / PULL_THROUGH_AT_MPA
    by_rock = np.minimum(strength, 1.0) ** PULL_THROUGH_WEAK_POWER * np.sqrt(
        np.maximum(strength, 1.0)
    )
    used = USE_LEFT + (1.0 - USE_LEFT) / (1.0 + load_cycles / USE_HALF_CYCLES)
    return PULL_THROUGH_KN_PER_MM2 * diameter_mm**2 * by_rock * used


@labelled("kN")
def cone_resistance_kn(k: Values, strength_mpa: Values, embedment_mm: Values) -> Floats:
    r"""Pull-out resistance of one fastener by a full cone of concrete, no edge near.

    .. math:: N^0 = k \sqrt{f}\, h_{ef}^{1.5}

    Parameters
    ----------
    k : array_like
        Factor, N and mm: `CONE_K_CRACKED`, `CONE_K_UNCRACKED`, `CONE_K_MEAN`.
    strength_mpa : array_like
        Cylinder strength f; for rock use no more than `CONE_STRENGTH_CAP_MPA`.
    embedment_mm : array_like
        Effective embedment.

    Returns
    -------
    array_like
        Resistance, kN; NaN stays NaN. With psi, inch and the factors of ACI 318 the same
        expression gives thousands of pounds.

    Notes
    -----
    A cone of concrete is not a cone of rock: see the module.

    References
    ----------
    EN 1992-4:2018, 7.2.1.4, equation (7.2), from memory; ACI 318-19, 17.6.2.2.1.

    Examples
    --------
    >>> round(float(cone_resistance_kn(7.7, 25, 80)), 2)
    27.55
    """
    k, strength_mpa, embedment_mm = numbers(k, strength_mpa, embedment_mm)
    return k * np.sqrt(strength_mpa) * embedment_mm**1.5 / 1000.0


@labelled("1")
def cone_area_ratio(edge_distance_mm: Values, embedment_mm: Values) -> Floats:
    r"""Share of the cone's base that one edge leaves.

    .. math:: A_{c,N}/A^0_{c,N} = (1.5 h_{ef} + c) / (3 h_{ef}), \quad c \le 1.5 h_{ef}

    Parameters
    ----------
    edge_distance_mm : array_like
        Distance c to the edge.
    embedment_mm : array_like
        Effective embedment.

    Returns
    -------
    array_like
        Ratio, 0.5 to 1; NaN stays NaN.

    References
    ----------
    EN 1992-4:2018, 7.2.1.4 (3), ccr = 1.5 hef, from memory; the same in ACI 318-19, 17.6.2.1.

    Examples
    --------
    >>> float(cone_area_ratio(60.0, 80.0))
    0.75
    """
    edge_distance_mm, embedment_mm = numbers(edge_distance_mm, embedment_mm)
    near = np.minimum(edge_distance_mm / (1.5 * embedment_mm), 1.0)
    return 0.5 + 0.5 * near


@labelled("1")
def edge_psi(edge_distance_mm: Values, embedment_mm: Values) -> Floats:
    r"""Disturbance of the stresses by an edge.

    .. math:: \psi_{s,N} = 0.7 + 0.3\, c / (1.5 h_{ef}) \le 1

    Parameters
    ----------
    edge_distance_mm : array_like
        Distance c to the nearest edge.
    embedment_mm : array_like
        Effective embedment.

    Returns
    -------
    array_like
        Factor, 0.7 to 1; NaN stays NaN.

    References
    ----------
    EN 1992-4:2018, equation (7.4), from memory; ACI 318-19, 17.6.2.4.1b.

    Examples
    --------
    >>> round(float(edge_psi(60.0, 80.0)), 2)
    0.85
    """
    edge_distance_mm, embedment_mm = numbers(edge_distance_mm, embedment_mm)
    return 0.7 + 0.3 * np.minimum(edge_distance_mm / (1.5 * embedment_mm), 1.0)


@labelled("1")
def pair_ratio(spacing_mm: Values, embedment_mm: Values) -> Floats:
    r"""How many single cones a pair of equal anchors is worth.

    .. math:: (3 h_{ef} + s) / (3 h_{ef}), \quad s \le 3 h_{ef}

    Parameters
    ----------
    spacing_mm : array_like
        Spacing s of the two.
    embedment_mm : array_like
        Effective embedment.

    Returns
    -------
    array_like
        1 to 2; NaN stays NaN. Half of it is each anchor's share when both are pulled.

    References
    ----------
    EN 1992-4:2018, 7.2.1.4 (3), scr = 3 hef, from memory.

    Examples
    --------
    >>> float(pair_ratio(120.0, 80.0))
    1.5
    """
    spacing_mm, embedment_mm = numbers(spacing_mm, embedment_mm)
    return 1.0 + np.minimum(spacing_mm / (3.0 * embedment_mm), 1.0)


@labelled("kN")
def steel_resistance_kn(
    diameter_mm: Values, steel_strength_mpa: Values = STEEL_STRENGTH_MPA
) -> Floats:
    r"""Tension resistance of a solid rod.

    .. math:: N = \tfrac{\pi}{4} d^2 f_u

    Parameters
    ----------
    diameter_mm : array_like
        Diameter of the rod; for a thread the diameter of its stress area.
    steel_strength_mpa : array_like
        Tensile strength.

    Returns
    -------
    array_like
        Resistance, kN; NaN stays NaN. Shear is `SHEAR_RATIO` of it.

    References
    ----------
    EN 1992-4:2018, 7.2.1.3 (tension) and 7.2.2.3.1 (shear, k6 = 0.6), from memory.

    Examples
    --------
    >>> round(float(steel_resistance_kn(12, 600)), 1)
    67.9
    """
    diameter_mm, steel_strength_mpa = numbers(diameter_mm, steel_strength_mpa)
    return np.pi / 4.0 * diameter_mm**2 * steel_strength_mpa / 1000.0


@labelled("1")
def pry_out_factor(embedment_mm: Values) -> Floats:
    """Pry-out resistance over the cone's (or bond's, if lower): k8.

    Parameters
    ----------
    embedment_mm : array_like
        Effective embedment, mm.

    Returns
    -------
    array_like
        1 below 60 mm, 2 from there on; NaN stays NaN.

    References
    ----------
    EN 1992-4:2018, 7.2.2.4, from memory.

    Examples
    --------
    >>> float(pry_out_factor(59.0)), float(pry_out_factor(60.0))
    (1.0, 2.0)
    """
    embedment_mm = number(embedment_mm)
    deep = np.where(embedment_mm >= PRY_OUT_DEPTH_MM, 2.0, 1.0)
    return np.where(np.isnan(embedment_mm), np.nan, deep)


@labelled("kN")
def edge_shear_resistance_kn(
    diameter_mm: Values, embedment_mm: Values, strength_mpa: Values, edge_distance_mm: Values
) -> Floats:
    r"""Resistance to a pull square to a free edge that breaks the edge away.

    .. math:: V^0 = 1.7\, d^{\alpha} l_f^{\beta} \sqrt{f}\, c^{1.5}, \quad
        \alpha = 0.1 \sqrt{l_f/c}, \quad \beta = 0.1 (d/c)^{0.2}

    with :math:`l_f = \min(h_{ef}, 12 d)`.

    Parameters
    ----------
    diameter_mm, embedment_mm : array_like
        Diameter and effective embedment, mm.
    strength_mpa : array_like
        Cylinder strength; for rock no more than `CONE_STRENGTH_CAP_MPA`.
    edge_distance_mm : array_like
        Distance c to the edge, mm; below `EDGE_LEAST_MM` straight to 0.

    Returns
    -------
    array_like
        Resistance, kN; NaN stays NaN.

    References
    ----------
    EN 1992-4:2018, 7.2.2.5, equations (7.40) to (7.43), k9 = 1.7 cracked, from memory.

    Examples
    --------
    >>> round(float(edge_shear_resistance_kn(12, 80, 25, 100)), 1)
    14.1
    """
    diameter_mm, embedment_mm, strength_mpa, edge_distance_mm = numbers(
        diameter_mm, embedment_mm, strength_mpa, edge_distance_mm
    )
    length = np.minimum(embedment_mm, 12.0 * diameter_mm)
    distance = np.maximum(edge_distance_mm, EDGE_LEAST_MM)
    alpha = 0.1 * np.sqrt(length / distance)
    beta = 0.1 * (diameter_mm / distance) ** 0.2
    reach = diameter_mm**alpha * length**beta * np.minimum(edge_distance_mm / EDGE_LEAST_MM, 1.0)
    return EDGE_FACTOR_CRACKED * reach * np.sqrt(strength_mpa) * distance**1.5 / 1000.0
