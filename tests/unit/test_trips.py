"""What a trip is made of: anchors, pieces, adhesive, times, access, and what to bring."""

import datetime as dt
import json
from dataclasses import asdict, replace

import numpy as np
import pandas as pd
import pytest
import shapely

from helpers.trips import ROD, spot, stop
from saltreach.assessment.priority import anchor_priority
from saltreach.errors import OptionError
from saltreach.intake.holding import Contact, Holding, read_contact
from saltreach.intake.plan_file import VISIT_COLUMNS
from saltreach.intake.prices import Piece, Prices
from saltreach.planning import places
from saltreach.planning.bring import (
    TripOptions,
    anchors_per_nozzle,
    batteries_needed,
    bring_list,
    cartridges_needed,
    fill_ml,
)
from saltreach.planning.offers import WORST
from saltreach.planning.pieces import piece_record, pieces_for, spacing_of
from saltreach.planning.places import access_of, cures_of, drawn, position_of, tell_of
from saltreach.planning.spots import (
    CLOSE,
    NO_PIECE,
    NOT_HERE,
    part_of,
    ready,
    to_replace,
    value_text,
    whole_count,
)
from saltreach.planning.trip_files import trips_from
from saltreach.planning.trips import NO_STOCK, trips_of
from saltreach.science.rock.adhesive import CureTable
from saltreach.vocabulary.columns import columns_of
from saltreach.vocabulary.words import (
    CLOSED,
    DO_NOT_PLACE,
    INSPECT,
    OPEN_ONLY,
    OUT_OF_USE,
    REBOLT,
    UNKNOWN,
)

TWIN = Piece("bonded", "titanium", 8.0, 80.0, 0.0, legs=2)
BOLT = Piece("mechanical", "316", 12.0, 70.0, 0.0)


@pytest.mark.pinned("worked", answers=6)
def test_adhesive_is_the_hole_less_the_piece():
    """12 x 80 mm in 14 x 90 mm: pi/4 (196 x 90 - 144 x 80) = pi/4 x 6120 mm3 = 4.807 mL;
    two legs of 8 x 80 mm in 10 x 90 mm: 2 x pi/4 (9000 - 5120) = 6.095 mL."""
    rod, twin = piece_record(ROD), piece_record(TWIN)
    assert rod["adhesive_ml"] == pytest.approx(4.807, abs=5e-4)
    assert twin["adhesive_ml"] == pytest.approx(6.095, abs=5e-4)
    assert (rod["hole_diameter_mm"], rod["hole_depth_mm"]) == (14.0, 90.0)
    bolt = piece_record(BOLT)
    assert (bolt["hole_diameter_mm"], bolt["hole_depth_mm"], bolt["adhesive_ml"]) == (12.0, 80.0, 0)


@pytest.mark.pinned("worked", answers=4)
def test_a_hole_is_filled_two_thirds_or_what_is_left_beside_the_piece():
    """12 x 80 mm in 14 x 90 mm: the hole pi/4 x 196 x 90 = 13.854 mL, two thirds 9.236, the gap
    4.807 x 1.25 = 6.009. 12 x 150 in 14 x 160 mm: 24.630 mL, two thirds 16.420, the gap 7.67 x
    1.25. Two legs of 8 x 80 mm in 10 x 90 mm: 2 x 7.069 x 2/3 = 9.425; the gap twice over is 12.19.
    """
    assert fill_ml(piece_record(ROD), TripOptions()) == pytest.approx(9.236, abs=5e-4)
    deep = piece_record(Piece("bonded", "titanium", 12.0, 150.0, 0.0))
    assert fill_ml(deep, TripOptions()) == pytest.approx(16.420, abs=5e-4)
    twin = piece_record(TWIN)
    assert fill_ml(twin, TripOptions()) == pytest.approx(9.425, abs=5e-4)
    assert fill_ml(twin, TripOptions(waste_share=1.0)) == pytest.approx(12.19, abs=5e-3)


@pytest.mark.pinned("worked", answers=5)
def test_cartridges_hold_the_holes_and_the_first_strokes():
    """One nozzle throws 10 mL away: 290 + 10 mL is one of 300. A second cartridge has a nozzle of
    its own: 290.1 + 20. Three nozzles by time: 270 + 30 mL is one. Of 20 mL each gives 10: 43.1 mL
    are 5."""
    assert cartridges_needed(290.0, 1, TripOptions()) == (1, 1)
    assert cartridges_needed(290.1, 1, TripOptions()) == (2, 2)
    assert cartridges_needed(270.0, 3, TripOptions()) == (1, 3)
    assert cartridges_needed(270.1, 3, TripOptions()) == (2, 3)
    assert cartridges_needed(43.1, 1, TripOptions(cartridge_ml=20)) == (5, 5)


