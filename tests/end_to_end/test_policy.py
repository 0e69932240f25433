"""An association's policy through the installed command, and the words it leaves behind."""

import json

import geopandas as gpd
import pandas as pd

from helpers.small_register import write


def test_a_tighter_policy_raises_the_metal_and_gives_its_reason(saltreach, tmp_path):
    rules = tmp_path / "rules.toml"
    rules.write_text('least_metal = "titanium"\nlongest_interval_months = 12\n')
    done = saltreach("assess", write(tmp_path / "a.csv"), "--out", tmp_path / "out",
                     "--policy", rules)  # fmt: skip
    assert done.returncode == 0, done.stderr
    anchors = gpd.read_parquet(tmp_path / "out" / "anchors.parquet")
    assert (anchors["material_recommended"] == "titanium").all()
    assert anchors["material_codes"].str.contains("POLICY").all()
    assert anchors["material_reasons"].str.contains("Policy of the association").all()
    assert anchors["inspection_interval_months"].max() <= 12
    record = json.loads((tmp_path / "out" / "provenance.json").read_text())
    assert record["policy"]["source"] == "rules.toml"


def test_a_looser_policy_is_refused_or_said_in_every_output(saltreach, tmp_path):
    rules = tmp_path / "rules.toml"
    rules.write_text("failure_target_per_y = 0.5\n")
    path, out = write(tmp_path / "a.csv"), tmp_path / "out"
    refused = saltreach("assess", path, "--out", out, "--policy", rules)
    assert refused.returncode == 2
    assert "--allow-looser-policy" in refused.stderr
    assert not out.exists()
    done = saltreach("assess", path, "--out", out, "--policy", rules, "--allow-looser-policy")
    assert done.returncode == 0, done.stderr
    assert "LOOSER POLICY" in done.stdout
    for name in ("sectors.csv", "crags.csv"):
        assert pd.read_csv(out / name)["warnings"].str.contains("Looser policy").all()
    for frame in (
        gpd.read_parquet(out / "anchors.parquet"),
        gpd.read_file(out / "saltreach.gpkg", layer="sectors"),
    ):
        assert frame["warnings"].str.contains("Looser policy").all()
    assert "LOOSER POLICY" in (out / "provenance.json").read_text()
    assert "Looser policy" in (out / "map.html").read_text(encoding="utf-8")
    prices, teams = tmp_path / "p.toml", tmp_path / "t.csv"
    prices.write_text("[bonded]\ntitanium = 9\n")
    teams.write_text("team,lon,lat,days_free\nA,-4.9,43.4,SA\n")
    for command in (
        ("priorities", out, "--budget", 50, "--prices", prices, "--out", tmp_path / "buy"),
        ("plan", out, "--teams", teams, "--nodes", 1, "--out", tmp_path / "go"),
    ):
        done = saltreach(*command)
        assert done.returncode == 0, done.stderr
        assert "looser policy: " in done.stdout


def test_what_to_find_out_is_printed_and_written(saltreach, tmp_path):
    path = write(tmp_path / "a.csv", coast_distance_m=[900, 900, 900], material=["", "304", ""])
    done = saltreach("assess", path, "--out", tmp_path / "out")
    assert "Worth finding out next" in done.stdout
    found = pd.read_csv(tmp_path / "out" / "find_out.csv")
    assert set(found["find_out"]) <= {"material", "installed_on", "washing", "tap_response"}
    assert (found["decisions_changed"] <= found["anchors_unknown"]).all()
