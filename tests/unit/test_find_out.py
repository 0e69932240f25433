"""What is worth finding out, worked by hand: the chance of each value, and what it would change.

The anchors are invented. Metals in the trade (judgement, `vocabulary/metals.csv`): 304 30 %,
zinc-plated 29 %, 316 27 %, galvanised 10 %, four others 1 % each. A register's own anchors count
beside ten of the trade, the region beside a crag's own as five.
"""

import datetime as dt
from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

from saltreach.assessment import find_out
from saltreach.assessment.find_out import worth_finding_out
from saltreach.intake.policy import DEFAULT

TODAY = dt.date(2026, 11, 25)
NO_TARGET = replace(DEFAULT, failure_target_per_y=0.9)
"""No interval is shortened by a probability: the caps alone decide, so that they can be worked
out by hand."""
KNOWN = {
    "crag": "Alder", "sector": "Wall", "material": "316", "grade": None,
    "hanger_material": "unknown", "kind": "bonded", "installed_on": "2015",
    "last_inspected_on": "2026-06-15", "diameter_mm": 12.0, "washing": "no", "rain_washed": "no",
    "tap_response": "ringing", "coast_distance_source": "register", "coast_distance_m": 5000.0,
    "coast_distance_sd_m": 10.0, "salt_lake_m": np.nan, "sea_salinity_g_kg": 35.0,
    "sea_cliff_said": "no", "face_slope_deg": np.nan, "vegetation": "no", "salt_crust": "no",
    "volcanic_gas": "no", "salted_road_m": np.nan, "salted_tunnel": "no", "seepage": "none",
    "so2_ug_m3_used": 2.0, "so2_sigma_ln": 0.1, "mild_sea": False, "temperature_c": 5.0,
    "warm_month_c": 10.0, "relative_humidity_pct": 70.0, "outside_standard": False,
    "corrosivity_category": "C2", "crc": "III", "scc_band": "low", "scc_hazard": 0.0,
    "zinc_rate_um_y": 0.1, "zinc_rate_um_y_p10": 0.1, "zinc_rate_um_y_p90": 0.1,
    "steel_rate_um_y": 1.0, "steel_rate_um_y_p10": 1.0, "steel_rate_um_y_p90": 1.0,
    "rock_kn_p05": 60.0, "rock_kn_p50": 90.0, "lithology": "granite", "rock_type": "granite",
    "lithology_source": "register", "strength_grade": "R5", "rebound_number": np.nan,
    "weathering_grade": "W1", "interval_set_months": np.nan, "visits_per_year": 100.0,
    "height_above_sea_m": np.nan, "material_recommended": "316",
}  # fmt: skip


@pytest.fixture(scope="module")
def one(assessed_demo):
    """An anchor with every working column; what a case rests on is set by `KNOWN`."""
    whole = assessed_demo.working
    row = whole[whole["coast_distance_m"].notna() & whole["salt_lake_m"].isna()].iloc[[0]]
    return row.assign(**KNOWN, condition=pd.array([0], dtype="Int64"))


@pytest.fixture
def asked(one):
    """What is worth finding out of groups of anchors: (how many, what differs from `KNOWN`)."""

    def ask(*groups, today=TODAY, policy=NO_TARGET):
        rows = [one.iloc[[0] * count].assign(**change) for count, change in groups]
        table = pd.concat(rows, ignore_index=True)
        found = worth_finding_out(table, today, 15.0, policy)
        return list(found.itertuples(index=False, name=None))

    return ask


@pytest.mark.pinned("worked", answers=3)
def test_an_unknown_metal(asked):
    """Class III, C2, no hazard. Unknown metal: 24 months. 316 is of class III: 60 months. 304 is
    of class II, and coated steel counts no better: below the class, 24 months, as now. So what
    counts is the chance of 316 among the four likeliest (316, 304, zinc-plated, galvanised).

    Region: 3 of 316 and ten of the trade, 5.7, 3.0, 2.9 and 1.0 of 13; of these five. Alder has
    three of its own: 3 + 5 x 5.7 / 13 = 5.1923 of 7.8462: 0.66176. Birch has none: 5.7 / 12.6 =
    0.45238."""
    found = asked(
        (3, {}),
        (100, {"material": "unknown"}),
        (100, {"material": "unknown", "crag": "Birch"}),
        (10, {"material": "unknown", "crag": "Birch", "sector": "Cave"}),
    )
    assert found == [
        ("Alder", "Wall", "material", 100, 66.2),
        ("Birch", "Wall", "material", 100, 45.2),
        ("Birch", "Cave", "material", 10, 4.5),
    ]