@pytest.mark.pinned("worked", answers=5)
def test_a_nozzle_lasts_until_the_adhesive_sets():
    """At 3 min an anchor: 20 min are 6, 30 are 10, 2 are still 1; 4 where no time is known."""
    assert [anchors_per_nozzle(m) for m in (20.0, 30.0, 2.0, 3.0, None)] == [6, 10, 1, 1, 4]
    spots = [spot(i, piece=ROD) for i in range(7)]
    found, _ = bring_of(
        stop(spots, REBOLT, cure={"gel_min": 20.0}), stop(spots[:1], REBOLT, cure={"gel_min": 20.0})
    )
    assert found["mixing nozzle"] == (2 + 1 + 1, "nozzles")


@pytest.mark.pinned("worked", answers=3)
def test_batteries_count_the_rock_they_take_out():
    """Fifteen holes of 12 x 100 mm are one; 14 x 90 mm is 1.225 of such a hole."""
    assert batteries_needed([(12.0, 100.0)] * 15) == 1
    assert batteries_needed([(14.0, 90.0)] * 12) == 1
    assert batteries_needed([(14.0, 90.0)] * 13) == 2


@pytest.mark.pinned("worked", answers=4)
def test_distances_of_a_hole():
    """1.5 embedments and at least 150 mm from an edge, 1 from a crack, 3 from another hole."""
    assert spacing_of(80.0) == {"edge_mm": 150.0, "crack_mm": 80.0, "hole_mm": 240.0}
    assert spacing_of(120.0)["edge_mm"] == 180.0


EVERY = ("first-aid kit", "climbing and rescue gear")


def bring_of(*stops, **options):
    found, notes = bring_list(stops, TripOptions(**options))
    return {row["thing"]: (row["count"], row["unit"]) for row in found}, notes


@pytest.mark.pinned("worked", answers=8)
def test_what_forty_new_anchors_take():
    """41 pieces and 5 spare; 41 holes of 14 mm need 3 bits and a spare; without a data sheet 11
    nozzles for 4 each; 41 x 9.236 = 378.7 mL and 110 thrown away: 2 cartridges; a spare of each;
    a rod of 14 x 90 mm counts 1.225 holes, so 41 of them 51 holes: 4 batteries and a spare."""
    spots = [spot(i, piece=ROD) for i in range(41)]
    found, notes = bring_of(stop(spots, REBOLT), proof_load_kn=6.0)
    assert found["bonded titanium, 12 x 80 mm"] == (46, "pieces")
    assert found["drill bit 14 mm"] == (4, "bits")
    assert found["batteries"] == (5, "batteries")
    assert found["cartridge of 300 mL"] == (3, "cartridges")
    assert found["mixing nozzle"] == (12, "nozzles")
    assert {"thermometer for the rock", "chisel or grinder for the slot", *EVERY} <= {*found}
    assert found["hole brush 14 mm"] == (2, "brushes")
    assert found["proof test kit"] == (1, "set")
    assert found["tags or tape to close anchors"] == (2, "tags")
    assert "torque wrench and socket" not in found
    assert not notes


def test_mechanical_anchors_need_a_torque_wrench_and_no_adhesive():
    found, _ = bring_of(stop([spot(1, piece=BOLT)], REBOLT))
    assert "torque wrench and socket" in found
    assert not [thing for thing in found if "cartridge" in thing or "brush" in thing]
    assert "proof test kit" not in found


def test_two_legs_are_two_holes():
    found, _ = bring_list([stop([spot(1, piece=TWIN)], REBOLT)], TripOptions())
    bit = next(row for row in found if row["thing"] == "drill bit 10 mm")
    assert bit["detail"].startswith("2 holes")


def test_a_look_takes_no_pieces_and_a_tag_for_each_that_is_closed():
    nut = ({"column": "kind", "label": "kind", "value": "expansion"},)
    found, notes = bring_of(stop([spot(1, action=OUT_OF_USE), spot(2, known=nut)]))
    assert found["tags or tape to close anchors"][0] == 3
    assert {*found} == {
        *EVERY, "tags or tape to close anchors", "torque wrench and socket",
        "hammer, steel rule, camera, pencils, this sheet in a bag",
    }  # fmt: skip
    assert not notes


