"""Strength of intact rock at an anchor: what the lithology lets us expect, updated by tests.

Strength (uniaxial compressive, MPa) is lognormal throughout, so all combining happens on its
natural logarithm x. A test either measures x with an error (rebound hammer, ISRM hammer
grade) or tilts the odds towards strong or weak rock (tap response, weathering). Every
constant marked `judgement` is our own: no published calibration for climbing anchors exists.

What the posterior says is about the rock near the hammer, some centimetres deep. It knows
nothing of cracks (see `rmr`) or of the anchor (see `resistance`), and certifies nothing.
"""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from saltreach.science.distributions import Lognormal
from saltreach.science.labelled import labelled
from saltreach.science.lookup import lookup
from saltreach.science.rock.rebound import (
    REBOUND_CORRELATION_SIGMA_LN,
    REBOUND_HAMMER_SIGMA_LN,
    UNIT_WEIGHT_UNKNOWN_KN_M3,
    UNIT_WEIGHT_UNKNOWN_SIGMA_LN,
    rebound_strength_mpa,
)
from saltreach.science.types import Floats, Texts, Values, Words, numbers

ISRM_LIMITS_MPA: Mapping[str, tuple[float, float]] = {
    "R0": (0.25, 1.0),
    "R1": (1.0, 5.0),
    "R2": (5.0, 25.0),
    "R3": (25.0, 50.0),
    "R4": (50.0, 100.0),
    "R5": (100.0, 250.0),
    "R6": (250.0, 400.0),
}
"""ISRM field grades. The upper end of R6 is ours: the standard leaves it open."""

ISRM_SIGMA_LN = float(np.log(5) / np.sqrt(12))
"""Standard deviation of a uniform distribution over the widest log-interval (R1, R2).

One value for every grade: it covers an operator's error of about a grade on the narrow ones,
and a better grade can then never lower the result (judgement)."""

WEATHERING_FACTOR: Mapping[str, float] = {
    "W1": 1.0,
    "W2": 0.8,
    "W3": 0.5,
    "W4": 0.2,
    "W5": 0.05,
    "W6": 0.02,
}
"""Strength over that of fresh rock (judgement). One published pair, granite gneiss at 128 MPa
weathered and 166 MPa fresh (Saliu and Lawal 2014), gives 0.77, near our W2."""

TAP_TILT: Mapping[str, float] = {"ringing": 0.5, "mixed": -0.5, "dull": -2.0, "hollow": -4.0}
"""Tap response as a likelihood exp(tilt x) of x = ln strength: common practice, no source; the
numbers are our judgement. It moves the mean by tilt times the variance and keeps the variance,
so the less is known, the more the ear counts."""

CONFLICT_Z = 2.0  # judgement: standard deviations apart at which two sources disagree


def _isrm_ln(isrm_grade: Words) -> Floats:
    middles = {g: float(np.log(low * high) / 2) for g, (low, high) in ISRM_LIMITS_MPA.items()}
    return lookup(isrm_grade, middles, "ISRM grade")


def _rebound_ln(
    rebound_number: Values, unit_weight_kn_m3: Values, rebound_tests: Values
) -> tuple[Floats, Floats]:
    """Logarithm of the strength a rebound number implies, and its variance."""
    unit_weight_kn_m3, rebound_tests = numbers(unit_weight_kn_m3, rebound_tests)
    weighed = np.isfinite(unit_weight_kn_m3)
    gamma = np.where(weighed, unit_weight_kn_m3, UNIT_WEIGHT_UNKNOWN_KN_M3)
    ln_strength = np.log(rebound_strength_mpa(rebound_number, gamma))
    variance = (
        REBOUND_CORRELATION_SIGMA_LN**2
        + REBOUND_HAMMER_SIGMA_LN**2 / np.fmax(rebound_tests, 1)
        + (1.0 - weighed) * UNIT_WEIGHT_UNKNOWN_SIGMA_LN**2
    )
    return ln_strength, variance


def _weighted(value: Values, variance: Values) -> tuple[Floats, Floats]:
    """Precision, 0 where the value is unknown, and precision times value."""
    value, variance = numbers(value, variance)
    known = np.isfinite(value) & np.isfinite(variance)
    precision = known / np.fmax(variance, 1e-12)
    return precision, precision * np.fmax(value, -1e3)


