"""Shapes the map draws: a polygon around each sector's anchors, and the land of the region."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from saltreach.errors import LayerError, RegisterError

if TYPE_CHECKING:
    import geopandas as gpd
    import pandas as pd

MIN_BUFFER_M = 60.0
"""Default distance from an anchor to the edge of its sector's shape; our own drawing choice."""

CONCAVE_RATIO = 0.5
"""0 follows every bay of the points, 1 is the convex hull; our own drawing choice."""

MERCATOR_LIMIT_DEG = 85.05
"""The web map's projection ends here."""


def unwrapped_lon(lon: np.ndarray, centre_lon: float | np.ndarray) -> np.ndarray:
    """Longitudes moved by whole turns so that they lie within 180 degrees of a centre.

    Parameters
    ----------
    lon, centre_lon : array_like
        Degrees. They broadcast.

    Returns
    -------
    numpy.ndarray
        Degrees in [centre_lon - 180, centre_lon + 180); may lie beyond 180.

    Examples
    --------
    >>> unwrapped_lon(np.array([-179.5, 179.5]), 179.9).tolist()
    [180.5, 179.5]
    """
    turns = np.floor((np.asarray(lon) - centre_lon + 180.0) / 360.0)
    return np.asarray(lon) - 360.0 * turns


def centre_lon_deg(lon: np.ndarray) -> float:
    """Middle of the narrowest stretch of longitude that holds all values, degrees.

    Parameters
    ----------
    lon : array_like
        Longitudes, degrees, any number of turns. At least one is finite.

    Returns
    -------
    float
        In [-180, 180). The stretch is what is left of the circle after its widest gap.

    Examples
    --------
    >>> centre_lon_deg(np.array([179.0, -179.0]))
    -180.0
    """
    turn = np.unique(np.mod(np.asarray(lon, dtype=float)[np.isfinite(lon)], 360.0))
    gaps = np.diff(np.append(turn, turn[0] + 360.0))
    widest = int(np.argmax(gaps))
    start = turn[(widest + 1) % len(turn)]
    middle = start + (360.0 - gaps[widest]) / 2.0
    return float(np.mod(middle + 180.0, 360.0) - 180.0)


def sector_shapes(anchors: gpd.GeoDataFrame, *, buffer_m: float = MIN_BUFFER_M) -> gpd.GeoDataFrame:
    """One polygon per sector: a hull around its anchors, widened so that it can be seen.

    Each sector is measured in its own azimuthal equidistant frame on the WGS 84 ellipsoid
    (distance and azimuth from the sector's middle), so no zone border, antimeridian or latitude
    matters short of the poles themselves.

    Parameters
    ----------
    anchors : geopandas.GeoDataFrame
        Points with columns `crag` and `sector`, in any known CRS.
    buffer_m : float
        Distance from the hull to the shape's edge, m; a lone anchor becomes a disc of this
        radius.

    Returns
    -------
    geopandas.GeoDataFrame
        Columns `crag`, `sector`, `geometry` (EPSG:4326), sorted by crag and sector. A shape
        that crosses the antimeridian is cut there into two parts (RFC 7946, section 3.1.9).

    Raises
    ------
    RegisterError
        When the CRS or a position is missing.
    """
    import geopandas as gpd
    import shapely
    from pyproj import Geod

    points = _lonlat_points(anchors)
    grouped = points.groupby(["crag", "sector"], sort=True, dropna=False)
    group = grouped.ngroup().to_numpy()
    names = grouped.size().reset_index()[["crag", "sector"]]
    if len(points) == 0:
        return gpd.GeoDataFrame(names, geometry=[], crs="EPSG:4326")

    lon, lat = points.geometry.x.to_numpy(), points.geometry.y.to_numpy()
    centre_lon, centre_lat = _sphere_means(lon, lat, group, len(names))
    geod = Geod(ellps="WGS84")
    azimuth_deg, _, distance_m = geod.inv(centre_lon[group], centre_lat[group], lon, lat)
    east_m = distance_m * np.sin(np.radians(azimuth_deg))
    north_m = distance_m * np.cos(np.radians(azimuth_deg))

    order = np.argsort(group, kind="stable")
    clouds = shapely.multipoints(
        shapely.points(east_m[order], north_m[order]), indices=group[order]
    )
    hulls = shapely.concave_hull(clouds, ratio=CONCAVE_RATIO)
    # The hull may fall inside the points by rounding; the points themselves are kept in.
    local = shapely.buffer(shapely.union(hulls, clouds), buffer_m, quad_segs=5)
    local = shapely.simplify(shapely.make_valid(local), buffer_m * 0.03)

    def to_lonlat(coordinates: np.ndarray, owner: np.ndarray) -> np.ndarray:
        east, north = coordinates[:, 0], coordinates[:, 1]
        to_lon, to_lat, _ = geod.fwd(
            centre_lon[owner],
            centre_lat[owner],
            np.degrees(np.arctan2(east, north)),
            np.hypot(east, north),
        )
        return np.column_stack([unwrapped_lon(to_lon, centre_lon[owner]), to_lat])

    coordinates, owner = shapely.get_coordinates(local, return_index=True)
    shapes = shapely.set_coordinates(local, to_lonlat(coordinates, owner))
    return gpd.GeoDataFrame(names, geometry=_cut_at_antimeridian(shapes), crs="EPSG:4326")