def test_what_is_assumed_or_missing_is_said():
    unsure = replace(spot(1, piece=ROD), piece=piece_record(ROD, assumed=True))
    none = replace(spot(2, piece=ROD), piece=None)
    _, notes = bring_of(stop([unsure, none], REBOLT))
    assert len(notes) == 2
    assert notes[1].startswith("1 anchors to place have no piece")


@pytest.mark.parametrize(
    "wrong",
    [
        {"cartridge_ml": 19},
        {"waste_share": -0.1},
        {"waste_share": 1.25},
        {"spare_share": 6},
        {"proof_load_kn": 0},
    ],
)
def test_impossible_options_are_refused(wrong):
    with pytest.raises(OptionError, match=f"{next(iter(wrong))} .*give a value from"):
        TripOptions(**wrong)


SECTOR = {
    "material_recommended": "titanium", "material_alternative": "", "kind_advised": "bonded",
    "embedment_required_mm": 110.0,
}  # fmt: skip


def depths(*values, kind="bonded"):
    return pd.DataFrame({"embedment_required_mm": values, "kind_advised": kind}, dtype=object)


def stock(*pieces):
    return Prices(anchors={}, stock=pieces)


def lengths(found):
    return [None if piece is None else piece["length_mm"] for piece in found]


def test_without_a_stock_all_get_the_deepest_of_the_sector():
    found = pieces_for(depths(70.0, 85.0), SECTOR)
    assert lengths(found) == [85.0, 85.0]
    assert {(p["kind"], p["metal"], p["diameter_mm"]) for p in found} == {
        ("bonded", "titanium", 12)
    }


def test_an_unknown_depth_is_assumed_and_marked():
    found = pieces_for(depths(np.nan, 70.0), SECTOR, Prices(anchors={}, stock=()))
    assert lengths(found) == [80.0, 80.0]
    assert [p["length_assumed"] for p in found] == [True, False]


def test_a_stock_gives_whole_lengths_the_same_for_all_where_one_reaches():
    short = Piece("bonded", "titanium", 12.0, 80.0, 20.0)
    long = Piece("bonded", "titanium", 12.0, 100.0, 25.0)
    assert lengths(pieces_for(depths(70.0, 85.0), SECTOR, stock(short, long))) == [100.0, 100.0]
    assert lengths(pieces_for(depths(70.0, 80.0), SECTOR, stock(short, long))) == [80.0, 80.0]
    assert lengths(pieces_for(depths(70.0, 105.0), SECTOR, stock(short, long))) == [80.0, None]


@pytest.mark.parametrize(
    "piece",
    [
        Piece("bonded", "316", 12.0, 100.0, 1.0),
        Piece("bonded", "titanium", 8.0, 100.0, 1.0),
        Piece("mechanical", "titanium", 12.0, 100.0, 1.0),
        Piece("bonded", "titanium", 12.0, 100.0, 1.0, how_many=0),
    ],
    ids=["weaker metal", "too thin", "not for this rock", "none left"],
)
def test_what_does_not_suffice_is_not_taken(piece):
    assert pieces_for(depths(70.0), SECTOR, stock(piece)) == [None]


def test_duplex_only_where_it_is_advised():
    duplex = Piece("bonded", "duplex", 12.0, 100.0, 1.0)
    for advised, taken in (("316", None), ("duplex", 100.0)):
        sector = SECTOR | {"material_recommended": advised}
        assert lengths(pieces_for(depths(70.0), sector, stock(duplex))) == [taken]


def test_the_least_metal_that_does_comes_before_the_price():
    better = Piece("bonded", "titanium", 12.0, 80.0, 1.0)
    least = Piece("bonded", "316", 12.0, 80.0, 9.0)
    sector = SECTOR | {"material_recommended": "316"}
    assert pieces_for(depths(70.0), sector, stock(better, least))[0]["metal"] == "316"


def test_what_was_bought_is_taken_where_it_is_long_enough():
    assert lengths(pieces_for(depths(70.0, 85.0), SECTOR, bought=ROD)) == [80.0, None]


def test_a_spot_that_refuses_gets_the_sectors_longest_for_a_better_one():
    assert lengths(pieces_for(depths(np.nan, kind=DO_NOT_PLACE), SECTOR)) == [110.0]


@pytest.mark.parametrize("metal", ["", "brass"])
def test_no_metal_no_piece(metal):
    sector = SECTOR | {"material_recommended": metal, "material_alternative": ""}
    if metal:
        sector["material_recommended"] = "titanium"
        thin = stock(Piece("bonded", "316", 12.0, 80.0, 1.0))
        assert pieces_for(depths(70.0), sector, thin) == [None]
    else:
        assert pieces_for(depths(70.0), sector) == [None]


