r"""Failure of anchors in time: coated steel, stainless, titanium, rock, and what is not known.

Three ways to fail compete: the metal rusts away or cracks, the rock gives way, and a small
constant rest (worn, badly placed). They count as independent: :math:`p = 1 - \prod (1 - p_i)`.

*Published*: long-term loss of zinc and steel (ISO 9224:2012, in `metal_loss`); the Weibull
distribution; EN 1990's reliability index; EN 959's 25 kN radial, a requirement of the product,
not a load. Crack growth of 304 in open sea air, 1.2e-12 to 1.8e-11 m/s (0.04 to 0.57 mm/y;
Nuclear Engineering and Design 2008, canister steels, abstract), bounds the Weibull scale: a 3 mm
section takes 5 to 80 years.

*Our own judgement*: every number of `Model` that says so, above all the loads, the scale and
shape of the Weibull and the local factor of rust. The probabilities rank anchors; nobody has
counted enough failures to calibrate them, and they certify nothing.

Rules of the model, all on the cautious side:

- Having survived is no evidence: a mixture keeps its weights as time goes by. Few anchors ever
  see the load that would tell. So an older anchor is never shown safer.
- A lesser metal is never shown safer than a better one in the same place (`keep_rank`): rust in
  sight is no proof of strength, and 304 may crack where plated steel only looks worse.
- The rock side alone has a credit: what was placed and used held the load of a year before
  this one. It is the same at every age, so age never makes an anchor look better.
- A crack takes no section and gives no warning: a cracked anchor counts with no strength.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike

from saltreach.errors import OptionError
from saltreach.science.labelled import Axis, labelled
from saltreach.science.lookup import lookup
from saltreach.science.metal.metal_loss import EXPONENT_MEAN, loss_um, section_ratio, years_to_loss
from saltreach.science.rock.resistance import SHEAR_RATIO, STEEL_STRENGTH_MPA, steel_resistance_kn
from saltreach.science.types import Floats, Values, Words, number, numbers
from saltreach.vocabulary.metals import MATERIAL_BY_NAME, MATERIAL_NAMES
from saltreach.vocabulary.words import UNKNOWN

_NO_STRENGTH_KN = 1e-3
Z_95 = 1.6448536269514722
"""95th percentile of the standard normal distribution."""


class Model(NamedTuple):
    """Numbers of the failure model, all judgement unless said otherwise; edit with `_replace`."""

    load_median_kn: float = 4.0
    """Greatest load of a year. Lowering is 1 to 2.5 kN, most falls 2 to 5 kN, hard ones 7 to 9
    (common practice); EN 959's 25 kN is what a new product must hold."""
    load_sigma_ln: float = 0.4  # of the load: from place to place and year to year
    local_factor: float = 3.0
    """Deepest rust over the mean, at the rim of the hole and under the hanger."""
    local_sigma_ln: float = 0.3  # of the local factor
    diameter_mm: float = 8.0
    """Where unknown: the thinnest in common use, so that not knowing never looks better."""
    scale_304_y: float = 6.0
    """Weibull scale of 304 where the hazard is 1; the published crack growth gives 5 to 80 y."""
    shape: float = 2.0
    """Weibull shape: the rate of failure rises with age."""
    rest_per_y: float = 1e-5
    """Constant rest of any anchor; all there is for titanium."""
    rock_kn_p05: float = 8.0
    rock_kn_p50: float = 30.0
    """Rock side where a caller knows nothing at all: worse than EN 959's 15 kN at the 5th
    percentile, because that is what a product must reach and not what is found in old holes."""


MODEL = Model()


@labelled("1")
def weibull_probability(time_y: Values, scale_y: Values, shape: Values) -> Floats:
    r"""Chance of having failed by some time, Weibull.

    .. math:: p = 1 - e^{-(t/\eta)^b}

    Parameters
    ----------
    time_y : array_like
        Time, years, not negative.
    scale_y, shape : array_like
        Above 0; the scale may be infinite.

    Returns
    -------
    array_like
        0 to 1; NaN stays NaN.

    References
    ----------
    Weibull distribution.

    Examples
    --------
    >>> round(float(weibull_probability(20.0, 30.0, 3.0)), 4)
    0.2564
    """
    time_y, scale_y, shape = numbers(time_y, scale_y, shape)
    return -np.expm1(-((time_y / scale_y) ** shape))


