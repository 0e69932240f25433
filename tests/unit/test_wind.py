"""Sea wind: where it is known, where not, and what stays the same around the globe."""

import numpy as np
import pyproj
import pytest

from saltreach.errors import LayerError
from saltreach.layers import wind
from saltreach.science.air import salt


def test_unknown_inland_and_unknown_positions():
    # Moscow, Ulaanbaatar, Manaus: far from any sea.
    speed, sd = wind.sample_sea_wind(
        [37.6, 106.9, -60.0, np.nan, 0.0], [55.75, 47.9, -3.1, 50.0, 91.0]
    )
    assert np.isnan(speed).all()
    assert np.isnan(sd).all()


def test_known_on_coasts_with_a_spread():
    # Land's End, Kalymnos, Railay: sea cliffs.
    speed, sd = wind.sample_sea_wind([-5.7, 26.97, 98.84], [50.07, 36.99, 8.01])
    assert ((speed > 2) & (speed < 13)).all()
    assert (sd >= 0.5).all()


def test_reach_ends_at_150_km():
    # Against geodesics on the ellipsoid (pyproj), over all cells, along a line north from Ghana.
    # Sphere and ellipsoid differ by up to 0.6 %, so points within 1 % of the limit may differ.
    lat = np.arange(5.0, 12.0, 0.05)
    lon = np.full(lat.size, -1.0)
    sea = wind._sea()
    near = (np.abs(sea.lon + 1) < 12) & (np.abs(sea.lat - 8) < 12)
    edge_lon = np.clip(lon[:, None], sea.lon[near] - 1, sea.lon[near] + 1)
    edge_lat = np.clip(lat[:, None], sea.lat[near] - 1, sea.lat[near] + 1)
    shape = edge_lon.shape
    _, _, distance = pyproj.Geod(ellps="WGS84").inv(
        *(np.broadcast_to(a, shape) for a in (lon[:, None], lat[:, None], edge_lon, edge_lat))
    )
    nearest = distance.min(axis=1)
    sure = np.abs(nearest / wind.REACH_M - 1) > 0.01
    known = np.isfinite(wind.sample_sea_wind(lon, lat)[0])
    assert 0 < known.sum() < lat.size
    np.testing.assert_array_equal(known[sure], nearest[sure] < wind.REACH_M)


def test_lakes_are_no_sea():
    # Lake Superior, Lake Michigan.
    speed, _ = wind.sample_sea_wind([-87.5, -87.0], [47.7, 44.0])
    assert np.isnan(speed).all()


def test_same_place_under_other_longitudes():
    lon, lat = np.array([-179.9, 179.9, -5.7]), np.array([-17.0, -17.0, 50.0])
    for turn in (-360, 360):
        np.testing.assert_array_equal(
            wind.sample_sea_wind(lon + turn, lat), wind.sample_sea_wind(lon, lat)
        )
    across, _ = wind.sample_sea_wind([179.999, -179.999], [-17.0, -17.0])
    assert across[0] == pytest.approx(across[1], abs=1.5)


def test_empty_and_ill_shaped_input():
    speed, sd = wind.sample_sea_wind([], [])
    assert speed.shape == sd.shape == (0,)
    with pytest.raises(LayerError, match="one length"):
        wind.sample_sea_wind([1.0, 2.0], [1.0])


def test_layer_names_its_source_and_terms():
    layer = wind.wind_layer()
    assert "COADS" in layer.source
    assert "NOAA" in layer.licence
    assert len(layer.sha256) == 64


def test_reference_wind_is_the_mean_of_the_oceans():
    sea = wind._sea()
    weight = np.cos(np.radians(sea.lat))
    mean = (sea.speed * weight).sum() / weight.sum()
    assert mean == pytest.approx(salt.WIND_REFERENCE_M_S, abs=0.05)