def test_no_anchor_no_piece():
    assert pieces_for(depths(), SECTOR) == []


SHEET = CureTable(
    np.array([0.0, 10.0]), np.array([40.0, 20.0]), np.array([360.0, 150.0]), "sheet.csv"
)
PLACE = pd.DataFrame({"lon": [-7.05], "lat": [43.52], "elevation_m": [10.0]}).astype(object)


def cure_of(anchors, day, sheet, degrees):
    (found,) = cures_of([(anchors, day)], sheet, degrees)
    return found


@pytest.mark.pinned("worked", answers=3)
def test_hours_of_the_adhesive_lie_between_the_rows_of_the_sheet():
    """At 5 degC, straight in ln t over 1/T between 0 and 10 degC: a share of 0.50899 of the way,
    360^(0.49101) 150^(0.50899) = 230.6 min, twice that when wet, to set 28.1 min."""
    found = cure_of(PLACE, "2027-01-10", SHEET, 5.0)
    assert (found["cure_min"], found["cure_wet_min"]) == (230.6, 461.1)
    assert found["gel_min"] == 28.1
    assert found["temperature_from"] == "as given"


def test_without_a_sheet_no_time_is_known():
    found = cure_of(PLACE, "2027-01-10", None, 5.0)
    assert found["cure_min"] is None
    assert "read the times on the cartridge" in found["note"]


def test_nothing_is_extrapolated():
    found = cure_of(PLACE, "2027-01-10", SHEET, -3.0)
    assert found["cure_min"] is None
    assert "not extrapolated" in found["note"]


def test_the_month_of_the_day_is_taken_and_without_a_day_the_coldest():
    january, august, none = (
        cure_of(PLACE, day, SHEET, None) for day in ("2027-01-10", "2027-08-10", "")
    )
    assert january["temperature_c"] < august["temperature_c"]
    assert "January" in january["temperature_from"]
    assert none["temperature_c"] <= january["temperature_c"]
    assert "coldest month" in none["temperature_from"]
    assert "measure the rock" in none["temperature_from"]


def test_an_unknown_climate_gives_no_time(monkeypatch):
    monkeypatch.setattr(places, "monthly_temperature_c", lambda *_: np.full((1, 12), np.nan))
    found = cure_of(PLACE, "2027-01-10", SHEET, None)
    assert found["temperature_c"] is None
    assert "measure it" in found["note"]
    assert cure_of(PLACE.iloc[:0], "", SHEET, None)["temperature_from"] == "no anchor"


@pytest.mark.pinned("worked")
def test_stops_asked_about_together_are_told_each_its_own():
    cold = PLACE.assign(elevation_m=[2010.0])
    stops = [(PLACE, "2027-01-10"), (PLACE.iloc[:0], ""), (cold, ""), (cold, "2027-08-10")]
    found = cures_of(stops, SHEET, None)
    assert found == [cure_of(*stop, SHEET, None) for stop in stops]
    # 6.5 K/km over 2 km, ISO 2533:1975
    coast, high = cure_of(PLACE, "", SHEET, None), found[2]
    assert coast["temperature_c"] - high["temperature_c"] == pytest.approx(13.0, abs=0.051)


def rule(access=CLOSED, first="02-01", last="07-31", sector="", reason="nesting"):
    return {"crag": "C", "sector": sector, "access": access, "from": first, "until": last,
            "reason": reason}  # fmt: skip


TIDE = {"crag": "C", "sector": "S", "date": dt.date(2027, 1, 10), "from": 630, "until": 850}


@pytest.mark.parametrize(
    ("windows", "tides", "day", "closed", "said"),
    [
        ([rule()], [], "2027-03-01", True, places.CLOSED_TODAY),
        ([rule()], [], "2027-03-01", True, "each year from 1 February to 31 July (nesting). It"),
        ([rule()], [], "2027-08-01", False, "each year from 1 February to 31 July (nesting)."),
        ([rule(OPEN_ONLY)], [], "2027-08-01", True, places.CLOSED_TODAY),
        ([rule(OPEN_ONLY, reason="")], [], "2027-02-01", False, "31 July. It holds on this day."),
        ([rule(sector="T")], [], "2027-03-01", False, places.NO_RULE),
        ([rule(first="2027-03-01", last="2027-03-02")], [], "2027-03-02", True, "to 2027-03-02"),
        ([], [TIDE], "2027-01-10", False, "work from 10:30 to 14:10 only"),
        ([], [TIDE], "2027-01-11", True, places.NO_TIDE_TODAY),
        ([], [], "2027-01-11", False, places.NO_RULE),
        ([rule()], [], "", False, places.ASK),
        ([], [TIDE], "", False, places.ASK),
    ],
)  # fmt: skip
def test_what_shuts_a_sector_on_the_day(windows, tides, day, closed, said):
    sentences, shut = access_of(windows, tides, "C", "S", day)
    assert shut is closed
    assert said in " ".join(sentences)
    assert (sentences[0] in (places.CLOSED_TODAY, places.NO_TIDE_TODAY)) is closed