@labelled("1")
def weibull_conditional_probability(
    age_y: Values, more_y: Values, scale_y: Values, shape: Values
) -> Floats:
    r"""Chance of failing within some years, given the age reached, Weibull.

    .. math:: p = 1 - e^{(t/\eta)^b - ((t + a)/\eta)^b}

    Parameters
    ----------
    age_y, more_y : array_like
        Age reached and years looked ahead.
    scale_y, shape : array_like
        As in `weibull_probability`.

    Returns
    -------
    array_like

    References
    ----------
    Weibull distribution.

    Examples
    --------
    >>> round(float(weibull_conditional_probability(10.0, 5.0, 25.0, 2.0)), 4)
    0.1813
    """
    age_y, more_y, scale_y, shape = numbers(age_y, more_y, scale_y, shape)
    return -np.expm1((age_y / scale_y) ** shape - ((age_y + more_y) / scale_y) ** shape)


@labelled("1")
def reliability_index(probability: Values) -> Floats:
    r"""Reliability index beta from the probability of failure.

    .. math:: \beta = -\Phi^{-1}(p)

    Parameters
    ----------
    probability : array_like
        Of failure, between 0 and 1.

    Returns
    -------
    array_like
        Index; NaN stays NaN. EN 1990 asks 4.7 in a year of ordinary structures.

    References
    ----------
    EN 1990:2002, annex C, from memory.

    Examples
    --------
    >>> round(float(reliability_index(7.2e-5)), 1)
    3.8
    """
    probability = number(probability)
    from scipy.special import ndtri

    return -ndtri(probability)


@labelled("year")
def scc_scale_y(scc_hazard: Values, material: str, model: Model = MODEL) -> Floats:
    r"""Weibull scale of cracking: inverse to the hazard of the place and the alloy's factor.

    .. math:: \eta = \eta_{304} / (h\, k)

    Parameters
    ----------
    scc_hazard : array_like
        0 to 1.
    material : str
        304 to titanium.
    model : Model
        Numbers.

    Returns
    -------
    numpy.ndarray
        Years; infinite where nothing cracks (always for titanium), else NaN where the hazard is
        unknown.

    References
    ----------
    Judgement within published crack growth: see `Model.scale_304_y`.

    Examples
    --------
    >>> scc_scale_y(0.5, "304").tolist(), scc_scale_y(0.5, "316").tolist()
    (12.0, 30.0)
    """
    hazard = number(scc_hazard)
    factor = MATERIAL_BY_NAME[material].cracking
    if factor == 0.0:
        return np.full(hazard.shape, np.inf)
    with np.errstate(divide="ignore", over="ignore"):
        return model.scale_304_y / (hazard * factor)


@labelled("kN")
def steel_strength_kn(
    age_y: Values,
    diameter_mm: Values,
    coating_um: Values,
    zinc_rate_um_y: Values,
    steel_rate_um_y: Values,
    local_factor: Values = MODEL.local_factor,
    steel_strength_mpa: Values = STEEL_STRENGTH_MPA,
) -> Floats:
    """Median strength in shear of a coated round bar of some age.

    Parameters
    ----------
    age_y : array_like
        Years since it was placed.
    diameter_mm : array_like
        Of the bar.
    coating_um : array_like
        Zinc, µm.
    zinc_rate_um_y, steel_rate_um_y : array_like
        First-year losses, µm/y, above 0.
    local_factor : array_like
        Deepest loss of steel over the mean.
    steel_strength_mpa : array_like
        Tensile strength; shear is `SHEAR_RATIO` of it.

    Returns
    -------
    array_like
        kN. Zinc is lost first (ISO 9224), then steel from its own first year on (that the
        clock of steel starts anew is our reading).

    References
    ----------
    ISO 9224:2012 (`metal_loss`); EN 1992-4:2018, 7.2.2.3.1, shear of steel; both from memory.

    Examples
    --------
    >>> new, old = steel_strength_kn(np.array([0.0, 20.0]), 10.0, 8.0, 4.2, 80.0)
    >>> round(float(old / new), 2)
    0.61
    """
    coated_y = years_to_loss(coating_um, zinc_rate_um_y, EXPONENT_MEAN["zinc"])
    bare_y = np.maximum(number(age_y) - coated_y, 0)
    lost_mm = number(local_factor) * loss_um(steel_rate_um_y, bare_y, EXPONENT_MEAN["steel"]) / 1000
    whole = SHEAR_RATIO * steel_resistance_kn(diameter_mm, steel_strength_mpa)
    return whole * section_ratio(diameter_mm, lost_mm)


