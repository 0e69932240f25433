"""An assessment back from the files it was written to."""

from __future__ import annotations

import json
from pathlib import Path

from saltreach.assessment.result import Assessment, Flat
from saltreach.errors import LayerError
from saltreach.vocabulary.columns import REJECTED_COLUMNS


def read_results(folder: Path | str) -> Assessment:
    """An assessment back from the folder that `saltreach assess` wrote.

    Raises
    ------
    LayerError
        When the folder does not hold results.
    """
    import geopandas as gpd
    import pandas as pd

    folder = Path(folder)
    missing = [
        name
        for name in ("anchors.parquet", "saltreach.gpkg", "provenance.json")
        if not (folder / name).is_file()
    ]
    if missing:
        raise LayerError(
            f"{folder} lacks {', '.join(missing)}; give the folder that saltreach assess wrote"
        )
    shapes = {
        name: gpd.read_file(folder / "saltreach.gpkg", layer=name) for name in ("sectors", "crags")
    }
    rejected = folder / "rejected.csv"
    flat = Flat(
        anchors=gpd.read_parquet(folder / "anchors.parquet"),
        sectors=shapes["sectors"],
        crags=shapes["crags"],
        rejected=pd.read_csv(rejected, dtype=str)
        if rejected.is_file()
        else pd.DataFrame(columns=list(REJECTED_COLUMNS)),
    )
    provenance = json.loads((folder / "provenance.json").read_text(encoding="utf-8"))
    return Assessment(flat, provenance)
