"""What was measured, as rows that compare, and the file that keeps them."""

import json
import math
import os
import platform
import re
from collections.abc import Iterable, Mapping
from importlib.metadata import PackageNotFoundError, version
from pathlib import Path
from typing import Any

import numpy as np
import psutil

LIBRARIES = (
    "saltreach", "numpy", "pandas", "geopandas", "shapely", "scipy", "numba", "pyarrow", "xarray",
    "pyogrio", "highspy", "folium",
)  # fmt: skip
FORMAT = "saltreach benchmarks"
_FOLDERS = re.compile(r"(?<![\w.])(?:/[\w.+@~-]+)+/([\w.+@~-]+)")


def growth(counts: Iterable[float], seconds: Iterable[float]) -> float | None:
    """Exponent of the growth of the time: least squares of ln seconds on ln count.

    None where fewer than two counts differ or a time is not above 0.
    """
    x, y = np.asarray(list(counts), float), np.asarray(list(seconds), float)
    if len(np.unique(x)) < 2 or min(x.min(), y.min()) <= 0:
        return None
    x, y = np.log(x), np.log(y)
    x = x - x.mean()
    return float(x @ (y - y.mean()) / (x @ x))


def _plain(value: Any) -> Any:
    """As JSON holds it: numpy's numbers as Python's, no NaN, texts without folders."""
    if isinstance(value, str):
        return " ".join(_FOLDERS.sub(r"\1", value).split())
    if isinstance(value, np.generic):
        value = value.item()
    return None if isinstance(value, float) and not math.isfinite(value) else value


def rows_of(found: Iterable[Mapping[str, Any]], part_peak_mb: float) -> list[dict[str, Any]]:
    """Rows of one part as they are kept.

    Parameters
    ----------
    found : iterable of mapping
        As `measures` of a script gives them: what, count, seconds, peer, peer_seconds, peak_mb,
        note, all but the first optional; or what and failed. A `ratio` is not kept: scripts take
        it either way round.
    part_peak_mb : float
        Peak of the whole part, for rows without one of their own.

    Returns
    -------
    list of dict
        With per_second, times_as_fast (the peer's seconds over ours), peak_of_part, and in the row
        of the largest count of those with the same `what` its growth.
    """
    rows = []
    for one in found:
        row = {name: _plain(value) for name, value in one.items() if name != "ratio"}
        seconds, peer = row.get("seconds"), row.get("peer_seconds")
        row["peak_of_part"] = row.get("peak_mb") is None
        row["peak_mb"] = round(part_peak_mb if row["peak_of_part"] else row["peak_mb"], 1)
        row["per_second"] = row["count"] / seconds if seconds and row.get("count") else None
        row["times_as_fast"] = peer / seconds if seconds and peer else None
        row["growth"] = None
        rows.append(row)
    for what in {row["what"] for row in rows}:
        same = [r for r in rows if r["what"] == what and r.get("count") and r.get("seconds")]
        if same:
            most = max(same, key=lambda r: r["count"])
            most["growth"] = growth([r["count"] for r in same], [r["seconds"] for r in same])
    return rows


def machine() -> dict[str, Any]:
    """What was measured on; no name of the machine and no folder."""
    versions = {"Python": platform.python_version()}
    for name in LIBRARIES:
        try:
            versions[name] = version(name)
        except PackageNotFoundError:
            versions[name] = "not there"
    return {
        "cores": os.cpu_count(),
        "processor": _processor(),
        "memory_gb": round(psutil.virtual_memory().total / 1e9, 1),
        "system": platform.system(),
        "versions": versions,
    }


def _processor() -> str:
    file = Path("/proc/cpuinfo")
    text = file.read_text(encoding="utf-8") if file.is_file() else ""
    found = re.search(r"^model name\s*:\s*(.+)$", text, re.MULTILINE)
    return found[1].strip() if found else platform.processor() or platform.machine()


def kept(file: Path, now: Mapping[str, Any], parts: Iterable[str]) -> list[dict[str, Any]]:
    """Parts of a file, written before, that are not measured again; `now` is the head of the new.

    Raises
    ------
    SystemExit
        When they are of another day or machine, of other versions or other counts.
    """
    if not file.is_file():
        return []
    old = json.loads(file.read_text(encoding="utf-8"))
    others = [one for one in old["parts"] if one["part"] not in set(parts)]
    same = all(old[name] == now[name] for name in ("measured_on", "quick", "machine"))
    if others and not same:
        raise SystemExit(
            f"{file.name} is of another day or machine, other versions or counts: give --out FILE"
        )
    return others


def write(file: Path, found: Mapping[str, Any]) -> None:
    """Whole or not at all."""
    file.parent.mkdir(parents=True, exist_ok=True)
    new = file.with_suffix(".part")
    text = json.dumps(found, indent=1, ensure_ascii=False, allow_nan=False)
    new.write_text(text + "\n", encoding="utf-8")
    new.replace(file)
