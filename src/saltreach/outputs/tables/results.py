"""The result files: GeoParquet, CSV for spreadsheets, GeoPackage with styles, provenance."""

from __future__ import annotations

import json
import shutil
from collections.abc import Callable, Iterator
from concurrent.futures import ThreadPoolExecutor
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING

import pandas as pd

from saltreach.assessment.backdrop import write_backdrop
from saltreach.assessment.land import land_around
from saltreach.folders.claim import Claim, claimed, result_set
from saltreach.folders.manifest import ASSESS
from saltreach.outputs.map.page import write_map
from saltreach.outputs.optional import left_out_on_failure
from saltreach.vocabulary.columns import REJECTED_COLUMNS, columns_of

if TYPE_CHECKING:
    from saltreach.assessment.result import Assessment

GEOPACKAGE_VERSION = "1.2"
MOST_IN_GEOPACKAGE = 250_000
"""Anchors that the GeoPackage holds, some 15 s and 600 MB of writing; of more the GeoParquet alone
holds them, which GIS programs open too. Our own choice."""
_RUNS = tuple("=+-@\t\r")
REFUSED = "refused rows"
"""The set of a run that could assess nothing."""


def write_results(
    result: Assessment,
    out: Path | str | Claim,
    *,
    title: str | None = None,
    tiles: str | None = None,
    plots: bool = False,
    language: str = "en",
    draw_map: bool = True,
    beside_other_files: bool = False,
) -> list[str]:
    """Write every result file into a folder in place of those of a former run, all or none.

    A drawing that fails is left out.

    Parameters
    ----------
    result : Assessment
        From `assess`.
    out : path or str
        Folder for results alone; made if absent. What `saltreach-files.json` there lists of a
        former assessment is replaced, or removed where this one does not write it again. A plan
        or priorities there stay, and are said to rest on the former one.
    title : str, optional
        Heading of the map; else the name of the register's file.
    tiles : str, optional
        Address template of an online tile base to offer on the map.
    plots : bool
        Also write `plots/`, resistance against embedment for each sector.
    language : str
        Language the map opens in: en, de, es or fr.
    draw_map : bool
        Whether to write `map.html`.
    beside_other_files : bool
        Write although the folder holds files that saltreach did not write, or wrote and somebody
        changed since. They stay; one that is in the way is kept under another name.

    Returns
    -------
    list of str
        What could not be drawn and why, as `drawings_left_out` in `provenance.json` has it.

    Raises
    ------
    OutputError
        When the folder holds such files, another run writes there, or it cannot be written to.
    """
    from saltreach.vocabulary.words import CAUTION

    notes = _no_shape(result)
    if len(result.flat.anchors) > MOST_IN_GEOPACKAGE:
        notes.append(
            f"saltreach.gpkg holds sectors and crags alone: {len(result.flat.anchors)} anchors are "
            f"more than the {MOST_IN_GEOPACKAGE} it is meant for; anchors.parquet holds them"
        )
    with (
        result_set(
            out, ASSESS, assessment=result.provenance["time"], drops=[REFUSED],
            beside_other_files=beside_other_files,
        ) as work,
        meanwhile(lambda: result.flat.anchors.to_parquet(work / "anchors.parquet", index=False)),
    ):  # fmt: skip
        if plots:
            from saltreach.outputs.pictures.plots import write_plots

            pictures = work / "plots"
            pictures.mkdir()
            with left_out_on_failure("plots", notes):
                write_plots(result, pictures)
            if any(note.startswith("plots") for note in notes):
                shutil.rmtree(pictures)  # half a set
        for name, frame in (("sectors", result.flat.sectors), ("crags", result.flat.crags)):
            flat = frame[[c for c in columns_of(name) if c in frame]]
            floats = flat.columns[flat.dtypes == "float64"]
            quick = flat.astype(
                dict.fromkeys(floats, object)
            )  # the same text in two thirds the time
            cautioned = spreadsheet_safe(quick).assign(caution=_caution(result))
            cautioned.to_csv(work / f"{name}.csv", index=False)
        listed = {"rejected.csv": result.flat.rejected, "notes.csv": result.flat.doubts}
        for name, rows in listed.items():
            if len(rows):
                _listed_csv(rows, work / name)
        if result.flat.find_out is not None:
            asked = spreadsheet_safe(result.flat.find_out).assign(caution=CAUTION)
            asked.to_csv(work / "find_out.csv", index=False)
        if result.flat.tests is not None:
            asked = spreadsheet_safe(result.flat.tests).assign(caution=CAUTION)
            asked.to_csv(work / "tests.csv", index=False)
        if result.events is not None and len(result.events):
            spreadsheet_safe(result.events).to_csv(work / "events.csv", index=False)
        write_geopackage(result, work / "saltreach.gpkg")
        if result.own_shore is not None:  # so that maps can be drawn again without it
            shore = land_around(result)
            shapes = shore.shapes.assign(sided=shore.sided)
            shapes.to_parquet(work / "shoreline.parquet", index=False)
        if result.backdrop is not None:
            write_backdrop(result.backdrop, work)
        if draw_map:
            with left_out_on_failure("map.html", notes):
                write_map(result, work / "map.html", title=title, tiles=tiles, language=language)
        record = {**result.provenance, "drawings_left_out": notes}
        text = json.dumps(record, indent=2, ensure_ascii=False)
        (work / "provenance.json").write_text(text + "\n", encoding="utf-8")
    return notes


