"""The box of land around the anchors of a result, and the name of its shoreline."""

from dataclasses import replace

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest

from saltreach.assessment import land
from saltreach.assessment.land import Land, land_around, land_in
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


def mercator(lat):
    """Snyder 1987, Map Projections: a Working Manual (USGS PP 1395), eq. 7-2, in degrees."""
    return np.degrees(np.log(np.tan(np.pi / 4 + np.radians(lat) / 2)))


@pytest.mark.pinned("worked", answers=6)
def test_the_room_around_a_region(box):
    def heights(*places):
        west, south, east, north = box(*places)
        return west, mercator(south), east, mercator(north)

    # one anchor counts as 0.4 degrees of latitude, 0.8 of the web map at 60 north: 1.5 x 0.8 to
    # the sides, 1.3 x 0.8 up and down from ln tan(45 + 30) = 1.316958, 75.4561 degrees
    assert heights((10.0, 60.0)) == pytest.approx((8.8, 74.4161, 11.2, 76.4961), abs=1e-4)
    # 2 degrees wide at the equator: 3 and 2.6
    assert heights((10.0, 0.0), (12.0, 0.0)) == pytest.approx((8.0, -2.6, 14.0, 2.6))
    # 58 to 62: ln tan 74 = 1.249161 and ln tan 76 = 1.388986, so 71.5717 to 79.5830 on the web
    # map, 8.0113 tall: 12.0170 and 10.4147
    assert heights((10.0, 58.0), (10.0, 62.0)) == pytest.approx(
        (-2.0170, 75.5774 - 10.4147, 22.0170, 75.5774 + 10.4147), abs=1e-3
    )
    # across the antimeridian: 4 degrees the short way
    assert heights((178.0, 0.0), (-178.0, 0.0)) == pytest.approx((-186.0, -5.2, -174.0, 5.2))
    # 200 degrees wide: once around the Earth and no farther, and to both poles
    wide = box((-100.0, 0.0), (0.0, 0.0), (100.0, 0.0))
    assert wide == pytest.approx((-180.0, -90.0, 180.0, 90.0))
    # beside the pole, where the web map ends (85.05), a degree counts as a tenth at least:
    # 0.4 / 0.1 = 4 degrees, 6 to the sides
    assert box((0.0, 89.0))[::3] == pytest.approx((-6.0, 90.0))


def test_every_view_of_a_region_lies_in_its_land(box):
    from saltreach.outputs.pictures.overview import _fill_window
    from saltreach.outputs.window import map_window

    for places in (
        [(10.0, 60.0)],
        [(10.0, 40.0), (10.2, 48.0)],
        [(-9.0, 43.0), (3.0, 43.5)],
        [(5.0, -70.0), (9.0, 20.0)],
        [(178.0, -45.0), (-179.0, -35.0)],
    ):
        west, south, east, north = box(*places)
        frame = at(*places).flat.anchors
        centre, region, window = map_window(frame, frame)
        _, sheet = _fill_window(region)
        turn = 360 * np.round(((west + east) / 2 - centre) / 360)
        for view in (window, sheet):
            spare = 0.05 * (view[2] - view[0]) * (view is sheet)
            assert west <= view[0] - spare + turn and view[2] + spare + turn <= east
            assert south <= view[1] and view[3] <= north


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
