"""What a region pack changes, for a reader and as a table."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import pandas as pd

from saltreach.folders.files import atomic_write
from saltreach.outputs.tables.results import spreadsheet_safe

if TYPE_CHECKING:
    from saltreach.assessment.compare import Comparison


def compare_lines(found: Comparison) -> list[str]:
    """A comparison in lines: what each part gives, then what follows from it."""
    lines = []
    for part, values in found.values.groupby("part", sort=False):
        lines.append(f"{part}: what it gives")
        lines += [f"    {_value(row)}" for row in values.to_dict("records")]
    for source, rows in found.sources.groupby("source", sort=False):
        lines.append(f"{source}: what it says, used or not, beside the embedded value")
        lines += [f"    {_said(row)}" for row in rows.to_dict("records")]
    for part, decisions in found.decisions.groupby("part", sort=False):
        changed = decisions[decisions["anchors_changed"] > 0]
        lines.append(f"{part}: what follows" + ("" if len(changed) else ": nothing changes"))
        lines += [
            f"    {row.decision}: {row.anchors_changed} anchors ({row.changes})"
            for row in changed.itertuples()
        ]
    return lines


def _short(value: float) -> str:
    return f"{value:,.0f}" if abs(value) >= 1000 else f"{value:.4g}"


def _value(row: dict) -> str:
    unit = f" {row['unit']}" if row["unit"] else ""
    known = (
        f"known for {row['known_with']} of {row['anchors']} anchors, {row['known_without']} without"
    )
    if pd.isna(row.get("median_with")):
        return f"{row['column']}: {known}; {row['differ']} differ"
    change = (
        "" if pd.isna(row["median_change"])
        else f"; changes by {_short(row['median_change'])}{unit} (median), nine of ten by at most "
        f"{_short(row['p90_change'])}"
    )  # fmt: skip
    without = "" if pd.isna(row["median_without"]) else f", {_short(row['median_without'])} without"
    return f"{row['column']}: {known}; median {_short(row['median_with'])}{unit}{without}{change}"


def write_comparison(found: Comparison, path: Path) -> Path:
    """Write what differs, one row for each anchor, part and column, safe in a spreadsheet."""
    return atomic_write(path, spreadsheet_safe(found.anchors).to_csv(index=False))


def _said(row: dict) -> str:
    unit = f" {row['unit']}" if row["unit"] else ""
    embedded, apart = _short(row["median_embedded"]), _short(row["median_apart"])
    known = not pd.isna(row["median_embedded"])
    beside = f"{embedded} embedded, apart by {apart} (median)" if known else "none embedded"
    return f"{row['column']}: {_short(row['median'])}{unit} for {row['anchors']} anchors, {beside}"