@contextmanager
def meanwhile(work: Callable[[], object]) -> Iterator[None]:
    """Do something in a thread while the rest is done; what it raises is raised at the end."""
    with ThreadPoolExecutor(1) as pool:
        done = pool.submit(work)
        yield
        done.result()


def _no_shape(result: Assessment) -> list[str]:
    """Sectors and crags around whose anchors no shape could be drawn."""
    notes = []
    for name, frame in (("sectors", result.flat.sectors), ("crags", result.flat.crags)):
        empty = int((frame.geometry.isna() | frame.geometry.is_empty).sum())
        if empty:
            notes.append(f"the shapes of {empty} {name} could not be drawn and are left out")
    return notes


def _caution(result: Assessment) -> str:
    """What stands on tables that carry probabilities; what was left out comes first."""
    from saltreach.assessment.state import RANGE_FACTOR
    from saltreach.vocabulary.words import CAUTION

    prior = (
        "Every probability is a prior, not a counted rate: it may be "
        f"{RANGE_FACTOR:g} times lower or higher."
    )
    return " ".join([*result.provenance.get("left_out", ()), CAUTION, prior])


def write_rejected(
    rejected: pd.DataFrame, out: Path | str | Claim, *, beside_other_files: bool = False
) -> Path:
    """Write the refused rows alone, where nothing could be assessed.

    A former assessment in the folder stays whole, its `rejected.csv` included.

    Returns
    -------
    pathlib.Path
        The file.
    """
    with claimed(out, beside_other_files=beside_other_files) as claim:
        name = "rejected_last_run.csv" if ASSESS in claim.manifest.sets else "rejected.csv"
        with result_set(claim, REFUSED, command="saltreach assess") as work:
            _listed_csv(rejected, work / name)
    return claim.shown / name


def _listed_csv(rows: pd.DataFrame, path: Path) -> None:
    """Refused rows, or cells in doubt."""
    spreadsheet_safe(rows[list(REJECTED_COLUMNS)]).to_csv(path, index=False)


def spreadsheet_safe(frame: pd.DataFrame) -> pd.DataFrame:
    """Text cells that a spreadsheet would run as a formula, defused by a leading apostrophe.

    Cells beginning with ``= + - @``, a tab or a carriage return (OWASP, "CSV Injection").
    """
    safe = frame.copy()
    for name in safe.columns[[not pd.api.types.is_numeric_dtype(t) for t in safe.dtypes]]:
        if safe[name].dtype == "str":
            risky = safe[name].str.startswith(_RUNS)
        else:
            safe[name] = safe[name].astype("object")
            risky = safe[name].map(lambda v: isinstance(v, str) and v.startswith(_RUNS))
        if risky.any():
            safe[name] = safe[name].where(~risky, "'" + safe[name].astype("str"))
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
    if len(result.flat.anchors) > MOST_IN_GEOPACKAGE:
        del frames["anchors"]
    for layer, frame in frames.items():
        frame.to_file(
            path, layer=layer, driver="GPKG", engine="pyogrio", VERSION=GEOPACKAGE_VERSION,
            DESCRIPTION=_caution(result),
        )  # fmt: skip
    kinds = {"anchors": "marker", "sectors": "fill", "crags": "fill"}
    add_styles(path, {layer: kinds[layer] for layer in frames}, result.provenance["time"])
