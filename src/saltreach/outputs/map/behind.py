"""The backdrop as the map's page holds it: little enough, and most of it beside the anchors."""

from __future__ import annotations

import base64
from typing import TYPE_CHECKING, Any

import numpy as np

from saltreach.layers.context import KINDS
from saltreach.layers.geodesy import ecef_m
from saltreach.outputs.shore import pieces_in, thinned_lines, window_coast

if TYPE_CHECKING:
    import geopandas as gpd

    from saltreach.assessment.backdrop import Backdrop, Shade

NEAR_M = 15_000.0
"""What matters least is drawn within this distance of an anchor only; our own drawing choice."""
EDGE_DEG = 0.05
MOST_NAMES = 1500
AREA_VERTICES = 8_000
LIGHT_STEP = 8
"""Light is rounded to so much of its 255: a third of the file, and no eye sees it."""
STEPS_PER_DEG = 1e5

Window = tuple[float, float, float, float]


def backdrop_data(backdrop: Backdrop, window: Window, places: np.ndarray) -> dict[str, Any]:
    """What the page draws behind the sectors.

    Parameters
    ----------
    backdrop : Backdrop
        As the assessment carries it.
    window : tuple of float
        Of the map; longitudes may lie beyond 180.
    places : ndarray, shape (n, 2)
        Longitude and latitude of the anchors.

    Returns
    -------
    dict
        `lines` and `areas`: kind, rank and the lines' steps (see `steps`); `names`: text, rank,
        lon and lat, the most important first; `shades`: bounds and a picture as data URL.
    """
    features = backdrop.features.to_crs("EPSG:4326")
    features = features[features["kind"].isin(KINDS) & ~features.geometry.isna()]
    rank = features["rank"].to_numpy(float)
    last = (rank >= 3) | (features["kind"] == "cliff").to_numpy(bool)
    features = features[~last | _near(features, places)]
    return {
        "lines": [
            [kind, rank, [steps(line) for line in lines]]
            for kind, rank, group in _groups(features, ("LineString", "MultiLineString"))
            if (lines := thinned_lines(pieces_in(group, window), window, places))
        ],
        "areas": [
            [kind, rank, [steps(ring) for ring in rings]]
            for kind, rank, group in _groups(features, ("Polygon", "MultiPolygon"))
            if (rings := _areas(group, window, places))
        ],
        "names": _names(features, window),
        "shades": [drawn for shade in backdrop.shades for drawn in _pictures(shade, window)],
    }


def steps(xy: np.ndarray) -> np.ndarray:
    """A line as the page holds it: lon, lat, lon, lat ..., each less the one before, 1e-5 deg."""
    whole = np.round(xy * STEPS_PER_DEG).astype(np.int64)
    return np.diff(whole, axis=0, prepend=0).ravel()


def _near(features: gpd.GeoDataFrame, places: np.ndarray) -> np.ndarray:
    """Features that have a vertex near a place (mask)."""
    import shapely
    from scipy.spatial import cKDTree

    near = np.zeros(len(features), dtype=bool)
    # a long edge may pass a place far from its ends
    close = shapely.segmentize(np.asarray(features.geometry.values), EDGE_DEG)
    xy, owner = shapely.get_coordinates(close, return_index=True)
    if len(xy) and len(places):
        away = cKDTree(ecef_m(*places.T)).query(ecef_m(*xy.T), distance_upper_bound=NEAR_M)[0]
        near[owner[np.isfinite(away)]] = True
    return near


def _groups(
    features: gpd.GeoDataFrame, types: tuple[str, ...]
) -> list[tuple[str, int, np.ndarray]]:
    """Shapes of some types by kind and rank, the least important first: it is drawn first."""
    import shapely

    some = features[features.geom_type.isin(types)]
    return [
        (str(kind), int(-rank), shapely.get_parts(np.asarray(group.geometry.values)))
        for (rank, kind), group in some.groupby([-some["rank"].astype(int), "kind"])
    ]


def _areas(group: np.ndarray, window: Window, places: np.ndarray) -> list[np.ndarray]:
    import geopandas as gpd

    frame = gpd.GeoDataFrame(geometry=group, crs="EPSG:4326")
    return window_coast(
        frame, window, places=places, max_vertices=AREA_VERTICES, max_fine_vertices=AREA_VERTICES
    )[1]


def _names(features: gpd.GeoDataFrame, window: Window) -> list[list[Any]]:
    """Places with a name inside the window."""
    import shapely

    named = features[(features["kind"] == "place") & (features["name"].fillna("") != "")]
    named = named.sort_values(["rank", "name"], kind="stable")
    found: list[list[Any]] = []
    middle = shapely.centroid(np.asarray(named.geometry.values))
    for turn in (-360.0, 0.0, 360.0):
        lon, lat = shapely.get_x(middle) + turn, shapely.get_y(middle)
        seen = (lon >= window[0]) & (lon <= window[2]) & (lat >= window[1]) & (lat <= window[3])
        columns = (named["name"][seen], named["rank"][seen], lon[seen], lat[seen])
        found += [
            [str(name), int(rank), round(float(x), 5), round(float(y), 5)]
            for name, rank, x, y in zip(*columns, strict=True)
        ]
    return sorted(found, key=lambda one: one[1])[:MOST_NAMES]


def _pictures(shade: Shade, window: Window) -> list[list[Any]]:
    """A shade in each turn that the window shows: bounds, and a PNG of its light."""
    west, south, east, north = shade.bounds
    turns = [t for t in (-360, 0, 360) if west + t <= window[2] and east + t >= window[0]]
    if not turns or south > window[3] or north < window[1]:
        return []
    light = np.where(
        shade.light == 0,
        0,
        np.clip(np.round(shade.light / LIGHT_STEP) * LIGHT_STEP, LIGHT_STEP, 255),
    )
    url = "data:image/png;base64," + base64.b64encode(_png(light.astype(np.uint8))).decode("ascii")
    return [[np.round([west + t, south, east + t, north], 6), url] for t in turns]


def _png(light: np.ndarray) -> bytes:
    """A picture of grey levels."""
    import warnings

    from rasterio.errors import NotGeoreferencedWarning
    from rasterio.io import MemoryFile

    high, wide = light.shape
    how: dict[str, Any] = {"width": wide, "height": high, "count": 1, "dtype": "uint8"}
    with warnings.catch_warnings(), MemoryFile() as file:
        warnings.simplefilter("ignore", NotGeoreferencedWarning)  # the page knows where it lies
        with file.open(driver="PNG", zlevel=9, **how) as picture:
            picture.write(light, 1)
        return bytes(file.read())
