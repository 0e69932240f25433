"""A surface: the grid, the same answers as for an anchor, and how near interpolation comes."""

import sys

import numpy as np
import pandas as pd
import pytest

import saltreach as sr
from saltreach.assessment import surface_blocks, surface_cells
from saltreach.assessment.surface import CHLORIDE_SHARE, CLASS_SHARE, HAZARD_STEP, surface
from saltreach.assessment.surface_blocks import DISTANCE_SHARE, Job, fill
from saltreach.assessment.surface_cells import CLASS_BANDS, NUMBERS, SEA_CODE, UNKNOWN_CODE
from saltreach.assessment.surface_grid import grid_of
from saltreach.errors import OptionError
from saltreach.layers import openness
from saltreach.vocabulary.metals import PLACEABLE
from saltreach.vocabulary.words import CLASSES

POLICY = 'least_metal = "316"\nleast_metal_sea_cliff = "titanium"\n'


@pytest.mark.pinned("worked", answers=4)
def test_cells_are_square_at_the_middle_latitude():
    """WGS 84: at 40 N a degree is 85,394 m wide and 111,035 m high (series of geodesy texts)."""
    grid = grid_of((-4.0, 39.5, -3.0, 40.5), 1000)
    assert grid.lon_step_deg * 85_394 == pytest.approx(1000, abs=0.2)
    assert grid.lat_step_deg * 111_035 == pytest.approx(1000, abs=1)
    wide, high = grid.cell_m(40.5)
    assert (wide, high) == (pytest.approx(992.6, abs=0.5), pytest.approx(999.2, abs=0.5))


@pytest.mark.parametrize("resolution_m", [10, 100, 333, 1000, 50_000])
def test_a_cell_is_the_same_whatever_the_box(resolution_m):
    one = grid_of((-4.0, 39.9, -3.9, 40.0), resolution_m)
    other = grid_of((-4.31, 39.7, -3.7, 40.23), resolution_m)
    west, south, east, north = one.bounds_deg
    assert west <= -4.0
    assert south <= 39.9
    assert (east, north) >= (-3.9, 40.0)
    row, column = one.first_row - other.first_row, one.first_column - other.first_column
    some = slice(0, min(one.rows, 5))
    assert (one.lat_deg()[some] == other.lat_deg(row)[some]).all()
    assert (one.lon_deg()[some] == other.lon_deg(column)[some]).all()


def test_blocks_hold_every_cell_once():
    grid = grid_of((-6, 42, -4, 44), 100)
    count = np.zeros((grid.rows, grid.columns), np.uint8)
    for row, column, rows, columns in grid.blocks:
        count[row : row + rows, column : column + columns] += 1
    assert (count == 1).all()
    assert len(grid.blocks) > 4


@pytest.mark.parametrize(
    ("bbox", "resolution_m", "said"),
    [
        (
            (170, -10, -170, 10),
            1000,
            r"^bbox 170 -10 -170 10: W, 170, is more than E, -170; give W S E N, the smaller "
            r"longitude first \(-170 -10 170 10\), or make two surfaces of a box across 180 "
            r"degrees \(170 -10 180 10 and -180 -10 -170 10\)$",
        ),
        ((-4, 41, -3, 40), 1000, "holds nothing"),
        ((-3, 40, -3, 41), 1000, "holds nothing"),
        ((-4, 40, 190, 41), 1000, "outside -180 to 180"),
        ((-4, float("nan"), -3, 41), 1000, "four numbers"),
        ((0, 80, 1, 86), 1000, "85 S to 85 N"),
        ((-4, 40, -3, 41), 9.9, "10 to 50000 metres"),
        ((-4, 40, -3, 41), float("nan"), "10 to 50000 metres"),
    ],
)
def test_what_cannot_be_is_refused(bbox, resolution_m, said):
    with pytest.raises(OptionError, match=said):
        surface(bbox, resolution_m)


def test_words_that_are_not_known_are_refused(monkeypatch):
    with pytest.raises(OptionError, match="give one of fine, none"):
        surface((-4, 40, -3, 41), rounding="rough")
    with pytest.raises(OptionError, match="dict given"):
        surface((-4, 40, -3, 41), options={})
    monkeypatch.setitem(sys.modules, "dask", None)
    with pytest.raises(OptionError, match=r"pip install 'saltreach\[surface\]'"):
        surface((-4, 40, -3, 41))


