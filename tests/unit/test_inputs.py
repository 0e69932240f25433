"""What an assessment starts from: files of its options, anchors at sea, and what is refused."""

import datetime as dt

import numpy as np
import pandas as pd
import pytest

from saltreach import Options, assess
from saltreach.assessment import inputs
from saltreach.errors import NoGoodRowsError
from saltreach.intake import read_register
from saltreach.intake.policy import DEFAULT

TODAY = dt.date(2026, 11, 25)
ASHORE = {"anchor_id": "a1", "crag": "Alder", "sector": "Wall", "lat": 43.2, "lon": -4.0,
          "material": "316", "kind": "bonded", "installed_on": "2015-05-01"}  # fmt: skip
AT_SEA = ASHORE | {"anchor_id": "a2", "lat": 45.0, "lon": -20.0}
SURVEY = "crag,sector,joint_spacing_mm\nAlder,Wall,400\nAlder,Wall,much\n"


def register(*rows):
    return read_register(pd.DataFrame(rows or [ASHORE]), today=TODAY)


def test_without_files_there_are_our_own_rules_no_stock_and_no_survey():
    found = inputs.beside(Options(today=TODAY), register())
    assert found.policy is DEFAULT
    assert (found.prices, found.stock, found.survey, found.rock_mapping) == (None,) * 4
    assert (found.left_out, found.notes()) == ((), [])


def test_files_named_are_read(tmp_path):
    policy, prices, survey = (
        tmp_path / name for name in ("policy.toml", "prices.toml", "survey.csv")
    )
    policy.write_text("work_cost = 7.5\n")
    prices.write_text(
        'currency = "EUR"\nresin_per_ml = 0.1\nwork_per_anchor = 10\nextra_per_anchor = 1\n'
        "travel_per_sector = 20\n\n[[stock]]\n"
        'kind = "bonded"\nmetal = "titanium"\ndiameter_mm = 12\nlength_mm = 100\nprice = 30\n'
    )
    survey.write_text(SURVEY)
    options = Options(today=TODAY, policy_file=policy, prices_file=prices, survey_file=survey,
                      leave_out_refused=True)  # fmt: skip
    found = inputs.beside(options, register())
    assert found.policy.work_cost == 7.5 != DEFAULT.work_cost
    assert found.stock == frozenset({"titanium"})
    assert [row["joint_spacing_mm"] for row in found.survey.rows] == [400]
    assert found.left_out == ("LEFT OUT of survey survey.csv: row 3 (joint_spacing_mm 'much').",)


def test_names_are_not_asked_of_a_register_without_a_row(tmp_path):
    """What is wrong is then the register, not the survey."""
    survey = tmp_path / "survey.csv"
    survey.write_text(SURVEY.replace("Alder,Wall,much\n", ""))
    found = inputs.beside(Options(survey_file=survey), register(ASHORE | {"lat": 95.0}))
    assert (len(found.survey.rows), found.left_out) == (1, ())


def test_a_survey_s_names_are_known_before_anchors_at_sea_are_refused(tmp_path):
    survey = tmp_path / "survey.csv"
    survey.write_text("crag,sector,joint_spacing_mm\nBrant,Skerry,400\n")
    far = AT_SEA | {"crag": "Brant", "sector": "Skerry"}
    found = assess(pd.DataFrame([ASHORE, far]), Options(today=TODAY, survey_file=survey))
    assert found.flat.rejected["column"].tolist() == ["lon, lat", "crag"]
    assert found.provenance["left_out"] == []


def seen_from(register):
    """A shore: the second anchor 900 km out at sea."""
    far = register.anchors["anchor_id"].eq("a2").to_numpy()
    return register, {
        "shore_distance_m": np.where(far, 9e5, 3000.0),
        "coast_side": np.where(far, "sea", "land"),
        "other": np.where(far, 2, 1),
    }


def test_anchors_far_at_sea_are_refused_and_the_others_keep_what_is_known():
    register, shore = inputs.usable(
        *seen_from(read_register(pd.DataFrame([AT_SEA, ASHORE]), today=TODAY)), 2000.0
    )
    assert register.anchors["anchor_id"].tolist() == ["a1"]
    assert {name: values.tolist() for name, values in shore.items()} == {
        "shore_distance_m": [3000.0], "coast_side": ["land"], "other": [1],
    }  # fmt: skip
    assert inputs.refused(register, None) is register.rejected
    assert len(register.rejected) == 1


@pytest.mark.parametrize(
    ("rows", "why"), [([AT_SEA], "none of its 1 rows can be used"), ([], "no row below its header")]
)
def test_a_register_without_a_row_that_can_be_used(rows, why):
    register = read_register(pd.DataFrame(rows, columns=list(ASHORE)), today=TODAY)
    with pytest.raises(NoGoodRowsError, match=why):
        inputs.usable(*seen_from(register), 2000.0)


def test_refused_rows_of_the_survey_stand_beside_those_of_the_register(tmp_path):
    survey = tmp_path / "survey.csv"
    survey.write_text(SURVEY)
    steps = []
    found = assess(
        pd.DataFrame([ASHORE, ASHORE | {"anchor_id": "a3", "lat": 95.0}]),
        Options(today=TODAY, survey_file=survey, leave_out_refused=True),
        on_step=steps.append,
    )
    assert found.flat.rejected["column"].tolist() == ["lon, lat", "joint_spacing_mm"]
    assert found.flat.rejected.index.tolist() == [0, 1]
    assert steps == [
        "tables beside the register", "coast", "survey", "what the register as a whole says",
        "climate, openness, terrain and rock type", "corrosivity", "metal", "rock", "decisions",
        "sectors and crags", "worth finding out", "order of rebolting",
    ]  # fmt: skip
    warm, mean = (found.working[name].iloc[0] for name in ("warm_month_c", "temperature_c"))
    assert mean + 3 < warm < mean + 15
