"""The box of land around the anchors of a result, and the name of its shoreline."""

from dataclasses import replace

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest

from saltreach.assessment import land
from saltreach.assessment.land import Land, land_around, land_in, shoreline
from saltreach.assessment.result import Assessment, Flat
from saltreach.layers.coast import read_coast_file


def at(*places):
    lon, lat = np.array(places, float).reshape(-1, 2).T
    points = gpd.GeoDataFrame(geometry=gpd.points_from_xy(lon, lat), crs=4326)
    return Assessment(Flat(points, points, points, pd.DataFrame()), {"mark": 1})


@pytest.fixture
def box(monkeypatch):
    """The box that is asked for around places."""
    asked = []

    def caught(result, bounds):
        asked.append(bounds)
        assert result.provenance == {"mark": 1}
        return Land(gpd.GeoDataFrame(geometry=[], crs=4326), True)

    monkeypatch.setattr(land, "land_in", caught)

    def found(*places):
        land_around(at(*places))
        return asked[-1]

    return found


@pytest.mark.pinned("worked", answers=7)
def test_the_margin_is_half_a_degree_or_three_fifths_of_the_region(box):
    # one anchor: half a degree; of longitude as many metres, twice as many degrees at 60 north
    assert box((10.0, 60.0)) == pytest.approx((9.0, 59.5, 11.0, 60.5))
    # 2 degrees wide at the equator: 0.6 x 2 = 1.2
    assert box((10.0, 0.0), (12.0, 0.0)) == pytest.approx((8.8, -1.2, 13.2, 1.2))
    # 4 degrees tall, 58 to 62: 2.4, and 2.4 / cos 60 = 4.8 of longitude
    assert box((10.0, 58.0), (10.0, 62.0)) == pytest.approx((5.2, 55.6, 14.8, 64.4))
    # across the antimeridian: 4 degrees the short way
    assert box((178.0, 0.0), (-178.0, 0.0)) == pytest.approx((-184.4, -2.4, -175.6, 2.4))
    # 200 degrees wide, but nowhere narrower: 0.6 x 200 = 120, at most 60 of longitude, and no
    # farther than the poles
    wide = box((-100.0, 0.0), (0.0, 0.0), (100.0, 0.0))
    assert wide == pytest.approx((-160.0, -90.0, 160.0, 90.0))
    # near the pole a degree of longitude counts as at most ten of latitude
    assert box((0.0, 89.0)) == pytest.approx((-5.0, 88.5, 5.0, 89.5))
    assert box((0.0, -89.8)) == pytest.approx((-5.0, -90.0, 5.0, -89.3))


def test_no_anchor_no_land():
    none = land_around(at()).shapes
    assert len(none) == 0
    assert none.crs == 4326


def test_land_comes_from_the_shoreline_that_the_assessment_used(tmp_path):
    import shapely

    square = gpd.GeoDataFrame(geometry=[shapely.box(10.0, 50.0, 11.0, 51.0)], crs=4326)
    file = tmp_path / "own.gpkg"
    square.to_file(file)
    found = land_in(replace(at(), own_shore=read_coast_file(file)), (10.2, 50.2, 10.4, 50.4))
    assert found.sided
    assert shapely.union_all(found.shapes.geometry.values).area > 0
    embedded = land_in(at(), (10.2, 50.2, 10.4, 50.4))
    assert embedded.sided
    # Thuringia is land from edge to edge
    whole = shapely.box(10.2, 50.2, 10.4, 50.4)
    assert shapely.union_all(embedded.shapes.geometry.values).covers(whole)


@pytest.mark.parametrize(
    ("layer", "said"),
    [
        ({"quantity": "shoreline", "source": "GSHHG 2.3.7, NOAA", "licence": "LGPL"},
         ("GSHHG 2.3.7", "LGPL")),
        ({"quantity": "shoreline", "source": "/home/me/own.gpkg"}, ("own.gpkg", "")),
        ({"quantity": "shoreline", "name": "own", "licence": None}, ("own", "")),
        ({"quantity": "rain", "source": "Other", "licence": "CC0"}, ("", "")),
        ({}, ("", "")),
    ],
)  # fmt: skip
def test_the_name_of_the_shoreline(layer, said):
    assert shoreline({"layers": [{"quantity": "rain", "source": "x"}, layer]}) == said


def test_a_packed_shoreline_and_the_one_beyond_it_are_both_named():
    layers = [
        {
            "quantity": "shoreline",
            "source": "© OpenStreetMap contributors, ways",
            "licence": "ODbL",
        },
        {"quantity": "shoreline", "source": "GSHHG, NOAA", "licence": "LGPL"},
    ]
    assert shoreline({"layers": layers}) == (
        "© OpenStreetMap contributors and GSHHG", "ODbL and LGPL"
    )  # fmt: skip
    assert shoreline({"layers": layers[1:] * 2}) == ("GSHHG", "LGPL")
