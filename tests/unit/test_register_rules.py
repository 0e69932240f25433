"""Every rule of the register, with the row number a spreadsheet shows.

Expected values are the rules of the design (own and trade rules: common practice, no source).
"""

import datetime as dt
import shutil
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from saltreach.errors import RegisterError
from saltreach.intake import Register, read_register, refuse_far_at_sea
from saltreach.vocabulary.columns import ANCHORS_BY_NAME, REGISTER, REJECTED_COLUMNS

TODAY = dt.date(2026, 6, 15)
GOOD = {"anchor_id": "007", "crag": "Punta Roja", "sector": "Norte", "lon": "0.5", "lat": "41.2"}
FIXTURES = Path(__file__).parents[1] / "fixtures" / "register"


def write(tmp_path, *rows, name="anchors.csv", sep=","):
    pd.DataFrame([GOOD | row for row in rows]).to_csv(tmp_path / name, index=False, sep=sep)
    return tmp_path / name


def read(tmp_path, *rows, **options):
    return read_register(write(tmp_path, *rows), today=TODAY, **{"strict": True} | options)


def only(register: Register) -> pd.Series:
    assert len(register.rejected) == 1, register.rejected.to_string()
    assert register.anchors.empty
    return register.rejected.iloc[0]


def test_a_plain_row_is_read_with_every_column(tmp_path):
    register = read(tmp_path, {})
    names = [c.name for c in REGISTER]
    assert list(register.anchors.columns[: len(names)]) == names
    row = register.anchors.iloc[0]
    assert row["anchor_id"] == "007"
    assert (row["lon"], row["lat"]) == (0.5, 41.2)
    assert (row.geometry.x, row.geometry.y) == (0.5, 41.2)
    assert register.anchors.crs.to_epsg() == 4326
    assert row["source_row"] == 2
    assert row["material"] == row["hanger_material"] == row["rain_washed"] == "unknown"
    assert np.isnan(row["diameter_mm"])
    assert pd.isna(row["kind"]) and pd.isna(row["installed_on"])
    assert list(register.rejected.columns) == list(REJECTED_COLUMNS)
    assert register.rejected.empty
    assert (register.file, register.format, register.rows_read) == ("anchors.csv", "CSV", 1)


@pytest.mark.parametrize(
    ("material", "grade", "read_as"),
    [
        ("", "titanium grade 2", ("titanium", "titanium grade 2")),
        ("unknown", "1.4404", ("316", "1.4404")),
        ("stainless", "1.4301", ("304", "1.4301")),
        ("316", "A4-70", ("316", "A4-70")),
        ("904L", "", ("duplex", "1.4539")),
        ("316", "", ("316", None)),
    ],
)
def test_a_grade_says_which_metal_it_is(tmp_path, material, grade, read_as):
    anchor = read(tmp_path, {"material": material, "grade": grade}).anchors.iloc[0]
    found = (anchor["material"], None if pd.isna(anchor["grade"]) else anchor["grade"])
    assert found == read_as


@pytest.mark.parametrize(
    ("material", "grade"),
    [("titanium", "1.4301"), ("duplex", "1.4301"), ("stainless", "titanium grade 2"),
     ("zinc-plated steel", "1.4404")],
)  # fmt: skip
def test_a_grade_of_another_metal_is_refused(tmp_path, material, grade):
    problem = only(read(tmp_path, {"material": material, "grade": grade}))
    assert problem["column"] == "grade, material"
    assert problem["reason"] == "the grade is of another metal"


