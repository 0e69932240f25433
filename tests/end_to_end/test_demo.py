"""The main job through the installed command: the demo's files and what they say."""

import json
import sqlite3

import geopandas as gpd
import numpy as np
import pandas as pd
import pyogrio
import pytest

from helpers.folders import shown
from saltreach.folders.manifest import MANIFEST
from saltreach.layers.embedded import embedded_file
from saltreach.vocabulary.columns import ANCHORS_BY_NAME
from saltreach.vocabulary.metals import MATERIAL_NAMES
from saltreach.vocabulary.words import BANDS, CATEGORIES

FILES = {
    "anchors.parquet", "crags.csv", "find_out.csv", "map.html", "notes.csv", "provenance.json",
    "rejected.csv", "saltreach.gpkg", "sectors.csv", "backdrop.parquet", "backdrop.npz",
}  # fmt: skip


def test_all_files_and_nothing_else(demo):
    assert shown(demo[0]) == FILES | {MANIFEST}


def test_data_goes_to_stdout_and_progress_to_stderr(demo):
    out, done = demo
    assert str(out / "map.html") in done.stdout
    assert "certificate" in done.stdout
    assert "corrosivity" in done.stderr
    assert "corrosivity ..." not in done.stdout


def test_every_documented_column_is_present(demo):
    anchors = gpd.read_parquet(demo[0] / "anchors.parquet")
    assert list(anchors.columns)[: len(ANCHORS_BY_NAME)] == list(ANCHORS_BY_NAME)
    assert anchors.crs == "EPSG:4326"


def test_every_row_is_assessed_or_refused(demo):
    anchors = gpd.read_parquet(demo[0] / "anchors.parquet")
    given = pd.read_csv(embedded_file("demo/anchors.csv"), dtype=str)
    rejected = pd.read_csv(demo[0] / "rejected.csv", dtype=str)
    assert len(anchors) + rejected["row"].nunique() == len(given)
    assert rejected.notna()[["file", "row", "column", "reason", "fix"]].all(axis=None)
    # The builder puts its bad rows last; the header is row 1 of the spreadsheet.
    doubts = pd.read_csv(demo[0] / "notes.csv", dtype=str)
    assert set(rejected["row"]) == {"624", "625", "626", "627", "632"}
    assert set(doubts["row"]) == {"628", "629", "630", "631"} and len(given) == 631


def test_demo_is_a_region_from_sea_cliffs_to_inland(demo):
    sectors = pd.read_csv(demo[0] / "sectors.csv")
    assert len(sectors) == 40
    assert sectors["anchors"].sum() > 550
    assert set(sectors["sea_cliff"]) == {"yes", "no"}
    near, far = (sectors[sectors["sea_cliff"] == word] for word in ("yes", "no"))
    rank = {name: i for i, name in enumerate(MATERIAL_NAMES)}
    metal = sectors["material_recommended"].map(rank)
    assert metal[near.index].min() > metal[far.index].median()
    assert near["inspection_interval_months"].median() < far["inspection_interval_months"].median()


def test_the_answers_of_the_demo_are_those_on_record(demo):
    """Not from outside: what a change of rules does to a whole region is seen here first."""
    for line in (
        "Sectors by risk: 3 severe, 8 high, 9 raised, 17 moderate, 3 low",
        "Anchors: 2 take out of use, 6 move or remove, 180 replace, 34 find out, 404 keep",
        "Sectors by metal recommended: 19 titanium, 8 316, 13 304",
        "Sectors with an overdue inspection: 33; all intervals kept would take 34 sector visits",
    ):
        assert line in demo[1].stdout
    sectors = pd.read_csv(demo[0] / "sectors.csv")
    months = sectors["inspection_interval_months"].value_counts().to_dict()
    assert months == {6: 6, 12: 15, 24: 5, 36: 13, 48: 1}
    assert sectors.loc[sectors["risk_band"] == "severe", "crag"].unique() == ["Ensenada Trisca"]
    first = sectors.sort_values("priority_rank").iloc[0]
    assert (first["sector"], first["replace_by"]) == ("Left wing", "2027-11-25")


def test_the_demos_pack_gives_rock_shielding_and_relief_offline(demo):
    """One crag has its rock from the invented map, one sector another than the register says; a
    ridge of 180 m hides the sea from one crag; a major road beside a cold crag is asked about."""
    anchors = gpd.read_parquet(demo[0] / "anchors.parquet")
    of = dict(iter(anchors.groupby("crag")))
    tormal = of["Vega Tormal"]
    assert set(tormal["lithology"]) == {"slate"}
    assert set(tormal["lithology_source"]) == {"rock-demo"}
    assert tormal["rock_unit"].iloc[0].startswith("dark slate, cleaved | Tormal slate | Silurian")
    trisca = (
        of["Ensenada Trisca"]
        .groupby("sector")["warnings"]
        .agg(
            lambda texts: texts.str.contains("the register says quartzite, the map sandstone").all()
        )
    )
    assert trisca.to_dict() == {"Left wing": True, "Main wall": False, "Upper tier": True}
    assert of["Peña Tasuri"]["sea_shielding"].median() == 1
    assert of["Punta Vellorio"]["sea_shielding"].median() == 0
    assert set(of["Isla Corbaya"]["elevation_source"]) == {"heights-demo"}
    asked = anchors["warnings"].str.contains("A major road (N-I7, primary) runs about", regex=False)
    assert set(anchors.loc[asked, "crag"]) == {"Cantil Reboria"}
    assert anchors["salted_road_m"].isna().all()  # a question, never a value
    record = json.loads((demo[0] / "provenance.json").read_text())
    assert set(record["pack"]) == {"rock", "heights", "context"}
    page = (demo[0] / "map.html").read_text(encoding="utf-8")
    assert "Rock, heights, roads and villages of the demo are invented" in page
    assert "Quemil de Arriba" in page and len(page) < 3_000_000
    with np.load(demo[0] / "backdrop.npz") as shades:
        assert len(shades.files) > 5


