"""Values of the register that the layers contradict: said, and not used where they cannot be.

A height that differs from the ground by more than the layer's error is noted. One that differs
by `IMPOSSIBLE_M` more cannot be right and is taken as unknown, so that the layer's stands in for
it. A distance to the sea is noted and used all the same: shorelines lack islets and inlets, and
the register's own distance is how a user says so. An anchor always stays.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import numpy as np
import pandas as pd

from saltreach.intake import check
from saltreach.intake.formats import cell_text
from saltreach.layers.climate import HEIGHT_DOUBT_M, map_elevation_m
from saltreach.layers.coast_layer import distances_differ

RASTER_ERROR_M = 300.0
"""A face of this height may lie within one cell of a height raster, which has one height for it;
judgement. The map's error is `layers.climate.HEIGHT_DOUBT_M`: relief within its cells of 9 km."""
IMPOSSIBLE_M = 500.0
"""Beyond the layer's error by more than this a height cannot be right; judgement."""
BELOW_SEA_M = -10.0
"""Lower than this, where the ground is above the sea, is worth a second look; judgement."""
HEIGHTS = {"elevation_m": False, "height_above_sea_m": True}
"""Columns with a height, and whether the ground can only be below it."""


def contradicted(
    anchors: pd.DataFrame, file: str, found: Mapping[str, Any]
) -> tuple[pd.DataFrame, pd.DataFrame]:
    """Anchors without heights that cannot be right, and every value that a layer contradicts.

    Parameters
    ----------
    anchors : DataFrame
        Good anchors of a register, or some of them.
    file : str
        Name of the register.
    found : mapping
        What the layers coast and terrain gave and passed there (`layers.join.sample_layers`).

    Returns
    -------
    anchors : DataFrame
        The same; impossible heights are unknown.
    doubts : DataFrame
        Columns as of refused rows, one row per value: file, row, column, value, reason, fix.
    """
    ground, error, source = _ground(anchors, found)
    doubts, unknown = [], {}
    for name, higher_only in HEIGHTS.items():
        given = anchors[name].to_numpy(float)
        with np.errstate(invalid="ignore"):
            apart = given - ground if higher_only else np.abs(given - ground)
            wrong, odd = apart > error + IMPOSSIBLE_M, apart > error
            low = (given < 0 if higher_only else (given < BELOW_SEA_M) & (ground >= 0)) & ~odd
        odd &= ~wrong
        doubts += [
            _doubts(anchors, file, wrong, name,
                    [f"cannot be: the ground is {level}; taken as unknown"
                     for level in _levels(ground[wrong], source[wrong])],
                    "give it in metres (not feet or centimetres), or correct the position"),
            _doubts(anchors, file, odd, name, [f"the ground is {level}; used as given"
                     for level in _levels(ground[odd], source[odd])],
                    "check it and the position"),
            _doubts(anchors, file, low, name, "below the sea; used as given", "check its sign"),
        ]  # fmt: skip
        if wrong.any():
            unknown[name] = np.where(wrong, np.nan, given)
    doubts.append(_distances(anchors, file, found))
    table = pd.concat(doubts, ignore_index=True)
    table = table.sort_values("row", kind="stable", ignore_index=True)
    return anchors.assign(**unknown), table


def sentences(doubts: pd.DataFrame) -> list[str]:
    """Each contradiction as a sentence."""
    return [
        f"row {d.row}, {d.column} = {d.value}: {d.reason}; {d.fix}"
        for d in doubts.itertuples(index=False)
    ]


def _ground(
    anchors: pd.DataFrame, found: Mapping[str, Any]
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Height of the ground, how far it may be off, and who says so: the raster before the map."""
    raster = np.asarray(found["raster_elevation_m"], dtype=float)
    by_map = map_elevation_m(anchors["lon"].to_numpy(float), anchors["lat"].to_numpy(float))
    has_raster = np.isfinite(raster)
    return (
        np.where(has_raster, raster, by_map),
        np.where(has_raster, RASTER_ERROR_M, HEIGHT_DOUBT_M),
        np.where(has_raster, "the height raster", "the map of heights"),
    )


def _levels(ground: np.ndarray, source: np.ndarray) -> list[str]:
    """Heights of the ground in words."""
    return [f"{g:.0f} m over the sea by {s}" for g, s in zip(ground, source, strict=True)]


def _distances(anchors: pd.DataFrame, file: str, found: Mapping[str, Any]) -> pd.DataFrame:
    given = anchors["coast_distance_m"].to_numpy(float)
    layer = np.where(found["coast_side"] == "sea", 0.0, found["shore_distance_m"])
    differ = distances_differ(given, layer, found["shore_sd_m"])
    said = [f"the shoreline is {d:.0f} m away; used as given" for d in layer[differ]]
    return _doubts(
        anchors, file, differ, "coast_distance_m", said,
        "check it and the position; leave it empty to take the shoreline's",
    )  # fmt: skip


def _doubts(
    anchors: pd.DataFrame,
    file: str,
    mask: np.ndarray,
    column: str,
    reason: list[str] | str,
    fix: str,
) -> pd.DataFrame:
    """Doubts about the rows of a mask; `reason` is one for all, or one for each of them."""
    at = np.flatnonzero(mask)
    value = anchors[column].iloc[at].map(cell_text).astype("str")
    reasons = reason if isinstance(reason, str) else pd.Series(reason, dtype="str")
    found = check.problems(np.ones(len(at), dtype=bool), column, value, reasons, fix)
    rows = anchors["source_row"].to_numpy()[at]
    return check.rejected_table(found, rows, file)
