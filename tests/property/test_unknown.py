"""Not knowing never looks safer than knowing: over every optional column of the register.

Erasing one value never gives a milder risk band, nor a longer interval, than some plausible value
of it would; erasing a whole column never lowers the region's mean probability by more than a tenth.
Our own rule. The layers are asked once; the decisions are made again from the register's columns.
"""

import datetime as dt

import numpy as np
import pandas as pd
import pytest

from saltreach.assessment.corrosivity import corrosivity
from saltreach.assessment.interval import inspection_interval
from saltreach.assessment.material import choose_material, stress_corrosion_hazard
from saltreach.assessment.region import age_of_anchors
from saltreach.assessment.resistance import rock_resistance
from saltreach.assessment.risk import action_of, bands_of
from saltreach.assessment.rock import rock_strength
from saltreach.assessment.state import state_of_anchors
from saltreach.vocabulary.columns import REGISTER_BY_NAME
from saltreach.vocabulary.metals import MATERIAL_NAMES
from saltreach.vocabulary.rocks import lithology_of
from saltreach.vocabulary.words import BANDS, UNKNOWN

TODAY = dt.date(2026, 11, 25)
ROWS = 96

PLAUSIBLE = {
    "kind": ["bonded", "expansion", "drive-in"],
    "material": list(MATERIAL_NAMES),
    "hanger_material": ["304", "316", "titanium", "zinc-plated steel"],
    "adhesive": ["epoxy", "polyester"],
    "rod_shape": ["threaded", "plain"],
    "hole_condition": ["clean and dry", "water-filled"],
    "diameter_mm": [8.0, 10.0, 12.0, 14.0],
    "embedment_mm": [50.0, 80.0, 120.0],
    "installed_on": ["1985", "1995", "2005", "2015", "2025"],
    "last_inspected_on": ["2015-01-01", "2026-11-01"],
    "condition": [0.0, 1.0, 2.0, 3.0, 4.0],
    "rain_washed": ["yes", "no"],
    "face_slope_deg": [60.0, 90.0, 120.0],
    "face_azimuth_deg": [0.0, 180.0],
    "rock_type": ["granite", "limestone", "sandstone", "tuff"],
    "tap_response": ["ringing", "mixed", "dull", "hollow"],
    "weathering_grade": ["W1", "W3", "W6"],
    "strength_grade": ["R2", "R5"],
    "rebound_number": [20.0, 50.0],
    "crack_distance_mm": [30.0, 400.0],
    "edge_distance_mm": [50.0, 800.0],
    "seepage": ["none", "sulphate"],
    "visits_per_year": [10.0, 2000.0],
}
"""Values that each optional column may turn out to have."""

WEIGHTY = (
    "kind", "material", "hanger_material", "diameter_mm", "installed_on", "condition", "rock_type",
    "tap_response",
)  # fmt: skip
COLUMNS = [
    name if name in WEIGHTY else pytest.param(name, marks=pytest.mark.search) for name in PLAUSIBLE
]
"""The columns that move the answer most are tried on every run, the others by `make search`."""

USUAL = {
    "material": "316", "installed_on": "2012", "condition": 1.0, "rain_washed": "no",
    "tap_response": "ringing", "diameter_mm": 12.0, "embedment_mm": 90.0,
    "last_inspected_on": "2025-06-01", "kind": "bonded", "adhesive": "vinylester",
    "rod_shape": "ribbed", "hole_condition": "clean and dry", "seepage": "none",
    "weathering_grade": "W2",
}  # fmt: skip
"""What stands where the demo says nothing."""


@pytest.fixture(scope="module")
def region(assessed_demo):
    """The demo with its layers; a column that it leaves blank from top to bottom is filled."""
    table = assessed_demo.working.reset_index(drop=True)
    return filled(table, [name for name in USUAL if blanks(table, name).all()])


