"""A polygon around each sector's anchors."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import ArrayLike, NDArray

from saltreach.errors import RegisterError
from saltreach.intake.together import earth_m, thinned

if TYPE_CHECKING:
    import geopandas as gpd
    from shapely.geometry.base import BaseGeometry

MIN_BUFFER_M = 60.0
"""Default distance from an anchor to the edge of its sector's shape; our own drawing choice."""

CONCAVE_RATIO = 0.5
"""0 follows every bay of the points, 1 is the convex hull; our own drawing choice."""

WIDE_M = 100_000.0
"""A hull around anchors farther than this from their middle would hold land and sea without any:
each part then has its own; our own drawing choice."""

PART_M = 20_000.0
"""Side of the cubes that make those parts; our own drawing choice."""

NEAR_SHARE = 0.95
"""Nearer than this share of `WIDE_M` in a straight line nothing is farther on the ellipsoid."""

MERCATOR_LIMIT_DEG = 85.05
"""The web map's projection ends here."""


def mercator_deg(lat: ArrayLike) -> NDArray[np.float64]:
    """Height of latitudes on the web map, in degrees of longitude from the equator.

    Examples
    --------
    >>> round(float(mercator_deg(60.0)), 3)
    75.456
    """
    return np.degrees(np.arcsinh(np.tan(np.radians(lat))))


def latitude_deg(height_deg: ArrayLike) -> NDArray[np.float64]:
    """Latitudes of heights on the web map; the inverse of `mercator_deg`."""
    return np.degrees(np.arctan(np.sinh(np.radians(height_deg))))


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
    """One shape per sector: a hull around its anchors, widened so that it can be seen.

    Each hull is measured in its own azimuthal equidistant frame on the WGS 84 ellipsoid
    (distance and azimuth from its middle), so no zone border, antimeridian or latitude matters.
    A hull around a pole is drawn as the whole cap.

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
        Columns `crag`, `sector`, `geometry` (EPSG:4326), sorted by crag and sector. A sector
        with an anchor farther than `WIDE_M` from its middle has a hull for each part of it. A
        shape that crosses the antimeridian is cut there into two parts (RFC 7946, section
        3.1.9). A shape that cannot be drawn is empty.

    Raises
    ------
    RegisterError
        When the CRS or a position is missing.
    """
    import geopandas as gpd
    import shapely

    points = _lonlat_points(anchors)
    grouped = points.groupby(["crag", "sector"], dropna=False)
    group = grouped.ngroup().to_numpy()
    names = grouped.size().reset_index()[["crag", "sector"]]
    if len(points) == 0:
        return gpd.GeoDataFrame(names, geometry=[], crs="EPSG:4326")
    lon, lat = points.geometry.x.to_numpy(), points.geometry.y.to_numpy()
    part, owner = _parts(lon, lat, group)
    try:
        hulls = _hulls(lon, lat, part, buffer_m)
    except shapely.errors.GEOSException:
        hulls = np.array([_hull_or_nothing(lon[part == p], lat[part == p], buffer_m)
                          for p in range(len(owner))], dtype=object)  # fmt: skip
    shapes = hulls if len(owner) == len(names) else _joined(hulls, owner)
    return gpd.GeoDataFrame(names, geometry=shapes, crs="EPSG:4326")