@pytest.mark.parametrize(
    ("bbox", "resolution_m", "policy"),
    [
        ((-5.90, 43.60, -5.80, 43.67), 1000, ""),  # an Atlantic headland
        ((-5.90, 43.50, -5.70, 43.67), 3500, POLICY),
        ((35.30, 31.40, 35.48, 31.52), 2000, ""),  # beside a salt lake
        ((14.60, 55.00, 15.20, 55.32), 5000, ""),  # in a sea that counts as mild
    ],
)
def test_a_cell_has_what_an_anchor_at_its_middle_has(bbox, resolution_m, policy, tmp_path):
    options = sr.Options()
    if policy:
        (tmp_path / "policy.toml").write_text(policy)
        options = sr.Options(policy_file=str(tmp_path / "policy.toml"))
    cells = surface(bbox, resolution_m, options, rounding="none").compute()
    land = cells["corrosivity_category"].to_numpy() != SEA_CODE
    row, column = np.nonzero(land)
    register = pd.DataFrame(
        {"anchor_id": [f"a{i}" for i in range(len(row))], "crag": "Alder", "sector": "North",
         "lon": cells["lon"].to_numpy()[column], "lat": cells["lat"].to_numpy()[row]}
    )  # fmt: skip
    found = sr.assess(register, options)
    anchors = found.flat.anchors
    assert len(anchors) == land.sum() > 10
    for band in NUMBERS:
        own = cells[band.name].to_numpy()[land]
        assert own.dtype == np.float32
        assert (own == anchors[band.name].to_numpy(np.float32)).all(), band.name
    for band in CLASS_BANDS:
        code = cells[band.name].to_numpy()[land]
        if band.name == "crc_washed":
            factor = found.working["crf_washed"].to_numpy()
            # EN 1993-1-4 Table A.2 by hand
            steps = [factor > 0, factor > -7, factor > -15, factor >= -20]
            assert (code == np.select(steps, [1, 2, 3, 4], 5)).all()
            continue
        column_of = "crc" if band.name == "crc_unwashed" else band.name
        words = anchors[column_of].astype("str").to_numpy(object)
        assert ([band.words[k - 1] for k in code] == words).all(), band.name
    if policy:
        metals = {
            PLACEABLE[k - 1] for k in np.unique(cells["material_recommended"].to_numpy()[land])
        }
        assert metals <= {"316", "titanium"}


def wavy(lon, lat, coast, *, shore, **_):
    """Openness that swings along the shore, from a bay to a headland in 800 m.

    The layer's own depends, within one of its cells, on which places are asked together.
    """
    return 0.5 + 0.3 * np.sin(2 * np.pi * np.asarray(shore[0]) / 0.02)


