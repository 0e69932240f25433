"""What each sector may buy, from a stock list and from prices: a small region worked by hand."""

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

import saltreach as sr
from saltreach.assessment.result import Assessment, Flat
from saltreach.errors import OptionError
from saltreach.intake.prices import Piece, Prices
from saltreach.planning.offers import ALL, SOME, WORST, choices
from saltreach.planning.options import BudgetLimits

TI_2 = Piece("bonded", "titanium", 12, 100, 30, grade="titanium grade 2", how_many=3)
TI_2_THIN = Piece("bonded", "titanium", 10, 100, 10, grade="titanium grade 2")
TI_2_LEGS = Piece("bonded", "titanium", 10, 80, 50, grade="titanium grade 2", legs=2)
TI_5_SHORT = Piece("bonded", "titanium", 8, 90, 40, grade="titanium grade 5")
STEEL = Piece("bonded", "316", 12, 90, 8)
STEEL_EXPANSION = Piece("mechanical", "316", 12, 80, 5)
NONE_LEFT = Piece("bonded", "titanium", 12, 200, 1, how_many=0)
STOCK = (TI_2, TI_2_THIN, TI_2_LEGS, TI_5_SHORT, STEEL, STEEL_EXPANSION, NONE_LEFT)
COSTS = {"resin_per_ml": 0.1, "work_per_anchor": 10.0, "extra_per_anchor": 1.0,
         "travel_per_sector": 20.0}  # fmt: skip

SECTORS = pd.DataFrame(
    [
        ("Sea", "bonded", "titanium", "", 95.0, "yes", "high"),
        ("Wood", "mechanical or bonded", "316", "304", 80.0, "no", "moderate"),
        ("Hollow", "do not place here", "316", "", None, "no", "severe"),
        ("Deep", "bonded, longer", "titanium", "", 150.0, "yes", "raised"),
        ("Sound", "bonded", "titanium", "", 95.0, "yes", "low"),
        ("Long", "bonded", "titanium", "", 95.0, "yes", "raised"),
        ("Unknown", "unknown", "", "titanium", None, "no", "raised"),
    ],
    columns=["sector", "kind_advised", "material_recommended", "material_alternative",
             "embedment_required_mm", "sea_cliff", "risk_band"],
).assign(crag="Alder")  # fmt: skip
TO_REPLACE = {"Sea": 2, "Wood": 1, "Hollow": 1, "Deep": 1, "Sound": 0, "Long": 4, "Unknown": 1}


def anchors():
    base = {
        "crag": "Alder", "failure_probability_y1": 0.02, "rock_probability_after": 0.0,
        "scc_hazard": 0.0, "zinc_rate_um_y": 1.0, "steel_rate_um_y": 20.0, "action": "replace",
        "diameter_required_mm": 12.0, "material_recommended": "316", "kind_advised": "bonded",
        "position": "belay", "visits_per_year": 100.0, "risk_band": "moderate", "condition": 1.0,
    }  # fmt: skip
    rows = [base | {"sector": s} for s, count in TO_REPLACE.items() for _ in range(count)]
    rows += [base | {"sector": "Sound", "action": "keep"}]
    rows[0] = rows[0] | {"risk_band": "high"}
    rows[3] = rows[3] | {"kind_advised": "do not place here"}
    depth = SECTORS.set_index("sector")["embedment_required_mm"]
    table = pd.DataFrame(rows)
    return table.assign(embedment_required_mm=table["sector"].map(depth))


def offered(prices, table=None):
    there = anchors() if table is None else table
    table, notes = choices(there, SECTORS, prices, BudgetLimits(budget=1e4))
    keys = ["sector", "scope", "kind", "metal", "diameter_mm", "embedment_mm", "legs", "count"]
    return table, list(table[keys].itertuples(index=False, name=None)), notes