@labelled({"median": "MPa", "sigma_ln": "1"}, returns=Lognormal)
def strength_posterior(
    prior_median_mpa: Values,
    prior_sigma_ln: Values,
    *,
    rebound_number: Values = np.nan,
    unit_weight_kn_m3: Values = np.nan,
    rebound_tests: Values = 1,
    weathering_grade: Words = "",
    tap_response: Words = "",
    isrm_grade: Words = "",
) -> Lognormal:
    r"""Strength after the evidence: a lognormal distribution.

    With x the logarithm of strength, the prior mean moved by the weathering factor w, and each
    measurement y with variance v,

    .. math:: \mu = \frac{(\mu_0 + \ln w)/\sigma_0^2 + \sum y/v}{1/\sigma_0^2 + \sum 1/v}
        + t\,\sigma^2, \qquad \sigma^2 = \frac{1}{1/\sigma_0^2 + \sum 1/v}

    where t is the tilt of the tap response.

    Parameters
    ----------
    prior_median_mpa, prior_sigma_ln : array_like
        From `lithology.strength_prior`; NaN where the lithology is unknown: the measurements
        then stand alone.
    rebound_number : array_like
        Rebound number, or the mean of the sector's; NaN for none.
    unit_weight_kn_m3 : array_like
        Unit weight, kN/m3; NaN widens the scatter (`UNIT_WEIGHT_UNKNOWN_SIGMA_LN`).
    rebound_tests : array_like
        Number of tests in that mean. The hammer's scatter averages out, the correlation's
        does not.
    weathering_grade : array_like of str
        W1 to W6. Scales the prior only: the tests already feel the weathered surface.
    tap_response : array_like of str
        ringing, mixed, dull or hollow.
    isrm_grade : array_like of str
        R0 to R6 by hammer and knife in the field. Empty text means no evidence.

    Returns
    -------
    median_mpa, sigma_ln : array_like
        Median strength, MPa, and standard deviation of its logarithm, in the broadcast shape
        of the inputs. NaN where neither lithology nor a measurement is known.

    Raises
    ------
    OptionError
        A word that is not of the lists.

    Notes
    -----
    Monotone by construction: a higher rebound number, a better hammer grade or tap, and less
    weathering never lower the median, and none of them changes sigma against a worse value.
    Hollow and W5, W6 lower the strength here and veto the place in `evidence_veto`.
    Disagreement does not widen the result; `evidence_conflict` flags it.

    References
    ----------
    Normal updating with known variances (any text on Bayesian statistics). Constants: see the
    module; weathering and tap are our judgement.

    Examples
    --------
    >>> median_mpa, sigma_ln = strength_posterior(158.1, 0.357, rebound_number=50,
    ...     unit_weight_kn_m3=26, tap_response="ringing")
    >>> round(float(median_mpa), 1), round(float(sigma_ln), 3)
    (163.5, 0.323)
    """
    prior_median_mpa, prior_sigma_ln = numbers(prior_median_mpa, prior_sigma_ln)
    weathering = lookup(weathering_grade, WEATHERING_FACTOR, "weathering grade", 1.0)
    tilt = lookup(tap_response, TAP_TILT, "tap response", 0.0)
    rebound_ln, rebound_variance = _rebound_ln(rebound_number, unit_weight_kn_m3, rebound_tests)
    precision, total = numbers(0.0, 0.0)
    for value, variance in (
        (np.log(prior_median_mpa) + np.log(weathering), prior_sigma_ln**2),
        (rebound_ln, rebound_variance),
        (_isrm_ln(isrm_grade), ISRM_SIGMA_LN**2),
    ):
        one_precision, one_total = _weighted(value, variance)
        precision, total = precision + one_precision, total + one_total
    with np.errstate(divide="ignore", invalid="ignore"):
        variance = 1.0 / precision
        # nothing known leaves an infinite variance: make that NaN
        variance = variance + 0.0 * variance
        return Lognormal(np.exp(total * variance + tilt * variance), np.sqrt(variance))


