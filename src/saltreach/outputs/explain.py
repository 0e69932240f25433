"""One anchor's chain of values, from what the layers say to the category, for a person to read."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import pandas as pd

from saltreach.assessment.chain import anchor_chain
from saltreach.vocabulary.columns import CHAIN, Column
from saltreach.vocabulary.words import CAUTION, SEPARATOR

if TYPE_CHECKING:
    from saltreach.assessment.result import Assessment

STEPS = ("register", "layers", "science", "decisions")
"""What is shown, in the order the data flows: columns of these stages."""

INPUT_WORDS = {
    "coast_distance": "place of the shoreline",
    "chloride": "salt at that distance",
    "temperature": "temperature",
    "relative_humidity": "humidity",
    "so2": "SO2",
    "function": "ISO 9223's function itself",
}


def explain(result: Assessment, anchor_id: str) -> str:
    """The chain of one anchor as text.

    Parameters
    ----------
    result : Assessment
        From `assess`, not read back from files.
    anchor_id : str
        Key of the anchor.

    Raises
    ------
    OptionError
        When no good row has that key.
    """
    row, shares = anchor_chain(result, anchor_id)
    lines = [*result.provenance.get("left_out", ()), f"Anchor {anchor_id}"]
    for stage in STEPS:
        lines += ["", stage.capitalize()]
        for column in CHAIN:
            if column.stage == stage:
                lines += _lines(column, row)
    lines += ["", "Share of each input in the variance of ln(first-year loss)"]
    lines.append(f"  {'':28s}" + "".join(f"{metal:>8s}" for metal in shares))
    for name, words in INPUT_WORDS.items():
        lines.append(f"  {words:28s}" + "".join(f"{_share(v):>8s}" for v in shares.loc[name]))
    return "\n".join([*lines, "", CAUTION])


def _lines(column: Column, row: pd.Series) -> list[str]:
    name, value = column.name, row.get(column.name)
    if column.kind == "sentences":
        parts = [p for p in str(value or "").split(SEPARATOR) if p]
        return [f"  {name}"] + [f"    - {part}" for part in parts]
    unit = f" {column.unit}" if column.unit else ""
    low, high = row.get(f"{name}_p10"), row.get(f"{name}_p90")
    known = value is not None and not pd.isna(value) and value != ""
    spread = f"  (p10 {low:.4g}, p90 {high:.4g})" if known and low is not None else ""
    return [f"  {name:28s}{_shown(value) + unit if known else 'not known'}{spread}"]


def _shown(value: Any) -> str:
    if isinstance(value, float):
        return f"{value:.7g}" if abs(value) >= 100 and value == int(value) else f"{value:.5g}"
    return str(value)


def _share(value: float) -> str:
    return "unknown" if pd.isna(value) else f"{value:.0%}"
