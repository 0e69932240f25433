"""The summary of an assessment, counted by hand on a small invented result."""

import geopandas as gpd
import pandas as pd
import pytest

from saltreach.assessment.counts import count_of, counts, overdue, visits_per_year
from saltreach.assessment.result import Assessment, Flat


def frame(columns):
    size = len(columns["crag"])
    return gpd.GeoDataFrame(columns, geometry=gpd.points_from_xy([0.0] * size, [0.0] * size))


@pytest.fixture
def result():
    anchors = frame({
        "anchor_id": ["a1", "a2", "b1"], "crag": ["Alder", "Alder", "Birch"],
        "sector": ["North", "South", "Wall"],
        "action": ["take out of use", "keep", "take out of use"],
    })  # fmt: skip
    sectors = frame({
        "crag": ["Alder", "Alder", "Birch"], "sector": ["North", "South", "Wall"],
        "anchors": [4, 1, 2], "risk_band": ["severe", "low", ""],
        "rock_band": ["low", "low", "raised"], "material_recommended": ["titanium", "316", ""],
        "kind_advised": ["bonded", "do not place here", "unknown"], "spots_refused": [1, 1, 0],
        "kind_reasons": ["Soft rock. | Hollow.", "Hollow.", ""], "priority_rank": [2, 1, 3],
        "overdue": ["yes", "no", ""],
        "inspection_interval_months": pd.array([6, 48, pd.NA], "Int64"),
    })  # fmt: skip
    crags = frame({"crag": ["Birch", "Alder"], "material_recommended": ["", "titanium"]})
    asked = pd.DataFrame({
        "crag": ["Alder"] * 6 + ["Birch"], "sector": "North", "find_out": list("abcdefg"),
        "anchors_unknown": 3, "decisions_changed": [6.0, 5.0, 4.0, 3.0, 2.0, 1.0, 0.5],
    })  # fmt: skip
    provenance = {
        "register": {"rejected": 2}, "survey": None, "assumptions": ["One."],
        "rock": {"disagreements": 1, "unmapped_entries": {"greenish": 3}},
    }  # fmt: skip
    return Assessment(Flat(anchors, sectors, crags, pd.DataFrame(), asked), provenance)


@pytest.mark.pinned("worked", answers=20)
def test_what_the_summary_says(result):
    found = counts(result)
    asked = found.pop("find_out")
    assert [row["find_out"] for row in asked] == ["a", "b", "c", "d", "e", "g"]  # five a crag
    assert asked[0] == {"crag": "Alder", "sector": "North", "find_out": "a",
                        "anchors_unknown": 3, "decisions_changed": 6.0}  # fmt: skip
    assert found == {
        "left_out": [], "table_notes": [],
        "anchors": 3, "sectors": 3, "crags": 2, "rows_refused": 2, "cells_in_doubt": 0,
        "sectors_by_risk_band": {"severe": 1, "high": 0, "raised": 0, "moderate": 0, "low": 1},
        "sectors_by_material":
            {"titanium": 1, "superaustenitic": 0, "duplex": 0, "316": 1, "304": 0},
        "anchors_by_action": {"take out of use": 2, "move or remove": 0, "replace": 0,
                              "find out": 0, "keep": 1},
        "out_of_use_today": ["a1 (Alder / North)", "b1 (Birch / Wall)"],
        "closed_already": 0,
        "visits_per_year": 2.2,  # 12 / 6 + 12 / 48 = 2.25, rounded half to even
        "sectors_overdue": 1,
        "crag_materials": {"Alder": "titanium", "Birch": "unknown"},
        "sectors_by_rock_band": {"severe": 0, "high": 0, "raised": 1, "moderate": 0, "low": 2},
        "sectors_by_kind": {"do not place here": 1, "bonded, longer": 0, "bonded": 1,
                            "mechanical or bonded": 0, "unknown": 1},
        "do_not_place": [
            {"crag": "Alder", "sector": "South", "spots": 1, "anchors": 1, "reasons": ["Hollow."]},
            {"crag": "Alder", "sector": "North", "spots": 1, "anchors": 4,
             "reasons": ["Soft rock.", "Hollow."]},
        ],
        "rock_disagreements": 1, "rock_entries_unmapped": {"greenish": 3}, "survey": None,
        "assumptions": ["One."],
    }  # fmt: skip
    for name, first in (("sectors_by_risk_band", "severe"), ("sectors_by_material", "titanium"),
                        ("anchors_by_action", "take out of use"),
                        ("sectors_by_rock_band", "severe")):  # fmt: skip
        assert next(iter(found[name])) == first  # the worst first
    assert list(found["crag_materials"]) == ["Alder", "Birch"]


def test_nothing_asked_and_nothing_there(result):
    flat = result.flat
    none = Assessment(
        Flat(flat.anchors, flat.sectors, flat.crags, flat.rejected), result.provenance
    )
    assert counts(none)["find_out"] == []
    empty = flat.sectors.iloc[:0]
    assert (overdue(empty), visits_per_year(empty)) == (0, 0.0)
    assert count_of(pd.Series(["x", "y", "x", "z"]), ("x", "w", "y")) == {"x": 2, "w": 0, "y": 1}
