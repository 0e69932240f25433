"""How far the next salt lake is: a short list of lakes known to be saline (embedded).

The coast layer counts lakes as land (the Caspian alone is sea), so without this list a crag on
the Dead Sea is as dry inland as any. The layer says that a lake is there and what its brine is;
it gives no deposition: none measured beside such a lake could be read, so nothing is calibrated.
A lake that is not listed is not known to be fresh.
"""

from __future__ import annotations

import json
from functools import lru_cache
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

from saltreach.errors import LayerError
from saltreach.layers.coast_index import CoastIndex, build_index
from saltreach.layers.embedded import embedded_file, sha256_of
from saltreach.layers.geodesy import metres_per_degree
from saltreach.layers.layer import Layer, Origin, Value, lonlat, positions

SALT_LAKES_FILE = "layers/salt_lakes.geojson"
REACH_M = 50_000.0
"""Beyond this no lake is named; judgement (spray and playa dust travel far, how far is open)."""
MAGNESIUM, SODIUM = "magnesium", "sodium"
"""Words of `salt_lake_brine`. Magnesium brines stay wet down to about 33 % humidity, calcium's,
which are counted with them, to about 30 %; sodium brines to about 75 % (from memory)."""


class SaltLake(NamedTuple):
    """One listed lake; `shore_deg` (k, 2) is its closed outer shore, lon and lat."""

    name: str
    salinity_g_kg: float
    brine: str
    source: str
    status: str
    outline: str
    outline_sd_m: float
    shore_deg: NDArray[np.float64]


class NearestSaltLake(NamedTuple):
    """The nearest listed lake of each place, arrays of shape (n,).

    `salt_lake_m`: geodesic distance to its shore, m; 0 on the lake, NaN beyond 50 km.
    `salt_lake`: its name, "" beyond. `salt_lake_brine`: "magnesium", "sodium" or "".
    `salt_lake_salinity_g_kg`: g/kg, NaN beyond. `salt_lake_sd_m`: standard deviation of the
    shore's position, m, judgement; NaN beyond.
    """

    salt_lake_m: NDArray[np.float64]
    salt_lake: NDArray[np.object_]
    salt_lake_brine: NDArray[np.object_]
    salt_lake_salinity_g_kg: NDArray[np.float64]
    salt_lake_sd_m: NDArray[np.float64]


@lru_cache(maxsize=1)
def salt_lakes() -> tuple[SaltLake, ...]:
    """The listed lakes.

    Raises
    ------
    LayerError
        When the embedded file is missing or damaged.
    """
    path = embedded_file(SALT_LAKES_FILE)
    try:
        features: list[dict[str, Any]] = json.loads(path.read_text(encoding="utf-8"))["features"]
        return tuple(
            SaltLake(
                **feature["properties"],
                shore_deg=np.array(feature["geometry"]["coordinates"][0], float),
            )
            for feature in features
        )
    except (ValueError, KeyError, TypeError) as error:
        raise LayerError(
            f"embedded salt lakes {path} cannot be read ({error}); reinstall saltreach or run "
            "data/build/build_salt_lakes.py"
        ) from error


def salt_lake_at(lon: ArrayLike, lat: ArrayLike) -> NearestSaltLake:
    """Distance to the nearest listed salt lake, which one it is and what its brine is.

    Parameters
    ----------
    lon, lat : array_like, shape (n,)
        Degrees, WGS 84. Longitudes may run past 180; an unknown position has no lake.

    Returns
    -------
    NearestSaltLake
        Arrays of shape (n,). Islands count as the lake.

    Raises
    ------
    LayerError
        When the inputs differ in length, or the embedded file is missing or damaged.

    References
    ----------
    Shores: GSHHG 2.3.7 (Wessel & Smith 1996), or rough outlines of our own where it has none;
    each lake's record says which, and where its salinity and brine are from.

    Examples
    --------
    >>> near = salt_lake_at([35.39, 6.6], [31.46, 46.4])  # Ein Gedi, Lausanne
    >>> list(near.salt_lake), list(near.salt_lake_brine)
    (['Dead Sea', ''], ['magnesium', ''])
    """
    lon, lat = positions(lon, lat, "salt lakes")
    known = np.isfinite(lon) & np.isfinite(lat)
    around = (np.where(known, lon, np.nan) + 180.0) % 360.0 - 180.0
    nearest_m, which = np.full(lon.size, np.inf), np.full(lon.size, -1)
    boxes = _boxes_deg()
    for at in np.flatnonzero(_touched(boxes, around, lat)).tolist():
        west, south, east, north = boxes[at]
        rows = np.flatnonzero((around >= west) & (around <= east) & (lat >= south) & (lat <= north))
        distance = _distance_m(at, around[rows], lat[rows])
        closer = (distance <= REACH_M) & (distance < nearest_m[rows])
        nearest_m[rows[closer]], which[rows[closer]] = distance[closer], at
    return _described(nearest_m, which)


