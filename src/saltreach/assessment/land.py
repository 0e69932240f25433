"""The land around the anchors of an assessment, from the shoreline it was made with."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from pathlib import Path
from typing import Any

import numpy as np

from saltreach.assessment.result import Assessment, Land
from saltreach.assessment.shapes import centre_lon_deg, unwrapped_lon


def land_in(result: Assessment, box: tuple[float, float, float, float]) -> Land:
    """Land of a box, from the shoreline that an assessment used.

    Parameters
    ----------
    result : Assessment
        From `assess` or `read_results`; of a shoreline that is not the embedded one, the latter
        knows what lies around the anchors.
    box : tuple of float
        West, south, east, north, degrees; longitudes may lie beyond 180.

    Returns
    -------
    Land
    """
    import geopandas as gpd

    from saltreach.layers.coast import load_coast

    if isinstance(result.own_shore, Land):
        return result.own_shore
    coast = result.own_shore or load_coast()
    return Land(gpd.GeoDataFrame(geometry=coast.land_shapes(*box)), coast.sided)


def shoreline(provenance: Mapping[str, Any]) -> tuple[str, str]:
    """Name and licence of the shoreline that an assessment used, as far as they are stated.

    Of two, a packed one and the one beyond it, both.
    """
    layers = [x for x in provenance["layers"] if x.get("quantity") == "shoreline"]
    names = [str(x.get("source") or x.get("name") or "").split(",")[0] for x in layers]
    licences = [x.get("licence") or "" for x in layers]
    return _both(Path(name).name for name in names), _both(licences)


def _both(words: Iterable[str]) -> str:
    """Words that are known, each once."""
    return " and ".join(dict.fromkeys(word for word in words if word))


def land_around(result: Assessment) -> Land:
    """Land around the anchors of an assessment, with room enough for a map of them.

    Parameters
    ----------
    result : Assessment
        From `assess` or `read_results`.

    Returns
    -------
    Land
        Empty where there is no anchor.
    """
    import geopandas as gpd

    places = result.flat.anchors.geometry
    if not len(places):
        return Land(gpd.GeoDataFrame(geometry=gpd.GeoSeries([], crs=4326)), sided=False)
    _, south, _, north = places.total_bounds
    lon = places.x.to_numpy()
    lon = unwrapped_lon(lon, centre_lon_deg(lon))  # the narrow way round, across 180 where it is
    west, east = lon.min(), lon.max()
    margin = max(0.5, 0.6 * (east - west), 0.6 * (north - south))
    margin_lon = min(margin / max(np.cos(np.radians((south + north) / 2)), 0.1), 60)
    return land_in(
        result,
        (west - margin_lon, max(south - margin, -90), east + margin_lon, min(north + margin, 90)),
    )
