"""The landowner's map in a real browser with the network off."""

from __future__ import annotations

from io import BytesIO

import pytest
from pypdf import PdfReader

from helpers.accessibility import assert_accessible, findings
from helpers.holding_region import HOSTILE, anchors, assessment, holding
from helpers.pages import DESKTOP, PHONE
from saltreach.outputs.landowner.page import landowner

pytestmark = pytest.mark.browser

SIZES = {"desktop": DESKTOP, "phone": PHONE}


@pytest.fixture(scope="module")
def file(tmp_path_factory):
    import shapely

    points = anchors()
    land = shapely.box(-4.99, 43.36, -4.76, 43.47)
    out = tmp_path_factory.mktemp("landowner")
    return landowner(assessment(points), holding(points, land=land), out).files[0]


@pytest.fixture
def opened(watched, file):
    return lambda size="desktop", **options: watched(file, viewport=SIZES[size], **options)


@pytest.mark.parametrize("size", SIZES)
def test_it_opens_and_shows_who_to_call_the_map_and_the_caution(opened, size):
    page = opened(size)
    assert page.locator("h1").inner_text() == "Climbing anchors on the test land"
    assert page.locator(".reach a").first.get_attribute("href") == "tel:+441632960123"
    assert page.locator(".holding-map .edge").count() == 6
    assert page.locator(".caution").is_visible()
    box = page.locator(".holding-map").bounding_box()
    assert box["width"] > 0.8 * min(SIZES[size]["width"], 620)
    wide = page.evaluate("document.documentElement.scrollWidth")
    assert wide <= SIZES[size]["width"], "the page scrolls sideways"
    letters = page.locator(".number").first.bounding_box()["height"]
    assert letters >= 11, "the numbers on the map are too small to read"


@pytest.mark.parametrize("size", SIZES)
def test_hostile_names_are_text(opened, size):
    page = opened(size)
    shown = page.locator("tbody").inner_text()
    for name in HOSTILE:
        assert name in shown
    assert page.locator("img, script, iframe, b").count() == 0
    assert "Test & <b>Sons</b>" in page.locator(".organisation").inner_text()


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize("size", SIZES)
def test_axe_finds_nothing_serious(opened, size, scheme):
    assert_accessible(opened(size, color_scheme=scheme))


def test_the_accessibility_check_finds_a_planted_fault(opened):
    page = opened()
    page.evaluate("document.querySelector('.lead').setAttribute('aria-hiden', 'x')")
    page.evaluate(
        "document.querySelector('main').insertAdjacentHTML('beforeend', '<button></button>')"
    )
    assert any(line.startswith("button-name") for line in findings(page))


def test_keyboard_reaches_each_area_and_leads_to_its_row(opened):
    page = opened()
    seen = []
    for _ in range(8):
        page.keyboard.press("Tab")
        seen.append(page.evaluate("document.activeElement.getAttribute('href')"))
    assert seen[:2] == ["tel:+441632960123", "mailto:a@example.org"]
    assert [f"#place-{n}" for n in range(1, 7)] == [x for x in seen if x and x[0] == "#"]
    page.locator('a[href="#place-3"]').focus()
    page.keyboard.press("Enter")
    assert page.url.endswith("#place-3")
    assert page.locator("tr:target .no").inner_text() == "3"


def test_colour_is_never_alone_on_the_map_and_in_the_list(opened):
    page = opened()
    letters = page.locator(".holding-map .tag text:last-child").all_text_contents()
    assert letters == page.locator("tbody .swatch text").all_text_contents()
    assert len(set(letters)) == 6


def test_print_is_a_clean_page(opened):
    page = opened()
    page.emulate_media(media="print")
    colour = page.evaluate("getComputedStyle(document.body).backgroundColor")
    assert colour == "rgb(255, 255, 255)"
    pdf = page.pdf(prefer_css_page_size=True)
    assert len(PdfReader(BytesIO(pdf)).pages) <= 2
