"""Washing and wetness: rules, limits, labels."""

import numpy as np
import pandas as pd
import pytest
import xarray as xr

from saltreach.science.air import wetness

YEAR_H = 8766.0


def months(value):
    return np.full(12, float(value))


@pytest.mark.pinned("judgement", answers=4)
def test_register_wins_over_the_slope():
    said = pd.Series(["yes", "no", "unknown", "unknown"], index=list("abcd"))
    slope = pd.Series([130.0, 60.0, 130.0, 60.0], index=list("abcd"))
    assert wetness.rain_washed_from_face(slope, said).tolist() == ["yes", "no", "no", "yes"]


@pytest.mark.pinned("judgement")
@pytest.mark.parametrize(
    ("slope", "expected"),
    # Our own rule (common practice, no source): its edges.
    [
        (0, "yes"),
        (84.9, "yes"),
        (85, "unknown"),
        (90, "unknown"),
        (100, "unknown"),
        (100.1, "no"),
        (180, "no"),
        (np.nan, "unknown"),
    ],
)
def test_edges_of_the_slope_rule(slope, expected):
    assert wetness.rain_washed_from_face(slope).tolist() == expected


def test_nothing_known_of_many_and_of_none():
    assert wetness.rain_washed_from_face(np.full(3, np.nan)).tolist() == ["unknown"] * 3
    assert wetness.rain_washed_from_face([], []).shape == (0,)


def test_wet_all_year_never_in_frost_never_when_dry():
    assert wetness.time_of_wetness_h_y(months(20), months(100)) == pytest.approx(YEAR_H, rel=0.01)
    assert wetness.time_of_wetness_h_y(months(-30), months(95)) < 1
    assert wetness.time_of_wetness_h_y(months(25), months(25)) < 1


@pytest.mark.pinned("worked")
def test_months_count_by_their_days():
    humid = months(30)
    humid[1] = 99.9
    calm = {"humidity_spread_pct": 1e-3}
    hours = wetness.time_of_wetness_h_y(months(20), humid, **calm)
    assert hours == pytest.approx(28.25 * 24, rel=1e-4)


def test_one_unknown_month_makes_the_year_unknown_in_every_container():
    temperature, humidity = np.full((3, 12), 15.0), np.full((3, 12), 85.0)
    humidity[1, 4] = np.nan
    plain = wetness.time_of_wetness_h_y(temperature, humidity)
    dims = {"dims": ("point", "month"), "coords": {"point": [7, 8, 9]}}
    labelled = wetness.time_of_wetness_h_y(
        xr.DataArray(temperature, **dims), xr.DataArray(humidity, **dims)
    )
    assert np.isnan(plain).tolist() == [False, True, False]
    np.testing.assert_allclose(labelled, plain)
    assert labelled.dims == ("point",)
    assert labelled["point"].values.tolist() == [7, 8, 9]
    share = wetness.deliquescent_share_of_year(
        xr.DataArray(temperature, **dims), xr.DataArray(humidity, **dims), metal_excess_c=15.0
    )
    assert share.isnull().values.tolist() == [False, True, False]


@pytest.mark.pinned("memory", answers=9)
def test_tau_classes_and_unknown():
    # ISO 9223:1992, table 1, from memory: 10, 250, 2500, 5500 h/y.
    hours = [0, 10, 10.1, 250, 2500, 2501, 5500, 5501, 8760, np.nan]
    expected = ["tau1", "tau1", "tau2", "tau2", "tau3", "tau4", "tau4", "tau5", "tau5", ""]
    assert wetness.tau_class(hours).tolist() == expected


def test_band_is_empty_in_desert_and_in_fog_and_full_between():
    assert wetness.deliquescent_share_of_year(months(30), months(8)) < 0.01
    assert wetness.deliquescent_share_of_year(months(10), months(97)) < 0.01
    steady = {"humidity_amplitude_pct": 2.0, "humidity_spread_pct": 3.0}
    assert wetness.deliquescent_share_of_year(months(20), months(54), **steady) == pytest.approx(
        1, abs=0.01
    )


def test_sun_brings_damp_air_into_the_band_and_drives_dry_air_out():
    steady = {"humidity_amplitude_pct": 0.0, "humidity_spread_pct": 2.0}
    damp, dry = 90.0, 40.0
    shade = [wetness.deliquescent_share(20.0, h, **steady) for h in (damp, dry)]
    sun = [wetness.deliquescent_share(20.0, h, metal_excess_c=15.0, **steady) for h in (damp, dry)]
    assert shade[0] < 0.01 < 0.3 < sun[0]
    assert shade[1] > 0.99 > 0.8 > sun[1]
