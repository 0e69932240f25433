"""What to place and how deep, for the loads of EN 959 and by the rules of thumb.

EN 959:2018 sets loads and lengths for products tested in a concrete block: axial 15 kN (4.3.1),
radial 25 kN (4.3.2), glued length at least 70 mm, mechanical at least 5 hole diameters (4.2.6).
It says itself that softer rock may need more. UIAA 123's 20 kN axial, from memory, is an option.
What follows is advice from a model to a competent person at the rock; it certifies nothing.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from saltreach.errors import OptionError
from saltreach.science.distributions import lognormal_quantile
from saltreach.science.labelled import labelled
from saltreach.science.rock import resistance as formulas
from saltreach.science.rock.bond import NEW_BOND, bond_strength
from saltreach.science.rock.capacity import (
    AXIAL_MODES,
    RADIAL_MODES,
    is_mechanical,
    kind_shares,
    log_draws,
    log_quantiles_kn,
    standard_draws,
)
from saltreach.science.rows import in_chunks
from saltreach.science.types import Bools, Floats, Texts, Values, Words, number, numbers
from saltreach.vocabulary.words import ADVICE, UNKNOWN

EN959_AXIAL_KN = 15.0
EN959_RADIAL_KN = 25.0
EN959_GLUED_MIN_MM = 70.0
EN959_MECHANICAL_DIAMETERS = 5.0
"""Loads, 4.3.1 and 4.3.2; least glued length, and mechanical in hole diameters, 4.2.6."""
GLUED = ("bonded", "bonded twin-leg")

EMBEDMENT_STEP_MM = 5.0
EMBEDMENT_MAX_MM = 300.0
"""Embedments are offered in steps up to what a hand drill makes (judgement)."""
STANDARD_DIAMETERS_MM = (6.0, 8.0, 10.0, 12.0, 14.0, 16.0, 20.0, 24.0)
"""Rods of the trade: common practice, no source."""

EDGE_MIN_MM = 150.0
EDGE_MIN_EMBEDMENTS = 1.5
CRACK_MIN_EMBEDMENTS = 1.0
SPACING_MIN_EMBEDMENTS = 3.0
"""Least distances: common practice, no source."""

MECHANICAL_STRENGTH_P10_MPA = 50.0
"""Mechanical anchors are rated in concrete of about this strength (EN 959, from memory): rock
that may be weaker is none for them (judgement)."""
SOFT_ROCK_MEDIAN_MPA = 25.0
"""Rock below this median (ISRM R2 and less) is called soft: bonded and longer (judgement)."""
TOO_WEAK_MEDIAN_MPA = 5.0
"""Rock at or below this median (ISRM R1 and less) is no place for an anchor (judgement)."""

DO_NOT_PLACE, BONDED_LONGER, BONDED, MECHANICAL_OR_BONDED = ADVICE

EN959_GOVERNS = "EN 959 minimum length"
NOT_REACHED = f"not reached by {EMBEDMENT_MAX_MM:.0f} mm"
STEEL_TOO_THIN = "steel too thin for the loads"
NOT_KNOWN = "strength of the rock or diameter not known"


@labelled("mm")
def en959_minimum_mm(kind: Words, hole_diameter_mm: Values) -> Floats:
    """Least installed length EN 959 asks for.

    Parameters
    ----------
    kind : array_like of str
        A word of `columns.KINDS`. For what is neither glued nor mechanical both rules are applied.
    hole_diameter_mm : array_like
        Diameter of the hole.

    Returns
    -------
    array_like
        Length, mm; NaN where the rule needs a diameter that is unknown.

    References
    ----------
    EN 959:2018, 4.2.6.

    Examples
    --------
    >>> float(en959_minimum_mm("bonded", 14.0)), float(en959_minimum_mm("expansion", 12.0))
    (70.0, 60.0)
    """
    hole_diameter_mm = number(hole_diameter_mm)
    text = np.asarray(kind, dtype=object).astype(str)
    mechanical = EN959_MECHANICAL_DIAMETERS * hole_diameter_mm
    both = np.maximum(mechanical, EN959_GLUED_MIN_MM)
    either = np.where(is_mechanical(kind) > 0, mechanical, both)
    return np.where(np.isin(text, GLUED), EN959_GLUED_MIN_MM, either)


@labelled("mm")
def required_diameter_mm(
    axial_kn: float = EN959_AXIAL_KN,
    radial_kn: float = EN959_RADIAL_KN,
    steel_strength_mpa: Values = formulas.STEEL_STRENGTH_MPA,
    shear_ratio: Values = formulas.SHEAR_RATIO,
    legs: Values = 1.0,
) -> Floats:
    r"""Least usual diameter of a solid rod whose metal bears both loads.

    .. math:: d \ge \sqrt{4 \max(N,\ V/k) / (\pi n f_u)}

    Parameters
    ----------
    axial_kn, radial_kn : float
        Loads N and V to bear.
    steel_strength_mpa : array_like
        Tensile strength of the metal.
    shear_ratio : array_like
        Shear over tension k.
    legs : array_like
        Rods n that share the load.

    Returns
    -------
    array_like
        The next of `STANDARD_DIAMETERS_MM`; NaN where none suffices or the strength is NaN.

    References
    ----------
    `resistance.steel_resistance_kn` solved for the diameter.

    Examples
    --------
    >>> float(required_diameter_mm(steel_strength_mpa=500)), float(required_diameter_mm(
    ...     steel_strength_mpa=345, legs=2))
    (12.0, 10.0)
    """
    load_n = 1000.0 * np.maximum(axial_kn, radial_kn / number(shear_ratio))
    area = load_n / (number(legs) * number(steel_strength_mpa))
    least = np.sqrt(4.0 * area / np.pi)
    offered = np.array([*STANDARD_DIAMETERS_MM, np.nan])
    return offered[np.searchsorted(STANDARD_DIAMETERS_MM, least - 1e-9)]


@labelled({"embedment_mm": "mm", "reason": None})
def required_embedment_mm(
    kind: Words,
    diameter_mm: Values,
    strength_median_mpa: Values,
    strength_sigma_ln: Values,
    *,
    axial_kn: float = EN959_AXIAL_KN,
    radial_kn: float = EN959_RADIAL_KN,
    hole_diameter_mm: Values = np.nan,
    edge_distance_mm: Values = np.nan,
    crack_distance_mm: Values = np.nan,
    anchor_spacing_mm: Values = np.nan,
    joint_spacing_mm: Values = np.nan,
    gsi: Values = np.nan,
    steel_strength_mpa: Values = formulas.STEEL_STRENGTH_MPA,
    shear_ratio: Values = formulas.SHEAR_RATIO,
    adhesive: Words = NEW_BOND["adhesive"],
    rod_shape: Words = NEW_BOND["rod_shape"],
    hole_condition: Words = NEW_BOND["hole_condition"],
) -> tuple[Floats, Texts]:
    """Least embedment whose 5th percentile bears both loads and that EN 959 allows.

    Parameters
    ----------
    kind, diameter_mm, strength_median_mpa, strength_sigma_ln : array_like
        As for `capacity.anchor_resistance`.
    axial_kn, radial_kn : float
        Loads; EN 959's by default.
    hole_diameter_mm : array_like
        For the minimum length of mechanical anchors; NaN takes the anchor's diameter.
    edge_distance_mm, crack_distance_mm, anchor_spacing_mm : array_like
        As for `capacity.anchor_resistance`.
    joint_spacing_mm, gsi, steel_strength_mpa, shear_ratio : array_like
        As for `capacity.anchor_resistance`.
    adhesive, rod_shape, hole_condition : array_like of str
        As there; by default `bond.NEW_BOND`, the least that is advised, set properly.

    Returns
    -------
    embedment_mm : numpy.ndarray
        In steps of 5 mm; NaN where it is not known or not reached.
    reason : numpy.ndarray of str
        What governed: EN 959's length, the load and mode, or why there is none.

    Raises
    ------
    OptionError
        A load that is not positive.

    Notes
    -----
    Resistance never falls with embedment in this model, so the least length is found by
    halving.

    References
    ----------
    EN 959:2018, 4.2.6, 4.3.1 and 4.3.2; resistances: see `resistance`.

    Examples
    --------
    >>> length, reason = required_embedment_mm("bonded", 12, 158.0, 0.36, axial_kn=20)
    >>> float(length), str(reason)
    (90.0, 'axial 20 kN (bond)')
    """
    for what, load in (("axial_kn", axial_kn), ("radial_kn", radial_kn)):
        if not load > 0:
            raise OptionError(f"{what} {load!r} is not a positive load; give kN")
    scores = standard_draws()
    bond = bond_strength(adhesive, rod_shape, hole_condition)
    bonded, driven, legs = kind_shares(kind)
    lengths = np.arange(EMBEDMENT_STEP_MM, EMBEDMENT_MAX_MM + 1, EMBEDMENT_STEP_MM)

    def solve(minimum_mm: Floats, **rock: Floats) -> tuple[Floats, ...]:
        def p05(places: NDArray[np.int_], modes: tuple[str, ...]) -> list[Floats]:
            found = log_draws(scores, embedment_mm=lengths[places], **rock)
            weakest = np.minimum.reduce([found[m] for m in modes])
            return [log_quantiles_kn(v, (0.05,))[0] for v in (weakest, *map(found.get, modes))]

        def bears(places: NDArray[np.int_]) -> Bools:
            found = log_draws(scores, embedment_mm=lengths[places], **rock)
            axial, radial = (
                log_quantiles_kn(np.minimum.reduce([found[m] for m in modes]), (0.05,))[0]
                for modes in (AXIAL_MODES, RADIAL_MODES)
            )
            return (axial >= axial_kn) & (radial >= radial_kn)

        low = np.zeros(len(minimum_mm), dtype=int)
        high = np.full(len(minimum_mm), len(lengths) - 1)
        reached = bears(high)
        while (low < high).any():
            middle = (low + high) // 2
            enough = bears(middle)
            low, high = np.where(enough, low, middle + 1), np.where(enough, middle, high)
            low = np.minimum(low, high)
        shortest = np.ceil(minimum_mm / EMBEDMENT_STEP_MM - 1e-9) * EMBEDMENT_STEP_MM
        by_load = np.where(reached, lengths[high], np.nan)
        # one step shorter, which load is missed, and by which mode
        axial, *axial_each = p05(np.maximum(high - 1, 0), AXIAL_MODES)
        _, *radial_each = p05(np.maximum(high - 1, 0), RADIAL_MODES)
        steel = rock["legs"] * formulas.steel_resistance_kn(
            rock["diameter_mm"], rock["steel_strength_mpa"]
        )
        thin = (steel < axial_kn) | (rock["shear_ratio"] * steel < radial_kn)
        inputs = (rock["diameter_mm"], rock["strength_median_mpa"], rock["strength_sigma_ln"])
        unknown = np.isnan(np.stack(inputs)).any(axis=0)
        case = np.select(
            [unknown, thin, ~reached, by_load <= shortest, axial < axial_kn],
            [0, 1, 2, 3, 4 + np.argmin(axial_each, axis=0)],
            4 + len(AXIAL_MODES) + np.argmin(radial_each, axis=0),
        )
        return np.maximum(by_load, shortest), case

    diameter, hole = numbers(diameter_mm, hole_diameter_mm)
    hole = np.where(np.isnan(hole), diameter, hole)
    embedment_mm, case = in_chunks(
        solve,
        {
            "minimum_mm": en959_minimum_mm(kind, hole),
            "bonded": bonded,
            "driven": driven,
            "legs": legs,
            "load_cycles": 0.0,
            "diameter_mm": diameter,
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
        },
    )
    reasons = np.array(
        [
            NOT_KNOWN,
            STEEL_TOO_THIN,
            NOT_REACHED,
            EN959_GOVERNS,
            *(f"axial {axial_kn:g} kN ({mode})" for mode in AXIAL_MODES),
            *(f"radial {radial_kn:g} kN ({mode})" for mode in RADIAL_MODES),
        ],
        dtype=object,
    )
    return embedment_mm, reasons[case]


@labelled({"broken": None, "unmeasured": None})
def too_close(
    embedment_mm: Values,
    *,
    edge_distance_mm: Values = np.nan,
    crack_distance_mm: Values = np.nan,
    anchor_spacing_mm: Values = np.nan,
) -> tuple[Texts, Texts]:
    """Tell which distances break the rule of thumb, and which were not measured.

    Parameters
    ----------
    embedment_mm : array_like
        Installed length, mm.
    edge_distance_mm, crack_distance_mm, anchor_spacing_mm : array_like
        Distances, mm; NaN where not measured.

    Returns
    -------
    broken : numpy.ndarray of str
        The rules broken, joined by semicolons, empty where none is.
    unmeasured : numpy.ndarray of str
        The distances that could not be checked, joined by commas; `capacity` takes them as kept
        clear.

    References
    ----------
    Edge 1.5 embedments and 150 mm, crack 1 embedment, neighbour 3 embedments: common practice,
    no source.

    Examples
    --------
    >>> broken, unmeasured = too_close(80.0, edge_distance_mm=140.0, crack_distance_mm=80.0)
    >>> str(broken), str(unmeasured)
    ('edge closer than 1.5 embedments or 150 mm', 'neighbour')
    """
    depth, edge, crack, neighbour = np.broadcast_arrays(
        *numbers(embedment_mm, edge_distance_mm, crack_distance_mm, anchor_spacing_mm)
    )
    broken = _listed(
        (
            (edge < EDGE_MIN_EMBEDMENTS * depth) | (edge < EDGE_MIN_MM),
            crack < CRACK_MIN_EMBEDMENTS * depth,
            neighbour < SPACING_MIN_EMBEDMENTS * depth,
        ),
        (
            f"edge closer than {EDGE_MIN_EMBEDMENTS:g} embedments or {EDGE_MIN_MM:g} mm",
            f"crack closer than {CRACK_MIN_EMBEDMENTS:g} embedment",
            f"neighbour closer than {SPACING_MIN_EMBEDMENTS:g} embedments",
        ),
        "; ",
    )
    unmeasured = _listed(
        tuple(np.isnan(v + depth) for v in (edge, crack, neighbour)),
        ("edge", "crack", "neighbour"),
        ", ",
    )
    return broken, unmeasured


def _listed(flags: tuple[Bools, ...], texts: tuple[str, ...], between: str) -> Texts:
    """Join the texts whose flag is set; one look-up among all combinations."""
    combinations = np.array(
        [
            between.join(t for bit, t in enumerate(texts) if number >> bit & 1)
            for number in range(2 ** len(texts))
        ],
        dtype=object,
    )
    return combinations[sum(flag.astype(int) << bit for bit, flag in enumerate(flags))]


@labelled({"advice": None, "reason": None})
def advised_kind(
    strength_median_mpa: Values,
    strength_sigma_ln: Values,
    *,
    veto: Words = "",
    required_mm: Values = 0.0,
) -> tuple[Texts, Texts]:
    """Kind of anchor the rock allows, and why.

    Parameters
    ----------
    strength_median_mpa, strength_sigma_ln : array_like
        Strength of the rock, from `rock.strength_posterior`.
    veto : array_like of str
        From `rock.evidence_veto`; any text forbids the place.
    required_mm : array_like
        From `required_embedment_mm` for a bonded anchor; NaN (not reached) forbids the place
        if the strength is known. Leave it out to advise by strength alone.

    Returns
    -------
    advice : numpy.ndarray of str
        One of `ADVICE`, from worst to best, or `unknown`.
    reason : numpy.ndarray of str
        Why.

    Notes
    -----
    The limits are judgement, see the constants. A veto holds even where strength is unknown.

    References
    ----------
    Judgement; ISRM strength grades (1978).

    Examples
    --------
    >>> advice, reason = advised_kind([160.0, 160.0, 15.0], 0.3, veto=["", "hollow sound", ""])
    >>> advice.tolist()
    ['mechanical or bonded', 'do not place here', 'bonded, longer']
    """
    median, sigma_ln, needed = np.broadcast_arrays(
        *numbers(strength_median_mpa, strength_sigma_ln, required_mm)
    )
    veto_text = np.asarray(veto, dtype=object)
    low = lognormal_quantile(median, sigma_ln, 0.1)
    cases = [
        veto_text != "",
        np.isnan(low),
        median <= TOO_WEAK_MEDIAN_MPA,
        np.isnan(needed),
        low >= MECHANICAL_STRENGTH_P10_MPA,
        median >= SOFT_ROCK_MEDIAN_MPA,
    ]
    advice = np.select(
        cases,
        [DO_NOT_PLACE, UNKNOWN, DO_NOT_PLACE, DO_NOT_PLACE, MECHANICAL_OR_BONDED, BONDED],
        BONDED_LONGER,
    )
    reason = np.select(
        cases,
        [
            veto_text.astype(str),
            "strength of the rock not known",
            f"rock of {TOO_WEAK_MEDIAN_MPA:g} MPa or less (ISRM R1 or weaker)",
            f"no embedment up to {EMBEDMENT_MAX_MM:g} mm bears the loads",
            f"rock stronger than {MECHANICAL_STRENGTH_P10_MPA:g} MPa with 90 % probability",
            f"rock may be weaker than {MECHANICAL_STRENGTH_P10_MPA:g} MPa",
        ],
        f"soft rock, below {SOFT_ROCK_MEDIAN_MPA:g} MPa (ISRM R2 or weaker)",
    )
    return advice.astype(object), reason.astype(object)
