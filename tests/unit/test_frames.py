"""The tables as they leave: every documented column, in order, with its type, and the shapes."""

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
import shapely

from saltreach.assessment.frames import anchor_frame, with_shapes
from saltreach.vocabulary.columns import columns_of


@pytest.fixture
def register():
    return gpd.GeoDataFrame(
        {"anchor_id": ["a", "b", "c"], "mine": [1, 2, 3], "crag": ["B", "A", "A"],
         "sector": ["x", "y", "x"], "other": ["p", None, "q"]},
        geometry=gpd.points_from_xy([-5.0, -5.1, -5.2], [43.0, 43.1, 43.2]), crs=4326,
        index=[4, 7, 9],
    )  # fmt: skip


def test_what_was_not_worked_out_is_empty_in_the_type_of_its_column(register):
    table = pd.DataFrame(register.drop(columns="geometry")).assign(
        condition=["3", None, "0"], steel_rate_um_y=["1.5", None, 2], crc=["II", None, "V"],
        chance=[0.1, 0.2, 0.3],
    )  # fmt: skip
    found = anchor_frame(table, register)
    # the columns of the vocabulary, then the user's own in the register's order; no working column
    assert list(found) == [*columns_of("anchors"), "mine", "other", "geometry"]
    assert found.index.tolist() == [4, 7, 9]
    assert found.crs == "EPSG:4326"
    assert found.geometry.geom_equals(register.geometry).all()
    assert found["condition"].dtype == "Int64"
    assert found["condition"].tolist() == [3, pd.NA, 0]
    assert found["steel_rate_um_y"].dtype == "float64"
    assert found["steel_rate_um_y"].fillna(-1).tolist() == [1.5, -1.0, 2.0]
    assert found["crc"].tolist() == ["II", "", "V"]
    assert found["mine"].tolist() == [1, 2, 3]  # as the user gave them
    assert found["other"].iloc[0] == "p" and pd.isna(found["other"].iloc[1])
    # nothing given at all
    assert found["priority_rank"].isna().all() and found["priority_rank"].dtype == "Int64"
    assert np.isnan(found["rain_mm_y"]).all() and found["rain_mm_y"].dtype == "float64"
    assert found["warnings"].tolist() == ["", "", ""]
    assert found["next_inspection_on"].tolist() == ["", "", ""]


def test_groups_keep_their_order_and_get_their_own_shape(register):
    sectors = pd.DataFrame({"crag": ["B", "A", "A"], "sector": ["x", "x", "y"], "n": [1, 2, 3]})
    found = with_shapes(sectors, register)
    assert found[["crag", "sector", "n"]].to_numpy().tolist() == sectors.to_numpy().tolist()
    places = [(-5.0, 43.0), (-5.2, 43.2), (-5.1, 43.1)]
    held = [shape.contains(shapely.Point(p))
            for shape, p in zip(found.geometry, places, strict=True)]  # fmt: skip
    assert held == [True] * 3
    assert shapely.area(found.geometry.values).max() < 1e-5  # discs of 60 m
    crags = with_shapes(pd.DataFrame({"crag": ["B", "A"]}), register)
    assert "sector" not in crags
    # the crag of two sectors reaches both of its anchors, 13.7 km apart
    both = crags.geometry.iloc[1]
    assert all(both.contains(shapely.Point(p)) for p in places[1:])
    assert not both.contains(shapely.Point(places[0]))
    assert crags.crs == "EPSG:4326"


def test_a_crag_takes_the_shape_of_its_only_sector_and_of_no_other(register):
    """C has two sectors around the same anchors' places, D one that could not be drawn."""
    more = gpd.GeoDataFrame(
        {"crag": ["C", "C", "D"], "sector": ["x", "y", "x"]},
        geometry=gpd.points_from_xy([-5.3, -5.3, -5.4], [43.3, 43.3, 43.4]), crs=4326,
    )  # fmt: skip
    register = pd.concat([register, more], ignore_index=True)
    names = register[["crag", "sector"]].sort_values(["crag", "sector"], ignore_index=True)
    marks = [shapely.box(i, 0, i + 1, 1) for i in range(len(names))]  # what no anchor would give
    marks[-1] = shapely.Polygon()
    sectors = gpd.GeoDataFrame(names, geometry=marks, crs=4326)
    crags = with_shapes(pd.DataFrame({"crag": ["D", "C", "B", "A"]}), register, sectors)
    assert crags["crag"].tolist() == ["D", "C", "B", "A"]
    d, c, b, a = crags.geometry
    assert b.equals(marks[2])  # after A x, A y
    assert d.contains(shapely.Point(-5.4, 43.4))
    assert c.contains(shapely.Point(-5.3, 43.3)) and c.area < 1e-5
    assert a.contains(shapely.Point(-5.1, 43.1)) and a.contains(shapely.Point(-5.2, 43.2))
    sectors.geometry = [*marks[:-1], None]
    again = with_shapes(pd.DataFrame({"crag": ["D"]}), register, sectors)
    assert again.geometry[0].equals(d)