def _touched(
    boxes: NDArray[np.float64], lon: NDArray[np.float64], lat: NDArray[np.float64]
) -> NDArray[np.bool_]:
    """Boxes that meet the box around all places; most regions meet none."""
    if not np.isfinite(lon).any():
        return np.zeros(len(boxes), bool)
    west, south, east, north = boxes.T
    return np.asarray(
        (west <= np.nanmax(lon)) & (east >= np.nanmin(lon))
        & (south <= np.nanmax(lat)) & (north >= np.nanmin(lat))
    )  # fmt: skip


@lru_cache(maxsize=1)
def _boxes_deg() -> NDArray[np.float64]:
    """West, south, east, north of all that lies within `REACH_M` of each lake, (lakes, 4)."""
    low = np.array([lake.shore_deg.min(axis=0) for lake in salt_lakes()])
    high = np.array([lake.shore_deg.max(axis=0) for lake in salt_lakes()])
    up = REACH_M / float(metres_per_degree(0.0)[1])  # a degree of latitude is shortest there
    widest = np.maximum(np.abs(low[:, 1]), np.abs(high[:, 1])) + up
    aside = up / np.cos(np.radians(widest))
    return np.column_stack([low[:, 0] - aside, low[:, 1] - up, high[:, 0] + aside, high[:, 1] + up])


@lru_cache(maxsize=64)
def _index(at: int) -> CoastIndex:
    """Search index of one lake's shore; the coast's own machinery, without sides."""
    shore = salt_lakes()[at].shore_deg
    return build_index(shore, np.array([0, len(shore)]), np.arange(len(shore) - 1), sided=False)


def _distance_m(at: int, lon: NDArray[np.float64], lat: NDArray[np.float64]) -> NDArray[np.float64]:
    import shapely

    if not len(lon):
        return np.empty(0)
    lake = shapely.polygons(salt_lakes()[at].shore_deg)
    shapely.prepare(lake)
    return np.where(shapely.contains_xy(lake, lon, lat), 0.0, _index(at).shore(lon, lat).distance_m)


def _described(nearest_m: NDArray[np.float64], which: NDArray[np.int64]) -> NearestSaltLake:
    none = which < 0
    lakes = salt_lakes()
    name, brine = (
        np.where(none, "", np.array([getattr(lake, field) for lake in lakes], object)[which])
        for field in ("name", "brine")
    )
    salinity, sd = (
        np.where(none, np.nan, np.array([getattr(lake, field) for lake in lakes], float)[which])
        for field in ("salinity_g_kg", "outline_sd_m")
    )
    return NearestSaltLake(np.where(none, np.nan, nearest_m), name, brine, salinity, sd)


def salt_lakes_origin() -> Origin:
    """The record of the list, for the catalogue and `provenance.json`."""
    lakes = salt_lakes()
    own = [lake.name for lake in lakes if lake.outline.startswith("own")]
    return Origin(
        name="salt-lakes",
        quantity="distance to the nearest listed salt lake, its brine and salinity",
        unit="m, g/kg",
        source="GSHHG, Global Self-consistent Hierarchical High-resolution Geography "
        f"(Wessel & Smith 1996, J. Geophys. Res. 101:8741-8743), {len(lakes) - len(own)} lakes of "
        f"level 2; rough outlines of our own for {', '.join(own)}; salinity and brine mostly "
        "from memory, status per lake in the file",
        url="https://www.soest.hawaii.edu/pwessel/gshhg/",
        version=f"2.3.7, high resolution; list of {len(lakes)} lakes",
        licence="LGPL-3.0",
        accuracy="shores 1 km standard deviation, our own outlines 10 km, both judgement (levels "
        "change; the year of a shore is not known); distance to the drawn shore within 1 m",
        sha256=sha256_of(embedded_file(SALT_LAKES_FILE)),
        extent=f"{REACH_M / 1000:.0f} km around the listed lakes; a lake not listed is not known "
        "to be fresh",
        note="no deposition or corrosion rate measured beside such a lake could be read, so "
        "nothing is calibrated; islands count as the lake; the Aral Sea is drawn undivided",
    )


LAYER = Layer(
    name="salt-lakes",
    gives=(
        Value("salt_lake_m", sd="salt_lake_sd_m", source="salt_lake_source"),
        Value("salt_lake", "", source="salt_lake_source"),
        Value("salt_lake_brine", "", source="salt_lake_source"),
        Value("salt_lake_salinity_g_kg", source="salt_lake_source"),
        Value("salt_lake_sd_m"),
    ),
    sample=lambda _, places: salt_lake_at(*lonlat(places))._asdict(),
    origins=lambda _: (salt_lakes_origin(),),
)
