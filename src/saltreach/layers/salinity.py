"""How salt the sea off a place is, g/kg, from a small table of seas that differ from the ocean.

The table is `sea_salinity.csv`: one row per sea, with a rough outline of our own, drawn inside
the sea's limits and some tens of kilometres inland, so that cliffs on its shore fall inside.
Doubtful places, straits above all, count as the saltier sea. Long-term surface values; no
season, no river mouth.
"""

from __future__ import annotations

import csv
from functools import lru_cache
from pathlib import Path
from typing import Any, NamedTuple

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike, NDArray

from saltreach.layers.embedded import sha256_of
from saltreach.layers.layer import Layer, Origin, Value, positions

OPEN_SEA = "open sea"
OPEN_SEA_G_KG = 35.0
"""Ocean salinity, g/kg: "about 3.5 %" (Zakowski and others 2014, abstract)."""
_TABLE = Path(__file__).with_name("sea_salinity.csv")


class Sea(NamedTuple):
    """One row of the table; `outline_deg` are its corners as (lon, lat)."""

    name: str
    salinity_g_kg: float
    source: str
    status: str
    outline_deg: tuple[tuple[float, float], ...]


@lru_cache(maxsize=1)
def seas() -> tuple[Sea, ...]:
    """The table of seas, the freshest first."""
    with _TABLE.open(encoding="utf-8", newline="") as handle:
        rows = [
            Sea(
                row["name"],
                float(row["salinity_g_kg"]),
                row["source"],
                row["status"],
                tuple(
                    (float(lon), float(lat))
                    for lon, lat in (corner.split() for corner in row["outline_deg"].split(";"))
                ),
            )
            for row in csv.DictReader(handle)
        ]
    return tuple(sorted(rows, key=lambda sea: sea.salinity_g_kg))


def sea_salinity_g_kg(
    lon: ArrayLike, lat: ArrayLike
) -> tuple[NDArray[np.float64], NDArray[np.object_]]:
    """Salinity of the sea that a place of the shore belongs to.

    Where outlines overlap the saltier sea counts. Best asked at the nearest place of the shore
    (`CoastIndex.shore`): farther inland than the outlines reach, a place counts as open sea.

    Parameters
    ----------
    lon, lat : array_like, shape (n,)
        Degrees, WGS 84. Longitudes may run past 180.

    Returns
    -------
    salinity_g_kg : ndarray of float, shape (n,)
        g/kg of surface water; 35 outside every outline; NaN where the position is unknown.
    name : ndarray of str objects, shape (n,)
        Name of the sea, "open sea" outside every outline, "" where the position is unknown.

    Raises
    ------
    LayerError
        When the inputs differ in length.

    References
    ----------
    `sea_salinity.csv` gives source and status per sea; the outlines are our own.

    Examples
    --------
    >>> salinity_g_kg, name = sea_salinity_g_kg([18.66, -9.5], [54.40, 38.7])  # Gdansk, Lisbon
    >>> [float(s) for s in salinity_g_kg], list(name)
    ([7.0, 35.0], ['central Baltic', 'open sea'])
    """
    import shapely

    lon, lat = positions(lon, lat, "sea salinity")
    known = np.isfinite(lon) & np.isfinite(lat)
    around = (np.where(known, lon, 0.0) + 180.0) % 360.0 - 180.0
    salinity = np.where(known, OPEN_SEA_G_KG, np.nan)
    name = np.where(known, OPEN_SEA, "").astype(object)
    for sea in seas():  # the saltier later, so that it wins
        outline = shapely.polygons(sea.outline_deg)
        shapely.prepare(outline)
        inside = known & shapely.contains_xy(outline, around, lat)
        salinity[inside], name[inside] = sea.salinity_g_kg, sea.name
    return salinity, name


def salinity_origin() -> Origin:
    """The record of the table, for the catalogue and `provenance.json`."""
    return Origin(
        name="sea-salinity",
        quantity="salinity of the sea off a place",
        unit="g/kg",
        source="our own table: Gulf of Gdansk from Zakowski and others 2014, "
        "the other seas from memory; outlines our own",
        licence="MIT, as the code",
        accuracy="long-term surface values from memory, judged good to about 20 %, worse in the "
        "Belt Sea and the Kattegat; not measured here",
        sha256=sha256_of(_TABLE),
        extent="global; open sea where no outline holds the place",
        note="rough outlines; doubtful places count as the saltier sea; no season, no river mouth",
    )


def _sample(_: Any, places: pd.DataFrame) -> dict[str, Any]:
    given = places["sea_salinity_g_kg"].to_numpy(float)
    of_sea, _name = sea_salinity_g_kg(places["shore_lon"], places["shore_lat"])
    unknown = np.isnan(given)
    return {
        "sea_salinity_g_kg": np.where(unknown, of_sea, given),
        "sea_salinity_source": np.where(unknown, salinity_origin().name, "register"),
    }


LAYER = Layer(
    name="salinity",
    gives=(Value("sea_salinity_g_kg", source="sea_salinity_source"),),
    passes=(Value("sea_salinity_source", ""),),
    takes=("sea_salinity_g_kg",),
    needs=("shore_lon", "shore_lat"),
    sample=_sample,
    origins=lambda _: (salinity_origin(),),
)
