"""What must be visited, how long it takes and who can do it: values worked by hand."""

import datetime as dt

import numpy as np
import pandas as pd
import pytest

from helpers.planning_world import closed, problem, sectors, sheet, team
from saltreach.errors import OptionError
from saltreach.planning.options import BudgetLimits, PlanOptions
from saltreach.planning.problem import risk_weight
from saltreach.planning.travel import travel_minutes
from saltreach.planning.windows import day_number, day_text

LIMITS = {
    PlanOptions: {
        "years": (0.1, 5, 2.0), "hours_per_anchor": (0.01, 8, 0.15),
        "hours_per_sector": (0, 8, 0.5), "hours_per_trip": (0, 8, 0.5),
        "rebolt_hours_per_anchor": (0.05, 24, 1.0), "rebolt_months": (1, 60, 12),
        "road_factor": (1, 5, 1.4), "speed_km_h": (1, 200, 60.0),
        "overdue_hours": (0, 100, 0.25), "unfair_hours": (0, 100, 2.0),
        "change_hours": (0, 1000, 2.0), "crags_per_day": (1, 3, 3),
    },
    BudgetLimits: {
        "budget": (0, 1e7, None), "hours_per_day": (1, 16, 7.0),
        "hours_per_anchor": (0.05, 24, 1.0),
        "hours_per_sector": (0, 12, 0.5), "waste_factor": (1, 5, 1.25), "team_days": (0, 1e5, None),
    },
}  # fmt: skip
"""Least, most and usual value of each setting: common practice, no source."""


def needs(crag, sector="", **more):
    return {"crag": crag, "sector": sector, "skills": (), "people": 1, "access_hours": 0.0,
            "hours_per_anchor": None} | more  # fmt: skip


def leg(start, end, hours):
    return {"from": start, "to": end, "hours": hours}


@pytest.mark.pinned("judgement", answers=3)
@pytest.mark.parametrize(
    ("kind", "name", "low", "high", "usual"),
    [(kind, name, *row) for kind, rows in LIMITS.items() for name, row in rows.items()],
)
def test_a_setting_keeps_its_limits(kind, name, low, high, usual):
    given = {"budget": 1.0} if kind is BudgetLimits else {}
    if usual is not None:
        assert getattr(kind(**given), name) == usual
    for value in (low, high):
        assert getattr(kind(**(given | {name: value})), name) == value
    for value in (low - 0.001, high + 0.001):
        with pytest.raises(OptionError, match=f"option {name} = "):
            kind(**(given | {name: value}))
    assert BudgetLimits(1.0).order == "sea-cliffs-first"


@pytest.mark.pinned("worked", answers=9)
def test_the_weight_of_a_band_and_of_a_rank_within_it():
    """1, 2, 4, 8, 16; unknown as raised. Of four, the first counts 3/4 more, the last no more."""
    bands = pd.DataFrame({"risk_band": ["low", "moderate", "raised", "high", "severe", ""]})
    assert risk_weight(bands).tolist() == [1, 2, 4, 8, 16, 4]
    ranked = pd.DataFrame({"risk_band": ["low", "high", "severe", "low"]})
    ranked["priority_rank"] = pd.array([1, 2, 4, None], dtype="Int64")
    assert risk_weight(ranked).tolist() == [1.75, 12.0, 16.0, 1.0]
    wrong = pd.DataFrame({"risk_band": ["low", "low"], "priority_rank": [-9, 9]})
    assert risk_weight(wrong).tolist() == [2.0, 1.0]
    assert risk_weight(wrong.iloc[:0]).tolist() == []


@pytest.mark.pinned("worked", answers=8)
def test_the_minutes_of_the_work():
    """10 anchors: 30 + 90. By the crag 0.2 h an anchor and 0.1 h to get there: 36 + 120; a row of
    the sector's own, of 0.25 h, counts in its place: 30 + 150. Rebolting 3 there: 30 + 180."""
    frame = sectors(3)
    rows = [needs("Crag 0", "Sector 1", hours_per_anchor=0.25, people=3),
            needs("Crag 0", hours_per_anchor=0.2, access_hours=0.1, skills=("ropes",))]  # fmt: skip
    bolts = frame[["crag", "sector"]].iloc[[1]].assign(anchors=3)
    world = problem(
        frame, [team(lon=0.1)], tables={"needs": sheet(*rows)}, rebolt=bolts, rebolt_skill="drill"
    )
    tasks = world.tasks
    assert tasks["work_min"].tolist() == [156, 180, 120, 210]
    assert tasks["needs_people"].tolist() == [1, 3, 1, 3]
    assert tasks["needs_skills"].tolist() == [("ropes",), (), (), ("drill",)]
    assert tasks["kind"].tolist() == ["inspect"] * 3 + ["rebolt"]
    assert tasks["anchors"].tolist() == [10, 10, 10, 3]
    assert tasks["months"].tolist() == [3, 3, 3, 0]
    assert tasks["late_min"].tolist() == [120] * 4
    assert tasks["key"].iloc[3] == "rebolt/Crag 0/Sector 1/1 of 1"


