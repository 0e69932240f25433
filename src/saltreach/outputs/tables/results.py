"""The result files: GeoParquet, CSV for spreadsheets, GeoPackage with styles, provenance."""

from __future__ import annotations

import json
from contextlib import ExitStack
from pathlib import Path
from typing import TYPE_CHECKING

import pandas as pd

from saltreach.outputs.files import atomic_folder
from saltreach.outputs.map.page import write_map
from saltreach.vocabulary.columns import REJECTED_COLUMNS, columns_of

if TYPE_CHECKING:
    from saltreach.assessment.result import Assessment

GEOPACKAGE_VERSION = "1.2"


def write_results(
    result: Assessment,
    out: Path | str,
    *,
    title: str | None = None,
    tiles: str | None = None,
    plots: bool = False,
    language: str = "en",
) -> None:
    """Write every result file into a folder, all or none.

    Parameters
    ----------
    result : Assessment
        From `assess`.
    out : path or str
        Folder; made if absent. A `rejected.csv` of an earlier run is removed when this run
        refused nothing.
    title : str, optional
        Heading of the map; else the name of the register's file.
    tiles : str, optional
        Address template of an online tile base to offer on the map.
    plots : bool
        Also write `plots/`, resistance against embedment for each sector.
    language : str
        Language the map opens in: en, de, es or fr.
    """
    from saltreach.vocabulary.words import CAUTION

    out = Path(out)
    with ExitStack() as folders:
        work = folders.enter_context(atomic_folder(out))
        if plots:
            from saltreach.outputs.pictures.plots import write_plots

            write_plots(result, folders.enter_context(atomic_folder(out / "plots")))
        result.flat.anchors.to_parquet(work / "anchors.parquet", index=False)
        for name, frame in (("sectors", result.flat.sectors), ("crags", result.flat.crags)):
            flat = frame[[c for c in columns_of(name) if c in frame]]
            cautioned = spreadsheet_safe(flat).assign(caution=_caution(result))
            cautioned.to_csv(work / f"{name}.csv", index=False)
        if len(result.flat.rejected):
            _rejected_csv(result.flat.rejected, work)
        if result.flat.find_out is not None:
            asked = spreadsheet_safe(result.flat.find_out).assign(caution=CAUTION)
            asked.to_csv(work / "find_out.csv", index=False)
        write_geopackage(result, work / "saltreach.gpkg")
        text = json.dumps(result.provenance, indent=2, ensure_ascii=False)
        (work / "provenance.json").write_text(text + "\n", encoding="utf-8")
        write_map(result, work / "map.html", title=title, tiles=tiles, language=language)
    if not len(result.flat.rejected):
        (out / "rejected.csv").unlink(missing_ok=True)


def _caution(result: Assessment) -> str:
    """What stands on tables that carry probabilities; what was left out comes first."""
    from saltreach.assessment.state import RANGE_FACTOR
    from saltreach.vocabulary.words import CAUTION

    prior = (
        "Every probability is a prior, not a counted rate: it may be "
        f"{RANGE_FACTOR:g} times lower or higher."
    )
    return " ".join([*result.provenance.get("left_out", ()), CAUTION, prior])


def write_rejected(rejected: pd.DataFrame, out: Path) -> None:
    """Write `rejected.csv` alone, where nothing could be assessed."""
    with atomic_folder(out) as work:
        _rejected_csv(rejected, work)


def _rejected_csv(rejected: pd.DataFrame, folder: Path) -> None:
    table = rejected[list(REJECTED_COLUMNS)]
    spreadsheet_safe(table).to_csv(folder / "rejected.csv", index=False)


def spreadsheet_safe(frame: pd.DataFrame) -> pd.DataFrame:
    """Text cells that a spreadsheet would run as a formula, defused by a leading apostrophe.

    Cells beginning with ``= + - @``, a tab or a carriage return (OWASP, "CSV Injection").
    """
    safe = frame.copy()
    for name in safe.columns[[not pd.api.types.is_numeric_dtype(t) for t in safe.dtypes]]:
        text = safe[name].astype("object")
        risky = text.map(lambda v: isinstance(v, str) and v[:1] in tuple("=+-@\t\r"))
        safe[name] = text.where(~risky, "'" + text.astype("str"))
    return safe


def write_geopackage(result: Assessment, path: Path) -> None:
    """Write the OGC GeoPackage with layers anchors, sectors, crags and their QGIS styles.

    Version 1.2 of the standard: QGIS 3.22 warns of a file of version 1.4, and nothing in these
    layers needs a later one.
    """
    from saltreach.outputs.tables.qgis import add_styles

    frames = {
        "anchors": result.flat.anchors,
        "sectors": result.flat.sectors,
        "crags": result.flat.crags,
    }
    for layer, frame in frames.items():
        frame.to_file(
            path, layer=layer, driver="GPKG", engine="pyogrio", VERSION=GEOPACKAGE_VERSION,
            DESCRIPTION=_caution(result),
        )  # fmt: skip
    kinds = {"anchors": "marker", "sectors": "fill", "crags": "fill"}
    add_styles(path, kinds, result.provenance["time"])
