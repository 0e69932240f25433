"""The result files: GeoParquet, CSV for spreadsheets, GeoPackage with styles, provenance."""

from __future__ import annotations

import json
from contextlib import ExitStack
from pathlib import Path
from typing import TYPE_CHECKING

import pandas as pd

from saltreach.outputs.files import atomic_folder
from saltreach.outputs.map.page import write_map
from saltreach.outputs.optional import left_out_on_failure
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
) -> list[str]:
    """Write every result file into a folder, all or none; a drawing that fails is left out.

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

    Returns
    -------
    list of str
        What could not be drawn and why, as `drawings_left_out` in `provenance.json` has it.
    """
    from saltreach.vocabulary.words import CAUTION

    out = Path(out)
    notes = _no_shape(result)
    with ExitStack() as folders:
        work = folders.enter_context(atomic_folder(out))
        if plots:
            from saltreach.outputs.pictures.plots import write_plots

            pictures = folders.enter_context(atomic_folder(out / "plots"))
            with left_out_on_failure("plots", notes):
                write_plots(result, pictures)
            if any(note.startswith("plots") for note in notes):
                for half_a_set in pictures.iterdir():
                    half_a_set.unlink()
        result.flat.anchors.to_parquet(work / "anchors.parquet", index=False)
        for name, frame in (("sectors", result.flat.sectors), ("crags", result.flat.crags)):
            flat = frame[[c for c in columns_of(name) if c in frame]]
            cautioned = spreadsheet_safe(flat).assign(caution=_caution())
            cautioned.to_csv(work / f"{name}.csv", index=False)
        if len(result.flat.rejected):
            _rejected_csv(result.flat.rejected, work)
        if result.flat.find_out is not None:
            asked = spreadsheet_safe(result.flat.find_out).assign(caution=CAUTION)
            asked.to_csv(work / "find_out.csv", index=False)
        write_geopackage(result, work / "saltreach.gpkg")
        with left_out_on_failure("map.html", notes):
            write_map(result, work / "map.html", title=title, tiles=tiles, language=language)
        drawn = (work / "map.html").is_file()
        record = {**result.provenance, "drawings_left_out": notes}
        text = json.dumps(record, indent=2, ensure_ascii=False)
        (work / "provenance.json").write_text(text + "\n", encoding="utf-8")
    if not drawn:
        (out / "map.html").unlink(missing_ok=True)  # that of an earlier run shows other results
    if not len(result.flat.rejected):
        (out / "rejected.csv").unlink(missing_ok=True)
    return notes


def _no_shape(result: Assessment) -> list[str]:
    """Sectors and crags around whose anchors no shape could be drawn."""
    notes = []
    for name, frame in (("sectors", result.flat.sectors), ("crags", result.flat.crags)):
        empty = int((frame.geometry.isna() | frame.geometry.is_empty).sum())
        if empty:
            notes.append(f"the shapes of {empty} {name} could not be drawn and are left out")
    return notes


def _caution() -> str:
    """What stands on tables that carry probabilities."""
    from saltreach.assessment.state import RANGE_FACTOR
    from saltreach.vocabulary.words import CAUTION

    return (
        f"{CAUTION} Every probability is a prior, not a counted rate: it may be "
        f"{RANGE_FACTOR:g} times lower or higher."
    )


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
            DESCRIPTION=_caution(),
        )  # fmt: skip
    kinds = {"anchors": "marker", "sectors": "fill", "crags": "fill"}
    add_styles(path, kinds, result.provenance["time"])
