"""The page for the phone as a file: what it holds, what it asks, what stands beside it."""

from __future__ import annotations

import csv
import json
import re
from importlib.resources import files

import numpy as np
import pytest

from helpers.pages import Page
from helpers.phone_trips import SHEET, look, place, stop, trip
from saltreach.errors import OptionError
from saltreach.outputs.html import asset_text, content_hash
from saltreach.outputs.phone.fields import form_columns, form_rows
from saltreach.outputs.phone.page import SCRIPTS, phone_page, write_phone
from saltreach.outputs.phone.texts import catalogue, catalogues
from saltreach.planning.places import sheet_rows
from saltreach.planning.trip import LOOK, PLACE
from saltreach.planning.trips import trips_of
from saltreach.vocabulary.columns import columns_of
from saltreach.vocabulary.words import CAUTION, DONE

HOSTILE = "</script><img src=x onerror=alert(1)>"


def held(page):
    return json.loads(Page(page).scripts["phone-data"])


def test_files_of_each_trip_and_what_they_share(tmp_path):
    trips = [trip(trip="../a/b"), trip(trip="A b"), trip(trip="a_b"), trip(trip=HOSTILE)]
    written = write_phone(trips, tmp_path)
    stems = ["a_b", "A_b-2", "a_b-3", "script_img_src_x_onerror_alert_1"]
    beside = ["phone-worker.js", "phone-icon.svg"]
    assert [path.name for path in written] == [
        f"phone-{stem}.{end}" for stem in stems for end in ("html", "webmanifest")
    ] + beside
    assert sorted(tmp_path.iterdir()) == sorted(written)
    for page in written[:8:2]:
        manifest = json.loads(page.with_suffix(".webmanifest").read_text(encoding="utf-8"))
        assert manifest["start_url"] == page.name
        assert held(page.read_text(encoding="utf-8"))["beside"] == {
            "manifest": page.with_suffix(".webmanifest").name, "worker": "phone-worker.js",
        }  # fmt: skip
    assert write_phone([], tmp_path / "none") == []


def test_same_input_same_bytes():
    assert phone_page(trip()) == phone_page(trip())


def test_the_page_asks_for_no_other_file_and_runs_nothing_but_its_own_scripts():
    page = phone_page(trip(title=HOSTILE, team=HOSTILE))
    assert "onerror=alert" not in page.replace("\\u003cimg src=x onerror=alert", "").replace(
        "&lt;img src=x onerror=alert", ""
    )
    parsed = Page(page)
    asked = [
        a
        for _, a in parsed.elements
        if a.get("src") or a.get("href") not in (None, "data:,", "#view")
    ]
    assert asked == []
    policy = next(a["content"] for _, a in parsed.elements if "http-equiv" in a)
    rules = dict(part.split(" ", 1) for part in policy.split("; "))
    assert rules["default-src"] == rules["connect-src"] == "'none'"
    assert rules["img-src"] == "data: blob:"
    assert rules["script-src"].split() == [content_hash(asset_text(name)) for name in SCRIPTS]
    assert "innerHTML" not in page and "insertAdjacentHTML" not in page and "eval(" not in page
    assert CAUTION in page


def test_the_trip_is_in_the_page_as_it_is():
    given = trip([stop([look("A1", lon=np.nan), place("B1")])])
    data = held(phone_page(given))
    first, second = data["trip"]["stops"][0]["anchors"]
    assert (first["anchor_id"], first["lon"], first["lat"]) == ("A1", None, 43.0)
    assert second["piece"]["hole_depth_mm"] == 110
    assert data["trip"]["made_from"] == "2026-11-27T10:00:00Z"
    assert data["done"] == list(DONE)


def test_the_data_sheet_goes_along_or_no_time_is_given():
    assert held(phone_page(trip()))["cure"] == {
        "rock_temperature_c": [-5, 5, 20], "gel_min": [60, 25, 6], "cure_min": [600, 240, 60],
        "source": "datasheet.csv", "wet_factor": 2,
    }  # fmt: skip
    assert held(phone_page(trip(**sheet_rows(None))))["cure"] is None
    assert sheet_rows(SHEET)["cure_times"][0] == {
        "rock_temperature_c": -5.0, "gel_min": 60.0, "cure_min": 600.0,
    }  # fmt: skip


def test_a_trip_of_the_demo_reaches_the_phone_whole(assessed_demo):
    (one,) = trips_of(assessed_demo, sectors=("Cabo Alzoro / Main wall",), data_sheet=SHEET)
    data = held(phone_page(one))
    assert data["cure"]["source"] == "datasheet.csv"
    assert data["cure"]["cure_min"] == [600, 240, 60]
    assert [len(s["anchors"]) for s in data["trip"]["stops"]] == [len(s.anchors) for s in one.stops]
    assert data["trip"]["made_from"] == assessed_demo.provenance["time"]


def test_the_form_asks_every_column_that_is_shown_there_and_no_other():
    shown = {form: columns_of("returns", shown=form) for form in (LOOK, PLACE)}
    asked = form_columns()
    for form in (LOOK, PLACE):
        assert {c["name"] for c in asked if form in c["on"]} == set(shown[form])
    rows = form_rows()
    assert set(rows) == {c["name"] for c in asked}, "a column without a row in form.csv stands last"
    texts = catalogue()
    for column in asked:
        assert texts[f"label_{column['name']}"] and texts[f"group_{column['group']}"]
        if column["kind"] == "integer":
            whole = range(int(column["low"]), int(column["high"]) + 1)
            assert all(f"{column['name']}_{n}" in texts for n in whole)
        if column["control"] == "suggest":
            assert "|" in texts[f"suggest_{column['name']}"]
        if column["as_planned"]:
            assert column["planned"]
    assert asked[0]["low"] == 0 and asked[0]["high"] == 4


def test_words_used_by_the_page_are_all_in_the_texts_file_and_no_others():
    texts = catalogue()
    scripts = "\n".join(map(asset_text, SCRIPTS)) + asset_text("phone/phone.html")
    for key in re.findall(r"""\bt\("([a-z0-9_]+)\"""", scripts):
        assert key in texts, key
    for key in re.findall(r"""\bcounted\("([a-z0-9_]+)\"""", scripts):
        assert {f"{key}_one", f"{key}_many"} <= set(texts), key
    for key in re.findall(r"""texts\.(\w+)""", asset_text("phone/phone.html")):
        assert key in texts, key
    made = re.compile(
        r"(label|group|word|condition|legs|suggest|stage|side|piece|mode|kept|from|kept_short)_"
    )
    for key in texts:
        used = f'"{key}"' in scripts or f"texts.{key}" in scripts or made.match(key)
        assert used or key.rpartition("_")[0] in scripts, key


def test_a_language_is_a_column_and_what_it_leaves_empty_is_english(monkeypatch):
    with pytest.raises(OptionError, match="'xx' is not one"):
        phone_page(trip(), language="xx")
    table = "key,en,xx\nlang,en,xx\nskip,To the page,\n"
    monkeypatch.setattr("saltreach.outputs.phone.texts.asset_text", lambda name: table)
    assert catalogues()["xx"] == {"lang": "xx", "skip": "To the page"}


def test_assets_are_plain_tables():
    assets = files("saltreach.outputs") / "phone" / "assets"
    for name in ("texts.csv", "form.csv"):
        rows = list(csv.reader((assets / name).read_text("utf-8").splitlines()))
        assert {len(row) for row in rows} == {len(rows[0])}
        assert len({row[0] for row in rows}) == len(rows)