@pytest.mark.pinned("worked", answers=4)
def test_what_is_too_long_for_a_day_is_shared_out():
    """The way takes 60 min: of 480 there are 480 - 120 - 30 - 30 = 300 for the anchors, 33 at most.

    34 take 306: two parts of 153, 17 anchors each, half the price of a day. 33 take 297: one. 100
    take 900: three parts of 300 exactly, of 33, 33 and 34.
    """
    legs = sheet(leg("A", "Crag 0", 1.0))
    for count, parts, work, shares, price in (
        (34, 2, 183, [17, 17], 60), (33, 1, 327, [33], 120), (100, 3, 330, [33, 33, 34], 40),
    ):  # fmt: skip
        tasks = problem(sectors(1, anchors=count), tables={"travel": legs}).tasks
        assert tasks["work_min"].tolist() == [work] * parts
        assert tasks["anchors"].tolist() == shares
        assert tasks["late_min"].tolist() == [price] * parts
        assert tasks["part"].tolist() == list(range(1, parts + 1))
        assert set(tasks["parts"]) == {parts}
    # the nearest team decides
    near = sheet(leg("A", "Crag 0", 1.0), leg("B", "Crag 0", 3.0))
    two = problem(sectors(1, anchors=33), [team("A"), team("B")], tables={"travel": near})
    assert two.tasks["work_min"].tolist() == [327]
    # where no day is left for the way, parts are of half an hour
    far = problem(sectors(1, anchors=31), tables={"travel": sheet(leg("A", "Crag 0", 4.0))})
    assert far.tasks["work_min"].tolist() == [58] * 10  # 279 min by ten
    assert (far.blocked_by == 5).all()


@pytest.mark.pinned("worked", answers=3)
def test_a_day_just_long_enough_serves_and_a_minute_less_does_not():
    """30 + 2 x 60 + 120 = 270 min: 4.5 h."""
    legs = sheet(leg("A", "Crag 0", 1.0))
    for hours, code in ((4.5, 0), (4.5 - 1 / 60, 5)):
        world = problem(sectors(1), [team(hours_per_day=hours), team("B", hours_per_day=9)],
                        tables={"travel": sheet(*legs.rows, leg("B", "Crag 0", 1.0))})  # fmt: skip
        assert set(world.blocked_by[0, world.days["team_at"] == 0]) == {code}
        assert world.days["length_min"].iloc[0] == round(60 * hours)


@pytest.mark.pinned("worked", answers=6)
def test_the_first_reason_that_applies_is_kept():
    """Skills before people, people before closures, closures before tides, tides before hours."""
    tide = {"crag": "Crag 0", "sector": "Sector 0", "date": dt.date(2027, 1, 9), "from": 700,
            "until": 701}  # fmt: skip
    everything = {
        "needs": sheet(needs("Crag 0", skills=("ropes",), people=3)),
        "windows": sheet(closed("Crag 0", "01-01", "12-31")), "tides": sheet(tide),
        "travel": sheet(leg("A", "Crag 0", 9.0)),
    }  # fmt: skip
    left = dict(everything)
    found = []
    for name, more in (("", {}), ("skills", {}), ("needs", {}), ("windows", {}), ("tides", {}),
                       ("travel", {})):  # fmt: skip
        if name == "skills":
            left["needs"] = sheet(needs("Crag 0", people=3))
        elif name:
            left.pop(name)
        world = problem(sectors(1), tables=left, **more)
        found.append(set(world.blocked_by[0].tolist()))
    # a day too long is named before a tide that is not right
    assert found == [{1}, {2}, {3}, {5}, {5}, {0}]


