"""A surface as files: formats, metadata, overviews, styles, and what a kill leaves."""

import errno
import json
import os
import signal
import subprocess
import sys
from collections import namedtuple
from pathlib import Path
from xml.etree import ElementTree as ET

import numpy as np
import pytest
import rasterio
import xarray as xr
from filelock import FileLock

from helpers import surface_run
from saltreach.assessment import surface_grid
from saltreach.assessment.surface_cells import CLASS_BANDS, NUMBERS, SEA_CODE
from saltreach.errors import OptionError, OutputError, WorkerError
from saltreach.folders.claim import LOCK
from saltreach.folders.files import checksum
from saltreach.outputs.map.colourings import METAL_STYLES
from saltreach.outputs.surface import write
from saltreach.outputs.surface.write import targets, write_surface

TESTS = Path(__file__).parents[1]
BOX = (-5.1, 43.25, -4.75, 43.5)


@pytest.fixture(scope="module")
def made(tmp_path_factory):
    """At 100 m, and so large that there are overviews."""
    folder = tmp_path_factory.mktemp("surface")
    written = write_surface((-5.4, 43.2, -4.6, 43.3), folder / "north.tif", resolution_m=100,
                            style=True, processes=1)  # fmt: skip
    return folder, written


def test_what_is_written_is_what_is_said(made):
    folder, written = made
    names = {path.name for path in written.paths}
    assert names == set(targets(folder / "north.tif", style=True))
    hidden = {LOCK, "saltreach-files.json"}
    assert {path.name for path in folder.iterdir()} == names | hidden
    assert written.land > 20_000


@pytest.mark.filterwarnings("ignore")
def test_every_file_is_a_strict_cloud_optimized_geotiff_with_overviews(made):
    cogeo = pytest.importorskip("rio_cogeo")
    folder, _ = made
    for file in folder.glob("*.tif"):
        valid, errors, warnings = cogeo.cog_validate(file, strict=True)
        assert valid, (file.name, errors, warnings)
        with rasterio.open(file) as raster:
            assert raster.overviews(1), file.name
            assert raster.nodata == SEA_CODE or np.isnan(raster.nodata)


def test_overviews_average_numbers_and_never_a_class(made):
    folder, _ = made
    with (
        rasterio.open(folder / "north.tif") as raster,
        rasterio.open(folder / "north.tif", overview_level=0) as above,
    ):
        number, mean = raster.read(1), above.read(1)
    four = np.stack([number[i::2, j::2][:50, :300] for i in (0, 1) for j in (0, 1)])
    known = np.isfinite(four).all(axis=0)
    assert known.sum() > 100
    assert mean[:50, :300][known] == pytest.approx(four.mean(axis=0)[known], rel=5e-3)
    for band in CLASS_BANDS:
        file = folder / f"north_{band.name}.tif"
        with rasterio.open(file) as raster, rasterio.open(file, overview_level=0) as above:
            assert set(np.unique(above.read(1))) <= set(np.unique(raster.read(1)))


def test_bands_say_what_they_are(made):
    folder, _ = made
    with rasterio.open(folder / "north.tif") as raster:
        assert raster.descriptions == tuple(band.name for band in NUMBERS)
        assert raster.units == tuple(band.unit for band in NUMBERS)
        assert raster.scales == (1.0,) * 5
        assert raster.offsets == (0.0,) * 5
        tags = raster.tags()
    assert "never a certificate" in tags["comment"]
    assert "washing by rain" in tags["summary"]
    assert json.loads(tags["grid"])["cell_at_top_m"][1] == pytest.approx(100, abs=1)
    assert {layer["name"] for layer in json.loads(tags["layers"])} >= {"coast-gshhg-h"}
    assert json.loads(tags["options"])["so2_ug_m3"] == 2.0
    with rasterio.open(folder / "north_material_recommended.tif") as raster:
        table, tags = raster.colormap(1), raster.tags(1)
        present = np.unique(raster.read(1))
    for code, style in enumerate(METAL_STYLES, 1):
        assert tags[f"CLASS_{code}"] == style.word
        assert "#{:02x}{:02x}{:02x}".format(*table[code][:3]) == style.fill
    assert set(present) <= {1, 2, 3, 4, 5, SEA_CODE}
    names = ET.parse(folder / "north_crc_washed.tif.aux.xml").getroot().iter("Category")
    assert [one.text for one in names] == ["unknown", "I", "II", "III", "IV", "V"]


