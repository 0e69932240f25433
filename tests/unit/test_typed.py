"""Tables for Python users: real types, probabilities as columns, reasons one sentence a row."""

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest

from saltreach.assessment.result import Assessment, Flat
from saltreach.assessment.typed import curves_of, typed
from saltreach.vocabulary.columns import columns_of

SECTORS = {
    "crag": ["Alder", "Alder"],
    "sector": ["North", "South"],
    "risk_band": ["high", ""],
    "crc": ["IV", ""],
    "inspection_interval_months": pd.array([12, pd.NA], "Int64"),
    "next_inspection_on": ["2027-03-01", ""],
    "rain_mm_y": [900.0, np.nan],
    "category_probabilities": ['{"C4": 0.25, "C5": 0.75}', ""],
    "failure_curve": ["[0.01, 0.02]", ""],
    "reasons": ["Class IV. | Warm.", ""],
    "warnings": ["", "Metal unknown."],
    "mine": ["x", "y"],
}
ANCHORS = {
    "anchor_id": ["a", "b"],
    "crag": "Alder",
    "sector": ["North", "South"],
    "material": ["316", "unknown"],
    "installed_on": ["2014", ""],
    "condition": [1.0, np.nan],
    "interval_reasons": ["Norm. | Owned.", "Norm."],
    "warnings": ["", "Metal unknown."],
}


def frame(columns):
    points = gpd.points_from_xy([-4.95, -4.96], [43.44, 43.45])
    return gpd.GeoDataFrame(columns, geometry=points, crs="EPSG:4326")


@pytest.fixture
def result():
    sectors = frame(SECTORS)
    rejected = pd.DataFrame({"row": [3, 3]})
    provenance = {"register": {"file": "<b>.csv"}, "assessed_for": "2026-11-25"}
    return Assessment(Flat(frame(ANCHORS), sectors, sectors.iloc[:1], rejected), provenance)


def test_days_words_and_counts_have_real_types(result):
    sectors = result.sectors
    assert sectors["next_inspection_on"].tolist() == [pd.Timestamp("2027-03-01"), pd.NaT]
    assert sectors["risk_band"].max() == "high"
    assert sectors["risk_band"].isna().tolist() == [False, True]
    assert (sectors["risk_band"] > "raised").tolist() == [True, False]
    assert sectors["crc"].cat.categories.tolist() == ["I", "II", "III", "IV", "V"]
    assert sectors["inspection_interval_months"].tolist() == [12, pd.NA]
    assert sectors["rain_mm_y"].dtype == float
    assert sectors["mine"].tolist() == ["x", "y"]
    assert sectors.crs == "EPSG:4326"
    assert isinstance(sectors, gpd.GeoDataFrame)


def test_probabilities_are_columns(result):
    names = [f"category_probability_{c}" for c in ("C1", "C2", "C3", "C4", "C5", "CX")]
    first, second = result.sectors[names].to_numpy()
    assert np.nan_to_num(first, nan=-1).tolist() == [-1, -1, -1, 0.25, 0.75, -1]
    assert np.isnan(second).all()
    assert "category_probabilities" not in result.sectors


def test_reasons_are_one_sentence_a_row_beside_the_table(result):
    assert not {"reasons", "warnings", "failure_curve"} & set(result.sectors)
    assert result.sector_reasons.to_numpy().tolist() == [
        ["Alder", "North", "reasons", 1, "Class IV."],
        ["Alder", "North", "reasons", 2, "Warm."],
        ["Alder", "South", "warnings", 1, "Metal unknown."],
    ]
    assert result.reasons.to_numpy().tolist() == [
        ["Alder", "North", "a", "interval_reasons", 1, "Norm."],
        ["Alder", "North", "a", "interval_reasons", 2, "Owned."],
        ["Alder", "South", "b", "interval_reasons", 1, "Norm."],
        ["Alder", "South", "b", "warnings", 1, "Metal unknown."],
    ]


def test_a_date_that_stops_at_the_year_is_not_made_a_day(result):
    assert result.anchors["installed_on"].iloc[0] == "2014"
    assert pd.isna(result.anchors["installed_on"].iloc[1])


def test_curves_are_numbers_by_year(result):
    assert result.curves.loc[("Alder", "North")].tolist() == [0.01, 0.02]
    assert len(result.curves) == 1
    assert result.curves.columns.name == "year"
    assert result.curves.columns.tolist() == [0, 1]
    none = curves_of(pd.DataFrame({"crag": ["A"], "sector": ["B"], "failure_curve": [""]}))
    assert len(none) == 0
    assert none.index.names == ["crag", "sector"]


def test_the_flat_tables_stay_as_they_are(result):
    before = result.flat.sectors.copy()
    result.sectors["risk_band"] = None
    pd.testing.assert_frame_equal(pd.DataFrame(result.flat.sectors), pd.DataFrame(before))


def test_the_repr_is_short_and_says_how_many(result):
    text = repr(result)
    assert len(text) < 400
    assert "2 anchors" in text
    assert "high 1, unknown 1" in text
    assert "1 rows refused" in text
    assert "certificate" in text


def test_an_empty_table_keeps_its_types():
    empty = typed(frame(SECTORS).iloc[:0], columns_of("sectors"))
    assert empty["risk_band"].dtype.ordered
    assert empty["next_inspection_on"].dtype.kind == "M"
