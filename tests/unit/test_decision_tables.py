"""State, priority and what to find out, on small tables whose answer is plain."""

import datetime as dt
from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

from saltreach.assessment.find_out import FAR_M, worth_finding_out
from saltreach.assessment.priority import anchor_priority, sector_priority, sector_sums
from saltreach.assessment.state import (
    METAL_PRIOR,
    age_of_anchors,
    like_failed_share,
    metal_in_place,
    metal_shares,
    no_better_than,
    state_of_anchors,
)
from saltreach.intake.policy import DEFAULT
from saltreach.vocabulary.metals import MATERIAL_NAMES

TODAY = dt.date(2026, 11, 25)


@pytest.mark.pinned("judgement", answers=4)
def test_the_weaker_known_part_governs_and_an_unknown_bolt_stays_unknown():
    table = pd.DataFrame(
        {"material": ["316", "316", "unknown", "titanium"],
         "hanger_material": ["304", "unknown", "316", "titanium"]}
    )  # fmt: skip
    assert metal_in_place(table).tolist() == ["304", "316", "unknown", "titanium"]


@pytest.mark.pinned("worked", answers=3)
def test_a_known_hanger_bounds_the_shares_of_an_unknown_bolt():
    shares = np.zeros((3, len(MATERIAL_NAMES)))
    weak, own, best = (MATERIAL_NAMES.index(m) for m in ("zinc-plated steel", "304", "titanium"))
    shares[:, [weak, own, best]] = 0.5, 0.3, 0.2
    found = no_better_than(shares, pd.Series(["304", "unknown", "zinc-plated steel"]))
    assert found[:, [weak, own, best]].tolist() == [[0.5, 0.5, 0], [0.5, 0.3, 0.2], [1, 0, 0]]


@pytest.mark.pinned("judgement", answers=3)
def test_shares_follow_the_crag_then_the_region_then_the_prior():
    crag = pd.Series(["a", "a", "a", "b"])
    metal = pd.Series(["316", "316", "unknown", "unknown"])
    shares = metal_shares(crag, metal)
    at_316 = MATERIAL_NAMES.index("316")
    # the region: two of 316 and the trade's 0.27 of ten; worth five beside the crag's own two
    region = 5 * (2 + 2.7) / 12
    assert shares[2, at_316] == pytest.approx(2 + region)
    assert shares[3, at_316] == pytest.approx(region)
    nothing = metal_shares(crag, pd.Series(["unknown"] * 4))
    assert (nothing[:, [MATERIAL_NAMES.index(m) for m in METAL_PRIOR]] > 0).all()
    assert nothing.sum(axis=1) == pytest.approx(5.0)
    assert sum(METAL_PRIOR.values()) == pytest.approx(1.0)


def test_new_titanium_around_it_does_not_whiten_an_unknown_bolt(assessed_demo):
    """One of 304 between 20 of titanium, placed this year: undated and of unknown metal it fails at
    least a twentieth as often as the old one of 304 that it may be."""
    row = assessed_demo.working[assessed_demo.working["material"] == "304"].iloc[[0]].assign(
        hanger_material="unknown", installed_on="1998", condition=pd.array([1], dtype="Int64"),
        scc_hazard=0.5, rock_kn_p05=60.0, rock_kn_p50=90.0,
    )  # fmt: skip
    others = pd.concat([row.assign(material="titanium", installed_on="2026")] * 20)

    def yearly(**change):
        table = pd.concat([row.assign(**change), others], ignore_index=True)
        table = table.assign(age_y=age_of_anchors(table, TODAY))
        return state_of_anchors(table, TODAY, capacity=False).curve[0, 0]

    old = yearly()
    assert old > 0.05
    assert yearly(material="unknown") > old / 20
    assert yearly(installed_on=None) > old / 10
    assert yearly(material="unknown", installed_on=None) > 5e-3 / 4


@pytest.mark.pinned("worked", answers=9)
def test_like_is_of_the_same_sector_metal_and_year_and_what_has_no_date_is_like_all():
    rows = [
        ("N", "316", "2015", 4), ("N", "316", "2015-06", 1), ("N", "316", "2016", 1),
        ("N", "304", "2015", 1), ("S", "316", "2015", 1), ("N", "316", None, 1),
        ("W", "316", None, 4), ("W", "316", "2010", 1), ("W", "316", "2011", None),
    ]  # fmt: skip
    table = pd.DataFrame(rows, columns=["sector", "metal", "installed_on", "condition"])
    table = table.assign(crag="C").astype({"condition": "Int64"})
    share = like_failed_share(table, table["metal"])
    # the undated one of N counts with each year of it: 1 of 3, 0 of 2; it is like all four
    assert share == pytest.approx([1 / 3, 1 / 3, 0, 0, 0, 1 / 4, 1 / 3, 1 / 2, 1 / 2])


def test_a_failure_raises_its_batch_mates_and_no_one_else(assessed_demo):
    table = assessed_demo.working
    calm = table[(table["condition"] != 4) & (table["material"] == "316")]
    sector = calm.groupby(["crag", "sector"]).size().idxmax()
    part = table[(table["crag"] == sector[0]) & (table["sector"] == sector[1])].copy()
    part["installed_on"], part["material"], part["hanger_material"] = "2010", "316", "316"
    part["condition"] = pd.array([0] * len(part), dtype="Int64")
    before = state_of_anchors(part, TODAY).curve[:, 0]
    part.iloc[0, part.columns.get_loc("condition")] = 4
    after = state_of_anchors(part, TODAY).curve[:, 0]
    assert after[0] == 1.0
    assert (after[1:] > before[1:]).all()
    part.iloc[0, part.columns.get_loc("installed_on")] = "1990"  # another batch
    apart = state_of_anchors(part, TODAY).curve[:, 0]
    assert apart[1:] == pytest.approx(before[1:])


