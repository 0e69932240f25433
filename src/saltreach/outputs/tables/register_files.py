"""A register in a file of its own, in any form that registers are read from."""

from __future__ import annotations

import io
import json
import os
import shutil
import tempfile
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

from saltreach.errors import OutputError
from saltreach.folders.files import (
    OWN_PREFIX,
    PART_SUFFIX,
    atomic_write,
    refuse_present,
    sync_files,
    sync_folder,
)
from saltreach.folders.trouble import told
from saltreach.outputs.check import workbook_of
from saltreach.outputs.tables.results import GEOPACKAGE_VERSION, spreadsheet_safe
from saltreach.vocabulary.columns import REQUIRED
from saltreach.vocabulary.words import CAUTION, UNKNOWN

if TYPE_CHECKING:
    import geopandas as gpd

PARQUET = ".parquet"
SUFFIXES = (".csv", ".xlsx", ".geojson", ".gpkg", PARQUET)
MOST_PARTS = 10_000


def write_register(anchors: gpd.GeoDataFrame, file: Path, *, partitions: int | None = None) -> None:
    """Write anchors so that reading the file gives the same register.

    Parameters
    ----------
    anchors : GeoDataFrame
        Columns of a register and the user's own; columns of which nothing is known are left out.
    file : Path
        A new .csv, .xlsx, .geojson, .gpkg or .parquet (GeoParquet) file.
    partitions : int, optional
        Write a folder of so many GeoParquet files instead, `part-0000.parquet` ..., of as many
        anchors each; anchors near each other stand in one part (order of a Hilbert curve).

    Raises
    ------
    OutputError
        The file is there already, is of another kind, or cannot be written; more parts are asked
        for than there are anchors, or none.
    """
    suffix = file.suffix.lower()
    if partitions is not None:
        _refuse_parts(file, partitions, len(anchors))
    elif suffix not in SUFFIXES:
        raise OutputError(f"{file}: a register is written as {', '.join(SUFFIXES)}; name it so")
    refuse_present(file, suffix, "a register")
    known = anchors.drop(columns="geometry")
    known = pd.DataFrame(known.where(known.notna() & (known != UNKNOWN)))
    table = known[[n for n in known if known[n].notna().any() or n in REQUIRED]]
    with told(file):
        if partitions is None:
            atomic_write(file, _content(table, anchors, suffix))
        else:
            _write_parts(anchors[["geometry"]].join(table), file, partitions)


def _refuse_parts(folder: Path, partitions: int, count: int) -> None:
    """Raise where a register cannot be written as so many parts."""
    if folder.suffix.lower() not in ("", PARQUET):
        raise OutputError(
            f"{folder}: parts are Parquet files in a folder; name it {folder.stem}{PARQUET}"
        )
    if not 1 <= partitions <= min(count, MOST_PARTS):
        raise OutputError(
            f"{folder}: {partitions} parts of {count} anchors; give 1 to {min(count, MOST_PARTS)}"
        )


def _write_parts(placed: gpd.GeoDataFrame, folder: Path, partitions: int) -> None:
    """A folder of parts under its name when all are written, or not at all."""
    order = np.argsort(placed.geometry.hilbert_distance().to_numpy(), kind="stable")
    folder.parent.mkdir(parents=True, exist_ok=True)
    passing = Path(tempfile.mkdtemp(dir=folder.parent, prefix=OWN_PREFIX, suffix=PART_SUFFIX))
    try:
        for number, rows in enumerate(np.array_split(order, partitions)):
            part = passing / f"part-{number:04d}{PARQUET}"
            part.write_bytes(_parquet(placed.iloc[rows]))
        passing.chmod(0o755)
        sync_files(passing)
        os.rename(passing, folder)  # noqa: PTH104  refuses a folder with something in it
    finally:
        shutil.rmtree(passing, ignore_errors=True)
    sync_folder(folder.parent)


def _parquet(placed: gpd.GeoDataFrame) -> bytes:
    """GeoParquet that says what every output says; the same anchors give the same bytes."""
    import pyarrow as pa
    import pyarrow.parquet as pq

    made, whole = io.BytesIO(), io.BytesIO()
    placed.to_parquet(made, index=False)
    table = pq.read_table(pa.BufferReader(made.getbuffer()))
    about = {**(table.schema.metadata or {}), b"caution": CAUTION.encode()}
    pq.write_table(table.replace_schema_metadata(about), whole)
    return whole.getvalue()


def _content(table: pd.DataFrame, anchors: gpd.GeoDataFrame, suffix: str) -> bytes:
    if suffix == ".csv":
        return spreadsheet_safe(table).to_csv(index=False).encode()
    if suffix == ".xlsx":
        return workbook_of({"register": table.astype(object).where(table.notna(), None)})
    placed = anchors[["geometry"]].join(table)
    if suffix == PARQUET:
        return _parquet(placed)
    if suffix == ".geojson":
        features = json.loads(placed.to_json(drop_id=True))
        return json.dumps(features, ensure_ascii=False).encode()
    with tempfile.TemporaryDirectory() as folder:
        made = Path(folder) / "register.gpkg"
        placed.to_file(
            made, layer="anchors", driver="GPKG", engine="pyogrio", VERSION=GEOPACKAGE_VERSION,
            DESCRIPTION=CAUTION,
        )  # fmt: skip
        return made.read_bytes()
