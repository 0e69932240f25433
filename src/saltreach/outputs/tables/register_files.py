"""A register in a file of its own, in any form that registers are read from."""

from __future__ import annotations

import json
import tempfile
from pathlib import Path
from typing import TYPE_CHECKING

import pandas as pd

from saltreach.errors import OutputError
from saltreach.folders.files import atomic_write, refuse_present
from saltreach.folders.trouble import told
from saltreach.outputs.check import workbook_of
from saltreach.outputs.tables.results import GEOPACKAGE_VERSION, spreadsheet_safe
from saltreach.vocabulary.columns import REQUIRED
from saltreach.vocabulary.words import CAUTION, UNKNOWN

if TYPE_CHECKING:
    import geopandas as gpd

SUFFIXES = (".csv", ".xlsx", ".geojson", ".gpkg")


def write_register(anchors: gpd.GeoDataFrame, file: Path) -> None:
    """Write anchors so that reading the file gives the same register.

    Parameters
    ----------
    anchors : GeoDataFrame
        Columns of a register and the user's own; columns of which nothing is known are left out.
    file : Path
        A new .csv, .xlsx, .geojson or .gpkg file.

    Raises
    ------
    OutputError
        The file is there already, is of another kind, or cannot be written.
    """
    suffix = file.suffix.lower()
    if suffix not in SUFFIXES:
        raise OutputError(f"{file}: a register is written as {', '.join(SUFFIXES)}; name it so")
    refuse_present(file, suffix, "a register")
    known = anchors.drop(columns="geometry")
    known = pd.DataFrame(known.where(known.notna() & (known != UNKNOWN)))
    table = known[[n for n in known if known[n].notna().any() or n in REQUIRED]]
    with told(file):
        atomic_write(file, _content(table, anchors, suffix))


def _content(table: pd.DataFrame, anchors: gpd.GeoDataFrame, suffix: str) -> bytes:
    if suffix == ".csv":
        return spreadsheet_safe(table).to_csv(index=False).encode()
    if suffix == ".xlsx":
        return workbook_of({"register": table.astype(object).where(table.notna(), None)})
    placed = anchors[["geometry"]].join(table)
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