def _lonlat_points(anchors: gpd.GeoDataFrame) -> gpd.GeoDataFrame:
    if anchors.crs is None:
        raise RegisterError(
            "anchors: the coordinate system is not known; set it, for example "
            "anchors.set_crs('EPSG:4326')"
        )
    missing = anchors.geometry.isna() | anchors.geometry.is_empty
    if missing.any():
        raise RegisterError(
            f"anchors: {int(missing.sum())} rows have no position, the first at index "
            f"{anchors.index[missing][0]!r}; give lon and lat or leave the rows out"
        )
    return anchors[["crag", "sector", "geometry"]].to_crs("EPSG:4326")


def _sphere_means(
    lon: np.ndarray, lat: np.ndarray, group: np.ndarray, groups: int
) -> tuple[np.ndarray, np.ndarray]:
    """Middle of each group of positions, by the mean of unit vectors (no seam at 180)."""
    lon_rad, lat_rad = np.radians(lon), np.radians(lat)
    parts = (np.cos(lat_rad) * np.cos(lon_rad), np.cos(lat_rad) * np.sin(lon_rad), np.sin(lat_rad))
    east, north, up = (np.bincount(group, weights=part, minlength=groups) for part in parts)
    return np.degrees(np.arctan2(north, east)), np.degrees(np.arctan2(up, np.hypot(east, north)))


def _cut_at_antimeridian(shapes: np.ndarray) -> np.ndarray:
    """Shapes whose longitudes run past +-180 cut there, each part moved back into range."""
    import shapely

    bounds = shapely.bounds(shapes)
    for at in np.flatnonzero((bounds[:, 0] < -180.0) | (bounds[:, 2] > 180.0)):
        whole = shapely.make_valid(shapes[at])  # round half the world a shape may cross itself
        parts = [
            shapely.transform(
                shapely.intersection(whole, shapely.box(-180.0 + turn, -90, 180 + turn, 90)),
                lambda c, turn=turn: c - [turn, 0.0],
            )
            for turn in (-360.0, 0.0, 360.0)
        ]
        shapes[at] = shapely.union_all([p for p in parts if shapely.area(p) > 0])
    return shapes


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
        The tolerance starts at 0.0001 degrees (about 10 m) and grows until no more are left.

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
    tolerance_deg = 1e-4
    cut = shapely.simplify(pieces, tolerance_deg, preserve_topology=True)
    while shapely.get_num_coordinates(cut).sum() > max_vertices and tolerance_deg < 1.0:
        tolerance_deg *= 1.6
        if kind == "land":
            cut = cut[shapely.area(cut) > (2 * tolerance_deg) ** 2]
        cut = shapely.simplify(cut, tolerance_deg, preserve_topology=True)
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
    return np.column_stack([shapely.get_x(inside), shapely.get_y(inside)])
