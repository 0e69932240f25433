"""Exit codes, errors in one sentence, options, and what a hostile register cannot do."""

import json
import shutil
import subprocess
import sys
from pathlib import Path

import geopandas as gpd
import pandas as pd
import pytest
import shapely

from helpers.folders import shown
from helpers.small_register import write
from saltreach.errors import OutputError
from saltreach.folders.manifest import MANIFEST

ROOT = Path(__file__).parents[2]
COMMANDS = (
    "demo", "check", "assess", "map", "landowner", "plan", "priorities", "cure", "layers list",
    "templates", "sheets", "book start", "book add", "book export", "book check", "book take-back",
    "returns", "history", "learned",
)  # fmt: skip


@pytest.mark.parametrize("command", COMMANDS)
def test_every_command_has_help_with_an_example_and_is_in_the_readme(saltreach, command):
    done = saltreach(*command.split(), "--help")
    assert done.returncode == 0
    assert f"Example: saltreach {command}" in " ".join(done.stdout.split())
    assert f"saltreach {command}" in (ROOT / "README.md").read_text(encoding="utf-8")


def test_import_and_help_load_nothing_heavy(closed_network):
    code = (
        "import sys, saltreach, saltreach.cli;"
        "heavy = 'folium geopandas pandas xarray scipy rasterio numpy pydantic'.split();"
        "print({*heavy} & {*sys.modules})"
    )
    done = subprocess.run(
        [sys.executable, "-c", code], capture_output=True, text=True, env=closed_network, check=True
    )
    assert done.stdout.strip() == "set()"


def test_good_register_exits_with_0_and_leaves_no_rejected_file(installed, saltreach, tmp_path):
    out = tmp_path / "out"
    assert saltreach("assess", write(tmp_path / "a.csv", lat=99), "--out", out).returncode == 2
    assert (out / "rejected.csv").exists()
    done = installed("assess", write(tmp_path / "a.csv"), "--out", out)
    assert done.returncode == 0, done.stderr
    assert not (out / "rejected.csv").exists()


def test_bad_rows_exit_with_1_and_results_are_written(saltreach, tmp_path):
    path = write(tmp_path / "a.csv", lat=[43.44, 199, 43.44])
    done = saltreach("assess", path, "--out", tmp_path / "out")
    assert done.returncode == 1
    rejected = pd.read_csv(tmp_path / "out" / "rejected.csv")
    assert rejected[["file", "row", "column"]].to_numpy().tolist() == [["a.csv", 3, "lat"]]
    assert len(gpd.read_parquet(tmp_path / "out" / "anchors.parquet")) == 2


@pytest.mark.parametrize("lat", [[199, 199, 199], [45.5, 45.6, 45.7]], ids=["bad", "at sea"])
def test_a_register_without_a_good_row_leaves_the_list_and_exits_with_2(saltreach, tmp_path, lat):
    path = write(tmp_path / "a.csv", lat=lat)
    done = saltreach("assess", path, "--out", tmp_path / "out")
    assert done.returncode == 2
    assert "none of its 3 rows" in done.stderr
    assert shown(tmp_path / "out") == {"rejected.csv", MANIFEST}
    assert f"refused rows: {tmp_path / 'out' / 'rejected.csv'}" in done.stderr
    assert len(pd.read_csv(tmp_path / "out" / "rejected.csv")) >= 3


def test_check_lists_each_bad_row_with_its_fix(saltreach, tmp_path):
    path = write(tmp_path / "a.csv", material=["316", "kryptonite", "Ti"])
    done = saltreach("check", path, "--strict")
    assert done.returncode == 1
    assert "refused: row 3, material = 'kryptonite'" in done.stdout
    found = json.loads(saltreach("check", path, "--json").stdout)
    assert (found["accepted"], found["rejected"]) == (3, [])
    assert found["doubts"][0]["fix"].startswith("use one of")
    assert found["doubts"][0]["value"] == "kryptonite"


