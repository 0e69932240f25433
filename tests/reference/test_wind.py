"""Sea wind against the wind belts every atlas shows (from memory)."""

import numpy as np
import pytest

from saltreach.layers import wind


def _belt(lon, lat):
    speed, _ = wind.sample_sea_wind(np.asarray(lon, float), np.asarray(lat, float))
    return np.nanmean(speed)


def test_wind_belts():
    # Roaring forties and North Atlantic westerlies blow harder than the trades, the trades harder
    # than the doldrums (general circulation, from memory).
    forties = _belt(np.arange(60, 120, 5), np.full(12, -47))
    trades = _belt(np.arange(-55, -25, 5), np.full(6, 15))
    doldrums = _belt(np.arange(60, 95, 5), np.full(7, 1))
    north_atlantic = _belt(np.arange(-40, -15, 5), np.full(5, 55))
    assert forties > trades > doldrums
    assert north_atlantic > trades


@pytest.mark.parametrize(
    ("place", "lon", "lat", "low", "high"),
    # Annual means over open water, wide limits, from memory of marine climate atlases.
    [
        ("off western Ireland", -11, 53, 7.5, 10.5),
        ("Arabian Sea", 62, 15, 5.0, 8.5),
        ("Java Sea", 110, -5, 2.5, 6.0),
        ("Canary Islands", -15.5, 28.5, 5.5, 8.5),
    ],
)
def test_places(place, lon, lat, low, high):
    speed, _ = wind.sample_sea_wind([lon], [lat])
    assert low < speed[0] < high, place
