"""What the money rebolts: which sectors and which metal, exactly, and what more money would do.

Every sector offers choices: all anchors that fall short, or only the worst, in the metal
recommended or a better one. One choice at most is taken per sector, so that the loss avoided is
greatest within the budget and the team-days; HiGHS solves it to the optimum. Under the policy
`sea-cliffs-first` that is done in steps: worse risk bands first, sea cliffs before inland within
a band, each step keeping what the steps before it reached. The policy is exact within one
condition: a budget never avoids less in all than a smaller budget of the curve does.

With a stock list only its pieces are bought, whole, and no more of them than there are.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache
from typing import Any

import numpy as np
import pandas as pd

from saltreach.assessment.priority import anchor_priority
from saltreach.assessment.resistance import metal_diameter_mm
from saltreach.assessment.risk import POOR
from saltreach.errors import OptionError
from saltreach.intake.policy import ORDERS
from saltreach.intake.prices import Piece, Prices
from saltreach.planning.highs import FREE, Row, SolverError, minimise
from saltreach.science.rock.placement import EN959_AXIAL_KN, EN959_RADIAL_KN, required_diameter_mm
from saltreach.vocabulary.metals import BONDED, GRADE_BY_NAME, MECHANICAL, PLACEABLE
from saltreach.vocabulary.words import BANDS

PARTS = 1_000_000
"""Loss is counted in millionths of the region's: the optimum is exact to one of them."""

POINTS, FINE = 25, 16
"""Budgets of the curve, and steps between two of them on the way to the budget asked for."""
NO_LIMIT = 1e7
"""A budget that limits nothing."""

ALL, WORST, SOME = "all that fall short", "the worst only", "those that avoid most"
SHARES = (0.25, 0.5, 0.75)
"""Shares of a sector's anchors that may be bought for, besides all and the worst."""
HARDLY = 1e-4
"""What avoids no more than this share of the region's loss is not worth its money."""
WORST_BANDS = ("high", "severe")
USUAL_EMBEDMENT_MM = 80.0
"""Taken where the rock asked for no length; the list says so."""

HOLE_WIDER_MM, HOLE_DEEPER_MM, WASTE_FACTOR = 2.0, 10.0, 1.25
"""Common practice without a source: the hole is 2 to 4 mm wider than the rod and 5 to 15 mm
deeper, and a quarter of the adhesive is lost in nozzles, brushes and the first strokes."""


@dataclass(frozen=True)
class Money:
    """What limits the choice.

    Attributes
    ----------
    budget : float
        Money, in the currency of the prices.
    team_days : float or None
        Days of one team; None for no limit.
    hours_per_day, hours_per_anchor, hours_per_sector : float
        Length of a day at the rock, replacing one anchor, setting up once a sector.
    order : str
        ``sea-cliffs-first`` or ``pure-risk``.
    waste_factor : float
        Adhesive bought over adhesive in the holes.
    """

    budget: float
    team_days: float | None = None
    hours_per_day: float = 7.0
    hours_per_anchor: float = 1.0
    hours_per_sector: float = 0.5
    order: str = "sea-cliffs-first"
    waste_factor: float = WASTE_FACTOR

    def __post_init__(self) -> None:
        """Refuse impossible values."""
        limits = {
            "budget": (0, NO_LIMIT), "hours_per_day": (1, 16), "hours_per_anchor": (0.05, 24),
            "hours_per_sector": (0, 12), "waste_factor": (1, 5),
        }  # fmt: skip
        for name, (low, high) in limits.items():
            if not low <= getattr(self, name) <= high:
                raise OptionError(
                    f"{name} = {getattr(self, name)}: give a value from {low} to {high:g}"
                )
        if self.team_days is not None and not 0 <= self.team_days <= 1e5:
            raise OptionError(f"team_days = {self.team_days}: give a value from 0 up")
        if self.order not in ORDERS:
            raise OptionError(f"order {self.order!r}: give one of {', '.join(ORDERS)}")


