"""What the public functions of an assessment say where there is nothing, or nothing to go on."""

import datetime as dt
from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

import saltreach as sr
from saltreach.assessment.chain import anchor_chain
from saltreach.assessment.cure import cure_advice
from saltreach.assessment.land import land_around
from saltreach.errors import OptionError
from saltreach.intake.datasheet import read_cure_table

REGISTER = pd.DataFrame({"anchor_id": ["a", "b"], "crag": "C", "sector": "S", "lon": [-5.0, -500.0],
                         "lat": 43.4})  # fmt: skip


@pytest.fixture(scope="module")
def result():
    return sr.assess(sr.read_register(REGISTER), sr.Options(today=dt.date(2026, 11, 25)))


def test_the_refused_rows_say_which_and_why(result):
    (refused,) = result.rejected.to_dict("records")
    assert (refused["row"], refused["column"], refused["value"]) == (2, "lon", "-500")
    assert refused["reason"] and refused["fix"]


def test_an_anchor_is_explained_only_of_a_fresh_assessment(result):
    values, shares = anchor_chain(result, "a")
    assert values["anchor_id"] == "a" and set(shares.columns) == {"steel", "zinc"}
    with pytest.raises(OptionError, match="only a fresh assessment can explain an anchor"):
        anchor_chain(replace(result, working=None), "a")


def test_there_is_no_land_around_no_anchors(result):
    nobody = replace(result, flat=replace(result.flat, anchors=result.flat.anchors.iloc[:0]))
    assert len(land_around(nobody).shapes) == 0
    assert len(land_around(result).shapes) > 0


def test_a_cure_time_needs_a_temperature(tmp_path):
    sheet = tmp_path / "sheet.csv"
    sheet.write_text("rock_temperature_c,gel_min,cure_min\n0,30,600\n20,6,60\n")
    table, day = read_cure_table(sheet), dt.date(2026, 11, 25)
    assert cure_advice(table, 20.0, wet=False, expires_on="", on=day)["cure_min"] == 60
    with pytest.raises(OptionError, match="give degrees Celsius"):
        cure_advice(table, np.nan, wet=False, expires_on="", on=day)
