"""Rock through the installed command: hollow places, maps, surveys, plots and the cure helper."""

import json

import geopandas as gpd
import numpy as np
import openpyxl
import pandas as pd
import pytest
import shapely

from saltreach.layers.embedded import embedded_file

REFUSED = "do not place here"


@pytest.fixture
def register(tmp_path):
    """Six anchors in two sectors of an invented crag, the rock given for some."""
    frame = pd.DataFrame(
        {
            "anchor_id": [f"a{i}" for i in range(6)],
            "crag": "Alder Point",
            "sector": ["North"] * 3 + ["South"] * 3,
            "lon": [-4.9500, -4.9501, -4.9502, -4.9510, -4.9511, -4.9512],
            "lat": 43.44,
            "kind": "bonded",
            "diameter_mm": 12,
            "embedment_mm": [80, 80, 60, 100, 100, 100],
            "rock_type": ["granite", "granite", "granite", "", "", "slate"],
            "tap_response": ["ringing", "hollow", "", "", "", ""],
            "crack_distance_mm": ["", "", "40", "", "", ""],
        }
    )
    path = tmp_path / "anchors.csv"
    frame.to_csv(path, index=False)
    return path


def sectors_of(folder):
    return pd.read_csv(folder / "sectors.csv").set_index("sector")


def test_a_hollow_tap_shows_in_map_table_and_summary(demo, saltreach):
    out, done = demo
    given = pd.read_csv(embedded_file("demo/anchors.csv"))
    hollow = given[given["tap_response"] == "hollow"]
    places = set(zip(hollow["crag"], hollow["sector"], strict=True))
    assert len(places) == 2
    sectors = pd.read_csv(out / "sectors.csv")
    # a hollow tap holds for its spot: the sector is planned and bought for without it
    touched = sectors[sectors["spots_refused"] > 0]
    first = sorted(touched["priority_rank"])[4]
    assert f"  and {len(touched) - 5} more sectors: spots_refused in" in done.stdout
    assert places <= set(zip(touched["crag"], touched["sector"], strict=True))
    page = (out / "map.html").read_text(encoding="utf-8")
    start = page.index('id="map-data">') + len('id="map-data">')
    shown = json.loads(page[start : page.index("</script>", start)])["sectors"]
    for crag, sector in places:
        row = touched[(touched["crag"] == crag) & (touched["sector"] == sector)].iloc[0]
        assert "Hollow sound under the hammer." in row["kind_reasons"]
        assert row["kind_advised"] != REFUSED
        assert row["to_move_or_remove"] >= 1
        assert row["worst_band"] == "severe"
        assert row["risk_share"].startswith("severe at ")
        lines = [li for li in done.stdout.splitlines() if li.startswith(f"  {crag} / {sector}: ")
                 and "Hollow sound" in li]  # fmt: skip
        # the five that come first in the order of rebolting are named, the rest counted
        assert len(lines) == (row["priority_rank"] <= first)
        assert all("move or remove" in line for line in lines)
        i = list(zip(shown["crag"], shown["sector"], strict=True)).index((crag, sector))
        assert any("Hollow sound" in text for text in shown["kind_reasons"][i])
        assert "move or remove x" in shown["actions"][i]


def test_anchor_columns_of_rock(saltreach, register, tmp_path):
    assert saltreach("assess", register, "--out", tmp_path / "out").returncode == 0
    anchors = gpd.read_parquet(tmp_path / "out" / "anchors.parquet")
    assert anchors["kind_advised"].iloc[1] == REFUSED
    assert (anchors["rock_strength_mpa_p10"] < anchors["rock_strength_mpa"]).iloc[0]
    assert (anchors["diameter_required_mm"] == 12).all()  # 316 of 500 MPa, or titanium grade 2
    assert anchors["action"].iloc[1] == "move or remove"
    assert "Crack closer than 1 embedment." in anchors["warnings"].iloc[2]
    # EN 959:2018, 4.2.6: a glued anchor needs 70 mm
    assert "Shorter in the rock than EN 959 asks for." in anchors["warnings"].iloc[2]
    assert "EN 959 asks for." not in anchors["warnings"].iloc[0].replace("one metal", "")
    # unknown rock: the mixture of the register's, never better than moderate, and said so
    assert anchors["rock_band"].iloc[3] in ("moderate", "raised", "high")
    assert "Rock unknown" in anchors["warnings"].iloc[3]
    assert np.isnan(anchors["rock_strength_mpa"].iloc[3])
    assert anchors["kind_advised"].iloc[3] == "unknown"
    sectors = sectors_of(tmp_path / "out")
    assert "Hollow sound under the hammer. (1 of 3 anchors)" in sectors.loc["North", "kind_reasons"]
    assert sectors.loc["North", "spots_refused"] == 1
    crags = pd.read_csv(tmp_path / "out" / "crags.csv")
    assert "kind_advised" not in crags
    assert REFUSED in crags["kinds_advised"].iloc[0]


