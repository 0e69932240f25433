"""`saltreach surface` as it is typed."""

import json

import rasterio

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
        (("--bbox", "170", "-10", "-170", "10"), "make two surfaces"),
        ((*BOX, "--resolution", "5"), "10 to 50000 metres"),
        ((*BOX, "--policy", tmp_path / "none.toml"), "none.toml"),
        ((*BOX, "--coast", tmp_path / "none.gpkg"), "none.gpkg"),
    ):
        run = saltreach("surface", *more, "--out", tmp_path / "x.tif")
        assert run.returncode == 2, run.stdout
        assert said in run.stderr
        assert "Traceback" not in run.stderr
    assert not list(tmp_path.glob("*.tif"))