@pytest.mark.pinned("worked", answers=5)
def test_the_tide_leaves_time_from_arrival_to_the_way_home():
    """Out at 09:00, 30 to pack, 60 on the way: 10:30. Home by 17:00, away at 16:00. Work: 120."""
    legs = sheet(leg("A", "Crag 0", 1.0))

    def serves(*windows):
        tides = [{"crag": "Crag 0", "sector": "", "date": dt.date(2027, 1, 2), "from": a,
                  "until": b} for a, b in windows]  # fmt: skip
        world = problem(sectors(1), tables={"travel": legs, "tides": sheet(*tides)})
        assert world.tidal.tolist() == [True]
        assert set(world.blocked_by[0, 1:]) == {4}  # other days have no window
        if world.blocked_by[0, 0] == 0:
            assert list(world.tides) == [(0, int(world.days["day"].iloc[0]))]
            return next(iter(world.tides.values()))
        assert world.blocked_by[0, 0] == 4
        return None

    assert serves((600, 750)) == (600, 750)  # from 10:30, two hours
    assert serves((600, 749)) is None
    assert serves((840, 1100)) == (840, 1100)  # until 16:00
    assert serves((841, 1100)) is None
    assert serves((630, 740), (700, 830), (0, 100)) == (700, 830)  # the longest of the day
    assert serves((630, 760), (700, 830)) == (630, 760)  # of equal ones the first


@pytest.mark.pinned("worked", answers=4)
def test_when_a_visit_is_due():
    """In the plan up to its last day; rebolting by its months, or three quarters of the plan."""
    frame = sectors(3, next_inspection_on=["2027-06-30", "2027-07-01", "2026-12-31"])
    bolts = frame[["crag", "sector"]].assign(anchors=1)
    world = problem(frame, [team(skills=("rebolting",))], rebolt=bolts, rebolt_months=4)
    assert [day_text(world.start), day_text(world.end)] == ["2027-01-01", "2027-07-01"]
    due = [(t.kind, t.sector[-1], day_text(t.due), t.was_due) for t in world.tasks.itertuples()]
    assert due == [
        ("inspect", "0", "2027-06-30", False), ("inspect", "2", "2026-12-31", True),
        *(("rebolt", n, "2027-05-01", False) for n in "012"),
    ]  # fmt: skip
    # 181 days: three quarters are 135
    late = problem(frame, [team(skills=("rebolting",))], rebolt=bolts).tasks
    assert {day_text(d) for d in late.loc[late["kind"] == "rebolt", "due"]} == {"2027-05-16"}


def test_what_was_done_counts_by_its_kind_and_its_last_day():
    """Inspections: the later of two, of the sector or its crag. Rebolted: nothing more to do."""
    frame = sectors(3)
    rows = [
        {"crag": c, "sector": s, "kind": k, "done_on": dt.date.fromisoformat(d)}
        for c, s, k, d in (
            ("Crag 0", "Sector 0", "inspect", "2026-11-05"),
            ("Crag 0", "", "inspect", "2026-12-05"),
            ("Crag 0", "Sector 1", "rebolt", "2027-01-01"),
        )
    ]  # fmt: skip
    bolts = frame[["crag", "sector"]].assign(anchors=1)
    tasks = problem(frame, done=rows, rebolt=bolts).tasks
    due = {(t.kind, t.sector): day_text(t.due) for t in tasks.itertuples()}
    assert due == {
        ("inspect", "Sector 0"): "2027-03-05", ("inspect", "Sector 1"): "2027-03-05",
        ("inspect", "Sector 2"): "2027-01-20", ("rebolt", "Sector 0"): "2027-05-16",
        ("rebolt", "Sector 2"): "2027-05-16",
    }  # fmt: skip


def test_a_sector_without_an_interval_or_without_a_day_is_named():
    frame = sectors(3, next_inspection_on=["2027-01-20", "", "2027-01-20"])
    frame["inspection_interval_months"] = pd.array([None, 3, 3], dtype="Int64")
    world = problem(frame)
    assert world.tasks["sector"].tolist() == ["Sector 2"]
    assert world.notes[-1].endswith("to be closed today): Crag 0 / Sector 0, Crag 0 / Sector 1")


def test_what_cannot_be_planned_is_refused():
    frame = sectors(1)
    with pytest.raises(OptionError, match="Crag 9 / X is not among the sectors assessed"):
        problem(frame, rebolt=pd.DataFrame({"crag": ["Crag 9"], "sector": "X", "anchors": 1}))
    with pytest.raises(OptionError, match="no sector has a due date within the plan"):
        problem(frame.assign(next_inspection_on="2030-01-01"))


