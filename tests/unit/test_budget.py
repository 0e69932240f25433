"""The budget's optimum against trying every choice, and the shopping list."""

from dataclasses import replace
from itertools import product

import numpy as np
import pandas as pd
import pytest

from saltreach.errors import OptionError
from saltreach.intake.prices import Piece, Prices, read_prices
from saltreach.planning import budget
from saltreach.planning.budget import curve, plans, ranked, shopping, used_up
from saltreach.planning.highs import Answer, SolverError
from saltreach.planning.offers import ALL, WORST, resin_ml
from saltreach.planning.options import BudgetLimits
from saltreach.vocabulary.words import BANDS


def table(seed, sectors=5):
    rng = np.random.default_rng(seed)
    rows = []
    for s in range(sectors):
        sea, band = rng.choice(["yes", "no"]), rng.choice(BANDS[2:])
        for c in range(int(rng.integers(1, 4))):
            rows.append(
                {
                    "crag": "C", "sector": f"S{s}", "sea_cliff": sea, "risk_band": band,
                    "scope": (ALL, WORST)[c % 2], "metal": "316", "kind": "bonded", "piece": "",
                    "count": int(rng.integers(1, 20)), "cost": round(float(rng.uniform(5, 400)), 2),
                    "minutes": int(rng.integers(30, 900)),
                    "avoided": round(float(rng.uniform(0, 0.2)), 6),
                }
            )  # fmt: skip
    return pd.DataFrame(rows)


def every_choice(frame):
    groups = [[None, *rows.index] for _, rows in frame.groupby("sector")]
    for picked in product(*groups):
        yield [i for i in picked if i is not None]


def total(rows, picked, name):
    return sum(rows[i][name] for i in picked)


def avoided(rows, picked):
    return round(1e6 * total(rows, picked, "avoided"))


def fits(rows, picked, money):
    if round(total(rows, picked, "cost") * 100) > money.budget * 100 + 1e-6:
        return False
    limit = money.team_days
    return limit is None or total(rows, picked, "minutes") <= limit * money.hours_per_day * 60


def steps(rows, picked):
    """Loss avoided by band and place, the first to be made great first."""
    sums = {(b, s): 0.0 for b in BANDS[::-1] for s in ("yes", "no")}
    for i in picked:
        sums[rows[i]["risk_band"], rows[i]["sea_cliff"]] += rows[i]["avoided"]
    return tuple(round(1e6 * value) for value in sums.values())


@pytest.mark.pinned("worked", answers=2)
@pytest.mark.parametrize(
    ("first", "second", "chosen"),
    [
        (("yes", "raised", 0.1), ("no", "raised", 0.2), 0),  # the sea cliff of its band
        (("no", "severe", 0.1), ("yes", "raised", 0.2), 0),  # the worse band, inland or not
        (("yes", "low", 0.1), ("no", "", 0.2), 0),  # an unknown band comes last
        (("no", "raised", 0.1), ("no", "raised", 0.2), 1),
    ],
)
def test_the_order_by_hand_where_the_money_is_enough_for_one(first, second, chosen):
    frame = table(0).iloc[:2].assign(
        sector=["a", "b"], sea_cliff=[first[0], second[0]], risk_band=[first[1], second[1]],
        avoided=[first[2], second[2]], count=1, cost=100.0, minutes=60, scope=ALL, piece="",
    ).reset_index(drop=True)  # fmt: skip
    assert plans(frame, BudgetLimits(budget=100.0))[100.0].tolist() == [chosen]
    assert plans(frame, BudgetLimits(budget=100.0, order="pure-risk"))[100.0].tolist() == [1]


