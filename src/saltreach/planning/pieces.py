"""What goes into the rock in place of an anchor: piece, hole, adhesive, and how far from what."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import numpy as np
import pandas as pd

from saltreach.assessment.resistance import metal_diameter_mm
from saltreach.intake.prices import Piece, Prices
from saltreach.planning.offers import (
    HOLE_DEEPER_MM,
    USUAL_EMBEDMENT_MM,
    offered_kinds,
    piece_diameter_mm,
    resin_ml,
)
from saltreach.science.rock.placement import (
    CRACK_MIN_EMBEDMENTS,
    EDGE_MIN_EMBEDMENTS,
    EDGE_MIN_MM,
    EN959_AXIAL_KN,
    EN959_RADIAL_KN,
    SPACING_MIN_EMBEDMENTS,
)
from saltreach.science.rock.resistance import HOLE_OVERSIZE_MM
from saltreach.vocabulary.metals import BONDED, PLACEABLE
from saltreach.vocabulary.words import DO_NOT_PLACE


def spacing_of(length_mm: float) -> dict[str, float]:
    """Least distances of a hole from an edge, a crack and another hole, mm.

    Parameters
    ----------
    length_mm : float
        Length of the piece in the rock.

    References
    ----------
    The rules of thumb of `saltreach.science.rock.placement`: common practice, no source.

    Examples
    --------
    >>> spacing_of(80.0), spacing_of(120.0)["edge_mm"]
    ({'edge_mm': 150.0, 'crack_mm': 80.0, 'hole_mm': 240.0}, 180.0)
    """
    return {
        "edge_mm": max(EDGE_MIN_EMBEDMENTS * length_mm, EDGE_MIN_MM),
        "crack_mm": CRACK_MIN_EMBEDMENTS * length_mm,
        "hole_mm": SPACING_MIN_EMBEDMENTS * length_mm,
    }


def piece_record(piece: Piece, *, assumed: bool = False) -> dict[str, Any]:
    """A piece with its hole and the adhesive of one anchor, as plain values.

    Parameters
    ----------
    piece : Piece
        One anchor.
    assumed : bool
        Whether its length is assumed because the rock asked for none.

    Returns
    -------
    dict
        `kind`, `metal`, `grade`, `diameter_mm`, `length_mm`, `legs`, `hole_diameter_mm`,
        `hole_depth_mm`, `adhesive_ml` (in all its holes, without waste; 0 for a mechanical one),
        `label`, `length_assumed`.

    Notes
    -----
    A bonded piece has a hole 2 mm wider, a mechanical one of its own diameter; both 10 mm deeper
    than the piece: common practice, no source. The maker's word comes first.
    """
    bonded = piece.kind == BONDED
    resin = piece.legs * float(resin_ml(piece.diameter_mm, piece.length_mm)) if bonded else 0.0
    return {
        "kind": piece.kind, "metal": piece.metal, "grade": piece.grade,
        "diameter_mm": piece.diameter_mm, "length_mm": piece.length_mm, "legs": piece.legs,
        "hole_diameter_mm": piece.diameter_mm + (HOLE_OVERSIZE_MM if bonded else 0.0),
        "hole_depth_mm": piece.length_mm + HOLE_DEEPER_MM, "adhesive_ml": round(resin, 3),
        "label": piece.label, "length_assumed": assumed,
    }  # fmt: skip


def pieces_for(
    anchors: pd.DataFrame,
    sector: Mapping[str, Any],
    prices: Prices | None = None,
    bought: Piece | None = None,
) -> list[dict[str, Any] | None]:
    """The piece for each anchor of a sector that is replaced.

    Parameters
    ----------
    anchors : DataFrame
        `embedment_required_mm`, `kind_advised` of those to replace.
    sector : mapping
        `material_recommended`, `material_alternative`, `kind_advised`, `embedment_required_mm`.
    prices : Prices, optional
        With a stock list only its pieces are taken, in whole lengths: the cheapest that is long
        enough for all, else for each anchor the cheapest that is long enough for it.
    bought : Piece, optional
        What a budget has bought for the sector; it is taken where it is long enough.

    Returns
    -------
    list of dict or None
        As `piece_record`; None where nothing suffices or no metal is advised. A spot that refuses
        an anchor gets the longest of its sector, for a better spot beside it.
    """
    own = anchors["embedment_required_mm"].to_numpy(float)
    refused = (anchors["kind_advised"] == DO_NOT_PLACE).to_numpy()
    longest = float(sector.get("embedment_required_mm") or np.nan)
    own = np.where(refused & np.isnan(own), longest, own)
    assumed = np.isnan(own)
    depth = np.where(assumed, USUAL_EMBEDMENT_MM, own)
    if not len(depth):
        return []
    if bought is not None:
        offered: tuple[Piece, ...] = (bought,)
    else:
        offered = _offers(sector, float(depth.max()), prices)
    for_all = [p for p in offered if p.length_mm >= depth.max()][:1]
    return [
        None if found is None else piece_record(found, assumed=bool(unsure))
        for found, unsure in (
            (next((p for p in (*for_all, *offered) if p.length_mm >= deep), None), unsure)
            for deep, unsure in zip(depth, assumed, strict=True)
        )
    ]


def _offers(
    sector: Mapping[str, Any], longest_mm: float, prices: Prices | None
) -> tuple[Piece, ...]:
    """Pieces that suit a sector, the cheapest of the least metal first."""
    metal = sector["material_recommended"] or sector["material_alternative"]
    kind = str(sector["kind_advised"] or "")
    if not metal:
        return ()
    if prices is None or not prices.stock:
        diameter = metal_diameter_mm(pd.Series([metal]), EN959_AXIAL_KN, EN959_RADIAL_KN)[0]
        return (Piece(BONDED, metal, float(diameter), longest_mm, 0.0),)
    better = PLACEABLE[PLACEABLE.index(metal) :]
    fits = [
        p
        for p in prices.stock
        if p.metal in better
        and (p.metal != "duplex" or metal == "duplex")
        and p.kind in offered_kinds(kind)
        and p.diameter_mm >= piece_diameter_mm(p)
        and p.how_many != 0
    ]
    return tuple(sorted(fits, key=lambda p: (better.index(p.metal), p.price, p.length_mm)))