@pytest.mark.parametrize(
    ("arguments", "says"),
    [
        (["assess", "nowhere.csv", "--out", "x"], "nowhere.csv"),
        (["assess", "{good}", "--out", "x", "--coast", "nowhere.gpkg"], "nowhere.gpkg"),
        (["assess", "{good}", "--out", "x", "--so2", "-1"], "so2_ug_m3"),
        (["assess", "{good}", "--out", "x", "--column", "lon"], "lon=Longitude"),
        (["assess", "{good}", "--out", "x", "--options", "{odd}"], "did you mean 'so2_ug_m3'"),
        (["check", "{odd}"], ".toml"),
        (["map", "{folder}"], "anchors.parquet"),
        (["assess", "{good}", "--out", "x", "--coast", "{good}"], "coast file a.csv holds a table"),
        (["assess", "{good}", "--out", "x", "--coast", "{folder}"], "is a folder"),
        (["assess", "{good}", "--out", "x", "--dem", "{odd}"], "height raster odd.toml cannot be"),
        (["assess", "{good}", "--out", "x", "--dem", "{folder}"], "is a folder"),
        (["assess", "{good}", "--out", "x", "--geology", "{odd}", "--rock-column", "a"],
         "geology file odd.toml cannot be read"),
        (["assess", "{good}", "--out", "x", "--geology", "{folder}", "--rock-column", "a"],
         "is a folder"),
    ],
)  # fmt: skip
def test_unusable_input_ends_in_one_sentence_and_exits_with_2(saltreach, tmp_path, arguments, says):
    good, odd = write(tmp_path / "a.csv"), tmp_path / "odd.toml"
    odd.write_text("so2_ug_m = 3\n")
    names = {"good": good, "odd": odd, "folder": tmp_path}
    done = saltreach(*[a.format(**names) for a in arguments])
    assert done.returncode == 2
    assert says in done.stderr
    assert "Traceback" not in done.stderr


def test_a_register_distance_overrides_the_layer_and_says_so(saltreach, tmp_path):
    path = write(tmp_path / "a.csv", coast_distance_m=["5000", "", ""])
    assert saltreach("assess", path, "--out", tmp_path / "out").returncode == 0
    anchors = gpd.read_parquet(tmp_path / "out" / "anchors.parquet")
    assert anchors["coast_distance_m"].iloc[0] == 5000
    assert anchors["coast_distance_source"].tolist()[:2] == ["register", "coast-gshhg-h"]
    assert anchors["coast_distance_m"].iloc[1] < 3000


def test_a_file_in_place_of_the_folder_and_a_folder_in_place_of_the_file(saltreach, tmp_path):
    path, out = write(tmp_path / "a.csv"), tmp_path / "out"
    taken = tmp_path / "taken"
    taken.write_text("mine")
    done = saltreach("assess", path, "--out", taken)
    assert (done.returncode, taken.read_text()) == (2, "mine")
    assert done.stderr.strip().splitlines()[-1] == (
        f"saltreach: {taken} is a file: give another --out"
    )
    assert saltreach("assess", path, "--out", out).returncode == 0
    done = saltreach("map", out, "--out", tmp_path)
    assert done.returncode == 2
    assert f"{tmp_path} is a folder: give another --out" in done.stderr
    assert not list(tmp_path.parent.glob("*.part"))


def test_a_header_alone_is_told_so(saltreach, tmp_path):
    path = tmp_path / "a.csv"
    path.write_text("anchor_id,crag,sector,lon,lat\n")
    done = saltreach("assess", path, "--out", tmp_path / "out")
    assert done.returncode == 2
    assert "it has no row below its header; give one row for each anchor" in done.stderr


def test_a_required_load_below_en_959_is_refused(saltreach, tmp_path):
    """EN 959: 15 kN axial (handbook)."""
    path = write(tmp_path / "a.csv")
    done = saltreach("assess", path, "--out", tmp_path / "out", "--axial-kn", 14.9)
    assert done.returncode == 2
    assert "options: axial_kn = 14.9; give a number from 15" in done.stderr


def test_a_position_far_out_at_sea_is_refused(saltreach, tmp_path):
    path = write(tmp_path / "a.csv", lat=[43.44, 44.6, 43.44])
    assert saltreach("assess", path, "--out", tmp_path / "out").returncode == 1
    rejected = pd.read_csv(tmp_path / "out" / "rejected.csv")
    assert "at sea" in rejected["reason"].iloc[0]