def test_an_unknown_bolt_under_a_zinc_hanger_fails_as_zinc_does(assessed_demo):
    part = assessed_demo.working.iloc[::80].assign(
        hanger_material="zinc-plated steel", installed_on="2005"
    )
    zinc, unknown = (
        state_of_anchors(part.assign(material=metal), TODAY).curve
        for metal in ("zinc-plated steel", "unknown")
    )
    assert unknown == pytest.approx(zinc)


def test_priority_ranks_sea_cliffs_first_within_a_band(assessed_demo):
    sectors = assessed_demo.flat.sectors.sort_values("priority_rank")
    band = sectors["risk_band"].map({b: i for i, b in enumerate(
        ("low", "moderate", "raised", "high", "severe"))})  # fmt: skip
    bought = sectors["anchors_to_replace"] > 0
    assert band[bought].is_monotonic_decreasing
    # where nothing is bought there is nothing to rank for
    assert not (bought.astype(int).diff() > 0).any()
    for _, part in sectors[bought].groupby("risk_band"):
        sea = (part["sea_cliff"] == "yes").astype(int)
        assert sea.is_monotonic_decreasing
    assert sectors["priority_rank"].tolist() == list(range(1, len(sectors) + 1))
    assert (sectors["sea_cliff"].head(5) == "yes").all()
    assert sectors["priority_reasons"].str.contains("sea cliff|inland").all()


def test_pure_risk_follows_the_score_alone(assessed_demo):
    anchors = assessed_demo.flat.anchors.join(assessed_demo.working[["yearly_loss_after"]])
    plain = assessed_demo.flat.sectors.drop(
        columns=["priority_score", "priority_rank", "priority_reasons"]
    )
    plain = plain[["crag", "sector", "anchors", "risk_band", "sea_cliff", "spots_refused",
                   "to_take_out_of_use"]]  # fmt: skip
    found = sector_priority(plain, sector_sums(anchors), replace(DEFAULT, order="pure-risk"))
    by_rank = found.sort_values("priority_rank")["priority_score"]
    assert by_rank.is_monotonic_decreasing


def test_dearer_work_lowers_the_score_and_nothing_to_do_costs_nothing(assessed_demo):
    cheap = anchor_priority(assessed_demo.working, DEFAULT)
    dear = anchor_priority(assessed_demo.working, replace(DEFAULT, work_cost=40.0))
    some = cheap["priority_score"] > 0
    assert some.any()
    assert (dear.loc[some, "priority_score"] < cheap.loc[some, "priority_score"]).all()
    idle = cheap["replacement_cost"] == 0
    assert (cheap.loc[idle, "priority_score"] == 0).all()


def test_finding_out_concerns_unknowns_only_and_nothing_is_left_when_all_is_known(assessed_demo):
    found = worth_finding_out(assessed_demo.working, TODAY, 15.0)
    table = assessed_demo.working
    for row in found.itertuples(index=False):
        here = (table["crag"] == row.crag) & (table["sector"] == row.sector)
        assert 0 < row.decisions_changed <= row.anchors_unknown <= here.sum()
    washing = found[found["find_out"] == "washing"]
    unknown = table[table["washing"] == "unknown"].groupby(["crag", "sector"]).size()
    for row in washing.itertuples(index=False):
        assert row.anchors_unknown == unknown[row.crag, row.sector]
    told = table.assign(
        material=table["material"].replace("unknown", "316"),
        installed_on=table["installed_on"].fillna("2010"),
        washing=table["washing"].replace("unknown", "no"),
        tap_response=table["tap_response"].fillna("ringing"),
        coast_distance_source="register",
    )
    assert worth_finding_out(told, TODAY, 15.0).empty


def test_unknown_metal_is_no_single_value(assessed_demo):
    """The chance of an unknown metal lies between those of the best and the worst metal."""
    table = assessed_demo.working.head(60).assign(condition=pd.array([pd.NA] * 60, dtype="Int64"))
    curves = {}
    for metal in ("unknown", *METAL_PRIOR):
        part = table.assign(material=metal, hanger_material="unknown")
        if metal == "unknown":  # what the region used
            part = pd.concat(
                [part, table.assign(material="316", crag="elsewhere")], ignore_index=True
            )
        curves[metal] = state_of_anchors(part, TODAY).curve[:60, 0]
    unknown = curves.pop("unknown")
    assert (unknown >= np.min(list(curves.values()), axis=0) - 1e-12).all()
    assert (unknown <= np.max(list(curves.values()), axis=0) + 1e-12).all()
    assert np.ptp(unknown) > 0


def test_another_shore_changes_the_life_left_of_coated_steel(assessed_demo):
    """Half of its remaining life governs: worked out for the shore there may be, not the one
    there is."""
    table = assessed_demo.working
    coated = table[
        (table["interval_rule"] == "half of remaining life")
        & (table["coast_distance_m"] < FAR_M)
        & (table["coast_distance_source"] != "register")
    ]
    found = worth_finding_out(coated.assign(coast_distance_sd_m=3000.0), TODAY, 15.0)
    shore = found[found["find_out"] == "coast_distance_m"]
    assert shore["decisions_changed"].sum() > 0.4 * len(coated) > 8
