"""The shoreline of a region's pack: how it is kept, and the embedded one with it in its boxes.

One GeoPackage: `boxes` (polygons with `closed`, `sd_m` and `why`), `land` (polygons cut to the
boxes whose shore closes) and `lines` (the shore in the others). A layer without shapes is left out.
"""

from __future__ import annotations

import tempfile
from collections.abc import Sequence
from dataclasses import replace
from functools import lru_cache
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from saltreach.errors import LayerError
from saltreach.folders.files import OWN_PREFIX, checksum, sync_folder
from saltreach.intake.gdal import existing, layer_read, layers_of, readable
from saltreach.layers.coast import Coast
from saltreach.layers.layer import Origin
from saltreach.layers.osm_shore import BoxShore
from saltreach.layers.patched_coast import PatchedCoast, patched

if TYPE_CHECKING:
    import geopandas as gpd

COAST_FILE = "coast.gpkg"
_COLUMNS = ("closed", "sd_m", "why")
_FIX = "bring the pack again (saltreach layers bring)"
_VERSION = "1.2"  # of GeoPackage, as the results have it


def write_coast(path: Path, shores: Sequence[BoxShore]) -> Path:
    """Write the shores of boxes as a pack keeps them.

    Parameters
    ----------
    path : pathlib.Path
        The file, which appears whole or not at all.
    shores : sequence of BoxShore
        One for each box; boxes may overlap.

    Raises
    ------
    LayerError
        When there is no box.
    """
    import geopandas as gpd
    import shapely

    path = Path(path)
    if not shores:
        raise LayerError(f"{path.name}: no box to keep a shoreline of; give one or more")
    told = {name: [getattr(shore, name) for shore in shores] for name in _COLUMNS}
    layers = {
        "boxes": gpd.GeoDataFrame(told, geometry=[shapely.box(*s.box) for s in shores], crs=4326),
        **{
            name: gpd.GeoDataFrame(
                geometry=np.concatenate([getattr(shore, name) for shore in shores]), crs=4326
            )
            for name in ("land", "lines")
        },
    }
    with tempfile.TemporaryDirectory(prefix=OWN_PREFIX, dir=path.parent) as folder:
        part = Path(folder) / path.name
        for name, frame in layers.items():
            if len(frame):
                frame.to_file(part, layer=name, driver="GPKG", engine="pyogrio", VERSION=_VERSION)
        part.replace(path)
    sync_folder(path.parent)
    return path


def read_packed_coast(path: Path, origin: Origin, beyond: Coast) -> PatchedCoast:
    """A coast with the packed shore in the boxes of a pack.

    Parameters
    ----------
    path : pathlib.Path
        From `write_coast`. The same file is read once a process.
    origin : Origin
        Where the packed shore comes from.
    beyond : Coast
        The shore outside the boxes.

    Raises
    ------
    LayerError
        When the file cannot be read or is none of `write_coast`.
    """
    path = Path(path)
    existing(path, "packed shoreline", LayerError)
    sha256 = checksum(path) or ""
    origin = replace(origin, sha256=origin.sha256 or sha256)
    return _read(path.resolve(), sha256, origin, beyond)


@lru_cache(maxsize=2)
def _read(path: Path, sha256: str, origin: Origin, beyond: Coast) -> PatchedCoast:
    """`sha256` is there to tell a file from another that stands in its place."""
    what = f"packed shoreline {path.name}"
    with readable(path, f"{what} cannot be read", _FIX, LayerError):
        names = {name for name, _ in layers_of(path)}
        if "boxes" not in names:
            raise LayerError(f"{what} has no layer 'boxes'; {_FIX}")
        boxes = layer_read(path, "boxes")[0]
        missing = [name for name in _COLUMNS if name not in boxes]
        if missing or not len(boxes):
            raise LayerError(f"{what} has boxes without {', '.join(missing) or 'rows'}; {_FIX}")
        land, lines = (_shapes(path, name) if name in names else np.empty(0, object)
                       for name in ("land", "lines"))  # fmt: skip
        closed, sd_m = boxes["closed"].to_numpy(bool), boxes["sd_m"].to_numpy(float)
    return patched(beyond, _geometry(boxes), closed, sd_m, land, lines, origin)


def _shapes(path: Path, layer: str) -> NDArray[np.object_]:
    return _geometry(layer_read(path, layer, columns=[])[0])


def _geometry(frame: gpd.GeoDataFrame) -> NDArray[np.object_]:
    return np.asarray(frame.geometry.to_numpy(), object)
