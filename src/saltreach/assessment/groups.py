"""From assessed anchors to sectors and crags: each from its own anchors, then their order."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Any, NamedTuple

import numpy as np
import pandas as pd

from saltreach.assessment.corrosivity import PROBABILITY_COLUMNS
from saltreach.assessment.frames import anchor_frame, with_shapes
from saltreach.assessment.grouping import groups_of
from saltreach.assessment.priority import (
    PRIORITY_WORK,
    rank_of_sector,
    sector_priority,
    sector_sums,
)
from saltreach.assessment.sectors import aggregate
from saltreach.assessment.state import failure_curves
from saltreach.intake.policy import Policy

if TYPE_CHECKING:
    import geopandas as gpd

SECTOR, CRAG = ["crag", "sector"], ["crag"]


class Unranked(NamedTuple):
    """Sectors and crags with shapes, and what the order of the sectors rests on (`sums`)."""

    sectors: gpd.GeoDataFrame
    crags: gpd.GeoDataFrame
    sums: pd.DataFrame


def grouped(
    table: pd.DataFrame, register: gpd.GeoDataFrame, curve: np.ndarray
) -> tuple[gpd.GeoDataFrame, Unranked]:
    """Anchors, and what their sectors and crags have of them alone.

    Parameters
    ----------
    table : DataFrame
        Anchors of whole crags with every result.
    register : GeoDataFrame
        The register's anchors, same index.
    curve : ndarray, shape (n, years)
        Probability of failure of each anchor by year.
    """
    anchors = anchor_frame(table, register)
    extra = [c for c in (*PROBABILITY_COLUMNS, *PRIORITY_WORK) if c not in anchors]
    working = pd.DataFrame(anchors, copy=False).join(table[extra])
    by_sector = groups_of(working, SECTOR)
    sectors = aggregate(working, SECTOR, by_sector)
    sectors["failure_curve"] = failure_curves(curve, by_sector)
    sectors = with_shapes(sectors, register)
    crags = with_shapes(aggregate(working, CRAG, by_sector.within(CRAG)), register, sectors)
    return anchors, Unranked(sectors, crags, sector_sums(working, by_sector))


def ranked(
    parts: Sequence[Unranked], anchors: pd.DataFrame, policy: Policy
) -> tuple[gpd.GeoDataFrame, gpd.GeoDataFrame, pd.Series]:
    """Sectors and crags of a whole register in the order of their names, with the order of work.

    Parameters
    ----------
    parts : sequence of Unranked
        From `grouped`.
    anchors : DataFrame
        `crag` and `sector` of all anchors.
    policy : Policy
        Order of rebolting.

    Returns
    -------
    sectors, crags : GeoDataFrame
    rank : Series
        Of each anchor's sector.
    """
    sectors, crags, sums = (_in_a_row(frames) for frames in zip(*parts, strict=True))
    sectors = sectors.sort_values(SECTOR, ignore_index=True)
    crags = crags.sort_values(CRAG, ignore_index=True)
    order = sector_priority(sectors, sums, policy)
    sectors = _joined(sectors, "failure_curve", order)
    best = sectors.groupby("crag")[["priority_score", "priority_rank"]]
    best = best.agg({"priority_score": "max", "priority_rank": "min"}).reset_index()
    best = crags[CRAG].merge(best, on=CRAG, how="left").drop(columns=CRAG)
    rank = rank_of_sector(groups_of(anchors, SECTOR), sectors).set_axis(anchors.index)
    return sectors, _joined(crags, crags.geometry.name, best), rank


def _in_a_row(frames: Sequence[Any]) -> Any:
    return frames[0] if len(frames) == 1 else pd.concat(frames, ignore_index=True)


def _joined(frame: gpd.GeoDataFrame, before: str, more: pd.DataFrame) -> gpd.GeoDataFrame:
    """A frame with more columns in front of one of its own."""
    at = list(frame).index(before)
    return frame.join(more)[[*frame.columns[:at], *more.columns, *frame.columns[at:]]]
