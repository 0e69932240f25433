"""A region's pack through the installed command: brought from a server on this machine that plays
every open service (invented content, documented shapes), then used with the network closed."""

import json
import os
import shutil
import signal
import subprocess
import sys
import time
from pathlib import Path

import pandas as pd
import pytest
from pytest_httpserver import HTTPServer
from werkzeug import Response

from helpers.open_services import every_service

SHORE_LAT = 43.470
REGISTER = """anchor_id,crag,sector,lon,lat,rock_type,rain_washed,elevation_m
A-1,Prado,North,-5.2,43.466,,yes,20
A-2,Prado,North,-5.2,43.4661,granite,yes,20
A-3,Prado,South,-5.2,43.455,,yes,
"""
PARTS = ["coast", "rock", "heights", "climate", "air", "context"]


class Region:
    """A register, a server, and the command with the network open."""

    def __init__(self, folder: Path, server: HTTPServer) -> None:
        self.folder, self.server = folder, server
        self.register = folder / "anchors.csv"
        self.register.write_text(REGISTER)
        self.services = every_service(server, folder, SHORE_LAT)
        self.command = str(Path(sys.executable).with_name("saltreach"))
        self.env = {**os.environ, "XDG_CACHE_HOME": str(folder / "cache"), "COLUMNS": "100"}

    def given(self, *arguments: object) -> list[str]:
        return [self.command, "layers", "bring", *map(str, arguments), "--for", str(self.register),
                "--services", self.services]  # fmt: skip

    def bring(self, *arguments: object) -> subprocess.CompletedProcess:
        return subprocess.run(self.given(*arguments), capture_output=True, text=True, env=self.env,
                              check=False)  # fmt: skip


@pytest.fixture(scope="module")
def region(tmp_path_factory):
    with HTTPServer() as server:
        yield Region(tmp_path_factory.mktemp("region"), server)


@pytest.fixture(scope="module")
def pack(region):
    done = region.bring("all", "--into", region.folder / "pack", "--json")
    assert done.returncode == 0, done.stderr
    return region.folder / "pack", json.loads(done.stdout), done


@pytest.fixture(scope="module")
def assessed(pack, region, saltreach, tmp_path_factory):
    folder = tmp_path_factory.mktemp("out") / "out"
    done = saltreach("assess", region.register, "--out", folder, "--today", "2026-11-25", "--pack",
                     pack[0])  # fmt: skip
    assert done.returncode == 0, done.stderr
    for part, count in (("coast", 3), ("rock", 2), ("heights", 3), ("climate", 3), ("air", 3)):
        assert f"pack, {part}: used for {count} of 3 anchors, as of 20" in done.stderr
    record = json.loads((folder / "provenance.json").read_text())
    return pd.read_parquet(folder / "anchors.parquet").set_index("anchor_id"), record


def test_every_part_is_brought_and_counted(pack, region):
    folder, said, _ = pack
    assert said["brought"] == PARTS and said["failed"] == {}
    assert said["answers_kept_before"] == 0 and said["requests"] == len(region.server.log)
    assert {"coast.gpkg", "rock.gpkg", "heights-001.tif", "climate.csv", "air.csv",
            "context.gpkg"} <= {one.name for one in folder.iterdir()}  # fmt: skip
    record = json.loads((folder / "coast.json").read_text())
    assert record["origins"][0]["attribution"] == "© OpenStreetMap contributors, ODbL"
    assert "coastline" in record["requests"][0] and record["brought_at"].startswith("20")


def test_a_second_run_asks_nobody(pack, region):
    before = len(region.server.log)
    done = region.bring("rock", "coast", "--into", region.folder / "again", "--json")
    said = json.loads(done.stdout)
    assert len(region.server.log) == before and said["requests"] == 0
    assert said["answers_kept_before"] == 3  # the shore, the maps, and one unit for both sectors


