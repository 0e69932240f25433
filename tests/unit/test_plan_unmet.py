"""What cannot be met: the rule, the sentence and the remedy of each case, by hand."""

import datetime as dt

import pandas as pd
import pytest

from helpers.planning_world import closed, problem, sectors, sheet, team
from saltreach.planning.unmet import unmet_summary, unmet_visits
from saltreach.planning.windows import day_number
from saltreach.vocabulary.columns import columns_of

ROPES = {"crag": "Crag 0", "sector": "", "skills": ("ropes",), "people": 1, "access_hours": 0.0,
         "hours_per_anchor": None}  # fmt: skip


def legs(*rows):
    return sheet(*({"from": a, "to": b, "hours": h} for a, b, h in rows))


def one(teams, tables=None, pairs=(), frame=None, **more):
    """First row of what is not met, of one sector due on 20 January, 1 h away."""
    teams = teams if isinstance(teams, list) else [teams]
    ways = legs(*((t["team"], "Crag 0", 1) for t in teams))
    frame = sectors(1) if frame is None else frame
    world = problem(frame, teams, tables={"travel": ways} | (tables or {}), **more)
    found = unmet_visits(world, frozenset(pairs))
    assert set(found) == set(columns_of("unmet")) - {"caution"}
    found = found.iloc[0]
    return found["rule"], found["why"], found["fix"]


def tide(*rows):
    return sheet(*({"crag": "Crag 0", "sector": "", "date": dt.date.fromisoformat(d), "from": a,
                    "until": b} for d, a, b in rows))  # fmt: skip


@pytest.mark.pinned("worked", answers=4)
def test_skills_and_people():
    assert one(team(), {"needs": sheet(ROPES | {"skills": ("ropes", "boat")})}) == (
        "skills", "no team can do boat and ropes", "a team with boat and ropes, trained or lent",
    )  # fmt: skip
    able = team("B", skills=("ropes", "other"), days_free=("4SA",))
    assert one([team(), able], {"needs": sheet(ROPES)}) == (
        "skills", "only B can do ropes, and is not free in that time",
        "one more team-day in January 2027, for example of B",
    )  # fmt: skip
    assert one(team(people=2), {"needs": sheet(ROPES | {"skills": (), "people": 3})}) == (
        "people", "it needs 3 people and no team free then is as large",
        "two teams together, or 3 people on one day",
    )  # fmt: skip
    # what can be mended by a day comes before what must be learnt: 2 days of each, and one shut
    shut = {"needs": sheet(ROPES), "windows": sheet(closed("Crag 0", "2027-01-03", "2027-01-03"))}
    both = [team(days_free=("1SA", "2SA")), team("B", skills=("ropes",), days_free=("1SU",))]
    assert one(both, shut)[0] == "closure"


@pytest.mark.pinned("worked", answers=4)
def test_closures():
    """Due on 20 January, every three months; the only day free before it is the 2nd."""
    yearly = {"windows": sheet(closed("Crag 0", "10-01", "02-28"))}
    assert one(team(), yearly) == (
        "closure",
        "closed (nesting) all the time from 2027-01-01 to 2027-01-20; the interval of 3 months is "
        "shorter than the closure",
        "agree one visit within the closure with whoever set it (nesting), or bring anchors to a "
        "state that allows a longer interval",
    )
    # seen in the autumn before the closure began, which an interval of a year spans
    year = sectors(1, inspection_interval_months=pd.array([12], dtype="Int64"))
    assert one(team(), yearly, frame=year)[1:] == (
        "closed (nesting) all the time from 2027-01-01 to 2027-01-20",
        "agree one visit within the closure with whoever set it (nesting)",
    )
    # open three months before: on 20 October
    edge = {"windows": sheet(closed("Crag 0", "10-21", "02-28"))}
    assert "shorter" not in one(team(), edge)[1]
    some = {"windows": sheet(closed("Crag 0", "2026-12-20", "2027-01-10", reason="works"),
                             closed("Crag 0", "08-01", "08-31"))}  # fmt: skip
    assert one([team(), team("B", days_free=("4SU",))], some) == (
        "closure", "closed (works) on every day a team is free",
        "one more team-day by 2027-01-20, for example of A",
    )  # fmt: skip
    # to the due day itself, and from the day three months before it
    just = {"windows": sheet(closed("Crag 0", "10-20", "01-20"))}
    assert "shorter" in one(team(), just)[1]
    free_later = one(team(days_free=("4SA",)), yearly)
    assert free_later[0] == "team-days" and free_later[2].startswith("agree one visit within")
    season = {"windows": sheet(closed("Crag 0", "05-01", "06-30", access="open only", reason=""))}
    assert "closed (open only) all the time" in one(team(), season)[1]