def test_styles_have_a_colour_and_a_word_for_each_code(made):
    folder, _ = made
    root = ET.parse(folder / "north_corrosivity_category.qml").getroot()
    entries = {int(e.get("value")): (e.get("label"), e.get("color"))
               for e in root.iter("paletteEntry")}  # fmt: skip
    assert [entries[k][0] for k in range(7)] == ["unknown", "C1", "C2", "C3", "C4", "C5", "CX"]
    with rasterio.open(folder / "north_corrosivity_category.tif") as raster:
        table = raster.colormap(1)
    assert all("#{:02x}{:02x}{:02x}".format(*table[k][:3]) == entries[k][1] for k in entries)
    number = ET.parse(folder / "north.qml").getroot().find("pipe/rasterrenderer")
    assert number.get("band") == "3"  # the median of chloride


@pytest.fixture(scope="module")
def whole(tmp_path_factory):
    folder = tmp_path_factory.mktemp("whole")
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(surface_grid, "BLOCK_CELLS", surface_grid.BLOCK_CELLS)
        written = surface_run.write(folder / "box.tif")
        surface_run.write(folder / "box.zarr")
    return folder, written


def sums(folder: Path, name: str) -> dict[str, str]:
    stem = name.rpartition(".")[0]
    files = [path for path in folder.rglob("*") if path.is_file()]
    return {
        path.relative_to(folder).as_posix(): checksum(path)
        for path in files
        if path.relative_to(folder).parts[0].startswith(stem)
        and (".zarr" in path.as_posix()) == name.endswith(".zarr")
    }


@pytest.mark.skipif(not hasattr(signal, "SIGKILL"), reason="needs SIGKILL")
def test_a_run_that_was_killed_goes_on_to_the_same_bytes(whole, tmp_path, monkeypatch):
    folder, name = whole[0], "box.tif"
    path = os.pathsep.join([str(TESTS), *sys.path])
    killed = subprocess.run(
        [sys.executable, "-m", "helpers.surface_run", str(tmp_path / name), "2"],
        env=os.environ | {"PYTHONPATH": path}, check=False, capture_output=True,
    )  # fmt: skip
    assert killed.returncode == -signal.SIGKILL, killed.stderr
    assert not [p for p in tmp_path.iterdir() if not p.name.startswith(".")]  # whole or not at all
    monkeypatch.setattr(surface_grid, "BLOCK_CELLS", surface_grid.BLOCK_CELLS)
    written = surface_run.write(tmp_path / name)
    assert 1 <= written.resumed <= 2
    assert sums(tmp_path, name) == sums(folder, name)
    assert not list(tmp_path.glob(".saltreach-surface-*"))


def test_another_request_takes_nothing_over(whole, tmp_path, monkeypatch):
    monkeypatch.setattr(surface_grid, "BLOCK_CELLS", surface_run.BLOCK_CELLS)

    def stop(name: str) -> None:
        if name.startswith("cells: 1 "):
            raise KeyboardInterrupt

    for resolution_m in (2000, 2100):
        with pytest.raises(KeyboardInterrupt):
            write_surface(BOX, tmp_path / "box.tif", resolution_m=resolution_m, processes=1,
                          on_step=stop)  # fmt: skip
        assert len(list(tmp_path.glob(".saltreach-surface-*"))) == 1
    written = surface_run.write(tmp_path / "box.tif")
    assert written.resumed == 0
    assert not list(tmp_path.glob(".saltreach-surface-*"))
    assert sums(tmp_path, "box.tif") == sums(whole[0], "box.tif")


def test_a_second_run_at_once_is_refused(tmp_path, monkeypatch):
    monkeypatch.setattr("saltreach.folders.claim.WAIT_S", 0.1)
    with FileLock(tmp_path / LOCK), pytest.raises(OutputError, match="another saltreach"):
        write_surface(BOX, tmp_path / "box.tif", resolution_m=5000)


