"""The shape of the Earth against PROJ's own transformation and GeographicLib's geodesics."""

import numpy as np
import pytest
from geographiclib.geodesic import Geodesic
from pyproj import Transformer

from saltreach.layers import geodesy

LON = np.array([0.0, 6.9, -70.0, 179.99, 98.8, -180.0])
LAT = np.array([0.0, 44.2, -54.8, 66.5, 8.0, -89.9])


@pytest.mark.pinned("peer", answers=3 * len(LON))
def test_earth_centred_coordinates():
    to_ecef = Transformer.from_crs("EPSG:4979", "EPSG:4978", always_xy=True)
    found = np.column_stack(to_ecef.transform(LON, LAT, np.zeros(len(LON))))
    assert geodesy.ecef_m(LON, LAT) == pytest.approx(found, abs=1e-6)


@pytest.mark.pinned("peer", answers=2 * len(LON))
@pytest.mark.parametrize("height_m", [0.0, 10.0])
def test_back_to_degrees(height_m):
    """On the ellipsoid exactly; off it by less than 0.004 of the height, as the docstring says."""
    to_ecef = Transformer.from_crs("EPSG:4979", "EPSG:4978", always_xy=True)
    xyz = np.column_stack(to_ecef.transform(LON, LAT, np.full(len(LON), height_m)))
    lon, lat = geodesy.lonlat_deg(xyz)
    for place in zip(lon, lat, LON, LAT, strict=True):
        off_m = Geodesic.WGS84.Inverse(place[1], place[0], place[3], place[2])["s12"]
        assert off_m <= 0.004 * height_m + 1e-6


@pytest.mark.pinned("peer", answers=2)
@pytest.mark.parametrize("lat", [0.0, 28.0, -43.0, 66.5, 85.0])
def test_metres_in_a_degree(lat):
    small = 1e-3
    east = Geodesic.WGS84.Inverse(lat, 0, lat, small)["s12"] / small
    north = Geodesic.WGS84.Inverse(lat - small / 2, 0, lat + small / 2, 0)["s12"] / small
    assert geodesy.metres_per_degree(lat) == pytest.approx((east, north), rel=1e-7)
