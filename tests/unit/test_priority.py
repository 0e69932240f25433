"""Loss avoided for each unit of cost, and the order of sectors: small tables worked by hand."""

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

from saltreach.assessment.grouping import groups_of
from saltreach.assessment.priority import (
    anchor_priority,
    rank_of_sector,
    sector_priority,
    sector_sums,
)
from saltreach.intake.policy import DEFAULT
from saltreach.science.time.failure import Anchors, failure_parts
from saltreach.science.time.reliability import material_weights

ANCHOR = {
    "failure_probability_y1": 0.02, "rock_probability_after": 1e-3, "scc_hazard": 0.0,
    "zinc_rate_um_y": 1.0, "steel_rate_um_y": 20.0, "diameter_required_mm": 12.0,
    "material_recommended": "titanium", "action": "replace", "kind_advised": "bonded",
    "position": "belay", "visits_per_year": 100.0, "risk_band": "raised",
}  # fmt: skip


def priority(*changes, policy=DEFAULT):
    return anchor_priority(pd.DataFrame([ANCHOR | change for change in changes]), policy)


@pytest.mark.pinned("worked", answers=4)
def test_a_new_anchor_costs_metal_and_work_and_keeps_the_rock_it_stands_in():
    found = priority({}, {"material_recommended": "316"}, {"rock_probability_after": 0.3})
    assert found["replacement_cost"].tolist() == [4.0 + 4.5, 4.0 + 1.3, 4.0 + 4.5]
    # 0.02 a year x 10 for a belay x 100 visits; afterwards the rock's 0.001 alone counts
    assert found["yearly_loss"].tolist() == [20.0] * 3
    assert found["yearly_loss_after"].iloc[:2].tolist() == pytest.approx([1.0, 1.0], rel=0.05)
    assert found["priority_score"].iloc[0] == pytest.approx(19.0 / 8.5, rel=0.01)
    assert found["risk_band_after"].tolist() == ["moderate", "moderate", "severe"]
    # rock worse than the old anchor: nothing is avoided, and nothing is lost by buying
    assert found["yearly_loss_after"].iloc[2] == 20.0
    assert found["priority_score"].iloc[2] == 0.0
    dear = priority({}, policy=replace(DEFAULT, work_cost=10.5, prices={"titanium": 9.5}))
    assert dear["replacement_cost"].tolist() == [20.0]


def test_a_new_piece_is_sound_and_looked_at_on_the_day_it_is_set():
    place = {"scc_hazard": 0.6, "material_recommended": "304", "rock_probability_after": 0.0}
    found = priority(place)["yearly_loss_after"].iloc[0] / (10.0 * 100.0)
    after = {
        days / 365: failure_parts(
            material_weights(["304"]),
            [0.0],
            Anchors(0.6, 1.0, 20.0, diameter_mm=12.0, condition=0.0,
                    years_since_inspection=days / 365),
        )[0][0, 0]
        for days in (0, 365)
    }  # fmt: skip
    assert found == pytest.approx(after[0.0], rel=1e-9)
    assert after[1.0] > after[0.0] * 1.01


@pytest.mark.pinned("judgement", answers=7)
def test_only_replacing_and_taking_out_of_use_is_bought_for():
    actions = ("replace", "take out of use", "keep", "find out", "move or remove")
    found = priority(
        *[{"action": action} for action in actions],
        {"kind_advised": "do not place here"},
        {"kind_advised": "do not place here", "action": "take out of use"},
    )
    assert (found["replacement_cost"] > 0).tolist() == [True, True, *[False] * 5]
    assert (found["priority_score"] > 0).tolist() == [True, True, *[False] * 5]
    idle = found.iloc[2:]
    assert (idle["yearly_loss_after"] == idle["yearly_loss"]).all()
    assert found["risk_band_after"].tolist() == [*["moderate"] * 5, "", ""]


@pytest.mark.pinned("worked", answers=2)
def test_unknown_visits_are_the_registers_median_and_unknown_metal_has_no_score():
    found = priority(
        {"visits_per_year": 30.0},
        {"visits_per_year": 50.0},
        {"visits_per_year": 60.0},
        {"visits_per_year": np.nan},
        {"material_recommended": ""},
        {"failure_probability_y1": np.nan, "risk_band": "", "visits_per_year": np.nan},
        {"failure_probability_y1": np.nan, "risk_band": "", "action": "keep"},
        {"material_recommended": "", "action": "keep", "visits_per_year": np.nan},
    )
    # 30, 50, 60, 100, 100: the median is 60
    assert found["yearly_loss"].iloc[3] == 0.02 * 10 * 60
    unknown = [False] * 4 + [True, True, True, False]
    assert found["priority_score"].isna().tolist() == unknown
    assert found["priority_score"].iloc[7] == 0.0  # nothing is bought: its metal does not matter
    alone = priority({"visits_per_year": np.nan, "failure_probability_y1": 0.01})
    assert alone["yearly_loss"].tolist() == [10.0]  # nobody counted: 100


@pytest.mark.pinned("worked", answers=3)
def test_what_was_seen_of_an_anchor_counts_at_least_as_its_band_says():
    """Severe begins at 0.1 a year: 0.1 x 10 x 100."""
    found = priority(
        {"failure_probability_y1": 2e-4, "risk_band": "severe"},
        {"failure_probability_y1": 2e-4, "risk_band": "low"},
        {"failure_probability_y1": 0.3, "risk_band": "severe"},
    )
    assert found["yearly_loss"].tolist() == pytest.approx([100.0, 0.2, 300.0])


