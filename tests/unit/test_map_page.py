"""The door for data, and the written page, without a browser (tests/browser opens it)."""

import json
import re

import folium
import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
import shapely

from helpers import synthetic
from helpers.pages import Page, write_map
from saltreach.assessment.shapes import sector_shapes
from saltreach.errors import OptionError
from saltreach.folders.files import atomic_write
from saltreach.outputs.html import asset_text, json_block, json_text, render_template
from saltreach.outputs.map.page import SCRIPTS, map_data
from saltreach.outputs.map.texts import catalogue
from saltreach.vocabulary.words import BANDS


@pytest.fixture(scope="module")
def region():
    anchors = synthetic.anchors()
    return synthetic.sectors(anchors), anchors, synthetic.land(), synthetic.provenance()


@pytest.mark.parametrize(
    "text",
    [
        "</script><script>alert(1)</script>",
        "<!--",
        "${7*7}",
        "`",
        "&lt;",
        "\u2028\u2029",
        "é ' \" \\",
    ],
)
def test_any_text_comes_back_unchanged_through_the_door(text):
    block = json_block({"name": text, text: [text]}, "some-data")
    parsed = Page(block)
    # An HTML parser sees one script element and nothing else.
    assert [tag for tag, _ in parsed.elements] == ["script"]
    assert json.loads(parsed.scripts["some-data"]) == {"name": text, text: [text]}
    inner = block[block.index(">") + 1 : -len("</script>")]
    assert not re.search("[<>&\u2028\u2029]", inner)


def test_what_json_cannot_say_becomes_null():
    data = {
        "a": [np.nan, np.inf, -np.inf, pd.NA, pd.NaT, None],
        "b": np.array([1.5, np.nan]),
        "c": np.int64(3),
        "d": pd.Timestamp("2027-01-02"),
        "e": True,
    }
    read = json.loads(json_text(data), parse_constant=lambda name: pytest.fail(name))
    assert read == {
        "a": [None] * 6,
        "b": [1.5, None],
        "c": 3,
        "d": "2027-01-02 00:00:00",
        "e": True,
    }


def test_element_ids_are_plain():
    with pytest.raises(OptionError, match="element id"):
        json_block({}, 'x" onload="alert(1)')


def test_templates_escape():
    page = render_template(
        "map/map.html",
        title="<b>&",
        texts=catalogue("en"),
        left_out=False,
        policy="",
        styles=[],
        scripts=[],
        map_body="",
        leaflet_licence="",
        blocks=[],
        languages=[],
        colourings=[],
        attributions=[],
        backdrop=False,
        raster=None,
    )
    assert "<h1>&lt;b&gt;&amp;</h1>" in page


def test_files_are_written_whole_or_not_at_all(tmp_path):
    path = atomic_write(tmp_path / "new" / "page.html", "one")
    with pytest.raises(UnicodeEncodeError):
        atomic_write(path, "two \ud800")
    assert path.read_text(encoding="utf-8") == "one"
    assert [found.name for found in path.parent.iterdir()] == ["page.html"]


def test_same_input_same_bytes(region, tmp_path):
    one = write_map(*region, tmp_path / "one.html", title="Region", tiles="OpenStreetMap")
    two = write_map(*region, tmp_path / "two.html", title="Region", tiles="OpenStreetMap")
    assert one.read_bytes() == two.read_bytes()


def test_the_page_asks_for_no_other_file_and_leaves_folium_as_it_was(region, tmp_path):
    links_before = [*folium.Map.default_js], [*folium.Map.default_css]
    page = write_map(*region, tmp_path / "map.html", title="Region").read_text(encoding="utf-8")
    assert ([*folium.Map.default_js], [*folium.Map.default_css]) == links_before
    elements = Page(page).elements
    assert not [a for _, a in elements if "src" in a]
    assert [a["href"] for _, a in elements if "href" in a] == ["data:,", "#sector-list"]
    assert not [name for _, a in elements for name in a if name.startswith("on") or name == "style"]
    assert "sourceMappingURL" not in page
    # Scripts make pictures of their own drawings: url(${...data}).
    assert not re.search(r"url\((?!#|\$\{swatch)", page)
    policy = next(a["content"] for t, a in elements if a.get("http-equiv"))
    assert "default-src 'none'" in policy
    assert "unsafe" not in policy
    assert "http" not in policy


def test_the_demo_size_stays_small(region, tmp_path):
    path = write_map(*region, tmp_path / "map.html", title="Region")
    assert len(region[1]) == 600
    assert path.stat().st_size < 3_000_000


@pytest.mark.parametrize(
    ("tiles", "source"),
    [
        ("OpenStreetMap", "https://tile.openstreetmap.org"),
        ("https://{s}.tiles.example/{z}/{x}/{y}.png", "https://*.tiles.example"),
        ("https://tiles.example:8080/{z}/{x}/{y}.png", "https://tiles.example:8080"),
        ("https://a;script-src *.example/{z}/{x}/{y}.png", "https:"),
    ],
)
def test_tiles_are_allowed_by_their_host_only(region, tmp_path, tiles, source):
    page = write_map(*region, tmp_path / "m.html", title="R", tiles=tiles).read_text("utf-8")
    policy = next(a["content"] for t, a in Page(page).elements if a.get("http-equiv"))
    assert f"img-src data: {source};" in policy