def test_each_value_says_which_source_won(assessed):
    """The shore lies 0.004 degrees north of A-1: 444 m (111.1 km a degree of latitude there)."""
    table, record = assessed
    assert table.loc["A-1", "coast_distance_m"] == pytest.approx(0.004 * 111_105, rel=2e-3)
    assert table.loc["A-1", "coast_distance_sd_m"] == 30
    assert table["coast_distance_source"].unique().tolist() == ["coast-osm"]
    assert table["lithology"].tolist() == ["limestone", "granite", "limestone"]
    assert table["lithology_source"].tolist() == ["rock-macrostrat", "register", "rock-macrostrat"]
    # (43.470 - 43.455) * 4,000 = 60 m, read between cells of 460 m
    assert table.loc["A-3", "elevation_m"] == pytest.approx(60, abs=1)
    assert table["elevation_source"].tolist() == ["register", "register", "heights-copernicus-dem"]
    assert table["sea_shielding"].tolist() == [0, 0, 0]
    # every hour is 12 degC at 85 %: wet all the year, and never between 33 and 75 %
    assert table["relative_humidity_pct"].tolist() == [85.0] * 3
    assert table["time_of_wetness_h_y"].tolist() == pytest.approx([8766] * 3, abs=7)
    assert table["liquid_salt_share"].tolist() == [0.0] * 3
    assert "granite, the map" in table.loc["A-2", "warnings"]
    names = [one["name"] for one in record["layers"]]
    assert {"coast-osm", "coast-gshhg-h", "rock-macrostrat", "heights-copernicus-dem"} <= set(names)
    assert record["options"]["pack_folder"] == "pack"
    assert sorted(record["pack"]) == sorted(PARTS)
    assert all(one["brought_at"].startswith("20") for one in record["pack"].values())
    assert len(record["options"]["pack_folder_sha256"]) == 64


def test_the_layers_of_a_pack_are_listed_with_age_and_accuracy(pack, saltreach):
    rows = json.loads(saltreach("layers", "list", "--pack", pack[0], "--json").stdout)
    where = {one["name"]: one["where"] for one in rows}
    assert where["coast-gshhg-h"] == "embedded" and where["coast-osm"] == "pack, coast"
    osm = next(one for one in rows if one["name"] == "coast-osm")
    assert osm["brought_at"].startswith("20") and osm["age_days"] in (0, 1)
    assert "30 m standard deviation" in osm["accuracy"]
    assert all(one["licence"] for one in rows)


def test_a_copied_pack_serves_and_a_changed_file_does_not(pack, region, saltreach, tmp_path):
    copy = tmp_path / "copy"
    shutil.copytree(pack[0], copy)
    assert saltreach("layers", "verify", "--pack", copy).returncode == 0
    air = copy / "air.csv"
    air.write_text(air.read_text().replace("4", "5", 1))
    done = saltreach("layers", "verify", "--pack", copy)
    assert done.returncode == 1 and "air: air.csv: changed" in done.stdout
    arguments = ["assess", region.register, "--out", tmp_path / "out", "--pack", copy]
    done = saltreach(*arguments)
    assert done.returncode == 2 and "air.csv is changed since air was brought" in done.stderr
    assert not (tmp_path / "out").exists()
    forget = ["layers", "forget", "air", "--pack", copy]
    assert saltreach(*forget).returncode == 2  # it was changed: nothing of the user's is removed
    assert saltreach(*forget, "--beside-other-files").returncode == 0
    assert "air.json" not in {one.name for one in copy.iterdir()}
    (copy / "rock.gpkg").unlink()
    assert "rock.gpkg is missing" in saltreach(*arguments, "--pack", copy).stderr


def test_a_damaged_record_hides_nothing_and_can_be_forgotten(pack, region, saltreach, tmp_path):
    copy = tmp_path / "copy"
    shutil.copytree(pack[0], copy)
    (copy / "rock.json").write_text("{")
    (copy / "heights-001.tif").write_bytes(b"")
    done = saltreach("layers", "verify", "--pack", copy, "--json")
    found = json.loads(done.stdout)
    assert done.returncode == 1 and found["rock"]["rock.json"] == "changed"
    assert found["heights"]["heights-001.tif"] == "changed"
    done = saltreach("assess", region.register, "--out", tmp_path / "x", "--pack", copy)
    assert done.returncode == 2 and "both need --beside-other-files" in done.stderr
    for part in ("rock", "heights"):
        forget = ["layers", "forget", part, "--pack", copy, "--beside-other-files"]
        assert saltreach(*forget).returncode == 0
    assert saltreach("layers", "verify", "--pack", copy).returncode == 0
    # what was kept of them stands in nobody's way
    assert saltreach("layers", "forget", "air", "--pack", copy).returncode == 0


