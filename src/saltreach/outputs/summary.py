"""What an assessment found, in one screen."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

import pandas as pd

from saltreach.assessment.find_out import WORDS
from saltreach.vocabulary.metals import PLACEABLE
from saltreach.vocabulary.words import (
    ACTIONS,
    BANDS,
    CAUTION,
    DO_NOT_PLACE,
    KINDS_ADVISED,
    OUT_OF_USE,
    SEPARATOR,
)

if TYPE_CHECKING:
    from saltreach.assessment.result import Assessment

MOST_TO_FIND_OUT = 5
MOST_CRAGS = 20


def summary(result: Assessment, out: Path) -> dict[str, Any]:
    """Counts and the crags' metals, as plain values."""
    sectors, register = result.flat.sectors, result.provenance["register"]
    crags = result.flat.crags.sort_values("crag", kind="stable")
    return {
        "anchors": len(result.flat.anchors),
        "sectors": len(sectors),
        "crags": len(crags),
        "rows_refused": register["rejected"],
        "sectors_by_risk_band": {b: int((sectors["risk_band"] == b).sum()) for b in BANDS[::-1]},
        "sectors_by_material": {
            m: int((sectors["material_recommended"] == m).sum()) for m in PLACEABLE[::-1]
        },
        "anchors_by_action": {a: int((result.flat.anchors["action"] == a).sum()) for a in ACTIONS},
        "out_of_use_today": _failed(result.flat.anchors),
        "visits_per_year": visits_per_year(sectors),
        "sectors_overdue": int((sectors["overdue"] == "yes").sum()),
        "crag_materials": dict(
            zip(crags["crag"], crags["material_recommended"].replace("", "unknown"), strict=True)
        ),
        "sectors_by_rock_band": {b: int((sectors["rock_band"] == b).sum()) for b in BANDS[::-1]},
        "sectors_by_kind": {k: int((sectors["kind_advised"] == k).sum()) for k in KINDS_ADVISED},
        "do_not_place": [
            {
                "crag": s.crag,
                "sector": s.sector,
                "spots": int(s.spots_refused),
                "anchors": int(s.anchors),
                "reasons": s.kind_reasons.split(SEPARATOR),
            }
            for s in sectors[sectors["spots_refused"] > 0].itertuples(index=False)
        ],
        "rock_disagreements": result.provenance["rock"]["disagreements"],
        "rock_entries_unmapped": result.provenance["rock"]["unmapped_entries"],
        "survey": result.provenance["survey"],
        "find_out": []
        if result.flat.find_out is None
        else result.flat.find_out.groupby("crag").head(MOST_TO_FIND_OUT).to_dict("records"),
        "assumptions": result.provenance["assumptions"],
        "map": str(out / "map.html"),
        "caution": CAUTION,
    }


def _failed(anchors: pd.DataFrame) -> list[str]:
    failed = anchors[anchors["action"] == OUT_OF_USE]
    return [f"{r.anchor_id} ({r.crag} / {r.sector})" for r in failed.itertuples(index=False)]


def _out_of_use(failed: list[str]) -> list[str]:
    """Failed anchors come before everything else."""
    if not failed:
        return []
    return [f"TAKE OUT OF USE TODAY: {', '.join(failed)}."]


def visits_per_year(sectors: pd.DataFrame) -> float:
    """Visits a year that keep every sector's interval."""
    months = pd.to_numeric(sectors["inspection_interval_months"], errors="coerce")
    return round(float((12.0 / months.astype(float)).sum()), 1)


def summary_text(result: Assessment, out: Path) -> str:
    """The summary for a person to read."""
    found = summary(result, out)
    lines = [
        f"{found['anchors']} anchors in {found['sectors']} sectors of {found['crags']} crags "
        f"assessed, {found['rows_refused']} rows refused"
        + (f" (see {out / 'rejected.csv'})" if found["rows_refused"] else "")
        + ".",
        *_out_of_use(found["out_of_use_today"]),
        "Sectors by risk: " + _counted(found["sectors_by_risk_band"]),
        "Anchors: " + _counted(found["anchors_by_action"]),
        "Sectors by metal recommended: " + _counted(found["sectors_by_material"]),
        f"Sectors with an overdue inspection: {found['sectors_overdue']}; all intervals kept would "
        f"take {found['visits_per_year']:.0f} sector visits a year.",
        *_rock_lines(found),
        "",
        "First in line:",
        *_first(result.flat.sectors),
        *_find_out(result.flat.find_out),
        "",
        "Rests on: " + " ".join(found["assumptions"][:2]) + " All assumptions: provenance.json.",
        *(line for line in found["assumptions"] if line.startswith("LOOSER POLICY")),
        CAUTION,
        f"Map: {found['map']}",
    ]
    return "\n".join(lines)


def _rock_lines(found: dict[str, Any]) -> list[str]:
    """Rock: bands, kinds, the places to keep off with their reasons, and what to check."""
    lines = [
        "Sectors by rock risk: " + _counted(found["sectors_by_rock_band"]),
        "Sectors by kind of anchor advised: " + _counted(found["sectors_by_kind"]),
        *(
            f"  {place['crag']} / {place['sector']}: {place['spots']} of {place['anchors']} spots "
            f"to move or remove ({DO_NOT_PLACE}). {' '.join(place['reasons'])}"
            for place in found["do_not_place"]
        ),
    ]
    if found["rock_disagreements"]:
        lines.append(
            f"Register and geological map name different rocks at {found['rock_disagreements']} "
            "anchors: see their warnings."
        )
    if found["rock_entries_unmapped"]:
        lines.append(
            "Rock entries that name no rock of the table (map them with --rock-mapping): "
            + _counted(found["rock_entries_unmapped"], first=True)
        )
    return lines


def _counted(counts: dict[str, int], *, first: bool = False) -> str:
    texts = (f"{word} ({n})" if first else f"{n} {word}" for word, n in counts.items() if n)
    return ", ".join(texts) or "none known"


def _first(sectors: pd.DataFrame, count: int = 5) -> list[str]:
    lines = []
    for s in sectors.sort_values("priority_rank").head(count).itertuples(index=False):
        due = s.next_inspection_on or "?"
        by = f", act or close by {s.replace_by}" if s.replace_by else ""
        lines += [
            f"  {s.crag} / {s.sector}: {s.risk_share}; buy {s.material_recommended or '?'}, look "
            f"every {s.inspection_interval_months} months, next {due}"
            + (" (overdue)" if s.overdue == "yes" else "")
            + by,
            f"    {s.priority_reasons}",
        ]
    return lines


def _find_out(found: pd.DataFrame | None) -> list[str]:
    """The most valuable unknowns of each crag, one line a crag."""
    if found is None or not len(found):
        return []
    best = found.groupby("crag").head(MOST_TO_FIND_OUT)
    value = best.groupby("crag")["decisions_changed"].sum().sort_values(ascending=False)
    lines = ["", "Worth finding out next (sector: how many decisions it would likely change):"]
    for crag in value.index[:MOST_CRAGS]:
        parts: dict[str, list[str]] = {}
        for row in best[best["crag"] == crag].itertuples(index=False):
            parts.setdefault(WORDS[row.find_out], []).append(
                f"{row.sector}: {row.decisions_changed:g}"
            )
        texts = (f"{words} ({', '.join(where)})" for words, where in parts.items())
        lines.append(f"  {crag}: " + "; ".join(texts))
    if len(value) > MOST_CRAGS:
        lines.append(f"  and {len(value) - MOST_CRAGS} more crags: see find_out.csv")
    return lines