@pytest.fixture(scope="module")
def known(region):
    """A part of it without a blank in the columns tested, some of it in a bad condition."""
    table = filled(region, USUAL).iloc[:: max(1, len(region) // ROWS)].reset_index(drop=True)
    # a hanger nobody wrote down is of the bolt's metal: most glued ones are of one piece with it
    hanger = table["hanger_material"]
    table["hanger_material"] = hanger.where(hanger != UNKNOWN, table["material"])
    at = np.random.default_rng(7).permutation(len(table))[:20]
    table.loc[at, "condition"] = np.resize([3.0, 2.0], 20)
    return table


def blanks(table, name):
    return table[name].isna() | table[name].isin(["", UNKNOWN])


def filled(table, names):
    out = table.copy()
    for name in names:
        out[name] = out[name].astype(object)
        out.loc[blanks(out, name), name] = USUAL[name]
        out = retyped(out, name)
    return out


def erased(table, name, rows):
    column = REGISTER_BY_NAME[name]
    blank = UNKNOWN if UNKNOWN in column.choices else np.nan
    out = table.copy()
    out[name] = out[name].astype(object)
    out.loc[rows, name] = blank
    return retyped(out, name)


def retyped(table, name):
    kind = REGISTER_BY_NAME[name].kind
    if kind in ("number", "integer"):
        table[name] = table[name].astype(float)
    if name == "rock_type":
        table["lithology"] = lithology_of(table["rock_type"].fillna("").astype(str))
        table["lithology_source"] = "register"
    return table


def decided(table):
    """From the register's and the layers' columns to band and months."""
    steps = (
        corrosivity,
        stress_corrosion_hazard,
        choose_material,
        rock_strength,
        lambda t: pd.DataFrame({"age_y": age_of_anchors(t, TODAY)}, index=t.index),
        lambda t: rock_resistance(t, 15.0),
    )
    for step in steps:
        found = step(table)
        table = table.assign(**{name: found[name] for name in found})
    state = state_of_anchors(table, TODAY, capacity=False)
    table = table.assign(**{name: state.columns[name] for name in state.columns})
    for step in (bands_of, lambda t: action_of(t, TODAY)):
        found = step(table)
        table = table.assign(**{name: found[name] for name in found})
    found = inspection_interval(table, state.curve, TODAY)
    months = found["inspection_interval_months"].to_numpy(float, na_value=np.nan)
    band = BANDS.rank(table["risk_band"]).to_numpy()
    # an anchor out of use has no interval: nothing is shorter
    return band, np.where(np.isnan(months), 0.0, months), table["failure_probability_y1"]


@pytest.mark.parametrize("name", COLUMNS)
def test_an_erased_value_is_no_safer_than_some_plausible_one(known, name):
    """All at once: the part with the value erased, and once more for each plausible value."""
    some = np.arange(0, len(known), 4)
    variants = [erased(known, name, some)]
    for value in PLAUSIBLE[name]:
        table = known.copy()
        table[name] = table[name].astype(object)
        table.loc[some, name] = value
        variants.append(retyped(table, name))
    together = pd.concat(
        [t.assign(crag=t["crag"] + f" {i}") for i, t in enumerate(variants)], ignore_index=True
    )
    band, months, _ = (np.reshape(v, (len(variants), -1))[:, some] for v in decided(together))
    assert (band[0] >= band[1:].min(axis=0)).all()
    assert (months[0] <= months[1:].max(axis=0)).all()


@pytest.fixture(scope="module")
def mean_of_the_region(region):
    return decided(region)[2].mean()


@pytest.mark.parametrize("name", COLUMNS)
def test_an_erased_column_never_lowers_the_mean_probability_by_more_than_a_tenth(
    region, mean_of_the_region, name
):
    """Of the whole demo: in a small part of it one anchor that has failed would be the mean."""
    _, _, blank = decided(erased(region, name, np.arange(len(region))))
    assert blank.mean() >= 0.9 * mean_of_the_region