def test_unknown_tiles_are_refused(region, tmp_path):
    with pytest.raises(OptionError, match="not a known tile provider"):
        write_map(*region, tmp_path / "m.html", title="R", tiles="No Such Tiles")
    assert not list(tmp_path.iterdir())


def test_worst_comes_first_unless_there_is_a_rank(region):
    sectors, anchors, coast, provenance = region
    data = map_data(sectors, anchors, coast, provenance, title="R")["sectors"]
    bands = [BANDS.index(band) for band in data["risk_band"] if band is not None]
    assert bands == sorted(bands, reverse=True)
    assert data["risk_band"].iloc[-1] is None
    ranks = np.random.default_rng(1).permutation(len(sectors)) + 1.0
    ranks[4] = np.nan
    ranked = map_data(sectors.assign(priority_rank=ranks), anchors, coast, provenance, title="R")
    found = ranked["sectors"]["priority_rank"].to_numpy()
    assert (np.diff(found[:-1]) > 0).all()
    assert np.isnan(found[-1])


def test_every_anchor_finds_its_sector(region):
    sectors, anchors, coast, provenance = region
    data = map_data(sectors, anchors, coast, provenance, title="R")
    of = data["anchors"]["sector"]
    assert (of >= 0).all()
    assert (data["sectors"]["crag"].to_numpy()[of] == anchors["crag"].to_numpy()).all()
    assert (data["sectors"]["sector"].to_numpy()[of] == anchors["sector"].to_numpy()).all()
    lost = map_data(sectors.iloc[1:], anchors, coast, provenance, title="R")["anchors"]["sector"]
    assert (lost == -1).sum() == int(sectors["anchors"].iloc[0])


def test_missing_columns_and_strange_values_are_unknown(tmp_path):
    anchors = gpd.GeoDataFrame(
        {"anchor_id": ["a"], "crag": ["c"], "sector": ["s"]},
        geometry=gpd.points_from_xy([-5], [43.4]),
        crs="EPSG:4326",
    )
    sectors = sector_shapes(anchors).assign(
        risk_band="terrible", category_probabilities="not json", sea_cliff=True, condition=3.0
    )
    data = json.loads(json_text(map_data(sectors, anchors, anchors.iloc[:0], {}, title="R")))
    table = data["sectors"]
    assert table["risk_band"] == [None]
    assert table["category_probabilities"] == [None]
    assert table["chloride_mg_m2_d"] == [None]
    assert table["reasons"] == [[]]
    assert table["sea_cliff"] == ["yes"]
    assert data["coast"] == {"kind": "none", "parts": []}
    assert write_map(
        sectors, anchors, anchors.iloc[:0], {}, tmp_path / "m.html", title="R"
    ).exists()


def test_nothing_at_all_still_gives_a_page(tmp_path):
    empty = gpd.GeoDataFrame(
        {"crag": pd.Series(dtype=object), "sector": pd.Series(dtype=object)},
        geometry=gpd.GeoSeries([], crs="EPSG:4326"),
    )
    assert write_map(empty, empty, empty, {}, tmp_path / "m.html", title="R").exists()


def test_outlines_are_the_shapes(region):
    sectors, anchors, coast, provenance = region
    data = map_data(sectors, anchors, coast, provenance, title="R")["sectors"]
    by_name = sectors.set_index(["crag", "sector"]).geometry
    for crag, sector, rings in zip(data["crag"], data["sector"], data["outline"], strict=True):
        drawn = shapely.Polygon(np.reshape(rings[0], (-1, 2)))
        # 6 decimals of a degree are about 0.1 m; the shapes are about 1e-5 square degrees.
        assert drawn.symmetric_difference(by_name[crag, sector]).area < 1e-7


def test_words_used_by_the_page_are_all_in_the_texts_file():
    texts = catalogue("en")
    for name in SCRIPTS:
        for key in re.findall(r"""\bt\("([a-z0-9_]+)\"""", asset_text(name)):
            assert key in texts, f"{name}: {key}"
        for key in re.findall(r"""\bmany\("([a-z0-9_]+)\"""", asset_text(name)):
            assert {f"{key}_one", f"{key}_many"} <= set(texts), f"{name}: {key}"
    template = asset_text("map/map.html")
    for key in re.findall(r"""texts\.(\w+)|data-t[a-z-]*="(\w+)|said\("(\w+)""", template):
        assert "".join(dict.fromkeys(key)) in texts
    for band in (*BANDS, "unknown"):
        assert texts[f"band_{band}"]


def test_curves_are_read_or_left_out(region):
    sectors, anchors, coast, provenance = region
    curve = [0.001 * (k + 1) for k in range(31)]
    given = [json.dumps(curve), curve, "", "[0.1]", "not json", None, json.dumps([2.0] * 31)]
    column = pd.Series(given + [""] * (len(sectors) - len(given)), dtype=object)
    data = map_data(sectors.assign(failure_curve=column), anchors, coast, provenance, title="R")
    read = [c for c in data["sectors"]["failure_curve"] if c is not None]
    assert read == [pytest.approx(curve, rel=0.005)] * 2
