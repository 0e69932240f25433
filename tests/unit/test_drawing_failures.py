"""A drawing that fails never stops the tables, and says what is left out.

Shapes are checked by geometry: an anchor lies in its shape, whatever its place on the Earth.
"""

import errno
import json

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
import shapely

import saltreach as sr
from helpers.holding_region import anchors, assessment, holding, landowner_data
from saltreach.assessment import shapes
from saltreach.assessment.files import read_results
from saltreach.assessment.shapes import sector_shapes
from saltreach.errors import OptionError, SaltreachError
from saltreach.layers.embedded import embedded_file
from saltreach.outputs.landowner import drawing
from saltreach.outputs.landowner.page import landowner_page
from saltreach.outputs.pictures.overview import write_overview
from saltreach.outputs.summary import summary, summary_text
from saltreach.outputs.tables import priorities, results
from saltreach.outputs.window import label_points, map_window


def points(lon, lat, sector="s"):
    return gpd.GeoDataFrame(
        {"crag": ["c"] * len(lon), "sector": [sector] * len(lon)},
        geometry=gpd.points_from_xy(lon, lat), crs=4326,
    )  # fmt: skip


TURN = np.arange(-180.0, 180.0, 10.0)
WORLDS = {
    "oceans": ([-60, -60.1, 60.9, 151.0], [43.6, 43.61, 43.6, -33.9]),
    "round the Arctic": (TURN, np.full(36, 80.0)),
    "round the equator": (TURN, np.zeros(36)),
    "antipodes": ([0.0, 180.0], [43.6, -43.6]),
    "north pole": ([0.0, 10.0], [90.0, 89.9999]),
    "south pole": ([0.0], [-90.0]),
    "beside the pole": ([0.0, 60.0, 120.0], [89.9996, 89.9996, 89.9996]),
    "both poles": ([0.0, 0.0], [90.0, -90.0]),
    "antimeridian": ([179.99, -179.99], [-17.0, -17.0]),
}


@pytest.mark.parametrize("name", WORLDS)
def test_every_anchor_lies_in_its_shape_wherever_it_is(name):
    frame = points(*WORLDS[name])
    (shape,) = sector_shapes(frame).geometry
    assert shape.is_valid and not shape.is_empty and shape.geom_type in ("Polygon", "MultiPolygon")
    assert shapely.covers(shapely.buffer(shape, 1e-6), shapely.multipoints(frame.geometry.values))
    west, south, east, north = shape.bounds
    assert -180 <= west <= east <= 180 and -90 <= south <= north <= 90
    centre_lon, _, _ = map_window(sector_shapes(frame), frame)
    assert np.isfinite(label_points(gpd.GeoSeries([shape]), centre_lon)).all()


def test_a_shape_at_a_pole_is_the_whole_cap():
    # 60 m and a simplified rim: 0.00053 degrees of latitude, 111.694 km each at the pole
    (shape,) = sector_shapes(points([0.0], [90.0])).geometry
    west, south, east, north = shape.bounds
    assert (west, east, north) == (-180.0, 180.0, 90.0)
    assert south == pytest.approx(90 - 60 / 111_694, abs=3e-5)
    assert shape.equals(shapely.box(west, south, east, north))


def test_a_wide_sector_has_a_hull_for_each_part():
    # 0.5 km between the two of each place; 111.319 km in a degree of the equator
    lon = [0.0, 0.0045, 1.0, 1.0045, 2.0, 2.0045, 3.0, 3.0045]
    (shape,) = sector_shapes(points(lon, [0.0] * 8)).geometry
    assert len(shape.geoms) == 4
    assert all(part.bounds[2] - part.bounds[0] < 0.007 for part in shape.geoms)


def test_a_sector_of_less_than_100_km_from_its_middle_keeps_one_hull():
    (shape,) = sector_shapes(points([0.0, 0.85, 1.7], [0.0] * 3)).geometry
    assert shape.geom_type == "Polygon" and shape.bounds[2] > 1.7
    (wide,) = sector_shapes(points([0.0, 0.95, 1.9], [0.0] * 3)).geometry
    assert len(wide.geoms) == 3


def test_one_shape_that_cannot_be_drawn_leaves_the_others(monkeypatch):
    real = shapes._hulls

    def hulls(lon, lat, group, buffer_m):
        if (lat > 50).any():
            raise shapely.errors.GEOSException("side location conflict")
        return real(lon, lat, group, buffer_m)

    monkeypatch.setattr(shapes, "_hulls", hulls)
    two = pd.concat([points([5.9], [43.1], "a"), points([5.9], [55.0], "b")])
    drawn = sector_shapes(two)
    assert drawn["sector"].tolist() == ["a", "b"]
    assert drawn.geometry.is_empty.tolist() == [False, True]


@pytest.fixture(scope="module")
def result(tmp_path_factory):
    frame = pd.DataFrame(
        {"anchor_id": ["a", "b", "c"], "crag": "Punta", "sector": ["N", "N", "S"], "lon": -4.95,
         "lat": 43.44, "rock_type": "granite"}
    )  # fmt: skip
    return sr.assess(frame)


def break_down(*_args, **_more):
    raise shapely.errors.GEOSException("TopologyException: side location conflict\nat -41.7 63.3")