@pytest.mark.pinned("worked", answers=2)
def test_an_unknown_date(asked):
    """Galvanised steel of 12 mm, 45 um of zinc at 3 um/y and steel at 60 um/y in the first year,
    lasts 27.71 + 11.09 = 38.80 years (ISO 9224, exponents from memory; worked out in
    `test_interval.py`). The dated ones are of 1990, 2005 and 2020: their 0.15, 0.5 and 0.85
    quantiles are 1994.5, 2005 and 2015.5, so 1994, 2005 or 2015, each a third likely.

    Today is 2026.9. Of 1994 (32.4 years old): 6.4 years left, half of them are 38 months: 36. Of
    2005 and 2015: 17.4 and 27.4 years left, 60 months. Undated it counts as the oldest there may
    be, 36 months, and an unknown date asks for 36: two of three would change it."""
    zinc = {"material": "galvanised steel", "crc": "II"} | {
        f"{metal}_rate_um_y{q}": rate
        for metal, rate in (("zinc", 3.0), ("steel", 60.0))
        for q in ("", "_p10", "_p90")
    }
    dated = [(1, zinc | {"installed_on": year}) for year in ("1990", "2005-06", "2020-01-31")]
    found = asked(*dated, (100, zinc | {"installed_on": None}))
    assert found == [("Alder", "Wall", "installed_on", 100, 66.7)]
    # stainless: 60 months whenever it was placed, against the 36 of an unknown date
    plain = asked((1, {}), (100, {"installed_on": None}))
    assert plain == [("Alder", "Wall", "installed_on", 100, 100.0)]


@pytest.mark.parametrize("today", [TODAY, dt.date(2031, 11, 25)])
@pytest.mark.pinned("worked")
def test_in_a_register_without_dates_the_ages_of_the_trade_count_from_today(asked, today):
    """5, 20 or 35 years old, to the middle of the year 5.4, 20.4 and 35.4. With 5 um/y of zinc
    the coating of 45 um lasts (45 / 5)^(1 / 0.813) = 14.9 years, and the steel 11.1 more: 26.0.
    Left are 20.6, 5.6 and 0 years: 60, 24 and 6 months. Undated it counts as the oldest, 6."""
    bare = {"material": "galvanised steel", "crc": "II", "installed_on": None,
            "last_inspected_on": None} | {
        f"{metal}_rate_um_y{q}": rate
        for metal, rate in (("zinc", 5.0), ("steel", 60.0))
        for q in ("", "_p10", "_p90")
    }  # fmt: skip
    assert asked((100, bare), today=today) == [("Alder", "Wall", "installed_on", 100, 66.7)]


@pytest.mark.pinned("worked", answers=3)
def test_unknown_washing(asked):
    """EN 1993-1-4 Annex A, 5 km from the sea: F1 -3, F2 0. Not washed -10, class III, 316; washed
    -3, class II, 304. Unknown counts as not washed, so only 'washed' changes anything. Its chance
    in Alder, with 5 washed and 1 not: (5 + 1) / (6 + 2) = 0.75; in Birch, 1 of 3 not: (0 + 1) /
    (1 + 2); in Cedar, where nobody looked, a half."""
    unknown = {"washing": "unknown", "rain_washed": "unknown"}
    washed = {"washing": "yes", "rain_washed": "yes"}
    found = asked(
        (5, washed), (1, {}), (20, unknown),
        (1, {"crag": "Birch"}), (30, unknown | {"crag": "Birch"}),
        (40, unknown | {"crag": "Cedar"}),
    )  # fmt: skip
    assert found == [
        ("Alder", "Wall", "washing", 20, 15.0),
        ("Birch", "Wall", "washing", 30, 10.0),
        ("Cedar", "Wall", "washing", 40, 20.0),
    ]


@pytest.mark.pinned("worked")
def test_an_untried_place(asked):
    """In hard rock only a hollow sound changes the interval (6 months): 3 in 100, judgement."""
    assert asked((1, {}), (100, {"tap_response": None})) == [
        ("Alder", "Wall", "tap_response", 100, 3.0)
    ]