@pytest.mark.pinned("worked", answers=8)
def test_of_a_stock_list_only_whole_pieces_that_suffice_and_are_there():
    table, rows, notes = offered(Prices(stock=STOCK, **COSTS))
    assert rows == [
        ("Sea", WORST, "bonded", "titanium", 12, 100, 1, 1),
        ("Sea", ALL, "bonded", "titanium", 12, 100, 1, 2),
        ("Wood", ALL, "mechanical", "316", 12, 80, 1, 1),
        ("Long", SOME, "bonded", "titanium", 12, 100, 1, 1),
        ("Long", SOME, "bonded", "titanium", 12, 100, 1, 2),
        ("Long", SOME, "bonded", "titanium", 12, 100, 1, 3),  # there are three
        ("Unknown", ALL, "bonded", "titanium", 12, 100, 1, 1),
        ("Unknown", ALL, "bonded", "titanium", 8, 90, 1, 1),  # dearer, but does not run out
    ]
    ti = "bonded titanium grade 2, 12 x 100 mm"
    assert table["piece"].tolist() == [
        ti, ti, "mechanical 316, 12 x 80 mm", ti, ti, ti, ti,
        "bonded titanium grade 5, 8 x 90 mm",
    ]  # fmt: skip
    # one hole takes pi/4 (14^2 x 110 - 12^2 x 100) mm3 = 5.6235 mL, and a quarter more is lost
    assert table["resin_ml"].tolist() == pytest.approx([7.0, 14.1, 0, 7.0, 14.1, 21.1, 7.0, 4.2])
    # pieces, work and sundries by the anchor, adhesive by the mL, the way by the sector
    assert table["cost"].tolist() == [61.70, 103.41, 36.0, 61.70, 103.41, 145.11, 61.70, 71.42]
    assert table["minutes"].tolist() == [90, 150, 90, 90, 150, 210, 90, 90]
    # eleven anchors of equal loss
    eleventh = [c / 11 for c in (1, 2, 1, 1, 2, 3, 1, 1)]
    assert table["avoided"].tolist() == pytest.approx(eleventh, rel=0.01)
    assert table["size_assumed"].tolist() == [*["no"] * 6, "yes", "yes"]
    assert notes == [
        "left out, because nothing should be placed there (move, close or remove): Alder / Hollow",
        "nothing in the stock list suffices at: Alder / Deep (at least titanium, 150 mm)",
    ]


def test_what_runs_out_is_said_with_the_plan():
    """Two of titanium: Sea, of the worse band, takes both, and Long waits for more."""
    stock = tuple(replace(p, how_many=2) if p is TI_2 else p for p in STOCK)
    flat = Flat(anchors(), SECTORS.assign(priority_rank=range(1, 8)), SECTORS, SECTORS.iloc[:0])
    result = Assessment(flat, {"time": "2026-11-25T10:00:00+00:00", "policy": {"loosened": []}})
    steps = []
    found = sr.priorities(result, 1e4, Prices(stock=stock, **COSTS), on_step=steps.append)
    assert found.figures["notes"][-1] == (
        "too few left of the stock list for more: bonded titanium grade 2, 12 x 100 mm (2 of 2 "
        "used)"
    )
    assert steps[0] == "choices" and steps[1].endswith(" choices, and the budget curve")
    assert found.figures["solved_to_the_optimum"] is True


@pytest.mark.pinned("worked", answers=2)
def test_one_more_piece_in_the_stock_never_takes_the_others_away():
    """Of the four of Long one needs 120 mm: with a single long piece three are still served."""
    table = anchors()
    table.loc[table["sector"] == "Long", "embedment_required_mm"] = [95.0, 120.0, 95.0, 95.0]
    short = Piece("bonded", "titanium", 12, 100, 30, grade="titanium grade 2")
    one = replace(short, length_mm=120, price=33, how_many=1)
    before = {r for r in offered(Prices(stock=(short,), **COSTS), table)[1] if r[0] == "Long"}
    after = {r for r in offered(Prices(stock=(short, one), **COSTS), table)[1] if r[0] == "Long"}
    assert before <= after
    assert ("Long", SOME, "bonded", "titanium", 12, 100, 1, 3) not in before  # all it reaches: ALL
    assert ("Long", ALL, "bonded", "titanium", 12, 100, 1, 3) in before