@pytest.mark.pinned("worked", answers=5)
def test_tides():
    """120 min of work; out at 09:00, there at 10:30, away by 16:00."""
    every = ("1SA", "2SA", "3SA")  # 2, 9 and 16 January
    rows = [("2027-01-02", 600, 749), ("2027-01-03", 700, 900), ("2027-01-05", 700, 819),
            ("2027-01-20", 700, 820), ("2027-01-21", 700, 900)]  # fmt: skip
    says = "no free day has a dry window of 2.0 h for the work"
    fix = "a team-day on a day with a longer window"
    assert one(team(days_free=every), {"tides": tide(*rows)}) == (
        "tide", says, f"{fix} (2027-01-03, 2027-01-20)"
    )  # fmt: skip
    # it must leave time to come and go: 10:30 to 12:30, 14:00 to 16:00
    edge = [("2027-01-04", 0, 750), ("2027-01-05", 0, 749), ("2027-01-06", 840, 1400),
            ("2027-01-07", 841, 1400)]  # fmt: skip
    assert one(team(days_free=every), {"tides": tide(*edge)})[2] == (
        f"{fix} (2027-01-04, 2027-01-06)"
    )
    assert one(team(days_free=every), {"tides": tide(rows[0])}) == ("tide", says, fix)
    new_year = {"tides": tide(("2027-01-01", 700, 820))}
    assert one(team(days_free=every), new_year)[2] == f"{fix} (2027-01-01)"
    # nobody free in that time: the last day on which the tide is right
    late = {"days_free": ("1SA",), "from": dt.date(2027, 2, 1)}
    march = sectors(1, next_inspection_on="2027-02-05")
    when = {"tides": tide(("2027-01-12", 700, 830), ("2027-02-03", 700, 819))}
    assert one(team(**late), when, frame=march) == (
        "team-days", "no team is free between 2027-01-01 and 2027-02-05",
        "one more team-day in January 2027, for example of A",
    )  # fmt: skip
    assert one(team(**late), {"tides": tide(rows[0])}, frame=march)[2] == fix
    long = sectors(1, anchors=20)
    assert one(team(), {"tides": tide(rows[0])}, frame=long)[1] == says.replace("2.0", "3.5")
    # another team's days, of which the tide of some is right for it
    ropes = {"needs": sheet(ROPES), "tides": tide(
        *rows, ("2027-01-10", 700, 820), ("2027-01-17", 700, 819), ("2027-01-15", 700, 830),
        ("2027-01-12", 690, 810), ("2027-01-20", 600, 800),
    )}  # fmt: skip
    others = [team(days_free=every, skills=("ropes",)),
              team("B", days_free=("SU", "TU", "WE", "FR"))]  # fmt: skip
    assert one(others, ropes)[2] == f"{fix} (2027-01-03, 2027-01-10, 2027-01-12)"
    few = {"needs": sheet(ROPES), "tides": tide(rows[0], rows[3], rows[4])}
    assert one(others, few)[2] == f"{fix} (2027-01-20)"


