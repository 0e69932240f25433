"""The page for the phone, in a real browser with the network off."""

from __future__ import annotations

import hashlib
import io
import json
import math
import zipfile
from functools import partial
from http.server import SimpleHTTPRequestHandler, ThreadingHTTPServer
from threading import Thread

import numpy as np
import pytest
from geographiclib.geodesic import Geodesic
from PIL import Image

from helpers.accessibility import assert_accessible
from helpers.ensure_browser import chromium
from helpers.pages import PHONE, watch
from helpers.phone_trips import SHEET, look, place, stop, trip
from saltreach.intake.datasheet import expiry_of
from saltreach.outputs.phone.page import write_phone
from saltreach.science.rock.adhesive import cure_time_min, gel_time_min
from saltreach.vocabulary.words import CAUTION, DONE, FINDINGS

pytestmark = pytest.mark.browser
NARROW = {"width": 320, "height": 640}
PRINTED = [
    "10/27", "10.27", "10/2027", "10.2027", "2027-10", "202710", "1027", "102027", "2027-10-31",
    "31.10.2027", "31.11.2027", "13/27", "3/4/2027", "10-27", "soon", "",
]  # fmt: skip
MORNING = "2027-03-06T10:00:00"


@pytest.fixture(scope="module")
def trip_file(tmp_path_factory):
    return write_phone([trip()], tmp_path_factory.mktemp("phone"))[0]


def ready(page, path, *, time=MORNING, who="Ana"):
    """Opens the page at a time of day, and says who is there where it asks."""
    if time:
        page.clock.install(time=time)
    page.goto(path if isinstance(path, str) else path.as_uri())
    page.wait_for_selector("html[data-ready=yes]", state="attached")
    if who and page.locator("#who").count():
        page.fill("#who", who)
        page.locator("#view button").click()
        page.wait_for_selector(".row-button")
    return page


@pytest.fixture
def opened(new_context, trip_file):
    """Opens pages, each on a phone of its own; at the end none may have asked for anything."""
    contexts, troubles = [], []

    def open_one(path=trip_file, *, script="", time=MORNING, who="Ana", **options):
        context = new_context(**{"viewport": PHONE, "locale": "en-GB", **options})
        contexts.append(context)
        if script:
            context.add_init_script(script)
        page = context.new_page()
        watch(page, troubles)
        return ready(page, path, time=time, who=who)

    yield open_one
    for context in contexts:
        context.close()
    assert troubles == []


def show(page, view):
    page.evaluate(
        "(view) => new Promise((done) => {"
        " phone.on('landed', () => { if (phone.state.view === view) done(); });"
        " phone.show(view); })",
        view,
    )


def go(page, at):
    page.evaluate("(at) => phone.show('anchor', at)", at)
    page.wait_for_function("(at) => phone.state.at === at && phone.state.view === 'anchor'", arg=at)
    page.evaluate("document.querySelectorAll('details').forEach((one) => { one.open = true; })")


def tap(page, column, word):
    page.locator(f"#field-{column} button").get_by_text(word, exact=True).click()


def write(page, column, text):
    page.fill(f"#input-{column}", text)


def kept(page):
    page.evaluate("phone.store.settled()")
    return page


def given(page):
    """The return file as the page gives it: what it says, and the files by name."""
    kept(page)
    show(page, "return")
    with page.expect_download() as download:
        page.locator("#save").click()
    page.get_by_text("is in your downloads").wait_for()
    kept(page)
    archive = zipfile.ZipFile(download.value.path())
    assert archive.testzip() is None
    files = {name: archive.read(name) for name in archive.namelist()}
    return json.loads(files["return.json"]), files, download.value.suggested_filename


LOOKED = {
    "done": "looked at", "condition": 2, "findings": ["rust film", "bent"],
    "tap_response": "mixed", "tap_around": "ringing", "seepage": "water", "salt_crust": "yes",
    "rain_washed": "no", "crack_distance_mm": 85.5, "remark": "nut is <loose> & rusty",
}  # fmt: skip
PLACED = {
    "done": "replaced", "old_material": "304", "old_came_out": "cut off", "kind": "bonded",
    "material": "titanium", "grade": "titanium grade 2", "diameter_mm": 12, "piece_length_mm": 100,
    "legs": 1, "hole_diameter_mm": 14, "hole_depth_mm": 110, "hole_cleaned": "yes",
    "hole_condition": "clean and dry", "adhesive": "epoxy", "adhesive_batch": "L7-11",
    "adhesive_expires_on": "2027-09", "rock_temperature_c": 5, "cure_needed_min": 240,
    "set_at": "10:00", "loaded_at": "14:30", "proof_load_kn": 5, "proof_held_s": 60,
    "proof_result": "held",
}  # fmt: skip


def fill_look(page):
    tap(page, "done", "looked at")
    tap(page, "condition", "2 worn")
    for finding in ("bent", "wet", "rust film", "wet"):  # the second tap takes it back
        tap(page, "findings", finding)
    tap(page, "tap_response", "mixed")
    tap(page, "tap_around", "ringing")
    tap(page, "seepage", "water")
    tap(page, "salt_crust", "yes")
    tap(page, "rain_washed", "no")
    write(page, "crack_distance_mm", "85,5")
    write(page, "remark", "nut is <loose> & rusty")


def fill_place(page):
    tap(page, "done", "replaced")
    page.select_option("#input-old_material", "304")
    tap(page, "old_came_out", "cut off")
    for group in ("piece", "hole"):
        page.locator(f"#group-{group}").get_by_text("As planned:").click()
    write(page, "hole_depth_mm", "105")
    page.locator("#field-hole_depth_mm .step").nth(1).click()
    tap(page, "hole_cleaned", "yes")
    tap(page, "hole_condition", "clean and dry")
    tap(page, "adhesive", "epoxy")
    write(page, "adhesive_batch", "L7-11")
    page.locator("#input-adhesive_expires_on").press_sequentially("09/27")
    assert page.locator("#input-adhesive_expires_on").input_value() == "2027-09"
    write(page, "rock_temperature_c", "5")
    write(page, "set_at", "10:00")
    write(page, "loaded_at", "14:30")
    write(page, "proof_load_kn", "5")
    write(page, "proof_held_s", "60")
    tap(page, "proof_result", "held")


