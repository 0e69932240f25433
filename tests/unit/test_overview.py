"""The overview picture: complete, repeatable, harmless."""

import io

import numpy as np
import pytest
from PIL import Image

from helpers.holding_region import HOSTILE, anchors, assessment
from saltreach.errors import OptionError
from saltreach.outputs.map.colourings import BAND_STYLES, UNKNOWN_STYLE
from saltreach.outputs.pictures import overview
from saltreach.outputs.pictures.overview import write_overview


def texts_of(svg):
    """The SVG draws letters as outlines; matplotlib writes each text beside them as a comment."""
    import re

    return re.findall(r"<!-- (.*?) -->", svg, re.S)


def names_on(result):
    """Texts of the drawing itself: those with a halo have no comment in the SVG."""
    from matplotlib.backends.backend_agg import FigureCanvasAgg
    from matplotlib.figure import Figure

    figure = Figure(dpi=100)
    FigureCanvasAgg(figure)
    overview._draw(figure, result, "T")
    return {text.get_text() for text in figure.texts}


@pytest.fixture(scope="module")
def result():
    return assessment(anchors())


@pytest.mark.parametrize("ending", ["png", "svg"])
def test_same_input_same_bytes(result, tmp_path, ending):
    first = write_overview(result, tmp_path / f"a.{ending}", title="T").read_bytes()
    assert first == write_overview(result, tmp_path / f"b.{ending}", title="T").read_bytes()
    assert b"2026-07-01T" not in first


def test_picture_has_legend_scale_north_caution_source_and_names(result, tmp_path):
    svg = write_overview(result, tmp_path / "o.svg", title="The north coast").read_text()
    texts = texts_of(svg)
    said = " ".join(texts)
    for words in ("The north coast", "never a certificate", "Shoreline: GSHHG", "240 anchors",
                  "as of 2026-07-01", " km"):  # fmt: skip
        assert words in said, words
    shortened = {n if len(n) <= 28 else n[:27] + "…" for n in HOSTILE}
    assert {"Cabo Uno", "Peña Dos", *shortened} <= names_on(result)
    assert "N" in texts
    counts = result.flat.sectors["risk_band"].value_counts()
    for style in (*BAND_STYLES, UNKNOWN_STYLE):
        assert style.letter in texts
        n = counts.get(style.word if style is not UNKNOWN_STYLE else "", 0)
        assert any(t.startswith(f"{style.word.capitalize()}: {n} sector") for t in texts)
    assert any("° W" in text for text in texts)
    assert any("° N" in text for text in texts)


def test_hostile_names_neither_run_nor_break_the_drawing(result, tmp_path):
    svg = write_overview(result, tmp_path / "o.svg", title="$\\frac{</svg><script>").read_text()
    assert "<script" not in svg
    assert "<img" not in svg
    from xml.etree import ElementTree

    ElementTree.fromstring(svg)


def test_picture_shows_each_band_in_its_colour_and_sea_and_land(result, tmp_path):
    path = write_overview(result, tmp_path / "o.png", title="T")
    pixels = np.asarray(Image.open(io.BytesIO(path.read_bytes())).convert("RGB")).reshape(-1, 3)
    colours, counts = np.unique(pixels, axis=0, return_counts=True)
    found = {tuple(c): n for c, n in zip(colours.tolist(), counts.tolist(), strict=True)}
    for style in (*BAND_STYLES, UNKNOWN_STYLE):
        rgb = tuple(int(style.fill[i : i + 2], 16) for i in (1, 3, 5))
        assert found.get(rgb, 0) > 200, style.word
    share = {name: found[rgb] / len(pixels) for name, rgb in
             {"sea": (0xDF, 0xEA, 0xEE), "land": (0xF3, 0xEF, 0xE6)}.items()}  # fmt: skip
    assert min(share.values()) > 0.05


def test_another_ending_is_refused(result, tmp_path):
    with pytest.raises(OptionError, match=r"\.png or \.svg"):
        write_overview(result, tmp_path / "o.jpg", title="T")
    assert not list(tmp_path.iterdir())


def test_region_across_the_antimeridian_is_drawn_in_one_piece(tmp_path):
    far = assessment(anchors(centre=(179.95, -16.5), names=("Uno", "Dos", "Tres")))
    texts = texts_of(write_overview(far, tmp_path / "o.svg", title="T").read_text())
    assert any("° E" in text for text in texts)
    assert any("° W" in text for text in texts)
    assert {"Uno", "Dos", "Tres"} <= names_on(far)
