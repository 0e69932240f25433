"""Heights from Cloud-Optimized GeoTIFFs, read part by part from a server on this machine."""

import numpy as np
import pytest
import rasterio
from werkzeug import Response

from helpers.open_services import in_parts, serve_tiles, tile
from saltreach.intake.options import Options
from saltreach.intake.services import Services
from saltreach.layers.layer import Origin
from saltreach.layers.online import bring_heights, copernicus_dem
from saltreach.layers.online.part import Brought, Call
from saltreach.layers.online.web import ServiceError, Web
from saltreach.layers.pack import write_part
from saltreach.layers.terrain import Heights, open_heights
from saltreach.layers.where import where_of


def plane(lon, lat):
    """1,000 m a degree eastwards and 500 m northwards: any bilinear reading is exact."""
    return 200 + 1000 * (lon - 8) + 500 * (lat - 44)


@pytest.fixture
def web():
    with Web(None, backoff_s=0, pause_s=0) as session:
        yield session


def call(web, where, address, folder):
    return Call(where, Services(copernicus_dem=address), web, folder, folder)


def test_names_of_tiles_are_those_of_the_documentation():
    """The forum and readme of the bucket name S14, W172."""
    assert copernicus_dem.tile_name(-172, -14) == "Copernicus_DSM_COG_10_S14_00_W172_00_DEM"
    urls = [
        one.url for one in copernicus_dem.requests_of("https://b.example", (-0.5, -0.5, 0.5, 0.5))
    ]
    assert [url.split("/")[-1][22:33] for url in urls] == [
        "S01_00_W001", "S01_00_E000", "N00_00_W001", "N00_00_E000"
    ]  # fmt: skip


def test_heights_across_two_tiles_are_one_raster(web, httpserver, tmp_path):
    address = serve_tiles(httpserver, {(8, 44): tile(tmp_path, 8, 44, plane),
                                       (9, 44): tile(tmp_path, 9, 44, plane)})  # fmt: skip
    where = where_of([8.995], [44.5])
    brought = bring_heights.PART.bring(call(web, where, address, tmp_path))
    files = sorted(tmp_path.glob("heights-*.tif"))
    assert len(files) == 1 and not brought.notes
    with rasterio.open(files[0]) as raster:
        assert raster.bounds.left < 8.97 and raster.bounds.right > 9.02
        assert raster.res == pytest.approx((1 / 240, 1 / 240))
    heights = Heights(tuple(files), brought.origins[0])
    found = heights.at([8.995, 9.013, 30.0], [44.5, 44.51, 44.0])["elevation_m"]
    # 200 + 1000 * 0.995 + 500 * 0.5 = 1445; 200 + 1000 * 1.013 + 500 * 0.51 = 1468
    assert found[:2].tolist() == pytest.approx([1445.0, 1468.0], abs=0.1)
    assert np.isnan(found[2])
    assert brought.origins[0].attribution.startswith("© DLR e.V.")
    assert all("Copernicus_DSM_COG_10_N44_00_E00" in one for one in brought.requests)


def test_only_the_blocks_of_the_box_travel(web, httpserver, tmp_path):
    """A tile of noise packs badly: 1,000 x 1,000 cells in blocks of 128. The box around 8.55 E,
    45.55 N is 8.51 to 8.59 by 45.52 to 45.58: columns 510 to 590, rows 420 to 480, two blocks."""
    rough = np.random.default_rng(1).random((1000, 1000)) * 500
    content = tile(tmp_path, 8, 45, lambda lon, lat: rough, cells=1000)
    address = serve_tiles(httpserver, {(8, 45): content})
    bring_heights.PART.bring(call(web, where_of([8.55], [45.55]), address, tmp_path))
    with rasterio.open(next(tmp_path.glob("heights-*.tif"))) as raster:
        assert raster.width in (80, 81) and raster.height in (60, 61)
    assert len(content) > 3_500_000
    assert web.received_bytes <= 5 * 65_536  # the head, and whole parts of 64 kB around blocks
    assert web.asked <= 4


def test_tiles_narrow_towards_the_poles(web, httpserver, tmp_path):
    """From 50 N a tile has two thirds of the columns (readme of the bucket)."""
    address = serve_tiles(httpserver, {(8, 49): tile(tmp_path, 8, 49, plane),
                                       (8, 50): tile(tmp_path, 8, 50, plane, columns=160)}
                          )  # fmt: skip
    brought = bring_heights.PART.bring(call(web, where_of([8.5], [50.0]), address, tmp_path))
    heights = Heights(tuple(tmp_path.glob("heights-*.tif")), brought.origins[0])
    found = heights.at([8.5, 8.5], [50.01, 49.985])["elevation_m"]
    # 200 + 500 + 500 * 6.01 = 3705; 200 + 500 + 500 * 5.985 = 3692.5
    assert found.tolist() == pytest.approx([3705.0, 3692.5], abs=1.5)


