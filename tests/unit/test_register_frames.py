"""Registers as frames of a program: the same checks as of files, and the frame stays as it was."""

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
from shapely.geometry import LineString, Point

from saltreach.errors import RegisterError
from saltreach.intake import read_register
from saltreach.vocabulary.columns import REJECTED_COLUMNS


def frame(**more):
    return pd.DataFrame(
        {
            "anchor_id": ["007", "8"],
            "crag": "P",
            "sector": pd.Categorical(["N", "S"]),
            "Longitude": [0.5, 0.6],
            "lat": [41.2, 41.3],
            "installed_on": [pd.Timestamp("2014-06-12"), pd.NaT],
            "condition": pd.array([2, None], dtype="Int64"),
            **more,
        },
        index=[31, 31],
    )


def geo(x=(500_000.0, 501_000.0), y=(4_600_000.0, 4_600_000.0), crs="EPSG:25830", **more):
    table = frame().drop(columns=["Longitude", "lat"]).assign(**more)
    return gpd.GeoDataFrame(table, geometry=gpd.points_from_xy(x, y), crs=crs)


def same(one, other, columns):
    pd.testing.assert_frame_equal(pd.DataFrame(one[columns]), pd.DataFrame(other[columns]))


def test_a_frame_gives_what_its_csv_gives(tmp_path):
    given = frame(paint=["red", None])
    given.to_csv(tmp_path / "a.csv", index=False)
    ours, theirs = read_register(given), read_register(tmp_path / "a.csv")
    same(ours.anchors, theirs.anchors, [c for c in theirs.anchors if c != "source_row"])
    assert ours.anchors["source_row"].tolist() == [1, 2]
    assert (ours.file, ours.format, ours.rows_read) == ("the DataFrame", "DataFrame", 2)
    assert ours.anchors.crs == "EPSG:4326"
    assert len(ours.sha256) == 64 and ours.sha256 != read_register(frame()).sha256
    assert ours.survey_file is None


def test_a_frame_is_not_changed_and_its_own_columns_pass_through():
    given = frame(mass_g=[3.5, np.nan], seen=[True, False], paint=["red", ""], material=["A4", "x"])
    before = given.copy(deep=True)
    found = read_register(given)
    pd.testing.assert_frame_equal(given, before)
    row = found.anchors.iloc[0]
    assert (row["mass_g"], row["seen"], row["paint"]) == (3.5, True, "red")
    assert found.anchors["mass_g"].dtype == float and found.anchors["seen"].dtype == bool


def test_refused_rows_are_numbered_by_position(tmp_path):
    found = read_register(frame(material=["316", "kryptonite"]), strict=True)
    assert tuple(found.rejected.columns) == REJECTED_COLUMNS
    (problem,) = found.rejected.to_dict("records")
    assert (problem["file"], problem["row"]) == ("the DataFrame", 2)
    assert (problem["column"], problem["value"]) == ("material", "kryptonite")
    assert found.anchors["anchor_id"].tolist() == ["007"]


def test_geometry_is_read_in_its_own_crs():
    found = read_register(geo())
    # 500,000 m east in UTM zone 30 is its central meridian, 3 degrees west (definition of UTM).
    assert found.anchors["lon"].iloc[0] == pytest.approx(-3.0, abs=1e-9)
    assert found.anchors.geometry.iloc[0].x == found.anchors["lon"].iloc[0]
    assert found.format == "GeoDataFrame"
    assert any("converted" in note for note in found.notes)
    degrees = read_register(geo().to_crs("EPSG:4326"))
    assert np.allclose(degrees.anchors[["lon", "lat"]], found.anchors[["lon", "lat"]], atol=1e-9)
    renamed = read_register(geo().rename_geometry("place"))
    same(renamed.anchors, found.anchors, list(found.anchors))


def test_geometry_without_crs_is_refused_unless_one_is_given():
    with pytest.raises(RegisterError, match="the DataFrame: it does not say its CRS"):
        read_register(geo(crs=None))
    given = read_register(geo(crs=None), crs="EPSG:25830").anchors
    same(given, read_register(geo()).anchors, ["lon", "lat"])
    with pytest.raises(RegisterError, match="own CRS"):
        read_register(geo(), crs="EPSG:4326")


def test_columns_that_say_another_place_than_the_geometry_are_refused():
    x, y = (0.5, 0.6), (41.2, 41.3)
    found = read_register(geo(x, y, "EPSG:4326", lon=[0.5, 0.7], lat=y))
    assert found.anchors["anchor_id"].tolist() == ["007"]
    assert "another place" in found.rejected["reason"].iloc[0]
    mapped = {"lon": "lon", "lat": "lat"}
    found = read_register(geo(x, y, "EPSG:4326", lon=[0.5, 0.7], lat=y), columns=mapped)
    assert found.anchors["lon"].tolist() == [0.5, 0.7]


def test_a_line_and_an_empty_point_are_refused_and_no_geometry_needs_columns():
    odd = geo().set_geometry([LineString([(0, 0), (1, 1)]), Point()], crs="EPSG:25830")
    reasons = read_register(odd).rejected.groupby("row")["reason"].first()
    assert "not a point" in reasons[1] and "missing" in reasons[2]
    bare = gpd.GeoDataFrame(frame())  # no active geometry: its columns are the position
    assert read_register(bare).anchors["lon"].tolist() == [0.5, 0.6]
    with pytest.raises(RegisterError, match="the DataFrame: no column for lon"):
        read_register(frame().drop(columns="Longitude"))


@pytest.mark.parametrize("more", [{"sheet": "a"}, {"layer": "a"}])
def test_sheets_and_layers_are_of_files(more):
    with pytest.raises(RegisterError, match="leave --"):
        read_register(frame(), **more)


def test_a_frame_without_rows_is_an_empty_register():
    found = read_register(frame().iloc[:0])
    assert (found.rows_read, len(found.anchors), len(found.rejected)) == (0, 0, 0)
