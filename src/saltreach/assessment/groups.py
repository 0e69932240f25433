"""From assessed anchors to the three tables of a result: anchors, sectors and crags."""

from __future__ import annotations

from typing import TYPE_CHECKING

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


def grouped(
    table: pd.DataFrame, register: gpd.GeoDataFrame, curve: np.ndarray, policy: Policy
) -> tuple[gpd.GeoDataFrame, gpd.GeoDataFrame, gpd.GeoDataFrame]:
    """Anchors, sectors and crags, with shapes and the order of rebolting.

    Parameters
    ----------
    table : DataFrame
        Anchors with every result.
    register : GeoDataFrame
        The register's anchors, same index.
    curve : ndarray, shape (n, years)
        Probability of failure of each anchor by year.
    policy : Policy
        Order of rebolting.
    """
    anchors = anchor_frame(table, register)
    extra = [c for c in (*PROBABILITY_COLUMNS, *PRIORITY_WORK) if c not in anchors]
    working = pd.DataFrame(anchors, copy=False).join(table[extra])
    by_sector = groups_of(working, SECTOR)
    by_crag = by_sector.within(CRAG)
    sectors = aggregate(working, SECTOR, by_sector)
    sectors = sectors.join(sector_priority(sectors, sector_sums(working, by_sector), policy))
    sectors["failure_curve"] = failure_curves(curve, by_sector)
    rank = rank_of_sector(by_sector, sectors)
    anchors["priority_rank"] = rank.set_axis(anchors.index)
    crags = aggregate(working, CRAG, by_crag)
    crags = crags.join(best_of_crags(sectors), on="crag")
    sectors = with_shapes(sectors, register)
    return anchors, sectors, with_shapes(crags, register, sectors)


def best_of_crags(sectors: pd.DataFrame) -> pd.DataFrame:
    """Highest score and first rank of each crag's sectors, by crag; of the whole region."""
    best = sectors.groupby("crag")[["priority_score", "priority_rank"]]
    return best.agg({"priority_score": "max", "priority_rank": "min"})