def resin_ml(
    diameter_mm: Any, embedment_mm: Any, *, wider_mm: float = HOLE_WIDER_MM,
    deeper_mm: float = HOLE_DEEPER_MM,
) -> Any:  # fmt: skip
    """Adhesive that fills one hole around its rod, mL.

    Parameters
    ----------
    diameter_mm, embedment_mm : array_like
        Of the rod.
    wider_mm, deeper_mm : float
        By how much the hole is wider and deeper.

    Notes
    -----
    Volume of the hole less that of the rod in it; no waste.

    Examples
    --------
    >>> round(resin_ml(12.0, 80.0), 2)
    4.81
    """
    hole = (diameter_mm + wider_mm) ** 2 * (embedment_mm + deeper_mm)
    return np.pi / 4 * (hole - diameter_mm**2 * embedment_mm) / 1000


def choices(
    anchors: pd.DataFrame, sectors: pd.DataFrame, prices: Prices, money: Money
) -> tuple[pd.DataFrame, list[str]]:
    """Every choice of every sector: scope, metal, count, cost, hours, loss avoided.

    Parameters
    ----------
    anchors : DataFrame
        Assessed anchors.
    sectors : DataFrame
        Assessed sectors.
    prices : Prices
        What things cost.
    money : Money
        Hours and waste.

    Returns
    -------
    choices : DataFrame
        `crag`, `sector`, `sea_cliff`, `risk_band`, `scope`, `metal`, `kind`, `count`,
        `diameter_mm`, `embedment_mm`, `legs`, `piece` (of the stock list, or empty), `resin_ml`,
        `cost`, `minutes`, `avoided` (share of the loss of the region, 0 to 1), `size_assumed`.
    notes : list of str
        What was assumed or left out.
    """
    notes: list[str] = []
    table = anchors.reset_index(drop=True)
    loss, by_metal = _losses(table, notes)
    saved = {metal: np.maximum(loss - after, 0) for metal, (_, after) in by_metal.items()}
    total = float(loss.sum())
    if not total > 0:
        raise OptionError("no anchor has a loss to avoid: assess the register first")
    worst = (
        table["risk_band"].isin(WORST_BANDS)
        | (table["condition"] >= POOR).to_numpy(bool, na_value=False)
    ).to_numpy()  # fmt: skip
    groups = table.groupby(["crag", "sector"], sort=False).indices
    rows: list[dict[str, Any]] = []
    refused, unpriced, short, deep = [], set(), [], []
    depth = table["embedment_required_mm"].to_numpy(float)
    for s in sectors.to_dict("records"):
        here = groups[s["crag"], s["sector"]]
        kind, name = str(s["kind_advised"]), f"{s['crag']} / {s['sector']}"
        if kind.startswith("do not"):
            refused.append(name)
            continue
        # without an advice (nothing in stock suffices) the least that would do is in its place
        advised = s["material_recommended"] or s["material_alternative"]
        if not advised or not by_metal[PLACEABLE[-1]][0][here].any():
            continue
        wanted = here[by_metal[advised][0][here]]
        offers: list[dict[str, Any]] = []
        found, most = False, 0
        for metal in PLACEABLE[PLACEABLE.index(advised) :]:
            if metal == "duplex" != advised:
                continue  # advised wherever the policy accepts it and nothing less suffices
            ready = here[by_metal[metal][0][here]]
            ready = ready[np.argsort(-saved[metal][ready], kind="stable")]
            pieces = _pieces(depth[ready], metal, kind, prices, money)
            if not pieces:
                unpriced.add(metal)
            for piece in pieces:
                found = True
                reached = ready[_filled(depth[ready]) <= piece.length_mm]
                most = max(most, len(reached))
                for scope, picked in _scopes(reached, worst, piece):
                    avoided = float(saved[metal][picked].sum() / total)
                    assumed = bool(np.isnan(depth[picked]).any())
                    offers.append(
                        _choice(s, scope, piece, len(picked), avoided, assumed, prices, money)
                    )
        rows += _worth_offering(offers, prices)
        if not prices.stock:
            continue
        longest = f"{_filled(depth[wanted]).max(initial=0):.0f} mm"
        if not found:
            short.append(f"{name} (at least {advised}, {longest})")
        elif most < len(wanted):
            deep.append(f"{name} ({len(wanted) - most} of {len(wanted)}, {longest})")
    if refused:
        notes.append(
            "left out, because nothing should be placed there (move, close or remove): "
            + ", ".join(refused)
        )
    if short:
        notes.append("nothing in the stock list suffices at: " + ", ".join(short))
    if deep:
        notes.append(
            "too deep for every piece of the stock list, so not bought for: " + ", ".join(deep)
        )
    if unpriced and not prices.stock:
        notes.append("metals without a price, not offered: " + ", ".join(sorted(unpriced)))
    columns = [
        "crag", "sector", "sea_cliff", "risk_band", "scope", "metal", "kind", "count",
        "diameter_mm", "embedment_mm", "legs", "piece", "resin_ml", "cost", "minutes", "avoided",
        "size_assumed",
    ]  # fmt: skip
    return pd.DataFrame(rows, columns=columns), notes


