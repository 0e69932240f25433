"""The sector survey: rows refused one by one, sheets, unknown sectors, and what RMR makes of it."""

import numpy as np
import openpyxl
import pandas as pd
import pytest

from saltreach.assessment.assess import assess
from saltreach.assessment.rock import rock_mass
from saltreach.errors import RegisterError
from saltreach.intake import read_register
from saltreach.intake.survey import read_survey, survey_at
from saltreach.science.rock import rmr
from saltreach.vocabulary.columns import REJECTED_COLUMNS, SURVEY

HEAD = ",".join(c.name for c in SURVEY)
GOOD = "Alder,North,400,2,0.5,slightly rough,none,slight,damp,80,fair"


def survey(tmp_path, *rows, head=HEAD):
    path = tmp_path / "survey.csv"
    path.write_text("\n".join((head, *rows)) + "\n")
    return read_survey(path)


def sectors(sheet):
    return sheet.frame(SURVEY)


def test_words_are_those_of_the_rating():
    words = {c.name: c.choices for c in SURVEY}
    assert words["roughness"] == tuple(rmr.ROUGHNESS)
    assert words["infilling"] == tuple(rmr.INFILLING)
    assert words["joint_weathering"] == tuple(rmr.JOINT_WEATHERING)
    assert words["water"] == tuple(rmr.WATER)
    assert words["favourability"] == rmr.FAVOURABILITY


def test_good_rows_are_read_and_all_but_the_names_may_be_empty(tmp_path):
    found = survey(tmp_path, GOOD, "Alder,South,,,,,,,,,")
    assert len(found.rejected) == 0
    assert sectors(found)["infilling"].tolist() == ["none", ""]
    assert sectors(found)["joint_spacing_mm"].iloc[0] == 400
    assert np.isnan(sectors(found)["joint_spacing_mm"].iloc[1])


@pytest.mark.parametrize(
    ("row", "column", "value", "reason"),
    [
        ("Alder,S,0.2,,,,,,,,", "joint_spacing_mm", "0.2", "not in 1..100000"),
        ("Alder,S,40 kN,,,,,,,,", "joint_spacing_mm", "40 kN", "more than a number"),
        ("Alder,S,,,,,,,soaked,,", "water", "soaked", "not one of the words"),
        ("Alder,S,,,,,,,,120,", "rqd_pct", "120", "not in 0..100"),
        ("Alder,,400,,,,,,,,", "sector", "", "missing"),
        ("alder,NORTH,300,,,,,,,,", "crag, sector", "alder, NORTH", "already given in row 2"),
    ],
)
def test_bad_rows_are_listed_in_the_register_s_form(tmp_path, row, column, value, reason):
    found = survey(tmp_path, GOOD, row)
    assert list(found.rejected.columns) == list(REJECTED_COLUMNS)
    only = found.rejected.iloc[0]
    assert (only["file"], only["row"], only["column"]) == ("survey.csv", 3, column)
    assert only["value"] == value
    assert reason in only["reason"]
    assert only["fix"]
    assert len(found.rejected) == 1
    assert len(found.rows) == 1


def test_headers_in_spanish_and_columns_not_used(tmp_path):
    found = survey(tmp_path, "Alder,N,400,wet,x", head="crag,sector,Espaciado,agua,comentario")
    assert sectors(found)["joint_spacing_mm"].tolist() == [400]
    assert sectors(found)["water"].tolist() == ["wet"]
    assert found.notes == (
        "columns not used: 'comentario'",
        "columns read under another name: 'Espaciado' as joint_spacing_mm, 'agua' as water",
    )


def test_unusable_surveys(tmp_path):
    with pytest.raises(RegisterError, match="no column sector"):
        survey(tmp_path, "Alder", head="crag")
    with pytest.raises(RegisterError, match="both mean water"):
        survey(tmp_path, "A,B,wet,wet", head="crag,sector,agua,groundwater")
    with pytest.raises(RegisterError, match="no such file"):
        read_survey(tmp_path / "no.csv")
    with pytest.raises(RegisterError, match="give one of .csv, .tsv, .txt, .xlsx, .xlsm"):
        read_survey(tmp_path / "survey.pdf")


def test_a_sheet_named_survey_is_found_whatever_its_case(tmp_path):
    book = openpyxl.Workbook()
    book.active.title = "anchors"
    sheet = book.create_sheet("Survey")
    sheet.append(["crag", "sector", "water"])
    sheet.append(["Alder", "North", "wet"])
    path = tmp_path / "book.xlsx"
    book.save(path)
    assert sectors(read_survey(path))["water"].tolist() == ["wet"]
    book.remove(sheet)
    book.create_sheet("other")
    book.save(path)
    with pytest.raises(RegisterError, match="no sheet is named 'survey'"):
        read_survey(path)


def anchors(*sectors):
    return pd.DataFrame(
        {"crag": "Alder", "sector": list(sectors)}, index=range(5, 5 + len(sectors))
    )