def values(row):
    return {
        k: v
        for k, v in row.items()
        if k not in ("record_id", "trip", "anchor_id", "done_on", "who")
    }


def test_what_was_entered_outlives_a_crash_and_comes_back_row_by_row(browser, trip_file, tmp_path):
    how = {
        "executable_path": chromium(), "args": ["--no-sandbox", "--disable-gpu"],
        "offline": True, "viewport": PHONE,
    }  # fmt: skip
    context = browser.browser_type.launch_persistent_context(tmp_path / "phone", **how)
    page = ready(context.pages[0], trip_file)
    go(page, 0)
    fill_look(page)
    go(page, 3)
    fill_place(page)
    page.wait_for_function("() => document.getElementById('kept').textContent.startsWith('Saved')")
    with pytest.raises(Exception, match="(?i)closed|crash"):
        context.new_cdp_session(page).send("Browser.crash")
    context.close()

    context = browser.browser_type.launch_persistent_context(tmp_path / "phone", **how)
    page = ready(context.pages[0], trip_file, time="2027-03-07T09:00:00", who="")
    assert page.locator("#progress").inner_text() == "3 open, 2 done"
    go(page, 0)
    assert page.locator("#field-condition [aria-pressed=true]").inner_text() == "2 worn"
    told, files, name = given(page)
    assert name == "return-2027_03_06_north-2027-03-07-Ana.zip"
    assert list(files) == ["return.json"]
    assert {k: told[k] for k in ("format", "version", "trip", "made_from", "who", "photos")} == {
        "format": "saltreach return", "version": 1, "trip": "2027-03-06 north",
        "made_from": "2026-11-27T10:00:00Z", "who": "Ana", "photos": [],
    }  # fmt: skip
    looked, placed = told["rows"]
    for row, anchor in ((looked, "A1"), (placed, "B1")):
        assert (row["anchor_id"], row["done_on"], row["who"]) == (anchor, "2027-03-06", "Ana")
        assert len(row["record_id"]) == 36
    assert values(looked) == LOOKED
    assert values(placed) == PLACED
    again = given(page)[0]
    assert again == told  # as often as one likes, with the same keys of records
    context.close()


def test_nothing_is_chosen_before_somebody_chose_it(opened):
    page = opened()
    for at in (0, 3):
        go(page, at)
        assert page.locator("[aria-pressed=true]").count() == 0
        inputs = page.locator("#form input:not([type=file]), #form select, #form textarea")
        assert {one.input_value() for one in inputs.all()} == {""}
    show(page, "return")
    assert page.locator("#save").is_disabled()
    go(page, 0)
    tap(page, "condition", "0 sound")
    tap(page, "condition", "0 sound")  # and taken back it is unknown again, not sound
    kept(page)
    show(page, "return")
    assert page.locator("#holds").inner_text() == "0 records, 0 photos."


def test_one_tap_says_looked_at_and_sound_and_every_word_of_what_was_done_is_there(opened):
    page = opened()
    go(page, 0)
    assert page.locator("#field-done button").all_inner_texts() == list(DONE)
    assert page.locator("#field-findings button").all_inner_texts() == list(FINDINGS)
    page.locator("#sound").click()
    go(page, 1)
    tap(page, "done", "not reached")
    assert page.locator("#field-condition").count() == 0
    go(page, 2)
    tap(page, "condition", "3 poor")  # nobody said what was done
    assert [values(row) for row in given(page)[0]["rows"]] == [
        {"done": "looked at", "condition": 0},
        {"done": "not reached"},
        {"condition": 3},
    ]
    page.locator("#to-list").click()
    page.locator("#progress").wait_for()
    assert page.locator(".row-button .stage").all_inner_texts()[:3] == [
        "done",
        "not reached",
        "unfinished\nsay what was done",
    ]
    show(page, "return")
    assert "Say what was done at: A3" in page.locator("#view").inner_text()


@pytest.mark.pinned("worked", answers=12)
def test_doubts_are_said_and_recorded_all_the_same(opened):
    page = opened()
    go(page, 3)
    assert page.locator("#warnings").inner_text().split("\n")[0] == "1 warning"
    tap(page, "done", "replaced")

    def doubt(column):
        return page.locator(f"#doubt-{column}").inner_text()

    write(page, "hole_depth_mm", "100")  # the piece of the plan: 100 mm, its hole 110 mm
    assert doubt("hole_depth_mm") == "100 mm is too shallow: the piece needs 110 mm."
    write(page, "piece_length_mm", "90")
    assert doubt("hole_depth_mm") == ""
    write(page, "hole_depth_mm", "89")
    assert doubt("hole_depth_mm") == "89 mm is too shallow: the piece needs 90 mm."
    write(page, "hole_depth_mm", "106")
    assert doubt("hole_depth_mm").startswith("16 mm deeper than the piece needs")
    write(page, "hole_depth_mm", "105")
    assert doubt("hole_depth_mm") == ""
    write(page, "crack_distance_mm", "99")  # least: 100 mm
    assert doubt("crack_distance_mm") == "Nearer than 100 mm."
    write(page, "adhesive_expires_on", "2027-02")
    assert doubt("adhesive_expires_on") == "EXPIRED (2027-02): do not use this cartridge."
    for good in ("2027-03", "2027-03-06"):  # good to the end of the month, and of the day
        write(page, "adhesive_expires_on", good)
        assert doubt("adhesive_expires_on") == ""
    write(page, "adhesive_expires_on", "2027-03-05")
    assert doubt("adhesive_expires_on").startswith("EXPIRED")
    write(page, "adhesive_expires_on", "2027-02-30")
    assert doubt("adhesive_expires_on").startswith("Not kept: write the expiry as printed")
    tap(page, "hole_cleaned", "no")
    assert "does not hold in a hole that was not cleaned: clean it" in doubt("hole_cleaned")
    write(page, "hole_depth_mm", "5")  # 10 to 600 mm is possible
    assert doubt("hole_depth_mm") == "Not kept: it lies outside 10 to 600 mm"
    write(page, "rock_temperature_c", "cold")
    assert doubt("rock_temperature_c").startswith("Not kept:")
    assert values(given(page)[0]["rows"][0]) == {
        "done": "replaced", "piece_length_mm": 90, "crack_distance_mm": 99, "hole_cleaned": "no",
    }  # fmt: skip
    go(page, 0)
    tap(page, "condition", "0 sound")
    tap(page, "findings", "wet")
    assert doubt("condition") == ""
    tap(page, "findings", "cracked")
    assert doubt("condition") == "Sound, yet cracked: which is it?"