def test_a_pack_and_results_are_two_folders(pack, region, saltreach, tmp_path):
    copy, out = tmp_path / "copy", tmp_path / "out"
    shutil.copytree(pack[0], copy)
    done = saltreach("assess", region.register, "--out", copy, "--pack", copy)
    assert done.returncode == 2 and "which you gave to be read: give another --out" in done.stderr
    options = tmp_path / "options.toml"
    options.write_text('pack_parts = ["air"]\ntoday = 2026-11-25\n')
    done = saltreach("assess", region.register, "--out", out, "--pack", copy, "--options", options)
    assert done.returncode == 0, done.stderr
    assert "pack, air: used for 3 of 3 anchors, as of 20" in done.stderr
    assert "pack, rock" not in done.stderr
    done = saltreach("layers", "bring", "coast", "--fine", "--for", region.register, "--into", out)
    assert done.returncode == 2 and "holds results of saltreach (assess): give another --into" in (
        done.stderr
    )


def test_what_is_no_pack_is_said(region, saltreach, tmp_path):
    for folder, said in ((tmp_path / "gone", "does not exist"), (region.register, "is a file"),
                         (tmp_path, "holds no part of a pack")):  # fmt: skip
        done = saltreach("layers", "list", "--pack", folder)
        assert done.returncode == 2 and said in done.stderr
    done = saltreach("layers", "forget", "gold", "--pack", tmp_path)
    assert done.returncode == 2


def test_a_dry_run_says_what_would_be_asked_and_asks_nothing(region, saltreach, tmp_path):
    done = saltreach("layers", "bring", "coast", "air", "--for", region.register, "--into",
                     tmp_path / "pack", "--dry-run", "--json")  # fmt: skip
    plans = {one["part"]: one for one in json.loads(done.stdout)}
    assert done.returncode == 0 and list(plans) == ["coast", "air"]
    assert "overpass-api.de" in plans["coast"]["requests"][0]
    assert plans["coast"]["about_bytes"] > 0
    assert not (tmp_path / "pack").exists()
    done = saltreach("layers", "bring", "gold", "--for", region.register, "--into", tmp_path / "p")
    assert done.returncode == 2 and "'gold' is no part of a pack" in done.stderr


def test_the_full_shoreline_comes_from_an_installed_package(region, saltreach, tmp_path):
    done = saltreach("layers", "bring", "coast", "--fine", "--for", region.register, "--into",
                     tmp_path / "pack", "--json")  # fmt: skip
    assert done.returncode == 0, done.stderr
    assert json.loads(done.stdout)["requests"] == 0
    record = json.loads((tmp_path / "pack" / "coast.json").read_text())
    assert record["origins"][0]["name"] == "coast-gshhg-f"
    assert "hardly known better" in record["origins"][0]["accuracy"]


def test_without_a_network_one_sentence_a_part_and_no_folder(region, saltreach, tmp_path):
    done = saltreach("layers", "bring", "coast", "rock", "--for", region.register, "--into",
                     tmp_path / "pack")  # fmt: skip
    assert done.returncode == 1
    lines = [line for line in done.stderr.splitlines() if "was not brought" in line]
    assert len(lines) == 2 and all("cannot be reached; is there a network?" in x for x in lines)
    assert "Traceback" not in done.stderr and not (tmp_path / "pack").exists()


def test_a_part_that_fails_leaves_the_former_one(region, pack, saltreach, tmp_path):
    copy = tmp_path / "copy"
    shutil.copytree(pack[0], copy)
    before = (copy / "air.csv").read_bytes()
    region.server.expect_request("/gone").respond_with_data("no such service", 404)
    services = tmp_path / "down.toml"
    services.write_text(
        Path(region.services).read_text().replace("/air", "/gone").replace("/power", "/gone")
    )
    done = subprocess.run(
        [region.command, "layers", "bring", "air", "climate", "--for", region.register, "--into",
         copy, "--services", services, "--json"],
        capture_output=True, text=True, check=False, env=region.env,
    )  # fmt: skip
    said = json.loads(done.stdout)
    assert (
        done.returncode == 1 and said["brought"] == ["climate"] and list(said["failed"]) == ["air"]
    )
    assert (copy / "air.csv").read_bytes() == before
    assert "NASA POWER" in done.stderr  # of two sources one failed, and it is said
    assert saltreach("layers", "verify", "--pack", copy).returncode == 0


