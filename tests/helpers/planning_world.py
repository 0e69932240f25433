"""A small invented world for the tests of the calendar: crags in a row, teams at its ends."""

import datetime as dt
from itertools import chain, combinations

import numpy as np
import pandas as pd

from saltreach.intake.sheets import NOTHING, Sheet
from saltreach.planning.options import PlanOptions
from saltreach.planning.problem import Tables, make_problem

START = "2027-01-01"


def sheet(*rows):
    return Sheet(tuple(rows), NOTHING.rejected)


def team(name="A", lon=0.0, **more):
    return {
        "team": name, "lon": lon, "lat": 43.0, "people": 2, "skills": (), "days_free": ("1SA",),
        "days_per_month": None, "from": None, "until": None, "away": (), "also": (),
        "starts": 540, "hours_per_day": 8.0,
    } | more  # fmt: skip


def closed(crag, first, last, sector="", access="closed", reason="nesting"):
    return {
        "crag": crag, "sector": sector, "access": access, "from": first, "until": last,
        "reason": reason,
    }  # fmt: skip


def sectors(count=2, **more):
    crag = [f"Crag {i // 2}" for i in range(count)]
    frame = pd.DataFrame(
        {
            "crag": crag,
            "sector": [f"Sector {i}" for i in range(count)],
            "anchors": 10,
            "risk_band": "high",
            "inspection_interval_months": pd.array([3] * count, dtype="Int64"),
            "next_inspection_on": "2027-01-20",
            "sea_cliff": "no",
        }
    )
    return frame.assign(**more)


def anchors(frame):
    at = {crag: i for i, crag in enumerate(dict.fromkeys(frame["crag"]))}
    lon = np.array([0.1 + 0.3 * at[c] for c in frame["crag"]])
    return pd.DataFrame({"crag": frame["crag"], "lon": lon, "lat": 43.0})


def problem(frame=None, teams=None, start=START, rebolt=None, done=(), tables=None, **options):
    frame = sectors() if frame is None else frame
    settings = PlanOptions(**({"years": 0.5} | options))
    given = {"teams": sheet(*(teams or [team()]))} | (tables or {})
    return make_problem(
        frame, anchors(frame), Tables(**given), start, settings, rebolt=rebolt, done=done
    )


def every_plan(world, rows=None, tasks=None):
    """Every set of the visits that are allowed, on some team-days and of some tasks."""
    able = [
        (int(k), int(d))
        for k, d in np.argwhere(world.allowed)
        if (tasks is None or k in tasks) and (rows is None or d in rows)
    ]
    return chain.from_iterable(combinations(able, n) for n in range(len(able) + 1))


def tide(sector, opens, shuts, date=dt.date(2027, 1, 2)):
    """A dry window of Crag 0, in minutes of the day; by default of the first Saturday."""
    return {"crag": "Crag 0", "sector": sector, "date": date, "from": opens, "until": shuts}