@pytest.mark.pinned("worked", answers=6)
def test_the_cure_runs_down_and_loading_before_its_end_is_said_aloud(opened):
    page = opened()
    go(page, 3)
    tap(page, "done", "placed")
    countdown = page.locator("#countdown")
    write(page, "rock_temperature_c", "5")  # a row of the data sheet: 25 and 240 min
    assert page.locator("#input-cure_needed_min").input_value() == "480"  # nobody said it was dry
    assert "2 times the dry time" in countdown.inner_text()
    write(page, "cure_needed_min", "500")  # somebody's own figure stays
    tap(page, "hole_condition", "damp")
    assert page.locator("#input-cure_needed_min").input_value() == "500"
    write(page, "cure_needed_min", "479")
    said = page.locator("#doubt-cure_needed_min").inner_text()
    assert said == "Shorter than the data sheet asks for: its 480 min count."
    write(page, "cure_needed_min", "")
    tap(page, "hole_condition", "clean and dry")
    assert page.locator("#input-cure_needed_min").input_value() == "240"
    page.clock.pause_at("2027-03-06T10:30:00")
    page.locator("#field-set_at").get_by_text("Now").click()
    assert countdown.locator(".left").inner_text() == "4:00:00"
    assert "May be loaded at 14:30" in countdown.inner_text()
    assert "It sets until 10:55" in countdown.inner_text()
    page.clock.run_for(90 * 60 * 1000)
    assert countdown.locator(".left").inner_text() == "2:30:00"
    assert "Has set since 10:55" in countdown.inner_text()
    page.locator("#field-loaded_at").get_by_text("Now").click()
    assert "B1 was loaded 150 min before" in page.locator("#alarms").inner_text()
    assert page.locator("#alarms").get_attribute("role") == "alert"
    assert "150 min" in page.locator("#doubt-loaded_at").inner_text()
    page.locator("#alarms button").click()
    write(page, "loaded_at", "")
    page.clock.run_for(151 * 60 * 1000)
    assert "Cured since 14:30" in countdown.inner_text()
    assert countdown.locator(".left").count() == 0
    write(page, "loaded_at", "09:00")
    assert page.locator("#doubt-loaded_at").inner_text() == "Loaded before it was set?"
    page.get_by_text("It was loaded the next day").click()
    assert "Loaded at 2027-03-07 09:00" in countdown.inner_text()
    assert page.locator("#doubt-loaded_at").inner_text() == ""
    write(page, "rock_temperature_c", "21")
    assert "only for -5 to 20 °C" in page.locator("#doubt-rock_temperature_c").inner_text()
    assert page.locator("#input-cure_needed_min").input_value() == ""
    row = given(page)[0]["rows"][0]
    assert values(row) == {
        "done": "placed", "rock_temperature_c": 21, "hole_condition": "clean and dry",
        "set_at": "10:30", "loaded_at": "09:00", "loaded_on": "2027-03-07",
    }  # fmt: skip


@pytest.mark.pinned("peer", answers=61)
def test_cure_times_are_those_of_the_formula_at_every_temperature(opened):
    page = opened()
    degrees = np.linspace(-5, 20, 61)
    found = page.evaluate(
        """(degrees) => degrees.map((c) => ["clean and dry", "damp"].map((hole) =>
          phone.rules.cureOf({ rock_temperature_c: c, hole_condition: hole })))""",
        degrees.tolist(),
    )
    for (dry, wet), c in zip(found, degrees, strict=True):
        cure = float(cure_time_min(c, SHEET))
        assert dry["cure_min"] == math.ceil(cure - 1e-9)
        assert wet["cure_min"] == math.ceil(2 * cure - 1e-9)
        assert dry["gel_min"] == wet["gel_min"] == math.floor(float(gel_time_min(c, SHEET)) + 1e-9)
    outside = page.evaluate(
        "[-5.1, 20.1].map((c) => phone.rules.cureOf({ rock_temperature_c: c }))"
    )
    assert outside == [{"outside": True}] * 2


@pytest.mark.pinned("worked", answers=4)
def test_the_longer_of_a_written_time_and_the_data_sheets_governs(opened):
    page = opened()
    go(page, 3)
    tap(page, "done", "placed")
    tap(page, "hole_condition", "clean and dry")
    write(page, "rock_temperature_c", "5")  # 25 and 240 min
    write(page, "cure_needed_min", "10")
    write(page, "set_at", "10:00")
    countdown = page.locator("#countdown")
    assert "May be loaded at 14:00" in countdown.inner_text()
    assert "It sets until 10:25" in countdown.inner_text()
    assert "its 240 min count" in page.locator("#doubt-cure_needed_min").inner_text()
    assert given(page)[0]["rows"][0]["cure_needed_min"] == 240
    go(page, 3)
    write(page, "cure_needed_min", "300")
    assert "May be loaded at 15:00" in countdown.inner_text()
    assert given(page)[0]["rows"][0]["cure_needed_min"] == 300


