"""Places whose air is no milder than what is known of them, through the whole assessment."""

import json

import numpy as np
import pandas as pd
import pytest

from helpers.decided import anchors_of
from saltreach.assessment.corrosivity import _at_least
from saltreach.assessment.region import condition_shares
from saltreach.science.air.uncertainty import Spread

# A dry inland valley of the Alps, 200 km from the sea.
PLACE = {
    "crag": "Invented", "sector": "Wall", "lon": "10.28", "lat": "47.13", "kind": "expansion",
    "material": "zinc-plated steel", "diameter_mm": "12", "embedment_mm": "70",
    "installed_on": "1990", "last_inspected_on": "2026-06", "condition": "1",
    "rain_washed": "yes", "rock_type": "granite",
}  # fmt: skip


def assessed(**changes):
    rows = [PLACE | {"anchor_id": name, "sector": name} | row for name, row in changes.items()]
    return anchors_of(pd.DataFrame(rows).fillna("")).set_index("anchor_id")


@pytest.fixture(scope="module")
def found():
    return assessed(
        plain={}, beside={"salted_road_m": "10"}, near={"salted_road_m": "11"},
        seen={"salted_road_m": "100"}, far={"salted_road_m": "101"},
        tunnel={"salted_tunnel": "yes"}, gas={"volcanic_gas": "yes"},
    )  # fmt: skip


@pytest.mark.pinned("memory", answers=12)
def test_beside_a_salted_road_the_air_is_c4_within_100_m_c3_and_in_volcanic_gas_c5(found):
    """ISO 9223:2012 Annex C (from memory) names strong effect of de-icing salts as C4; C5 in gas
    is our judgement. Limits of table 2 and their geometric mean, um/y."""
    assert found["corrosivity_category"].to_dict() == {
        "plain": "C2", "beside": "C4", "near": "C3", "seen": "C3", "far": "C2", "tunnel": "C4",
        "gas": "C5",
    }  # fmt: skip
    names = [
        f"{metal}_rate_um_y{end}" for metal in ("steel", "zinc") for end in ("_p10", "", "_p90")
    ]
    rates = found[names].astype(float)
    assert rates.loc["beside"].tolist() == pytest.approx([50, 63.25, 80, 2.1, 2.97, 4.2], rel=1e-3)
    assert rates.loc["gas"].tolist() == pytest.approx([80, 126.5, 200, 4.2, 5.94, 8.4], rel=1e-3)
    assert (rates.loc["near"] >= np.array([25, 35.3, 50, 0.7, 1.2, 2.1])).all()
    assert rates.loc["far"].tolist() == pytest.approx(rates.loc["plain"].tolist())
    chances = found["category_probabilities"]
    assert chances["tunnel"].startswith('{"C1": 0.000, "C2": 0.000, "C3": 0.000, "C4": 1.000')
    assert chances["near"].startswith('{"C1": 0.000, "C2": 0.000, "C3": 1.000')


@pytest.mark.pinned("worked", answers=3)
def test_a_salted_road_by_the_sea_leaves_the_sea_s_own_chances():
    sea = {"lon": "-4.95", "lat": "43.44", "coast_distance_m": "300"}
    found = assessed(sea=sea, both=sea | {"salted_road_m": "5"})["category_probabilities"]
    alone, both = (json.loads(found[name]) for name in ("sea", "both"))
    assert sum(both.values()) == pytest.approx(1.0, abs=0.003)
    assert alone["C5"] > 0.02
    assert [both[c] for c in ("C5", "CX")] == [alone[c] for c in ("C5", "CX")]
    assert both["C4"] == pytest.approx(sum(alone[c] for c in ("C1", "C2", "C3", "C4")), abs=0.003)


@pytest.mark.pinned("judgement", answers=4)
def test_an_old_plated_bolt_in_a_salted_tunnel_is_replaced_and_in_clean_air_it_is_not(found):
    assert found["action"].reindex(["plain", "beside", "tunnel", "gas"]).tolist() == [
        "keep", "replace", "replace", "replace",
    ]  # fmt: skip
    risk = found["failure_probability_y1"]
    assert risk["plain"] < risk["near"] < risk["beside"] <= risk["gas"]


@pytest.mark.pinned("judgement", answers=2)
def test_every_probability_carries_its_range(found):
    """Five times lower or higher, but no more than 1 (judgement; see RANGE_FACTOR)."""
    low, mid, high = (
        found[f"failure_probability_y1{end}"].astype(float) for end in ("_p10", "", "_p90")
    )
    assert low.tolist() == pytest.approx((mid / 5).tolist())
    assert high.tolist() == pytest.approx(np.minimum(5 * mid, 1.0).tolist())


