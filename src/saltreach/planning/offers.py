"""What each sector may buy: scope, metal, piece, count, cost, hours, and the loss it avoids.

Every sector offers choices: all anchors that fall short, or only the worst, in the metal
recommended or a better one. With a stock list only its pieces are bought, whole, and no more of
them than there are.
"""

from __future__ import annotations

from functools import cache
from typing import Any

import numpy as np
import pandas as pd

from saltreach.assessment.findings import found_poor
from saltreach.assessment.priority import anchor_priority
from saltreach.assessment.reasons import Listing
from saltreach.assessment.resistance import metal_diameter_mm
from saltreach.assessment.risk import POOR
from saltreach.errors import OptionError
from saltreach.intake.prices import Piece, Prices
from saltreach.planning.options import BudgetLimits
from saltreach.science.rock.placement import EN959_AXIAL_KN, EN959_RADIAL_KN, required_diameter_mm
from saltreach.science.rock.resistance import HOLE_OVERSIZE_MM
from saltreach.vocabulary.metals import BONDED, GRADE_BY_NAME, MECHANICAL, PLACEABLE
from saltreach.vocabulary.words import BANDS, DO_NOT_PLACE

ALL, WORST, SOME = "all that fall short", "the worst only", "those that avoid most"
SHARES = (0.25, 0.5, 0.75)
"""Shares of a sector's anchors that may be bought for, besides all and the worst."""
HARDLY = 1e-4
"""What avoids no more than this share of the region's loss is not worth its money."""
WORST_BANDS = BANDS[-2:]
USUAL_EMBEDMENT_MM = 80.0
"""Taken where the rock asked for no length; the list says so."""

HOLE_DEEPER_MM = 10.0
"""Common practice without a source: the hole is 5 to 15 mm deeper than the rod."""


def resin_ml(diameter_mm: Any, embedment_mm: Any) -> Any:
    """Adhesive that fills one hole around its rod, mL.

    Parameters
    ----------
    diameter_mm, embedment_mm : array_like
        Of the rod.

    Notes
    -----
    Volume of the hole less that of the rod in it; no waste.

    Examples
    --------
    >>> round(resin_ml(12.0, 80.0), 2)
    4.81
    """
    hole = (diameter_mm + HOLE_OVERSIZE_MM) ** 2 * (embedment_mm + HOLE_DEEPER_MM)
    return np.pi / 4 * (hole - diameter_mm**2 * embedment_mm) / 1000


def choices(
    anchors: pd.DataFrame, sectors: pd.DataFrame, prices: Prices, limits: BudgetLimits
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
    limits : BudgetLimits
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
    wanted, loss, after = _losses(table, notes)
    saved = {metal: np.maximum(loss - then, 0) for metal, then in after.items()}
    total = float(loss.sum())
    if not total > 0:
        raise OptionError("no anchor has a loss to avoid: assess the register first")
    worst = (
        table["risk_band"].isin(WORST_BANDS)
        | (table["condition"] >= POOR).to_numpy(bool, na_value=False)
        | found_poor(table)
    ).to_numpy()  # fmt: skip
    groups = table.groupby(["crag", "sector"], sort=False).indices
    rows: list[dict[str, Any]] = []
    refused, unpriced, short, deep = [], set(), [], []
    depth = table["embedment_required_mm"].to_numpy(float)
    for s in sectors.to_dict("records"):
        here = groups[s["crag"], s["sector"]]
        kind, name = str(s["kind_advised"]), f"{s['crag']} / {s['sector']}"
        if kind == DO_NOT_PLACE:
            refused.append(name)
            continue
        # without an advice (nothing in stock suffices) the least that would do is in its place
        advised = s["material_recommended"] or s["material_alternative"]
        if not advised or not wanted[here].any():
            continue
        here = here[wanted[here]]
        offers: list[dict[str, Any]] = []
        found, most = False, 0
        for metal in PLACEABLE[PLACEABLE.index(advised) :]:
            if metal == "duplex" != advised:
                continue  # advised wherever the policy accepts it and nothing less suffices
            ready = here[np.argsort(-saved[metal][here], kind="stable")]
            pieces = _pieces(depth[ready], metal, kind, prices, limits)
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
                        _choice(s, scope, piece, len(picked), avoided, assumed, prices, limits)
                    )
        rows += _worth_offering(offers, prices)
        if not prices.stock:
            continue
        longest = f"{_filled(depth[here]).max():.0f} mm"
        if not found:
            short.append(f"{name} (at least {advised}, {longest})")
        elif most < len(here):
            deep.append(f"{name} ({len(here) - most} of {len(here)}, {longest})")
    if refused:
        why = "left out, because nothing should be placed there (move, close or remove)"
        notes.append(Listing(why, refused))
    if short:
        notes.append(Listing("nothing in the stock list suffices at", short))
    if deep:
        why = "too deep for every piece of the stock list, so not bought for"
        notes.append(Listing(why, deep))
    if unpriced and not prices.stock:
        notes.append(Listing("metals without a price, not offered", sorted(unpriced)))
    columns = [
        "crag", "sector", "sea_cliff", "risk_band", "scope", "metal", "kind", "count",
        "diameter_mm", "embedment_mm", "legs", "piece", "resin_ml", "cost", "minutes", "avoided",
        "size_assumed",
    ]  # fmt: skip
    return pd.DataFrame(rows, columns=columns), notes


