"""A polygon around each sector's anchors."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from saltreach.errors import RegisterError

if TYPE_CHECKING:
    import geopandas as gpd

MIN_BUFFER_M = 60.0
"""Default distance from an anchor to the edge of its sector's shape; our own drawing choice."""

CONCAVE_RATIO = 0.5
"""0 follows every bay of the points, 1 is the convex hull; our own drawing choice."""


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
    grouped = points.groupby(["crag", "sector"], dropna=False)
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