def test_the_land_is_named_where_the_stop_is_on_it():
    who = Contact("Us", "Ann", "+44 1632 960123", "a@example.org", "112")
    here = shapely.box(-8, 43, -7, 44)
    said = tell_of(Holding("Farm", who, here), PLACE, "C")
    assert said == (
        "Land: Farm. Tell its owner before you go.",
        "Anchors: Us, Ann: +44 1632 960123, a@example.org",
        "Emergency: 112",
    )  # fmt: skip
    assert tell_of(Holding("Farm", who, shapely.box(0, 0, 1, 1)), PLACE, "C") == said[1:]
    assert tell_of(Holding("Farm", who, crags=("C",)), PLACE, "C") == said
    assert tell_of(Holding("", Contact(person="Ann", phone="112")), PLACE, "C") == (
        "Anchors: Ann: 112",
    )
    assert tell_of(None, PLACE, "C") == ()


@pytest.mark.pinned("worked", answers=3)
def test_the_bar_of_a_drawing_is_round():
    """A third of 100 m is 33: the bar is 20 m; of 150 m 50 m; of 30 m 10 m."""
    for wide, bar in ((100.0, 20.0), (150.0, 50.0), (30.0, 10.0)):
        table = pd.DataFrame({"anchor_id": ["a", "b"], "east_m": [0, wide], "north_m": 0.0})
        assert drawn(table)["scale_m"] == bar
    assert drawn(table.iloc[:1])["kind"] == "line"
    assert drawn(table.iloc[:0])["points"] == []


@pytest.mark.pinned("worked", answers=2)
def test_rescuers_are_sent_to_the_middle():
    """Halfway between 43.52 and 43.521 N, -7.05 and -7.0498 E: to 4 decimals."""
    two = pd.DataFrame({"lon": [-7.05, -7.0498], "lat": [43.52, 43.521]})
    assert position_of(two) == {"lat": 43.5205, "lon": -7.0499}
    assert position_of(two.iloc[:0]) == {}


# trips of the demo


def visit(row, kind, count, part="1 of 1", **values):
    given = dict.fromkeys(VISIT_COLUMNS, "") | {
        "crag": row["crag"], "sector": row["sector"], "kind": kind, "anchors": count,
        "part": part, "trip": "2027-01-10 Team", "date": "2027-01-10", "team": "Team",
        "trip_leaves": "08:30", "trip_back": "17:04", "work_hours": "6.5",
        "trip_travel_hours": "1.57",
    }  # fmt: skip
    return given | values


@pytest.fixture(scope="module")
def demo(assessed_demo):
    sectors = pd.DataFrame(assessed_demo.flat.sectors)
    most = sectors.sort_values("anchors_to_replace").iloc[-1]
    anchors = pd.DataFrame(assessed_demo.flat.anchors)
    here = anchors[(anchors["crag"] == most["crag"]) & (anchors["sector"] == most["sector"])]
    return assessed_demo, most, ready(anchors).loc[here.index]


def trips(result, *rows, **given):
    return trips_of(result, visits=pd.DataFrame(list(rows)), **given)


def ids(stop_):
    return [s.anchor_id for s in stop_.anchors]


def test_a_planned_trip_has_its_times_and_reads_as_json(demo):
    result, most, here = demo
    (one,) = trips(result, visit(most, INSPECT, len(here)))
    assert (one.hours, one.work_hours, one.travel_hours) == (8.57, 6.5, 1.57)
    assert (one.title, one.team) == (f"{most['crag']} / {most['sector']}", "Team")
    assert sorted(ids(one.stops[0])) == sorted(here["anchor_id"])
    assert [s.order for s in one.stops[0].anchors] == list(range(1, len(here) + 1))
    again = json.loads(json.dumps(asdict(one), allow_nan=False))
    assert again["made_from"] == result.provenance["time"]
    assert one.stops[0].cure is None