@pytest.mark.pinned("worked", answers=5)
def test_the_length_of_the_day_and_the_time_of_the_teams():
    far = {"travel": legs(("A", "Crag 0", 3.5))}
    assert one(team(), far) == (
        "length of day", "1.0 h of work and the way there do not fit into a day",
        "a longer day, a nearer team, or a night away",
    )  # fmt: skip
    # 2, 9 January could serve it; nobody went
    assert one(team(days_free=("1SA", "2SA"))) == (
        "team time", "the 2 team-days that could serve it went to visits that weigh more, or cost "
        "more", "one more team-day in January 2027, for example of A",
    )  # fmt: skip
    assert one(team())[1].startswith("the one team-day that could serve it")
    assert one(team(days_free=("4SA",))) == (
        "team-days", "no team is free between 2027-01-01 and 2027-01-20",
        "one more team-day in January 2027, for example of A",
    )  # fmt: skip
    # on the due day a visit is in time
    on = sectors(1, next_inspection_on="2027-01-23")
    assert one(team(days_free=("4SA",)), frame=on)[0] == "team time"
    before = sectors(1, next_inspection_on="2027-01-22")
    assert one(team(days_free=("4SA",)), frame=before)[0] == "team-days"


@pytest.mark.pinned("worked", answers=6)
def test_who_could_do_it_and_when():
    """The nearest whose day is long enough: 30 + 2 x way + 120 min."""
    ways = {"travel": legs(("A", "Crag 0", 1), ("B", "Crag 0", 0.5), ("C", "Crag 0", 0.25))}
    late = {"days_free": ("4SA",)}
    teams = [team("A", **late), team("B", hours_per_day=3.5, **late),
             team("C", hours_per_day=2.9, **late)]  # fmt: skip
    assert one(teams, ways)[2].endswith("for example of B")  # 210 min are 3.5 h
    teams[1] = team("B", hours_per_day=3.45, **late)
    assert one(teams, ways)[2].endswith("for example of A")
    large = ways | {"needs": sheet(ROPES | {"skills": (), "people": 3})}
    big = [team("A", people=4, **late), team("B", people=2, **late), team("C", people=3, **late)]
    assert one(big, large)[2].endswith("for example of C")
    assert one(team("A", hours_per_day=3.0, **late))[2] == "a nearer team or a longer day"
    # the last day on which it is open
    frame = sectors(1, next_inspection_on="2027-03-20")
    shut = {"windows": sheet(closed("Crag 0", "2027-02-05", "2027-06-30"))}
    first = team(until=dt.date(2027, 1, 1), also=((dt.date(2027, 1, 1),) * 2,))
    assert one(first, shut, frame=frame)[2].startswith("one more team-day in February 2027, for")


@pytest.mark.pinned("worked", answers=3)
def test_a_spell_that_a_day_only_shortens():
    """Due on 20 January, monthly, closed from 1 February on: a visit on 31 January lasts to 28
    February, and it is overdue to the end of June all the same."""
    monthly = sectors(1, inspection_interval_months=pd.array([1], dtype="Int64"))
    shut = {"windows": sheet(closed("Crag 0", "2027-02-01", "2027-12-31"))}
    assert one(team(days_free=("4SA",)), shut, frame=monthly)[2] == (
        "one more team-day in January 2027, for example of A; it shortens the spell, only a visit "
        "agreed within the closure ends it"
    )
    assert "shortens" not in one(team(days_free=("4SA",)), frame=monthly)[2]
    # seen again in time: on 20 January due on 20 February, and visited on the 6th
    world = [team(days_free=("4SA",), also=((dt.date(2027, 2, 6),) * 2,))]
    early = {"windows": sheet(closed("Crag 0", "2027-08-01", "2027-12-31"))}
    ended = one(world, early, pairs=[(0, 1)], frame=monthly, years=0.17)
    assert "shortens" not in ended[2]
    # seen on the very day on which it would be due again
    again = [team(days_free=("4SA",), also=((dt.date(2027, 2, 20),) * 2,))]
    assert "shortens" not in one(again, early, pairs=[(0, 1)], frame=monthly, years=0.17)[2]


