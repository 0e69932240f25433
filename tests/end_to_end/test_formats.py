"""The same anchors as CSV, XLSX, GeoJSON, GeoPackage, GPX and KML give the same results."""

import pandas as pd
import pytest

from helpers.register_formats import write_all_formats
from saltreach.layers.embedded import embedded_file

EXTRA = {"source_row"}


@pytest.fixture(scope="module")
def results(saltreach, tmp_path_factory):
    folder = tmp_path_factory.mktemp("formats")
    register = pd.read_csv(embedded_file("demo/anchors.csv"), dtype=str).iloc[40:90]
    numbers = ["lon", "lat", "diameter_mm", "embedment_mm", "condition", "visits_per_year",
               "height_above_sea_m", "elevation_m", "face_slope_deg"]  # fmt: skip
    register = register.assign(**{n: pd.to_numeric(register[n]) for n in numbers})
    found = {}
    for name, path in write_all_formats(register.reset_index(drop=True), folder).items():
        out = folder / f"out-{name}"
        done = saltreach("assess", path, "--out", out, "--today", "2026-11-25")
        assert done.returncode == 0, f"{name}: {done.stdout}{done.stderr}"
        found[name] = out
    return found


def test_seven_formats(results):
    assert len(results) == 7


def test_same_sectors_whatever_the_format(results):
    first, *others = results.values()
    for other in others:
        for name in ("sectors.csv", "crags.csv"):
            assert (other / name).read_text() == (first / name).read_text(), other.name


def test_same_anchors_whatever_the_format(results):
    frames = [pd.read_parquet(out / "anchors.parquet") for out in results.values()]
    first, *others = [f.drop(columns=[c for c in EXTRA if c in f]) for f in frames]
    for other in others:
        shared = [c for c in first.columns if c in other.columns]
        pd.testing.assert_frame_equal(other[shared], first[shared], check_dtype=False)
        assert not set(first.columns) ^ set(other.columns)
