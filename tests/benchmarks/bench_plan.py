"""`saltreach plan`: the demo under several solvers, and a large region.

``python tests/benchmarks/bench_plan.py`` compares, on the demo and judged by the same cost, the
greedy plan, the default (HiGHS on the whole and on parts), HiGHS on the whole alone, and as peer
PyVRP (a routing heuristic). ``--large`` plans 2,000 sectors with 30 teams over 5 years.
``--seconds`` sets the time of each search. `make bench` runs both.
"""

import argparse
import os
import subprocess
import sys
import tempfile
import time
from pathlib import Path

import numpy as np
import pandas as pd

sys.path.insert(0, str(Path(__file__).parents[1]))
from benchmarks.watching import own_peak_mb
from helpers.figures import figure
from saltreach.assessment.files import read_results
from saltreach.intake.sheets import NOTHING, Sheet, refuse_unknown
from saltreach.intake.teams import read_needs, read_teams, read_windows
from saltreach.planning.cost import broken_rules, by_day, cost_of, timetable, unavoidable_min
from saltreach.planning.greedy import greedy_plan
from saltreach.planning.options import PlanOptions
from saltreach.planning.plan import make_plan
from saltreach.planning.problem import Tables, make_problem
from saltreach.planning.solver import drop_redundant_visits, solve

QUICK = {"seconds": 5.0, "demo_seconds": 2.0, "sectors": 60, "teams": 3, "years": 1.0}
DATA = Path(__file__).parents[2] / "data" / "demo"


def demo_problem(years=2.0):
    """The demo's sectors with its teams, closures and needs."""
    command = str(Path(sys.executable).with_name("saltreach"))
    with tempfile.TemporaryDirectory() as folder:
        subprocess.run(
            [command, "demo", "--out", folder, "--today", "2026-11-25"],
            check=True, capture_output=True,
        )  # fmt: skip
        found = read_results(Path(folder))
    known = {c: set(g) for c, g in found.flat.sectors.groupby("crag")["sector"]}
    tables = Tables(
        read_teams(DATA / "teams.csv"),
        refuse_unknown(read_windows(DATA / "windows.csv"), known),
        needs=refuse_unknown(read_needs(DATA / "needs.csv"), known),
    )
    sectors, anchors = pd.DataFrame(found.flat.sectors), pd.DataFrame(found.flat.anchors)
    return make_problem(sectors, anchors, tables, "2026-12-01", PlanOptions(years=years))