@pytest.mark.pinned("worked", answers=3)
def test_what_is_not_chosen_is_shown_as_its_full_rebolting():
    frame = pd.DataFrame(
        {
            "crag": "C", "sector": ["a", "a", "b", "b"], "sea_cliff": "no", "risk_band": "high",
            "scope": [WORST, ALL, WORST, ALL], "metal": ["316", "304", "316", "304"],
            "kind": "bonded", "piece": "", "count": [1, 4, 2, 5], "cost": [10.0, 40.0, 20.0, 50.0],
            "minutes": [90, 270, 150, 330], "avoided": [0.1, 0.3, 0.05, 0.2],
        }
    )  # fmt: skip
    sectors = pd.DataFrame(
        {"crag": "C", "sector": ["b", "a", "none"], "sea_cliff": "no", "risk_band": "high",
         "priority_rank": [2, 1, 3]}
    )  # fmt: skip
    found = ranked(frame, np.array([0]), sectors)
    assert found["sector"].tolist() == ["a", "b", "none"]
    assert found["chosen"].tolist() == ["yes", "no", "no"]
    assert found["anchors_to_replace"].fillna(0).tolist() == [1, 5, 0]
    assert found["metal"].tolist()[:2] == ["316", "304"]
    assert found["avoided_pct"].tolist()[:2] == [10.0, 20.0]
    assert found["work_hours"].tolist()[:2] == [1.5, 5.5]


@pytest.mark.pinned("peer")
@pytest.mark.parametrize("seed", range(5))
@pytest.mark.parametrize("days", [None, 2.5])
def test_pure_risk_is_the_optimum_of_trying_every_choice(seed, days):
    frame = table(seed)
    money = BudgetLimits(budget=500.0, team_days=days, order="pure-risk")
    rows = frame.to_dict("index")
    best = max(avoided(rows, r) for r in every_choice(frame) if fits(rows, r, money))
    taken = plans(frame, money, points=1)[money.budget]
    assert fits(rows, taken, money)
    assert frame.loc[taken, "sector"].is_unique
    assert avoided(rows, taken) == best


@pytest.mark.pinned("peer")
@pytest.mark.parametrize("seed", range(5))
def test_sea_cliffs_first_is_the_first_in_order_of_every_choice(seed):
    """Of all plans that avoid no less than the smaller budgets of the curve do."""
    frame = table(seed)
    money = BudgetLimits(budget=500.0, team_days=3.0)
    rows = frame.to_dict("index")
    chosen = plans(frame, money)
    smaller = [r for budget, r in chosen.items() if budget < money.budget]
    floor = max((avoided(rows, r) for r in smaller), default=0)
    able = [r for r in every_choice(frame) if fits(rows, r, money) and avoided(rows, r) >= floor]
    best = max(steps(rows, r) for r in able)
    assert steps(rows, chosen[money.budget]) == best


@pytest.mark.parametrize("seed", range(4))
def test_more_money_never_avoids_less(seed):
    line, taken = curve(table(seed, sectors=8), BudgetLimits(budget=333.0), points=10)
    assert (line["avoided_pct"].diff().dropna() >= 0).all()
    assert len(taken) == int(line.loc[line["budget"] == 333.0, "sectors"].iloc[0])


@pytest.mark.pinned("worked", answers=5)
def test_the_policy_alone_would_avoid_less_with_more_money():
    """By hand: 100 buys two inland sectors (0.2 together); 200 would buy the sea cliff (0.15)
    instead, which comes first, so the floor keeps the two."""
    frame = table(0).iloc[:3].assign(
        sector=["inland a", "inland b", "cliff"], sea_cliff=["no", "no", "yes"],
        risk_band="raised", count=1, cost=[50.0, 50.0, 200.0], minutes=60,
        avoided=[0.1, 0.1, 0.15], scope=ALL, piece="",
    )  # fmt: skip
    # the steps on the way to 200 are seen as well where no point of the curve lies between
    assert plans(frame, BudgetLimits(budget=200.0), points=1)[200.0].tolist() == [0, 1]
    found = plans(frame, BudgetLimits(budget=200.0), points=3)  # 0, 100, 200 and 300
    assert [sorted(found[b].tolist()) for b in (0.0, 100.0, 200.0, 300.0)] == [
        [], [0, 1], [0, 1], [0, 1, 2],
    ]  # fmt: skip


