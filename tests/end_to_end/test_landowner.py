"""The landowner's files and the overview picture through the installed command."""

import os
import subprocess
import sys
from pathlib import Path

import geopandas as gpd
import pytest
from pypdf import PdfReader

from helpers.folders import shown
from saltreach.folders.manifest import MANIFEST
from saltreach.layers.embedded import embedded_file


@pytest.fixture(scope="module")
def written(demo, saltreach, tmp_path_factory):
    out = tmp_path_factory.mktemp("owner")
    done = saltreach(
        "landowner", demo[0], "--holding", embedded_file("demo/holding.toml"), "--out", out
    )
    assert done.returncode == 0, done.stderr
    return out, done


def test_two_files_and_their_names_on_stdout(written):
    out, done = written
    assert shown(out) == {"landowner.html", "landowner.pdf", MANIFEST}
    assert done.stdout.split() == [str(out / "landowner.html"), str(out / "landowner.pdf")]
    assert "statement ..." in done.stderr


def test_the_demo_holding_says_what_it_should(written):
    page = (written[0] / "landowner.html").read_text(encoding="utf-8")
    for words in ("the Salgueira commons", "+44 1632 960123", "Cabo Alzoro", "never a certificate",
                  "As of November 2026", "At 4 places a visit is overdue; each is planned.",
                  "Overdue, planned for January 2027", "Overdue, planned for February 2027",
                  "Overdue, planned for March 2027", "Overdue, planned for April 2027",
                  "renewed, by October 2027", "the new ones are of titanium",
                  "the new ones are of stainless steel of a more resistant kind"):  # fmt: skip
        assert words in page
    assert len(page) < 100_000


def test_nothing_of_the_register_but_crag_names_is_in_the_files(demo, written):
    anchors = gpd.read_parquet(demo[0] / "anchors.parquet")
    texts = [(written[0] / "landowner.html").read_text(encoding="utf-8")]
    texts.append("".join(p.extract_text() for p in PdfReader(written[0] / "landowner.pdf").pages))
    secret = {*anchors["anchor_id"], *anchors["sector"], *anchors["route"], *anchors["notes"]}
    secret = {word for word in secret if len(word) > 3}
    assert len(secret) > 500
    for text in texts:
        assert not [word for word in secret if word in text]
        for number in (*anchors["lon"], *anchors["lat"]):
            assert f"{number:.4f}" not in text


def test_the_statement_is_one_page(written):
    assert len(PdfReader(written[0] / "landowner.pdf").pages) == 1


def test_a_coarser_grid_gives_a_coarser_map(demo, saltreach, written, tmp_path):
    done = saltreach(
        "landowner", demo[0], "--holding", embedded_file("demo/holding.toml"), "--out", tmp_path,
        "--coarseness-m", "2000",
    )  # fmt: skip
    assert done.returncode == 0
    assert "2 km" in (tmp_path / "landowner.html").read_text(encoding="utf-8")


def test_unusable_input_ends_in_one_sentence(demo, saltreach, tmp_path):
    land = tmp_path / "land.geojson"
    land.write_text('{"type": "FeatureCollection", "features": []}')
    done = saltreach("landowner", demo[0], "--holding", land, "--out", tmp_path / "x")
    assert done.returncode == 2
    assert "polygon" in done.stderr
    assert "Traceback" not in done.stderr
    assert not (tmp_path / "x").exists()


def test_a_contact_file_cannot_change_whose_land_it_is(demo, saltreach, tmp_path):
    holding, out = embedded_file("demo/holding.geojson"), tmp_path / "x"
    contact = embedded_file("demo/holding.toml")
    done = saltreach("landowner", demo[0], "--holding", holding, "--contact", contact, "--out", out)
    assert (done.returncode, done.stdout) == (2, "")
    assert done.stderr.splitlines()[-1] == (
        f"saltreach: contact file {contact} says name and land too, but the holding is that of "
        f"{holding}: whose land is meant? Delete them from holding.toml, or give holding.toml as "
        "the holding alone"
    )
    assert not out.exists()


def test_a_month_that_is_past_is_noted(demo, saltreach, tmp_path):
    contact = tmp_path / "us.toml"
    contact.write_text(
        '[contact]\nperson = "x"\nphone = "112"\n[visits]\n"Cabo Alzoro" = "2026-10"\n'
    )
    done = saltreach(
        "landowner", demo[0], "--holding", embedded_file("demo/holding.geojson"),
        "--contact", contact, "--out", tmp_path / "out",
    )  # fmt: skip
    assert done.returncode == 0, done.stderr
    assert (
        "saltreach: note: the visit at Cabo Alzoro in 2026-10 lies before the month of the "
        "assessment (2026-11); correct it, or leave it out if it is done\n" in done.stderr
    )


@pytest.mark.parametrize("ending", ["png", "svg"])
def test_map_draws_the_overview_picture_too(demo, saltreach, tmp_path, ending):
    picture = tmp_path / f"overview.{ending}"
    done = saltreach("map", demo[0], "--out", tmp_path / "map.html", "--picture", picture)
    assert done.returncode == 0, done.stderr
    assert done.stdout.split() == [str(tmp_path / "map.html"), str(picture)]
    start = picture.read_bytes()[:100]
    assert start.startswith(b"\x89PNG" if ending == "png" else b"<?xml")


def test_map_open_hands_the_file_to_the_browser(demo, closed_network, tmp_path):
    asked = tmp_path / "asked.txt"
    browser = tmp_path / "browser"
    browser.write_text(f'#!/bin/sh\necho "$1" > "{asked}"\n')
    browser.chmod(0o755)
    target = tmp_path / "a map.html"
    done = subprocess.run(
        [str(Path(sys.executable).with_name("saltreach")), "map", str(demo[0]),
         "--out", str(target), "--open"],
        capture_output=True, text=True, check=False,
        env={**closed_network, "BROWSER": f"{browser} %s", "PATH": os.environ["PATH"]},
    )  # fmt: skip
    assert done.returncode == 0, done.stderr
    assert asked.read_text().strip() == target.as_uri()
