"""What a failure would cost, what mending saves, whom to serve first, what may be found out.

*Published*: nothing here but expected loss as any text on decision
analysis has them. *Our own judgement*: `CONSEQUENCE`, `UNKNOWN_VISITS_PER_YEAR`, and the policies.
Losses are relative numbers: they order anchors, they are no money and no count of people hurt.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, NamedTuple

import numpy as np

from saltreach.errors import OptionError
from saltreach.science.lookup import lookup

CONSEQUENCE: dict[str, float] = {"belay": 10.0, "lower-off": 8.0, "runner": 2.0}
"""Relative consequence of a failure: at a belay all depends on it, a failed runner leaves the next
one. An unknown position counts as a belay, the worst."""

UNKNOWN_VISITS_PER_YEAR = 100.0
"""Visits of a route nobody counted, judgement; a caller should give the region's median."""

POLICIES = ("sea-cliffs-first", "pure-risk")


def yearly_loss(
    failure_probability: Any,
    position: Any,
    visits_per_year: Any,
    *,
    unknown_visits_per_year: float = UNKNOWN_VISITS_PER_YEAR,
    consequence: Mapping[str, float] = CONSEQUENCE,
) -> np.ndarray:
    """Expected yearly loss of an anchor: probability, consequence and use multiplied.

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

    Examples
    --------
    >>> yearly_loss(0.01, ["belay", "runner", ""], [100.0, 100.0, np.nan]).round(3).tolist()
    [10.0, 2.0, 10.0]
    """
    weight = lookup(position, consequence, "position", missing=max(consequence.values()))
    visits = np.asarray(visits_per_year, float)
    visits = np.where(np.isnan(visits), unknown_visits_per_year, visits)
    return np.asarray(failure_probability, float) * weight * visits


def priority_score(loss_now: Any, loss_after: Any, cost: Any) -> np.ndarray:
    """Yearly loss avoided for each unit of cost.

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

    Examples
    --------
    >>> priority_score([10.0, 1.0], [0.0, 2.0], 40.0).tolist()
    [0.25, 0.0]
    """
    price = np.asarray(cost, float)
    if (price <= 0).any():
        raise OptionError(f"cost {float(np.nanmin(price))}: give a cost above 0 for each anchor")
    return np.maximum(np.asarray(loss_now, float) - loss_after, 0.0) / price


def priority_rank(
    score: Any, risk_band: Any, sea_cliff: Any, policy: str = "sea-cliffs-first"
) -> np.ndarray:
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

    Examples
    --------
    >>> priority_rank([5.0, 1.0, 9.0], [3, 3, 2], [False, True, False]).tolist()
    [2, 1, 3]
    >>> priority_rank([5.0, 1.0, 9.0], [3, 3, 2], [False, True, False], "pure-risk").tolist()
    [2, 3, 1]
    """
    if policy not in POLICIES:
        raise OptionError(f"policy {policy!r} is not known; use one of {list(POLICIES)}")
    falling = -np.asarray(score, float)  # lexsort is stable and puts NaN last
    keys: tuple[np.ndarray, ...] = (falling,)
    if policy == "sea-cliffs-first":
        keys = (falling, ~np.asarray(sea_cliff, bool), -np.asarray(risk_band, float))
    order = np.lexsort(keys)
    rank = np.empty(len(order), int)
    rank[order] = np.arange(1, len(order) + 1)
    return rank


class Candidates(NamedTuple):
    """What an unknown input may turn out to be: values, and their chance for each anchor.

    `values` has shape (m,) (numbers or words) or (n, m), `chance` shape (m,) or (n, m) with
    rows that sum to 1; `unknown` is true for the anchors on which the input is unknown.
    """

    values: Any
    chance: Any
    unknown: Any
