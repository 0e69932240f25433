"""A surface behind the map: which file is drawn, how large, in which colours and words."""

import base64
import io

import numpy as np
import pandas as pd
import pytest
import rasterio
from rasterio.transform import from_origin

from saltreach.assessment.surface_cells import CLASS_BANDS, NUMBERS, SEA_CODE
from saltreach.assessment.surface_picture import Picture, coverage_note, surface_picture
from saltreach.errors import LayerError
from saltreach.outputs.map.colourings import INTERVAL_STYLES, METAL_STYLES
from saltreach.outputs.map.surface import MOST_BYTES, surface_data
from saltreach.outputs.map.texts import catalogue

CATEGORY, METAL = CLASS_BANDS[0], CLASS_BANDS[-1]


def written(file, codes, names, dtype="uint8"):
    codes = np.atleast_3d(codes).transpose(2, 0, 1) if np.ndim(codes) == 2 else codes
    about = {"driver": "GTiff", "width": codes.shape[2], "height": codes.shape[1],
             "count": len(names), "dtype": dtype, "crs": "EPSG:4326", "nodata": SEA_CODE,
             "transform": from_origin(-5.0, 44.0, 0.01, 0.01)}  # fmt: skip
    with rasterio.open(file, "w", **about) as to:
        to.write(np.broadcast_to(codes, (len(names), *codes.shape[1:])).astype(dtype))
        to.descriptions = names
    return file


@pytest.fixture
def category(tmp_path):
    codes = np.full((100, 50), SEA_CODE)
    codes[50:] = 3
    codes[60:, 25:] = 5
    return written(tmp_path / "x_corrosivity_category.tif", codes, [CATEGORY.name])


@pytest.mark.pinned("worked")
def test_rows_are_even_in_web_mercator(category):
    """From 44 N to 43 N: 43.5 N lies at 0.5041 of the way down.

    y(44) = 0.856749, y(43.5) = 0.844594, y(43) = 0.832639 by ln(tan(pi/4 + lat/2)):
    (0.856749 - 0.844594) / (0.856749 - 0.832639) = 0.5041.
    """
    found = surface_picture(category, most_pixels=1000)
    land = found.codes[:, 0] != SEA_CODE
    assert land.argmax() / len(land) == pytest.approx(0.5041, abs=0.01)
    assert found.bounds_deg == pytest.approx((-5.0, 43.0, -4.5, 44.0))
    assert set(np.unique(found.codes)) == {3, 5, SEA_CODE}


def test_the_file_of_the_numbers_stands_for_the_category_beside_it(category, tmp_path):
    numbers = written(tmp_path / "x.tif", np.ones((100, 50)), [b.name for b in NUMBERS], "float32")
    assert surface_picture(numbers).band == CATEGORY
    assert np.array_equal(surface_picture(numbers).codes, surface_picture(category).codes)


@pytest.mark.parametrize("name", ["none.tif", "text.tif", "other.tif"])
def test_what_is_no_surface_is_said(name, tmp_path):
    (tmp_path / "text.tif").write_text("no raster")
    written(tmp_path / "other.tif", np.ones((4, 4)), ["height"])
    with pytest.raises(LayerError, match=rf"{name}.*give a .tif that `saltreach surface` wrote"):
        surface_picture(tmp_path / name)


def test_a_large_raster_becomes_a_small_picture(tmp_path):
    codes = np.full((3000, 2500), 2)
    file = written(tmp_path / "large.tif", codes, [METAL.name])
    assert max(surface_picture(file).codes.shape) <= 1500
    noise = np.random.default_rng(0).integers(1, 6, (1500, 1500)).astype(np.uint8)
    drawn = surface_data(Picture(METAL, noise, (-5.0, 43.0, -4.0, 44.0)))
    assert len(base64.b64decode(drawn["url"].split(",")[1])) <= MOST_BYTES


@pytest.mark.filterwarnings("ignore::rasterio.errors.NotGeoreferencedWarning")
def test_the_picture_has_the_colours_of_its_legend(category):
    drawn = surface_data(surface_picture(category))
    assert [row[0] for row in drawn["legend"]] == ["C3", "C5"]  # what is there, and no more
    assert [row[2] for row in drawn["legend"]] == [INTERVAL_STYLES[k].fill for k in (2, 4)]
    with rasterio.open(io.BytesIO(base64.b64decode(drawn["url"].split(",")[1]))) as picture:
        table = picture.colormap(1)
    assert "#{:02x}{:02x}{:02x}".format(*table[3][:3]) == INTERVAL_STYLES[2].fill
    assert drawn["title"] in catalogue("de")
    assert table[SEA_CODE][3] == 0  # the sea stays the map's own


@pytest.mark.pinned("worked")
def test_sectors_that_a_surface_does_not_reach_are_counted(category):
    """The picture is of -5 to -4.5 E, 43 to 44 N; an anchor on its edge counts as inside."""
    found = surface_picture(category)
    anchors = pd.DataFrame(
        {"crag": ["Alder", "Alder", "Alder", "Bay"], "sector": ["N", "N", "S", "N"],
         "lon": [-5.3, -5.0, -4.6, -4.5], "lat": [43.5, 43.0, 44.0, 43.2]}
    )  # fmt: skip
    assert coverage_note(found, anchors) == ""
    assert coverage_note(found, anchors.assign(lon=[-5.3, -5.01, -4.6, -4.4])) == (
        "it covers 1 of 3 sectors"
    )
    far = anchors.assign(lon=[-6.34, -6.0, -5.96, -5.8], lat=[43.5, 43.0, 43.49, 43.2])
    assert coverage_note(found, far) == (
        "it covers none of the sectors, so nothing of it is seen behind them: it is of the box "
        "-5 43 -4.5 44 (W S E N), and the anchors lie in -6.4 43 -5.7 43.6; make one with "
        "saltreach surface --bbox -6.4 43 -5.7 43.6"
    )
    for off in ({"lat": [42.9] * 4}, {"lat": [44.1] * 4}, {"lon": [-4.4] * 4}):
        assert "covers none of the" in coverage_note(found, anchors.assign(**off))


def test_metals_are_said_in_the_words_of_the_page():
    codes = np.array([[0, 1], [5, SEA_CODE]], np.uint8)
    legend = surface_data(Picture(METAL, codes, (-5.0, 43.0, -4.0, 44.0)))["legend"]
    assert legend[0][:2] == ["unknown", "unknown_word"]
    assert legend[1] == ["304", "material_304", METAL_STYLES[0].fill]
    assert legend[2][1] == "material_titanium"
