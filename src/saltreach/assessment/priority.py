"""What to rebolt first: expected yearly loss avoided for each unit of cost, with the reason why."""

from __future__ import annotations

import numpy as np
import pandas as pd

from saltreach.assessment.grouping import Groups, groups_of
from saltreach.assessment.learned import learned_factors
from saltreach.assessment.region import Region, median_or_nan
from saltreach.assessment.risk import band_of, least_of
from saltreach.intake.distinct import numbers
from saltreach.intake.policy import DEFAULT, Policy
from saltreach.science.time.consequence import (
    UNKNOWN_VISITS_PER_YEAR,
    priority_rank,
    priority_score,
    yearly_loss,
)
from saltreach.science.time.failure import Anchors, combined, failure_parts
from saltreach.science.time.reliability import material_weights
from saltreach.vocabulary.words import BANDS, DO_NOT_PLACE, OUT_OF_USE, SEA_CLIFFS_FIRST, UNKNOWN

PRIORITY_WORK = ("yearly_loss", "yearly_loss_after", "replacement_cost")
"""Working columns of `anchor_priority` that `sector_priority` sums."""
BOUGHT = ("replace", OUT_OF_USE)
"""Actions for which a new anchor is bought. A spot whose rock refuses one is not among them."""


def anchor_priority(
    table: pd.DataFrame, policy: Policy = DEFAULT, *, region: Region | None = None
) -> pd.DataFrame:
    """Loss, cost and score of replacing each anchor with the metal recommended for it.

    Parameters
    ----------
    table : DataFrame
        Register columns, `failure_probability_y1`, `risk_band` (what was seen of an anchor may
        raise it: its least probability counts), `rock_probability_after`, `scc_hazard`, losses,
        `material_recommended`, `diameter_required_mm`, `action`, `kind_advised`.
    policy : Policy
        Prices and cost of the work.
    region : Region, optional
        What the whole register says, where the table is a part of it: its usual visits.

    Returns
    -------
    DataFrame
        `yearly_loss`, `yearly_loss_after` (new metal in the rock there is), `risk_band_after`,
        `replacement_cost` (0 where nothing is to be done), `priority_score`. Losses are relative
        numbers, not money.
    """
    visits = table["visits_per_year"].to_numpy(float)
    usual = median_or_nan(visits) if region is None else region.visits_per_year
    usual = UNKNOWN_VISITS_PER_YEAR if np.isnan(usual) else usual
    weights = material_weights(table["material_recommended"].replace("", UNKNOWN).to_numpy(object))
    fresh = Anchors(
        scc_hazard=table["scc_hazard"].to_numpy(float),
        zinc_rate_um_y=table["zinc_rate_um_y"].to_numpy(float),
        steel_rate_um_y=table["steel_rate_um_y"].to_numpy(float),
        diameter_mm=table["diameter_required_mm"].to_numpy(float),
        condition=0.0,
        years_since_inspection=0.0,
    )
    learned = learned_factors(table)
    if learned is not None:  # a new piece is not believed better than the model for the old ones
        learned = np.maximum(learned, 1.0)
    metal_after, _ = failure_parts(weights, np.zeros(len(table)), fresh, years=1, learned=learned)
    rock_after = table["rock_probability_after"].to_numpy(float)
    after = combined(metal_after[:, 0], rock_after)
    position = table["position"].fillna("").to_numpy(object)
    seen = np.fmax(table["failure_probability_y1"].to_numpy(float), least_of(table["risk_band"]))
    loss = [yearly_loss(p, position, visits, unknown_visits_per_year=usual) for p in (seen, after)]
    refused = (table["kind_advised"] == DO_NOT_PLACE).to_numpy()
    replace = table["action"].isin(BOUGHT).to_numpy() & ~refused
    price = numbers(table["material_recommended"], policy.prices)
    cost = policy.work_cost + price
    score = np.where(replace, priority_score(loss[0], loss[1], cost), 0.0)
    unknown = np.isnan(loss[0]) | (replace & np.isnan(price + loss[1]))
    return pd.DataFrame(
        {
            "risk_band_after": np.where(refused, "", band_of(after)),
            "yearly_loss": loss[0],
            "yearly_loss_after": np.where(replace, np.fmin(loss[1], loss[0]), loss[0]),
            "replacement_cost": np.where(replace, cost, 0.0),
            "priority_score": np.where(unknown, np.nan, score),
        },
        index=table.index,
    )