@pytest.mark.pinned("worked", answers=4)
def test_of_many_like_anchors_as_many_as_the_money_reaches_may_be_chosen():
    """Twenty like ones: quarters of them, and what dearer metal avoids no more is not offered."""
    twenty = pd.concat([anchors().iloc[[4]]] * 20, ignore_index=True).assign(sector="Sea")
    sea = SECTORS[SECTORS["sector"] == "Sea"].assign(material_recommended="316")
    priced = Prices(anchors={("bonded", "316"): 8.0, ("bonded", "titanium"): 30.0})
    found, _ = choices(twenty, sea, priced, BudgetLimits(budget=1e4))
    assert found["count"].tolist() == [5, 10, 15, 20]
    assert found["metal"].unique().tolist() == ["316"]
    assert found["avoided"].iloc[:2].tolist() == pytest.approx([0.25, 0.5], rel=0.01)


@pytest.mark.pinned("worked", answers=2)
def test_a_spot_too_deep_for_the_stock_does_not_keep_the_others_waiting():
    """The four of Long need 95, 95, 100 and 120 mm; there are ten pieces of 100 mm."""
    table = anchors()
    table.loc[table["sector"] == "Long", "embedment_required_mm"] = [95.0, 120.0, 95.0, 100.0]
    plenty = Piece("bonded", "titanium", 12, 100, 30, grade="titanium grade 2", how_many=10)
    _, rows, notes = offered(Prices(stock=(plenty, STEEL), **COSTS), table)
    assert ("Long", ALL, "bonded", "titanium", 12, 100, 1, 3) in rows
    assert notes[-1] == (
        "too deep for every piece of the stock list, so not bought for: Alder / Long (1 of 4, "
        "120 mm)"
    )
    _, rows, _ = offered(Prices(stock=(plenty, replace(plenty, length_mm=120, price=99))), table)
    assert ("Long", ALL, "bonded", "titanium", 12, 120, 1, 4) in rows


@pytest.mark.pinned("worked", answers=2)
def test_duplex_is_offered_only_where_it_is_advised():
    priced = Prices(anchors={("bonded", m): 5.0 for m in ("316", "duplex", "titanium")})
    metals = {(sector, metal) for sector, _, _, metal, *_ in offered(priced)[1]}
    assert {metal for sector, metal in metals if sector == "Wood"} == {"316"}
    some = SECTORS.assign(material_recommended="duplex")
    found, _ = choices(anchors(), some[some["sector"] == "Wood"], priced, BudgetLimits(budget=1e4))
    assert found["metal"].tolist() == ["duplex"]


@pytest.mark.pinned("worked", answers=2)
def test_the_cheapest_piece_that_suffices_is_taken_adhesive_included():
    pieces = (TI_2_LEGS, Piece("bonded", "titanium", 12, 80, 52, grade="titanium grade 2"))
    wood = SECTORS[SECTORS["sector"] == "Wood"].assign(material_recommended="titanium")

    def piece(resin_per_ml):
        prices = Prices(stock=pieces, resin_per_ml=resin_per_ml)
        table, _ = choices(anchors(), wood, prices, BudgetLimits(budget=1e4))
        return table[["piece", "legs", "cost"]].to_numpy().tolist()

    assert piece(0.0) == [["bonded titanium grade 2, 2 legs of 10 x 80 mm", 2, 50.0]]
    # 6.0 mL for the one rod, 9.7 for two legs, waste included
    assert piece(5.0) == [["bonded titanium grade 2, 12 x 80 mm", 1, 82.04]]


@pytest.mark.pinned("worked", answers=3)
def test_an_anchor_of_unknown_risk_counts_as_the_median_of_the_others():
    """Losses 1, 3 and 8, and one unknown: 3 of 15, and it alone is not replaced."""
    table = anchors().iloc[[0, 1, 2, 3]].assign(
        sector="Sea", kind_advised="bonded", risk_band=["low", "low", "low", ""],
        failure_probability_y1=[0.001, 0.003, 0.008, None],
        action=["replace", "replace", "replace", "find out"],
    )  # fmt: skip
    sea = SECTORS[SECTORS["sector"] == "Sea"]
    priced = Prices(anchors={("bonded", "titanium"): 5.0})
    found, notes = choices(table, sea, priced, BudgetLimits(budget=1e4))
    assert found["count"].tolist() == [1, 2, 3]
    assert found["avoided"].tolist() == pytest.approx([8 / 15, 11 / 15, 12 / 15], rel=0.02)
    assert notes[0] == ("1 anchors without a failure probability count as the median of the others")
    with pytest.raises(OptionError, match="no anchor has a loss to avoid"):
        choices(table.assign(failure_probability_y1=None, risk_band=""), sea, priced,
                BudgetLimits(budget=1e4))  # fmt: skip


