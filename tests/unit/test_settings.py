"""Settings: a record refuses what cannot be, in a program and from a file, in one sentence."""

import dataclasses
import datetime as dt
import subprocess
import sys
from pathlib import Path

import pytest

from saltreach.errors import OptionError
from saltreach.intake.options import Options, read_options
from saltreach.intake.policy import Policy
from saltreach.intake.prices import Piece, read_prices
from saltreach.intake.settings import schema_of, without_none


def options(tmp_path, text):
    path = tmp_path / "o.toml"
    path.write_bytes(text if isinstance(text, bytes) else text.encode())
    return read_options(path)


@pytest.mark.parametrize(
    ("given", "says"),
    [
        ({"so2_ug_m3": -1}, "options: so2_ug_m3 = -1; give a number from 0 to 250"),
        ({"so2_ug_m3": "2"}, "so2_ug_m3 = '2'; give a number"),
        ({"so2_ug_m3": True}, "so2_ug_m3 = True; give a number"),
        ({"so2_ug_m3": float("nan")}, "so2_ug_m3 = nan; give a number"),
        ({"allow_looser_policy": 1}, "policy = 1; give true or false"),
        ({"today": "25.11."}, "today = '25.11.'; give a day, as 2027-04-30"),
        ({"today": "2200-01-01"}, "today: 2200-01-01 is not in 1900 to 2199; correct the day"),
        ({"today": "1899-12-31"}, "today: 1899-12-31 is not in 1900 to 2199"),
        ({"so2_ug": 1}, "unknown name 'so2_ug'; did you mean 'so2_ug_m3'? (known: so2_ug_m3, "),
        ({"rock_column": "unit"}, "give the geology file"),
    ],
)
def test_an_impossible_option_is_refused_when_it_is_made(given, says):
    with pytest.raises(OptionError) as caught:
        Options(**given)
    assert says in str(caught.value)


def test_a_record_stays_what_it_is():
    made = Options(so2_ug_m3=3, dem_file=Path("heights.tif"))
    assert (made.so2_ug_m3, made.dem_file) == (3.0, "heights.tif")
    with pytest.raises(dataclasses.FrozenInstanceError):
        made.axial_kn = 20.0
    later = dataclasses.replace(made, today=dt.date(2026, 11, 25))
    assert later.record()["today"] == "2026-11-25" and made.today is None
    with pytest.raises(OptionError, match="from 15 to 100"):
        dataclasses.replace(made, axial_kn=14.9)
    assert made == Options(so2_ug_m3=3, dem_file="heights.tif")


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("axial_kn = 'x'", "options file o.toml: axial_kn = 'x'; give a number"),
        ("axial = 1", "options file o.toml: unknown name 'axial'; did you mean 'axial_kn'?"),
        ("axial_kn =", "is not valid TOML"),
        (b"axial_kn = 15\n# \xff", "is not UTF-8 text (line 2, byte 0xFF); save it as UTF-8"),
    ],
)
def test_a_file_is_named_with_what_is_wrong_in_it(tmp_path, text, says):
    with pytest.raises(OptionError) as caught:
        options(tmp_path, text)
    assert says in str(caught.value)


def test_a_file_with_a_byte_order_mark_a_missing_file_and_a_folder(tmp_path):
    text = "today = 2026-11-25\n".encode("utf-8-sig")
    assert options(tmp_path, text).today == dt.date(2026, 11, 25)
    with pytest.raises(OptionError, match="nowhere.toml does not exist"):
        read_options(tmp_path / "nowhere.toml")
    with pytest.raises(OptionError, match="is a folder; give a file"):
        read_options(tmp_path)


def test_what_the_program_fills_no_file_may_set(tmp_path):
    path = tmp_path / "p.toml"
    path.write_text("[bonded]\n316 = 8\n")
    assert read_prices(path).source == "p.toml"
    path.write_text("source = 'x'\n[bonded]\n316 = 8\n")
    with pytest.raises(OptionError, match="unknown name 'source'"):
        read_prices(path)


def test_a_mistake_inside_a_table_says_where(tmp_path):
    path = tmp_path / "p.toml"
    good = "kind = 'bonded'\nmetal = '316'\ndiameter_mm = 12\nlength_mm = 90\nprice = 1\n"
    for more, says in (
        ("legs = 3", "prices file p.toml: stock 2.legs = 3; give a whole number from 1 to 2"),
        ("lgs = 1", "prices file p.toml, stock 2: unknown name 'lgs'; did you mean 'legs'?"),
        ("grade = '1.4462'", "stock 2 = {"),
    ):
        path.write_text(f"[[stock]]\n{good}[[stock]]\n{good}{more}\n")
        with pytest.raises(OptionError) as caught:
            read_prices(path)
        assert says in str(caught.value)
    path.write_text("stock = 3\n")
    with pytest.raises(OptionError, match="stock = 3; give tables, each under"):
        read_prices(path)


@pytest.mark.parametrize("model", [Options, Policy, Piece])
def test_every_name_says_what_it_means(model):
    parts = schema_of(model)["properties"].values()
    assert all(without_none(part).get("description") for part in parts)


def test_options_load_no_science():
    heavy = "{'scipy', 'geopandas', 'xarray', 'saltreach.science'}"
    code = f"import sys, saltreach.intake.options; print(sorted({heavy} & set(sys.modules)))"
    out = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert out.stdout.strip() == "[]"


def test_a_long_value_is_cut_in_the_message(tmp_path):
    """A file of 40,000 letters in one value filled the screen."""
    file = tmp_path / "o.toml"
    file.write_text(f'so2_ug_m3 = "{"A" * 40_000}"\n')
    with pytest.raises(OptionError) as caught:
        read_options(file)
    assert len(str(caught.value)) < 400 and "..." in str(caught.value)
