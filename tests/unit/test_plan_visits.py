"""The table of visits: names, revisions, changes and months, by hand."""

import hashlib

import pandas as pd
import pytest

from helpers.planning_world import problem, sectors, sheet, team
from saltreach.intake.plan_file import VISIT_COLUMNS
from saltreach.planning.visits import (
    CHANGE_COLUMNS,
    changes,
    clock_text,
    months_of,
    pairs_of,
    still_ahead,
    trips_by_month,
    visit_table,
)


def world(**more):
    ways = sheet(*({"from": "A", "to": f"Crag {i}", "hours": 1.0} for i in (0, 1)),
                 {"from": "Crag 0", "to": "Crag 1", "hours": 0.5})  # fmt: skip
    return problem(sectors(3), [team()], tables={"travel": ways}, **more)


@pytest.mark.pinned("worked", answers=4)
def test_the_time_of_day():
    assert [clock_text(m) for m in (0, 59, 60, 545)] == ["00:00", "00:59", "01:00", "09:05"]


@pytest.mark.pinned("worked", answers=8)
def test_names_last_and_a_visit_that_moved_is_one_revision_later():
    """Sector 0 on 2 January, 3 April and 1 May; of the last plan two: on 3 April and 6 March."""
    made = visit_table(world(), frozenset({(0, 0), (0, 3), (0, 4), (1, 0)}))
    stem = hashlib.sha256(b"inspect/Crag 0/Sector 0/1 of 1").hexdigest()[:16]
    names = made.loc[made["sector"] == "Sector 0", "visit_id"].tolist()
    assert names == [f"{stem}-1", f"{stem}-2", f"{stem}-3"]
    assert made["revision"].tolist() == [0, 0, 0, 0]
    last = made.iloc[[0, 0]].assign(
        sector="Sector 0", task="inspect/Crag 0/Sector 0/1 of 1", team="A",
        date=["2027-04-03", "2027-03-06"], visit_id=["a-7", "a-4"], revision=[2, 5],
    )  # fmt: skip
    again = visit_table(world(), frozenset({(0, 0), (0, 3), (0, 4), (1, 0)}), last)
    mine = again[again["sector"] == "Sector 0"]
    # the same day keeps its name; the first of the others takes the one left; the last is new
    assert mine["visit_id"].tolist() == ["a-4", "a-7", f"{stem}-8"]
    assert mine["revision"].tolist() == [6, 2, 0]
    # another team on the same day is another visit
    other = visit_table(world(), frozenset({(0, 3)}), last.assign(team="B"))
    assert other[["visit_id", "revision"]].to_numpy().tolist() == [["a-4", 6]]


@pytest.mark.pinned("worked", answers=6)
def test_due_dates_follow_the_visits():
    """Due 20 January, every three months: seen on 6 February, due on 6 May, seen on 1 May."""
    found = visit_table(world(), frozenset({(0, 1), (0, 4)}))
    assert found["due_on"].tolist() == ["2027-01-20", "2027-05-06"]
    assert found["days_late"].tolist() == [17, 0]
    assert found["date"].tolist() == ["2027-02-06", "2027-05-01"]
    assert found["stop"].tolist() == [1, 1]


@pytest.mark.pinned("worked", answers=4)
def test_pairs_of_a_last_plan_and_what_is_still_ahead():
    there = world()
    last = visit_table(there, frozenset({(0, 0), (2, 1)}))
    assert pairs_of(there, last) == {(0, 0), (2, 1)}
    assert pairs_of(there, last.assign(task="rebolt/x")) == frozenset()
    assert pairs_of(there, last.assign(date="2027-01-03")) == frozenset()
    assert pairs_of(there, last.assign(team="B")) == frozenset()
    assert still_ahead(last, "2027-01-02")["date"].tolist() == ["2027-01-02", "2027-02-06"]
    assert still_ahead(last, "2027-01-03")["date"].tolist() == ["2027-02-06"]
    pd.testing.assert_frame_equal(
        still_ahead(last, "2027-01-03"), last.iloc[1:].set_axis([0], axis=0)
    )


