"""Planning from Python: tables as files or frames, records with real types."""

import datetime as dt
import subprocess
import sys

import pandas as pd
import pytest

import saltreach as sr
from helpers.planning_world import anchors, sectors
from saltreach.assessment.result import Assessment, Flat
from saltreach.errors import OptionError, RegisterError
from saltreach.intake.teams import read_teams
from saltreach.planning.tables import as_written, typed
from saltreach.vocabulary.words import BANDS, CAUTION

TEAMS = pd.DataFrame({"team": ["West"], "lon": [0.0], "lat": [43.0], "days_free": ["1SA"],
                      "until": [pd.Timestamp("2027-12-31")]})  # fmt: skip
SHUT = pd.DataFrame({"crag": ["crag 0", "Crag 9"], "sector": ["", ""], "from": ["03-01", "03-01"],
                     "until": ["05-31", "05-31"]})  # fmt: skip
LOST = "LEFT OUT of windows windows.csv: row 3 (crag 'Crag 9')."


@pytest.fixture
def result():
    frame = sectors(4, risk_band=["high", "low", "", "severe"])
    flat = Flat(anchors(frame), frame, frame, frame.iloc[:0])
    return Assessment(flat, {
        "assessed_for": "2027-01-01", "time": "2027-01-01T10:00:00+00:00",
        "policy": {"loosened": ["longest_interval_months 90 instead of 60"]},
    })  # fmt: skip


def test_a_plan_from_frames_is_that_of_files(result, tmp_path):
    files = {}
    for name, table in (("teams", TEAMS), ("windows", SHUT)):
        files[name] = tmp_path / f"{name}.csv"
        table.to_csv(files[name], index=False)
    made = sr.plan(result, TEAMS, windows=SHUT, years=0.5, seconds=0, leave_out_refused=True)
    again = sr.plan(result, read_teams(files["teams"]), windows=files["windows"],
                    options=sr.PlanOptions(years=0.5), seconds=0,
                    leave_out_refused=True)  # fmt: skip
    pd.testing.assert_frame_equal(made.flat.visits, again.flat.visits)
    assert made.rejected["value"].tolist() == ["Crag 9"]
    assert made.left_out == (LOST,) and made.notes[0] == LOST == made.figures["left_out"][0]
    assert made.sources["tables"]["windows"]["accepted"] == 1
    assert made.figures["from"] == "2027-01-01" and made.figures["until"] == "2027-06-30"
    assert "looser policy: longest_interval_months 90 instead of 60" in made.notes
    there = made.visits.loc[made.visits["crag"] == "Crag 0", "date"]
    assert not there.dt.month.isin([3, 4, 5]).any()


def test_the_tables_of_a_plan_have_real_types(result):
    steps = []
    made = sr.plan(result, TEAMS, start=dt.date(2027, 1, 1), years=0.5, seconds=0,
                   on_step=steps.append)  # fmt: skip
    assert steps == ["who can go where", "greedy plan", "what cannot be met"]
    visits = made.visits
    assert visits["risk_band"].dtype == BANDS.dtype()
    assert visits["risk_band"].isna().any()  # no band: not known
    assert visits["days_late"].dtype == "Int64"
    assert (visits["begins"].dt.normalize() == visits["date"]).all()
    assert (
        (visits["ends"] - visits["begins"])
        .dt.total_seconds()
        .div(3600)
        .round(2)
        .equals(visits["work_hours"])
    )
    assert made.unmet["visited_on"].isna().sum() == (made.flat.unmet["visited_on"] == "").sum()
    assert made.months["trips"].sum() == made.cost.trips
    assert made.months.index[0] == pd.Period("2027-01")
    assert made.changes.empty and made.changes["date"].dtype.kind == "M"
    assert as_written(visits).astype(object).equals(made.flat.visits.astype(object))
    assert repr(made).startswith(
        f"<Plan: {len(visits)} visits on {made.cost.trips} trips from 2027"
    )
    assert repr(made).endswith(f"{CAUTION}>") and len(repr(made)) < 250


@pytest.mark.parametrize("form", ["plan", "table", "file"])
def test_the_last_plan_is_a_plan_its_table_or_its_file(result, tmp_path, form):
    first = sr.plan(result, TEAMS, years=0.5, seconds=0)
    sr.write_plan(first, tmp_path)
    last = {"plan": first, "table": first.visits, "file": tmp_path / "plan.csv"}[form]
    away = TEAMS.assign(away=first.visits["date"].iloc[0].strftime("%Y-%m-%d"))
    again = sr.plan(result, away, last_plan=last, start="2027-01-01", years=0.5, seconds=0)
    dropped_or_moved = again.changes.loc[again.changes["change"] != "added", "date_before"]
    assert dropped_or_moved.dropna().unique().tolist() == [first.visits["date"].iloc[0]]
    sr.write_plan(again, tmp_path)
    assert (tmp_path / "changes.csv").is_file()


def test_a_plan_of_nothing_to_do_has_its_columns(result):
    none = TEAMS.assign(days_per_month=0)
    made = sr.plan(result, none, years=0.5, seconds=0)
    assert made.visits.empty and {"date", "team", "visit_id"} <= set(made.visits)
    assert made.months[["trips", "visits", "West"]].to_numpy().sum() == 0
    assert typed(made.flat.visits, "plan")["date"].dtype.kind == "M"


@pytest.mark.parametrize(
    ("given", "error", "says"),
    [
        ({"teams": TEAMS.drop(columns="lon")}, RegisterError, "teams.* no column lon"),
        ({"teams": TEAMS.iloc[:0]}, OptionError, "no teams"),
        ({"teams": TEAMS, "windows": "none.csv"}, RegisterError, "none.csv"),
        ({"teams": TEAMS, "speed_km_h": 0}, OptionError, "speed_km_h = 0: give a value from 1"),
        ({"teams": TEAMS, "speed": 30}, TypeError, "speed"),
        ({"teams": TEAMS, "rebolt": SHUT}, RegisterError, "no column chosen"),
        ({"teams": TEAMS, "last_plan": SHUT}, RegisterError, "no column .*visit_id"),
    ],
)
def test_what_cannot_be_used_is_said(result, given, error, says):
    with pytest.raises(error, match=says):
        sr.plan(result, seconds=0, **given)


def test_the_names_load_late():
    code = "import sys, saltreach; print({'pandas', 'highspy'} & {*sys.modules}, saltreach.plan)"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.startswith("set() <function plan")
