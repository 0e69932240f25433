"""Files of a landholding as people have them: each mistake one sentence, and the right file."""

import json
import re
import time

import pytest
import shapely

from saltreach.assessment.files import read_results
from saltreach.assessment.landowner import past_months
from saltreach.errors import LayerError, OptionError, RegisterError
from saltreach.intake import read_register
from saltreach.intake.holding import Contact, Holding, Work, read_holding
from saltreach.outputs.landowner.page import landowner
from saltreach.planning.plan import make_plan

WHO = '[contact]\nperson = "x"\nphone = "112"\n'
BOX = [[-5.0, 43.0], [-4.9, 43.0], [-4.9, 43.1], [-5.0, 43.1], [-5.0, 43.0]]


def written(tmp_path, name, content):
    path = tmp_path / name
    path.write_bytes(content if isinstance(content, bytes) else content.encode())
    return path


def land(tmp_path, *rings, name="land.geojson", **properties):
    properties = {"person": "x", "phone": "112"} | properties
    features = [
        {"type": "Feature", "properties": properties,
         "geometry": {"type": "Polygon", "coordinates": [ring]}}
        for ring in rings or (BOX,)
    ]  # fmt: skip
    return written(tmp_path, name, json.dumps({"type": "FeatureCollection", "features": features}))


def box(west, south, east, north):
    return [[west, south], [east, south], [east, north], [west, north], [west, south]]


def refused(*files):
    with pytest.raises(OptionError) as caught:
        read_holding(*files)
    said = str(caught.value)
    assert "\n" not in said
    return said


# -- two answers to one question


@pytest.mark.parametrize(
    ("more", "says"),
    [
        ('name = "B"\nland = "b.geojson"\n', "says name and land too"),
        ('crags = ["B"]\n', "says crags too"),
        ('name = "B"\n', "says name too"),
    ],
)
def test_a_contact_file_cannot_say_whose_land_it_is(tmp_path, more, says):
    """It silently replaced the holding: a landowner would have got another's statement and map."""
    land(tmp_path, name="b.geojson", name_="B")
    holding = land(tmp_path)
    contact = written(tmp_path, "us.toml", more + WHO)
    said = refused(holding, contact)
    assert said.startswith(f"contact file {contact} {says}, but the holding is that of {holding}: ")
    assert said.endswith("from us.toml, or give us.toml as the holding alone")
    assert read_holding(holding, written(tmp_path, "us.toml", WHO)).name == "land"


def test_a_contact_file_is_toml(tmp_path):
    holding = land(tmp_path)
    assert refused(holding, land(tmp_path, name="c.geojson")) == (
        f"contact file {tmp_path / 'c.geojson'}: give TOML that says who to call"
    )


def test_the_file_that_said_it_is_blamed(tmp_path):
    bad = WHO.replace("112", "call me")
    holding = land(tmp_path)
    contact = written(tmp_path, "us.toml", bad)
    why = "contact.phone = 'call me': this is not a telephone number"
    assert refused(holding, contact) == f"contact file {contact}: {why}"
    own = written(tmp_path, "own.toml", 'crags = ["A"]\n' + WHO)
    assert refused(own, contact) == f"contact file {contact}: {why}"
    assert refused(contact, own) == f"holding file {contact}: {why}"
    polygon = land(tmp_path, name="p.geojson", phone="call me")
    assert refused(polygon, own) == f"holding file {polygon}: {why}"
    silent = written(tmp_path, "silent.toml", '[contact]\nperson = "x"\n')
    alone = written(tmp_path, "alone.toml", 'crags = ["A"]\n')
    assert refused(alone, silent).startswith(f"{alone} and {silent}: say who looks after")


# -- files that cannot be what they should