def _filled(depth_mm: np.ndarray) -> np.ndarray:
    return np.where(np.isnan(depth_mm), USUAL_EMBEDMENT_MM, depth_mm)


def _pieces(
    depth_mm: np.ndarray, metal: str, kind: str, prices: Prices, money: Money
) -> list[Piece]:
    """The anchors of a metal that may be placed: of the stock, or the cheapest by price.

    Of the stock the cheapest of those that are long enough for as many of the anchors, with a
    limit and without: a longer one for all of them, and a shorter one for most.
    """
    depth_mm = _filled(depth_mm)
    if not len(depth_mm):
        return []
    if not prices.stock:
        diameter = metal_diameter_mm(pd.Series([metal]), EN959_AXIAL_KN, EN959_RADIAL_KN)[0]
        offered = [
            Piece(k, metal, float(diameter), float(depth_mm.max()), prices.anchors[k, metal])
            for k in _offered(kind)
            if (k, metal) in prices.anchors
        ]
        return sorted(offered, key=lambda p: (p.price, p.kind))[:1]
    best: dict[tuple[int, bool], Piece] = {}
    for piece in sorted(prices.stock, key=lambda p: (_each(p, prices, money), p.length_mm)):
        fits = (
            piece.metal == metal
            and piece.kind in _offered(kind)
            and piece.diameter_mm >= _piece_diameter_mm(piece)
            and piece.how_many != 0
        )
        served = int((depth_mm <= piece.length_mm).sum())
        if fits and served:
            best.setdefault((served, piece.how_many is None), piece)
    return list(best.values())


def _scopes(reached: np.ndarray, worst: np.ndarray, piece: Piece) -> list[tuple[str, np.ndarray]]:
    """Which of a sector's anchors may be bought for together, in falling loss avoided.

    All, the worst, or as many as there are pieces or a share of them comes to.
    """
    there = len(reached) if piece.how_many is None else min(piece.how_many, len(reached))
    out = {len(reached): (ALL, reached)} if there == len(reached) else {}
    bad = reached[worst[reached]]
    if 0 < len(bad) <= there:
        out.setdefault(len(bad), (WORST, bad))
    for count in (there, *(round(share * len(reached)) for share in SHARES)):
        if 0 < count <= there:
            out.setdefault(count, (SOME, reached[:count]))
    return list(out.values())


def _worth_offering(offers: list[dict[str, Any]], prices: Prices) -> list[dict[str, Any]]:
    """Without what avoids hardly more than something that costs no more and does not run out."""
    limited = prices.limited()
    kept: list[dict[str, Any]] = []
    for offer in sorted(offers, key=lambda o: (o["cost"], -o["avoided"])):
        cheaper = (o for o in kept if o["piece"] not in limited)
        if all(offer["avoided"] > o["avoided"] + HARDLY for o in cheaper):
            kept.append(offer)
    return kept