def world():
    sectors = pd.DataFrame(
        [
            ("Alder", "Sea", 3, "raised", "yes", 0, 0),
            ("Birch", "Wood", 4, "raised", "no", 0, 0),
            ("Birch", "Cave", 2, "severe", "no", 2, 1),
            ("Cedar", "Top", 1, "high", "", 0, 0),
        ],
        columns=["crag", "sector", "anchors", "risk_band", "sea_cliff", "spots_refused",
                 "to_take_out_of_use"],
    )  # fmt: skip
    anchors = pd.DataFrame(
        [
            ("Alder", "Sea", 20.0, 2.0, 10.0),
            ("Alder", "Sea", 0.0, 0.0, 0.0),
            ("Birch", "Wood", 40.0, 0.0, 5.0),
            ("Birch", "Wood", 20.0, 0.0, 5.0),
            ("Birch", "Cave", 15.0, 15.0, 0.0),
            ("Cedar", "Top", 5.0, 1.0, 8.0),
        ],
        columns=["crag", "sector", "yearly_loss", "yearly_loss_after", "replacement_cost"],
    )
    return sectors, anchors


@pytest.mark.pinned("worked", answers=4)
def test_worse_risk_first_then_sea_cliffs_and_last_where_nothing_is_bought():
    sectors, anchors = world()
    found = sector_priority(sectors, sector_sums(anchors))
    assert found["priority_score"].tolist() == pytest.approx([1.8, 6.0, 0.0, 0.5])
    assert found["priority_rank"].tolist() == [2, 3, 4, 1]
    assert found["anchors_to_replace"].tolist() == [1, 2, 0, 1]
    assert found["replacement_cost"].tolist() == [10.0, 10.0, 0.0, 8.0]
    assert found["loss_avoided"].tolist() == [18.0, 60.0, 0.0, 4.0]
    idle = sectors.assign(risk_band=["moderate", "severe", "low", "raised"])
    none = anchors.assign(replacement_cost=0.0)
    assert sector_priority(idle, sector_sums(none))["priority_rank"].tolist() == [3, 1, 4, 2]
    idle = sectors.assign(risk_band=["moderate", "", "low", "raised"])
    assert sector_priority(idle, sector_sums(none))["priority_rank"].tolist() == [2, 4, 3, 1]
    rule = (
        "Order: worse risk first, sea cliffs before inland within a band, then loss avoided per "
        "cost."
    )
    assert found["priority_reasons"].tolist() == [
        "Place 2: risk raised, sea cliff; replacing 1 of 3 anchors avoids 18.0 % of the region's "
        f"expected loss for 10 cost units. {rule}",
        "Place 3: risk raised, inland; replacing 2 of 4 anchors avoids 60.0 % of the region's "
        f"expected loss for 10 cost units. {rule}",
        "Place 4: risk severe, inland; 1 of 2 failed, take out of use today; 2 of 2 to be moved "
        "or removed, not bought for; no anchor needs better metal now.",
        "Place 1: risk high, place unknown; replacing 1 of 1 anchors avoids 4.0 % of the region's "
        f"expected loss for 8 cost units. {rule}",
    ]
    ranks = rank_of_sector(groups_of(anchors, ["crag", "sector"]), sectors.join(found))
    assert ranks.tolist() == [2, 2, 3, 3, 4, 1]


@pytest.mark.pinned("worked", answers=4)
def test_a_low_risk_that_can_be_bought_for_comes_before_a_severe_one_that_cannot():
    sectors, anchors = world()
    sectors.loc[3, "risk_band"] = "low"
    assert sector_priority(sectors, sector_sums(anchors))["priority_rank"].tolist() == [1, 2, 4, 3]


def test_shares_of_the_regions_loss_do_not_depend_on_its_unit():
    sectors, anchors = world()
    small = anchors.assign(
        yearly_loss=anchors["yearly_loss"] / 1000,
        yearly_loss_after=anchors["yearly_loss_after"] / 1000,
    )
    said = [sector_priority(sectors, sector_sums(table))["priority_reasons"].tolist()
            for table in (anchors, small)]  # fmt: skip
    assert said[0] == said[1]


def test_where_nothing_can_be_lost_no_share_of_it_is_avoided():
    sectors, anchors = world()
    none = sector_priority(
        sectors, sector_sums(anchors.assign(yearly_loss=0.0, yearly_loss_after=0.0))
    )
    assert none["loss_avoided"].tolist() == [0.0] * 4
    assert "avoids 0.0 % of the region's expected loss" in none["priority_reasons"].iloc[0]


def test_places_do_not_depend_on_the_unit_of_money():
    sectors, anchors = world()
    cents = anchors.assign(replacement_cost=anchors["replacement_cost"] / 100)
    found, same = (sector_priority(sectors, sector_sums(table)) for table in (anchors, cents))
    for name in ("priority_rank", "anchors_to_replace", "loss_avoided"):
        assert same[name].tolist() == found[name].tolist()
    assert (same["priority_score"] / 100).tolist() == pytest.approx(found["priority_score"])


@pytest.mark.pinned("worked", answers=4)
def test_pure_risk_is_loss_avoided_per_cost_alone():
    sectors, anchors = world()
    found = sector_priority(sectors, sector_sums(anchors), replace(DEFAULT, order="pure-risk"))
    assert found["priority_rank"].tolist() == [2, 1, 4, 3]
    assert found["priority_reasons"].iloc[1].endswith("Order: loss avoided per cost alone.")