@pytest.mark.pinned("worked", answers=9)
def test_by_price_the_size_is_the_metals_and_the_rocks():
    prices = Prices(
        anchors={("bonded", "316"): 8.0, ("mechanical", "316"): 9.0, ("bonded", "titanium"): 30.0},
        **COSTS,
    )  # fmt: skip
    table, rows, notes = offered(prices)
    assert rows == [
        ("Sea", WORST, "bonded", "titanium", 12, 95, 1, 1),
        ("Sea", ALL, "bonded", "titanium", 12, 95, 1, 2),
        ("Wood", ALL, "bonded", "316", 12, 80, 1, 1),
        ("Deep", ALL, "bonded", "titanium", 12, 150, 1, 1),
        ("Long", SOME, "bonded", "titanium", 12, 95, 1, 1),
        ("Long", SOME, "bonded", "titanium", 12, 95, 1, 2),
        ("Long", SOME, "bonded", "titanium", 12, 95, 1, 3),
        ("Long", ALL, "bonded", "titanium", 12, 95, 1, 4),
        ("Unknown", ALL, "bonded", "titanium", 12, 80, 1, 1),
    ]
    assert (table["piece"] == "").all()
    assert notes[1] == "metals without a price, not offered: superaustenitic"


def one_sector(losses, prices, kind="bonded", metal="316", **more):
    """Choices of one sector of belays whose losses are given, with what else its anchors have."""
    table = pd.concat([anchors().iloc[[4]]] * len(losses), ignore_index=True)
    table = table.assign(
        sector="Wood", visits_per_year=100.0, risk_band="low", embedment_required_mm=80.0,
        failure_probability_y1=[loss / 1000 for loss in losses],
    ).assign(**more)  # fmt: skip
    wood = SECTORS[SECTORS["sector"] == "Wood"].assign(
        kind_advised=kind, material_recommended=metal, material_alternative=""
    )
    return choices(table, wood, prices, BudgetLimits(budget=1e4))


@pytest.mark.pinned("worked", answers=2)
def test_what_avoids_hardly_more_is_not_offered():
    """500 and 0.25: the second adds 0.0005 of all; 0.025 would add 0.00005."""
    priced = Prices(anchors={("bonded", "316"): 8.0})
    found, _ = one_sector([500.0, 0.25], priced)
    assert found["count"].tolist() == [1, 2]
    assert found["avoided"].tolist() == pytest.approx([500 / 500.25, 1.0], abs=1e-5)
    found, _ = one_sector([500.0, 0.025], priced)
    assert found["count"].tolist() == [1]


@pytest.mark.pinned("worked", answers=5)
def test_which_are_the_worst():
    """High and severe, or condition 3 and worse; there must be as many pieces as there are bad."""
    priced = Prices(anchors={("bonded", "316"): 8.0})

    def scopes(bands, condition=1.0, stock=None):
        prices = priced if stock is None else Prices(stock=(replace(STEEL, how_many=stock),))
        found, _ = one_sector([30.0, 20.0, 10.0], prices, risk_band=bands, condition=condition)
        return list(found[["count", "scope"]].itertuples(index=False, name=None))

    assert scopes(["severe", "high", "raised"]) == [(1, SOME), (2, WORST), (3, ALL)]
    assert scopes(["raised"] * 3) == [(1, SOME), (2, SOME), (3, ALL)]
    assert scopes(["low"] * 3, [3.0, 2.0, 2.0]) == [(1, WORST), (2, SOME), (3, ALL)]
    assert scopes(["severe", "high", "raised"], stock=2) == [(1, SOME), (2, WORST)]
    assert scopes(["severe", "high", "raised"], stock=1) == [(1, SOME)]


