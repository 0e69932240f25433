"""What the commands write, compared value by value between two versions of saltreach.

    python tests/helpers/compare_results.py write FOLDER
    python tests/helpers/compare_results.py compare BEFORE AFTER

`write` runs the commands of whichever saltreach is imported (set PYTHONPATH to the `src` of
another checkout for another version) on the demo and on the worked places of
`tests/reference`; `compare` lists every column, cell and text that differs and ends with 1 if
any does. Time stamps, versions and checksums of the run are left out.
"""

import contextlib
import json
import os
import re
import subprocess
import sys
from pathlib import Path

import pandas as pd

from saltreach.folders.manifest import MANIFEST

HERE = Path(__file__).parents[1]
DATA = HERE.parent / "data" / "demo"
DAY = "2026-11-25"
OF_THE_RUN = {"time", "versions", "seconds", "software", "sha256", "assessment", "file", "source"}


def run(*arguments: object) -> str:
    done = subprocess.run(
        [sys.executable, "-m", "saltreach", *map(str, arguments)],
        capture_output=True, text=True, check=False, env=os.environ,
    )  # fmt: skip
    print(arguments[0], done.returncode, file=sys.stderr)
    if done.returncode > 1:
        raise SystemExit(done.stderr)
    return done.stdout


def places() -> dict[str, pd.DataFrame]:
    """Registers of the worked places; failed anchors apart, as `helpers/decided.py` has it."""
    given = pd.read_csv(HERE / "reference/places_decided.csv", dtype=str, keep_default_na=False)
    ours = [c for c in given if not c.startswith("expected_")]
    ours = [c for c in ours if c not in ("why", "basis", "other_view")]
    metals = pd.read_csv(HERE / "reference/metals_by_place.csv", dtype=str, keep_default_na=False)
    failed = given["condition"] == "4"
    return {
        "places": given.loc[~failed, ours],
        "places_failed": given.loc[failed, ours],
        "metals": metals.drop(columns=["place_type", "expected_risk_band", "basis"]),
    }


def write(folder: Path) -> None:
    folder.mkdir(parents=True)
    said = {"demo": run("demo", "--out", folder / "demo", "--today", DAY)}
    for name, register in places().items():
        file = folder / f"{name}.csv"
        register.to_csv(file, index=False)
        said[name] = run("assess", file, "--out", folder / name, "--today", DAY)
    anchors = DATA / "anchors.csv"
    said["check"] = run("check", anchors)
    first = pd.read_csv(anchors, dtype=str)["anchor_id"][0]
    said["explain"] = run("assess", anchors, "--out", folder / "explained", "--today", DAY,
                          "--explain", first, "--survey", DATA / "sectors_survey.csv")  # fmt: skip
    said["plan"] = run("plan", folder / "demo", "--teams", DATA / "teams.csv", "--windows",
                       DATA / "windows.csv", "--needs", DATA / "needs.csv", "--out",
                       folder / "plan", "--nodes", 20)  # fmt: skip
    said["priorities"] = run("priorities", folder / "demo", "--budget", 3000, "--prices",
                             DATA / "prices.toml", "--out", folder / "priorities")  # fmt: skip
    said["landowner"] = run("landowner", folder / "demo", "--holding", DATA / "holding.toml",
                            "--out", folder / "landowner")  # fmt: skip
    said["layers"] = run("layers", "list")
    for name, text in said.items():
        (folder / f"said_{name}.txt").write_text(text.replace(str(folder), "."), encoding="utf-8")


def tables(folder: Path) -> dict[str, pd.DataFrame]:
    """Every table in a folder as text, by its path."""
    import geopandas as gpd
    import pyogrio

    found = {}
    for path in sorted(folder.rglob("*")):
        name = str(path.relative_to(folder))
        if path.suffix == ".csv":
            found[name] = pd.read_csv(path, dtype=str, keep_default_na=False)
        elif path.suffix == ".parquet":
            found[name] = plain(gpd.read_parquet(path))
        elif path.suffix == ".gpkg":
            for layer, _ in pyogrio.list_layers(path):
                found[f"{name}:{layer}"] = plain(gpd.read_file(path, layer=layer))
    return found