@labelled({"z": "1", "text": None})
def evidence_conflict(
    prior_median_mpa: Values,
    prior_sigma_ln: Values,
    *,
    rebound_number: Values = np.nan,
    unit_weight_kn_m3: Values = np.nan,
    rebound_tests: Values = 1,
    weathering_grade: Words = "",
    isrm_grade: Words = "",
    z_limit: float = CONFLICT_Z,
) -> tuple[Floats, Texts]:
    r"""Tell where lithology and tests disagree more than their scatter explains.

    .. math:: z = \frac{|x_i - x_j|}{\sqrt{v_i + v_j}}

    Parameters
    ----------
    prior_median_mpa, prior_sigma_ln : array_like
        As for `strength_posterior`.
    rebound_number, unit_weight_kn_m3, rebound_tests, weathering_grade, isrm_grade : array_like
        As for `strength_posterior`.
    z_limit : float
        Difference of two log-strengths over its standard deviation, above which the pair is
        called a conflict (judgement: 2, exceeded by chance in one case of twenty).

    Returns
    -------
    z : numpy.ndarray
        The largest of the differences; NaN with fewer than two sources.
    text : numpy.ndarray of str
        Which pair conflicts, empty where none does.

    References
    ----------
    Difference of two normal values over its standard deviation; the limit is judgement.

    Examples
    --------
    >>> z, text = evidence_conflict(158.1, 0.357, isrm_grade="R1")
    >>> round(float(z), 1), str(text)
    (7.3, 'hammer grade against lithology')
    """
    prior_median_mpa, prior_sigma_ln = numbers(prior_median_mpa, prior_sigma_ln)
    weathering = lookup(weathering_grade, WEATHERING_FACTOR, "weathering grade", 1.0)
    rebound_ln, rebound_variance = _rebound_ln(rebound_number, unit_weight_kn_m3, rebound_tests)
    sources = (
        ("lithology", np.log(prior_median_mpa) + np.log(weathering), prior_sigma_ln**2),
        ("rebound number", rebound_ln, rebound_variance),
        ("hammer grade", _isrm_ln(isrm_grade), ISRM_SIGMA_LN**2),
    )
    pairs = ((1, 0), (2, 0), (2, 1))
    names = [f"{sources[i][0]} against {sources[j][0]}" for i, j in pairs]
    scores = np.stack(
        np.broadcast_arrays(
            *(
                np.abs(sources[i][1] - sources[j][1]) / np.sqrt(sources[i][2] + sources[j][2])
                for i, j in pairs
            )
        )
    )
    z = np.fmax.reduce(scores, axis=0)
    worst = np.argmax(np.where(np.isnan(scores), -1.0, scores), axis=0)
    text = np.where(z > z_limit, np.asarray(names, dtype=object)[worst], "")
    return z, text


@labelled(None)
def evidence_veto(tap_response: Words = "", weathering_grade: Words = "") -> Texts:
    """Give the reason not to place an anchor that no strength can outweigh.

    Parameters
    ----------
    tap_response : array_like of str
        ringing, mixed, dull, hollow or empty.
    weathering_grade : array_like of str
        W1 to W6 or empty.

    Returns
    -------
    numpy.ndarray of str
        The reason, empty where nothing vetoes. Hollow always vetoes.

    References
    ----------
    ISRM weathering grades (1978); that hollow vetoes is common practice.

    Examples
    --------
    >>> evidence_veto(["hollow", "ringing"], ["W1", "W5"]).tolist()
    ['hollow sound under the hammer', 'rock completely weathered (W5)']
    """
    tap, weathering = np.broadcast_arrays(
        np.asarray(tap_response, dtype=object), np.asarray(weathering_grade, dtype=object)
    )
    lookup(tap, TAP_TILT, "tap response", 0.0)
    lookup(weathering, WEATHERING_FACTOR, "weathering grade", 1.0)
    return np.select(
        [tap == "hollow", weathering == "W5", weathering == "W6"],
        [
            "hollow sound under the hammer",
            "rock completely weathered (W5)",
            "rock weathered to soil (W6)",
        ],
        "",
    )
