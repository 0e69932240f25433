"""A map in tiles: every anchor in one of them, nothing lost, every cell as on a whole page."""

import base64
import json
import re
import zlib

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
import shapely
from hypothesis import given
from hypothesis import strategies as st

from helpers import synthetic
from helpers.pages import Page
from saltreach.outputs.html import json_text
from saltreach.outputs.map.page import map_data, map_page
from saltreach.outputs.map.tiles import (
    NOWHERE_DEG,
    WHOLE_ANCHORS,
    WHOLE_SECTORS,
    needed,
    tiles_of,
)

FULL = 150


@pytest.fixture(scope="module")
def region():
    anchors = synthetic.anchors()
    sectors = synthetic.sectors(anchors).iloc[1:]  # the anchors of one have no sector
    return sectors, anchors, synthetic.land(), synthetic.provenance()


@pytest.fixture(scope="module")
def events(region):
    named = region[1]["anchor_id"].iloc[[7, 410, 7]].tolist()
    said = ["</script><script>alert(3)</script>", "sound", ""]
    return pd.DataFrame({"anchor_id": named, "happened_on": ["2026-05-01", "2025-02", "2024"],
                         "kind": "looked at", "who": "A", "said": said})  # fmt: skip


def opened(text):
    """What a page with tiles holds: the overview, and each tile unpacked."""
    found = Page(text).scripts
    tiles = [
        json.loads(zlib.decompress(base64.b64decode(found[name])))
        for name in found
        if re.fullmatch(r"tile-\d+", name)
    ]
    return json.loads(found["map-data"]), tiles


@pytest.fixture(scope="module")
def page(region, events):
    sectors, anchors, land, provenance = region
    text = map_page(sectors, anchors, land, provenance, title="R", events=events, tile_anchors=FULL)
    return text, *opened(text)


@pytest.fixture(scope="module")
def whole(region):
    sectors, anchors, land, provenance = region
    return json.loads(json_text(map_data(sectors, anchors, land, provenance, title="R")))


def degrees(steps):
    return np.cumsum(np.reshape(steps, (-1, 2)), axis=0) / 1e6


def test_every_anchor_is_in_one_tile_with_all_that_the_whole_page_says_of_it(page, whole, region):
    _, data, tiles = page
    assert len(tiles) == len(data["anchors"]["start"]) - 1 > 4
    ids = [one for tile in tiles for one in tile["anchors"]["anchor_id"]]
    assert sorted(ids) == sorted(region[1]["anchor_id"])
    assert data["anchors"]["count"] == len(ids) == data["anchors"]["start"][-1]
    row = {name: k for k, name in enumerate(whole["anchors"]["anchor_id"])}
    for k, tile in enumerate(tiles):
        own = tile["anchors"]
        start = data["anchors"]["start"]
        assert len(own["anchor_id"]) == start[k + 1] - start[k] <= FULL
        rows = [row[name] for name in own["anchor_id"]]
        for name in ("lon", "lat"):
            want = [whole["anchors"][name][r] for r in rows]
            np.testing.assert_allclose(np.cumsum(own[name]) / 1e6, want, rtol=0, atol=1e-9)
        assert own["sector"] == [whole["anchors"]["sector"][r] for r in rows]
        for name, column in whole["anchors"].items():
            if not isinstance(column, dict):
                continue
            mine = [own[name]["values"][c] if c >= 0 else None for c in own[name]["codes"]]
            codes = [column["codes"][r] for r in rows]
            assert mine == [column["values"][c] if c >= 0 else None for c in codes], name


def test_sectors_are_those_of_the_whole_page(page, whole):
    _, data, tiles = page
    table, of = whole["sectors"], data["sectors"]
    count = len(table["crag"])
    assert sorted(i for tile in tiles for i in tile["sector"]) == list(range(count))
    for name, column in of.items():
        if name in table and isinstance(column, dict):
            mine = [column["values"][c] if c >= 0 else None for c in column["codes"]]
            assert mine == table[name], name
    assert set(table) <= set(of) | set(tiles[0]["columns"]) | {"outline"}
    for k, tile in enumerate(tiles):
        for at, i in enumerate(tile["sector"]):
            assert of["tile"][i] == k
            for name, values in tile["columns"].items():
                assert values[at] == table[name][i], name
            rings = [np.reshape(ring, (-1, 2)) for ring in table["outline"][i]]
            for mine, ring in zip(tile["outline"][at], rings, strict=True):
                np.testing.assert_allclose(degrees(mine), ring, rtol=0, atol=1e-9)
            west, south, east, north = np.array(of["box"][i]) / 1e6
            assert (np.concatenate(rings) >= [west - 1e-9, south - 1e-9]).all()
            assert (np.concatenate(rings) <= [east + 1e-9, north + 1e-9]).all()
    labels = np.array(of["label"]) / 1e6
    np.testing.assert_allclose(labels, table["label"], rtol=0, atol=1e-9)


@pytest.mark.pinned("worked")
def test_bands_to_come_are_digits_by_year(page, whole):
    """A curve from 2e-2, ten times as much after 30 years: 1e-1 after 20.97 of them."""
    _, data, _ = page
    column = data["sectors"]["bands_to_come"]
    curves = whole["sectors"]["failure_curve"]
    at = next(k for k, curve in enumerate(curves) if curve and curve[0] == 2e-2)
    limits = data["band_limits"]
    assert limits == [5e-4, 5e-3, 2e-2, 1e-1]
    assert column["values"][column["codes"][at]] == "3" * 21 + "4" * 10
    for code, curve in zip(column["codes"], curves, strict=True):
        digits = None if curve is None else [sum(p >= x for x in limits) for p in curve]
        assert digits == (None if code < 0 else list(map(int, column["values"][code])))


