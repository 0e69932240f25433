"""What a Python user meets first: forgiving where it is safe, a clear word where it is not."""

import datetime as dt
import pickle
import re
import subprocess
import sys
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
import xarray as xr

import saltreach as sr
from saltreach.errors import LayerError, OptionError
from saltreach.layers import sample
from saltreach.layers.embedded import embedded_file
from saltreach.science.air import atmosphere, salt

TODAY = dt.date(2026, 11, 25)
ROWS = pd.DataFrame(
    {"anchor_id": ["a", "b"], "crag": "Alder", "sector": "North", "lon": [-4.95, -4.951],
     "lat": [43.44, 43.441]}
)  # fmt: skip


def test_assess_takes_what_read_register_reads(tmp_path):
    ROWS.to_csv(tmp_path / "a.csv", index=False)
    options = sr.Options(today=TODAY)
    bands = [
        sr.assess(given, options).anchors["risk_band"].tolist()
        for given in (ROWS, tmp_path / "a.csv", str(tmp_path / "a.csv"), sr.read_register(ROWS))
    ]
    assert bands[1:] == bands[:-1]
    with pytest.raises(OptionError, match="dict given; give saltreach.Options"):
        sr.assess(ROWS, {"so2_ug_m3": 2})


def test_a_column_of_the_user_does_not_replace_a_chance():
    own = ROWS.assign(category_probability_C1=0.1, crc_probability_V="none")
    plain, named = (sr.assess(r, sr.Options(today=TODAY)).anchors for r in (ROWS, own))
    for name in ("category_probability_C1", "crc_probability_V"):
        assert named[name].tolist() == plain[name].tolist()
        assert f"{name}_given" in named


@pytest.mark.parametrize("today", ["2026-11-25", dt.datetime(2026, 11, 25, 8), TODAY])
def test_a_day_is_a_day_in_any_form(today):
    assert sr.Options(today=today).today == TODAY


def test_a_precision_belongs_to_a_shoreline_of_ones_own():
    with pytest.raises(OptionError, match="coast_sd_m: give the shoreline's file"):
        sr.Options(coast_sd_m=1.0)
    assert sr.Options(coast_sd_m=1.0, coast_file="c.gpkg").coast_sd_m == 1.0


@pytest.mark.parametrize("seconds", [float("nan"), float("inf"), -1.0])
def test_a_time_without_end_is_refused(assessed_demo, seconds):
    with pytest.raises(OptionError, match="seconds"):
        sr.plan(assessed_demo, embedded_file("demo/teams.csv"), years=1, seconds=seconds)


def test_results_are_taken_from_their_folder_and_nothing_else(assessed_demo, tmp_path):
    sr.write_results(assessed_demo, tmp_path / "out")
    back = sr.read_results(tmp_path / "out")
    pd.testing.assert_frame_equal(back.find_out, assessed_demo.find_out, check_dtype=False)
    teams = embedded_file("demo/teams.csv")
    plans = [sr.plan(g, teams, years=1, seconds=0) for g in (assessed_demo, tmp_path / "out")]
    assert plans[0].flat.visits.equals(plans[1].flat.visits)
    with pytest.raises(OptionError, match="DataFrame given; give an Assessment"):
        sr.priorities(back.sectors, 3000, embedded_file("demo/prices.toml"))
    assert back != assessed_demo
    assert back in [back]


def test_a_result_from_a_pickle_shows_its_map(assessed_demo, tmp_path):
    (tmp_path / "r.pickle").write_bytes(pickle.dumps(assessed_demo))
    code = (
        "import pickle, sys; from pathlib import Path;"
        "r = pickle.loads(Path(sys.argv[1]).read_bytes()); print('iframe' in r._repr_html_())"
    )
    done = subprocess.run(
        [sys.executable, "-c", code, str(tmp_path / "r.pickle")],
        capture_output=True, text=True, check=True,
    )  # fmt: skip
    assert done.stdout.strip() == "True"


def test_positions_that_cannot_be_are_refused_by_sample():
    with pytest.raises(LayerError, match="lat 99 at place 2 is no latitude"):
        sample([-5.85, 1], [43.655, 99], "coast_distance_m")
    lon, lat = pd.Series([1.0, 2.0], ["a", "b"]), pd.Series([41.0, 42.0], ["b", "a"])
    with pytest.raises(LayerError, match="index of lat differs"):
        sample(lon, lat, "temperature_c")


def test_a_unit_that_contradicts_the_argument_is_refused():
    kelvin = xr.DataArray([283.15], dims="t", attrs={"units": "K"})
    with pytest.raises(OptionError, match="temperature_c: its units are 'K'; convert it to degC"):
        atmosphere.first_year_loss_um_y("steel", kelvin, 75, 10, 10)
    with pytest.raises(OptionError, match="distance_m: its units are 'km'"):
        salt.chloride(xr.DataArray([0.1], dims="x", attrs={"units": "km"}))
    celsius = (kelvin - 273.15).assign_attrs(units="degC")
    found = atmosphere.first_year_loss_um_y("steel", celsius, 75, 10, 10)
    assert found.item() == pytest.approx(33.8, abs=0.1)  # the docstring's value


def test_the_readme_s_example_runs(tmp_path, monkeypatch):
    text = (Path(__file__).parents[2] / "README.md").read_text(encoding="utf-8")
    code = re.search(r"```python\n(.*?)```", text, re.DOTALL).group(1)
    files = {"anchors.csv": "anchors.csv", "teams.csv": "teams.csv", "windows.csv": "windows.csv",
             "prices.toml": "prices.toml", "land.geojson": "holding.toml"}  # fmt: skip
    for name, demo in files.items():
        assert f'"{name}"' in code
        code = code.replace(f'"{name}"', repr(str(embedded_file(f"demo/{demo}"))))
    code = code.replace("sr.plan(result,", "sr.plan(result, seconds=0,")
    names: dict = {}
    exec(code, names)
    assert len(names["shown"].places)
    assert len(names["bought"].shopping)
    assert len(names["plan"].visits)
    assert np.isfinite(names["result"].anchors["coast_distance_m"]).any()
