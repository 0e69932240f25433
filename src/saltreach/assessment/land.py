"""The land around the anchors of an assessment, from the shoreline it was made with."""

from __future__ import annotations

import numpy as np

from saltreach.assessment.result import Assessment, Land
from saltreach.assessment.shapes import (
    MERCATOR_LIMIT_DEG,
    centre_lon_deg,
    latitude_deg,
    mercator_deg,
    unwrapped_lon,
)

ROOM_LON, ROOM_LAT = 1.5, 1.3
"""Land is kept this far from the middle of the anchors, in parts of the region's longer side on
the web map: the map's window reaches 1.25, the overview picture 1.43; our own drawing choice."""
LEAST_SIZE_DEG = 0.4
"""A region counts as at least so large, degrees of latitude; our own drawing choice."""


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


def land_around(result: Assessment) -> Land:
    """Land around the anchors of an assessment, with room enough for any map of them.

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
    import shapely

    if not len(result.flat.anchors):
        return Land(gpd.GeoDataFrame(geometry=gpd.GeoSeries([], crs=4326)), sided=False)
    lon, lat = np.vstack(
        [
            shapely.get_coordinates(frame.geometry.values)
            for frame in (result.flat.anchors, result.flat.sectors)
        ]
    ).T
    centre = centre_lon_deg(lon)
    lon = unwrapped_lon(lon, centre)  # the narrow way round, across 180 where it is
    south, north = np.clip([lat.min(), lat.max()], -MERCATOR_LIMIT_DEG, MERCATOR_LIMIT_DEG)
    low, high = (float(v) for v in mercator_deg([south, north]))
    least = LEAST_SIZE_DEG / max(float(np.cos(np.radians(south + north) / 2)), 0.1)
    size = max(float(lon.max() - lon.min()), high - low, least)
    half_lon = min(ROOM_LON * size, 180.0)
    bottom, top = latitude_deg((low + high) / 2 + np.array([-1, 1]) * ROOM_LAT * size)
    return land_in(
        result,
        (
            centre - half_lon,
            -90.0 if bottom < -MERCATOR_LIMIT_DEG else float(bottom),
            centre + half_lon,
            90.0 if top > MERCATOR_LIMIT_DEG else float(top),
        ),
    )
