"""Exposure through the installed command: explain and terrain."""

import re

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest

from helpers.small_register import write
from saltreach.layers.embedded import embedded_file


def test_explain_prints_the_chain_and_the_shares(saltreach, tmp_path):
    done = saltreach("assess", embedded_file("demo/anchors.csv"), "--out", tmp_path, "--explain",
                     "DEMO-0100")  # fmt: skip
    assert done.returncode == 1  # the demo's bad rows
    for word in ("coast_distance_m", "chloride_mg_m2_d", "corrosivity_category", "crf", "p90"):
        assert word in done.stdout
    shares = re.findall(r"(\d+)%\s+(\d+)%$", done.stdout, re.MULTILINE)
    assert len(shares) == 6
    for metal in (0, 1):
        assert sum(int(s[metal]) for s in shares) == pytest.approx(100, abs=3)
    assert "certificate" in done.stdout


def test_explaining_an_unknown_anchor_is_a_clear_error(saltreach, tmp_path):
    done = saltreach(
        "assess", write(tmp_path / "a.csv"), "--out", tmp_path / "out", "--explain", "zz"
    )
    assert done.returncode == 2
    assert "'zz'" in done.stderr


def test_a_height_raster_gives_elevation_slope_and_differences(saltreach, tmp_path):
    """A plane that rises 1 in 1 to the south: slope 45, looking north (aspect 0)."""
    import rasterio
    from affine import Affine

    cell = 30.0
    heights = np.tile(np.arange(400)[:, None] * cell, (1, 400)).astype("float32")
    with rasterio.open(
        tmp_path / "dem.tif", "w", driver="GTiff", width=400, height=400, count=1,
        dtype="float32", crs="EPSG:25830", transform=Affine(cell, 0, 336_500, 0, -cell, 4_817_500),
    ) as out:  # fmt: skip
        out.write(heights, 1)
    path = write(tmp_path / "a.csv", face_azimuth_deg=[0, 180, ""], elevation_m=["", "", 6100])
    done = saltreach("assess", path, "--out", tmp_path / "out", "--dem", tmp_path / "dem.tif")
    assert done.returncode == 0, done.stderr
    anchors = gpd.read_parquet(tmp_path / "out" / "anchors.parquet")
    assert anchors["slope_deg"].to_numpy() == pytest.approx(45, abs=0.2)
    assert np.cos(np.radians(anchors["aspect_deg"])).min() > 0.999
    assert anchors["elevation_source"].tolist()[:2] == ["dem-file-dem.tif"] * 2
    assert anchors["elevation_m"].iloc[2] == 6100
    assert anchors["elevation_source"].iloc[2] == "register"
    assert anchors["sea_shielding"].notna().all()
    facing = pd.Series(anchors["warnings"]).str.contains("height raster|azimuth|face", case=False)
    assert facing.tolist()[:2] == [False, True]
    assert "dem-file-dem.tif" in (tmp_path / "out" / "provenance.json").read_text()


def test_openness_tells_a_ria_from_an_open_cape(saltreach, tmp_path):
    """Northern Spain: the head of the ria of Ribadeo against Cabo de Penas (general geography)."""
    path = write(tmp_path / "a.csv", lon=[-7.030, -5.847, -5.8471], lat=[43.470, 43.657, 43.6571])
    assert saltreach("assess", path, "--out", tmp_path / "out").returncode == 0
    anchors = gpd.read_parquet(tmp_path / "out" / "anchors.parquet")
    assert anchors["sea_openness"].iloc[0] < 0.15
    assert anchors["sea_openness"].iloc[1] > 0.4
