"""What failed and is gone: it is in no register, and still speaks for its like."""

from __future__ import annotations

from typing import Any

import pandas as pd

from saltreach.records.watched import OF_PIECE, seen_of
from saltreach.vocabulary.metals import MATERIAL_NAMES
from saltreach.vocabulary.words import PLACED, PULLED, REMOVED, REPLACED, UNKNOWN

_ENDS = (PLACED, REPLACED, REMOVED, PULLED)
_PLACE = ("crag", "sector")
_METALS = tuple(name for name in OF_PIECE if name.endswith("material"))
COLUMNS = (*_PLACE, "kind", *_METALS, "installed_on", "metal_failed", "by_test")


def failed_before(events: pd.DataFrame) -> pd.DataFrame | None:
    """Pieces that were found failed and are no longer in place.

    Parameters
    ----------
    events : DataFrame
        Of a book (`records.events.COLUMNS`).

    Returns
    -------
    DataFrame or None
        `COLUMNS`, one row per piece, in the order of placing; None where there is none.
        `metal_failed`: a look found the metal broken, cracked or in condition 4
        (`watched.failed_by`), or it failed under a test; else the hold in the rock. `by_test`: a
        test found it. That a piece was replaced says nothing by itself.
    """
    ended = events.loc[events["kind"].isin(_ENDS), "anchor_id"].unique()
    pieces = seen_of(events[events["anchor_id"].isin(ended)]).pieces
    place: dict[str, dict[str, Any]] = {}
    rows = []
    for piece in pieces:
        said = {name: piece.says[name] for name in _PLACE if name in piece.says}
        where = place[piece.anchor_id] = place.get(piece.anchor_id, {}) | said
        metal = any(failed for _, failed in (*piece.looks, *piece.proofs))
        if (metal or piece.gave_way) and (piece.gone or not piece.last):
            what = {name: piece.says.get(name) or UNKNOWN for name in _METALS}
            rows.append(
                where | what | {"kind": piece.says.get("kind"), "metal_failed": metal,
                                "installed_on": piece.installed_on or None,
                                "by_test": piece.tested}
            )  # fmt: skip
    if not rows:
        return None
    found = pd.DataFrame(rows, columns=list(COLUMNS))
    flags = ("metal_failed", "by_test")
    found = found.astype({name: bool if name in flags else "str" for name in COLUMNS})
    known = [*MATERIAL_NAMES, UNKNOWN]
    metals = {name: found[name].where(found[name].isin(known), UNKNOWN) for name in _METALS}
    return found.assign(**metals)