@pytest.mark.pinned("worked", answers=2)
def test_a_size_is_assumed_where_one_depth_is_unknown_and_an_unknown_condition_is_not_poor():
    table = anchors()
    at_sea = table["sector"] == "Sea"
    table.loc[at_sea, "embedment_required_mm"] = [95.0, np.nan]
    table["condition"] = pd.array([pd.NA] * len(table), dtype="Int64")
    bought, rows, _ = offered(Prices(stock=(TI_2,), **COSTS), table)
    sea = bought[bought["sector"] == "Sea"]
    assert sea[["scope", "count", "size_assumed"]].to_numpy().tolist() == [
        [WORST, 1, "no"], [ALL, 2, "yes"],
    ]  # fmt: skip
    assert not any(scope == WORST for sector, scope, *_ in rows if sector != "Sea")


@pytest.mark.pinned("worked", answers=2)
def test_a_region_without_loss_is_refused_and_a_small_loss_is_not():
    priced = Prices(anchors={("bonded", "316"): 8.0})
    with pytest.raises(OptionError, match="no anchor has a loss to avoid"):
        one_sector([0.0, 0.0], priced)
    found, _ = one_sector([0.25, 0.25], priced)
    assert found["avoided"].tolist() == pytest.approx([0.5, 1.0], rel=0.01)


@pytest.mark.pinned("worked", answers=2)
def test_of_kinds_by_price_the_cheaper_with_its_adhesive():
    """Bonded 8.00 and 6.0083 mL at 0.1: 8.60. Mechanical at 8.50 is cheaper, at 8.70 it is not."""
    for price, kind, cost in ((8.5, "mechanical", 8.5), (8.7, "bonded", 8.6)):
        prices = Prices(
            anchors={("bonded", "316"): 8.0, ("mechanical", "316"): price}, resin_per_ml=0.1
        )
        found, _ = one_sector([10.0], prices, kind="mechanical or bonded")
        assert found[["kind", "cost"]].to_numpy().tolist() == [[kind, cost]]


@pytest.mark.pinned("worked", answers=4)
def test_shares_of_a_sector_are_of_what_a_piece_reaches():
    """Eight anchors: 2, 4, 6; of six reached: round(1.5) = 2, 3, round(4.5) = 4; five are there."""
    priced = Prices(anchors={("bonded", "316"): 8.0})
    assert one_sector([10.0] * 8, priced)[0]["count"].tolist() == [2, 4, 6, 8]
    depth = [80.0] * 6 + [120.0] * 2
    found, notes = one_sector([10.0] * 8, Prices(stock=(STEEL,)), embedment_required_mm=depth)
    assert found["count"].tolist() == [2, 3, 4, 6]
    assert notes == ["too deep for every piece of the stock list, so not bought for: Alder / Wood "
                     "(2 of 8, 120 mm)"]  # fmt: skip
    five = Prices(stock=(replace(STEEL, how_many=5),))
    found, _ = one_sector([10.0] * 8, five, embedment_required_mm=depth)
    assert found["count"].tolist() == [2, 3, 4, 5]
    # just as long as it is deep
    exact = Prices(stock=(replace(STEEL, length_mm=120),))
    assert one_sector([10.0] * 8, exact, embedment_required_mm=depth)[0]["count"].max() == 8


@pytest.mark.pinned("worked", answers=4)
def test_the_least_diameter_of_a_piece():
    """25 kN across: titanium grade 2 (400 MPa x 0.6) 11.5, so 12 mm; two legs 8.1, so 10. 316 of no
    named grade 12 mm, A4-70 (700 x 0.5) 9.5, so 10; two legs of it 6.7, so 8."""
    ok = {
        ("titanium", "titanium grade 2", 12, 1), ("titanium", "titanium grade 2", 10, 2),
        ("316", "", 12, 1), ("316", "A4-70", 10, 1), ("316", "A4-70", 8, 2), ("316", "", 8, 2),
    }  # fmt: skip
    for metal, grade, diameter, legs in ok:
        for least, suffices in ((diameter, True), (diameter - 0.5, False)):
            piece = Piece("bonded", metal, least, 100, 5, grade=grade, legs=legs)
            found, notes = one_sector([10.0], Prices(stock=(piece,)), metal=metal)
            assert (len(found) == 1) == suffices, (metal, grade, least, legs)
            assert (notes == []) == suffices