@pytest.fixture(scope="module")
def both():
    """Ten thousand cells from a shore to 35 km inland, interpolated and each by itself."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(openness, "sea_openness", wavy)
        yield both_ways()


def both_ways():
    grid = grid_of((-5.0, 43.1, -4.8, 43.45), 250)
    options = sr.Options()
    asked, at = [], surface_blocks.cells_at
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(surface_blocks, "cells_at",
                      lambda *given: asked.append(len(given[0])) or at(*given))  # fmt: skip
        fine = fill(Job(grid, grid.blocks[0], options))
    return fine, fill(Job(grid, grid.blocks[0], options, "none")), sum(asked)


def test_interpolated_cells_are_as_near_as_is_said(both):
    fine, exact, _ = both
    land = exact.classes[0] != SEA_CODE
    assert ((fine.classes[0] != SEA_CODE) == land).all()
    off = np.abs(fine.numbers - exact.numbers)[:, land]
    values = exact.numbers[:, land]
    assert (off[0] <= (DISTANCE_SHARE / 2 + 2e-4) * values[0]).all()
    assert (off[1:4] <= CHLORIDE_SHARE * values[1:4]).all()
    assert (off[4] <= HAZARD_STEP).all()
    assert (fine.classes[:, land] != exact.classes[:, land]).mean() <= CLASS_SHARE
    assert np.quantile(off[2] / values[2], 0.9) < 0.01


def test_far_fewer_cells_are_worked_out_than_filled(both):
    fine, _, asked = both
    assert asked < 0.5 * (fine.classes[0] != SEA_CODE).sum()


def test_rough_layers_are_asked_for_every_cell(tmp_path, monkeypatch):
    import rasterio
    from rasterio.transform import from_origin

    file = tmp_path / "heights.tif"
    heights = np.random.default_rng(1).uniform(0, 900, (40, 40)).astype("float32")
    about = {"driver": "GTiff", "width": 40, "height": 40, "count": 1, "dtype": "float32",
             "crs": "EPSG:4326", "transform": from_origin(-4.3, 43.2, 0.01, 0.01)}  # fmt: skip
    with rasterio.open(file, "w", **about) as to:
        to.write(heights, 1)
    grid, asked = grid_of((-4.2, 43.0, -4.15, 43.04), 250), []
    at = surface_blocks.cells_at
    monkeypatch.setattr(
        surface_blocks, "cells_at", lambda *given: asked.append(len(given[0])) or at(*given)
    )
    found = fill(Job(grid, grid.blocks[0], sr.Options(dem_file=str(file))))
    assert asked == [grid.cells]
    plain = fill(Job(grid, grid.blocks[0], sr.Options(), "none"))
    assert (found.numbers[0] == plain.numbers[0]).all()  # the same distance
    assert (found.numbers[2] != plain.numbers[2]).any()  # but other air


def test_a_shore_of_lines_tells_no_side_and_every_cell_counts(tmp_path):
    import geopandas as gpd
    from shapely import LineString

    file = tmp_path / "shore.gpkg"
    gpd.GeoSeries([LineString([(-5.0, 42.0), (-5.0, 44.0)])], crs=4326).to_file(file)
    cells = surface((-5.05, 43.0, -4.95, 43.05), 1000, sr.Options(coast_file=str(file))).compute()
    assert (cells["corrosivity_category"] != SEA_CODE).all()
    least = float(cells["coast_distance_m"].min())
    assert least == pytest.approx(float(abs(cells["lon"] + 5).min()) * 81_500, rel=0.01)


def test_land_of_which_nothing_is_known_is_not_the_sea(monkeypatch):
    """Without the maps of ITU-R no humidity is known, so no category."""
    from saltreach.layers import climate_maps

    monkeypatch.setattr(climate_maps, "itu_folder", lambda: None)
    found = surface_cells.cells_at(np.array([-4.5, -5.0]), np.array([42.0, 46.0]), sr.Options())
    assert found.land.tolist() == [True, False]
    assert found.classes[0, 0] == UNKNOWN_CODE
    assert found.classes[1, 0] == SEA_CODE
    assert found.numbers[0, 0] > 0  # the distance is known all the same
    assert np.isnan(found.numbers[1]).all()


def test_the_dataset_says_what_it_is():
    cells = surface((-5.9, 43.6, -5.8, 43.7), 2000)
    assert cells["chloride_mg_m2_d"].chunks is not None  # nothing is worked out yet
    assert cells.attrs["Conventions"].startswith("CF-")
    assert "never a certificate" in cells.attrs["comment"]
    assert "washing by rain" in cells.attrs["summary"]
    assert "by itself" in cells.attrs["accuracy"]
    assert "interpolated" in surface((-5.9, 43.6, -5.8, 43.7), 100).attrs["accuracy"]
    washed = cells["crc_washed"].attrs
    assert washed["flag_meanings"].split() == ["unknown", *CLASSES, "no_land"]
    assert washed["flag_values"].tolist() == [0, 1, 2, 3, 4, 5, 255]
    assert cells["scc_hazard"].attrs["units"] == "1"


def test_a_surface_is_the_same_by_threads_and_in_blocks(monkeypatch):
    monkeypatch.setattr(openness, "sea_openness", wavy)
    whole = surface((-5.0, 43.3, -4.8, 43.45), 1500).compute(scheduler="synchronous")
    monkeypatch.setattr("saltreach.assessment.surface_grid.BLOCK_CELLS", 8)
    parts = surface((-5.0, 43.3, -4.8, 43.45), 1500)
    assert parts["scc_hazard"].data.numblocks == (2, 2)
    parts = parts.compute(scheduler="threads")
    for band in (*NUMBERS, *CLASS_BANDS):
        # quantiles by Newton's method stop where the last of those asked together is near enough
        np.testing.assert_allclose(whole[band.name], parts[band.name], rtol=1e-4)