def _parts(lon: np.ndarray, lat: np.ndarray, group: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Part of each position that gets a hull of its own, and the group each part belongs to."""
    from pyproj import Geod

    centre_lon, centre_lat = _sphere_means(lon, lat, group, int(group.max()) + 1)
    away_m = np.zeros(len(lon))
    # a straight line on a sphere is near enough to leave out what is close by
    may = (
        np.linalg.norm(earth_m(centre_lon, centre_lat)[group] - earth_m(lon, lat), axis=1)
        > NEAR_SHARE * WIDE_M
    )
    at = group[may]
    away_m[may] = Geod(ellps="WGS84").inv(centre_lon[at], centre_lat[at], lon[may], lat[may])[2]
    farthest = np.zeros(len(centre_lon))
    np.maximum.at(farthest, group, away_m)
    wide = farthest[group] > WIDE_M
    if not wide.any():
        return group, np.arange(len(farthest))
    cube = np.zeros(len(lon), dtype=np.int64)
    cube[wide] = 1 + thinned(earth_m(lon[wide], lat[wide]), group[wide], PART_M)[1]
    both, part = np.unique(np.column_stack([group, cube]), axis=0, return_inverse=True)
    return part.reshape(-1), both[:, 0]


def _joined(hulls: np.ndarray, owner: np.ndarray) -> np.ndarray:
    """The hulls of each group as one shape; owners in order."""
    import shapely

    starts = np.flatnonzero(np.diff(owner, prepend=-1))
    ends = np.append(starts[1:], len(owner))
    return np.array(
        [hulls[a] if b - a == 1 else shapely.union_all(hulls[a:b])
         for a, b in zip(starts, ends, strict=True)],
        dtype=object,
    )  # fmt: skip


def _hull_or_nothing(lon: np.ndarray, lat: np.ndarray, buffer_m: float) -> BaseGeometry:
    import shapely

    try:
        return _hulls(lon, lat, np.zeros(len(lon), dtype=np.int64), buffer_m)[0]
    except shapely.errors.GEOSException:
        return shapely.Polygon()


def _hulls(lon: np.ndarray, lat: np.ndarray, group: np.ndarray, buffer_m: float) -> np.ndarray:
    """Widened hull of each group, longitude and latitude."""
    import shapely
    from pyproj import Geod

    centre_lon, centre_lat = _sphere_means(lon, lat, group, int(group.max()) + 1)
    geod = Geod(ellps="WGS84")
    azimuth_deg, _, distance_m = geod.inv(centre_lon[group], centre_lat[group], lon, lat)
    east_m = distance_m * np.sin(np.radians(azimuth_deg))
    north_m = distance_m * np.cos(np.radians(azimuth_deg))

    order = np.argsort(group, kind="stable")
    clouds = shapely.from_ragged_array(
        shapely.GeometryType.MULTIPOINT,
        np.column_stack([east_m[order], north_m[order]]),
        (np.append(0, np.cumsum(np.bincount(group))),),
    )
    hulls = shapely.concave_hull(clouds, ratio=CONCAVE_RATIO)
    # The hull may fall inside the points by rounding; the points themselves are kept in.
    local = shapely.buffer(shapely.union(hulls, clouds), buffer_m, quad_segs=5)
    local = shapely.simplify(shapely.make_valid(local), buffer_m * 0.03)

    coordinates, owner = shapely.get_coordinates(local, return_index=True)
    east, north = coordinates[:, 0], coordinates[:, 1]
    to_lon, to_lat, _ = geod.fwd(
        centre_lon[owner],
        centre_lat[owner],
        np.degrees(np.arctan2(east, north)),
        np.hypot(east, north),
    )
    turned = unwrapped_lon(to_lon, centre_lon[owner])
    shapes = shapely.set_coordinates(local, np.column_stack([turned, to_lat]))
    # only beside a pole does a hull reach so far round
    for at in np.unique(owner[np.abs(turned - centre_lon[owner]) > 90.0]):
        own = to_lat[owner == at]
        south, north_lat = (own.min(), 90.0) if centre_lat[at] > 0 else (-90.0, own.max())
        shapes[at] = shapely.box(-180.0, south, 180.0, north_lat)
    return _cut_at_antimeridian(shapes)


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
        whole = shapely.make_valid(shapes[at])
        parts = [
            shapely.transform(
                shapely.intersection(whole, shapely.box(-180.0 + turn, -90, 180 + turn, 90)),
                lambda c, turn=turn: c - [turn, 0.0],
            )
            for turn in (-360.0, 0.0, 360.0)
        ]
        shapes[at] = shapely.union_all([p for p in parts if shapely.area(p) > 0])
    return shapes
