"""What an assessment found, in one screen."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

import pandas as pd

from saltreach.materials import MATERIAL_NAMES
from saltreach.pipeline import CAUTION
from saltreach.register.columns import BANDS

if TYPE_CHECKING:
    from saltreach.pipeline import Assessment


def summary(result: Assessment, out: Path) -> dict[str, Any]:
    """Counts and the crags' metals, as plain values."""
    sectors, register = result.sectors, result.provenance["register"]
    crags = result.crags.sort_values("crag", kind="stable")
    return {
        "anchors": len(result.anchors),
        "sectors": len(sectors),
        "crags": len(crags),
        "rows_refused": register["rejected"],
        "sectors_by_risk_band": {b: int((sectors["risk_band"] == b).sum()) for b in BANDS[::-1]},
        "sectors_by_material": {
            m: int((sectors["material_recommended"] == m).sum()) for m in MATERIAL_NAMES[::-1]
        },
        "sectors_overdue": int((sectors["overdue"] == "yes").sum()),
        "crag_materials": dict(
            zip(crags["crag"], crags["material_recommended"].replace("", "unknown"), strict=True)
        ),
        "assumptions": result.provenance["assumptions"],
        "map": str(out / "map.html"),
        "caution": CAUTION,
    }


def summary_text(result: Assessment, out: Path) -> str:
    """The summary for a person to read."""
    found = summary(result, out)
    lines = [
        f"{found['anchors']} anchors in {found['sectors']} sectors of {found['crags']} crags "
        f"assessed, {found['rows_refused']} rows refused"
        + (f" (see {out / 'rejected.csv'})" if found["rows_refused"] else "")
        + ".",
        "Sectors by risk: " + _counted(found["sectors_by_risk_band"]),
        "Sectors by metal recommended: " + _counted(found["sectors_by_material"]),
        f"Sectors with an overdue inspection: {found['sectors_overdue']}",
        "",
        "Worst sectors:",
        *_worst(result.sectors),
        "",
        "Rests on: " + " ".join(found["assumptions"][:2]) + " All assumptions: provenance.json.",
        CAUTION,
        f"Map: {found['map']}",
    ]
    return "\n".join(lines)


def _counted(counts: dict[str, int]) -> str:
    return ", ".join(f"{n} {word}" for word, n in counts.items() if n) or "none known"


def _worst(sectors: pd.DataFrame, count: int = 5) -> list[str]:
    rank = sectors["risk_band"].map({band: i for i, band in enumerate(BANDS)}).fillna(-1)
    order = pd.DataFrame(
        {"rank": -rank, "due": sectors["next_inspection_on"], "crag": sectors["crag"]}
    ).sort_values(["rank", "due", "crag"], kind="stable")
    return [
        f"  {s.crag} / {s.sector}: {s.risk_band or 'unknown'}, buy {s.material_recommended or '?'},"
        f" every {s.inspection_interval_months} months, next {s.next_inspection_on or '?'}"
        for s in sectors.loc[order.index[:count]].itertuples(index=False)
    ]
