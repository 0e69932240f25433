"""What `make bench` wrote, as a table: for the documentation, and for the screen."""

from __future__ import annotations

import html
import json
from collections.abc import Mapping
from pathlib import Path
from typing import Any

RESULTS = Path(__file__).parents[2] / "tests" / "benchmarks" / "results"
NAMED = "[0-9][0-9][0-9][0-9]-[0-9][0-9]-[0-9][0-9].json"
HEADS = (
    "what", "count", "s", "per s", "peer", "peer's s", "times as fast", "peak, MB", "growth",
    "note",
)  # fmt: skip
NOTHING = "Nothing has been measured yet: `make bench` writes the file that this page shows."


def number(value: float | None) -> str:
    """Three figures or so, never a power of ten; nothing for unknown."""
    if value is None:
        return ""
    if abs(value) >= 100 or value == 0:
        return f"{value:,.0f}"
    if abs(value) >= 0.1:
        return f"{value:.{1 if abs(value) >= 10 else 2}f}"
    return f"{value:.2g}" if abs(value) >= 0.001 else f"{value:.7f}".rstrip("0")


def cells(row: Mapping[str, Any]) -> tuple[str, ...]:
    """A row as it is shown, in the order of `HEADS`; one that failed says so in its note."""
    peak = number(row.get("peak_mb"))
    failed = row.get("failed")
    return (
        row["what"],
        "" if row.get("count") is None else f"{row['count']:,}",
        *(number(row.get(name)) for name in ("seconds", "per_second")),
        row.get("peer") or "",
        *(number(row.get(name)) for name in ("peer_seconds", "times_as_fast")),
        f"≤ {peak}" if peak and row.get("peak_of_part") else peak,
        "" if row.get("growth") is None else f"{row['growth']:.2f}",
        f"FAILED: {failed}" if failed else row.get("note") or "",
    )


def newest(folder: Path = RESULTS) -> dict[str, Any] | None:
    """The newest file of a folder by the day in its name, or None."""
    files = sorted(folder.glob(NAMED))
    return json.loads(files[-1].read_text(encoding="utf-8")) if files else None


def machine(found: Mapping[str, Any]) -> str:
    """On what it was measured, in one sentence."""
    on, libraries = found["machine"], found["machine"]["versions"]
    versions = ", ".join(f"{name} {version}" for name, version in libraries.items())
    small = ", with small counts that say nothing of speed" if found["quick"] else ""
    return (
        f"Measured on {found['measured_on']}{small}: {on['cores']} cores, {on['processor']}, "
        f"{on['memory_gb']:g} GB, load {found['load_average_1min']:.1f} at the start; {versions}."
    )


def parts(found: Mapping[str, Any]) -> list[tuple[str, list[tuple[str, ...]]]]:
    """Title of each part, and its rows as they are shown, safe in a page."""
    return [
        (f"{one['part'].capitalize()}",
         [tuple(html.escape(c, quote=False) for c in cells(r)) for r in one["rows"]])
        for one in found["parts"]
    ]  # fmt: skip
