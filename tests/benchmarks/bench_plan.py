"""`saltreach plan`: the demo under several solvers, and a large region.

Run: ``python tests/benchmarks/bench_plan.py`` compares, on the demo and judged by the same cost,
the greedy plan, the default (HiGHS on the whole and on parts), HiGHS on the whole alone, and
PyVRP (a routing heuristic). ``--large`` plans 2,000 sectors with 30 teams over 5 years.
``--seconds`` sets the time of each search.
"""

import argparse
import json
import os
import resource
import subprocess
import sys
import tempfile
import time
from pathlib import Path

import numpy as np
import pandas as pd

from saltreach.assessment.files import read_results
from saltreach.intake.sheets import NOTHING, Sheet, refuse_unknown
from saltreach.intake.teams import read_needs, read_teams, read_windows
from saltreach.planning.cost import broken_rules, by_day, cost_of, timetable, unavoidable_min
from saltreach.planning.greedy import greedy_plan
from saltreach.planning.options import PlanOptions
from saltreach.planning.plan import make_plan
from saltreach.planning.problem import Tables, make_problem
from saltreach.planning.solver import drop_redundant_visits, solve

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
    """Every way on the demo, one after another, each with the same time."""
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
        "default (HiGHS, whole and parts)": default,
        "HiGHS whole": whole,
        "PyVRP": lambda: (pyvrp_plan(problem, seconds), None),
    }  # fmt: skip
    found = {}
    for name, way in ways.items():
        began = time.perf_counter()
        pairs, own = way()
        bound = max(bound, own or 0)
        found[name] = (pairs, own, time.perf_counter() - began)
    for name, (pairs, own, took) in found.items():
        cost = cost_of(problem, pairs)
        own_gap = "-" if own is None else f"{1 - own / cost.total_min:.1%}"
        print(
            f"{name:34s} cost {cost.total_min / 60:8.0f} h  gap {1 - bound / cost.total_min:6.1%} "
            f"(own {own_gap:>5s})  overdue {cost.overdue_min / base.overdue_min:5.0%}  avoidable "
            f"{(cost.overdue_min - forced) / (base.overdue_min - forced):5.0%}  travel "
            f"{cost.travel_min / base.travel_min:5.0%}  trips {cost.trips}  rules broken "
            f"{len(broken_rules(problem, pairs))}  {took:.1f} s"
        )


def large(seconds):
    """2,000 sectors, 30 teams, 5 years."""
    began = time.perf_counter()
    problem = large_problem()
    built = time.perf_counter() - began
    print(
        f"{len(problem.tasks)} sectors, {len(problem.teams)} teams, {len(problem.days)} team-days, "
        f"{int(problem.allowed.sum()):,} possible visits; built in {built:.1f} s"
    )

    def say(step):
        print(f"  {time.perf_counter() - began:.0f} s: {step}")

    made = make_plan(problem, seconds=seconds, on_step=say)
    cost, greedy = made.cost, made.greedy
    total = time.perf_counter() - began
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1e6
    print(json.dumps({
        "seconds": round(total, 1), "peak_gb": round(peak, 2), "visits": len(made.flat.visits),
        "trips": cost.trips,
        "travel_to_greedy": round(cost.travel_min / greedy.travel_min, 3),
        "overdue_to_greedy": round(cost.overdue_min / max(greedy.overdue_min, 1), 3),
        "overdue_days": cost.overdue_days, "greedy_overdue_days": greedy.overdue_days,
        "rules_broken": len(broken_rules(problem, made.pairs)),
    }, indent=1))  # fmt: skip


def main():
    parser = argparse.ArgumentParser()
    parser.add_argument("--large", action="store_true")
    parser.add_argument("--seconds", type=float)
    given = parser.parse_args()
    print(f"{os.cpu_count()} cores, load {os.getloadavg()[0]:.1f}")
    if given.large:
        large(given.seconds or 240)
    else:
        compare(given.seconds or 20)


if __name__ == "__main__":
    main()