def test_other_encodings_are_named_with_their_place(tmp_path):
    latin = written(tmp_path, "h.toml", f'# ours\nname = "Müller"\n{WHO}'.encode("cp1252"))
    assert refused(latin) == (
        f"holding file {latin} is not UTF-8 text (line 2, byte 0xFC); save it as UTF-8"
    )
    shape = land(tmp_path, owner="?")
    shape.write_bytes(shape.read_bytes().replace(b'"?"', b'"M\xfcller"'))
    assert refused(shape) == (
        f"holding file {shape} is not UTF-8 text (line 1, byte 0xFC); save it as UTF-8"
    )
    utf8 = written(tmp_path, "u.toml", ('\ufeffcrags = ["Müller"]\r\n' + WHO).encode())
    assert read_holding(utf8).crags == ("Müller",)


@pytest.mark.parametrize("name", ["x" * 5000, "x\\u0000", "none.geojson"])
def test_a_land_that_no_file_has(tmp_path, name):
    """A name longer than the system allows: found by broken files."""
    said = refused(written(tmp_path, "h.toml", f'land = "{name}"\n{WHO}'.encode()))
    assert len(said) < 400 + len(str(tmp_path)) and "\n" not in said
    assert "there is no such file" in said or "0000" in said or "control" in said


@pytest.mark.parametrize("name", ["h.toml", "h.geojson", "h.gpkg"])
def test_a_folder_in_place_of_the_file(tmp_path, name):
    (tmp_path / name).mkdir()
    assert refused(tmp_path / name).startswith(
        f"holding file {tmp_path / name} is a folder; give a file"
    )


@pytest.mark.parametrize(
    "content",
    [
        b'{"type": "FeatureCollection", "features": [',
        b'{"type":"Feature","properties":{},"geometry":{"type":"Polygon","coordinates":[[[1,2],'
        b"[3,4]]]}}",
        b'{"type":"Feature","properties":{},"geometry":{"type":"Polygon","coordinates":[]}}',
        b'{"type":"Feature","properties":{},"geometry":{"type":"Polygon","coordinates":[[["a",1],'
        b"[3,4],[5,5],[1,1]]]}}",
        b"\x00\x01\x02",
    ],
)
def test_a_damaged_polygon_file_is_one_sentence(tmp_path, content):
    path = written(tmp_path, "land.geojson", content)
    assert re.search(r"damaged one \(|holds no polygon", refused(path))


