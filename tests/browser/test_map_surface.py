"""A surface behind the map, in a real browser with the network off."""

from __future__ import annotations

import numpy as np
import pytest

from helpers import synthetic
from helpers.accessibility import assert_accessible
from helpers.pages import DESKTOP, write_map
from saltreach.assessment.surface_cells import CLASS_BANDS
from saltreach.assessment.surface_picture import Picture
from saltreach.outputs.map.texts import catalogue

pytestmark = pytest.mark.browser
METAL = CLASS_BANDS[-1]
SEEN = """
() => {
  const canvas = [...document.querySelectorAll("canvas")].sort((a, b) => b.width - a.width)[0];
  const copy = document.createElement("canvas");
  [copy.width, copy.height] = [canvas.width, canvas.height];
  const ctx = copy.getContext("2d", { willReadFrequently: true });
  ctx.drawImage(canvas, 0, 0);
  const { data } = ctx.getImageData(0, 0, copy.width, copy.height);
  let sum = 0;
  for (let k = 0; k < data.length; k += 4) sum += data[k] + 3 * data[k + 1] + 7 * data[k + 2];
  return sum;
}
"""


def test_a_surface_is_drawn_with_a_legend_and_can_be_turned_off(watched, tmp_path):
    anchors = synthetic.anchors()
    region = synthetic.sectors(anchors), anchors, synthetic.land(), synthetic.provenance()
    west, south, east, north = anchors.total_bounds
    codes = np.full((60, 80), 5, np.uint8)
    codes[:, 40:] = 1
    picture = Picture(METAL, codes, (west - 1, south - 1, east + 1, north + 1))
    file = write_map(*region, tmp_path / "map.html", title="Region", surface=picture)
    page = watched(file, viewport=DESKTOP, locale="en-GB")
    page.wait_for_selector("html[data-ready=yes]", state="attached")
    legend = page.locator("#raster-legend")
    assert "Metal for an ordinary anchor" in legend.inner_text()
    assert legend.locator(".key").all_inner_texts() == ["304", "titanium"]
    fills = legend.locator(".swatch").evaluate_all("all => all.map(e => e.style.background)")
    assert len(set(fills)) == 2
    assert all(fills)
    page.wait_for_function("saltreach.raster.wanted")
    with_it = page.evaluate(SEEN)
    page.uncheck("#raster")
    page.wait_for_function(f"({SEEN})() !== {with_it}")
    assert legend.is_hidden()
    page.check("#raster")
    page.wait_for_function(f"({SEEN})() === {with_it}")
    page.select_option("#language", "de")
    assert catalogue("de")[f"raster_{METAL.name}"] in legend.inner_text()
    assert_accessible(page)