@pytest.mark.pinned("worked", answers=4)
def test_a_piece_that_runs_out_is_named():
    """18 of 20 are taken: what is left, 2, serves neither of the sectors that wait, of 4 and 3."""
    piece = Piece("bonded", "titanium", 12.0, 80.0, 9.0, how_many=20)
    frame = pd.DataFrame(
        {"crag": "C", "sector": ["A", "B", "D", "E", "E"], "count": [10, 8, 4, 9, 3],
         "piece": piece.label}
    )  # fmt: skip
    prices = Prices(stock=(piece,))
    assert used_up(frame, np.array([0, 1]), prices) == [
        "bonded titanium, 12 x 80 mm (18 of 20 used)"
    ]
    more = Prices(stock=(piece, replace(piece, how_many=1)))  # two lots: 21, 3 left
    assert used_up(frame, np.array([0, 1]), more) == []
    assert used_up(frame, np.array([0, 1, 2, 3]), prices) == []  # nothing waits
    assert used_up(frame, np.array([0, 1]), Prices(stock=(replace(piece, how_many=None),))) == []


def test_a_piece_that_no_choice_needs_limits_nothing():
    unused = Prices(stock=(Piece("bonded", "titanium", 12, 100, 30, how_many=0),))
    money = BudgetLimits(budget=500.0)
    without, beside = plans(table(1), money), plans(table(1), money, prices=unused)
    assert {b: t.tolist() for b, t in without.items()} == {b: t.tolist() for b, t in beside.items()}


@pytest.mark.parametrize("budget", [37.0, 210.0, 333.0, 500.0])
def test_a_little_more_money_never_buys_less_than_a_little_less(budget):
    """Each asked for in a run of its own."""
    frame = table(3, sectors=8)
    found = []
    for money in (budget, budget * 1.02, budget * 1.1):
        at = plans(frame, BudgetLimits(budget=money))[money]
        found.append(frame["avoided"].iloc[at].sum())
    assert found == sorted(found)


@pytest.mark.pinned("worked")
@pytest.mark.parametrize(
    ("asked", "between"),
    [
        (60.0, [51.56, 53.12, 54.69, 56.25, 57.81, 59.38]),
        (26.0, []),
        (0.5, []),
        (0.0, []),
        (4.0, [1.56, 3.12]),
        (110.0, []),
        (98.0, [76.56, 78.12, 79.69, 81.25, 82.81, 84.38, 85.94, 87.5, 89.06, 90.62, 92.19, 93.75,
                95.31, 96.88]),
    ],
)  # fmt: skip
def test_budgets_just_below_the_one_asked_for_are_counted_with_it(asked, between, monkeypatch):
    """All costs 100, shown in four steps of 25; a sixteenth of a step is 1.5625."""
    one = table(1, sectors=1).iloc[[0]].assign(cost=100.0)
    counted = []
    best = budget._best
    monkeypatch.setattr(
        budget, "_best", lambda t, li, b, *a, **k: (counted.append(b), best(t, li, b, *a, **k))[1]
    )
    plans(one, BudgetLimits(asked), points=4)
    assert counted[1:] == sorted({0.0, 25.0, 50.0, 75.0, 100.0, asked, *between})


@pytest.mark.pinned("worked", answers=3)
def test_work_that_takes_no_time_is_within_any_days():
    """And shares of what is avoided: of sea cliffs alone, and of an order that asks for nothing."""
    frame = table(3).assign(minutes=0, sea_cliff="yes")
    most = float(frame.groupby("sector")["cost"].max().sum())
    shown, taken = curve(frame, BudgetLimits(most, team_days=0.0), points=1)
    last = shown[shown["budget"] == most].iloc[0]
    best = 100 * frame.groupby("sector")["avoided"].max().sum()
    assert last["avoided_pct"] == pytest.approx(best, abs=1e-3)
    assert last["avoided_sea_cliffs_pct"] == last["avoided_pct"]
    assert last["avoided_pure_risk_pct"] == last["avoided_pct"]
    assert len(taken) == 5


