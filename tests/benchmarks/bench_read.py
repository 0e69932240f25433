"""Reading a register: 1,000,000 anchors from CSV, Parquet, GeoParquet and a folder of parts.

Run: ``python tests/benchmarks/bench_read.py [number of anchors]``. The register is synthetic, the
one of `bench_assess.py`. Each reading runs in a process of its own, which says its seconds and its
peak; the peer is what the library alone takes to read the same file, without any check.
"""

import json
import subprocess
import sys
import tempfile
from pathlib import Path
from typing import Any

import geopandas as gpd
import numpy as np

sys.path.insert(0, str(Path(__file__).parents[1]))
from benchmarks.bench_assess import europe
from helpers.figures import figure

QUICK = {"count": 2000}
_TIMED = """
import json, pathlib, re, sys, time
import geopandas, pandas, pandera.pandas, pyarrow.dataset, scipy.spatial
from saltreach import read_register
start = time.perf_counter()
found = {call}
seconds = time.perf_counter() - start
status = pathlib.Path("/proc/self/status").read_text()  # getrusage counts the parent's too
peak = int(re.search(r"VmHWM:\\s+(\\d+)", status)[1])
print(json.dumps([seconds, peak / 1e3, len(getattr(found, "anchors", found))]))
"""


def _timed(call: str, path: Path) -> tuple[float, float, int]:
    """Seconds, peak in MB and rows of one reading."""
    code = _TIMED.replace("{call}", call)
    done = subprocess.run(
        [sys.executable, "-c", code, str(path)], capture_output=True, text=True, check=True
    )
    seconds, peak, rows = json.loads(done.stdout)
    return seconds, peak, rows


def _written(folder: Path, count: int) -> list[tuple[str, Path, str, str]]:
    """The register in every form: what it is, where, the peer and how it is called."""
    table = europe(count)
    places = gpd.points_from_xy(table["lon"], table["lat"])
    placed = gpd.GeoDataFrame(table.drop(columns=["lon", "lat"]), geometry=places, crs="EPSG:4326")
    table.to_csv(folder / "a.csv", index=False)
    table.to_parquet(folder / "a.parquet", index=False)
    placed.to_parquet(folder / "geo.parquet", index=False)
    (folder / "parts").mkdir()
    order = np.argsort(placed.geometry.hilbert_distance().to_numpy(), kind="stable")
    for number, rows in enumerate(np.array_split(order, 10)):
        placed.iloc[rows].to_parquet(folder / f"parts/part-{number}.parquet", index=False)
    csv, plain = "pandas.read_csv(sys.argv[1])", "pandas.read_parquet(sys.argv[1])"
    geo = "geopandas.read_parquet(sys.argv[1])"
    return [
        ("read / CSV", folder / "a.csv", "pandas.read_csv", csv),
        ("read / Parquet", folder / "a.parquet", "pandas.read_parquet", plain),
        ("read / GeoParquet", folder / "geo.parquet", "geopandas.read_parquet", geo),
        ("read / ten parts", folder / "parts", "geopandas.read_parquet", geo),
    ]


def measures(count: int = 1_000_000) -> list[dict[str, Any]]:
    """What each form takes, beside its peer.

    Parameters
    ----------
    count : int
        Number of anchors.

    Returns
    -------
    list of dict
        `what`, `count`, `seconds`, `peer`, `peer_seconds`, `ratio`, `peak_mb`, `note`.
    """
    found = []
    with tempfile.TemporaryDirectory() as folder:
        for what, path, peer, call in _written(Path(folder), count):
            seconds, peak, rows = _timed("read_register(sys.argv[1])", path)
            peer_seconds, _, _ = _timed(call, path)
            found.append(
                {
                    "what": what,
                    "count": count,
                    "seconds": round(seconds, 2),
                    "peer": peer,
                    "peer_seconds": round(peer_seconds, 2),
                    "ratio": round(seconds / peer_seconds, 1),
                    "peak_mb": round(peak),
                    "note": f"{rows:,} anchors kept; the peer reads the cells and checks nothing",
                }
            )
    csv, plain, geo, parts = found
    figure("read / CSV", _said(csv))
    figure("read / Parquet", _said(plain))
    figure("read / GeoParquet", _said(geo))
    figure("read / ten parts", _said(parts))
    return found


def _said(one: dict[str, Any]) -> str:
    return (
        f"{one['count']:,} anchors, {one['seconds']} s ({one['peer']} alone "
        f"{one['peer_seconds']} s), peak {one['peak_mb']:,} MB"
    )


def main() -> None:
    measures(int(sys.argv[1]) if len(sys.argv) > 1 else 1_000_000)


if __name__ == "__main__":
    main()