def test_a_geopackage_with_broken_pages_is_one_sentence(tmp_path):
    import geopandas as gpd

    path = tmp_path / "land.gpkg"
    gpd.GeoDataFrame({"name": ["x"]}, geometry=[shapely.box(0, 0, 1, 1)], crs=4326).to_file(path)
    whole = path.read_bytes()
    for at in range(0, len(whole), len(whole) // 12):
        path.write_bytes(whole[:at] + bytes(4096) + whole[at + 4096 :])
        try:
            read_holding(path)
        except OptionError as error:
            assert "\n" not in str(error) and len(str(error)) < 300 + len(str(path))


# -- land that is not on the earth, or all of it


@pytest.mark.parametrize(
    ("ring", "says"),
    [
        (box(-5, 43, -4, 95), "latitude 95 of the polygon is not in -90..90 degrees"),
        (box(-185, 43, -184, 44), "longitude -185 of the polygon is not in -180..180 degrees"),
        (box(500_000, 4_800_000, 501_000, 4_801_000), "longitude 500000 of the polygon is not in"),
    ],
)
def test_a_polygon_off_the_earth_is_refused(tmp_path, ring, says):
    path = land(tmp_path, ring)
    assert refused(path) == (
        f"{path}: {says}"
        + (" -180..180 degrees" if says.endswith("not in") else "")
        + "; check the order of the coordinates and their coordinate system"
    )


@pytest.mark.parametrize(
    ("rings", "wide"),
    [
        ([box(-180, -90, 180, 90)], 360),
        ([box(-180, 40, 180, 41)], 360),
        ([box(-10, 40, 0.5, 41)], 10),
        ([box(-5, 30, -4, 41)], 11),
        ([box(-50, 40, -49, 41), box(10, 40, 11, 41)], 61),
    ],
)
def test_a_land_as_wide_as_a_continent_is_refused_at_once(tmp_path, rings, wide):
    began = time.monotonic()
    path = land(tmp_path, *rings)
    assert refused(path) == (
        f"{path}: the land is {wide} degrees wide, over the limit of 10; give the land of one "
        "holder, or name the crags"
    )
    assert time.monotonic() - began < 5


def test_a_land_on_both_sides_of_the_antimeridian_is_narrow(tmp_path):
    found = read_holding(land(tmp_path, box(179, -17, 180, -16), box(-180, -17, -179, -16)))
    assert found.land.area == pytest.approx(2.0)
    assert read_holding(land(tmp_path, box(-10, 40, 0, 50))).land.area == pytest.approx(100.0)


# -- months


@pytest.mark.parametrize("value", ["", "2027", "2027-13", "2027-04-32", "2027-04-00"])
def test_a_visit_has_a_month(tmp_path, value):
    path = written(tmp_path, "h.toml", f'crags = ["A"]\n{WHO}[visits]\nA = "{value}"\n')
    assert f"visits.A = '{value}': write the month as 2027-04" in refused(path)


def test_visits_are_a_table(tmp_path):
    path = written(tmp_path, "h.toml", f'crags = ["A"]\nvisits = ""\n{WHO}')
    assert refused(path) == (
        f"holding file {path}: visits = ''; give a table, for each name a text"
    )


def test_a_month_that_is_past_is_noted(assessed_demo):
    plans = {"Cabo Alzoro": "2026-10", "Foz Garbina": "2026-11"}
    works = (Work("Cabo Alzoro", "renewed", "2026-09-30"), Work("Foz Garbina", "cleaned"))
    given = Holding("x", Contact("", "x", "112"), None, tuple(plans), plans, works)
    said = "lies before the month of the assessment (2026-11); correct it, or leave it out if it is"
    notes = (
        f"the visit at Cabo Alzoro in 2026-10 {said} done",
        f"the work at Cabo Alzoro in 2026-09 {said} done",
    )
    assert past_months(given, "2026-11-25") == notes
    assert landowner(assessed_demo, given).notes == notes


# -- results and registers in each other's place


def test_results_and_registers_are_not_taken_for_each_other(tmp_path):
    register = written(tmp_path, "own.csv", "anchor_id\n")
    with pytest.raises(LayerError, match=r"own.csv is a file, and a folder of results is expected"):
        read_results(register)
    with pytest.raises(RegisterError, match="holds no .*; give the file of a register"):
        read_register(tmp_path)
    written(tmp_path, "provenance.json", "{}")
    with pytest.raises(RegisterError, match="is a folder of results, and a register is expected"):
        read_register(tmp_path)
    with pytest.raises(RegisterError, match="anchors.parquet is one file of results; give their"):
        read_register(written(tmp_path, "anchors.parquet", b""))


@pytest.mark.parametrize("seed", [-1, 2**31])
def test_a_seed_that_is_none_is_refused(seed):
    with pytest.raises(OptionError, match=f"seed = {seed}: give a whole number from 0 to 2147483"):
        make_plan(None, seed=seed)
    with pytest.raises(OptionError, match="nodes = 2147483648: give a whole number from 1 to 2147"):
        make_plan(None, nodes=2**31)


def test_two_files_that_name_different_people_to_call_are_refused(tmp_path):
    land, us = tmp_path / "land.toml", tmp_path / "us.toml"
    land.write_text('crags = ["C"]\n[contact]\norganisation = "A"\nphone = "112"\n')
    us.write_text('[contact]\norganisation = "A"\nphone = "113"\n')
    with pytest.raises(
        OptionError, match=r"land.toml says contact.phone = '112' and us.toml says '113'"
    ):
        read_holding(land, us)
    us.write_text('[contact]\norganisation = "A"\nemail = "a@example.org"\n')
    assert read_holding(land, us).contact.email == "a@example.org"