BROKEN = [
    ("crag", "", "missing", "crag"),
    ("sector", "  ", "missing", "sector"),
    ("anchor_id", "", "missing", "key"),
    ("lon", "", "missing", "WGS 84"),
    ("lat", "", "missing", "WGS 84"),
    ("lon", "181", "not in -180..180", "WGS 84"),
    ("lat", "north", "not a number", "decimal degrees"),
    ("lat", "41°12'W", "of the other coordinate", "exchanged"),
    ("lon", "500000", "not in -180..180", "--crs"),
    ("diameter_mm", "12 kN", "more than a number", "alone in mm"),
    ("diameter_mm", "10-12", "a range", "plain number"),
    ("diameter_mm", "~12", "about so much; 12 in mm is used", "plain number"),
    ("diameter_mm", "3", "not in 4..40", "mm"),
    ("diameter_mm", "1,234", "not in 4..40", "mm"),
    ("diameter_mm", "1,2,3", "not a number", "plain number"),
    ("diameter_mm", "1 2", "not a number", "plain number"),
    ("diameter_mm", "1e999", "not a finite number", "plain number"),
    ("embedment_mm", "501", "not in 10..500", "mm"),
    ("condition", "2.5", "not a whole number", "0 sound"),
    ("condition", "5", "not in 0..4", "0 sound"),
    ("elevation_m", "9001", "not in -430..9000", "m"),
    ("face_azimuth_deg", "361", "not in 0..360", "deg"),
    ("rebound_number", "4", "not in 5..90", "hammer"),
    ("visits_per_year", "-1", "not in 0..1000000", "empty"),
    ("material", "kryptonite", "words of material", "titanium"),
    ("material", "grade 5", "words of material", "use one of"),
    ("material", "tittanium", "words of material", "nearest: titanium"),
    ("hanger_material", "1.9999", "words of hanger_material", "use one of"),
    ("kind", "magic", "words of kind", "bonded twin-leg, expansion, screw, drive-in"),
    ("position", "left", "words of position", "belay, lower-off, runner"),
    ("tap_response", "green", "words of tap_response", "ringing"),
    ("weathering_grade", "W7", "words of weathering_grade", "W1"),
    ("rain_washed", "sometimes", "words of rain_washed", "yes, no"),
    ("installed_on", "03/04/2014", "both ways", "2014-04-03 or 2014-03-04"),
    ("installed_on", "1899", "before 1900", "1900"),
    ("installed_on", "2026-06-16", "in the future (today is 2026-06-15)", "planned"),
    ("last_inspected_on", "2014-02-30", "no such day", "YYYY-MM-DD"),
    ("last_inspected_on", "2014-13", "no such month", "YYYY"),
    ("last_inspected_on", "41800", "spreadsheet's day number", "format the cell"),
    ("last_inspected_on", "spring 2014", "a season; the year is kept", "YYYY"),
    ("last_inspected_on", "14", "not a date", "YYYY"),
    ("coast_distance_m", "-1", "not in 0..3000000", "sea"),
]
"""A column, a value that it refuses, what is said of it and how to mend it."""


@pytest.fixture(scope="module")
def broken(tmp_path_factory) -> pd.DataFrame:
    """What one register with all the broken cells, a row for each, has to say."""
    rows = [{"anchor_id": str(k)} | {column: value} for k, (column, value, *_) in enumerate(BROKEN)]
    register = read(tmp_path_factory.mktemp("broken"), *rows, {"anchor_id": "good"})
    assert register.anchors["anchor_id"].tolist() == ["good"]
    assert len(register.rejected) == len(BROKEN)
    return register.rejected.set_index("row")


@pytest.mark.parametrize("k", range(len(BROKEN)), ids=["-".join(case[:2]) for case in BROKEN])
def test_one_broken_cell_refuses_its_row(broken, k):
    column, value, reason, fix = BROKEN[k]
    refused = broken.loc[k + 2]
    assert refused["column"] == column
    assert refused["value"] == value.strip()
    assert reason in refused["reason"]
    assert fix in refused["fix"]
    assert refused["file"] == "anchors.csv"


def test_numbers_in_plain_form_are_read(tmp_path):
    read_as = {"12": 12, "12.5": 12.5, " 12 ": 12, "12,5": 12.5, "+12.": 12, "1.2e1": 12}
    rows = [{"anchor_id": str(k), "diameter_mm": cell} for k, cell in enumerate(read_as)]
    register = read(tmp_path, *rows)
    assert register.anchors["diameter_mm"].tolist() == list(read_as.values())


def test_decimal_commas_with_a_leading_zero_or_other_lengths_have_one_reading(tmp_path):
    register = read(tmp_path, {"lon": "0,125", "lat": "41,2345"}, {"anchor_id": "b", "lon": "-0,5"})
    assert register.anchors["lon"].tolist() == [0.125, -0.5]
    assert register.anchors["lat"].tolist() == [41.2345, 41.2]


def test_words_for_not_known_are_empty_cells_but_stay_in_text(tmp_path):
    words = ["?", "n/a", "-", "unknown", "NaN", "desconocido"]
    columns = ["diameter_mm", "kind", "installed_on", "material", "route"]
    rows = [{"anchor_id": f"{k}"} | dict.fromkeys(columns, word) for k, word in enumerate(words)]
    anchors = read(tmp_path, *rows).anchors
    assert anchors[["diameter_mm", "kind", "installed_on"]].isna().all(axis=None)
    assert anchors["material"].tolist() == ["unknown"] * len(words)
    assert anchors["route"].tolist() == words


def test_zero_zero_is_a_placeholder(tmp_path):
    refused = only(read(tmp_path, {"lon": "0", "lat": "0.0"}))
    assert (refused["column"], refused["value"]) == ("lon, lat", "0, 0.0")


def test_embedment_shorter_than_the_diameter(tmp_path):
    refused = only(read(tmp_path, {"diameter_mm": "16", "embedment_mm": "12"}))
    assert refused["column"] == "embedment_mm, diameter_mm"
    assert refused["value"] == "12, 16"