def test_a_stray_tap_beside_an_empty_number_records_nothing(opened):
    page = opened()
    go(page, 3)
    tap(page, "done", "placed")
    steps = page.locator(".step")
    for step in steps.all():
        assert step.get_attribute("aria-disabled") == "true"
        assert step.get_attribute("title").startswith("Write a number first")
        step.evaluate("(one) => one.click()")
    assert values(given(page)[0]["rows"][0]) == {"done": "placed"}
    go(page, 3)
    depth = page.locator("#field-hole_depth_mm .step").nth(1)
    write(page, "hole_depth_mm", "105")
    assert depth.get_attribute("aria-disabled") == "false"
    depth.click()
    write(page, "rock_temperature_c", "5")
    write(page, "rock_temperature_c", "")
    assert page.locator("#field-rock_temperature_c .step").first.get_attribute("title")
    page.locator("#group-hole").get_by_text("As planned:").click()  # the depth is never planned
    write(page, "hole_depth_mm", "")
    assert values(given(page)[0]["rows"][0]) == {"done": "placed", "hole_diameter_mm": 14}


def test_not_reached_gives_back_nothing_that_was_tapped_before(opened):
    page = opened()
    go(page, 0)
    tap(page, "done", "looked at")
    tap(page, "condition", "2 worn")
    tap(page, "done", "not reached")
    write(page, "remark", "rain")
    assert page.locator("#field-condition").count() == 0
    assert values(given(page)[0]["rows"][0]) == {"done": "not reached", "remark": "rain"}
    go(page, 0)
    tap(page, "done", "looked at")
    assert values(given(page)[0]["rows"][0]) == {
        "done": "looked at", "condition": 2, "remark": "rain",
    }  # fmt: skip


def test_a_hole_that_does_not_hold_resin_is_said_so(opened):
    page = opened()
    go(page, 3)
    tap(page, "done", "placed")
    write(page, "rock_temperature_c", "5")
    assert "nobody said" in page.locator("#countdown").inner_text()
    for hole, word in (("uncleaned", "not cleaned"), ("water-filled", "full of water"),
                       ("cored", "cored hole")):  # fmt: skip
        tap(page, "hole_condition", hole)
        said = page.locator("#doubt-hole_condition").inner_text()
        assert word in said and "in doubt until tested" in said
        cure = page.locator("#countdown").inner_text()
        assert f"since the hole was {hole}" in cure and "nobody said" not in cure
    tap(page, "hole_condition", "damp")
    assert page.locator("#doubt-hole_condition").inner_text() == ""


@pytest.mark.pinned("peer", answers=len(PRINTED))
def test_an_expiry_is_read_as_returns_reads_it(opened):
    page = opened()
    found = page.evaluate("(all) => all.map((one) => phone.rules.expiryOf(one) ?? '')", PRINTED)
    assert dict(zip(PRINTED, found, strict=True)) == {one: expiry_of(one) for one in PRINTED}
    go(page, 3)
    tap(page, "done", "placed")
    box = page.locator("#input-adhesive_expires_on")
    assert box.get_attribute("inputmode") == "tel"
    for typed in ("10/27", "10.2027", "10/2027", "2027-10"):
        box.fill("")
        box.press_sequentially(typed)
        assert box.input_value() == "2027-10"
        assert page.locator("#doubt-adhesive_expires_on").inner_text() == ""
    box.fill("")
    box.press_sequentially("3.10.2027")
    assert box.input_value() == "2027-10-03"
    box.fill("")
    box.press_sequentially("1027")
    box.blur()
    assert box.input_value() == "2027-10"
    write(page, "adhesive_expires_on", "next spring")
    assert page.locator("#doubt-adhesive_expires_on").inner_text().startswith("Not kept")
    assert values(given(page)[0]["rows"][0]) == {"done": "placed"}


@pytest.mark.parametrize(
    ("time", "said"),
    [
        ("2019-01-01T10:00:00", "This phone says 2019-01-01, and this page was made on 2026-11-27"),
        ("2027-05-06T10:00:00", "This phone says 2027-05-06, and the trip is on 2027-03-06"),
        ("2027-05-05T10:00:00", ""),
        ("2027-01-05T10:00:00", ""),
    ],
)
@pytest.mark.pinned("worked")
def test_a_clock_that_cannot_be_right_is_said(opened, time, said):
    """60 days from 6 March are 5 January and 5 May."""
    page = opened(time=time)
    for view in ("list", "return"):
        show(page, view)
        banner = page.locator("#clock")
        assert banner.count() == bool(said)
        assert not said or banner.inner_text().startswith(said)