@pytest.mark.pinned("worked", answers=5)
def test_what_changed():
    there = world()
    last = visit_table(there, frozenset({(0, 0), (1, 0), (2, 1)}))
    past = last.iloc[:1].assign(visit_id="p-1", date="2026-12-31", task="x")
    on_day = past.assign(visit_id="p-2", date="2027-01-01")
    last = pd.concat([last, past, on_day], ignore_index=True)
    now = visit_table(there, frozenset({(0, 0), (1, 1), (0, 3)}), last)
    found = changes(there, now, last)
    said = found[["change", "sector", "date_before", "date"]].to_numpy().tolist()
    assert said == [
        ["moved", "Sector 1", "2027-01-02", "2027-02-06"],
        ["added", "Sector 0", "", "2027-04-03"],
        ["dropped", "Sector 2", "2027-02-06", ""],
        ["dropped", "Sector 0", "2027-01-01", ""],
    ]
    assert found["team_before"].tolist() == ["A", "", "A", "A"]
    assert tuple(found.columns) == CHANGE_COLUMNS == tuple(changes(there, now, None).columns)
    by_another = last.assign(team="B").iloc[:1]
    assert changes(there, now.iloc[:1], by_another)["change"].tolist() == ["moved"]


@pytest.mark.pinned("worked", answers=6)
def test_the_months_of_a_plan():
    """2 January: 60 + 30 + 60 on the way, 30 to pack, 3 x 120: 9 h. 6 February: 2 h, 2 x 1 h, 0.5:
    4.5. A visit on the due day is in time."""
    there = problem(
        sectors(3, next_inspection_on=["2027-01-20", "2027-01-20", "2027-01-02"]),
        [team(hours_per_day=9.0), team("B", days_free=("1SU",))],
        tables={"travel": sheet(
            *({"from": t, "to": f"Crag {i}", "hours": 1.0} for i in (0, 1) for t in "AB"),
            {"from": "Crag 0", "to": "Crag 1", "hours": 0.5})},
    )  # fmt: skip
    table = visit_table(there, frozenset({(0, 0), (1, 0), (2, 0), (0, 2), (1, 3)}))
    found = months_of(there, table)
    assert found.index.tolist() == [f"2027-0{m}" for m in range(1, 7)]
    assert found["team_hours"].tolist() == [9.0, 9.0, 0, 0, 0, 0]
    assert found[["trips", "visits"]].iloc[:3].to_numpy().tolist() == [[1, 3], [2, 2], [0, 0]]
    assert found[["A", "B"]].to_numpy().tolist() == [[1, 0], [1, 1], *[[0, 0]] * 4]
    # to 1 July
    assert months_of(world(start="2027-01-02"), table).index[-1] == "2027-07"
    assert found["visits_after_due"].tolist() == [0, 0, 0, 0, 0, 0]
    late = months_of(there, table.assign(days_late=[1, 0, 2, 0, 1]))
    assert late["visits_after_due"].tolist() == [2, 1, 0, 0, 0, 0]


@pytest.mark.pinned("worked", answers=4)
def test_the_trips_of_each_month():
    visits = pd.DataFrame({
        "date": ["2027-03-01", "2027-01-31", "2027-03-31"], "trip": ["x", "y", "x"],
        "crag": ["C", "C", "B"], "sector": ["1", "1", "2"],
    })  # fmt: skip
    found = trips_by_month(visits)
    assert found.index.tolist() == ["2027-01", "2027-02", "2027-03"]
    assert found["trips"].tolist() == [1, 0, 1] and found["visits"].tolist() == [1, 0, 2]
    assert found["sectors"].tolist() == [[("C", "1")], [], [("B", "2"), ("C", "1")]]
    assert trips_by_month(visits, "2026-12-31", "2027-04-01").index[[0, -1]].tolist() == [
        "2026-12", "2027-04",
    ]  # fmt: skip
    assert trips_by_month(visits.iloc[:0]).empty
    assert len(trips_by_month(visits.iloc[:0], "2027-01-01", "2027-02-01")) == 2


@pytest.mark.pinned("worked", answers=6)
def test_hours_have_two_decimals_and_visits_stand_by_date_and_team():
    """20 min to set up and 90: 1.83 h. 1.01 h are 61 min: there and back 2.03 h; all 4.37 h."""
    teams = [team("B"), team("A")]
    ways = sheet(*({"from": t, "to": "Crag 0", "hours": 1.01} for t in "AB"))
    there = problem(sectors(2), teams, tables={"travel": ways}, hours_per_sector=1 / 3)
    found = visit_table(there, frozenset({(0, 0), (1, 1)}))
    assert found["team"].tolist() == ["A", "B"]
    assert found.index.tolist() == [0, 1]
    assert found["work_hours"].tolist() == [1.83, 1.83]
    assert found["trip_travel_hours"].tolist() == [2.03, 2.03]
    assert found["trip_back"].tolist() == ["13:22", "13:22"]  # 09:00, 30, 61, 110 and 61 min
    assert months_of(there, found)["team_hours"].iloc[0] == 8.73
    for table in (found, visit_table(there, frozenset())):
        assert sorted(table) == sorted(VISIT_COLUMNS)
        assert list(table)[:2] == ["visit_id", "revision"]
