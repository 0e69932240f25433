"""When to look again, how many to test, and what a passed test proves.

*Published*: the rates and the half-life rule of pipe inspection (API 570); zero-failure sample
sizes (binomial, exact); counts of proof tests on site (BS 8539, second-hand); EN 1990's reliability
indices. *Our own judgement*: the target of the yearly failure probability and every cap of months.

EN 1990 asks of structures 1.3e-6 in a year (beta 4.7; 1.3e-5 at the lowest class). Anchors in rock
are neither built nor maintained to that; `TARGET_PER_Y` is a default that an association may set.
A shorter interval does not mend a crack: an eye earns near-zero credit on stress-corrosion
cracking, so where that governs, the answer is another metal, and the interval only limits use.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping
from typing import NamedTuple

import numpy as np

from saltreach.errors import OptionError
from saltreach.science.labelled import Axis, labelled
from saltreach.science.lookup import lookup
from saltreach.science.types import Bools, Flags, Floats, Texts, Values, Words, number, numbers

LADDER_MONTHS = (6, 12, 24, 36, 48, 60)
"""Intervals in use; a candidate is rounded down to one of them, but not below the first."""

EXTERNAL = "external rule"
"""Name of the rule that a land manager or owner sets."""

RULES = (
    EXTERNAL, "hollow rock", "volcanic gas", "condition", "stress-corrosion hazard",
    "corrosivity category", "metal below its class", "unknown metal", "unknown date",
)  # fmt: skip
"""Names of the caps of `cap_months`; on a tie the first governs."""
YEARS = Axis("year")

NORM_MONTHS = 12.0
"""The norm of published intervals where somebody owns fixed equipment: BS 7883:1997 12.1.2, UNI
11560:2022, EN 365:2004 (second-hand), EN 15567-1:2015 7.1.4, EN 12572-1 (main inspection)."""

LONGEST = "longest interval in use"
"""Rule that governs where every other allows more than the ladder has."""

TARGET_PER_Y = 5e-3
"""Yearly failure probability of one anchor that must not be passed unseen, judgement: the raised
band begins here. The model gives no credit for having survived, so its probabilities lie on the
high side; 1 in 200 by it is where 304 on a washed warm sea cliff arrives after about ten years."""

HALF_LIFE_CAP_MONTHS = 60.0
"""Longest interval by remaining life: API 570 caps class 1 piping at 5 years (second-hand)."""

CATEGORY_CAP_MONTHS: dict[str, float] = {
    "C1": 60, "C2": 60, "C3": 48, "C4": 36, "C5": 24, "CX": 12,
}  # fmt: skip
SCC_CAP_MONTHS: dict[str, float] = {
    "low": 60, "moderate": 48, "raised": 24, "high": NORM_MONTHS, "severe": NORM_MONTHS,
}  # fmt: skip
"""For metals that crack; superaustenitic and titanium are free of it. Looking does not mend a
crack, so the worst bands get the yearly norm and a day to be replaced by, not more visits."""
CONDITION_CAP_MONTHS = (60.0, 48.0, 24.0, 6.0, 6.0)
UNKNOWN_METAL_CAP_MONTHS = 24.0
UNKNOWN_DATE_CAP_MONTHS = 36.0
HOLLOW_CAP_MONTHS = 6.0
VOLCANIC_CAP_MONTHS = 6.0
BELOW_CLASS_CAP_MONTHS = 24.0
"""Caps by what is seen or not known; all judgement. The last: metal below the class of its
place."""
RUST_ABOVE_TARGET = ((10.0, NORM_MONTHS), (float("inf"), 6.0))
"""Months while today's yearly probability is below so many times the target, where rust governs,
which can be seen; more looks at cracks, or at rock around sound metal, mend nothing, so there the
norm stays. Judgement."""


class Governing(NamedTuple):
    """Shortest candidate: months on the ladder, months before rounding, name of its rule.

    `months` is NaN and `rule` empty where no candidate is known; `below_ladder` tells that even
    the shortest interval is longer than the rule asked for: keep it out of use until mended.
    """

    months: Floats
    exact_months: Floats
    rule: Texts
    below_ladder: Bools


@labelled("month")
def half_life_months(remaining_y: Values, cap_months: float = HALF_LIFE_CAP_MONTHS) -> Floats:
    r"""Half of the remaining life, capped.

    .. math:: m = \min(6\, t,\, cap)

    Parameters
    ----------
    remaining_y : array_like
        Years.
    cap_months : float
        Cap.

    Returns
    -------
    array_like
        Months.

    References
    ----------
    API 570: half of the remaining life, class 1 piping at most 5 years (second-hand).

    Examples
    --------
    >>> half_life_months([6.0, 20.0]).tolist()
    [36.0, 60.0]
    """
    return np.minimum(6.0 * number(remaining_y), cap_months)


@labelled("month", takes={"curve": YEARS})
def months_to_target(curve: Values, target_per_y: Values = TARGET_PER_Y) -> Floats:
    """Months until the yearly failure probability reaches the target.

    Parameters
    ----------
    curve : array_like, shape (n, years)
        Yearly probability, never falling along a row (`failure.failure_curve`).
    target_per_y : array_like
        Scalar or shape (n,).

    Returns
    -------
    numpy.ndarray, shape (n,)
        0 where it is reached today, infinite where not within the curve; in between linear
        within a year. NaN where the curve is.

    References
    ----------
    Arithmetic; the target is judgement, see `TARGET_PER_Y`.

    Examples
    --------
    >>> months_to_target([[1e-4, 5e-4, 1.5e-3], [2e-3, 3e-3, 4e-3]], 1e-3).tolist()
    [18.0, 0.0]
    """
    p, target = number(curve), number(target_per_y)
    reached = p >= target[..., None]
    first = np.argmax(reached, axis=-1)
    before, after = (
        np.take_along_axis(p, at[..., None], axis=-1)[..., 0]
        for at in (np.maximum(first - 1, 0), first)
    )
    part = (target - before) / np.where(after > before, after - before, 1.0)
    months = np.where(first == 0, 0.0, 12.0 * (first - 1 + part))
    months = np.where(reached.any(axis=-1), months, np.inf)
    return np.where(np.isnan(p).any(axis=-1), np.nan, months)


@labelled(dict.fromkeys(RULES, "month"), returns=dict)
def cap_months(
    *,
    corrosivity_category: Words = "",
    scc_band: Words = "",
    cracks: Flags = True,
    condition: Values = np.nan,
    metal_known: Flags = True,
    date_known: Flags = True,
    hollow: Flags = False,
    volcanic: Flags = False,
    below_class: Flags = False,
    external_months: Values = np.nan,
) -> dict[str, Floats]:
    """Longest intervals by class, evidence, and whoever manages the land.

    Parameters
    ----------
    corrosivity_category : array_like of str
        C1 to CX, or empty.
    scc_band : array_like of str
        From `stress_corrosion.scc_band`.
    cracks : array_like of bool
        Whether the metal may crack (304, 316, duplex, unknown).
    condition : array_like
        0 to 4, or NaN.
    metal_known, date_known, hollow, volcanic, below_class : array_like of bool
        What is known, whether the rock sounds hollow, whether volcanic gas reaches it, whether
        the metal is below the class of its place.
    external_months : array_like
        Set by a land manager; NaN: none.

    Returns
    -------
    dict
        Candidates for `governing`, by name of the rule; NaN where a cap does not apply.

    References
    ----------
    Judgement, see the constants; the norm of a year as in `NORM_MONTHS`.

    Examples
    --------
    >>> caps = cap_months(corrosivity_category="C4", condition=2.0)
    >>> float(caps["corrosivity category"]), float(caps["condition"])
    (36.0, 24.0)
    """
    grade = number(condition)
    by_grade = np.array(CONDITION_CAP_MONTHS)[np.clip(np.nan_to_num(grade), 0, 4).astype(int)]
    months = (
        number(external_months),
        np.where(hollow, HOLLOW_CAP_MONTHS, np.nan),
        np.where(volcanic, VOLCANIC_CAP_MONTHS, np.nan),
        np.where(np.isnan(grade), np.nan, by_grade),
        np.where(cracks, lookup(scc_band, SCC_CAP_MONTHS, "hazard band"), np.nan),
        lookup(corrosivity_category, CATEGORY_CAP_MONTHS, "corrosivity category"),
        np.where(below_class, BELOW_CLASS_CAP_MONTHS, np.nan),
        np.where(metal_known, np.nan, UNKNOWN_METAL_CAP_MONTHS),
        np.where(date_known, np.nan, UNKNOWN_DATE_CAP_MONTHS),
    )
    return dict(zip(RULES, months, strict=True))


@labelled("month", takes={"curve": YEARS})
def months_by_probability(
    curve: Values, rusts: Flags, target_per_y: Values = TARGET_PER_Y
) -> Floats:
    """Months until the target is reached; once it is, a step that a person can keep.

    Parameters
    ----------
    curve : array_like, shape (n, years)
        As for `months_to_target`.
    rusts : array_like of bool, shape (n,)
        Whether rust governs, which can be seen; else the yearly norm, however high it is.
    target_per_y : array_like
        As for `months_to_target`.

    Returns
    -------
    numpy.ndarray, shape (n,)

    References
    ----------
    BS 7883:1997 12.1.2, UNI 11560:2022, EN 365:2004 (second-hand) for the yearly norm; the steps
    are judgement.

    Examples
    --------
    >>> months_by_probability([[0.01, 0.02], [0.2, 0.3], [0.2, 0.3]], [True, False, True]).tolist()
    [12.0, 12.0, 6.0]
    """
    p, target = number(curve), number(target_per_y)
    ratio = np.nan_to_num(p[..., 0]) / target
    limits, months = (np.array(v) for v in zip(*RUST_ABOVE_TARGET, strict=True))
    step = months[np.searchsorted(limits[:-1], ratio, side="right")]
    step = np.where(rusts, step, NORM_MONTHS)
    return np.maximum(months_to_target(p, target), step)


def governing(candidates: Mapping[str, Values], kept: Collection[str] = ()) -> Governing:
    """Shortest of the candidate intervals, rounded down to the ladder.

    Parameters
    ----------
    candidates : mapping
        Months by name of the rule; NaN where a rule has nothing to say. On a tie the rule
        named first governs.
    kept : collection of str
        Rules that somebody else set: below the ladder their months are kept, as whole ones.

    Returns
    -------
    Governing

    Raises
    ------
    OptionError
        No candidates, or a negative one.

    References
    ----------
    Our own rule; what each candidate rests on stands with it (`cap_months`,
    `half_life_months`, `months_to_target`).

    Examples
    --------
    >>> found = governing({"half of remaining life": [31.0, 2.0], "condition": [24.0, 60.0]})
    >>> found.months.tolist(), found.rule.tolist(), found.below_ladder.tolist()
    ([24.0, 6.0], ['condition', 'half of remaining life'], [False, True])
    """
    if not candidates:
        raise OptionError("no candidate intervals: give at least one rule with its months")
    stacked = np.stack(np.broadcast_arrays(*(number(v) for v in candidates.values())))
    wrong = [n for n, v in zip(candidates, stacked, strict=True) if (v < 0).any()]
    if wrong:
        raise OptionError(f"candidate {wrong[0]!r} has negative months; give 0 or more")
    least = np.where(np.isnan(stacked), np.inf, stacked)
    place = np.argmin(least, axis=0)
    exact = least.min(axis=0)
    unknown = np.isnan(stacked).all(axis=0)
    rung = np.searchsorted(LADDER_MONTHS, exact, side="right") - 1
    months = np.array(LADDER_MONTHS, float)[np.maximum(rung, 0)]
    asked = np.min(
        [v for n, v in zip(candidates, least, strict=True) if n in kept] or [np.inf], axis=0
    )
    as_asked = asked < LADDER_MONTHS[0]
    months = np.where(as_asked, np.maximum(np.floor(asked), 1.0), months)
    names = np.array([*candidates, LONGEST, ""], object)
    place = np.where(exact > LADDER_MONTHS[-1], len(candidates), place)
    return Governing(
        months=np.where(unknown, np.nan, months),
        exact_months=np.where(unknown, np.nan, exact),
        rule=names[np.where(unknown, len(candidates) + 1, place)],
        below_ladder=~unknown & (exact < np.minimum(months, LADDER_MONTHS[0])),
    )


@labelled("1")
def zero_failure_sample_size(confidence: Values, reliability: Values) -> Floats:
    r"""How many must pass, none failing, to show a reliability with some confidence.

    .. math:: n = \lceil \ln(1 - C) / \ln R \rceil

    Parameters
    ----------
    confidence, reliability : array_like
        Between 0 and 1.

    Returns
    -------
    numpy.ndarray
        A whole number; NaN stays NaN.

    References
    ----------
    Binomial distribution without failures (success run), any handbook of quality.

    Examples
    --------
    >>> int(zero_failure_sample_size(0.95, 0.90))
    29
    """
    count = np.log1p(-number(confidence)) / np.log(number(reliability))
    return np.ceil(count - 1e-9)


@labelled("1")
def reliability_lower_bound(tests: Values, confidence: Values) -> Floats:
    """Reliability shown by tests that all passed.

    .. math:: R = (1 - C)^{1/n}

    Parameters
    ----------
    tests : array_like
        Number, from 1.
    confidence : array_like
        Between 0 and 1.

    Returns
    -------
    numpy.ndarray
        Three passes at 95 % show 0.37: nearly nothing. And a proof load
        says nothing of a crack that grows on after it.

    References
    ----------
    Binomial distribution without failures, any handbook of quality.

    Examples
    --------
    >>> round(float(reliability_lower_bound(3, 0.95)), 3)
    0.368
    """
    tests, confidence = numbers(tests, confidence)
    return (1.0 - confidence) ** (1.0 / tests)
