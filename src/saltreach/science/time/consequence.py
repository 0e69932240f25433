"""What a failure would cost, what mending saves, whom to serve first, what may be found out.

*Published*: nothing here but expected loss as any text on decision
analysis has them. *Our own judgement*: `CONSEQUENCE`, `UNKNOWN_VISITS_PER_YEAR`, and the policies.
Losses are relative numbers: they order anchors, they are no money and no count of people hurt.
"""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
from numpy.typing import NDArray

from saltreach.errors import OptionError
from saltreach.science.labelled import labelled
from saltreach.science.lookup import lookup
from saltreach.science.types import Flags, Floats, Values, Words, number, numbers
from saltreach.vocabulary.words import ORDERS, SEA_CLIFFS_FIRST

CONSEQUENCE: dict[str, float] = {"belay": 10.0, "lower-off": 8.0, "runner": 2.0}
"""Relative consequence of a failure: at a belay all depends on it, a failed runner leaves the next
one. An unknown position counts as a belay, the worst."""

UNKNOWN_VISITS_PER_YEAR = 100.0
"""Visits of a route nobody counted, judgement; a caller should give the region's median."""


@labelled("year-1")
def yearly_loss(
    failure_probability: Values,
    position: Words,
    visits_per_year: Values,
    *,
    unknown_visits_per_year: float = UNKNOWN_VISITS_PER_YEAR,
    consequence: Mapping[str, float] = CONSEQUENCE,
) -> Floats:
    r"""Expected yearly loss of an anchor: probability, consequence and use multiplied.

    .. math:: L = p\, c\, v

    Parameters
    ----------
    failure_probability : array_like
        Of the coming year, 0 to 1.
    position : array_like of str
        belay, lower-off, runner; unknown or empty counts as the worst.
    visits_per_year : array_like
        NaN: `unknown_visits_per_year`.
    unknown_visits_per_year : float
        For uncounted routes.
    consequence : mapping
        In place of `CONSEQUENCE`.

    Returns
    -------
    numpy.ndarray
        Relative loss per year; NaN where the probability is unknown.

    References
    ----------
    Expected loss, any text on decision analysis; consequences and use are judgement.

    Examples
    --------
    >>> yearly_loss(0.01, ["belay", "runner", ""], [100.0, 100.0, np.nan]).round(3).tolist()
    [10.0, 2.0, 10.0]
    """
    weight = lookup(position, consequence, "position", missing=max(consequence.values()))
    visits = number(visits_per_year)
    visits = np.where(np.isnan(visits), unknown_visits_per_year, visits)
    return number(failure_probability) * weight * visits


@labelled("")
def priority_score(loss_now: Values, loss_after: Values, cost: Values) -> Floats:
    r"""Yearly loss avoided for each unit of cost.

    .. math:: s = \max(0,\, L_0 - L_1) / k

    Parameters
    ----------
    loss_now, loss_after : array_like
        From `yearly_loss`, as it stands and once mended.
    cost : array_like
        Cost of mending, above 0, any currency.

    Returns
    -------
    numpy.ndarray
        0 where mending avoids nothing; NaN where a loss or the cost is unknown.

    Raises
    ------
    OptionError
        A cost of 0 or less.

    References
    ----------
    Benefit over cost, any text on decision analysis.

    Examples
    --------
    >>> priority_score([10.0, 1.0], [0.0, 2.0], 40.0).tolist()
    [0.25, 0.0]
    """
    loss_now, loss_after, cost = numbers(loss_now, loss_after, cost)
    if (cost <= 0).any():
        raise OptionError(f"cost {float(np.nanmin(cost))}: give a cost above 0 for each anchor")
    return np.maximum(loss_now - loss_after, 0.0) / cost


def priority_rank(
    score: Values, risk_band: Values, sea_cliff: Flags, policy: str = SEA_CLIFFS_FIRST
) -> NDArray[np.int_]:
    """Place of each sector (or anchor) in the order of rebolting, from 1.

    Parameters
    ----------
    score : array_like, shape (n,)
        From `priority_score`.
    risk_band : array_like, shape (n,)
        Band as a number, higher is worse; NaN unknown.
    sea_cliff : array_like of bool, shape (n,)
        Whether it is a sea cliff.
    policy : str
        ``sea-cliffs-first``: worse band first, within a band sea cliffs before inland ones,
        then the score. So a sea cliff comes before every inland sector of its own band or a
        milder one. ``pure-risk``: the score alone.

    Returns
    -------
    numpy.ndarray of int, shape (n,)
        Ties keep the order given; rows whose score or band is unknown come after those of
        which it is known.

    Raises
    ------
    OptionError
        A policy that is not listed.

    References
    ----------
    Our own rule; the order within a band is the association's choice.

    Examples
    --------
    >>> priority_rank([5.0, 1.0, 9.0], [3, 3, 2], [False, True, False]).tolist()
    [2, 1, 3]
    >>> priority_rank([5.0, 1.0, 9.0], [3, 3, 2], [False, True, False], "pure-risk").tolist()
    [2, 3, 1]
    """
    if policy not in ORDERS:
        raise OptionError(f"policy {policy!r} is not known; use one of {list(ORDERS)}")
    falling = -number(score)  # lexsort is stable and puts NaN last
    keys: tuple[np.ndarray, ...] = (falling,)
    if policy == SEA_CLIFFS_FIRST:
        keys = (falling, ~np.asarray(sea_cliff, bool), -number(risk_band))
    order = np.lexsort(keys)
    rank = np.empty(len(order), int)
    rank[order] = np.arange(1, len(order) + 1)
    return rank