@pytest.mark.pinned("worked")
def test_where_the_shore_is(asked):
    """304, 9,500 m from the sea by the layer, give or take 600 m. EN 1993-1-4: up to 10 km F1 is
    -3, not washed -10, class III, which 304 does not meet (24 months); beyond it 0, class II,
    which it does (60 months). At 8,900 m nothing changes, at 10,100 m it does: a half.
    At 9,300 m it would be 8,700 and 9,900: nothing. A measured distance is not asked for."""
    layer = {"material": "304", "coast_distance_source": "layer", "coast_distance_sd_m": 600.0,
             "coast_distance_m": 9500.0}  # fmt: skip
    found = asked(
        (20, layer),
        (20, layer | {"sector": "Near", "coast_distance_m": 9300.0}),
        (20, layer | {"sector": "Measured", "coast_distance_source": "register"}),
    )
    assert found == [("Alder", "Wall", "coast_distance_m", 20, 10.0)]


@pytest.mark.pinned("worked", answers=2)
def test_whether_a_road_is_salted(asked):
    """316 (class III), not washed -10. EN 1993-1-4: a salted road up to 10 m F1 -7, up to 100 m -3,
    as the sea at 5 km. 8 m away it may be -17, class IV, which 316 does not meet (24 months). 60 m
    away it stays -13, class III, in air no milder than C3: 48 months against 60. Each a half.
    Where nobody is asked nothing is found."""
    near = {"road_asked": True, "major_road_m": 8.0}
    found = asked(
        (20, near),
        (20, near | {"sector": "Far", "major_road_m": 60.0}),
        (20, near | {"sector": "Known", "road_asked": False}),
    )
    assert found == [
        ("Alder", "Far", "salted_road_m", 20, 10.0),
        ("Alder", "Wall", "salted_road_m", 20, 10.0),
    ]


@pytest.mark.pinned("judgement", answers=2)
def test_a_road_is_salted_as_likely_as_not(asked, monkeypatch):
    near = {"road_asked": True, "major_road_m": 40.0}
    for changed in (40.0, np.nan):
        stub(monkeypatch, "salted_road_m", [changed])
        assert asked((10, near)) == [("Alder", "Wall", "salted_road_m", 10, 5.0)]


def stub(monkeypatch, column, changed):
    """Decisions that change for some values of one column only, by 6 months or by the metal."""

    def decide(table, *_):
        hit = (table["find_out"] == column) & (table["case"] >= 0) & table[column].isin(changed)
        return table[["find_out", "case"]].assign(rank=7.0, months=np.where(hit, 6.0, np.nan))

    monkeypatch.setattr(find_out, "_decide", decide)


@pytest.mark.pinned("judgement")
@pytest.mark.parametrize(
    ("sound", "chance"), [("ringing", 0.7), ("mixed", 0.15), ("dull", 0.12), ("hollow", 0.03)]
)
def test_how_an_untried_place_may_sound(asked, monkeypatch, sound, chance):
    stub(monkeypatch, "tap_response", [sound])
    found = asked((100, {"tap_response": None}))
    assert found == [("Alder", "Wall", "tap_response", 100, 100 * chance)]


@pytest.mark.pinned("worked")
@pytest.mark.parametrize(
    ("metal", "hundred"),
    # 13 parts: 5.7, 3.0, 2.9 and 1.0, five in all of them, and three of Alder's own
    [("316", 66.2), ("304", 14.7), ("zinc-plated steel", 14.2), ("galvanised steel", 4.9)],
)
def test_what_an_unknown_metal_may_be(asked, monkeypatch, metal, hundred):
    stub(monkeypatch, "material", [metal])
    found = asked((3, {}), (100, {"material": "unknown"}))
    assert found == [("Alder", "Wall", "material", 100, hundred)]


@pytest.mark.pinned("worked")
@pytest.mark.parametrize(
    ("metal", "hundred"),
    # 53 parts of the region: 13.0, 12.9, 12.7 and 3.1, five in all of them, three of Birch's own
    [("titanium", 47.5), ("304", 17.7), ("zinc-plated steel", 17.6), ("316", 17.3)],
)
def test_each_anchor_counts_once_for_the_likeliest_metals(asked, monkeypatch, metal, hundred):
    """Galvanised is likely at Alder, where nothing is unknown; each crag's shares sum to 1."""
    stub(monkeypatch, "material", [metal])
    usual = ("304", "zinc-plated steel", "316", "galvanised steel")
    known = [(10, {"material": name}) for name in usual]
    birch = {"crag": "Birch"}
    found = asked(*known, (3, birch | {"material": "titanium"}),
                  (100, birch | {"material": "unknown"}))  # fmt: skip
    assert found == [("Birch", "Wall", "material", 100, hundred)]