@labelled("year")
def rust_life_y(
    diameter_mm: Values,
    required_kn: Values,
    coating_um: Values,
    zinc_rate_um_y: Values,
    steel_rate_um_y: Values,
    local_factor: Values = MODEL.local_factor,
) -> Floats:
    """Years from placing until a coated bar has rusted down to a required strength.

    Parameters
    ----------
    diameter_mm, coating_um, zinc_rate_um_y, steel_rate_um_y, local_factor : array_like
        As in `steel_strength_kn`, whose inverse in time this is.
    required_kn : array_like
        Strength in shear that must be left.

    Returns
    -------
    array_like
        0 where a new bar does not reach it. Less its age, this is the remaining life for
        `inspection.half_life_months`.

    References
    ----------
    As `steel_strength_kn`.

    Examples
    --------
    >>> life = rust_life_y(10.0, 12.0, 8.0, 4.2, 80.0)
    >>> round(float(steel_strength_kn(life, 10.0, 8.0, 4.2, 80.0)), 6)
    12.0
    """
    diameter_mm, required_kn = numbers(diameter_mm, required_kn)
    ratio = np.minimum(required_kn / (SHEAR_RATIO * steel_resistance_kn(diameter_mm)), 1.0)
    spare_um = 500.0 * diameter_mm * (1.0 - np.sqrt(ratio)) / number(local_factor)
    bare_y = years_to_loss(spare_um, steel_rate_um_y, EXPONENT_MEAN["steel"])
    coated_y = years_to_loss(coating_um, zinc_rate_um_y, EXPONENT_MEAN["zinc"])
    return (ratio < 1.0) * (coated_y + bare_y)


@labelled("1")
def overload_probability(
    strength_kn: Values, strength_sigma_ln: Values, model: Model = MODEL
) -> Floats:
    r"""Chance that the greatest load of a year exceeds a lognormal strength.

    .. math:: p = \Phi\!\left(-\frac{\ln R - \ln L}{\sqrt{\sigma_R^2 + \sigma_L^2}}\right)

    Parameters
    ----------
    strength_kn : array_like
        Median, kN; 0 fails for certain.
    strength_sigma_ln : array_like
        Standard deviation of its logarithm.
    model : Model
        Load.

    Returns
    -------
    numpy.ndarray

    References
    ----------
    Difference of two normal logarithms; the load is judgement.

    Examples
    --------
    >>> round(float(overload_probability(4.0, 0.2)), 2)
    0.5
    """
    from scipy.special import ndtr

    with np.errstate(divide="ignore"):
        margin = np.log(number(strength_kn)) - np.log(model.load_median_kn)
    return ndtr(-margin / np.hypot(number(strength_sigma_ln), model.load_sigma_ln))


_ROCK_SCORES = np.linspace(-4.5, 4.5, 46)
_ROCK_WEIGHTS = np.exp(-(_ROCK_SCORES**2) / 2) / np.exp(-(_ROCK_SCORES**2) / 2).sum()


