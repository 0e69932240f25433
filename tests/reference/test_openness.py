"""Openness against another way of computing it, and against places whose kind is known.

Peer: land polygons cut by shapely (GEOS) with straight rays in pyproj's azimuthal equidistant
projection around the place where our rays start. It shares the shoreline and that place only.
"""

import geopandas as gpd
import numpy as np
import pytest
import shapely
from pyproj import Geod

from saltreach.layers.coast import load_coast
from saltreach.layers.openness import CELL_M, sea_fetch, sea_openness

FETCH_M, TOLERANCE_M, DIRECTIONS = 20_000.0, 500.0, 36


def fetch_by_polygons(lon, lat, coast):
    """Sea a ray crosses until the land on it adds up to the tolerance, m, by direction."""
    lat_reach = 0.4
    lon_reach = lat_reach / max(np.cos(np.radians(min(abs(lat) + lat_reach, 89))), 0.02)
    shapes = coast.land_shapes(lon - lon_reach, lat - lat_reach, lon + lon_reach, lat + lat_reach)
    plane = f"+proj=aeqd +lat_0={lat} +lon_0={lon} +datum=WGS84 +units=m"
    land = shapely.union_all(gpd.GeoSeries(shapes, crs=4326).to_crs(plane).make_valid().to_numpy())
    shapely.prepare(land)
    for bearing in np.radians((np.arange(DIRECTIONS) + 0.5) * 360 / DIRECTIONS):
        end = FETCH_M * np.array([np.sin(bearing), np.cos(bearing)])
        on_land = shapely.intersection(shapely.linestrings([[0, 0], end]), land)
        parts = [
            p for p in shapely.get_parts(on_land) if p.geom_type == "LineString" and not p.is_empty
        ]
        spans = sorted(sorted(np.hypot(*shapely.get_coordinates(p).T)[[0, -1]]) for p in parts)
        crossed, stop = 0.0, FETCH_M
        for begin, finish in spans:
            if crossed + finish - begin > TOLERANCE_M:
                stop = begin + TOLERANCE_M - crossed
                crossed = TOLERANCE_M
                break
            crossed += finish - begin
        yield stop - crossed


@pytest.mark.pinned("peer")
def test_against_rays_cut_by_polygons_at_places_of_the_whole_globe():
    coast = load_coast()
    rng = np.random.default_rng(5)
    vertex = coast.vertex_deg[rng.integers(0, len(coast.vertex_deg), 40)]
    vertex = vertex[(np.abs(vertex[:, 0]) < 178) & (np.abs(vertex[:, 1]) < 84)]
    rays = sea_fetch(*vertex.T, coast)
    ours = rays.fetch_m[rays.place]
    starts = np.column_stack([rays.lon, rays.lat])[rays.place]
    off = Geod(ellps="WGS84").inv(*vertex.T, *starts.T)[2]
    assert off.max() < 2 * CELL_M
    peer = np.array([list(fetch_by_polygons(*v, coast)) for v in starts])
    assert len(vertex) > 30
    assert np.median(np.abs(ours - peer)) < 130  # a cell
    gap = (ours - peer).mean(axis=1) / FETCH_M
    assert np.abs(gap).mean() < 0.01
    assert np.abs(gap).max() < 0.06  # a ray that grazes the shore for kilometres decides


# Coordinates from general geography (atlas, to about a kilometre): the inner end and the outer
# cape of the same water. That the cape is the more open is what the words mean; no figure is
# published for it.
PAIRS = {
    "Ria de Muros e Noia: Noia, Cabo Corrubedo": ((-8.886, 42.787), (-9.090, 42.577)),
    "Ria de Pontevedra: Pontevedra, ocean side of Ons": ((-8.66, 42.43), (-8.955, 42.38)),
    "Ria do Barqueiro: O Barqueiro, Estaca de Bares": ((-7.705, 43.735), (-7.687, 43.790)),
    "Sognefjord: Laerdalsoyri, outer isle Utvaer": ((7.48, 61.10), (4.51, 61.04)),
    "Geirangerfjord: Geiranger, Stad": ((7.205, 62.10), (5.10, 62.20)),
    "Milford Sound: head, mouth": ((167.93, -44.67), (167.77, -44.56)),
    "Bristol Channel: Severn at Sharpness, Hartland Point": ((-2.48, 51.72), (-4.53, 51.02)),
}


@pytest.mark.parametrize("pair", PAIRS)
def test_the_inner_end_is_closed_and_the_outer_cape_is_open(pair):
    inner, outer = sea_openness(*np.array(PAIRS[pair]).T, load_coast())
    assert inner < 0.15
    assert outer > 0.4
    assert outer > 4 * inner


def test_oceanic_isles_and_capes_are_open():
    """Cape Horn, Land's End, Cabo de Sao Vicente, off North Head: open in about half or more."""
    lon, lat = [-67.29, -5.715, -8.997, 151.31], [-55.98, 50.066, 37.023, -33.82]
    assert (sea_openness(lon, lat, load_coast()) > 0.45).all()
