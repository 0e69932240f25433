"""What the money rebolts: which sectors and which metal, exactly, and what more money would do.

One choice of `offers` at most is taken per sector, so that the loss avoided is greatest within the
budget and the team-days; HiGHS solves it to the optimum. Under the policy `sea-cliffs-first` that
is done in steps: worse risk bands first, sea cliffs before inland within a band, each step keeping
what the steps before it reached. The policy is exact within one condition: a budget never avoids
less in all than a smaller budget of the curve does.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from math import inf

import numpy as np
import pandas as pd

from saltreach.intake.prices import Prices
from saltreach.planning.highs import Row, SolverError, minimise
from saltreach.planning.options import NO_LIMIT, BudgetLimits
from saltreach.vocabulary.words import BANDS, PURE_RISK

PARTS = 1_000_000
"""Loss is counted in millionths of the region's: the optimum is exact to one of them."""

PLACE = ["crag", "sector"]
SIZE = ("diameter_mm", "embedment_mm", "legs")
POINTS, FINE = 25, 16
"""Budgets of the curve, and steps between two of them on the way to the budget asked for."""


def plans(
    table: pd.DataFrame, limits: BudgetLimits, points: int = POINTS, prices: Prices | None = None
) -> dict[float, np.ndarray]:
    """What each budget takes, from nothing to all that can be done, and the budget asked for.

    Parameters
    ----------
    table : DataFrame
        From `choices`.
    limits : BudgetLimits
        Limits and policy.
    points : int
        Number of budgets besides that of `limits`; a constant of the method, so that what is
        bought does not depend on what is drawn.
    prices : Prices, optional
        For the numbers of its stock list.

    Returns
    -------
    dict
        Rows of the table by budget, rising: the most loss avoided within budget and team-days,
        and of equal plans one of the cheapest. Each budget's plan avoids at least as much as
        the one before it, and `FINE` budgets between are counted with it below the one asked
        for; within that the order of `limits` is kept exactly.

    Raises
    ------
    SolverError
        When an optimum cannot be proven.
    """
    if not len(table):
        return {float(limits.budget): np.zeros(0, np.int64)}
    stock = _stock_limits(table, prices)
    all_of_it = _best(table, limits, NO_LIMIT, stock, cheapest=True)
    most = float(table["cost"].to_numpy()[all_of_it].sum())
    shown = {round(most * i / points, 2) for i in range(points + 1)} | {float(limits.budget)}
    below = max(b for b in shown if b < limits.budget) if limits.budget > 0 else 0.0
    reach = min(float(limits.budget), most)
    between = (below + most / points * j / FINE for j in range(1, FINE))
    budgets = shown | {round(b, 2) for b in between if b < reach}
    worth = np.rint(table["avoided"].to_numpy(float) * PARTS).astype(np.int64)
    out: dict[float, np.ndarray] = {}
    before = np.zeros(0, np.int64)
    for budget in sorted(budgets):
        floor = int(worth[before].sum())
        before = _best(
            table, limits, budget, stock, floor=floor, start=before, cheapest=budget in shown
        )
        if budget in shown:
            out[budget] = before
    return out


def _stock_limits(table: pd.DataFrame, prices: Prices | None) -> list[Row]:
    """No more of a piece than there are."""
    rows: list[Row] = []
    for label, there in ({} if prices is None else prices.limited()).items():
        uses = np.where(table["piece"] == label, table["count"].to_numpy(np.int64), 0)
        if uses.any():
            rows.append(_limit(uses, there))
    return rows


def _best(
    table: pd.DataFrame, limits: BudgetLimits, budget: float, stock: Sequence[Row], *,
    floor: int = 0, start: np.ndarray | None = None, cheapest: bool,
) -> np.ndarray:  # fmt: skip
    """The policy's optimum of one budget that avoids at least `floor` millionths.

    A step that already avoids all that its sectors could is not solved; where only what is
    avoided counts, the cheapest of equal plans is not looked for. `start` keeps every limit.
    """
    worth = np.rint(table["avoided"].to_numpy(float) * PARTS).astype(np.int64)
    cents = np.rint(table["cost"].to_numpy(float) * 100).astype(np.int64)
    minutes = table["minutes"].to_numpy(np.int64)
    rows: list[Row] = [_limit(cents, int(np.floor(budget * 100 + 1e-6))), *stock]
    if limits.team_days is not None:
        rows.append(_limit(minutes, int(np.floor(limits.team_days * limits.hours_per_day * 60))))
    most = np.zeros(len(table), np.int64)
    for positions in table.groupby(PLACE, sort=False).indices.values():
        rows.append(([(int(i), 1) for i in positions], -inf, 1))
        most[positions[0]] = max(0, *worth[positions].tolist())
    if floor > 0:
        rows.append(([(i, int(w)) for i, w in enumerate(worth) if w], floor, inf))
    taken = np.zeros(len(table), bool)
    taken[[] if start is None else start] = True
    for step in _steps(table, limits.order):
        if worth[step][taken[step]].sum() < most[step].sum():
            taken = _solved({int(i): -int(worth[i]) for i in step}, rows, len(table), taken)
        reached = int(worth[step][taken[step]].sum())
        rows.append(([(int(i), int(worth[i])) for i in step], reached, inf))
    if cheapest:
        taken = _solved({i: int(c) for i, c in enumerate(cents)}, rows, len(table), taken)
    spent = int(cents[taken].sum())
    if spent > budget * 100 + 0.5:
        raise SolverError(f"HiGHS overspent: {spent / 100} of {budget}; please report it")
    return np.flatnonzero(taken)