@pytest.mark.pinned("worked", answers=2)
def test_a_metal_that_runs_out_does_not_end_the_list():
    """By hand: 20 titanium go to A, C and D (0.076; A and B would be 0.067), 316 to the others."""
    names = ["A", "B", "C", "D", *(f"inland {i}" for i in range(10))]
    metal = np.where(np.arange(14) < 4, "titanium", "316")
    stock = tuple(Piece("bonded", m, 12.0, 80.0, 9.0, how_many=n)
                  for m, n in (("titanium", 20), ("316", None)))  # fmt: skip
    label = {piece.metal: piece.label for piece in stock}
    frame = pd.DataFrame(
        {
            "crag": "C", "sector": names, "sea_cliff": np.where(metal == "316", "no", "yes"),
            "risk_band": "severe", "scope": ALL, "metal": metal, "kind": "bonded",
            "piece": [label[m] for m in metal], "count": [8, 8, 6, 6, *[4] * 10],
            "cost": [250.88, 250.88, 198.16, 198.17, *np.arange(108.0, 118.0)], "minutes": 300,
            "avoided": [0.034, 0.033, 0.022, 0.020, *np.linspace(0.0201, 0.0204, 10)],
        }
    )  # fmt: skip
    prices = Prices(stock=stock)
    for order in ("sea-cliffs-first", "pure-risk"):
        line, taken = curve(
            frame, BudgetLimits(budget=20_000.0, order=order), points=10, prices=prices
        )
        assert frame["sector"].iloc[taken].tolist() == ["A", "C", "D", *names[4:]]
        assert (line["avoided_pct"].diff().dropna() >= 0).all()


@pytest.mark.pinned("peer")
@pytest.mark.parametrize("seed", range(4))
def test_of_equal_choices_the_cheapest_is_taken(seed):
    frame = table(seed).assign(avoided=0.1)
    money = BudgetLimits(budget=400.0, order="pure-risk")
    taken = plans(frame, money, points=1)[money.budget]
    rows = frame.to_dict("index")
    able = [r for r in every_choice(frame) if fits(rows, r, money) and len(r) == len(taken)]
    assert total(rows, taken, "cost") == pytest.approx(min(total(rows, r, "cost") for r in able))


def test_the_curve_rises_with_pure_risk_and_bounds_every_order():
    frame = table(3, sectors=8)
    pure, _ = curve(frame, BudgetLimits(budget=300.0, order="pure-risk"), points=12)
    assert (pure["avoided_pct"].diff().dropna() >= 0).all()
    assert pure["budget"].iloc[0] == 0 and pure["avoided_pct"].iloc[0] == 0
    sea, _ = curve(frame, BudgetLimits(budget=300.0), points=12)
    assert (sea["avoided_pct"] <= sea["avoided_pure_risk_pct"] + 1e-9).all()
    assert (sea["spent"] <= sea["budget"]).all()
    assert 300.0 in set(sea["budget"])


@pytest.mark.parametrize(
    ("taken", "proven", "says"), [(1.0, True, "overspent"), (0.0, False, "could not be proven")]
)
def test_what_a_solver_hands_back_is_checked(taken, proven, says, monkeypatch):
    def mistaken(cost, upper, rows, **more):
        return Answer(np.full(len(upper), taken), None, proven, nodes=0)

    monkeypatch.setattr("saltreach.planning.budget.minimise", mistaken)
    with pytest.raises(SolverError, match=says):
        plans(table(0), BudgetLimits(budget=10.0))


@pytest.mark.pinned("worked")
def test_resin_fills_the_hole_around_the_rod():
    # arithmetic only: a hole of 14 mm x 90 mm holds 13.854 mL, the rod in it 9.048 mL
    assert float(resin_ml(12.0, 80.0)) == pytest.approx(13.8544 - 9.0478, abs=1e-3)


