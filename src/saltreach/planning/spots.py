"""The anchors of one stop: which of the sector, in which order, and what is done at each."""

from __future__ import annotations

from collections.abc import Mapping
from itertools import chain
from typing import Any

import numpy as np
import pandas as pd

from saltreach.assessment.priority import anchor_priority
from saltreach.intake.prices import Piece, Prices
from saltreach.planning.offers import WORST, WORST_BANDS
from saltreach.planning.pieces import pieces_for, spacing_of
from saltreach.planning.trip import LOOK, PLACE, Spot
from saltreach.planning.wall import on_the_wall
from saltreach.vocabulary.columns import Column, columns_of
from saltreach.vocabulary.words import (
    DO_NOT_PLACE,
    OUT_OF_USE,
    REBOLT,
    SEPARATOR,
    UNKNOWN,
)

_USED = (
    ("anchor_id", "crag", "sector", "route"),
    ("position", "lon", "lat", "face_azimuth_deg"),
    ("height_above_sea_m", "elevation_m", "elevation_source"),
    ("action", "action_reasons", "replace_by", "warnings"),
    ("kind_advised", "kind_reasons", "embedment_required_mm", "replacement_cost"),
    ("risk_band",),
)
"""Columns of an assessed anchor that a sheet needs, besides what is known of it."""
_KNOWN = columns_of("register", shown="known")
MOST_REASONS = 4
"""Reasons of a stop on the first page."""
SAID_ONLY = ("findings", "placement_doubts", "proof_tested_on", "closed_on")
"""Left out where nothing is written: that is no unknown. So are notes."""
CONDITIONS = columns_of("register")["condition"].meaning.split(", ")

LOOK_AT = "Look, tap, turn and photograph it."
CLOSE = "Close it today: tag it so that nobody clips it."
BY_ACTION = {
    OUT_OF_USE: f"{CLOSE} {LOOK_AT}",
    "move or remove": f"The rock here refuses an anchor. {LOOK_AT} Look for sound rock near it.",
    "replace": f"To be replaced. {LOOK_AT}",
    "find out": f"{LOOK_AT} Find out what is not known of it.",
    "keep": LOOK_AT,
}
NO_PIECE = "No piece suffices or no metal is advised: place nothing. Look, tap and photograph it."
NOT_HERE = "Not in this spot: find sound rock near it, or close it."