def test_inspection_before_installation_respects_precision(tmp_path):
    too_early = [("2014-06", "2014-05-31"), ("2014", "2013-12-31")]
    possible = [("2014-06", "2014-06-01"), ("2014-06-02", "2014-06"), ("2014-06-02", "2014")]
    rows = [
        {"anchor_id": f"{k}", "installed_on": installed, "last_inspected_on": inspected}
        for k, (installed, inspected) in enumerate(too_early + possible)
    ]
    register = read(tmp_path, *rows)
    assert register.anchors["source_row"].tolist() == [4, 5, 6]
    assert register.rejected["row"].tolist() == [2, 3]
    assert register.rejected["reason"].str.contains("before it was installed").all()


def test_all_problems_of_all_rows_at_once_with_spreadsheet_rows(tmp_path):
    path = tmp_path / "anchors.csv"
    path.write_text(
        "anchor_id,crag,sector,lon,lat,diameter_mm,notes\n"
        'a,P,N,0.5,41.2,12,"two\nlines in one cell"\n'
        "\n"
        "b,,N,0.5,95,12 kN,\n"
        "c,P,N,0.5,41.3,12,\n"
        ",,,,,,\n"
        "d,P,N,0.5,41.3,99,\n",
        encoding="utf-8",
    )
    register = read_register(path, today=TODAY, strict=True)
    assert register.anchors["source_row"].tolist() == [2, 5]
    assert register.anchors["notes"].tolist()[0] == "two\nlines in one cell"
    assert register.rows_read == 4
    found = list(register.rejected[["row", "column"]].itertuples(index=False, name=None))
    assert found == [(4, "crag"), (4, "lat"), (4, "diameter_mm"), (7, "diameter_mm")]


def test_duplicates_name_the_first_row_and_say_whether_they_differ(tmp_path):
    register = read(tmp_path, {}, {"anchor_id": "b"}, {}, {"crag": "Other"}, {"anchor_id": "B"})
    assert register.anchors["anchor_id"].tolist() == ["007", "b"]
    reasons = register.rejected.set_index("row")["reason"]
    assert reasons[4] == "anchor_id already used in row 2, with the same data"
    assert reasons[5] == "anchor_id already used in row 2, with other data"
    assert reasons[6] == "anchor_id already used in row 3, written 'b', with the same data"


def test_swapped_positions_are_found_against_the_rest_of_the_register(tmp_path):
    rows = [{"anchor_id": str(i), "lon": f"{0.5 + i / 100}"} for i in range(5)]
    rows.append({"anchor_id": "s", "lon": "41.21", "lat": "0.52"})
    rows.append({"anchor_id": "far", "crag": "Elsewhere", "lon": "98.8", "lat": "8.0"})
    register = read(tmp_path, *rows)
    assert "far" in set(register.anchors["anchor_id"])
    refused = register.rejected.iloc[0]
    assert (len(register.rejected), refused["row"]) == (1, 7)
    assert refused["value"] == "41.21, 0.52"
    assert refused["fix"] == "looks like lon and lat are swapped: lon 0.52, lat 41.21"


def test_a_latitude_beyond_the_pole_that_fits_when_swapped(tmp_path):
    refused = only(read(tmp_path, {"lon": "8.0", "lat": "98.8"}))
    assert refused["reason"] == "lat not in -90..90"
    assert refused["fix"].startswith("looks like lon and lat are swapped: lon 98.8, lat 8.0")


def test_a_register_over_the_antimeridian_is_not_taken_for_swapped(tmp_path):
    lons = ["179.9", "-179.9", "179.8", "-179.95", "179.7"]
    rows = [{"anchor_id": str(i), "lon": lon, "lat": "-17"} for i, lon in enumerate(lons)]
    assert read(tmp_path, *rows).rejected.empty


def test_a_register_over_two_countries_is_not_taken_for_swapped(tmp_path):
    places = [("-3.1", "43.4"), ("2.8", "41.9"), ("98.8", "8.0"), ("98.9", "8.1"), ("9.4", "40.2")]
    rows = [{"anchor_id": f"{i}", "lon": x, "lat": y} for i, (x, y) in enumerate(places)]
    assert read(tmp_path, *rows).rejected.empty


def test_original_words_are_kept_only_where_they_differ(tmp_path):
    register = read(
        tmp_path, {"material": "AISI 316L", "kind": "bonded"}, {"anchor_id": "b", "material": "316"}
    )
    assert register.anchors["material"].tolist() == ["316", "316"]
    assert register.anchors["material_as_given"].fillna("").tolist() == ["AISI 316L", ""]
    assert "kind_as_given" not in register.anchors