def plain(frame: pd.DataFrame) -> pd.DataFrame:
    frame = pd.DataFrame(frame)
    if "geometry" in frame:
        frame = frame.assign(geometry=frame["geometry"].map(lambda g: g.wkt))
    return frame.astype(object).where(frame.notna(), "").astype(str)


def texts(folder: Path) -> dict[str, object]:
    """Every other text in a folder; JSON as values, of a page its JSON blocks."""
    found: dict[str, object] = {}
    for path in sorted(folder.rglob("*")):
        name = str(path.relative_to(folder))
        if path.suffix == ".json" and path.name != MANIFEST:  # it holds checksums of all
            found[name] = json.loads(path.read_text(encoding="utf-8"))
        elif path.suffix == ".html":
            blocks = re.findall(
                r'<script type="application/json"[^>]*id="([^"]+)"[^>]*>(.*?)</script>',
                path.read_text(encoding="utf-8"),
                flags=re.DOTALL,
            )
            found |= {f"{name}#{key}": json.loads(text) for key, text in blocks}
        elif path.suffix in (".txt", ".ics", ".svg"):
            lines = path.read_text(encoding="utf-8").splitlines()
            found[name] = [line for line in lines if not line.startswith("DTSTAMP")]
    return found


def differences(old: object, new: object, where: str = "") -> list[str]:
    if isinstance(old, dict) and isinstance(new, dict):
        keys = [k for k in dict.fromkeys([*old, *new]) if k not in OF_THE_RUN]
        return [d for k in keys for d in differences(old.get(k), new.get(k), f"{where}/{k}")]
    if isinstance(old, list) and isinstance(new, list) and len(old) == len(new):
        return [
            d
            for i, (a, b) in enumerate(zip(old, new, strict=True))
            for d in differences(a, b, f"{where}[{i}]")
        ]
    return [] if old == new else [f"{where}: {str(old)[:150]!r} -> {str(new)[:150]!r}"]


def number(column: pd.Series) -> pd.Series:
    return pd.to_numeric(column, errors="coerce")


def compare(before: Path, after: Path) -> int:
    found = []
    old, new = tables(before), tables(after)
    cells = 0
    for name in dict.fromkeys([*old, *new]):
        if name not in old or name not in new:
            found.append(f"{name}: only {'before' if name in old else 'after'}")
            continue
        a, b = old[name], new[name]
        for column in dict.fromkeys([*a, *b]):
            if column not in a or column not in b:
                found.append(f"{name}: column {column} only {'before' if column in a else 'after'}")
            elif len(a) != len(b):
                found.append(f"{name}: {len(a)} rows before, {len(b)} after")
                break
            else:
                cells += len(a)
                differ = a[column] != b[column]
                with contextlib.suppress(TypeError):
                    differ &= ~((number(a[column]) - number(b[column])).abs() == 0)
                found += [
                    f"{name}: {column}, row {i}: {a[column][i][:120]!r} -> {b[column][i][:120]!r}"
                    for i in a.index[differ][:5]
                ]
                if differ.sum() > 5:
                    found.append(f"{name}: {column}: {differ.sum()} rows differ in all")
        if list(a) != list(b) and set(a) == set(b):
            found.append(f"{name}: columns in another order")
    found += differences(texts(before), texts(after))
    print("\n".join(found))
    print(f"{cells} cells of {len(old)} tables compared, {len(found)} differences")
    return bool(found)


if __name__ == "__main__":
    what, *folders = sys.argv[1:]
    if what == "write":
        write(Path(folders[0]))
    else:
        raise SystemExit(compare(*map(Path, folders)))