def spots_of(
    anchors: pd.DataFrame, sector: Mapping[str, Any], visit: Mapping[str, Any], *,
    prices: Prices | None = None, piece: Piece | None = None, others: pd.DataFrame | None = None,
) -> tuple[tuple[Spot, ...], str, pd.DataFrame]:  # fmt: skip
    """The anchors of a visit.

    Parameters
    ----------
    anchors : DataFrame
        Anchors of the sector, from `ready`.
    sector : mapping
        Its assessed row.
    visit : mapping
        `crag`, `sector`, `kind`, `part` (`1 of 2` or empty), `anchors` (how many; negative: all),
        `both` (whether each anchor is done as its assessment says), `scope` (of what is bought).
    prices, piece
        As for `pieces.pieces_for`.
    others : DataFrame, optional
        All visits, to know how many anchors the parts of a sector have together.

    Returns
    -------
    spots : tuple of Spot
        In the order on the wall.
    rule : str
        How they were put in order.
    anchors : DataFrame
        The same, with `east_m`, `north_m`.

    Notes
    -----
    An inspection looks at all anchors of the sector. Rebolting takes those whose replacement
    avoids the largest loss, as many as are planned, as `offers.choices` did. Of a sector in parts
    each takes its share of the wall, from left to right.
    """
    placing = visit["kind"] == REBOLT
    wanted = to_replace(anchors, worst_only=visit["scope"] == WORST)
    if placing:
        total = whole_count(visit, others)
        picked = wanted if total < 0 else wanted.iloc[:total]
    else:
        picked = anchors[~anchors.index.isin(wanted.index)] if visit["both"] else anchors
    ordered, rule = on_the_wall(picked)
    part, parts = part_of(visit["part"])
    count = len(ordered)
    mine = ordered.iloc[count * (part - 1) // parts : count * part // parts]
    mine = mine.reset_index(drop=True)
    pieces = pieces_for(mine, sector, prices, piece) if placing else [None] * len(mine)
    rows = mine.to_dict("records")
    each = enumerate(zip(rows, pieces, strict=True), 1)
    return tuple(_spot(row, i, new, placing) for i, (row, new) in each), rule, mine


def in_short(anchors: pd.DataFrame) -> tuple[str, ...]:
    """What `action_reasons` say of most anchors of a stop, and of how many."""
    texts = anchors["action_reasons"].fillna("").str.split(SEPARATOR, regex=False).explode()
    counts = texts[texts != ""].value_counts().head(MOST_REASONS)
    return tuple(f"{n} of {len(anchors)}: {text}" for text, n in counts.items())


def part_of(text: str) -> tuple[int, int]:
    """Part and number of parts of `1 of 2`; one of one where empty or written otherwise."""
    part, _, parts = str(text).partition(" of ")
    if part.isdecimal() and parts.isdecimal() and 1 <= int(part) <= int(parts):
        return int(part), int(parts)
    return 1, 1


def whole_count(visit: Mapping[str, Any], others: pd.DataFrame | None) -> int:
    """How many anchors all parts of a visit have together; negative where all are meant.

    The least number that the plan's rule of shares splits into the parts that are there.
    """
    part, parts = part_of(visit["part"])
    shares = {part: int(visit["anchors"])}
    if parts == 1 or others is None:
        return shares[part]
    same = (others["crag"] == visit["crag"]) & (others["sector"] == visit["sector"])
    same &= others["kind"] == visit["kind"]
    for text, share in others.loc[same, ["part", "anchors"]].itertuples(index=False):
        if part_of(text)[1] == parts:
            shares[part_of(text)[0]] = int(share)
    low, high = (min(shares.values()) - 1) * parts, (max(shares.values()) + 1) * parts
    for total in range(low, high + 1):
        if all(total * p // parts - total * (p - 1) // parts == n for p, n in shares.items()):
            return total
    return max(shares.values()) * parts


def ready(anchors: pd.DataFrame) -> pd.DataFrame:
    """The columns of assessed anchors that a sheet shows, and `avoided`: what replacing avoids.

    Plain values, None where unknown.
    """
    found = anchor_priority(anchors)
    avoided = (found["yearly_loss"] - found["yearly_loss_after"]).fillna(0.0)
    names = {*_KNOWN, *chain(*_USED)} & {*anchors.columns}
    table = anchors[sorted(names)].assign(avoided=avoided)
    return table.astype(object).where(table.notna(), None)


def to_replace(anchors: pd.DataFrame, *, worst_only: bool = False) -> pd.DataFrame:
    """Anchors that a new one is bought for, those first whose replacement avoids most loss.

    Parameters
    ----------
    anchors : DataFrame
        From `ready`.
    worst_only : bool
        Only those of the worst bands.
    """
    wanted = pd.to_numeric(anchors["replacement_cost"]).fillna(0.0) > 0
    if worst_only:
        wanted &= anchors["risk_band"].isin(WORST_BANDS)
    return anchors[wanted].sort_values("avoided", ascending=False, kind="stable")


def label_of(column: Column) -> str:
    """A column's name in words, without its unit.

    Examples
    --------
    >>> label_of(columns_of("register")["crack_distance_mm"])
    'crack distance'
    """
    end = {"°C": "_c", "N·m": "_nm", "kN": "_kn", "degrees": "_deg"}.get(column.unit)
    name = column.name.removesuffix(end or f"_{column.unit}")
    return name.replace("_", " ")


def value_text(value: Any, column: Column) -> str:
    """A value of the register as a reader sees it; `unknown` for none."""
    if value is None or value == "" or (isinstance(value, float) and np.isnan(value)):
        return UNKNOWN
    if column.name == "condition":
        return CONDITIONS[int(value)]
    if column.kind in ("number", "integer"):
        return f"{float(value):g} {column.unit}".strip()
    return str(value)


def _spot(row: Mapping[str, Any], order: int, piece: dict[str, Any] | None, placing: bool) -> Spot:
    action = row["action"] or ""
    known = tuple(
        {"column": name, "label": label_of(c), "value": value_text(row.get(name), c)}
        for name, c in _KNOWN.items()
        if row.get(name) or name not in (*SAID_ONLY, "notes")
    )
    return Spot(
        anchor_id=str(row["anchor_id"]), route=row["route"] or "", position=row["position"] or "",
        order=order, lon=float(row["lon"]), lat=float(row["lat"]),
        to_do=_to_do(row, piece, placing), action=action, form=PLACE if placing else LOOK,
        known=known, reasons=_sentences(row, placing),
        warnings=tuple(filter(None, (row["warnings"] or "").split(SEPARATOR))),
        piece=piece, spacing=spacing_of(piece["length_mm"]) if piece else {},
    )  # fmt: skip


def _to_do(row: Mapping[str, Any], piece: dict[str, Any] | None, placing: bool) -> str:
    if not placing:
        by = row["replace_by"]
        return BY_ACTION.get(row["action"], LOOK_AT) + (f" Due by {by}." if by else "")
    if piece is None:
        return NO_PIECE
    legs = f"{piece['legs']} holes" if piece["legs"] > 1 else "hole"
    what = (
        f"Place {piece['label']}: {legs} {piece['hole_diameter_mm']:g} mm wide, "
        f"{piece['hole_depth_mm']:g} mm deep. Take the old one out."
    )
    return f"{NOT_HERE} {what}" if row["kind_advised"] == DO_NOT_PLACE else what


def _sentences(row: Mapping[str, Any], placing: bool) -> tuple[str, ...]:
    names = ["action_reasons", *(["kind_reasons"] if placing else [])]
    every = [s for n in names for s in (row[n] or "").split(SEPARATOR) if s]
    return tuple(dict.fromkeys(every))