def test_a_run_that_is_killed_leaves_no_part_and_goes_on(region, tmp_path):
    """Killed while the third place is asked about: no part stands in the folder, and the next run
    takes the first two answers from the cache."""
    register = tmp_path / "far.csv"
    rows = [f"B-{n},Prado,S{n},{-5.2 + n / 50},43.3,," for n in range(5)]
    register.write_text("\n".join(["anchor_id,crag,sector,lon,lat,rock_type,rain_washed", *rows]))
    asked = []

    def answer(request):
        asked.append(request.args["lng"])
        if len(asked) == 3 and not (tmp_path / "killed").exists():
            time.sleep(1.0)
        return Response('{"success": {"data": [{"lith": "Granite", "source_id": 1}]}}', 200)

    with HTTPServer() as server:
        server.expect_request("/m/geologic_units/map").respond_with_handler(answer)
        server.expect_request("/m/defs/sources").respond_with_json({"success": {"data": []}})
        services = tmp_path / "services.toml"
        services.write_text(f'pause_s = 0.0\nmacrostrat = "{server.url_for("/m")}"\n')
        env = {**region.env, "XDG_CACHE_HOME": str(tmp_path / "cache")}
        command = [region.command, "layers", "bring", "rock", "--for", str(register), "--into",
                   str(tmp_path / "pack"), "--services", str(services), "--json"]  # fmt: skip
        with subprocess.Popen(command, stderr=subprocess.DEVNULL, env=env) as run:
            while len(asked) < 3:
                time.sleep(0.02)
            run.send_signal(signal.SIGKILL)
        (tmp_path / "killed").touch()
        left = {one.name for one in (tmp_path / "pack").iterdir()}
        assert not {"rock.gpkg", "rock.json", "saltreach-files.json"} & left
        done = subprocess.run(command, capture_output=True, text=True, env=env, check=False)
        said = json.loads(done.stdout)
    assert said["brought"] == ["rock"] and said["answers_kept_before"] >= 3
    assert len(asked) <= 6  # the third one may be asked twice
    assert not [one for one in (tmp_path / "pack").iterdir() if "work" in one.name]


def test_services_are_tried_once_each(region):
    before = len(region.server.log)
    done = subprocess.run(
        [region.command, "layers", "try", "--services", region.services, "--json"],
        capture_output=True, text=True, env=region.env, check=False,
    )  # fmt: skip
    rows = json.loads(done.stdout)
    assert [one["part"] for one in rows].count("rock") == 2
    assert {one["part"] for one in rows} == set(PARTS)
    assert len(region.server.log) - before == len(rows)
    assert all("expected" in one["said"].lower() or not one["good"] for one in rows)
    good = {one["part"] for one in rows if one["good"]}
    assert {"coast", "heights", "climate"} <= good
    assert done.returncode == 1  # no cliff beside this shore, as expected at Dover


def test_a_pack_is_compared_with_the_embedded_layers(region, pack, saltreach, tmp_path):
    out, options = tmp_path / "differences.csv", tmp_path / "options.toml"
    options.write_text('pack_parts = ["coast", "climate"]\ntoday = 2026-11-25\n')
    options.write_text(f'pack_folder = "{pack[0]}"\n' + options.read_text())
    done = saltreach("layers", "compare", "--for", region.register, "--pack", pack[0], "--options",
                     options, "--out", out)  # fmt: skip
    assert done.returncode == 0, done.stderr
    assert "coast_distance_sd_m: known for 3 of 3 anchors, 3 without; median 30 m, 250 without; " \
           "changes by 220 m (median), nine of ten by at most 220" in done.stdout  # fmt: skip
    assert "all parts: what follows" in done.stdout and "lithology" not in done.stdout
    # 71 % was served as NASA POWER's, 85 % as Open-Meteo's, which is used
    assert "climate_nasa_power: what it says" in done.stdout
    assert "    relative_humidity_pct: 71 % for 3 anchors, " in done.stdout
    assert "    relative_humidity_pct: 85 % for 3 anchors, " in done.stdout
    assert "    wind_speed_m_s: 5 m/s for 3 anchors, none embedded" in done.stdout
    table = pd.read_csv(out)
    humid = table[(table["part"] == "climate") & (table["column"] == "relative_humidity_pct")]
    assert humid["with_pack"].tolist() == ["85"] * 3
    assert (humid["without_pack"].astype(float) < 85).all()
