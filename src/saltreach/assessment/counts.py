"""What an assessment found, counted: what the summary and the overview picture say."""

from __future__ import annotations

from collections.abc import Iterable
from typing import TYPE_CHECKING, Any

import pandas as pd

from saltreach.vocabulary.metals import PLACEABLE
from saltreach.vocabulary.words import (
    ACTIONS,
    BANDS,
    KINDS_ADVISED,
    OUT_OF_USE,
    SEPARATOR,
    UNKNOWN,
)

if TYPE_CHECKING:
    from saltreach.assessment.result import Assessment

MOST_TO_FIND_OUT = 5
"""Questions of each crag, the most valuable first."""


def counts(result: Assessment) -> dict[str, Any]:
    """Counts, the crags' metals and the places to keep off, as plain values.

    Parameters
    ----------
    result : Assessment
        From `assess` or `read_results`.

    Returns
    -------
    dict
        Ready for JSON; see the summary of `saltreach assess --json`.
    """
    anchors, sectors, register = (
        result.flat.anchors, result.flat.sectors, result.provenance["register"],
    )  # fmt: skip
    crags = result.flat.crags.sort_values("crag", kind="stable")
    out_of_use = anchors[anchors["action"] == OUT_OF_USE]
    closed = _is_closed(out_of_use)
    spots = sectors[sectors["spots_refused"] > 0].sort_values("priority_rank", kind="stable")
    return {
        "left_out": result.provenance.get("left_out", []),
        "anchors": len(anchors),
        "sectors": len(sectors),
        "crags": len(crags),
        "rows_refused": register["rejected"],
        "cells_in_doubt": len(result.flat.doubts),
        "sectors_by_risk_band": count_of(sectors["risk_band"], BANDS[::-1]),
        "sectors_by_material": count_of(sectors["material_recommended"], PLACEABLE[::-1]),
        "anchors_by_action": count_of(anchors["action"], ACTIONS),
        "out_of_use_today": [
            f"{a.anchor_id} ({a.crag} / {a.sector})"
            for a in out_of_use[~closed].itertuples(index=False)
        ],
        "closed_already": int(_is_closed(anchors).sum()),
        "visits_per_year": visits_per_year(sectors),
        "sectors_overdue": overdue(sectors),
        "crag_materials": dict(
            zip(crags["crag"], crags["material_recommended"].replace("", UNKNOWN), strict=True)
        ),
        "sectors_by_rock_band": count_of(sectors["rock_band"], BANDS[::-1]),
        "sectors_by_kind": count_of(sectors["kind_advised"], KINDS_ADVISED),
        "do_not_place": [
            {
                "crag": s.crag,
                "sector": s.sector,
                "spots": int(s.spots_refused),
                "anchors": int(s.anchors),
                "reasons": s.kind_reasons.split(SEPARATOR),
            }
            for s in spots.itertuples(index=False)
        ],
        "rock_disagreements": result.provenance["rock"]["disagreements"],
        "rock_entries_unmapped": result.provenance["rock"]["unmapped_entries"],
        "survey": result.provenance["survey"],
        "find_out": []
        if result.flat.find_out is None
        else result.flat.find_out.groupby("crag").head(MOST_TO_FIND_OUT).to_dict("records"),
        "table_notes": result.provenance.get("table_notes", []),
        "assumptions": result.provenance["assumptions"],
    }


def count_of(values: pd.Series, words: Iterable[str]) -> dict[str, int]:
    """How often each word stands in a column, in the order of the words."""
    found = values.value_counts()
    return {word: int(found.get(word, 0)) for word in words}


def overdue(sectors: pd.DataFrame) -> int:
    """Sectors with an overdue inspection."""
    return int((sectors["overdue"] == "yes").sum())


def visits_per_year(sectors: pd.DataFrame) -> float:
    """Visits a year that keep every sector's interval."""
    months = pd.to_numeric(sectors["inspection_interval_months"], errors="coerce")
    return round(float((12.0 / months.astype(float)).sum()), 1)


def _is_closed(anchors: pd.DataFrame) -> pd.Series:
    """Whether each anchor is out of use already."""
    if "closed_on" not in anchors:
        return pd.Series(False, index=anchors.index)
    return anchors["closed_on"].fillna("") != ""