def test_the_box_reaches_to_the_shore_where_the_sea_is_near():
    inland, near = where_of([-3.9], [42.3]), where_of([-3.9], [43.35])
    size = [np.ptp(bring_heights.boxes_of(one)[0][1::2]) * 111_100 / 2 for one in (inland, near)]
    assert 2500 <= size[0] < 3612  # to the next line of the grid
    assert 9000 < size[1] < 20_000


@pytest.mark.parametrize("status", [404, 403])
def test_a_tile_that_does_not_exist_stays_unknown(web, httpserver, tmp_path, status):
    address = serve_tiles(httpserver, {(8, 44): tile(tmp_path, 8, 44, plane)}, status)
    where = where_of([8.995, 100.5], [44.5, 0.5])
    brought = bring_heights.PART.bring(call(web, where, address, tmp_path))
    assert brought.notes[0].startswith("2 tiles of the Copernicus DEM do not exist")
    heights = Heights(tuple(tmp_path.glob("heights-*.tif")), brought.origins[0])
    found = heights.at([8.98, 9.01, 100.5], [44.5, 44.5, 0.5])["elevation_m"]
    assert found[0] == pytest.approx(1430, abs=0.1) and np.isnan(found[1:]).all()
    with pytest.raises(ServiceError, match="no tile around any of the places"):
        bring_heights.PART.bring(call(web, where_of([100.5], [0.5]), address, tmp_path / "b"))


def test_what_is_no_tile_is_refused(web, httpserver, tmp_path):
    good = tile(tmp_path, 8, 44, plane)
    where = where_of([8.5], [44.5])
    for name, content in (("noise", b"no tiff at all" * 9999), ("half", good[: len(good) // 2])):
        address = serve_tiles(httpserver, {(8, 44): content})
        with pytest.raises(ServiceError, match="Copernicus DEM"):
            bring_heights.PART.bring(call(web, where, address, tmp_path / name))
        httpserver.clear()
    address = serve_tiles(httpserver, {(8, 44): good}, missing=500)
    with pytest.raises(ServiceError, match=r"failed \(500\)"):
        bring_heights.PART.bring(call(web, where_of([7.5], [44.5]), address, tmp_path))


def test_a_server_that_fails_in_the_middle_is_named_and_nothing_is_written(
    web, httpserver, tmp_path
):
    rough = np.random.default_rng(1).random((1000, 1000))
    content = tile(tmp_path, 8, 44, lambda lon, lat: rough, cells=1000)
    served = []

    def answer(request):
        served.append(request.path)
        return in_parts(content)(request) if len(served) < 2 else Response("", 500)

    name = copernicus_dem.tile_name(8, 44)
    httpserver.expect_request(f"/dem/{name}/{name}.tif").respond_with_handler(answer)
    address, pack = httpserver.url_for("/dem"), tmp_path / "pack"

    def make(folder):
        return bring_heights.PART.bring(call(web, where_of([8.5], [44.5]), address, folder))

    with pytest.raises(ServiceError, match=r"Copernicus DEM \(localhost\) failed \(500\)"):
        write_part(pack, "heights", make, now="2026-01-01T00:00:00+00:00")
    assert not pack.exists()


def test_the_users_own_raster_wins_over_the_packs(tmp_path):
    def make(folder):
        (folder / "heights-001.tif").write_bytes(tile(tmp_path, 8, 44, plane))
        return Brought((Origin("heights-x", "elevation"),), ())

    write_part(tmp_path / "pack", "heights", make, now="2026-01-01T00:00:00+00:00")
    own = tmp_path / "8_44.tif"
    packed = open_heights(Options(pack_folder=str(tmp_path / "pack")))
    assert packed.origin.name == "heights-x"
    both = open_heights(Options(pack_folder=str(tmp_path / "pack"), dem_file=str(own)))
    assert both.origin.name == "dem-file-8_44.tif"
    assert open_heights(Options()) is None


@pytest.mark.pinned("worked", answers=4)
def test_of_each_tile_only_what_the_box_reaches_is_counted():
    """Blocks of 1,024 of the 3,600 cells of a degree: half a degree is 1.8 blocks, so 2, a quarter
    0.9, so 1. With one more at an edge: (2 + 1) (2 + 1) / 2 = 4.5 blocks, or (2 + 1) (1 + 1) / 2
    = 3, of 2.5 MB each, and the head of 65,536 bytes."""
    asked = copernicus_dem.requests_of("https://b.example", (8.5, 44.5, 9.5, 45.25))
    assert [(one.url.split("/")[-1][22:33], one.about_bytes) for one in asked] == [
        ("N44_00_E008", 11_315_536), ("N44_00_E009", 11_315_536),
        ("N45_00_E008", 7_565_536), ("N45_00_E009", 7_565_536),
    ]  # fmt: skip


def test_a_request_says_how_large_its_answer_is():
    small, large = (
        sum(one.about_bytes for one in copernicus_dem.requests_of("https://b.example", box))
        for box in ((8.1, 44.1, 8.2, 44.2), (8.0, 44.0, 9.0, 45.0))
    )
    # 0.1 degrees are a third of a block, and may meet 2 by 2 of them: half of these are counted
    assert small == 65_536 + 2 * 2_500_000
    assert 12_000_000 < large < 60_000_000