def test_events_go_with_their_anchors(page, events):
    _, data, tiles = page
    found = []
    for k, tile in enumerate(tiles):
        for at, anchor in enumerate(tile["events"]["anchor"]):
            name = tile["anchors"]["anchor_id"][anchor - data["anchors"]["start"][k]]
            found.append((name, tile["events"]["happened_on"][at], tile["events"]["said"][at]))
    assert len(found) == len(events) == 3
    want = zip(events["anchor_id"], events["happened_on"], events["said"], strict=True)
    assert {(name, day, said or "") for name, day, said in found} == set(want)


def test_hostile_names_stay_inside_the_tiles(page, region):
    text, data, tiles = page
    assert set(synthetic.HOSTILE_CRAGS) <= set(data["sectors"]["crag"]["values"])
    for k in range(len(tiles)):
        packed = re.search(rf'<script type="text/plain" id="tile-{k}">([^<]*)</script>', text)
        assert re.fullmatch(r"[A-Za-z0-9+/]+=*", packed.group(1))
    assert "alert(3)" not in text  # said of an anchor: packed
    # tiles come after the scripts, so that the map is drawn while they are still read
    assert text.index('id="tile-0"') > text.rindex("dataset.ready")


def test_names_are_in_the_order_of_their_numbers():
    names = ["Wall 10", "Wall 9", "Épée 2", "epee 1", None, "wall 1"]
    anchors = gpd.GeoDataFrame(
        {"anchor_id": list("abcdef"), "crag": "C", "sector": names},
        geometry=gpd.points_from_xy(range(6), [0] * 6), crs=4326,
    )  # fmt: skip
    shapes = shapely.buffer(anchors.geometry.values, 0.01)
    sectors = anchors[["crag", "sector", "geometry"]].set_geometry(shapes)
    text = map_page(sectors, anchors, anchors.iloc[:0], {}, title="R", tile_anchors=9)
    data, _ = opened(text)
    table = data["sectors"]
    listed = [table["sector"]["values"][c] if c >= 0 else None for c in table["sector"]["codes"]]
    ordered = [name for _, name in sorted(zip(table["name_rank"], listed, strict=True))]
    assert ordered == ["epee 1", "Épée 2", "wall 1", "Wall 9", "Wall 10", None]


def test_only_very_large_maps_have_tiles(region):
    assert not needed(WHOLE_ANCHORS, WHOLE_SECTORS)
    assert needed(WHOLE_ANCHORS + 1, 1) and needed(1, WHOLE_SECTORS + 1)
    sectors, anchors, land, provenance = region
    text = map_page(sectors, anchors, land, provenance, title="R")
    assert "tile-0" not in Page(text).scripts


def test_same_input_same_tiles(region, page, events):
    again = map_page(*region, title="R", events=events, tile_anchors=FULL)
    assert again == page[0]


def test_nothing_at_all_in_tiles():
    empty = gpd.GeoDataFrame({"crag": [], "sector": []}, geometry=[], crs=4326)
    data, tiles = opened(map_page(empty, empty, empty, {}, title="R", tile_anchors=10))
    assert tiles == [] and data["anchors"] == {"count": 0, "start": [0], "loose": []}


PLACES = st.tuples(st.floats(-400, 400), st.floats(-90, 90))


@given(
    labels=st.lists(PLACES | st.just((np.nan, np.nan)), max_size=30),
    anchors=st.lists(st.tuples(st.integers(-1, 29), PLACES | st.just((np.nan, 1.0))), max_size=80),
    full=st.integers(1, 60),
)
def test_tiles_part_the_anchors_and_keep_sectors_whole(labels, anchors, full):
    sector = np.array([of if of < len(labels) else -1 for of, _ in anchors], dtype=np.int64)
    places = np.array([at for _, at in anchors], dtype=float).reshape(-1, 2)
    tiles = tiles_of(np.array(labels, dtype=float).reshape(-1, 2), sector, places, full)
    assert sorted(tiles.order.tolist()) == list(range(len(anchors)))
    assert tiles.start[0] == 0 and tiles.start[-1] == len(anchors)
    assert (np.diff(tiles.start) >= 0).all()
    tile = np.repeat(np.arange(len(tiles.start) - 1), np.diff(tiles.start))
    of = sector[tiles.order]
    assert (tile[of >= 0] == tiles.of_sector[of[of >= 0]]).all()
    assert (tile[of < 0] > tiles.of_sector.max(initial=-1)).all()
    for k in np.unique(tile):
        members = np.unique(of[tile == k])
        assert (tile == k).sum() <= full or len(members[members >= 0]) == 1


def test_a_position_that_is_not_known_is_off_every_map(region):
    sectors, anchors, land, provenance = region
    lost = anchors.copy()
    lost.loc[3, "geometry"] = None
    text = map_page(sectors, lost.set_geometry("geometry"), land, provenance, title="R",
                    tile_anchors=FULL)  # fmt: skip
    _, tiles = opened(text)
    own = next(t["anchors"] for t in tiles if lost["anchor_id"][3] in t["anchors"]["anchor_id"])
    at = own["anchor_id"].index(lost["anchor_id"][3])
    assert np.cumsum(own["lat"])[at] / 1e6 == pytest.approx(NOWHERE_DEG)