def test_extra_columns_pass_untouched_and_never_hide_ours(tmp_path):
    hostile = "=1+1 <script>${x}</script> \"';"
    extra = {"owner": " 007 ", "note to self": hostile, "risk_band": "low", "Warnings": "w"}
    register = read(tmp_path, extra | {"risk_band_given": "x", "source_row": "9"})
    row = register.anchors.iloc[0]
    assert row["owner"] == " 007 "
    assert row["note to self"] == hostile
    assert row["source_row"] == 2
    assert row["source_row_given"] == "9"
    assert (row["risk_band_given"], row["risk_band_given_2"]) == ("x", "low")
    assert row["Warnings_given"] == "w"
    own = {name.casefold() for name in ANCHORS_BY_NAME} - {c.name for c in REGISTER}
    assert not own & {name.casefold() for name in register.anchors.columns}
    assert any("'risk_band'" in note for note in register.notes)


def test_no_good_row_is_not_an_error(tmp_path):
    register = read(tmp_path, {"crag": ""})
    assert register.anchors.empty
    assert register.anchors.crs.to_epsg() == 4326
    assert register.anchors["lon"].dtype == float


def test_a_header_alone_gives_an_empty_register(tmp_path):
    path = tmp_path / "a.csv"
    path.write_text(",".join(GOOD) + "\n")
    register = read_register(path)
    assert (register.rows_read, len(register.anchors), len(register.rejected)) == (0, 0, 0)


def test_row_with_too_many_cells_is_refused_and_the_others_stay(tmp_path):
    path = tmp_path / "a.csv"
    path.write_text(
        "anchor_id,crag,sector,lon,lat\n1,P,N,0.5,41\n2,P,N,left,part,0.5,41\n3,P,N,0.5,41\n"
    )
    register = read_register(path)
    assert register.anchors["source_row"].tolist() == [2, 4]
    refused = register.rejected.iloc[0]
    assert (refused["row"], refused["value"]) == (3, "2,P,N,left,part,0.5,41")
    assert refused["reason"] == "7 cells, but the header has 5"
    assert register.rows_read == 3


def sea_register(tmp_path):
    cells = [{}, {"anchor_id": "far"}, {"anchor_id": "own", "coast_distance_m": "50"}]
    cells += [{"anchor_id": "near"}, {"anchor_id": "unknown"}]
    return read(tmp_path, *cells, {"anchor_id": "bad", "crag": ""})


def test_far_at_sea_is_refused_unless_the_register_gives_the_distance(tmp_path):
    before = sea_register(tmp_path)
    distance = np.array([90_000, 90_000, 90_000, 4_999, np.nan])
    after = refuse_far_at_sea(before, distance, np.array([True, False, False, False, False]))
    assert after.anchors["anchor_id"].tolist() == ["007", "own", "near", "unknown"]
    assert after.anchors.index.tolist() == [0, 1, 2, 3]
    assert after.rejected["row"].tolist() == [3, 7]
    refused = after.rejected.iloc[0]
    assert (refused["column"], refused["value"]) == ("lon, lat", "0.5, 41.2")
    assert "90.0 km off the shore (limit 5 km)" in refused["reason"]
    assert "--coast" in refused["fix"]
    assert len(before.anchors) == 5
    assert list(after.rejected.columns) == list(REJECTED_COLUMNS)


def test_far_at_sea_needs_one_value_per_anchor(tmp_path):
    with pytest.raises(RegisterError, match="one value per anchor"):
        refuse_far_at_sea(sea_register(tmp_path), np.zeros(2), np.zeros(2, dtype=bool))


def test_the_fixture_of_a_local_spreadsheet_export(tmp_path):
    """Semicolons, decimal commas, Windows-1252, Spanish headers and words."""
    path = shutil.copy(FIXTURES / "exportacion.csv", tmp_path / "exportación.csv")
    register = read_register(path, today=TODAY)
    assert register.rejected.empty
    first, second, third = register.anchors.to_dict("records")
    assert (first["lon"], first["lat"]) == (0.5123, 41.2001)
    assert (first["crag"], first["kind"], first["material"]) == ("Peñón", "bonded", "316")
    assert (first["position"], first["rain_washed"]) == ("lower-off", "yes")
    assert (first["installed_on"], first["diameter_mm"]) == ("2014-12-25", 12.5)
    assert (second["material"], second["hanger_material"]) == ("zinc-plated steel", "304")
    assert third["installed_on"] == "2009-04-03"  # 25/12/2014 shows that days come first
    assert "installed_on: dates that can be read both ways read day-first, as the whole column " \
        "shows" in register.notes  # fmt: skip
    assert any("Windows-1252" in note for note in register.notes)
