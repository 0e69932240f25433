"""From assessed anchors to sectors and crags: each from its own anchors, then their order."""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

import numpy as np
import pandas as pd

from saltreach.assessment.corrosivity import PROBABILITY_COLUMNS
from saltreach.assessment.frames import anchor_frame, with_shapes
from saltreach.assessment.priority import (
    PRIORITY_WORK,
    sector_priority,
    sector_sums,
)
from saltreach.assessment.sectors import aggregate
from saltreach.assessment.state import failure_curves
from saltreach.intake.policy import Policy

if TYPE_CHECKING:
    from collections.abc import Sequence

    import geopandas as gpd

SECTOR, CRAG = ["crag", "sector"], ["crag"]


class Groups(NamedTuple):
    """Sectors and crags, with shapes, and what the order of the sectors rests on, row for row."""

    sectors: gpd.GeoDataFrame
    crags: gpd.GeoDataFrame
    sums: pd.DataFrame


def grouped(
    table: pd.DataFrame, register: gpd.GeoDataFrame, curve: np.ndarray
) -> tuple[gpd.GeoDataFrame, Groups]:
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
    working = anchors.join(table[extra])
    sectors = aggregate(working, SECTOR)
    sums = sector_sums(sectors, working)
    sectors["failure_curve"] = failure_curves(working, curve, SECTOR)
    crags = with_shapes(aggregate(working, CRAG), register)
    return anchors, Groups(with_shapes(sectors, register), crags, sums)


def ranked(
    parts: Sequence[Groups], policy: Policy
) -> tuple[gpd.GeoDataFrame, gpd.GeoDataFrame]:
    """Sectors and crags of a whole register in the order of their names, with their ranks.

    Parameters
    ----------
    parts : sequence of Groups
        From `grouped`.
    policy : Policy
        Order of rebolting.
    """
    sectors = _in_a_row([part.sectors for part in parts])
    sums = _in_a_row([part.sums for part in parts])
    order = sectors[SECTOR].sort_values(SECTOR).index
    sectors, sums = (one.loc[order].reset_index(drop=True) for one in (sectors, sums))
    sectors = _joined(sectors, "failure_curve", sector_priority(sectors, sums, policy))
    best = sectors.groupby("crag")[["priority_score", "priority_rank"]]
    best = best.agg({"priority_score": "max", "priority_rank": "min"})
    crags = _in_a_row([part.crags for part in parts]).sort_values(CRAG, ignore_index=True)
    best = best.reindex(crags["crag"]).reset_index(drop=True)
    return sectors, _joined(crags, crags.geometry.name, best)


def _in_a_row(frames: list[pd.DataFrame]) -> pd.DataFrame:
    return frames[0] if len(frames) == 1 else pd.concat(frames, ignore_index=True)


def _joined(frame: gpd.GeoDataFrame, before: str, more: pd.DataFrame) -> gpd.GeoDataFrame:
    """A frame with more columns in front of one of its own."""
    at = list(frame).index(before)
    return frame.join(more)[[*frame.columns[:at], *more.columns, *frame.columns[at:]]]