@pytest.mark.parametrize("metal", ["titanium", "duplex", "303", "brass"])
def test_only_the_four_likeliest_metals_are_tried(asked, monkeypatch, metal):
    stub(monkeypatch, "material", [metal])
    assert asked((3, {}), (100, {"material": "unknown"})) == []


@pytest.mark.pinned("worked")
@pytest.mark.parametrize("year", ["1994", "2005", "2015"])
def test_each_of_three_years_is_a_third_likely(asked, monkeypatch, year):
    stub(monkeypatch, "installed_on", [year])
    dated = [(1, {"installed_on": y}) for y in ("1990", "2005", "2020")]
    found = asked(*dated, (100, {"installed_on": None}))
    assert found == [("Alder", "Wall", "installed_on", 100, 33.3)]


@pytest.mark.parametrize(
    ("today", "years"),
    [(TODAY, ["2021", "2006", "1991"]), (dt.date(2031, 1, 1), ["2026", "2011", "1996"])],
)
@pytest.mark.pinned("worked", answers=3)
def test_years_of_the_trade_are_5_20_and_35_before_today(asked, monkeypatch, today, years):
    for year in years:
        stub(monkeypatch, "installed_on", [year])
        found = asked((100, {"installed_on": None}), today=today)
        assert found == [("Alder", "Wall", "installed_on", 100, 33.3)]


@pytest.mark.pinned("worked", answers=4)
def test_the_shore_is_a_standard_deviation_nearer_or_farther_and_asked_for_within_20_km(
    asked, monkeypatch
):
    layer = {"coast_distance_source": "layer", "coast_distance_m": 200.0,
             "coast_distance_sd_m": 250.0}  # fmt: skip
    for distance, changed in ((0.0, 5.0), (450.0, 5.0), (200.0, None)):
        stub(monkeypatch, "coast_distance_m", [distance])
        want = [("Alder", "Wall", "coast_distance_m", 10, changed)] if changed else []
        assert asked((10, layer)) == want
    stub(monkeypatch, "coast_distance_m", [19_749.0, 19_750.0])
    far = [(4, {"coast_distance_m": 19_999.0}), (6, {"coast_distance_m": 20_000.0})]
    found = asked(*[(count, layer | change) for count, change in far])
    assert found == [("Alder", "Wall", "coast_distance_m", 4, 2.0)]


@pytest.mark.pinned("worked", answers=2)
def test_the_most_valuable_of_a_crag_comes_first_and_what_changes_nothing_is_left_out(
    asked, monkeypatch
):
    """Hollow: 3 in 100. One anchor: 0.03, left out; two: 0.06, shown as 0.1."""
    stub(monkeypatch, "tap_response", ["hollow"])
    untried = {"tap_response": None}
    found = asked(
        (1, untried),
        (2, untried | {"sector": "B"}),
        (40, untried | {"sector": "C"}),
        (40, untried | {"sector": "A"}),
        (9, untried | {"crag": "Birch"}),
        (90, untried | {"crag": "Aspen", "sector": "Z"}),
    )
    assert found == [
        ("Alder", "A", "tap_response", 40, 1.2),
        ("Alder", "C", "tap_response", 40, 1.2),
        ("Alder", "B", "tap_response", 2, 0.1),
        ("Aspen", "Z", "tap_response", 90, 2.7),
        ("Birch", "Wall", "tap_response", 9, 0.3),
    ]


@pytest.mark.pinned("worked", answers=4)
def test_above_5000_anchors_a_sample_speaks_for_all(asked, monkeypatch):
    """Of 10,000 every second is tried: 2,000 and 3,000 stand for 4,000 and 6,000; of 5,000 each."""
    stub(monkeypatch, "tap_response", ["hollow"])
    tried = []
    decide = find_out._decide
    monkeypatch.setattr(find_out, "_decide", lambda t, *a: tried.append(len(t)) or decide(t, *a))
    untried, more = {"tap_response": None}, {"tap_response": None, "sector": "More"}
    assert asked((4000, untried), (6000, more)) == [
        ("Alder", "More", "tap_response", 6000, 180.0),
        ("Alder", "Wall", "tap_response", 4000, 120.0),
    ]
    assert asked((2000, untried), (3000, more)) == [
        ("Alder", "More", "tap_response", 3000, 90.0),
        ("Alder", "Wall", "tap_response", 2000, 60.0),
    ]
    assert tried == [5 * 5000, 5 * 5000]  # as it is, and each of four sounds