def test_words_come_from_the_documented_lists(demo):
    anchors = gpd.read_parquet(demo[0] / "anchors.parquet")
    assert set(anchors["risk_band"]) <= set(BANDS)
    assert set(anchors["corrosivity_category"]) <= set(CATEGORIES)
    assert set(anchors["material_recommended"]) <= set(MATERIAL_NAMES)
    for text in anchors["category_probabilities"]:
        assert sum(json.loads(text).values()) == pytest.approx(1, abs=0.004)


def test_recommendation_is_never_below_the_minimum(demo):
    anchors = gpd.read_parquet(demo[0] / "anchors.parquet")
    rank = {name: i for i, name in enumerate(MATERIAL_NAMES)}
    assert (
        anchors["material_recommended"].map(rank) >= anchors["material_minimum"].map(rank)
    ).all()


def test_so2_assumption_stands_in_every_output(demo):
    out, done = demo
    assert "SO2" in done.stdout
    assert pd.read_csv(out / "sectors.csv")["warnings"].str.contains("SO2 assumed").all()
    assert pd.read_csv(out / "crags.csv")["warnings"].str.contains("SO2 assumed").all()
    assert gpd.read_parquet(out / "anchors.parquet")["warnings"].str.contains("SO2 assumed").all()
    assert (
        gpd.read_file(out / "saltreach.gpkg", layer="anchors")["warnings"]
        .str.contains("SO2 assumed")
        .all()
    )
    assert "SO2 is taken as 2" in (out / "map.html").read_text(encoding="utf-8")
    assert "SO2" in " ".join(json.loads((out / "provenance.json").read_text())["assumptions"])


def test_provenance_names_every_layer_with_its_licence(demo):
    record = json.loads((demo[0] / "provenance.json").read_text(encoding="utf-8"))
    assert record["register"]["sha256"]
    assert {"coast-gshhg-h"} <= {layer["name"] for layer in record["layers"]}
    assert all(layer["licence"] and layer["accuracy"] for layer in record["layers"])
    assert record["assessed_for"] == "2026-11-25"


def test_a_caution_stands_on_every_table(demo):
    for name in ("sectors.csv", "crags.csv"):
        said = pd.read_csv(demo[0] / name)["caution"]
        assert said.str.contains("never a certificate that an anchor is safe").all()
        assert said.str.contains("a prior, not a counted rate").all()
    assert pd.read_csv(demo[0] / "find_out.csv")["caution"].str.contains("certificate").all()
    with sqlite3.connect(demo[0] / "saltreach.gpkg") as database:
        rows = database.execute(
            "SELECT description FROM gpkg_contents WHERE table_name IN ('anchors', 'sectors', "
            "'crags')"
        ).fetchall()
    database.close()
    assert len(rows) == 3
    assert all("certificate" in text and "prior" in text for (text,) in rows)


def test_geopackage_opens_with_styles(demo):
    path = demo[0] / "saltreach.gpkg"
    layers = {name for name, kind in pyogrio.list_layers(path) if kind}
    assert {"anchors", "sectors", "crags"} <= layers
    sectors = gpd.read_file(path, layer="sectors")
    assert set(sectors.geom_type) <= {"Polygon", "MultiPolygon"}
    with sqlite3.connect(path) as database:
        rows = database.execute(
            "SELECT f_table_name, f_geometry_column, useAsDefault, styleQML FROM layer_styles"
        ).fetchall()
    database.close()
    assert {r[0] for r in rows} == {"anchors", "sectors", "crags"}
    assert all(r[1] == "geom" and r[2] == 1 for r in rows)
    assert all(f'value="{band}"' in r[3] for r in rows for band in BANDS)


def test_same_input_same_tables(demo, saltreach, tmp_path):
    again = saltreach("demo", "--out", tmp_path, "--today", "2026-11-25")
    assert again.returncode == 0
    for name in ("sectors.csv", "crags.csv", "rejected.csv"):
        assert (tmp_path / name).read_bytes() == (demo[0] / name).read_bytes()


def test_map_can_be_drawn_again_from_the_results(demo, saltreach, tmp_path):
    done = saltreach("map", demo[0], "--out", tmp_path / "again.html", "--title",
                     "Demo: an invented region")  # fmt: skip
    assert done.returncode == 0, done.stderr
    first = (demo[0] / "map.html").read_text(encoding="utf-8")
    assert (tmp_path / "again.html").read_text(encoding="utf-8") == first