@pytest.mark.pinned("worked", answers=3)
def test_the_free_time_of_a_team_counts_its_monthly_limit():
    """Six first and six third Saturdays of 8 h: 12 x 480; one a month: 6; none: 0; ten: all 12."""
    days = [team(n, days_free=("1SA", "3SA"), days_per_month=m)
            for n, m in (("A", None), ("B", 1), ("C", 0), ("D", 10))]  # fmt: skip
    world = problem(sectors(1), days)
    assert world.free_min.tolist() == [5760, 2880, 0, 5760]
    assert world.unfair_min == 12 and world.trip_min == 30
    assert len(world.months_of_teams) == 24


@pytest.mark.pinned("worked", answers=7)
def test_the_way_by_great_circle_and_by_the_users_own_hours():
    """One degree of the equator on a sphere of 6,370,997 m is 111.195 km: x 1.4 at 60 km/h 155.67
    min, so 156; x 1 at 100 km/h 66.7, so 67. 1.01 h are 60.6 min, so 61; the longer way counts."""
    lon, lat = np.array([0.0, 1.0, 0.0]), np.zeros(3)
    found, notes = travel_minutes(["T", "P", "Q"], lon, lat, [], road_factor=1.4, speed_km_h=60)
    assert found.tolist() == [[0, 156, 0], [156, 0, 156], [0, 156, 0]]
    assert notes == ["3 of 3 travel times estimated: great-circle distance x 1.4 at 60 km/h; bays "
                     "and passes can double them"]  # fmt: skip
    legs = [leg("t", "P", 1.01), leg("P", "T", 0.5), leg("Q", "P", 0), leg("q", "Nook", 1),
            leg("Far", "Q", 1), leg("T", "T", 3)]  # fmt: skip
    found, notes = travel_minutes(["T", "P", "Q"], lon, lat, legs, road_factor=1, speed_km_h=100)
    assert found.tolist() == [[0, 61, 0], [61, 0, 0], [0, 0, 0]]
    assert notes[0] == "travel: neither team nor crag, not used: Far, Nook"
    assert notes[1].startswith("1 of 3 travel times estimated")
    legs += [leg("T", "Q", 0.25), leg("T", "Q", 0.2)]
    found, notes = travel_minutes(["T", "P", "Q"], lon, lat, legs, road_factor=1, speed_km_h=100)
    assert found[0, 2] == found[2, 0] == 15 and len(notes) == 1


def test_a_visit_makes_a_task_due_again_after_its_interval():
    frame = sectors(2, inspection_interval_months=pd.array([1, 12], dtype="Int64"))
    world = problem(frame, rebolt=frame[["crag", "sector", "anchors"]].iloc[:1])
    day = day_number("2027-01-31")
    assert [day_text(world.due_after(k, day)) for k in (0, 1)] == ["2027-02-28", "2028-01-31"]
    assert world.due_after(2, day) == world.end + 1  # once only
    assert day_text(world.due_after(0, world.end)) == "2027-08-01"


@pytest.mark.pinned("worked", answers=7)
def test_an_hour_to_pack_and_a_year_to_plan():
    """60 + 2 x 60 + 120 = 300 min, 5 h; of 8 h 480 - 120 - 60 - 30 = 270 are left, 30 anchors."""
    legs = sheet(leg("A", "Crag 0", 1.0), leg("B", "Crag 0", 1.0))
    frame = sectors(1, next_inspection_on="2027-01-01")
    for hours, code in ((5.0, 0), (5.0 - 1 / 60, 5)):
        teams = [team(hours_per_day=hours), team("B")]
        world = problem(frame, teams, tables={"travel": legs}, hours_per_trip=1.0, years=1,
                        unfair_hours=10)  # fmt: skip
        assert set(world.blocked_by[0, world.days["team_at"] == 0]) == {code}
    assert (world.trip_min, world.unfair_min, day_text(world.end)) == (60, 60, "2028-01-01")
    assert world.tasks["was_due"].tolist() == [False]
    day = {"tables": {"travel": legs}, "hours_per_trip": 1.0}
    parts = [problem(sectors(1, anchors=n), **day).tasks["parts"][0] for n in (30, 31)]
    assert parts == [1, 2]
    # there at 11:00
    for until, code in ((780, 0), (779, 4)):
        tide = {"crag": "Crag 0", "sector": "", "date": dt.date(2027, 1, 2), "from": 0,
                "until": until}  # fmt: skip
        world = problem(
            sectors(1), tables={"travel": legs, "tides": sheet(tide)}, hours_per_trip=1.0
        )
        assert world.blocked_by[0, 0] == code