def test_each_stop_has_the_cure_of_its_own_day(demo):
    result, most, _ = demo
    days = {"1": "2027-01-10", "2": "2027-04-10", "3": "2027-07-10"}
    planned = [visit(most, REBOLT, 1, trip=name, date=day) for name, day in days.items()]
    planned.insert(1, visit(most, INSPECT, 1, trip="1"))
    made = trips(result, *planned)
    months = [[s.cure and s.cure["temperature_from"].split()[3] for s in t.stops] for t in made]
    assert months == [["January", None], ["April"], ["July"]]


def test_the_parts_of_a_sector_share_the_wall(demo):
    result, most, here = demo
    n = len(here)
    parts = [visit(most, INSPECT, n * p // 3 - n * (p - 1) // 3, f"{p} of 3", trip=str(p))
             for p in (1, 2, 3)]  # fmt: skip
    (whole,) = trips(result, visit(most, INSPECT, n))
    found = [i for one in trips(result, *parts) for i in ids(one.stops[0])]
    assert found == ids(whole.stops[0])


def test_rebolting_takes_those_that_avoid_most(demo):
    result, most, here = demo
    wanted = to_replace(here)
    assert len(wanted) == most["anchors_to_replace"] > 4
    (one,) = trips(result, visit(most, REBOLT, 4))
    assert {*ids(one.stops[0])} == {*wanted["anchor_id"].iloc[:4]}
    assert {s.form for s in one.stops[0].anchors} == {"place"}
    assert one.stops[0].cure["cure_min"] is None
    parts = [visit(most, REBOLT, 2, f"{p} of 2", trip=str(p)) for p in (1, 2)]
    both = [i for t in trips(result, *parts) for i in ids(t.stops[0])]
    assert {*both} == {*ids(one.stops[0])}
    assert len(both) == 4
    (second,) = trips(result, *parts, trips=["2"])
    assert ids(second.stops[0]) == both[2:]


@pytest.mark.pinned("worked", answers=2)
def test_those_come_first_whose_replacement_avoids_most():
    table = pd.DataFrame(
        {"anchor_id": [*"abcd"], "avoided": [1.0, 3.0, 2.0, 9.0],
         "replacement_cost": [5.0, 5.0, 5.0, 0.0], "risk_band": ["severe", "low", "high", "low"]}
    )  # fmt: skip
    assert to_replace(table)["anchor_id"].tolist() == ["b", "c", "a"]
    assert to_replace(table, worst_only=True)["anchor_id"].tolist() == ["c", "a"]


def test_what_replacing_avoids_is_the_loss_now_less_the_loss_then(demo):
    result, _, here = demo
    every = pd.DataFrame(result.flat.anchors)
    then = anchor_priority(every)["yearly_loss_after"]
    expected = (every["yearly_loss"] - then).fillna(0.0).loc[here.index]
    assert here["avoided"].astype(float).tolist() == pytest.approx(expected.tolist())


def test_only_the_worst_where_only_those_were_bought(demo):
    result, most, here = demo
    place = most["crag"], most["sector"]
    (one,) = trips(result, visit(most, REBOLT, 99), bought={place: (ROD, WORST)})
    bad = here[here["risk_band"].isin(["high", "severe"])]
    assert {*ids(one.stops[0])} == {*to_replace(here, worst_only=True)["anchor_id"]}
    assert {*ids(one.stops[0])} <= {*bad["anchor_id"]}
    assert {s.piece["label"] for s in one.stops[0].anchors if s.piece} <= {ROD.label}


def test_without_a_plan_each_anchor_is_on_one_sheet_once(demo):
    result, _, _ = demo
    every = trips_of(result)
    found = [i for one in every for s in one.stops for i in ids(s)]
    assert sorted(found) == sorted(result.flat.anchors["anchor_id"])
    assert len(every) == len(result.flat.sectors)
    assert every[0].date == every[0].leaves == ""
    assert every[0].hours is None
    looked = trips_of(result, kind=INSPECT, sectors=[every[0].trip], date="2027-02-03")
    assert [s.kind for s in looked[0].stops] == [INSPECT]
    assert looked[0].date == "2027-02-03"
    placed = trips_of(result, kind=REBOLT)
    assert sum(len(s.anchors) for t in placed for s in t.stops) == len(
        to_replace(ready(pd.DataFrame(result.flat.anchors)))
    )


def test_reasons_and_what_is_known_come_along(demo):
    result, most, here = demo
    (one,) = trips(result, visit(most, REBOLT, 2), prices=Prices(anchors={}, stock=()))
    first = one.stops[0].anchors[0]
    row = here.set_index("anchor_id").loc[first.anchor_id]
    known = {k["column"]: k["value"] for k in first.known}
    assert known["material"] == row["material"]
    assert "notes" not in known or known["notes"] == row["notes"]
    assert set(row["action_reasons"].split(" | ")) <= set(first.reasons)
    assert one.stops[0].reasons[0].startswith(("1 of 2: ", "2 of 2: "))
    assert NO_STOCK in one.notes
    assert f"{first.piece['hole_depth_mm']:g} mm deep" in first.to_do


def changed(result, **columns):
    flat = replace(result.flat, anchors=result.flat.anchors.assign(**columns))
    return replace(result, flat=flat)


def test_a_spot_that_refuses_says_so_and_no_piece_says_so(demo):
    result, most, here = demo
    refusing = changed(result, kind_advised=DO_NOT_PLACE, embedment_required_mm=np.nan,
                       replacement_cost=1.0)  # fmt: skip
    (one,) = trips(refusing, visit(most, REBOLT, 1))
    assert one.stops[0].anchors[0].to_do.startswith(NOT_HERE)
    (none,) = trips(result, visit(most, REBOLT, 1), prices=stock(BOLT))
    assert none.stops[0].anchors[0].to_do == NO_PIECE
    assert none.stops[0].anchors[0].spacing == {}


@pytest.mark.parametrize(("action", "said"), [(OUT_OF_USE, CLOSE), ("", "Look, tap")])
def test_what_to_do_follows_the_action(demo, action, said):
    result, most, _ = demo
    (one,) = trips(changed(result, action=action, replace_by="2027-05-01"), visit(most, INSPECT, 1))
    assert one.stops[0].anchors[0].to_do.startswith(said)
    assert one.stops[0].anchors[0].to_do.endswith("Due by 2027-05-01.")


def test_two_legs_are_said(demo):
    result, most, _ = demo
    place = most["crag"], most["sector"]
    long = Piece("bonded", "titanium", 10.0, 150.0, 0.0, legs=2)
    (one,) = trips(result, visit(most, REBOLT, 1), bought={place: (long, "")})
    assert "2 holes 12 mm wide, 160 mm deep" in one.stops[0].anchors[0].to_do


def test_an_unknown_band_is_said(demo):
    result, most, _ = demo
    sectors = result.flat.sectors.assign(risk_band="")
    blank = replace(result, flat=replace(result.flat, sectors=sectors))
    (one,) = trips(blank, visit(most, INSPECT, 1))
    assert one.stops[0].risk_band == UNKNOWN


@pytest.mark.parametrize(
    ("given", "said"),
    [
        ({"kind": "repair"}, "kind 'repair'"),
        ({"trips": ["x"]}, "give --plan"),
        ({"sectors": ["Cabo Alzoro / Gray slab"]}, "nearest: Cabo Alzoro / Grey slab"),
    ],
)
def test_what_cannot_be_is_refused(demo, given, said):
    with pytest.raises(OptionError, match=said):
        trips_of(demo[0], **given)


def test_a_plan_of_other_results_is_refused(demo):
    result, most, _ = demo
    with pytest.raises(OptionError, match="Nowhere / X not among the sectors"):
        trips(result, visit({"crag": "Nowhere", "sector": "X"}, INSPECT, 1))
    with pytest.raises(OptionError, match="trip 'other' is not there"):
        trips(result, visit(most, INSPECT, 1), trips=["other"])


def test_a_plan_is_cut_to_a_kind_and_a_trip(demo):
    result, most, _ = demo
    rows = [visit(most, INSPECT, 1), visit(most, REBOLT, 1), visit(most, INSPECT, 1, trip="b")]
    assert [t.trip for t in trips(result, *rows, trips=["b"])] == ["b"]
    assert [s.kind for t in trips(result, *rows, kind=REBOLT) for s in t.stops] == [REBOLT]


@pytest.mark.parametrize(
    ("text", "part"),
    [("2 of 3", (2, 3)), ("", (1, 1)), ("4 of 3", (1, 1)), ("0 of 3", (1, 1)), ("a of b", (1, 1))],
)
def test_parts_are_read(text, part):
    assert part_of(text) == part


@pytest.mark.pinned("worked", answers=4)
@pytest.mark.parametrize(
    ("shares", "parts", "total"),
    [({1: 3, 2: 4}, 2, 7), ({2: 4}, 2, 7), ({1: 3}, 2, 6), ({1: 5, 2: 9}, 2, 18)],
)
def test_the_whole_of_the_parts(shares, parts, total):
    """7 splits into 3 and 4; a second part of 4 alone is of 7 at least, a first of 3 of 6; what no
    number splits into is the larger share for each."""
    rows = pd.DataFrame(
        {"crag": "C", "sector": "S", "kind": INSPECT, "anchors": shares.values(),
         "part": [f"{p} of {parts}" for p in shares]}
    )  # fmt: skip
    other = rows.assign(part="1 of 5", anchors=1)
    rows = pd.concat([rows, other], ignore_index=True)
    assert whole_count(rows.iloc[0].to_dict(), rows) == total
    alone = {"part": "1 of 1", "anchors": 5}
    assert whole_count(alone, None) == 5
    assert whole_count(rows.iloc[0].to_dict(), None) == next(iter(shares.values()))


@pytest.mark.parametrize(
    ("column", "value", "text"),
    [
        ("condition", 2, "2 worn"), ("condition", None, UNKNOWN), ("diameter_mm", 12.0, "12 mm"),
        ("diameter_mm", float("nan"), UNKNOWN), ("kind", "", UNKNOWN), ("kind", "screw", "screw"),
    ],
)  # fmt: skip
def test_values_are_read_as_words(column, value, text):
    assert value_text(value, columns_of("register")[column]) == text


def test_no_anchor_to_replace_is_none(demo):
    assert len(to_replace(demo[2].iloc[:0])) == 0


def test_files_give_the_same_trips(demo, tmp_path):
    result, most, _ = demo
    plan = tmp_path / "plan.csv"
    row = visit(most, REBOLT, 2, visit_id=f"{1:016x}-1", revision=0, days_late=0, stop=1)
    pd.DataFrame([row]).assign(caution="LEFT OUT: a team.").to_csv(plan, index=False)
    sheet = tmp_path / "sheet.csv"
    sheet.write_text("rock_temperature_c,gel_min,cure_min\n0,40,360\n10,20,150\n", "utf-8")
    (one,) = trips_from(result, plan=plan, data_sheet=sheet, rock_temperature_c=5.0)
    (same,) = trips(result, row, data_sheet=replace(SHEET, source="sheet.csv"),
                    rock_temperature_c=5.0,
                    left_out=["In the plan: LEFT OUT: a team."])  # fmt: skip
    assert one == same
    assert one.stops[0].cure["cure_min"] == 230.6
    windows, tides = tmp_path / "windows.csv", tmp_path / "tides.csv"
    windows.write_text(f"crag,from,until\n{most['crag']},01-01,01-31\n", "utf-8")
    tides.write_text(
        f"crag,sector,date,from,until\n{most['crag']},,2027-01-10,10:00,12:00\n", "utf-8"
    )
    contact, prices = tmp_path / "us.toml", tmp_path / "prices.toml"
    contact.write_text('[contact]\nperson = "Ann"\nphone = "112"\n', "utf-8")
    prices.write_text(
        "[[stock]]\nkind = 'bonded'\nmetal = 'titanium'\ndiameter_mm = 12\nlength_mm = 200\n"
        "price = 1\n", "utf-8",
    )  # fmt: skip
    bought = tmp_path / "priorities.csv"
    pd.DataFrame(
        [{"crag": most["crag"], "sector": most["sector"], "scope": "", "chosen": "yes",
          "metal": "titanium", "kind": "bonded", "diameter_mm": 14, "embedment_mm": 180,
          "legs": 1}]
    ).to_csv(bought, index=False)  # fmt: skip
    given = {"plan": plan, "windows": windows, "tides": tides, "contact": contact}
    (shut,) = trips_from(result, **given, prices=prices)
    assert shut.stops[0].closed
    assert shut.stops[0].tell == ("Anchors: Ann: 112",)
    assert {s.piece["length_mm"] for s in shut.stops[0].anchors} == {200.0}
    (paid,) = trips_from(result, **given, rebolt=bought)
    assert {s.piece["label"] for s in paid.stops[0].anchors} == {"bonded titanium, 14 x 180 mm"}
    with pytest.raises(OptionError, match="give TOML"):
        trips_from(result, contact=tides)


def test_a_contact_of_polygons_names_the_land(tmp_path):
    (tmp_path / "land.geojson").write_text(
        '{"type":"Polygon","coordinates":[[[-8,43],[-7,43],[-7,44],[-8,44],[-8,43]]]}', "utf-8"
    )
    file = tmp_path / "us.toml"
    file.write_text('land = "land.geojson"\n[contact]\nperson = "Ann"\nphone = "112"\n', "utf-8")
    assert tell_of(read_contact(file), PLACE, "C")[0] == "Land: us. Tell its owner before you go."
    file.write_text('[contact]\nperson = "Ann"\n', "utf-8")
    with pytest.raises(OptionError, match="contact.phone or contact.email"):
        read_contact(file)
