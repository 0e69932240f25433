"""What the whole register says is found once; the rows may then be worked out in parts."""

import datetime as dt

import numpy as np
import pandas as pd
import pytest

from saltreach.assessment.findings import proud_life_left_months
from saltreach.assessment.parts import parts_of
from saltreach.assessment.region import region_of
from saltreach.assessment.resistance import rock_resistance
from saltreach.assessment.state import state_of_anchors

TODAY = dt.date(2026, 11, 25)


@pytest.fixture(scope="module")
def anchors(assessed_demo) -> pd.DataFrame:
    """The demo's anchors without what the register as a whole fills in, and a failed batch."""
    table = assessed_demo.working.copy()
    rng = np.random.default_rng(7)
    for name in ("diameter_mm", "embedment_mm", "visits_per_year", "age_y", "rock_strength_mpa"):
        table.loc[rng.random(len(table)) < 0.2, name] = np.nan
    table.loc[table["age_y"].isna(), "installed_on"] = None
    table.loc[rng.random(len(table)) < 0.2, "material"] = "unknown"
    table.loc[rng.random(len(table)) < 0.02, "condition"] = 4
    if "condition_recorded" in table:
        table["condition_recorded"] = table["condition"].astype(float)
    return table


def worked_out(table, region=None) -> tuple[pd.DataFrame, np.ndarray]:
    found = rock_resistance(table, 15.0, region=region)
    table = table.drop(columns=[c for c in found if c in table]).join(found)
    state = state_of_anchors(table, TODAY, region=region)
    proud = proud_life_left_months(table, TODAY, region)
    return found.join(state.columns).assign(proud=proud), state.curve


@pytest.mark.parametrize("rows", [1, 150, 10**6])
def test_parts_of_whole_sectors_give_what_the_whole_register_gives(anchors, rows):
    whole, curve = worked_out(anchors)
    assert (whole["like_failed_share"] > 0).sum() > 20
    region = region_of(anchors, TODAY)
    places = parts_of(anchors, rows)
    parts = [worked_out(anchors.iloc[at], region) for at in places]
    order = np.argsort(np.concatenate(places))
    frame = pd.concat([part for part, _ in parts]).iloc[order]
    pd.testing.assert_frame_equal(frame, whole, check_exact=True)
    assert np.array_equal(np.concatenate([c for _, c in parts])[order], curve, equal_nan=True)


def test_a_part_by_itself_says_something_else(anchors):
    """The test above would see a number of the region left out."""
    whole, curve = worked_out(anchors)
    at = parts_of(anchors, 1)[0]
    alone, own = worked_out(anchors.iloc[at])
    assert not np.array_equal(own, curve[at], equal_nan=True)
    for name in ("proud", "rock_kn_p05", "capacity_kn_p05"):
        assert not np.array_equal(alone[name], whole[name].iloc[at], equal_nan=True), name
