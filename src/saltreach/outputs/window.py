"""The window a drawing shows: the region, how far around it, its scale, where letters stand."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from saltreach.assessment.shapes import (
    MERCATOR_LIMIT_DEG,
    centre_lon_deg,
    latitude_deg,
    mercator_deg,
    unwrapped_lon,
)

if TYPE_CHECKING:
    import geopandas as gpd
    import pandas as pd


def map_window(
    sectors: gpd.GeoDataFrame, anchors: gpd.GeoDataFrame
) -> tuple[float, tuple[float, float, float, float], tuple[float, float, float, float]]:
    """Where the region lies and how far around it the map reaches.

    Parameters
    ----------
    sectors, anchors : geopandas.GeoDataFrame
        EPSG:4326.

    Returns
    -------
    centre_lon : float
        Degrees; all longitudes of the map are unwrapped around it.
    region, window : tuple of float
        West, south, east, north, degrees, longitudes unwrapped. The window is about square on
        the screen and more than twice as wide as the region, so that land fills the view on a
        phone held upright too.
    """
    import shapely

    coordinates = np.vstack(
        [shapely.get_coordinates(frame.geometry.values) for frame in (sectors, anchors)]
    )
    coordinates = coordinates[np.isfinite(coordinates).all(axis=1)]
    if len(coordinates) == 0:
        return 0.0, (-180.0, -60.0, 180.0, 75.0), (-180.0, -80.0, 180.0, 84.0)
    centre_lon = centre_lon_deg(coordinates[:, 0])
    lon = unwrapped_lon(coordinates[:, 0], centre_lon)
    lat = np.clip(coordinates[:, 1], -MERCATOR_LIMIT_DEG, MERCATOR_LIMIT_DEG)
    region = (float(lon.min()), float(lat.min()), float(lon.max()), float(lat.max()))

    south, north = (float(v) for v in mercator_deg(np.array([region[1], region[3]])))
    half = max(region[2] - region[0], north - south, 0.08) * 1.25
    middle_lon, middle = (region[0] + region[2]) / 2, (south + north) / 2
    limit = float(mercator_deg(MERCATOR_LIMIT_DEG))
    window = (
        max(middle_lon - half, centre_lon - 180.0),
        float(latitude_deg(max(middle - half, -limit))),
        min(middle_lon + half, centre_lon + 180.0),
        float(latitude_deg(min(middle + half, limit))),
    )
    return centre_lon, region, window


def label_points(shapes: pd.Series, centre_lon: float) -> np.ndarray:
    """A point inside each shape for its letter, (n, 2) lon, lat; NaN for an empty shape.

    Parameters
    ----------
    shapes : geopandas.GeoSeries
        Polygons, EPSG:4326.
    centre_lon : float
        Longitudes are unwrapped around it, so both parts of a cut shape lie side by side.

    Returns
    -------
    numpy.ndarray
        Degrees.
    """
    import shapely

    turned = shapely.transform(
        shapes.values, lambda c: np.column_stack([unwrapped_lon(c[:, 0], centre_lon), c[:, 1]])
    )
    inside = shapely.point_on_surface(turned)
    inside = np.where(shapely.is_empty(inside), None, inside)  # an empty point has no x
    return np.column_stack([shapely.get_x(inside), shapely.get_y(inside)])


def round_length_m(most_m: float) -> float:
    """The longest of 1, 2, 5, 10, 20 ... metres that is not longer than a length.

    Examples
    --------
    >>> round_length_m(4999.0)
    2000.0
    """
    power = 10 ** np.floor(np.log10(most_m))
    return float(max(step * power for step in (1, 2, 5) if step * power <= most_m))


def length_text(metres: float) -> str:
    """A length for a reader.

    Examples
    --------
    >>> length_text(2000.0), length_text(250.0)
    ('2 km', '250 m')
    """
    return f"{metres / 1000:g} km" if metres >= 1000 else f"{metres:g} m"