def test_files_of_others_are_not_replaced(tmp_path):
    (tmp_path / "box_crc_washed.tif").write_text("mine")
    with pytest.raises(OutputError, match="saltreach did not write it"):
        write_surface(BOX, tmp_path / "box.tif", resolution_m=5000)
    (tmp_path / "box.zarr").mkdir()
    (tmp_path / "box.zarr/.zgroup").write_text("mine")
    with pytest.raises(OutputError, match="is there already"):
        write_surface(BOX, tmp_path / "box.zarr", resolution_m=5000)
    with pytest.raises(OutputError, match=r"name it .tif \(GeoTIFF\) or .zarr"):
        write_surface(BOX, tmp_path / "box.png", resolution_m=5000)


def test_a_box_without_land_is_said_and_leaves_nothing(tmp_path):
    with pytest.raises(OptionError, match="no cell of it has its middle on land"):
        write_surface((-20, 40, -19, 41), tmp_path / "sea.tif", resolution_m=20_000)
    assert {path.name for path in tmp_path.iterdir()} <= {LOCK}


def test_a_run_that_fails_leaves_nothing_where_no_block_was_done(tmp_path, monkeypatch):
    out = tmp_path / "new" / "box.tif"

    def run() -> None:
        write_surface(BOX, out, resolution_m=5000, processes=1)

    def full(*_, **__) -> None:
        raise OSError(errno.ENOSPC, "No space left on device")

    with monkeypatch.context() as patch:
        patch.setattr(np, "savez", full)
        with pytest.raises(OutputError, match="disk is full"):
            run()
    assert not out.parent.exists()

    def lost(_: object) -> None:
        raise WorkerError("lost")

    monkeypatch.setattr(write, "fill", lost)
    with pytest.raises(WorkerError, match="lost"):
        run()
    assert not out.parent.exists()


def test_a_disk_that_is_too_small_is_said_before_the_work(tmp_path, monkeypatch):
    monkeypatch.setattr(write, "fill", None)
    usage = namedtuple("usage", "total used free")
    monkeypatch.setattr(write.shutil, "disk_usage", lambda _: usage(9e9, 8e9, 1e9))
    with pytest.raises(OutputError, match=r"8,8\d\d x 11,9\d\d cells.*6\.\d GB.*1\.0 GB are free"):
        write_surface((-10, 36, 4, 44), tmp_path / "box.tif")


def test_a_zarr_store_holds_the_same(whole):
    folder, written = whole
    cells = xr.open_zarr(folder / "box.zarr")  # warnings are errors
    assert all(cells.attrs.values()) and "left_out" not in cells.attrs
    slowly = xr.open_zarr(folder / "box.zarr", consolidated=False)
    xr.testing.assert_identical(cells, slowly)
    with rasterio.open(folder / "box.tif") as raster:
        for i, band in enumerate(NUMBERS, 1):
            assert np.array_equal(cells[band.name], raster.read(i), equal_nan=True)
        assert raster.transform.c == pytest.approx(written.grid.bounds_deg[0], abs=1e-9)
        assert float(cells["lon"][0]) == pytest.approx(
            raster.transform.c + raster.transform.a / 2, abs=1e-9
        )
    for band in CLASS_BANDS:
        with rasterio.open(folder / f"box_{band.name}.tif") as raster:
            assert np.array_equal(cells[band.name], raster.read(1))
        assert cells[band.name].dtype == np.uint8
        assert cells[band.name].attrs["grid_mapping"] == "crs"
    assert cells["crs"].attrs["grid_mapping_name"] == "latitude_longitude"
    assert cells["lat"].attrs["standard_name"] == "latitude"


def test_a_style_is_of_a_geotiff(tmp_path):
    with pytest.raises(OptionError, match=r"box.zarr: .* name it \.tif, or leave style=True out"):
        write_surface(BOX, tmp_path / "box.zarr", resolution_m=5000, style=True)
    assert not list(tmp_path.iterdir())


def test_a_missing_library_is_said(tmp_path, monkeypatch):
    monkeypatch.setitem(sys.modules, "zarr", None)
    with pytest.raises(OptionError, match=r"pip install 'saltreach\[surface\]'"):
        write_surface(BOX, tmp_path / "box.zarr", resolution_m=5000)