TABLES = {"anchors.parquet", "sectors.csv", "crags.csv", "saltreach.gpkg", "provenance.json",
          "find_out.csv"}  # fmt: skip


def written(folder):
    """Files of results, without those that keep the folder in order."""
    return {p.name for p in folder.iterdir()} - {"saltreach-files.json", ".saltreach-lock"}


REASON = "(GEOSException: TopologyException: side location conflict)"


def test_tables_are_written_without_the_map_and_it_is_said(result, tmp_path, monkeypatch):
    results.write_results(result, tmp_path)
    assert (tmp_path / "map.html").is_file()  # and it goes: it is of an earlier run
    monkeypatch.setattr(results, "write_map", break_down)
    notes = results.write_results(result, tmp_path)
    assert notes == [f"map.html could not be drawn and is left out {REASON}"]
    assert written(tmp_path) == TABLES
    assert json.loads((tmp_path / "provenance.json").read_text())["drawings_left_out"] == notes
    assert summary(result, tmp_path)["map"] is None
    assert f"Map: none yet; saltreach map {tmp_path} draws it" in summary_text(result, tmp_path)


def test_nothing_is_said_where_all_is_drawn(result, tmp_path):
    assert results.write_results(result, tmp_path, plots=True) == []
    assert json.loads((tmp_path / "provenance.json").read_text())["drawings_left_out"] == []
    assert summary(result, tmp_path)["map"] == str(tmp_path / "map.html")
    assert len(list((tmp_path / "plots").iterdir())) == 2


def test_plots_are_left_out_as_a_set(result, tmp_path, monkeypatch):
    def half(_, folder):
        (folder / "one.png").write_bytes(b"")
        raise ValueError("no curve")

    monkeypatch.setattr("saltreach.outputs.pictures.plots.write_plots", half)
    notes = results.write_results(result, tmp_path, plots=True)
    assert notes == ["plots could not be drawn and is left out (ValueError: no curve)"]
    assert written(tmp_path) == {*TABLES, "map.html"}


@pytest.mark.parametrize(
    "error", [OptionError("tiles 'x': not known"), OSError(errno.ENOSPC, "disk full")]
)
def test_what_is_asked_wrongly_and_a_full_disk_still_stop(result, tmp_path, monkeypatch, error):
    def fail(*_args, **_more):
        raise error

    monkeypatch.setattr(results, "write_map", fail)
    with pytest.raises(SaltreachError, match=r"not known|disk is full"):
        results.write_results(result, tmp_path)
    assert written(tmp_path) == set()


def test_sectors_without_a_shape_are_said_and_read_back(result, tmp_path, monkeypatch):
    monkeypatch.setattr(shapes, "_hulls", break_down)
    bare = sr.assess(
        pd.DataFrame(result.flat.anchors[["anchor_id", "crag", "sector", "lon", "lat"]])
    )
    assert results.write_results(bare, tmp_path) == [
        "the shapes of 2 sectors could not be drawn and are left out",
        "the shapes of 1 crags could not be drawn and are left out",
    ]
    assert (tmp_path / "map.html").is_file()
    assert len(read_results(tmp_path).sectors) == 2
    picture = write_overview(bare, tmp_path / "o.svg", title="T").read_text()
    assert "Sectors without a shape: 2." in picture


def test_two_oceans_in_one_register_make_a_picture(tmp_path):
    """The shore between them, drawn coarser, crosses itself."""
    frame = pd.DataFrame(
        {"anchor_id": list("abc"), "crag": list("PQR"), "sector": "N", "lon": [-60, 60.9, 151.0],
         "lat": [43.6, 43.6, -33.9], "coast_distance_m": 100}
    )  # fmt: skip
    picture = write_overview(sr.assess(frame), tmp_path / "o.svg", title="T").read_text()
    assert "could not be drawn" not in picture


def test_a_picture_without_land_says_so(result, tmp_path, monkeypatch):
    monkeypatch.setattr(shapely, "node", break_down)
    picture = write_overview(result, tmp_path / "o.svg", title="T").read_text()
    assert "Land and shore could not be drawn here and are left out." in picture


def test_a_landowner_s_map_without_a_shore_says_so(monkeypatch):
    monkeypatch.setattr(drawing, "_shore", break_down)
    data = landowner_data(assessment(anchors()), holding(anchors()))
    assert "The coast could not be drawn and is left out." in landowner_page(data)
    assert data["map"]["areas"] and not data["map"]["shore"]


def test_priorities_are_written_without_their_plot(assessed_demo, tmp_path, monkeypatch):
    made = sr.priorities(assessed_demo, 3000, embedded_file("demo/prices.toml"))
    priorities.write_priorities(made, tmp_path)
    assert (tmp_path / "budget_curve.png").is_file()
    monkeypatch.setattr(priorities, "plot_curve", break_down)
    notes = priorities.write_priorities(made, tmp_path)
    assert notes == [f"budget_curve.png could not be drawn and is left out {REASON}"]
    assert written(tmp_path) == {
        "priorities.csv", "shopping.csv", "budget_curve.csv", "priorities.xlsx", "priorities.json"
    }  # fmt: skip