def test_each_anchor_gets_its_sector_s_row_and_lost_sectors_are_listed(tmp_path):
    found = survey(tmp_path, GOOD, "Alder,Nroth,300,,,,,,,,", "Elm,East,300,,,,,,,,")
    values, kept = survey_at(found, anchors("North", "South", "north "))
    assert values["joint_spacing_mm"].fillna(-1).tolist() == [400, -1, 400]
    assert values.index.tolist() == [5, 6, 7]
    assert kept.rejected["row"].tolist() == [3, 4]
    assert kept.rejected["column"].tolist() == ["sector", "crag"]
    assert "not among the crags and sectors" in kept.rejected["reason"].iloc[0]
    assert "nearest: north" in kept.rejected["fix"].iloc[0].casefold()
    assert len(kept.rows) == 1


def test_no_survey_leaves_everything_unknown():
    values, kept = survey_at(None, anchors("North"))
    assert kept is None
    assert values.isna().sum(axis=1).iloc[0] == 4
    assert (values.select_dtypes("str") == "").all(axis=None)


def rated(tmp_path, *rows, strength=120.0):
    table = anchors("North", "South").assign(rock_strength_mpa=strength)
    values, _ = survey_at(survey(tmp_path, *rows), table)
    return rock_mass(table, values)


@pytest.mark.pinned("published", answers=3)
def test_rating_of_a_surveyed_sector(tmp_path):
    """Bieniawski (1989): UCS 120 MPa 12, RQD 80 % 17, spacing 0.4 m 10, damp 10, slopes fair -25.

    Joints: 2 m long 4, 0.5 mm open 4, slightly rough 3, no infilling 6, slightly weathered 5.
    Sum 12 + 17 + 10 + 22 + 10 - 25 = 46; GSI = 12 + 17 + 10 + 22 + 15 - 5 = 71.
    """
    found = rated(tmp_path, GOOD)
    assert found["rmr89"].iloc[0] == 46
    assert found["rmr_class"].tolist() == ["III", ""]
    assert found["gsi"].iloc[0] == 71
    assert np.isnan(found["rmr89"].iloc[1])


@pytest.mark.pinned("published")
def test_no_rating_is_below_nought(tmp_path):
    """The same rock of 2 MPa (1) on very unfavourable slopes (-60): 1 + 17 + 10 + 22 + 10 - 60; a
    wetter or weaker one would be below."""
    slope = GOOD.replace("fair", "very unfavourable")
    assert rated(tmp_path, slope, strength=2.0)["rmr89"].iloc[0] == 0
    assert rated(tmp_path, slope, strength=0.5)["rmr89"].iloc[0] == 0


@pytest.mark.pinned("published")
def test_without_orientation_there_is_no_adjustment_and_without_rqd_the_spacing_stands_in(tmp_path):
    """RQD at 2.5 joints per metre: 100 exp(-0.25) 1.25 = 97 %, rating 20 (Priest and Hudson)."""
    found = rated(tmp_path, GOOD.replace(",80,fair", ",,"))
    assert found["rmr89"].iloc[0] == 46 + 25 + 3


def test_a_part_that_is_missing_leaves_the_rating_unknown(tmp_path):
    found = rated(tmp_path, GOOD.replace("slightly rough", ""))
    assert found[["rmr89", "gsi"]].isna().all(axis=None)
    assert found["joint_spacing_mm"].iloc[0] == 400
    assert rated(tmp_path, GOOD, strength=np.nan)["rmr89"].isna().all()


@pytest.mark.pinned("published")
def test_rqd_from_spacing_at_the_threshold():
    """Ten joints per metre: 100 (1 + 1) / e = 73.6 % (Priest and Hudson 1976, arithmetic)."""
    assert rmr.rqd_from_spacing_pct(100.0) == pytest.approx(200 / np.e)
    assert np.isnan(rmr.rqd_from_spacing_pct(np.nan))
    labelled = rmr.gsi_from_rmr89(pd.Series([60.0, 20.0], index=[3, 4]))
    assert labelled.index.tolist() == [3, 4]
    assert labelled.fillna(-1).tolist() == [55, -1]


def test_a_register_knows_the_survey_of_its_own_workbook(tmp_path):
    book = openpyxl.Workbook()
    book.active.title = "anchors"
    book.active.append(["anchor_id", "crag", "sector", "lon", "lat"])
    book.active.append(["a1", "Alder", "North", -4.95, 43.44])
    sheet = book.create_sheet("SURVEY ")
    sheet.append(["crag", "sector", "joint_spacing_mm"])
    sheet.append(["Alder", "North", 400])
    path = tmp_path / "book.xlsx"
    book.save(path)
    found = read_register(path)
    assert found.survey_file == str(path)
    assert assess(found).flat.anchors["joint_spacing_mm"].tolist() == [400]
    book.remove(sheet)
    book.save(path)
    assert read_register(path).survey_file is None
    book.active.title = "survey"  # the register itself is no survey
    book.save(path)
    assert read_register(path).survey_file is None