def test_another_coast_file_is_used_and_named(saltreach, tmp_path):
    """Land as one square whose south edge lies 0.01 degrees south of the anchors."""
    land = gpd.GeoDataFrame(geometry=[shapely.box(-6, 43.43, -4, 45)], crs=4326)
    land.to_file(tmp_path / "land.gpkg")
    lines = gpd.GeoDataFrame(geometry=land.boundary.to_crs(3035), crs=3035)
    lines.to_file(tmp_path / "shore.gpkg")
    path = write(tmp_path / "a.csv")
    for name in ("land.gpkg", "shore.gpkg"):
        out = tmp_path / name.split(".")[0]
        done = saltreach("assess", path, "--out", out, "--coast", tmp_path / name,
                         "--coast-sd", "20")  # fmt: skip
        assert done.returncode == 0, done.stderr
        anchors = gpd.read_parquet(out / "anchors.parquet")
        # 0.01 degrees of latitude at 43.4 N on WGS 84: 1,111 m (geographiclib: 1110.9).
        assert anchors["coast_distance_m"].iloc[0] == pytest.approx(1110.9, abs=1.5)
        assert (anchors["coast_distance_sd_m"] == 20).all()
        assert anchors["coast_distance_source"].iloc[0] == f"coast-file-{name}"


def test_hostile_names_reach_no_formula_and_no_markup(saltreach, tmp_path):
    name = '=HYPERLINK("http://x")<img src=x onerror=alert(1)>'
    path = write(tmp_path / "a.csv", crag=name)
    assert saltreach("assess", path, "--out", tmp_path / "out").returncode == 0
    sectors = pd.read_csv(tmp_path / "out" / "sectors.csv")
    assert (sectors["crag"] == "'" + name).all()
    assert "<img src=x" not in (tmp_path / "out" / "map.html").read_text(encoding="utf-8")


def test_a_failing_write_leaves_the_old_results_whole(saltreach, tmp_path, monkeypatch):
    from saltreach.assessment.assess import assess
    from saltreach.intake import read_register
    from saltreach.outputs.tables import results as tables

    register = read_register(write(tmp_path / "a.csv"))
    result = assess(register)
    tables.write_results(result, tmp_path / "out", title="first")
    before = {p.name: p.read_bytes() for p in (tmp_path / "out").iterdir()}

    def fail(*_args, **_kwargs):
        raise OSError("disk full")

    monkeypatch.setattr(tables, "write_map", fail)
    with pytest.raises(OutputError, match="the disk is full; make room there"):
        tables.write_results(result, tmp_path / "out", title="second")
    assert {p.name: p.read_bytes() for p in (tmp_path / "out").iterdir()} == before


def test_layers_list_names_source_and_licence(saltreach):
    records = json.loads(saltreach("layers", "list", "--json").stdout)
    assert len(records) >= 4
    assert all(r["source"] and r["licence"] for r in records)


def test_a_wheel_carries_the_data_and_runs_the_demo(closed_network, tmp_path):
    """Built from the repository, unpacked elsewhere, run with the network closed."""
    source = tmp_path / "source"
    shutil.copytree(
        ROOT, source, ignore=shutil.ignore_patterns(".venv", ".git", "maps", ".*_cache", "tests")
    )
    pip = [sys.executable, "-m", "pip", "--quiet", "--disable-pip-version-check"]
    subprocess.run(
        [*pip, "wheel", "--no-deps", "--wheel-dir", str(tmp_path), str(source)], check=True
    )
    wheel = next(tmp_path.glob("saltreach-*.whl"))
    place = tmp_path / "place"
    subprocess.run([*pip, "install", "--no-deps", "--target", str(place), str(wheel)], check=True)
    env = {**closed_network, "PYTHONPATH": f"{place}:{closed_network['PYTHONPATH']}"}
    code = "import saltreach; print(saltreach.__file__)"
    where = subprocess.run(
        [sys.executable, "-c", code], capture_output=True, text=True, env=env, cwd=tmp_path,
        check=True,
    )  # fmt: skip
    assert where.stdout.startswith(str(place))
    shutil.rmtree(source)
    done = subprocess.run(
        [sys.executable, "-m", "saltreach", "demo", "--out", str(tmp_path / "out")],
        capture_output=True, text=True, env=env, cwd=tmp_path, check=False,
    )  # fmt: skip
    assert done.returncode == 0, done.stderr
    assert (tmp_path / "out" / "map.html").stat().st_size > 100_000
