"""`saltreach surface` as it is typed."""

import json

import numpy as np
import rasterio
from rasterio.transform import from_origin

from helpers.small_register import write
from saltreach.folders.claim import LOCK

BOX = ("--bbox", "-5.9", "43.55", "-5.7", "43.68")


def test_a_surface_of_a_stretch_of_coast(saltreach, tmp_path):
    out = tmp_path / "coast.tif"
    run = saltreach("surface", *BOX, "--resolution", 2500, "--out", out, "--style", "--json")
    assert run.returncode == 0, run.stderr
    said = json.loads(run.stdout)
    assert said["land_cells"] > 10
    assert said["grid"]["cell_at_bottom_m"][1] > 2490
    assert {name.rsplit("/")[-1] for name in said["files"]} >= {"coast.tif", "coast_crc_washed.qml"}
    with rasterio.open(out) as raster:
        assert raster.crs.to_epsg() == 4326
        assert raster.shape == (said["grid"]["rows"], said["grid"]["columns"])
    assert "cells" in run.stderr
    again = saltreach("surface", *BOX, "--resolution", 5000, "--out", out)  # ours: written anew
    assert again.returncode == 0, again.stderr
    assert "at the top" in again.stdout
    assert not (tmp_path / "coast.qml").exists()  # the last set's style is not this one's


def test_what_cannot_be_is_said_in_one_sentence(saltreach, tmp_path):
    for more, said in (
        (("--bbox", "170", "-10", "-170", "10"), "or make two surfaces"),
        ((*BOX, "--resolution", "5"), "10 to 50000 metres"),
        ((*BOX, "--style", "--out", tmp_path / "x.zarr"), "leave --style out"),
        ((*BOX, "--policy", tmp_path / "none.toml"), "none.toml"),
        ((*BOX, "--coast", tmp_path / "none.gpkg"), "none.gpkg"),
    ):
        out = () if "--out" in more else ("--out", tmp_path / "x.tif")
        run = saltreach("surface", *more, *out)
        assert run.returncode == 2, run.stdout
        assert said in run.stderr
        assert "Traceback" not in run.stderr
    assert {path.name for path in tmp_path.iterdir()} <= {LOCK}


def test_a_map_takes_a_surface_from_a_subfolder_and_says_what_it_does_not_cover(
    saltreach, tmp_path
):
    """The anchors lie at -4.95 E, 43.44 N."""
    results = tmp_path / "results"
    given = write(tmp_path / "a.csv")
    run = saltreach("assess", given, "--out", results, "--no-map", "--today", "2026-11-25")
    assert run.returncode == 0, run.stderr
    below = tmp_path / "rasters"
    below.mkdir()
    drawn = ("map", results, "--out", tmp_path / "m.html", "--surface")
    about = {"driver": "GTiff", "width": 20, "height": 20, "count": 1, "dtype": "uint8",
             "crs": "EPSG:4326", "nodata": 255}  # fmt: skip
    for name, west, band in (("here", -5.5, "corrosivity_category"), ("other", -5.5, "height"),
                             ("far", 7.0, "corrosivity_category")):  # fmt: skip
        with rasterio.open(
            below / f"{name}.tif", "w", transform=from_origin(west, 43.7, 0.1, 0.1), **about
        ) as to:
            to.write(np.full((1, 20, 20), 3, np.uint8))
            to.descriptions = [band]
    here = saltreach(*drawn, below / "here.tif")
    assert here.returncode == 0, here.stderr
    assert "covers" not in here.stderr
    far = saltreach(*drawn, below / "far.tif")
    assert far.returncode == 0, far.stderr
    assert "far.tif: it covers none of the sectors, so nothing of it is seen" in far.stderr
    other = saltreach(*drawn, below / "other.tif")
    assert other.returncode == 2
    assert other.stderr.splitlines()[-1].startswith("saltreach: other.tif is no surface, or a")