@cache
def _piece_diameter_mm(piece: Piece) -> float:
    """Least diameter for EN 959's loads in the piece's own grade and number of legs."""
    if not piece.grade:
        metal = pd.Series([piece.metal])
        return float(metal_diameter_mm(metal, EN959_AXIAL_KN, EN959_RADIAL_KN, piece.legs)[0])
    grade = GRADE_BY_NAME[piece.grade]
    return float(
        required_diameter_mm(
            EN959_AXIAL_KN, EN959_RADIAL_KN, grade.strength_mpa, grade.shear_ratio, piece.legs
        )
    )


def _resin(piece: Piece, money: Money) -> float:
    """Adhesive for one anchor with waste, mL."""
    if piece.kind != BONDED:
        return 0.0
    one = float(resin_ml(piece.diameter_mm, piece.length_mm))
    return one * piece.legs * money.waste_factor


def _each(piece: Piece, prices: Prices, money: Money) -> float:
    return piece.price + _resin(piece, money) * prices.resin_per_ml


def _offered(kind: str) -> tuple[str, ...]:
    """Kinds of anchor that may be placed, by the kind advised."""
    return (BONDED, MECHANICAL) if kind.startswith(MECHANICAL) else (BONDED,)


def _losses(
    table: pd.DataFrame, notes: list[str]
) -> tuple[np.ndarray, dict[str, tuple[np.ndarray, np.ndarray]]]:
    """Yearly loss of each anchor, and by metal: which would be replaced, and its loss then."""
    by_metal = {}
    now = np.full(len(table), np.nan)
    for metal in PLACEABLE:
        found = anchor_priority(table.assign(material_recommended=metal))
        now = found["yearly_loss"].to_numpy(float)
        by_metal[metal] = (
            (found["replacement_cost"] > 0).to_numpy(),
            found["yearly_loss_after"].to_numpy(float),
        )
    unknown = np.isnan(now)
    if unknown.any() and not unknown.all():
        notes.append(
            f"{int(unknown.sum())} anchors without a failure probability count as the median of "
            "the others"
        )
        now = np.where(unknown, np.nanmedian(now), now)
    return now, {
        m: (r, np.where(np.isnan(after), now, after)) for m, (r, after) in by_metal.items()
    }


def _choice(
    s: dict[str, Any], scope: str, piece: Piece, count: int, avoided: float, assumed: bool,
    prices: Prices, money: Money,
) -> dict[str, Any]:  # fmt: skip
    """One row of `choices`."""
    resin = _resin(piece, money) * count
    each = piece.price + prices.work_per_anchor + prices.extra_per_anchor
    cost = round(count * each + resin * prices.resin_per_ml + prices.travel_per_sector, 2)
    minutes = round(60 * (money.hours_per_sector + count * money.hours_per_anchor))
    return {
        "crag": s["crag"], "sector": s["sector"], "sea_cliff": s["sea_cliff"],
        "risk_band": s["risk_band"], "scope": scope, "metal": piece.metal,
        "kind": piece.kind, "count": count, "diameter_mm": piece.diameter_mm,
        "embedment_mm": piece.length_mm, "legs": piece.legs,
        "piece": piece.label if prices.stock else "",
        "resin_ml": round(resin, 1), "cost": cost, "minutes": minutes,
        "avoided": avoided, "size_assumed": "yes" if assumed else "no",
    }  # fmt: skip


