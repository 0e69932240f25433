"""The record of an assessment: what it was made from, by value, and what it rests on."""

import datetime as dt
import hashlib
from importlib.metadata import version

import pandas as pd
import pytest

import saltreach as sr
from saltreach.assessment.provenance import assumptions, provenance
from saltreach.intake import read_register
from saltreach.intake.options import Options
from saltreach.intake.policy import DEFAULT, read_policy
from saltreach.intake.survey import read_survey, survey_at
from saltreach.vocabulary.words import CAUTION

TODAY = dt.date(2031, 3, 4)
TEXT = (
    "anchor_id,crag,sector,lon,lat\n"
    "a,Alder,North,-4.95,43.44\n"
    "b,Alder,North,-4.951,43.441\n"
    "c,Alder,South,-4.951,943\n"  # no latitude
    "d,,South,-4.951,43\n"  # no crag
)
LAYERED = pd.DataFrame(
    {
        "lithology_source": ["register", "unknown"],
        "rock_disagreement": ["", "Map says slate."],
        "rock_unread": ["", "greenish"],
    }
)


@pytest.fixture(scope="module")
def register(tmp_path_factory):
    file = tmp_path_factory.mktemp("register") / "own.csv"
    file.write_text(TEXT, encoding="utf-8")
    return read_register(file, today=TODAY)


def record(register, options=None, policy=DEFAULT, survey=None):
    return provenance(
        register, options or Options(), TODAY, policy,
        sources={}, rock_map=None, table=LAYERED, survey=survey,
    )  # fmt: skip


@pytest.mark.pinned("worked", answers=12)
def test_what_was_assessed_and_for_which_day(register):
    found = record(register, Options(so2_ug_m3=7.5, today=TODAY))
    assert found["assessed_for"] == "2031-03-04"
    assert found["software"] == f"saltreach {version('saltreach')}"
    assert dt.datetime.fromisoformat(found["time"]).utcoffset() == dt.timedelta(0)
    assert found["register"] == {
        "file": "own.csv", "format": "CSV", "rows": 4, "accepted": 2, "rejected": 2,
        "cells_in_doubt": 0,
        "sha256": hashlib.sha256(TEXT.encode()).hexdigest(), "notes": [],
        "columns_read_as": {}, "columns_not_used": [],
    }  # fmt: skip
    assert found["options"]["so2_ug_m3"] == 7.5
    assert found["options"]["today"] == "2031-03-04"
    assert found["rock"] == {
        "anchors_by_source": {"register": 1, "unknown": 1}, "disagreements": 1,
        "unmapped_entries": {"greenish": 1},
    }  # fmt: skip
    assert found["policy"]["order"] == "sea-cliffs-first"
    assert found["caution"] == CAUTION
    assert found["survey"] is None
    assert found["layers"] == []
    assert found["versions"]["numpy"] == version("numpy")
    assert {"pandas", "geopandas", "shapely", "pyproj", "scipy"} <= set(found["versions"])


def test_a_survey_is_recorded_with_what_was_refused_of_it(register, tmp_path):
    file = tmp_path / "survey.csv"
    file.write_text("crag,sector,joint_spacing_mm\nAlder,North,300\nAlder,Nowhere,300\n")
    _, survey = survey_at(read_survey(file), register.anchors)
    assert record(register, survey=survey)["survey"] == {
        "file": "survey.csv", "sha256": hashlib.sha256(file.read_bytes()).hexdigest(),
        "rows": 2, "accepted": 1, "rejected": 1, "notes": [],
    }  # fmt: skip


def test_assumptions_name_the_settings_they_rest_on():
    found = assumptions(Options(so2_ug_m3=12.5, axial_kn=20.0))
    assert found[0] == (
        "SO2 is taken as 12.5 ug/m3 where neither the register nor a region pack gives it; no "
        "layer of it is embedded, and a pack's is a model's mean over a cell or the user's raster, "
        "hardly surer (so2_source says which)."
    )
    said = [text for text in found if "kN axial" in text]
    assert len(said) == 1
    assert said[0].startswith("Resistance in rock (20 kN axial, 25 kN radial required at the 5th")
    assert assumptions(Options())[0].startswith("SO2 is taken as 2 ug/m3 ")
    # what a reader must be told of, each once
    for word in ("factor of 2.6", "below 85 degrees washed, above 100 not", "not washed;",
                 "half strength", "from memory", "five times lower or higher", "Prices are",
                 "geology file", "hollow always vetoes", "Wind is left out"):  # fmt: skip
        assert sum(word in text for text in found) == 1, word


def test_a_looser_policy_is_an_assumption_and_no_other_policy_is(register, tmp_path):
    file = tmp_path / "policy.toml"
    file.write_text("longest_interval_months = 72\nduplex_allowed = true\n")
    loose = read_policy(file, allow_looser=True)
    plain, loosened = (record(register, policy=p)["assumptions"] for p in (DEFAULT, loose))
    assert plain == assumptions(Options())
    assert loosened == [
        *plain,
        "LOOSER POLICY: duplex is accepted where the next better metal is the rule.",
        "LOOSER POLICY: longest_interval_months 72 instead of 60.",
    ]
    file.write_text("longest_interval_months = 36\n")
    assert record(register, policy=read_policy(file))["assumptions"] == plain


def test_the_layers_that_an_assessment_used_are_named(assessed_demo):
    layers = assessed_demo.provenance["layers"]
    assert layers[0]["quantity"] == "shoreline"
    assert all(layer["licence"] and layer["source"] for layer in layers)
    assert assessed_demo.provenance["register"]["accepted"] == len(assessed_demo.anchors)
    assert isinstance(assessed_demo, sr.Assessment)