@pytest.mark.pinned("worked", answers=3)
def test_what_was_overdue_before_the_plan():
    year = pd.array([12], dtype="Int64")
    old = sectors(1, next_inspection_on="2026-11-15", inspection_interval_months=year)
    begin = "It was due on 2026-11-15, before the plan begins; "
    assert one(team(), pairs=[(0, 0)], frame=old) == (
        "already overdue",
        f"{begin}no team-day before could serve it: no team is free in that time",
        "one more team-day in January 2027, for example of A",
    )  # fmt: skip
    # nobody goes: six team-days could
    assert one(team(), frame=old) == (
        "team time", f"{begin}the 6 team-days that could serve it went to visits that weigh more, "
        "or cost more", "one more team-day in June 2027, for example of A",
    )  # fmt: skip
    shut = {"windows": sheet(closed("Crag 0", "2027-01-01", "2027-02-28"))}
    days = team(days_free=("1SA",))
    rule, why, _ = one(days, shut, pairs=[(0, 2)], frame=old)
    assert (rule, why[: len(begin)]) == ("already overdue", begin)
    assert "could serve it: closed (nesting) all the time from 2027-01-01 to 2027-03-05" not in why
    assert "closed (nesting) on every day a team is free" in why
    never = {"windows": sheet(closed("Crag 0", "2027-01-01", "2027-12-31"))}
    assert one(days, never, frame=old)[0] == "closure"
    # a team free on the very first day
    assert one(team(), start="2027-01-02")[1].startswith("the one team-day that could")
    # due on the first day: not before it
    today = sectors(1, next_inspection_on="2027-01-01")
    assert one(team(), frame=today) == (
        "team-days", "no team is free between 2027-01-01 and 2027-01-01",
        "one more team-day in January 2027, for example of A",
    )  # fmt: skip


@pytest.mark.pinned("worked", answers=4)
def test_the_dearest_spells_come_first_and_like_ones_are_taken_together():
    """Low: 15 min x 162 days = 2,430; severe, due 28 June: 240 x 3 = 720; high: 120 x 162."""
    frame = sectors(
        3, crag="Crag 0", risk_band=["low", "severe", "high"],
        next_inspection_on=["2027-01-20", "2027-06-28", "2027-01-20"],
    )  # fmt: skip
    ways = legs(("A", "Crag 0", 1))
    world = problem(frame, [team(days_per_month=0)], tables={"travel": ways})
    found = unmet_visits(world, frozenset())
    assert found["sector"].tolist() == ["Sector 2", "Sector 0", "Sector 1"]
    assert found["days_overdue"].tolist() == [162, 162, 3]
    assert found["visited_on"].tolist() == ["", "", ""]
    together = unmet_summary(found)
    assert [(s["rule"], s["days_overdue"], s["sectors"]) for s in together] == [
        ("team time", 324, ["Crag 0 / Sector 0", "Crag 0 / Sector 2"]),
        ("team time", 3, ["Crag 0 / Sector 1"]),
    ]
    assert len(unmet_summary(found, most=1)) == 1
    level = pd.concat([found.iloc[:1].assign(fix=f) for f in "ba"])
    assert [s["fix"] for s in unmet_summary(level)] == ["b", "a"]
    many = pd.concat([found.iloc[:1].assign(fix=str(n), days_overdue=n) for n in range(12)])
    assert [s["days_overdue"] for s in unmet_summary(many)] == [11, 10, 9, 8, 7, 6, 5, 4]
    done = frozenset({(k, 0) for k in range(3)})
    none = unmet_visits(problem(sectors(1)), done & {(0, 0), (0, 3)}).iloc[:0]
    assert unmet_summary(none) == []
    late = sectors(1, inspection_interval_months=pd.array([12], dtype="Int64"))
    met = unmet_visits(problem(late), frozenset({(0, 0)}))
    assert met.empty and set(met) == set(columns_of("unmet")) - {"caution"}


def test_a_visit_on_the_last_day_is_named_and_the_end_of_the_plan_is_not():
    frame = sectors(1, inspection_interval_months=pd.array([60], dtype="Int64"))
    world = problem(frame, [team(days_free=("5WE",))])  # 31 March and 30 June
    assert world.days["day"].tolist() == [day_number("2027-03-31"), day_number("2027-06-30")]
    found = unmet_visits(world, frozenset({(0, 1)}))
    assert found[["visited_on", "days_overdue"]].to_numpy().tolist() == [["2027-06-30", 161]]