def test_20_kn_asks_for_more_depth(saltreach, register, tmp_path):
    for load in ("15", "20"):
        done = saltreach("assess", register, "--out", tmp_path / load, "--axial-kn", load)
        assert done.returncode == 0, done.stderr
    depth = [
        gpd.read_parquet(tmp_path / load / "anchors.parquet")["embedment_required_mm"].iloc[0]
        for load in ("15", "20")
    ]
    assert depth[0] < depth[1]


def test_a_geology_file_fills_gaps_and_disagreements_are_listed(saltreach, register, tmp_path):
    """Basalt over everything, a smaller square of limestone on the South, one odd legend."""
    frame = gpd.GeoDataFrame(
        {"unidad": ["Basaltos", "Calizas", "Fm. Quimera"]},
        geometry=[
            shapely.box(-5, 43, -4, 44),
            shapely.box(-4.9515, 43.43, -4.95055, 43.45),
            shapely.box(-4.95115, 43.43, -4.95105, 43.45),
        ],
        crs=4326,
    )
    frame.to_crs(25830).to_file(tmp_path / "geology.gpkg")
    arguments = ("--geology", tmp_path / "geology.gpkg", "--rock-column", "unidad")
    done = saltreach("assess", register, "--out", tmp_path / "out", *arguments)
    assert done.returncode == 0, done.stderr
    anchors = gpd.read_parquet(tmp_path / "out" / "anchors.parquet")
    assert len(anchors) == 6
    assert anchors["lithology"].tolist() == ["granite"] * 3 + ["limestone", "unknown", "slate"]
    assert anchors["lithology_source"].iloc[3] == "geology-file-geology.gpkg"
    assert "register says granite, the map basalt" in anchors["warnings"].iloc[0]
    assert "register says slate, the map limestone" in anchors["warnings"].iloc[5]
    assert "taken as unknown: Fm. Quimera." in anchors["warnings"].iloc[4]
    record = json.loads((tmp_path / "out" / "provenance.json").read_text(encoding="utf-8"))
    assert record["rock"]["disagreements"] == 4
    assert record["rock"]["unmapped_entries"] == {"Fm. Quimera": 1}
    assert record["rock"]["anchors_on_overlaps"] == 3
    layer = next(x for x in record["layers"] if x["name"] == "geology-file-geology.gpkg")
    assert layer["sha256"]
    assert "different rocks at 4 anchors" in done.stdout
    assert "Fm. Quimera (1)" in done.stdout

    (tmp_path / "words.csv").write_text("code,lithology\nFm. Quimera,sandstone\n")
    done = saltreach("assess", register, "--out", tmp_path / "out", *arguments,
                     "--rock-mapping", tmp_path / "words.csv")  # fmt: skip
    anchors = gpd.read_parquet(tmp_path / "out" / "anchors.parquet")
    assert anchors["lithology"].iloc[4] == "sandstone"
    assert "Quimera" not in done.stdout


@pytest.mark.parametrize(
    ("arguments", "says"),
    [
        (["--geology", "no.gpkg", "--rock-column", "x"], "no.gpkg"),
        (["--rock-column", "x"], "geology file"),
        (["--survey", "no.csv"], "no.csv"),
        (["--axial-kn", "0"], "axial_kn"),
    ],
)
def test_unusable_rock_input_ends_in_one_sentence(saltreach, register, tmp_path, arguments, says):
    done = saltreach("assess", register, "--out", tmp_path / "out", *arguments)
    assert done.returncode == 2
    assert says in done.stderr
    assert "Traceback" not in done.stderr


def test_bad_survey_rows_are_refused_and_the_good_ones_rate_their_sector(
    saltreach, register, tmp_path
):
    survey = tmp_path / "survey.csv"
    survey.write_text(
        "crag,sector,joint_spacing_mm,persistence_m,aperture_mm,roughness,infilling,"
        "joint_weathering,water,rqd_pct,favourability\n"
        "Alder Point,North,400,2,0.5,slightly rough,none,slight,damp,80,\n"
        "Alder Point,South,-4,,,,,,soaked,,\n"
        "Alder Point,West,400,,,,,,,,\n"
    )
    given = ("assess", register, "--out", tmp_path / "out", "--survey", survey)
    done = saltreach(*given)
    assert (done.returncode, done.stdout) == (2, "")
    assert done.stderr.splitlines()[-3:] == [
        "saltreach: survey survey.csv: 2 of 3 rows refused; mend it in the file, or leave it out "
        "aloud with --leave-out-refused:",
        "  row 3, joint_spacing_mm = '-4': not in 1..100000; correct it in mm (spacing of the "
        "discontinuities, from the survey), or leave it empty",
        "  row 4, sector = 'West': not among the crags and sectors assessed; spell it as the "
        "register does",
    ]
    assert not (tmp_path / "out").exists()
    done = saltreach(*given, "--leave-out-refused")
    assert done.returncode == 1, done.stderr
    assert done.stdout.startswith(
        "LEFT OUT of survey survey.csv: row 3 (joint_spacing_mm '-4'), row 4 (sector 'West').\n"
    )
    rejected = pd.read_csv(tmp_path / "out" / "rejected.csv")
    assert rejected[["file", "row", "column"]].to_numpy().tolist() == [
        ["survey.csv", 3, "joint_spacing_mm"],
        ["survey.csv", 3, "water"],
        ["survey.csv", 4, "sector"],
    ]
    assert rejected[["reason", "fix"]].notna().all(axis=None)
    sectors = sectors_of(tmp_path / "out")
    # Bieniawski (1989): granite 100..250 MPa 12, RQD 17, spacing 10, joints 22, damp 10
    assert sectors.loc["North", "rmr89"] == 71
    assert sectors.loc["North", "rmr_class"] == "II"
    # Hoek et al. (1995): RMR89 with water 15, less 5
    assert sectors.loc["North", "gsi"] == 71
    assert pd.isna(sectors.loc["South", "rmr89"])
    record = json.loads((tmp_path / "out" / "provenance.json").read_text(encoding="utf-8"))
    assert record["survey"]["rows"] == 3
    assert record["survey"]["accepted"] == 1