def _filled(depth_mm: np.ndarray) -> np.ndarray:
    return np.where(np.isnan(depth_mm), USUAL_EMBEDMENT_MM, depth_mm)


def _pieces(
    depth_mm: np.ndarray, metal: str, kind: str, prices: Prices, limits: BudgetLimits
) -> list[Piece]:
    """The anchors of a metal that may be placed: of the stock, or the cheapest, adhesive included.

    Of the stock the cheapest of those that are long enough for as many of the anchors, with a
    limit and without: a longer one for all of them, and a shorter one for most.
    """
    depth_mm = _filled(depth_mm)
    if not prices.stock:
        diameter = metal_diameter_mm(pd.Series([metal]), EN959_AXIAL_KN, EN959_RADIAL_KN)[0]
        offered = [
            Piece(k, metal, float(diameter), float(depth_mm.max()), prices.anchors[k, metal])
            for k in offered_kinds(kind)
            if (k, metal) in prices.anchors
        ]
        return sorted(offered, key=lambda p: (_each(p, prices, limits), p.kind))[:1]
    best: dict[tuple[int, bool], Piece] = {}
    for piece in sorted(prices.stock, key=lambda p: (_each(p, prices, limits), p.length_mm)):
        fits = (
            piece.metal == metal
            and piece.kind in offered_kinds(kind)
            and piece.diameter_mm >= piece_diameter_mm(piece)
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
def piece_diameter_mm(piece: Piece) -> float:
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


def _resin(piece: Piece, limits: BudgetLimits) -> float:
    """Adhesive for one anchor with waste, mL."""
    if piece.kind != BONDED:
        return 0.0
    one = float(resin_ml(piece.diameter_mm, piece.length_mm))
    return one * piece.legs * limits.waste_factor


def _each(piece: Piece, prices: Prices, limits: BudgetLimits) -> float:
    return piece.price + _resin(piece, limits) * prices.resin_per_ml


def offered_kinds(kind: str) -> tuple[str, ...]:
    """Kinds of anchor that may be placed, by the kind advised."""
    return (BONDED, MECHANICAL) if kind.startswith(MECHANICAL) else (BONDED,)


def _losses(
    table: pd.DataFrame, notes: list[str]
) -> tuple[np.ndarray, np.ndarray, dict[str, np.ndarray]]:
    """Which anchors would be replaced, the yearly loss of each, and by metal its loss then."""
    found = {m: anchor_priority(table.assign(material_recommended=m)) for m in PLACEABLE}
    any_metal = found[PLACEABLE[0]]
    now = any_metal["yearly_loss"].to_numpy(float)
    unknown = np.isnan(now)
    if unknown.any() and not unknown.all():
        notes.append(
            f"{int(unknown.sum())} anchors without a failure probability count as the median of "
            "the others"
        )
        now = np.where(unknown, np.nanmedian(now), now)
    after = {m: one["yearly_loss_after"].to_numpy(float) for m, one in found.items()}
    return (
        (any_metal["replacement_cost"] > 0).to_numpy(),
        now,
        {m: np.where(np.isnan(then), now, then) for m, then in after.items()},
    )


def _choice(
    s: dict[str, Any], scope: str, piece: Piece, count: int, avoided: float, assumed: bool,
    prices: Prices, limits: BudgetLimits,
) -> dict[str, Any]:  # fmt: skip
    """One row of `choices`."""
    resin = _resin(piece, limits) * count
    each = piece.price + prices.work_per_anchor + prices.extra_per_anchor
    cost = round(count * each + resin * prices.resin_per_ml + prices.travel_per_sector, 2)
    minutes = round(60 * (limits.hours_per_sector + count * limits.hours_per_anchor))
    return {
        "crag": s["crag"], "sector": s["sector"], "sea_cliff": s["sea_cliff"],
        "risk_band": s["risk_band"], "scope": scope, "metal": piece.metal,
        "kind": piece.kind, "count": count, "diameter_mm": piece.diameter_mm,
        "embedment_mm": piece.length_mm, "legs": piece.legs,
        "piece": piece.label if prices.stock else "",
        "resin_ml": round(resin, 1), "cost": cost, "minutes": minutes,
        "avoided": avoided, "size_assumed": "yes" if assumed else "no",
    }  # fmt: skip