def large_problem(count=2000, teams=30, years=5.0):
    """A synthetic region of 320 km by 200 km: crags of 4 sectors, a third closed to nest."""
    rng = np.random.default_rng(11)
    crags = count // 4
    lon, lat = rng.uniform(-5, -1, crags), rng.uniform(42, 43.8, crags)
    crag = np.repeat(np.arange(crags), 4)[:count]
    months = rng.choice([6, 12, 24, 36, 48, 60], count, p=[0.05, 0.15, 0.25, 0.25, 0.2, 0.1])
    band = np.array(["severe", "high", "raised", "moderate", "low", "low"])
    start = pd.Timestamp("2027-01-01")
    due = start + pd.to_timedelta((rng.uniform(-0.1, 1, count) * months * 30.4).astype(int), "D")
    sectors = pd.DataFrame(
        {
            "crag": [f"Crag {c}" for c in crag],
            "sector": [f"Sector {i}" for i in range(count)],
            "anchors": rng.integers(8, 25, count),
            "risk_band": band[np.searchsorted([6, 12, 24, 36, 48, 60], months)],
            "inspection_interval_months": pd.array(months, dtype="Int64"),
            "next_inspection_on": due.strftime("%Y-%m-%d"),
        }
    )
    anchors = pd.DataFrame({"crag": sectors["crag"], "lon": lon[crag], "lat": lat[crag]})
    homes = rng.choice(crags, teams, replace=False)
    rows = [
        {
            "team": f"Team {i}", "lon": lon[h], "lat": lat[h], "people": int(rng.integers(2, 5)),
            "skills": ("rope access",) if i % 2 else (), "days_free": ("SA", "1SU"),
            "days_per_month": 4, "from": None, "until": None, "away": (), "also": (),
            "starts": 540, "hours_per_day": 9.0,
        }
        for i, h in enumerate(homes)
    ]  # fmt: skip
    shut = [
        {"crag": f"Crag {c}", "sector": "", "access": "closed", "from": "02-01",
         "until": "07-31", "reason": "nesting"}
        for c in rng.choice(crags, crags // 3, replace=False)
    ]  # fmt: skip
    hard = [
        {"crag": f"Crag {c}", "sector": "", "skills": ("rope access",), "people": 2,
         "access_hours": 0.5, "hours_per_anchor": None}
        for c in rng.choice(crags, crags // 10, replace=False)
    ]  # fmt: skip

    def sheet(rows):
        return Sheet(tuple(rows), NOTHING.rejected)

    return make_problem(
        sectors, anchors, Tables(sheet(rows), sheet(shut), needs=sheet(hard)), "2027-01-01",
        PlanOptions(years=years),
    )  # fmt: skip


def pyvrp_plan(problem, seconds):
    """The demo as prize-collecting routing: one vehicle per team-day, one group per visit due.

    PyVRP knows no chain of due dates, so each sector gets one optional visit for each length of
    its interval, on any allowed day of it, for a prize of the overdue days it would save; and
    no monthly limits, so each team keeps its first free days of a month.
    """
    from pyvrp import Model
    from pyvrp.stop import MaxRuntime

    days, tasks = problem.days, problem.tasks
    usable = np.ones(len(days), bool)
    for (team, _), rows in problem.months_of_teams.items():
        most = problem.teams[team]["days_per_month"]
        if most is not None:
            usable[rows[most:]] = False
    model = Model()
    homes = [model.add_location(x=0, y=i) for i in range(len(problem.teams))]
    places = [model.add_location(x=1, y=k) for k in range(len(tasks))]
    depots = [model.add_depot(location=h) for h in homes]
    profiles = [model.add_profile() for _ in problem.teams]
    crag = tasks["crag_at"].to_numpy()
    team_of, day_of = days["team_at"].to_numpy(), days["day"].to_numpy()
    for t, profile in enumerate(profiles):
        able = problem.allowed[:, team_of == t].any(axis=1)
        for i, one in enumerate(places):
            out = int(problem.home_min[t, crag[i]]) if able[i] else 10**6
            for a, b in ((homes[t], one), (one, homes[t])):
                model.add_edge(a, b, distance=out, duration=out, profile=profile)
            for j, other in enumerate(places):
                between = int(problem.between_min[crag[i], crag[j]])
                model.add_edge(one, other, distance=between, duration=between, profile=profile)
    vehicle_rows = []
    for d in np.flatnonzero(usable):
        begin = int(day_of[d] - problem.start) * 1440 + int(days["starts"].iloc[d])
        length = int(days["length_min"].iloc[d])
        model.add_vehicle_type(
            start_depot=depots[team_of[d]], end_depot=depots[team_of[d]],
            fixed_cost=problem.trip_min, tw_early=begin + problem.trip_min, tw_late=begin + length,
            profile=profiles[team_of[d]],
        )  # fmt: skip
        vehicle_rows.append(int(d))
    client_tasks = []
    for k, task in enumerate(tasks.itertuples(index=False)):
        first = max(int(task.due), problem.start)
        step = int(task.months * 30.4) or problem.end
        open_on = np.unique(day_of[problem.allowed[k] & usable])
        period = np.maximum(open_on - first, -1) // step
        for number in np.unique(period):
            group = model.add_client_group(required=False)
            for day in open_on[period == number]:
                saved = min(int(day) + step, problem.end) - max(int(day), first)
                at = int(day - problem.start) * 1440
                model.add_client(
                    location=places[k], service_duration=int(task.work_min), tw_early=at,
                    tw_late=at + 1440, prize=max(saved, 0) * int(task.late_min),
                    required=False, group=group,
                )  # fmt: skip
                client_tasks.append(k)
    result = model.solve(MaxRuntime(seconds), seed=1, display=False)
    pairs = set()
    for route in result.best.routes():
        for stop in route:
            if stop.is_client():
                pairs.add((client_tasks[stop.idx], vehicle_rows[route.vehicle_type()]))
    kept = {(k, d) for k, d in pairs if problem.allowed[k, d]}
    for d, mine in by_day(kept).items():
        while timetable(problem, d, mine) is None:
            kept.discard((mine.pop(), d))
    return drop_redundant_visits(problem, frozenset(kept))


def compare(seconds):
    """Every way on the demo, one after another, each with the same time.

    Yields
    ------
    dict
        what, count, seconds, peer, peer_seconds, note: the peer's own row beside the others.
    """
    problem = demo_problem()
    greedy = greedy_plan(problem)
    base = cost_of(problem, greedy)
    forced = bound = unavoidable_min(problem)
    print(f"{len(problem.tasks)} sectors, {len(problem.days)} team-days, "
          f"{int(problem.allowed.sum())} possible visits; {seconds:g} s each")  # fmt: skip

    def default():
        made = make_plan(problem, seconds=seconds)
        return made.pairs, made.bound_min

    def whole():
        found = solve(problem, greedy, seconds=seconds)
        return found.pairs, found.bound_min

    ways = {
        "greedy": lambda: (greedy_plan(problem), None),
        "default": default,
        "whole": whole,
    }
    found = {}

    def timed(name, way):
        began = time.perf_counter()
        pairs, own = way()
        found[name] = (pairs, time.perf_counter() - began)
        return own

    for name, way in ways.items():
        bound = max(bound, timed(name, way) or 0)

    def said(name):
        pairs, took = found[name]
        cost = cost_of(problem, pairs)
        gap = cost.total_min - bound
        return (
            f"{took:.1f} s, cost {cost.total_min / 60:.0f} h, gap to the bound "
            f"{gap / cost.total_min:.1%} ({gap / (cost.total_min - forced):.1%} of what a plan can "
            f"change), of the greedy plan's overdue risk "
            f"{cost.overdue_min / base.overdue_min:.0%} (of what can be avoided "
            f"{(cost.overdue_min - forced) / (base.overdue_min - forced):.0%}), of its travel "
            f"{cost.travel_min / base.travel_min:.0%}, {cost.trips} trips, "
            f"{len(broken_rules(problem, pairs))} rules broken"
        )

    def row(name, what):
        return {"what": f"plan of the demo, {what}", "count": len(problem.tasks),
                "seconds": found[name][1], "note": said(name)}  # fmt: skip

    figure("plan / greedy", said("greedy"))
    figure("plan / default", said("default"))
    figure("plan / whole", said("whole"))
    yield row("greedy", "greedy")
    yield row("default", "as the command plans")
    yield row("whole", "solved as a whole alone")
    timed("peer", lambda: (pyvrp_plan(problem, seconds), None))
    figure("plan / peer", said("peer"))
    yield row("peer", "by the peer PyVRP")


def large(seconds=180.0, sectors=2000, teams=30, years=5.0):
    """The largest plan in figures, beside the greedy plan.

    `seconds` and `peer_seconds` are of the plan and of the greedy plan alone; `ratio` is the
    plan's cost over the greedy plan's, and `note` gives costs, bound, both gaps and the time of
    the processor.
    """
    problem = large_problem(sectors, teams, years)
    began = time.perf_counter()
    base = greedy_plan(problem)
    greedy_seconds = time.perf_counter() - began

    def say(step):
        print(f"  {time.perf_counter() - began:.0f} s: {step}", file=sys.stderr)

    began, worked = time.perf_counter(), time.process_time()
    made = make_plan(problem, seconds=seconds, on_step=say)
    took, worked = time.perf_counter() - began, time.process_time() - worked
    cost, greedy = made.cost, cost_of(problem, base)
    gap = 1 - made.bound_min / greedy.total_min
    one = {
        "what": f"plan of {sectors:,} sectors, {teams} teams, {years:g} years",
        "count": len(problem.tasks),
        "seconds": took,
        "peer": "greedy plan",
        "peer_seconds": greedy_seconds,
        "ratio": cost.total_min / greedy.total_min,
        "peak_mb": own_peak_mb(),
        "note": (
            f"cost {cost.total_min / 60:,.0f} team hours, greedy {greedy.total_min / 60:,.0f}, "
            f"no plan below {made.bound_min / 60:,.0f}; gap {made.gap:.1%} "
            f"({made.gap_of_avoidable:.1%} of what a plan can change), greedy {gap:.1%}; "
            f"of the greedy plan's overdue risk {cost.overdue_min / greedy.overdue_min:.0%}, "
            f"of its travel {cost.travel_min / greedy.travel_min:.0%}; {cost.trips} trips, "
            f"{len(made.pairs)} visits, {len(broken_rules(problem, made.pairs))} rules broken; "
            f"{worked:.0f} s of the processor"
        ),
    }
    figure(
        "plan / large",
        f"{one['seconds']:.0f} s, peak {one['peak_mb'] / 1e3:.1f} GB, {one['note']}",
    )
    return one


def measures(seconds=180.0, demo_seconds=20.0, **size):
    """The largest plan, then every way on the demo.

    Parameters
    ----------
    seconds, demo_seconds : float
        Time of the search of the largest plan, and of each on the demo.
    **size
        Sectors, teams and years of the largest plan.
    """
    yield large(seconds, **size)
    yield from compare(demo_seconds)


def main():
    parser = argparse.ArgumentParser()
    parser.add_argument("--large", action="store_true")
    parser.add_argument("--seconds", type=float)
    given = parser.parse_args()
    print(f"{os.cpu_count()} cores, load {os.getloadavg()[0]:.1f}")
    if given.large:
        large(given.seconds or 180)
    else:
        for _ in compare(given.seconds or 20):
            pass


if __name__ == "__main__":
    main()