@pytest.mark.pinned("judgement", answers=2)
def test_who_writes_down_the_bad_ones_only_has_said_little_of_the_others():
    """Judgement: shares of good to failed, worth as many as are blank and at least twenty."""
    prior = np.array([0.55, 0.25, 0.12, 0.07, 0.003]) / 0.993
    bad = [3.0] * 4 + [4.0]
    few = condition_shares(pd.Series([*bad, *[np.nan] * 15]))
    assert few == pytest.approx(20 * prior + [0, 0, 0, 4, 1])
    many = condition_shares(pd.Series([*bad, *[np.nan] * 55]))
    assert many == pytest.approx(55 * prior + [0, 0, 0, 4, 1])


def test_a_shore_that_contradicts_the_layer_is_said():
    """The valley is some 200 km from the Adriatic; the last three stand 2,257 m from the layer."""
    found = assessed(
        plain={}, near={"coast_distance_m": "500"}, cliff={"sea_cliff": "yes"},
        sea={"lon": "-4.95", "lat": "43.44"},
        fits={"lon": "-4.95", "lat": "43.44", "coast_distance_m": "1500"},
        far={"lon": "-4.95", "lat": "43.44", "coast_distance_m": "50000"},
    )  # fmt: skip
    said = found["warnings"]
    distance = said.str.contains("Distance to the sea given as")
    assert distance[distance].index.tolist() == ["near", "far"]
    assert "Distance to the sea given as 50000 m, the layer's is " in said["far"]
    assert said.str.contains("Said to be a sea cliff").sum() == 1
    assert "Said to be a sea cliff, " in said["cliff"]
    assert said.str.contains("Condition not recorded").sum() == 0


def test_a_salt_lake_out_of_reach_is_not_spoken_of():
    """Mono Lake: 2 km off and 45 km off (the valley of Yosemite); the table reaches 10 km."""
    found = assessed(
        shore={"lon": "-119.13", "lat": "38.02"}, valley={"lon": "-119.60", "lat": "37.74"},
    )  # fmt: skip
    said = (found["material_reasons"] + found["warnings"]).str.contains("alt lake")
    assert said.to_dict() == {"shore": True, "valley": False}


def test_the_like_of_a_failed_anchor_are_said_to_be_likelier_to_fail():
    same = {"sector": "Wall"}
    found = assessed(
        failed=same | {"condition": "4"}, like=same, blank=same | {"condition": ""},
        later=same | {"installed_on": "1991"},
    )  # fmt: skip
    said = found["warnings"].str.contains("An anchor of the same sector, metal and year failed")
    assert said.to_dict() == {"failed": False, "like": True, "blank": True, "later": False}


def test_a_good_look_of_long_ago_says_less():
    """Plated steel by a salted road, 36 years old: clean this month, and clean 20 years ago."""
    base = {"condition": "0", "salted_road_m": "10", "diameter_mm": "10"}
    found = assessed(
        now=base | {"last_inspected_on": "2026-11"}, old=base | {"last_inspected_on": "2006-11"}
    )
    risk = found["metal_probability_y1"]
    assert risk["old"] > 5 * risk["now"]


def test_what_nobody_wrote_down_is_said():
    found = assessed(
        plain={}, kind={"kind": ""}, depth={"embedment_mm": ""},
        both={"diameter_mm": "", "kind": ""}, state={"condition": ""},
    )  # fmt: skip
    said = found["warnings"]
    starts = ("Kind not recorded", "Diameter or depth not recorded", "Condition not")
    assert [[name for name in found.index if text in said[name]] for text in starts] == [
        ["kind", "both"], ["depth", "both"], ["state"],
    ]  # fmt: skip


@pytest.mark.pinned("worked", answers=3)
def test_a_least_category_takes_the_chance_of_all_that_is_milder():
    """C4 at the least: what lies below goes to it, also where there was nothing; unknown stays."""
    chances = np.array([[0.0, 0.0, 0.5, 0.3, 0.2, 0.0], [0.1, 0.2, 0.3, 0.4, 0.0, 0.0],
                        [np.nan] * 6, [0.0, 1.0, 0.0, 0.0, 0.0, 0.0]])  # fmt: skip
    rates = np.ones((4, 3))
    found = _at_least(Spread(rates, rates, rates, chances), np.array([3, 0, 3, 3]))
    assert found.category_probabilities[[0, 1, 3]].tolist() == [
        [0.0, 0.0, 0.0, 0.8, 0.2, 0.0], [0.1, 0.2, 0.3, 0.4, 0.0, 0.0],
        [0.0, 0.0, 0.0, 1.0, 0.0, 0.0],
    ]  # fmt: skip
    assert np.isnan(found.category_probabilities[2, :4]).all()
    assert (found.steel_rate_um_y[1] == 1.0).all() and (found.steel_rate_um_y[0] > 1.0).all()
