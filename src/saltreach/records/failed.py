"""What failed and is gone: it is in no register, and still speaks for its like."""

from __future__ import annotations

from typing import Any

import pandas as pd

from saltreach.records.watched import OF_PIECE, Piece, seen_of
from saltreach.vocabulary.metals import MATERIAL_NAMES
from saltreach.vocabulary.words import PLACED, PULLED, REMOVED, REPLACED, UNKNOWN

_ENDS = (PLACED, REPLACED, REMOVED, PULLED)
_PLACE = ("crag", "sector")
_METALS = tuple(name for name in OF_PIECE if name.endswith("material"))
COLUMNS = (*_PLACE, *_METALS, "installed_on")


def failed_before(events: pd.DataFrame) -> pd.DataFrame | None:
    """Pieces that were found failed and are no longer in place.

    Parameters
    ----------
    events : DataFrame
        Of a book (`records.events.COLUMNS`).

    Returns
    -------
    DataFrame or None
        `COLUMNS`, one row per piece, in the order of placing; None where there is none. A look
        that finds the metal broken, cracked or in condition 4 (`watched.failed_by`), or a test
        under which the metal failed, counts; that a piece was replaced says nothing by itself.
    """
    ended = events.loc[events["kind"].isin(_ENDS), "anchor_id"].unique()
    pieces = seen_of(events[events["anchor_id"].isin(ended)]).pieces
    place: dict[str, dict[str, Any]] = {}
    rows = []
    for piece in pieces:
        said = {name: piece.says[name] for name in _PLACE if name in piece.says}
        where = place[piece.anchor_id] = place.get(piece.anchor_id, {}) | said
        if (piece.gone or not piece.last) and _failed(piece):
            metals = {name: piece.says.get(name) or UNKNOWN for name in _METALS}
            rows.append({**where, **metals, "installed_on": piece.installed_on or None})
    if not rows:
        return None
    found = pd.DataFrame(rows, columns=list(COLUMNS)).astype("str")
    known = [*MATERIAL_NAMES, UNKNOWN]
    return found.assign(**{name: found[name].where(found[name].isin(known), UNKNOWN)
                           for name in _METALS})  # fmt: skip


def _failed(piece: Piece) -> bool:
    return any(failed for _, failed in (*piece.looks, *piece.proofs))