def _limit(weight: np.ndarray, most: int) -> Row:
    """A row that keeps a sum below its limit; scaled where a common divisor allows."""
    scale = int(np.gcd.reduce(weight[weight > 0])) if (weight > 0).any() else 1
    terms = [(i, int(w) // scale) for i, w in enumerate(weight.tolist()) if w]
    return terms, -inf, most // scale


def _solved(cost: dict[int, int], rows: Sequence[Row], count: int, start: np.ndarray) -> np.ndarray:
    found = minimise(cost, [1] * count, rows, start={i: int(v) for i, v in enumerate(start)})
    if found.values is None or not found.proven:
        raise SolverError(
            "the best choice could not be proven in ten minutes; ask for fewer points"
        )
    return found.values > 0.5


def _steps(table: pd.DataFrame, order: str) -> list[np.ndarray]:
    """Choices whose loss is made great together, step by step."""
    if order == PURE_RISK:
        return [np.arange(len(table))]
    band = BANDS.rank(table["risk_band"]).fillna(-1).to_numpy()
    sea = (table["sea_cliff"] == "yes").to_numpy()
    steps = []
    for rank in sorted(set(band.tolist()), reverse=True):
        for cliff in (True, False):
            step = np.flatnonzero((band == rank) & (sea == cliff))
            if len(step):
                steps.append(step)
    return steps


def curve(
    table: pd.DataFrame, limits: BudgetLimits, points: int = POINTS, prices: Prices | None = None
) -> tuple[pd.DataFrame, np.ndarray]:
    """What each budget avoids, from nothing to all that can be done.

    Parameters
    ----------
    table : DataFrame
        From `choices`.
    limits : BudgetLimits
        Limits and policy; its budget is one of the points.
    points : int
        Number of budgets besides.
    prices : Prices, optional
        As for `plans`.

    Returns
    -------
    curve : DataFrame
        `budget`, `spent`, `sectors`, `anchors`, `team_days`, `avoided_pct` (never falls),
        `avoided_sea_cliffs_pct`, `avoided_pure_risk_pct` (the most any order could avoid).
    taken : ndarray of int
        What the budget asked for takes.
    """
    chosen = plans(table, limits, points, prices)
    free = replace(limits, order=PURE_RISK)
    stock = _stock_limits(table, prices)
    rows = []
    for budget, at in chosen.items():
        taken = table.iloc[at]
        pure = taken
        if limits.order != free.order and len(table):
            pure = table.iloc[_best(table, free, budget, stock, start=at, cheapest=False)]
        sea = taken["sea_cliff"] == "yes"
        rows.append(
            {
                "budget": budget, "spent": round(float(taken["cost"].sum()), 2),
                "sectors": len(taken), "anchors": int(taken["count"].sum()),
                "team_days": round(float(taken["minutes"].sum()) / 60 / limits.hours_per_day, 1),
                "avoided_pct": round(100 * float(taken["avoided"].sum()), 3),
                "avoided_sea_cliffs_pct": round(100 * float(taken.loc[sea, "avoided"].sum()), 3),
                "avoided_pure_risk_pct": round(100 * float(pure["avoided"].sum()), 3),
            }
        )  # fmt: skip
    return pd.DataFrame(rows), chosen[float(limits.budget)]


def used_up(table: pd.DataFrame, taken: np.ndarray, prices: Prices) -> list[str]:
    """Pieces of the stock list of which too few are left for any further choice.

    Parameters
    ----------
    table : DataFrame
        From `choices`.
    taken : ndarray of int
        Rows of the table that are bought.
    prices : Prices
        For the numbers of its stock list.
    """
    bought = table.iloc[taken]
    sectors, served = (pd.MultiIndex.from_frame(t[PLACE]) for t in (table, bought))
    waiting = table[~sectors.isin(served)]
    said = []
    for label, there in prices.limited().items():
        wanted = waiting.loc[waiting["piece"] == label, "count"]
        used = int(bought.loc[bought["piece"] == label, "count"].sum())
        if len(wanted) and there - used < int(wanted.min()):
            said.append(f"{label} ({used} of {there} used)")
    return said


def shopping(taken: pd.DataFrame) -> pd.DataFrame:
    """What to buy for the choices taken: kind, metal, size, count, adhesive with waste.

    Parameters
    ----------
    taken : DataFrame
        Rows of `choices`.
    """
    keys = ["kind", "metal", *SIZE, "piece", "size_assumed"]
    if not len(taken):
        return pd.DataFrame(columns=[*keys, "count", "resin_ml", "sectors"])
    groups = taken.groupby(keys)
    out = groups[["count", "resin_ml"]].sum()
    out["sectors"] = groups.size()
    return out.reset_index()


def ranked(table: pd.DataFrame, taken: np.ndarray, sectors: pd.DataFrame) -> pd.DataFrame:
    """Every sector in the order of the assessment's priority, with what is bought for it.

    Sectors that are not chosen show what would avoid the most.
    """
    chosen = table.iloc[taken].assign(chosen="yes")
    full = table.sort_values("avoided", ascending=False, kind="stable")
    best = full.drop_duplicates(PLACE).assign(chosen="no")
    both = pd.concat([chosen, best]).drop_duplicates(PLACE)
    out = sectors[[*PLACE, "sea_cliff", "risk_band", "priority_rank"]].merge(
        both.drop(columns=["sea_cliff", "risk_band"]), on=PLACE, how="left"
    )
    out["chosen"] = out["chosen"].fillna("no")
    out["avoided_pct"] = (100 * out.pop("avoided")).round(3)
    out["work_hours"] = (out.pop("minutes") / 60).round(2)
    out["anchors_to_replace"] = pd.array(out.pop("count"), dtype="Int64")
    order = pd.to_numeric(out["priority_rank"], errors="coerce")
    out = out.assign(order=order).sort_values(["order", "crag", "sector"], kind="stable")
    return out.drop(columns="order").reset_index(drop=True)