def sector_sums(anchors: pd.DataFrame, groups: Groups | None = None) -> pd.DataFrame:
    """What `sector_priority` needs of the anchors, summed by sector.

    Parameters
    ----------
    anchors : DataFrame
        Columns `crag`, `sector` and `PRIORITY_WORK`, of the whole register or a part of it that
        holds whole sectors.
    groups : Groups, optional
        Sectors of these anchors, where they are known already.

    Returns
    -------
    DataFrame
        `crag`, `sector`, `yearly_loss`, `avoided`, `replacement_cost`, `to_replace`.
    """
    groups = groups_of(anchors, ["crag", "sector"]) if groups is None else groups
    work = anchors[["yearly_loss", "replacement_cost"]].assign(
        avoided=(anchors["yearly_loss"] - anchors["yearly_loss_after"]).clip(lower=0),
        to_replace=anchors["replacement_cost"] > 0,
    )
    return groups.names.join(work.groupby(groups.of).sum(min_count=1))


def sector_priority(
    sectors: pd.DataFrame, sums: pd.DataFrame, policy: Policy = DEFAULT
) -> pd.DataFrame:
    """Score, rank and reason of each sector, which compare it with all others of the region.

    Parameters
    ----------
    sectors : DataFrame
        Aggregated sectors: `crag`, `sector`, `risk_band`, `sea_cliff`, `materials_present`.
    sums : DataFrame
        From `sector_sums`, of the same sectors in any order.
    policy : Policy
        Order of rebolting.

    Returns
    -------
    DataFrame
        `priority_score`, `priority_rank` (from 1), `priority_reasons`, `anchors_to_replace`,
        `replacement_cost`, `loss_avoided`, in the sectors' order.
    """
    found = sectors[["crag", "sector"]].merge(sums, on=["crag", "sector"], how="left")
    cost = found["replacement_cost"].to_numpy(float)
    avoided = found["avoided"].to_numpy(float)
    score = np.where(cost > 0, avoided / np.where(cost > 0, cost, 1.0), 0.0)
    score = np.where(np.isnan(avoided), np.nan, score)
    band = BANDS.rank(sectors["risk_band"]).to_numpy()
    # where nothing can be bought there is nothing to rank for: such sectors come last, in order
    band = np.where(cost > 0, band, np.nan_to_num(band, nan=-1.0) - len(BANDS))
    sea = (sectors["sea_cliff"] == "yes").to_numpy()
    rank = priority_rank(score, band, sea, policy.order)
    total = np.nansum(found["yearly_loss"])
    share = 100 * avoided / total if total > 0 else np.zeros(len(found))
    text = [
        _why(r, policy, s, int(n), of, c, a)
        for r, s, n, of, c, a in zip(
            rank,
            sectors[["risk_band", "sea_cliff", "spots_refused", "to_take_out_of_use"]].to_dict(
                "records"
            ),
            found["to_replace"],
            sectors["anchors"],
            cost,
            np.nan_to_num(share),
            strict=True,
        )
    ]
    return pd.DataFrame(
        {
            "priority_score": score,
            "priority_rank": pd.array(rank, dtype="Int64"),
            "priority_reasons": text,
            "anchors_to_replace": pd.array(found["to_replace"].astype(int), "Int64"),
            "replacement_cost": cost,
            "loss_avoided": avoided,
        },
        index=sectors.index,
    )


def _why(
    rank: int,
    policy: Policy,
    sector: dict[str, str],
    count: int,
    of: int,
    cost: float,
    share: float,
) -> str:
    """Why a sector stands where it stands, for a reader without the tables."""
    band = sector["risk_band"] or UNKNOWN
    place = {"yes": "sea cliff", "no": "inland"}.get(sector["sea_cliff"], "place unknown")
    start = f"Place {rank}: risk {band}, {place}; "
    refused, failed = int(sector["spots_refused"]), int(sector["to_take_out_of_use"])
    if failed:
        start += f"{failed} of {of} failed, take out of use today; "
    if refused:
        start += f"{refused} of {of} to be moved or removed, not bought for; "
    if count == 0:
        return start + "no anchor needs better metal now."
    rule = (
        "worse risk first, sea cliffs before inland within a band, then loss avoided per cost"
        if policy.order == SEA_CLIFFS_FIRST
        else "loss avoided per cost alone"
    )
    return (
        f"{start}replacing {count} of {of} anchors avoids "
        f"{share:.1f} % of the region's expected loss for {cost:.0f} cost units. Order: {rule}."
    )


def rank_of_sector(groups: Groups, sectors: pd.DataFrame) -> pd.Series:
    """The rank of each anchor's sector.

    Parameters
    ----------
    groups : Groups
        Sectors of the anchors, of the whole register or a part of it.
    sectors : DataFrame
        `crag`, `sector`, `priority_rank` of the region.
    """
    rank = groups.names.merge(sectors[[*groups.names, "priority_rank"]], how="left")
    return pd.Series(rank["priority_rank"].array.take(groups.of))
