"""Results back from their folder, and what a result says of itself."""

import json

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest

import saltreach as sr
from saltreach.assessment.files import assessment_in, read_results
from saltreach.assessment.result import Assessment, Flat
from saltreach.errors import LayerError, OptionError


def frame(size, **columns):
    points = gpd.points_from_xy(np.linspace(-5.0, -4.9, size), [43.0] * size)
    return gpd.GeoDataFrame(columns, geometry=points, crs=4326, index=range(size))


@pytest.fixture
def folder(tmp_path):
    """A folder with the least that results need."""
    frame(2, anchor_id=["a", "b"]).to_parquet(tmp_path / "anchors.parquet")
    for name, size in (("sectors", 2), ("crags", 1)):
        frame(size, crag=["Alder"] * size).to_file(tmp_path / "saltreach.gpkg", layer=name)
    (tmp_path / "provenance.json").write_text('{"ort": "Peña"}', encoding="utf-8")
    return tmp_path


def test_what_is_read_back(folder):
    found = read_results(folder)
    assert found.provenance == {"ort": "Peña"}
    assert found.flat.anchors["anchor_id"].tolist() == ["a", "b"]
    assert (len(found.flat.sectors), len(found.flat.crags)) == (2, 1)
    assert found.working is None
    # nothing was refused, and files do not say what to find out
    assert list(found.rejected) == ["file", "row", "column", "value", "reason", "fix"]
    assert len(found.rejected) == 0
    assert found.find_out is None


def test_refused_rows_stay_text_and_what_to_find_out_loses_its_guards(folder):
    (folder / "rejected.csv").write_text("file,row,value\na.csv,007,1.0\n")
    (folder / "find_out.csv").write_text(
        "crag,sector,find_out,anchors_unknown,decisions_changed,caution\n'=Alder,N,washing,3,1.5,x\n"
    )
    found = read_results(str(folder))
    assert found.rejected.to_numpy().tolist() == [["a.csv", "007", "1.0"]]
    assert found.find_out.to_dict("records") == [
        {"crag": "=Alder", "sector": "N", "find_out": "washing", "anchors_unknown": 3,
         "decisions_changed": 1.5},
    ]  # fmt: skip


@pytest.mark.parametrize(
    ("gone", "said"),
    [
        (("anchors.parquet",), "lacks anchors.parquet; give the folder"),
        (("saltreach.gpkg", "provenance.json"), "lacks saltreach.gpkg, provenance.json; give"),
    ],
)
def test_a_folder_that_holds_no_results_is_refused(folder, gone, said):
    for name in gone:
        (folder / name).unlink()
    with pytest.raises(LayerError, match=said):
        assessment_in(folder)


def test_an_assessment_is_taken_as_it_is_and_nothing_else_but_a_folder(folder, assessed_demo):
    assert assessment_in(assessed_demo) is assessed_demo
    assert len(assessment_in(str(folder)).flat.anchors) == 2
    with pytest.raises(OptionError, match=r"result: int given; give an Assessment"):
        assessment_in(3)


@pytest.mark.pinned("worked")
def test_a_result_in_one_line():
    sectors = frame(5, risk_band=["low", "severe", "", "low", "raised"])
    rejected = pd.DataFrame({"row": [3, 3, 8]})
    flat = Flat(frame(7), sectors, frame(2), rejected)
    record = {"register": {"file": "own.csv"}, "assessed_for": "2026-11-25"}
    assert repr(Assessment(flat, record)) == (
        "<Assessment of own.csv for 2026-11-25: 7 anchors, 5 sectors (severe 1, raised 1, low 2, "
        "unknown 1), 2 crags; 2 rows refused. Advice only, never a certificate that an anchor is "
        "safe. Local code, the land manager and a competent person decide.>"
    )
    known = Flat(frame(1), frame(1, risk_band=["high"]), frame(1), rejected.iloc[:0])
    assert "1 sectors (high 1), 1 crags; 0 rows refused." in repr(Assessment(known, record))


def test_written_and_read_back_it_is_the_same(assessed_demo, tmp_path):
    sr.write_results(assessed_demo, tmp_path / "out")
    back = read_results(tmp_path / "out")
    for name in ("anchors", "sectors", "crags"):
        a, b = getattr(assessed_demo, name), getattr(back, name)
        for column in ("risk_band", "material_recommended", "inspection_interval_months",
                       "next_inspection_on", "failure_probability_y1"):  # fmt: skip
            assert a[column].equals(b[column].astype(a[column].dtype)), (name, column)
    assert json.loads(json.dumps(assessed_demo.provenance)) == back.provenance
    pd.testing.assert_frame_equal(assessed_demo.curves, back.curves)
    assert back.sector_reasons["sentence"].equals(assessed_demo.sector_reasons["sentence"])