@labelled("1")
def rock_failure_probability(
    rock_kn_p05: Values, rock_kn_p50: Values, model: Model = MODEL
) -> Floats:
    r"""Chance in a year that the rock side gives way, having held the year before.

    .. math:: p = 1 - \frac{E[F(R)^2]}{E[F(R)]}

    with F the distribution of a year's greatest load and R the resistance, which is not known
    but does not change: the spread of R is what we do not know of this place, and what has
    been used for a year is not among the weakest.

    Parameters
    ----------
    rock_kn_p05, rock_kn_p50 : array_like
        5th percentile and median of the resistance (`capacity.anchor_resistance`); NaN: the
        prior of `Model`.
    model : Model
        Load and prior.

    Returns
    -------
    numpy.ndarray

    References
    ----------
    Conditional probability; the load and the prior are judgement.

    Examples
    --------
    >>> bool(rock_failure_probability(8.0, 15.0) > rock_failure_probability(20.0, 40.0))
    True
    """
    from scipy.special import ndtr

    p05, p50 = rock_quantiles_kn(rock_kn_p05, rock_kn_p50, model)
    shape = p05.shape
    middle, spread = np.log(p50).ravel(), np.log(p50 / p05).ravel() / Z_95
    held, held_twice = np.zeros(middle.shape), np.zeros(middle.shape)
    for score, weight in zip(_ROCK_SCORES, _ROCK_WEIGHTS, strict=True):
        holds = ndtr((middle + spread * score - np.log(model.load_median_kn)) / model.load_sigma_ln)
        held += weight * holds
        held_twice += weight * holds**2
    tiny = np.finfo(float).tiny
    return (1.0 - held_twice / np.maximum(held, tiny)).reshape(shape)


def rock_quantiles_kn(
    rock_kn_p05: Values, rock_kn_p50: Values, model: Model = MODEL
) -> tuple[Floats, Floats]:
    """5th percentile and median of the rock side, the prior where either is unknown.

    References
    ----------
    The prior is that of `Model`: judgement.
    """
    p05, p50 = np.broadcast_arrays(*numbers(rock_kn_p05, rock_kn_p50))
    unknown = np.isnan(p05) | np.isnan(p50)
    p05 = np.where(unknown, model.rock_kn_p05, np.maximum(p05, _NO_STRENGTH_KN))
    return p05, np.where(unknown, model.rock_kn_p50, np.maximum(p50, p05))


@labelled("1", gives=Axis("material", MATERIAL_NAMES))
def material_weights(material: Words, shares: ArrayLike | None = None) -> Floats:
    """Chance of each metal: certain where known, the given shares where not.

    Parameters
    ----------
    material : array_like of str
        Names of `materials.MATERIALS`, `unknown` or empty.
    shares : array_like, shape (12,) or (..., 12), optional
        Shares of the metals among anchors whose metal is unknown: counts of the region or a
        stated prior. They are scaled to sum to 1.

    Returns
    -------
    numpy.ndarray, shape (..., 12)
        Rows sum to 1; NaN where the metal is unknown and no shares are given.

    Raises
    ------
    OptionError
        A metal that is not listed, or shares that are negative or all 0.

    References
    ----------
    Law of total probability.

    Examples
    --------
    >>> weights = material_weights(["304", "unknown"], [0, 0, 1, 0, 0, 0, 0, 2, 1, 0, 0, 0])
    >>> weights[1, [2, 7, 8]].tolist()
    [0.25, 0.5, 0.25]
    """
    place = lookup(material, MATERIAL_NAMES, "material")
    known = ~np.isnan(place)
    out = np.full((*place.shape, len(MATERIAL_NAMES)), np.nan)
    out[known] = np.eye(len(MATERIAL_NAMES))[place[known].astype(int)]
    if shares is not None:
        given = np.broadcast_to(number(shares), out.shape)[~known]
        total = given.sum(axis=1, keepdims=True)
        if (given < 0).any() or (total <= 0).any():
            raise OptionError(
                f"shares of metals {given[:1].tolist()}: give numbers from 0 up, one above 0, "
                f"in the order {list(MATERIAL_NAMES)} for anchors whose metal is {UNKNOWN!r}"
            )
        out[~known] = given / total
    return out