def photo_bytes(width=3000, height=2000, form="JPEG"):
    """A picture of noise that carries a place."""
    noise = np.random.default_rng(1).integers(0, 255, (height // 20, width // 20, 3), np.uint8)
    image = Image.fromarray(noise).resize((width, height))
    exif = Image.Exif()
    exif.get_ifd(0x8825)[2] = (43.0, 0.0, 0.0)
    out = io.BytesIO()
    image.save(out, form, exif=exif)
    return out.getvalue()


def test_photos_are_made_small_and_linked_and_keep_neither_name_nor_place(opened, tmp_path):
    page = opened()
    go(page, 0)
    secret = tmp_path / "secret place.jpg"
    secret.write_bytes(photo_bytes())
    page.set_input_files("#photo-input", secret)
    page.locator(".photos li").wait_for()
    page.set_input_files(
        "#photo-input", {"name": "x.jpg", "mimeType": "image/jpeg", "buffer": b"no picture"}
    )
    page.locator("#alarms").get_by_text("cannot be read").wait_for()
    page.set_input_files(
        "#photo-input",
        {"name": "y.png", "mimeType": "image/png", "buffer": photo_bytes(300, 400, "PNG")},
    )
    page.locator(".photos li").nth(1).wait_for()
    assert "2 photos" in page.locator("#group-photo").inner_text()
    told, files, _ = given(page)
    row, (first, second) = (
        told["rows"][0],
        sorted(told["photos"], key=lambda p: -len(files[p["file"]])),
    )
    assert sorted(row["photo"]) == sorted(p["file"].removeprefix("photos/") for p in told["photos"])
    assert set(files) == {"return.json", first["file"], second["file"]}
    for photo, size in ((first, (1600, 1067)), (second, (300, 400))):
        content = files[photo["file"]]
        assert photo["sha256"] == hashlib.sha256(content).hexdigest()
        assert (photo["anchor_id"], photo["record_id"]) == ("A1", row["record_id"])
        with Image.open(io.BytesIO(content)) as image:
            assert (image.format, image.size, dict(image.getexif())) == ("JPEG", size, {})
    assert b"secret" not in files["return.json"]
    assert "2 photos (" in page.locator("#holds").inner_text()
    go(page, 0)
    for _ in range(2):
        page.locator(".photos button").first.click()
    page.locator(".photos li").nth(1).wait_for(state="detached")
    assert len(given(page)[0]["photos"]) == 1


def test_digest_and_checksum_are_those_of_the_standards(opened):
    page = opened()
    for text in ("", "abc", "x" * 55, "x" * 56, "x" * 1000):
        found = page.evaluate("(text) => phone.zip.digest(new TextEncoder().encode(text))", text)
        assert found == hashlib.sha256(text.encode()).hexdigest()
    assert page.evaluate("phone.zip.crc32(new TextEncoder().encode('123456789'))") == 0xCBF43926


SHARES = """
navigator.canShare = ({ files }) => files.every((file) => file.name.endsWith(".zip"));
navigator.share = async ({ files }) => { window.shared = files[0]; };
"""


def test_the_file_is_sent_where_the_browser_can_send_it(opened):
    page = opened(script=SHARES)
    go(page, 0)
    page.locator("#sound").click()
    told, _, name = given(page)
    page.get_by_text("Send the return file").click()
    page.wait_for_function("() => window.shared")
    assert page.evaluate("shared.name") == name
    text = page.evaluate(
        """async () => new TextDecoder().decode(
          (await phone.zip.unpack(await shared.arrayBuffer())).get("return.json"))"""
    )
    assert json.loads(text) == told


def test_another_phone_takes_a_return_file_in_and_gives_the_same(opened, tmp_path):
    first = opened()
    go(first, 0)
    tap(first, "condition", "3 poor")
    first.set_input_files(
        "#photo-input", {"name": "a.jpg", "mimeType": "image/jpeg", "buffer": photo_bytes(200, 100)}
    )
    first.locator(".photos li").wait_for()
    go(first, 1)
    first.locator("#sound").click()
    told, files, _ = given(first)
    packed = tmp_path / "return.zip"
    with zipfile.ZipFile(
        packed, "w", zipfile.ZIP_DEFLATED
    ) as archive:  # as another program packs it
        for name, content in files.items():
            archive.writestr(name, content)

    second = opened(who="Bo")
    go(second, 0)
    tap(second, "findings", "wet")  # this phone looked at A1 as well: both stay
    kept(second)
    show(second, "return")
    second.set_input_files("#take-in", packed)
    said = second.locator("#taken")
    said.get_by_text("2 records taken in, 1 of them beside").wait_for()
    both, more, _ = given(second)
    assert [row["who"] for row in both["rows"]].count("Bo") == 1
    assert [row for row in both["rows"] if row["who"] == "Ana"] == sorted(
        told["rows"], key=lambda row: row["anchor_id"]
    )
    assert both["photos"] == told["photos"]
    assert more[told["photos"][0]["file"]] == files[told["photos"][0]["file"]]
    second.set_input_files("#take-in", packed)  # twice is once
    said.get_by_text("0 records taken in").wait_for()
    assert given(second)[0] == both
    changed = io.BytesIO()
    with zipfile.ZipFile(changed, "w") as archive:
        archive.writestr("return.json", files["return.json"])
    broken = changed.getvalue().replace(b'"condition": 3', b'"condition": 0')
    assert broken != changed.getvalue()
    for content, word in (
        (broken, "damaged"),
        (b"no zip", "not a return file"),
        (packed.read_bytes()[:-30], "damaged"),
        (json.dumps(told | {"trip": "other"}).encode(), "another trip (other)"),
    ):
        second.set_input_files(
            "#take-in", {"name": "r.zip", "mimeType": "application/zip", "buffer": content}
        )
        said.get_by_text(word).wait_for()


DEAF = """
delete window.BroadcastChannel;
window.addEventListener("storage", (event) => event.stopImmediatePropagation(), true);
"""


def test_a_tab_that_hears_nothing_of_the_other_undoes_nothing(opened, trip_file):
    one = opened()
    deaf = one.context.new_page()
    deaf.add_init_script(DEAF)
    ready(deaf, trip_file)
    for page in (one, deaf):
        go(page, 0)
    tap(one, "condition", "1 marked")
    kept(one)
    assert deaf.locator("[aria-pressed=true]").count() == 0
    tap(deaf, "findings", "wet")
    row = given(deaf)[0]["rows"][0]
    assert values(row) == {"condition": 1, "findings": ["wet"]}
    assert given(one)[0]["rows"] == [row]


def test_two_tabs_show_each_other_what_was_tapped(opened, trip_file):
    one = opened()
    other = ready(one.context.new_page(), trip_file)
    for page in (one, other):
        go(page, 0)
    tap(one, "condition", "1 marked")
    other.locator("#field-condition [aria-pressed=true]").wait_for()
    tap(other, "findings", "wet")
    one.locator("#field-findings [aria-pressed=true]").wait_for()
    row = given(one)[0]["rows"][0]
    assert values(row) == {"condition": 1, "findings": ["wet"]}
    assert given(other)[0]["rows"] == [row]


def test_a_newer_file_of_the_trip_offers_what_was_recorded_before(opened, tmp_path):
    page = opened()
    go(page, 0)
    tap(page, "condition", "2 worn")
    page.set_input_files(
        "#photo-input", {"name": "a.jpg", "mimeType": "image/jpeg", "buffer": photo_bytes(200, 100)}
    )
    page.locator(".photos li").wait_for()
    told = given(page)[0]
    newer = write_phone([trip(made_from="2026-12-01T10:00:00Z")], tmp_path)[0]
    ready(page, newer, time="")
    offer = page.locator("#alarms")
    assert "1 record of this trip from an earlier file" in offer.inner_text()
    assert given_nothing(page)
    offer.get_by_text("Take them over").click()
    page.get_by_text("1 record taken over").wait_for()
    again = given(page)[0]
    assert again["made_from"] == "2026-12-01T10:00:00Z"
    assert (again["rows"], again["photos"]) == (told["rows"], told["photos"])
    ready(page, newer, time="")
    assert page.locator("#alarms").inner_text() == ""


def given_nothing(page):
    show(page, "return")
    return page.locator("#save").is_disabled()


def test_starting_over_needs_two_taps_and_can_be_taken_back(opened):
    page = opened()
    go(page, 0)
    page.locator("#sound").click()
    told = given(page)[0]
    page.locator("#start-over").click()
    assert page.locator("#start-over").inner_text() == "Tap again: 1 records are set aside"
    page.clock.run_for(9000)  # a tap alone comes to rest
    assert page.locator("#start-over").inner_text() == "Start over"
    for _ in range(2):
        page.locator("#start-over").click()
    page.locator("#bring-back").wait_for()
    assert page.locator("#save").is_disabled()
    page.reload()
    page.wait_for_selector("html[data-ready=yes]", state="attached")
    page.locator("#bring-back").click()
    page.locator("#bring-back").wait_for(state="detached")
    assert given(page)[0] == told


DENY = """
Object.defineProperty(window, "{}", {{
  get() {{ throw new DOMException("no", "SecurityError"); }}
}});
"""
DENIED = DENY.format("indexedDB")
NONE_AT_ALL = DENIED + DENY.format("localStorage")


def test_a_browser_that_keeps_nothing_is_said_to_and_the_file_can_be_given(opened):
    page = opened(script=NONE_AT_ALL)
    assert "NOTHING IS KEPT" in page.locator("#alarms").inner_text()
    go(page, 0)
    page.locator("#sound").click()
    kept(page)
    assert page.locator("#kept").inner_text() == "NOT KEPT"
    page.locator("#alarms button").click()
    page.locator("#save").wait_for()
    assert values(given(page)[0]["rows"][0]) == {"done": "looked at", "condition": 0}


def test_the_small_store_serves_where_the_database_is_denied(opened):
    page = opened(script=DENIED)
    assert "small store" in page.locator("#alarms").inner_text()
    go(page, 0)
    tap(page, "condition", "4 failed")
    page.set_input_files(
        "#photo-input", {"name": "a.jpg", "mimeType": "image/jpeg", "buffer": photo_bytes(200, 100)}
    )
    page.locator(".photos li").wait_for()
    told, files, _ = given(page)
    page.reload()
    page.wait_for_selector("html[data-ready=yes]", state="attached")
    assert given(page)[:2] == (told, files)


FULL = """
const put = IDBObjectStore.prototype.put;
IDBObjectStore.prototype.put = function (...what) {
  if (window.full && this.name === "records") throw new DOMException("full", "QuotaExceededError");
  return put.apply(this, what);
};
"""


def test_a_full_phone_is_said_and_what_failed_is_kept_with_the_next_touch(opened):
    page = opened(script=FULL)
    go(page, 0)
    page.evaluate("window.full = true")
    tap(page, "condition", "3 poor")
    page.locator("#alarms").get_by_text("storage is full").wait_for()
    assert values(given(page)[0]["rows"][0]) == {"condition": 3}
    page.evaluate("window.full = false")
    go(page, 0)
    tap(page, "findings", "loose")
    kept(page)
    assert page.locator("#alarms").inner_text() == ""
    page.on("dialog", lambda dialog: dialog.accept())
    page.reload()
    page.wait_for_selector("html[data-ready=yes]", state="attached")
    assert values(given(page)[0]["rows"][0]) == {"condition": 3, "findings": ["loose"]}


HANDLES = """
const open = IDBFactory.prototype.open;
window.databases = [];
IDBFactory.prototype.open = function (...what) {
  const request = open.apply(this, what);
  request.addEventListener("success", () => databases.push(request.result));
  return request;
};
"""


def test_a_store_that_sleeps_or_grows_newer_loses_nothing(opened):
    page = opened(script=HANDLES)
    go(page, 0)
    tap(page, "condition", "2 worn")
    kept(page)
    page.evaluate("databases.at(-1).close()")  # as phones do to pages they put to sleep
    tap(page, "findings", "wet")
    kept(page)
    assert page.locator("#alarms").inner_text() == ""
    page.evaluate(
        """() => new Promise((done) => {
          indexedDB.open("saltreach-phone", 2).onsuccess = (event) => {
            event.target.result.close();
            done();
          };
        })"""
    )
    assert "A newer page of saltreach was opened" in page.locator("#alarms").inner_text()
    page.reload()
    page.wait_for_selector("html[data-ready=yes]", state="attached")
    assert page.locator("#alarms").inner_text() == ""
    assert values(given(page)[0]["rows"][0]) == {"condition": 2, "findings": ["wet"]}


HOSTILE = "<img src=x onerror=alert(1)>"


def test_hostile_names_are_shown_as_they_are_and_harm_nothing(opened, tmp_path):
    names = (HOSTILE, "__proto__", "</script><script>alert(2)</script>", "\"'&`${alert(3)}", "=cmd")
    spots = [
        look(name, n, route=HOSTILE, to_do=HOSTILE, reasons=(HOSTILE,))
        for n, name in enumerate(names, 1)
    ]
    hostile = trip(
        [stop(spots, HOSTILE, tell=(HOSTILE,))],
        trip=f"../{HOSTILE}",
        title=HOSTILE,
        team=HOSTILE,
        notes=(HOSTILE,),
    )
    file = write_phone([hostile], tmp_path)[0]
    assert file.parent == tmp_path
    page = opened(file, who=HOSTILE)
    assert page.title() == HOSTILE
    for at, name in enumerate(names):
        go(page, at)
        assert page.locator("h2 .id").inner_text() == name
        write(page, "remark", HOSTILE)
    told, _, name = given(page)
    assert [row["anchor_id"] for row in told["rows"]] == list(names)
    assert {(row["remark"], row["who"]) for row in told["rows"]} == {(HOSTILE, HOSTILE)}
    assert "/" not in name and "<" not in name
    assert page.locator("img").count() == 0


def test_an_anchor_that_a_trip_comes_to_twice_has_two_records(opened, tmp_path):
    twice = trip([stop([look("A1")]), stop([place("A1")], kind="rebolt")])
    page = opened(write_phone([twice], tmp_path)[0])
    go(page, 0)
    page.locator("#sound").click()
    go(page, 1)
    assert page.locator("[aria-pressed=true]").count() == 0
    tap(page, "done", "replaced")
    page.get_by_text("Begin another record").click()
    tap(page, "done", "closed")
    assert [(row["anchor_id"], row["done"]) for row in given(page)[0]["rows"]][0] == (
        "A1",
        "looked at",
    )
    assert sorted(row["done"] for row in given(page)[0]["rows"]) == [
        "closed",
        "looked at",
        "replaced",
    ]
    assert len({row["record_id"] for row in given(page)[0]["rows"]}) == 3


def test_what_was_seen_of_the_old_anchor_is_never_said_of_the_new_one(opened):
    page = opened()
    go(page, 0)
    tap(page, "condition", "4 failed")
    tap(page, "findings", "broken")
    tap(page, "done", "replaced")
    page.get_by_text("Another record: looked at, Ana, 2027-03-06").wait_for()
    write(page, "hole_depth_mm", "80")
    assert [values(row) for row in given(page)[0]["rows"]] == [
        {"done": "looked at", "condition": 4, "findings": ["broken"]},
        {"done": "replaced", "hole_depth_mm": 80},
    ]
    go(page, 0)
    tap(page, "done", "not reached")
    said = page.locator("#doubt-done")
    assert said.inner_text() == "Kept on this phone, not given back: Depth of the hole."


def test_what_is_the_same_all_day_is_taken_over_by_one_tap(opened):
    page = opened()
    go(page, 3)
    tap(page, "adhesive", "vinylester")
    write(page, "adhesive_batch", "K2")
    write(page, "hole_depth_mm", "110")
    go(page, 4)
    page.locator("#group-adhesive").get_by_text("Same as at B1").click()
    assert page.locator("#group-hole").get_by_text("Same as").count() == 0
    second = given(page)[0]["rows"][1]
    assert values(second) == {"adhesive": "vinylester", "adhesive_batch": "K2"}
    assert "Say what was done at: B1, B2" in page.locator("#view").inner_text()


@pytest.fixture(scope="module")
def around(tmp_path_factory):
    """Anchors a thousandth of a degree north, and as far east, of 43 N 8.5 W; one 2 m off."""
    spots = [look("N", lat=43.001), look("E", 2, lon=-8.499), look("H", 3, lat=43.00002)]
    return write_phone([trip([stop(spots)])], tmp_path_factory.mktemp("around"))[0]


@pytest.mark.pinned("worked", answers=3)
def test_distance_and_bearing_where_the_position_is_allowed(opened, around):
    here = {"latitude": 43.0, "longitude": -8.5, "accuracy": 8}
    page = opened(around, geolocation=here, permissions=["geolocation"])
    go(page, 0)
    page.locator("#place-ask").click()
    way = page.locator("#way")
    way.get_by_text("good to 8 m").wait_for()
    # 6371008.8 m * 0.001 degrees = 111.2 m, and times cos 43 degrees = 81.3 m
    assert way.inner_text() == "110 m to the north (0°). Your position is good to 8 m."
    go(page, 1)
    assert (
        page.locator("#way").inner_text() == "80 m to the east (90°). Your position is good to 8 m."
    )
    go(page, 2)
    assert (
        page.locator("#way")
        .inner_text()
        .startswith("2 m away: within what your position can tell.")
    )


def test_without_a_position_everything_else_works(opened, around):
    page = opened(around)
    go(page, 0)
    page.locator("#place-ask").click()
    page.locator("#way").get_by_text("The position was not allowed").wait_for()
    page.locator("#sound").click()
    assert len(given(page)[0]["rows"]) == 1


@pytest.mark.pinned("peer", answers=40)
def test_the_way_agrees_with_the_geodesic(opened):
    rng = np.random.default_rng(7)
    ways = []
    for _ in range(40):
        here = {"lat": rng.uniform(-70, 70), "lon": rng.uniform(-180, 180)}
        far_m = 10 ** rng.uniform(1, 4.3)
        to = Geodesic.WGS84.Direct(here["lat"], here["lon"], rng.uniform(0, 360), far_m)
        ways.append((here, {"lat": to["lat2"], "lon": to["lon2"]}))
    found = opened().evaluate("(ways) => ways.map(([a, b]) => phone.rules.wayTo(a, b))", ways)
    for way, (a, b) in zip(found, ways, strict=True):
        true = Geodesic.WGS84.Inverse(a["lat"], a["lon"], b["lat"], b["lon"])
        assert way["distance_m"] == pytest.approx(true["s12"], rel=0.006)
        assert abs((way["bearing_deg"] - true["azi1"] + 180) % 360 - 180) < 0.3


TOO_SMALL = """
() => [...document.querySelectorAll("button, input, select, textarea, summary, label.press")]
  .filter((one) => one.checkVisibility() && !one.classList.contains("unseen"))
  .map((one) => [one.outerHTML.slice(0, 90), one.getBoundingClientRect()])
  .filter(([, box]) => box.height < 56 || box.width < 56)
  .map(([html, box]) => `${html} ${box.width} ${box.height}`)
"""


def views(page):
    """Each view in turn, everything unfolded."""
    show(page, "list")
    yield "list"
    go(page, 0)
    yield "look"
    go(page, 3)
    tap(page, "done", "replaced")
    write(page, "rock_temperature_c", "5")
    write(page, "set_at", "09:59")
    write(page, "adhesive_expires_on", "2020-01")
    yield "place"
    write(page, "loaded_at", "10:00")
    yield "early"
    show(page, "return")
    yield "return"
    show(page, "who")
    yield "who"


@pytest.fixture(scope="module")
def served(trip_file):
    """The folder of the page on this machine's own server; how to stop it, and its address."""
    handler = partial(Quiet, directory=trip_file.parent)
    with ThreadingHTTPServer(("127.0.0.1", 0), handler) as server:
        Thread(target=server.serve_forever, daemon=True).start()
        yield f"http://localhost:{server.server_port}/{trip_file.name}"
        server.shutdown()


class Quiet(SimpleHTTPRequestHandler):
    def log_message(self, *_):
        pass


def test_served_it_can_be_installed_and_opens_without_a_network(browser, served):
    context = browser.new_context(viewport=PHONE)
    page = ready(context.new_page(), served, time="")
    go(page, 0)
    page.locator("#sound").click()
    kept(page)
    page.evaluate("() => navigator.serviceWorker.ready.then(() => null)")
    session = context.new_cdp_session(page)
    manifest = session.send("Page.getAppManifest")
    assert manifest["errors"] == []
    assert json.loads(manifest["data"])["start_url"] == served.rsplit("/", 1)[1]
    page.wait_for_function(
        "() => caches.open('saltreach-phone-pages').then((shelf) => shelf.keys())"
        ".then((keys) => keys.length > 0)"
    )
    context.set_offline(True)
    ready(page, served, time="")
    go(page, 0)
    assert page.locator("#field-condition [aria-pressed=true]").inner_text() == "0 sound"
    context.close()


@pytest.mark.parametrize(
    ("viewport", "scheme", "taps"),
    [
        pytest.param(PHONE, "light", 0, id="390-day"),
        pytest.param(NARROW, "dark", 0, id="320-night"),
        pytest.param(PHONE, "light", 3, id="390-sun", marks=pytest.mark.search),
        pytest.param(NARROW, "light", 3, id="320-sun", marks=pytest.mark.search),
    ],
)
def test_every_view_serves_gloves_narrow_phones_and_readers(opened, viewport, scheme, taps):
    page = opened(viewport=viewport, color_scheme=scheme)
    for _ in range(taps):
        page.locator("#mode").click()
    for view in views(page):
        assert page.evaluate(TOO_SMALL) == [], view
        assert page.evaluate("document.documentElement.scrollWidth") == viewport["width"], view
        assert CAUTION in page.locator("body").inner_text()
        assert_accessible(page)


def test_the_light_is_chosen_by_a_button_and_remembered(opened):
    page = opened()
    seen = []
    for _ in range(4):
        page.locator("#mode").click()
        seen.append(
            (
                page.locator("#mode").inner_text(),
                page.evaluate("getComputedStyle(document.body).backgroundColor"),
            )
        )
    assert [name for name, _ in seen] == ["Day", "Night", "Sun", "Auto"]
    assert seen[1][1] == "rgb(15, 20, 18)" and seen[2][1] == "rgb(255, 255, 255)"
    page.locator("#mode").click()
    kept(page)
    page.reload()
    page.wait_for_selector("html[data-ready=yes]", state="attached")
    assert page.locator("#mode").inner_text() == "Day"


def test_keyboard_alone_records_and_the_focus_stays(opened):
    page = opened(reduced_motion="reduce")
    page.locator("[data-at='0']").focus()
    page.keyboard.press("Enter")
    page.locator("#sound").wait_for()
    assert page.evaluate("document.activeElement.id") == "heading"
    page.locator("#field-condition button").nth(2).focus()
    page.keyboard.press("Space")
    pressed = page.locator("#field-condition button").nth(2)
    assert pressed.get_attribute("aria-pressed") == "true"
    assert page.evaluate("document.activeElement.textContent") == "2 worn"
    page.locator("#field-done button").nth(1).focus()
    page.keyboard.press("Enter")
    page.locator("#field-hole_depth_mm").wait_for(state="attached")
    assert page.evaluate("document.activeElement.textContent") == "placed"
    assert page.locator("#next").inner_text() == "Next"
    page.locator("#next").focus()
    page.keyboard.press("Enter")
    page.wait_for_function("() => phone.state.at === 1")
    page.go_back()
    page.wait_for_function("() => phone.state.at === 0")


@pytest.mark.parametrize(("away", "address"), [("#next", "#2"), ("#to-list", "#list")])
def test_who_goes_on_while_a_look_is_put_aside_is_not_called_back(opened, away, address):
    page = opened()
    go(page, 0)
    tap(page, "condition", "2 worn")
    page.evaluate(
        "() => { const put = phone.aside; phone.aside = async (...what) => {"
        " await new Promise((go) => { window.release = go; }); await put(...what); }; }"
    )
    tap(page, "done", "placed")
    page.locator(away).click()
    page.wait_for_function(
        "(at) => location.hash === at && document.activeElement.id === 'heading'", arg=address
    )
    before = page.locator("#heading").inner_text()
    page.evaluate("() => release()")
    page.locator("#said").get_by_text("stays a record of its own").wait_for()
    kept(page)
    assert page.locator("#heading").inner_text() == before
    assert page.evaluate("document.activeElement.id") == "heading"
    assert page.locator("#field-done [aria-pressed='true']").count() == 0
    live = page.evaluate("() => phone.store.live().map((one) => one.values.done)")
    assert sorted(live) == ["looked at", "placed"]


def test_two_hundred_anchors(opened, tmp_path):
    many = trip([stop([look(f"A{n:03}", n) for n in range(1, 201)])])
    page = opened(write_phone([many], tmp_path)[0])
    assert page.locator(".row-button").count() == 200
    page.locator("[data-at='199']").click()
    page.locator("#sound").click()
    assert page.locator("#next").is_disabled()
    page.locator("#previous").click()
    page.wait_for_function("() => phone.state.at === 198")
    page.locator("#to-list").click()
    assert page.locator("#progress").inner_text() == "199 open, 1 done"
    assert [row["anchor_id"] for row in given(page)[0]["rows"]] == ["A200"]