def plans(
    table: pd.DataFrame, money: Money, points: int = POINTS, prices: Prices | None = None
) -> dict[float, np.ndarray]:
    """What each budget takes, from nothing to all that can be done, and the budget asked for.

    Parameters
    ----------
    table : DataFrame
        From `choices`.
    money : Money
        Limits and policy.
    points : int
        Number of budgets besides that of `money`; a constant of the method, so that what is
        bought does not depend on what is drawn.
    prices : Prices, optional
        For the numbers of its stock list.

    Returns
    -------
    dict
        Rows of the table by budget, rising: the most loss avoided within budget and team-days,
        and of equal plans one of the cheapest. Each budget's plan avoids at least as much as
        the one before it, and `FINE` budgets between are counted with it below the one asked
        for; within that the order of `money` is kept exactly.

    Raises
    ------
    SolverError
        When an optimum cannot be proven.
    """
    if not len(table):
        return {float(money.budget): np.zeros(0, np.int64)}
    limits = _stock_limits(table, prices)
    most = float(table["cost"].to_numpy()[_best(table, money, NO_LIMIT, limits)].sum())
    shown = {round(most * i / points, 2) for i in range(points + 1)} | {float(money.budget)}
    below = max(b for b in shown if b < money.budget) if money.budget > 0 else 0.0
    reach = min(float(money.budget), most)
    between = (below + most / points * j / FINE for j in range(1, FINE))
    budgets = shown | {round(b, 2) for b in between if b < reach}
    worth = np.rint(table["avoided"].to_numpy(float) * PARTS).astype(np.int64)
    out: dict[float, np.ndarray] = {}
    before = np.zeros(0, np.int64)
    for budget in sorted(budgets):
        floor = int(worth[before].sum())
        before = _best(table, money, budget, limits, floor=floor, start=before)
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
    table: pd.DataFrame, money: Money, budget: float, limits: Sequence[Row], *, floor: int = 0,
    start: np.ndarray | None = None,
) -> np.ndarray:  # fmt: skip
    """The policy's optimum of one budget that avoids at least `floor` millionths."""
    worth = np.rint(table["avoided"].to_numpy(float) * PARTS).astype(np.int64)
    cents = np.rint(table["cost"].to_numpy(float) * 100).astype(np.int64)
    minutes = table["minutes"].to_numpy(np.int64)
    rows: list[Row] = [_limit(cents, int(np.floor(budget * 100 + 1e-6))), *limits]
    if money.team_days is not None:
        rows.append(_limit(minutes, int(np.floor(money.team_days * money.hours_per_day * 60))))
    for positions in table.groupby(["crag", "sector"], sort=False).indices.values():
        rows.append(([(int(i), 1) for i in positions], -FREE, 1))
    if floor > 0:
        rows.append(([(i, int(w)) for i, w in enumerate(worth) if w], floor, FREE))
    taken = np.zeros(len(table), bool)
    taken[[] if start is None else start] = True
    for step in _steps(table, money.order):
        taken = _solved({int(i): -int(worth[i]) for i in step}, rows, len(table), taken)
        reached = int(worth[step][taken[step]].sum())
        rows.append(([(int(i), int(worth[i])) for i in step], reached, FREE))
    taken = _solved({i: int(c) for i, c in enumerate(cents)}, rows, len(table), taken)
    spent = int(cents[taken].sum())
    if spent > budget * 100 + 0.5:
        raise SolverError(f"HiGHS overspent: {spent / 100} of {budget}; please report it")
    return np.flatnonzero(taken)


