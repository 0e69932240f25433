"""An invented backdrop: hills, roads, a lake, a quarry, a cliff and places around a middle."""

from __future__ import annotations

import geopandas as gpd
import numpy as np
import shapely

from saltreach.assessment.backdrop import Backdrop, Shade, hillshade

HOSTILE_PLACE = "<img src=x onerror=alert(3)>"
INVENTED = "Invented hills & roads, made for a test"


def behind(middle: tuple[float, float]) -> Backdrop:
    """A backdrop of one degree around a longitude and latitude."""
    lon, lat = middle
    along = np.linspace(-0.5, 0.5, 200)
    wave = np.column_stack([lon + along, lat - 0.05 + 0.01 * np.sin(40 * along)])
    rows = [
        ("road", "N 1", 1, shapely.LineString(wave)),
        ("road", "", 3, shapely.LineString(wave[90:110] - [0, 0.02])),
        ("cliff", "", 2, shapely.LineString(wave[95:105] + [0, 0.03])),
        ("quarry", "", 2, shapely.Point(lon + 0.04, lat - 0.04).buffer(0.01)),
        ("salt lake", "Laguna", 1, shapely.Point(lon - 0.1, lat - 0.12).buffer(0.03)),
        ("place", HOSTILE_PLACE, 1, shapely.Point(lon + 0.2, lat - 0.2)),
        ("place", "Aldea", 3, shapely.Point(lon + 0.02, lat - 0.03)),
    ]
    kind, name, rank, shape = zip(*rows, strict=True)
    table = {"kind": list(kind), "name": list(name), "rank": list(rank)}
    features = gpd.GeoDataFrame(table, geometry=list(shape), crs="EPSG:4326")
    x, y = np.meshgrid(np.linspace(0, 40, 120), np.linspace(0, 40, 120))
    light = hillshade(300 * np.sin(x) * np.cos(y), 150.0)
    shade = Shade((lon - 0.4, lat - 0.4, lon + 0.4, lat - 0.02), light)
    return Backdrop(features, (shade,), (INVENTED,))
