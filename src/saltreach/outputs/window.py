"""The window a drawing shows: the region, the land around it, its scale, where letters stand."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from saltreach.assessment.shapes import centre_lon_deg, unwrapped_lon
from saltreach.errors import LayerError

if TYPE_CHECKING:
    import geopandas as gpd
    import pandas as pd

MERCATOR_LIMIT_DEG = 85.05
"""The web map's projection ends here."""


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

    south, north = _mercator_deg(region[1]), _mercator_deg(region[3])
    half = max(region[2] - region[0], north - south, 0.08) * 1.25
    middle_lon, middle = (region[0] + region[2]) / 2, (south + north) / 2
    limit = _mercator_deg(MERCATOR_LIMIT_DEG)
    window = (
        max(middle_lon - half, centre_lon - 180.0),
        _latitude_deg(max(middle - half, -limit)),
        min(middle_lon + half, centre_lon + 180.0),
        _latitude_deg(min(middle + half, limit)),
    )
    return centre_lon, region, window


def _mercator_deg(lat: float) -> float:
    return float(np.degrees(np.arcsinh(np.tan(np.radians(lat)))))


def _latitude_deg(mercator_deg: float) -> float:
    return float(np.degrees(np.arctan(np.sinh(np.radians(mercator_deg)))))


def window_coast(
    coast: gpd.GeoDataFrame,
    window: tuple[float, float, float, float],
    *,
    max_vertices: int = 20_000,
) -> tuple[str, list[np.ndarray]]:
    """Land (or shoreline) inside the window, simplified until the map stays small.

    Parameters
    ----------
    coast : geopandas.GeoDataFrame
        Land polygons or shoreline lines, EPSG:4326; may be empty.
    window : tuple of float
        West, south, east, north, degrees; longitudes may lie beyond 180.
    max_vertices : int
        The tolerance starts at 0.0001 degrees (about 10 m), or at a ten-thousandth of the window
        where that is more, and grows until no more are left.

    Returns
    -------
    kind : str
        `land`, `shoreline` or `none`.
    parts : list of numpy.ndarray
        Rings (holes and outlines alike, for even-odd filling) or lines, each (n, 2) lon, lat.

    Raises
    ------
    LayerError
        When the CRS is missing.
    """
    import shapely

    if len(coast) == 0:
        return "none", []
    if coast.crs is None:
        raise LayerError("coast: the coordinate system is not known; set it before drawing")
    geometry = coast.geometry.to_crs("EPSG:4326").values
    geometry = shapely.get_parts(np.asarray(geometry[~geometry.isna()]))
    areal = np.isin(shapely.get_type_id(geometry), (3, 6))
    kind = "land" if areal.any() else "shoreline"
    geometry = geometry[areal] if areal.any() else geometry

    pieces = np.concatenate([_turned_and_cut(geometry, turn, window) for turn in (-360, 0, 360)])
    if len(pieces) == 0:
        # Polygons that leave the window empty mean open sea; without any, nothing is known.
        return kind, []
    finest_deg = max(1e-4, (window[2] - window[0]) * 1e-4)
    cut, tolerance_deg = pieces, finest_deg
    while True:
        if kind == "land" and tolerance_deg > finest_deg:
            cut = cut[shapely.area(cut) > (2 * tolerance_deg) ** 2]
        cut = shapely.simplify(cut, tolerance_deg, preserve_topology=True)
        if shapely.get_num_coordinates(cut).sum() <= max_vertices or tolerance_deg >= 1.0:
            break
        tolerance_deg *= 1.6
    lines = shapely.get_rings(cut) if kind == "land" else shapely.get_parts(cut)
    return kind, [shapely.get_coordinates(line) for line in lines]


def _turned_and_cut(
    geometry: np.ndarray, turn_deg: int, window: tuple[float, float, float, float]
) -> np.ndarray:
    """Parts inside the window after moving the geometry east by whole turns."""
    import shapely

    west, south, east, north = window
    bounds = shapely.bounds(geometry)
    near = (
        (bounds[:, 0] + turn_deg <= east)
        & (bounds[:, 2] + turn_deg >= west)
        & (bounds[:, 1] <= north)
        & (bounds[:, 3] >= south)
    )
    if not near.any():
        return np.array([], dtype=object)
    # Cut first, mend after: a continent has far more vertices than its part in the window.
    cut = shapely.clip_by_rect(geometry[near], west - turn_deg, south, east - turn_deg, north)
    cut = shapely.get_parts(shapely.get_parts(shapely.make_valid(cut)))
    # A land polygon that only touches the box leaves lines or points behind.
    kinds = (3, 6) if np.isin(shapely.get_type_id(geometry), (3, 6)).all() else (1, 2, 5)
    cut = cut[np.isin(shapely.get_type_id(cut), kinds) & ~shapely.is_empty(cut)]
    return shapely.transform(cut, lambda c: c + [float(turn_deg), 0.0])


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