def test_a_survey_sheet_of_the_register_s_workbook_is_read(saltreach, register, tmp_path):
    book = openpyxl.Workbook()
    frame = pd.read_csv(register, dtype=str, keep_default_na=False)
    for row in [frame.columns.tolist(), *frame.to_numpy().tolist()]:
        book.active.append([None if value == "" else value for value in row])
    sheet = book.create_sheet("Survey")
    sheet.append(["crag", "sector", "joint_spacing_mm"])
    sheet.append(["Alder Point", "North", 350])
    book.save(tmp_path / "book.xlsx")
    done = saltreach("assess", tmp_path / "book.xlsx", "--out", tmp_path / "out")
    assert done.returncode == 0, done.stderr
    assert sectors_of(tmp_path / "out").loc["North", "joint_spacing_mm"] == 350


def test_plots_are_written_only_when_asked_for(saltreach, register, tmp_path):
    done = saltreach("assess", register, "--out", tmp_path / "out", "--plots")
    assert done.returncode == 0, done.stderr
    assert sorted(p.name for p in (tmp_path / "out" / "plots").iterdir()) == [
        "Alder_Point-North.png",
        "Alder_Point-South.png",
    ]


@pytest.fixture
def sheet(tmp_path):
    path = tmp_path / "sheet.csv"
    path.write_text("rock_temperature_c,gel_min,cure_min\n0,20,240\n20,5,60\n")
    return path


def test_cure_at_a_row_of_the_sheet_is_the_row(saltreach, sheet):
    """At 0 degC the sheet says 240 min; a wet hole takes twice that (common practice)."""
    found = json.loads(saltreach("cure", sheet, "--rock-temperature", "0", "--json").stdout)
    assert (found["gel_min"], found["cure_min"], found["expiry"]) == (20, 240, "unknown")
    wet = saltreach("cure", sheet, "--rock-temperature", "0", "--wet")
    assert "may be loaded after 8 h 00 min" in wet.stdout
    assert "certificate" in wet.stdout


@pytest.mark.parametrize(
    ("arguments", "says"),
    [
        (["--rock-temperature", "-5"], "not extrapolated"),
        (["--rock-temperature", "8", "--expires", "2026-10"], "expired"),
        (["--rock-temperature", "8", "--expires", "soon"], "2026-04"),
        (["--rock-temperature", "nan"], "rock temperature nan: give degrees Celsius"),
        (["--rock-temperature", "inf"], "rock temperature inf: give degrees Celsius"),
    ],
)
def test_cure_refuses_what_it_cannot_answer_for(saltreach, sheet, arguments, says):
    done = saltreach("cure", sheet, *arguments, "--today", "2026-11-25")
    assert done.returncode == 2
    assert says in done.stderr
    assert done.stdout == ""


def test_cure_reads_a_sheet_of_windows_and_says_what_it_did_not_use(saltreach, tmp_path):
    path = tmp_path / "sheet.csv"
    text = "rock_temperature_c;gel_min;cure_min;Geb\xe4nde\n0;20;240;1\n20;5;60;1\n"
    path.write_bytes(text.encode("cp1252"))
    done = saltreach("cure", path, "--rock-temperature", "0")
    assert done.returncode == 0, done.stderr
    assert "note: data sheet sheet.csv: columns not used: 'Geb\xe4nde'" in done.stdout.splitlines()
    (tmp_path / "folder.csv").mkdir()
    done = saltreach("cure", tmp_path / "folder.csv", "--rock-temperature", "0")
    assert done.returncode == 2 and "this is a folder; give a file of the table" in done.stderr


def test_one_lost_column_of_a_survey_ends_with_1_when_left_out(saltreach, register, tmp_path):
    survey = tmp_path / "survey.csv"
    survey.write_text("crag,sector,watr\nAlder Point,North,wet\n")
    done = saltreach(
        "assess", register, "--out", tmp_path / "out", "--survey", survey, "--leave-out-refused"
    )
    assert done.returncode == 1, done.stderr
    assert done.stdout.startswith("LEFT OUT of survey survey.csv: column 'watr'.\n")
