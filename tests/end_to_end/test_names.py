"""Names, far places, contradictions and hostile text, through the command to the files."""

import json

import geopandas as gpd
import openpyxl
import pandas as pd

COLUMNS = ["anchor_id", "crag", "sector", "lon", "lat"]


def write(path, rows, **more):
    frame = pd.DataFrame(rows, columns=COLUMNS).assign(**more)
    frame.to_csv(path, index=False, encoding="utf-8")
    return path


HERE = [(f"a{i}", "Alder Point", "North", -4.95 + i / 1e4, 43.44) for i in range(4)]


def test_a_register_with_slips_is_read_asked_about_and_answered(saltreach, tmp_path):
    rows = [
        *HERE, ("b1", "alder\u00a0 POINT", "north", -4.95, 43.44),
        ("b2", "Alder Pont", "North", -4.95, 43.44), ("b3", "Alder Point", "North", 4.95, 43.44),
        ("A1", "Alder Point", "North", -4.95, 43.44),
    ]  # fmt: skip
    path = write(tmp_path / "a.csv", rows)
    out = tmp_path / "out"
    done = saltreach("assess", path, "--out", out)
    assert done.returncode == 1
    question = (
        "are 'Alder Point' and 'Alder Pont' (0.0 km apart) one crag? If so give --same-crag "
        "'Alder Pont=Alder Point'"
    )
    assert f"  {question}\n" in done.stderr
    assert done.stderr.index(question) < done.stderr.index("saltreach: coast ...")
    rejected = pd.read_csv(out / "rejected.csv").set_index("row")
    assert rejected["fix"][8].startswith(
        "the other sign of lon would put it among them: write lon -4.95, lat 43.44"
    )
    assert rejected["reason"][9].startswith("anchor_id already used in row 3, written 'a1'")
    anchors = gpd.read_parquet(out / "anchors.parquet")
    assert set(anchors["crag"]) == {"Alder Point", "Alder Pont"}
    assert question in json.loads((out / "provenance.json").read_text())["register"]["notes"]

    answered = saltreach(
        "assess", path, "--out", out, "--same-crag", "Alder Pont=Alder Point", "--json"
    )
    assert json.loads(answered.stdout)["crags"] == 1
    assert "read as 'Alder Point', as told" in answered.stderr
    checked = saltreach("check", path, "--same-crag", "Alder Pont = Alder Point")
    assert checked.returncode == 1 and "as told" in checked.stdout


def test_an_answer_that_fits_nothing_is_unusable_input(saltreach, tmp_path):
    path = write(tmp_path / "a.csv", HERE)
    wrong = saltreach("check", path, "--same-crag", "Alder Poin=Alder Point")
    assert wrong.returncode == 2
    assert "no crag 'Alder Poin' in the register; nearest: 'Alder Point'" in wrong.stderr
    half = saltreach("check", path, "--same-crag", "Alder Point")
    assert half.returncode == 2
    assert "write it as other=name" in half.stderr


def test_one_name_oceans_apart_and_round_the_pole_is_written_whole(saltreach, tmp_path):
    """Once ended in an error of geometry with nothing written."""
    ring = [(f"r{i:02}", "Ring", "Round", float(lon), 80.0)
            for i, lon in enumerate(range(-180, 180, 30))]  # fmt: skip
    far = [("x1", "Alder Point", "West", -60.0, 43.6), ("x2", "Alder Point", "East", 151, -33.9)]
    path = write(tmp_path / "a.csv", [*HERE, *far, *ring, ("p", "Pole", "N", 0, 90.0)],
                 coast_distance_m=100)  # fmt: skip
    out = tmp_path / "out"
    done = saltreach("assess", path, "--out", out)
    assert done.returncode == 0, done.stderr
    assert "lies in 3 places more than 20 km apart" in done.stderr
    crags = gpd.read_file(out / "saltreach.gpkg", layer="crags")
    assert not crags.geometry.is_empty.any()
    assert {"Alder Point", "Alder Point (2)", "Alder Point (3)", "Pole"} <= set(crags["crag"])


def test_what_no_file_can_hold_breaks_no_output(saltreach, tmp_path):
    bad = "A\x00\ud800\u202e\nB\ufffe<b>"
    features = [
        {"type": "Feature", "geometry": {"type": "Point", "coordinates": [-4.95 + i / 1e4, 43.44]},
         "properties": {"anchor_id": f"{i}{bad}", "crag": bad, "sector": bad, "route": bad,
                        "notes": bad, f"owner{bad}": bad, "rock_type": "granite"}}
        for i in range(3)
    ]  # fmt: skip
    path = tmp_path / "a.geojson"
    path.write_text(json.dumps({"type": "FeatureCollection", "features": features}))
    out = tmp_path / "out"
    done = saltreach("assess", path, "--out", out, "--plots")
    assert done.returncode == 0, done.stderr
    name = "A\ufffd B<b>"
    for anchors in (gpd.read_parquet(out / "anchors.parquet"),
                    gpd.read_file(out / "saltreach.gpkg", layer="anchors")):  # fmt: skip
        assert anchors["crag"].tolist() == [name] * 3
    assert pd.read_csv(out / "sectors.csv")["sector"].tolist() == [name]
    assert "letters that could not be read" in done.stderr
    assert saltreach("map", out, "--picture", tmp_path / "o.svg").returncode == 0
    teams = tmp_path / "teams.csv"
    teams.write_text("team,lon,lat,people,days_free\nX,-4.9,43.4,2,SA\n")
    planned = saltreach("plan", out, "--teams", teams, "--out", tmp_path / "p", "--seconds", "0")
    assert planned.returncode == 0, planned.stderr
    book = openpyxl.load_workbook(tmp_path / "p" / "plan.xlsx")
    assert name in {cell.value for sheet in book for row in sheet.iter_rows() for cell in row}
    assert name in (tmp_path / "p" / "inspections.ics").read_text()


def test_a_height_that_cannot_be_is_said_and_not_used(saltreach, tmp_path):
    path = write(tmp_path / "a.csv", HERE, elevation_m=[8999, "", "", ""],
                 height_above_sea_m=["", -1, "", ""])  # fmt: skip
    done = saltreach("assess", path, "--out", tmp_path / "out")
    assert done.returncode == 0, done.stderr
    assert "note: row 2, elevation_m = 8999: cannot be: the ground is" in done.stderr
    assert "note: row 3, height_above_sea_m = -1: below the sea" in done.stderr
    anchors = gpd.read_parquet(tmp_path / "out" / "anchors.parquet").set_index("anchor_id")
    assert set(anchors["elevation_source"]) == {"itu_p1511"}
    assert anchors["elevation_m"].max() < 1000