@pytest.mark.pinned("worked", answers=3)
def test_the_shopping_list_adds_up_sizes():
    taken = pd.DataFrame(
        {
            "kind": "bonded", "metal": ["316", "316", "titanium"], "diameter_mm": [12.0] * 3,
            "embedment_mm": [80.0] * 3, "legs": 1, "piece": "", "size_assumed": "no",
            "count": [3, 4, 5], "resin_ml": [10.0, 20.0, 30.0],
        }
    )  # fmt: skip
    found = shopping(taken).set_index("metal")
    assert found.loc["316", ["count", "resin_ml", "sectors"]].tolist() == [7, 30.0, 2]
    assert shopping(taken.iloc[:0]).empty


def test_prices_come_from_toml_or_csv_alike(tmp_path):
    (tmp_path / "p.toml").write_text('currency = "EUR"\nresin_per_ml = 0.1\n[bonded]\n316 = 8\n')
    (tmp_path / "p.csv").write_text("item,metal,price,currency\nbonded,316,8,EUR\nresin_per_ml,,0.1,\n")  # noqa: E501  # fmt: skip
    toml, csv = read_prices(tmp_path / "p.toml"), read_prices(tmp_path / "p.csv")
    assert toml.anchors == csv.anchors == {("bonded", "316"): 8.0}
    assert (toml.resin_per_ml, toml.currency) == (csv.resin_per_ml, csv.currency) == (0.1, "EUR")


def test_a_stock_list_comes_from_toml_or_csv_alike(tmp_path):
    (tmp_path / "p.toml").write_text(
        '[[stock]]\nkind = "bonded"\nmetal = "titanium"\ngrade = "titanium grade 2"\n'
        "diameter_mm = 12\nlength_mm = 100\nprice = 30\nhow_many = 24\n"
    )
    (tmp_path / "p.csv").write_text(
        "item,metal,grade,diameter_mm,length_mm,price,how_many\n"
        "bonded,titanium,titanium grade 2,12,100,30,24\n"
    )
    toml, csv = read_prices(tmp_path / "p.toml"), read_prices(tmp_path / "p.csv")
    assert toml.stock == csv.stock
    assert toml.stock[0].label == "bonded titanium grade 2, 12 x 100 mm"
    assert (toml.stock[0].how_many, toml.stock_metals()) == (24, {"titanium"})


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ('[[stock]]\nkind = "bonded"\n', "stock 1.metal is missing; give one of 304, 316"),
        (
            '[[stock]]\nkind = "glue"\nmetal = "316"\ndiameter_mm = 12\n'
            "length_mm = 90\nprice = 1\n",
            "give bonded or mechanical",
        ),
        (
            '[[stock]]\nkind = "bonded"\nmetal = "316"\ngrade = "1.4462"\ndiameter_mm = 12\n'
            "length_mm = 90\nprice = 1\n",
            "is none of 316",
        ),
        (
            '[[stock]]\nkind = "bonded"\nmetal = "316"\ndiameter_mm = 120\n'
            "length_mm = 90\nprice = 1\n",
            "stock 1.diameter_mm = 120; give a number from 4 to 40",
        ),
        ("[bonded]\nbrass = 1\n", "cannot use the name bonded.brass; give one of 304"),
        ("[bonded]\n316 = -1\n", "bonded.316 = -1; give a number from 0"),
        ("[bonded]\n316 = true\n", "bonded.316 = True; give a number from 0"),
        ("glue = 1\n", "unknown name 'glue'"),
        ("resin_per_ml = 1\n", "no anchor has a price"),
        ("[bonded\n", "not valid TOML"),
    ],
)
def test_impossible_prices_are_refused(tmp_path, text, says):
    (tmp_path / "p.toml").write_text(text)
    with pytest.raises(OptionError, match=says):
        read_prices(tmp_path / "p.toml")


@pytest.mark.parametrize("change", [{"budget": -1}, {"order": "cheap"}, {"team_days": -1}])
def test_impossible_limits_are_refused(change):
    with pytest.raises(OptionError):
        BudgetLimits(**({"budget": 1.0} | change))
