"""A map in tiles in a real browser with the network off: the same map, opened part by part."""

from __future__ import annotations

import pandas as pd
import pytest

from helpers import synthetic
from helpers.accessibility import assert_accessible
from helpers.pages import DESKTOP, PHONE, watch, write_map

pytestmark = pytest.mark.browser

FULL, CRAGS, ROWS = 80, 60, 200
SAID = "<img src=x onerror=alert(4)>"


@pytest.fixture(scope="module")
def region():
    anchors = synthetic.anchors(1200, crags=CRAGS)
    hostile = anchors["crag"] == anchors["crag"].iloc[0]
    anchors.loc[hostile, "crag"] = synthetic.HOSTILE_CRAGS[0]
    anchors.loc[anchors.index[hostile][0], "anchor_id"] = "</script>${7*7}"
    return synthetic.sectors(anchors), anchors, synthetic.land(), synthetic.provenance()


@pytest.fixture(scope="module")
def tiled_file(region, tmp_path_factory):
    events = pd.DataFrame({"anchor_id": ["</script>${7*7}"], "happened_on": ["2026-05-01"],
                           "kind": ["looked at"], "who": ["A"], "said": [SAID]})  # fmt: skip
    path = tmp_path_factory.mktemp("tiled") / "map.html"
    return write_map(*region, path, title="Tiled", events=events, tile_anchors=FULL)


def drawn(page):
    page.wait_for_selector("html[data-ready=yes]", state="attached")
    return page


@pytest.fixture(scope="module")
def kept_open(new_context, tiled_file):
    context, troubles = new_context(viewport=DESKTOP, locale="en-GB"), []
    page = context.new_page()
    watch(page, troubles)
    page.goto(tiled_file.as_uri())
    yield drawn(page), troubles
    context.close()


@pytest.fixture
def page(kept_open):
    """The map, opened once and put back before each test."""
    page, troubles = kept_open
    page.evaluate("""() => {
      saltreach.closeCard();
      document.getElementById("clear").click();
      const order = document.getElementById("order");
      order.value = "risk";
      order.dispatchEvent(new Event("change"));
      document.getElementById("whole").click();
    }""")
    yield page
    assert troubles == []


def items(page):
    return page.locator("#sector-list .item")


def opened(page):
    return page.evaluate("saltreach.anchors.opened().length")


def test_no_tile_is_opened_before_it_is_needed(watched, tiled_file, region):
    page = drawn(watched(tiled_file, viewport=DESKTOP, locale="en-GB"))
    assert page.locator("#summary").inner_text().startswith("240 sectors, 1,200 anchors")
    assert opened(page) == 0
    assert page.evaluate("saltreach.sectors.reasons") is None


def test_the_list_is_turned_by_pages_and_by_keyboard(page, region):
    assert len(region[0]) == 240
    assert items(page).count() == ROWS
    pager = page.locator(".pager")
    assert "1 to 200 of 240" in pager.text_content()
    last = items(page).last.text_content()
    page.get_by_role("button", name="Further").focus()
    page.keyboard.press("Enter")
    assert items(page).count() == 40
    assert "201 to 240 of 240" in pager.text_content()
    assert page.evaluate("document.activeElement.matches('.item')")
    assert page.get_by_role("button", name="Further").is_disabled()
    page.get_by_role("button", name="Back").click()
    assert items(page).last.text_content() == last
    page.locator("#find").fill("Crag 0017")
    assert items(page).count() == 4
    assert not pager.is_visible()
    assert page.locator("#count").inner_text() == "4 of 240 sectors"


def test_order_by_name_goes_by_number(page):
    page.select_option("#order", "name")
    names = page.locator("#sector-list .sub").all_text_contents()
    crags = [name for name in names if name.startswith("Crag")]
    assert crags == sorted(crags) and len(crags) > 190


def test_every_crag_is_offered(page, region):
    page.wait_for_function(
        "n => document.getElementById('crag').options.length === n + 1", arg=CRAGS
    )
    page.select_option("#crag", "Crag 0005")
    assert items(page).count() == 4


def test_a_sector_s_card_comes_from_its_tile_and_lists_its_anchors(page, region):
    sectors, anchors = region[:2]
    page.locator("#find").fill("Crag 0030 Main")
    items(page).click()
    card = page.locator("#card")
    card.wait_for()
    row = sectors[(sectors["crag"] == "Crag 0030") & (sectors["sector"] == "Main Face")].iloc[0]
    assert row["reasons"].split(" | ")[0] in card.inner_text()
    assert page.locator("#card svg.curve").count() == 1
    page.locator(".members summary").focus()
    page.keyboard.press("Enter")
    page.locator(".members button").first.wait_for()
    own = anchors[(anchors["crag"] == "Crag 0030") & (anchors["sector"] == "Main Face")]
    names = page.locator(".members button").evaluate_all("all => all.map(b => b.lastChild.data)")
    assert sorted(names) == sorted(own["anchor_id"])
    page.locator(".members button").first.focus()
    page.keyboard.press("Enter")
    assert page.locator("#card-title").inner_text() == f"Anchor {names[0]}"
    one = own.set_index("anchor_id").loc[names[0]]
    position = f"{one.geometry.y:.5f}, {one.geometry.x:.5f}"
    assert position in card.inner_text()
    assert one["interval_rule"] in card.inner_text()
    page.get_by_role("button", name="Back to the sector").click()
    assert page.locator("#card-title").inner_text() == "Main Face"
    page.keyboard.press("Escape")
    assert card.is_hidden()