def _limit(weight: np.ndarray, most: int) -> Row:
    """A row that keeps a sum below its limit; scaled where a common divisor allows."""
    scale = int(np.gcd.reduce(weight[weight > 0])) if (weight > 0).any() else 1
    terms = [(i, int(w) // scale) for i, w in enumerate(weight.tolist()) if w]
    return terms, -FREE, min(most // scale, FREE - 1)


def _solved(cost: dict[int, int], rows: Sequence[Row], count: int, start: np.ndarray) -> np.ndarray:
    found = minimise(cost, [1] * count, rows, start={i: int(v) for i, v in enumerate(start)})
    if found.values is None or not found.proven:
        raise SolverError(
            "the best choice could not be proven in ten minutes; ask for fewer points"
        )
    return found.values > 0.5


def _steps(table: pd.DataFrame, order: str) -> list[np.ndarray]:
    """Choices whose loss is made great together, step by step."""
    if order == "pure-risk":
        return [np.arange(len(table))]
    band = table["risk_band"].map({b: i for i, b in enumerate(BANDS)}).fillna(-1).to_numpy()
    sea = (table["sea_cliff"] == "yes").to_numpy()
    steps = []
    for rank in sorted(set(band.tolist()), reverse=True):
        for cliff in (True, False):
            step = np.flatnonzero((band == rank) & (sea == cliff))
            if len(step):
                steps.append(step)
    return steps


def curve(
    table: pd.DataFrame, money: Money, points: int = POINTS, prices: Prices | None = None
) -> tuple[pd.DataFrame, np.ndarray]:
    """What each budget avoids, from nothing to all that can be done.

    Parameters
    ----------
    table : DataFrame
        From `choices`.
    money : Money
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
    from dataclasses import replace

    chosen = plans(table, money, points, prices)
    free = replace(money, order="pure-risk")
    limits = _stock_limits(table, prices)
    rows = []
    for budget, at in chosen.items():
        taken = table.iloc[at]
        pure = taken
        if money.order != free.order and len(table):
            pure = table.iloc[_best(table, free, budget, limits, start=at)]
        sea = taken["sea_cliff"] == "yes"
        rows.append(
            {
                "budget": budget, "spent": round(float(taken["cost"].sum()), 2),
                "sectors": len(taken), "anchors": int(taken["count"].sum()),
                "team_days": round(float(taken["minutes"].sum()) / 60 / money.hours_per_day, 1),
                "avoided_pct": round(100 * float(taken["avoided"].sum()), 3),
                "avoided_sea_cliffs_pct": round(100 * float(taken.loc[sea, "avoided"].sum()), 3),
                "avoided_pure_risk_pct": round(100 * float(pure["avoided"].sum()), 3),
            }
        )  # fmt: skip
    return pd.DataFrame(rows), chosen[float(money.budget)]


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
    sectors, served = (pd.MultiIndex.from_frame(t[["crag", "sector"]]) for t in (table, bought))
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
    keys = ["kind", "metal", "diameter_mm", "embedment_mm", "legs", "piece", "size_assumed"]
    if not len(taken):
        return pd.DataFrame(columns=[*keys, "count", "resin_ml", "sectors"])
    groups = taken.groupby(keys, sort=True)
    out = groups[["count", "resin_ml"]].sum()
    out["sectors"] = groups.size()
    return out.reset_index()


def ranked(table: pd.DataFrame, taken: np.ndarray, sectors: pd.DataFrame) -> pd.DataFrame:
    """Every sector in the order of the assessment's priority, with what is bought for it.

    Sectors that are not chosen show what would avoid the most.
    """
    chosen = table.iloc[taken].assign(chosen="yes")
    full = table.sort_values("avoided", ascending=False, kind="stable")
    best = full.drop_duplicates(["crag", "sector"]).assign(chosen="no")
    both = pd.concat([chosen, best]).drop_duplicates(["crag", "sector"])
    out = sectors[["crag", "sector", "sea_cliff", "risk_band", "priority_rank"]].merge(
        both.drop(columns=["sea_cliff", "risk_band"]), on=["crag", "sector"], how="left"
    )
    out["chosen"] = out["chosen"].fillna("no")
    out["avoided_pct"] = (100 * out.pop("avoided")).round(3)
    out["work_hours"] = (out.pop("minutes") / 60).round(2)
    out["anchors_to_replace"] = pd.array(out.pop("count"), dtype="Int64")
    order = pd.to_numeric(out["priority_rank"], errors="coerce")
    out = out.assign(order=order).sort_values(["order", "crag", "sector"], kind="stable")
    return out.drop(columns="order").reset_index(drop=True)