CLOSE = """
([i, zoom]) => saltreach.map.setView(saltreach.boundsOf([i]).getCenter(), zoom, { animate: false })
"""
UNDER = """
(i) => saltreach.anchors.ofSector(i).map((k) => {
  const at = [saltreach.anchors.lat(k), saltreach.anchors.lon(k)];
  const point = saltreach.map.latLngToContainerPoint(at);
  return [point.x, point.y, saltreach.under(saltreach.map, point, 0)?.anchor ?? -1];
}).filter(([x, y, hit]) => hit >= 0)
"""


def test_anchors_appear_close_up_and_open(page):
    before = opened(page)
    page.evaluate(CLOSE, [20, 17])
    page.wait_for_function(f"(i) => ({UNDER})(i).length > 0", arg=20)
    assert before <= opened(page) < page.evaluate("saltreach.data.anchors.start.length - 1")
    box = page.locator(".folium-map").bounding_box()
    x, y, anchor = page.evaluate(UNDER, 20)[0]
    name = page.evaluate("(k) => saltreach.anchors.id(k)", anchor)
    page.mouse.click(box["x"] + x, box["y"] + y)
    assert page.locator("#card-title").inner_text() == f"Anchor {name}"


def test_the_years_to_come_colour_the_overview(page):
    today = page.evaluate("saltreach.sectors.risk_band")
    bands = page.evaluate("saltreach.data.bands.map((b) => b.word)")
    later = page.evaluate(
        "saltreach.sectors.crag.map((_, i) => saltreach.colouring.bandInYear(i, 30))"
    )
    worse = [bands.index(b) - bands.index(a) for a, b in zip(today, later, strict=True) if a and b]
    assert min(worse) == 0 < max(worse)


def test_hostile_names_are_text(page):
    page.locator("#find").fill("img src")
    page.locator("#sector-list .item", has_text="<img src=x").first.wait_for()
    assert items(page).first.inner_text().count("<img src=x onerror=alert(1)>") == 1
    for k in range(items(page).count()):
        items(page).nth(k).click()
        page.locator("#card").wait_for()
        page.locator(".members summary").click()
        page.locator(".members button").first.wait_for()
        button = page.locator(".members button", has_text="</script>${7*7}")
        if button.count():
            assert SAID in page.locator(".happened").inner_text()
            button.click()
            break
        page.keyboard.press("Escape")
    assert page.locator("#card-title").inner_text() == "Anchor </script>${7*7}"
    assert SAID in page.locator(".happened").inner_text()
    assert page.locator("#card img, #sector-list img").count() == 0


def test_tiles_are_closed_again_but_for_those_in_use(page):
    """More tiles than are kept are opened: the first are closed, the card's own is not."""
    items(page).nth(5).click()
    page.locator("#card").wait_for()
    chosen = page.evaluate("saltreach.state.selected")
    page.evaluate("""() => {
      const { map } = saltreach;
      map.stop().setView(map.getCenter(), map.getMinZoom(), { animate: false });
    }""")
    page.wait_for_function("saltreach.anchors.inView().length === 0")
    shape = page.evaluate("saltreach.sectors.outline[saltreach.state.selected].length")
    page.evaluate("""async () => {
      const { anchors, count } = saltreach;
      anchors.kept = 3;
      for (let i = 0; i < count; i += 1) await new Promise((done) => anchors.ready(i, done));
    }""")
    assert opened(page) <= 3 + 1 + page.evaluate("saltreach.anchors.inView().length")
    assert page.evaluate("(i) => saltreach.anchors.hasSector(i)", chosen)
    assert page.evaluate("(i) => saltreach.sectors.outline[i].length", chosen) == shape
    page.locator("#language").select_option("de")
    page.locator("#language").select_option("en")
    assert page.locator("#card").is_visible()
    page.evaluate("saltreach.anchors.kept = 60")


@pytest.mark.parametrize("viewport", [DESKTOP, PHONE], ids=["desk", "phone"])
def test_axe_finds_nothing_serious(watched, tiled_file, viewport):
    page = drawn(watched(tiled_file, viewport=viewport, locale="en-GB", bypass_csp=True))
    items(page).first.click()
    page.locator("#card").wait_for()
    page.locator(".members summary").click()
    assert_accessible(page)
